//! Studies in a few words: options on the same draws, what matters, how rare, and a grid of values.

use super::measure::AngularVelocity;
use super::tolerance::{criterion, whole};
use super::watched::watched;
use super::{Car, stop};
use crate::chart::Series;
use crate::explain::Table;
use crate::quantity::{Amount, Dim, round_to_digits, unit};
use crate::rich::{Bundle, Rich, cancelled};
use crate::spec::distribution::Distribution;
use crate::study::compare::Options;
use crate::study::of_build::{BuildModel, Figure, shop_criteria_of};
use crate::study::reliability::{ModelMargin, cross_check};
use crate::study::sweep::{Swept, evenly};
use crate::study::{Model, Plan, Question, StudyError};

fn model(car: &Car, speed: AngularVelocity) -> Result<BuildModel, StudyError> {
    BuildModel::full_load(car.build(), &[speed.quantity().value])
}

fn done<T>(answer: Result<T, StudyError>) -> T {
    answer.unwrap_or_else(|e| stop(e))
}

/// A value in the unit that its quantity is shown in.
fn shown(si: f64, dim: Dim) -> f64 {
    Amount::new(si, dim).shown().number
}

impl Car {
    /// The same car with every doubt that nobody stated: a value without a spread takes the one usual for how it is
    /// known ([`crate::study::defaults`]).
    #[must_use]
    pub fn with_spreads_by_grade(&self) -> Self {
        done(crate::study::defaults::with_spreads_by_grade(self.build())).0.into()
    }

    /// Every combination of some values, each from one end to the other in so many steps, at full load and one speed:
    /// `car.over_a_grid(rpm(6500.0), &[("main pump.wear", "0 %", "20 %", 5)])`.
    ///
    /// # Panics
    /// On an unknown key, a unit that cannot be read, or a speed outside the rows.
    #[must_use]
    pub fn over_a_grid(&self, speed: AngularVelocity, values: &[(&str, &str, &str, usize)]) -> Grid {
        let ask = || -> Result<Swept, StudyError> {
            let mut model = model(self, speed)?;
            let mut axes = Vec::new();
            for (path, from, to, count) in values {
                let now = self.build().parameter(path).map_err(|e| StudyError::Plan(e.to_string()))?;
                let (low, high) = (self.with(path, from), self.with(path, to));
                let end = |c: &Car| c.build().si(path).unwrap_or(f64::NAN);
                model = model.with_law(path, Distribution::Fixed { value: now.si })?;
                axes.push((*path, evenly(shown(end(&low), now.dim), shown(end(&high), now.dim), *count)));
            }
            let total = values.iter().map(|v| v.3 as u64).product();
            watched(format!("{} over a grid", self.name()), total, |control| {
                Swept::grid(&model, &axes, control)
            })
        };
        Grid { car: self.clone(), swept: done(ask()) }
    }
}

/// Figures of the full-load pull over a grid of values.
#[derive(Clone, Debug)]
pub struct Grid {
    car: Car,
    swept: Swept,
}

impl Grid {
    /// The slice at one value of the grid: `grid.at("main pump.wear", "10 %")`.
    ///
    /// # Panics
    /// On a value that is not on the grid; the message names the nearest ones.
    #[must_use]
    pub fn at(&self, path: &str, value: &str) -> Self {
        let p = self.car.build().parameter(path).unwrap_or_else(|e| stop(e));
        let read = unit::read(value, p.dim)
            .unwrap_or_else(|_| stop(format!("\"{value}\" is no {}\n  write {}", p.dim.name(), p.amount())));
        Self { car: self.car.clone(), swept: done(self.swept.at(path, shown(read.si, p.dim))) }
    }

    /// One figure along the only axis left, ready for a plot.
    ///
    /// # Panics
    /// On an unknown figure, or when more than one axis is left.
    #[must_use]
    pub fn series(&self, figure: &str) -> Series {
        let (x, y) = done(self.swept.line(figure));
        Series::new(self.car.name(), x, y)
    }

    /// The labelled arrays behind it.
    #[must_use]
    pub fn arrays(&self) -> &Swept {
        &self.swept
    }
}

impl Rich for Grid {
    fn rich(&self) -> Bundle {
        let axes = self.swept.axes();
        let mut t = Table::new(
            format!("{}: {} points", self.car.name(), axes.iter().map(|a| a.values.len()).product::<usize>()),
            &["axis", "from", "to", "points"],
        );
        let number = |x: Option<&f64>| x.map_or_else(String::new, |x| round_to_digits(*x, 4));
        for a in axes {
            let ends = [number(a.values.first()), number(a.values.last())].map(|v| format!("{v} {}", a.unit));
            t.row([a.name.clone(), ends[0].clone(), ends[1].clone(), a.values.len().to_string()]);
        }
        t.note("Fix axes with at(\"key\", \"value\") until one is left; then series(\"figure\") is a line.");
        for r in self.swept.reasons() {
            t.note(format!("{} points without an answer: {}", r.count, r.reason));
        }
        t.note(self.swept.provenance().to_string());
        Bundle::text(t.to_string()).html(t.html())
    }
}

/// Options on the same draws: the chance of each way to fail, and its difference from the first car's with a 95 %
/// interval.
///
/// # Panics
/// With fewer than two cars, or when one of them has no answer as it stands.
#[must_use]
pub fn options_across_tolerances(
    cars: &[&Car],
    speed: AngularVelocity,
    draws: impl Into<i64>,
    seed: impl Into<i64>,
) -> Table {
    let (draws, seed) = (whole(draws, "number of draws"), whole(seed, "seed"));
    let ask = || {
        let models = cars.iter().map(|c| model(c, speed)).collect::<Result<Vec<_>, _>>()?;
        let named: Vec<(&str, &dyn Model)> =
            cars.iter().zip(&models).map(|(c, m)| (c.name(), m as &dyn Model)).collect();
        let question = Question {
            criteria: models.first().map_or_else(Vec::new, |m| shop_criteria_of(m.outputs())),
            ..Question::default()
        };
        let options = Options::new(&named, |p| p.draws(draws).seed(seed))?;
        let total = draws.saturating_mul(cars.len() as u64);
        let runs = watched("options across tolerances".to_owned(), total, |control| options.run(control))?;
        if cancelled() {
            stop(
                "the comparison was interrupted before every car had its draws\n  ask for fewer draws, or let it run",
            );
        }
        runs.compare(&question)
    };
    let found = done(ask());
    let mut t = Table::new(
        "Options on the same draws",
        &["way to fail", "car", "chance", "difference, points", "95 % interval"],
    );
    let percent = |x: f64| format!("{:.1}", 100.0 * x);
    for c in &found.chances {
        let d = c.difference.as_ref();
        t.row([
            c.criterion.clone(),
            c.option.clone(),
            format!("{} %", percent(c.chance.chance.value)),
            d.map_or_else(String::new, |d| percent(d.value)),
            d.and_then(|d| d.interval)
                .map_or_else(String::new, |i| format!("{} to {}", percent(i.low), percent(i.high))),
        ]);
    }
    if let Some(p) = found.provenance.first() {
        t.note(p.to_string());
    }
    t
}

/// Which input matters for a figure such as `"lambda over target"`: shares of its variance with 95 % intervals, largest
/// first. `rows` is best a power of two, 256 or more.
///
/// # Panics
/// On an unknown figure, or one that does not vary.
#[must_use]
pub fn what_matters(
    car: &Car,
    speed: AngularVelocity,
    figure: &str,
    rows: impl Into<i64>,
    seed: impl Into<i64>,
) -> Table {
    let (rows, seed) = (whole(rows, "number of rows"), whole(seed, "seed"));
    let ask = || {
        let model = model(car, speed)?;
        let plan = Plan::sensitivity(&model, rows).seed(seed);
        let title = format!("{}: what moves {figure}?", car.name());
        watched(title, plan.runs(), |control| plan.run_with(&model, control))?.indices(figure, 0.95)
    };
    let mut found = done(ask());
    found.indices.sort_by(|a, b| b.total.total_cmp(&a.total));
    let mut t = Table::new(
        format!("{}: what moves {figure}?", car.name()),
        &["input", "share alone", "95 % interval", "share with all it acts with", "95 % interval"],
    );
    let percent = |x: f64| format!("{:.1} %", 100.0 * x);
    let ends = |i: &crate::study::interval::Interval| format!("{} to {}", percent(i.low), percent(i.high));
    for i in found.indices.iter().take(SHOWN) {
        let name = super::expect::human(&i.name);
        t.row([name, percent(i.first), ends(&i.first_interval), percent(i.total), ends(&i.total_interval)]);
    }
    if found.indices.len() > SHOWN {
        t.note(format!("The {SHOWN} largest of {} inputs.", found.indices.len()));
    }
    t.note(found.provenance.to_string());
    t
}

/// Inputs in a table of what matters.
const SHOWN: usize = 8;

/// How rare a failure is, by two methods that must agree: importance sampling about the nearest way to fail, and subset
/// simulation; down to one in a million.
///
/// # Panics
/// On an unknown way to fail, or when neither method reaches it.
#[must_use]
pub fn how_rare(car: &Car, speed: AngularVelocity, way_to_fail: &str, seed: impl Into<i64>) -> Table {
    let (seed, wanted) = (whole(seed, "seed"), criterion(way_to_fail));
    let ask = || cross_check(&ModelMargin::new(&model(car, speed)?, &wanted)?, 4000, seed, 0.95);
    let found = done(ask());
    let mut t = Table::new(
        format!("{}: how rare is {way_to_fail}?", car.name()),
        &["method", "chance", "95 % interval"],
    );
    let number = |x: f64| format!("{x:.2e}");
    let first = found.form.as_ref().map_or_else(|_| "not settled".to_owned(), |f| number(f.chance));
    t.row(["first order (a start, no proof)".into(), first, String::new()]);
    let sampled =
        [("importance sampling", found.importance.as_ref().ok()), ("subset simulation", Some(&found.subset))];
    for (name, c) in sampled {
        let cells = c.map_or_else(
            || ["no answer".to_owned(), String::new()],
            |c| [number(c.chance), format!("{} to {}", number(c.interval.low), number(c.interval.high))],
        );
        t.row([name.to_owned(), cells[0].clone(), cells[1].clone()]);
    }
    t.note(found.verdict());
    for why in [found.form.as_ref().err(), found.importance.as_ref().err()].into_iter().flatten() {
        t.note(why.clone());
    }
    if let Ok(i) = &found.importance {
        t.note(i.to_string());
    }
    t.note(found.subset.to_string());
    t
}

/// The figures of a full-load study, by the names that [`what_matters`] and [`Grid::series`] take.
#[must_use]
pub fn study_figures() -> Table {
    let mut t = Table::new("Figures of a study", &["name"]);
    for f in Figure::CRITERIA {
        t.row([f.name()]);
    }
    t.note("also: \"smallest X\" and \"largest X\" for any channel X of a point, in a study file");
    t
}
