//! `railrise study`: a study described in a file, as text or as JSON.

use railrise::study::Control;
use railrise::study::file::StudyFile;
use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

/// The arguments of `railrise study`.
#[derive(clap::Args)]
pub struct Args {
    /// The study file.
    study: PathBuf,
    /// Writes JSON instead of text.
    #[arg(long)]
    json: bool,
    /// Says what the study would take, and stops.
    #[arg(long)]
    cost: bool,
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
    if args.cost {
        return Ok(file.cost()?.to_string());
    }
    let live = std::io::stderr().is_terminal();
    let observer = |p: &railrise::study::Progress| {
        // A closed terminal is no reason to stop.
        let _ = write!(std::io::stderr(), "\r{p}          ");
    };
    let control = Control { observer: if live { Some(&observer) } else { None }, ..Control::default() };
    let report = file.run(&control)?;
    if live {
        eprintln!();
    }
    Ok(if args.json { serde_json::to_string_pretty(&report)? } else { report.to_string() })
}
