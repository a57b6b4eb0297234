//! The one run loop.

use super::control::{error_norm, first_step};
use super::error::StepperError;
use super::event::After;
use super::method::{Attempt, Method};
use super::observer::{Observer, StepView};
use super::options::Options;
use super::roots::Roots;
use super::stop::{Statistics, StopReason};
use super::system::System;

/// An error below 1e-4 counts as that, so that one easy step does not make the next one bold: ln 1e-4.
const LEAST_LOG: f64 = -9.210_340_371_976_182;

/// A step whose error is below this was not held short by it.
const EASY: f64 = 0.1;

/// A root is taken off the continuous extension when the step's error is below this part of the tolerance; the extension
/// is then within the tolerance too, as both errors go with the same power of the step.
pub(super) const TRUSTED: f64 = 0.1;

/// Where a run got to, and why it ended there.
#[derive(Clone, Debug, PartialEq)]
pub struct Run<const N: usize> {
    /// Time reached.
    pub t: f64,
    /// State there.
    pub y: [f64; N],
    /// Why it ended.
    pub stop: StopReason,
    /// What it cost.
    pub statistics: Statistics,
}

/// Integrates from (t0, y0) to t1 with error control, landing on events.
///
/// Time events are landed on bit for bit. A root event is located on the continuous extension, to `options.event_time`.
/// Where the step's error is well below the tolerance the extension is as good as a step and gives the state there;
/// else the step is repeated until the crossing lies within `options.event_time` before its end.
///
/// # Errors
/// [`StepperError`] when the input cannot be started from. A run that fails later is no error: the
/// [`StopReason`] says so, with all that was reached.
pub fn solve<const N: usize, S: System<N>, M: Method<N>, O: Observer<N>>(
    system: &mut S,
    method: &mut M,
    t0: f64,
    y0: [f64; N],
    t1: f64,
    options: &Options<N>,
    observer: &mut O,
) -> Result<Run<N>, StepperError> {
    options.validate()?;
    if !(t0.is_finite() && t1.is_finite() && t1 >= t0) {
        return Err(StepperError::Interval { t0, t1 });
    }
    if let Some(component) = y0.iter().position(|v| !v.is_finite()) {
        return Err(StepperError::InitialState { component, value: y0[component] });
    }
    let mut statistics = Statistics::default();
    method.restart(system, t0, &y0, &mut statistics);
    if let Some(component) = method.rate().iter().position(|v| !v.is_finite()) {
        return Err(StepperError::InitialRate { component, value: method.rate()[component] });
    }
    let h = match options.first_step {
        Some(h) => h,
        None => first_step(system, method, t0, &y0, t1, options, &mut statistics),
    };
    let mut runner = Runner {
        system,
        method,
        options,
        observer,
        statistics,
        t: t0,
        y: y0,
        h,
        last_log: LEAST_LOG,
        norm: 1.0,
        cut: false,
        fresh: false,
        first: [f64::INFINITY; 2],
        after: 0,
        roots: Roots::default(),
        last_root: f64::NEG_INFINITY,
        close_roots: 0,
    };
    runner.roots.start(runner.system, t0, &y0, None);
    let stop = runner.run(t1);
    Ok(Run { t: runner.t, y: runner.y, stop, statistics: runner.statistics })
}

pub(super) struct Runner<'a, const N: usize, S, M, O> {
    pub(super) system: &'a mut S,
    pub(super) method: &'a mut M,
    pub(super) options: &'a Options<N>,
    pub(super) observer: &'a mut O,
    pub(super) statistics: Statistics,
    pub(super) t: f64,
    pub(super) y: [f64; N],
    pub(super) h: f64,
    /// Logarithm of the error of the last accepted step.
    pub(super) last_log: f64,
    /// Error of the step just tried, over the tolerance.
    pub(super) norm: f64,
    /// Whether it was cut short at a root.
    pub(super) cut: bool,
    /// Whether no step was accepted since the last jump; the steps that fitted after the last time and root event, and
    /// which of the two came last.
    pub(super) fresh: bool,
    pub(super) first: [f64; 2],
    pub(super) after: usize,
    pub(super) roots: Roots,
    pub(super) last_root: f64,
    pub(super) close_roots: u32,
}

impl<const N: usize, S: System<N>, M: Method<N>, O: Observer<N>> Runner<'_, N, S, M, O> {
    fn run(&mut self, t1: f64) -> StopReason {
        loop {
            if self.t >= t1 {
                return StopReason::Finished;
            }
            let event = self.system.next_time_event(self.t).filter(|e| *e <= t1);
            if event.is_some_and(|e| e <= self.t) {
                // Due at the very start: nothing to step over.
                if let Some(stop) = self.due_now() {
                    return stop;
                }
                continue;
            }
            let landmark = event.unwrap_or(t1);
            let (step, t_new) = match self.controlled_step(landmark) {
                Ok(x) => x,
                Err(stop) => return stop,
            };
            let (t_new, at_root) = match self.find_roots(step, t_new) {
                Ok(x) => x,
                Err(stop) => return stop,
            };
            let flow = StepView::with(self.method, (self.t, t_new), &self.y, |v| self.observer.step(v));
            self.y = *self.method.new_state();
            self.t = t_new;
            if flow.is_break() {
                return StopReason::Cancelled { t: t_new };
            }
            if let Some(what) = self.system.check(t_new, &self.y) {
                return StopReason::OutOfRange { t: t_new, what };
            }
            // A step that was cut short has no rate at its end to go on with.
            let mut restart = std::mem::take(&mut self.cut);
            if at_root {
                match self.handle_roots() {
                    Ok(again) => restart |= again,
                    Err(stop) => return stop,
                }
            }
            if event.is_some() && t_new == landmark {
                self.statistics.time_events += 1;
                let after = self.system.at_time_event(t_new, &mut self.y);
                self.observer.time_event(t_new, &self.y);
                match after {
                    After::Continue => {}
                    After::Restart => restart = true,
                    After::Stop => return StopReason::TimeEvent { t: t_new },
                }
            }
            if restart {
                self.method.restart(self.system, t_new, &self.y, &mut self.statistics);
                let fired = if at_root { self.roots.crossed.clone() } else { Vec::new() };
                self.roots.start(self.system, t_new, &self.y, Some(&fired));
                self.last_log = LEAST_LOG;
                // What the last jump allowed is the best guess of what this one will.
                self.fresh = true;
                self.after = usize::from(at_root);
                self.h = self.h.min(self.first[self.after]);
            } else {
                self.method.accept(self.system, t_new, &mut self.statistics);
            }
        }
    }

    fn due_now(&mut self) -> Option<StopReason> {
        let t = self.t;
        self.statistics.time_events += 1;
        let after = self.system.at_time_event(t, &mut self.y);
        self.observer.time_event(t, &self.y);
        self.method.restart(self.system, t, &self.y, &mut self.statistics);
        self.roots.start(self.system, t, &self.y, None);
        if after == After::Stop {
            return Some(StopReason::TimeEvent { t });
        }
        // A system that keeps offering this instant would never move.
        let again = self.system.next_time_event(t).is_some_and(|e| e <= t);
        again.then_some(StopReason::EventsAccumulate { t, root: usize::MAX })
    }

    /// Repeats a step until the error test passes. Returns its length and end.
    fn controlled_step(&mut self, landmark: f64) -> Result<(f64, f64), StopReason> {
        let o = self.options;
        let power = 1.0 / self.method.error_order();
        let mut rejected = false;
        loop {
            if self.statistics.accepted + self.statistics.rejected >= o.max_steps {
                return Err(StopReason::TooManySteps { t: self.t });
            }
            let least = o.min_step.max(8.0 * f64::EPSILON * self.t.abs());
            let wanted = self.h.min(o.max_step);
            let left = landmark - self.t;
            // Landing exactly, and no sliver of a step before the landmark.
            let (step, t_new) = if wanted >= left * (1.0 - 1e-9) {
                (left, landmark)
            } else if wanted > 0.5 * left {
                (0.5 * left, self.t + 0.5 * left)
            } else {
                (wanted, self.t + wanted)
            };
            let attempt = self.method.attempt(self.system, self.t, &self.y, step, &mut self.statistics);
            let (norm, worst) = if attempt == Attempt::Done {
                error_norm(&self.y, self.method.new_state(), self.method.error(), o)
            } else {
                (f64::NAN, 0)
            };
            if !norm.is_finite() {
                self.statistics.rejected += 1;
                rejected = true;
                self.h = 0.2 * step;
                if self.h < least || self.h == 0.0 {
                    return Err(StopReason::NotFinite { t: self.t, component: self.runaway() });
                }
            } else if norm <= 1.0 {
                self.statistics.accepted += 1;
                self.norm = norm;
                let e = norm.max(1e-10);
                let grow = if rejected { 1.0 } else { 8.0 };
                // 0.9 e^(0.03 - power) last^0.04, by one logarithm.
                let log = e.ln();
                let factor = (0.9 * ((0.03 - power) * log + 0.04 * self.last_log).exp()).clamp(0.2, grow);
                // A step cut short by a landmark says little about the step that the solution allows.
                self.h = if step < wanted { (step * factor).max(wanted) } else { step * factor };
                self.last_log = log.max(LEAST_LOG);
                if self.fresh {
                    self.fresh = false;
                    self.first[self.after] = if self.method.steps_over() { self.h } else { step * factor };
                }
                self.method.passed(!rejected && (step == left || norm < EASY));
                return Ok((step, t_new));
            } else {
                self.statistics.rejected += 1;
                rejected = true;
                self.h = step * (0.9 * norm.powf(-power)).clamp(0.1, 0.9);
                if self.h < least {
                    return Err(StopReason::StepTooSmall { t: self.t, component: worst });
                }
            }
        }
    }

    /// The component that runs away: fastest for its size. A linear solve spreads NaN to all of them.
    pub(super) fn runaway(&self) -> usize {
        let (rate, y, o) = (self.method.rate(), &self.y, self.options);
        let speed = |i: usize| (rate[i] / (o.absolute[i] + y[i].abs())).abs();
        (0..o.active).max_by(|a, b| speed(*a).total_cmp(&speed(*b))).unwrap_or(0)
    }
}
