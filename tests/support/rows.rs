//! Reads the reference rows, holds answers against them and counts what was held.
//!
//! ```ignore
//! let all = rows("08_engine");
//! hold("08_engine", all, &[("8.x", "why it cannot hold")], |row| match row.kind() {
//!     "bmep" => Answer::one(law(row.input("bmep")).value),
//!     _ => Answer::Elsewhere, // another module answers this one
//! });
//! ```
#![allow(dead_code)] // each test module uses its part

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::path::Path;
use std::sync::Mutex;

/// One outside check value with its tolerance and source.
#[derive(Clone, Debug)]
pub struct Row {
    pub id: String,
    pub quantity: String,
    pub inputs: Value,
    pub expected: Value,
    pub tol_rel: Option<f64>,
    pub tol_abs: Option<f64>,
    pub source: String,
    pub from_memory: bool,
}

/// All rows of `tests/reference/FILE.json`.
pub fn rows(file: &str) -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(format!("{file}.json"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let all: Vec<Value> = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    all.into_iter()
        .map(|v| Row {
            id: v["id"].as_str().expect("a row has an id").to_owned(),
            quantity: v["quantity"].as_str().unwrap_or_default().to_owned(),
            inputs: v["inputs"].clone(),
            expected: v["expected"].clone(),
            tol_rel: v["tol_rel"].as_f64(),
            tol_abs: v["tol_abs"].as_f64(),
            source: v["source"].as_str().unwrap_or_default().to_owned(),
            from_memory: v["from_memory"].as_bool().unwrap_or(false),
        })
        .collect()
}

/// The row of a file with this id.
pub fn row(file: &str, id: &str) -> Row {
    rows(file).into_iter().find(|r| r.id == id).unwrap_or_else(|| panic!("no row {id} in {file}"))
}

impl Row {
    /// The word after the file number: `rho` in `1.rho.hept_0C_4bar`.
    pub fn kind(&self) -> &str {
        self.part(1)
    }

    /// A dotted part of the id, or an empty word.
    pub fn part(&self, n: usize) -> &str {
        self.id.split('.').nth(n).unwrap_or_default()
    }

    /// An input that is one number.
    pub fn input(&self, name: &str) -> f64 {
        self.inputs[name]
            .as_f64()
            .unwrap_or_else(|| panic!("{}: no number `{name}` among the inputs", self.id))
    }

    /// An input that is one number, when it is there.
    pub fn input_or(&self, name: &str, other: f64) -> f64 {
        self.inputs[name].as_f64().unwrap_or(other)
    }

    /// An input that is a list of numbers.
    pub fn input_list(&self, name: &str) -> Vec<f64> {
        numbers(&self.inputs[name])
    }

    /// The expected numbers: one, or those of a list.
    pub fn numbers(&self) -> Vec<f64> {
        numbers(&self.expected)
    }

    /// A named part of an expected object.
    pub fn numbers_of(&self, name: &str) -> Vec<f64> {
        numbers(&self.expected[name])
    }

    /// Whether one number lies within the row's own tolerance.
    pub fn check(&self, actual: f64) -> Result<(), String> {
        self.check_all(&[actual])
    }

    /// Whether these numbers lie within the row's own tolerance.
    pub fn check_all(&self, actual: &[f64]) -> Result<(), String> {
        self.check_against(&self.numbers(), actual)
    }

    /// The same against a part of what is expected.
    pub fn check_against(&self, expected: &[f64], actual: &[f64]) -> Result<(), String> {
        let memory = if self.from_memory { " (from memory)" } else { "" };
        let fail = |what: String| {
            Err(format!("{} [{}]: {what}\n      source: {}{memory}", self.id, self.quantity, self.source))
        };
        if expected.len() != actual.len() {
            return fail(format!("{} values for {}", actual.len(), expected.len()));
        }
        if self.tol_rel.is_none() && self.tol_abs.is_none() {
            return fail("the row has no tolerance".to_owned());
        }
        for (k, (e, a)) in expected.iter().zip(actual).enumerate() {
            let allowed = self.tol_rel.unwrap_or(0.0) * e.abs() + self.tol_abs.unwrap_or(0.0);
            let off = (e - a).abs();
            if off.is_nan() || off > allowed {
                let relative = off / e.abs();
                return fail(format!(
                    "value {k}: got {a:.12e}, expected {e:.12e}, off by {off:.3e} \
                     ({relative:.2e} relative), allowed {allowed:.3e}"
                ));
            }
        }
        Ok(())
    }
}

fn numbers(v: &Value) -> Vec<f64> {
    match v {
        Value::Array(list) => list.iter().filter_map(Value::as_f64).collect(),
        other => other.as_f64().into_iter().collect(),
    }
}

/// What a test module answers to a row.
pub enum Answer {
    /// Numbers to hold against the expected ones under the row's own tolerance.
    Numbers(Vec<f64>),
    /// A check of another form (a band, a word), made by the module.
    Judged(Result<(), String>),
    /// Another test module answers this row.
    Elsewhere,
}

impl Answer {
    /// One number.
    pub fn one(value: f64) -> Self {
        Self::Numbers(vec![value])
    }

    /// Several numbers.
    pub fn many(values: impl Into<Vec<f64>>) -> Self {
        Self::Numbers(values.into())
    }

    /// A judgement with words for the failure.
    pub fn judge(holds: bool, otherwise: impl Into<String>) -> Self {
        Self::Judged(if holds { Ok(()) } else { Err(otherwise.into()) })
    }
}

/// Held rows of every file, over all modules of this run.
static HELD: Mutex<BTreeMap<String, BTreeSet<String>>> = Mutex::new(BTreeMap::new());

/// Holds an answer against each row; `cannot` lists rows that cannot hold with the reason.
///
/// # Panics
/// Lists every row that fails with its source, and every row of `cannot` that does hold.
pub fn hold(file: &str, all: Vec<Row>, cannot: &[(&str, &str)], answer: impl Fn(&Row) -> Answer) -> usize {
    let total = all.len();
    let (mut held, mut failed, mut listed) = (Vec::new(), Vec::new(), Vec::new());
    for row in &all {
        let verdict = match answer(row) {
            Answer::Elsewhere => continue,
            Answer::Numbers(actual) => row.check_all(&actual),
            Answer::Judged(verdict) => verdict
                .map_err(|e| format!("{} [{}]: {e}\n      source: {}", row.id, row.quantity, row.source)),
        };
        let reason = cannot.iter().find(|(id, _)| *id == row.id).map(|(_, why)| why);
        match (verdict, reason) {
            (Ok(()), None) => held.push(row.id.clone()),
            (Ok(()), Some(_)) => failed.push(format!("{}: holds, yet is listed", row.id)),
            (Err(e), None) => failed.push(e),
            (Err(_), Some(why)) => listed.push(format!("{}: {why}", row.id)),
        }
    }
    for (id, _) in cannot {
        if !all.iter().any(|r| r.id == *id) {
            failed.push(format!("{id}: listed, yet no such row"));
        }
    }
    let here = held.len();
    let so_far = {
        let mut registry = HELD.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let file_set = registry.entry(file.to_owned()).or_default();
        file_set.extend(held);
        file_set.len()
    };
    // Written past the capture of the test harness, in one piece: the counts are part of what a run reports.
    let mut report = format!("reference rows: {file} {so_far} of {total} held ({here} here)\n");
    for line in &listed {
        report.push_str(&format!("reference rows: {file} cannot hold {line}\n"));
    }
    let _ = std::io::stderr().lock().write_all(report.as_bytes());
    assert!(failed.is_empty(), "{} of {total} rows of {file} fail:\n  {}", failed.len(), failed.join("\n  "));
    here
}
