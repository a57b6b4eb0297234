//! Measured values from a table beside the build file.

use crate::error::{Error, Kind, Result, did_you_mean};
use std::path::Path;

/// The numbers of one column of a CSV file (RFC 4180, a first line of names, each with its unit in brackets:
/// `static flow [cc/min]`); blank cells are passed over. `quantity` reads a number with a unit into SI.
///
/// # Errors
/// A file that cannot be read, a column that is not there or has no unit, a cell that is no number: with line and value.
pub(super) fn read(
    folder: Option<&Path>,
    file: &str,
    column: Option<&str>,
    quantity: impl Fn(&str) -> std::result::Result<f64, String>,
) -> Result<Vec<f64>> {
    let path = folder.map_or_else(|| Path::new(file).to_owned(), |f| f.join(file));
    let bad = |line: u64, what: String| {
        Error::new(Kind::Format, format!("{}, line {line}: {what}", path.display()))
    };
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_path(&path)
        .map_err(|e| Error::new(Kind::File, format!("{} cannot be read: {e}", path.display())))?;
    let lines = |e: &csv::Error| e.position().map_or(1, csv::Position::line);
    let header = reader.headers().map_err(|e| bad(lines(&e), e.to_string()))?.clone();
    let split = |cell: &str| -> (String, Option<String>) {
        match cell.strip_suffix(']').and_then(|c| c.rsplit_once('[')) {
            Some((name, unit)) => (name.trim().to_owned(), Some(unit.trim().to_owned())),
            None => (cell.to_owned(), None),
        }
    };
    let columns: Vec<_> = header.iter().map(split).collect();
    let names = || columns.iter().map(|c| c.0.as_str());
    let at = match column {
        Some(wanted) => names().position(|n| n == wanted).ok_or_else(|| {
            bad(1, format!("there is no column \"{wanted}\"")).next(format!(
                "{}the columns are: {}",
                did_you_mean(wanted, names()),
                names().collect::<Vec<_>>().join(", ")
            ))
        })?,
        None if columns.len() == 1 => 0,
        None => {
            return Err(bad(1, format!("there are {} columns", columns.len()))
                .next(format!("name one: column = \"{}\"", columns.last().map_or("", |c| &c.0))));
        }
    };
    let (name, unit) = &columns[at];
    let unit = unit.as_deref().ok_or_else(|| {
        bad(1, format!("column \"{name}\" has no unit"))
            .next(format!("write it in the first line: {name} [unit]"))
    })?;
    let mut values = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| bad(lines(&e), e.to_string()))?;
        let line = record.position().map_or(1, csv::Position::line);
        let cell = record.get(at).unwrap_or_default();
        if cell.is_empty() {
            continue;
        }
        let read = cell.parse::<f64>().map_err(|_| format!("\"{cell}\" in column \"{name}\" is no number"));
        values.push(read.and_then(|_| quantity(&format!("{cell} {unit}"))).map_err(|what| bad(line, what))?);
    }
    if values.is_empty() {
        return Err(bad(1, format!("column \"{name}\" holds no value")));
    }
    Ok(values)
}
