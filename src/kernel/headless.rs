//! Running whole notebooks without a reader: every cell in order, outputs into a copy, a page
//! beside it; and running them again to see whether they still say what is stored.

use super::cell;
use super::error::CellError;
use super::session::{Output, Session};
use railrise::notebook::{CellKind, Notebook, output};
use serde_json::{Map, Value, json};
use std::time::Instant;

/// Cells with one of these tags do not run: the second by which a plain Rust kernel gets the library, which is here already.
const PASSED_OVER: [&str; 2] = ["skip-execution", "plain-kernel"];
/// Cells with this tag set the values that `--set` replaces.
const PARAMETERS: &str = "parameters";

/// What the runner tells while it works.
#[derive(Debug)]
pub enum Event<'a> {
    /// A code cell begins: its number among all cells, from 1, and how many cells there are.
    Begin {
        /// Number of the cell.
        cell: usize,
        /// Number of cells.
        of: usize,
    },
    /// A cell prints or shows something.
    Output(&'a Output),
    /// A code cell ended, after so many seconds.
    End {
        /// Number of the cell.
        cell: usize,
        /// Wall time.
        seconds: f64,
    },
}

/// How a notebook's run went.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Wall time in seconds.
    pub seconds: f64,
    /// Code cells that ran.
    pub ran: usize,
    /// The cell that failed, counted from 1, and why.
    pub failed: Option<(usize, CellError)>,
}

/// Replaces values in the cell tagged `parameters`.
///
/// # Errors
/// When there is no such cell, or no such name in it.
pub fn set_parameters(notebook: &mut Notebook, values: &[(String, String)]) -> Result<(), String> {
    if values.is_empty() {
        return Ok(());
    }
    let name = notebook.name().to_owned();
    let found = notebook.tagged(PARAMETERS).map(|c| (c.index(), c.source()));
    let (index, source) =
        found.ok_or_else(|| format!("{name}: no cell is tagged `{PARAMETERS}`, so nothing can be set"))?;
    let changed = cell::override_parameters(&source, values).map_err(|e| format!("{name}: {e}"))?;
    notebook.set_source(index, &changed).map_err(|e| e.to_string())
}

/// Runs the cells in order and puts what they say into the notebook. Stops at the first cell that
/// fails, unless that cell is tagged `raises-exception`.
///
/// # Errors
/// When the notebook refuses an output, which would be a fault of this program.
pub fn run(
    session: &mut Session,
    notebook: &mut Notebook,
    tell: &mut dyn FnMut(Event),
) -> Result<Report, String> {
    let start = Instant::now();
    let of = notebook.len();
    let cells: Vec<_> = notebook
        .cells()
        .filter(|c| c.kind() == CellKind::Code && !PASSED_OVER.iter().any(|t| c.has_tag(t)))
        .map(|c| (c.index(), c.source(), c.has_tag("raises-exception")))
        .collect();
    let fault = |e: railrise::notebook::NotebookError| e.to_string();
    for (index, ..) in &cells {
        notebook.set_outputs(*index, Vec::new()).map_err(fault)?;
        notebook.set_execution_count(*index, None).map_err(fault)?;
    }
    say_what_it_is(notebook);
    let mut report = Report { seconds: 0.0, ran: 0, failed: None };
    for (index, source, may_fail) in cells {
        if source.trim().is_empty() {
            continue;
        }
        report.ran += 1;
        tell(Event::Begin { cell: index + 1, of });
        let (begun, count) = (Instant::now(), report.ran as u64);
        let mut outputs = Outputs { list: Vec::new(), count, clear: false };
        let ended = session.execute(&source, &mut |o| {
            tell(Event::Output(&o));
            outputs.take(o);
        });
        let seconds = begun.elapsed().as_secs_f64();
        if let Err(error) = &ended {
            outputs.fail(error);
        }
        notebook.set_outputs(index, outputs.finish()).map_err(fault)?;
        notebook.set_execution_count(index, Some(count)).map_err(fault)?;
        let rounded = (seconds * 1000.0).round() / 1000.0;
        notebook.set_cell_metadata(index, "railrise", json!({"seconds": rounded})).map_err(fault)?;
        tell(Event::End { cell: index + 1, seconds });
        if let Err(error) = ended
            && !may_fail
        {
            report.failed = Some((index + 1, error));
            break;
        }
    }
    report.seconds = start.elapsed().as_secs_f64();
    Ok(report)
}

/// Names the kernel and the language, for whoever opens the copy.
fn say_what_it_is(notebook: &mut Notebook) {
    if notebook.metadata("kernelspec").is_none() {
        notebook.set_metadata(
            "kernelspec",
            json!({"display_name": "Railrise", "language": "rust", "name": "railrise"}),
        );
    }
    if notebook.metadata("language_info").is_none() {
        notebook.set_metadata("language_info", super::protocol::language_info());
    }
}

/// The outputs of one cell as the notebook format holds them.
struct Outputs {
    list: Vec<(Value, Option<String>)>,
    count: u64,
    clear: bool,
}

impl Outputs {
    fn take(&mut self, one: Output) {
        let bundle = |data: Value| match data {
            Value::Object(map) => map,
            _ => Map::new(),
        };
        if !matches!(one, Output::Clear(_) | Output::Update { .. }) && std::mem::take(&mut self.clear) {
            self.list.clear();
        }
        match one {
            Output::Stdout(text) => self.text("stdout", &text),
            Output::Stderr(text) => self.text("stderr", &text),
            Output::Display { data, id } => self.list.push((output::display(bundle(data)), id)),
            Output::Update { data, id } => {
                if let Some(place) = self.list.iter_mut().find(|(_, i)| i.as_ref() == Some(&id)) {
                    place.0 = output::display(bundle(data));
                }
            }
            // A cell has one result; what else is shown that way stands before it.
            Output::Result(data) if self.list.iter().any(|(o, _)| o["output_type"] == "execute_result") => {
                self.list.push((output::display(bundle(data)), None));
            }
            Output::Result(data) => self.list.push((output::result(self.count, bundle(data)), None)),
            Output::Clear(true) => self.clear = true,
            Output::Clear(false) => self.list.clear(),
        }
    }

    fn text(&mut self, name: &str, text: &str) {
        if let Some((last, _)) = self.list.last_mut()
            && last["output_type"] == "stream"
            && last["name"] == name
        {
            let before = output::text(&last["text"]).unwrap_or_default();
            *last = output::stream(name, &(before + text));
        } else {
            self.list.push((output::stream(name, text), None));
        }
    }

    fn fail(&mut self, error: &CellError) {
        let mut lines: Vec<String> = error.text.lines().map(str::to_owned).collect();
        if let Some(compiler) = &error.compiler {
            lines.push(String::new());
            lines.push("What the compiler says:".to_owned());
            lines.extend(compiler.lines().map(str::to_owned));
        }
        self.list.push((output::error(&error.name, &error.message, &lines), None));
    }

    fn finish(self) -> Vec<Value> {
        // A bar of progress has no place in a finished notebook, and its seconds would differ each time.
        let bar =
            |id: &Option<String>| id.as_ref().is_some_and(|i| i.starts_with(railrise::rich::wire::PROGRESS));
        self.list.into_iter().filter(|(_, id)| !bar(id)).map(|(o, _)| o).collect()
    }
}

/// The outputs with each stream in one piece: which of two streams speaks first is up to the machine.
fn settled(outputs: &[Value]) -> Vec<Value> {
    let mut streams: Vec<Value> = Vec::new();
    let mut others = Vec::new();
    for o in outputs {
        if o["output_type"] != "stream" {
            others.push(o.clone());
            continue;
        }
        let text = output::text(&o["text"]).unwrap_or_default();
        match streams.iter_mut().find(|s| s["name"] == o["name"]) {
            Some(s) => s["text"] = (output::text(&s["text"]).unwrap_or_default() + &text).into(),
            None => {
                let mut s = o.clone();
                s["text"] = text.into();
                streams.push(s);
            }
        }
    }
    streams.sort_by_key(|s| s["name"].as_str().unwrap_or_default().to_owned());
    streams.extend(others);
    streams
}

/// The first place where a run says something else than what is stored: cell and what differs.
pub fn first_difference(stored: &Notebook, ran: &Notebook) -> Option<(usize, String)> {
    for (old, new) in stored.cells().zip(ran.cells()) {
        if old.kind() != CellKind::Code || old.has_tag("skip-execution") {
            continue;
        }
        let (before, after) = (settled(old.outputs()), settled(new.outputs()));
        for (n, (a, b)) in before.iter().zip(&after).enumerate() {
            if let Some(what) = difference(a, b) {
                return Some((old.index() + 1, format!("output {}: {what}", n + 1)));
            }
        }
        if before.len() != after.len() {
            return Some((
                old.index() + 1,
                format!("{} outputs are stored, the run gave {}", before.len(), after.len()),
            ));
        }
    }
    None
}

fn difference(a: &Value, b: &Value) -> Option<String> {
    let kind = |v: &Value| v["output_type"].as_str().unwrap_or("no output").to_owned();
    if kind(a) != kind(b) {
        return Some(format!("stored as {}, the run gave {}", kind(a), kind(b)));
    }
    let forms = |v: &Value| -> Vec<(String, String)> {
        match v["output_type"].as_str() {
            Some("stream") => vec![(
                v["name"].as_str().unwrap_or_default().to_owned(),
                output::text(&v["text"]).unwrap_or_default(),
            )],
            Some("error") => vec![("error".to_owned(), format!("{}: {}", v["ename"], v["evalue"]))],
            _ => {
                let data = v["data"].as_object().into_iter().flatten();
                data.map(|(m, c)| (m.clone(), output::text(c).unwrap_or_else(|| c.to_string()))).collect()
            }
        }
    };
    let (a, b) = (forms(a), forms(b));
    for (form, old) in &a {
        let Some((_, new)) = b.iter().find(|(f, _)| f == form) else {
            return Some(format!("{form} is missing"));
        };
        if old == new {
            continue;
        }
        let at = old.lines().zip(new.lines()).position(|(x, y)| x != y);
        let at = at.unwrap_or_else(|| old.lines().count().min(new.lines().count()));
        let line = |t: &str| t.lines().nth(at).unwrap_or("(nothing)").chars().take(160).collect::<String>();
        return Some(format!(
            "{form}, line {}:\n    stored: {}\n    now:    {}",
            at + 1,
            line(old),
            line(new)
        ));
    }
    b.iter().find(|(f, _)| !a.iter().any(|(g, _)| f == g)).map(|(f, _)| format!("{f} is new"))
}
