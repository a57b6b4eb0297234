//! Where the kernel keeps what it builds, so that the next start is fast.

use super::toolchain::Toolchain;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};

/// Folders of the cache.
///
/// ```text
/// ROOT/rust-src/             a copy of the standard library's sources, when none is installed
/// ROOT/rust-signatures-*/    what the evaluator reads of them
/// ROOT/<key>/wrapper/        the generated crate that joins the library into one shared object
/// ROOT/<key>/build/          where it is compiled
/// ROOT/<key>/lib-<stamp>/    what came out, one a version of the library's source
/// ROOT/<key>/slot-<pid>/     the working folder of one running kernel
/// ```
/// The key stands for the compiler and the place of the library's source, so that neither two
/// compilers nor two checkouts meet.
#[derive(Clone, Debug)]
pub struct Home {
    /// The cache as a whole.
    pub root: PathBuf,
    /// The part for this compiler and this source.
    pub key: PathBuf,
    /// The library's source.
    pub source: PathBuf,
}

impl Home {
    /// Chooses the folders; creates them.
    ///
    /// # Errors
    /// When the library's source is gone or the cache cannot be written.
    pub fn find(toolchain: &Toolchain) -> Result<Home, String> {
        let root = root()?;
        let source = source()?;
        let mut hash = DefaultHasher::new();
        (env!("CARGO_PKG_VERSION"), &toolchain.version, &toolchain.sysroot, &source).hash(&mut hash);
        let key = root.join(format!("{:016x}", hash.finish()));
        std::fs::create_dir_all(&key).map_err(|e| {
            format!("the cache folder {} cannot be created: {e}; set RAILRISE_CACHE to a folder that can be written", key.display())
        })?;
        Ok(Home { root, key, source })
    }
}

/// `$RAILRISE_CACHE`, else the user's cache folder; a path without spaces, which the evaluator
/// cannot stand.
pub fn root() -> Result<PathBuf, String> {
    let wish = std::env::var_os("RAILRISE_CACHE").filter(|v| !v.is_empty()).map(PathBuf::from);
    let wish = wish.or_else(|| {
        std::env::var_os("XDG_CACHE_HOME")
            .filter(|v| !v.is_empty())
            .map(|v| PathBuf::from(v).join("railrise"))
    });
    let wish = wish.or_else(|| std::env::home_dir().map(|h| h.join(".cache").join("railrise")));
    let wish = wish
        .ok_or("there is no home folder for the cache; set RAILRISE_CACHE to a folder that can be written")?;
    let wish = std::path::absolute(&wish).map_err(|e| format!("{}: {e}", wish.display()))?;
    if !spaced(&wish) {
        return Ok(wish);
    }
    // The home folder of a person with a space in the name: share the machine's temporary folder,
    // under a name that tells users apart.
    let mut hash = DefaultHasher::new();
    wish.hash(&mut hash);
    let other = std::env::temp_dir().join(format!("railrise-{:08x}", hash.finish() as u32));
    if spaced(&other) {
        return Err(format!(
            "neither {} nor {} will do for the cache, because of the space in it; set RAILRISE_CACHE to a folder without spaces",
            wish.display(),
            other.display()
        ));
    }
    Ok(other)
}

fn spaced(path: &Path) -> bool {
    path.to_str().is_none_or(|p| p.contains(char::is_whitespace))
}

/// The library's source: where this program was built from, unless `$RAILRISE_SOURCE` says otherwise.
fn source() -> Result<PathBuf, String> {
    let built_from = || PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let source = std::env::var_os("RAILRISE_SOURCE").map_or_else(built_from, PathBuf::from);
    if source.join("Cargo.toml").is_file() && source.join("src/lib.rs").is_file() {
        return Ok(source);
    }
    Err(format!(
        "notebooks need the source of railrise, which is no longer in {}; set RAILRISE_SOURCE to the folder that holds its Cargo.toml",
        source.display()
    ))
}

/// The file of a folder that was written last, among those whose names begin and end so.
pub fn newest(folder: &Path, begin: &str, end: &str) -> Option<PathBuf> {
    let files = std::fs::read_dir(folder).ok()?.flatten().filter(|e| {
        let name = e.file_name();
        name.to_str().is_some_and(|name| name.starts_with(begin) && name.ends_with(end))
    });
    files.max_by_key(|e| e.metadata().and_then(|m| m.modified()).ok()).map(|e| e.path())
}

/// Writes a file unless it already says that, so that build tools see no change.
pub fn write_if_changed(path: &Path, text: &str) -> Result<(), String> {
    if std::fs::read_to_string(path).is_ok_and(|old| old == text) {
        return Ok(());
    }
    let parent = path.parent().ok_or_else(|| format!("{} has no folder", path.display()))?;
    std::fs::create_dir_all(parent)
        .and_then(|()| std::fs::write(path, text))
        .map_err(|e| format!("{} cannot be written: {e}", path.display()))
}
