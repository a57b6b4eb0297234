//! Steady flow through a line: velocity, Reynolds number, friction loss, head.

use super::STANDARD_GRAVITY;
use crate::quantity::{
    Area, Density, DynamicViscosity, HydraulicResistance, Length, Power, Pressure, Velocity, VolumeRate,
    m_per_s2,
};
use std::f64::consts::PI;

/// Area of a round bore.
///
/// # Formula
/// `A = πD²/4`
///
/// # Symbols
/// `D` bore, m.
///
/// # Valid range
/// Any.
///
/// # Source
/// Geometry.
#[must_use]
pub fn bore_area(bore: Length) -> Area {
    PI / 4.0 * bore * bore
}

/// Mean velocity in a round bore.
///
/// # Formula
/// `u = 4Q/(πD²)`
///
/// # Symbols
/// `Q` volume flow, m³/s; `D` bore, m. Signed as the flow is.
///
/// # Valid range
/// `D > 0`.
///
/// # Source
/// Continuity.
#[must_use]
pub fn velocity(flow: VolumeRate, bore: Length) -> Velocity {
    flow / bore_area(bore)
}

/// Reynolds number in a round bore.
///
/// # Formula
/// `Re = ρ|u|D/µ`
///
/// # Symbols
/// `u` mean velocity, m/s; `D` bore, m; `ρ` density, kg/m³; `µ` dynamic viscosity, Pa·s.
///
/// # Valid range
/// `µ > 0`. Laminar below about 2300, turbulent above about 4000.
///
/// # Source
/// Definition.
#[must_use]
pub fn reynolds(velocity: Velocity, bore: Length, density: Density, viscosity: DynamicViscosity) -> f64 {
    (density * velocity.abs() * bore / viscosity).value
}

/// Pressure lost to wall friction.
///
/// # Formula
/// `Δp = f (L/D) ρ u|u|/2`
///
/// # Symbols
/// `f` Darcy friction factor, 1 (four times Fanning's); `L` length, m; `D` bore, m; `ρ` density, kg/m³; `u`
/// mean velocity, m/s.
///
/// # Valid range
/// Fully developed flow; the entry length is not modelled. Signed as the velocity is.
///
/// # Source
/// Darcy-Weisbach; F. M. White, Fluid Mechanics, Eq. 6.10 (from memory).
#[must_use]
pub fn darcy_weisbach(
    friction_factor: f64,
    length: Length,
    bore: Length,
    density: Density,
    velocity: Velocity,
) -> Pressure {
    0.5 * friction_factor * (length / bore) * density * velocity * velocity.abs()
}

/// Pressure lost in a fitting.
///
/// # Formula
/// `Δp = K ρ u|u|/2`
///
/// # Symbols
/// `K` loss coefficient on the velocity `u`, 1; `ρ` density, kg/m³.
///
/// # Valid range
/// `K` and `u` must be of the same bore. Signed as the velocity is.
///
/// # Source
/// Definition of `K`.
#[must_use]
pub fn fitting_loss(k: f64, density: Density, velocity: Velocity) -> Pressure {
    0.5 * k * density * velocity * velocity.abs()
}

/// Pressure lost in laminar flow.
///
/// # Formula
/// `Δp = 128 µ L Q/(π D⁴)`
///
/// # Symbols
/// `µ` dynamic viscosity, Pa·s; `L` length, m; `Q` volume flow, m³/s; `D` bore, m.
///
/// # Valid range
/// `Re < ` about 2300; above it the true loss is larger, and the value is returned all the same.
///
/// # Source
/// Hagen-Poiseuille.
#[must_use]
pub fn hagen_poiseuille(
    viscosity: DynamicViscosity,
    length: Length,
    bore: Length,
    flow: VolumeRate,
) -> Pressure {
    laminar_resistance(viscosity, length, bore) * flow
}

/// Pressure per flow of a line in laminar flow.
///
/// # Formula
/// `R = 128 µ L/(π D⁴)`
///
/// # Symbols
/// `µ` dynamic viscosity, Pa·s; `L` length, m; `D` bore, m.
///
/// # Valid range
/// `Re < ` about 2300.
///
/// # Source
/// Hagen-Poiseuille.
#[must_use]
pub fn laminar_resistance(viscosity: DynamicViscosity, length: Length, bore: Length) -> HydraulicResistance {
    128.0 / PI * viscosity * length / (bore * bore * bore * bore)
}

/// Pressure of a column of liquid.
///
/// # Formula
/// `Δp = ρ g Δz`
///
/// # Symbols
/// `ρ` density, kg/m³; `g` 9.80665 m/s²; `Δz` how far one end lies above the other, m.
///
/// # Valid range
/// Any.
///
/// # Source
/// Hydrostatics.
#[must_use]
pub fn static_head(density: Density, rise: Length) -> Pressure {
    density * m_per_s2(STANDARD_GRAVITY) * rise
}

/// Head of a pressure: the height of the column that weighs as much.
///
/// # Formula
/// `h = Δp/(ρ g)`
///
/// # Symbols
/// `Δp` pressure difference, Pa; `ρ` density, kg/m³; `g` 9.80665 m/s².
///
/// # Valid range
/// `ρ > 0`.
///
/// # Source
/// Hydrostatics.
#[must_use]
pub fn head(difference: Pressure, density: Density) -> Length {
    difference / (density * m_per_s2(STANDARD_GRAVITY))
}

/// Power that a flow carries across a pressure difference.
///
/// # Formula
/// `P = Δp Q`
///
/// # Symbols
/// `Δp` pressure difference, Pa; `Q` volume flow, m³/s. Divide by an efficiency for shaft power.
///
/// # Valid range
/// Incompressible.
///
/// # Source
/// Definition.
#[must_use]
pub fn hydraulic_power(difference: Pressure, flow: VolumeRate) -> Power {
    difference * flow
}
