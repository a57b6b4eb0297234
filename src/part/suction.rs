//! The suction side: how much pressure is left at the pump's inlet before the fuel boils.

use crate::quantity::{AbsolutePressure, Density, Length, Pressure, STANDARD_GRAVITY, m_per_s2, pa};

/// How the strainer in the tank is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StrainerState {
    /// As new.
    Clean,
    /// Dirt caught: resistance of the layer over that of the clean mesh.
    Loaded(f64),
    /// Folded or lying on a baffle: the fraction of its area that is shut off, below 1.
    Folded(f64),
}

impl StrainerState {
    /// What the clean strainer's linear and square coefficients are multiplied by in this state.
    ///
    /// # Formula
    /// clean `(1, 1)`; loaded `(1 + s, 1)`; folded `(1/(1−s), 1/(1−s)²)`
    ///
    /// # Symbols
    /// `s` the number that the state carries, 1.
    ///
    /// # Valid range
    /// Loaded `s ≥ 0`; folded `0 ≤ s < 1`: towards 1 the factors grow without limit, at 1 they are infinite.
    ///
    /// # Source
    /// A caught layer in series with the mesh; the open share of the mesh passes the whole flow.
    #[must_use]
    pub fn factors(self) -> (f64, f64) {
        match self {
            Self::Clean => (1.0, 1.0),
            Self::Loaded(dirt) => (1.0 + dirt, 1.0),
            Self::Folded(fraction) => ((1.0 - fraction).recip(), (1.0 - fraction).powi(-2)),
        }
    }
}

/// The tank's vent, SI units: air comes in as fuel goes out.
///
/// # Formula
/// `p_tank = p_ambient − Δp_vent(Q)`, `Δp_vent = p_c + ρ_air Q²/(2 (C_d A)²)`
///
/// # Symbols
/// `p_c` cracking of the inward valve, Pa; `C_d A` effective area, m²; `Q` fuel drawn from the tank, m³/s.
///
/// # Valid range
/// Air as incompressible: `Δp` below a few kPa. **Caution:** a shut vent pulls the tank in and starves the pump.
///
/// # Source
/// Orifice law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vent {
    /// Cracking pressure of the inward valve, Pa (0 when open).
    pub cracking: f64,
    /// Effective area for air, m².
    pub cd_a: f64,
}

impl Vent {
    /// How far the tank is below ambient (Pa), and its slope (Pa·s/m³), when `q` (m³/s) leaves it under air
    /// of `air_density` (kg/m³).
    #[must_use]
    pub fn depression(&self, q: f64, air_density: f64) -> (f64, f64) {
        if q <= 0.0 {
            return (0.0, 0.0);
        }
        let (dp, slope) = super::orifice::drop(q, self.cd_a, air_density, 0.0);
        (self.cracking + dp, slope)
    }
}

/// Absolute pressure at the pump's inlet.
///
/// # Formula
/// `p_inlet = p_tank + ρ g h − Σ Δp`
///
/// # Symbols
/// `p_tank` absolute pressure of the tank's air, Pa (ambient less [`Vent::depression`]); `ρ` density,
/// kg/m³; `h` level of fuel above the inlet, m, negative when the pump sits above it; `Δp` losses of
/// strainer and hose at the pump's own flow, Pa.
///
/// # Valid range
/// The fuel covers the pick-up: sloshing and swirl are not modelled. A result below the vapour pressure cannot
/// exist: the fuel boils ([`inlet_margin`] is negative).
///
/// # Source
/// Hydrostatics.
#[must_use]
pub fn inlet_pressure(
    tank: AbsolutePressure,
    density: Density,
    level: Length,
    losses: &[Pressure],
) -> AbsolutePressure {
    let head = density * m_per_s2(STANDARD_GRAVITY) * level;
    losses.iter().fold(tank + head, |p, loss| p - *loss)
}

/// Pressure above boiling at the pump's inlet.
///
/// # Formula
/// `m = p_inlet − p_v(T)`
///
/// # Symbols
/// `p_inlet` absolute pressure at the inlet, Pa; `p_v` vapour pressure of the fuel at *its* temperature,
/// Pa.
///
/// # Valid range
/// Any; 10 to 20 kPa is wanted (common practice, no source). Below the pump's own need its flow falls and vapour
/// comes; negative, the fuel boils in the hose. **Caution:** hot petrol vents vapour when the cap is opened.
///
/// # Source
/// Definition.
#[must_use]
pub fn inlet_margin(inlet: AbsolutePressure, vapour: AbsolutePressure) -> Pressure {
    inlet - vapour
}

/// Net positive suction head available: [`inlet_margin`] as a height, from the tank's side.
///
/// # Formula
/// `NPSH = (p_t − p_v)/(ρ g) + Δz − h_l`
///
/// # Symbols
/// `p_t` absolute pressure on the tank's surface, Pa; `p_v` vapour pressure, Pa; `Δz` surface above the
/// pump, m; `h_l` head lost on the way, m.
///
/// # Valid range
/// The velocity head at the inlet is counted in `h_l` or small.
///
/// # Source
/// Crane TP-410, example 7.32.
#[must_use]
pub fn npsh_available(
    tank: AbsolutePressure,
    vapour: AbsolutePressure,
    density: Density,
    surface_above: Length,
    head_lost: Length,
) -> Length {
    (tank - vapour) / (density * m_per_s2(STANDARD_GRAVITY)) + surface_above - head_lost
}

/// Ambient pressure at an altitude.
///
/// # Formula
/// `p = 101 325 Pa (1 − 0.0065 h/288.15)^5.25588`
///
/// # Symbols
/// `h` geopotential altitude, m.
///
/// # Valid range
/// −2 to 11 km; refused outside.
///
/// # Errors
/// [`AltitudeOutOfRange`].
///
/// # Source
/// ISO 2533:1975.
pub fn ambient_at_altitude(altitude: Length) -> Result<AbsolutePressure, AltitudeOutOfRange> {
    let h = altitude.value;
    if !(-2000.0..=11_000.0).contains(&h) {
        return Err(AltitudeOutOfRange { metres: h });
    }
    let base = crate::quantity::STANDARD_ATMOSPHERE;
    // g0 M/(R L) with the constants of ISO 2533: 9.80665/(287.05287 · 0.0065).
    let exponent = crate::quantity::STANDARD_GRAVITY / (super::air::GAS_CONSTANT * 0.0065);
    Ok(crate::quantity::abs(pa(base * (1.0 - 0.0065 * h / 288.15).powf(exponent))))
}

/// An altitude outside the standard atmosphere's lowest layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AltitudeOutOfRange {
    /// What was asked for, m.
    pub metres: f64,
}

impl std::fmt::Display for AltitudeOutOfRange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "an altitude of {:.0} m is outside -2000 to 11000 m: give the ambient pressure itself",
            self.metres
        )
    }
}

impl std::error::Error for AltitudeOutOfRange {}
