//! Flow coefficients of valves, and liquid sizing with choking.

use super::effective_area;
use crate::quantity::{AbsolutePressure, Area, Density, VolumeRate, bar, kg_per_m3, m3_per_s, psi};

/// One US gallon, m³. Source: NIST SP 811 B.8, exact.
const US_GALLON: f64 = 3.785_411_784e-3;

/// Water density at 15 °C that IEC 60534 refers to, kg/m³. Source: IEC 60534-2-1.
const WATER_15C: f64 = 999.1;

/// Water density behind US flow coefficients (60 °F), kg/m³.
const WATER_60F: f64 = 999.0;

/// `K_v` of a valve whose `C_v` is one.
///
/// # Formula
/// (US gal/min)/(m³/h) · √(bar/psi) = 0.8650
///
/// # Source
/// The two definitions.
#[must_use]
pub fn kv_per_cv() -> f64 {
    US_GALLON * 60.0 * (bar(1.0) / psi(1.0)).value.sqrt()
}

/// Effective area of a valve from its `K_v`.
///
/// # Formula
/// `C_d A` at which 1 bar passes `K_v` m³/h of water (1000 kg/m³)
///
/// # Symbols
/// `K_v` flow coefficient, m³/h at 1 bar.
///
/// # Valid range
/// Turbulent, not choked.
///
/// # Source
/// IEC 60534-1, definition of `K_v`.
#[must_use]
pub fn effective_area_from_kv(kv: f64) -> Area {
    effective_area(m3_per_s(kv / 3600.0), bar(1.0), kg_per_m3(1000.0))
}

/// Effective area of a valve from its `C_v`.
///
/// # Formula
/// `C_d A` at which 1 psi passes `C_v` US gal/min of water (999.0 kg/m³)
///
/// # Symbols
/// `C_v` flow coefficient, US gal/min at 1 psi.
///
/// # Valid range
/// Turbulent, not choked.
///
/// # Source
/// Definition of `C_v`.
#[must_use]
pub fn effective_area_from_cv(cv: f64) -> Area {
    effective_area(m3_per_s(cv * US_GALLON / 60.0), psi(1.0), kg_per_m3(WATER_60F))
}

/// Liquid critical pressure ratio factor.
///
/// # Formula
/// `F_F = 0.96 − 0.28 √(p_v/p_c)`
///
/// # Symbols
/// `p_v` vapour pressure, Pa; `p_c` critical pressure, Pa, both absolute.
///
/// # Valid range
/// `p_v ≤ p_c`.
///
/// # Source
/// IEC 60534-2-1 (from memory).
#[must_use]
pub fn critical_pressure_ratio_factor(vapour: AbsolutePressure, critical: AbsolutePressure) -> f64 {
    0.96 - 0.28 * (vapour.pascals() / critical.pascals()).sqrt()
}

/// What a liquid valve needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiquidSize {
    /// Flow coefficient needed, m³/h at 1 bar.
    pub kv: f64,
    /// The liquid boils in the valve: more difference gives no more flow.
    pub choked: bool,
    /// Largest difference that still drives flow, Pa.
    pub choking_difference: f64,
}

/// Flow coefficient that a valve needs for a liquid, choked or not.
///
/// # Formula
/// `K_v = Q √((ρ/ρ₀)/Δp)` (m³/h, bar) with `Δp = min(p₁ − p₂, F_L² (p₁ − F_F p_v))`
///
/// # Symbols
/// `Q` flow, m³/s; `ρ₀` 999.1 kg/m³; `p₁`, `p₂` pressures before and after, Pa; `p_v` vapour pressure, Pa;
/// `p_c` critical pressure, Pa, all absolute; `F_L` pressure recovery factor of the valve, 1.
///
/// # Valid range
/// Turbulent, no reducers fitted, `p₁ > p₂` and `p₁ > F_F p_v`; otherwise `kv` is not a number.
///
/// # Source
/// IEC 60534-2-1:2011, liquid equations; examples 1 and 2 of its annex.
#[must_use]
pub fn liquid_valve_size(
    flow: VolumeRate,
    density: Density,
    before: AbsolutePressure,
    after: AbsolutePressure,
    vapour: AbsolutePressure,
    critical: AbsolutePressure,
    recovery: f64,
) -> LiquidSize {
    let factor = critical_pressure_ratio_factor(vapour, critical);
    let choking = recovery * recovery * (before.pascals() - factor * vapour.pascals());
    let asked = before.pascals() - after.pascals();
    let difference = asked.min(choking);
    let kv = flow.value * 3600.0 * (density.value / WATER_15C / (difference / 1e5)).sqrt();
    LiquidSize { kv, choked: asked >= choking, choking_difference: choking }
}
