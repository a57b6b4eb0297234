//! Several builds over one another, channel by channel.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::stack::{Item, Pane, Stack, Tone};
use super::style::look;
use super::table::Table;
use super::words::course;

/// The same channels for several builds. A build keeps its look in every channel; the first one is what
/// the others are compared with.
///
/// Valid for any number of builds and channels; a build that lacks a channel is missing there and a
/// note says so.
#[derive(Clone, Debug)]
pub struct Overlay {
    title: String,
    subtitle: String,
    x: Axis,
    channels: Vec<Axis>,
    builds: Vec<(String, Vec<Series>)>,
    limits: Vec<(usize, f64, String, bool)>,
    difference: bool,
}

impl Overlay {
    /// An empty overlay over an axis.
    pub fn new(title: &str, x: Axis) -> Overlay {
        Overlay {
            title: title.to_string(),
            subtitle: String::new(),
            x,
            channels: Vec::new(),
            builds: Vec::new(),
            limits: Vec::new(),
            difference: false,
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Overlay {
        self.subtitle = text.to_string();
        self
    }

    /// Adds a channel; builds give their rows in this order.
    pub fn channel(mut self, axis: Axis) -> Overlay {
        self.channels.push(axis);
        self
    }

    /// Adds a build with one row per channel, in the order of the channels.
    pub fn build(mut self, name: &str, rows: impl IntoIterator<Item = Series>) -> Overlay {
        self.builds.push((name.to_string(), rows.into_iter().collect()));
        self
    }

    /// A limit of the channel added last: above it fails.
    pub fn fail_above(mut self, y: f64, label: &str) -> Overlay {
        let channel = self.channels.len().saturating_sub(1);
        self.limits.push((channel, y, label.to_string(), true));
        self
    }

    /// A limit of the channel added last: below it fails.
    pub fn fail_below(mut self, y: f64, label: &str) -> Overlay {
        let channel = self.channels.len().saturating_sub(1);
        self.limits.push((channel, y, label.to_string(), false));
        self
    }

    /// Adds a panel below with the first channel of every build less that of the first build.
    pub fn with_difference(mut self) -> Overlay {
        self.difference = true;
        self
    }

    fn differences(&self) -> Vec<(usize, Series)> {
        let Some(base) = self.builds.first().and_then(|(_, rows)| rows.first()) else {
            return Vec::new();
        };
        let base = base.lookup();
        let others = self.builds.iter().enumerate().skip(1);
        others
            .filter_map(|(number, (name, rows))| {
                let row = rows.first()?;
                let y: Vec<f64> =
                    row.x.iter().zip(&row.y).map(|(x, y)| base.at(*x).map_or(f64::NAN, |b| y - b)).collect();
                Some((number, Series::new(name.as_str(), &row.x, y)))
            })
            .collect()
    }
}

impl Chart for Overlay {
    fn figure(&self) -> Figure {
        let mut stack = Stack::new(&self.title, self.x.clone());
        stack.subtitle = self.subtitle.clone();
        let mut notes = Vec::new();
        let mut parts = vec![format!("{} builds over {}.", self.builds.len(), self.x.title())];
        let height = if self.channels.len() < 2 { 280.0 } else { 150.0 };
        let mut columns: Vec<(String, Series)> = Vec::new();
        for (channel, axis) in self.channels.iter().enumerate() {
            let mut pane = Pane::new(axis.clone(), height);
            for (_, y, label, above) in self.limits.iter().filter(|l| l.0 == channel) {
                pane.items.push(Item::Zone {
                    x: (f64::NEG_INFINITY, f64::INFINITY),
                    y: if *above { (*y, f64::INFINITY) } else { (f64::NEG_INFINITY, *y) },
                    label: None,
                    tone: Tone::Fail,
                });
                pane.items.push(Item::Level { y: *y, label: label.clone(), tone: Tone::Fail });
            }
            for (number, (name, rows)) in self.builds.iter().enumerate() {
                let Some(row) = rows.get(channel) else {
                    notes.push(format!("\u{201c}{name}\u{201d} gives no row for {}.", axis.title()));
                    continue;
                };
                let series = Series { label: name.clone(), ..row.clone() };
                parts.push(format!("{}, {}", axis.name, course(&series, &self.x, axis)));
                columns.push((format!("{}: {name} [{}]", axis.name, axis.unit), series.clone()));
                pane.items.push(Item::Line {
                    series,
                    look: look(number),
                    label: Some(name.clone()),
                    marked: true,
                });
            }
            stack.panes.push(pane);
        }
        if self.difference
            && let (Some(axis), Some((base, _))) = (self.channels.first(), self.builds.first())
        {
            let axis = Axis::new(format!("{}, difference to {base}", axis.name), axis.unit.clone());
            let mut pane = Pane::new(axis.clone(), 120.0);
            pane.from_zero = true;
            for (number, series) in self.differences() {
                parts.push(format!("Difference, {}", course(&series, &self.x, &axis)));
                pane.items.push(Item::Line {
                    label: Some(series.label.clone()),
                    series,
                    look: look(number),
                    marked: true,
                });
            }
            stack.panes.push(pane);
        }
        let description = parts.join(" ");
        let drawn = stack.draw(&description);
        notes.extend(drawn.notes);
        Figure {
            title: self.title.clone(),
            table: Table::of_series(&self.x.title(), columns.iter().map(|(n, s)| (n.clone(), s))),
            description,
            notes,
            picture: drawn.picture,
        }
    }
}
