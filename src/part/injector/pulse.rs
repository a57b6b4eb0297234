//! Pulses: time available, duty, what a pulse delivers, and the low-pulse region.

use crate::quantity::{AngularVelocity, Density, Mass, Pressure, Time, Volume, VolumeRate};
use std::f64::consts::PI;
use std::fmt;

/// Supply pressure up to which the port-injector test is written, Pa: 1000 kPa.
///
/// Source: SAE J1832, scope (abstract).
pub const PORT_SUPPLY_LIMIT: f64 = 1e6;

/// How static flow scales with the pressure difference.
///
/// # Formula
/// `Q/Q_ref = √(Δp/Δp_ref)`
///
/// # Symbols
/// `Δp`, `Δp_ref` differences across the injector, Pa: rail minus *port*, both absolute.
///
/// # Valid range
/// Both positive; constant discharge coefficient. Zero for a negative `Δp`.
///
/// # Source
/// Bernoulli.
#[must_use]
pub fn flow_ratio(difference: Pressure, reference: Pressure) -> f64 {
    (difference / reference).value.max(0.0).sqrt()
}

/// How the *mass* flow scales with the fluid at one difference.
///
/// # Formula
/// `ṁ₁/ṁ₂ = √(ρ₁/ρ₂)`
///
/// # Symbols
/// `ρ₁`, `ρ₂` densities of the fluids, kg/m³. The volume flow scales the other way round.
///
/// # Valid range
/// Same discharge coefficient for both fluids.
///
/// # Source
/// `ṁ = C_d A √(2ρΔp)`.
#[must_use]
pub fn mass_flow_ratio(density: Density, other: Density) -> f64 {
    (density / other).value.sqrt()
}

/// Static volume flow at another difference and density.
///
/// # Formula
/// `Q = Q_ref √(Δp/Δp_ref) √(ρ_ref/ρ)`
///
/// # Symbols
/// `Q_ref` rated flow, m³/s; `Δp`, `Δp_ref` as [`flow_ratio`], Pa; `ρ_ref` fluid of the rating, `ρ` fuel,
/// kg/m³.
///
/// # Valid range
/// As [`flow_ratio`].
///
/// # Source
/// Bernoulli.
#[must_use]
pub fn static_flow(
    rated: VolumeRate,
    rated_difference: Pressure,
    rated_density: Density,
    difference: Pressure,
    density: Density,
) -> VolumeRate {
    rated * flow_ratio(difference, rated_difference) * mass_flow_ratio(rated_density, density)
}

/// Volume that one pulse delivers.
///
/// # Formula
/// `V = Q_s (t_w − t_d)`, none when `t_w ≤ t_d`
///
/// # Symbols
/// `Q_s` static flow, m³/s; `t_w` commanded pulse width, s; `t_d` dead time, s. In the terms
/// of SAE J1832: time offset X, dynamic flow Qd (`V`), static flow Qs and slope m (`Q_s`).
///
/// # Valid range
/// The working flow range (WFR): above the low-pulse region ([`LowPulse`]), below going static.
///
/// # Source
/// Linear offset model; terms of SAE J1832 (abstract).
#[must_use]
pub fn delivered_volume(flow: VolumeRate, pulse: Time, dead_time: Time) -> Volume {
    let open = pulse - dead_time;
    if open.value > 0.0 { flow * open } else { 0.0 * flow * pulse }
}

/// Mass that one pulse delivers: `ρ` times [`delivered_volume`].
#[must_use]
pub fn delivered_mass(flow: VolumeRate, density: Density, pulse: Time, dead_time: Time) -> Mass {
    density * delivered_volume(flow, pulse, dead_time)
}

/// Pulse that delivers a volume.
///
/// # Formula
/// `t_w = V/Q_s + t_d`
///
/// # Symbols
/// As [`delivered_volume`].
///
/// # Valid range
/// `Q_s > 0`.
///
/// # Source
/// Its inverse.
#[must_use]
pub fn pulse_for_volume(volume: Volume, flow: VolumeRate, dead_time: Time) -> Time {
    volume / flow + dead_time
}

/// Time of one four-stroke cycle: all that a pulse may take.
///
/// # Formula
/// `t = 4π/ω = 120 s/n` with `n` in r/min
///
/// # Symbols
/// `ω` engine speed, rad/s.
///
/// # Valid range
/// One pulse a cycle (sequential); two pulses a cycle have half each.
///
/// # Source
/// Two revolutions a cycle.
#[must_use]
pub fn available_time(speed: AngularVelocity) -> Time {
    4.0 * PI / speed
}

/// Share of the cycle that the injector is commanded open.
///
/// # Formula
/// `D = t_w/t`
///
/// # Symbols
/// `t_w` pulse width, s; `t` [`available_time`], s.
///
/// # Valid range
/// 0.85 as design, 0.90 as hard limit (common practice, no source). At 1 the injector never shuts: more pulse gives no
/// more fuel and the engine goes lean.
///
/// # Source
/// Definition.
#[must_use]
pub fn duty(pulse: Time, speed: AngularVelocity) -> f64 {
    (pulse / available_time(speed)).value
}

/// What short pulses deliver beside the straight line, as added open time over pulse width.
///
/// # Formula
/// `t_open = t_w − t_d + a(t_w − t_d)`, `a` linear between the points, zero from the last point on
///
/// # Symbols
/// points of effective pulse `t_w − t_d` (s) and added time `a` (s), measured on the bench.
///
/// # Valid range
/// From the first point; a shorter pulse is refused: it may or may not open the needle. The last point must
/// have `a = 0`, so that the line goes on without a step.
///
/// # Source
/// The points are data; common practice, no source.
#[derive(Clone, Debug, PartialEq)]
pub struct LowPulse {
    points: Vec<(f64, f64)>,
}

/// Why a low-pulse table cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub enum BadLowPulse {
    /// Fewer than two points, or effective pulses that do not rise.
    Points(Vec<(f64, f64)>),
    /// The last point still adds time, s.
    Step(f64),
    /// The first point (s) takes all of its pulse away.
    Shut(f64, f64),
    /// Between these effective pulses (s) a longer pulse would deliver less.
    Falling(f64, f64),
}

impl fmt::Display for BadLowPulse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Points(points) => {
                write!(
                    f,
                    "a low-pulse table needs two or more points with rising effective pulse, it is {points:?}"
                )
            }
            Self::Step(added) => write!(
                f,
                "the last low-pulse point still adds {:.4} ms: measure on until the line is straight and end with 0",
                added * 1e3
            ),
            Self::Shut(x, a) => write!(
                f,
                "at the first low-pulse point {:.4} ms are added to {:.4} ms: nothing would be delivered; begin where fuel comes",
                a * 1e3,
                x * 1e3
            ),
            Self::Falling(a, b) => write!(
                f,
                "between {:.3} and {:.3} ms of effective pulse a longer pulse would deliver less: measure those points again",
                a * 1e3,
                b * 1e3
            ),
        }
    }
}

impl std::error::Error for BadLowPulse {}

/// An effective pulse shorter than any that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PulseTooShort {
    /// Effective pulse asked for, s.
    pub effective: f64,
    /// Shortest that the table holds, s.
    pub shortest: f64,
}

impl fmt::Display for PulseTooShort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "an effective pulse of {:.3} ms is shorter than the {:.3} ms the table starts with: the injector may not open; use a smaller injector or a lower difference",
            self.effective * 1e3,
            self.shortest * 1e3
        )
    }
}

impl std::error::Error for PulseTooShort {}

impl LowPulse {
    /// From measured points: effective pulse (s) and added open time (s).
    ///
    /// # Errors
    /// [`BadLowPulse`] says what does not fit.
    pub fn new(points: Vec<(f64, f64)>) -> Result<Self, BadLowPulse> {
        let finite = points.iter().all(|(x, a)| x.is_finite() && a.is_finite());
        let Some(&(_, last)) = points.last() else { return Err(BadLowPulse::Points(points)) };
        if points.len() < 2 || !finite || points.windows(2).any(|w| w[0].0 >= w[1].0) {
            return Err(BadLowPulse::Points(points));
        }
        if last != 0.0 {
            return Err(BadLowPulse::Step(last));
        }
        let (x, a) = points[0];
        if x <= 0.0 || x + a <= 0.0 {
            return Err(BadLowPulse::Shut(x, a));
        }
        if let Some(w) = points.windows(2).find(|w| w[0].0 + w[0].1 >= w[1].0 + w[1].1) {
            return Err(BadLowPulse::Falling(w[0].0, w[1].0));
        }
        Ok(Self { points })
    }

    /// Open time (s) of an effective pulse (s).
    ///
    /// # Errors
    /// [`PulseTooShort`] below the first point.
    pub fn open_time(&self, effective: f64) -> Result<f64, PulseTooShort> {
        let first = self.points[0].0;
        if effective.is_nan() || effective < first {
            return Err(PulseTooShort { effective, shortest: first });
        }
        Ok(self.at_edge(effective))
    }

    /// The same, and from nothing up to the first point in proportion: what a solver needs on its way. Rising.
    #[must_use]
    pub fn at_edge(&self, effective: f64) -> f64 {
        // Both columns rise from nought on, see `LowPulse::new`.
        self.knots()
            .find(|(_, b)| effective < b.0)
            .map_or(effective, |(a, b)| (a.1 + (b.1 - a.1) * (effective - a.0) / (b.0 - a.0)).max(0.0))
    }

    /// The effective pulse (s) that is open for this time (s): the inverse of [`LowPulse::at_edge`].
    #[must_use]
    pub fn effective_for(&self, open: f64) -> f64 {
        self.knots()
            .find(|(_, b)| open < b.1)
            .map_or(open, |(a, b)| (a.0 + (b.0 - a.0) * (open - a.1) / (b.1 - a.1)).max(0.0))
    }

    /// Effective pulse from which on nothing is added, s.
    #[must_use]
    pub fn straight_from(&self) -> f64 {
        self.points[self.points.len() - 1].0
    }

    /// Neighbouring pairs of (effective pulse, open time), from nothing on.
    fn knots(&self) -> impl Iterator<Item = ((f64, f64), (f64, f64))> + '_ {
        let open = |p: &(f64, f64)| (p.0, p.0 + p.1);
        let before = std::iter::once((0.0, 0.0)).chain(self.points.iter().map(open));
        before.zip(self.points.iter().map(open))
    }
}
