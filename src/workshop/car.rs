//! A car to ask questions of.

use super::measure::{AngularVelocity, Pressure, Voltage};
use super::{Reading, Run, stop};
use crate::build::Build;
use crate::explain::Table;
use crate::quantity::{Amount, Dim, GaugePressure, pa, rad_per_s};
use crate::rich::{Bundle, Rich};
use crate::spec::{Grade, Value};
use crate::steady::Operating;
use std::path::{Path, PathBuf};

/// A build under a name, ready to be asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Car {
    build: Build,
}

/// A demo car by its place under `datasets`, such as `"hill-climb-car/before-0.7-bar"`.
///
/// # Panics
/// When there is no such car; the message lists those that there are.
#[must_use]
pub fn car(name: &str) -> Car {
    let path = datasets().join(format!("{name}.toml"));
    if !path.is_file() {
        let all = known(&datasets());
        stop(format!(
            "there is no car \"{name}\"\n  {}the cars are: {}",
            crate::error::did_you_mean(name, all.iter().map(String::as_str)),
            all.join(", ")
        ));
    }
    car_file(path)
}

/// A car from a build file of your own.
///
/// # Panics
/// When the file cannot be read as a build; the message names line, key and cure.
#[must_use]
pub fn car_file(path: impl AsRef<Path>) -> Car {
    match Build::read(path) {
        Ok(build) => Car { build },
        Err(e) => stop(e),
    }
}

/// Where the demo cars are: beside the library, or where `RAILRISE_DATASETS` says.
fn datasets() -> PathBuf {
    std::env::var_os("RAILRISE_DATASETS")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets"), PathBuf::from)
}

fn known(root: &Path) -> Vec<String> {
    let mut out = Vec::new();
    let folders =
        std::fs::read_dir(root).into_iter().flatten().flatten().map(|e| e.path()).filter(|p| p.is_dir());
    for folder in folders {
        for file in std::fs::read_dir(&folder).into_iter().flatten().flatten().map(|e| e.path()) {
            if file.extension().is_some_and(|e| e == "toml")
                && let (Some(a), Some(b)) = (folder.file_name(), file.file_stem())
            {
                out.push(format!("{}/{}", a.to_string_lossy(), b.to_string_lossy()));
            }
        }
    }
    out.sort();
    out
}

impl From<Build> for Car {
    fn from(build: Build) -> Self {
        Self { build }
    }
}

impl Car {
    /// The build behind it.
    #[must_use]
    pub fn build(&self) -> &Build {
        &self.build
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        self.build.name()
    }

    /// The same car with one value changed: `car.with("regulator.base", "4 bar")`.
    ///
    /// # Panics
    /// On an unknown key or a value out of range; the message says what is accepted.
    #[must_use]
    pub fn with(&self, path: &str, value: &str) -> Self {
        match self.build.with(path, value) {
            Ok(build) => Self { build },
            Err(e) => stop(e),
        }
    }

    /// The same car with a fault, from 0 (none) to 1 (as bad as it gets): `car.with_fault("worn pump", 0.4)`.
    ///
    /// # Panics
    /// On an unknown fault (the message lists them) or a severity outside 0 to 1.
    #[must_use]
    pub fn with_fault(&self, fault: &str, severity: f64) -> Self {
        match crate::fault::Fault::named(fault).and_then(|f| f.apply(&self.build, severity)) {
            Ok(build) => Self { build },
            Err(e) => stop(e),
        }
    }

    /// The same car under another name, for the labels of figures.
    #[must_use]
    pub fn named(&self, name: &str) -> Self {
        Self { build: self.build.clone().named(name) }
    }

    /// The car at full load, at this speed and boost.
    ///
    /// # Panics
    /// When the question lies outside what the build knows, or has no answer.
    #[must_use]
    pub fn at(&self, speed: AngularVelocity, boost: Pressure) -> Reading {
        self.ask(Operating::at(speed.quantity(), boost.quantity()))
    }

    /// The car on its full-load pull at this speed, with the boost that the pull reaches there.
    ///
    /// # Panics
    /// As [`Car::at`], and when the speed lies outside the boost rows.
    #[must_use]
    pub fn at_full_load(&self, speed: AngularVelocity) -> Reading {
        self.at(speed, pa(self.full_load_boost(speed).pascals()).into())
    }

    /// The same car with this boost on its full-load pull from a speed on; below it boost rises evenly from nothing at
    /// the first speed of the rows.
    ///
    /// # Panics
    /// When the boost cannot be read, the speed does not lie between the first and the last of the rows, or the build has
    /// no boost rows.
    #[must_use]
    pub fn with_full_boost(&self, from: AngularVelocity, boost: &str) -> Car {
        let Some(speeds) = self.build.section("engine").rows("boost_rows").map(|r| r.column("rpm")) else {
            stop("this build has no boost rows\n  give it engine.boost_rows, boost over speed")
        };
        let (first, last) = speeds.iter().fold((f64::MAX, 0.0_f64), |(l, h), w| (l.min(*w), h.max(*w)));
        let from_speed = from.quantity().value;
        if !(first < from_speed && from_speed < last) {
            let shown = |w: f64| Amount::new(w, Dim::AngularVelocity);
            stop(format!(
                "full boost from {} does not lie inside the boost rows\n  give a speed between {} and {}",
                shown(from_speed),
                shown(first),
                shown(last)
            ));
        }
        let row = |w: f64, boost: &str| format!("{{ rpm = \"{} rad/s\", boost = \"{boost}\" }}", w);
        let rows = [row(first, "0 bar"), row(from_speed, boost), row(last, boost)];
        self.with("engine.boost_rows", &format!("[{}]", rows.join(", ")))
    }

    /// The car idling, reference hose on.
    ///
    /// # Panics
    /// As [`Car::at`].
    #[must_use]
    pub fn idling(&self) -> Reading {
        self.ask(self.idle())
    }

    /// The car idling with the reference hose off and plugged, the regulator open to air: base pressure.
    ///
    /// # Panics
    /// As [`Car::at`].
    #[must_use]
    pub fn idling_hose_off(&self) -> Reading {
        self.ask(self.idle().with_the_reference_hose_off())
    }

    /// Engine off, pump on at this voltage, regulated air on the regulator's reference only.
    ///
    /// # Panics
    /// As [`Car::at`].
    #[must_use]
    pub fn simulated_boost(&self, air: Pressure, supply: Voltage) -> Reading {
        self.ask(
            Operating::engine_off().with_air_on_the_reference(air.quantity()).with_supply(supply.quantity()),
        )
    }

    /// The car at any operating point.
    ///
    /// # Panics
    /// As [`Car::at`].
    #[must_use]
    pub fn ask(&self, op: Operating) -> Reading {
        match Reading::of(&self.build, op) {
            Ok(r) => r,
            Err(e) => stop(e),
        }
    }

    /// What happens as boost rises at one speed.
    ///
    /// # Panics
    /// As [`Car::at`].
    #[must_use]
    pub fn as_boost_rises(&self, speed: AngularVelocity, from: Pressure, to: Pressure) -> Run {
        let ask = |b: f64| Operating::at(speed.quantity(), pa(b));
        Run::over(
            self.name(),
            "boost",
            crate::quantity::Dim::Pressure,
            (from.quantity().value, to.quantity().value),
            57,
            |x| Reading::of(&self.build, ask(x)),
        )
    }

    /// The full-load pull: speed rises, boost follows the build's boost rows.
    ///
    /// # Panics
    /// When the build has no boost rows, or as [`Car::at`].
    #[must_use]
    pub fn pull(&self, from: AngularVelocity, to: AngularVelocity) -> Run {
        Run::over(
            self.name(),
            "engine speed",
            crate::quantity::Dim::AngularVelocity,
            (from.quantity().value, to.quantity().value),
            121,
            |w| {
                let boost = self.build.full_load_boost(w)?;
                Reading::of(&self.build, Operating::at(rad_per_s(w), pa(boost)))
            },
        )
    }

    /// What happens as one value of the build changes, at one operating point.
    ///
    /// # Panics
    /// On an unknown key, a unit that cannot be read, or as [`Car::at`].
    #[must_use]
    pub fn as_value_changes(
        &self,
        path: &str,
        from: &str,
        to: &str,
        speed: AngularVelocity,
        boost: Pressure,
    ) -> Run {
        self.sweep(path, from, to, Operating::at(speed.quantity(), boost.quantity()))
    }

    fn sweep(&self, path: &str, from: &str, to: &str, op: Operating) -> Run {
        let (low, high) = (self.with(path, from), self.with(path, to));
        let (low, high) = match (low.build.parameter(path), high.build.parameter(path)) {
            (Ok(l), Ok(h)) => (l.amount(), h.amount()),
            (Err(e), _) | (_, Err(e)) => stop(e),
        };
        let unit = match crate::quantity::unit::read(to, low.dim) {
            Ok(read) => read.unit,
            Err(_) => low.dim.shown_in(),
        };
        Run::over(self.name(), &super::run::called(path), low.dim, (low.si, high.si), 57, |x| {
            let mut build = self.build.clone();
            build.set_si(path, x)?;
            Reading::of(&build, op)
        })
        .drawn_in(unit, low)
    }

    /// What the idling car does, hose on, as one value of the build changes.
    ///
    /// # Panics
    /// As [`Car::as_value_changes`].
    #[must_use]
    pub fn idling_as_value_changes(&self, path: &str, from: &str, to: &str) -> Run {
        self.sweep(path, from, to, self.idle())
    }

    /// What the idling car does, hose off and plugged, as one value of the build changes.
    ///
    /// # Panics
    /// As [`Car::as_value_changes`].
    #[must_use]
    pub fn hose_off_as_value_changes(&self, path: &str, from: &str, to: &str) -> Run {
        self.sweep(path, from, to, self.idle().with_the_reference_hose_off())
    }

    fn idle(&self) -> Operating {
        let e = self.build.section("engine");
        Operating::at(rad_per_s(e.si("idle_speed")), pa(e.si("idle_manifold")))
    }

    /// Values that are possible but look like a slip, such as litres a minute for litres an hour.
    #[must_use]
    pub fn slips(&self) -> Table {
        let mut t = Table::new("Looks like a slip", &["value", "why"]);
        for s in self.build.slips() {
            t.row([s.key.clone(), s.what.clone()]);
        }
        if self.build.slips().is_empty() {
            t.note("Nothing looks like a slip.");
        }
        t
    }

    /// The boost that the full-load pull reaches at this speed.
    ///
    /// # Panics
    /// When the build has no boost rows or the speed lies outside them.
    #[must_use]
    pub fn full_load_boost(&self, speed: AngularVelocity) -> GaugePressure {
        match self.build.full_load_boost(speed.quantity().value) {
            Ok(p) => GaugePressure::from_pascals(p),
            Err(e) => stop(e),
        }
    }
}

/// What the build says, value by value.
fn values(build: &Build) -> Table {
    let mut t = Table::new(build.name(), &["value", "is", "known by"]);
    let sections = crate::build::SECTIONS.iter().map(|(n, _)| (*n, String::new(), build.section(n)));
    let parts = build.parts().map(|(n, p)| (n, format!(" ({})", p.kind), &p.values));
    for (name, kind, values) in sections.chain(parts) {
        let stated: Vec<_> = values
            .iter()
            .filter(|(_, v)| matches!(v, Value::Scalar(p) if p.line.is_some() || p.grade != Grade::Assumed))
            .collect();
        if stated.is_empty() {
            continue;
        }
        t.heading(&format!("{name}{kind}"));
        for (key, v) in stated {
            if let Value::Scalar(p) = v {
                t.row([format!("  {}", key.name), p.amount().to_string(), p.grade.to_string()]);
            }
        }
    }
    t
}

impl Rich for Car {
    fn rich(&self) -> Bundle {
        let t = values(&self.build);
        Bundle::text(t.to_string()).html(t.html())
    }
}
