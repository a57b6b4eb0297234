//! When the flow changes: wave speed, surge, storage, inertia and the periods they give.

use super::bore_area;
use crate::quantity::{
    AbsolutePressure, Area, Density, HydraulicCompliance, HydraulicInertance, HydraulicResistance, Length,
    Pressure, Time, Velocity, Volume,
};
use std::f64::consts::PI;

/// How a line is held along its length: it decides how much its wall gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Restraint {
    /// Free to slide: expansion joints along its length.
    ExpansionJoints,
    /// Held at the upstream end only; Poisson's ratio of the wall.
    AnchoredUpstream(f64),
    /// Held against any motion along its length; Poisson's ratio of the wall.
    FullyAnchored(f64),
}

impl Restraint {
    /// Factor `c₁` of a thin wall: 1, 1 − ν/2 or 1 − ν².
    ///
    /// Source: E. B. Wylie, V. L. Streeter, Fluid Transients (three restraint factors).
    #[must_use]
    pub fn thin_wall_factor(self) -> f64 {
        match self {
            Self::ExpansionJoints => 1.0,
            Self::AnchoredUpstream(nu) => 1.0 - 0.5 * nu,
            Self::FullyAnchored(nu) => 1.0 - nu * nu,
        }
    }
}

/// Factor `c₁` of a thick wall held against motion along its length.
///
/// # Formula
/// `c₁ = (2e/D)(1 + ν) + D (1 − ν²)/(D + e)`
///
/// # Symbols
/// `D` bore, m; `e` wall thickness, m; `ν` Poisson's ratio of the wall, 1.
///
/// # Valid range
/// Any thickness; tends to 1 − ν² for a thin wall. A rubber hose (`D/e` about 3) is thick.
///
/// # Source
/// E. B. Wylie, V. L. Streeter, Fluid Transients (from memory).
#[must_use]
pub fn thick_wall_factor(bore: Length, wall: Length, poisson: f64) -> f64 {
    let (d, e) = (bore.value, wall.value);
    2.0 * e / d * (1.0 + poisson) + d * (1.0 - poisson * poisson) / (d + e)
}

/// Sound speed in the free liquid.
///
/// # Formula
/// `a = √(K/ρ)`
///
/// # Symbols
/// `K` isentropic bulk modulus, Pa; `ρ` density, kg/m³.
///
/// # Valid range
/// Rigid wall, no gas.
///
/// # Source
/// Newton-Laplace.
#[must_use]
pub fn sound_speed(bulk_modulus: Pressure, density: Density) -> Velocity {
    (bulk_modulus / density).sqrt()
}

/// Wave speed in an elastic line.
///
/// # Formula
/// `a = √(K/ρ / (1 + c₁ K D/(E e)))`
///
/// # Symbols
/// `K` bulk modulus of the liquid, Pa; `ρ` density, kg/m³; `D` bore, m; `e` wall thickness, m; `E` Young's
/// modulus of the wall, Pa; `c₁` [`Restraint::thin_wall_factor`] or [`thick_wall_factor`], 1.
///
/// # Valid range
/// Linear elastic wall. Rubber and plastics stiffen with frequency and soften with heat: take `E` at both.
///
/// # Source
/// D. J. Korteweg, Ann. Phys. 241 (1878) 525; E. B. Wylie, V. L. Streeter, Fluid Transients.
#[must_use]
pub fn korteweg_wave_speed(
    bulk_modulus: Pressure,
    density: Density,
    bore: Length,
    wall: Length,
    youngs_modulus: Pressure,
    wall_factor: f64,
) -> Velocity {
    let give = wall_factor * (bulk_modulus * bore / (youngs_modulus * wall)).value;
    sound_speed(bulk_modulus / (1.0 + give), density)
}

/// Bulk modulus of liquid that carries free gas.
///
/// # Formula
/// `1/B = 1/B_l + φ/(n p)`
///
/// # Symbols
/// `B_l` bulk modulus of the liquid, Pa; `φ` volume fraction of free gas *at this pressure*, 1; `n`
/// polytropic exponent, 1 (1 isothermal, 1.4 isentropic air); `p` absolute pressure, Pa.
///
/// # Valid range
/// `φ` up to about 0.01: the liquid's own share is not reduced by the gas.
///
/// # Source
/// H. E. Merritt, Hydraulic Control Systems, Eq. 2-12, rigid container (from memory).
#[must_use]
pub fn bulk_modulus_with_gas(
    liquid: Pressure,
    gas_fraction: f64,
    polytropic: f64,
    pressure: AbsolutePressure,
) -> Pressure {
    let soft = gas_fraction / (polytropic * pressure.pascals());
    liquid / (1.0 + liquid.value * soft)
}

/// Bulk modulus that a thin elastic wall lends to what it holds.
///
/// # Formula
/// `B_c = E e/(c₁ D)`
///
/// # Symbols
/// `E` Young's modulus, Pa; `e` wall thickness, m; `D` bore, m; `c₁` wall factor, 1 (1 for a free thin
/// wall).
///
/// # Valid range
/// Linear elastic wall.
///
/// # Source
/// H. E. Merritt, Hydraulic Control Systems, Eq. 2-12 (from memory); Korteweg.
#[must_use]
pub fn bulk_modulus_of_wall(
    youngs_modulus: Pressure,
    wall: Length,
    bore: Length,
    wall_factor: f64,
) -> Pressure {
    youngs_modulus * (wall / bore) / wall_factor
}

/// Bulk moduli that give way together.
///
/// # Formula
/// `1/B = Σ 1/Bᵢ`
///
/// # Symbols
/// `Bᵢ` of the liquid (with gas), of the wall, of a damper referred to the same volume, Pa.
///
/// # Valid range
/// All positive. With none it is infinite.
///
/// # Source
/// H. E. Merritt, Hydraulic Control Systems, Eq. 2-12 (from memory).
#[must_use]
pub fn effective_bulk_modulus(moduli: &[Pressure]) -> Pressure {
    let soft: f64 = moduli.iter().map(|b| 1.0 / b.value).sum();
    crate::quantity::pa(1.0 / soft)
}

/// Volume that a chamber takes in per pressure.
///
/// # Formula
/// `C = V/B`
///
/// # Symbols
/// `V` volume, m³; `B` effective bulk modulus, Pa.
///
/// # Valid range
/// `B > 0`, pressure changes small beside `B`.
///
/// # Source
/// Definition of the bulk modulus.
#[must_use]
pub fn capacitance(volume: Volume, bulk_modulus: Pressure) -> HydraulicCompliance {
    volume / bulk_modulus
}

/// Pressure that a volume change makes in a closed chamber.
///
/// # Formula
/// `Δp = B ΔV/V`
///
/// # Symbols
/// `ΔV` volume taken out (drop) or pushed in (rise), m³; `V` volume of the chamber, m³; `B` effective
/// bulk modulus, Pa.
///
/// # Valid range
/// Nothing replenishes; `Δp` small beside `B` and above the vapour pressure.
///
/// # Source
/// Definition of the bulk modulus.
#[must_use]
pub fn closed_chamber_change(change: Volume, volume: Volume, bulk_modulus: Pressure) -> Pressure {
    bulk_modulus * (change / volume)
}

/// Pressure needed per rate of change of flow.
///
/// # Formula
/// `I = ρ L/A`
///
/// # Symbols
/// `ρ` density, kg/m³; `L` length, m; `A` flow area, m².
///
/// # Valid range
/// Plug flow; laminar flow that is slow to change has 4/3 of it.
///
/// # Source
/// Newton's second law on the column.
#[must_use]
pub fn inertance(density: Density, length: Length, area: Area) -> HydraulicInertance {
    density * length / area
}

/// Pressure per flow of a travelling wave.
///
/// # Formula
/// `Z = ρ a/A`
///
/// # Symbols
/// `ρ` density, kg/m³; `a` wave speed, m/s; `A` flow area, m².
///
/// # Valid range
/// Friction small over a wavelength.
///
/// # Source
/// E. B. Wylie, V. L. Streeter, Fluid Transients.
#[must_use]
pub fn characteristic_impedance(density: Density, wave_speed: Velocity, area: Area) -> HydraulicResistance {
    density * wave_speed / area
}

/// Time constant of a chamber emptying through a resistance.
///
/// # Formula
/// `τ = R C`
///
/// # Symbols
/// `R` pressure per flow, Pa·s/m³; `C` volume per pressure, m³/Pa.
///
/// # Valid range
/// Linear about the operating point.
///
/// # Source
/// First-order system.
#[must_use]
pub fn chamber_time_constant(resistance: HydraulicResistance, capacitance: HydraulicCompliance) -> Time {
    resistance * capacitance
}

/// Pressure rise when the flow stops at once.
///
/// # Formula
/// `Δp = ρ a Δu`
///
/// # Symbols
/// `ρ` density, kg/m³; `a` wave speed, m/s; `Δu` change of velocity, m/s.
///
/// # Valid range
/// The change takes less than [`reflection_time`]. Slower: [`michaud_rise`].
///
/// # Example
/// ```
/// use railrise::part::line::{joukowsky_rise, korteweg_wave_speed};
/// use railrise::quantity::*;
/// // A steel tube of 6 mm bore and 1 mm wall: an injector that stops 0.2 m/s at once.
/// let rho = kg_per_m3(745.0);
/// let a = korteweg_wave_speed(mpa(1000.0), rho, mm(6.0), mm(1.0), mpa(207e3), 1.0);
/// let rise = joukowsky_rise(rho, a, m_per_s(0.2));
/// assert!(rise > bar(1.6) && rise < bar(1.8));
/// ```
///
/// # Source
/// N. Joukowsky (1898).
#[must_use]
pub fn joukowsky_rise(density: Density, wave_speed: Velocity, velocity_change: Velocity) -> Pressure {
    density * wave_speed * velocity_change
}

/// Time for a wave to the far end and back.
///
/// # Formula
/// `t = 2L/a`
///
/// # Symbols
/// `L` length, m; `a` wave speed, m/s.
///
/// # Valid range
/// Uniform line.
///
/// # Source
/// Kinematics.
#[must_use]
pub fn reflection_time(length: Length, wave_speed: Velocity) -> Time {
    2.0 * length / wave_speed
}

/// Pressure rise when the flow stops evenly and slowly.
///
/// # Formula
/// `Δp = 2 ρ L u/T_c`
///
/// # Symbols
/// `ρ` density, kg/m³; `L` length, m; `u` velocity before, m/s; `T_c` closing time, s.
///
/// # Valid range
/// `T_c > 2L/a`. Faster closing gives no more than [`joukowsky_rise`], and the formula overshoots it.
///
/// # Source
/// J. Michaud (1878); an approximation, on the safe side.
#[must_use]
pub fn michaud_rise(density: Density, length: Length, velocity: Velocity, closing: Time) -> Pressure {
    2.0 * density * length * velocity / closing
}

/// Pressure at a valve shut at once, tank at the other end, over the [`joukowsky_rise`].
///
/// # Formula
/// `+1` for `0 < t < 2L/a`, `−1` for `2L/a < t < 4L/a`, and so on with period `4L/a`
///
/// # Symbols
/// `t` time after closing, s; `L` length, m; `a` wave speed, m/s.
///
/// # Valid range
/// No friction, no cavitation: where the low half would fall below the vapour pressure the column parts. 0 before closing.
///
/// # Source
/// Travelling-wave solution; E. B. Wylie, V. L. Streeter, Fluid Transients.
#[must_use]
pub fn instant_closure_wave(after: Time, length: Length, wave_speed: Velocity) -> f64 {
    let trips = (after / reflection_time(length, wave_speed)).value;
    if trips < 0.0 {
        0.0
    } else if (trips.floor() * 0.5).fract() == 0.0 {
        1.0
    } else {
        -1.0
    }
}

/// Period of a line open (to a tank) at one end and shut at the other.
///
/// # Formula
/// `T = 4L/a`
///
/// # Symbols
/// `L` length, m; `a` wave speed, m/s.
///
/// # Valid range
/// Uniform line, little friction.
///
/// # Source
/// Standing wave of a quarter wavelength.
#[must_use]
pub fn quarter_wave_period(length: Length, wave_speed: Velocity) -> Time {
    4.0 * length / wave_speed
}

/// Frequency (Hz) of a line open at one end and shut at the other: `a/(4L)`, see [`quarter_wave_period`].
#[must_use]
pub fn quarter_wave_frequency(length: Length, wave_speed: Velocity) -> f64 {
    1.0 / quarter_wave_period(length, wave_speed).value
}

/// Frequency (Hz) of a line shut at both ends, or open at both.
///
/// # Formula
/// `f = a/(2L)`
///
/// # Symbols
/// `L` length, m; `a` wave speed, m/s.
///
/// # Valid range
/// Uniform line, little friction.
///
/// # Source
/// Standing wave of half a wavelength.
#[must_use]
pub fn half_wave_frequency(length: Length, wave_speed: Velocity) -> f64 {
    (wave_speed / (2.0 * length)).value
}

/// First frequency (Hz) of a line cut into `n` lumps (each an inertance, then a capacitance), open-shut.
///
/// # Formula
/// `f = (n a/(π L)) sin(π/(2 (2n + 1)))`
///
/// # Symbols
/// `n` number of lumps; `L` length, m; `a` wave speed, m/s.
///
/// # Valid range
/// `n ≥ 1`. Tends to [`quarter_wave_frequency`] from below: 36 % low at 1, 6 % at 8, 3 % at 16.
///
/// # Source
/// Eigenvalues of the ladder: `ω = (2/√(lc)) sin(π/(2(2n+1)))` with `l = I/n`, `c = C/n`.
#[must_use]
pub fn ladder_frequency(lumps: u32, length: Length, wave_speed: Velocity) -> f64 {
    let n = f64::from(lumps);
    n * (wave_speed / length).value / PI * (PI / (2.0 * (2.0 * n + 1.0))).sin()
}

/// Volume of a line.
///
/// # Formula
/// `V = π D² L/4`
///
/// # Symbols
/// `D` bore, m; `L` length, m.
///
/// # Valid range
/// Any.
///
/// # Source
/// Geometry.
#[must_use]
pub fn line_volume(bore: Length, length: Length) -> Volume {
    bore_area(bore) * length
}
