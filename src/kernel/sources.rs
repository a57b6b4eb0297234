//! The sources of the standard library, from which the evaluator learns the type of a variable.
//!
//! Without them the simplest cell fails (`let v = vec![1.0];`), and the analyser inside the
//! evaluator would start a download on its own. So they are looked for first: in
//! `$RUST_SRC_PATH`, in the toolchain, in our cache; else the distribution's package is unpacked
//! into the cache, visibly and without administrator rights; else the user is told what to install.

use super::home;
use super::prepare::Prepared;
use super::thin::{self, Keep};
use super::toolchain::{Toolchain, on_path};
use std::fs::File;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The Debian package that holds the sources.
const PACKAGE: &str = "rust-web-src";
/// The evaluator's analyser reads these sources and newer ones. Older ones it half understands, which is worse than
/// none: `vec![1.0]` loses its type while `2 + 2` works.
const OLDEST: &str = env!("CARGO_PKG_RUST_VERSION");
/// Beside the cached sources: which version they are of.
const VERSION_FILE: &str = "VERSION";
/// Parts of the sources that the analyser does not need; without them it reads a quarter as much.
const LEFT_OUT: [&str; 6] = ["tests", "benches", "vendor", "stdarch", "portable-simd", "compiler-builtins"];

/// Where the cached copy lives or will live.
pub fn cached() -> Result<PathBuf, String> {
    Ok(home::root()?.join("rust-src"))
}

/// The folder that will hold the sources once [`make_sure`] has run. Looks, changes nothing.
pub fn place(toolchain: &Toolchain) -> Result<PathBuf, String> {
    let given = std::env::var_os("RUST_SRC_PATH").filter(|v| !v.is_empty()).map(PathBuf::from);
    let known = given.into_iter().chain([toolchain.own_sources()]);
    match known.into_iter().find(|p| holds_sources(p)) {
        Some(found) => std::path::absolute(&found).map_err(|e| format!("{}: {e}", found.display())),
        None => cached(),
    }
}

/// Where the evaluator reads the sources at `place`: a thinned copy of them ([`thin`]), or with `RAILRISE_CARGO=plain`
/// the sources themselves.
pub fn reading_place(place: &Path) -> Result<PathBuf, String> {
    if super::prepare::cells_go("plain") {
        return Ok(place.to_owned());
    }
    let mut hash = DefaultHasher::new();
    place.hash(&mut hash);
    Ok(home::root()?.join(format!("rust-signatures-{:016x}", hash.finish())))
}

/// Makes sure that the sources are there, and where the evaluator reads them; may unpack the distribution's package
/// into the cache, and says so through `tell`.
///
/// # Errors
/// When they are nowhere and cannot be fetched here, with every way to provide them.
pub fn make_sure(prepared: &Prepared, tell: &mut dyn FnMut(&str)) -> Result<(), String> {
    let Prepared { sources, reading, .. } = prepared;
    make_sure_of_all(sources, tell)?;
    if reading == sources {
        return Ok(());
    }
    let of = edition(sources);
    let fits = || std::fs::read_to_string(reading.join(VERSION_FILE)).is_ok_and(|v| v == of);
    if fits() {
        return Ok(());
    }
    let said = |e: std::io::Error| format!("{}: {e}", reading.display());
    // One copy at a time; who waited finds the work done.
    let lock = File::create(reading.with_extension("lock")).map_err(said)?;
    lock.lock().map_err(said)?;
    if fits() {
        return Ok(());
    }
    let scratch = reading.with_extension("new");
    let _ = std::fs::remove_dir_all(&scratch);
    let made = thin::copy(sources, &scratch, Keep::Bare, &LEFT_OUT).and_then(|()| {
        std::fs::write(scratch.join(VERSION_FILE), of).map_err(said)?;
        // Of sources that have changed since.
        let _ = std::fs::remove_dir_all(reading);
        std::fs::rename(&scratch, reading).map_err(said)
    });
    made.map_err(|e| {
        let _ = std::fs::remove_dir_all(&scratch);
        format!("{e}; make room there, or set RAILRISE_CACHE to a folder that can be written")
    })
}

/// What a thinned copy is of, and which way of thinning made it.
fn edition(sources: &Path) -> String {
    let made = sources.join("core/src/lib.rs").metadata().and_then(|m| m.modified()).ok();
    let version = std::fs::read_to_string(sources.join(VERSION_FILE)).unwrap_or_default();
    format!("{} {made:?} {version}", thin::way())
}

fn make_sure_of_all(place: &Path, tell: &mut dyn FnMut(&str)) -> Result<(), String> {
    let in_cache = place == cached()?;
    if holds_sources(place) && (!in_cache || new_enough_in(place)) {
        return Ok(());
    }
    let missing = |why: &str| {
        format!(
            "notebook cells need the sources of Rust's standard library, which are not on this machine ({why}). Provide them in one of these ways and start again:\n  \
             rustup component add rust-src          where Rust came from rustup\n  \
             apt-get install rust-web-src           on Debian and its relatives (or `rust-src`)\n  \
             RUST_SRC_PATH=FOLDER                   a folder that holds the sources, with `core` in it"
        )
    };
    if on_path("apt-get").is_none() || on_path("dpkg-deb").is_none() {
        return Err(missing("there is no apt-get to fetch Debian's package with"));
    }
    fetch(place, tell).map_err(|e| missing(&e))
}

fn holds_sources(folder: &Path) -> bool {
    folder.join("core/src/lib.rs").is_file() && folder.join("std/src/lib.rs").is_file()
}

/// Whether the cached copy says of itself that it is new enough.
fn new_enough_in(folder: &Path) -> bool {
    std::fs::read_to_string(folder.join(VERSION_FILE)).is_ok_and(|v| new_enough(v.trim()))
}

/// Compares the first two numbers of a version, as in `1.96.0+dfsg1-1`.
fn new_enough(version: &str) -> bool {
    let minor = |v: &str| -> Option<(u32, u32)> {
        let mut parts = v.split('.').map(|p| p.parse().ok());
        Some((parts.next()??, parts.next()??))
    };
    minor(version).is_some_and(|v| Some(v) >= minor(OLDEST))
}

/// Fetches and unpacks the package beside its final place, then renames.
fn fetch(place: &Path, tell: &mut dyn FnMut(&str)) -> Result<(), String> {
    let said = |what: &str, e: std::io::Error| format!("{what}: {e}");
    let parent = place.parent().ok_or("the cache has no folder")?;
    std::fs::create_dir_all(parent).map_err(|e| said("the cache folder", e))?;
    // One fetch at a time; who waited finds the work done.
    let lock = File::create(parent.join("rust-src.lock")).map_err(|e| said("the cache folder", e))?;
    lock.lock().map_err(|e| said("the lock of the cache", e))?;
    if holds_sources(place) && new_enough_in(place) {
        return Ok(());
    }
    let scratch = parent.join(format!("rust-src-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&scratch);
    std::fs::create_dir_all(&scratch).map_err(|e| said("the cache folder", e))?;
    tell(&format!(
        "Cells need the sources of Rust's standard library to learn the types of variables, and none are installed.\n\
         Fetching Debian's package {PACKAGE} (45 MB, once) and unpacking 20 MB of it to {}",
        place.display()
    ));
    let done = fetch_into(&scratch, tell).and_then(|library| {
        // Sources that are too old may lie there.
        let _ = std::fs::remove_dir_all(place);
        std::fs::rename(&library, place).map_err(|e| said("moving the sources to their place", e))
    });
    let _ = std::fs::remove_dir_all(&scratch);
    done
}

/// Package lists of our own, read afresh into `scratch`: needs no root and changes nothing outside.
fn own_lists(scratch: &Path) -> Result<Vec<String>, String> {
    let mut options = Vec::new();
    for (key, folder, inside) in
        [("Dir::State::lists", "lists", "partial"), ("Dir::Cache", "cache", "archives/partial")]
    {
        let folder = scratch.join(folder);
        std::fs::create_dir_all(folder.join(inside)).map_err(|e| format!("the cache folder: {e}"))?;
        options.extend(["-o".to_owned(), format!("{key}={}", folder.display())]);
    }
    run(Command::new("apt-get").args(&options).arg("update"))?;
    Ok(options)
}

/// The version that `apt-get` would download, from the file name that it prints: `PACKAGE_VERSION_ARCH.deb`.
fn offered(options: &[String]) -> Result<String, String> {
    let out = run(Command::new("apt-get").args(options).args(["download", "--print-uris", PACKAGE]))?;
    let version = out.split_whitespace().find_map(|word| word.strip_prefix(PACKAGE)?.strip_prefix('_'));
    let version = version.and_then(|rest| rest.split('_').next());
    version.map(str::to_owned).ok_or_else(|| format!("apt-get knows no version of {PACKAGE}"))
}

fn fetch_into(scratch: &Path, tell: &mut dyn FnMut(&str)) -> Result<PathBuf, String> {
    // Package lists may be missing or from years ago; then the lists are read again, for this fetch only.
    let known = offered(&[]).ok().filter(|v| new_enough(v));
    let (options, version) = match known {
        Some(version) => (Vec::new(), version),
        None => {
            tell("This machine's package lists do not have it, or an old one; reading the lists again");
            let options = own_lists(scratch)?;
            let version = offered(&options)?;
            (options, version)
        }
    };
    if !new_enough(&version) {
        return Err(format!("Debian's package is of version {version}, and {OLDEST} or newer is needed"));
    }
    run(Command::new("apt-get").args(&options).args(["download", PACKAGE]).current_dir(scratch))?;
    let entries = std::fs::read_dir(scratch).map_err(|e| e.to_string())?;
    let deb = entries.flatten().map(|e| e.path()).find(|p| p.extension().is_some_and(|x| x == "deb"));
    let deb = deb.ok_or("apt-get downloaded no package file")?;

    // The package holds the compiler and its books too: only the library leaves the archive.
    let mut archive = Command::new("dpkg-deb")
        .arg("--fsys-tarfile")
        .arg(&deb)
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|e| format!("dpkg-deb: {e}"))?;
    let stream = archive.stdout.take().ok_or("dpkg-deb gave no stream")?;
    let mut unpack = Command::new("tar");
    unpack
        .arg("-x")
        .arg("-C")
        .arg(scratch)
        .stdin(Stdio::from(stream))
        .arg("--wildcards")
        .arg("--no-same-owner");
    for part in LEFT_OUT {
        unpack.arg(format!("--exclude=*/library/*{part}"));
    }
    unpack.arg("./usr/src/*/library");
    let unpacked = run(&mut unpack);
    archive.wait().map_err(|e| format!("dpkg-deb: {e}"))?;
    unpacked?;
    let versions = std::fs::read_dir(scratch.join("usr/src")).map_err(|e| e.to_string())?;
    let library = versions.flatten().map(|e| e.path().join("library")).find(|p| holds_sources(p));
    let library = library.ok_or_else(|| format!("{PACKAGE} does not hold the sources where expected"))?;
    std::fs::write(library.join(VERSION_FILE), &version).map_err(|e| format!("the cache folder: {e}"))?;
    Ok(library)
}

/// Runs to the end; what it printed, or the line that says what went wrong.
fn run(command: &mut Command) -> Result<String, String> {
    let name = command.get_program().to_string_lossy().into_owned();
    let out = command.output().map_err(|e| format!("{name}: {e}"))?;
    if out.status.success() {
        return Ok(String::from_utf8_lossy(&out.stdout).into_owned());
    }
    let said = String::from_utf8_lossy(&out.stderr);
    let last = said.lines().rev().find(|l| l.starts_with("E:")).or(said.lines().last()).unwrap_or_default();
    Err(format!("{name} ended with {}: {last}", out.status))
}

#[cfg(test)]
mod tests {
    use super::new_enough;

    #[test]
    fn versions_are_told_apart_by_number() {
        assert!(new_enough("1.96.0+dfsg1-1~deb12u2") && new_enough("1.100.0") && new_enough("2.0.0"));
        assert!(
            !new_enough("1.85.0+dfsg3-1") && !new_enough("1.9.0") && !new_enough("") && !new_enough("new")
        );
    }
}
