//! Filters: what they cost in pressure and what they catch.

mod capture;
mod medium;

pub use capture::*;
pub use medium::*;

/// A filter as the solvers see it, in SI units.
///
/// # Formula
/// `Δp = a (1 + s) µ Q + b ρ Q|Q|` (Darcy-Forchheimer)
///
/// # Symbols
/// `a` linear coefficient of the clean filter, 1/m³; `b` square coefficient, 1/m⁴; `s` dirt: resistance
/// of the caught layer over that of the clean medium; `µ` viscosity, Pa·s; `ρ` density, kg/m³; `Q` flow,
/// m³/s.
///
/// # Valid range
/// All ≥ 0. The dirt lies on the medium as a layer in laminar flow, so it enters the linear term only; a medium
/// with part of its area shut is [`Filter::with_blocked_area`].
///
/// # Source
/// P. Forchheimer, Z. VDI 45 (1901) 1782; a caught layer in series with the medium: the constant-pressure
/// filtration law of B. F. Ruth, Ind. Eng. Chem. 27 (1935) 708 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filter {
    /// Linear coefficient when clean, 1/m³.
    pub linear: f64,
    /// Square coefficient, 1/m⁴.
    pub square: f64,
    /// Resistance of the caught layer over that of the clean medium.
    pub dirt: f64,
}

impl Filter {
    /// Pressure drop (Pa) and slope (Pa·s/m³) at flow `q` (m³/s): odd and rising in `q`.
    #[must_use]
    #[inline]
    pub fn drop(&self, q: f64, rho: f64, mu: f64) -> (f64, f64) {
        let viscous = self.linear * (1.0 + self.dirt) * mu;
        let inertial = self.square * rho * q.abs();
        ((viscous + inertial) * q, viscous + 2.0 * inertial)
    }

    /// The same filter with a fraction of its area shut off: the rest passes the whole flow, so the
    /// linear term grows by `1/(1−s)` and the square term by `1/(1−s)²`.
    ///
    /// # Panics
    /// When `fraction` is not in `0 ≤ s < 1`.
    #[must_use]
    pub fn with_blocked_area(&self, fraction: f64) -> Self {
        assert!(
            (0.0..1.0).contains(&fraction),
            "blocked area {fraction} of a filter: give a fraction from 0 to below 1"
        );
        let open = 1.0 - fraction;
        Self { linear: self.linear / open, square: self.square / (open * open), dirt: self.dirt }
    }
}
