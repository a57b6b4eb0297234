//! Heat from the gas to the wall.

use super::slider_crank::SliderCrank;
use crate::part::power_table::PowerTable;

/// Constants of Woschni's correlation.
///
/// # Formula
/// `h = 3.26 B^-0.2 p^0.8 T^-0.55 w^0.8`, `w = C_1 S_p` without burning
///
/// # Symbols
/// `h` heat-transfer coefficient, W/(m²·K); `B` bore, m; `p` pressure, kPa; `T` gas temperature, K; `w` gas speed, m/s;
/// `S_p` mean piston speed, m/s; `C_1` = 2.28 in compression and expansion, 6.18 in gas exchange. The burning term
/// of `w` is left out: loss during combustion is then too low by about a third (from memory).
///
/// # Valid range
/// Four-stroke engines at work; the coefficient is a mean over the surface.
///
/// # Source
/// G. Woschni, SAE 670931 (1967), as in J. B. Heywood (1988), eqs 12.19-12.20 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Woschni {
    /// Wall temperature, K.
    pub wall: f64,
    /// Gas speed over mean piston speed.
    pub speed_factor: f64,
}

impl Woschni {
    /// Heat-transfer coefficient, W/(m²·K), at pressure, Pa, temperature, K, and mean piston speed, m/s.
    #[must_use]
    pub fn coefficient(&self, bore: f64, p: f64, t: f64, piston_speed: f64) -> f64 {
        // p^0.8 T^-0.55 = (p/T)^0.8 T^(1/4)
        of_bore(bore) * self.argument(p / t, piston_speed).powf(0.8) * t.powf(0.25)
    }

    /// What is raised to 0.8, at pressure over temperature, Pa/K.
    #[inline]
    fn argument(&self, per_kelvin: f64, piston_speed: f64) -> f64 {
        1e-3 * per_kelvin * self.speed_factor * piston_speed
    }
}

/// What Woschni's law needs in a hot loop: the part that the bore fixes, and its powers by a [`PowerTable`] each, within
/// 1e-10 of their product.
#[derive(Clone, Debug, PartialEq)]
pub struct WallHeat {
    of_bore: f64,
    of_flow: PowerTable,
    of_temperature: PowerTable,
}

impl WallHeat {
    /// For a bore, m.
    #[must_use]
    pub fn new(bore: f64) -> Self {
        Self { of_bore: of_bore(bore), of_flow: PowerTable::new(0.8), of_temperature: PowerTable::new(0.25) }
    }

    /// [`Woschni::coefficient`] for this bore, given density times gas constant, Pa/K, in the place of the pressure.
    #[must_use]
    #[inline]
    pub fn coefficient(&self, w: &Woschni, per_kelvin: f64, t: f64, piston_speed: f64) -> f64 {
        let z = w.argument(per_kelvin, piston_speed);
        self.of_bore * self.of_flow.of(z) * self.of_temperature.of(t)
    }
}

fn of_bore(bore: f64) -> f64 {
    3.26 * bore.powf(-0.2)
}

/// How heat leaves the gas while the valves are shut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HeatLoss {
    /// None: adiabatic.
    None,
    /// As much as makes compression and expansion follow `p V^n` = constant: `dQ = (γ - n)/(γ - 1) p dV`.
    /// Above zero in expansion (heat comes back), below in compression, when `n < γ`.
    Polytropic {
        /// Exponent.
        n: f64,
    },
    /// By Woschni's correlation to a wall of given temperature.
    Woschni(Woschni),
}

impl HeatLoss {
    /// Heat into the gas, W (negative: lost), at pressure, Pa, temperature, K, and one over the other, Pa/K, volume, m³, and
    /// its growth, m³/s, mean piston speed, m/s, and ratio of specific heats; `wall` is made for its bore.
    #[must_use]
    #[inline]
    pub fn power(
        &self,
        crank: &SliderCrank,
        wall: &WallHeat,
        (p, t, per_kelvin): (f64, f64, f64),
        (volume, growth): (f64, f64),
        piston_speed: f64,
        gamma: f64,
    ) -> f64 {
        match self {
            Self::None => 0.0,
            Self::Polytropic { n } => (gamma - n) / (gamma - 1.0) * p * growth,
            Self::Woschni(w) => {
                wall.coefficient(w, per_kelvin, t, piston_speed) * crank.surface(volume) * (w.wall - t)
            }
        }
    }
}

/// Pressure and temperature ratios of a polytropic compression.
///
/// # Formula
/// `p_2/p_1 = r^n`, `T_2/T_1 = r^(n-1)`
///
/// # Symbols
/// `r` volume before over volume after; `n` exponent: γ is adiabatic and reversible, 1.28-1.35 is common for a motored
/// or compressed charge (common practice, no source).
///
/// # Valid range
/// Perfect gas, closed charge, `r > 0`.
///
/// # Source
/// Textbook thermodynamics: `p V^n` = constant.
#[must_use]
pub fn polytropic_ratios(r: f64, n: f64) -> (f64, f64) {
    (r.powf(n), r.powf(n - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_of_the_wall_meets_the_law() {
        let (w, wall) = (Woschni { wall: 450.0, speed_factor: 2.28 }, WallHeat::new(0.0875));
        for p in [2e4, 1e5, 3e5, 2e6, 9e6] {
            for t in [290.0, 450.0, 1100.0, 2600.0] {
                for speed in [0.5, 3.0, 10.0, 21.6] {
                    let (a, b) = (wall.coefficient(&w, p / t, t, speed), w.coefficient(0.0875, p, t, speed));
                    assert!((a / b - 1.0).abs() < 2e-10, "{p} {t} {speed}");
                }
            }
        }
    }
}
