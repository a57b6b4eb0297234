//! Spreads for values whose tolerance nobody stated, by how the value is known.
//!
//! A value read on this car (A) keeps the width of its reading, one from a data sheet (B) the width from part to part, an
//! assumed one (C) what cars of this kind span. The widths are common practice, no source; each may be overridden by
//! stating one. Values that stand in no row keep none: geometry, counts, limits, what was imposed.

use super::error::StudyError;
use super::settings::EACH;
use crate::build::Build;
use crate::spec::distribution::Distribution;
use crate::spec::{Grade, Takes};

/// How a default law lies about its nominal value. Numbers are SI, or parts of the nominal where said.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Shape {
    /// Normal, cut at three standard deviations; this one is a part of the nominal.
    Part(f64),
    /// The same with a standard deviation of its own.
    About(f64),
    /// Rectangular, as far to both sides.
    Within(f64),
    /// Rectangular between two ends, wherever the nominal lies.
    Between(f64, f64),
    /// Triangular from and to these multiples of the nominal, its peak there.
    Skew(f64, f64),
    /// Triangular between two ends, its peak at the nominal.
    Peak(f64, f64),
    /// Lognormal about the nominal as median.
    Log(f64),
    /// None.
    Known,
}

use Shape::{About, Between, Known, Log, Part, Peak, Skew, Within};

/// Kind of part or section, key, and the shape for a measured, a data-sheet and an assumed value.
const ROWS: &[(&str, &str, [Shape; 3])] = &[
    ("pump", "flow_factor", [Part(0.01), Part(0.03), Part(0.05)]),
    ("pump", "wear", [Within(0.03), Peak(0.0, 0.15), Peak(0.0, 0.15)]),
    ("pump", "feed_contacts", [Part(0.05), Log(0.5), Log(0.5)]),
    ("pump", "return_contacts", [Part(0.05), Log(0.5), Log(0.5)]),
    ("supply", "voltage_offset", [About(0.1), About(0.25), About(0.25)]),
    ("regulator", "base", [Within(0.04e5), Within(0.1e5), Within(0.2e5)]),
    ("regulator", "spring_rate", [Part(0.05), Skew(0.5, 2.0), Skew(0.5, 2.0)]),
    ("filter", "loss", [Part(0.05), Part(0.10), Skew(0.53, 3.0)]),
    ("strainer", "loss", [Part(0.10), Skew(0.33, 5.0), Skew(0.33, 5.0)]),
    ("line", "fittings", [Known, Skew(0.75, 1.25), Skew(0.75, 1.25)]),
    ("injectors", "flow_factor", [Part(0.005), Part(0.015), Part(0.03)]),
    ("injectors", "cylinder_spread", [Known, Between(0.01, 0.02), Between(0.01, 0.02)]),
    ("control", "dead_time_error", [Within(5e-5), Within(5e-5), Within(1e-4)]),
    ("engine", "volumetric_efficiency", [Part(0.01), Part(0.03), Part(0.03)]),
    ("engine", "intercooler_effectiveness", [About(0.015), About(0.045), About(0.045)]),
    ("engine", "charge_temperature", [About(2.0), About(6.0), About(6.0)]),
    ("engine", "lambda", [Within(0.015), Within(0.02), Within(0.02)]),
    ("fuel", "petrol_density", [Within(2.0), Within(10.0), Between(720.0, 775.0)]),
    ("fuel", "vapour_pressure", [Within(3e3), Within(1e4), Between(45e3, 100e3)]),
    ("fuel", "ethanol", [Within(0.01), Between(0.0, 0.10), Between(0.0, 0.10)]),
    ("fuel", "temperature", [About(2.0), Peak(293.15, 331.15), Peak(293.15, 331.15)]),
];

/// A spread that was taken by grade.
#[derive(Clone, Debug, PartialEq)]
pub struct SpreadByGrade {
    /// Path of the value.
    pub path: String,
    /// How the value is known.
    pub grade: Grade,
    /// The law, SI.
    pub law: Distribution,
}

/// What a plan says of such a spread.
pub(crate) fn basis(grade: Grade) -> String {
    format!("not stated: taken for a value of grade {} ({grade}), common practice, no source", grade.letter())
}

impl Shape {
    fn law(self, x: f64, low: f64, high: f64) -> Option<Distribution> {
        let inside = |v: f64| v.clamp(low, high);
        let about = |sd: f64| Distribution::TruncatedNormal {
            mean: x,
            sd,
            low: inside(x - 3.0 * sd),
            high: inside(x + 3.0 * sd),
        };
        let peak = |a: f64, b: f64| Distribution::Triangular {
            low: inside(a.min(x)),
            mode: x,
            high: inside(b.max(x)),
        };
        let law = match self {
            Part(sd) => about(sd * x.abs()),
            About(sd) => about(sd),
            Within(d) => Distribution::Uniform { low: inside(x - d), high: inside(x + d) },
            Between(a, b) => Distribution::Uniform { low: inside(a), high: inside(b) },
            Skew(a, b) => peak(a * x, b * x),
            Peak(a, b) => peak(a, b),
            Log(sigma_ln) => Distribution::Lognormal { median: x, sigma_ln },
            Known => return None,
        };
        // A value of nought has no part of itself.
        law.check().is_ok().then_some(law).filter(|l| !l.is_fixed())
    }
}

/// A copy of a build in which every value of [the rows](self) without a stated spread has the one of its grade, and the
/// list of them.
///
/// # Errors
/// None that a build which was read can give.
pub fn with_spreads_by_grade(build: &Build) -> Result<(Build, Vec<SpreadByGrade>), StudyError> {
    let mut found = Vec::new();
    for (path, p) in build.parameters() {
        let Some((owner, key)) = path.rsplit_once('.') else { continue };
        let part = build.part(owner);
        let kind = part.map_or(owner, |p| p.kind);
        let values = part.map_or_else(|| build.section(owner), |p| &p.values);
        let row = ROWS.iter().find(|r| r.0 == kind && r.1 == key);
        let (Some((.., shapes)), None) = (row, &p.spread) else { continue };
        // Follows from the injectors' own, drawn one by one.
        let one_by_one =
            |p: &crate::build::Part| p.values.parameter(EACH).is_some_and(|e| e.spread.is_some());
        if key == "cylinder_spread" && part.is_some_and(one_by_one) {
            continue;
        }
        let Ok(Takes::Scalar { low, high, .. }) = values.key(key).map(|k| k.takes) else { continue };
        let shape = match p.grade {
            Grade::Measured => shapes[0],
            Grade::DataSheet => shapes[1],
            Grade::Assumed => shapes[2],
        };
        if let Some(law) = shape.law(p.si, low, high) {
            found.push(SpreadByGrade { path, grade: p.grade, law });
        }
    }
    let mut build = build.clone();
    for d in &found {
        build.set_spread(&d.path, Some(d.law.clone())).map_err(|e| StudyError::Plan(e.to_string()))?;
    }
    Ok((build, found))
}
