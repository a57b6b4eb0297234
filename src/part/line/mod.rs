//! Lines: hoses, tubes and their fittings, at rest, in steady flow and when the flow changes.

mod bores;
mod fittings;
mod friction;
mod steady;
mod unsteady;

pub use bores::{ROUGHNESS_COMMERCIAL_STEEL, ROUGHNESS_DRAWN, dash_nominal};
pub use fittings::*;

pub use friction::{
    friction_factor_churchill, friction_factor_churchill_with_slope, friction_factor_colebrook,
    friction_factor_haaland, friction_factor_laminar, friction_factor_serghides, friction_factor_swamee_jain,
};
pub use steady::*;
pub use unsteady::*;

pub use crate::quantity::STANDARD_GRAVITY;
use std::f64::consts::PI;

/// A line as the solvers see it, in SI units.
///
/// # Formula
/// `Δp = (f L/D + ΣK) ρ u|u|/2 + ρ g Δz`, `u = 4Q/(πD²)`, `f` by
/// [Churchill](friction_factor_churchill)
///
/// # Symbols
/// `L` length, m; `D` bore, m (measured: a dash size names the tube, not the hole); `ε` roughness, m; `ΣK`
/// fittings on the velocity in this bore, 1; `Δz` how far the outlet lies above the inlet, m.
///
/// # Valid range
/// `L ≥ 0`, `D > 0`, `ε/D ≤ 0.05`, `ΣK ≥ 0`; any `Q`. Outside the numbers are not physical: a build file
/// refuses them before they come here.
///
/// # Example
/// ```
/// use railrise::part::line::Line;
/// // Two metres of hose with a measured 8.7 mm bore at 127 L/h of petrol at 20 °C.
/// let hose = Line { length: 2.0, bore: 8.7e-3, roughness: 1.5e-6, k_sum: 2.0, rise: 0.0 };
/// let (drop, slope) = hose.drop(3.53e-5, 745.0, 0.5e-3);
/// assert!(drop > 1200.0 && drop < 1400.0); // about 1.3 kPa
/// assert!(slope > drop / 3.53e-5); // turbulent: steeper than a straight line through zero
/// ```
///
/// # Source
/// Darcy-Weisbach; S. W. Churchill, Chem. Eng. 84 (1977) 91.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Length, m.
    pub length: f64,
    /// Bore, m.
    pub bore: f64,
    /// Absolute roughness, m.
    pub roughness: f64,
    /// Sum of the fittings' loss coefficients on the velocity in this bore.
    pub k_sum: f64,
    /// Height of the outlet above the inlet, m.
    pub rise: f64,
}

impl Line {
    /// Flow area, m².
    #[must_use]
    pub fn area(&self) -> f64 {
        PI / 4.0 * self.bore * self.bore
    }

    /// Reynolds number of the flow `q` (m³/s), never negative.
    #[must_use]
    pub fn reynolds(&self, q: f64, rho: f64, mu: f64) -> f64 {
        4.0 * q.abs() * rho / (PI * self.bore * mu)
    }

    /// Pressure drop from inlet to outlet (Pa) and its slope (Pa·s/m³) at flow `q` (m³/s) of a fluid of
    /// density `rho` (kg/m³) and viscosity `mu` (Pa·s): [`Line::loss`] and the weight of the column.
    #[must_use]
    #[inline]
    pub fn drop(&self, q: f64, rho: f64, mu: f64) -> (f64, f64) {
        let (dp, slope) = self.loss(q, rho, mu);
        (dp + rho * STANDARD_GRAVITY * self.rise, slope)
    }

    /// Pressure lost (Pa) and its slope (Pa·s/m³): odd and rising in `q`, smooth through rest, where the
    /// slope is exactly 128µL/(πD⁴).
    #[must_use]
    #[inline]
    pub fn loss(&self, q: f64, rho: f64, mu: f64) -> (f64, f64) {
        let area = self.area();
        let u = q / area;
        let re = rho * u.abs() * self.bore / mu;
        let (phi, re_dphi) = friction::f_times_re(re, self.roughness / self.bore);
        // f ρu|u|/2 · L/D = (f Re) µ L u/(2D²): nothing is divided by the flow, so rest needs no special case.
        let viscous = mu * self.length / (2.0 * self.bore * self.bore);
        let dynamic = self.k_sum * rho * u.abs();
        (viscous * phi * u + 0.5 * dynamic * u, (viscous * (phi + re_dphi) + dynamic) / area)
    }
}
