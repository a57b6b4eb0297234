//! Injectors: how much they pass wide open, how much of a pulse is lost, and how a set differs.

pub mod coil; // coil and needle
mod dead_time;
mod open_time;
mod pulse;
mod set;

pub use coil::CoilNeedle;
pub use dead_time::{BadDeadTime, DeadTime, OutsideDeadTime};
pub use open_time::{ShortPulse, Shuts, open_time};
pub use pulse::*;
pub use set::*;

use super::orifice;

/// An injector as the solvers see it, in SI units.
///
/// # Formula
/// `Q = Q_ref √(Δp/Δp_ref) √(ρ_ref/ρ)` wide open
///
/// # Symbols
/// `Q_ref` volume flow wide open, m³/s, measured at `Δp_ref`, Pa, with a fluid of `ρ_ref`, kg/m³; `Δp` rail
/// minus port pressure, both absolute, Pa; `ρ` density of the fuel at the injector, kg/m³.
///
/// # Valid range
/// Constant discharge coefficient: `Δp` within about 2:1 of `Δp_ref` (common practice, no source). A negative
/// difference gives reverse flow: an open nozzle holds nothing back.
///
/// # Example
/// ```
/// use railrise::part::injector::{DeadTime, Injector};
/// let injector = Injector {
///     static_flow: 8e-6, // 480 cm³/min
///     reference_difference: 3e5,
///     reference_density: 684.0,
///     dead_time: DeadTime::constant(0.9e-3),
/// };
/// let (four_bar, _) = injector.static_volume_flow(4e5, 684.0);
/// assert!((four_bar / 8e-6 - (4.0_f64 / 3.0).sqrt()).abs() < 1e-12);
/// ```
///
/// # Source
/// Bernoulli; the terms static flow and time offset as in SAE J1832 (abstract).
#[derive(Clone, Debug, PartialEq)]
pub struct Injector {
    /// Volume flow wide open at the reference, m³/s.
    pub static_flow: f64,
    /// Pressure difference of the reference, Pa.
    pub reference_difference: f64,
    /// Density of the reference fluid, kg/m³.
    pub reference_density: f64,
    /// Dead time over voltage and difference.
    pub dead_time: DeadTime,
}

impl Injector {
    /// Discharge coefficient times area, m², that the reference point implies.
    #[must_use]
    pub fn cd_a(&self) -> f64 {
        self.static_flow * (self.reference_density / (2.0 * self.reference_difference)).sqrt()
    }

    /// Volume flow wide open (m³/s) and its slope (m³/(s·Pa)) at a difference `dp` (Pa) and density `rho`
    /// (kg/m³).
    #[must_use]
    #[inline]
    pub fn static_volume_flow(&self, dp: f64, rho: f64) -> (f64, f64) {
        orifice::flow(dp, self.cd_a(), rho, orifice::DP_SMALL)
    }
}
