//! The notebook document and its cells.

use std::fmt;
use std::io;
use std::path::Path;

use serde::Serialize;
use serde_json::ser::{PrettyFormatter, Serializer};
use serde_json::{Map, Value};

use super::check;
use super::error::{CellPlace, NotebookError};
use super::file::write_atomically;
use super::output;

/// The kind of a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellKind {
    /// Source that is run.
    Code,
    /// Text with headings, lists, tables and maths.
    Markdown,
    /// Text that is left alone.
    Raw,
}

/// A cell, looked at.
#[derive(Debug, Clone, Copy)]
pub struct Cell<'a> {
    index: usize,
    value: &'a Value,
}

impl<'a> Cell<'a> {
    /// Position counted from 0.
    #[must_use]
    pub fn index(&self) -> usize {
        self.index
    }

    /// Code, Markdown or raw.
    #[must_use]
    pub fn kind(&self) -> CellKind {
        match self.value["cell_type"].as_str() {
            Some("code") => CellKind::Code,
            Some("markdown") => CellKind::Markdown,
            _ => CellKind::Raw,
        }
    }

    /// The cell's identifier.
    #[must_use]
    pub fn id(&self) -> &'a str {
        self.value["id"].as_str().unwrap_or_default()
    }

    /// The cell's text as one string.
    #[must_use]
    pub fn source(&self) -> String {
        output::text(&self.value["source"]).unwrap_or_default()
    }

    /// The cell's tags.
    #[must_use]
    pub fn tags(&self) -> Vec<&'a str> {
        self.value["metadata"]["tags"]
            .as_array()
            .map(|tags| tags.iter().filter_map(Value::as_str).collect())
            .unwrap_or_default()
    }

    /// Does the cell carry this tag?
    #[must_use]
    pub fn has_tag(&self, tag: &str) -> bool {
        self.tags().contains(&tag)
    }

    /// A value of the cell's metadata.
    #[must_use]
    pub fn metadata(&self, key: &str) -> Option<&'a Value> {
        self.value["metadata"].get(key)
    }

    /// The outputs of a code cell; none for another.
    #[must_use]
    pub fn outputs(&self) -> &'a [Value] {
        self.value["outputs"].as_array().map_or(&[], Vec::as_slice)
    }

    /// The count of the run that made the outputs.
    #[must_use]
    pub fn execution_count(&self) -> Option<u64> {
        self.value["execution_count"].as_u64()
    }

    /// A picture or other file stored in the cell: its MIME type and content (base64 for pictures).
    #[must_use]
    pub fn attachment(&self, name: &str) -> Option<(&'a str, String)> {
        let bundle = self.value.get("attachments")?.get(name)?.as_object()?;
        let (mime, content) = bundle.iter().next()?;
        Some((mime, output::text(content)?))
    }
}

/// How the text of the file was laid out, so that writing keeps it.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Layout {
    indent: String,
    line_end: &'static str,
    last_line_end: bool,
}

impl Layout {
    /// What the common notebook editors write.
    fn usual() -> Self {
        Self { indent: " ".to_owned(), line_end: "\n", last_line_end: true }
    }

    fn of(text: &str) -> Self {
        let mut layout = Self::usual();
        // A raw carriage return cannot stand inside a JSON string, so any is layout.
        if text.contains("\r\n") {
            layout.line_end = "\r\n";
        }
        layout.last_line_end = text.ends_with('\n');
        // Only a document that is laid out one key a line shows its indentation in the second line.
        let mut lines = text.lines();
        if lines.next() == Some("{")
            && let Some(second) = lines.next()
        {
            let indent: String = second.chars().take_while(|c| *c == ' ' || *c == '\t').collect();
            if !indent.is_empty() && second[indent.len()..].starts_with('"') {
                layout.indent = indent;
            }
        }
        layout
    }
}

/// A notebook of format 4.5, held as the document it was read as.
///
/// Keys, their order, indentation and the last line end are kept, so an untouched notebook is written byte for byte and a
/// changed one differs only where it was changed. (A fraction in it may come out in another spelling of the same number,
/// such as `1e-5` for `1e-05`.)
///
/// ```
/// use railrise::notebook::{Notebook, output};
/// let text = r#"{"cells": [{"cell_type": "code", "execution_count": null, "id": "a1", "metadata": {},
///     "outputs": [], "source": ["1 + 1"]}], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}"#;
/// let mut notebook = Notebook::from_str("sum.ipynb", text)?;
/// notebook.set_outputs(0, vec![output::stream("stdout", "2\n")])?;
/// assert_eq!(notebook.cell(0).map(|cell| cell.outputs().len()), Some(1));
/// # Ok::<(), railrise::notebook::NotebookError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Notebook {
    name: String,
    value: Value,
    layout: Layout,
}

impl Notebook {
    /// Reads a file.
    ///
    /// # Errors
    /// When the file cannot be read, is not JSON, or is not a notebook of format 4.5; each names file, cell and key.
    pub fn read(path: &Path) -> Result<Self, NotebookError> {
        let name = path.display().to_string();
        match std::fs::read_to_string(path) {
            Ok(text) => Self::from_str(&name, &text),
            Err(source) => Err(NotebookError::Read { file: name, source }),
        }
    }

    /// Reads a text; `name` stands for the file in errors.
    ///
    /// # Errors
    /// When the text is not JSON, or not a notebook of format 4.5.
    pub fn from_str(name: &str, text: &str) -> Result<Self, NotebookError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let value: Value = serde_json::from_str(text).map_err(|problem| NotebookError::Json {
            file: name.to_owned(),
            line: problem.line(),
            column: problem.column(),
            problem: {
                // The place is said already.
                let said = problem.to_string();
                said.split(" at line ").next().unwrap_or(&said).to_owned()
            },
        })?;
        check::document(name, &value)?;
        Ok(Self { name: name.to_owned(), value, layout: Layout::of(text) })
    }

    /// The file's name as it was given, for messages.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How many cells there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.cell_values().len()
    }

    /// Has the notebook no cell at all?
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The cells in order.
    pub fn cells(&self) -> impl DoubleEndedIterator<Item = Cell<'_>> + ExactSizeIterator {
        self.cell_values().iter().enumerate().map(|(index, value)| Cell { index, value })
    }

    /// The cell at a position counted from 0.
    #[must_use]
    pub fn cell(&self, index: usize) -> Option<Cell<'_>> {
        let value = self.cell_values().get(index)?;
        Some(Cell { index, value })
    }

    /// The first cell with this tag, such as `parameters`.
    #[must_use]
    pub fn tagged(&self, tag: &str) -> Option<Cell<'_>> {
        self.cells().find(|cell| cell.has_tag(tag))
    }

    /// A value of the notebook's own metadata.
    #[must_use]
    pub fn metadata(&self, key: &str) -> Option<&Value> {
        self.value["metadata"].get(key)
    }

    /// Sets a value of the notebook's own metadata.
    pub fn set_metadata(&mut self, key: &str, value: Value) {
        if let Some(map) = self.value["metadata"].as_object_mut() {
            map.insert(key.to_owned(), value);
        }
    }

    /// Sets the text of a cell.
    ///
    /// # Errors
    /// When there is no such cell.
    pub fn set_source(&mut self, index: usize, source: &str) -> Result<(), NotebookError> {
        let map = self.cell_map(index, "take a source")?;
        map.insert("source".to_owned(), output::lines(source));
        Ok(())
    }

    /// Replaces the outputs of a code cell; [`output`] builds them.
    ///
    /// # Errors
    /// When there is no such code cell, or an output is not one of format 4.5.
    pub fn set_outputs(&mut self, index: usize, outputs: Vec<Value>) -> Result<(), NotebookError> {
        let place = CellPlace { index, id: self.cell(index).map(|cell| cell.id().to_owned()) };
        for (n, value) in outputs.iter().enumerate() {
            check::output(&self.name, place.clone(), format!("outputs[{n}]"), value)?;
        }
        let map = self.code_map(index, "take outputs")?;
        map.insert("outputs".to_owned(), outputs.into());
        Ok(())
    }

    /// Sets the count of the run that a code cell's outputs come from; `None` for "not run".
    ///
    /// # Errors
    /// When there is no such code cell.
    pub fn set_execution_count(&mut self, index: usize, count: Option<u64>) -> Result<(), NotebookError> {
        let map = self.code_map(index, "take a count")?;
        map.insert("execution_count".to_owned(), count.into());
        Ok(())
    }

    /// Sets a value of a cell's metadata.
    ///
    /// # Errors
    /// When there is no such cell.
    pub fn set_cell_metadata(&mut self, index: usize, key: &str, value: Value) -> Result<(), NotebookError> {
        let map = self.cell_map(index, "take metadata")?;
        if let Some(metadata) = map.get_mut("metadata").and_then(Value::as_object_mut) {
            metadata.insert(key.to_owned(), value);
        }
        Ok(())
    }

    /// Removes a value of every cell's metadata.
    pub fn remove_cell_metadata(&mut self, key: &str) {
        for value in self.cell_values_mut() {
            if let Some(metadata) = value["metadata"].as_object_mut() {
                metadata.remove(key);
            }
        }
    }

    /// Removes all outputs and counts, as before a first run.
    pub fn clear_outputs(&mut self) {
        for value in self.cell_values_mut() {
            if let Some(map) = value.as_object_mut().filter(|map| is_code(map)) {
                map.insert("outputs".to_owned(), Value::Array(Vec::new()));
                map.insert("execution_count".to_owned(), Value::Null);
            }
        }
    }

    /// Keeps only the cells that `keep` says yes to.
    pub fn retain(&mut self, mut keep: impl FnMut(Cell<'_>) -> bool) {
        let mut index = 0;
        self.cell_values_mut().retain(|value| {
            let kept = keep(Cell { index, value });
            index += 1;
            kept
        });
    }

    /// Writes the file whole or not at all: to a temporary name in the same folder, then renamed.
    ///
    /// # Errors
    /// What the system reports, with the file's name.
    pub fn write_atomically(&self, path: &Path) -> Result<(), NotebookError> {
        write_atomically(path, self.to_string().as_bytes())
            .map_err(|source| NotebookError::Write { file: path.display().to_string(), source })
    }

    fn cell_values(&self) -> &[Value] {
        self.value["cells"].as_array().map_or(&[], Vec::as_slice)
    }

    fn cell_values_mut(&mut self) -> &mut Vec<Value> {
        match &mut self.value["cells"] {
            Value::Array(cells) => cells,
            _ => unreachable!("a notebook is checked for its list of cells when it is read"),
        }
    }

    fn cell_map(
        &mut self,
        index: usize,
        wanted: &'static str,
    ) -> Result<&mut Map<String, Value>, NotebookError> {
        let cells = self.len();
        let file = self.name.clone();
        self.cell_values_mut()
            .get_mut(index)
            .and_then(Value::as_object_mut)
            .ok_or(NotebookError::NoSuchCell { file, index, cells, wanted })
    }

    fn code_map(
        &mut self,
        index: usize,
        wanted: &'static str,
    ) -> Result<&mut Map<String, Value>, NotebookError> {
        let cells = self.len();
        let file = self.name.clone();
        let map = self.cell_map(index, wanted)?;
        if is_code(map) { Ok(map) } else { Err(NotebookError::NoSuchCell { file, index, cells, wanted }) }
    }
}

fn is_code(map: &Map<String, Value>) -> bool {
    map.get("cell_type").and_then(Value::as_str) == Some("code")
}

/// The text of the file.
impl fmt::Display for Notebook {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut bytes = Vec::new();
        let formatter = PrettyFormatter::with_indent(self.layout.indent.as_bytes());
        let mut serializer = Serializer::with_formatter(&mut bytes, formatter);
        self.value.serialize(&mut serializer).map_err(io::Error::from).map_err(|_| fmt::Error)?;
        let mut text = String::from_utf8(bytes).map_err(|_| fmt::Error)?;
        if self.layout.last_line_end {
            text.push('\n');
        }
        if self.layout.line_end == "\r\n" {
            text = text.replace('\n', "\r\n");
        }
        f.write_str(&text)
    }
}
