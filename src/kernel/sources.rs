//! The sources of the standard library, from which the evaluator learns the type of a variable.
//!
//! Without them the simplest cell fails (`let v = vec![1.0];`), and the analyser inside the
//! evaluator would start a download on its own. So they are looked for first: in
//! `$RUST_SRC_PATH`, in the toolchain, in our cache; else the distribution's package is unpacked
//! into the cache, visibly and without administrator rights; else the user is told what to install.

use super::home;
use super::toolchain::{Toolchain, on_path};
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The Debian package that holds the sources.
const PACKAGE: &str = "rust-web-src";
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

/// Makes sure that the sources are there; may unpack the distribution's package into the cache,
/// and says so through `tell`.
///
/// # Errors
/// When they are nowhere and cannot be fetched here, with every way to provide them.
pub fn make_sure(toolchain: &Toolchain, tell: &mut dyn FnMut(&str)) -> Result<PathBuf, String> {
    let place = place(toolchain)?;
    if holds_sources(&place) {
        return Ok(place);
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
    fetch(&place, tell).map_err(|e| missing(&e))?;
    Ok(place)
}

fn holds_sources(folder: &Path) -> bool {
    folder.join("core/src/lib.rs").is_file() && folder.join("std/src/lib.rs").is_file()
}

/// Fetches and unpacks the package beside its final place, then renames.
fn fetch(place: &Path, tell: &mut dyn FnMut(&str)) -> Result<(), String> {
    let said = |what: &str, e: std::io::Error| format!("{what}: {e}");
    let parent = place.parent().ok_or("the cache has no folder")?;
    std::fs::create_dir_all(parent).map_err(|e| said("the cache folder", e))?;
    // One fetch at a time; who waited finds the work done.
    let lock = File::create(parent.join("rust-src.lock")).map_err(|e| said("the cache folder", e))?;
    lock.lock().map_err(|e| said("the lock of the cache", e))?;
    if holds_sources(place) {
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
        std::fs::rename(&library, place).map_err(|e| said("moving the sources to their place", e))
    });
    let _ = std::fs::remove_dir_all(&scratch);
    done
}

fn fetch_into(scratch: &Path, tell: &mut dyn FnMut(&str)) -> Result<PathBuf, String> {
    let download = || run(Command::new("apt-get").args(["download", PACKAGE]).current_dir(scratch));
    if let Err(first) = download() {
        // A machine that never read the package lists knows no package; reading them needs root.
        if !first.contains("Unable to locate")
            && !first.contains("No candidate")
            && !first.contains("Can't find")
        {
            return Err(first);
        }
        tell("The package is unknown here; reading the package lists with `apt-get update`");
        run(Command::new("apt-get").arg("update")).map_err(|second| format!("{first}; then {second}"))?;
        download()?;
    }
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
    library.ok_or_else(|| format!("{PACKAGE} does not hold the library's sources where expected"))
}

fn run(command: &mut Command) -> Result<(), String> {
    let name = command.get_program().to_string_lossy().into_owned();
    let out = command.output().map_err(|e| format!("{name}: {e}"))?;
    if out.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&out.stderr);
    let last = said.lines().rev().find(|l| l.starts_with("E:")).or(said.lines().last()).unwrap_or_default();
    Err(format!("{name} ended with {}: {last}", out.status))
}
