//! Check valve: opens at its cracking pressure, passes nothing backwards.

use super::orifice;

/// Slope of a shut check valve, Pa·s/m³.
///
/// It stands for "no reverse flow" in a form that keeps the network's equations regular: 4 bar backwards
/// leak 4e-11 m³/s (0.14 cm³/h), below the solver's own tolerance of 1e-10 m³/s, while the matrix still
/// resolves it beside a line's 1e7 Pa·s/m³.
pub const CLOSED_SLOPE: f64 = 1e16;

/// A check valve as the solvers see it, in SI units.
///
/// # Formula
/// `Q > 0`: `Δp = p_c + ρQ²/(2 (C_d A)²)`; `Q < 0`: `Δp = p_c + S Q` with `S` = [`CLOSED_SLOPE`]
///
/// # Symbols
/// `p_c` cracking pressure, Pa; `C_d A` open area times discharge coefficient, m²; `ρ` density, kg/m³.
///
/// # Valid range
/// `p_c ≥ 0`, `C_d A > 0`. The lift over which it opens is not modelled: once cracked it is fully open.
///
/// # Source
/// Orifice law; the spring as a constant is common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CheckValve {
    /// Cracking pressure, Pa.
    pub cracking: f64,
    /// Discharge coefficient times area when open, m².
    pub cd_a: f64,
}

impl CheckValve {
    /// Pressure drop (Pa) and slope (Pa·s/m³) at flow `q` (m³/s): continuous and rising in `q`.
    #[must_use]
    #[inline]
    pub fn drop(&self, q: f64, rho: f64) -> (f64, f64) {
        if q > 0.0 {
            let (dp, slope) = orifice::drop(q, self.cd_a, rho, orifice::DP_SMALL);
            (self.cracking + dp, slope)
        } else {
            (self.cracking + CLOSED_SLOPE * q, CLOSED_SLOPE)
        }
    }

    /// Flow (m³/s) at a difference `dp` (Pa) and its slope (m³/(s·Pa)): the inverse of [`CheckValve::drop`].
    #[must_use]
    #[inline]
    pub fn flow(&self, dp: f64, rho: f64) -> (f64, f64) {
        let over = dp - self.cracking;
        if over > 0.0 {
            orifice::flow(over, self.cd_a, rho, orifice::DP_SMALL)
        } else {
            (over / CLOSED_SLOPE, 1.0 / CLOSED_SLOPE)
        }
    }
}
