//! What can be wrong with a question about the engine.

use std::fmt;

/// A value outside the range of a law or a table, or a table that is none.
#[derive(Clone, Debug, PartialEq)]
pub enum EngineError {
    /// A value outside its range.
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// The value, in `unit`.
        value: f64,
        /// Lowest, in `unit`.
        low: f64,
        /// Highest, in `unit`.
        high: f64,
        /// The unit of the three numbers.
        unit: &'static str,
        /// What to do about it.
        next: &'static str,
    },
    /// A map whose axes do not rise, or whose rows do not fit them.
    BadMap {
        /// What is wrong.
        why: String,
    },
}

impl EngineError {
    /// Passes a value that is in its range; not-a-number is in none.
    pub(super) fn within(
        what: &'static str,
        value: f64,
        (low, high): (f64, f64),
        unit: &'static str,
        next: &'static str,
    ) -> Result<f64, Self> {
        if (low..=high).contains(&value) {
            Ok(value)
        } else {
            Err(Self::OutOfRange { what, value, low, high, unit, next })
        }
    }
}

impl fmt::Display for EngineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange { what, value, low, high, unit, next } => {
                let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
                // The value in full: "1.0000001 is outside 0 to 1" must not read "1 is outside 0 to 1".
                write!(f, "{what} of {value}{unit} is outside {low} to {high}{unit}: {next}")
            }
            Self::BadMap { why } => write!(f, "volumetric-efficiency map: {why}"),
        }
    }
}

impl std::error::Error for EngineError {}
