//! Notebooks are read and written without loss, and what is wrong with one is said by file, cell and key.

use railrise::notebook::{CellKind, Notebook, NotebookError, output, student_copy, write_atomically};
use serde_json::{Value, json};

const SAMPLE: &str = include_str!("notebook/sample.ipynb");

fn sample() -> Notebook {
    Notebook::from_str("sample.ipynb", SAMPLE).unwrap()
}

/// A notebook as its text, from its cells.
fn with_cells(cells: &Value) -> String {
    json!({ "cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5 }).to_string()
}

fn code_cell() -> Value {
    json!({ "cell_type": "code", "execution_count": null, "id": "a", "metadata": {}, "outputs": [], "source": [] })
}

fn complaint(text: &str) -> String {
    Notebook::from_str("lesson.ipynb", text).unwrap_err().to_string()
}

#[test]
fn an_untouched_notebook_is_written_byte_for_byte() {
    // The sample was written by Python's `nbformat` 5.11, so this layout is the one of the common editors.
    assert_eq!(sample().to_string(), SAMPLE);
}

#[test]
fn values_that_strict_readers_reject_survive() {
    assert!(SAMPLE.contains("\"scrolled\": \"auto\""));
    let text = "{\n \"zebra\": {\n  \"b\": 1,\n  \"a\": [\n   1.5,\n   \"é ☃ \\u0007\"\n  ]\n },\n \"cells\": [\n  {\n   \
         \"id\": \"x\",\n   \"cell_type\": \"code\",\n   \"execution_count\": 7,\n   \"metadata\": {\n    \"scrolled\": \
         \"auto\",\n    \"vendor/thing\": null\n   },\n   \"outputs\": [\n    {\n     \"output_type\": \
         \"display_data\",\n     \"metadata\": {},\n     \"data\": {\n      \"application/x+json\": {\n       \"deep\": \
         {}\n      }\n     },\n     \"transient\": {}\n    }\n   ],\n   \"source\": \"one string\"\n  }\n ],\n \
         \"metadata\": {},\n \"nbformat\": 4,\n \"nbformat_minor\": 5\n}";
    // No line end at the end, keys out of order, a key no schema knows: all as it was.
    assert_eq!(Notebook::from_str("odd.ipynb", text).unwrap().to_string(), text);
}

#[test]
fn another_layout_is_kept() {
    let wide = serde_json::to_string_pretty(&serde_json::from_str::<Value>(SAMPLE).unwrap()).unwrap();
    assert!(wide.starts_with("{\n  \"cells\""));
    assert_eq!(Notebook::from_str("wide.ipynb", &wide).unwrap().to_string(), wide);
    // A document without lines of its own gets the usual layout, once.
    let flat = serde_json::to_string(&serde_json::from_str::<Value>(SAMPLE).unwrap()).unwrap() + "\n";
    assert_eq!(Notebook::from_str("flat.ipynb", &flat).unwrap().to_string(), SAMPLE);
    let other_ends = SAMPLE.replace('\n', "\r\n");
    assert_eq!(Notebook::from_str("ends.ipynb", &other_ends).unwrap().to_string(), other_ends);
}

#[test]
fn a_change_touches_only_what_was_changed() {
    let mut notebook = sample();
    let parameters = notebook.tagged("parameters").unwrap().index();
    let before = notebook.cell(parameters).unwrap().source();
    notebook.set_source(parameters, &before.replace("bar(4.0)", "bar(4.4)")).unwrap();
    let after = notebook.to_string();
    let changed: Vec<_> = SAMPLE.lines().zip(after.lines()).filter(|(old, new)| old != new).collect();
    assert_eq!(changed, [(r#"    "let predicted = bar(4.0);\n","#, r#"    "let predicted = bar(4.4);\n","#)]);
    assert_eq!(SAMPLE.lines().count(), after.lines().count());
}

#[test]
fn cells_are_seen_as_they_are() {
    let notebook = sample();
    let kinds: Vec<_> = notebook.cells().map(|cell| cell.kind()).collect();
    assert_eq!(kinds[0], CellKind::Markdown);
    assert_eq!(kinds[2], CellKind::Code);
    let cell = notebook.cell(2).unwrap();
    assert_eq!((cell.id(), cell.tags()), ("step-1", vec!["parameters"]));
    assert_eq!(cell.metadata("scrolled"), Some(&json!("auto")));
    assert!(cell.source().starts_with("// What you say before you know.\nlet predicted"));
    assert_eq!(cell.execution_count(), Some(1));
    assert_eq!(notebook.cell(99).map(|cell| cell.index()), None);
}

#[test]
fn outputs_are_set_cleared_and_checked() {
    let mut notebook = sample();
    notebook.clear_outputs();
    assert!(notebook.cells().all(|cell| cell.outputs().is_empty() && cell.execution_count().is_none()));

    let data = json!({ "text/plain": "4.4 bar\nor 63.8 psi", "image/png": "AAAA" });
    notebook
        .set_outputs(
            2,
            vec![
                output::stream("stdout", "one\ntwo"),
                output::display(data.as_object().unwrap().clone()),
                output::result(3, data.as_object().unwrap().clone()),
                output::error("Lean", "short of fuel", &["line".to_owned()]),
            ],
        )
        .unwrap();
    notebook.set_execution_count(2, Some(3)).unwrap();
    let again = Notebook::from_str("again.ipynb", &notebook.to_string()).unwrap();
    let cell = again.cell(2).unwrap();
    assert_eq!(cell.execution_count(), Some(3));
    assert_eq!(cell.outputs()[0]["text"], json!(["one\n", "two"]));
    // Texts are lists of lines in the file, other types stay one string, as the format's own writer has it.
    assert_eq!(
        cell.outputs()[1]["data"],
        json!({ "text/plain": ["4.4 bar\n", "or 63.8 psi"], "image/png": "AAAA" })
    );

    let wrong = notebook.set_outputs(2, vec![json!({ "output_type": "stream", "name": "stdout" })]);
    assert_eq!(
        wrong.unwrap_err().to_string(),
        "sample.ipynb: cell 3 (id `step-1`): `outputs[0].text`: found nothing; accepted is this key, which format 4.5 requires"
    );
    assert!(matches!(notebook.set_outputs(0, Vec::new()), Err(NotebookError::NoSuchCell { index: 0, .. })));
    assert!(notebook.set_source(99, "").is_err());
}

#[test]
fn every_fault_names_file_cell_and_key() {
    let said = complaint(&SAMPLE[..SAMPLE.len() / 2]);
    assert!(said.starts_with("lesson.ipynb: line ") && said.contains("cut short"), "{said}");

    let mut cell = code_cell();
    for (key, value, accepted) in [
        ("id", json!("two words"), "1 to 64 letters"),
        ("id", json!(7), "a text"),
        ("cell_type", json!("heading"), "`code`, `markdown` or `raw`"),
        ("source", json!(["a", 1]), "a list of texts"),
        ("metadata", json!([]), "an object"),
        ("outputs", json!({}), "a list"),
        ("execution_count", json!(-1), "a whole number from 0"),
    ] {
        let whole = cell[key].take();
        cell[key] = value;
        let said = complaint(&with_cells(&json!([cell])));
        assert!(
            said.starts_with("lesson.ipynb: cell 1")
                && said.contains(&format!("`{key}`: found "))
                && said.contains(accepted),
            "{said}"
        );
        cell[key] = whole;
        assert!(Notebook::from_str("lesson.ipynb", &with_cells(&json!([cell]))).is_ok());
    }

    let twins = complaint(&with_cells(&json!([code_cell(), code_cell()])));
    assert_eq!(
        twins,
        "lesson.ipynb: cell 2 (id `a`): `id`: found `a`, which cell 1 has already; accepted is an id of its own for each cell"
    );
    let old = complaint(r#"{"cells": [], "metadata": {}, "nbformat": 3, "nbformat_minor": 0}"#);
    assert!(old.contains("`nbformat`: found format 3.0"), "{old}");
    let bare = complaint("[]");
    assert!(bare.contains("found a list; accepted is an object"), "{bare}");
    let gone = Notebook::read(std::path::Path::new("no/such/lesson.ipynb")).unwrap_err();
    assert!(gone.to_string().starts_with("no/such/lesson.ipynb: cannot be read: "));
}

#[test]
fn the_students_copy_has_no_teachers_cell() {
    let notebook = sample();
    let copy = student_copy(&notebook);
    let dropped: Vec<_> = notebook.cells().filter(|cell| cell.has_tag("teacher")).collect();
    assert!(!dropped.is_empty());
    assert_eq!(copy.len() + dropped.len(), notebook.len());
    assert!(copy.cells().all(|cell| !cell.has_tag("teacher")));
    for cell in dropped {
        assert!(!copy.to_string().contains(cell.source().lines().last().unwrap()));
    }
    assert!(Notebook::from_str("copy.ipynb", &copy.to_string()).is_ok());
}

#[test]
fn a_file_is_written_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("lesson.ipynb");
    sample().write_atomically(&path).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap(), SAMPLE);
    assert_eq!(Notebook::read(&path).unwrap().to_string(), SAMPLE);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // Readable by the same people as any new file.
        std::fs::write(folder.path().join("plain"), "").unwrap();
        let mode = |name: &str| {
            let data = std::fs::metadata(folder.path().join(name)).unwrap();
            data.permissions().mode()
        };
        assert_eq!(mode("lesson.ipynb"), mode("plain"));
        std::fs::remove_file(folder.path().join("plain")).unwrap();
    }

    // A folder stands where the file should go: the rename fails, and nothing is left behind.
    let blocked = folder.path().join("blocked");
    std::fs::create_dir_all(blocked.join("full")).unwrap();
    assert!(write_atomically(&blocked, b"half").is_err());
    let failed = sample().write_atomically(&folder.path().join("no/such/folder.ipynb"));
    assert!(matches!(failed, Err(NotebookError::Write { .. })));
    let mut left: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    left.sort();
    assert_eq!(left, ["blocked", "lesson.ipynb"]);
}
