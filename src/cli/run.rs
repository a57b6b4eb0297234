//! `railrise run`: notebooks without a reader.

use super::files::{self, Job};
use super::runner::Runner;
use super::{failed, wrong};
use crate::kernel::headless::{self, Event, Report};
use railrise::notebook::{export, for_the_teacher, index, student_copy, write_atomically};
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
    /// Whose copy: the students' leaves out what is for the teacher
    #[arg(long = "for", value_name = "WHOM", default_value = "teacher")]
    reader: Reader,
    /// Also store the outputs in the notebooks themselves
    #[arg(long, conflicts_with_all = ["set", "reader"])]
    store: bool,
    /// Fail when a notebook says something else than what is stored in it
    #[arg(long, conflicts_with_all = ["set", "reader", "store"])]
    as_stored: bool,
}

#[derive(Clone, Copy, PartialEq, clap::ValueEnum)]
enum Reader {
    /// Everything
    Teacher,
    /// Without the teacher's cells and notebooks
    Students,
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
    if args.reader == Reader::Students {
        jobs.retain(|j| !for_the_teacher(&j.notebook));
        for job in &mut jobs {
            job.notebook = student_copy(&job.notebook);
        }
    }
    let mut runner = match Runner::new() {
        Ok(runner) => runner,
        Err(error) => return failed(error),
    };

    let whole = Instant::now();
    let mut entries = Vec::new();
    let (mut broken, total) = (Vec::new(), jobs.len());
    for (n, mut job) in jobs.into_iter().enumerate() {
        let name = job.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        runner.screen.line(&format!("[{}/{total}] {name}", n + 1));
        let stored = args.as_stored.then(|| job.notebook.clone());
        let report = match runner.run(&mut job) {
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
        if let Err(error) = write(&job, &out)
            .and_then(|()| if args.store && report.failed.is_none() { store(&job) } else { Ok(()) })
        {
            return failed(error);
        }
        runner.screen.line(&sentence(&report));
        if let Some((cell, error)) = &report.failed {
            broken.push(format!("{}: cell {cell}: {}: {}", job.path.display(), error.name, error.message));
            eprintln!("{}: cell {cell} failed ({})\n{}", job.path.display(), error.name, indent(&error.text));
        } else if let Some((cell, what)) = stored.and_then(|s| headless::first_difference(&s, &job.notebook))
        {
            broken.push(format!("{}: cell {cell} is not as stored: {what}", job.path.display()));
        }
        entries.push(entry);
    }
    if total > 1 {
        let page = index::html("Notebooks", &entries, &export::Options::default());
        if let Err(error) = write_atomically(&out.join("index.html"), page.as_bytes()) {
            return failed(format!("{}: {error}", out.join("index.html").display()));
        }
    }
    runner.screen.line(&format!(
        "{} of {total} notebooks ran to their end in {:.1} s; see {}",
        total - broken.len(),
        whole.elapsed().as_secs_f64(),
        out.display()
    ));
    if broken.is_empty() { ExitCode::SUCCESS } else { failed(broken.join("\nrailrise: ")) }
}

/// The outputs into the notebook itself, without what differs from run to run.
fn store(job: &Job) -> Result<(), String> {
    let mut kept = job.notebook.clone();
    kept.remove_cell_metadata("railrise");
    kept.write_atomically(&job.path).map_err(|e| e.to_string())
}

/// A copy with its outputs, and the page.
pub fn write(job: &Job, out: &Path) -> Result<(), String> {
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
