//! How the manifold fills and boost builds, before the fuel is stepped.
//!
//! What an engine takes hangs on the manifold's own course (volumetric efficiency, temperature of the charge), and that
//! course on what the engine takes. Fuel acts on neither, so the intake is first stepped alone, again and again, each time
//! with the engine's demand along its last course, until the course stays. In the run its equations go with the circuit's.

use super::from_build::{bare, samples};
use super::intake::{follows, intake};
use super::network::NetSystem;
use super::options::Options;
use super::record::{Before, Watch};
use crate::build::Build;
use crate::error::{Error, Kind, Result};
use crate::quantity::{Amount, Dim};
use crate::schedule::{Schedule, Track};
use crate::steady::{NEAR_VACUUM, Point};
use crate::stepper::{self, Observer, Rodas4, StepView, StopReason};
use std::ops::ControlFlow;

/// Most courses tried.
const ROUNDS: usize = 12;
/// Rounds in which the times of a course's points move with it.
const MOVING: usize = 2;
/// A course stays when it moves by less than this, Pa.
const STAYS: f64 = 20.0;
/// How far straight lines between the points for the engine's demand may lie from the course, Pa, while their times move: a
/// ten-thousandth of what the engine asks for. Later rounds read a course that hardly moves at the times they found.
const STRAIGHT: f64 = 10.0;
/// The same for the points that are kept of a course as it comes, Pa.
const FINE: f64 = 1.0;
/// Points of a course within a step.
const WITHIN: usize = 24;
/// How far above [`NEAR_VACUUM`] demand is held on the way to a course, Pa.
const ABOVE: f64 = 0.01;

/// The schedule as the engine feels it: its boost is that of the manifold as it fills. None where the build has no intake to
/// follow.
pub(super) fn felt(build: &Build, s: &Schedule, o: &Options, watch: Watch<'_>) -> Result<Option<Schedule>> {
    if !follows(build, s)? {
        return Ok(None);
    }
    let mut felt = s.clone();
    // What is always asked for the same is there from the start.
    if s.boost.is_constant() && s.throttle.is_none() {
        return Ok(Some(felt));
    }
    let floor = NEAR_VACUUM - build.section("ambient").si("pressure");
    let mut search = Search { build, s, left: o.max_steps, before: Before::new(watch) };
    let mut dense = s.boost.clone();
    for round in 0..ROUNDS {
        let samples = samples(build, &felt, Some(s))?;
        let found = search.alone(&samples)?;
        // A course may fall too deep on the way to one that does not.
        let next = found.map(|p| p.max(floor + ABOVE));
        let at = next.times().iter().chain(dense.times());
        let moved = at.map(|t| (next.at(*t) - dense.at(*t)).abs()).fold(0.0, f64::max);
        // At times that stay the course cannot come and go with its points.
        felt.boost = if round < MOVING { thinned(&next, s)? } else { course(&felt.boost, |t| next.at(t))? };
        dense = next;
        if moved < STAYS {
            return match falls(&found, floor) {
                Some(t) => Err(near_vacuum(s, t)),
                None => Ok(Some(felt)),
            };
        }
    }
    let what = format!("the manifold's course does not settle in {ROUNDS} rounds");
    Err(Error::new(Kind::Solve, what)
        .next(
            "look at engine.ve_map_rows for steps over manifold pressure, or leave engine.intake_volume out",
        )
        .at_key("engine.intake_volume"))
}

/// When a course first falls below a pressure, s.
fn falls(course: &Track, floor: f64) -> Option<f64> {
    let (t, p) = (course.times(), course.values());
    let k = p.iter().position(|p| *p < floor)?;
    if k == 0 {
        return Some(t[0]);
    }
    Some(t[k - 1] + (t[k] - t[k - 1]) * (p[k - 1] - floor) / (p[k - 1] - p[k]))
}

/// No law says what an engine takes from next to nothing.
fn near_vacuum(s: &Schedule, t: f64) -> Error {
    let (key, value, next) = match &s.throttle {
        Some(x) => {
            ("schedule.throttle", ((1e4 * x.at(t)).round() / 1e4).to_string(), "open it further there")
        }
        None => {
            let asked = Amount::new(s.boost.at(t), Dim::Pressure);
            ("schedule.boost", asked.to_string(), "ask for more there")
        }
    };
    let limit = Amount::new(NEAR_VACUUM, Dim::Pressure).absolute();
    let what = format!("the manifold falls below {limit} at {t:.3} s, near vacuum, where {key} is {value}");
    Error::new(Kind::Range, what).next(format!("{next}, or end the run before that time")).at_key(key)
}

/// The intake stepped alone, within a number of steps for all its courses.
struct Search<'a> {
    build: &'a Build,
    s: &'a Schedule,
    left: u64,
    before: Before<'a>,
}

impl Search<'_> {
    /// Gauge pressure in the manifold with the demand of these samples.
    fn alone(&mut self, samples: &[(f64, Point)]) -> Result<Track> {
        if self.before.ask().is_break() {
            return Err(cancelled());
        }
        let s = self.s;
        let mut net = bare(self.build, s, samples)?;
        net.intake = intake(self.build, s, samples)?;
        let ambient = net.ambient;
        let (mut system, y) = NetSystem::<4>::new(net, 0.0)
            .map_err(|e| Error::new(Kind::Value, e.to_string()).at_key(e.key))?;
        let view = system.clone();
        let start = view.manifold(0.0, &y) - ambient;
        let kept = Thin::new(FINE, s.corners(), (0.0, start));
        let mut course = Course { view: &view, ambient, kept, before: &mut self.before };
        let mut options = system.tolerances(0.03);
        options.max_steps = self.left;
        // A wide throttle before a small volume is stiff.
        let run = stepper::solve(&mut system, &mut Rodas4::new(), 0.0, y, s.seconds, &options, &mut course);
        let points = course.kept.points();
        let run = run.map_err(|e| self.failed(e.to_string()))?;
        self.left = self.left.saturating_sub(run.statistics.accepted + run.statistics.rejected);
        match run.stop {
            stop if stop.is_planned() => Track::new(&points).map_err(|e| self.failed(e.to_string())),
            StopReason::Cancelled { .. } => Err(cancelled()),
            StopReason::TooManySteps { t } => {
                let what = format!(
                    "options.max_steps were used up at {t:.6} s in the search for the manifold's course"
                );
                Err(self.failed(what))
            }
            stop => Err(self.failed(format!("the intake did not come through: {stop}"))),
        }
    }

    fn failed(&self, what: String) -> Error {
        let (key, next) = if self.s.throttle.is_some() {
            ("engine.throttle_area", "give a smaller engine.throttle_area or a larger engine.intake_volume")
        } else {
            ("engine.intake_volume", "give a larger engine.intake_volume")
        };
        Error::new(Kind::Solve, what).next(format!("{next}, or raise options.max_steps")).at_key(key)
    }
}

fn cancelled() -> Error {
    Error::new(Kind::Cancelled, "cancelled in the search for the manifold's course")
}

/// Writes down a course as it comes.
struct Course<'a, 'b> {
    view: &'a NetSystem<4>,
    ambient: f64,
    kept: Thin,
    before: &'a mut Before<'b>,
}

impl Observer<4> for Course<'_, '_> {
    fn step(&mut self, step: &StepView<'_, 4>) -> ControlFlow<()> {
        let mut y = [0.0; 4];
        for k in 1..=WITHIN {
            let t =
                if k == WITHIN { step.t1 } else { step.t0 + (step.t1 - step.t0) * k as f64 / WITHIN as f64 };
            step.at(t, &mut y);
            self.kept.push((t, self.view.manifold(t, &y) - self.ambient));
        }
        self.before.step(step)
    }
}

/// A course over the times of another.
fn course(times: &Track, at: impl Fn(f64) -> f64) -> Result<Track> {
    boost(&times.times().iter().map(|t| (*t, at(*t))).collect::<Vec<_>>())
}

/// Boost through these points.
fn boost(points: &[(f64, f64)]) -> Result<Track> {
    Track::new(points).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule.boost"))
}

/// A course with as few points as hold it, the corners of a schedule among them.
fn thinned(course: &Track, s: &Schedule) -> Result<Track> {
    let mut all = course.times().iter().copied().zip(course.values().iter().copied());
    let first = all.next().unwrap_or_default();
    let mut kept = Thin::new(STRAIGHT, s.corners(), first);
    all.for_each(|p| kept.push(p));
    boost(&kept.points())
}

/// Points of a course, kept as they come: as few as hold it within a width by straight lines, and its corners.
struct Thin {
    width: f64,
    corners: Vec<f64>,
    /// Corners passed.
    passed: usize,
    kept: Vec<(f64, f64)>,
    /// The last point that came, where it is not kept yet.
    last: Option<(f64, f64)>,
    /// Slopes, from the point last kept, of the lines that pass all points since closely enough.
    within: (f64, f64),
}

/// Any slope.
const EVERY: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

impl Thin {
    fn new(width: f64, corners: Vec<f64>, first: (f64, f64)) -> Self {
        let passed = corners.partition_point(|c| *c <= first.0);
        Self { width, corners, passed, kept: vec![first], last: None, within: EVERY }
    }

    fn push(&mut self, b: (f64, f64)) {
        if let Some(last) = self.last {
            let a = self.kept[self.kept.len() - 1];
            self.within = self.narrowed(a, last);
            let slope = (b.1 - a.1) / (b.0 - a.0);
            if b.0 > a.0 && !(self.within.0..=self.within.1).contains(&slope) {
                self.keep(last);
            }
        }
        let passed = self.corners[self.passed..].partition_point(|c| *c <= b.0);
        self.passed += passed;
        if passed > 0 {
            self.keep(b);
        } else {
            self.last = Some(b);
        }
    }

    fn keep(&mut self, p: (f64, f64)) {
        self.kept.push(p);
        self.last = None;
        self.within = EVERY;
    }

    /// Slopes of lines from a point that pass another closely enough too; none where it lies further off at the same time.
    fn narrowed(&self, from: (f64, f64), by: (f64, f64)) -> (f64, f64) {
        let (low, high) = self.within;
        let (dt, dp) = (by.0 - from.0, by.1 - from.1);
        if dt > 0.0 {
            (low.max((dp - self.width) / dt), high.min((dp + self.width) / dt))
        } else if dp.abs() > self.width {
            (f64::INFINITY, f64::NEG_INFINITY)
        } else {
            (low, high)
        }
    }

    /// What is kept, with the last point.
    fn points(mut self) -> Vec<(f64, f64)> {
        self.kept.extend(self.last);
        self.kept.dedup();
        self.kept
    }
}
