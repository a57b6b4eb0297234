//! `railrise run`: notebooks without a reader.

use super::files::{self, Job};
use super::{failed, wrong};
use crate::kernel::headless::{self, Event, Report};
use crate::kernel::{prepare, session::Session};
use railrise::notebook::{export, index, write_atomically};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

#[derive(clap::Args)]
pub struct Args {
    /// Notebooks, or folders of notebooks
    #[arg(required = true)]
    paths: Vec<PathBuf>,
    /// Where the copies with outputs and the pages go
    #[arg(long, default_value = "notebooks/out")]
    out: PathBuf,
    /// A value for the cell tagged `parameters`, such as `--set rpm=7000`
    #[arg(long = "set", value_name = "KEY=VALUE", value_parser = pair)]
    set: Vec<(String, String)>,
}

fn pair(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((key, value)) if !key.trim().is_empty() => Ok((key.trim().to_owned(), value.trim().to_owned())),
        _ => Err("expected KEY=VALUE".to_owned()),
    }
}

/// Runs the notebooks.
pub fn run(args: Args) -> ExitCode {
    let mut jobs = match files::read(&args.paths) {
        Ok(jobs) => jobs,
        Err(error) => return wrong(error),
    };
    for job in &mut jobs {
        if let Err(error) = headless::set_parameters(&mut job.notebook, &args.set) {
            return wrong(error);
        }
    }
    let out = match std::path::absolute(&args.out) {
        Ok(out) => out,
        Err(error) => return wrong(format!("{}: {error}", args.out.display())),
    };
    if jobs.iter().any(|j| j.folder() == out) {
        return wrong("the outputs would overwrite the stored notebooks; name another folder with --out");
    }
    if let Err(error) = std::fs::create_dir_all(&out) {
        return wrong(format!("{}: {error}", out.display()));
    }
    let prepared = match prepare::enter() {
        Ok(prepared) => prepared,
        Err(error) => return failed(error),
    };

    let whole = Instant::now();
    let mut screen = Screen::new();
    let mut session: Option<Session> = None;
    let mut entries = Vec::new();
    let (mut broken, total) = (Vec::new(), jobs.len());
    for (n, mut job) in jobs.into_iter().enumerate() {
        let name = job.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        screen.line(&format!("[{}/{total}] {name}", n + 1));
        let ready = match &mut session {
            Some(session) => session.restart(&job.folder()),
            None => {
                Session::start(&prepared, &job.folder(), &mut |m| screen.line(m)).map(|s| session = Some(s))
            }
        };
        let Some(session) = session.as_mut().filter(|_| ready.is_ok()) else {
            return failed(ready.err().unwrap_or_else(|| "the evaluator does not start".to_owned()));
        };
        let report = match headless::run(session, &mut job.notebook, &mut |e| screen.event(&e)) {
            Ok(report) => report,
            Err(error) => return failed(error),
        };
        let mut entry = index::Entry::of(&job.notebook, &format!("{}.html", job.stem()));
        entry.outcome = match &report.failed {
            None => index::Outcome::Finished { seconds: report.seconds },
            Some((cell, error)) => {
                index::Outcome::Stopped { cause: format!("cell {cell}: {}", error.message) }
            }
        };
        if let Err(error) = write(&job, &out) {
            return failed(error);
        }
        screen.line(&sentence(&report));
        if let Some((cell, error)) = &report.failed {
            broken.push(format!("{}: cell {cell}: {}: {}", job.path.display(), error.name, error.message));
            eprintln!("{}: cell {cell} failed ({})\n{}", job.path.display(), error.name, indent(&error.text));
        }
        entries.push(entry);
    }
    if total > 1 {
        let page = index::html("Notebooks", &entries, &export::Options::default());
        if let Err(error) = write_atomically(&out.join("index.html"), page.as_bytes()) {
            return failed(format!("{}: {error}", out.join("index.html").display()));
        }
    }
    screen.line(&format!(
        "{} of {total} notebooks ran to their end in {:.1} s; see {}",
        total - broken.len(),
        whole.elapsed().as_secs_f64(),
        out.display()
    ));
    if broken.is_empty() { ExitCode::SUCCESS } else { failed(broken.join("\nrailrise: ")) }
}

fn write(job: &Job, out: &Path) -> Result<(), String> {
    let copy = out.join(format!("{}.ipynb", job.stem()));
    job.notebook.write_atomically(&copy).map_err(|e| e.to_string())?;
    let options = export::Options { folder: Some(job.folder()), ..export::Options::default() };
    let page = out.join(format!("{}.html", job.stem()));
    write_atomically(&page, export::html(&job.notebook, &options).as_bytes())
        .map_err(|e| format!("{}: {e}", page.display()))
}

fn sentence(report: &Report) -> String {
    let end = if report.failed.is_some() { "stopped" } else { "done" };
    format!("  {end}: {} code cells in {:.1} s", report.ran, report.seconds)
}

fn indent(text: &str) -> String {
    text.lines().map(|l| format!("  {l}\n")).collect()
}

/// Tells how far the run is: one line that is redrawn on a terminal, a line a cell elsewhere.
pub struct Screen {
    terminal: bool,
    open: bool,
}

impl Screen {
    pub fn new() -> Screen {
        Screen { terminal: std::io::stderr().is_terminal(), open: false }
    }

    /// A line that stays.
    pub fn line(&mut self, text: &str) {
        self.wipe();
        eprintln!("{text}");
    }

    /// What a notebook's run tells.
    pub fn event(&mut self, event: &Event) {
        match event {
            Event::Begin { cell, of } if self.terminal => {
                self.wipe();
                eprint!("  cell {cell}/{of}");
                self.open = true;
                let _ = std::io::stderr().flush();
            }
            Event::End { cell, seconds } if !self.terminal => eprintln!("  cell {cell}  {seconds:.2} s"),
            Event::Output(crate::kernel::session::Output::Update { data, .. }) if self.terminal => {
                if let Some(text) = data["text/plain"].as_str() {
                    self.wipe();
                    eprint!("  {text}");
                    self.open = true;
                    let _ = std::io::stderr().flush();
                }
            }
            _ => {}
        }
    }

    fn wipe(&mut self) {
        if std::mem::take(&mut self.open) {
            eprint!("\r\x1b[2K");
        }
    }
}
