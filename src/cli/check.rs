//! `railrise check`: whether notebooks still say what is stored in them.

use super::run::Screen;
use super::{failed, files, wrong};
use crate::kernel::{headless, prepare, session::Session};
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
    let prepared = match prepare::enter() {
        Ok(prepared) => prepared,
        Err(error) => return failed(error),
    };
    let mut screen = Screen::new();
    let mut session: Option<Session> = None;
    let mut different = Vec::new();
    for job in &jobs {
        screen.line(&job.path.display().to_string());
        let ready = match &mut session {
            Some(session) => session.restart(&job.folder()),
            None => {
                Session::start(&prepared, &job.folder(), &mut |m| screen.line(m)).map(|s| session = Some(s))
            }
        };
        let Some(session) = session.as_mut().filter(|_| ready.is_ok()) else {
            return failed(ready.err().unwrap_or_else(|| "the evaluator does not start".to_owned()));
        };
        let mut ran = job.notebook.clone();
        let report = match headless::run(session, &mut ran, &mut |e| screen.event(&e)) {
            Ok(report) => report,
            Err(error) => return failed(error),
        };
        let found = headless::first_difference(&job.notebook, &ran);
        match (report.failed, found) {
            (Some((cell, error)), _) => {
                different.push(format!("{}: cell {cell} failed: {}", job.path.display(), error.message))
            }
            (None, Some((cell, what))) => {
                different.push(format!("{}: cell {cell}: {what}", job.path.display()))
            }
            (None, None) => screen.line("  as stored"),
        }
    }
    if different.is_empty() { ExitCode::SUCCESS } else { failed(different.join("\nrailrise: ")) }
}
