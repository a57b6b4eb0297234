//! How the manifold fills and boost builds, before the fuel is stepped.
//!
//! What an engine takes hangs on the manifold's own course (volumetric efficiency, temperature of the charge), and that
//! course on what the engine takes. Fuel acts on neither, so the intake is first stepped alone, again and again, each time
//! with the engine's demand along its last course, until the course stays. In the run its equations go with the circuit's.

use super::from_build::{bare, samples, track};
use super::network::{Intake, NetSystem, Plate};
use crate::build::Build;
use crate::error::{Error, Kind, Result};
use crate::part::manifold::Throttle;
use crate::quantity::GaugePressure;
use crate::schedule::{Schedule, Track};
use crate::steady::{Operating, Point, point};
use crate::stepper::{self, Observer, StepView, Tsit5};
use std::ops::ControlFlow;

/// Most courses tried.
const ROUNDS: usize = 12;
/// Rounds in which the times of a course's points move with it.
const MOVING: usize = 2;
/// A course stays when it moves by less than this, Pa; the next round would move it by a tenth of that.
const STAYS: f64 = 20.0;
/// How far straight lines between the points of a course may lie from it, Pa: a ten-thousandth of what the engine asks for.
const STRAIGHT: f64 = 10.0;
/// Points of a course within a step.
const WITHIN: usize = 24;

/// The schedule as the engine feels it: its boost is that of the manifold as it fills. None where the build has no intake to
/// follow.
pub(super) fn felt(build: &Build, s: &Schedule) -> Result<Option<Schedule>> {
    if !follows(build, s)? {
        return Ok(None);
    }
    let mut felt = s.clone();
    // What is always asked for the same is there from the start.
    if s.boost.is_constant() && s.throttle.is_none() {
        return Ok(Some(felt));
    }
    let mut dense = s.boost.clone();
    for round in 0..ROUNDS {
        let samples = samples(build, &felt, Some(s))?;
        let next = alone(build, s, &samples)?;
        let at = next.times().iter().chain(dense.times());
        let moved = at.map(|t| (next.at(*t) - dense.at(*t)).abs()).fold(0.0, f64::max);
        // At times that stay the course cannot come and go with its points.
        felt.boost = if round < MOVING { thinned(&next, s)? } else { course(&felt.boost, |t| next.at(t))? };
        dense = next;
        if moved < STAYS {
            return Ok(Some(felt));
        }
    }
    let what = format!("the manifold's course does not settle in {ROUNDS} rounds");
    Err(Error::new(Kind::Solve, what)
        .next(
            "look at engine.ve_map_rows for steps over manifold pressure, or leave engine.intake_volume out",
        )
        .at_key("engine.intake_volume"))
}

/// Whether a build has an intake to follow.
fn follows(build: &Build, s: &Schedule) -> Result<bool> {
    let e = build.section("engine");
    if let Some(opening) = &s.throttle {
        throttle(build)?;
        // An engine that runs behind a shut throttle has no air to begin with.
        if opening.at(0.0) <= 0.0 && s.rpm.at(0.0) > 0.0 {
            return Err(Error::new(Kind::Value, "schedule.throttle begins at 0 with the engine running")
                .next("begin with the opening that it idles at (transient::throttle_opening finds it)")
                .at_key("schedule.throttle"));
        }
    }
    let without =
        [("spool_time", "boost builds in no volume"), ("throttle_area", "the throttle fills no volume")];
    match without.into_iter().find(|(key, _)| e.opt(key).is_some()) {
        Some((key, what)) if e.opt("intake_volume").is_none() => Err(Error::new(Kind::Layout, what)
            .next(format!("give engine.intake_volume too, or leave engine.{key} out"))
            .at_key(format!("engine.{key}"))),
        _ => Ok(e.opt("intake_volume").is_some()),
    }
}

/// The intake of a build with the demand of these samples; none where it is not followed.
pub(super) fn intake(build: &Build, s: &Schedule, samples: &[(f64, Point)]) -> Result<Option<Intake>> {
    let e = build.section("engine");
    let Some(volume) = e.opt("intake_volume") else { return Ok(None) };
    let outside = build.section("ambient").si("temperature");
    Ok(Some(Intake {
        volume,
        spool: e.opt("spool_time").unwrap_or(0.0),
        target: s.boost.clone(),
        temperature: track(samples, |p| p.demand.map_or(outside, |d| d.charge_temperature))?,
        pull: track(samples, |p| p.demand.map_or(0.0, |d| d.air / d.manifold))?,
        throttle: match &s.throttle {
            Some(opening) => Some(Plate { law: throttle(build)?, opening: opening.clone() }),
            None => None,
        },
        hoses: vec![],
    }))
}

/// The throttle of a build.
fn throttle(build: &Build) -> Result<Throttle> {
    let e = build.section("engine");
    for (key, what) in
        [("throttle_area", "the throttle has no area"), ("intake_volume", "the throttle fills no volume")]
    {
        if e.opt(key).is_none() {
            return Err(Error::new(Kind::Layout, what)
                .next(format!("give engine.{key}, or leave the throttle out of the schedule"))
                .at_key(format!("engine.{key}")));
        }
    }
    Ok(Throttle { area: e.si("throttle_area") })
}

/// Opening of the throttle, a share of `engine.throttle_area`, at which an engine that runs at an operating point stands at
/// its manifold pressure, with the charge pipe at a pressure: the inverse of [`Throttle`]'s law.
///
/// # Errors
/// A build without `engine.throttle_area` and `engine.intake_volume`; an engine at rest; a charge pipe no higher than the
/// manifold; a throttle too small for so much air.
pub fn throttle_opening(build: &Build, op: &Operating, pipe: impl Into<GaugePressure>) -> Result<f64> {
    let law = throttle(build)?;
    let p = point(build, op)?;
    let before = p.ambient + pipe.into().pascals();
    let refused = |what: String, next: &str| {
        Err(Error::new(Kind::Value, what).next(next.to_owned()).at_key("engine.throttle_area"))
    };
    let Some(demand) = p.demand else {
        return refused("an engine at rest draws no air through its throttle".to_owned(), "give it a speed");
    };
    let opening = law.opening(demand.air, (before, p.manifold), demand.charge_temperature);
    match opening {
        Some(x) if x <= 1.0 => Ok(x),
        Some(x) => refused(
            format!("so much air asks for {x:.2} of engine.throttle_area"),
            "give a larger throttle, or a higher pressure in the charge pipe",
        ),
        None => refused(
            format!(
                "the charge pipe at {before:.0} Pa stands no higher than the manifold at {:.0} Pa",
                p.manifold
            ),
            "give a higher pressure in the charge pipe",
        ),
    }
}

/// Gauge pressure in the manifold with the demand of these samples.
fn alone(build: &Build, s: &Schedule, samples: &[(f64, Point)]) -> Result<Track> {
    let mut net = bare(build, s, samples)?;
    net.intake = intake(build, s, samples)?;
    let ambient = net.ambient;
    let failed = |what: String| Error::new(Kind::Solve, what).at_key("engine.intake_volume");
    let (mut system, y) =
        NetSystem::<4>::new(net, 0.0).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key(e.key))?;
    let view = system.clone();
    let start = view.manifold(0.0, &y) - ambient;
    let mut course = Course { view: &view, ambient, points: vec![(0.0, start)] };
    let options = system.tolerances(0.03);
    let run = stepper::solve(&mut system, &mut Tsit5::new(), 0.0, y, s.seconds, &options, &mut course)
        .map_err(|e| failed(e.to_string()))?;
    if !run.stop.is_planned() {
        return Err(failed(format!("the intake did not come through: {}", run.stop)));
    }
    Track::new(&course.points).map_err(|e| failed(e.to_string()))
}

struct Course<'a> {
    view: &'a NetSystem<4>,
    ambient: f64,
    points: Vec<(f64, f64)>,
}

impl Observer<4> for Course<'_> {
    fn step(&mut self, step: &StepView<'_, 4>) -> ControlFlow<()> {
        let mut y = [0.0; 4];
        for k in 1..=WITHIN {
            let t =
                if k == WITHIN { step.t1 } else { step.t0 + (step.t1 - step.t0) * k as f64 / WITHIN as f64 };
            step.at(t, &mut y);
            self.points.push((t, self.view.manifold(t, &y) - self.ambient));
        }
        ControlFlow::Continue(())
    }
}

/// A course over the times of another.
fn course(times: &Track, at: impl Fn(f64) -> f64) -> Result<Track> {
    let points: Vec<(f64, f64)> = times.times().iter().map(|t| (*t, at(*t))).collect();
    Track::new(&points).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule.boost"))
}

/// Slopes of lines from a point that pass another within [`STRAIGHT`] too; none where it lies beyond that at the same time.
fn narrowed((low, high): (f64, f64), from: (f64, f64), by: (f64, f64)) -> (f64, f64) {
    let (dt, dp) = (by.0 - from.0, by.1 - from.1);
    if dt > 0.0 {
        (low.max((dp - STRAIGHT) / dt), high.min((dp + STRAIGHT) / dt))
    } else if dp.abs() > STRAIGHT {
        (f64::INFINITY, f64::NEG_INFINITY)
    } else {
        (low, high)
    }
}

/// A course with as few points as hold it, the corners of a schedule among them.
fn thinned(course: &Track, s: &Schedule) -> Result<Track> {
    let all: Vec<(f64, f64)> = course.times().iter().copied().zip(course.values().iter().copied()).collect();
    let corners = s.corners();
    let mut kept = vec![all[0]];
    let (mut from, mut corner) = (0, 1);
    // Slopes, from the point last kept, of the lines that pass all points since closely enough.
    let every = (f64::NEG_INFINITY, f64::INFINITY);
    let mut within = every;
    for to in 1..all.len() {
        if to > from + 1 {
            within = narrowed(within, all[from], all[to - 1]);
        }
        let (a, b) = (all[from], all[to]);
        let slope = (b.1 - a.1) / (b.0 - a.0);
        if b.0 > a.0 && to > from + 1 && !(within.0..=within.1).contains(&slope) {
            kept.push(all[to - 1]);
            from = to - 1;
            within = every;
        }
        let passed = corners.get(corner).is_some_and(|c| *c <= b.0);
        if passed {
            kept.push(b);
            from = to;
            within = every;
            while corners.get(corner).is_some_and(|c| *c <= b.0) {
                corner += 1;
            }
        }
    }
    kept.push(all[all.len() - 1]);
    kept.dedup();
    Track::new(&kept).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule.boost"))
}
