//! Where each bar of pressure goes.

use super::data::Axis;
use super::figure::{Chart, Figure};
use super::panel::{Panel, rgb};
use super::scale::{drawable, extent, printed, rounded, signed};
use super::sheet::{Pen, Rect, Sheet};
use super::stack::{fitting, hatch, heading};
use super::style::*;
use super::table::{Cell, Table};
use plotters::prelude::*;

#[derive(Clone, Debug)]
enum Step {
    /// A pressure that is there to be read.
    Level(f64),
    /// A change on the way; negative for a loss.
    Change(f64),
}

/// A ladder of pressures from the pump to the difference across the injector.
///
/// `p_k = p_0 + sum(changes up to k)`: each rung is drawn from where the last one ended. A level given in
/// the middle that differs from the running sum by more than 0.5 % of the largest rung is drawn where it
/// was given, and a note names the difference: the ladder never hides pressure that is not accounted for.
#[derive(Clone, Debug)]
pub struct Ladder {
    title: String,
    subtitle: String,
    axis: Axis,
    steps: Vec<(String, Step)>,
    target: Option<(f64, String)>,
    foot: f64,
    top: f64,
}

struct Rung {
    label: String,
    from: f64,
    to: f64,
    level: bool,
    missing: f64,
}

impl Ladder {
    /// An empty ladder with its title and pressure axis.
    pub fn new(title: &str, axis: Axis) -> Ladder {
        Ladder {
            title: title.to_string(),
            subtitle: String::new(),
            axis,
            steps: Vec::new(),
            target: None,
            foot: 0.0,
            top: 0.0,
        }
    }

    /// Where the axis begins, with a mark that it does not begin at zero: for losses that are small beside what is there.
    pub fn starting_at(mut self, foot: f64) -> Ladder {
        self.foot = foot.max(0.0);
        self
    }

    /// How far the axis reaches at least: ladders that are compared need one scale.
    pub fn up_to(mut self, top: f64) -> Ladder {
        self.top = top;
        self
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Ladder {
        self.subtitle = text.to_string();
        self
    }

    /// A pressure that can be read on a gauge: pump outlet, rail, difference.
    pub fn level(mut self, label: &str, pressure: f64) -> Ladder {
        self.steps.push((label.to_string(), Step::Level(pressure)));
        self
    }

    /// A loss on the way; give it as a positive number.
    pub fn loss(mut self, label: &str, pressure: f64) -> Ladder {
        self.steps.push((label.to_string(), Step::Change(-pressure)));
        self
    }

    /// A gain on the way.
    pub fn gain(mut self, label: &str, pressure: f64) -> Ladder {
        self.steps.push((label.to_string(), Step::Change(pressure)));
        self
    }

    /// What the last level has to reach.
    pub fn target(mut self, pressure: f64, label: &str) -> Ladder {
        self.target = Some((pressure, label.to_string()));
        self
    }

    fn rungs(&self) -> Vec<Rung> {
        let mut at = 0.0;
        let mut started = false;
        let mut rungs = Vec::new();
        for (label, step) in &self.steps {
            match *step {
                Step::Level(p) => {
                    let missing = if started { p - at } else { 0.0 };
                    at = p;
                    rungs.push(Rung { label: label.clone(), from: 0.0, to: p, level: true, missing });
                }
                Step::Change(change) => {
                    rungs.push(Rung {
                        label: label.clone(),
                        from: at,
                        to: at + change,
                        level: false,
                        missing: 0.0,
                    });
                    at += change;
                }
            }
            started = true;
        }
        rungs
    }
}

impl Chart for Ladder {
    fn figure(&self) -> Figure {
        let unit = &self.axis.unit;
        let mut notes = Vec::new();
        let rungs: Vec<Rung> = self
            .rungs()
            .into_iter()
            .filter(|rung| {
                let fine = drawable(rung.from) && drawable(rung.to);
                if !fine {
                    notes.push(format!(
                        "\u{201c}{}\u{201d} has no finite pressure and is left out.",
                        rung.label
                    ));
                }
                fine
            })
            .collect();
        let largest = rungs.iter().map(|r| r.to.abs()).fold(0.0, f64::max);
        for rung in &rungs {
            if rung.missing.abs() > 0.005 * largest {
                notes.push(format!(
                    "{}: {} {unit} are not accounted for by the rungs above it.",
                    rung.label,
                    printed(rung.missing, 3)
                ));
            }
        }
        let mut sentences: Vec<String> = rungs
            .iter()
            .map(|rung| {
                if rung.level {
                    format!("{}: {}.", rung.label, self.axis.value(rung.to))
                } else {
                    let change = rung.to - rung.from;
                    let way = if change < 0.0 { "takes" } else { "adds" };
                    format!("{} {way} {}.", rung.label, self.axis.value(change.abs()))
                }
            })
            .collect();
        if let Some((target, label)) = &self.target {
            sentences.push(format!("{label}: {}.", self.axis.value(*target)));
        }
        let description = format!("Ladder of {}. {}", self.axis.title(), sentences.join(" "));

        let mut table = Table::new([
            "step".to_string(),
            format!("change [{unit}]"),
            format!("pressure after it [{unit}]"),
        ]);
        for rung in &rungs {
            let change = if rung.level { Cell::Empty } else { Cell::Number(rung.to - rung.from) };
            table.row([rung.label.as_str().into(), change, rung.to.into()]);
        }
        Figure {
            title: self.title.clone(),
            picture: self.picture(&rungs, &description),
            description,
            table,
            notes,
        }
    }
}

/// What stands beside each rung. Changes are rounded so that the printed sum closes: who adds them up by hand must
/// arrive at the level that is printed below them.
fn as_printed(rungs: &[Rung]) -> Vec<String> {
    let largest = rungs.iter().map(|r| r.to.abs()).fold(0.0, f64::max);
    if !(1e-3..1e6).contains(&largest) {
        // Too large or too small for columns of digits.
        let change = |r: &Rung| {
            let by = r.to - r.from;
            format!("{}{}", if by > 0.0 { "+" } else { "" }, printed(by, 3))
        };
        return rungs.iter().map(|r| if r.level { printed(r.to, 3) } else { change(r) }).collect();
    }
    let power = |x: f64| if x > 0.0 { x.log10().floor() as i32 } else { 0 };
    let changes = rungs.iter().filter(|r| !r.level).map(|r| (r.to - r.from).abs());
    let decimals = (2 - power(largest)).max(1 - power(changes.fold(0.0, f64::max))).clamp(0, 6) as usize;
    let unit = 10f64.powi(-(decimals as i32));
    let units = |x: f64| (x / unit).round();
    let mut steps: Vec<f64> =
        rungs.iter().map(|r| if r.level { units(r.to) } else { units(r.to - r.from) }).collect();
    let levels: Vec<usize> = (0..rungs.len()).filter(|i| rungs[*i].level).collect();
    for pair in levels.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        // What is not accounted for stays visible.
        if rungs[to].missing.abs() > 0.5 * unit {
            continue;
        }
        let mut off = steps[to] - steps[from] - steps[from + 1..to].iter().sum::<f64>();
        let mut order: Vec<usize> = (from + 1..to).collect();
        let exact = |i: usize| (rungs[i].to - rungs[i].from) / unit;
        // The change that its rounding wronged most gives way first.
        let sign = off.signum();
        order.sort_by(|a, b| (sign * (exact(*b) - steps[*b])).total_cmp(&(sign * (exact(*a) - steps[*a]))));
        for i in order {
            if off.abs() >= 0.5 {
                steps[i] += off.signum();
                off -= off.signum();
            }
        }
    }
    rungs
        .iter()
        .zip(steps)
        .map(|(r, n)| {
            let text = signed(format!("{:.decimals$}", n * unit));
            if !r.level && n > 0.0 { format!("+{text}") } else { text }
        })
        .collect()
}

impl Ladder {
    fn picture(&self, rungs: &[Rung], description: &str) -> String {
        let mut sheet = Sheet::new(WIDTH);
        let top = heading(&mut sheet, &self.title, &self.subtitle);
        let cap = WIDTH * 0.36;
        let labels: Vec<Vec<String>> = rungs.iter().map(|r| wrap(&r.label, LABEL, r.level, cap, 3)).collect();
        let left =
            labels.iter().flatten().map(|line| text_width(line, LABEL, true)).fold(60.0, f64::max) + 24.0;
        let values = rungs
            .iter()
            .flat_map(|r| [r.from, r.to])
            .chain(self.target.as_ref().map(|t| t.0))
            .chain([self.foot]);
        // Only a foot above nought cuts: a level may lie below the zero of a gauge.
        let cut = self.foot > 0.0;
        let values = values
            .map(|v| if cut { v.max(self.foot) } else { v })
            .chain((self.top > self.foot).then_some(self.top));
        let (low, high) = rounded(extent(values), 7);
        let range = if cut { (self.foot, high) } else { (low, high) };
        let printed = as_printed(rungs);
        let tall = |lines: usize| (lines as f64 * LABEL * LEADING + 12.0).max(34.0);
        let flag_room = if self.target.is_some() { 24.0 } else { 6.0 };
        let y0 = top + flag_room + 6.0;
        let y1 = y0 + labels.iter().map(|l| tall(l.len())).sum::<f64>().max(40.0);
        let panel = Panel { area: Rect::new(left, y0, WIDTH - 92.0, y1), x: range, y: (0.0, 1.0) };
        let ticks = fitting(range, (panel.area.x0, panel.area.x1));
        sheet.raw(&panel.paint(&[], true, |canvas| {
            for &at in &ticks.at {
                let pale = rgb(GRID).stroke_width(10);
                canvas.draw_series(LineSeries::new([(at, 0.0), (at, 1.0)], pale))?;
            }
            Ok(())
        }));
        let mut y = y0;
        let mut before: Option<f64> = None;
        for (number, (rung, lines)) in rungs.iter().zip(&labels).enumerate() {
            let height = tall(lines.len());
            let (thick, centre) = (if rung.level { 20.0 } else { 14.0 }, y + height / 2.0);
            let share = |py: f64| (y1 - py) / (y1 - y0);
            let (a, b) = (rung.from.min(rung.to).max(range.0), rung.from.max(rung.to).max(range.0));
            let colour = match (rung.level, rung.to < rung.from) {
                (true, _) => COLOURS[0],
                (false, true) => COLOURS[1],
                (false, false) => COLOURS[2],
            };
            sheet.raw(&panel.paint(&[], true, |canvas| {
                let corners = [(a, share(centre + thick / 2.0)), (b, share(centre - thick / 2.0))];
                canvas.draw_series([Rectangle::new(
                    corners,
                    rgb(colour).mix(if rung.level { 1.0 } else { 0.45 }).filled(),
                )])?;
                Ok(())
            }));
            let bar = Rect::new(panel.px(a), centre - thick / 2.0, panel.px(b), centre + thick / 2.0);
            if !rung.level {
                if bar.width() > 3.0 {
                    hatch(&mut sheet, bar, colour);
                }
                // A loss too small to see still gets an edge.
                sheet.rect(bar, &format!("fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.4\""));
            }
            if let Some(end) = before {
                let x = panel.px(end);
                sheet.line((x, y - height.min(8.0)), (x, centre - thick / 2.0), SOFT, 1.0, &[2, 2]);
            }
            before = Some(rung.to);
            let value = printed[number].clone();
            // Losses write their value on the right of the bar, where nothing follows.
            let pen = Pen::new(LABEL).rim();
            let pen = if rung.level { pen.bold() } else { pen };
            sheet.text(bar.x1 + 7.0, centre + 0.36 * LABEL, pen, &value);
            let first = centre - lines.len() as f64 * LABEL * LEADING / 2.0 + LABEL * 0.94;
            for (row, line) in lines.iter().enumerate() {
                let pen = Pen::new(LABEL).end();
                let pen = if rung.level { pen.bold() } else { pen };
                sheet.text(left - 12.0, first + row as f64 * LABEL * LEADING, pen, line);
            }
            y += height;
        }
        if let Some((target, label)) = &self.target
            && drawable(*target)
        {
            let x = panel.px(*target);
            sheet.line((x, y0 - 8.0), (x, y1), FAIL, 1.6, &[7, 4]);
            let text = wrap(&format!("{label}: {}", self.axis.value(*target)), LABEL, false, WIDTH - 20.0, 1);
            for line in &text {
                let half = text_width(line, LABEL, false) / 2.0;
                let centre = x.clamp(half + 8.0, WIDTH - half - 8.0);
                sheet.text(centre, y0 - 13.0, Pen::new(LABEL).middle().colour(FAIL), line);
            }
        }
        let zero = panel.px(self.foot.clamp(range.0, range.1));
        sheet.line((zero, y0), (zero, y1), INK, 1.4, &[]);
        if self.foot > 0.0 {
            // Two cuts on the axis: it does not begin at zero.
            for x in [zero + 5.0, zero + 10.0] {
                sheet.line((x - 3.0, y1 + 5.0), (x + 3.0, y1 - 5.0), INK, 1.2, &[]);
            }
        }
        sheet.line((panel.area.x0, y1), (panel.area.x1, y1), INK, 1.2, &[]);
        for (at, label) in ticks.at.iter().zip(&ticks.labels) {
            let x = panel.px(*at);
            sheet.line((x, y1), (x, y1 + 5.0), INK, 1.0, &[]);
            sheet.text(x, y1 + 20.0, Pen::new(TICK).middle().colour(SOFT), label);
        }
        let mut y = y1 + 24.0;
        let centre = (panel.area.x0 + panel.area.x1) / 2.0;
        for line in self.axis.lines(ticks.power, LABEL, 2.0 * (WIDTH - 8.0 - centre), 2) {
            y += LABEL * LEADING;
            sheet.text(centre, y, Pen::new(LABEL).middle(), &line);
        }
        sheet.finish(y + 12.0, &self.title, description)
    }
}
