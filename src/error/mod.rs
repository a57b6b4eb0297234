//! One error type for the whole house: what was found, where, what is accepted, what to do next.

use std::fmt;
use std::path::{Path, PathBuf};

/// The result of anything that can be refused.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// Which room refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Kind {
    /// A file could not be read or written.
    File,
    /// A file's text is not what its format asks for.
    Format,
    /// A key, name or word that is not known.
    Unknown,
    /// A value that is out of its range, or in the wrong unit.
    Value,
    /// Parts that are joined in a way that has no answer.
    Layout,
    /// A solution that was not found.
    Solve,
    /// A question outside the range in which a table or law is known.
    Range,
    /// A run that was cancelled.
    Cancelled,
}

/// Where in a file the trouble is.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Place {
    /// The file.
    pub file: Option<PathBuf>,
    /// The line, counted from one.
    pub line: Option<usize>,
    /// The key, such as `pump.rated_flow`.
    pub key: Option<String>,
}

/// Something was refused. The text says what was found and what to do next.
#[derive(Clone, Debug, PartialEq)]
pub struct Error(Box<Inner>);

#[derive(Clone, Debug, PartialEq)]
struct Inner {
    kind: Kind,
    what: String,
    place: Place,
    next: Option<String>,
    more: Vec<Error>,
}

impl Error {
    /// An error of this kind; `what` says what was found.
    #[must_use]
    pub fn new(kind: Kind, what: impl Into<String>) -> Self {
        Self(Box::new(Inner {
            kind,
            what: what.into(),
            place: Place::default(),
            next: None,
            more: Vec::new(),
        }))
    }

    /// A file that could not be used.
    #[must_use]
    pub fn file(path: &Path, error: &std::io::Error) -> Self {
        let what = match error.kind() {
            std::io::ErrorKind::NotFound => "there is no such file".to_owned(),
            std::io::ErrorKind::PermissionDenied => {
                "the file may not be opened (permission denied)".to_owned()
            }
            std::io::ErrorKind::IsADirectory => "this is a folder, a file is needed".to_owned(),
            _ => error.to_string(),
        };
        Self::new(Kind::File, what).in_file(path)
    }

    /// Says what to do next.
    #[must_use]
    pub fn next(mut self, next: impl Into<String>) -> Self {
        self.0.next = Some(next.into());
        self
    }

    /// Says which key it is about.
    #[must_use]
    pub fn at_key(mut self, key: impl Into<String>) -> Self {
        self.0.place.key = Some(key.into());
        self
    }

    /// Says which line it is on.
    #[must_use]
    pub fn at_line(mut self, line: usize) -> Self {
        self.0.place.line = Some(line);
        self
    }

    /// Says which file it is in, for itself and for those it carries.
    #[must_use]
    pub fn in_file(mut self, file: &Path) -> Self {
        self.0.place.file.get_or_insert_with(|| file.to_owned());
        self.0.more = self.0.more.into_iter().map(|e| e.in_file(file)).collect();
        self
    }

    /// Several errors as one; `None` when there are none.
    #[must_use]
    pub fn all(errors: Vec<Self>) -> Option<Self> {
        let mut errors = errors.into_iter();
        let mut first = errors.next()?;
        first.0.more.extend(errors);
        Some(first)
    }

    /// Which room refused.
    #[must_use]
    pub fn kind(&self) -> Kind {
        self.0.kind
    }

    /// What was found.
    #[must_use]
    pub fn what(&self) -> &str {
        &self.0.what
    }

    /// What to do next.
    #[must_use]
    pub fn next_action(&self) -> Option<&str> {
        self.0.next.as_deref()
    }

    /// Where it is.
    #[must_use]
    pub fn place(&self) -> &Place {
        &self.0.place
    }

    /// The further errors found in the same reading.
    #[must_use]
    pub fn more(&self) -> &[Self] {
        &self.0.more
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Inner { what, place, next, more, .. } = &*self.0;
        if let Some(file) = &place.file {
            write!(f, "{}", file.display())?;
            if let Some(line) = place.line {
                write!(f, " line {line}")?;
            }
            f.write_str(": ")?;
        } else if let Some(line) = place.line {
            write!(f, "line {line}: ")?;
        }
        if let Some(key) = &place.key {
            write!(f, "{key}: ")?;
        }
        f.write_str(what)?;
        if let Some(next) = next {
            write!(f, "\n  {next}")?;
        }
        for e in more {
            write!(f, "\n{e}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {}

/// The names nearest to a mistyped one, best first, at most three.
#[must_use]
pub fn nearest<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let mut scored: Vec<_> = names
        .into_iter()
        .map(|n| {
            let (w, m) = (word.to_lowercase(), n.to_lowercase());
            // Half of a name of two words is meant as often as a slip of the pen.
            let part = w.len() > 2 && m.split_whitespace().any(|piece| piece == w);
            (if part { 1.0 } else { strsim::jaro_winkler(&w, &m) }, n)
        })
        .filter(|(s, _)| *s > 0.75)
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    scored.into_iter().take(3).map(|(_, n)| n).collect()
}

/// `did you mean "a" or "b"? ` for a message, or nothing.
#[must_use]
pub fn did_you_mean<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> String {
    let near: Vec<_> = nearest(word, names).into_iter().map(|n| format!("\"{n}\"")).collect();
    if near.is_empty() { String::new() } else { format!("did you mean {}? ", near.join(" or ")) }
}
