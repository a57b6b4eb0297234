//! `railrise class`: the same notebooks for every student of a class, with a summary of who got what.
//!
//! ```toml
//! notebooks = ["08-pulse-is-not-duty.ipynb"]    # beside this file
//!
//! [[student]]
//! name = "Ada"
//! set = { boost = "bar(1.2)" }                  # her values for the cell tagged `parameters`
//! copies = "handed-in/ada"                      # optional: her filled-in copies instead of the originals
//! ```

use super::files::{self, Job};
use super::run::write;
use super::runner::Runner;
use super::{failed, wrong};
use crate::kernel::headless;
use railrise::explain::Table;
use railrise::notebook::{Tally, student_copy, write_atomically};
use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use toml_edit::{Document, Item, Table as Toml};

#[derive(clap::Args)]
pub struct Args {
    /// The class file
    class: PathBuf,
    /// Where the copies and the summary go; a folder for each student
    #[arg(long, default_value = "notebooks/out/class")]
    out: PathBuf,
}

struct Student {
    name: String,
    set: Vec<(String, String)>,
    jobs: Vec<Job>,
}

/// Runs the class.
pub fn run(args: Args) -> ExitCode {
    let students = match read(&args.class) {
        Ok(students) => students,
        Err(error) => return wrong(error),
    };
    // A notebook's cells run in its folder, and this process goes there: places are fixed before.
    let to = match std::path::absolute(&args.out) {
        Ok(to) => to,
        Err(error) => return failed(format!("{}: {error}", args.out.display())),
    };
    let mut runner = match Runner::new() {
        Ok(runner) => runner,
        Err(error) => return failed(error),
    };
    let columns = ["student", "notebook", "own values", "said / it is", "checks right", "run"];
    let mut table = Table::new("Who got what", &columns);
    let total = students.len();
    let mut broken = false;
    for (n, student) in students.into_iter().enumerate() {
        let out = to.join(folder_name(&student.name));
        if let Err(error) = std::fs::create_dir_all(&out) {
            return failed(format!("{}: {error}", out.display()));
        }
        for mut job in student.jobs {
            runner.screen.line(&format!("[{}/{total}] {}: {}", n + 1, student.name, job.stem()));
            let report = match runner.run(&mut job) {
                Ok(report) => report,
                Err(error) => return failed(error),
            };
            if let Err(error) = write(&job, &out) {
                return failed(error);
            }
            broken |= report.failed.is_some();
            let tally = Tally::of(&job.notebook);
            let said: Vec<String> = tally.said.iter().map(|s| format!("{} / {}", s.said, s.is)).collect();
            let set: Vec<String> = student.set.iter().map(|(k, v)| format!("{k} = {v}")).collect();
            table.row([
                student.name.clone(),
                job.stem(),
                set.join(", "),
                said.join("; "),
                format!("{} of {}", tally.right, tally.asked),
                report
                    .failed
                    .map_or("to its end".to_owned(), |(c, e)| format!("stopped in cell {c}: {}", e.message)),
            ]);
        }
    }
    println!("{table}");
    let page = to.join("class.html");
    let html = format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><meta charset=\"utf-8\"><title>Who got what</title>\n{}</html>\n",
        table.html()
    );
    if let Err(error) = write_atomically(&page, html.as_bytes()) {
        return failed(format!("{}: {error}", page.display()));
    }
    runner.screen.line(&format!("see {}", to.display()));
    if broken { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

/// A name as a folder: letters, digits and hyphens.
fn folder_name(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect()
}

fn read(file: &Path) -> Result<Vec<Student>, String> {
    let at = |what: String| format!("{}: {what}", file.display());
    let text = std::fs::read_to_string(file).map_err(|e| at(e.to_string()))?;
    let root = Document::parse(text.as_str()).map_err(|e| at(e.to_string()))?;
    if let Some((key, _)) = root.iter().find(|(key, _)| !["notebooks", "student"].contains(key)) {
        return Err(at(format!(
            "the key `{key}` is not known; a class file holds `notebooks` and `[[student]]`"
        )));
    }
    let beside = file.parent().unwrap_or(Path::new("."));
    let listed = root.get("notebooks").and_then(Item::as_array);
    let notebooks: Vec<PathBuf> =
        listed.into_iter().flatten().filter_map(|v| v.as_str()).map(|n| beside.join(n)).collect();
    if notebooks.is_empty() {
        return Err(at(
            "name at least one notebook, such as notebooks = [\"08-pulse-is-not-duty.ipynb\"]".into()
        ));
    }
    let list = root.get("student").and_then(Item::as_array_of_tables);
    let students: Vec<Student> = list
        .into_iter()
        .flatten()
        .map(|t| student(t, beside, &notebooks).map_err(at))
        .collect::<Result<_, _>>()?;
    if students.is_empty() {
        return Err(at("there is no student; write [[student]] and name = \"...\"".into()));
    }
    let mut folders = HashSet::new();
    match students.iter().find(|s| !folders.insert(folder_name(&s.name))) {
        Some(s) => Err(at(format!(
            "two students would share the folder `{}`; give each a name of her own",
            folder_name(&s.name)
        ))),
        None => Ok(students),
    }
}

fn student(t: &Toml, beside: &Path, notebooks: &[PathBuf]) -> Result<Student, String> {
    let Some(name) = t.get("name").and_then(Item::as_str).map(str::to_owned) else {
        return Err("a student has no name; write name = \"...\" under [[student]]".to_owned());
    };
    if let Some((key, _)) = t.iter().find(|(k, _)| !["name", "set", "copies"].contains(k)) {
        return Err(format!("{name}: the key `{key}` is not known; a student has: name, set, copies"));
    }
    let mut set = Vec::new();
    for (key, value) in t.get("set").and_then(Item::as_table_like).into_iter().flat_map(|t| t.iter()) {
        let Some(text) = value.as_str() else {
            return Err(format!("{name}: set.{key} is to be a text, such as \"bar(1.2)\""));
        };
        set.push((key.to_owned(), text.to_owned()));
    }
    let copies = t.get("copies").and_then(Item::as_str).map(|c| beside.join(c));
    let paths: Vec<PathBuf> = match &copies {
        Some(folder) => notebooks.iter().map(|n| folder.join(n.file_name().unwrap_or_default())).collect(),
        None => notebooks.to_vec(),
    };
    let mut jobs = files::read(&paths)?;
    for job in &mut jobs {
        job.notebook = student_copy(&job.notebook);
        headless::set_parameters(&mut job.notebook, &set).map_err(|e| format!("{name}: {e}"))?;
    }
    Ok(Student { name, set, jobs })
}
