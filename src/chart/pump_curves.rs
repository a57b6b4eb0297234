//! A pump's flow over pressure at several voltages, and where the engine makes it run.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::stack::{Item, Pane, Stack};
use super::style::{INK, Look, Marker, look};
use super::table::Table;
use super::words::course;

/// Pump curves over pressure, the demand, and operating points.
///
/// A rating is one point on one of these curves: `rated` draws it, so that it can be seen beside the
/// point where the pump really runs. Where a curve meets the demand is marked; a curve that never meets
/// it is said so in the description.
#[derive(Clone, Debug)]
pub struct PumpCurves {
    title: String,
    subtitle: String,
    pressure: Axis,
    flow: Axis,
    curves: Vec<(f64, Series)>,
    demand: Option<Series>,
    points: Vec<(f64, f64, String)>,
    flow_limits: Option<(f64, f64)>,
    pressure_limits: Option<(f64, f64)>,
}

impl PumpCurves {
    /// An empty figure with its title; pressure and flow axes as given.
    pub fn new(title: &str, pressure: Axis, flow: Axis) -> PumpCurves {
        PumpCurves {
            title: title.to_string(),
            subtitle: String::new(),
            pressure,
            flow,
            curves: Vec::new(),
            demand: None,
            points: Vec::new(),
            flow_limits: None,
            pressure_limits: None,
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> PumpCurves {
        self.subtitle = text.to_string();
        self
    }

    /// The curve at a voltage, V: pressures and flows; drawn from low to high voltage.
    pub fn at_voltage(mut self, volts: f64, series: Series) -> PumpCurves {
        self.curves.push((volts, series));
        self.curves.sort_by(|a, b| a.0.total_cmp(&b.0));
        self
    }

    /// What the engine asks for, over the pressure it asks for it at.
    pub fn demand(mut self, series: Series) -> PumpCurves {
        self.demand = Some(series);
        self
    }

    /// Where the pump runs.
    pub fn operating_point(mut self, pressure: f64, flow: f64, label: &str) -> PumpCurves {
        self.points.push((pressure, flow, label.to_string()));
        self
    }

    /// The point that a data sheet states.
    pub fn rated(self, pressure: f64, flow: f64, label: &str) -> PumpCurves {
        self.operating_point(pressure, flow, label)
    }

    /// Fixes the pressure range.
    pub fn pressure_range(mut self, low: f64, high: f64) -> PumpCurves {
        self.pressure_limits = Some((low, high));
        self
    }

    /// Fixes the flow range.
    pub fn flow_range(mut self, low: f64, high: f64) -> PumpCurves {
        self.flow_limits = Some((low, high));
        self
    }

    /// Where the curve at each voltage meets the demand: `(volts, pressure, flow)`, the first meeting of
    /// each, in order of voltage.
    pub fn meetings(&self) -> Vec<(f64, f64, f64)> {
        let Some(demand) = &self.demand else {
            return Vec::new();
        };
        self.curves
            .iter()
            .filter_map(|(volts, curve)| {
                let (p, q) = *curve.meets(demand).first()?;
                Some((*volts, p, q))
            })
            .collect()
    }
}

impl Chart for PumpCurves {
    fn figure(&self) -> Figure {
        let mut pane = Pane::new(self.flow.clone(), 330.0);
        pane.from_zero = true;
        pane.limits = self.flow_limits;
        let named = |volts: f64, series: &Series| {
            let volts = format!("{} V", super::scale::printed(volts, 4));
            if series.label.is_empty() { volts } else { format!("{}, {volts}", series.label) }
        };
        let mut parts = vec![format!("{} over {}.", self.flow.title(), self.pressure.title())];
        for (number, (volts, series)) in self.curves.iter().enumerate() {
            let label = named(*volts, series);
            let series = Series { label: label.clone(), ..series.clone() };
            parts.push(course(&series, &self.pressure, &self.flow));
            pane.items.push(Item::Line { series, look: look(number), label: Some(label), marked: true });
        }
        let neutral = Look { colour: INK, text: INK, dash: &[], marker: Marker::Saltire, width: 2.8 };
        if let Some(demand) = &self.demand {
            parts.push(course(demand, &self.pressure, &self.flow));
            pane.items.push(Item::Line {
                series: demand.clone(),
                look: neutral,
                label: Some(demand.label.clone()),
                marked: true,
            });
            let met = self.meetings();
            for (volts, p, q) in &met {
                parts.push(format!(
                    "At {} V pump and demand meet at {}, {}.",
                    super::scale::printed(*volts, 4),
                    self.pressure.value(*p),
                    self.flow.value(*q)
                ));
            }
            for (volts, _) in &self.curves {
                if !met.iter().any(|m| m.0 == *volts) {
                    parts.push(format!(
                        "At {} V pump and demand do not meet in the range given.",
                        super::scale::printed(*volts, 4)
                    ));
                }
            }
            pane.items.push(Item::Points {
                points: met.iter().map(|(_, p, q)| (*p, *q)).collect(),
                look: Look { marker: Marker::Disc, ..neutral },
                label: (!met.is_empty()).then(|| String::from("pump and demand meet")),
                scale: 1.5,
            });
        }
        for (p, q, label) in &self.points {
            parts.push(format!("{label}: {}, {}.", self.pressure.value(*p), self.flow.value(*q)));
            pane.items.push(Item::Note { at: (*p, *q), label: label.clone(), look: neutral });
        }
        let mut stack = Stack::new(&self.title, self.pressure.clone());
        stack.subtitle = self.subtitle.clone();
        stack.x_limits = self.pressure_limits;
        stack.panes.push(pane);
        let description = parts.join(" ");
        let drawn = stack.draw(&description);
        let unit = &self.flow.unit;
        let columns = self
            .curves
            .iter()
            .map(|(volts, s)| (format!("{} [{unit}]", named(*volts, s)), s))
            .chain(self.demand.iter().map(|s| (format!("{} [{unit}]", s.label), s)));
        Figure {
            title: self.title.clone(),
            table: Table::of_series(&self.pressure.title(), columns),
            description,
            notes: drawn.notes,
            picture: drawn.picture,
        }
    }
}
