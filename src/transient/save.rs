//! Traces to and from a table of comma-separated values.

use super::solution::{Channel, Solution};
use crate::error::{Error, Kind, Result};
use crate::quantity::{Dim, Flavour};
use indexmap::IndexMap;
use ndarray::Array1;
use std::fmt::Write as _;
use std::path::Path;

/// Times and channels without the rest of a solution.
#[derive(Clone, Debug, PartialEq)]
pub struct Traces {
    /// Times, s.
    pub t: Array1<f64>,
    /// Named channels, SI.
    pub channels: IndexMap<String, Channel>,
}

/// A quantity as files name it: `Pressure gauge`.
pub(super) fn quantity_word(dim: Dim, flavour: Flavour) -> String {
    let kind = match flavour {
        Flavour::Gauge => " gauge",
        Flavour::Absolute => " abs",
        Flavour::Plain => "",
    };
    format!("{dim:?}{kind}")
}

impl Solution {
    /// Times and channels alone.
    #[must_use]
    pub fn traces(&self) -> Traces {
        Traces { t: self.t.clone(), channels: self.channels.clone() }
    }
}

impl Traces {
    /// The table as text: a first line of names, a second of quantities (SI throughout), then the rows, each number
    /// with all its digits.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut out = String::from("time");
        for name in self.channels.keys() {
            out.push(',');
            out.push_str(&quoted(name));
        }
        out.push_str("\nTime");
        for c in self.channels.values() {
            let _ = write!(out, ",{}", quantity_word(c.dim, c.flavour));
        }
        for (k, t) in self.t.iter().enumerate() {
            let _ = write!(out, "\n{t}");
            for c in self.channels.values() {
                let _ = write!(out, ",{}", c.values[k]);
            }
        }
        out.push('\n');
        out
    }

    /// Writes the table.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn save_csv(&self, path: impl AsRef<Path>) -> Result<()> {
        let path = path.as_ref();
        std::fs::write(path, self.to_csv()).map_err(|e| Error::file(path, &e))
    }

    /// Reads a table that was written by [`Traces::save_csv`].
    ///
    /// # Errors
    /// Line and column of what is not a number, or a quantity that is not known.
    pub fn load_csv(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let text = std::fs::read_to_string(path).map_err(|e| Error::file(path, &e))?;
        Self::from_csv(&text).map_err(|e| e.in_file(path))
    }

    /// Reads the text of such a table.
    ///
    /// # Errors
    /// As [`Traces::load_csv`].
    pub fn from_csv(text: &str) -> Result<Self> {
        let mut lines = text.lines();
        let bad = |line: usize, what: String| Error::new(Kind::Format, what).at_line(line);
        let names = cells(lines.next().unwrap_or_default());
        let kinds = cells(lines.next().unwrap_or_default());
        if names.len() < 2 || names.len() != kinds.len() || names[0] != "time" {
            return Err(bad(
                1,
                "the first two lines must hold the names and quantities of the columns".into(),
            )
            .next("the first column is \"time\""));
        }
        let mut columns: Vec<Vec<f64>> = vec![Vec::new(); names.len()];
        for (row, line) in lines.enumerate() {
            let values = cells(line);
            if values.len() != names.len() {
                return Err(bad(row + 3, format!("{} values for {} columns", values.len(), names.len())));
            }
            for (column, (v, name)) in columns.iter_mut().zip(values.iter().zip(&names)) {
                column.push(
                    v.parse()
                        .map_err(|_| bad(row + 3, format!("\"{v}\" in column \"{name}\" is no number")))?,
                );
            }
        }
        let mut columns = columns.into_iter();
        let t = columns.next().unwrap_or_default().into();
        let mut channels = IndexMap::new();
        for ((name, kind), values) in names.into_iter().zip(kinds).skip(1).zip(columns) {
            let (dim, flavour) =
                quantity(&kind).ok_or_else(|| bad(2, format!("\"{kind}\" is not a quantity")))?;
            channels.insert(name, Channel { dim, flavour, values: values.into() });
        }
        Ok(Self { t, channels })
    }
}

/// The quantities that channels have.
const DIMS: [Dim; 11] = [
    Dim::Ratio,
    Dim::Length,
    Dim::Time,
    Dim::Current,
    Dim::Volume,
    Dim::VolumeRate,
    Dim::MassRate,
    Dim::Pressure,
    Dim::AngularVelocity,
    Dim::Voltage,
    Dim::Temperature,
];

pub(super) fn quantity(word: &str) -> Option<(Dim, Flavour)> {
    let (name, flavour) = match word.split_once(' ') {
        None => (word, Flavour::Plain),
        Some((n, "gauge")) => (n, Flavour::Gauge),
        Some((n, "abs")) => (n, Flavour::Absolute),
        Some(_) => return None,
    };
    DIMS.into_iter().find(|d| format!("{d:?}") == name).map(|d| (d, flavour))
}

fn quoted(name: &str) -> String {
    if name.contains([',', '"', '\n']) {
        format!("\"{}\"", name.replace('"', "\"\""))
    } else {
        name.to_owned()
    }
}

/// Cells of a line; a quoted cell may hold commas, a doubled quote stands for one.
fn cells(line: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut within = false;
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        let last = out.len() - 1;
        match c {
            '"' if within && chars.peek() == Some(&'"') => {
                chars.next();
                out[last].push('"');
            }
            '"' => within = !within,
            ',' if !within => out.push(String::new()),
            c => out[last].push(c),
        }
    }
    out
}
