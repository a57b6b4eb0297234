//! A quantity over two axes: headroom over rpm and boost.

use super::contour::contour;
use super::data::Axis;
use super::figure::{Chart, Figure};
use super::panel::{Panel, rgb, wide};
use super::scale::{alike, drawable, extent, opened, printed, ticks};
use super::sheet::{Pen, Rect, Sheet};
use super::stack::{fitting, heading};
use super::style::*;
use super::table::{Cell, Table};
use plotters::prelude::*;
use std::borrow::Borrow;

/// A map: coloured cells, printed values, and lines of equal value.
///
/// Each cell surrounds its node and reaches half way to the next. Colour is even to the eye
/// ([`ramp`]), rises in lightness with the value, and is never needed: values are printed in the cells
/// (every second, third ... when cells are small) and lines of equal value carry dashes and a key.
/// A node without a finite value stays white and empty.
#[derive(Clone, Debug)]
pub struct Map {
    title: String,
    subtitle: String,
    x: Axis,
    y: Axis,
    z: Axis,
    columns: Vec<f64>,
    rows: Vec<f64>,
    values: Vec<Vec<f64>>,
    levels: Vec<(f64, String)>,
    range: Option<(f64, f64)>,
    notes: Vec<String>,
}

impl Map {
    /// A map of `values[row][column]` over `columns` (x) and `rows` (y), both rising. Any table will do:
    /// vectors of vectors, or the rows of a two-dimensional array.
    ///
    /// Rows that are too short are filled with gaps, and axes that do not rise are sorted with their
    /// values; a note says so.
    pub fn new<C, R, V>(title: &str, x: (Axis, C), y: (Axis, R), z: Axis, values: V) -> Map
    where
        C: IntoIterator,
        C::Item: Borrow<f64>,
        R: IntoIterator,
        R::Item: Borrow<f64>,
        V: IntoIterator,
        V::Item: IntoIterator,
        <V::Item as IntoIterator>::Item: Borrow<f64>,
    {
        let mut notes = Vec::new();
        let columns: Vec<f64> = x.1.into_iter().map(|v| *v.borrow()).collect();
        let rows: Vec<f64> = y.1.into_iter().map(|v| *v.borrow()).collect();
        let mut values: Vec<Vec<f64>> =
            values.into_iter().map(|row| row.into_iter().map(|v| *v.borrow()).collect()).collect();
        if values.len() != rows.len() || values.iter().any(|row| row.len() != columns.len()) {
            notes.push(format!(
                "The table of values is not {} rows of {}: what is missing shows as empty cells.",
                rows.len(),
                columns.len()
            ));
        }
        values.resize(rows.len(), Vec::new());
        for row in &mut values {
            row.resize(columns.len(), f64::NAN);
        }
        let order = |axis: &[f64]| {
            let mut order: Vec<usize> = (0..axis.len()).filter(|i| drawable(axis[*i])).collect();
            order.sort_by(|a, b| axis[*a].total_cmp(&axis[*b]));
            order.dedup_by(|a, b| axis[*a] == axis[*b]);
            order
        };
        let (by_column, by_row) = (order(&columns), order(&rows));
        if !by_column.iter().copied().eq(0..columns.len()) || !by_row.iter().copied().eq(0..rows.len()) {
            notes.push(String::from(
                "An axis did not rise, or held equal or non-finite places: it was sorted, and those left out.",
            ));
        }
        Map {
            title: title.to_string(),
            subtitle: String::new(),
            x: x.0,
            y: y.0,
            z,
            values: by_row.iter().map(|r| by_column.iter().map(|c| values[*r][*c]).collect()).collect(),
            columns: by_column.iter().map(|c| columns[*c]).collect(),
            rows: by_row.iter().map(|r| rows[*r]).collect(),
            levels: Vec::new(),
            range: None,
            notes,
        }
    }

    /// One sentence below the title.
    pub fn subtitle(mut self, text: &str) -> Map {
        self.subtitle = text.to_string();
        self
    }

    /// A line of equal value, with its name in the key.
    pub fn contour(mut self, level: f64, label: &str) -> Map {
        self.levels.push((level, label.to_string()));
        self
    }

    /// Fixes the range of the colour scale.
    pub fn colour_range(mut self, low: f64, high: f64) -> Map {
        self.range = Some((low, high));
        self
    }

    fn colours(&self) -> (f64, f64) {
        self.range
            .filter(|(low, high)| drawable(*low) && drawable(*high) && low < high)
            .unwrap_or_else(|| opened(extent(self.values.iter().flatten().copied())))
    }

    fn described(&self) -> String {
        let mut parts = vec![format!(
            "Map of {} over {} and {}, {} by {} nodes.",
            self.z.title(),
            self.x.title(),
            self.y.title(),
            self.columns.len(),
            self.rows.len()
        )];
        let nodes = || {
            self.values.iter().enumerate().flat_map(|(r, row)| {
                row.iter().enumerate().filter(|(_, v)| drawable(**v)).map(move |(c, v)| (*v, c, r))
            })
        };
        let place = |(v, c, r): (f64, usize, usize)| {
            format!(
                "{} at {}, {}",
                self.z.value(v),
                self.x.value(self.columns[c]),
                self.y.value(self.rows[r])
            )
        };
        if let (Some(low), Some(high)) =
            (nodes().min_by(|a, b| a.0.total_cmp(&b.0)), nodes().max_by(|a, b| a.0.total_cmp(&b.0)))
        {
            parts.push(format!("Lowest {}; highest {}.", place(low), place(high)));
        }
        for (level, label) in &self.levels {
            let below = nodes().filter(|n| n.0 < *level).count();
            parts.push(format!(
                "{below} of {} nodes lie below {} ({label}).",
                nodes().count(),
                self.z.value(*level)
            ));
        }
        parts.join(" ")
    }
}

/// Cell edges: half way between nodes, and as far again at the ends.
fn edges(nodes: &[f64]) -> Vec<f64> {
    match nodes {
        [] => vec![0.0, 1.0],
        [only] => {
            let (low, high) = opened(Some((*only, *only)));
            vec![low, high]
        }
        [first, second, ..] => {
            let mut edges = vec![first - (second - first) / 2.0];
            edges.extend(nodes.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0));
            let last = nodes.len() - 1;
            edges.push(nodes[last] + (nodes[last] - nodes[last - 1]) / 2.0);
            edges
        }
    }
}

impl Chart for Map {
    fn figure(&self) -> Figure {
        let description = self.described();
        let mut table = Table::new(
            [format!("{} \\ {}", self.y.title(), self.x.title())]
                .into_iter()
                .chain(self.columns.iter().map(|c| printed(*c, 5))),
        );
        for (row, values) in self.rows.iter().zip(&self.values) {
            table.row(std::iter::once(Cell::Number(*row)).chain(values.iter().map(|v| Cell::Number(*v))));
        }
        Figure {
            title: self.title.clone(),
            picture: self.picture(&description),
            description,
            table,
            notes: self.notes.clone(),
        }
    }
}

impl Map {
    fn picture(&self, description: &str) -> String {
        let mut sheet = Sheet::new(WIDTH);
        let mut y = heading(&mut sheet, &self.title, &self.subtitle) + 6.0;
        let (ex, ey) = (edges(&self.columns), edges(&self.rows));
        let xr = (ex[0], ex[ex.len() - 1]);
        let yr = (ey[0], ey[ey.len() - 1]);
        let zr = self.colours();
        let yt = ticks(yr.0, yr.1, 7);
        let zt = ticks(zr.0, zr.1, 6);
        let side = |labels: &[String]| labels.iter().map(|l| text_width(l, TICK, false)).fold(0.0, f64::max);
        let left = side(&yt.labels) + 20.0;
        let right = 14.0 + 20.0 + 10.0 + side(&zt.labels) + 10.0;
        let mut used = 0.0;
        for line in self.y.lines(yt.power, LABEL, WIDTH - 24.0, 2) {
            y += LABEL * LEADING;
            used = text_width(&line, LABEL, false);
            sheet.text(12.0, y, Pen::new(LABEL), &line);
        }
        let colour = Axis::new(format!("colour: {}", self.z.name), self.z.unit.clone());
        let lines = colour.lines(zt.power, LABEL, WIDTH - 24.0, 2);
        if let [only] = &lines[..]
            && used + text_width(only, LABEL, false) + 50.0 < WIDTH
        {
            // Both titles fit on one line.
            y -= LABEL * LEADING;
        }
        for line in lines {
            y += LABEL * LEADING;
            sheet.text(WIDTH - 10.0, y, Pen::new(LABEL).end(), &line);
        }
        y += 12.0;
        let panel = Panel { area: Rect::new(left, y, WIDTH - right, y + 330.0), x: xr, y: yr };
        let area = panel.area;
        let share = |v: f64| (v - zr.0) / (zr.1 - zr.0);
        sheet.raw(&panel.paint(&[], true, |canvas| {
            for (r, row) in self.values.iter().enumerate() {
                for (c, value) in row.iter().enumerate() {
                    if !drawable(*value) {
                        continue;
                    }
                    let (red, green, blue) = ramp(share(*value));
                    let corners = [(ex[c], ey[r]), (ex[c + 1], ey[r + 1])];
                    canvas.draw_series([Rectangle::new(corners, RGBColor(red, green, blue).filled())])?;
                }
            }
            Ok(())
        }));
        let mut lines = Vec::new();
        for (number, (level, label)) in self.levels.iter().enumerate() {
            if !drawable(*level) {
                continue;
            }
            let found = contour(&self.columns, &self.rows, &self.values, *level);
            let look = |colour, width| Look {
                colour,
                text: INK,
                dash: DASHES[number % DASHES.len()],
                marker: Marker::Disc,
                width,
            };
            let casing = Look { dash: &[], ..look(PAPER, 4.6) };
            sheet.raw(&panel.lines(&found, casing, true));
            sheet.raw(&panel.lines(&found, look(INK, 2.2), true));
            lines.push((look(INK, 2.2), *level, label.clone(), found));
        }
        // Values: as many as fit without touching.
        let largest =
            self.values.iter().flatten().filter(|v| drawable(**v)).fold(0.0, |a: f64, v| a.max(v.abs()));
        let size = 12.5;
        let texts: Vec<Vec<String>> = self
            .values
            .iter()
            .map(|row| {
                row.iter().map(|v| if drawable(*v) { short(*v, largest) } else { String::new() }).collect()
            })
            .collect();
        let widest = texts.iter().flatten().map(|t| text_width(t, size, false)).fold(1.0, f64::max);
        let cell = (
            (1..ex.len()).map(|i| panel.px(ex[i]) - panel.px(ex[i - 1])).fold(f64::INFINITY, f64::min),
            (1..ey.len()).map(|i| panel.py(ey[i - 1]) - panel.py(ey[i])).fold(f64::INFINITY, f64::min),
        );
        let stride = (
            ((widest + 6.0) / cell.0.max(1e-9)).ceil().max(1.0) as usize,
            ((size * 1.3) / cell.1.max(1e-9)).ceil().max(1.0) as usize,
        );
        let strokes: Vec<(f64, f64)> = lines
            .iter()
            .flat_map(|(_, _, _, found)| found.iter())
            .flat_map(|run| run.windows(2))
            .flat_map(|pair| {
                let from = (panel.px(pair[0].0), panel.py(pair[0].1));
                let to = (panel.px(pair[1].0), panel.py(pair[1].1));
                let parts = ((to.0 - from.0).hypot(to.1 - from.1) / 3.0).ceil().clamp(1.0, 200.0) as usize;
                (0..=parts).map(move |i| {
                    let share = i as f64 / parts as f64;
                    (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1))
                })
            })
            .collect();
        for r in (0..self.rows.len()).step_by(stride.1) {
            for c in (0..self.columns.len()).step_by(stride.0) {
                let value = self.values[r][c];
                if !drawable(value) {
                    continue;
                }
                let x = (panel.px(ex[c]) + panel.px(ex[c + 1])) / 2.0;
                let y = (panel.py(ey[r]) + panel.py(ey[r + 1])) / 2.0 + 0.36 * size;
                let pen = Pen::new(size).middle().colour(ink_on(share(value))).rim_of(ramp(share(value)));
                // Off the lines: a figure with a line through it is two figures badly read.
                let step = 0.3 * cell.1;
                let crossed = |y: f64| {
                    let frame = pen.frame(x, y, &texts[r][c]).grown(1.5);
                    strokes.iter().filter(|p| frame.contains(**p)).count()
                };
                let y = [y, y - step, y + step].into_iter().min_by_key(|y| crossed(*y)).unwrap_or(y);
                let frame = pen.frame(x, y, &texts[r][c]);
                if area.grown(4.0).holds(&frame) {
                    sheet.text(x, y, pen, &texts[r][c]);
                }
            }
        }
        // Names on the lines where there is room; the key below has all of them.
        for (_, level, _, found) in &lines {
            // With its unit, so that it is not taken for the value of a cell.
            let text = Axis::new("", self.z.unit.clone()).value(*level);
            let pen = Pen::new(size).bold().middle().rim();
            let spot = found.iter().flatten().map(|(x, y)| (panel.px(*x), panel.py(*y) + 0.36 * size)).find(
                |(x, y)| {
                    let frame = pen.frame(*x, *y, &text).grown(3.0);
                    area.holds(&frame) && !sheet.taken.iter().any(|t| t.meets(&frame))
                },
            );
            if let Some((x, y)) = spot {
                sheet.text(x, y, pen, &text);
            }
        }
        let xt = fitting(xr, (area.x0, area.x1));
        sheet.line((area.x0, area.y0), (area.x0, area.y1), INK, 1.2, &[]);
        sheet.line((area.x0, area.y1), (area.x1, area.y1), INK, 1.2, &[]);
        for (at, label) in xt.at.iter().zip(&xt.labels) {
            let x = panel.px(*at);
            let half = text_width(label, TICK, false) / 2.0;
            sheet.line((x, area.y1), (x, area.y1 + 5.0), INK, 1.0, &[]);
            let text_x = x.clamp(half + 4.0, WIDTH - half - 4.0);
            sheet.text(text_x, area.y1 + 20.0, Pen::new(TICK).middle().colour(SOFT), label);
        }
        for (at, label) in yt.at.iter().zip(&yt.labels) {
            let y = panel.py(*at);
            sheet.line((area.x0 - 5.0, y), (area.x0, y), INK, 1.0, &[]);
            sheet.text(area.x0 - 8.0, y + 0.36 * TICK, Pen::new(TICK).end().colour(SOFT), label);
        }
        // Colour scale.
        let bar =
            Panel { area: Rect::new(area.x1 + 14.0, area.y0, area.x1 + 34.0, area.y1), x: (0.0, 1.0), y: zr };
        sheet.raw(&bar.paint(&[], true, |canvas| {
            let slices = 64;
            for i in 0..slices {
                let at = |i: i32| zr.0 + (zr.1 - zr.0) * f64::from(i) / f64::from(slices);
                let (r, g, b) = ramp((f64::from(i) + 0.5) / f64::from(slices));
                // Up to the top: slices laid edge to edge show seams.
                let corners = [(0.0, at(i)), (1.0, zr.1)];
                canvas.draw_series([Rectangle::new(corners, RGBColor(r, g, b).filled())])?;
            }
            for (look, level, ..) in &lines {
                let style = rgb(look.colour).stroke_width(wide(2.0));
                canvas.draw_series(LineSeries::new([(0.0, *level), (1.0, *level)], style))?;
            }
            Ok(())
        }));
        for (at, label) in zt.at.iter().zip(&zt.labels) {
            let y = bar.py(*at);
            sheet.line((bar.area.x1, y), (bar.area.x1 + 5.0, y), INK, 1.0, &[]);
            sheet.text(bar.area.x1 + 9.0, y + 0.36 * TICK, Pen::new(TICK).colour(SOFT), label);
        }
        let mut y = area.y1 + 24.0;
        let centre = (area.x0 + area.x1) / 2.0;
        for line in self.x.lines(xt.power, LABEL, area.width(), 2) {
            y += LABEL * LEADING;
            sheet.text(centre, y, Pen::new(LABEL).middle(), &line);
        }
        y += 8.0;
        for (look, level, label, found) in &lines {
            y += LABEL * LEADING + 2.0;
            sheet.line((12.0, y - 5.0), (46.0, y - 5.0), look.colour, look.width, look.dash);
            let absent = if found.is_empty() { " (nowhere on this map)" } else { "" };
            let value = self.z.value(*level);
            let text = if *label == value {
                format!("{value}{absent}")
            } else {
                format!("{value}: {label}{absent}")
            };
            for (number, line) in wrap(&text, LABEL, false, WIDTH - 66.0, 2).iter().enumerate() {
                y += if number > 0 { LABEL * LEADING } else { 0.0 };
                sheet.text(54.0, y, Pen::new(LABEL), line);
            }
        }
        sheet.finish(y + 12.0, &self.title, description)
    }
}

/// A value for a cell: whole numbers where three figures need no decimals, else few decimals.
fn short(value: f64, largest: f64) -> String {
    if (10.0..1e4).contains(&largest) {
        let rounded = value.round();
        return printed(if rounded == 0.0 { 0.0 } else { rounded }, 4);
    }
    if (1e-2..1e4).contains(&largest) { alike(value, largest) } else { printed(value, 2) }
}
