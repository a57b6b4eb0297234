//! What a step of a length does to each mode.

use super::basis::{Basis, beside, places};
use super::phi::{doubled, phi};
use nalgebra::Complex;

/// Lengths whose coefficients are kept: a steady engine steps from edge to edge by the same few.
const KEPT: usize = 8;
/// Lengths that differ by so many roundings of time are the same.
const SAME: f64 = 16.0 * f64::EPSILON;

/// A function of the modes: what each coordinate passes on of itself and of its partner.
#[derive(Clone, Debug)]
pub(super) struct Diagonal<const N: usize> {
    own: [f64; N],
    partner: [f64; N],
}

impl<const N: usize> Diagonal<N> {
    /// The same for all coordinates.
    pub(super) fn all(value: f64) -> Self {
        Self { own: [value; N], partner: [0.0; N] }
    }

    #[inline]
    pub(super) fn set(&mut self, at: usize, pair: bool, value: Complex<f64>) {
        self.own[at] = value.re;
        if pair {
            self.own[at + 1] = value.re;
            (self.partner[at], self.partner[at + 1]) = (value.im, -value.im);
        }
    }

    /// Writes what it makes of some coordinates.
    #[inline(always)]
    pub(super) fn write(&self, z: &[f64; N], to: &mut [f64; N]) {
        for k in 0..N {
            to[k] = self.own[k] * z[k] + self.partner[k] * z[beside(k, N)];
        }
    }

    /// Both, one after the other.
    #[inline]
    pub(super) fn then(&self, other: &Self) -> Self {
        let mut both = Self::all(0.0);
        for k in 0..N {
            both.own[k] = self.own[k] * other.own[k] - self.partner[k] * other.partner[k];
            both.partner[k] = self.own[k] * other.partner[k] + self.partner[k] * other.own[k];
        }
        both
    }

    /// Adds what it makes of some coordinates.
    #[inline(always)]
    pub(super) fn add(&self, z: &[f64; N], to: &mut [f64; N]) {
        for k in 0..N {
            to[k] += self.own[k] * z[k] + self.partner[k] * z[beside(k, N)];
        }
    }
}

/// The coefficients of one length.
#[derive(Clone, Debug)]
pub(super) struct Step<const N: usize> {
    /// `e^{Λh/4}` and `(h/4) φ_1(Λh/4)`.
    pub(super) quarter: Diagonal<N>,
    pub(super) early: Diagonal<N>,
    /// `e^{Λh/2}` and `(h/2) φ_1(Λh/2)`.
    pub(super) half: Diagonal<N>,
    pub(super) first: Diagonal<N>,
    /// `e^{Λh}`, `h (φ_1 - 2 φ_2)`, `2 h φ_2` and `h (4 φ_3 - φ_2)`.
    pub(super) whole: Diagonal<N>,
    pub(super) level: Diagonal<N>,
    pub(super) slope: Diagonal<N>,
    pub(super) bend: Diagonal<N>,
}

impl<const N: usize> Step<N> {
    fn new(basis: &Basis<N>, h: f64) -> Self {
        // A coordinate that only adds up has the eigenvalue nought.
        let mut step = Self {
            quarter: Diagonal::all(1.0),
            early: Diagonal::all(0.25 * h),
            half: Diagonal::all(1.0),
            first: Diagonal::all(0.5 * h),
            whole: Diagonal::all(1.0),
            level: Diagonal::all(0.0),
            slope: Diagonal::all(h),
            bend: Diagonal::all(h / 6.0),
        };
        for (at, mode) in places(&basis.modes) {
            let quarter = phi(mode.value * (0.25 * h));
            let half = doubled(quarter);
            let [e, p1, p2, p3] = doubled(half);
            step.quarter.set(at, mode.pair, quarter[0]);
            step.early.set(at, mode.pair, quarter[1] * (0.25 * h));
            step.half.set(at, mode.pair, half[0]);
            step.first.set(at, mode.pair, half[1] * (0.5 * h));
            step.whole.set(at, mode.pair, e);
            step.level.set(at, mode.pair, (p1 - p2 * 2.0) * h);
            step.slope.set(at, mode.pair, p2 * (2.0 * h));
            step.bend.set(at, mode.pair, (p3 * 4.0 - p2) * h);
        }
        step
    }
}

/// The lengths met last, with their coefficients.
#[derive(Clone, Debug)]
pub(super) struct Coefficients<const N: usize> {
    /// Family of bases and length.
    of: [(u64, f64); KEPT],
    steps: Vec<Step<N>>,
    next: usize,
    last: usize,
}

impl<const N: usize> Default for Coefficients<N> {
    fn default() -> Self {
        Self { of: [(0, f64::NAN); KEPT], steps: Vec::with_capacity(KEPT), next: 0, last: 0 }
    }
}

impl<const N: usize> Coefficients<N> {
    /// The coefficients of a step of `h` from `t`.
    #[inline]
    pub(super) fn of(&mut self, basis: &Basis<N>, t: f64, h: f64) -> &Step<N> {
        let near = SAME * (t.abs() + h);
        let found =
            self.of.iter().position(|(family, kept)| *family == basis.family && (kept - h).abs() <= near);
        let at = found.unwrap_or_else(|| {
            let at = self.next;
            self.next = (at + 1) % KEPT;
            self.of[at] = (basis.family, h);
            let step = Step::new(basis, h);
            if at < self.steps.len() {
                self.steps[at] = step
            } else {
                self.steps.push(step)
            }
            at
        });
        self.last = at;
        &self.steps[at]
    }

    /// Those asked for last.
    #[inline]
    pub(super) fn last(&self) -> &Step<N> {
        &self.steps[self.last]
    }
}
