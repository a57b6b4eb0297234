//! Frequent beginners' errors, each through the whole evaluator: what a reader is told first.

use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;

/// A cell, a piece of what its headline says, a piece of the cure.
const CASES: [(&str, &str, &str); 46] = [
    // Quantities and numbers.
    ("fn fill(p: railrise::quantity::Pressure) {}\nfill(1.4)", "A unit is missing", "bar(1.4)"),
    (
        "fn fill2(p: railrise::quantity::Pressure) {}\nfill2(railrise::quantity::l_per_h(127.0))",
        "a pressure is expected, and this is a volume flow",
        "bar(1.4)",
    ),
    ("let q: f64 = railrise::quantity::l_per_h(127.0);", "a bare number is expected", "unit"),
    ("let sum = railrise::quantity::bar(1.0) + 2.0;", "quantity", "bar(1.4)"),
    ("let x: f64 = 3;", "a decimal number is expected", "3.0"),
    ("let n: usize = 2.5;", "a whole number is expected", "round()"),
    ("2.5 * 2", "cannot be mixed", "2.0"),
    ("1 + 1.5", "cannot be mixed", "2.0"),
    ("let big: u64 = 1u32;", "Two kinds of whole number", "as u64"),
    ("let i = 1i32; list[i]", "usize", "as usize"),
    ("let x: f64 = \"2.5\";", "a number is expected, and this is a text", "quotes"),
    ("let name: String = \"car\";", "`String`", ".to_string()"),
    // Names.
    ("presure", "There is no `presure`", "pressure"),
    ("level = 3.0;", "does not exist yet", "let level"),
    ("print(\"hello\")", "exclamation mark", "println!"),
    ("println(\"hello\")", "exclamation mark", "println!"),
    ("True", "There is no `True`", "true"),
    ("sqrt(2.0)", "There is no `sqrt`", "x.sqrt()"),
    ("let x: float = 1.0;", "no type `float`", "f64"),
    ("numpy::array()", "Nothing is called `numpy`", "spelling"),
    ("list.lenght()", "has no `.lenght()`", "len"),
    ("part.presure", "no part called `presure`", "pressure"),
    ("Part", "name of a type", "{ }"),
    // Handing over and changing.
    ("{ let a = vec![1.0]; let b = a; a.len() + b.len() }", "used up", ".clone()"),
    ("{ let a = 1.0; a += 1.0; a }", "not made to be changed", "let mut a"),
    ("{ let a = vec![1.0]; a.push(2.0); a }", "not made to be changed", "let mut a"),
    ("{ let mut a = vec![1.0]; let first = &a[0]; a.push(2.0); *first }", "at the same time", ".clone()"),
    // Calls and control.
    ("fn twice(x: f64) -> f64 { 2.0 * x }\ntwice(1.0, 2.0)", "takes 1 argument", "exactly"),
    ("fn none(x: f64) -> f64 { x * 2.0; }", "nothing comes back", "`;`"),
    ("if pressure = 3.0 { 1 } else { 2 }", "`=` sets a value", "=="),
    ("if pressure { 1 } else { 2 }", "true or false", "x > 0.0"),
    ("if pressure > 1.0 { 1 } else { \"low\" }", "branches", "same kind"),
    ("match Some(1) { Some(n) => n }", "Not every case", "_ =>"),
    ("pressure(2.0)", "cannot be called", "*"),
    ("for x in 10 { }", "walked through", "0..10"),
    ("let v: f64 = Some(1.0);", "wrapping", "unwrap_or"),
    ("let v = \"a,b\".split(',').collect();", "which type is meant", "Vec<f64>"),
    ("\"a\" + \"b\"", "not joined with `+`", "format!"),
    ("Part { pressure: 1.0 }", "Not every field", "value"),
    // Printing and grammar.
    ("println!(\"{}\", part2())", "no plain text form", "{:?}"),
    ("println!(\"{} {}\", 1)", "do not match in number", "{rpm}"),
    ("let y = (1.0 + 2.0;", "brackets", "partner"),
    ("let a = 1.0\nlet b = 2.0;", "`;` is missing", "`;`"),
    ("import numpy as np", "Python", "leave the line away"),
    ("def f(x): return x", "begins with `fn`", "fn name"),
    ("let t = 20°;", "not a sign of the language", "degc"),
];

#[test]
fn beginners_errors_come_in_plain_words_with_a_caret() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kernel errors");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("the test's folder");
    let cell = |n: usize, source: &str, tags: Value| json!({"cell_type": "code", "execution_count": null, "id": format!("c{n}"), "metadata": {"tags": tags}, "outputs": [], "source": source});
    let set_up = "#[derive(Debug)] pub struct Part { pressure: f64, flow: f64 }\n\
                  pub struct Silent;\npub fn part2() -> Silent { Silent }\n\
                  let pressure = 3.0;\nlet list = vec![1.0, 2.0];\nlet part = Part { pressure: 1.0, flow: 2.0 };";
    let mut cells = vec![cell(0, set_up, json!([]))];
    cells.extend(
        CASES.iter().enumerate().map(|(n, (source, ..))| cell(n + 1, source, json!(["raises-exception"]))),
    );
    let notebook = json!({"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5});
    let path = folder.join("errors.ipynb");
    std::fs::write(&path, notebook.to_string()).expect("the test's notebook");
    let ran = Command::new(env!("CARGO_BIN_EXE_railrise"))
        .arg("run")
        .arg(&path)
        .arg("--out")
        .arg(folder.join("out"))
        .output()
        .expect("runs");
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let text = std::fs::read_to_string(folder.join("out/errors.ipynb")).expect("the copy");
    let copy: Value = serde_json::from_str(&text).expect("JSON");
    let mut wrong = Vec::new();
    for (n, (source, headline, cure)) in CASES.iter().enumerate() {
        let outputs = copy["cells"][n + 1]["outputs"].as_array().cloned().unwrap_or_default();
        let Some(error) = outputs.iter().find(|o| o["output_type"] == "error") else {
            wrong.push(format!("{source:?} is no error: {outputs:?}"));
            continue;
        };
        let lines: Vec<_> =
            error["traceback"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        let (plain, compiler) = lines
            .split_at(lines.iter().position(|l| l.starts_with("What the compiler")).unwrap_or(lines.len()));
        let plain = plain.join("\n");
        // The evaluator's own remark about a type has no place in the cell.
        let caret = plain.contains('^') || compiler.iter().any(|l| l.contains("automatically determine"));
        if !plain.contains(headline) || !plain.contains(cure) || compiler.is_empty() || !caret {
            wrong.push(format!(
                "{source:?}\n  expected {headline:?} and {cure:?}, said:\n{}",
                lines.join("\n")
            ));
        }
    }
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), CASES.len(), wrong.join("\n\n"));
}
