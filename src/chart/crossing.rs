//! Supply against demand, and the hinge where they cross.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::scale::printed;
use super::stack::{Item, Pane, Stack, Tone};
use super::style::{FAIL, Look, Marker, look};
use super::table::Table;
use super::words::course;

/// What the supply side can pass and what the engine asks for, over rpm, boost or power.
///
/// The hinge is where supply falls below demand, on straight lines between the given points. Left of it
/// the regulator holds the difference; right of it the mixture leans, gradually, not as a cliff.
/// Valid for one supply and one demand row; where either has a gap no hinge is looked for. Without a
/// hinge in the range, the least headroom is named instead.
#[derive(Clone, Debug)]
pub struct Crossing {
    title: String,
    subtitle: String,
    x: Axis,
    flow: Axis,
    supply: Option<Series>,
    demand: Option<Series>,
    effects: Vec<Effect>,
    x_limits: Option<(f64, f64)>,
    flow_limits: Option<(f64, f64)>,
}

/// What follows from supply and demand, in a panel of its own, with the limit it has to keep and the range shown.
#[derive(Clone, Debug)]
struct Effect {
    axis: Axis,
    series: Series,
    limit: Option<(f64, String)>,
    range: Option<(f64, f64)>,
}

/// A place where supply meets demand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hinge {
    /// Abscissa, in the unit of the x axis.
    pub x: f64,
    /// Flow there, in the unit of the flow axis.
    pub flow: f64,
    /// True where supply falls below demand, false where it recovers.
    pub runs_short: bool,
}

impl Crossing {
    /// An empty figure with its title and axes.
    pub fn new(title: &str, x: Axis, flow: Axis) -> Crossing {
        Crossing {
            title: title.to_string(),
            subtitle: String::new(),
            x,
            flow,
            supply: None,
            demand: None,
            effects: Vec::new(),
            x_limits: None,
            flow_limits: None,
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Crossing {
        self.subtitle = text.to_string();
        self
    }

    /// What pump, wiring, lines and filters can pass.
    pub fn supply(mut self, series: Series) -> Crossing {
        self.supply = Some(series.named("supply"));
        self
    }

    /// What the engine asks for.
    pub fn demand(mut self, series: Series) -> Crossing {
        self.demand = Some(series.named("demand"));
        self
    }

    /// A panel below with what follows from it (differential pressure, lambda).
    pub fn effect(mut self, axis: Axis, series: Series) -> Crossing {
        self.effects.push(Effect { axis, series, limit: None, range: None });
        self
    }

    /// A panel below, with the limit it has to keep.
    pub fn effect_with_limit(mut self, axis: Axis, series: Series, limit: f64, label: &str) -> Crossing {
        self.effects.push(Effect { axis, series, limit: Some((limit, label.to_string())), range: None });
        self
    }

    /// Fixes the range of the panel with this number, counted from zero in the order they were added.
    pub fn effect_range(mut self, number: usize, low: f64, high: f64) -> Crossing {
        if let Some(effect) = self.effects.get_mut(number) {
            effect.range = Some((low, high));
        }
        self
    }

    /// Fixes the x range.
    pub fn x_range(mut self, low: f64, high: f64) -> Crossing {
        self.x_limits = Some((low, high));
        self
    }

    /// Fixes the flow range.
    pub fn flow_range(mut self, low: f64, high: f64) -> Crossing {
        self.flow_limits = Some((low, high));
        self
    }

    /// Every place where supply meets demand, in order of x.
    pub fn hinges(&self) -> Vec<Hinge> {
        let (Some(supply), Some(demand)) = (&self.supply, &self.demand) else {
            return Vec::new();
        };
        let mut knots: Vec<f64> = supply.x.iter().chain(&demand.x).copied().collect();
        knots.sort_by(f64::total_cmp);
        let (have, need) = (supply.lookup(), demand.lookup());
        let spare = |x: f64| Some(have.at(x)? - need.at(x)?);
        let short_after = |x: f64| {
            knots
                .iter()
                .filter(|knot| **knot > x)
                .find_map(|knot| spare(*knot))
                .is_some_and(|spare| spare < 0.0)
        };
        let spare_before = |x: f64| {
            knots.iter().rev().filter(|knot| **knot < x).find_map(|knot| spare(*knot)).unwrap_or(0.0)
        };
        supply
            .meets(demand)
            .into_iter()
            .map(|(x, flow)| Hinge { x, flow, runs_short: short_after(x) })
            // Touching without crossing is not a hinge.
            .filter(|hinge| hinge.runs_short == (spare_before(hinge.x) >= 0.0))
            .collect()
    }

    /// The least headroom `supply / demand - 1` (no unit) and the x where it is; none when demand is
    /// nowhere positive.
    pub fn least_headroom(&self) -> Option<(f64, f64)> {
        let (supply, demand) = (self.supply.as_ref()?, self.demand.as_ref()?);
        let (supplies, demands) = (supply.lookup(), demand.lookup());
        let spare = |x: f64| {
            let (have, need) = (supplies.at(x)?, demands.at(x)?);
            (need > 0.0).then(|| (x, have / need - 1.0))
        };
        supply.x.iter().chain(&demand.x).filter_map(|x| spare(*x)).min_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn verdict(&self) -> String {
        let hinges = self.hinges();
        if let Some(hinge) = hinges.iter().find(|hinge| hinge.runs_short) {
            return format!(
                "Supply falls below demand at {}, where both are {}.",
                self.x.value(hinge.x),
                self.flow.value(hinge.flow)
            );
        }
        match self.least_headroom() {
            Some((x, spare)) if spare >= 0.0 => format!(
                "Supply stays above demand; the least headroom is {} % at {}.",
                printed(100.0 * spare, 3),
                self.x.value(x)
            ),
            Some((x, spare)) => format!(
                "Supply is below demand; worst is {} % at {}.",
                printed(100.0 * spare, 3),
                self.x.value(x)
            ),
            None => String::from("Supply and demand have no place in common to compare."),
        }
    }

    fn stack(&self) -> Stack {
        let mut stack = Stack::new(&self.title, self.x.clone());
        stack.subtitle = self.subtitle.clone();
        if stack.subtitle.is_empty() && self.supply.is_some() && self.hinges().is_empty() {
            // Nothing is marked in the picture: say what it means.
            stack.subtitle = self.verdict();
        }
        stack.x_limits = self.x_limits;
        let hinges = self.hinges();
        let mut main = Pane::new(self.flow.clone(), 300.0);
        main.from_zero = true;
        main.limits = self.flow_limits;
        let ends: Vec<f64> = hinges.iter().map(|h| h.x).chain([f64::INFINITY]).collect();
        let zones: Vec<(f64, f64)> = hinges
            .iter()
            .enumerate()
            .filter(|(_, hinge)| hinge.runs_short)
            .map(|(number, hinge)| (hinge.x, ends[number + 1]))
            .collect();
        let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
        for (number, zone) in zones.iter().enumerate() {
            main.items.push(Item::Zone {
                x: *zone,
                y: everywhere,
                label: (number == 0).then(|| String::from("runs short")),
                tone: Tone::Fail,
            });
        }
        for (number, series) in [&self.supply, &self.demand].into_iter().enumerate() {
            if let Some(series) = series {
                main.items.push(Item::Line {
                    series: series.clone(),
                    // Ink, not red, for demand: red is kept for what fails.
                    look: look(number * 5),
                    label: Some(series.label.clone()),
                    marked: true,
                });
            }
        }
        for hinge in &hinges {
            main.items.push(Item::Note {
                at: (hinge.x, hinge.flow),
                label: format!(
                    "{}: {}, {}",
                    if hinge.runs_short { "hinge" } else { "recovers" },
                    self.x.value(hinge.x),
                    self.flow.value(hinge.flow)
                ),
                look: Look { colour: FAIL, text: FAIL, dash: &[], marker: Marker::Disc, width: 2.0 },
            });
        }
        stack.panes.push(main);
        for (number, Effect { axis, series, limit, range }) in self.effects.iter().enumerate() {
            let mut pane = Pane::new(axis.clone(), 130.0);
            pane.limits = *range;
            for zone in &zones {
                pane.items.push(Item::Zone { x: *zone, y: everywhere, label: None, tone: Tone::Fail });
            }
            pane.items.push(Item::Line {
                series: series.clone(),
                look: look(number + 2),
                label: (series.label != axis.name).then(|| series.label.clone()),
                marked: true,
            });
            if let Some((y, label)) = limit {
                pane.items.push(Item::Level { y: *y, label: label.clone(), tone: Tone::Fail });
            }
            stack.panes.push(pane);
        }
        stack
    }
}

impl Chart for Crossing {
    fn figure(&self) -> Figure {
        let mut parts = vec![format!("{} over {}.", self.flow.title(), self.x.title()), self.verdict()];
        for series in [&self.supply, &self.demand].into_iter().flatten() {
            parts.push(course(series, &self.x, &self.flow));
        }
        for effect in &self.effects {
            parts.push(course(&effect.series, &self.x, &effect.axis));
        }
        let description = parts.join(" ");
        let drawn = self.stack().draw(&description);
        let unit = &self.flow.unit;
        let columns = [&self.supply, &self.demand]
            .into_iter()
            .flatten()
            .map(|s| (format!("{} [{unit}]", s.label), s))
            .chain(self.effects.iter().map(|e| (format!("{} [{}]", e.series.label, e.axis.unit), &e.series)));
        Figure {
            title: self.title.clone(),
            table: Table::of_series(&self.x.title(), columns),
            description,
            notes: drawn.notes,
            picture: drawn.picture,
        }
    }
}
