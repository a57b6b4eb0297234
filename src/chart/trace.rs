//! Channels over time, one below the other.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::stack::{Item, Pane, Stack, Tone};
use super::style::look;
use super::table::Table;
use super::words::{course, passes};

/// Channels over a common axis, usually time: what happened first is seen on one vertical line.
///
/// Valid for any number of channels; each has its own scale and unit. Series in one channel share its
/// scale. Rows longer than the picture can show are thinned to their lowest and highest point in every
/// column, so that no spike is lost.
#[derive(Clone, Debug)]
pub struct Trace {
    stack: Stack,
    events: Vec<(f64, String)>,
}

impl Trace {
    /// An empty trace over an axis.
    pub fn new(title: &str, x: Axis) -> Trace {
        Trace { stack: Stack::new(title, x), events: Vec::new() }
    }

    /// An empty trace over time in seconds.
    pub fn over_time(title: &str) -> Trace {
        Trace::new(title, Axis::new("time", "s"))
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Trace {
        self.stack.subtitle = text.to_string();
        self
    }

    /// Adds a channel with one series or several.
    pub fn channel(mut self, axis: Axis, series: impl IntoIterator<Item = Series>) -> Trace {
        let mut pane = Pane::new(axis, 112.0);
        for (number, series) in series.into_iter().enumerate() {
            pane.items.push(Item::Line {
                label: Some(series.label.clone()),
                series,
                look: look(number),
                marked: number > 0,
            });
        }
        self.stack.panes.push(pane);
        self
    }

    /// Readings of a logger in the channel added last: a mark for each, no line between them.
    pub fn readings(self, series: Series) -> Trace {
        let number = self.stack.panes.last().map_or(0, |pane| pane.items.len());
        self.on_last([Item::Points {
            points: series.x.iter().copied().zip(series.y.iter().copied()).collect(),
            look: look(number),
            label: Some(series.label.clone()),
            scale: 1.1,
        }])
    }

    /// A band about one series of the channel added last, counted from zero, in its look: what ripple it carries.
    pub fn swing(self, number: usize, low: Series, high: Series) -> Trace {
        self.on_last([Item::Band { x: low.x, low: low.y, high: high.y, look: look(number), label: None }])
    }

    /// Makes the channel added last this many times as high.
    pub fn taller(mut self, times: f64) -> Trace {
        if let Some(pane) = self.stack.panes.last_mut() {
            pane.height *= times;
        }
        self
    }

    fn on_last(mut self, items: impl IntoIterator<Item = Item>) -> Trace {
        if let Some(pane) = self.stack.panes.last_mut() {
            pane.items.extend(items);
        }
        self
    }

    /// A limit of the channel added last: above it fails.
    pub fn fail_above(self, y: f64, label: &str) -> Trace {
        self.limit(y, label, (y, f64::INFINITY))
    }

    /// A limit of the channel added last: below it fails.
    pub fn fail_below(self, y: f64, label: &str) -> Trace {
        self.limit(y, label, (f64::NEG_INFINITY, y))
    }

    fn limit(self, y: f64, label: &str, region: (f64, f64)) -> Trace {
        self.on_last([
            Item::Zone { x: (f64::NEG_INFINITY, f64::INFINITY), y: region, label: None, tone: Tone::Fail },
            Item::Level { y, label: label.to_string(), tone: Tone::Fail },
        ])
    }

    /// A predicted band behind the channel added last, in the look of its first series.
    pub fn band(self, label: &str, low: Series, high: Series) -> Trace {
        let upper = high.lookup();
        let high = low.x.iter().map(|x| upper.at(*x).unwrap_or(f64::NAN)).collect();
        self.on_last([Item::Band {
            x: low.x,
            low: low.y,
            high,
            look: look(0),
            label: Some(label.to_string()),
        }])
    }

    /// Fixes the y range of the channel added last.
    pub fn range(mut self, low: f64, high: f64) -> Trace {
        if let Some(pane) = self.stack.panes.last_mut() {
            pane.limits = Some((low, high));
        }
        self
    }

    /// Something that happened: a vertical line through all channels, named above the first.
    pub fn event(mut self, at: f64, label: &str) -> Trace {
        self.events.push((at, label.to_string()));
        self
    }

    /// Shows only this part of the x axis.
    pub fn window(mut self, from: f64, to: f64) -> Trace {
        self.stack.x_limits = Some((from, to));
        self
    }

    fn described(&self) -> String {
        let x = &self.stack.x;
        let mut parts = vec![format!(
            "{} channel{} over {}.",
            self.stack.panes.len(),
            if self.stack.panes.len() == 1 { "" } else { "s" },
            x.title()
        )];
        for pane in &self.stack.panes {
            let lines = pane.items.iter().filter_map(|item| match item {
                Item::Line { series, .. } => Some(series),
                _ => None,
            });
            for series in lines {
                parts.push(course(series, x, &pane.y));
                parts.extend(pane.items.iter().filter_map(|item| match item {
                    Item::Level { y, label, .. } => passes(series, *y, label, x),
                    _ => None,
                }));
            }
        }
        for (at, label) in &self.events {
            parts.push(format!("Event at {}: {label}.", x.value(*at)));
        }
        parts.join(" ")
    }
}

impl Chart for Trace {
    fn figure(&self) -> Figure {
        let description = self.described();
        let mut stack = self.stack.clone();
        for (number, pane) in stack.panes.iter_mut().enumerate() {
            for (at, label) in &self.events {
                pane.items.push(Item::Upright {
                    x: *at,
                    label: if number == 0 { label.clone() } else { String::new() },
                    tone: Tone::Calm,
                });
            }
        }
        let drawn = stack.draw(&description);
        let columns = self.stack.panes.iter().flat_map(|pane| {
            pane.items.iter().filter_map(|item| match item {
                Item::Line { series, .. } if series.label == pane.y.name => Some((pane.y.title(), series)),
                Item::Line { series, .. } => {
                    Some((format!("{}: {} [{}]", pane.y.name, series.label, pane.y.unit), series))
                }
                _ => None,
            })
        });
        Figure {
            title: self.stack.title.clone(),
            table: Table::of_series(&self.stack.x.title(), columns),
            description,
            notes: drawn.notes,
            picture: drawn.picture,
        }
    }
}
