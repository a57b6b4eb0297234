//! What a gauge should read, before it is read; and which input moves the answer most.

use super::measure::AngularVelocity;
use super::{Car, Reading, run::axis, run::shown, stop};
use crate::chart::{Axis, GaugeFace, Tornado};
use crate::quantity::{Amount, round_to_digits, unit};
use crate::study::of_build::{BuildModel, Figure, shop_criteria};
use crate::study::tornado::Tornado as Swings;
use crate::study::{Limit, Plan, StudyError};

/// Cars drawn for a band.
const DRAWS: u64 = 200;
/// Seed of the draws: one car, one band.
const SEED: u64 = 1;

/// A dial with the band that a figure of this reading should lie in, across the stated spreads of the build.
///
/// The band holds 95 of 100 drawn cars; for a pressure it is widened on both sides by the error that a dial of
/// class 1.6 may have by EN 837-1: 1.6 % of the top of its scale, here `top`.
#[must_use]
pub fn expect_gauge(reading: &Reading, figure: &str, top: impl crate::quantity::Shown) -> GaugeFace {
    let kind = reading.value(figure);
    let top = top.amount();
    if top.dim != kind.dim {
        stop(format!(
            "{figure} is {}, and the top of its scale was given as {}\n  give it as such: a pressure with bar(6.0)",
            kind.dim.with_article(),
            top.dim.with_article()
        ))
    }
    let top = shown(Amount { si: top.si, ..kind });
    let ask = || -> Result<Vec<f64>, StudyError> {
        let wanted = Figure::Smallest(figure.to_owned());
        let model =
            BuildModel::new(reading.build(), &[reading.point().operating], std::slice::from_ref(&wanted))?;
        let runs = Plan::tolerance(&model).draws(DRAWS).seed(SEED).run(&model)?;
        Ok(runs.output(&wanted.name())?.to_vec())
    };
    let mut found = ask().unwrap_or_else(|e| stop(e));
    found.retain(|x| x.is_finite());
    found.sort_by(f64::total_cmp);
    if found.is_empty() {
        stop(format!("no drawn car has a {figure} here"))
    }
    let at = |p: f64| found[((found.len() - 1) as f64 * p).round() as usize];
    let pressure = kind.dim == crate::quantity::Dim::Pressure;
    let class = if pressure { 0.016 * top } else { 0.0 };
    let why = if pressure { " and a dial of class 1.6" } else { "" };
    GaugeFace::new(&super::run::title(figure), axis(figure, kind))
        .subtitle(&format!("{}: 95 of 100 cars{why}", reading.point().build))
        .scale(0.0, top)
        .expect(at(0.025) - class, at(0.975) + class)
}

/// An input of a study as it is said.
pub(super) fn human(input: &str) -> String {
    input.replace(['.', '_'], " ")
}

/// Keys that are parts of a whole.
const PARTS: [&str; 7] = [
    "wear",
    "blocked",
    "ethanol",
    "cylinder_spread",
    "intercooler_effectiveness",
    "flow_factor",
    "volumetric_efficiency",
];

/// A value of an input with its unit: parts of a whole in percent, other pure numbers bare.
pub(super) fn with_unit(input: &str, x: f64, unit: &str) -> String {
    match unit {
        "1" | "" if PARTS.iter().any(|p| input.ends_with(p)) => {
            format!("{} %", round_to_digits(100.0 * x, 3))
        }
        "1" | "" => round_to_digits(x, 3),
        symbol => format!("{} {}", round_to_digits(x, 3), unit::printed(symbol)),
    }
}

/// What one input at a time does to a figure at full load, from the 5 % to the 95 % end of its stated spread, all
/// others at their middle. Figures are those of the ways to fail: "headroom", "lambda over target", "duty" ...
#[must_use]
pub fn tornado(car: &Car, speed: AngularVelocity, figure: &str) -> Tornado {
    let swings = BuildModel::full_load(car.build(), &[speed.quantity().value])
        .and_then(|model| Swings::run(&model, 0.05, 0.95))
        .unwrap_or_else(|e| stop(e));
    let Some(found) = swings.iter().find(|t| t.output == figure) else {
        let names: Vec<&str> = swings.iter().map(|t| t.output.as_str()).collect();
        stop(format!("there is no figure \"{figure}\" here\n  they are: {}", names.join(", ")))
    };
    let (factor, unit) = if found.unit == "1" { (100.0, "%") } else { (1.0, found.unit.as_str()) };
    let mut chart =
        Tornado::new(&format!("What moves {figure}"), Axis::new(figure, unit), found.middle * factor)
            .subtitle(car.name())
            .centre_called("middle of the spreads");
    if let Some(c) = shop_criteria().into_iter().find(|c| c.output == figure) {
        let (Limit::Above(at) | Limit::Below(at)) = c.limit;
        chart = chart.limit(at * factor, &c.name);
    }
    for s in found.swings.iter().take(8) {
        let end = |x: f64| with_unit(&s.input, x, &s.unit);
        let (low, high) = (end(s.ends.0), end(s.ends.1));
        chart = chart.input(&human(&s.input), (&low, s.answers.0 * factor), (&high, s.answers.1 * factor));
    }
    chart
}
