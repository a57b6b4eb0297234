//! The intake manifold: filling and emptying, the throttle before it, and how boost builds.

use super::gas::Gas;

mod throttle;

pub use throttle::Throttle;

/// A volume of gas that fills and empties.
///
/// # Formula
/// `dm/dt = Σṁ_in - Σṁ_out`, `dE/dt = Σ(ṁ c_p T)_in - Σ(ṁ c_p T)_out + Q̇`, `E = m c_v T`, `p = m R T/V = (γ-1) E/V`
///
/// # Symbols
/// `m` mass, kg; `E` internal energy, J; `V` volume, m³; `T` temperature, K; `p` absolute pressure, Pa.
///
/// # Valid range
/// Well mixed, wave action left out: periods longer than a few times length over speed of sound.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), section 7.6.2 (filling and emptying; from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plenum {
    /// Volume, m³.
    pub volume: f64,
    /// The gas.
    pub gas: Gas,
}

impl Plenum {
    /// Mass, kg, and internal energy, J, at an absolute pressure, Pa, and temperature, K.
    #[must_use]
    pub fn fill(&self, p: f64, t: f64) -> (f64, f64) {
        (p * self.volume / (self.gas.r * t), p * self.volume / (self.gas.gamma - 1.0))
    }

    /// Absolute pressure, Pa, and temperature, K, at a mass, kg, and internal energy, J.
    #[must_use]
    #[inline]
    pub fn state(&self, mass: f64, energy: f64) -> (f64, f64) {
        ((self.gas.gamma - 1.0) * energy / self.volume, energy / (mass * self.gas.cv()))
    }
}

/// A manifold that fills towards the pressure at which the throttle holds it, and that the engine empties.
///
/// # Formula
/// `dm/dt = ṁ_in - ṁ_engine`, `p = m R T/V`, `ṁ_engine = κ p`, `ṁ_in = κ p_held`, `κ = η_v V_d n/(2 R T)`
///
/// At a steady `T`: `dp/dt = (p_held - p)/τ`, `τ = V/(κ R T) = 2 V/(η_v V_d n)`; from `p_0` at t = 0
/// `p = p_held + (p_0 - p_held) exp(-t/τ)`.
///
/// # Symbols
/// `m` air in the manifold, kg; `V` volume that fills, m³; `T` charge temperature, K, one for the whole volume; `κ` air that
/// the engine takes for each pascal, kg/(s·Pa); `η_v` volumetric efficiency over the manifold's state; `V_d` swept volume,
/// m³; `n` crank speed, rev/s (a cycle is two); `p_held` absolute pressure at which inflow and engine balance, Pa.
///
/// # Valid range
/// Well mixed; changes longer than an engine cycle; inflow as at the pressure that throttle and boost control hold (choked
/// throttle, or a compressor that gives what is taken): a throttle that is not choked lets in more while the manifold is
/// low, so it fills sooner than this ([`Throttle`] says how soon). A change of `T` moves `p` at once (`p Ṫ/T`). An engine at rest moves no air.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), section 7.6.2 (from memory); the inflow is our own
/// choice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filling {
    /// Volume, m³.
    pub volume: f64,
    /// The gas.
    pub gas: Gas,
}

impl Filling {
    /// Absolute pressure, Pa, at a mass, kg, and temperature, K.
    #[must_use]
    #[inline]
    pub fn pressure(&self, mass: f64, t: f64) -> f64 {
        mass * self.per_mass(t)
    }

    /// Pressure for each kilogram, Pa/kg, at a temperature, K.
    #[must_use]
    #[inline]
    pub fn per_mass(&self, t: f64) -> f64 {
        self.gas.r * t / self.volume
    }

    /// Mass, kg, at an absolute pressure, Pa, and temperature, K.
    #[must_use]
    pub fn mass(&self, p: f64, t: f64) -> f64 {
        p / self.per_mass(t)
    }
}

/// Boost that builds as a first-order lag towards a target.
///
/// # Formula
/// `dp/dt = (p_target - p)/τ`; from `p_0` at t = 0: `p = p_t + (p_0 - p_t) exp(-t/τ)`
///
/// # Symbols
/// `p` manifold pressure (absolute or gauge, the same for all), Pa; `τ` time constant of the spool, s.
///
/// # Valid range
/// A stand-in for the turbocharger while its own speed is not modelled; `τ > 0`, common practice 0.3-1.5 s, no source.
///
/// # Source
/// First-order lag, own choice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spool {
    /// Time constant, s.
    pub tau: f64,
}

impl Spool {
    /// Rate of change, Pa/s, at a pressure and target, Pa.
    #[must_use]
    #[inline]
    pub fn rate(&self, p: f64, target: f64) -> f64 {
        (target - p) / self.tau
    }

    /// Pressure, Pa, a time, s, after starting at `p0` with a steady target.
    #[must_use]
    pub fn after(&self, p0: f64, target: f64, t: f64) -> f64 {
        target + (p0 - target) * (-t / self.tau).exp()
    }
}
