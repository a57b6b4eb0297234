//! The air around the car: standard atmosphere over altitude, and the part of it that is not water vapour.

use super::EngineError;
use crate::part::air::{GAMMA, GAS_CONSTANT};
use crate::quantity::{
    AbsolutePressure, Density, Length, STANDARD_ATMOSPHERE, STANDARD_GRAVITY, Temperature, Velocity, degc,
    kelvin, kg_per_m3, m, m_per_s, pa,
};

/// The standard atmosphere at an altitude.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Atmosphere {
    /// Temperature.
    pub temperature: Temperature,
    /// Absolute pressure.
    pub pressure: AbsolutePressure,
    /// Density.
    pub density: Density,
    /// Speed of sound.
    pub sound_speed: Velocity,
}

/// Radius of the Earth in the standard atmosphere, m (US Standard Atmosphere 1976, 6356.766 km).
const EARTH_RADIUS: f64 = 6_356_766.0;

/// Geopotential altitude of a height above sea level.
///
/// # Formula
/// H = r Z/(r + Z)
///
/// # Symbols
/// Z geometric, H geopotential altitude, m; r = 6 356 766 m.
///
/// # Range
/// Any height a car reaches; at 3000 m the two differ by 1.4 m.
///
/// # Source
/// US Standard Atmosphere 1976; ISO 2533:1975.
#[must_use]
pub fn geopotential_altitude(height: Length) -> Length {
    m(EARTH_RADIUS * height.value / (EARTH_RADIUS + height.value))
}

/// Standard atmosphere at a height above sea level, as a map gives it (geometric).
///
/// # Formula
/// [`isa_atmosphere_geopotential`] at [`geopotential_altitude`].
///
/// # Symbols
/// As there.
///
/// # Range
/// −2000 to 11 000 m; outside: [`EngineError::OutOfRange`]. The weather moves the pressure at a place by about ±3 %
/// (common practice, no source): a barometer reading is better than the altitude.
///
/// # Source
/// As there.
///
/// # Errors
/// A height outside the range.
pub fn isa_atmosphere(height: Length) -> Result<Atmosphere, EngineError> {
    isa_atmosphere_geopotential(geopotential_altitude(height))
}

/// Standard atmosphere at a geopotential altitude, in the troposphere.
///
/// # Formula
/// T = 288.15 − 0.0065 H; p = 101325 (T/288.15)^(g/(0.0065 R)); ρ = p/(RT); a = √(γRT)
///
/// # Symbols
/// H m; T K; p Pa absolute; g = 9.80665 m/s²; R = 287.05287 J/(kg·K); γ = 1.4.
///
/// # Range
/// −2000 to 11 000 m; outside: [`EngineError::OutOfRange`].
///
/// # Source
/// ISO 2533:1975.
///
/// # Errors
/// An altitude outside the range.
pub fn isa_atmosphere_geopotential(altitude: Length) -> Result<Atmosphere, EngineError> {
    const LAPSE: f64 = 0.006_5;
    const SEA_LEVEL: f64 = 288.15;
    let h = EngineError::within(
        "altitude",
        altitude.value,
        (-2000.0, 11_000.0),
        "m",
        "give it in metres above sea level",
    )?;
    let t = SEA_LEVEL - LAPSE * h;
    let p = STANDARD_ATMOSPHERE * (t / SEA_LEVEL).powf(STANDARD_GRAVITY / (LAPSE * GAS_CONSTANT));
    Ok(Atmosphere {
        temperature: kelvin(t),
        pressure: AbsolutePressure::from_pascals(p),
        density: kg_per_m3(p / (GAS_CONSTANT * t)),
        sound_speed: m_per_s((GAMMA * GAS_CONSTANT * t).sqrt()),
    })
}

/// The pressure of the air without its water vapour, which the power corrections ask for.
///
/// # Formula
/// p_dry = p − φ p_ws, p_ws = 610.94 exp(17.625 t/(t + 243.04))
///
/// # Symbols
/// p barometric pressure, Pa absolute; φ relative humidity, 0 to 1; t °C; p_ws saturation pressure of water, Pa.
///
/// # Range
/// −40 to 50 °C (formula within 0.4 %), φ 0 to 1; outside: [`EngineError::OutOfRange`].
///
/// # Source
/// Magnus form of Alduchov & Eskridge 1996 (J. Appl. Meteorol. 35, 601), from memory.
///
/// # Errors
/// Temperature or humidity outside the range.
pub fn dry_air_pressure(
    barometer: AbsolutePressure,
    relative_humidity: f64,
    t: Temperature,
) -> Result<AbsolutePressure, EngineError> {
    let c = EngineError::within(
        "air temperature",
        t.value - degc(0.0).value,
        (-40.0, 50.0),
        "°C",
        "measure it in the shade beside the intake",
    )?;
    let humidity = EngineError::within(
        "relative humidity",
        relative_humidity,
        (0.0, 1.0),
        "",
        "give it as a fraction, 0.6 for 60 %",
    )?;
    Ok(barometer - pa(humidity * 610.94 * (17.625 * c / (c + 243.04)).exp()))
}
