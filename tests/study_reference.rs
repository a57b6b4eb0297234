//! Rows of `tests/reference/11_stats.json` by id.
use serde_json::Value;
use std::sync::OnceLock;

/// The row with this id.
pub fn row(id: &str) -> &'static Value {
    rows().iter().find(|r| r["id"] == id).unwrap_or_else(|| panic!("no reference row {id}"))
}

/// Every row.
pub fn rows() -> &'static [Value] {
    static ROWS: OnceLock<Vec<Value>> = OnceLock::new();
    ROWS.get_or_init(|| {
        serde_json::from_str(include_str!("reference/11_stats.json")).expect("valid reference file")
    })
}

/// A JSON list of numbers.
pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(|v| v.as_f64().expect("a number")).collect()
}

/// Fails unless `got` lies within the row's own tolerance of `want`.
#[track_caller]
pub fn close(row: &Value, got: f64, want: f64) {
    let rel = row["tol_rel"].as_f64().map_or(0.0, |t| t * want.abs());
    let abs = row["tol_abs"].as_f64().unwrap_or(0.0);
    // One unit in the last place on top: rows with tolerance zero are exact up to printing.
    let tol = rel.max(abs) + 2.0 * f64::EPSILON * want.abs();
    assert!(
        (got - want).abs() <= tol,
        "{}: got {got}, expected {want} within {tol}; source: {}",
        row["id"],
        row["source"]
    );
}
