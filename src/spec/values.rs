//! The values of one part: nominal, tolerance, grade and source of each.

use super::distribution::Distribution;
use super::grade::Grade;
use super::key::{Key, Takes};
use crate::error::{Error, Kind, Result, did_you_mean};
use crate::quantity::{Amount, Dim, Flavour, unit};
use indexmap::IndexMap;
use serde::Serialize;

/// One value with a unit: a parameter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Parameter {
    /// The nominal value, SI.
    pub si: f64,
    /// The quantity.
    pub dim: Dim,
    /// Which kind of pressure.
    pub flavour: Flavour,
    /// How it is known.
    pub grade: Grade,
    /// How it may spread, SI; `None` when nothing is said.
    pub spread: Option<Distribution>,
    /// Where it comes from.
    pub source: Option<String>,
    /// As it was written.
    pub written: String,
    /// The line in the file; `None` for a default.
    pub line: Option<usize>,
}

impl Parameter {
    /// The value with its quantity.
    #[must_use]
    pub fn amount(&self) -> Amount {
        Amount { si: self.si, dim: self.dim, flavour: self.flavour }
    }
}

/// Rows of numbers, SI, one inner vector a row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rows {
    /// The names of the columns.
    pub columns: Vec<&'static str>,
    /// The quantities in them.
    pub dims: Vec<Dim>,
    /// The numbers, row by row; not-a-number where a row leaves an optional column out.
    pub data: Vec<Vec<f64>>,
    /// How they are known.
    pub grade: Grade,
    /// Where they come from.
    pub source: Option<String>,
    /// The line of the first row.
    pub line: Option<usize>,
}

impl Rows {
    /// One column.
    ///
    /// # Panics
    /// When the schema has no such column, which is a mistake of this library.
    #[must_use]
    pub fn column(&self, name: &str) -> Vec<f64> {
        let i = self.columns.iter().position(|c| *c == name).unwrap_or_else(|| panic!("no column {name}"));
        self.data.iter().map(|r| r[i]).collect()
    }
}

impl Rows {
    /// The second column at a place on the first, by straight lines between the rows.
    ///
    /// # Errors
    /// A place outside the rows names the range; nothing is extrapolated.
    pub fn interpolate(&self, x: f64, what: &str) -> Result<f64> {
        let (first, last) = (&self.data[0], &self.data[self.data.len() - 1]);
        // A place on the edge may miss it by a rounding.
        if !(x >= first[0] - 1e-9 * first[0].abs() && x <= last[0] + 1e-9 * last[0].abs()) {
            let show = |v: f64| Amount::new(v, self.dims[0]).to_string();
            return Err(Error::new(
                Kind::Range,
                format!(
                    "{what} is known from {} to {}, {} was asked",
                    show(first[0]),
                    show(last[0]),
                    show(x)
                ),
            )
            .next("add a row to the build, or ask inside the rows"));
        }
        let Some(i) = self.data.windows(2).position(|w| x <= w[1][0]).or(self.data.len().checked_sub(2))
        else {
            return Ok(first[1]);
        };
        let (a, b) = (&self.data[i], &self.data[i + 1]);
        Ok(a[1] + (b[1] - a[1]) * ((x - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0))
    }
}

/// What a key holds.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Value {
    /// One value with a unit.
    Scalar(Parameter),
    /// A word or a text.
    Word(String),
    /// Yes or no.
    Flag(bool),
    /// Rows.
    Rows(Rows),
}

/// The values of one part, by key, in the order of its schema.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Values {
    map: IndexMap<&'static str, Value>,
    #[serde(skip)]
    schema: Schema,
}

#[derive(Clone, Copy)]
struct Schema(&'static [Key]);

impl PartialEq for Schema {
    fn eq(&self, other: &Self) -> bool {
        std::ptr::eq(self.0, other.0)
    }
}

impl std::fmt::Debug for Schema {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} keys", self.0.len())
    }
}

impl Values {
    /// The defaults of a schema; keys that the file must say are missing until [`Values::put`].
    #[must_use]
    pub fn defaults(schema: &'static [Key]) -> Self {
        let mut map = IndexMap::new();
        for key in schema {
            if let Some(text) = key.default {
                let value = match key.takes {
                    Takes::Scalar { dim, flavour, .. } => {
                        let read = unit::read(text, dim)
                            .unwrap_or_else(|e| panic!("default of {}: {e:?}", key.name));
                        Value::Scalar(Parameter {
                            si: read.si,
                            dim,
                            flavour,
                            grade: Grade::Assumed,
                            spread: None,
                            source: Some(format!("default: {}", key.source)),
                            written: text.to_owned(),
                            line: None,
                        })
                    }
                    Takes::Word(_) | Takes::Text => Value::Word(text.to_owned()),
                    Takes::Flag => Value::Flag(text == "true"),
                    Takes::Rows(_) => unreachable!("rows have no default"),
                };
                map.insert(key.name, value);
            }
        }
        Self { map, schema: Schema(schema) }
    }

    /// The schema.
    #[must_use]
    pub fn schema(&self) -> &'static [Key] {
        self.schema.0
    }

    /// The key of this name.
    ///
    /// # Errors
    /// Names the nearest keys.
    pub fn key(&self, name: &str) -> Result<&'static Key> {
        self.schema.0.iter().find(|k| k.name == name).ok_or_else(|| {
            let names: Vec<_> = self.schema.0.iter().map(|k| k.name).collect();
            Error::new(Kind::Unknown, format!("there is no key \"{name}\" here")).next(format!(
                "{}the keys are: {}",
                did_you_mean(name, names.iter().copied()),
                names.join(", ")
            ))
        })
    }

    /// Stores a value.
    pub fn put(&mut self, key: &'static Key, value: Value) {
        self.map.insert(key.name, value);
    }

    /// Takes a value away.
    pub fn remove(&mut self, name: &str) {
        self.map.shift_remove(name);
    }

    /// The first key that the file must say and does not.
    #[must_use]
    pub fn missing(&self) -> Option<&'static Key> {
        self.schema.0.iter().find(|k| !k.optional && !self.map.contains_key(k.name))
    }

    /// All values with their keys, in the order of the schema.
    pub fn iter(&self) -> impl Iterator<Item = (&'static Key, &Value)> {
        self.schema.0.iter().filter_map(|k| self.map.get(k.name).map(|v| (k, v)))
    }

    /// The value of a key.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Value> {
        self.map.get(name)
    }

    /// The parameter of a key, to change it.
    pub fn parameter_mut(&mut self, name: &str) -> Option<&mut Parameter> {
        match self.map.get_mut(name) {
            Some(Value::Scalar(p)) => Some(p),
            _ => None,
        }
    }

    /// The parameter of a key.
    #[must_use]
    pub fn parameter(&self, name: &str) -> Option<&Parameter> {
        match self.map.get(name) {
            Some(Value::Scalar(p)) => Some(p),
            _ => None,
        }
    }

    /// The SI value of a key that is always there.
    ///
    /// # Panics
    /// When the key is absent, which the reader has excluded.
    #[must_use]
    pub fn si(&self, name: &str) -> f64 {
        self.opt(name).unwrap_or_else(|| panic!("the key {name} is absent"))
    }

    /// The SI value of a key that may be absent.
    #[must_use]
    pub fn opt(&self, name: &str) -> Option<f64> {
        self.parameter(name).map(|p| p.si)
    }

    /// The word of a key; empty when absent.
    #[must_use]
    pub fn word(&self, name: &str) -> &str {
        match self.map.get(name) {
            Some(Value::Word(w)) => w,
            _ => "",
        }
    }

    /// The flag of a key; false when absent.
    #[must_use]
    pub fn flag(&self, name: &str) -> bool {
        matches!(self.map.get(name), Some(Value::Flag(true)))
    }

    /// The rows of a key.
    #[must_use]
    pub fn rows(&self, name: &str) -> Option<&Rows> {
        match self.map.get(name) {
            Some(Value::Rows(r)) => Some(r),
            _ => None,
        }
    }
}
