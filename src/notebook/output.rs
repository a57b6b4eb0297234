//! The outputs of a code cell, as notebook format 4.5 writes them.
//!
//! Source: the `nbformat` 4.5 JSON schema and its writer, which splits texts into lists of lines.

use serde_json::{Map, Value, json};

/// Text that a cell wrote on `"stdout"` or `"stderr"`.
#[must_use]
pub fn stream(name: &str, text: &str) -> Value {
    json!({ "name": name, "output_type": "stream", "text": lines(text) })
}

/// Something a cell showed: a map from MIME type to content.
#[must_use]
pub fn display(data: Map<String, Value>) -> Value {
    json!({ "data": bundle(data), "metadata": {}, "output_type": "display_data" })
}

/// The value a cell ended with.
#[must_use]
pub fn result(execution_count: u64, data: Map<String, Value>) -> Value {
    json!({
        "data": bundle(data),
        "execution_count": execution_count,
        "metadata": {},
        "output_type": "execute_result"
    })
}

/// An error: its name, its one-line message and the lines that explain it (terminal colours allowed).
#[must_use]
pub fn error(name: &str, message: &str, traceback: &[String]) -> Value {
    json!({ "ename": name, "evalue": message, "output_type": "error", "traceback": traceback })
}

/// Splits a text into the list of lines that notebook files hold, each but the last with its line end.
#[must_use]
pub fn lines(text: &str) -> Value {
    text.split_inclusive('\n').map(Value::from).collect()
}

/// Joins what a notebook file holds for a text (one string, or a list of lines) into one string.
#[must_use]
pub fn text(value: &Value) -> Option<String> {
    match value {
        Value::String(whole) => Some(whole.clone()),
        Value::Array(parts) => parts.iter().map(Value::as_str).collect(),
        _ => None,
    }
}

fn bundle(data: Map<String, Value>) -> Value {
    data.into_iter()
        .map(|(mime, content)| {
            let splits =
                mime.starts_with("text/") || mime == "image/svg+xml" || mime == "application/javascript";
            let content = match content {
                Value::String(whole) if splits => lines(&whole),
                other => other,
            };
            (mime, content)
        })
        .collect::<Map<_, _>>()
        .into()
}
