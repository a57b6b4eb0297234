//! The library for cells, joined from what the compiler made of it for the program itself.
//!
//! `cargo run` leaves the compiled library beside the program. Joining that into a shared object takes a second or
//! two; building it again for cells would take a minute or two. Where anything does not fit (the source is newer or
//! another one, a program without its build folder, a debug build) the library is built as before.

use super::home::{Home, newest};
use super::library::{self, JOINED, cargo, source_files};
use super::toolchain::Toolchain;
use serde_json::Value;
use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::SystemTime;

/// Not the name of the one that `cargo` builds: where a cell asks for other crates both are loaded into one process.
const NAME: &str = "railrise_joined";

/// Makes the folder of the library from the program's own build.
///
/// # Errors
/// Why that does not do; the library is then to be built.
pub fn from_the_program(home: &Home, toolchain: &Toolchain, folder: &Path) -> Result<(), String> {
    let compiled = fits(home)?;
    let scratch = folder.with_extension("new");
    let inside = scratch.join("deps");
    let _ = std::fs::remove_dir_all(&scratch);
    std::fs::create_dir_all(&inside).map_err(|e| format!("{}: {e}", scratch.display()))?;
    let joined = gather(home, toolchain, &compiled, &inside)
        .and_then(|()| link(toolchain, &compiled, &inside))
        .and_then(|object| library::finish(toolchain, &home.key.join("build"), folder, Path::new(&object)));
    if joined.is_err() {
        let _ = std::fs::remove_dir_all(&scratch);
    }
    joined
}

/// The compiled library beside the program, if it was made from the present source, and well.
fn fits(home: &Home) -> Result<PathBuf, String> {
    if cfg!(debug_assertions) || home.source != Path::new(env!("CARGO_MANIFEST_DIR")) {
        return Err("the program was built from another source, or for debugging".to_owned());
    }
    let exe = std::env::current_exe().map_err(|e| format!("this program cannot find itself: {e}"))?;
    let beside = exe.parent().unwrap_or(&exe).to_owned();
    let deps = if beside.ends_with("deps") { beside } else { beside.join("deps") };
    let age = |path: &Path| path.metadata().and_then(|m| m.modified()).ok();
    let source: Option<SystemTime> = source_files(&home.source)?.iter().filter_map(|f| age(f)).max();
    let compiled = newest(&deps, "librailrise-", ".rlib");
    let compiled = compiled.ok_or("the program does not lie in the folder it was built in")?;
    let made = age(&compiled).ok_or("when the program's library was made is not known")?;
    if source.is_none_or(|s| s > made) {
        return Err("the source is newer than the program".to_owned());
    }
    Ok(compiled)
}

/// Links the crates that the library stands on into the new folder.
fn gather(home: &Home, toolchain: &Toolchain, compiled: &Path, into: &Path) -> Result<(), String> {
    let metadata = cargo(toolchain, &home.source, true)
        .args(["metadata", "--format-version", "1", "--filter-platform", &toolchain.host])
        .output()
        .map_err(|e| format!("cargo metadata: {e}"))?;
    let graph: Value =
        serde_json::from_slice(&metadata.stdout).map_err(|_| String::from_utf8_lossy(&metadata.stderr))?;
    let used = reached(&graph);
    let packages = graph["packages"].as_array().into_iter().flatten();
    let names: HashSet<String> = packages
        .filter(|p| used.contains(&p["id"].to_string()))
        .flat_map(|p| p["targets"].as_array().cloned().unwrap_or_default())
        .filter_map(|t| Some(t["name"].as_str()?.replace('-', "_")))
        .collect();
    let said = |e: std::io::Error| format!("{}: {e}", into.display());
    let deps = compiled.parent().unwrap_or(compiled);
    for entry in std::fs::read_dir(deps).map_err(said)?.flatten() {
        let (from, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        let kind = from.extension().and_then(|e| e.to_str()).unwrap_or_default().to_owned();
        let of = name.strip_prefix("lib").unwrap_or(&name).rsplit_once('-').map(|(of, _)| of);
        let shared = format!(".{kind}") == std::env::consts::DLL_SUFFIX;
        // Of the library itself only the one that fits: the tests' builds of it lie there too.
        let other = of == Some("railrise") && from != compiled;
        if !of.is_some_and(|of| names.contains(of)) || other || !(shared || kind == "rlib") {
            continue;
        }
        // A linker may write into an existing file, so shared objects are copied.
        let to = into.join(&name);
        if shared || std::fs::hard_link(&from, &to).is_err() {
            std::fs::copy(&from, &to).map_err(said)?;
        }
    }
    Ok(())
}

/// The packages that the library reaches, with the features they have in the program's build; what the program alone
/// needs is left out.
fn reached(graph: &Value) -> HashSet<String> {
    let nodes = graph["resolve"]["nodes"].as_array().cloned().unwrap_or_default();
    let root = &graph["resolve"]["root"];
    let package = graph["packages"].as_array().into_iter().flatten().find(|p| p["id"] == *root);
    let feature = package.map(|p| p["features"]["kernel"].clone()).unwrap_or_default();
    let programs: Vec<String> = feature
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|f| Some(f.as_str()?.strip_prefix("dep:")?.replace('-', "_")))
        .collect();
    let mut used = HashSet::new();
    let mut left = vec![root.clone()];
    while let Some(id) = left.pop() {
        let Some(node) = nodes.iter().find(|n| n["id"] == id) else { continue };
        if used.insert(id.to_string()) {
            let own = |d: &&Value| id != *root || programs.iter().all(|p| d["name"] != **p);
            let deps = node["deps"].as_array().into_iter().flatten();
            left.extend(deps.filter(own).map(|d| d["pkg"].clone()));
        }
    }
    used
}

/// Joins the library and all below it; the name of the shared object.
fn link(toolchain: &Toolchain, compiled: &Path, into: &Path) -> Result<String, String> {
    let source = into.join("joined.rs");
    std::fs::write(&source, JOINED).map_err(|e| format!("{}: {e}", source.display()))?;
    let name = compiled.file_name().unwrap_or_default();
    let done = Command::new(&toolchain.rustc)
        .args(["--crate-name", NAME, "--edition=2024", "--crate-type", "dylib", "--emit=link"])
        .args(["-Cprefer-dynamic", "-Cembed-bitcode=no", "-Cstrip=debuginfo", "-Copt-level=3"])
        .arg("--out-dir")
        .arg(into)
        .arg(format!("-Ldependency={}", into.display()))
        .arg(format!("--extern=railrise={}", into.join(name).display()))
        .arg(&source)
        .env_remove("RUSTFLAGS")
        .stdin(Stdio::null())
        .output()
        .map_err(|e| format!("the compiler: {e}"))?;
    if !done.status.success() {
        return Err(format!("the compiler does not join it: {}", String::from_utf8_lossy(&done.stderr)));
    }
    Ok(format!("{}{NAME}{}", std::env::consts::DLL_PREFIX, std::env::consts::DLL_SUFFIX))
}
