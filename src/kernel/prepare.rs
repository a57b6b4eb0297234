//! Getting everything the evaluator needs into place before it starts.
//!
//! The evaluator reads its environment from many corners, so the environment is set before the
//! process does anything else: the program works out where everything is, then replaces itself by
//! itself with that environment. A process that sets variables while threads run would be unsound.

use super::home::{Home, write_if_changed};
use super::sources;
use super::toolchain::Toolchain;
use serde_json::{Value, json};
use std::ffi::OsString;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Carries what [`enter`] found over the replacement.
const PREPARED: &str = "RAILRISE_PREPARED";

/// A process in which the evaluator can start.
#[derive(Debug)]
pub struct Prepared {
    /// The compiler and its kin.
    pub toolchain: Toolchain,
    /// The cache.
    pub home: Home,
    /// The standard library's sources.
    pub sources: PathBuf,
    /// Where the evaluator reads them.
    pub reading: PathBuf,
    /// This process's working folder in the cache.
    pub slot: Slot,
    /// The folder the user started in; relative paths mean this one.
    pub started_in: PathBuf,
    /// The environment that a cell sees where it differs from ours.
    pub cell_environment: Vec<(String, Option<OsString>)>,
}

/// The working folder of one running kernel, locked while it runs and removed afterwards.
#[derive(Debug)]
pub struct Slot {
    /// The folder.
    pub path: PathBuf,
    _lock: File,
}

impl Slot {
    /// The crate that the evaluator writes and compiles.
    pub fn cell_crate(&self) -> PathBuf {
        self.path.join("crate")
    }

    /// Where the cargo stand-in learns which library to use.
    pub fn library_file(&self) -> PathBuf {
        self.path.join("library.json")
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.path);
    }
}

/// Prepares the process, or tells what is missing. The first time it replaces the process and does
/// not return; the program then comes here again and gets its answer.
///
/// # Errors
/// No toolchain, no library source, a cache that cannot be written.
pub fn enter() -> Result<Prepared, String> {
    match std::env::var(PREPARED) {
        Ok(found) => resume(&found),
        Err(_) => Err(replace()),
    }
}

/// Only comes back with an error.
fn replace() -> String {
    let set = || -> Result<Command, String> {
        let toolchain = Toolchain::find()?;
        let home = Home::find(&toolchain)?;
        let sources = sources::place(&toolchain)?;
        let reading = sources::reading_place(&sources)?;
        let slot = slot_path(&home);
        sweep(&home);
        let exe = std::env::current_exe().map_err(|e| format!("this program cannot find itself: {e}"))?;
        fill(&slot, &exe)?;

        let bin = slot.join("home/bin");
        let old_path = std::env::var_os("PATH").unwrap_or_default();
        let mut path = vec![bin.clone(), toolchain.sysroot.join("bin")];
        path.extend(std::env::split_paths(&old_path));
        let path = std::env::join_paths(path).map_err(|e| format!("the search path: {e}"))?;
        let cargo_home = std::env::var_os("CARGO_HOME");
        let started_in = std::env::current_dir().map_err(|e| format!("the current folder: {e}"))?;
        let found = json!({
            "sysroot": toolchain.sysroot, "rustc": toolchain.rustc, "cargo": toolchain.cargo,
            "version": toolchain.version, "host": toolchain.host,
            "sources": sources, "reading": reading, "root": home.root, "key": home.key, "source": home.source,
            "slot": slot, "started_in": started_in,
            "path": old_path.to_string_lossy(), "cargo_home": cargo_home.as_ref().map(|c| c.to_string_lossy()),
        });
        let mut me = Command::new(exe);
        me.args(std::env::args_os().skip(1))
            .env(PREPARED, found.to_string())
            .env("PATH", path)
            // The analyser looks here first for `cargo` and `rustup`, and finds our stand-ins.
            .env("CARGO_HOME", slot.join("home"))
            .env("RUSTUP", bin.join("rustup"))
            .env("RUST_SRC_PATH", &reading)
            .env("RUSTUP_AUTO_INSTALL", "0")
            .env("EVCXR_CONFIG_DIR", slot.join("config"))
            .env("EVCXR_TMPDIR", slot.join("crate"))
            .env_remove("RUSTC_WRAPPER")
            .env_remove("CARGO_ENCODED_RUSTFLAGS");
        Ok(me)
    };
    match set() {
        Ok(command) => run_instead(command),
        Err(error) => error,
    }
}

#[cfg(unix)]
fn run_instead(mut command: Command) -> String {
    use std::os::unix::process::CommandExt;
    format!("this program cannot start itself again: {}", command.exec())
}

#[cfg(not(unix))]
fn run_instead(mut command: Command) -> String {
    match command.status() {
        Ok(status) => std::process::exit(status.code().unwrap_or(1)),
        Err(error) => format!("this program cannot start itself again: {error}"),
    }
}

fn resume(found: &str) -> Result<Prepared, String> {
    let found: Value =
        serde_json::from_str(found).map_err(|e| format!("{PREPARED} is set to something else: {e}"))?;
    let text = |key: &str| found[key].as_str().unwrap_or_default().to_owned();
    let path = |key: &str| PathBuf::from(text(key));
    let slot = path("slot");
    // Where the process is not replaced but started anew, the number in the name differs.
    let lock = File::create(slot.join("lock")).map_err(|e| format!("{}: {e}", slot.display()))?;
    lock.try_lock().map_err(|e| format!("{} is in use: {e}", slot.display()))?;
    // A settings file of the plain evaluator in the user's folder must not steer ours.
    std::env::set_current_dir(slot.join("config")).map_err(|e| format!("{}: {e}", slot.display()))?;
    let cell_environment = vec![
        ("PATH".to_owned(), Some(text("path").into())),
        ("CARGO_HOME".to_owned(), found["cargo_home"].as_str().map(Into::into)),
        (PREPARED.to_owned(), None),
        ("EVCXR_CONFIG_DIR".to_owned(), None),
        ("EVCXR_TMPDIR".to_owned(), None),
        ("RUSTUP".to_owned(), None),
    ];
    Ok(Prepared {
        toolchain: Toolchain {
            sysroot: path("sysroot"),
            rustc: path("rustc"),
            cargo: path("cargo"),
            version: text("version"),
            host: text("host"),
        },
        sources: path("sources"),
        reading: path("reading"),
        home: Home { root: path("root"), key: path("key"), source: path("source") },
        slot: Slot { path: slot, _lock: lock },
        started_in: path("started_in"),
        cell_environment,
    })
}

/// Whether `RAILRISE_CARGO` asks for this way of compiling cells.
pub(super) fn cells_go(way: &str) -> bool {
    std::env::var_os("RAILRISE_CARGO").is_some_and(|asked| asked == way)
}

/// The real `cargo` and the user's own `CARGO_HOME`, for the stand-in.
pub(super) fn real_cargo() -> Option<(PathBuf, Option<OsString>, PathBuf)> {
    let found: Value = serde_json::from_str(&std::env::var(PREPARED).ok()?).ok()?;
    let cargo_home = found["cargo_home"].as_str().map(Into::into);
    Some((PathBuf::from(found["cargo"].as_str()?), cargo_home, PathBuf::from(found["slot"].as_str()?)))
}

fn slot_path(home: &Home) -> PathBuf {
    home.key.join(format!("slot-{}", std::process::id()))
}

fn fill(slot: &Path, exe: &Path) -> Result<(), String> {
    let said = |e: std::io::Error| format!("{}: {e}", slot.display());
    // Left by a process that had our number before us.
    let _ = std::fs::remove_dir_all(slot);
    let bin = slot.join("home/bin");
    std::fs::create_dir_all(&bin).map_err(said)?;
    for tool in ["cargo", "rustup"] {
        let tool = bin.join(format!("{tool}{}", std::env::consts::EXE_SUFFIX));
        #[cfg(unix)]
        std::os::unix::fs::symlink(exe, tool).map_err(said)?;
        #[cfg(not(unix))]
        std::fs::hard_link(exe, &tool).or_else(|_| std::fs::copy(exe, &tool).map(|_| ())).map_err(said)?;
    }
    write_if_changed(
        &slot.join("config/evcxr.toml"),
        "[evcxr]\noffline_mode = true\nopt_level = \"1\"\npreserve_vars_on_panic = true\n",
    )
}

/// Removes the working folders of kernels that ended without doing so.
fn sweep(home: &Home) {
    let Ok(entries) = std::fs::read_dir(&home.key) else { return };
    for entry in entries.flatten().filter(|e| e.file_name().to_string_lossy().starts_with("slot-")) {
        let path = entry.path();
        // A folder just made may not be locked yet.
        let age = entry.metadata().and_then(|m| m.modified()).ok().and_then(|t| t.elapsed().ok());
        let old = age.is_some_and(|a| a.as_secs() > 120);
        let free = || File::open(path.join("lock")).map_or(true, |f| f.try_lock().is_ok());
        if old && free() {
            let _ = std::fs::remove_dir_all(&path);
        }
    }
}
