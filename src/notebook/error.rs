//! What can be wrong with a notebook file, said so that it can be put right.

use std::fmt;
use std::io;

/// Where in a notebook a cell stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellPlace {
    /// Position counted from 0, as the methods of a notebook take it.
    pub index: usize,
    /// The cell's identifier, when it has a readable one.
    pub id: Option<String>,
}

impl fmt::Display for CellPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // People count cells from 1.
        write!(f, "cell {}", self.index + 1)?;
        match &self.id {
            Some(id) => write!(f, " (id `{id}`)"),
            None => Ok(()),
        }
    }
}

/// A notebook that cannot be read, changed or written.
#[derive(Debug)]
pub enum NotebookError {
    /// The file could not be read.
    Read {
        /// The file's name.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The file could not be written.
    Write {
        /// The file's name.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The text is not JSON.
    Json {
        /// The file's name.
        file: String,
        /// Line of the text, from 1.
        line: usize,
        /// Column of that line, from 1.
        column: usize,
        /// What the parser met.
        problem: String,
    },
    /// The JSON is not a notebook of format 4.5.
    Shape {
        /// The file's name.
        file: String,
        /// The cell, when it is about one.
        cell: Option<Box<CellPlace>>,
        /// The key, with its path below the cell or the document.
        key: String,
        /// What stands there.
        found: String,
        /// What is accepted there.
        accepted: String,
    },
    /// A cell was asked for that is not there, or that has no outputs to set.
    NoSuchCell {
        /// The file's name.
        file: String,
        /// The position asked for, from 0.
        index: usize,
        /// How many cells there are.
        cells: usize,
        /// What was to be done with it.
        wanted: &'static str,
    },
}

impl fmt::Display for NotebookError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read { file, source } => write!(f, "{file}: cannot be read: {source}"),
            Self::Write { file, source } => write!(f, "{file}: cannot be written: {source}"),
            Self::Json { file, line, column, problem } => write!(
                f,
                "{file}: line {line}, column {column}: this is not JSON ({problem}); \
                 is the file cut short, or are merge marks left in it?"
            ),
            Self::Shape { file, cell, key, found, accepted } => {
                write!(f, "{file}: ")?;
                if let Some(cell) = cell {
                    write!(f, "{cell}: ")?;
                }
                write!(f, "`{key}`: found {found}; accepted is {accepted}")
            }
            Self::NoSuchCell { file, index, cells, wanted } => write!(
                f,
                "{file}: cell {} cannot {wanted}; the notebook has {cells} cells, \
                 and only its code cells have outputs and a count",
                index + 1
            ),
        }
    }
}

impl std::error::Error for NotebookError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Read { source, .. } | Self::Write { source, .. } => Some(source),
            _ => None,
        }
    }
}
