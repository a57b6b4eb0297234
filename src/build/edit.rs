//! Changes to what a build is made of: parts and legs added.

use super::{Build, Leg, Part, digest, keys_of, kinds::KINDS, layout};
use crate::error::{Error, Kind, Result, did_you_mean};
use crate::spec::Values;

impl Build {
    /// The leg along which a part stands.
    #[must_use]
    pub fn leg_of(&self, part: &str) -> Option<&Leg> {
        self.legs.iter().find(|l| l.parts.iter().any(|p| p == part))
    }

    /// A copy with one more part in a leg, before the part that now stands at `place` (counted from zero;
    /// at most the number of parts: then it stands last). Keys that are not set have their defaults.
    ///
    /// # Errors
    /// A name that is taken, an unknown kind, leg or key, a missing value, or a circuit without an answer.
    pub fn with_part_in_leg(
        &self,
        name: &str,
        kind: &str,
        settings: &[(&str, &str)],
        leg: &str,
        place: usize,
    ) -> Result<Self> {
        let mut b = self.clone();
        let Some(at) = b.legs.iter().position(|l| l.name == leg) else {
            let names: Vec<&str> = self.legs.iter().map(|l| l.name.as_str()).collect();
            return Err(Error::new(Kind::Unknown, format!("there is no leg \"{leg}\"")).next(format!(
                "{}the legs are: {}",
                did_you_mean(leg, names.iter().copied()),
                names.join(", ")
            )));
        };
        let place = place.min(b.legs[at].parts.len());
        b.legs[at].parts.insert(place, name.to_owned());
        b.insert(name, kind, settings)?;
        b.input = digest(&[&b.input, leg, &place.to_string()]);
        b.checked()
    }

    /// A copy in which the junction of this name is a part of its own, such as a tank with a vent.
    ///
    /// # Errors
    /// As [`Build::with_part_in_leg`]; the junction must end a leg.
    pub fn with_junction(&self, name: &str, kind: &str, settings: &[(&str, &str)]) -> Result<Self> {
        let mut b = self.clone();
        b.insert(name, kind, settings)?;
        b.checked()
    }

    fn insert(&mut self, name: &str, kind: &str, settings: &[(&str, &str)]) -> Result<()> {
        if self.parts.contains_key(name) {
            return Err(Error::new(Kind::Layout, format!("there is already a part \"{name}\""))
                .next("choose another name"));
        }
        let kinds = KINDS.iter().map(|(k, _)| *k);
        let (kind, keys) = kinds.clone().find(|k| *k == kind).zip(keys_of(kind)).ok_or_else(|| {
            Error::new(Kind::Unknown, format!("there is no kind \"{kind}\"")).next(format!(
                "{}the kinds are: {}",
                did_you_mean(kind, kinds.clone()),
                kinds.collect::<Vec<_>>().join(", ")
            ))
        })?;
        let part = Part { kind, values: Values::defaults(keys), line: None, law: None };
        self.parts.insert(name.to_owned(), part);
        self.input = digest(&[&self.input, name, kind]);
        // A pump's law is found from its rows, so they come first.
        let (rows, others): (Vec<_>, Vec<_>) = settings.iter().partition(|(key, _)| *key == "rows");
        for (key, text) in rows.into_iter().chain(others) {
            self.set(&format!("{name}.{key}"), text)?;
        }
        match self.parts[name].values.missing() {
            Some(key) => Err(Error::new(Kind::Value, format!("this value is missing ({})", key.doc))
                .next(format!("set {} = \"{}\"", key.name, key.example))
                .at_key(format!("{name}.{}", key.name))),
            None => Ok(()),
        }
    }

    fn checked(self) -> Result<Self> {
        match Error::all(layout::check(&self.parts, &self.legs)) {
            Some(e) => Err(e),
            None => Ok(self),
        }
    }
}
