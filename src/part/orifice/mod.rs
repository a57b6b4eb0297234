//! Orifices: the law of everything that throttles.

mod coefficient;
mod law;
mod poppet;
mod valve_size;

pub use coefficient::*;
pub use law::*;
pub use poppet::*;
pub use valve_size::*;

/// The difference (Pa) below which the square root is rounded off where no other figure is asked for.
///
/// The square root has no slope limit at zero. At 4 bar this alters the flow by 2e-14 of itself.
pub const DP_SMALL: f64 = 0.1;

/// Volume flow (m³/s) through an orifice and its slope (m³/(s·Pa)), odd in `dp`, smooth through zero.
///
/// # Formula
/// `Q = C_d A √(2/ρ) Δp/(Δp² + Δp_s²)^¼`, which is `C_d A √(2Δp/ρ)` when `Δp ≫ Δp_s` and a line through zero
/// when `Δp ≪ Δp_s`
///
/// # Symbols
/// `cd_a` discharge coefficient times area, m²; `rho` density upstream, kg/m³; `dp` difference, Pa;
/// `dp_small` the difference at which the root is rounded off, Pa.
///
/// # Valid range
/// Incompressible, not cavitating. `dp_small > 0`; with 0 the slope at `dp = 0` is infinite.
///
/// # Example
/// ```
/// use railrise::part::orifice::{DP_SMALL, drop, flow};
/// let (q, _) = flow(4e5, 2e-7, 745.0, DP_SMALL);
/// let (dp, _) = drop(q, 2e-7, 745.0, DP_SMALL);
/// assert!((dp - 4e5).abs() < 1e-6);
/// ```
///
/// # Source
/// Bernoulli/Torricelli; the rounding is our own algebra, with [`drop()`] as its exact inverse.
#[must_use]
#[inline]
pub fn flow(dp: f64, cd_a: f64, rho: f64, dp_small: f64) -> (f64, f64) {
    let scale = cd_a * (2.0 / rho).sqrt();
    let square = dp * dp + dp_small * dp_small;
    if square == 0.0 {
        return (0.0, f64::INFINITY);
    }
    let fourth_root = square.sqrt().sqrt();
    let q = scale * dp / fourth_root;
    (q, scale / fourth_root * (1.0 - 0.5 * dp * dp / square))
}

/// Pressure drop (Pa) across an orifice and its slope (Pa·s/m³): the exact inverse of [`flow`].
///
/// # Formula
/// `Δp = y √((y² + √(y⁴ + 4Δp_s²))/2)`, `y = Q/(C_d A) √(ρ/2)`; with `Δp_s = 0` it is `ρ Q|Q|/(2 (C_d A)²)`
///
/// # Symbols
/// As [`flow`]; `q` volume flow, m³/s.
///
/// # Valid range
/// `cd_a > 0`: a shut orifice has no finite drop. `dp_small = 0` is allowed here.
///
/// # Source
/// As [`flow`].
#[must_use]
#[inline]
pub fn drop(q: f64, cd_a: f64, rho: f64, dp_small: f64) -> (f64, f64) {
    let scale = (0.5 * rho).sqrt() / cd_a;
    let y = q * scale;
    let s = y * y;
    let r = s.hypot(2.0 * dp_small);
    if r == 0.0 {
        return (0.0, 0.0);
    }
    let h = (0.5 * (s + r)).sqrt();
    (y * h, scale * (h + 0.5 * s * (1.0 + s / r) / h))
}
