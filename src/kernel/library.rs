//! The library as cells use it: built once, joined into one shared object.
//!
//! The program was compiled from the library; where what the compiler made of it still lies beside the program and
//! is not older than the source, it is joined as it is ([`super::join`]). Else the library is built in the cache.
//!
//! One shared object, because statics in a library that is linked into every cell would exist once
//! a cell: counters would restart and every cell would bring its own thread pool.

use super::home::{Home, newest, write_if_changed};
use super::prepare::Prepared;
use super::thin::{self, Keep};
use super::toolchain::Toolchain;
use serde_json::{Value, json};
use std::fs::File;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The name of the generated crate; a cell sees it as `railrise`.
const WRAPPER: &str = "railrise-cells";
/// Crates whose types stand in signatures that cells use; a variable of any other crate's type
/// needs its type written.
const SEEN_BY_CELLS: [&str; 6] = ["ctx", "railrise", "uom", "typenum", "num-traits", "ndarray"];
/// Crates of the library that run in the compiler only.
const BUILD_TOOLS: [&str; 6] =
    ["syn", "quote", "proc-macro2", "serde_derive", "thiserror-impl", "unicode-ident"];
/// Has `cargo` give shared objects names that tell their features apart, so that a process which has loaded one loads
/// another too.
pub(super) const TELL_APART: (&str, &str) = ("__CARGO_DEFAULT_LIB_METADATA", "railrise");
/// Counts the ways in which the folder of a built library has been laid out.
const LAYOUT: u32 = 5;
/// Versions of the library kept besides the current one.
const KEPT: usize = 2;

/// A built library; kept in place while this value lives.
#[derive(Debug)]
pub struct Library {
    /// The folder with everything the compiler looks at.
    pub folder: PathBuf,
    _in_use: File,
}

/// Finds the library built from the present source, or builds it and tells about it.
///
/// # Errors
/// When it does not build; the compiler's words are in the message.
pub fn make_sure(prepared: &Prepared, tell: &mut dyn FnMut(&str)) -> Result<Library, String> {
    let Prepared { home, toolchain, .. } = prepared;
    let folder = home.key.join(format!("lib-{:016x}", stamp(&home.source)?));
    if let Some(library) = open(&folder) {
        return use_it(prepared, library);
    }
    let lock = File::create(home.key.join("build.lock")).map_err(|e| format!("the cache: {e}"))?;
    if lock.try_lock().is_err() {
        tell("Another kernel is building the library; waiting for it");
        lock.lock().map_err(|e| format!("the lock of the cache: {e}"))?;
    }
    if open(&folder).is_none() {
        write_manifests(home)?;
        if let Err(why) = super::join::from_the_program(home, toolchain, &folder) {
            tell(&format!(
                "Building the library for notebooks (once for this version, a minute or two): {why}"
            ));
            let artifact = build(home, toolchain, tell)?;
            publish(toolchain, &home.key.join("build"), &folder, &artifact)?;
        }
        forget_old(home, &folder);
    }
    drop(lock);
    use_it(prepared, open(&folder).ok_or_else(|| format!("{} vanished", folder.display()))?)
}

/// The line by which a cell's manifest would name the library, for when a real `cargo` is needed.
pub fn dependency_line(home: &Home) -> String {
    let path = json!(home.key.join("wrapper"));
    format!("railrise = {{ package = \"{WRAPPER}\", path = {path} }}")
}

fn open(folder: &Path) -> Option<Library> {
    let in_use = File::open(folder.join("library.json")).ok()?;
    in_use.lock_shared().ok()?;
    // Between opening and locking another kernel may have removed it.
    folder.join("library.json").is_file().then(|| Library { folder: folder.to_owned(), _in_use: in_use })
}

/// Tells the cargo stand-in of this slot which library to use.
fn use_it(prepared: &Prepared, library: Library) -> Result<Library, String> {
    let text = std::fs::read_to_string(library.folder.join("library.json"))
        .map_err(|e| format!("the library: {e}"))?;
    write_if_changed(&prepared.slot.library_file(), &text)?;
    Ok(library)
}

/// Stands for the content of every file that the library is built from.
fn stamp(source: &Path) -> Result<u64, String> {
    let files = source_files(source)?;
    let mut hash = DefaultHasher::new();
    (LAYOUT, JOINED, thin::way()).hash(&mut hash);
    for file in files {
        file.hash(&mut hash);
        std::fs::read(&file).unwrap_or_default().hash(&mut hash);
    }
    Ok(hash.finish())
}

/// The files that the library is built from, in order.
pub(super) fn source_files(source: &Path) -> Result<Vec<PathBuf>, String> {
    let mut files = vec![source.join("Cargo.toml"), source.join("Cargo.lock")];
    collect(&source.join("src"), &mut files).map_err(|e| format!("{}: {e}", source.display()))?;
    files.sort();
    Ok(files)
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let (path, name) = (entry.path(), entry.file_name());
        // Not part of the library that cells link.
        if name == "kernel" || name == "cli" || name == "notebook" || name == "main.rs" {
            continue;
        }
        if entry.file_type()?.is_dir() {
            collect(&path, files)?;
        } else {
            files.push(path);
        }
    }
    Ok(())
}

/// The manifest that the evaluator would write for a cell with this one dependency, so that what is
/// built here fits what a real `cargo` would build for a cell.
fn cell_manifest(dependencies: &str) -> String {
    format!(
        "[package]\nname = \"ctx\"\nversion = \"1.0.0\"\nedition = \"2024\"\n\n[lib]\ncrate-type = [\"cdylib\"]\npath = \"src/lib.rs\"\n\n\
         [profile.dev]\nopt-level = 1\ndebug = false\nstrip = \"debuginfo\"\nrpath = true\nlto = false\ndebug-assertions = true\n\
         codegen-units = 16\npanic = 'unwind'\nincremental = true\noverflow-checks = true\n\n[dependencies]\n{dependencies}\n"
    )
}

/// What the shared object says.
pub(super) const JOINED: &str =
    concat!("pub use railrise::*;\n#[doc(hidden)]\npub mod cell_store {\n", include_str!("store.rs"), "}\n");

/// Makes sure that a real `cargo`, joining the library with crates that a cell asks for, finds it built.
///
/// # Errors
/// When it does not build.
pub fn build_for_cargo(home: &Home, toolchain: &Toolchain, tell: &mut dyn FnMut(&str)) -> Result<(), String> {
    let lock = File::create(home.key.join("build.lock")).map_err(|e| format!("the cache: {e}"))?;
    lock.lock().map_err(|e| format!("the lock of the cache: {e}"))?;
    write_manifests(home)?;
    build(home, toolchain, tell).map(|_| ())
}

fn write_manifests(home: &Home) -> Result<(), String> {
    let (wrapper, build) = (home.key.join("wrapper"), home.key.join("build"));
    write_if_changed(
        &wrapper.join("Cargo.toml"),
        &format!(
            "[package]\nname = \"{WRAPPER}\"\nversion = \"{}\"\nedition = \"2024\"\n\n[lib]\ncrate-type = [\"dylib\"]\n\n\
             [dependencies]\nrailrise = {{ path = {}, default-features = false }}\n\n[workspace]\n",
            env!("CARGO_PKG_VERSION"),
            json!(home.source)
        ),
    )?;
    write_if_changed(&wrapper.join("src/lib.rs"), JOINED)?;
    write_if_changed(&build.join("Cargo.toml"), &cell_manifest(&dependency_line(home)))?;
    write_if_changed(&build.join("src/lib.rs"), "")?;
    // A cell is compiled quickly, the library well; what only the compiler runs, not at all well.
    let only_while_building =
        BUILD_TOOLS.map(|name| format!("[profile.dev.package.{name}]\nopt-level = 0\n"));
    write_if_changed(
        &home.key.join(".cargo/config.toml"),
        &format!(
            "[profile.dev.package.\"*\"]\nopt-level = 3\ndebug-assertions = false\noverflow-checks = false\n{}",
            only_while_building.concat()
        ),
    )?;
    // The versions that were tested, wherever the lock file is given.
    if let Ok(lock) = std::fs::read_to_string(home.source.join("Cargo.lock")) {
        write_if_changed(&build.join("Cargo.lock"), &lock)?;
    }
    Ok(())
}

/// Builds in the cache; returns the path of the shared object.
fn build(home: &Home, toolchain: &Toolchain, tell: &mut dyn FnMut(&str)) -> Result<PathBuf, String> {
    let build = home.key.join("build");
    match cargo_build(toolchain, &build, true, tell) {
        // Crates that were never downloaded are the one reason to go online.
        Err(error) if error.contains("--offline") || error.contains("offline mode") => {
            tell("Some crates are not on this machine yet; fetching them from the registry");
            cargo_build(toolchain, &build, false, tell)
        }
        other => other,
    }
}

pub(super) fn cargo(toolchain: &Toolchain, folder: &Path, offline: bool) -> Command {
    let mut command = Command::new(&toolchain.cargo);
    if offline {
        command.arg("--offline");
    }
    command
        .current_dir(folder)
        .env("RUSTC", &toolchain.rustc)
        .env("RUSTFLAGS", "-Cprefer-dynamic")
        .env(TELL_APART.0, TELL_APART.1)
        .env("CARGO_TARGET_DIR", "target")
        .env("CARGO_BUILD_BUILD_DIR", "target")
        .stdin(Stdio::null());
    if let Some((_, cargo_home, _)) = super::prepare::real_cargo() {
        match cargo_home {
            Some(home) => command.env("CARGO_HOME", home),
            None => command.env_remove("CARGO_HOME"),
        };
    }
    command
}

/// Builds; returns the path of the shared object.
fn cargo_build(
    toolchain: &Toolchain,
    folder: &Path,
    offline: bool,
    tell: &mut dyn FnMut(&str),
) -> Result<PathBuf, String> {
    let mut child = cargo(toolchain, folder, offline)
        .args(["build", "--target", &toolchain.host, "--message-format=json-render-diagnostics"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| format!("`{}` could not be run: {e}", toolchain.cargo.display()))?;
    let stdout = child.stdout.take().ok_or("no output of cargo")?;
    let artifacts = std::thread::spawn(move || {
        let mut text = String::new();
        BufReader::new(stdout).read_to_string(&mut text).map(|_| text)
    });
    let mut said = String::new();
    for line in
        BufReader::new(child.stderr.take().ok_or("no messages of cargo")?).lines().map_while(Result::ok)
    {
        match line.trim_start().strip_prefix("Compiling ") {
            Some(what) => tell(&format!("  {}", what.split(" (").next().unwrap_or(what))),
            None => said.push_str(&format!("{line}\n")),
        }
    }
    let status = child.wait().map_err(|e| format!("cargo: {e}"))?;
    let text =
        artifacts.join().map_err(|_| "reading cargo's output failed")?.map_err(|e| format!("cargo: {e}"))?;
    if !status.success() {
        return Err(format!("the library does not build for notebooks:\n{}", said.trim_end()));
    }
    let messages = text.lines().filter_map(|l| serde_json::from_str::<Value>(l).ok());
    let ours = messages
        .filter(|m| m["reason"] == "compiler-artifact" && m["target"]["name"] == WRAPPER.replace('-', "_"));
    let mut files = ours.flat_map(|m| m["filenames"].as_array().cloned().unwrap_or_default());
    let object = files
        .find_map(|f| f.as_str().filter(|f| f.ends_with(std::env::consts::DLL_SUFFIX)).map(PathBuf::from));
    object.ok_or_else(|| "cargo did not name the shared object it built".to_owned())
}

/// Puts what cells need into a folder that later builds do not touch.
fn publish(toolchain: &Toolchain, build: &Path, folder: &Path, artifact: &Path) -> Result<(), String> {
    let said = |e: std::io::Error| format!("{}: {e}", folder.display());
    let scratch = folder.with_extension("new");
    let _ = std::fs::remove_dir_all(&scratch);
    std::fs::create_dir_all(scratch.join("deps")).map_err(said)?;
    for deps in
        [build.join("target").join(&toolchain.host).join("debug/deps"), build.join("target/debug/deps")]
    {
        let Ok(entries) = std::fs::read_dir(&deps) else { continue };
        for entry in entries.flatten() {
            let (from, to) = (entry.path(), scratch.join("deps").join(entry.file_name()));
            let kind = from.extension().and_then(|e| e.to_str()).unwrap_or_default();
            if !["rlib", "rmeta", "so", "dylib", "dll", "lib"].contains(&kind) || to.exists() {
                continue;
            }
            // A linker may write into an existing file, so shared objects are copied.
            if !matches!(kind, "rlib" | "rmeta") || std::fs::hard_link(&from, &to).is_err() {
                std::fs::copy(&from, &to).map_err(said)?;
            }
        }
    }
    // The uplifted copy beside `deps` has no hash in its name; the compiler needs the one within.
    let name = artifact.file_name().ok_or("the shared object has no name")?;
    let stem = artifact.file_stem().unwrap_or(name).to_string_lossy().into_owned();
    let beside = artifact.parent().unwrap_or(build).join("deps");
    let object = newest(&beside, &stem, std::env::consts::DLL_SUFFIX);
    let object = object.as_deref().and_then(Path::file_name).unwrap_or(name);
    finish(toolchain, build, folder, Path::new(&object))
}

/// Describes what lies in the new folder and puts it into its place.
pub(super) fn finish(
    toolchain: &Toolchain,
    build: &Path,
    folder: &Path,
    object: &Path,
) -> Result<(), String> {
    let said = |e: std::io::Error| format!("{}: {e}", folder.display());
    let scratch = folder.with_extension("new");
    let metadata = cargo(toolchain, build, true)
        .args(["metadata", "--format-version", "1", "--filter-platform", &toolchain.host])
        .output()
        .map_err(|e| format!("cargo metadata: {e}"))?;
    let graph = serde_json::from_slice(&metadata.stdout).map_err(|e| format!("cargo metadata: {e}"))?;
    let graph = thinned(trim(graph), &scratch.join("signatures"), &folder.join("signatures"))?;
    std::fs::write(scratch.join("metadata.json"), graph.to_string()).map_err(said)?;
    let base = cell_base(toolchain, &scratch.join("deps"), &folder.join("deps"), object);
    let info = json!({
        "object": folder.join("deps").join(object),
        "base": base,
        // The compiler's own arithmetic.
        "builtins": newest(&toolchain.std_libraries(), "libcompiler_builtins-", ".rlib"),
        "deps": folder.join("deps"),
        "metadata": folder.join("metadata.json"),
        "build": build,
        "rustc": toolchain.rustc,
        "host": toolchain.host,
        "std": toolchain.std_libraries(),
    });
    std::fs::write(scratch.join("library.json"), info.to_string()).map_err(said)?;
    let _ = std::fs::remove_dir_all(folder);
    std::fs::rename(&scratch, folder).map_err(said)
}

/// The base that cells are linked to ([`super::ready`]): an empty shared object that needs the library, the standard
/// library and the system's own, and knows where they lie. `None` where it cannot be made.
fn cell_base(toolchain: &Toolchain, made: &Path, found: &Path, library: &Path) -> Option<PathBuf> {
    if !cfg!(target_os = "linux") {
        return None;
    }
    let standard = toolchain.std_libraries();
    let shared = newest(&standard, "libstd-", std::env::consts::DLL_SUFFIX)?;
    let name = "libcell_base.so";
    std::fs::write(made.join("base.rs"), "").ok()?;
    let done = Command::new(&toolchain.rustc)
        .args(["--crate-name", "cell_base", "--edition=2024", "--crate-type", "cdylib", "-Cprefer-dynamic"])
        .arg("-Clink-arg=-Wl,--no-as-needed")
        .arg(format!("-Clink-arg={}", made.join(library).display()))
        .arg(format!("-Clink-arg={}", shared.display()))
        .args(["-lm", "-lc", "-lgcc_s"].map(|l| format!("-Clink-arg={l}")))
        .arg(format!("-Clink-arg=-Wl,-rpath,{}", found.display()))
        .arg(format!("-Clink-arg=-Wl,-rpath,{}", standard.display()))
        .arg("-o")
        .arg(made.join(name))
        .arg(made.join("base.rs"))
        .env_remove("RUSTFLAGS")
        .stdin(Stdio::null())
        .output()
        .is_ok_and(|o| o.status.success());
    done.then(|| found.join(name))
}

/// The crate graph without crates that no cell can see.
///
/// The analyser reads every crate of the graph, and looks through all their trait implementations
/// for each method call; with the mathematics crates in it the first cell takes three times as long.
fn trim(mut graph: Value) -> Value {
    let packages = graph["packages"].as_array().cloned().unwrap_or_default();
    let seen = |name: &Value| name.as_str().is_some_and(|n| SEEN_BY_CELLS.contains(&n) || n == WRAPPER);
    let kept: Vec<Value> = packages.iter().filter(|p| seen(&p["name"])).map(|p| p["id"].clone()).collect();
    let retain = |list: &mut Value, keep: &dyn Fn(&Value) -> bool| {
        if let Some(list) = list.as_array_mut() {
            list.retain(|x| keep(x));
        }
    };
    retain(&mut graph["packages"], &|p| kept.contains(&p["id"]));
    for package in graph["packages"].as_array_mut().into_iter().flatten() {
        retain(&mut package["dependencies"], &|d| seen(&d["name"]));
    }
    retain(&mut graph["resolve"]["nodes"], &|n| kept.contains(&n["id"]));
    for node in graph["resolve"]["nodes"].as_array_mut().into_iter().flatten() {
        retain(&mut node["deps"], &|d| kept.contains(&d["pkg"]));
        retain(&mut node["dependencies"], &|d| kept.contains(d));
    }
    graph
}

/// The crate graph with thinned copies in the place of the crates' sources: made in `into`, found in `place` later.
fn thinned(mut graph: Value, into: &Path, place: &Path) -> Result<Value, String> {
    for package in graph["packages"].as_array_mut().into_iter().flatten() {
        let name = package["name"].as_str().unwrap_or_default().to_owned();
        let manifest = PathBuf::from(package["manifest_path"].as_str().unwrap_or_default());
        let own = manifest.parent().unwrap_or(&manifest);
        // The cell's crate is written anew with every cell, and the wrapper is one line.
        if name == "ctx" || name == WRAPPER {
            continue;
        }
        let named = format!("{name}-{}", package["version"].as_str().unwrap_or_default());
        thin::copy(&own.join("src"), &into.join(&named).join("src"), Keep::Documented, &[])?;
        let copied = place.join(&named);
        package["manifest_path"] = json!(copied.join("Cargo.toml"));
        let mut targets = package["targets"].take();
        if let Some(targets) = targets.as_array_mut() {
            targets.retain(|t| t["kind"][0] == "lib");
            for target in targets {
                let path = PathBuf::from(target["src_path"].as_str().unwrap_or_default());
                target["src_path"] = json!(copied.join(path.strip_prefix(own).unwrap_or(&path)));
            }
        }
        package["targets"] = targets;
    }
    Ok(graph)
}

/// Removes versions that nobody uses, but for the newest few.
fn forget_old(home: &Home, current: &Path) {
    let Ok(entries) = std::fs::read_dir(&home.key) else { return };
    let mut old: Vec<_> = entries
        .flatten()
        .filter(|e| e.file_name().to_string_lossy().starts_with("lib-") && e.path() != current)
        .filter_map(|e| Some((e.metadata().ok()?.modified().ok()?, e.path())))
        .collect();
    old.sort();
    old.reverse();
    for (_, path) in old.into_iter().skip(KEPT) {
        let free = File::open(path.join("library.json")).map_or(true, |f| f.try_lock().is_ok());
        if free {
            let _ = std::fs::remove_dir_all(path);
        }
    }
}
