//! One car across the tolerances of its parts: the chance of each failure, what drives it, what measuring is worth.

use super::expect::{human, with_unit};
use super::measure::{AngularVelocity, Ratio, ratio};
use super::watched::watched;
use super::{Car, stop};
use crate::chart::{Axis, Histogram};
use crate::explain::Table;
use crate::rich::{Bundle, Rich};
use crate::study::interval::wilson;
use crate::study::measure::Reading;
use crate::study::of_build::{BuildModel, Figure, shop_criteria, shop_criteria_of};
use crate::study::{Criterion, Plan, Question, Runs};

/// The runs of a tolerance study of one car on its full-load pull.
pub struct Tolerances {
    name: String,
    runs: Runs,
}

/// Draws cars as this one may really be, within the spreads its build states, and runs each at a speed of the
/// full-load pull. The same seed gives the same draws, whatever the machine.
///
/// # Panics
/// When the build states no spread, or the speed lies outside its rows.
#[must_use]
pub fn across_tolerances(
    car: &Car,
    speed: AngularVelocity,
    draws: impl Into<i64>,
    seed: impl Into<i64>,
) -> Tolerances {
    let (draws, seed) = (whole(draws, "number of draws"), whole(seed, "seed"));
    let ask = || -> Result<Runs, crate::study::StudyError> {
        let model = BuildModel::full_load(car.build(), &[speed.quantity().value])?;
        let plan = Plan::tolerance(&model).draws(draws).seed(seed);
        watched(format!("{} across tolerances", car.name()), plan.runs(), |control| {
            plan.run_with(&model, control)
        })
    };
    match ask() {
        Ok(runs) => Tolerances { name: car.name().to_owned(), runs },
        Err(e) => stop(e),
    }
}

/// Whole numbers of any size that a cell may write; below zero there is no such study.
pub(super) fn whole(n: impl Into<i64>, what: &str) -> u64 {
    let n = n.into();
    u64::try_from(n)
        .unwrap_or_else(|_| stop(format!("{n} is no {what}\n  give a whole number of zero or more")))
}

pub(super) fn criterion(name: &str) -> Criterion {
    let all = shop_criteria();
    match all.iter().find(|c| c.name == name) {
        Some(c) => c.clone(),
        None => {
            let names: Vec<&str> = all.iter().map(|c| c.name.as_str()).collect();
            stop(format!(
                "there is no way to fail called \"{name}\"\n  {}they are: {}",
                crate::error::did_you_mean(name, names.iter().copied()),
                names.join(", ")
            ))
        }
    }
}

impl Tolerances {
    /// The chance of one way to fail, such as `"running lean"`.
    ///
    /// # Panics
    /// On an unknown name; the message lists them.
    #[must_use]
    pub fn chance(&self, way_to_fail: &str) -> Ratio {
        let question = Question { criteria: vec![criterion(way_to_fail)], ..Question::default() };
        match self.runs.findings(&question) {
            Ok(f) => ratio(f.chances[0].chance.value),
            Err(e) => stop(e),
        }
    }

    /// What differs between the cars that fail and those that do not, largest difference first.
    ///
    /// # Panics
    /// When too few fail or pass to tell.
    #[must_use]
    pub fn levers(&self, way_to_fail: &str) -> Table {
        let found = match self.runs.contrast(&criterion(way_to_fail), 0.95) {
            Ok(c) => c,
            Err(e) => stop(e),
        };
        let mut t = Table::new(
            format!("{}: where it is {way_to_fail}, what differs?", self.name),
            &["input", "mean where it fails", "mean where it does not", "how many spreads apart"],
        );
        for c in found.inputs.iter().take(8) {
            t.row([
                human(&c.input),
                with_unit(&c.input, c.failing, &c.unit),
                with_unit(&c.input, c.passing, &c.unit),
                format!("{:.2}", c.standardised).replace('-', "−"),
            ]);
        }
        t.note(format!("{} of {} draws fail.", found.failing, found.failing + found.passing));
        t
    }

    /// What measuring each input would be worth: how much of the doubt it would settle.
    ///
    /// # Panics
    /// When there are too few draws, or all of them pass or fail.
    #[must_use]
    pub fn worth_measuring(&self, way_to_fail: &str) -> Table {
        let found = match self.runs.worth_of_measuring(&criterion(way_to_fail), 0.95) {
            Ok(w) => w,
            Err(e) => stop(e),
        };
        let mut t = Table::new(
            format!("{}: what would measuring one input settle?", self.name),
            &["measure", "share of the doubt it settles", "chance at its best reading", "at its worst"],
        );
        let percent = |x: f64| format!("{:.0} %", 100.0 * x);
        for w in found.iter().take(6) {
            // A range holds few draws, and the best of many ranges looks good by luck alone.
            let sure = 1.0 - 0.05 / w.readings.len() as f64;
            let told = |r: Option<&Reading>| match r {
                Some(r)
                    if !wilson((r.chance * r.draws as f64).round() as u64, r.draws, sure)
                        .contains(w.chance) =>
                {
                    percent(r.chance)
                }
                _ => "not told from today's".to_owned(),
            };
            let by_chance = |a: &&Reading, b: &&Reading| a.chance.total_cmp(&b.chance);
            t.row([
                human(&w.input),
                percent(w.variance_drop.max(0.0)),
                told(w.readings.iter().min_by(by_chance)),
                told(w.readings.iter().max_by(by_chance)),
            ]);
        }
        t
    }

    /// Lambda over its target, draw by draw, with the line at which to warn.
    ///
    /// # Panics
    /// When the runs have no such figure.
    #[must_use]
    pub fn histogram(&self) -> Histogram {
        match self.runs.output(&Figure::LambdaExcess.name()) {
            Ok(v) => {
                let draws: Vec<f64> = v.iter().map(|x| 100.0 * x).collect();
                Histogram::new(
                    "Lambda over its target, car by car",
                    Axis::new("lambda over target", "%"),
                    draws,
                )
                .subtitle(&self.name)
                .fail_above(3.0, "3 % over target")
                .beyond(30.0, "far past any abort limit")
            }
            Err(e) => stop(e),
        }
    }
}

impl Rich for Tolerances {
    fn rich(&self) -> Bundle {
        let criteria = shop_criteria_of(self.runs.plan().outputs());
        let question = Question { criteria, ..Question::default() };
        match self.runs.findings(&question) {
            Ok(f) => {
                let mut t = Table::new(
                    format!("{} across its tolerances", self.name),
                    &["way to fail", "draws that fail", "chance", "95 % interval", "enough draws?"],
                );
                let percent = |x: f64| format!("{:.1} %", 100.0 * x);
                for c in &f.chances {
                    t.row([
                        c.name.clone(),
                        format!("{} of {}", c.failing, c.of),
                        percent(c.chance.value),
                        c.chance.interval.map_or_else(
                            || "none".to_owned(),
                            |i| format!("{} to {}", percent(i.low), percent(i.high)),
                        ),
                        // A sign stays with its number where a cell of the table wraps.
                        c.convergence.words.replace(" %", "\u{a0}%"),
                    ]);
                }
                if let Some(lean) = f.chances.iter().find(|c| c.name == "running lean") {
                    t.note(lean.sentence(&f.provenance, f.confidence));
                }
                for n in &f.notes {
                    t.note(n.clone());
                }
                for r in &f.reasons {
                    t.note(format!("{} draws without an answer: {}", r.count, r.reason));
                }
                Bundle::text(t.to_string()).html(t.html())
            }
            Err(e) => stop(e),
        }
    }
}
