//! `railrise study`: a study described in a file, as text or as JSON.

use railrise::rich::{cancelled, listen_for_interrupt};
use railrise::study::file::{Desk, StudyFile};
use railrise::study::{Control, Findings};
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, Ordering};

/// The arguments of `railrise study`.
#[derive(clap::Args)]
pub struct Args {
    /// The study file.
    study: PathBuf,
    /// Writes JSON instead of text.
    #[arg(long)]
    json: bool,
    /// Says what the study would do and take (inputs, laws, runs, time), and stops.
    #[arg(long)]
    plan: bool,
    /// Keeps the runs in this file; runs that it holds are gone on with.
    #[arg(long, value_name = "FILE")]
    keep: Option<PathBuf>,
}

/// Runs the subcommand.
pub fn run(args: Args) -> ExitCode {
    match work(&args) {
        Ok(text) => {
            println!("{text}");
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{e}");
            ExitCode::from(2)
        }
    }
}

fn work(args: &Args) -> Result<String, Box<dyn std::error::Error>> {
    let file = StudyFile::read(&args.study)?;
    if args.plan {
        let outline = file.outline()?;
        return Ok(if args.json { serde_json::to_string_pretty(&outline)? } else { outline.to_string() });
    }
    // The first interrupt keeps what is done and reports it, a second one ends the program.
    listen_for_interrupt(true)?;
    let cancel = AtomicBool::new(false);
    let live = std::io::stderr().is_terminal();
    let observer = |p: &railrise::study::Progress| {
        cancel.store(cancelled(), Ordering::Relaxed);
        if live {
            // A closed terminal is no reason to stop.
            let _ = write!(std::io::stderr(), "\r{p}          ");
        }
    };
    let first = |f: &Findings| {
        let mut text = format!("\rAfter {} of {} runs:\n", f.provenance.runs, f.provenance.planned);
        for c in &f.chances {
            text += &format!("  {}: {} of {} fail, chance {}\n", c.name, c.failing, c.of, c.chance);
        }
        let _ = write!(std::io::stderr(), "{text}");
    };
    let control = Control { observer: Some(&observer), cancel: Some(&cancel), ..Control::default() };
    let desk = Desk { control, keep: args.keep.as_deref(), first: if live { Some(&first) } else { None } };
    let report = file.run_at(&desk)?;
    if live {
        eprintln!();
    }
    Ok(if args.json { serde_json::to_string_pretty(&report)? } else { report.to_string() })
}
