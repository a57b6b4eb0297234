//! Runs notebooks in the plain evaluator of Rust cells, as a plain Rust kernel would: no cell is changed, nothing is
//! loaded beforehand, the library comes by the `:dep` line of the cell tagged `plain-kernel`.
//!
//! `cargo bench --bench plain_kernel -- notebooks/*.ipynb` fails when a cell errs that is not meant to, or when
//! what the last expression of a cell says differs from what is stored.

use evcxr::CommandContext;
#[path = "../src/kernel/mod.rs"]
#[allow(dead_code, unused_imports)]
mod kernel;

use kernel::{library, prepare, shim, sources};
use railrise::notebook::{CellKind, Notebook, output};
use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::Duration;

fn main() -> ExitCode {
    // The evaluator's wrapper around the compiler and its process for cells are this program, too.
    if let Some(code) = shim::run_if_called_so() {
        return code;
    }
    evcxr::runtime_hook();
    if std::env::var_os("RAILRISE_CARGO").is_none() {
        return with_plain_cargo();
    }
    let books: Vec<String> = std::env::args().skip(1).collect();
    match run_all(&books) {
        Ok(0) => ExitCode::SUCCESS,
        Ok(bad) => {
            eprintln!("{bad} cells differ in a plain Rust kernel");
            ExitCode::FAILURE
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

/// This program again, with the stand-in for cargo switched off.
fn with_plain_cargo() -> ExitCode {
    let me = std::env::current_exe().map(|exe| {
        Command::new(exe).args(std::env::args_os().skip(1)).env("RAILRISE_CARGO", "plain").status()
    });
    match me {
        Ok(Ok(status)) if status.success() => ExitCode::SUCCESS,
        _ => ExitCode::FAILURE,
    }
}

fn run_all(books: &[String]) -> Result<usize, String> {
    if books.is_empty() {
        return Err("name the notebooks to run".to_owned());
    }
    // Finds the compiler and the sources of the standard library; what was compiled for our own kernel spares the plain
    // one the wait.
    let prepared = prepare::enter()?;
    sources::make_sure(&prepared, &mut |text| eprintln!("{text}"))?;
    let _library = library::make_sure(&prepared, &mut |text| eprintln!("{text}"))?;
    let mut bad = 0;
    for book in books {
        let path = prepared.started_in.join(book);
        bad += run(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    }
    Ok(bad)
}

/// How many cells of one notebook do not do what they should.
fn run(path: &Path) -> Result<usize, String> {
    let book = Notebook::read(path).map_err(|e| e.to_string())?;
    // Where a kernel is started, and what the path in the `:dep` line is relative to.
    std::env::set_current_dir(path.parent().ok_or("no folder")?).map_err(|e| e.to_string())?;
    let (mut context, outputs) = CommandContext::new().map_err(|e| e.to_string())?;
    std::thread::spawn(move || outputs.stdout.iter().for_each(drop));
    let (mut ran, mut same, mut faults) = (0, 0, Vec::new());
    for cell in book.cells().filter(|c| c.kind() == CellKind::Code && !c.has_tag("skip-execution")) {
        let number = cell.index() + 1;
        let found = context.execute(&cell.source());
        // A panic is success to the evaluator; it only shows on the error stream.
        let lines = std::iter::from_fn(|| outputs.stderr.recv_timeout(Duration::from_millis(30)).ok());
        let said: Vec<String> = lines.collect();
        let stopped = said.into_iter().find(|l| l.contains("panicked at"));
        let failed = match (&found, stopped) {
            (Err(error), _) => Some(error.to_string()),
            (Ok(_), stopped) => stopped,
        };
        ran += 1;
        match (failed, cell.has_tag("raises-exception")) {
            (None, true) => faults.push(format!("cell {number} should fail and does not")),
            (Some(error), false) => faults.push(format!("cell {number}: {error}")),
            _ => {}
        }
        let stored = cell.outputs().iter().find(|o| o["output_type"] == "execute_result");
        let stored = stored.and_then(|o| output::text(&o["data"]["text/plain"]));
        if let (Some(stored), Ok(found)) = (stored, &found) {
            let told = found.content_by_mime_type.get("text/plain").map_or("", |t| t.trim_end());
            match told == stored.trim_end() {
                true => same += 1,
                false => faults.push(format!("cell {number} says\n{told}\nwhere this is stored:\n{stored}")),
            }
        }
    }
    println!("{}: {ran} cells ran, {same} of them end in a value, which is the stored one", book.name());
    faults.iter().for_each(|f| println!("  {f}"));
    Ok(faults.len())
}
