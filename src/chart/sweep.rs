//! One thing changed step by step: curves, limits, points worth naming.

use super::data::{Axis, Series};
use super::figure::{Chart, Figure};
use super::stack::{Item, Pane, Stack, Tone};
use super::style::{INK, Look, look};
use super::table::Table;
use super::words::{course, passes};

/// Curves over a swept quantity.
///
/// Valid for any number of curves; the first seven have a colour of their own, further ones repeat
/// colours with other dashes. Values that are not finite are gaps and are counted in a note.
///
/// ```
/// use railrise::chart::{Axis, Chart, Series, Sweep};
/// let boost = [0.0, 0.7, 1.4];
/// let sweep = Sweep::new("What boost does to the difference", Axis::new("boost", "bar"), Axis::new("differential pressure", "bar"))
///     .curve(Series::new("fixed 4 bar rail", boost, [4.0, 3.3, 2.6]))
///     .fail_below(2.85, "base - 5 %");
/// assert!(sweep.svg().contains("differential pressure [bar]"));
/// ```
#[derive(Clone, Debug)]
pub struct Sweep {
    stack: Stack,
    curves: Vec<Series>,
    limits: Vec<(f64, String)>,
    marks: Vec<(f64, f64, String)>,
    bands: Vec<(String, Series, Series)>,
}

const NEUTRAL: Look =
    Look { colour: INK, text: INK, dash: &[], marker: super::style::Marker::Disc, width: 2.0 };

impl Sweep {
    /// An empty sweep with its title and axes.
    pub fn new(title: &str, x: Axis, y: Axis) -> Sweep {
        let mut stack = Stack::new(title, x);
        stack.panes.push(Pane::new(y, 320.0));
        Sweep { stack, curves: Vec::new(), limits: Vec::new(), marks: Vec::new(), bands: Vec::new() }
    }

    fn item(mut self, item: Item) -> Sweep {
        self.stack.panes[0].items.push(item);
        self
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Sweep {
        self.stack.subtitle = text.to_string();
        self
    }

    /// Adds a curve.
    pub fn curve(mut self, series: Series) -> Sweep {
        let look = look(self.curves.len());
        self.curves.push(series.clone());
        self.item(Item::Line { label: Some(series.label.clone()), series, look, marked: true })
    }

    /// Adds a band between two rows of ordinates, in the colour of the curve added last.
    pub fn band(mut self, label: &str, low: Series, high: Series) -> Sweep {
        let look = look(self.curves.len().saturating_sub(1));
        self.bands.push((label.to_string(), low.clone(), high.clone()));
        let high_y = low.x.iter().map(|x| high.at(*x).unwrap_or(f64::NAN)).collect();
        self.item(Item::Band { x: low.x, low: low.y, high: high_y, look, label: Some(label.to_string()) })
    }

    /// A horizontal line that is only a guide.
    pub fn guide(mut self, y: f64, label: &str) -> Sweep {
        self.limits.push((y, label.to_string()));
        self.item(Item::Level { y, label: label.to_string(), tone: Tone::Calm })
    }

    fn limit(mut self, y: f64, label: &str, region: (f64, f64)) -> Sweep {
        self.limits.push((y, label.to_string()));
        self.item(Item::Zone {
            x: (f64::NEG_INFINITY, f64::INFINITY),
            y: region,
            label: None,
            tone: Tone::Fail,
        })
        .item(Item::Level { y, label: label.to_string(), tone: Tone::Fail })
    }

    /// A limit; everything above it fails and is shaded.
    pub fn fail_above(self, y: f64, label: &str) -> Sweep {
        self.limit(y, label, (y, f64::INFINITY))
    }

    /// A limit; everything below it fails and is shaded.
    pub fn fail_below(self, y: f64, label: &str) -> Sweep {
        self.limit(y, label, (f64::NEG_INFINITY, y))
    }

    /// Names a point.
    pub fn mark(mut self, x: f64, y: f64, label: &str) -> Sweep {
        self.marks.push((x, y, label.to_string()));
        self.item(Item::Note { at: (x, y), label: label.to_string(), look: NEUTRAL })
    }

    /// A vertical line with its name above the panel.
    pub fn at(self, x: f64, label: &str) -> Sweep {
        self.item(Item::Upright { x, label: label.to_string(), tone: Tone::Calm })
    }

    /// Fixes the x range; what lies outside is cut off.
    pub fn x_range(mut self, low: f64, high: f64) -> Sweep {
        self.stack.x_limits = Some((low, high));
        self
    }

    /// Fixes the y range (needed when figures are compared frame by frame).
    pub fn y_range(mut self, low: f64, high: f64) -> Sweep {
        self.stack.panes[0].limits = Some((low, high));
        self
    }

    /// Makes the y axis start at zero.
    pub fn from_zero(mut self) -> Sweep {
        self.stack.panes[0].from_zero = true;
        self
    }

    fn description(&self) -> String {
        let (x, y) = (&self.stack.x, &self.stack.panes[0].y);
        let mut parts = vec![format!("{} over {}.", y.title(), x.title())];
        parts.extend(self.curves.iter().map(|curve| course(curve, x, y)));
        for (limit, label) in &self.limits {
            parts.extend(self.curves.iter().filter_map(|c| passes(c, *limit, label, x)));
        }
        for (px, py, label) in &self.marks {
            parts.push(format!("Marked: {label} ({}, {}).", x.value(*px), y.value(*py)));
        }
        parts.join(" ")
    }
}

impl Chart for Sweep {
    fn figure(&self) -> Figure {
        let description = self.description();
        let drawn = self.stack.draw(&description);
        let y = &self.stack.panes[0].y;
        let unit = &y.unit;
        let columns = self.curves.iter().map(|curve| (format!("{} [{unit}]", curve.label), curve)).chain(
            self.bands.iter().flat_map(|(label, low, high)| {
                [(format!("{label}, low [{unit}]"), low), (format!("{label}, high [{unit}]"), high)]
            }),
        );
        Figure {
            title: self.stack.title.clone(),
            description,
            table: Table::of_series(&self.stack.x.title(), columns),
            notes: drawn.notes,
            picture: drawn.picture,
        }
    }
}
