//! Is this JSON document a notebook of format 4.5? Only what this crate relies on, and what other tools refuse to open.
//!
//! Source: the `nbformat` 4.5 JSON schema. Keys unknown to it are kept, not refused.

use std::collections::HashMap;

use serde_json::{Map, Value};

use super::error::{CellPlace, NotebookError};

/// Checks the whole document. `file` names it in errors.
pub(super) fn document(file: &str, value: &Value) -> Result<(), NotebookError> {
    let root = Place { file, cell: None, path: String::new() };
    let map = root.object(value)?;
    let major = root.integer(map, "nbformat")?;
    let minor = root.integer(map, "nbformat_minor")?;
    if major != 4 || minor < 5 {
        return Err(root.wrong(
            "nbformat",
            format!("format {major}.{minor}"),
            "format 4.5 or a later 4.x (open the notebook in a current editor and save it once)",
        ));
    }
    root.child_object(map, "metadata")?;
    let cells = root.child_array(map, "cells")?;
    let mut seen: HashMap<&str, usize> = HashMap::new();
    for (index, cell_value) in cells.iter().enumerate() {
        let id = cell_value.get("id").and_then(Value::as_str);
        let place =
            Place { file, cell: Some(CellPlace { index, id: id.map(str::to_owned) }), path: String::new() };
        cell(&place, cell_value)?;
        // `cell` has made sure that there is an id.
        let id = id.unwrap_or_default();
        if let Some(first) = seen.insert(id, index) {
            return Err(place.wrong(
                "id",
                format!("`{id}`, which cell {} has already", first + 1),
                "an id of its own for each cell",
            ));
        }
    }
    Ok(())
}

/// Checks one output; `path` is where it stands in its cell.
pub(super) fn output(file: &str, cell: CellPlace, path: String, value: &Value) -> Result<(), NotebookError> {
    one_output(&Place { file, cell: Some(cell), path }, value)
}

fn cell(place: &Place<'_>, value: &Value) -> Result<(), NotebookError> {
    let map = place.object(value)?;
    let id = place.text(map, "id")?;
    let allowed = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if id.is_empty() || id.len() > 64 || !id.chars().all(allowed) {
        return Err(place.wrong("id", format!("`{id}`"), "1 to 64 letters, digits, hyphens and underscores"));
    }
    let kind = place.text(map, "cell_type")?;
    let metadata = place.child_object(map, "metadata")?;
    if let Some(tags) = metadata.get("tags") {
        let good = tags
            .as_array()
            .is_some_and(|tags| tags.iter().all(|tag| tag.as_str().is_some_and(|tag| !tag.contains(','))));
        if !good {
            return Err(place.wrong("metadata.tags", describe(tags), "a list of texts"));
        }
    }
    place.multiline(map, "source")?;
    match kind {
        "markdown" | "raw" => Ok(()),
        "code" => {
            let count = place.get(map, "execution_count")?;
            if !(count.is_null() || count.is_u64()) {
                return Err(place.wrong("execution_count", describe(count), "null or a whole number from 0"));
            }
            for (n, value) in place.child_array(map, "outputs")?.iter().enumerate() {
                one_output(&place.below(format!("outputs[{n}]")), value)?;
            }
            Ok(())
        }
        other => Err(place.wrong("cell_type", format!("`{other}`"), "`code`, `markdown` or `raw`")),
    }
}

fn one_output(place: &Place<'_>, value: &Value) -> Result<(), NotebookError> {
    let map = place.object(value)?;
    match place.text(map, "output_type")? {
        "stream" => {
            place.text(map, "name")?;
            place.multiline(map, "text")
        }
        "display_data" => bundle(place, map),
        "execute_result" => {
            let count = place.get(map, "execution_count")?;
            if !(count.is_null() || count.is_u64()) {
                return Err(place.wrong("execution_count", describe(count), "null or a whole number from 0"));
            }
            bundle(place, map)
        }
        "error" => {
            place.text(map, "ename")?;
            place.text(map, "evalue")?;
            let lines = place.child_array(map, "traceback")?;
            match lines.iter().find(|line| !line.is_string()) {
                Some(line) => Err(place.wrong("traceback", describe(line), "a list of texts")),
                None => Ok(()),
            }
        }
        other => Err(place.wrong(
            "output_type",
            format!("`{other}`"),
            "`stream`, `display_data`, `execute_result` or `error`",
        )),
    }
}

fn bundle(place: &Place<'_>, map: &Map<String, Value>) -> Result<(), NotebookError> {
    place.child_object(map, "metadata")?;
    let data = place.child_object(map, "data")?;
    for (mime, content) in data {
        let json = mime.starts_with("application/") && mime.ends_with("json");
        if !json && super::output::text(content).is_none() {
            return Err(place.wrong(&format!("data.{mime}"), describe(content), "a text or a list of texts"));
        }
    }
    Ok(())
}

/// A place in the document, for errors.
struct Place<'a> {
    file: &'a str,
    cell: Option<CellPlace>,
    path: String,
}

impl Place<'_> {
    fn below(&self, path: String) -> Self {
        Self { file: self.file, cell: self.cell.clone(), path }
    }

    fn key(&self, key: &str) -> String {
        match (self.path.is_empty(), key.is_empty()) {
            (true, _) => key.to_owned(),
            (false, true) => self.path.clone(),
            (false, false) => format!("{}.{key}", self.path),
        }
    }

    fn wrong(&self, key: &str, found: impl Into<String>, accepted: &str) -> NotebookError {
        NotebookError::Shape {
            file: self.file.to_owned(),
            cell: self.cell.clone().map(Box::new),
            key: self.key(key),
            found: found.into(),
            accepted: accepted.to_owned(),
        }
    }

    fn object<'v>(&self, value: &'v Value) -> Result<&'v Map<String, Value>, NotebookError> {
        value.as_object().ok_or_else(|| self.wrong("", describe(value), "an object"))
    }

    fn get<'v>(&self, map: &'v Map<String, Value>, key: &str) -> Result<&'v Value, NotebookError> {
        map.get(key).ok_or_else(|| self.wrong(key, "nothing", "this key, which format 4.5 requires"))
    }

    fn integer(&self, map: &Map<String, Value>, key: &str) -> Result<u64, NotebookError> {
        let value = self.get(map, key)?;
        value.as_u64().ok_or_else(|| self.wrong(key, describe(value), "a whole number from 0"))
    }

    fn text<'v>(&self, map: &'v Map<String, Value>, key: &str) -> Result<&'v str, NotebookError> {
        let value = self.get(map, key)?;
        value.as_str().ok_or_else(|| self.wrong(key, describe(value), "a text"))
    }

    fn multiline(&self, map: &Map<String, Value>, key: &str) -> Result<(), NotebookError> {
        let value = self.get(map, key)?;
        match super::output::text(value) {
            Some(_) => Ok(()),
            None => Err(self.wrong(key, describe(value), "a text or a list of texts")),
        }
    }

    fn child_object<'v>(
        &self,
        map: &'v Map<String, Value>,
        key: &str,
    ) -> Result<&'v Map<String, Value>, NotebookError> {
        let value = self.get(map, key)?;
        value.as_object().ok_or_else(|| self.wrong(key, describe(value), "an object"))
    }

    fn child_array<'v>(
        &self,
        map: &'v Map<String, Value>,
        key: &str,
    ) -> Result<&'v Vec<Value>, NotebookError> {
        let value = self.get(map, key)?;
        value.as_array().ok_or_else(|| self.wrong(key, describe(value), "a list"))
    }
}

/// A short description of a value, for "found ...".
fn describe(value: &Value) -> String {
    match value {
        Value::Null => "null".to_owned(),
        Value::Bool(flag) => flag.to_string(),
        Value::Number(number) => format!("the number {number}"),
        Value::String(text) if text.chars().count() <= 30 => format!("the text `{text}`"),
        Value::String(_) => "a text".to_owned(),
        Value::Array(_) => "a list".to_owned(),
        Value::Object(_) => "an object".to_owned(),
    }
}
