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
        }
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

impl Tornado {
    fn picture(&self, levers: &[&Lever], description: &str) -> String {
        let mut sheet = Sheet::new(WIDTH);
        let top = heading(&mut sheet, &self.title, &self.subtitle);
        let cap = WIDTH * 0.28;
        let labels: Vec<Vec<String>> = levers.iter().map(|l| wrap(&l.label, LABEL, false, cap, 2)).collect();
        let widest = |texts: &mut dyn Iterator<Item = f64>| texts.fold(0.0, f64::max);
        let names = widest(&mut labels.iter().flatten().map(|l| text_width(l, LABEL, false)));
        let one = |text: &str| wrap(text, END, false, WIDTH * 0.14, 1).pop().unwrap_or_default();
        let ends = widest(
            &mut levers.iter().flat_map(|l| [&l.low.0, &l.high.0]).map(|t| text_width(&one(t), END, false)),
        );
        let values = levers
            .iter()
            .flat_map(|l| [l.low.1, l.high.1])
            .chain([self.nominal])
            .chain(self.limit.as_ref().map(|l| l.0));
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
        flag(&mut sheet, x, y0 - 12.0, &format!("nominal {}", self.axis.value(self.nominal)), INK);
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
                let (a, b) = (panel.px(nominal), panel.px(value));
                Rect::new(a.min(b), centre - 0.24 * ROW, a.max(b), centre + 0.24 * ROW)
            };
            hatch(&mut sheet, bar(lever.low.1), COLOURS[1]);
            sheet.rect(bar(lever.low.1), &format!("fill=\"none\" stroke=\"{}\"", COLOURS[1]));
            sheet.rect(bar(lever.high.1), &format!("fill=\"none\" stroke=\"{}\"", COLOURS[0]));
            // The end that lies further left writes to the left; both on one side: they share a side by
            // reaching out from the outer and from the nominal line.
            let mut ends = [
                (lever.low.1, one(&lever.low.0), TEXT_COLOURS[1]),
                (lever.high.1, one(&lever.high.0), TEXT_COLOURS[0]),
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
