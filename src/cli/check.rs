//! `railrise check`: whether notebooks still say what is stored in them.

use super::runner::Runner;
use super::{failed, files, wrong};
use crate::kernel::headless;
use std::path::PathBuf;
use std::process::ExitCode;

#[derive(clap::Args)]
pub struct Args {
    /// Notebooks with stored outputs, or folders of them
    #[arg(required = true)]
    paths: Vec<PathBuf>,
}

/// Runs the notebooks and compares.
pub fn run(args: Args) -> ExitCode {
    let jobs = match files::read(&args.paths) {
        Ok(jobs) => jobs,
        Err(error) => return wrong(error),
    };
    let mut runner = match Runner::new() {
        Ok(runner) => runner,
        Err(error) => return failed(error),
    };
    let mut different = Vec::new();
    for mut job in jobs {
        runner.screen.line(&job.path.display().to_string());
        let stored = job.notebook.clone();
        let report = match runner.run(&mut job) {
            Ok(report) => report,
            Err(error) => return failed(error),
        };
        let found = headless::first_difference(&stored, &job.notebook);
        match (report.failed, found) {
            (Some((cell, error)), _) => {
                different.push(format!("{}: cell {cell} failed: {}", job.path.display(), error.message))
            }
            (None, Some((cell, what))) => {
                different.push(format!("{}: cell {cell}: {what}", job.path.display()))
            }
            (None, None) => runner.screen.line("  as stored"),
        }
    }
    if different.is_empty() { ExitCode::SUCCESS } else { failed(different.join("\nrailrise: ")) }
}
