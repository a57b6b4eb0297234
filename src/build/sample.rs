//! Measured values from a table beside the build file.

use crate::error::{Error, Kind, Result, did_you_mean};
use std::path::Path;

/// The numbers of one column of a CSV file (RFC 4180, a first line of names, each with its unit in brackets:
/// `static flow [cc/min]`); blank cells are passed over. `quantity` reads a number with a unit into SI.
///
/// # Errors
/// A file that cannot be read or has no line of names, a column that is not there or has no unit, two columns of one name, a cell that is no number
/// or not finite: with line and value.
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
    let text = std::fs::read(&path)
        .map_err(|e| Error::new(Kind::File, format!("{} cannot be read: {e}", path.display())))?;
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text.as_slice());
    let line_of = |at: Option<&csv::Position>| at.map_or(1, |at| line_from(&text, at.byte()));
    let header = reader.headers().map_err(|e| bad(line_of(e.position()), e.to_string()))?.clone();
    if header.is_empty() {
        let what = if text.is_empty() { "is empty" } else { "has no line of names" };
        return Err(Error::new(Kind::Format, format!("{} {what}", path.display()))
            .next("its first line names the columns, each with its unit: static flow [cc/min]"));
    }
    let top = line_of(header.position());
    let split = |cell: &str| -> (String, Option<String>) {
        match cell.strip_suffix(']').and_then(|c| c.rsplit_once('[')) {
            Some((name, unit)) => (name.trim().to_owned(), Some(unit.trim().to_owned())),
            None => (cell.to_owned(), None),
        }
    };
    let columns: Vec<_> = header.iter().map(split).collect();
    let names = || columns.iter().map(|c| c.0.as_str());
    // Spreadsheets leave empty columns behind.
    let twice = |(i, n): &(usize, &str)| !n.is_empty() && names().take(*i).any(|m| m == *n);
    if let Some(twice) = names().enumerate().find(twice) {
        return Err(bad(top, format!("two columns are named \"{}\"", twice.1)).next("give each its own name"));
    }
    let at = match column {
        Some(wanted) => names().position(|n| n == wanted).ok_or_else(|| {
            bad(top, format!("there is no column \"{wanted}\"")).next(format!(
                "{}the columns are: {}",
                did_you_mean(wanted, names()),
                names().collect::<Vec<_>>().join(", ")
            ))
        })?,
        None if columns.len() == 1 => 0,
        None => {
            return Err(bad(top, format!("there are {} columns", columns.len()))
                .next(format!("name one: column = \"{}\"", columns.last().map_or("", |c| &c.0))));
        }
    };
    let (name, unit) = &columns[at];
    let unit = unit.as_deref().ok_or_else(|| {
        bad(top, format!("column \"{name}\" has no unit"))
            .next(format!("write it in that line: {name} [unit]"))
    })?;
    let mut values = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| bad(line_of(e.position()), e.to_string()))?;
        let cell = record.get(at).unwrap_or_default();
        if cell.is_empty() {
            continue;
        }
        let said = |what: &str| {
            bad(line_of(record.position()), format!("\"{cell}\" in column \"{name}\" is {what}"))
        };
        let number = cell.parse::<f64>().map_err(|_| said("no number"))?;
        if !number.is_finite() {
            return Err(said("not finite")
                .next("take the line out, or leave the cell blank: blank cells are passed over"));
        }
        values.push(quantity(&format!("{cell} {unit}")).map_err(|what| said(&format!("refused: {what}")))?);
    }
    if values.is_empty() {
        return Err(bad(top, format!("column \"{name}\" holds no value")));
    }
    Ok(values)
}

/// The line, from one on, of the first record from a byte on: a reader's position lies before the comments and the empty
/// lines that it passes over.
fn line_from(text: &[u8], byte: u64) -> u64 {
    let at = usize::try_from(byte).unwrap_or(text.len()).min(text.len());
    let before = text[..at].iter().filter(|b| **b == b'\n').count();
    let passed = text[at..]
        .split(|b| *b == b'\n')
        .take_while(|l| l.is_empty() || *l == b"\r" || l.starts_with(b"#"))
        .count();
    (1 + before + passed) as u64
}
