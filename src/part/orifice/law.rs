//! The orifice law between quantities.

use crate::quantity::{Area, Density, Pressure, VolumeRate, m2, m3_per_s};

/// Volume flow through an orifice.
///
/// # Formula
/// `Q = C_d A √(2|Δp|/ρ) sign(Δp)`
///
/// # Symbols
/// `C_d` discharge coefficient, 1; `A` area, m²; `Δp` pressure difference, Pa; `ρ` density upstream, kg/m³.
///
/// # Valid range
/// Turbulent, not cavitating. The bare square root: the solvers use [`flow`](super::flow), which is round at zero.
///
/// # Source
/// Bernoulli/Torricelli.
#[must_use]
pub fn orifice_flow(
    discharge_coefficient: f64,
    area: Area,
    difference: Pressure,
    density: Density,
) -> VolumeRate {
    let speed = (2.0 * difference.abs() / density).sqrt();
    let flow = discharge_coefficient * area * speed;
    if difference.value < 0.0 { -flow } else { flow }
}

/// Volume flow of the law with its root rounded off below a stated difference: [`flow`](super::flow) between
/// quantities.
///
/// # Formula
/// `Q = C_d A √(2/ρ) Δp/(Δp² + Δp_s²)^¼`
///
/// # Symbols
/// `C_d A` effective area, m²; `Δp_s` the stated difference, Pa.
///
/// # Valid range
/// `Δp_s > 0`. Falls below the bare law by `(Δp_s/Δp)²/4` of itself.
///
/// # Source
/// As [`flow`](super::flow).
#[must_use]
pub fn orifice_flow_regularised(
    effective_area: Area,
    difference: Pressure,
    density: Density,
    small: Pressure,
) -> VolumeRate {
    m3_per_s(super::flow(difference.value, effective_area.value, density.value, small.value).0)
}

/// Effective area `C_d A` that one measured point implies.
///
/// # Formula
/// `C_d A = Q √(ρ/(2Δp))`
///
/// # Symbols
/// `Q` flow, m³/s; `Δp` difference, Pa; `ρ` density, kg/m³, all of the same measurement.
///
/// # Valid range
/// `Δp > 0`.
///
/// # Source
/// The orifice law.
#[must_use]
pub fn effective_area(flow: VolumeRate, difference: Pressure, density: Density) -> Area {
    m2(flow.value * (density.value / (2.0 * difference.value)).sqrt())
}
