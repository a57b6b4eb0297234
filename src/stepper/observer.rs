//! Watching a run: progress, cancelling, recording.

use super::event::Crossing;
use super::method::Method;
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, Ordering};

/// An accepted step, with its continuous extension.
pub struct StepView<'a, const N: usize> {
    /// Start of the step, s.
    pub t0: f64,
    /// End of the step, s.
    pub t1: f64,
    /// State at the start.
    pub y0: &'a [f64; N],
    /// State at the end.
    pub y1: &'a [f64; N],
    interpolate: &'a dyn Fn(f64, &mut [f64; N]),
    interpolate_one: &'a dyn Fn(f64, usize) -> f64,
}

impl<'a, const N: usize> StepView<'a, N> {
    pub(super) fn with<M: Method<N>, R>(
        method: &M,
        (t0, t1): (f64, f64),
        y0: &[f64; N],
        look: impl FnOnce(&StepView<'_, N>) -> R,
    ) -> R {
        let interpolate = |theta: f64, out: &mut [f64; N]| method.interpolate(y0, theta, out);
        let interpolate_one = |theta: f64, component: usize| method.interpolate_one(y0, theta, component);
        let y1 = method.new_state();
        look(&StepView { t0, t1, y0, y1, interpolate: &interpolate, interpolate_one: &interpolate_one })
    }

    /// State at a time within the step; times outside are taken to the nearer end.
    pub fn at(&self, t: f64, out: &mut [f64; N]) {
        let theta = self.theta(t);
        if theta == 0.0 {
            *out = *self.y0;
        } else if theta == 1.0 {
            *out = *self.y1;
        } else {
            (self.interpolate)(theta, out);
        }
    }

    /// One component of it.
    #[must_use]
    pub fn one_at(&self, t: f64, component: usize) -> f64 {
        let theta = self.theta(t);
        if theta == 0.0 {
            self.y0[component]
        } else if theta == 1.0 {
            self.y1[component]
        } else {
            (self.interpolate_one)(theta, component)
        }
    }

    fn theta(&self, t: f64) -> f64 {
        let h = self.t1 - self.t0;
        if h > 0.0 { ((t - self.t0) / h).clamp(0.0, 1.0) } else { 1.0 }
    }
}

/// Someone who watches a run and may end it by returning `Break`.
pub trait Observer<const N: usize> {
    /// Called after each accepted step.
    fn step(&mut self, _step: &StepView<'_, N>) -> ControlFlow<()> {
        ControlFlow::Continue(())
    }

    /// Called after an imposed time event was handled.
    fn time_event(&mut self, _t: f64, _y: &[f64; N]) {}

    /// Called after a root event was handled.
    fn root_event(&mut self, _t: f64, _crossing: Crossing, _y: &[f64; N]) {}
}

/// Nobody watches.
impl<const N: usize> Observer<N> for () {}

/// Two observers, asked in turn.
impl<const N: usize, A: Observer<N>, B: Observer<N>> Observer<N> for (&mut A, &mut B) {
    fn step(&mut self, step: &StepView<'_, N>) -> ControlFlow<()> {
        self.0.step(step)?;
        self.1.step(step)
    }
    fn time_event(&mut self, t: f64, y: &[f64; N]) {
        self.0.time_event(t, y);
        self.1.time_event(t, y);
    }
    fn root_event(&mut self, t: f64, crossing: Crossing, y: &[f64; N]) {
        self.0.root_event(t, crossing, y);
        self.1.root_event(t, crossing, y);
    }
}

/// Records the state on an even grid by the continuous extension.
#[derive(Clone, Debug)]
pub struct Every<const N: usize> {
    step: f64,
    start: f64,
    next: u64,
    /// Recorded times, s.
    pub t: Vec<f64>,
    /// Recorded states.
    pub y: Vec<[f64; N]>,
}

impl<const N: usize> Every<N> {
    /// Records at `start`, `start + step`, ...
    pub fn new(start: f64, step: f64) -> Self {
        Self { step, start, next: 0, t: Vec::new(), y: Vec::new() }
    }
}

impl<const N: usize> Observer<N> for Every<N> {
    fn step(&mut self, view: &StepView<'_, N>) -> ControlFlow<()> {
        loop {
            let t = self.start + self.next as f64 * self.step;
            if t > view.t1 {
                return ControlFlow::Continue(());
            }
            let mut y = [0.0; N];
            view.at(t, &mut y);
            self.t.push(t);
            self.y.push(y);
            self.next += 1;
        }
    }
}

/// Ends the run when a flag is raised, from this thread or another.
#[derive(Clone, Copy, Debug)]
pub struct Cancel<'a>(pub &'a AtomicBool);

impl<const N: usize> Observer<N> for Cancel<'_> {
    fn step(&mut self, _step: &StepView<'_, N>) -> ControlFlow<()> {
        if self.0.load(Ordering::Relaxed) { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}

/// Reports the fraction of the run that is done each time it grows by `every`.
pub struct Progress<F> {
    start: f64,
    length: f64,
    every: f64,
    next: f64,
    report: F,
}

impl<F: FnMut(f64)> Progress<F> {
    /// Calls `report` with 0 < fraction <= 1 in increments of at least `every`.
    pub fn new(t0: f64, t1: f64, every: f64, report: F) -> Self {
        Self { start: t0, length: t1 - t0, every, next: every, report }
    }
}

impl<const N: usize, F: FnMut(f64)> Observer<N> for Progress<F> {
    fn step(&mut self, step: &StepView<'_, N>) -> ControlFlow<()> {
        let fraction = (step.t1 - self.start) / self.length;
        if fraction >= self.next {
            (self.report)(fraction.min(1.0));
            self.next = (fraction / self.every).floor() * self.every + self.every;
        }
        ControlFlow::Continue(())
    }
}
