//! Copper: gauges, areas, resistance and what heat does to it.

use crate::quantity::{Area, Length, Ratio, Resistance, Resistivity, Temperature, ohm_m, ohms, ratio};
use std::f64::consts::PI;
use std::fmt;

/// Temperature coefficient of annealed copper's resistance at 20 °C, constant mass, 1/K. Source: IEC 60028.
pub const COPPER_TEMPERATURE_COEFFICIENT: f64 = 0.003_93;

/// Resistivity of annealed copper at 20 °C (100 % IACS).
///
/// # Formula
/// `1/58 Ω·mm²/m`
///
/// # Source
/// IEC 60028 (from memory).
#[must_use]
pub fn copper_resistivity_20() -> Resistivity {
    ohm_m(1e-6 / 58.0)
}

/// Diameter of a solid conductor of American wire gauge.
///
/// # Formula
/// `d = 0.127 mm · 92^((36 − n)/39)`
///
/// # Symbols
/// `n` gauge number: 1/0 is 0, 2/0 is −1, and so on.
///
/// # Valid range
/// −3 to 40. A stranded wire is wider than this: use [`awg_area`].
///
/// # Source
/// ASTM B258.
#[must_use]
pub fn awg_diameter(gauge: i32) -> Length {
    crate::quantity::mm(0.127 * 92_f64.powf(f64::from(36 - gauge) / 39.0))
}

/// Conductor area of American wire gauge: `πd²/4` of [`awg_diameter`], for solid and stranded alike.
///
/// Source: ASTM B258. A strand's true copper may be a few per cent less.
#[must_use]
pub fn awg_area(gauge: i32) -> Area {
    let d = awg_diameter(gauge);
    PI / 4.0 * d * d
}

/// How copper's resistance grows with its temperature.
///
/// # Formula
/// `R(t)/R(20 °C) = 1 + 0.00393 (t − 20 °C)`
///
/// # Symbols
/// `t` temperature of the *conductor*, K: under load it is above that of the air.
///
/// # Valid range
/// About −50 to 200 °C. Outside the line is drawn on.
///
/// # Source
/// IEC 60028.
#[must_use]
pub fn copper_resistance_ratio(conductor: Temperature) -> Ratio {
    ratio(1.0 + COPPER_TEMPERATURE_COEFFICIENT * (conductor.value - 293.15))
}

/// Resistance of a conductor.
///
/// # Formula
/// `R = ρ L/A`
///
/// # Symbols
/// `ρ` resistivity, Ω·m; `L` length, m (there *and* back when both run in wire); `A` conductor area, m².
///
/// # Valid range
/// Direct current.
///
/// # Source
/// Ohm's law.
#[must_use]
pub fn wire_resistance(resistivity: Resistivity, length: Length, area: Area) -> Resistance {
    resistivity * length / area
}

/// Resistance of a copper conductor at a temperature.
///
/// # Formula
/// `R = (L/A) Ω·mm²/(58 m) · (1 + 0.00393 (t − 20 °C))`
///
/// # Symbols
/// `L` length, m; `A` conductor area, m²; `t` conductor temperature, K.
///
/// # Valid range
/// As [`copper_resistance_ratio`]. Real wire may be up to [`iec_60228_resistance`].
///
/// # Source
/// IEC 60028.
#[must_use]
pub fn copper_wire_resistance(length: Length, area: Area, conductor: Temperature) -> Resistance {
    wire_resistance(copper_resistivity_20(), length, area) * copper_resistance_ratio(conductor)
}

/// Build of a conductor after IEC 60228.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ConductorClass {
    /// Class 1 (solid) and class 2 (stranded): one limit.
    SolidOrStranded,
    /// Class 5 (flexible): what a vehicle is wired with.
    Flexible,
}

/// Size, mm², then the largest resistance at 20 °C of plain copper, mΩ/m, of class 1/2 and class 5.
///
/// Source: IEC 60228:2004, Tables 1 to 3.
const IEC_60228: [(f64, f64, f64); 9] = [
    (0.5, 36.0, 39.0),
    (0.75, 24.5, 26.0),
    (1.0, 18.1, 19.5),
    (1.5, 12.1, 13.3),
    (2.5, 7.41, 7.98),
    (4.0, 4.61, 4.95),
    (6.0, 3.08, 3.30),
    (10.0, 1.83, 1.91),
    (16.0, 1.15, 1.21),
];

/// A conductor size that the table does not hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnknownConductorSize {
    /// What was asked for, mm².
    pub size: f64,
}

impl fmt::Display for UnknownConductorSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sizes: Vec<_> = IEC_60228.iter().map(|row| row.0.to_string()).collect();
        write!(
            f,
            "no conductor of {} mm² in IEC 60228; take one of {} mm², or give the area and use the copper's own resistivity",
            self.size,
            sizes.join(", ")
        )
    }
}

impl std::error::Error for UnknownConductorSize {}

/// Largest resistance at 20 °C that a length of plain copper conductor may have.
///
/// # Formula
/// Table.
///
/// # Symbols
/// `size` nominal area, mm²: a *name*, the real copper may be less as long as the resistance holds; `class`
/// build; `length` of conductor, m.
///
/// # Valid range
/// 0.5 to 16 mm², the standard's sizes only: between them nothing is defined and the size is refused.
///
/// # Errors
/// [`UnknownConductorSize`].
///
/// # Source
/// IEC 60228:2004, Tables 1 to 3.
pub fn iec_60228_resistance(
    size: f64,
    class: ConductorClass,
    length: Length,
) -> Result<Resistance, UnknownConductorSize> {
    let row = IEC_60228.iter().find(|row| row.0 == size).ok_or(UnknownConductorSize { size })?;
    let per_metre = match class {
        ConductorClass::SolidOrStranded => row.1,
        ConductorClass::Flexible => row.2,
    };
    Ok(ohms(per_metre * 1e-3 * length.value))
}
