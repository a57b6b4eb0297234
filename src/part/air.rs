//! Air: the constants of the trade's sums, and dry air as a real gas where they are not enough.

use crate::quantity::{AbsolutePressure, Density, Temperature, kg_per_m3};
use std::fmt;

/// Specific gas constant of dry air, J/(kg·K). Source: ISO 2533:1975 (standard atmosphere).
pub const GAS_CONSTANT: f64 = 287.052_87;

/// Ratio of heat capacities of air in charging sums. Source: ISO 2533:1975.
pub const GAMMA: f64 = 1.4;

/// Heat capacity of air at constant pressure in charging sums, J/(kg·K), near 1005 between 0 and 100 °C.
/// Source: [`dry_air`] gives 1005 to 1012 over that range.
pub const HEAT_CAPACITY: f64 = 1005.0;

/// Density of air as an ideal gas.
///
/// # Formula
/// ρ = p/(R T)
///
/// # Symbols
/// p absolute pressure, Pa; T K; R = 287.05287 J/(kg·K).
///
/// # Range
/// 0.1 % low at 2.5 bar against the real gas ([`dry_air`]); T must be above 0 K.
///
/// # Source
/// ISO 2533:1975.
#[must_use]
pub fn ideal_density(t: Temperature, p: AbsolutePressure) -> Density {
    kg_per_m3(p.pascals() / (GAS_CONSTANT * t.value))
}

/// Dry air as a real gas, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DryAir {
    /// Density, kg/m³.
    pub density: f64,
    /// Heat capacity at constant pressure, J/(kg·K).
    pub heat_capacity: f64,
    /// Ratio of heat capacities.
    pub gamma: f64,
}

/// A state of air outside 230 to 500 K or 0.1 to 4 bar absolute.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutsideAir {
    /// Temperature asked for, K.
    pub kelvin: f64,
    /// Absolute pressure asked for, Pa.
    pub pascals: f64,
}

impl fmt::Display for OutsideAir {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "air at {:.1} °C and {:.3} bar absolute is outside −43 to 227 °C and 0.1 to 4 bar: check units, \
             and whether a gauge pressure was taken for an absolute one",
            self.kelvin - 273.15,
            self.pascals / 1e5
        )
    }
}

impl std::error::Error for OutsideAir {}

/// Coefficients of B(T) = b₀ + b₁(300/T) + b₃(300/T)³, m³/kg.
const VIRIAL: [f64; 3] = [1.460_043_02e-3, -1.583_885_97e-3, -1.353_459_51e-4];

/// Coefficients of the ideal-gas heat capacity over T/300 − 1, J/(kg·K).
const IDEAL_HEAT: [f64; 4] = [1.004_742_86e3, 1.523_173_39e1, 3.070_466_81e1, 3.207_728];

/// Gas constant that goes with the fits (molar mass 28.96546 g/mol), J/(kg·K).
const R_FITTED: f64 = 287.047_490_977_184_6;

/// Dry air by the virial equation.
///
/// # Formula
/// p = ρRT(1 + Bρ), B = b₀ + b₁(300/T) + b₃(300/T)³; c_v = c_p⁰ − R − ρR(2TB′ + T²B″);
/// c_p = c_v + T(∂p/∂T)²/(ρ²(∂p/∂ρ)), γ = c_p/c_v.
///
/// # Symbols
/// B second virial coefficient, m³/kg; c_p⁰ heat capacity of the ideal gas, cubic in T, J/(kg·K).
///
/// # Range
/// 230 to 500 K, 0.1 to 4 bar absolute; outside: [`OutsideAir`]. Worst against the source: density 1e-4, γ 2e-4,
/// heat capacity 0.2 %.
///
/// # Source
/// Virial equation truncated after B; coefficients fitted to CoolProp 8.0.0 (Lemmon et al. 2000) by
/// `tests/outside/fit_fuel.py`.
///
/// # Errors
/// A state outside the range.
pub fn dry_air(t: Temperature, p: AbsolutePressure) -> Result<DryAir, OutsideAir> {
    let (t, p) = (t.value, p.pascals());
    if !(230.0..=500.0).contains(&t) || !(1e4..=4e5).contains(&p) {
        return Err(OutsideAir { kelvin: t, pascals: p });
    }
    let x = 300.0 / t;
    let [b0, b1, b3] = VIRIAL;
    let x3 = x.powi(3);
    let b = b0 + b1 * x + b3 * x3;
    let t_db = -(b1 * x + 3.0 * b3 * x3); // T B′
    let t2_d2b = 2.0 * b1 * x + 12.0 * b3 * x3; // T² B″
    let ideal = p / (R_FITTED * t);
    // The root of ρ + Bρ² = p/RT written so that it survives B = 0.
    let density = 2.0 * ideal / (1.0 + (1.0 + 4.0 * b * ideal).sqrt());
    let [c0, c1, c2, c3] = IDEAL_HEAT;
    let y = t / 300.0 - 1.0;
    let cp0 = c0 + y * (c1 + y * (c2 + y * c3));
    let cv = cp0 - R_FITTED - density * R_FITTED * (2.0 * t_db + t2_d2b);
    let over_t = density * R_FITTED * (1.0 + density * (b + t_db));
    let over_density = R_FITTED * t * (1.0 + 2.0 * b * density);
    let heat_capacity = cv + t * over_t * over_t / (density * density * over_density);
    Ok(DryAir { density, heat_capacity, gamma: heat_capacity / cv })
}
