//! A gauge face with the band it should read in.

use super::data::Axis;
use super::figure::{Chart, Figure};
use super::scale::{drawable, extent, rounded, ticks};
use super::sheet::{Pen, Sheet, c};
use super::stack::heading;
use super::style::*;
use super::table::Table;

/// A dial with the predicted band, and the needle once something was read.
///
/// The scale turns clockwise over 270 degrees: `angle = 225 deg - 270 deg (v - low) / (high - low)`,
/// measured against the clock from the right. A reading off the scale is drawn at the stop and named in a
/// note. The band is drawn as predicted; whether the reading lies in it is said in words.
#[derive(Clone, Debug)]
pub struct GaugeFace {
    title: String,
    subtitle: String,
    axis: Axis,
    scale: Option<(f64, f64)>,
    band: Option<(f64, f64)>,
    reading: Option<f64>,
}

impl GaugeFace {
    /// An empty dial.
    pub fn new(title: &str, axis: Axis) -> GaugeFace {
        GaugeFace {
            title: title.to_string(),
            subtitle: String::new(),
            axis,
            scale: None,
            band: None,
            reading: None,
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> GaugeFace {
        self.subtitle = text.to_string();
        self
    }

    /// The ends of the scale printed on the gauge.
    pub fn scale(mut self, low: f64, high: f64) -> GaugeFace {
        self.scale = Some((low, high));
        self
    }

    /// The band predicted.
    pub fn expect(mut self, low: f64, high: f64) -> GaugeFace {
        self.band = Some((low.min(high), low.max(high)));
        self
    }

    /// What was read.
    pub fn reading(mut self, value: f64) -> GaugeFace {
        self.reading = Some(value);
        self
    }

    /// Whether the reading lies in the band; none while either is missing.
    pub fn inside(&self) -> Option<bool> {
        let ((low, high), value) = (self.band?, self.reading?);
        Some((low..=high).contains(&value))
    }

    fn verdict(&self) -> String {
        let band = self.band.map(|(low, high)| {
            let (low, high) = (super::scale::printed(low, 4), self.axis.value(high));
            let (low, high) = equally_fine(&low, &high);
            format!("expect {low} to {high}")
        });
        let read = self.reading.map(|value| format!("reads {}", self.axis.value(value)));
        let verdict = match self.inside() {
            Some(true) => "inside the band",
            Some(false) => "outside the band: stop and find out why",
            None => "",
        };
        [band, read, Some(verdict.to_string())]
            .into_iter()
            .flatten()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join("; ")
    }
}

/// Two printed numbers with the same decimals; the second may have its unit behind it.
fn equally_fine(low: &str, high: &str) -> (String, String) {
    let (number, unit) = high.split_once(' ').map_or((high, String::new()), |(n, u)| (n, format!(" {u}")));
    let decimals = |text: &str| text.split_once('.').map_or(0, |(_, d)| d.len());
    let most = decimals(low).max(decimals(number));
    let fill = |text: &str| {
        let point = if most > 0 && decimals(text) == 0 { "." } else { "" };
        format!("{text}{point}{}", "0".repeat(most - decimals(text)))
    };
    (fill(low), fill(number) + &unit)
}

const RADIUS: f64 = 128.0;

impl Chart for GaugeFace {
    fn figure(&self) -> Figure {
        let mut notes = Vec::new();
        let known = self.band.iter().flat_map(|(a, b)| [*a, *b]).chain(self.reading).chain([0.0]);
        let scale = self
            .scale
            .filter(|(low, high)| drawable(*low) && drawable(*high) && low < high)
            .unwrap_or_else(|| rounded(extent(known), 7));
        if let Some(value) = self.reading
            && !(scale.0..=scale.1).contains(&value)
        {
            notes.push(format!("The reading {} is off the scale of this gauge.", self.axis.value(value)));
        }
        let description = format!(
            "Gauge face for {}, scale {} to {}. {}.",
            self.axis.title(),
            self.axis.value(scale.0),
            self.axis.value(scale.1),
            self.verdict()
        );
        let mut table = Table::new(["quantity".to_string(), format!("value [{}]", self.axis.unit)]);
        if let Some((low, high)) = self.band {
            table.row(["predicted, low".into(), low.into()]);
            table.row(["predicted, high".into(), high.into()]);
        }
        if let Some(value) = self.reading {
            table.row(["reading".into(), value.into()]);
        }
        Figure {
            title: self.title.clone(),
            picture: self.picture(scale, &description),
            table,
            description,
            notes,
        }
    }
}

impl GaugeFace {
    fn picture(&self, scale: (f64, f64), description: &str) -> String {
        let width = 440.0;
        let mut sheet = Sheet::new(width);
        let top = heading(&mut sheet, &self.title, &self.subtitle);
        let centre = (width / 2.0, top + RADIUS + 22.0);
        let turn = |value: f64| {
            let share = ((value - scale.0) / (scale.1 - scale.0)).clamp(0.0, 1.0);
            (225.0 - 270.0 * share).to_radians()
        };
        let at = |angle: f64, radius: f64| (centre.0 + radius * angle.cos(), centre.1 - radius * angle.sin());
        let arc = |from: f64, to: f64, radius: f64| {
            let (a, b) = (at(turn(from), radius), at(turn(to), radius));
            let large = i32::from((turn(from) - turn(to)).abs() > std::f64::consts::PI);
            format!("M{} {}A{radius} {radius} 0 {large} 1 {} {}", c(a.0), c(a.1), c(b.0), c(b.1))
        };
        sheet.circle(
            centre,
            RADIUS + 10.0,
            &format!("fill=\"{PAPER}\" stroke=\"{SOFT}\" stroke-width=\"3\""),
        );
        if let Some((low, high)) = self.band
            && drawable(low)
            && drawable(high)
        {
            let (r0, r1) = (RADIUS - 22.0, RADIUS - 2.0);
            sheet.path(
                &arc(low, high, (r0 + r1) / 2.0),
                &format!("fill=\"none\" stroke=\"{PASS}\" stroke-opacity=\"0.35\" stroke-width=\"20\""),
            );
            for edge in [low, high] {
                sheet.line(at(turn(edge), r0 - 3.0), at(turn(edge), r1 + 4.0), PASS, 2.4, &[]);
            }
        }
        sheet.path(
            &arc(scale.0, scale.1, RADIUS - 2.0),
            &format!("fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.6\""),
        );
        let major = ticks(scale.0, scale.1, 7);
        if let [first, second, ..] = major.at[..] {
            let small = (second - first) / 5.0;
            let from = ((scale.0 - first) / small - 1e-9).ceil() as i64;
            let to = ((scale.1 - first) / small + 1e-9).floor() as i64;
            for i in from..=to {
                let angle = turn(first + i as f64 * small);
                sheet.line(at(angle, RADIUS - 8.0), at(angle, RADIUS - 2.0), INK, 1.0, &[]);
            }
        }
        for (value, label) in major.at.iter().zip(&major.labels) {
            let angle = turn(*value);
            sheet.line(at(angle, RADIUS - 16.0), at(angle, RADIUS - 2.0), INK, 2.0, &[]);
            // Long numbers stand further in.
            let half = text_width(label, TICK, false) / 2.0;
            let (x, y) = at(angle, RADIUS - 29.0 - half * angle.cos().abs());
            let pen = Pen::new(TICK).middle();
            let frame = pen.frame(x, y + 0.36 * TICK, label).grown(1.5);
            if !sheet.taken.iter().any(|t| t.meets(&frame)) {
                sheet.text(x, y + 0.36 * TICK, pen, label);
            }
        }
        // The unit sits in the open part at the bottom of the dial.
        let mut y = centre.1 + RADIUS * 0.56;
        for line in self.axis.lines(major.power, TICK, RADIUS * 0.76, 2) {
            sheet.text(centre.0, y, Pen::new(TICK).middle().colour(SOFT), &line);
            y += TICK * LEADING;
        }
        if let Some(value) = self.reading
            && drawable(value)
        {
            let angle = turn(value);
            let (tip, tail) = (at(angle, RADIUS - 12.0), at(angle + std::f64::consts::PI, 22.0));
            let side = at(angle + std::f64::consts::FRAC_PI_2, 4.0);
            let other = at(angle - std::f64::consts::FRAC_PI_2, 4.0);
            sheet.path(
                &format!(
                    "M{} {}L{} {}L{} {}L{} {}Z",
                    c(tip.0),
                    c(tip.1),
                    c(side.0),
                    c(side.1),
                    c(tail.0),
                    c(tail.1),
                    c(other.0),
                    c(other.1)
                ),
                &format!("fill=\"{INK}\" stroke=\"{PAPER}\" stroke-width=\"1.2\""),
            );
            sheet.circle(centre, 7.0, &format!("fill=\"{INK}\" stroke=\"{PAPER}\" stroke-width=\"1.5\""));
        }
        let colour = match self.inside() {
            Some(true) => PASS,
            Some(false) => FAIL,
            None => INK,
        };
        let mut y = centre.1 + RADIUS + 16.0;
        for line in wrap(&self.verdict(), LABEL, true, width - 24.0, 4) {
            y += LABEL * LEADING;
            sheet.text(centre.0, y, Pen::new(LABEL).middle().bold().colour(colour), &line);
        }
        sheet.finish(y + 12.0, &self.title, description)
    }
}
