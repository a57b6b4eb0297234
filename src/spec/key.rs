//! What a part may be told: each key with its quantity, range, default and reason.

use crate::quantity::{Dim, Flavour};

/// One column of a table in a build file.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// The column's name.
    pub name: &'static str,
    /// The quantity in it.
    pub dim: Dim,
    /// Which kind of pressure it is.
    pub flavour: Flavour,
    /// Smallest accepted value, SI.
    pub low: f64,
    /// Largest accepted value, SI.
    pub high: f64,
    /// Whether a row may leave it out (then it is read as not-a-number).
    pub optional: bool,
}

/// What kind of value a key takes.
#[derive(Clone, Copy, Debug)]
pub enum Takes {
    /// One value with a unit.
    Scalar {
        /// The quantity.
        dim: Dim,
        /// Which kind of pressure.
        flavour: Flavour,
        /// Smallest accepted value, SI.
        low: f64,
        /// Largest accepted value, SI.
        high: f64,
        /// Outside this the reader flags a probable slip, SI.
        usual: Option<(f64, f64)>,
    },
    /// One of these words.
    Word(&'static [&'static str]),
    /// Yes or no.
    Flag,
    /// Free text.
    Text,
    /// Rows with these columns.
    Rows(&'static [Column]),
}

/// One key of a part.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// Its name in the file.
    pub name: &'static str,
    /// What it takes.
    pub takes: Takes,
    /// What it is when the file says nothing; `None` means that the file must say it, unless `optional`.
    pub default: Option<&'static str>,
    /// Whether it may be absent altogether.
    pub optional: bool,
    /// An example of a value.
    pub example: &'static str,
    /// What it means.
    pub doc: &'static str,
    /// Where the default or the range comes from.
    pub source: &'static str,
}

impl Key {
    /// A key that takes one value between `low` and `high` (SI).
    #[must_use]
    pub const fn scalar(
        name: &'static str,
        dim: Dim,
        low: f64,
        high: f64,
        example: &'static str,
        doc: &'static str,
    ) -> Self {
        Self {
            name,
            takes: Takes::Scalar { dim, flavour: Flavour::Plain, low, high, usual: None },
            default: None,
            optional: false,
            example,
            doc,
            source: "stated by the build",
        }
    }

    /// A key that takes one of these words; the first is the default.
    #[must_use]
    pub const fn word(name: &'static str, words: &'static [&'static str], doc: &'static str) -> Self {
        Self {
            name,
            takes: Takes::Word(words),
            default: Some(words[0]),
            optional: false,
            example: words[0],
            doc,
            source: "the layout of the car",
        }
    }

    /// A key that takes free text.
    #[must_use]
    pub const fn text(name: &'static str, example: &'static str, doc: &'static str) -> Self {
        Self {
            name,
            takes: Takes::Text,
            default: None,
            optional: true,
            example,
            doc,
            source: "stated by the build",
        }
    }

    /// A key that takes rows with these columns.
    #[must_use]
    pub const fn rows(
        name: &'static str,
        columns: &'static [Column],
        example: &'static str,
        doc: &'static str,
    ) -> Self {
        Self {
            name,
            takes: Takes::Rows(columns),
            default: None,
            optional: true,
            example,
            doc,
            source: "stated by the build",
        }
    }

    /// The same, read as a pressure above the ambient.
    #[must_use]
    pub const fn gauge(mut self) -> Self {
        if let Takes::Scalar { ref mut flavour, .. } = self.takes {
            *flavour = Flavour::Gauge;
        }
        self
    }

    /// The same, read as a pressure above vacuum.
    #[must_use]
    pub const fn absolute(mut self) -> Self {
        if let Takes::Scalar { ref mut flavour, .. } = self.takes {
            *flavour = Flavour::Absolute;
        }
        self
    }

    /// The same with a default and where it comes from.
    #[must_use]
    pub const fn default(mut self, default: &'static str, source: &'static str) -> Self {
        self.default = Some(default);
        self.source = source;
        self
    }

    /// The same, but it may be absent.
    #[must_use]
    pub const fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    /// The same with the band outside which a slip is likely (SI).
    #[must_use]
    pub const fn usual(mut self, low: f64, high: f64) -> Self {
        if let Takes::Scalar { ref mut usual, .. } = self.takes {
            *usual = Some((low, high));
        }
        self
    }
}

impl Column {
    /// A column of this quantity, between `low` and `high` (SI).
    #[must_use]
    pub const fn new(name: &'static str, dim: Dim, low: f64, high: f64) -> Self {
        Self { name, dim, flavour: Flavour::Plain, low, high, optional: false }
    }

    /// The same, read as a pressure above the ambient.
    #[must_use]
    pub const fn gauge(mut self) -> Self {
        self.flavour = Flavour::Gauge;
        self
    }

    /// The same, read as a pressure above vacuum.
    #[must_use]
    pub const fn absolute(mut self) -> Self {
        self.flavour = Flavour::Absolute;
        self
    }

    /// The same, but a row may leave it out.
    #[must_use]
    pub const fn optional(mut self) -> Self {
        self.optional = true;
        self
    }
}
