//! Many operating points along one axis.

use super::{Reading, stop};
use crate::chart::{Axis, Series};
use crate::error::Result;
use crate::explain::Table;
use crate::quantity::{Amount, Dim, Flavour, unit};
use crate::rich::{Bundle, Rich, cancelled};

/// What a car does along one axis: boost, speed, or a value of the build.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    name: String,
    along: String,
    /// A value of the axis, for its quantity and kind.
    kind: Amount,
    /// The unit in which the axis is drawn: the one in which its range was given.
    unit: &'static unit::Unit,
    xs: Vec<f64>,
    readings: Vec<Reading>,
    cut_short: bool,
}

impl Run {
    pub(super) fn over(
        name: &str,
        along: &str,
        dim: Dim,
        (from, to): (f64, f64),
        count: usize,
        mut ask: impl FnMut(f64) -> Result<Reading>,
    ) -> Self {
        let mut run = Self {
            name: name.to_owned(),
            along: along.to_owned(),
            kind: Amount::new(from, dim),
            unit: dim.shown_in(),
            xs: Vec::new(),
            readings: Vec::new(),
            cut_short: false,
        };
        for i in 0..count {
            if cancelled() {
                run.cut_short = true;
                break;
            }
            let x = from + (to - from) * i as f64 / (count - 1) as f64;
            match ask(x) {
                Ok(r) => {
                    run.xs.push(x);
                    run.readings.push(r);
                }
                Err(e) => stop(e),
            }
        }
        run
    }

    /// With the axis drawn in a unit, and of this kind of pressure.
    pub(super) fn drawn_in(mut self, unit: &'static unit::Unit, kind: Amount) -> Self {
        (self.unit, self.kind) = (unit, kind);
        self
    }

    fn place(&self, si: f64) -> f64 {
        (si - self.unit.offset) / self.unit.factor
    }

    fn at_place(&self, x: f64) -> Amount {
        Amount { si: x * self.unit.factor + self.unit.offset, ..self.kind }
    }

    /// The name of the car.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The readings, in order.
    #[must_use]
    pub fn readings(&self) -> &[Reading] {
        &self.readings
    }

    /// The axis with its unit.
    #[must_use]
    pub fn axis(&self) -> Axis {
        named_axis(&self.along, self.kind.flavour, self.unit.symbol)
    }

    /// One figure along the run, in the unit it is shown in.
    ///
    /// # Panics
    /// When there is no such figure; the message lists those that there are.
    #[must_use]
    pub fn series(&self, figure: &str) -> Series {
        let x: Vec<f64> = self.xs.iter().map(|x| self.place(*x)).collect();
        let scale = if is_share(figure) { 100.0 } else { 1.0 };
        let y: Vec<f64> = self.readings.iter().map(|r| scale * shown(r.value(figure))).collect();
        Series::new(self.name.clone(), x, y)
    }

    /// The axis of a figure with its unit.
    ///
    /// # Panics
    /// As [`Run::series`].
    #[must_use]
    pub fn axis_of(&self, figure: &str) -> Axis {
        axis(figure, self.readings.first().map_or(Amount::new(0.0, Dim::Ratio), |r| r.value(figure)))
    }

    /// The reading nearest to a place on the axis, given as a quantity.
    ///
    /// # Panics
    /// When the quantity is not the one of the axis.
    #[must_use]
    pub fn at(&self, place: impl crate::quantity::Shown) -> &Reading {
        let a = place.amount();
        if a.dim != self.kind.dim {
            stop(format!(
                "this run goes along {}, {}; {} was asked, {}",
                self.along,
                self.kind.dim.with_article(),
                a,
                a.dim.with_article()
            ));
        }
        let i = (0..self.xs.len())
            .min_by(|i, j| (self.xs[*i] - a.si).abs().total_cmp(&(self.xs[*j] - a.si).abs()));
        match i {
            Some(i) => &self.readings[i],
            None => stop("this run was cut short before its first point\n  run the cell again"),
        }
    }

    /// Where a figure first passes a value, in the unit of the axis: the place between two points by a straight line.
    #[must_use]
    pub fn first_above(&self, figure: &str, value: f64) -> Option<Amount> {
        let s = self.series(figure);
        let (x, y) = (&s.x, &s.y);
        (1..y.len()).find(|i| y[i - 1] <= value && y[*i] > value).map(|i| {
            let f = (value - y[i - 1]) / (y[i] - y[i - 1]);
            self.at_place(x[i - 1] + f * (x[i] - x[i - 1]))
        })
    }

    /// Where a figure first falls below a value, in the unit of the axis, by a straight line between two points.
    #[must_use]
    pub fn first_below(&self, figure: &str, value: f64) -> Option<Amount> {
        let s = self.series(figure);
        let (x, y) = (&s.x, &s.y);
        (1..y.len()).find(|i| y[i - 1] >= value && y[*i] < value).map(|i| {
            let f = (value - y[i - 1]) / (y[i] - y[i - 1]);
            self.at_place(x[i - 1] + f * (x[i] - x[i - 1]))
        })
    }

    /// Where the regulator shuts and the supply is short, if it does: where supply and demand cross, by straight
    /// lines between two points, as the figure of supply and demand marks it.
    #[must_use]
    pub fn hinge(&self) -> Option<Amount> {
        let i = self.readings.iter().position(|r| r.point().out_of_control())?;
        let spare = |k: usize| {
            let limits = self.readings[k].limits();
            limits.capacity - limits.asked
        };
        let first = i.saturating_sub(1);
        for k in first.max(1)..=(i + 1).min(self.xs.len() - 1) {
            let (before, after) = (spare(k - 1), spare(k));
            if before >= 0.0 && after < 0.0 {
                let share = before / (before - after);
                return Some(Amount {
                    si: self.xs[k - 1] + share * (self.xs[k] - self.xs[k - 1]),
                    ..self.kind
                });
            }
        }
        Some(Amount { si: self.xs[i], ..self.kind })
    }

    /// Where the supply runs short: the same as [`Run::hinge`] for a run that is known to have one.
    ///
    /// # Panics
    /// When the supply is never short along this run.
    #[must_use]
    pub fn short_from(&self) -> Amount {
        self.hinge().unwrap_or_else(|| stop(format!("\"{}\" is never short along this run", self.name)))
    }

    /// Some figures as a table, a dozen rows.
    ///
    /// # Panics
    /// As [`Run::series`].
    #[must_use]
    pub fn table(&self, figures: &[&str]) -> Table {
        let mut columns = vec![self.along.as_str()];
        columns.extend(figures);
        let mut t = Table::new(self.name.clone(), &columns);
        let step = (self.xs.len() / 12).max(1);
        for i in (0..self.xs.len()).step_by(step) {
            let mut row = vec![match Amount::new(self.xs[i], self.kind.dim).in_unit(self.unit.symbol) {
                Some(x) => x.to_string(),
                None => Amount::new(self.xs[i], self.kind.dim).to_string(),
            }];
            row.extend(figures.iter().map(|f| in_words(f, self.readings[i].value(f))));
            t.row(row);
        }
        if self.cut_short {
            t.note("Cut short: the points done so far.");
        }
        t
    }
}

pub(super) fn shown(a: Amount) -> f64 {
    if a.dim == Dim::Ratio { a.si } else { a.shown().number }
}

/// Figures that are parts of a whole and read in percent; lambda is none of them.
pub(super) fn is_share(figure: &str) -> bool {
    matches!(figure, "duty" | "headroom")
}

/// A value as text: shares in percent.
pub(super) fn in_words(figure: &str, a: Amount) -> String {
    if is_share(figure) { format!("{:.1} %", 100.0 * a.si).replace('-', "−") } else { a.to_string() }
}

fn named_axis(name: &str, flavour: Flavour, unit: &str) -> Axis {
    let kind = match flavour {
        Flavour::Plain => "",
        Flavour::Gauge => ", gauge",
        Flavour::Absolute => ", absolute",
    };
    Axis::new(format!("{name}{kind}"), if unit == "1" { "-" } else { unit })
}

pub(super) fn axis(name: &str, a: Amount) -> Axis {
    named_axis(name, a.flavour, if is_share(name) { "%" } else { a.dim.shown_in().symbol })
}

/// What a value of a build is called on an axis: `"main pump.feed_contacts"` is the resistance of a pump's feed contacts.
pub(super) fn called(path: &str) -> String {
    let (owner, key) = path.rsplit_once('.').unwrap_or(("", path));
    let plain = key.replace('_', " ");
    match (owner, key) {
        (_, "feed_contacts") => format!("resistance of all feed contacts of {owner}"),
        (_, "return_contacts") => format!("resistance of all return contacts of {owner}"),
        ("supply", "voltage_offset") => "change of the supply voltage".to_owned(),
        ("fuel", "vapour_pressure") => "vapour pressure at 37.8 °C".to_owned(),
        ("control", "dead_time_error") => "dead time error of the control unit".to_owned(),
        (_, "flow_factor") => format!("flow of {owner}, of its rating"),
        (_, "static_flow") => format!("static flow of {owner}"),
        (_, "blocked") => format!("blocked part of {owner}"),
        (_, "head") => "fuel level above the pump's inlet".to_owned(),
        (_, "dirt") => format!("dirt in {owner}"),
        (_, "base") => format!("{owner} base pressure"),
        (_, "screw") => format!("{owner} screw, in is positive"),
        ("", _) => plain,
        _ => format!("{owner} {plain}"),
    }
}

impl Rich for Run {
    fn rich(&self) -> Bundle {
        let t = self.table(&["rail pressure", "differential pressure", "lambda", "duty"]);
        Bundle::text(t.to_string()).html(t.html())
    }
}

/// A figure's name at the head of a chart.
pub(super) fn title(name: &str) -> String {
    let mut out = name.to_owned();
    if let Some(c) = out.get_mut(0..1) {
        c.make_ascii_uppercase();
    }
    out
}
