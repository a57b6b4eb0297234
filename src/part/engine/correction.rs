//! Power: from mean effective pressure, against fuel energy, and corrected to standard air.

use super::EngineError;
use crate::quantity::{
    AbsolutePressure, AngularVelocity, Length, Power, Pressure, SpecificConsumption, SpecificEnergy,
    Temperature, Velocity, Volume, m_per_s, watts,
};
use std::f64::consts::TAU;

/// Brake power of a four-stroke from its brake mean effective pressure.
///
/// # Formula
/// P = bmep V_d n/2
///
/// # Symbols
/// bmep Pa; V_d displacement, m³; n revolutions a second; P W.
///
/// # Range
/// Four-stroke; a definition.
///
/// # Source
/// Heywood 1988, equation 2.20 (from memory).
#[must_use]
pub fn bmep_power(bmep: Pressure, displacement: Volume, speed: AngularVelocity) -> Power {
    watts(bmep.value * displacement.value * speed.value / (2.0 * TAU))
}

/// Share of the fuel's energy that reaches the crankshaft.
///
/// # Formula
/// η = 1/(bsfc LHV)
///
/// # Symbols
/// bsfc kg/J; LHV lower heating value, J/kg.
///
/// # Range
/// A definition; above 0.45 for petrol the consumption or the power is wrong (common practice, no source).
///
/// # Source
/// Heywood 1988, section 2.8 (from memory).
#[must_use]
pub fn brake_efficiency(bsfc: SpecificConsumption, lower_heating_value: SpecificEnergy) -> f64 {
    1.0 / (bsfc.value * lower_heating_value.value)
}

/// Mean piston speed: two strokes a revolution, 2 S n.
#[must_use]
pub fn mean_piston_speed(stroke: Length, speed: AngularVelocity) -> Velocity {
    m_per_s(2.0 * stroke.value * speed.value / TAU)
}

/// A factor on measured power, and whether the standard lets it be used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerCorrection {
    /// Corrected power over measured power.
    pub factor: f64,
    /// Whether the factor lies in 0.93 to 1.07: outside it the standards want the test repeated in other air, and
    /// the report has to say so.
    pub within_standard: bool,
}

impl PowerCorrection {
    fn new(factor: f64) -> Self {
        Self { factor, within_standard: (0.93..=1.07).contains(&factor) }
    }
}

fn air(dry: AbsolutePressure, t: Temperature) -> Result<(f64, f64), EngineError> {
    let p = EngineError::within(
        "dry barometric pressure",
        dry.pascals() / 1e3,
        (60.0, 110.0),
        "kPa",
        "give it absolute and without water vapour",
    )?;
    let t = EngineError::within(
        "intake air temperature",
        t.value - 273.15,
        (-20.0, 60.0),
        "°C",
        "measure it at the intake",
    )?;
    Ok((p * 1e3, t))
}

/// Power correction for naturally aspirated engines to 99 kPa dry and 25 °C.
///
/// # Formula
/// CF = 1.18 (99000/p) √((t + 273)/298) − 0.18
///
/// # Symbols
/// p dry barometric pressure, Pa absolute; t intake air, °C.
///
/// # Range
/// Naturally aspirated spark-ignition engines of about 85 % mechanical efficiency. 60 to 110 kPa and −20 to 60 °C, outside:
/// [`EngineError::OutOfRange`]; a factor outside 0.93 to 1.07 is flagged. A boost controller holds absolute
/// pressure: correcting a boosted engine so overstates it.
///
/// # Source
/// SAE J1349 (June 1990), SI form; the limits of the factor from memory.
///
/// # Errors
/// Pressure or temperature outside the range.
pub fn power_correction_j1349(dry: AbsolutePressure, t: Temperature) -> Result<PowerCorrection, EngineError> {
    let (p, c) = air(dry, t)?;
    Ok(PowerCorrection::new(1.18 * (99e3 / p) * ((c + 273.0) / 298.0).sqrt() - 0.18))
}

/// Power correction for spark-ignition engines to 99 kPa dry and 298 K.
///
/// # Formula
/// α = (99000/p)^1.2 (T/298)^0.6
///
/// # Symbols
/// p dry barometric pressure, Pa absolute; T intake air, K.
///
/// # Range
/// Spark-ignition engines, charged or not. 60 to 110 kPa and −20 to 60 °C, outside:
/// [`EngineError::OutOfRange`]; a factor outside 0.93 to 1.07 is flagged.
///
/// # Source
/// ISO 1585:1992, UN Regulation 85 annex 5 (from memory).
///
/// # Errors
/// Pressure or temperature outside the range.
pub fn power_correction_iso1585(
    dry: AbsolutePressure,
    t: Temperature,
) -> Result<PowerCorrection, EngineError> {
    let (p, c) = air(dry, t)?;
    Ok(PowerCorrection::new((99e3 / p).powf(1.2) * ((c + 273.15) / 298.0).powf(0.6)))
}
