//! The friction law as a table: the same law, a tenth of the cost.

use crate::part::cubic_table::cubic;
use crate::part::line::friction_factor_churchill_with_slope;

/// Cells an octave of Reynolds number.
const PER_OCTAVE: u32 = 64;
/// First Reynolds number of the table, 2^9: below, the turbulent term adds less than 1e-22 of the laminar one.
const FIRST: f64 = 512.0;
const OCTAVES: u32 = 15;
/// Bits of a double below the cell number.
const SHIFT: u32 = 52 - PER_OCTAVE.trailing_zeros();

/// `f Re` over the Reynolds number for one relative roughness, by cubics with Churchill's value and slope at both
/// ends of each cell.
///
/// # Formula
/// `f Re = c_0 + c_1 s + c_2 s² + c_3 s³`, `s` the fraction of the cell; 64 cells an octave
///
/// # Symbols
/// `f` Darcy friction factor; `Re` Reynolds number.
///
/// # Valid range
/// `0 <= Re < 2^24`; below 512 the flow is laminar, `f Re` = 64; above, the last cell is extrapolated. Departs from
/// Churchill by less than 2e-6 of itself.
///
/// # Source
/// S. W. Churchill, Chem. Eng. 84 (1977) 91, tabulated here.
#[derive(Clone, Debug, PartialEq)]
pub struct FrictionTable {
    relative_roughness: f64,
    cells: Vec<[f64; 4]>,
}

impl FrictionTable {
    /// Tabulates the law for a relative roughness.
    #[must_use]
    pub fn new(relative_roughness: f64) -> Self {
        let n = OCTAVES * PER_OCTAVE;
        let at = |k: u32| {
            let octave = k / PER_OCTAVE;
            let step = f64::from(k % PER_OCTAVE) / f64::from(PER_OCTAVE);
            FIRST * f64::from(octave).exp2() * (1.0 + step)
        };
        let law = |re: f64| {
            let (f, slope) = friction_factor_churchill_with_slope(re, relative_roughness);
            (f * re, f + re * slope)
        };
        let mut cells = vec![[64.0, 0.0, 0.0, 0.0]];
        let (mut a, mut left) = (at(0), law(at(0)));
        for k in 1..=n {
            let b = at(k);
            let right = law(b);
            let per_cell = |(y, slope): (f64, f64)| (y, slope * (b - a));
            cells.push(cubic(per_cell(left), per_cell(right)));
            (a, left) = (b, right);
        }
        Self { relative_roughness, cells }
    }

    /// The relative roughness it was made for.
    #[must_use]
    pub fn relative_roughness(&self) -> f64 {
        self.relative_roughness
    }

    /// `f Re` at a Reynolds number not below zero.
    #[must_use]
    #[inline]
    pub fn f_re(&self, re: f64) -> f64 {
        let (within, [c0, c1, c2, c3]) = self.cell(re);
        c0 + within * (c1 + within * (c2 + within * c3))
    }

    /// `f Re` and `Re d(f Re)/dRe`.
    #[must_use]
    pub fn f_re_with_slope(&self, re: f64) -> (f64, f64) {
        let (within, [c0, c1, c2, c3]) = self.cell(re);
        // Cells of an octave that begins at 2^k are 2^k/64 wide.
        let octave = f64::from_bits(re.to_bits() & (0x7ff << 52)).max(f64::MIN_POSITIVE);
        let per_cell = re / octave * f64::from(PER_OCTAVE);
        let slope = c1 + within * (2.0 * c2 + within * 3.0 * c3);
        (c0 + within * (c1 + within * (c2 + within * c3)), slope * per_cell)
    }

    /// The cell of a Reynolds number and how far within it: the leading bits of a double are its octave and the step
    /// within that, so no logarithm is needed.
    #[inline]
    fn cell(&self, re: f64) -> (f64, [f64; 4]) {
        let first = FIRST.to_bits() >> SHIFT;
        let bits = re.to_bits();
        let cell = ((bits >> SHIFT) + 1).saturating_sub(first) as usize;
        let cell = cell.min(self.cells.len() - 1);
        let within = f64::from_bits((bits & ((1 << SHIFT) - 1)) << (52 - SHIFT) | (1023 << 52)) - 1.0;
        (within, self.cells[cell])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::line::friction_factor_churchill;

    #[test]
    fn it_departs_from_churchill_by_less_than_2e_6() {
        for roughness in [0.0, 1.7e-4, 5e-3] {
            let table = FrictionTable::new(roughness);
            let mut re = 0.5;
            while re < 1.5e7 {
                let exact = friction_factor_churchill(re, roughness) * re;
                assert!((table.f_re(re) / exact - 1.0).abs() < 2e-6, "{roughness} {re}");
                re *= 1.0007;
            }
            assert_eq!(table.f_re(0.0), 64.0);
        }
    }
}
