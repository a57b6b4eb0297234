//! How a value is known.

use serde::{Deserialize, Serialize};
use std::fmt;

/// How a value is known; the worst grade among what matters is the grade of a conclusion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Grade {
    /// A: read on this car.
    Measured,
    /// B: from a data sheet that states its basis.
    DataSheet,
    /// C: assumed.
    Assumed,
}

impl Grade {
    /// The words a file may use.
    pub const WORDS: [&'static str; 3] = ["measured", "data sheet", "assumed"];

    /// Reads the word of a file.
    #[must_use]
    pub fn read(word: &str) -> Option<Self> {
        match word {
            "measured" | "A" => Some(Self::Measured),
            "data sheet" | "datasheet" | "B" => Some(Self::DataSheet),
            "assumed" | "C" => Some(Self::Assumed),
            _ => None,
        }
    }

    /// The letter of a record.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Self::Measured => 'A',
            Self::DataSheet => 'B',
            Self::Assumed => 'C',
        }
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Measured => "measured",
            Self::DataSheet => "data sheet",
            Self::Assumed => "assumed",
        })
    }
}
