//! One value of a build file, with all that may be wrong with it.

use super::sample;
use crate::error::{Error, Kind};
use crate::quantity::{Amount, Dim, Flavour, unit};
use crate::spec::distribution::Distribution;
use crate::spec::{Grade, Key, Parameter, Rows, Takes, Value};
use std::path::Path;
use toml_edit::{Item, Value as Toml};

/// What a reader carries: where it is, and what it has found so far.
pub(super) struct Reader<'a> {
    pub text: &'a str,
    pub ambient: f64,
    pub errors: Vec<Error>,
    pub slips: Vec<Slip>,
    /// Where files named in it are looked for; the working folder without one.
    pub folder: Option<&'a Path>,
    /// What was read from such files, for the digest.
    pub files: Vec<String>,
}

impl<'a> Reader<'a> {
    pub fn new(text: &'a str, ambient: f64, folder: Option<&'a Path>) -> Self {
        Self { text, ambient, errors: Vec::new(), slips: Vec::new(), folder, files: Vec::new() }
    }
}

/// A value that is possible but looks like one of the trade's slips.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Slip {
    /// The key.
    pub key: String,
    /// The line in the file.
    pub line: Option<usize>,
    /// What looks wrong and what it may have been meant to be.
    pub what: String,
}

/// Grade and source that hold for a whole part.
#[derive(Clone, Default)]
pub(super) struct Common {
    pub grade: Option<Grade>,
    pub source: Option<String>,
}

/// An example with the quotes that also fit inside the text of a cell; a build takes either kind.
fn in_a_cell(example: &str) -> String {
    example.replace('"', "'")
}

impl Reader<'_> {
    pub fn line(&self, span: Option<std::ops::Range<usize>>) -> Option<usize> {
        span.map(|s| self.text[..s.start.min(self.text.len())].matches('\n').count() + 1)
    }

    pub fn fail(&mut self, path: &str, line: Option<usize>, error: Error) {
        let mut e = error.at_key(path);
        if let Some(l) = line {
            e = e.at_line(l);
        }
        self.errors.push(e);
    }

    /// Reads one key; `None` after an error that is already noted.
    pub fn read(&mut self, path: &str, key: &'static Key, item: &Item, common: &Common) -> Option<Value> {
        let line = self.line(item.span());
        match key.takes {
            Takes::Scalar { .. } => self.scalar(path, key, item, common, line).map(Value::Scalar),
            Takes::Word(words) => match item.as_str() {
                Some(w) if words.contains(&w) => Some(Value::Word(w.to_owned())),
                _ => {
                    let found = item.to_string();
                    let e = Error::new(
                        Kind::Unknown,
                        format!("found {}, which is not one of the words", found.trim()),
                    )
                    .next(format!(
                        "{}the words are: {}",
                        crate::error::did_you_mean(found.trim().trim_matches('"'), words.iter().copied()),
                        words.join(", ")
                    ));
                    self.fail(path, line, e);
                    None
                }
            },
            Takes::Text => match item.as_str() {
                Some(w) => Some(Value::Word(w.to_owned())),
                None => {
                    self.fail(
                        path,
                        line,
                        Error::new(
                            Kind::Format,
                            format!("found {}, a text is needed", item.to_string().trim()),
                        )
                        .next(format!("write {} = \"{}\"", key.name, key.example)),
                    );
                    None
                }
            },
            Takes::Flag => match item.as_bool() {
                Some(b) => Some(Value::Flag(b)),
                None => {
                    self.fail(
                        path,
                        line,
                        Error::new(
                            Kind::Format,
                            format!("found {}, true or false is needed", item.to_string().trim()),
                        ),
                    );
                    None
                }
            },
            Takes::Rows(columns) => self.rows(path, key, columns, item, common, line).map(Value::Rows),
        }
    }

    fn scalar(
        &mut self,
        path: &str,
        key: &'static Key,
        item: &Item,
        common: &Common,
        line: Option<usize>,
    ) -> Option<Parameter> {
        let Takes::Scalar { dim, flavour, low, high, usual } = key.takes else { return None };
        let mut grade = common.grade.unwrap_or(Grade::Assumed);
        let mut source = common.source.clone();
        let (mut tol, mut shape, mut spread) = (None, None, None);
        let value = match item.as_table_like() {
            None => item.clone(),
            Some(t) => {
                for (name, inner) in t.iter() {
                    let inner_line = self.line(inner.span()).or(line);
                    match name {
                        "value" => {}
                        "grade" => match inner.as_str().and_then(Grade::read) {
                            Some(g) => grade = g,
                            None => self.fail(
                                &format!("{path}.grade"),
                                inner_line,
                                Error::new(Kind::Unknown, format!("found {}", inner.to_string().trim()))
                                    .next(format!("the grades are: {}", Grade::WORDS.join(", "))),
                            ),
                        },
                        "source" => source = inner.as_str().map(str::to_owned),
                        "tol" => tol = Some((inner.clone(), inner_line)),
                        "shape" => shape = inner.as_str().map(|s| (s.to_owned(), inner_line)),
                        "spread" => spread = Some((inner.clone(), inner_line)),
                        _ => self.fail(
                            &format!("{path}.{name}"),
                            inner_line,
                            Error::new(Kind::Unknown, "there is no such entry of a value".to_owned())
                                .next("the entries are: value, grade, tol, shape, spread, source"),
                        ),
                    }
                }
                match t.get("value") {
                    Some(v) => v.clone(),
                    None => {
                        self.fail(
                            path,
                            line,
                            Error::new(Kind::Format, "the value itself is missing").next(format!(
                                "write {{ value = \"{}\", grade = \"measured\" }}",
                                key.example
                            )),
                        );
                        return None;
                    }
                }
            }
        };
        let (si, written) = self.number(path, key, dim, flavour, &value, line)?;
        let ends = crate::spec::Column { name: key.name, dim, flavour, low, high, optional: false };
        if !self.inside(path, line, si, &written, key.doc, &ends, &format!("\"{}\"", key.example)) {
            return None;
        }
        let looks_off = usual.and_then(|(l, h)| {
            (!(si >= l && si <= h)).then(|| {
                slip(si, l, h, dim, flavour, self.ambient).map_or_else(
                    || {
                        format!(
                            "{written} is unusual: expected between {} and {}",
                            Amount { si: l, dim, flavour },
                            Amount { si: h, dim, flavour }
                        )
                    },
                    |hint| format!("{written} is unusual: {hint}"),
                )
            })
        });
        if let Some(what) = looks_off {
            self.slips.push(Slip { key: path.to_owned(), line, what });
        }
        let mut distribution = None;
        if let Some((item, at)) = spread {
            distribution = self.spread(path, key, &ends, &item, at);
        } else if let Some((item, at)) = tol {
            distribution = self.tolerance(path, dim, si, &item, at, shape);
        }
        Some(Parameter { si, dim, flavour, grade, spread: distribution, source, written, line })
    }

    /// A value with its unit, converted to the kind of pressure that is asked for.
    fn number(
        &mut self,
        path: &str,
        key: &Key,
        dim: Dim,
        flavour: Flavour,
        item: &Item,
        line: Option<usize>,
    ) -> Option<(f64, String)> {
        let text = match item.as_value() {
            Some(Toml::String(s)) => s.value().clone(),
            Some(Toml::Integer(i)) if dim == Dim::Ratio => i.value().to_string(),
            Some(Toml::Float(f)) if dim == Dim::Ratio => f.value().to_string(),
            Some(Toml::Integer(_) | Toml::Float(_)) => {
                let found = item.to_string();
                self.fail(
                    path,
                    line,
                    Error::new(
                        Kind::Format,
                        format!("found {}, a {} without its unit", found.trim(), dim.name()),
                    )
                    .next(format!(
                        "write the unit in the value, such as \"{}\"; units read here: {}",
                        key.example,
                        unit::accepted(dim)
                    )),
                );
                return None;
            }
            _ => {
                self.fail(
                    path,
                    line,
                    Error::new(
                        Kind::Format,
                        format!("found {}, {} is needed", item.to_string().trim(), dim.with_article()),
                    )
                    .next(format!("write it as \"{}\"", key.example)),
                );
                return None;
            }
        };
        match self.quantity(&text, dim, flavour) {
            Ok(si) => Some((si, text)),
            Err(what) => {
                self.fail(
                    path,
                    line,
                    Error::new(Kind::Value, format!("found \"{text}\": {what}")).next(format!(
                        "accepted: {} in {}, such as \"{}\"",
                        dim.with_article(),
                        unit::accepted(dim),
                        key.example
                    )),
                );
                None
            }
        }
    }

    fn quantity(&self, text: &str, dim: Dim, flavour: Flavour) -> Result<f64, String> {
        let read = unit::read(text, dim).map_err(|e| match e {
            unit::ReadError::NoNumber => "it does not start with a number".to_owned(),
            unit::ReadError::NotFinite => "the number is not finite".to_owned(),
            unit::ReadError::NoUnit => "the unit is missing".to_owned(),
            unit::ReadError::UnknownUnit(u) => format!("the unit \"{u}\" is not known"),
            unit::ReadError::WrongQuantity { unit, found } => {
                format!("\"{unit}\" measures {}, not {}", found.name(), dim.name())
            }
        })?;
        match (read.flavour, flavour) {
            (None, _) => Ok(read.si),
            (Some(a), b) if a == b => Ok(read.si),
            (Some(Flavour::Absolute), Flavour::Gauge) => Ok(read.si - self.ambient),
            (Some(Flavour::Gauge), Flavour::Absolute) => Ok(read.si + self.ambient),
            (Some(_), Flavour::Plain) => {
                Err("a difference of two pressures is neither gauge nor absolute".to_owned())
            }
            (Some(_), _) => Err("a difference cannot stand for a gauge or absolute pressure".to_owned()),
        }
    }

    /// `tol = "0.1 mm"` or `"3 %"`: half-width, rectangular unless a shape is named (JCGM 100, 4.3.7).
    fn tolerance(
        &mut self,
        path: &str,
        dim: Dim,
        si: f64,
        item: &Item,
        line: Option<usize>,
        shape: Option<(String, Option<usize>)>,
    ) -> Option<Distribution> {
        let text = item.as_str().unwrap_or_default().to_owned();
        let dim = if dim == Dim::Temperature { Dim::TemperatureDifference } else { dim };
        let half = if let Some(part) = text.trim().strip_suffix('%') {
            part.trim().parse::<f64>().ok().map(|p| p / 100.0 * si.abs())
        } else {
            unit::read(&text, dim).ok().map(|r| r.si)
        };
        let path = format!("{path}.tol");
        let Some(a) = half.filter(|a| *a > 0.0 && a.is_finite()) else {
            self.fail(
                &path,
                line,
                Error::new(
                    Kind::Value,
                    format!("found {}, a half-width above zero is needed", item.to_string().trim()),
                )
                .next(format!(
                    "write \"3 %\" (of the value) or a {} in {}",
                    dim.name(),
                    unit::accepted(dim)
                )),
            );
            return None;
        };
        match shape.as_ref().map_or("rectangular", |(s, _)| s.as_str()) {
            "rectangular" => Some(Distribution::Uniform { low: si - a, high: si + a }),
            "triangular" => Some(Distribution::Triangular { low: si - a, mode: si, high: si + a }),
            // A stated tolerance that is normal is read as its 95 % half-width, cut at 1.5 times itself.
            "normal" => Some(Distribution::TruncatedNormal {
                mean: si,
                sd: a / 1.96,
                low: si - 1.5 * a,
                high: si + 1.5 * a,
            }),
            other => {
                let at = shape.as_ref().and_then(|(_, l)| *l).or(line);
                self.fail(
                    &path,
                    at,
                    Error::new(Kind::Unknown, format!("found shape \"{other}\""))
                        .next("the shapes are: rectangular, triangular, normal"),
                );
                None
            }
        }
    }

    /// `spread = { law = "lognormal", median = "60 mΩ", sigma_ln = 0.5 }`: a law with units; a measured sample may stand in
    /// a file beside the build: `spread = { law = "empirical", file = "bench.csv", column = "static flow" }`.
    fn spread(
        &mut self,
        path: &str,
        key: &Key,
        ends: &crate::spec::Column,
        item: &Item,
        line: Option<usize>,
    ) -> Option<Distribution> {
        let (dim, flavour) = (ends.dim, ends.flavour);
        let path = format!("{path}.spread");
        let Some(table) = item.as_table_like() else {
            self.fail(
                &path,
                line,
                Error::new(Kind::Format, "a table is needed")
                    .next("write { law = \"triangular\", low = \"...\", mode = \"...\", high = \"...\" }"),
            );
            return None;
        };
        let mut json = serde_json::Map::new();
        let word = |name: &str| table.get(name).and_then(Item::as_str);
        if let Some((name, e)) = misplaced(table) {
            let at = self.line(table.get(name).and_then(Item::span)).or(line);
            self.fail(&format!("{path}.{name}"), at, e);
            return None;
        }
        if let Some(file) = word("file") {
            let read = sample::read(self.folder, file, word("column"), |text| {
                let si = self.quantity(text, dim, flavour)?;
                let show = |x: f64| Amount { si: x, dim, flavour }.to_string();
                if si >= ends.low && si <= ends.high {
                    Ok(si)
                } else {
                    Err(format!("outside its range, {} to {}", show(ends.low), show(ends.high)))
                }
            });
            match read {
                Ok(values) => {
                    self.files.push(format!("{values:?}"));
                    json.insert("values".to_owned(), values.into());
                }
                Err(e) => {
                    self.fail(
                        &format!("{path}.file"),
                        self.line(table.get("file").and_then(Item::span)).or(line),
                        e,
                    );
                    return None;
                }
            }
        }
        let before = self.errors.len();
        for (name, value) in table.iter().filter(|(name, _)| !["file", "column"].contains(name)) {
            let width = matches!(name, "sd" | "scale" | "inexactness");
            let d = match (name, dim) {
                ("sigma_ln" | "weights" | "dof", _) => Dim::Ratio, // without a unit whatever the value's
                (_, Dim::Temperature) if width => Dim::TemperatureDifference,
                _ => dim,
            };
            let f = if width || d == Dim::Ratio { Flavour::Plain } else { flavour };
            let bare = |x: String| format!("found {x}, {} without its unit", d.with_article());
            let number = |r: &Self, v: &Toml| -> Result<f64, String> {
                match v {
                    Toml::String(s) => {
                        r.quantity(s.value(), d, f).map_err(|what| format!("found \"{}\": {what}", s.value()))
                    }
                    Toml::Float(x) if d == Dim::Ratio => Ok(*x.value()),
                    Toml::Integer(x) if d == Dim::Ratio => Ok(*x.value() as f64),
                    Toml::Float(x) => Err(bare(x.value().to_string())),
                    Toml::Integer(x) => Err(bare(x.value().to_string())),
                    _ => Err("a value with a unit is needed".to_owned()),
                }
            };
            let converted = match value.as_value() {
                Some(Toml::String(s)) if name == "law" => Ok(s.value().as_str().into()),
                Some(Toml::Array(a)) => {
                    a.iter().map(|v| number(self, v)).collect::<Result<Vec<f64>, _>>().map(Into::into)
                }
                Some(v) => number(self, v).map(Into::into),
                None => Err("a value is needed".to_owned()),
            };
            match converted {
                Ok(v) => {
                    json.insert(name.to_owned(), v);
                }
                Err(what) => self.fail(
                    &format!("{path}.{name}"),
                    self.line(value.span()).or(line),
                    Error::new(Kind::Value, what).next(format!(
                        "write the unit in the value{}; units read here: {}",
                        if d == dim { format!(", such as \"{}\"", key.example) } else { String::new() },
                        unit::accepted(d)
                    )),
                ),
            }
        }
        if self.errors.len() > before {
            return None;
        }
        let law: Result<Distribution, _> = serde_json::from_value(json.into());
        match law.map_err(|e| e.to_string()).and_then(|d| d.check().map_err(|e| e.to_string()).map(|()| d)) {
            Ok(d) => {
                for (name, si) in told(&d) {
                    let at = self.line(table.get(name).and_then(Item::span)).or(line);
                    let written = Amount { si, dim, flavour }.to_string();
                    if !self.inside(
                        &format!("{path}.{name}"),
                        at,
                        si,
                        &written,
                        key.doc,
                        ends,
                        &format!("\"{}\"", key.example),
                    ) {
                        return None;
                    }
                }
                Some(d)
            }
            Err(what) => {
                self.fail(&path, line, Error::new(Kind::Value, what).next("laws: normal(mean, sd), truncated_normal(mean, sd, low, high), uniform(low, high), triangular(low, mode, high), lognormal(median, sigma_ln), discrete(values, weights), empirical(values), or empirical(file, column)"));
                None
            }
        }
    }

    /// Whether a value lies between its ends; if not, what was found, the ends and a probable slip are told.
    #[allow(clippy::too_many_arguments)]
    fn inside(
        &mut self,
        path: &str,
        line: Option<usize>,
        si: f64,
        written: &str,
        what: &str,
        ends: &crate::spec::Column,
        example: &str,
    ) -> bool {
        let (low, high, dim, flavour) = (ends.low, ends.high, ends.dim, ends.flavour);
        if si >= low && si <= high {
            return true;
        }
        let show = |x: f64| Amount { si: x, dim, flavour }.to_string();
        let mut next = format!("accepted: {} to {}, such as {example}", show(low), show(high));
        if let Some(hint) = slip(si, low, high, dim, flavour, self.ambient) {
            next = format!("{hint}; {next}");
        }
        self.fail(
            path,
            line,
            Error::new(Kind::Value, format!("found {written}, which is outside its range ({what})"))
                .next(next),
        );
        false
    }

    fn rows(
        &mut self,
        path: &str,
        key: &Key,
        columns: &'static [crate::spec::Column],
        item: &Item,
        common: &Common,
        line: Option<usize>,
    ) -> Option<Rows> {
        let tables: Vec<&dyn toml_edit::TableLike> = if let Some(a) = item.as_array_of_tables() {
            a.iter().map(|t| t as &dyn toml_edit::TableLike).collect()
        } else if let Some(a) = item.as_array() {
            let t: Vec<_> = a
                .iter()
                .filter_map(|v| v.as_inline_table())
                .map(|t| t as &dyn toml_edit::TableLike)
                .collect();
            if t.len() != a.len() {
                self.fail(
                    path,
                    line,
                    Error::new(Kind::Format, "every row must be a table").next(format!(
                        "write {} = {}",
                        key.name,
                        in_a_cell(key.example)
                    )),
                );
                return None;
            }
            t
        } else {
            self.fail(
                path,
                line,
                Error::new(Kind::Format, "rows are needed").next(format!(
                    "write {} = {}",
                    key.name,
                    in_a_cell(key.example)
                )),
            );
            return None;
        };
        if tables.is_empty() {
            self.fail(
                path,
                line,
                Error::new(Kind::Format, "there is no row").next(format!(
                    "write {} = {}",
                    key.name,
                    in_a_cell(key.example)
                )),
            );
            return None;
        }
        let before = self.errors.len();
        let mut data = Vec::new();
        for (i, table) in tables.iter().enumerate() {
            let row_path = format!("{path}[{}]", i + 1);
            for (name, v) in table.iter() {
                if !columns.iter().any(|c| c.name == name) {
                    let names: Vec<_> = columns.iter().map(|c| c.name).collect();
                    self.fail(
                        &format!("{row_path}.{name}"),
                        self.line(v.span()).or(line),
                        Error::new(Kind::Unknown, "there is no such column")
                            .next(format!("the columns are: {}", names.join(", "))),
                    );
                }
            }
            let mut row = Vec::new();
            for c in columns {
                match table.get(c.name) {
                    None if c.optional => row.push(f64::NAN),
                    None => {
                        self.fail(
                            &row_path,
                            line,
                            Error::new(Kind::Format, format!("the column {} is missing", c.name))
                                .next(format!("write {} = {}", key.name, in_a_cell(key.example))),
                        )
                    }
                    Some(v) => {
                        let at = self.line(v.span()).or(line);
                        let cell = format!("{row_path}.{}", c.name);
                        if let Some((si, written)) = self.number(&cell, key, c.dim, c.flavour, v, at) {
                            let what = format!("{} in {}", c.name, key.name);
                            if !self.inside(&cell, at, si, &written, &what, c, key.example) {
                                continue;
                            }
                            if let Some(what) = row_slip(key.name, c.name, si, &written) {
                                self.slips.push(Slip { key: cell, line: at, what });
                            }
                            row.push(si);
                        }
                    }
                }
            }
            data.push(row);
        }
        let by_speed = columns[0].dim == Dim::AngularVelocity;
        if self.errors.len() == before
            && by_speed
            && let Some(i) = data.windows(2).position(|w: &[Vec<f64>]| w[0][0] >= w[1][0])
        {
            self.fail(
                &format!("{path}[{}].{}", i + 2, columns[0].name),
                self.line(tables[i + 1].get(columns[0].name).and_then(Item::span)).or(line),
                Error::new(
                    Kind::Value,
                    format!(
                        "{} follows {}: the speeds must rise from row to row",
                        Amount::new(data[i + 1][0], columns[0].dim),
                        Amount::new(data[i][0], columns[0].dim)
                    ),
                )
                .next("put the rows in the order of speed, each speed once"),
            );
        }
        (self.errors.len() == before).then(|| Rows {
            columns: columns.iter().map(|c| c.name).collect(),
            dims: columns.iter().map(|c| c.dim).collect(),
            data,
            grade: common.grade.unwrap_or(Grade::Assumed),
            source: common.source.clone(),
            line,
        })
    }
}

/// A pump rated above 10 L/min is almost always a figure in L/h written as L/min (a factor of 60).
fn row_slip(key: &str, column: &str, si: f64, written: &str) -> Option<String> {
    let ten_l_per_min = 10e-3 / 60.0;
    (key == "rows" && column == "flow" && si > ten_l_per_min).then(|| {
        format!(
            "{written} is more than 10 L/min for one car pump: probably L/min written for L/h (would be {})",
            Amount::new(si / 60.0, Dim::VolumeRate)
        )
    })
}

/// The slips of the trade: a factor of 60 between L/min and L/h, gauge for absolute and back.
fn slip(si: f64, low: f64, high: f64, dim: Dim, flavour: Flavour, ambient: f64) -> Option<String> {
    let inside = |x: f64| x >= low && x <= high;
    match (dim, flavour) {
        (Dim::VolumeRate, _) if inside(si / 60.0) => {
            Some(format!("probably L/min written for L/h (would be {})", Amount::new(si / 60.0, dim)))
        }
        (Dim::VolumeRate, _) if inside(si * 60.0) => {
            Some(format!("probably L/h written for L/min (would be {})", Amount::new(si * 60.0, dim)))
        }
        (Dim::Pressure, Flavour::Absolute) if inside(si + ambient) => Some(format!(
            "probably a gauge pressure written for an absolute one (would be {})",
            Amount::new(si + ambient, dim).absolute()
        )),
        (Dim::Pressure, Flavour::Gauge) if inside(si - ambient) => Some(format!(
            "probably an absolute pressure written for a gauge one (would be {})",
            Amount::new(si - ambient, dim).gauge()
        )),
        _ => None,
    }
}

/// What a law says of the quantity itself, by the entry's name: the ends of a bounded law, a sample, the middle of one
/// without ends, whose tails go where they go.
fn told(law: &Distribution) -> Vec<(&'static str, f64)> {
    match law {
        Distribution::Fixed { value } => vec![("value", *value)],
        Distribution::Normal { mean, .. } => vec![("mean", *mean)],
        Distribution::Lognormal { median, .. } => vec![("median", *median)],
        Distribution::StudentT { location, .. } => vec![("location", *location)],
        Distribution::TruncatedNormal { low, high, .. }
        | Distribution::Uniform { low, high }
        | Distribution::Triangular { low, high, .. }
        | Distribution::Arcsine { low, high } => vec![("low", *low), ("high", *high)],
        Distribution::CurvilinearTrapezoid { low, high, inexactness } => {
            vec![("low", low - inexactness), ("high", high + inexactness)]
        }
        Distribution::Discrete { values, .. } | Distribution::Empirical { values } => {
            values.iter().map(|x| ("values", *x)).collect()
        }
    }
}

/// What a spread says of a file that it cannot mean, by the entry's name: beside another law, a column without a file,
/// values as well.
fn misplaced(table: &dyn toml_edit::TableLike) -> Option<(&'static str, Error)> {
    let found = |name: &str| table.get(name).map_or_else(String::new, |i| i.to_string().trim().to_owned());
    let law = table.get("law").and_then(Item::as_str);
    let named: Vec<_> = [("file", "bench.csv"), ("column", "static flow")]
        .into_iter()
        .filter(|(n, _)| table.contains_key(n))
        .collect();
    for (name, example) in &named {
        if law != Some("empirical") {
            let e = match law {
                Some(law) => {
                    Error::new(Kind::Value, format!("found {} beside the law \"{law}\"", found(name))).next(
                        format!(
                            "take {name} out, or write law = \"empirical\": its values alone come from a file"
                        ),
                    )
                }
                None => Error::new(Kind::Value, format!("found {} without a law", found(name)))
                    .next("write law = \"empirical\" beside it: its values come from a file"),
            };
            return Some((name, e));
        }
        if *name == "file" && table.get(name).and_then(Item::as_str).is_some_and(|f| f.trim().is_empty()) {
            let e = Error::new(Kind::Value, "found \"\", which names no file".to_owned())
                .next(format!("write {name} = \"{example}\""));
            return Some((name, e));
        }
        if table.get(name).and_then(Item::as_str).is_none() {
            let e = Error::new(Kind::Format, format!("found {}, a text is needed", found(name)))
                .next(format!("write {name} = \"{example}\""));
            return Some((name, e));
        }
    }
    match named[..] {
        [("column", _)] => {
            let e = Error::new(Kind::Value, format!("found {} without a file", found("column")))
                .next("write file = \"bench.csv\" beside it, or take column out");
            Some(("column", e))
        }
        [("file", _), ..] if table.contains_key("values") => {
            let e = Error::new(
                Kind::Value,
                format!("found {} beside the file {}", found("values"), found("file")),
            )
            .next("take out values or file");
            Some(("values", e))
        }
        _ => None,
    }
}
