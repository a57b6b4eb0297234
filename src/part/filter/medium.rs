//! What a medium costs in pressure, from its build.

use crate::quantity::{Area, Density, DynamicViscosity, Length, Pressure, Velocity, VolumeRate};

/// Pressure lost through a filter.
///
/// # Formula
/// `Δp = a µ Q + b ρ Q|Q|`; returned as (linear, square) shares
///
/// # Symbols
/// `a` 1/m³, `b` 1/m⁴ coefficients of the filter; `µ` viscosity, Pa·s; `ρ` density, kg/m³; `Q` volume flow,
/// m³/s.
///
/// # Valid range
/// `a, b ≥ 0`. Signed as the flow is.
///
/// # Source
/// P. Forchheimer, Z. VDI 45 (1901) 1782.
#[must_use]
pub fn darcy_forchheimer(
    linear: f64,
    square: f64,
    viscosity: DynamicViscosity,
    density: Density,
    flow: VolumeRate,
) -> (Pressure, Pressure) {
    let q = flow.value;
    (
        crate::quantity::pa(linear * viscosity.value * q),
        crate::quantity::pa(square * density.value * q * q.abs()),
    )
}

/// Pressure lost through a bed of grains.
///
/// # Formula
/// `Δp/L = 150 µ v (1−ε)²/(ε³ d²) + 1.75 ρ v|v| (1−ε)/(ε³ d)`
///
/// # Symbols
/// `d` grain (or fibre) size, m; `ε` void fraction, 1; `v` velocity on the empty section, m/s; `L` depth of
/// the bed, m; `µ` viscosity, Pa·s; `ρ` density, kg/m³.
///
/// # Valid range
/// `0.3 < ε < 0.6` or so, ±25 %. Fibres are no spheres: fit `d` to a measured drop.
///
/// # Source
/// S. Ergun, Chem. Eng. Prog. 48 (1952) 89; checked with `fluids` 1.3.1.
#[must_use]
pub fn ergun(
    grain: Length,
    void_fraction: f64,
    velocity: Velocity,
    density: Density,
    viscosity: DynamicViscosity,
    depth: Length,
) -> Pressure {
    let e3 = void_fraction.powi(3);
    let solid = 1.0 - void_fraction;
    let viscous = 150.0 * solid * solid / e3 * viscosity * velocity / (grain * grain);
    let inertial = 1.75 * solid / e3 * density * velocity * velocity.abs() / grain;
    (viscous + inertial) * depth
}

/// Permeability of a bed of grains.
///
/// # Formula
/// `k = ε³ d²/(180 (1−ε)²)`
///
/// # Symbols
/// `ε` void fraction, 1; `d` grain size, m.
///
/// # Valid range
/// Laminar flow through the bed.
///
/// # Source
/// Carman-Kozeny.
#[must_use]
pub fn carman_kozeny_permeability(void_fraction: f64, grain: Length) -> Area {
    void_fraction.powi(3) / (180.0 * (1.0 - void_fraction).powi(2)) * grain * grain
}

/// Linear coefficient (1/m³) of a flat medium: what [`Filter`](super::Filter) takes.
///
/// # Formula
/// `a = L/(k A)`
///
/// # Symbols
/// `L` thickness, m; `k` permeability, m²; `A` area of the (unfolded) medium, m².
///
/// # Valid range
/// All positive.
///
/// # Source
/// Darcy's law.
#[must_use]
pub fn linear_coefficient(thickness: Length, permeability: Area, area: Area) -> f64 {
    thickness.value / (permeability.value * area.value)
}
