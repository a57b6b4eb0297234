//! The lines by which a running cell hands pictures, tables and progress to whoever runs it.
//!
//! One line on standard output a message: [`MARK`], then a JSON object with a `kind`. A line is
//! live as soon as it is written, keeps its place among printed text, and survives however many
//! there are in one cell.

use super::Bundle;
use serde_json::{Value, json};

/// What such a line starts with: a control character no text starts with by accident.
pub const MARK: &str = "\u{2}railrise ";

/// Set in the environment of a cell that is run by this package's own kernel or runner.
pub const CELL_VARIABLE: &str = "RAILRISE_CELL";

/// How the names of places begin that hold a bar of progress.
pub const PROGRESS: &str = "railrise-progress-";

/// A bundle to put on the page.
pub fn display(bundle: &Bundle, id: Option<&str>) -> Value {
    json!({"kind": "display", "data": bundle.to_json(), "id": id})
}

/// New content for a bundle that was put on the page under `id`.
pub fn update(bundle: &Bundle, id: &str) -> Value {
    json!({"kind": "update", "data": bundle.to_json(), "id": id})
}

/// The value of the last expression of a cell.
pub fn result(bundle: &Bundle) -> Value {
    json!({"kind": "result", "data": bundle.to_json()})
}

/// A request to wipe the output so far; with `wait` only when the next output comes.
pub fn clear(wait: bool) -> Value {
    json!({"kind": "clear", "wait": wait})
}

/// The message of a panic and where it stood.
pub fn panic(message: &str, file: &str, line: u32) -> Value {
    json!({"kind": "panic", "message": message, "file": file, "line": line})
}

/// The line of a message.
pub fn line(message: &Value) -> String {
    format!("{MARK}{message}\n")
}
