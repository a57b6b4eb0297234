//! The stand-in for `cargo` while cells are compiled.
//!
//! For a cell that needs nothing but our library, `cargo` only re-reads every manifest to find out
//! that nothing changed. The stand-in calls the compiler at once, with the library that was built
//! beforehand, and answers the analyser's question for the crate graph from a file. Anything else
//! goes to the real `cargo`. `RAILRISE_CARGO=plain` sends everything there.
//!
//! The stand-in for `rustup` refuses: the analyser must not start a download.

use super::compile::{Cell, Product};
use super::library::TELL_APART;
use super::prepare::{cells_go, real_cargo};
use super::ready;
use serde_json::{Value, json};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

/// Acts as `cargo` or `rustup` when the program was started under that name.
pub fn run_if_called_so() -> Option<ExitCode> {
    let mut args = std::env::args_os();
    let name = PathBuf::from(args.next()?);
    match name.file_stem()?.to_str()? {
        "cargo" => Some(cargo(&args.collect::<Vec<_>>())),
        "rustup" => {
            eprintln!("railrise does not let its evaluator call rustup");
            Some(ExitCode::FAILURE)
        }
        _ => None,
    }
}

fn cargo(args: &[OsString]) -> ExitCode {
    let Some((real, cargo_home, slot)) = real_cargo() else {
        eprintln!("this stand-in for cargo works only inside a railrise kernel");
        return ExitCode::FAILURE;
    };
    let verb = verb(args);
    let plain = cells_go("plain");
    let library = || -> Option<Value> {
        serde_json::from_str(&std::fs::read_to_string(slot.join("library.json")).ok()?).ok()
    };
    if !plain && only_our_library(&slot.join("crate")) {
        match verb {
            "build" | "check" if here(&slot.join("crate")) => {
                if let Some(cell) = Cell::of(&slot) {
                    return compile(&slot, &cell, verb == "check");
                }
            }
            "locate-project" if names(args, &slot) => {
                print!("{}", json!({"root": slot.join("crate/Cargo.toml")}));
                return ExitCode::SUCCESS;
            }
            "metadata" if names(args, &slot) => {
                if let Some(graph) = library().and_then(|l| graph(&l, &slot)) {
                    print!("{graph}");
                    return ExitCode::SUCCESS;
                }
            }
            _ => {}
        }
    }
    // The analyser asks for the standard library's own dependencies, which our copy leaves out; a
    // refusal makes it read the sources directly. It also asks a nightly-only question.
    if verb == "metadata" && !names(args, &slot) || verb == "rustc" || verb == "config" {
        eprintln!("error: not answered while cells run");
        return ExitCode::from(101);
    }
    if verb == "build" || verb == "check" {
        seed(&slot, library().as_ref());
    }
    let mut command = Command::new(real);
    command.args(args).env(TELL_APART.0, TELL_APART.1);
    match cargo_home {
        Some(home) => command.env("CARGO_HOME", home),
        None => command.env_remove("CARGO_HOME"),
    };
    let code = pass_on(command);
    match Cell::of(&slot).filter(|_| verb == "build").and_then(|cell| cell.newest()) {
        Some(made) => told_where(code, &made),
        None => code,
    }
}

/// What `cargo` is asked to do: the first word that is neither an option nor the value of one.
fn verb(args: &[OsString]) -> &str {
    let mut before = "";
    for word in args.iter().map(|a| a.to_str().unwrap_or_default()) {
        if !word.starts_with(['-', '+']) && before != "-Z" {
            return word;
        }
        before = word;
    }
    ""
}

/// Gives a slot that needs other crates what was built for the library, so that only those are built.
fn seed(slot: &Path, library: Option<&Value>) {
    let (target, lock) = (slot.join("crate/target"), slot.join("crate/Cargo.lock"));
    let Some(build) = library.and_then(|l| l["build"].as_str()).map(Path::new) else { return };
    let seeded = slot.join("seeded");
    if seeded.exists() {
        return;
    }
    // Times must stay as they are, or everything would be built again. Without the copy it is only slower.
    let copied = Command::new("cp").arg("-a").arg(build.join("target/.")).arg(&target).status();
    if copied.is_ok_and(|s| s.success()) && !lock.exists() {
        let _ = std::fs::copy(build.join("Cargo.lock"), &lock);
    }
    let _ = std::fs::write(seeded, "");
}

fn pass_on(mut command: Command) -> ExitCode {
    match command.status() {
        Ok(status) => ExitCode::from(status.code().and_then(|c| u8::try_from(c).ok()).unwrap_or(101)),
        Err(error) => {
            eprintln!("error: {}: {error}", command.get_program().to_string_lossy());
            ExitCode::from(101)
        }
    }
}

fn here(folder: &Path) -> bool {
    std::env::current_dir().is_ok_and(|d| d == folder)
}

/// Whether the question is about the cell's crate.
fn names(args: &[OsString], slot: &Path) -> bool {
    let about = slot.join("crate/Cargo.toml");
    args.iter().any(|a| a == about.as_os_str())
        || (here(&slot.join("crate")) && !args.iter().any(|a| a == "--manifest-path"))
}

/// Whether the cell's manifest asks for no crate of its own.
fn only_our_library(folder: &Path) -> bool {
    std::fs::read_to_string(folder.join("Cargo.toml")).is_ok_and(|t| {
        t.contains("name = \"ctx\"") && t.split("[dependencies]").nth(1).is_some_and(|d| d.trim().is_empty())
    })
}

/// The crate graph that a real `cargo` reported for the same crate in another folder.
fn graph(library: &Value, slot: &Path) -> Option<String> {
    let text = std::fs::read_to_string(library["metadata"].as_str()?).ok()?;
    let (from, to) = (library["build"].as_str()?, slot.join("crate"));
    let graph = text.replace(from, to.to_str()?);
    graph.contains("\"packages\"").then_some(graph)
}

fn compile(slot: &Path, cell: &Cell, check: bool) -> ExitCode {
    let code = match if check { None } else { ready::ask(slot) } {
        Some(said) => {
            print!("{}", said.stdout);
            eprint!("{}", said.stderr);
            ExitCode::from(said.code)
        }
        None if !check && cells_go("quick") => {
            eprintln!("error: RAILRISE_CARGO=quick: this cell does not compile the quick way");
            return ExitCode::from(101);
        }
        None => match cell.whole(if check { Product::Errors } else { Product::Library }) {
            Ok(rustc) => pass_on(rustc),
            Err(error) => {
                eprintln!("error: {}: {error}", cell.output().display());
                return ExitCode::from(101);
            }
        },
    };
    if check { code } else { told_where(code, &cell.object()) }
}

/// Writes the place of what was built to where the evaluator looks for it: beside the crates it was built from, since
/// from the copy that `cargo` puts elsewhere it would not find the standard library.
fn told_where(code: ExitCode, made: &Path) -> ExitCode {
    if code == ExitCode::SUCCESS
        && let Some(path_file) = std::env::var_os("EVCXR_EXECUTION_SO_PATH")
        && let Err(error) = std::fs::write(&path_file, made.to_string_lossy().as_bytes())
    {
        eprintln!("error: {}: {error}", path_file.to_string_lossy());
        return ExitCode::from(101);
    }
    code
}

#[cfg(test)]
mod tests {
    use super::verb;

    #[test]
    fn what_cargo_is_asked_to_do() {
        for (line, asked) in [
            ("--offline build --target x", "build"),
            ("-Z unstable-options config get --format toml", "config"),
            ("+stable metadata", "metadata"),
            ("--version", ""),
        ] {
            assert_eq!(verb(&line.split(' ').map(Into::into).collect::<Vec<_>>()), asked, "{line}");
        }
    }
}
