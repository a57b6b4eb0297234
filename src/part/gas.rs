//! Gas through a restriction, both ways, choked or not.

use super::cubic_table::CubicTable;

/// A calorically perfect gas.
///
/// # Formula
/// `p = ρRT`, `c_p = γR/(γ-1)`, `c_v = R/(γ-1)`
///
/// # Symbols
/// `γ` ratio of specific heats; `R` specific gas constant, J/(kg·K).
///
/// # Valid range
/// Dry air near ambient: real gas differs by less than 0.1 % up to 2.5 bar (CoolProp 8.0). Burned gas is closer
/// to γ = 1.25-1.30 (common practice, no source); one γ is kept for a run.
///
/// # Source
/// Textbook thermodynamics.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gas {
    /// Ratio of specific heats.
    pub gamma: f64,
    /// Specific gas constant, J/(kg·K).
    pub r: f64,
}

/// Dry air, as [`super::air`] has it.
pub const AIR: Gas = Gas { gamma: super::air::GAMMA, r: super::air::GAS_CONSTANT };

impl Gas {
    /// Specific heat at constant volume, J/(kg·K).
    #[must_use]
    pub fn cv(&self) -> f64 {
        self.r / (self.gamma - 1.0)
    }

    /// Specific heat at constant pressure, J/(kg·K).
    #[must_use]
    pub fn cp(&self) -> f64 {
        self.gamma * self.cv()
    }

    /// Pressure ratio, throat over stagnation, at and below which a nozzle is choked:
    /// `(2/(γ+1))^(γ/(γ-1))`, 0.528 for air.
    #[must_use]
    pub fn critical_pressure_ratio(&self) -> f64 {
        let g = self.gamma;
        (2.0 / (g + 1.0)).powf(g / (g - 1.0))
    }

    /// Mass-flow parameter `ṁ √(RT_0)/(C_d A p_0)` when choked: `√γ (2/(γ+1))^((γ+1)/(2(γ-1)))`, 0.685 for air.
    #[must_use]
    pub fn choked_flow_parameter(&self) -> f64 {
        let g = self.gamma;
        g.sqrt() * (2.0 / (g + 1.0)).powf((g + 1.0) / (2.0 * (g - 1.0)))
    }
}

/// One less the pressure ratio below which the root is rounded off: 1e-3 (100 Pa at 1 bar).
const ROUND: f64 = 1e-3;
/// Cells of the table between the critical ratio and one.
const CELLS: usize = 64;

/// A restriction prepared for one gas: the constants that the hot loop needs.
///
/// # Formula
/// `ṁ = C_d A p_0/√(RT_0) ψ(p_T/p_0)`, `ψ(r) = r^(1/γ) √(2γ/(γ-1) (1 - r^((γ-1)/γ)))` for `r` above the
/// critical ratio, and `ψ` at the critical ratio below it
///
/// # Symbols
/// `p_0`, `T_0` absolute stagnation pressure, Pa, and temperature, K, of the side that flows out; `p_T` absolute
/// pressure of the other side, Pa; `C_d A` effective area, m²; `ṁ` mass flow, kg/s, positive from 1 to 2.
///
/// # Valid range
/// Quasi-steady flow of a perfect gas, absolute pressures above zero. Within 1e-3 (or as [`Restriction::rounded`] has it)
/// of pressure ratio one the root is replaced by the odd cubic of the same value and slope: the flow passes zero with a
/// finite slope. `ψ²` is read from a [`CubicTable`] of 64 cells, which departs from `ψ` by less than 1e-8 of itself.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), appendix C, eqs C-8 and C-9 (from memory); the
/// rounding is our own algebra.
#[derive(Clone, Debug, PartialEq)]
pub struct Restriction {
    gas: Gas,
    critical: f64,
    choked: f64,
    /// `ψ²` from the critical ratio to one.
    squares: CubicTable,
    /// `ψ` within the rounding: `a x + b x³`, x = (1 - r)/width.
    round: [f64; 2],
    width: f64,
}

impl Restriction {
    /// Prepares the constants of a gas.
    #[must_use]
    pub fn new(gas: Gas) -> Self {
        let critical = gas.critical_pressure_ratio();
        let squares = CubicTable::new(critical, 1.0, CELLS, |r| square(gas, r));
        let choked = gas.choked_flow_parameter();
        Self { gas, critical, choked, squares, round: [0.0; 2], width: 0.0 }.rounded(ROUND)
    }

    /// The same with the root rounded off within this of pressure ratio one, above zero and below 0.4.
    #[must_use]
    pub fn rounded(self, width: f64) -> Self {
        // Value f and slope s (per x) at x = 1: a + b = f, a + 3b = s.
        let (at_round, slope) = square(self.gas, 1.0 - width);
        let f = at_round.sqrt();
        let s = -slope / (2.0 * f) * width;
        let b = 0.5 * (s - f);
        Self { round: [f - b, b], width, ..self }
    }

    /// The gas it was prepared for.
    #[must_use]
    pub fn gas(&self) -> Gas {
        self.gas
    }

    /// The flow function ψ at a pressure ratio not above one.
    #[must_use]
    #[inline]
    pub fn flow_function(&self, ratio: f64) -> f64 {
        if ratio <= self.critical {
            self.choked
        } else if ratio < 1.0 - self.width {
            self.squares.at(ratio).sqrt()
        } else {
            let x = (1.0 - ratio) / self.width;
            let [a, b] = self.round;
            x * (a + b * x * x)
        }
    }

    /// Mass flow, kg/s, from side 1 to side 2 (negative when side 2 is the higher), given the effective area, m²,
    /// and absolute pressure, Pa, and temperature, K, of both sides.
    #[must_use]
    #[inline]
    pub fn mass_flow(&self, cd_a: f64, (p1, t1): (f64, f64), (p2, t2): (f64, f64)) -> f64 {
        let r = self.gas.r;
        self.mass_flow_by_density(cd_a, (p1, p1 / (r * t1)), (p2, p2 / (r * t2)))
    }

    /// [`Restriction::mass_flow`] given absolute pressure, Pa, and density, kg/m³, of both sides:
    /// `ṁ = C_d A √(p_0 ρ_0) ψ`.
    #[must_use]
    #[inline]
    pub fn mass_flow_by_density(&self, cd_a: f64, (p1, d1): (f64, f64), (p2, d2): (f64, f64)) -> f64 {
        let (sign, from, density, to) = if p1 >= p2 { (cd_a, p1, d1, p2) } else { (-cd_a, p2, d2, p1) };
        let (ratio, carried) = (to / from, from * density);
        if ratio <= self.critical {
            sign * carried.sqrt() * self.choked
        } else if ratio < 1.0 - self.width {
            sign * (carried * self.squares.at(ratio)).sqrt()
        } else {
            sign * carried.sqrt() * self.flow_function(ratio)
        }
    }

    /// Whether the flow between two absolute pressures is choked.
    #[must_use]
    pub fn is_choked(&self, p1: f64, p2: f64) -> bool {
        p1.min(p2) <= self.critical * p1.max(p2)
    }
}

/// `ψ²` and its slope at a pressure ratio above the critical one: `2γ/(γ-1) (r^(2/γ) - r^((γ+1)/γ))`.
fn square(gas: Gas, r: f64) -> (f64, f64) {
    let g = gas.gamma;
    let (k, a, b) = (2.0 * g / (g - 1.0), 2.0 / g, (g + 1.0) / g);
    (k * (r.powf(a) - r.powf(b)), k * (a * r.powf(a - 1.0) - b * r.powf(b - 1.0)))
}
