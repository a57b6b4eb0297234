//! A build: the parts of one car, how they are joined, and how well each value is known.
//!
//! A build is a TOML file with units in the values. Reading it names file, line and key of everything
//! that is wrong, all at once; what is possible but looks like a slip of the trade is kept in
//! [`Build::slips`]. Any value is reached by its path, `"pump.wear"` or `"engine.lambda"`.

mod edit;
mod kinds;
mod law;
mod layout;
mod read;
mod sample;
mod sections;
mod value;

pub use kinds::{KINDS, keys_of};
pub(crate) use law::LOSS_FLUID;
pub use law::{
    Wire, check_valve_law, coil_law, effective_area, filter_law, injector_law, line_law, low_pulse_law,
    regulator_law, short_pulse_law, ve_map_law,
};
pub use sections::SECTIONS;
pub use value::Slip;

use crate::error::{Error, Kind, Result, did_you_mean};
use crate::part::pump::Identified;
use crate::spec::{Parameter, Takes, Value, Values};
use indexmap::IndexMap;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// One part of a build.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// Its kind, such as `"pump"`.
    pub kind: &'static str,
    /// Its values.
    pub values: Values,
    /// The line that names it.
    #[serde(skip)]
    pub line: Option<usize>,
    /// A pump's law, found from its rating rows.
    #[serde(skip)]
    pub(crate) law: Option<Arc<Identified>>,
}

/// Parts in series between two junctions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Leg {
    /// Its name.
    pub name: String,
    /// Where it begins.
    pub from: String,
    /// Where it ends.
    pub to: String,
    /// The parts along it, in the order of the flow.
    pub parts: Vec<String>,
    /// The line that names it.
    #[serde(skip)]
    pub line: Option<usize>,
}

/// A car's fuel system.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Build {
    sections: IndexMap<&'static str, Values>,
    parts: IndexMap<String, Part>,
    legs: Vec<Leg>,
    slips: Vec<Slip>,
    #[serde(skip)]
    file: Option<PathBuf>,
    /// Digest of the text it was read from, and of every change since.
    input: String,
}

/// What follows from a change of a pump's values.
type Follows = fn(&mut Part, &str) -> Result<()>;

impl Part {
    /// A pump's wire must be one that is.
    fn rewire(&mut self, name: &str) -> Result<()> {
        // The default of an area stands only where no gauge does.
        let (values, defaults) = (&mut self.values, Values::defaults(crate::part::pump::KEYS));
        match (values.word("wire_gauge") == "none", values.parameter("wire_area")) {
            (true, None) => {
                values.put(
                    values.key("wire_area")?,
                    defaults.get("wire_area").expect("it has a default").clone(),
                );
            }
            (false, Some(area)) if Some(area) == defaults.parameter("wire_area") => {
                values.remove("wire_area")
            }
            _ => {}
        }
        Wire::of(name, values).map(drop)
    }

    /// A pump's law follows its rating rows.
    fn relearn(&mut self, name: &str) -> Result<()> {
        self.rewire(name)?;
        let law =
            crate::part::pump::identified(&self.values).map_err(|e| e.at_key(format!("{name}.rows")))?;
        self.law = Some(Arc::new(law));
        Ok(())
    }
}

impl Build {
    /// Reads a build file.
    ///
    /// # Errors
    /// Everything that is wrong in the file, each with line, key, what was found and what is accepted.
    pub fn read(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let text = std::fs::read_to_string(path).map_err(|e| Error::file(path, &e))?;
        let mut build = read::build(&text, path.parent()).map_err(|e| e.in_file(path))?;
        build.file = Some(path.to_owned());
        Ok(build)
    }

    /// Reads the text of a build file; files it names are looked for in the working folder.
    ///
    /// # Errors
    /// As [`Build::read`].
    pub fn from_toml(text: &str) -> Result<Self> {
        read::build(text, None)
    }

    /// The name on top of every result.
    #[must_use]
    pub fn name(&self) -> &str {
        match self.section("car").word("name") {
            "" => "unnamed build",
            name => name,
        }
    }

    /// The same build under another name.
    #[must_use]
    pub fn named(mut self, name: &str) -> Self {
        let car = self.sections.get_mut("car").expect("every build has all sections");
        let key = car.key("name").expect("the car has a name key");
        car.put(key, Value::Word(name.to_owned()));
        self
    }

    /// The file it was read from.
    #[must_use]
    pub fn file(&self) -> Option<&Path> {
        self.file.as_deref()
    }

    /// Digest of the input (64 bit FNV-1a, hexadecimal): equal inputs give equal digests.
    #[must_use]
    pub fn input_digest(&self) -> &str {
        &self.input
    }

    /// Values that are possible but look like slips.
    #[must_use]
    pub fn slips(&self) -> &[Slip] {
        &self.slips
    }

    /// The values of a section, such as `"engine"`.
    ///
    /// # Panics
    /// When there is no such section, which is a mistake of the caller's code.
    #[must_use]
    pub fn section(&self, name: &str) -> &Values {
        self.sections.get(name).unwrap_or_else(|| panic!("there is no section {name}"))
    }

    /// The parts by name.
    pub fn parts(&self) -> impl Iterator<Item = (&str, &Part)> {
        self.parts.iter().map(|(n, p)| (n.as_str(), p))
    }

    /// The part of this name.
    #[must_use]
    pub fn part(&self, name: &str) -> Option<&Part> {
        self.parts.get(name)
    }

    /// The parts of a kind.
    pub fn parts_of(&self, kind: &'static str) -> impl Iterator<Item = (&str, &Part)> {
        self.parts().filter(move |(_, p)| p.kind == kind)
    }

    /// The legs.
    #[must_use]
    pub fn legs(&self) -> &[Leg] {
        &self.legs
    }

    /// Every parameter with its path, in the order of the file's sections and parts.
    pub fn parameters(&self) -> impl Iterator<Item = (String, &Parameter)> {
        let sections = self.sections.iter().map(|(name, values)| (*name, values));
        let parts = self.parts.iter().map(|(name, part)| (name.as_str(), &part.values));
        sections.chain(parts).flat_map(|(owner, values)| {
            values.iter().filter_map(move |(key, value)| match value {
                Value::Scalar(p) => Some((format!("{owner}.{}", key.name), p)),
                _ => None,
            })
        })
    }

    fn values(&self, owner: &str) -> Option<&Values> {
        self.sections.get(owner).or_else(|| self.parts.get(owner).map(|p| &p.values))
    }

    fn split<'p>(&self, path: &'p str) -> Result<(&'p str, &'p str)> {
        let (owner, key) = path.rsplit_once('.').ok_or_else(|| {
            Error::new(Kind::Unknown, format!("\"{path}\" is not a path to a value"))
                .next("write part.key, such as \"pump.wear\" or \"engine.lambda\"")
        })?;
        if self.values(owner).is_none() {
            let names: Vec<&str> =
                self.sections.keys().copied().chain(self.parts.keys().map(String::as_str)).collect();
            return Err(Error::new(
                Kind::Unknown,
                format!("there is no part or section \"{owner}\" in \"{}\"", self.name()),
            )
            .next(format!(
                "{}the names are: {}",
                did_you_mean(owner, names.iter().copied()),
                names.join(", ")
            ))
            .at_key(path));
        }
        Ok((owner, key))
    }

    /// The parameter at a path.
    ///
    /// # Errors
    /// Names the nearest parts or keys.
    pub fn parameter(&self, path: &str) -> Result<&Parameter> {
        let (owner, key) = self.split(path)?;
        let values = self.values(owner).expect("split has looked");
        values.key(key).map_err(|e| e.at_key(path))?;
        values.parameter(key).ok_or_else(|| {
            Error::new(Kind::Unknown, "this key holds no single value in this build")
                .next("set it first, or ask for another key")
                .at_key(path)
        })
    }

    /// Boost (gauge, Pa) that the full-load pull reaches at an engine speed (rad/s), from the engine's
    /// boost rows by straight lines.
    ///
    /// # Errors
    /// No boost rows, or a speed outside them: the range is named.
    pub fn full_load_boost(&self, speed: f64) -> Result<f64> {
        let rows = self.section("engine").rows("boost_rows").ok_or_else(|| {
            Error::new(Kind::Range, "the build does not say which boost a pull reaches")
                .next("give boost_rows in [engine]")
                .at_key("engine.boost_rows")
        })?;
        rows.interpolate(speed, "boost").map_err(|e| e.at_key("engine.boost_rows"))
    }

    /// The SI value at a path.
    ///
    /// # Errors
    /// As [`Build::parameter`].
    pub fn si(&self, path: &str) -> Result<f64> {
        self.parameter(path).map(|p| p.si)
    }

    /// A copy with one value changed: `with("pump.wear", "10 %")`.
    ///
    /// # Errors
    /// As reading the file: unknown path, wrong unit, out of range.
    pub fn with(&self, path: &str, text: &str) -> Result<Self> {
        let mut b = self.clone();
        b.set(path, text)?;
        Ok(b)
    }

    /// Changes one value. The new value is graded as the old one was; a stated spread moves with it.
    ///
    /// # Errors
    /// As reading the file: unknown path, wrong unit, out of range.
    pub fn set(&mut self, path: &str, text: &str) -> Result<()> {
        let (owner, key_name) = self.split(path)?;
        let (owner, key_name) = (owner.to_owned(), key_name.to_owned());
        let key =
            self.values(&owner).expect("split has looked").key(&key_name).map_err(|e| e.at_key(path))?;
        let ambient = self.section("ambient").si("pressure");
        let (new, slips) = read::one(path, key, text, ambient)?;
        let value = match (new, self.values(&owner).and_then(|v| v.parameter(&key_name))) {
            (Value::Scalar(new), Some(old)) => Value::Scalar(Parameter {
                grade: old.grade,
                source: stated(old.source.as_ref()),
                spread: old.spread.as_ref().map(|s| crate::spec::moved(s, old.si, new.si)),
                line: None,
                ..new
            }),
            (new, _) => new,
        };
        self.change(&owner, Some(Part::relearn), |values| values.put(key, value))?;
        // What was odd about the old value is gone with it.
        self.slips.retain(|s| s.key.strip_prefix(path).is_none_or(|rest| rest.starts_with('_')));
        self.slips.extend(slips);
        self.input = digest(&[&self.input, path, text]);
        Ok(())
    }

    /// Changes one value by its SI number, within the key's range: what sweeps and studies do.
    ///
    /// # Errors
    /// An unknown path, or a number outside the key's range.
    pub fn set_si(&mut self, path: &str, si: f64) -> Result<()> {
        let (owner, key_name) = self.split(path)?;
        let key = self.values(owner).expect("split has looked").key(key_name).map_err(|e| e.at_key(path))?;
        let Takes::Scalar { dim, flavour, low, high, .. } = key.takes else {
            return Err(Error::new(Kind::Unknown, "this key does not take a single value").at_key(path));
        };
        let amount = |x| crate::quantity::Amount { si: x, dim, flavour };
        if !(si >= low && si <= high) {
            return Err(Error::new(
                Kind::Value,
                format!("{} is outside its range ({})", amount(si), key.doc),
            )
            .next(format!("accepted: {} to {}", amount(low), amount(high)))
            .at_key(path));
        }
        let (owner, key_name) = (owner.to_owned(), key_name.to_owned());
        // From a pump's other numbers nothing is found, and none is refused.
        let follows: Option<Follows> = match key_name.as_str() {
            "rated_speed" | "rating_viscosity" => Some(Part::relearn),
            "wire_area" => Some(Part::rewire),
            _ => None,
        };
        self.change(&owner, follows, |values| {
            if let Some(p) = values.parameter_mut(&key_name) {
                p.si = si;
                p.source = stated(p.source.as_ref());
            } else {
                values.put(
                    key,
                    Value::Scalar(Parameter {
                        si,
                        dim,
                        flavour,
                        grade: crate::spec::Grade::Assumed,
                        spread: None,
                        source: None,
                        written: amount(si).to_string(),
                        line: None,
                    }),
                );
            }
        })?;
        self.input = digest(&[&self.input, path, &si.to_bits().to_string()]);
        Ok(())
    }

    /// States how a value may spread (SI), or that nothing is known of it.
    ///
    /// # Errors
    /// An unknown path, or a value that is not in the build.
    pub fn set_spread(
        &mut self,
        path: &str,
        law: Option<crate::spec::distribution::Distribution>,
    ) -> Result<()> {
        self.parameter(path)?;
        let (owner, key) = self.split(path)?;
        let (owner, key) = (owner.to_owned(), key.to_owned());
        self.input = digest(&[&self.input, path, &format!("{law:?}")]);
        if let Some(p) = self.values_mut(&owner).parameter_mut(&key) {
            p.spread = law;
        }
        Ok(())
    }

    /// A copy in which `to` replaces `part` in place: same name, same place in its leg.
    ///
    /// # Errors
    /// When there is no such part, or the kinds differ.
    pub fn with_part(&self, name: &str, to: &Part) -> Result<Self> {
        let mut b = self.clone();
        let names: Vec<&str> = self.parts.keys().map(String::as_str).collect();
        let old = b.parts.get_mut(name).ok_or_else(|| {
            Error::new(Kind::Unknown, format!("there is no part \"{name}\"")).next(format!(
                "{}the parts are: {}",
                did_you_mean(name, names.iter().copied()),
                names.join(", ")
            ))
        })?;
        if old.kind != to.kind {
            return Err(Error::new(Kind::Layout, format!("\"{name}\" is a {}, not a {}", old.kind, to.kind))
                .next("replace a part by one of its kind"));
        }
        *old = to.clone();
        b.input = digest(&[&b.input, name, &format!("{:?}", to.values)]);
        Ok(b)
    }

    fn values_mut(&mut self, owner: &str) -> &mut Values {
        match self.sections.get_mut(owner) {
            Some(v) => v,
            None => &mut self.parts.get_mut(owner).expect("split has looked").values,
        }
    }

    /// Changes an owner's values, and with them what follows from a pump's; what is refused leaves the build as it was.
    fn change(
        &mut self,
        owner: &str,
        follows: Option<Follows>,
        change: impl FnOnce(&mut Values),
    ) -> Result<()> {
        match (self.parts.get_mut(owner), follows) {
            (Some(part), Some(follows)) if part.kind == "pump" => {
                let mut changed = part.clone();
                change(&mut changed.values);
                follows(&mut changed, owner)?;
                *part = changed;
            }
            _ => change(self.values_mut(owner)),
        }
        Ok(())
    }

    /// A pump's law, found from its rating rows.
    #[must_use]
    pub fn pump_law(&self, name: &str) -> Option<&Identified> {
        self.parts.get(name).and_then(|p| p.law.as_deref())
    }
}

/// A value that was changed no longer comes from a default.
fn stated(source: Option<&String>) -> Option<String> {
    source.filter(|s| !s.starts_with("default")).cloned()
}

/// 64 bit FNV-1a over the pieces, with a separator. Source: draft-eastlake-fnv.
pub(crate) fn digest(pieces: &[&str]) -> String {
    let mut h: u64 = 0xcbf2_9ce4_8422_2325;
    for p in pieces {
        for b in p.bytes().chain([0x1f]) {
            h = (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    format!("{h:016x}")
}
