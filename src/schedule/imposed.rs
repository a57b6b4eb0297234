//! What is imposed on a car over time, and the runs that a workshop makes.

use super::track::{BadTrack, Track};
use crate::quantity::{AngularVelocity, GaugePressure, Pressure, Temperature, Time, Voltage};
use std::f64::consts::PI;

/// A condition that ends a run before its time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Until {
    /// Rail gauge pressure falls to this, Pa.
    RailBelow(f64),
    /// Rail gauge pressure rises to this, Pa.
    RailAbove(f64),
    /// Rail less manifold falls to this, Pa.
    DifferenceBelow(f64),
}

impl Until {
    /// Ends the run when the rail falls to a pressure.
    #[must_use]
    pub fn rail_below(p: impl Into<GaugePressure>) -> Self {
        Self::RailBelow(p.into().pascals())
    }

    /// Ends the run when the rail rises to a pressure.
    #[must_use]
    pub fn rail_above(p: impl Into<GaugePressure>) -> Self {
        Self::RailAbove(p.into().pascals())
    }

    /// Ends the run when the pressure difference over the injectors falls to a value.
    #[must_use]
    pub fn difference_below(p: Pressure) -> Self {
        Self::DifferenceBelow(p.value)
    }
}

/// How a run begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Start {
    /// Lines full, at ambient pressure, nothing moving: before key-on.
    Rest,
    /// At the operating point of the first instant, after running there for a while.
    Running,
}

/// What is imposed over time. Tracks hold their first value before their first point.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    /// Name of the run.
    pub name: String,
    /// Length of the run, s.
    pub seconds: f64,
    /// Engine speed, rev/min; zero is an engine at rest.
    pub rpm: Track,
    /// Manifold pressure above ambient, Pa. Where the build gives `engine.intake_volume` it is what throttle and boost control
    /// ask for, and the manifold fills towards it; with a `throttle` below it is what boost control asks for in the charge pipe,
    /// at least ambient pressure.
    pub boost: Track,
    /// Opening of the throttle, 0 to 1: the share of `engine.throttle_area` that is open. Air then flows through it from the
    /// charge pipe, and the manifold stands where filling takes it. Left out: the manifold goes where `boost` asks.
    pub throttle: Option<Track>,
    /// Supply voltage, V; the build's own over speed when left out.
    pub supply: Option<Track>,
    /// Whether the pumps have power (1) or an open relay (0).
    pub power: Track,
    /// Pressure put on the regulators' reference ports above ambient, Pa, whatever their hoses do; when left out, what the
    /// hoses bring.
    pub reference: Option<Track>,
    /// Fuel temperature, K; the build's own when left out. Its change expands the fuel; other properties stay.
    pub fuel_temperature: Option<Track>,
    /// What ends the run early.
    pub until: Option<Until>,
    /// How it begins.
    pub start: Start,
}

fn rpm_of(w: AngularVelocity) -> f64 {
    w.value * 30.0 / PI
}

/// A value that holds, then ramps within `over` from `at` on. What is no number makes it none, which a run refuses by its key.
fn ramp(from: f64, to: f64, at: f64, over: f64) -> Track {
    or_refused(&[(0.0, from), (at, from), (at + over, to)])
}

/// A track through points; one that a run refuses by its key where they run backward.
fn or_refused(points: &[(f64, f64)]) -> Track {
    Track::new(points).unwrap_or_else(|_| Track::constant(f64::NAN))
}

impl Schedule {
    /// Speed and boost held for a time.
    #[must_use]
    pub fn hold(speed: AngularVelocity, boost: impl Into<GaugePressure>, time: Time) -> Self {
        Self {
            name: "hold".into(),
            seconds: time.value,
            rpm: Track::constant(rpm_of(speed)),
            boost: Track::constant(boost.into().pascals()),
            throttle: None,
            supply: None,
            power: Track::constant(1.0),
            reference: None,
            fuel_temperature: None,
            until: None,
            start: Start::Running,
        }
    }

    /// Key on, engine at rest: the pump runs for `prime`, then its relay opens.
    ///
    /// **Caution:** first pressure after work on the system: look at every joint, extinguisher at hand, no ignition
    /// source; any visible or smellable leak is a fail.
    #[must_use]
    pub fn key_on_prime(prime: Time, time: Time) -> Self {
        Self {
            name: "key-on prime".into(),
            power: or_refused(&[(0.0, 1.0), (prime.value, 1.0), (prime.value, 0.0)]),
            start: Start::Rest,
            ..Self::engine_off(time)
        }
    }

    /// Engine at rest, pump running.
    #[must_use]
    pub fn engine_off(time: Time) -> Self {
        let still = AngularVelocity { value: 0.0, ..crate::quantity::rpm(0.0) };
        Self { name: "engine off".into(), ..Self::hold(still, GaugePressure::from_pascals(0.0), time) }
    }

    /// At idle with the reference hose off and plugged, put on at `at`: the port then stands at what the hose `brings`, the
    /// manifold's vacuum unless it leaks or is joined elsewhere, and the rail falls by that.
    #[must_use]
    pub fn idle_hose_off_on(
        speed: AngularVelocity,
        vacuum: impl Into<GaugePressure>,
        brings: impl Into<GaugePressure>,
        at: Time,
        time: Time,
    ) -> Self {
        Self {
            name: "idle, hose off then on".into(),
            reference: Some(ramp(0.0, brings.into().pascals(), at.value, 0.05)),
            ..Self::hold(speed, vacuum, time)
        }
    }

    /// The throttle snapped open from idle: manifold from vacuum to `boost` within `opens`, speed following. Where the intake
    /// is followed, `opens` is the throttle's time, and the manifold takes its own.
    #[must_use]
    pub fn snap(
        idle: AngularVelocity,
        vacuum: impl Into<GaugePressure>,
        boost: impl Into<GaugePressure>,
        opens: Time,
        time: Time,
    ) -> Self {
        let (low, high) = (vacuum.into().pascals(), boost.into().pascals());
        let n = rpm_of(idle);
        Self {
            name: "snap".into(),
            boost: ramp(low, high, 0.2, opens.value),
            rpm: ramp(n, 3.0 * n, 0.2 + opens.value, 1.0),
            ..Self::hold(idle, GaugePressure::from_pascals(low), time)
        }
    }

    /// Boost from one value to another at one speed, `over` long; asked for so where the intake is followed, with no time at
    /// all for a step.
    #[must_use]
    pub fn boost_step(
        speed: AngularVelocity,
        from: impl Into<GaugePressure>,
        to: impl Into<GaugePressure>,
        over: Time,
        time: Time,
    ) -> Self {
        let (from, to) = (from.into(), to.into());
        Self {
            name: "boost step".into(),
            boost: ramp(from.pascals(), to.pascals(), 0.2, over.value),
            ..Self::hold(speed, from, time)
        }
    }

    /// A loaded pull: speed rises evenly while boost follows the given points of speed and boost.
    ///
    /// **Caution:** lean in boost destroys engines in seconds: protection on and abort limits agreed before the pull.
    ///
    /// # Errors
    /// Points that do not rise in speed.
    pub fn loaded_pull(
        from: AngularVelocity,
        to: AngularVelocity,
        time: Time,
        boost: &[(AngularVelocity, GaugePressure)],
    ) -> Result<Self, BadTrack> {
        let (n0, n1) = (rpm_of(from), rpm_of(to));
        let over_speed =
            Track::new(&boost.iter().map(|(w, p)| (rpm_of(*w), p.pascals())).collect::<Vec<_>>())?;
        let rpm = Track::new(&[(0.0, n0), (time.value, n1)])?;
        let mut corners: Vec<f64> = vec![0.0, time.value];
        let inside = over_speed.times().iter().map(|n| (n - n0) / (n1 - n0) * time.value);
        corners.extend(inside.filter(|t| *t > 0.0 && *t < time.value));
        corners.sort_by(f64::total_cmp);
        let points: Vec<(f64, f64)> = corners.iter().map(|t| (*t, over_speed.at(rpm.at(*t)))).collect();
        Ok(Self {
            name: "loaded pull".into(),
            rpm,
            boost: Track::new(&points)?,
            ..Self::hold(from, GaugePressure::from_pascals(points[0].1), time)
        })
    }

    /// Engine and pump off, the fuel in the lines warming by the engine's heat.
    #[must_use]
    pub fn hot_soak(from: Temperature, to: Temperature, time: Time) -> Self {
        Self {
            name: "hot soak".into(),
            power: or_refused(&[(0.0, 1.0), (1.0, 1.0), (1.0, 0.0)]),
            fuel_temperature: Some(ramp(from.value, to.value, 1.0, (time.value - 1.0).max(0.0))),
            ..Self::engine_off(time)
        }
    }

    /// Pump off after a second: how the rail falls.
    #[must_use]
    pub fn leak_down(time: Time) -> Self {
        Self {
            name: "leak-down".into(),
            power: or_refused(&[(0.0, 1.0), (1.0, 1.0), (1.0, 0.0)]),
            ..Self::engine_off(time)
        }
    }

    /// The pump loses its supply at `at` under load.
    #[must_use]
    pub fn pump_failure(
        speed: AngularVelocity,
        boost: impl Into<GaugePressure>,
        at: Time,
        time: Time,
    ) -> Self {
        Self {
            name: "pump failure".into(),
            power: or_refused(&[(0.0, 1.0), (at.value, 1.0), (at.value, 0.0)]),
            ..Self::hold(speed, boost, time)
        }
    }

    /// The supply sags from one voltage to another and comes back.
    #[must_use]
    pub fn voltage_sag(
        speed: AngularVelocity,
        boost: impl Into<GaugePressure>,
        from: Voltage,
        to: Voltage,
        time: Time,
    ) -> Self {
        let t = time.value;
        let points = [
            (0.0, from.value),
            (0.25 * t, from.value),
            (0.3 * t, to.value),
            (0.6 * t, to.value),
            (0.65 * t, from.value),
        ];
        Self {
            name: "voltage sag".into(),
            supply: Some(or_refused(&points)),
            ..Self::hold(speed, boost, time)
        }
    }

    /// The same by its throttle: `boost` is then what is asked for in the charge pipe, and the manifold stands where this
    /// opening, a share of `engine.throttle_area`, lets it.
    #[must_use]
    pub fn with_throttle(mut self, opening: Track) -> Self {
        self.throttle = Some(opening);
        self
    }

    /// The same with the throttle opened from one share of its area to wide within `opens`, as [`Schedule::snap`] does. A share
    /// that is none from 0 to 1 is refused when it is run.
    #[must_use]
    pub fn throttle_opened(self, from: f64, opens: Time) -> Self {
        self.with_throttle(ramp(from, 1.0, 0.2, opens.value))
    }

    /// The same, ending early.
    #[must_use]
    pub fn until(mut self, until: Until) -> Self {
        self.until = Some(until);
        self
    }

    /// Every corner of its tracks within the run, from 0 to the end, s.
    #[must_use]
    pub fn corners(&self) -> Vec<f64> {
        let mut all = vec![0.0, self.seconds];
        let optional = [&self.throttle, &self.supply, &self.reference, &self.fuel_temperature];
        let tracks = [&self.rpm, &self.boost, &self.power].into_iter().chain(optional.into_iter().flatten());
        for track in tracks {
            all.extend(track.times().iter().copied().filter(|t| *t > 0.0 && *t < self.seconds));
        }
        all.sort_by(f64::total_cmp);
        all.dedup();
        all
    }
}
