//! A smooth law as a table, where the hot loop cannot pay for its powers and roots.

/// A function of one variable by cubics that meet its value and slope at both ends of even cells.
///
/// # Formula
/// `y = c_0 + c_1 s + c_2 s² + c_3 s³`, `s` the fraction of the cell
///
/// # Symbols
/// `s` dimensionless; `c` in the unit of `y`.
///
/// # Valid range
/// From the first to the last node; outside, the cell at that end is carried on. The error within a cell of width `h` is at
/// most `h⁴/384` times the fourth derivative.
///
/// # Source
/// Hermite interpolation, any textbook of numerical analysis.
#[derive(Clone, Debug, PartialEq)]
pub struct CubicTable {
    from: f64,
    per_cell: f64,
    cells: Vec<[f64; 4]>,
}

impl CubicTable {
    /// Tabulates a law, given as value and slope, over `cells` even cells.
    #[must_use]
    pub fn new(from: f64, to: f64, cells: usize, law: impl Fn(f64) -> (f64, f64)) -> Self {
        let width = (to - from) / cells as f64;
        let nodes: Vec<(f64, f64)> = (0..=cells)
            .map(|k| law(if k == cells { to } else { from + width * k as f64 }))
            .map(|(y, slope)| (y, slope * width))
            .collect();
        let cells = nodes.windows(2).map(|w| cubic(w[0], w[1])).collect();
        Self { from, per_cell: 1.0 / width, cells }
    }

    /// Value at a place.
    #[must_use]
    #[inline]
    pub fn at(&self, x: f64) -> f64 {
        let (s, [c0, c1, c2, c3]) = self.cell(x);
        c0 + s * (c1 + s * (c2 + s * c3))
    }

    /// Value and slope at a place.
    #[must_use]
    #[inline]
    pub fn with_slope(&self, x: f64) -> (f64, f64) {
        let (s, [c0, c1, c2, c3]) = self.cell(x);
        let slope = c1 + s * (2.0 * c2 + s * 3.0 * c3);
        (c0 + s * (c1 + s * (c2 + s * c3)), slope * self.per_cell)
    }

    #[inline]
    fn cell(&self, x: f64) -> (f64, [f64; 4]) {
        let along = (x - self.from) * self.per_cell;
        let k = (along as usize).min(self.cells.len() - 1);
        (along - k as f64, self.cells[k])
    }
}

/// Coefficients of the cubic over the fraction of a cell that meets value and slope, per cell, at both ends of it.
#[must_use]
pub fn cubic((ya, sa): (f64, f64), (yb, sb): (f64, f64)) -> [f64; 4] {
    [ya, sa, 3.0 * (yb - ya) - 2.0 * sa - sb, 2.0 * (ya - yb) + sa + sb]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_meets_the_law_within_its_bound() {
        let table = CubicTable::new(1.0, 3.0, 20, |x| (x.sin(), x.cos()));
        // The slope's own bound is h³ √3/216 times the fourth derivative.
        let (bound, steep) = (0.1f64.powi(4) / 384.0, 0.1f64.powi(3) * 3f64.sqrt() / 216.0);
        for k in 0..=1000 {
            let x = 1.0 + 0.002 * f64::from(k);
            let (y, slope) = table.with_slope(x);
            assert!((y - x.sin()).abs() <= bound && table.at(x) == y, "{x}");
            assert!((slope - x.cos()).abs() <= steep, "{x}");
        }
    }
}
