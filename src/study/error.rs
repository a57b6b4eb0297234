//! What can go wrong in a study, with the values and what to do next.
use crate::spec::distribution::DistributionError;
use std::fmt;

/// Why a study could not be planned, run, kept or analysed.
#[derive(Debug)]
#[non_exhaustive]
pub enum StudyError {
    /// The plan makes no sense; the text names the values and the way out.
    Plan(String),
    /// An input's law is wrong.
    Input {
        /// Name of the input.
        name: String,
        /// What is wrong with its law.
        error: DistributionError,
    },
    /// A name is not among those the study knows.
    Unknown {
        /// What was looked for: "input", "output", ...
        what: &'static str,
        /// The name asked for.
        name: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// The question does not fit the runs; the text says which question does.
    Question(String),
    /// Runs and plan (or model) do not belong together.
    Mismatch(String),
    /// A file could not be read or written.
    File {
        /// The file.
        path: std::path::PathBuf,
        /// What happened.
        message: String,
    },
    /// A method stopped before its goal; the text says how far it came.
    Stopped(String),
}

impl fmt::Display for StudyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Plan(text) | Self::Question(text) | Self::Mismatch(text) | Self::Stopped(text) => {
                f.write_str(text)
            }
            Self::Input { name, error } => write!(f, "input '{name}': {error}"),
            Self::Unknown { what, name, known } => {
                write!(f, "no {what} named '{name}': there are {}", known.join(", "))
            }
            Self::File { path, message } => write!(f, "{}: {message}", path.display()),
        }
    }
}

impl std::error::Error for StudyError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Input { error, .. } => Some(error),
            _ => None,
        }
    }
}

impl From<StudyError> for crate::error::Error {
    fn from(e: StudyError) -> Self {
        use crate::error::Kind;
        let kind = match &e {
            StudyError::Plan(_) | StudyError::Input { .. } => Kind::Value,
            StudyError::Unknown { .. } => Kind::Unknown,
            StudyError::Question(_) | StudyError::Mismatch(_) => Kind::Range,
            StudyError::File { .. } => Kind::File,
            StudyError::Stopped(_) => Kind::Solve,
        };
        Self::new(kind, e.to_string())
    }
}
