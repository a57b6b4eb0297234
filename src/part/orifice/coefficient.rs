//! Discharge coefficients: standard orifice plates, and what becomes of them when the flow is slow.

use super::orifice_flow;
use crate::quantity::{Area, Density, DynamicViscosity, Length, Pressure, VolumeRate};
use std::f64::consts::PI;
use std::fmt;

/// Where the pressures beside an orifice plate are taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Taps {
    /// In the corners at the plate.
    Corner,
    /// One bore before, half a bore after.
    DAndHalfD,
    /// 25.4 mm before and after.
    Flange,
}

impl Taps {
    /// Distances `L₁`, `L'₂` of the taps over the bore.
    ///
    /// Source: ISO 5167-2:2003, 5.3.2.1.
    #[must_use]
    pub fn distances(self, bore: Length) -> (f64, f64) {
        match self {
            Self::Corner => (0.0, 0.0),
            Self::DAndHalfD => (1.0, 0.47),
            Self::Flange => (0.0254 / bore.value, 0.0254 / bore.value),
        }
    }
}

/// Discharge coefficient of a standard orifice plate (Reader-Harris/Gallagher).
///
/// # Formula
/// ISO 5167-2 Eq. 4: `C = 0.5961 + 0.0261β² − 0.216β⁸ + 0.000521(10⁶β/Re)^0.7 + (0.0188 + 0.0063A)β^3.5(10⁶/Re)^0.3
/// + (0.043 + 0.080e^(−10L₁) − 0.123e^(−7L₁))(1 − 0.11A)β⁴/(1 − β⁴) − 0.031(M'₂ − 0.8M'₂^1.1)β^1.3`,
/// `+ 0.011(0.75 − β)(2.8 − D/25.4 mm)` when `D < 71.12 mm`; `M'₂ = 2L'₂/(1 − β)`, `A = (19000β/Re)^0.8`
///
/// # Symbols
/// `β` orifice over pipe bore, 1; `Re` Reynolds number of the *pipe*, 1; `D` pipe bore, m; `L₁`, `L'₂`
/// [`Taps::distances`], 1.
///
/// # Valid range
/// `0.1 ≤ β ≤ 0.75`, `50 mm ≤ D ≤ 1 m`, orifice ≥ 12.5 mm, `Re ≥ 5000` (more for large β); 0.5 to 0.7 %
/// there. A car's jets are far smaller: outside, the value is returned and is a guess. Below `Re` 5000
/// `(10⁶/Re)^0.3` is at least `22.7 − 0.0047Re`, and the downstream term grows by `1 + 8 log₁₀(3700/Re)`
/// below 3700.
///
/// # Source
/// ISO 5167-2:2003, Eq. 4; below Re 5000 with the two terms of M. J. Reader-Harris, Orifice Plates and
/// Venturi Tubes (2015). Checked with `fluids` 1.3.1.
#[must_use]
pub fn orifice_coefficient_reader_harris_gallagher(beta: f64, re_pipe: f64, bore: Length, taps: Taps) -> f64 {
    let (l1, l2) = taps.distances(bore);
    let b2 = beta * beta;
    let b4 = b2 * b2;
    let a = (19_000.0 * beta / re_pipe).powf(0.8);
    let m2 = 2.0 * l2 / (1.0 - beta);
    let base = 0.5961 + 0.0261 * b2 - 0.216 * b4 * b4
        + 0.000_521 * (1e6 * beta / re_pipe).powf(0.7)
        + (0.0188 + 0.0063 * a) * beta.powf(3.5) * (1e6 / re_pipe).powf(0.3).max(22.7 - 0.0047 * re_pipe);
    let upstream =
        (0.043 + 0.080 * (-10.0 * l1).exp() - 0.123 * (-7.0 * l1).exp()) * (1.0 - 0.11 * a) * b4 / (1.0 - b4);
    let slow = 1.0 + 8.0 * (3700.0 / re_pipe).log10().max(0.0);
    let downstream = -0.031 * (m2 - 0.8 * m2.powf(1.1)) * beta.powf(1.3) * slow;
    let inches = bore.value / 0.0254;
    let small = if inches < 2.8 { 0.011 * (0.75 - beta) * (2.8 - inches) } else { 0.0 };
    base + upstream + downstream + small
}

/// Flow coefficient of an orifice in a pipe: the discharge coefficient with the velocity of approach.
///
/// # Formula
/// `α = C/√(1 − β⁴)`
///
/// # Symbols
/// `C` discharge coefficient, 1; `β` orifice over pipe bore, 1.
///
/// # Valid range
/// `0 ≤ β < 1`.
///
/// # Source
/// ISO 5167-1:2003.
#[must_use]
pub fn flow_coefficient(coefficient: f64, beta: f64) -> f64 {
    coefficient / (1.0 - beta.powi(4)).sqrt()
}

/// An orifice plate whose flow did not settle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlateNotSettled {
    /// Last two flows, m³/s.
    pub last: (f64, f64),
}

impl fmt::Display for PlateNotSettled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (a, b) = self.last;
        write!(
            f,
            "the orifice plate's flow did not settle (last {a:.6e} and {b:.6e} m³/s): its coefficient holds from Re 5000 up, use a measured C_d A below"
        )
    }
}

impl std::error::Error for PlateNotSettled {}

/// Flow and flow coefficient of a standard orifice plate at a difference.
///
/// # Formula
/// `Q = α (πd²/4) √(2Δp/ρ)` with `C` of [`orifice_coefficient_reader_harris_gallagher`] at the Reynolds number of
/// that `Q`
///
/// # Symbols
/// `d` orifice, m; `D` pipe bore, m; `Δp` between the taps, Pa; `ρ` density, kg/m³; `µ` viscosity, Pa·s.
///
/// # Valid range
/// As the coefficient; liquids (no expansibility).
///
/// # Errors
/// [`PlateNotSettled`] when the coefficient and the flow do not agree after 50 rounds (very slow flow).
///
/// # Source
/// ISO 5167-1:2003, 5.
pub fn orifice_plate_flow(
    orifice: Length,
    bore: Length,
    taps: Taps,
    difference: Pressure,
    density: Density,
    viscosity: DynamicViscosity,
) -> Result<(VolumeRate, f64), PlateNotSettled> {
    let beta = (orifice / bore).value;
    let hole = hole_area(orifice);
    let (mut alpha, mut before) = (flow_coefficient(0.6, beta), f64::NAN);
    for _ in 0..50 {
        let flow = orifice_flow(alpha, hole, difference, density);
        if (flow.value - before).abs() <= 1e-13 * flow.value.abs() {
            return Ok((flow, alpha));
        }
        before = flow.value;
        let re = 4.0 * density.value * flow.value.abs() / (PI * bore.value * viscosity.value);
        alpha = flow_coefficient(orifice_coefficient_reader_harris_gallagher(beta, re, bore, taps), beta);
    }
    Err(PlateNotSettled { last: (before, orifice_flow(alpha, hole, difference, density).value) })
}

/// Area of a round hole: `πd²/4`.
#[must_use]
pub fn hole_area(diameter: Length) -> Area {
    PI / 4.0 * diameter * diameter
}

/// Laminar coefficient `δ` of a round sharp-edged hole. Source: Merritt sec. 3-4 (from memory).
pub const LAMINAR_DELTA_ROUND: f64 = 0.2;

/// Laminar coefficient `δ` of a sharp slit. Source: Wuest, in Merritt sec. 3-4 (from memory).
pub const LAMINAR_DELTA_SLIT: f64 = 0.157;

/// Discharge coefficient of a sharp edge in slow flow.
///
/// # Formula
/// `C_d = δ √Re`
///
/// # Symbols
/// `δ` [`LAMINAR_DELTA_ROUND`] or [`LAMINAR_DELTA_SLIT`], 1; `Re` on the hydraulic diameter of the hole, 1.
///
/// # Valid range
/// `Re` below [`transition_reynolds`]; above it the turbulent value holds.
///
/// # Source
/// H. E. Merritt, Hydraulic Control Systems, sec. 3-4 (from memory).
#[must_use]
pub fn discharge_coefficient_laminar(delta: f64, re: f64) -> f64 {
    delta * re.sqrt()
}

/// Reynolds number at which the slow-flow and the turbulent coefficient meet.
///
/// # Formula
/// `Re_t = (C_d/δ)²`
///
/// # Symbols
/// `C_d` turbulent coefficient, 1; `δ` laminar coefficient, 1.
///
/// # Valid range
/// `δ > 0`.
///
/// # Source
/// H. E. Merritt, Hydraulic Control Systems, Eq. 3-42 (from memory).
#[must_use]
pub fn transition_reynolds(turbulent: f64, delta: f64) -> f64 {
    (turbulent / delta).powi(2)
}
