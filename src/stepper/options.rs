//! Tolerances and limits of a run.

use super::error::StepperError;

/// Tolerances and limits. A step is accepted when
/// sqrt(mean((e_i / (abs_i + rel max(|y_i|, |y_i new|)))^2)) <= 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Options<const N: usize> {
    /// Relative tolerance of each component.
    pub relative: f64,
    /// Absolute tolerance of each component, in its own unit.
    pub absolute: [f64; N],
    /// First step, s; chosen from the local rates when absent.
    pub first_step: Option<f64>,
    /// Largest step, s. For an explicit method on a damped fast mode, about 3.3 / |eigenvalue|.
    pub max_step: f64,
    /// Smallest step, s; at least the resolution of time itself.
    pub min_step: f64,
    /// Largest number of accepted plus rejected steps.
    pub max_steps: u64,
    /// A root event is located to this time, s (and never finer than a few units in the last place of t).
    pub event_time: f64,
    /// Root events closer together than this, s, `accumulate_after` times in a row, end the run.
    pub accumulate_within: f64,
    /// See `accumulate_within`.
    pub accumulate_after: u32,
    /// Components that count in the error norm: the first `active` ones (the rest is padding).
    pub active: usize,
}

impl<const N: usize> Options<N> {
    /// One relative tolerance and the same absolute tolerance for all components.
    pub fn new(relative: f64, absolute: f64) -> Self {
        Self::with_absolute(relative, [absolute; N])
    }

    /// One relative tolerance and an absolute tolerance for each component.
    pub fn with_absolute(relative: f64, absolute: [f64; N]) -> Self {
        Self {
            relative,
            absolute,
            first_step: None,
            max_step: f64::INFINITY,
            min_step: 0.0,
            max_steps: 50_000_000,
            event_time: 1e-13,
            accumulate_within: 1e-12,
            accumulate_after: 4,
            active: N,
        }
    }

    /// The same with a largest step, s.
    pub fn max_step(mut self, seconds: f64) -> Self {
        self.max_step = seconds;
        self
    }

    pub(super) fn validate(&self) -> Result<(), StepperError> {
        let bad = |name, value| Err(StepperError::Option { name, value });
        if !(self.relative >= 0.0 && self.relative < 1.0) {
            return bad("relative", self.relative);
        }
        for a in self.absolute {
            if !(a > 0.0 && a.is_finite()) {
                return bad("absolute", a);
            }
        }
        if self.first_step.is_some_and(|h| !(h > 0.0 && h.is_finite())) {
            return bad("first_step", self.first_step.unwrap_or(f64::NAN));
        }
        if self.max_step.is_nan() || self.max_step <= 0.0 {
            return bad("max_step", self.max_step);
        }
        if !(self.min_step >= 0.0 && self.min_step.is_finite()) {
            return bad("min_step", self.min_step);
        }
        if !(self.event_time > 0.0 && self.event_time.is_finite()) {
            return bad("event_time", self.event_time);
        }
        if self.active == 0 || self.active > N {
            return bad("active", self.active as f64);
        }
        Ok(())
    }
}
