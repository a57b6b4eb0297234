//! The throttle: what it lets into the manifold.

use crate::part::gas::{AIR, Restriction};
use std::sync::LazyLock;

/// One nozzle law of air for all throttles.
static NOZZLE: LazyLock<Restriction> = LazyLock::new(|| Restriction::new(AIR));

/// Step of the differences in [`Throttle::slopes`], as a part of the pressure.
const STEP: f64 = 1e-7;
/// Halvings of a bracket between half a pressure and the whole: to the last digit.
const HALVINGS: usize = 60;

/// A throttle between charge pipe and manifold.
///
/// # Formula
/// `ṁ = x C_d A p_1/√(R T) ψ(p_2/p_1)`, `ψ` as [`Restriction`] has it: the same for all ratios at and below 0.528 (choked)
///
/// A manifold of volume V that it fills and an engine empties, `dm/dt = ṁ - κ p` (see [`Filling`]), stands where
/// `ṁ = κ p`; choked that is `p = 0.685 x C_d A p_1/(κ √(R T))`, and small departures die away with
/// `1/τ = (κ - ∂ṁ/∂p_2) R T/V`, choked `κ R T/V`.
///
/// # Symbols
/// `ṁ` mass flow, kg/s, into the manifold, below zero out of it; `x` opening, 0 to 1, the share of the wide-open effective
/// area that is open; `C_d A` effective area wide open, m²; `p_1` absolute pressure in the charge pipe, Pa, `p_2` in the
/// manifold, of each the higher taken as stagnation; `T` temperature of the charge on both sides, K (a throttle moves no
/// heat); `R` gas constant of air, J/(kg·K); `κ` air that the engine takes for each pascal, kg/(s·Pa).
///
/// # Valid range
/// Quasi-steady, one effective area for both directions. The share is of area, not of angle: how area grows with a plate's
/// angle is left to who gives the share, and air that passes beside a shut plate at idle is part of it. `T` is taken as at the
/// steady point of the manifold's pressure: boost held back by a throttle partly shut is warmer than that. The law turns from a
/// root to an odd cubic within a thousandth of equal pressures (100 Pa at 1 bar), which hides so much of a wide-open
/// throttle's loss.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), section 7.6.1 and appendix C, eqs C-8 and C-9 (from
/// memory); the share of area as measure of opening is our own choice.
///
/// [`Filling`]: super::Filling
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Throttle {
    /// Effective area wide open, m²: discharge coefficient times area.
    pub area: f64,
}

impl Throttle {
    /// Mass flow into the manifold, kg/s, at an opening, absolute pressures of charge pipe and manifold, Pa, and
    /// temperature, K.
    #[must_use]
    #[inline]
    pub fn flow(&self, opening: f64, (pipe, manifold): (f64, f64), t: f64) -> f64 {
        NOZZLE.mass_flow(opening * self.area, (pipe, t), (manifold, t))
    }

    /// Slopes of the flow over the pressure of charge pipe and of manifold, kg/(s·Pa), by differences.
    #[must_use]
    pub fn slopes(&self, opening: f64, (pipe, manifold): (f64, f64), t: f64) -> (f64, f64) {
        let at = |a: f64, b: f64| self.flow(opening, (pipe + a, manifold + b), t);
        let (a, b) = (STEP * pipe, STEP * manifold);
        ((at(a, 0.0) - at(-a, 0.0)) / (2.0 * a), (at(0.0, b) - at(0.0, -b)) / (2.0 * b))
    }

    /// Absolute pressure in the manifold, Pa, at which an engine takes what flows in, given how much it takes for each
    /// pascal, kg/(s·Pa).
    #[must_use]
    pub fn held(&self, opening: f64, pipe: f64, t: f64, pull: f64) -> f64 {
        if pull <= 0.0 {
            return pipe;
        }
        // Choked, the flow knows nothing of the manifold.
        let choked = self.flow(opening, (pipe, 0.0), t) / pull;
        let (mut low, mut high) = (AIR.critical_pressure_ratio() * pipe, pipe);
        if choked <= low {
            return choked;
        }
        for _ in 0..HALVINGS {
            let p = 0.5 * (low + high);
            if self.flow(opening, (pipe, p), t) > pull * p { low = p } else { high = p }
        }
        0.5 * (low + high)
    }

    /// Opening at which so much flows, kg/s, above one where the throttle is too small; none between equal pressures.
    #[must_use]
    pub fn opening(&self, flow: f64, (pipe, manifold): (f64, f64), t: f64) -> Option<f64> {
        let wide = self.flow(1.0, (pipe, manifold), t);
        (flow * wide > 0.0).then(|| flow / wide)
    }
}
