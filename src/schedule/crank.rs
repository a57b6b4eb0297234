//! Crank angle over time, both ways, in closed form.

use super::track::Track;
use std::f64::consts::PI;

/// Crank angle of an engine whose speed follows a [`Track`].
///
/// # Formula
/// `θ(t) = ∫ 2π n/60 dt` from t = 0; on a straight piece `θ = θ_k + ω_k Δt + ½ ω'_k Δt²`
///
/// # Symbols
/// `n` speed, rev/min; `θ` crank angle, rad; `ω` = 2πn/60, rad/s.
///
/// # Valid range
/// Speed at or above zero; an angle that is never reached has no time.
///
/// # Source
/// Kinematics.
#[derive(Clone, Debug, PartialEq)]
pub struct CrankClock {
    speed: Track,
    angle: Vec<f64>,
    offset: f64,
}

impl CrankClock {
    /// From speed in rev/min over time.
    #[must_use]
    pub fn new(rpm: &Track) -> Self {
        let speed = rpm.map(|n| n.max(0.0) * PI / 30.0);
        let angle = speed.cumulative();
        let mut clock = Self { speed, angle, offset: 0.0 };
        clock.offset = -clock.angle(0.0);
        clock
    }

    /// Crank speed, rad/s, at a time, s.
    #[must_use]
    #[inline]
    pub fn speed(&self, t: f64) -> f64 {
        self.speed.at(t)
    }

    /// Growth of the speed, rad/s², just after a time, s.
    #[must_use]
    pub fn acceleration(&self, t: f64) -> f64 {
        self.speed.rate(t)
    }

    /// Crank angle, rad, at a time, s; zero at time zero.
    #[must_use]
    #[inline]
    pub fn angle(&self, t: f64) -> f64 {
        let times = self.speed.times();
        let k = times.partition_point(|x| *x <= t);
        let base = if k == 0 {
            self.speed.values()[0] * (t - times[0])
        } else {
            let dt = t - times[k - 1];
            self.angle[k - 1] + dt * (self.speed.values()[k - 1] + 0.5 * dt * self.speed.rate(t))
        };
        self.offset + base
    }

    /// The time, s, at which a crank angle, rad, is reached; none if the engine stops before.
    #[must_use]
    pub fn time_of(&self, angle: f64) -> Option<f64> {
        let target = angle - self.offset;
        let (times, speeds) = (self.speed.times(), self.speed.values());
        let k = self.angle.partition_point(|x| *x <= target);
        if k == 0 {
            return (speeds[0] > 0.0).then(|| times[0] + target / speeds[0]);
        }
        let (t0, w) = (times[k - 1], speeds[k - 1]);
        let left = target - self.angle[k - 1];
        if left == 0.0 {
            return Some(t0);
        }
        let slope = if k < times.len() { (speeds[k] - w) / (times[k] - t0) } else { 0.0 };
        // The root of w x + s x²/2 = left that does not cancel.
        let root = (w * w + 2.0 * slope * left).max(0.0).sqrt();
        let x = 2.0 * left / (w + root);
        x.is_finite().then_some(t0 + x)
    }

    /// The first corner of the speed strictly after a time, s.
    #[must_use]
    pub fn next_corner(&self, t: f64) -> Option<f64> {
        self.speed.next_corner(t)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angle_and_time_are_inverse_over_ramps_holds_and_jumps() {
        let rpm = Track::new(&[(0.0, 900.0), (1.0, 900.0), (2.0, 6500.0), (2.0, 3000.0), (4.0, 3000.0)])
            .expect("valid");
        let clock = CrankClock::new(&rpm);
        for k in 0..100 {
            let t = 0.05 * f64::from(k);
            let back = clock.time_of(clock.angle(t)).expect("turning");
            assert!((back - t).abs() < 1e-12, "{t} {back}");
        }
        // Two seconds: 900/60 rev, then the mean of 900 and 6500 for a second.
        let revolutions = 900.0 / 60.0 + 3700.0 / 60.0;
        assert!((clock.angle(2.0) / (2.0 * PI) - revolutions).abs() < 1e-12);
    }

    #[test]
    fn an_engine_that_stops_never_reaches_later_angles() {
        let clock = CrankClock::new(&Track::new(&[(0.0, 600.0), (1.0, 0.0)]).expect("valid"));
        assert!(clock.time_of(2.0 * PI * 4.9).is_some());
        assert_eq!(clock.time_of(2.0 * PI * 5.1), None);
    }
}
