//! What is open when, and the pressures it meets, over one engine cycle.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::stack::{Item, Pane, Stack, Tone};
use super::style::look;
use super::table::Table;
use super::words::course;

/// Injection and valve windows over crank angle, above the pressures in port and cylinder.
///
/// Angles in degrees, rising along the cycle; a window that runs over the end of the axis is given as two.
/// A port injector sees the port: the cylinder is drawn to show why its pressure does not matter there.
#[derive(Clone, Debug)]
pub struct InjectionWindow {
    title: String,
    subtitle: String,
    angle: Axis,
    windows: Vec<(f64, f64, String, bool)>,
    pressures: Vec<(Axis, Vec<Series>)>,
    events: Vec<(f64, String)>,
}

impl InjectionWindow {
    /// An empty figure over crank angle.
    pub fn new(title: &str) -> InjectionWindow {
        InjectionWindow {
            title: title.to_string(),
            subtitle: String::new(),
            angle: Axis::new("crank angle after firing top dead centre", "deg"),
            windows: Vec::new(),
            pressures: Vec::new(),
            events: Vec::new(),
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> InjectionWindow {
        self.subtitle = text.to_string();
        self
    }

    /// An injector is open from one angle to another.
    pub fn injection(mut self, from: f64, to: f64, label: &str) -> InjectionWindow {
        self.windows.push((from, to, label.to_string(), true));
        self
    }

    /// A valve is open from one angle to another.
    pub fn valve(mut self, from: f64, to: f64, label: &str) -> InjectionWindow {
        self.windows.push((from, to, label.to_string(), false));
        self
    }

    /// A panel with pressures that share a scale: port, cylinder, difference across the injector.
    pub fn pressures(mut self, axis: Axis, series: impl IntoIterator<Item = Series>) -> InjectionWindow {
        self.pressures.push((axis, series.into_iter().collect()));
        self
    }

    /// An angle worth naming: top dead centre, spark.
    pub fn event(mut self, at: f64, label: &str) -> InjectionWindow {
        self.events.push((at, label.to_string()));
        self
    }
}

impl Chart for InjectionWindow {
    fn figure(&self) -> Figure {
        let mut stack = Stack::new(&self.title, self.angle.clone());
        stack.subtitle = self.subtitle.clone();
        // Half a turn is the natural step of a crank.
        let turned = self.pressures.iter().flat_map(|(_, s)| s).flat_map(|s| s.x.iter().copied());
        let open = self.windows.iter().flat_map(|w| [w.0, w.1]);
        let (low, high) = turned.chain(open).fold((0.0, 0.0), |(l, h): (f64, f64), x| (l.min(x), h.max(x)));
        stack.x_step = (high - low <= 8.0 * 180.0).then_some(180.0);
        let mut parts = vec![format!("One cycle over {}.", self.angle.title())];
        let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
        let shades: Vec<Item> = self
            .windows
            .iter()
            .filter(|w| w.3)
            .map(|(from, to, _, _)| Item::Zone {
                x: (*from, *to),
                y: everywhere,
                label: None,
                tone: Tone::Calm,
            })
            .collect();
        let mut open = Pane::new(Axis::bare("what is open"), 42.0 * self.windows.len().max(1) as f64 + 8.0);
        open.bare = true;
        open.items.extend(shades.clone());
        for (row, (from, to, label, injects)) in self.windows.iter().enumerate() {
            parts.push(format!(
                "{label}: open from {} to {}.",
                self.angle.value(*from),
                self.angle.value(*to)
            ));
            open.items.push(Item::Bracket { x: (*from, *to), label: label.clone(), row, full: *injects });
        }
        stack.panes.push(open);
        for (axis, series) in &self.pressures {
            let mut pane = Pane::new(axis.clone(), 128.0);
            pane.items.extend(shades.clone());
            for (number, series) in series.iter().enumerate() {
                parts.push(course(series, &self.angle, axis));
                pane.items.push(Item::Line {
                    series: series.clone(),
                    look: look(number),
                    label: (series.label != axis.name).then(|| series.label.clone()),
                    marked: number > 0,
                });
            }
            stack.panes.push(pane);
        }
        for (at, label) in &self.events {
            parts.push(format!("{label} at {}.", self.angle.value(*at)));
        }
        for (number, pane) in stack.panes.iter_mut().enumerate() {
            for (at, label) in &self.events {
                pane.items.push(Item::Upright {
                    x: *at,
                    label: if number == 0 { label.clone() } else { String::new() },
                    tone: Tone::Calm,
                });
            }
        }
        let description = parts.join(" ");
        let drawn = stack.draw(&description);
        let columns = self.pressures.iter().flat_map(|(axis, series)| {
            series.iter().map(|s| (format!("{}: {} [{}]", axis.name, s.label, axis.unit), s))
        });
        Figure {
            title: self.title.clone(),
            table: Table::of_series(&self.angle.title(), columns),
            description,
            notes: drawn.notes,
            picture: drawn.picture,
        }
    }
}
