//! One coordinate system on the sheet, painted by `plotters`.

use super::sheet::{Rect, c};
use super::style::{Colour, Look, Marker};
use plotters::chart::ChartContext;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

/// What `plotters` draws into.
pub(crate) type Canvas<'a, 'b> =
    ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// `plotters` rounds to whole pixels: paint this much larger, and let the viewer scale it back.
const FINE: f64 = 10.0;

/// A rectangle of the sheet with its ranges.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Panel {
    pub(crate) area: Rect,
    pub(crate) x: (f64, f64),
    pub(crate) y: (f64, f64),
}

/// Outline of a marker around (0, 0), in units of the figure.
pub(crate) fn outline(marker: Marker) -> Vec<(f64, f64)> {
    let turned = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        let s = std::f64::consts::FRAC_1_SQRT_2;
        points.iter().map(|(x, y)| (s * (x - y), s * (x + y))).collect()
    };
    let (a, b) = (1.5, 5.4);
    let plus = [
        (-a, -b),
        (a, -b),
        (a, -a),
        (b, -a),
        (b, a),
        (a, a),
        (a, b),
        (-a, b),
        (-a, a),
        (-b, a),
        (-b, -a),
        (-a, -a),
    ];
    match marker {
        Marker::Disc => (0..20)
            .map(|i| {
                let turn = std::f64::consts::TAU * f64::from(i) / 20.0;
                (4.4 * turn.cos(), 4.4 * turn.sin())
            })
            .collect(),
        Marker::Square => vec![(-4.0, -4.0), (4.0, -4.0), (4.0, 4.0), (-4.0, 4.0)],
        Marker::Diamond => vec![(0.0, -5.8), (5.8, 0.0), (0.0, 5.8), (-5.8, 0.0)],
        Marker::Triangle => vec![(0.0, -5.6), (5.2, 3.8), (-5.2, 3.8)],
        Marker::Wedge => vec![(0.0, 5.6), (5.2, -3.8), (-5.2, -3.8)],
        Marker::Plus => plus.to_vec(),
        Marker::Saltire => turned(&plus),
    }
}

/// A colour for `plotters`.
pub(crate) fn rgb(colour: Colour) -> RGBColor {
    let part = |at: usize| u8::from_str_radix(colour.get(at..at + 2).unwrap_or("00"), 16);
    RGBColor(part(1).unwrap_or(0), part(3).unwrap_or(0), part(5).unwrap_or(0))
}

/// A width for `plotters`.
pub(crate) fn wide(width: f64) -> u32 {
    (width * FINE).round() as u32
}

impl Panel {
    /// Place of an abscissa on the sheet.
    pub(crate) fn px(&self, x: f64) -> f64 {
        self.area.x0 + (x - self.x.0) / (self.x.1 - self.x.0) * self.area.width()
    }

    /// Place of an ordinate on the sheet.
    pub(crate) fn py(&self, y: f64) -> f64 {
        self.area.y1 - (y - self.y.0) / (self.y.1 - self.y.0) * self.area.height()
    }

    /// Paints with `plotters`; what leaves the panel is cut off. `dash` applies to every stroke.
    pub(crate) fn paint(
        &self,
        dash: &[u8],
        clip: bool,
        draw: impl FnOnce(&mut Canvas<'_, '_>) -> Result<(), Box<dyn std::error::Error>>,
    ) -> String {
        let size = ((self.area.width() * FINE).round() as u32, (self.area.height() * FINE).round() as u32);
        let mut buffer = String::new();
        {
            let root = SVGBackend::with_string(&mut buffer, size).into_drawing_area();
            let painted = ChartBuilder::on(&root)
                .build_cartesian_2d(self.x.0..self.x.1, self.y.0..self.y.1)
                .map_err(Box::from)
                .and_then(|mut canvas| draw(&mut canvas));
            // Writing into a string cannot fail, and every shape used here is supported by the backend.
            debug_assert!(painted.is_ok(), "{painted:?}");
            let _ = root.present();
        }
        let inner = buffer.split_once('\n').map_or("", |(_, rest)| rest).replace(" opacity=\"1\"", "");
        let inner = inner.trim_end().trim_end_matches("</svg>");
        let dash: Vec<String> = dash.iter().map(|part| c(f64::from(*part) * FINE)).collect();
        let dash =
            if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", dash.join(" ")) };
        format!(
            "<svg x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {} {}\" \
             overflow=\"{}\"><g stroke-linejoin=\"round\"{dash}>\n{inner}</g></svg>\n",
            c(self.area.x0),
            c(self.area.y0),
            c(self.area.width()),
            c(self.area.height()),
            size.0,
            size.1,
            if clip { "hidden" } else { "visible" },
        )
    }

    /// Polylines of a series.
    pub(crate) fn lines(&self, runs: &[Vec<(f64, f64)>], look: Look, clip: bool) -> String {
        self.paint(look.dash, clip, |canvas| {
            let style = rgb(look.colour).stroke_width(wide(look.width));
            for run in runs {
                canvas.draw_series(LineSeries::new(self.thinned(run), style))?;
            }
            Ok(())
        })
    }

    /// Markers at points; those outside the ranges are left out, those on an edge are whole.
    pub(crate) fn markers(&self, points: &[(f64, f64)], look: Look, scale: f64) -> String {
        let shape: Vec<(i32, i32)> = outline(look.marker)
            .iter()
            .map(|(x, y)| ((x * FINE * scale).round() as i32, (y * FINE * scale).round() as i32))
            .collect();
        let within =
            |at: &(f64, f64)| (self.x.0..=self.x.1).contains(&at.0) && (self.y.0..=self.y.1).contains(&at.1);
        self.paint(&[], false, |canvas| {
            canvas.draw_series(
                points
                    .iter()
                    .filter(|at| within(at))
                    .map(|&at| EmptyElement::at(at) + Polygon::new(shape.clone(), rgb(look.colour).filled())),
            )?;
            Ok(())
        })
    }

    /// A long run keeps first, lowest, highest and last point of every fine column, and of those only what
    /// bends the line visibly: the drawing stays the same, the file does not grow with the data.
    fn thinned(&self, run: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let columns = self.area.width();
        let column = |x: f64| ((x - self.x.0) / (self.x.1 - self.x.0) * columns).floor() as i64;
        let mut kept = Vec::new();
        for chunk in run.chunk_by(|a, b| column(a.0) == column(b.0)) {
            let mut picks = vec![0, chunk.len() - 1];
            let by = |a: &usize, b: &usize| chunk[*a].1.total_cmp(&chunk[*b].1);
            picks.extend((0..chunk.len()).min_by(by));
            picks.extend((0..chunk.len()).max_by(by));
            picks.sort_unstable();
            picks.dedup();
            kept.extend(picks.into_iter().map(|i| chunk[i]));
        }
        let drawn: Vec<(f64, f64)> = kept.iter().map(|p| (self.px(p.0), self.py(p.1))).collect();
        bends(&drawn).into_iter().map(|i| kept[i]).collect()
    }
}

/// The points that a line needs: every one left out lies within a twelfth of a unit of the line drawn.
/// Source: Douglas and Peucker 1973.
fn bends(points: &[(f64, f64)]) -> Vec<usize> {
    const WITHIN: f64 = 0.08;
    let last = points.len().saturating_sub(1);
    let mut kept = vec![false; points.len()];
    for end in [0, last] {
        if let Some(end) = kept.get_mut(end) {
            *end = true;
        }
    }
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let (a, b) = (points[from], points[to]);
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let length = dx.hypot(dy);
        let off = |p: (f64, f64)| {
            if length == 0.0 {
                (p.0 - a.0).hypot(p.1 - a.1)
            } else {
                // Beyond the ends the distance to the end counts: a line may turn back.
                let along = (((p.0 - a.0) * dx + (p.1 - a.1) * dy) / (length * length)).clamp(0.0, 1.0);
                (p.0 - a.0 - along * dx).hypot(p.1 - a.1 - along * dy)
            }
        };
        let far = (from + 1..to).max_by(|i, j| off(points[*i]).total_cmp(&off(points[*j])));
        if let Some(far) = far
            && off(points[far]) > WITHIN
        {
            kept[far] = true;
            open.push((from, far));
            open.push((far, to));
        }
    }
    (0..points.len()).filter(|i| kept[*i]).collect()
}
