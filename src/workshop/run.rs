//! Many operating points along one axis.

use super::{Reading, stop};
use crate::chart::{Axis, Series};
use crate::error::Result;
use crate::explain::Table;
use crate::quantity::{Amount, Dim, Flavour};
use crate::rich::{Bundle, Rich, cancelled};

/// What a car does along one axis: boost, speed, or a value of the build.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    name: String,
    along: String,
    dim: Dim,
    xs: Vec<f64>,
    readings: Vec<Reading>,
    cut_short: bool,
}

impl Run {
    pub(super) fn over(
        name: &str,
        along: &str,
        dim: Dim,
        from: f64,
        to: f64,
        count: usize,
        mut ask: impl FnMut(f64) -> Result<Reading>,
    ) -> Self {
        let mut run = Self {
            name: name.to_owned(),
            along: along.to_owned(),
            dim,
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
        axis(&self.along, Amount::new(0.0, self.dim))
    }

    /// One figure along the run, in the unit it is shown in.
    ///
    /// # Panics
    /// When there is no such figure; the message lists those that there are.
    #[must_use]
    pub fn series(&self, figure: &str) -> Series {
        let x: Vec<f64> = self.xs.iter().map(|x| Amount::new(*x, self.dim).shown().number).collect();
        let y: Vec<f64> = self.readings.iter().map(|r| shown(r.value(figure))).collect();
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
        if a.dim != self.dim {
            stop(format!(
                "this run goes along {}, a {}; {} was asked, a {}",
                self.along,
                self.dim.name(),
                a,
                a.dim.name()
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
            let at = x[i - 1] + f * (x[i] - x[i - 1]);
            let unit = self.dim.shown_in();
            Amount::new(at * unit.factor + unit.offset, self.dim)
        })
    }

    /// Where a figure first falls below a value, in the unit of the axis, by a straight line between two points.
    #[must_use]
    pub fn first_below(&self, figure: &str, value: f64) -> Option<Amount> {
        let s = self.series(figure);
        let (x, y) = (&s.x, &s.y);
        (1..y.len()).find(|i| y[i - 1] >= value && y[*i] < value).map(|i| {
            let f = (value - y[i - 1]) / (y[i] - y[i - 1]);
            let at = x[i - 1] + f * (x[i] - x[i - 1]);
            let unit = self.dim.shown_in();
            Amount::new(at * unit.factor + unit.offset, self.dim)
        })
    }

    /// Where the regulator shuts and the supply is short, if it does.
    #[must_use]
    pub fn hinge(&self) -> Option<Amount> {
        let i = self.readings.iter().position(|r| r.point().out_of_control())?;
        Some(Amount::new(self.xs[i], self.dim))
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
            let mut row = vec![Amount::new(self.xs[i], self.dim).to_string()];
            row.extend(figures.iter().map(|f| self.readings[i].value(f).to_string()));
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

pub(super) fn axis(name: &str, a: Amount) -> Axis {
    let unit = a.dim.shown_in().symbol;
    let kind = match a.flavour {
        Flavour::Plain => String::new(),
        Flavour::Gauge => ", gauge".to_owned(),
        Flavour::Absolute => ", absolute".to_owned(),
    };
    let name = format!("{name}{kind}");
    if a.dim == Dim::Ratio { Axis::ratio(name) } else { Axis::new(name, unit) }
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
