//! One step of a method.

use super::stop::Statistics;
use super::system::System;

/// Outcome of trying a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Attempt {
    /// New state and error estimate are ready.
    Done,
    /// The linear system of an implicit method is singular: try a smaller step.
    Singular,
}

/// A one-step method with an embedded error estimate and a continuous extension.
pub trait Method<const N: usize> {
    /// Power of the step in the error estimate; the controller uses its inverse.
    fn error_order(&self) -> f64;

    /// Whether it steps over what swings fast. Its error then follows no power of the step: one that was cut short by a
    /// landmark says nothing of the longest that is good enough.
    fn steps_over(&self) -> bool {
        false
    }

    /// At how many points within the tried step to look for roots: none where a step follows every swing.
    fn looks(&self) -> usize {
        0
    }

    /// About the state at a quarter, the middle or three quarters of the tried step, cheaper than by
    /// [`Method::interpolate`]; none where that is not at hand.
    fn glance(&self, _quarters: usize) -> Option<[f64; N]> {
        None
    }

    /// How far each state can get from where the tried step began; none where that is not known.
    fn reach(&self) -> Option<[f64; N]> {
        None
    }

    /// Told of each step that passed the error test: whether its error did not hold it short of where it was bound for.
    fn passed(&mut self, _free: bool) {}

    /// Prepares to step from (t, y) after a start or a jump.
    fn restart<S: System<N>>(&mut self, system: &S, t: f64, y: &[f64; N], statistics: &mut Statistics);

    /// Tries a step of `h` from (t, y), the same point as the last `restart` or `accept`.
    fn attempt<S: System<N>>(
        &mut self,
        system: &S,
        t: f64,
        y: &[f64; N],
        h: f64,
        statistics: &mut Statistics,
    ) -> Attempt;

    /// f(t, y) at the beginning of the step.
    fn rate(&self) -> &[f64; N];

    /// State at the end of the tried step.
    fn new_state(&self) -> &[f64; N];

    /// Error estimate of the tried step.
    fn error(&self) -> &[f64; N];

    /// The continuous extension at t + theta h, 0 <= theta <= 1, of the tried step from `y`.
    fn interpolate(&self, y: &[f64; N], theta: f64, out: &mut [f64; N]);

    /// One component of it.
    fn interpolate_one(&self, y: &[f64; N], theta: f64, component: usize) -> f64 {
        let mut out = [0.0; N];
        self.interpolate(y, theta, &mut out);
        out[component]
    }

    /// Ends the tried step at t + theta h, with the continuous extension as the new state; the next step needs a
    /// `restart`. False, and nothing done, when the extension is of lower order than the error estimate.
    fn cut(&mut self, _y: &[f64; N], _theta: f64) -> bool {
        false
    }

    /// Moves to the end of the tried step.
    fn accept<S: System<N>>(&mut self, system: &S, t_new: f64, statistics: &mut Statistics);
}
