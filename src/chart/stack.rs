//! Panels over a common x axis: the engine behind every figure with two numeric axes.

use super::data::{Axis, Series};
use super::panel::{Panel, rgb, wide};
use super::place::{Ground, place};
use super::scale::{Ticks, drawable, extent, opened, printed, rounded_ticks, ticks, ticks_by};
use super::sheet::{Pen, Rect, Sheet};
use super::spread::{needed, spread};
use super::style::*;
use plotters::prelude::*;

/// What a line or region means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tone {
    /// A limit and the side that fails.
    Fail,
    /// Something only pointed out.
    Calm,
}

impl Tone {
    pub(crate) fn line(self) -> Colour {
        match self {
            Tone::Fail => FAIL,
            Tone::Calm => SOFT,
        }
    }

    pub(crate) fn ground(self) -> Colour {
        match self {
            Tone::Fail => FAIL_GROUND,
            Tone::Calm => CALM_GROUND,
        }
    }

    pub(crate) fn hatch(self) -> Colour {
        match self {
            Tone::Fail => FAIL_HATCH,
            Tone::Calm => CALM_HATCH,
        }
    }
}

/// One thing drawn in a panel.
#[derive(Clone, Debug)]
pub(crate) enum Item {
    Line {
        series: Series,
        look: Look,
        label: Option<String>,
        marked: bool,
    },
    Points {
        points: Vec<(f64, f64)>,
        look: Look,
        label: Option<String>,
        scale: f64,
    },
    Band {
        x: Vec<f64>,
        low: Vec<f64>,
        high: Vec<f64>,
        look: Look,
        label: Option<String>,
    },
    /// A horizontal line.
    Level {
        y: f64,
        label: String,
        tone: Tone,
    },
    /// A vertical line.
    Upright {
        x: f64,
        label: String,
        tone: Tone,
    },
    /// A region; an infinite side reaches the edge of the panel.
    Zone {
        x: (f64, f64),
        y: (f64, f64),
        label: Option<String>,
        tone: Tone,
    },
    Note {
        at: (f64, f64),
        label: String,
        look: Look,
    },
    /// Upright bars: left, right, bottom, top, and whether they stand on the failing side.
    Bars {
        bars: Vec<([f64; 4], bool)>,
    },
    /// A span of x with its text, drawn as a bracket near the top of the panel.
    Bracket {
        x: (f64, f64),
        label: String,
        row: usize,
        /// A filled bar instead of a thin bracket.
        full: bool,
    },
}

/// One panel of a stack.
#[derive(Clone, Debug)]
pub(crate) struct Pane {
    pub(crate) y: Axis,
    pub(crate) items: Vec<Item>,
    pub(crate) height: f64,
    pub(crate) from_zero: bool,
    pub(crate) limits: Option<(f64, f64)>,
    /// Nothing but brackets: no scale on the left.
    pub(crate) bare: bool,
}

impl Pane {
    pub(crate) fn new(y: Axis, height: f64) -> Pane {
        Pane { y, items: Vec::new(), height, from_zero: false, limits: None, bare: false }
    }

    /// Whether a level lies in the range shown; without fixed limits the range is made to hold it.
    fn shows(&self, y: f64) -> bool {
        self.limits.is_none_or(|(low, high)| (low..=high).contains(&y))
    }

    fn x_values(&self) -> Vec<f64> {
        let mut all = Vec::new();
        for item in &self.items {
            match item {
                Item::Line { series, .. } => {
                    all.extend(series.runs().into_iter().flatten().map(|p| p.0));
                }
                Item::Points { points, .. } => all.extend(points.iter().map(|p| p.0)),
                Item::Band { x, .. } => all.extend(x),
                Item::Upright { x, .. } => all.push(*x),
                Item::Zone { x, .. } | Item::Bracket { x, .. } => all.extend([x.0, x.1]),
                Item::Note { at, .. } => all.push(at.0),
                Item::Bars { bars } => all.extend(bars.iter().flat_map(|(b, _)| [b[0], b[1]])),
                Item::Level { .. } => {}
            }
        }
        all
    }

    fn y_values(&self) -> Vec<f64> {
        let mut all = Vec::new();
        for item in &self.items {
            match item {
                Item::Line { series, .. } => {
                    all.extend(series.runs().into_iter().flatten().map(|p| p.1));
                }
                Item::Points { points, .. } => all.extend(points.iter().map(|p| p.1)),
                Item::Band { low, high, .. } => all.extend(low.iter().chain(high)),
                Item::Level { y, .. } => all.push(*y),
                Item::Note { at, .. } => all.push(at.1),
                Item::Bars { bars } => all.extend(bars.iter().flat_map(|(b, _)| [b[2], b[3]])),
                Item::Upright { .. } | Item::Zone { .. } | Item::Bracket { .. } => {}
            }
        }
        if self.from_zero {
            all.push(0.0);
        }
        all
    }
}

/// Panels, one x axis, a title.
#[derive(Clone, Debug)]
pub(crate) struct Stack {
    pub(crate) title: String,
    pub(crate) subtitle: String,
    pub(crate) x: Axis,
    pub(crate) x_limits: Option<(f64, f64)>,
    /// Distance of the ticks on x where round numbers are not the natural ones, as on a crank.
    pub(crate) x_step: Option<f64>,
    pub(crate) panes: Vec<Pane>,
}

/// The picture and what found no room in it.
pub(crate) struct Drawn {
    pub(crate) picture: String,
    pub(crate) notes: Vec<String>,
}

/// A key: what stands before a label in the right-hand column.
#[derive(Clone, Copy)]
enum Key {
    Line(Look, bool),
    Points(Look, f64),
    Band(Look),
    Level(Tone),
}

struct Entry {
    /// The point it belongs to, on the axes.
    at: Option<(f64, f64)>,
    lines: Vec<String>,
    colour: Colour,
    key: Key,
}

const KEY: f64 = 30.0;
const COLUMN_GAP: f64 = 14.0;
const LINE: f64 = LABEL * LEADING;

impl Stack {
    pub(crate) fn new(title: &str, x: Axis) -> Stack {
        Stack {
            title: title.to_string(),
            subtitle: String::new(),
            x,
            x_limits: None,
            x_step: None,
            panes: Vec::new(),
        }
    }

    pub(crate) fn draw(&self, description: &str) -> Drawn {
        let mut sheet = Sheet::new(WIDTH);
        let mut notes = Vec::new();
        let top = heading(&mut sheet, &self.title, &self.subtitle);

        let seen: Vec<f64> = self.panes.iter().flat_map(Pane::x_values).collect();
        let x_range = self
            .x_limits
            .filter(|(low, high)| drawable(*low) && drawable(*high) && low < high)
            .unwrap_or_else(|| opened(extent(seen.iter().copied())));
        if extent(seen).is_none() {
            notes.push(String::from(
                "There is no number to draw: check that the rows given hold finite values.",
            ));
        }

        // Right column, as wide as its longest label needs, up to a third of the sheet.
        let entries: Vec<Vec<Entry>> = self.panes.iter().map(|p| column(p, x_range)).collect();
        let texts = entries
            .iter()
            .flatten()
            .flat_map(|entry| &entry.lines)
            .map(|line| text_width(line, LABEL, false))
            .fold(0.0, f64::max);
        let any = entries.iter().any(|list| !list.is_empty());
        let right = if any { COLUMN_GAP + KEY + texts + 10.0 } else { 24.0 };

        let heights: Vec<f64> = self
            .panes
            .iter()
            .zip(&entries)
            .map(|(pane, list)| {
                let sizes: Vec<f64> = list.iter().map(|e| e.lines.len() as f64 * LINE).collect();
                pane.height.max(needed(&sizes, 3.0))
            })
            .collect();
        let scales: Vec<((f64, f64), Ticks)> = self
            .panes
            .iter()
            .zip(&heights)
            .map(|(pane, height)| {
                let want = ((height / 34.0).round() as usize).clamp(3, 8);
                let fixed = pane.limits.filter(|(low, high)| drawable(*low) && drawable(*high) && low < high);
                let (low, high, marks) = match fixed {
                    Some((low, high)) => (low, high, ticks(low, high, want)),
                    None => rounded_ticks(from_near_zero(extent(pane.y_values())), want),
                };
                let range = (low, high);
                if pane.bare {
                    let none = Ticks { at: Vec::new(), labels: Vec::new(), power: 0 };
                    return (range, none);
                }
                (range, marks)
            })
            .collect();
        let left = scales
            .iter()
            .flat_map(|(_, t)| &t.labels)
            .map(|label| text_width(label, TICK, false))
            .fold(0.0, f64::max)
            + 20.0;

        let span = (left, WIDTH - right);
        let x_ticks = match self.x_step {
            Some(step) => ticks_by(x_range.0, x_range.1, step),
            None => with_ends(fitting(x_range, span), x_range, span),
        };
        // The outermost tick labels may stick out of the panel; leave them room.
        let half = |label: Option<&String>| label.map_or(0.0, |l| text_width(l, TICK, false) / 2.0);
        let span = (
            span.0.max(half(x_ticks.labels.first()) + 4.0),
            span.1.min(WIDTH - half(x_ticks.labels.last()) - 4.0),
        );

        let mut y = top;
        let last = self.panes.len().saturating_sub(1);
        for (number, pane) in self.panes.iter().enumerate() {
            let (y_range, y_ticks) = &scales[number];
            y += 6.0;
            for line in pane.y.lines(y_ticks.power, LABEL, WIDTH - 24.0, 2) {
                y += LINE;
                sheet.text(12.0, y, Pen::new(LABEL), &line);
            }
            let scale = |x: f64| span.0 + (x - x_range.0) / (x_range.1 - x_range.0) * (span.1 - span.0);
            let flags = flags(pane, scale, x_range);
            let rows = flags.iter().map(|f| f.row + 1).max().unwrap_or(0);
            y += 12.0 + rows as f64 * LINE;
            let panel =
                Panel { area: Rect::new(span.0, y, span.1, y + heights[number]), x: x_range, y: *y_range };
            self.paint(&mut sheet, pane, &panel, &x_ticks, y_ticks);
            for flag in &flags {
                let base = panel.area.y0 - 7.0 - flag.row as f64 * LINE;
                let pen = Pen::new(LABEL).colour(flag.tone.line());
                let (x, pen) = if flag.left { (flag.x - 5.0, pen.end()) } else { (flag.x + 5.0, pen) };
                sheet.text(x, base, pen, &flag.text);
                sheet.line(
                    (flag.x, base - ASCENT * LABEL + 1.0),
                    (flag.x, panel.area.y1),
                    flag.tone.line(),
                    1.3,
                    &[5, 3],
                );
            }
            write_column(&mut sheet, &panel, &entries[number]);
            y = panel.area.y1;
            if number == last {
                for (at, label) in x_ticks.at.iter().zip(&x_ticks.labels) {
                    sheet.text(panel.px(*at), y + 20.0, Pen::new(TICK).middle().colour(SOFT), label);
                }
                y += 24.0;
                let centre = (span.0 + span.1) / 2.0;
                for line in self.x.lines(x_ticks.power, LABEL, span.1 - span.0, 2) {
                    y += LINE;
                    sheet.text(centre, y, Pen::new(LABEL).middle(), &line);
                }
            } else {
                y += 6.0;
            }
            notes.extend(write_labels(&mut sheet, pane, &panel));
        }
        notes.extend(self.troubles());
        Drawn { picture: sheet.finish(y + 12.0, &self.title, description), notes }
    }

    fn troubles(&self) -> Vec<String> {
        let mut all = Vec::new();
        for pane in &self.panes {
            for item in &pane.items {
                let Item::Line { series, .. } = item else {
                    continue;
                };
                all.extend(series.trouble.clone());
                let lost =
                    series.x.iter().zip(&series.y).filter(|(x, y)| !drawable(**x) || !drawable(**y)).count();
                if lost > 0 {
                    all.push(format!(
                        "\u{201c}{}\u{201d}: {lost} of {} points have no finite value and show as gaps.",
                        series.label,
                        series.x.len()
                    ));
                }
            }
        }
        all.dedup();
        all
    }

    fn paint(&self, sheet: &mut Sheet, pane: &Pane, panel: &Panel, xt: &Ticks, yt: &Ticks) {
        let clip = self.x_limits.is_some() || pane.limits.is_some();
        for item in &pane.items {
            if let Item::Zone { x, y, tone, .. } = item
                && let Some(area) = zone_area(panel, *x, *y)
            {
                sheet.rect(area, &format!("fill=\"{}\"", tone.ground()));
                hatch(sheet, area, tone.hatch());
            }
        }
        let (x, y) = (panel.x, panel.y);
        let grid = panel.paint(&[], true, |canvas| {
            let pale = rgb(GRID).stroke_width(wide(1.0));
            for &at in &xt.at {
                canvas.draw_series(LineSeries::new([(at, y.0), (at, y.1)], pale))?;
            }
            for &at in &yt.at {
                canvas.draw_series(LineSeries::new([(x.0, at), (x.1, at)], pale))?;
            }
            Ok(())
        });
        sheet.raw(&grid);
        if y.0 < 0.0 && y.1 > 0.0 {
            let zero = panel.paint(&[], true, |canvas| {
                let style = rgb(SOFT).stroke_width(wide(1.0));
                canvas.draw_series(LineSeries::new([(x.0, 0.0), (x.1, 0.0)], style))?;
                Ok(())
            });
            sheet.raw(&zero);
        }
        for (number, item) in pane.items.iter().enumerate() {
            match item {
                Item::Band { x, low, high, look, .. } => {
                    sheet.raw(&band(panel, x, low, high, *look, clip));
                }
                Item::Bars { bars } => sheet.raw(&columns(panel, bars)),
                Item::Line { series, look, marked, .. } => {
                    let runs = series.runs();
                    sheet.raw(&panel.lines(&runs, *look, clip));
                    let spots = marks(&runs, panel, number, *marked);
                    if !spots.is_empty() {
                        sheet.raw(&panel.markers(&spots, *look, 1.0));
                    }
                }
                Item::Points { points, look, scale, .. } => {
                    let points: Vec<(f64, f64)> =
                        points.iter().copied().filter(|p| drawable(p.0) && drawable(p.1)).collect();
                    sheet.raw(&panel.markers(&points, *look, *scale));
                }
                Item::Level { y, tone, .. } if (panel.y.0..=panel.y.1).contains(y) => {
                    let line = panel.paint(&[7, 4], true, |canvas| {
                        let style = rgb(tone.line()).stroke_width(wide(1.6));
                        canvas.draw_series(LineSeries::new([(x.0, *y), (x.1, *y)], style))?;
                        Ok(())
                    });
                    sheet.raw(&line);
                }
                Item::Upright { x, label, tone }
                    if label.trim().is_empty() && (panel.x.0..=panel.x.1).contains(x) =>
                {
                    let at = panel.px(*x);
                    let (top, foot) = ((at, panel.area.y0), (at, panel.area.y1));
                    sheet.line(top, foot, tone.line(), 1.3, &[5, 3]);
                }
                _ => {}
            }
        }
        for item in &pane.items {
            if let Item::Note { at, look, .. } = item
                && drawable(at.0)
                && drawable(at.1)
            {
                let ring = Look { marker: Marker::Disc, ..*look };
                let white = Look { colour: PAPER, ..ring };
                sheet.raw(&panel.markers(&[*at], ring, 1.7));
                sheet.raw(&panel.markers(&[*at], white, 0.9));
            }
        }
        let area = panel.area;
        sheet.line((area.x0, area.y0), (area.x0, area.y1), INK, 1.2, &[]);
        sheet.line((area.x0, area.y1), (area.x1, area.y1), INK, 1.2, &[]);
        for &at in &xt.at {
            sheet.line((panel.px(at), area.y1), (panel.px(at), area.y1 + 5.0), INK, 1.0, &[]);
        }
        for (at, label) in yt.at.iter().zip(&yt.labels) {
            let y = panel.py(*at);
            sheet.line((area.x0 - 5.0, y), (area.x0, y), INK, 1.0, &[]);
            sheet.text(area.x0 - 8.0, y + 0.36 * TICK, Pen::new(TICK).end().colour(SOFT), label);
        }
    }
}

/// Title and subtitle; returns the ordinate below them.
pub(crate) fn heading(sheet: &mut Sheet, title: &str, subtitle: &str) -> f64 {
    let width = sheet.width - 24.0;
    let mut y = 8.0;
    for line in wrap(title, TITLE, true, width, 3) {
        y += TITLE * LEADING;
        sheet.text(12.0, y - 2.0, Pen::new(TITLE).bold(), &line);
    }
    for line in wrap(subtitle, LABEL, false, width, 3) {
        y += LINE;
        sheet.text(12.0, y, Pen::new(LABEL).colour(SOFT), &line);
    }
    y + 4.0
}

/// As many x ticks as fit side by side.
pub(crate) fn fitting(range: (f64, f64), span: (f64, f64)) -> Ticks {
    let width = span.1 - span.0;
    let mut want = ((width / 70.0) as usize).clamp(1, 9);
    loop {
        let found = ticks(range.0, range.1, want);
        let place = |at: f64| (at - range.0) / (range.1 - range.0) * width;
        let clear = found.at.windows(2).zip(found.labels.windows(2)).all(|(at, label)| {
            let both = text_width(&label[0], TICK, false) + text_width(&label[1], TICK, false);
            place(at[1]) - place(at[0]) >= both / 2.0 + 10.0
        });
        if clear || want == 1 {
            return found;
        }
        want -= 1;
    }
}

/// Ticks and, where there is room, the ends of the range: the reader of a sweep looks for where it stops.
fn with_ends(mut found: Ticks, range: (f64, f64), span: (f64, f64)) -> Ticks {
    if found.power != 0 {
        return found;
    }
    let place = |at: f64| (at - range.0) / (range.1 - range.0) * (span.1 - span.0);
    for (end, last) in [(range.0, false), (range.1, true)] {
        let label = printed(end, 4);
        let short = label.chars().filter(char::is_ascii_digit).count() <= 3;
        let round = short || end.fract() == 0.0;
        let exact =
            label.replace('\u{2212}', "-").parse::<f64>().is_ok_and(|x| (x - end).abs() <= 1e-9 * end.abs());
        let beside = if last { found.at.len().checked_sub(1) } else { (!found.at.is_empty()).then_some(0) };
        let clear = beside.is_none_or(|i| {
            let both = text_width(&label, TICK, false) + text_width(&found.labels[i], TICK, false);
            (place(end) - place(found.at[i])).abs() >= both / 2.0 + 8.0
        });
        if round && exact && clear {
            let i = if last { found.at.len() } else { 0 };
            found.at.insert(i, end);
            found.labels.insert(i, label);
        }
    }
    found
}

/// A range that nearly reaches down to zero is drawn from zero: its bottom would look like nothing.
fn from_near_zero(extent: Option<(f64, f64)>) -> Option<(f64, f64)> {
    extent.map(|(low, high)| if low > 0.0 && low < 0.2 * high { (0.0, high) } else { (low, high) })
}

/// Diagonal hatching of an area.
pub(crate) fn hatch(sheet: &mut Sheet, area: Rect, colour: Colour) {
    let mut d = String::new();
    let mut offset = 7.0;
    while offset < area.width() + area.height() {
        let from = if offset <= area.height() {
            (area.x0, area.y0 + offset)
        } else {
            (area.x0 + offset - area.height(), area.y1)
        };
        let to = if offset <= area.width() {
            (area.x0 + offset, area.y0)
        } else {
            (area.x1, area.y0 + offset - area.width())
        };
        d.push_str(&format!("M{:.1} {:.1}L{:.1} {:.1}", from.0, from.1, to.0, to.1));
        offset += 9.0;
    }
    sheet.path(&d, &format!("stroke=\"{colour}\" stroke-width=\"0.9\" fill=\"none\""));
}

fn zone_area(panel: &Panel, x: (f64, f64), y: (f64, f64)) -> Option<Rect> {
    let within = |v: f64, range: (f64, f64)| v.clamp(range.0, range.1);
    if [x.0, x.1, y.0, y.1].iter().any(|v| v.is_nan()) {
        return None;
    }
    let area = Rect::new(
        panel.px(within(x.0.min(x.1), panel.x)),
        panel.py(within(y.0.max(y.1), panel.y)),
        panel.px(within(x.0.max(x.1), panel.x)),
        panel.py(within(y.0.min(y.1), panel.y)),
    );
    (area.width() > 0.5 && area.height() > 0.5).then_some(area)
}

/// A pale polygon with thin edges, so that it shows in grey and over other bands.
fn band(panel: &Panel, x: &[f64], low: &[f64], high: &[f64], look: Look, clip: bool) -> String {
    let mut runs: Vec<Vec<(f64, f64, f64)>> = vec![Vec::new()];
    for ((&x, &low), &high) in x.iter().zip(low).zip(high) {
        if drawable(x) && drawable(low) && drawable(high) {
            if let Some(run) = runs.last_mut() {
                run.push((x, low, high));
            }
        } else {
            runs.push(Vec::new());
        }
    }
    runs.retain(|run| !run.is_empty());
    panel.paint(&[], clip, |canvas| {
        let colour = rgb(look.colour);
        for run in &runs {
            let upper = run.iter().map(|p| (p.0, p.2));
            let lower = run.iter().rev().map(|p| (p.0, p.1));
            let ring: Vec<(f64, f64)> = upper.clone().chain(lower.clone()).collect();
            canvas.draw_series([Polygon::new(ring, colour.mix(0.16).filled())])?;
            let edge = colour.mix(0.65).stroke_width(wide(0.9));
            canvas.draw_series(LineSeries::new(upper, edge))?;
            canvas.draw_series(LineSeries::new(lower, edge))?;
        }
        Ok(())
    })
}

fn columns(panel: &Panel, bars: &[([f64; 4], bool)]) -> String {
    panel.paint(&[], true, |canvas| {
        for ([x0, x1, y0, y1], fails) in bars {
            let colour = rgb(if *fails { FAIL } else { COLOURS[0] });
            let gap = 0.04 * (x1 - x0);
            let corners = [(x0 + gap, *y0), (x1 - gap, *y1)];
            canvas.draw_series([Rectangle::new(corners, colour.mix(0.55).filled())])?;
            if *fails {
                // Strokes across tell failing bars apart in grey.
                let spacing = 8.0 * (panel.y.1 - panel.y.0) / panel.area.height();
                let strokes = ((y1 - y0) / spacing - 0.5).floor().clamp(0.0, 80.0) as usize;
                for i in 0..strokes {
                    let level = y1 - spacing * (i as f64 + 0.75);
                    let stroke = rgb(PAPER).stroke_width(wide(1.2));
                    canvas.draw_series(LineSeries::new([(x0 + gap, level), (x1 - gap, level)], stroke))?;
                }
            }
        }
        Ok(())
    })
}

/// Where markers go: on every point of a short series, sparsely on a long one, always on a lone point.
fn marks(runs: &[Vec<(f64, f64)>], panel: &Panel, number: usize, marked: bool) -> Vec<(f64, f64)> {
    let total: usize = runs.iter().map(Vec::len).sum();
    let mut spots: Vec<(f64, f64)> = runs.iter().filter(|run| run.len() == 1).map(|run| run[0]).collect();
    if !marked {
        return spots;
    }
    if total <= 10 {
        return runs.iter().flatten().copied().collect();
    }
    let every = panel.area.width() / 6.0;
    let mut next = panel.area.x0 + every * (0.35 + 0.17 * (number % 4) as f64);
    for &(x, y) in runs.iter().flatten() {
        let at = panel.px(x);
        if at >= next {
            spots.push((x, y));
            next = at + every;
        }
    }
    spots
}

/// The entries of a panel's right-hand column.
fn column(pane: &Pane, x_range: (f64, f64)) -> Vec<Entry> {
    let cap = WIDTH * 0.30;
    let wrapped = |label: &str| wrap(label, LABEL, false, cap, 3);
    let mut entries = Vec::new();
    for item in &pane.items {
        match item {
            Item::Line { series, look, label: Some(label), marked } => {
                let inside = |p: &(f64, f64)| p.0 <= x_range.1 && p.0 >= x_range.0;
                let end = series.runs().into_iter().flatten().rfind(inside);
                entries.push(Entry {
                    at: end.or_else(|| series.last()),
                    lines: wrapped(label),
                    colour: look.text,
                    key: Key::Line(*look, *marked),
                });
            }
            Item::Points { points, look, label: Some(label), scale } => entries.push(Entry {
                at: points
                    .iter()
                    .copied()
                    .filter(|p| drawable(p.0) && drawable(p.1))
                    .max_by(|a, b| a.0.total_cmp(&b.0)),
                lines: wrapped(label),
                colour: look.text,
                key: Key::Points(*look, *scale),
            }),
            Item::Band { x, low, high, look, label: Some(label) } => entries.push(Entry {
                at: x
                    .iter()
                    .zip(low.iter().zip(high))
                    .map(|(&x, (&l, &h))| (x, h - 0.25 * (h - l)))
                    .rfind(|p| drawable(p.0) && drawable(p.1)),
                lines: wrapped(label),
                colour: look.text,
                key: Key::Band(*look),
            }),
            Item::Level { y, label, tone } if pane.shows(*y) => entries.push(Entry {
                at: Some((x_range.1, *y)),
                lines: wrapped(label),
                colour: tone.line(),
                key: Key::Level(*tone),
            }),
            _ => {}
        }
    }
    entries.retain(|entry| !entry.lines.is_empty());
    entries
}

fn write_column(sheet: &mut Sheet, panel: &Panel, entries: &[Entry]) {
    let area = panel.area;
    let sizes: Vec<f64> = entries.iter().map(|e| e.lines.len() as f64 * LINE).collect();
    let wanted: Vec<f64> = entries
        .iter()
        .map(|e| match e.at {
            Some((_, y)) if drawable(y) => panel.py(y).clamp(area.y0, area.y1),
            _ => area.y0,
        })
        .collect();
    let centres = spread(&wanted, &sizes, 3.0, area.y0, area.y1);
    let left = area.x1 + COLUMN_GAP;
    for (number, entry) in entries.iter().enumerate() {
        let centre = centres[number];
        let end = entry.at.map(|(x, _)| panel.px(x).min(area.x1));
        if let Some(end) = end
            && area.x1 - end < 12.0
            && (centre - wanted[number]).abs() > 2.0
        {
            sheet.line((end + 1.0, wanted[number]), (left - 1.0, centre), SOFT, 0.8, &[]);
        }
        match entry.key {
            Key::Line(look, marked) => sheet.sample(left, centre, look, marked),
            Key::Points(look, scale) => sheet.marker((left + 11.0, centre), look, scale.max(0.8)),
            Key::Band(look) => sheet.rect(
                Rect::new(left, centre - 5.0, left + 22.0, centre + 5.0),
                &format!(
                    "fill=\"{0}\" fill-opacity=\"0.16\" stroke=\"{0}\" stroke-opacity=\"0.65\"",
                    look.colour
                ),
            ),
            Key::Level(tone) => sheet.line((left, centre), (left + 22.0, centre), tone.line(), 1.6, &[7, 4]),
        }
        let first = centre - sizes[number] / 2.0 + LABEL * 0.92;
        for (row, line) in entry.lines.iter().enumerate() {
            sheet.text(left + KEY, first + row as f64 * LINE, Pen::new(LABEL).colour(entry.colour), line);
        }
    }
}

/// A label above the panel that hangs on a vertical line.
struct Flag {
    x: f64,
    left: bool,
    row: usize,
    text: String,
    tone: Tone,
    reach: (f64, f64),
}

/// Rows for the labels of vertical lines: none over another, no line through a label.
fn flags(pane: &Pane, scale: impl Fn(f64) -> f64, range: (f64, f64)) -> Vec<Flag> {
    let mut lines: Vec<(f64, &str, Tone)> = pane
        .items
        .iter()
        .filter_map(|item| match item {
            Item::Upright { x, label, tone }
                if !label.trim().is_empty() && (range.0..=range.1).contains(x) =>
            {
                Some((scale(*x), label.as_str(), *tone))
            }
            _ => None,
        })
        .collect();
    lines.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut set: Vec<Flag> = Vec::new();
    for (x, label, tone) in lines {
        let text = wrap(label, LABEL, false, WIDTH * 0.45, 1).into_iter().next().unwrap_or_default();
        let width = text_width(&text, LABEL, false);
        let left = x + 5.0 + width > WIDTH - 6.0;
        let reach = if left { (x - 5.0 - width, x) } else { (x, x + 5.0 + width) };
        let clear = |row: usize| {
            set.iter().all(|other| {
                let apart = reach.1 + 8.0 < other.reach.0 || other.reach.1 + 8.0 < reach.0;
                let under = |inner: f64, (a, b): (f64, f64)| (a - 3.0..=b + 3.0).contains(&inner);
                match other.row.cmp(&row) {
                    std::cmp::Ordering::Equal => apart,
                    // Its line runs down through this row.
                    std::cmp::Ordering::Greater => !under(other.x, reach),
                    std::cmp::Ordering::Less => !under(x, other.reach),
                }
            })
        };
        // With as many rows as labels there is always one above all that came before, whose only
        // obstacle is a line through lower labels; that is then accepted.
        let row = (0..=set.len()).find(|row| clear(*row)).unwrap_or(set.len());
        set.push(Flag { x, left, row, text, tone, reach });
    }
    set
}

/// Labels inside the panel: brackets, zones, annotated points. Returns what found no room.
fn write_labels(sheet: &mut Sheet, pane: &Pane, panel: &Panel) -> Vec<String> {
    let mut busy: Vec<(f64, f64)> = Vec::new();
    for item in &pane.items {
        match item {
            Item::Line { series, .. } => {
                for run in series.runs() {
                    let step = (run.len() / 400).max(1);
                    for pair in run.iter().step_by(step).collect::<Vec<_>>().windows(2) {
                        let from = (panel.px(pair[0].0), panel.py(pair[0].1));
                        let to = (panel.px(pair[1].0), panel.py(pair[1].1));
                        let parts = ((to.0 - from.0).hypot(to.1 - from.1) / 7.0).ceil();
                        let parts = parts.clamp(1.0, 200.0) as usize;
                        busy.extend((0..parts).map(|i| {
                            let share = i as f64 / parts as f64;
                            (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1))
                        }));
                    }
                }
            }
            Item::Level { y, .. } => {
                let steps = (panel.area.width() / 7.0) as usize;
                busy.extend((0..steps).map(|i| (panel.area.x0 + 7.0 * i as f64, panel.py(*y))));
            }
            Item::Upright { x, .. } => {
                let steps = (panel.area.height() / 7.0) as usize;
                busy.extend((0..steps).map(|i| (panel.px(*x), panel.area.y0 + 7.0 * i as f64)));
            }
            Item::Points { points, .. } => {
                busy.extend(points.iter().map(|p| (panel.px(p.0), panel.py(p.1))));
            }
            Item::Note { at, .. } => busy.push((panel.px(at.0), panel.py(at.1))),
            Item::Bars { bars } => {
                for ([x0, x1, y0, y1], _) in bars {
                    let (left, right) = (panel.px(*x0), panel.px(*x1));
                    let (low, high) = (panel.py(*y0), panel.py(*y1));
                    let rows = ((low - high).abs() / 7.0) as usize;
                    for row in 0..rows {
                        busy.push(((left + right) / 2.0, high + 7.0 * row as f64));
                    }
                }
            }
            Item::Band { .. } | Item::Zone { .. } | Item::Bracket { .. } => {}
        }
    }
    // One point for every few units of the sheet is enough to keep clear of.
    let cell = |p: &(f64, f64)| ((p.0 / 6.0).round() as i64, (p.1 / 6.0).round() as i64);
    busy.sort_by_key(cell);
    busy.dedup_by_key(|p| cell(p));
    let mut lost = Vec::new();
    for item in &pane.items {
        if let Item::Level { y, label, .. } = item
            && !pane.shows(*y)
        {
            lost.push(format!("Outside the range shown: {label}, {}.", pane.y.value(*y)));
        }
    }
    for item in &pane.items {
        if let Item::Bracket { x, label, row, full } = item {
            let y = panel.area.y0 + 24.0 + 42.0 * *row as f64;
            bracket(sheet, panel, *x, y, *full, label, &mut busy);
        }
    }
    for item in &pane.items {
        if let Item::Note { at, label, look } = item {
            if !drawable(at.0) || !drawable(at.1) {
                lost.push(format!("{label}: has no finite place in this figure."));
                continue;
            }
            let within = (panel.x.0..=panel.x.1).contains(&at.0) && (panel.y.0..=panel.y.1).contains(&at.1);
            if !within {
                lost.push(format!("Outside the range shown: {label}, {}.", pane.y.value(at.1)));
                continue;
            }
            let point = (panel.px(at.0), panel.py(at.1));
            let lines = wrap(label, LABEL, false, panel.area.width() * 0.5, 4);
            let ground = Ground { inside: panel.area, busy: &busy };
            let pen = Pen::new(LABEL).colour(look.text).rim();
            if !place(sheet, &ground, point, &lines, pen, true) {
                lost.push(format!("Marked point: {label}"));
            }
        }
    }
    for item in &pane.items {
        if let Item::Zone { x, y, label: Some(label), tone } = item {
            let Some(area) = zone_area(panel, *x, *y) else {
                lost.push(format!("Outside the range shown: {label}"));
                continue;
            };
            let lines = wrap(label, LABEL, false, (area.width() - 10.0).max(40.0), 3);
            let ground = Ground { inside: area, busy: &busy };
            let pen = Pen::new(LABEL).colour(tone.line()).rim();
            // The emptier corner on the right: the label of a zone should not be squeezed between curves.
            let crowd = |y0: f64| {
                let box_ = Rect::new((area.x1 - 130.0).max(area.x0), y0, area.x1, y0 + 56.0);
                busy.iter().filter(|p| box_.contains(**p)).count()
            };
            let (top, foot) = (area.y0 + 6.0, area.y1 - 56.0);
            let corner = if foot > top && crowd(foot) < crowd(area.y0) { area.y1 - 8.0 } else { top };
            let corner = (area.x1 - 8.0, corner);
            if !place(sheet, &ground, corner, &lines, pen, false) {
                lost.push(format!("Shaded region: {label}"));
            }
        }
    }
    lost
}

fn bracket(
    sheet: &mut Sheet,
    panel: &Panel,
    x: (f64, f64),
    y: f64,
    full: bool,
    label: &str,
    busy: &mut Vec<(f64, f64)>,
) {
    if !drawable(x.0) || !drawable(x.1) {
        return;
    }
    let edge = |v: f64| panel.px(v.clamp(panel.x.0, panel.x.1));
    let (left, right) = (edge(x.0.min(x.1)), edge(x.0.max(x.1)));
    if full {
        let bar = Rect::new(left, y - 5.0, right, y + 5.0);
        sheet.rect(bar, &format!("fill=\"{}\"", COLOURS[0]));
    }
    sheet.path(
        &format!(
            "M{left:.1} {0:.1}V{1:.1}M{left:.1} {y:.1}H{right:.1}M{right:.1} {0:.1}V{1:.1}",
            y - 6.0,
            y + 6.0
        ),
        &format!("stroke=\"{INK}\" stroke-width=\"1.8\" fill=\"none\""),
    );
    let steps = ((right - left) / 7.0) as usize;
    busy.extend((0..=steps).map(|i| (left + 7.0 * i as f64, y)));
    let pen = Pen::new(LABEL).rim().middle();
    let lines = wrap(label, LABEL, false, panel.area.width() - 8.0, 1);
    for line in &lines {
        let half = text_width(line, LABEL, false) / 2.0;
        let centre = ((left + right) / 2.0)
            .clamp(panel.area.x0 + half + 3.0, (panel.area.x1 - half - 3.0).max(panel.area.x0 + half + 3.0));
        sheet.plate(centre, y - 8.0, pen, line);
    }
}
