//! Percentile bands over rpm, and measured points on top.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::scale::drawable;
use super::stack::{Item, Pane, Stack, Tone};
use super::style::{Marker, look};
use super::table::Table;
use super::words::course;

/// Bands of a spread over a swept quantity, a middle line, and points measured on the car.
///
/// Bands are given widest first. A point counts as inside when it lies between the edges of the widest
/// band (straight lines between rows); how many lie outside is said in the description.
#[derive(Clone, Debug)]
pub struct Bands {
    stack: Stack,
    bands: Vec<(Series, Series)>,
    middle: Option<Series>,
    points: Vec<Series>,
}

impl Bands {
    /// An empty figure with its title and axes.
    pub fn new(title: &str, x: Axis, y: Axis) -> Bands {
        let mut stack = Stack::new(title, x);
        stack.panes.push(Pane::new(y, 320.0));
        Bands { stack, bands: Vec::new(), middle: None, points: Vec::new() }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Bands {
        self.stack.subtitle = text.to_string();
        self
    }

    /// A band: `5 % to 95 %`. The rows share their abscissae.
    pub fn band<X, L, H>(mut self, label: &str, x: X, low: L, high: H) -> Bands
    where
        X: IntoIterator,
        X::Item: std::borrow::Borrow<f64>,
        L: IntoIterator,
        L::Item: std::borrow::Borrow<f64>,
        H: IntoIterator,
        H::Item: std::borrow::Borrow<f64>,
    {
        let low = Series::new(format!("{label}, low"), x, low);
        let high = Series::new(format!("{label}, high"), low.x.clone(), high);
        self.stack.panes[0].items.push(Item::Band {
            x: low.x.clone(),
            low: low.y.clone(),
            high: high.y.clone(),
            look: look(self.bands.len() * 4),
            label: Some(label.to_string()),
        });
        self.bands.push((low, high));
        self
    }

    /// The middle line.
    pub fn median(mut self, series: Series) -> Bands {
        self.stack.panes[0].items.push(Item::Line {
            label: Some(series.label.clone()),
            series: series.clone(),
            look: look(0),
            marked: false,
        });
        self.middle = Some(series);
        self
    }

    /// Points measured.
    pub fn points(mut self, series: Series) -> Bands {
        let mut style = look(5);
        style.marker = [Marker::Saltire, Marker::Diamond, Marker::Square][self.points.len() % 3];
        self.stack.panes[0].items.push(Item::Points {
            points: series.x.iter().copied().zip(series.y.iter().copied()).collect(),
            look: style,
            label: Some(series.label.clone()),
            scale: 0.85,
        });
        self.points.push(series);
        self
    }

    /// A limit: above it fails.
    pub fn fail_above(self, y: f64, label: &str) -> Bands {
        self.limit(y, label, (y, f64::INFINITY))
    }

    /// A limit: below it fails.
    pub fn fail_below(self, y: f64, label: &str) -> Bands {
        self.limit(y, label, (f64::NEG_INFINITY, y))
    }

    fn limit(mut self, y: f64, label: &str, region: (f64, f64)) -> Bands {
        self.stack.panes[0].items.extend([
            Item::Zone { x: (f64::NEG_INFINITY, f64::INFINITY), y: region, label: None, tone: Tone::Fail },
            Item::Level { y, label: label.to_string(), tone: Tone::Fail },
        ]);
        self
    }

    /// Points outside the widest band, of how many that could be judged.
    pub fn outside(&self) -> (usize, usize) {
        let Some((low, high)) = self.bands.first() else {
            return (0, 0);
        };
        let (low, high) = (low.lookup(), high.lookup());
        let mut count = (0, 0);
        for series in &self.points {
            for (&x, &y) in series.x.iter().zip(&series.y) {
                if let (Some(low), Some(high), true) = (low.at(x), high.at(x), drawable(y)) {
                    count.1 += 1;
                    count.0 += usize::from(y < low.min(high) || y > high.max(low));
                }
            }
        }
        count
    }
}

impl Chart for Bands {
    fn figure(&self) -> Figure {
        let (x, y) = (&self.stack.x, &self.stack.panes[0].y);
        let mut parts = vec![format!("{} over {}.", y.title(), x.title())];
        for series in self.bands.iter().flat_map(|(low, high)| [low, high]).chain(&self.middle) {
            parts.push(course(series, x, y));
        }
        let (outside, judged) = self.outside();
        if judged > 0 {
            parts.push(format!("{outside} of {judged} points lie outside the widest band."));
        }
        let description = parts.join(" ");
        let drawn = self.stack.draw(&description);
        let columns = self
            .bands
            .iter()
            .flat_map(|(low, high)| [low, high])
            .chain(&self.middle)
            .chain(&self.points)
            .map(|s| (format!("{} [{}]", s.label, y.unit), s));
        Figure {
            title: self.stack.title.clone(),
            table: Table::of_series(&x.title(), columns),
            description,
            notes: drawn.notes,
            picture: drawn.picture,
        }
    }
}
