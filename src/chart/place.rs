//! Finds a free place for a label near the thing it names.

use super::sheet::{Pen, Rect, Sheet};
use super::style::{ASCENT, LEADING, SOFT, text_width};

/// Where a label may go and what it should keep clear of.
pub(crate) struct Ground<'a> {
    /// The label stays inside.
    pub(crate) inside: Rect,
    /// Points of curves and markers.
    pub(crate) busy: &'a [(f64, f64)],
}

/// Writes `lines` near `at` without covering other text, and as few curve points as possible. A thin
/// leader joins them when they stand apart. False when there is no room at all.
pub(crate) fn place(
    sheet: &mut Sheet,
    ground: &Ground<'_>,
    at: (f64, f64),
    lines: &[String],
    pen: Pen,
    leader: bool,
) -> bool {
    let width = lines.iter().map(|line| text_width(line, pen.size, pen.bold)).fold(0.0, f64::max);
    let height = pen.size * (LEADING * (lines.len() as f64 - 1.0) + 1.02);
    let mut candidates = Vec::new();
    for reach in [9.0, 16.0, 26.0, 40.0, 58.0, 80.0] {
        for (dx, dy) in [
            (1.0, -0.7),
            (-1.0, -0.7),
            (1.0, 0.7),
            (-1.0, 0.7),
            (0.0, -1.0),
            (0.0, 1.0),
            (1.0, 0.0),
            (-1.0, 0.0),
        ] {
            let x = at.0
                + dx * reach
                + match dx {
                    d if d > 0.0 => 0.0,
                    d if d < 0.0 => -width,
                    _ => -width / 2.0,
                };
            let y = at.1
                + dy * reach
                + match dy {
                    d if d > 0.0 => 0.0,
                    d if d < 0.0 => -height,
                    _ => -height / 2.0,
                };
            candidates.push((reach * 0.25, x, y));
        }
    }
    let (across, down) = (24, 16);
    for i in 0..=across {
        for j in 0..=down {
            let free = (ground.inside.width() - width - 4.0, ground.inside.height() - height - 4.0);
            let x = ground.inside.x0 + 2.0 + free.0 * f64::from(i) / f64::from(across);
            let y = ground.inside.y0 + 2.0 + free.1 * f64::from(j) / f64::from(down);
            let far = (x + width / 2.0 - at.0).hypot(y + height / 2.0 - at.1);
            candidates.push((25.0 + far * 0.25, x, y));
        }
    }
    let mut best: Option<(f64, Rect)> = None;
    for (cost, x, y) in candidates {
        let area = Rect::new(x, y, x + width, y + height);
        let roomy = area.grown(3.0);
        if !ground.inside.holds(&area) || sheet.taken.iter().any(|text| text.meets(&roomy)) {
            continue;
        }
        let covered = ground.busy.iter().filter(|point| roomy.contains(**point)).count();
        // A label that hangs right under a curve reads as the curve's: a little air is worth a little distance.
        let wide = area.grown(9.0);
        let close = ground.busy.iter().filter(|point| wide.contains(**point)).count() - covered;
        let cost = cost + 9.0 * covered.min(12) as f64 + 1.2 * close.min(12) as f64;
        if best.is_none_or(|(least, _)| cost < least) {
            best = Some((cost, area));
        }
    }
    let Some((_, area)) = best else {
        return false;
    };
    if leader {
        let near = (at.0.clamp(area.x0, area.x1), at.1.clamp(area.y0, area.y1));
        if (near.0 - at.0).hypot(near.1 - at.1) > 15.0 {
            sheet.line(at, near, SOFT, 0.9, &[]);
        }
    }
    for (number, line) in lines.iter().enumerate() {
        let y = area.y0 + pen.size * (ASCENT + LEADING * number as f64);
        sheet.text(area.x0, y, pen, line);
    }
    true
}
