//! What went wrong in a cell, for people.

use super::cell::Ready;
use super::friendly::{Friendly, friendly, of_evaluator};
use evcxr::CompilationError;

/// Why a cell did not end well.
#[derive(Clone, Debug, PartialEq)]
pub struct CellError {
    /// The kind, one or two words, such as `compile error` or `panic`.
    pub name: String,
    /// One line.
    pub message: String,
    /// The whole of it, as text for a terminal.
    pub text: String,
    /// The compiler's own words, when `text` is the friendly form of them.
    pub compiler: Option<String>,
    /// Whether the variables defined so far are gone.
    pub variables_lost: bool,
}

impl CellError {
    /// An error of one message.
    pub fn new(name: &str, message: impl Into<String>) -> CellError {
        let message = message.into();
        let first = message.lines().next().unwrap_or_default().to_owned();
        CellError {
            name: name.to_owned(),
            message: first,
            text: message,
            compiler: None,
            variables_lost: false,
        }
    }

    /// The same, with all variables gone.
    pub fn fatal(name: &str, message: impl Into<String>) -> CellError {
        CellError { variables_lost: true, ..CellError::new(name, message) }
    }
}

impl std::fmt::Display for CellError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// One complaint of the compiler about a cell, in the cell's own lines and columns.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Complaint {
    /// Such as `E0308`.
    pub code: Option<String>,
    /// The compiler's headline.
    pub message: String,
    /// Where, the main place first.
    pub spots: Vec<Spot>,
    /// Advice and notes, as the compiler gives them.
    pub helps: Vec<String>,
}

/// A stretch of a cell that the compiler points at. Lines and columns count from 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spot {
    /// First line.
    pub line: usize,
    /// First column.
    pub column: usize,
    /// Last line.
    pub end_line: usize,
    /// Column after the last.
    pub end_column: usize,
    /// What the compiler says about it.
    pub label: String,
}

impl Complaint {
    /// Reads what the evaluator reports.
    pub fn read(error: &CompilationError, ready: &Ready) -> Complaint {
        let main = error
            .primary_spanned_message()
            .and_then(|m| m.span.as_ref())
            .map(|s| (s.start_line, s.start_column));
        let mut spots: Vec<Spot> = Vec::new();
        for spanned in error.spanned_messages() {
            let Some(span) = &spanned.span else { continue };
            let spot = Spot {
                line: ready.cell_line(span.start_line),
                column: span.start_column,
                end_line: ready.cell_line(span.end_line),
                end_column: span.end_column,
                label: spanned.label.clone(),
            };
            if main == Some((span.start_line, span.start_column)) {
                spots.insert(0, spot);
            } else {
                spots.push(spot);
            }
        }
        let children = error.json["children"].as_array().cloned().unwrap_or_default();
        let helps = children.iter().filter_map(|c| {
            let (level, message) = (c["level"].as_str()?, c["message"].as_str()?);
            // Advice about lines that the cell does not have would only confuse.
            if message.contains("evcxr") || message.contains("--explain") {
                return None;
            }
            let replacement =
                c["spans"][0]["suggested_replacement"].as_str().map(str::trim).filter(|r| !r.is_empty());
            Some(match replacement {
                Some(replacement) => format!("{level}: {message}: `{replacement}`"),
                None => format!("{level}: {message}"),
            })
        });
        Complaint {
            code: error.code().map(str::to_owned),
            message: error.message(),
            spots,
            helps: helps.collect(),
        }
    }

    /// The text of the cell at the main place.
    pub fn source<'a>(&self, cell: &'a str) -> &'a str {
        self.spots.first().map_or("", |s| s.text(cell))
    }

    /// The compiler's complaint with the lines it is about.
    pub fn as_compiler_says(&self, cell: &str) -> String {
        let code = self.code.as_ref().map(|c| format!("[{c}]")).unwrap_or_default();
        let mut out = format!("error{code}: {}\n", self.message);
        for spot in &self.spots {
            out.push_str(&spot.picture(cell, &spot.label));
        }
        for help in &self.helps {
            out.push_str(&format!("  = {help}\n"));
        }
        out
    }
}

impl Spot {
    /// The text of the cell there; only the first line of several.
    pub fn text<'a>(&self, cell: &'a str) -> &'a str {
        let line = cell.lines().nth(self.line.saturating_sub(1)).unwrap_or_default();
        let byte =
            |column: usize| line.char_indices().nth(column.saturating_sub(1)).map_or(line.len(), |(b, _)| b);
        let end = if self.end_line == self.line { byte(self.end_column) } else { line.len() };
        line.get(byte(self.column)..end).unwrap_or_default()
    }

    /// The line of the cell with carets below the stretch.
    pub fn picture(&self, cell: &str, label: &str) -> String {
        let line = cell.lines().nth(self.line.saturating_sub(1)).unwrap_or_default().replace('\t', " ");
        let length = line.chars().count();
        let from = self.column.saturating_sub(1).min(length);
        let to = if self.end_line == self.line { self.end_column.saturating_sub(1) } else { length };
        let carets = "^".repeat(to.saturating_sub(from).max(1));
        let number = self.line.to_string();
        let gap = " ".repeat(number.len());
        format!("{number} | {line}\n{gap} | {}{carets} {label}", " ".repeat(from)).trim_end().to_owned()
            + "\n"
    }
}

/// The compiler's complaints about a cell as one error: in plain words where they are known, with the
/// compiler's words kept beside them. `names` are the variables and functions defined so far.
pub fn from_compiler(errors: &[CompilationError], ready: &Ready, cell: &str, names: &[String]) -> CellError {
    let mut complaints: Vec<Complaint> = Vec::new();
    let about_cell = |c: &Complaint| !c.spots.is_empty();
    let anywhere = errors.iter().any(|e| about_cell(&Complaint::read(e, ready)));
    for error in errors {
        let complaint = Complaint::read(error, ready);
        // What has no place in the cell follows from what has.
        if !complaints.contains(&complaint) && (about_cell(&complaint) || !anywhere) {
            complaints.push(complaint);
        }
    }
    let compiler = complaints.iter().map(|c| c.as_compiler_says(cell)).collect::<Vec<_>>().join("\n");
    let compiler = compiler.trim_end().to_owned();
    let plain: Vec<_> = complaints.iter().map(|c| (c, friendly(c, cell, names))).collect();
    let message = match plain.first() {
        Some((_, Some(plain))) => plain.headline.clone(),
        Some((complaint, None)) => complaint.message.clone(),
        None => "the cell does not compile".to_owned(),
    };
    let name = "compile error".to_owned();
    if plain.iter().all(|(_, friendly)| friendly.is_none()) {
        return CellError { name, message, text: compiler, compiler: None, variables_lost: false };
    }
    let one = |(complaint, plain): &(&Complaint, Option<Friendly>)| match plain {
        Some(plain) => {
            let place = complaint.spots.first().map(|s| s.picture(cell, "")).unwrap_or_default();
            format!("{}\n{place}{}\n", plain.headline, plain.cure)
        }
        None => complaint.as_compiler_says(cell),
    };
    let text = plain.iter().map(one).collect::<Vec<_>>().join("\n").trim_end().to_owned();
    CellError { name, message, text, compiler: Some(compiler), variables_lost: false }
}

/// What the evaluator itself says about a cell.
pub fn from_evaluator(message: &str) -> CellError {
    match of_evaluator(message) {
        Some(plain) => CellError {
            compiler: Some(message.to_owned()),
            text: format!("{}\n{}", plain.headline, plain.cure),
            ..CellError::new("compile error", plain.headline)
        },
        None => CellError::new("compile error", message),
    }
}
