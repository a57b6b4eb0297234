//! Which input moves the answer most.

use super::data::Axis;
use super::figure::{Chart, Figure};
use super::panel::{Panel, rgb};
use super::scale::{drawable, extent, rounded};
use super::sheet::{Pen, Rect, Sheet};
use super::stack::{fitting, hatch, heading};
use super::style::*;
use super::table::Table;
use plotters::prelude::*;

#[derive(Clone, Debug)]
struct Lever {
    label: String,
    low: (String, f64),
    high: (String, f64),
}

impl Lever {
    fn swing(&self) -> f64 {
        (self.high.1 - self.low.1).abs()
    }
}

/// Bars of the answer when one input at a time goes to the ends of its range, longest first.
///
/// `swing = |answer(high input) - answer(low input)|`, in the unit of the axis. The low end of the input
/// is hatched, the high end is full, so the direction of the effect shows without colour. Inputs without
/// a finite answer are listed in a note.
#[derive(Clone, Debug)]
pub struct Tornado {
    title: String,
    subtitle: String,
    axis: Axis,
    nominal: f64,
    levers: Vec<Lever>,
    limit: Option<(f64, String)>,
    centre: String,
}

impl Tornado {
    /// An empty tornado around a nominal answer.
    pub fn new(title: &str, axis: Axis, nominal: f64) -> Tornado {
        Tornado {
            title: title.to_string(),
            subtitle: String::new(),
            axis,
            nominal,
            levers: Vec::new(),
            limit: None,
            centre: String::from("nominal"),
        }
    }

    /// What the answer in the middle is called; "nominal" unless said.
    pub fn centre_called(mut self, name: &str) -> Tornado {
        self.centre = name.to_string();
        self
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Tornado {
        self.subtitle = text.to_string();
        self
    }

    /// An input: its name, and for each end of its range the input as text and the answer.
    pub fn input(mut self, label: &str, low: (&str, f64), high: (&str, f64)) -> Tornado {
        self.levers.push(Lever {
            label: label.to_string(),
            low: (low.0.to_string(), low.1),
            high: (high.0.to_string(), high.1),
        });
        self
    }

    /// The answer that parts pass from fail.
    pub fn limit(mut self, at: f64, label: &str) -> Tornado {
        self.limit = Some((at, label.to_string()));
        self
    }
}

const ROW: f64 = 44.0;
const END: f64 = 12.5;

impl Chart for Tornado {
    fn figure(&self) -> Figure {
        let mut notes = Vec::new();
        let mut levers: Vec<&Lever> = self.levers.iter().collect();
        levers.retain(|lever| {
            let fine = drawable(lever.low.1) && drawable(lever.high.1);
            if !fine {
                notes.push(format!(
                    "\u{201c}{}\u{201d} has no finite answer at an end of its range.",
                    lever.label
                ));
            }
            fine
        });
        if !drawable(self.nominal) {
            notes.push(String::from(
                "The nominal answer is not finite: bars start at the middle of the range drawn.",
            ));
        }
        levers.sort_by(|a, b| b.swing().total_cmp(&a.swing()));
        let mut parts =
            vec![format!("Tornado of {} around {}.", self.axis.title(), self.axis.value(self.nominal))];
        for lever in &levers {
            parts.push(format!(
                "{}: {} gives {}, {} gives {}.",
                lever.label,
                lever.low.0,
                self.axis.value(lever.low.1),
                lever.high.0,
                self.axis.value(lever.high.1)
            ));
        }
        if let Some((at, label)) = &self.limit {
            parts.push(format!("{label}: {}.", self.axis.value(*at)));
        }
        let description = parts.join(" ");
        let unit = &self.axis.unit;
        let mut table = Table::new([
            "input".to_string(),
            "low end".to_string(),
            format!("answer there [{unit}]"),
            "high end".to_string(),
            format!("answer there [{unit}]"),
            format!("swing [{unit}]"),
        ]);
        for lever in &levers {
            table.row([
                lever.label.as_str().into(),
                lever.low.0.as_str().into(),
                lever.low.1.into(),
                lever.high.0.as_str().into(),
                lever.high.1.into(),
                lever.swing().into(),
            ]);
        }
        Figure {
            title: self.title.clone(),
            picture: self.picture(&levers, &description),
            table,
            description,
            notes,
        }
    }
}

/// A number with this many figures.
fn round_to(value: f64, digits: i32) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10f64.powi(digits - 1 - value.abs().log10().floor() as i32);
    (value * scale).round() / scale
}

/// Two slanted cuts near the end of a bar: it goes on.
fn break_mark(sheet: &mut Sheet, x: f64, centre: f64, inwards: f64) {
    for shift in [8.0, 14.0] {
        let at = x + inwards * shift;
        let (from, to) = ((at - 4.0, centre + 0.32 * ROW), (at + 4.0, centre - 0.32 * ROW));
        sheet.line(from, to, PAPER, 4.5, &[]);
        sheet.line((from.0 - 2.2, from.1), (to.0 - 2.2, to.1), INK, 1.0, &[]);
        sheet.line((from.0 + 2.2, from.1), (to.0 + 2.2, to.1), INK, 1.0, &[]);
    }
}

impl Tornado {
    /// Where bars are cut so that one long bar does not squeeze the others: half as far again as the second longest.
    fn reach(&self, levers: &[&Lever]) -> Option<(f64, f64)> {
        if !drawable(self.nominal) || levers.len() < 3 {
            return None;
        }
        let mut far: Vec<f64> = levers
            .iter()
            .map(|l| (l.low.1 - self.nominal).abs().max((l.high.1 - self.nominal).abs()))
            .collect();
        far.sort_by(|a, b| b.total_cmp(a));
        let limit = self.limit.as_ref().map_or(0.0, |(at, _)| (at - self.nominal).abs());
        let most = 1.5 * far[1].max(limit);
        (far[0] > 2.5 * far[1].max(limit) && most > 0.0).then_some((self.nominal - most, self.nominal + most))
    }

    fn picture(&self, levers: &[&Lever], description: &str) -> String {
        let mut sheet = Sheet::new(WIDTH);
        let top = heading(&mut sheet, &self.title, &self.subtitle);
        let cap = WIDTH * 0.28;
        let labels: Vec<Vec<String>> = levers.iter().map(|l| wrap(&l.label, LABEL, false, cap, 2)).collect();
        let widest = |texts: &mut dyn Iterator<Item = f64>| texts.fold(0.0, f64::max);
        let names = widest(&mut labels.iter().flatten().map(|l| text_width(l, LABEL, false)));
        let one = |text: &str| wrap(text, END, false, WIDTH * 0.14, 1).pop().unwrap_or_default();
        let reach = self.reach(levers);
        // A bar that is cut short says how far it goes.
        let end = |(input, answer): &(String, f64)| match reach {
            Some((low, high)) if *answer < low || *answer > high => {
                one(&format!("{input}: {}", self.axis.value(round_to(*answer, 2))))
            }
            _ => one(input),
        };
        let ends = widest(
            &mut levers.iter().flat_map(|l| [&l.low, &l.high]).map(|e| text_width(&end(e), END, false)),
        );
        let values = levers
            .iter()
            .flat_map(|l| [l.low.1, l.high.1])
            .chain([self.nominal])
            .chain(self.limit.as_ref().map(|l| l.0))
            .map(|v| reach.map_or(v, |(low, high)| v.clamp(low, high)));
        let range = rounded(extent(values), 6);
        let nominal = if drawable(self.nominal) { self.nominal } else { (range.0 + range.1) / 2.0 };
        // End texts stand outside the bars: give them room beyond the panel.
        let left = 12.0 + names + 14.0 + ends;
        let y0 = top + if self.limit.is_some() { 50.0 } else { 30.0 };
        let panel = Panel {
            area: Rect::new(left, y0, WIDTH - ends - 22.0, y0 + ROW * levers.len().max(1) as f64),
            x: range,
            y: (0.0, levers.len().max(1) as f64),
        };
        let area = panel.area;
        let shown = |v: f64| reach.map_or(v, |(low, high)| v.clamp(low, high));
        let ticks = fitting(range, (area.x0, area.x1));
        sheet.raw(&panel.paint(&[], true, |canvas| {
            let pale = rgb(GRID).stroke_width(10);
            for &at in &ticks.at {
                canvas.draw_series(LineSeries::new([(at, panel.y.0), (at, panel.y.1)], pale))?;
            }
            let rows = levers.len() as f64;
            for (number, lever) in levers.iter().enumerate() {
                let middle = rows - 0.5 - number as f64;
                for (value, colour) in [(lever.low.1, COLOURS[1]), (lever.high.1, COLOURS[0])] {
                    let value = shown(value);
                    let corners = [(nominal, middle - 0.24), (value, middle + 0.24)];
                    canvas.draw_series([Rectangle::new(corners, rgb(colour).mix(0.55).filled())])?;
                }
            }
            Ok(())
        }));
        let x = panel.px(nominal);
        sheet.line((x, y0 - 8.0), (x, area.y1), INK, 1.6, &[]);
        let flag = |sheet: &mut Sheet, x: f64, y: f64, text: &str, colour: Colour| {
            for line in wrap(text, LABEL, false, WIDTH - 24.0, 1) {
                let half = text_width(&line, LABEL, false) / 2.0;
                let at = x.clamp(half + 8.0, WIDTH - half - 8.0);
                sheet.text(at, y, Pen::new(LABEL).middle().colour(colour), &line);
            }
        };
        let middle = format!("{} {}", self.centre, self.axis.value(round_to(self.nominal, 3)));
        // The limit's line comes down through this row: the name keeps to the other side of it.
        let middle = wrap(&middle, LABEL, false, WIDTH - 24.0, 1).pop().unwrap_or_default();
        let half = text_width(&middle, LABEL, false) / 2.0;
        let aside = match &self.limit {
            Some((at, _)) if drawable(*at) && (panel.px(*at) - x).abs() < half + 6.0 => {
                let side = if panel.px(*at) <= x { 1.0 } else { -1.0 };
                let away = (panel.px(*at) + side * (half + 6.0)).clamp(half + 8.0, WIDTH - half - 8.0);
                if side > 0.0 { away.max(x) } else { away.min(x) }
            }
            _ => x,
        };
        flag(&mut sheet, aside, y0 - 12.0, &middle, INK);
        if let Some((at, label)) = &self.limit
            && drawable(*at)
        {
            let x = panel.px(*at);
            sheet.line((x, y0 - 28.0), (x, area.y1), FAIL, 1.6, &[7, 4]);
            flag(&mut sheet, x, y0 - 32.0, &format!("{label}: {}", self.axis.value(*at)), FAIL);
        }
        for (number, lever) in levers.iter().enumerate() {
            let centre = y0 + ROW * (number as f64 + 0.5);
            let bar = |value: f64| {
                let (a, b) = (panel.px(nominal), panel.px(shown(value)));
                Rect::new(a.min(b), centre - 0.24 * ROW, a.max(b), centre + 0.24 * ROW)
            };
            hatch(&mut sheet, bar(lever.low.1), COLOURS[1]);
            sheet.rect(bar(lever.low.1), &format!("fill=\"none\" stroke=\"{}\"", COLOURS[1]));
            sheet.rect(bar(lever.high.1), &format!("fill=\"none\" stroke=\"{}\"", COLOURS[0]));
            // The end that lies further left writes to the left; both on one side: they share a side by
            // reaching out from the outer and from the nominal line.
            for value in [lever.low.1, lever.high.1] {
                if shown(value) != value {
                    break_mark(
                        &mut sheet,
                        panel.px(shown(value)),
                        centre,
                        if value < nominal { 1.0 } else { -1.0 },
                    );
                }
            }
            let mut ends = [
                (shown(lever.low.1), end(&lever.low), TEXT_COLOURS[1]),
                (shown(lever.high.1), end(&lever.high), TEXT_COLOURS[0]),
            ];
            ends.sort_by(|a, b| a.0.total_cmp(&b.0));
            let base = centre + 0.36 * END;
            let left_at = panel.px(ends[0].0.min(nominal)) - 6.0;
            let right_at = panel.px(ends[1].0.max(nominal)) + 6.0;
            sheet.plate(left_at, base, Pen::new(END).end().colour(ends[0].2), &ends[0].1);
            sheet.plate(right_at, base, Pen::new(END).colour(ends[1].2), &ends[1].1);
            let first = centre - labels[number].len() as f64 * LABEL * LEADING / 2.0 + LABEL * 0.94;
            for (row, line) in labels[number].iter().enumerate() {
                sheet.text(12.0, first + row as f64 * LABEL * LEADING, Pen::new(LABEL), line);
            }
        }
        sheet.line((area.x0, area.y1), (area.x1, area.y1), INK, 1.2, &[]);
        for (at, label) in ticks.at.iter().zip(&ticks.labels) {
            let x = panel.px(*at);
            sheet.line((x, area.y1), (x, area.y1 + 5.0), INK, 1.0, &[]);
            sheet.text(x, area.y1 + 20.0, Pen::new(TICK).middle().colour(SOFT), label);
        }
        let mut y = area.y1 + 24.0;
        let centre = (area.x0 + area.x1) / 2.0;
        for line in self.axis.lines(ticks.power, LABEL, 2.0 * (WIDTH - 8.0 - centre), 2) {
            y += LABEL * LEADING;
            sheet.text(centre, y, Pen::new(LABEL).middle(), &line);
        }
        y += 22.0;
        let key = |sheet: &mut Sheet, x: f64, low: bool, text: &str| {
            let colour = COLOURS[usize::from(low)];
            let sample = Rect::new(x, y - 10.0, x + 22.0, y + 1.0);
            sheet.rect(sample, &format!("fill=\"{colour}\" fill-opacity=\"0.55\" stroke=\"{colour}\""));
            if low {
                hatch(sheet, sample, colour);
            }
            sheet.text(x + 28.0, y, Pen::new(NOTE).colour(SOFT), text);
        };
        key(&mut sheet, 12.0, true, "input at its low end");
        key(&mut sheet, 240.0, false, "input at its high end");
        sheet.finish(y + 12.0, &self.title, description)
    }
}
