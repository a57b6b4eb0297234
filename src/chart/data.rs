//! What a figure is given: axes with units, and labelled rows of numbers.

use super::scale::{drawable, power_of_ten};
use super::style::wrap;
use std::borrow::Borrow;

/// The name of an axis and its unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// What is plotted: `rail pressure`.
    pub name: String,
    /// Unit symbol: `bar`; `-` for a pure number.
    pub unit: String,
}

impl Axis {
    /// An axis with a unit. An empty unit is written `-`, so that every axis title carries one.
    pub fn new(name: impl Into<String>, unit: impl Into<String>) -> Axis {
        let unit = match unit.into() {
            unit if unit.trim().is_empty() => String::from("-"),
            unit => crate::quantity::unit::printed(&unit).to_owned(),
        };
        Axis { name: name.into(), unit }
    }

    /// An axis that only names what stands there, with nothing to measure.
    pub fn bare(name: impl Into<String>) -> Axis {
        Axis { name: name.into(), unit: String::new() }
    }

    /// An axis for a pure number (lambda, a share, a ratio).
    pub fn ratio(name: impl Into<String>) -> Axis {
        Axis::new(name, "-")
    }

    /// Name and unit as printed: `rail pressure [bar]`.
    pub fn title(&self) -> String {
        if self.unit.is_empty() { self.name.clone() } else { format!("{} [{}]", self.name, self.unit) }
    }

    pub(crate) fn title_with_power(&self, power: i32) -> String {
        match (power, self.unit.as_str()) {
            (0, _) => self.title(),
            (_, "-") => format!("{} [{}]", self.name, power_of_ten(power)),
            (_, unit) => format!("{} [{} {unit}]", self.name, power_of_ten(power)),
        }
    }

    /// The title on at most `most` lines; a name that is too long is cut, the unit never is.
    pub(crate) fn lines(&self, power: i32, size: f64, width: f64, most: usize) -> Vec<String> {
        let mut short = self.clone();
        loop {
            let lines = wrap(&short.title_with_power(power), size, false, width, most + 1);
            if lines.len() <= most || short.name.chars().count() < 2 {
                return lines.into_iter().take(most).collect();
            }
            short.name = short.name.trim_end_matches('\u{2026}').to_string();
            short.name.pop();
            short.name = format!("{}\u{2026}", short.name.trim_end());
        }
    }

    /// A value with the unit of this axis: `3.02 bar`.
    pub(crate) fn value(&self, value: f64) -> String {
        let number = super::scale::printed(value, 4);
        if self.unit == "-" || self.unit.is_empty() { number } else { format!("{number} {}", self.unit) }
    }
}

/// A labelled row of points.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Shown at the end of the line and in the table.
    pub label: String,
    /// Abscissae, in the unit of the figure's x axis.
    pub x: Vec<f64>,
    /// Ordinates, in the unit of the figure's y axis; a value that is not a number is a gap.
    pub y: Vec<f64>,
    /// What had to be left out, in words; empty if nothing.
    pub(crate) trouble: Option<String>,
}

impl Series {
    /// A series from two rows of numbers: vectors, slices, arrays or iterators.
    ///
    /// Rows of different length are cut to the shorter; a note below the figure says so.
    pub fn new<X, Y>(label: impl Into<String>, x: X, y: Y) -> Series
    where
        X: IntoIterator,
        X::Item: Borrow<f64>,
        Y: IntoIterator,
        Y::Item: Borrow<f64>,
    {
        let label = label.into();
        let mut x: Vec<f64> = x.into_iter().map(|value| *value.borrow()).collect();
        let mut y: Vec<f64> = y.into_iter().map(|value| *value.borrow()).collect();
        let trouble = (x.len() != y.len()).then(|| {
            format!(
                "\u{201c}{label}\u{201d}: {} abscissae but {} ordinates; what is over was left out. \
                 Give one y for every x.",
                x.len(),
                y.len()
            )
        });
        let shorter = x.len().min(y.len());
        x.truncate(shorter);
        y.truncate(shorter);
        Series { label, x, y, trouble }
    }

    /// With this label if it has none.
    pub(crate) fn named(mut self, label: &str) -> Series {
        if self.label.trim().is_empty() {
            self.label = label.to_string();
        }
        self
    }

    /// Points that can be drawn, in runs between gaps.
    pub(crate) fn runs(&self) -> Vec<Vec<(f64, f64)>> {
        let mut runs = vec![Vec::new()];
        for (&x, &y) in self.x.iter().zip(&self.y) {
            if drawable(x) && drawable(y) {
                if let Some(run) = runs.last_mut() {
                    run.push((x, y));
                }
            } else if runs.last().is_some_and(|run| !run.is_empty()) {
                runs.push(Vec::new());
            }
        }
        runs.retain(|run| !run.is_empty());
        runs
    }

    /// The last point that can be drawn.
    pub(crate) fn last(&self) -> Option<(f64, f64)> {
        self.runs().last().and_then(|run| run.last().copied())
    }

    /// The ordinate at `x`, on the straight line between neighbours; none outside or in a gap.
    pub fn at(&self, x: f64) -> Option<f64> {
        self.lookup().at(x)
    }

    pub(crate) fn lookup(&self) -> Lookup {
        let runs = self.runs();
        let rising = runs.iter().flatten().is_sorted_by(|a, b| a.0 <= b.0);
        Lookup { runs, rising }
    }

    /// Where this series meets another, on straight lines between points: `(x, y)` in order of x.
    /// Places where they only touch, or run together, count once.
    pub fn meets(&self, other: &Series) -> Vec<(f64, f64)> {
        let mut knots: Vec<f64> = self.x.iter().chain(&other.x).copied().filter(|x| drawable(*x)).collect();
        knots.sort_by(f64::total_cmp);
        knots.dedup();
        let (this, that) = (self.lookup(), other.lookup());
        let gap = |x: f64| Some((this.at(x)? - that.at(x)?, x));
        let mut found: Vec<(f64, f64)> = Vec::new();
        let mut before: Option<(f64, f64)> = None;
        for &x in &knots {
            let Some(now) = gap(x) else {
                before = None;
                continue;
            };
            let crossing = match before {
                _ if now.0 == 0.0 => match before {
                    Some((0.0, _)) => None,
                    _ => Some(x),
                },
                Some((was, x0)) if was != 0.0 && (was < 0.0) != (now.0 < 0.0) => {
                    Some(x0 + (x - x0) * was / (was - now.0))
                }
                _ => None,
            };
            if let Some(x) = crossing
                && let Some(y) = this.at(x)
            {
                found.push((x, y));
            }
            before = Some(now);
        }
        found
    }
}

/// A series made ready for many readings.
pub(crate) struct Lookup {
    runs: Vec<Vec<(f64, f64)>>,
    /// Abscissae never fall: a reading can be found by bisection.
    rising: bool,
}

impl Lookup {
    pub(crate) fn at(&self, x: f64) -> Option<f64> {
        self.runs.iter().find_map(|run| self.on_run(run, x))
    }

    fn on_run(&self, run: &[(f64, f64)], x: f64) -> Option<f64> {
        if let [(only, y)] = run[..] {
            return (only == x).then_some(y);
        }
        let between = |pair: &[(f64, f64)]| {
            let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
            let share = if x1 == x0 { 0.0 } else { (x - x0) / (x1 - x0) };
            y0 + share * (y1 - y0)
        };
        if self.rising {
            let (first, last) = (run.first()?, run.last()?);
            if !(first.0..=last.0).contains(&x) {
                return None;
            }
            let after = run.partition_point(|p| p.0 < x).clamp(1, run.len() - 1);
            return Some(between(&run[after - 1..=after]));
        }
        run.windows(2)
            .find(|pair| (pair[0].0.min(pair[1].0)..=pair[0].0.max(pair[1].0)).contains(&x))
            .map(between)
    }
}
