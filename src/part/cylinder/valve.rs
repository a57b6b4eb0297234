//! Lift and flow area of a poppet valve over the cycle.

use crate::part::cubic_table::CubicTable;
use std::f64::consts::PI;
use std::fmt;

/// Intake or exhaust valves of one cylinder.
///
/// # Formula
/// `L(θ) = L_max sin²(π (θ - θ_o)/(θ_c - θ_o))` while open; `C_d A = C_d z min(π D_v L, π D_p²/4)`
///
/// # Symbols
/// `θ_o`, `θ_c` opening and closing angles, rad of crank after firing top dead centre, `θ_o < θ_c`; `L_max` lift, m;
/// `D_v` head diameter, m; `D_p` port diameter, m; `z` number of valves; `C_d` discharge coefficient on that area.
///
/// # Valid range
/// One opening a cycle of 4π. The curtain area for small lift and the port area for large lift are joined without
/// the seat-cone region between (Heywood's three stages reduced to two); `C_d` is constant.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), section 6.3 (from memory); the sin² lift is common
/// practice, no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Valve {
    /// Opening angle, rad.
    pub opens: f64,
    /// Closing angle, rad.
    pub closes: f64,
    /// Greatest lift, m.
    pub lift: f64,
    /// Head diameter, m.
    pub head: f64,
    /// Port diameter, m.
    pub port: f64,
    /// Number of such valves.
    pub count: f64,
    /// Discharge coefficient.
    pub cd: f64,
}

/// A valve that cannot be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BadValve {
    /// Name of the key.
    pub key: &'static str,
    /// Its value.
    pub value: f64,
}

impl fmt::Display for BadValve {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "valve: `{}` = {}: give a finite value above zero, closing after opening",
            self.key, self.value
        )
    }
}

impl std::error::Error for BadValve {}

/// Crank angle of one four-stroke cycle, rad.
pub const CYCLE: f64 = 4.0 * PI;

/// Lift of a valve, of its greatest, and its slope, when a part of its opening has passed: `sin²(π x)`.
#[must_use]
pub fn valve_lift(passed: f64) -> (f64, f64) {
    let (sin, cos) = (PI * passed).sin_cos();
    (sin * sin, 2.0 * PI * sin * cos)
}

impl Valve {
    /// Refuses what cannot be.
    ///
    /// # Errors
    /// Names the key.
    pub fn validate(&self) -> Result<(), BadValve> {
        let positive = [
            ("lift", self.lift),
            ("head", self.head),
            ("port", self.port),
            ("count", self.count),
            ("cd", self.cd),
            ("closes", self.closes - self.opens),
            ("opens", CYCLE - (self.closes - self.opens)),
        ];
        match positive.into_iter().find(|(_, v)| !(v.is_finite() && *v > 0.0)) {
            Some((key, value)) => Err(BadValve { key, value }),
            None => Ok(()),
        }
    }

    /// Lift, m, at a crank angle, rad, of any cycle.
    #[must_use]
    pub fn lift_at(&self, theta: f64) -> f64 {
        let passed = self.passed(self.since(theta));
        if passed >= 1.0 { 0.0 } else { self.lift * valve_lift(passed).0 }
    }

    /// Effective area, m², at a crank angle, rad.
    #[must_use]
    pub fn area_at(&self, theta: f64) -> f64 {
        self.area_at_lift(self.lift_at(theta))
    }

    /// Angle since it last opened, rad, at a crank angle, rad: it is open when that is below `closes - opens`.
    #[must_use]
    pub fn since(&self, theta: f64) -> f64 {
        (theta - self.opens).rem_euclid(CYCLE)
    }

    /// Part of its opening that has passed at an angle, rad, since it opened: above zero and below one while it is open.
    fn passed(&self, since: f64) -> f64 {
        since / (self.closes - self.opens)
    }

    /// Effective area, m², when a part of its opening has passed, with [`valve_lift`] read from a table.
    #[must_use]
    #[inline]
    pub fn area_of(&self, passed: f64, lift: &CubicTable) -> f64 {
        if passed <= 0.0 || passed >= 1.0 { 0.0 } else { self.area_at_lift(self.lift * lift.at(passed)) }
    }

    #[inline]
    fn area_at_lift(&self, lift: f64) -> f64 {
        self.cd * self.count * (PI * self.head * lift).min(PI / 4.0 * self.port * self.port)
    }

    /// Next opening or closing strictly after a crank angle, rad.
    #[must_use]
    pub fn next_edge(&self, theta: f64) -> f64 {
        let next = |edge: f64| {
            let turns = ((theta - edge) / CYCLE).floor() + 1.0;
            let at = edge + turns * CYCLE;
            if at > theta { at } else { at + CYCLE }
        };
        next(self.opens).min(next(self.closes))
    }
}
