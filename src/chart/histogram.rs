//! How often each outcome came up, with the line that parts pass from fail.

use super::data::Axis;
use super::figure::{Chart, Figure};
use super::scale::{drawable, printed};
use super::stack::{Item, Pane, Stack, Tone};
use super::table::Table;
use std::borrow::Borrow;

/// A histogram of draws with a pass line and an interval.
///
/// Bin width `2 IQR / n^(1/3)` (Freedman and Diaconis 1981), between 8 and 48 bins over the range of the
/// draws; a bin edge is put on the pass line, so that no bar is half pass, half fail. With fewer than two
/// different values there is one bin. Draws that are not finite are left out of the bars, counted in a
/// note, and counted as failing in [`Histogram::failing`] when there is a pass line. Draws past a value given to
/// [`Histogram::beyond`] stand in the last bar and are counted in a note.
///
/// `interval` is drawn as given: this figure computes no statistics but counts.
#[derive(Clone, Debug)]
pub struct Histogram {
    title: String,
    subtitle: String,
    axis: Axis,
    draws: Vec<f64>,
    line: Option<(f64, String, bool)>,
    interval: Option<(f64, f64, String)>,
    beyond: Option<(f64, String)>,
    guides: Vec<(f64, String)>,
}

impl Histogram {
    /// A histogram of these draws.
    pub fn new<D>(title: &str, axis: Axis, draws: D) -> Histogram
    where
        D: IntoIterator,
        D::Item: Borrow<f64>,
    {
        Histogram {
            title: title.to_string(),
            subtitle: String::new(),
            axis,
            draws: draws.into_iter().map(|d| *d.borrow()).collect(),
            line: None,
            interval: None,
            beyond: None,
            guides: Vec::new(),
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Histogram {
        self.subtitle = text.to_string();
        self
    }

    /// The pass line: draws above it fail.
    pub fn fail_above(mut self, limit: f64, label: &str) -> Histogram {
        self.line = Some((limit, label.to_string(), true));
        self
    }

    /// The pass line: draws below it fail.
    pub fn fail_below(mut self, limit: f64, label: &str) -> Histogram {
        self.line = Some((limit, label.to_string(), false));
        self
    }

    /// An interval, drawn as a bracket: `95 % of cars`.
    pub fn interval(mut self, low: f64, high: f64, label: &str) -> Histogram {
        self.interval = Some((low, high, label.to_string()));
        self
    }

    /// Draws above this value stand in the last bar, so that the rest is seen; `label` says what they are.
    pub fn beyond(mut self, limit: f64, label: &str) -> Histogram {
        self.beyond = Some((limit, label.to_string()));
        self
    }

    /// A value worth naming: the nominal result, the median.
    pub fn guide(mut self, x: f64, label: &str) -> Histogram {
        self.guides.push((x, label.to_string()));
        self
    }

    /// How many draws fail, of how many.
    pub fn failing(&self) -> (usize, usize) {
        let failing = match &self.line {
            None => 0,
            Some((limit, _, above)) => self
                .draws
                .iter()
                .filter(|d| !d.is_finite() || if *above { **d > *limit } else { **d < *limit })
                .count(),
        };
        (failing, self.draws.len())
    }

    /// Bin edges and counts.
    pub fn bins(&self) -> Vec<(f64, f64, usize)> {
        let last = self.beyond.as_ref().map_or(f64::INFINITY, |(limit, _)| *limit);
        let mut sorted: Vec<f64> = self.draws.iter().filter(|d| drawable(**d)).map(|d| d.min(last)).collect();
        sorted.sort_by(f64::total_cmp);
        let (Some(&low), Some(&high)) = (sorted.first(), sorted.last()) else {
            return Vec::new();
        };
        if high - low <= 1e-12 * low.abs().max(high.abs()) {
            let half = if low == 0.0 { 0.5 } else { 0.01 * low.abs() };
            return vec![(low - half, high + half, sorted.len())];
        }
        let quartile = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
        let width = 2.0 * (quartile(0.75) - quartile(0.25)) / (sorted.len() as f64).cbrt();
        let count = if width > 0.0 { ((high - low) / width).ceil() } else { 8.0 };
        let width = (high - low) / count.clamp(8.0, 48.0);
        let origin = match &self.line {
            Some((limit, _, _)) if (low..=high).contains(limit) => {
                limit - ((limit - low) / width).ceil() * width
            }
            _ => low,
        };
        let count = ((high - origin) / width).ceil().max(1.0) as usize;
        let above = self.line.as_ref().is_some_and(|(_, _, above)| *above);
        let edge = |i: usize| origin + i as f64 * width;
        let mut bins: Vec<(f64, f64, usize)> = (0..count).map(|i| (edge(i), edge(i + 1), 0)).collect();
        for draw in sorted {
            // A draw on the pass line passes: with "fail above" it belongs to the bin on its left.
            let place = (draw - origin) / width;
            let at = if above { place.ceil() - 1.0 } else { place.floor() };
            bins[(at.max(0.0) as usize).min(count - 1)].2 += 1;
        }
        bins
    }
}

impl Chart for Histogram {
    fn figure(&self) -> Figure {
        let bins = self.bins();
        let count_axis = Axis::new("draws in each bin", "count");
        let mut pane = Pane::new(count_axis, 280.0);
        pane.from_zero = true;
        let mut notes = Vec::new();
        let lost = self.draws.iter().filter(|d| !drawable(**d)).count();
        if lost > 0 {
            notes.push(format!(
                "{lost} of {} draws have no finite value; they are not drawn{}.",
                self.draws.len(),
                if self.line.is_some() { " and count as failing" } else { "" }
            ));
        }
        if let Some((limit, label)) = &self.beyond {
            let far = self.draws.iter().filter(|d| drawable(**d) && **d > *limit).count();
            if far > 0 {
                let of = self.draws.len();
                let at = self.axis.value(*limit);
                notes
                    .push(format!("{far} of {of} draws lie beyond {at} and stand in the last bar: {label}."));
            }
        }
        let fails = |low: f64, high: f64| {
            self.line.as_ref().is_some_and(|(limit, _, above)| {
                let middle = (low + high) / 2.0;
                if *above { middle > *limit } else { middle < *limit }
            })
        };
        pane.items.push(Item::Bars {
            bars: bins
                .iter()
                .map(|(low, high, n)| ([*low, *high, 0.0, *n as f64], fails(*low, *high)))
                .collect(),
        });
        let tallest = bins.iter().map(|b| b.2).max().unwrap_or(1) as f64;
        let mut parts = vec![format!("Histogram of {} draws of {}.", self.draws.len(), self.axis.title())];
        if let (Some(first), Some(last)) = (bins.first(), bins.last()) {
            let peak = bins.iter().max_by_key(|b| b.2).unwrap_or(first);
            parts.push(format!(
                "They lie between {} and {}, most often between {} and {}.",
                self.axis.value(first.0),
                self.axis.value(last.1),
                self.axis.value(peak.0),
                self.axis.value(peak.1)
            ));
        }
        let mut subtitle = self.subtitle.clone();
        if let Some((limit, label, above)) = &self.line {
            let (failing, of) = self.failing();
            let share = 100.0 * failing as f64 / (of.max(1)) as f64;
            let text = format!(
                "{failing} of {of} draws ({} %) lie {} {} ({label}).",
                printed(share, 3),
                if *above { "above" } else { "below" },
                self.axis.value(*limit)
            );
            subtitle = if subtitle.is_empty() { text.clone() } else { format!("{subtitle}: {text}") };
            parts.push(text);
            pane.items.push(Item::Zone {
                x: if *above { (*limit, f64::INFINITY) } else { (f64::NEG_INFINITY, *limit) },
                y: (f64::NEG_INFINITY, f64::INFINITY),
                label: None,
                tone: Tone::Fail,
            });
            pane.items.push(Item::Upright { x: *limit, label: label.clone(), tone: Tone::Fail });
        }
        for (x, label) in &self.guides {
            parts.push(format!("{label}: {}.", self.axis.value(*x)));
            pane.items.push(Item::Upright { x: *x, label: label.clone(), tone: Tone::Calm });
        }
        if let Some((low, high, label)) = &self.interval {
            parts.push(format!("{label}: {} to {}.", self.axis.value(*low), self.axis.value(*high)));
            if drawable(*low) && drawable(*high) {
                // Air above the tallest bar for the bracket.
                pane.limits = Some(super::scale::rounded(Some((0.0, tallest * 1.28)), 6));
                pane.items.push(Item::Bracket {
                    x: (*low, *high),
                    label: label.clone(),
                    row: 0,
                    full: false,
                });
            } else {
                notes.push(format!("{label}: has no finite ends."));
            }
        }
        let mut stack = Stack::new(&self.title, self.axis.clone());
        stack.subtitle = subtitle;
        stack.panes.push(pane);
        let description = parts.join(" ");
        let drawn = stack.draw(&description);
        notes.extend(drawn.notes);
        let unit = &self.axis.unit;
        let mut table = Table::new([
            format!("from [{unit}]"),
            format!("to [{unit}]"),
            String::from("draws [count]"),
            String::from("verdict"),
        ]);
        for (low, high, n) in &bins {
            let verdict = match &self.line {
                None => "",
                Some(_) if fails(*low, *high) => "fail",
                Some(_) => "pass",
            };
            table.row([(*low).into(), (*high).into(), (*n as f64).into(), verdict.into()]);
        }
        Figure { title: self.title.clone(), table, description, notes, picture: drawn.picture }
    }
}
