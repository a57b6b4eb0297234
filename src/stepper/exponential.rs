//! An exponential method in the modes of a kept Jacobian.

use super::method::{Attempt, Method};
use super::stop::Statistics;
use super::system::System;
use super::tsit5::Tsit5;
use super::wide::wide;
use coefficients::Coefficients;
use extension::{Extension, Tried};
use std::cell::RefCell;

mod basis; // modes of a Jacobian, and states in them
mod coefficients; // what a step of a length does to each mode
mod extension; // the state within a step
mod phi; // the functions that both are made of
mod upkeep; // when a basis is made, kept, and given up

use upkeep::Upkeep;

/// Exponential method of two stages with an embedded estimate: the modes of a kept Jacobian are solved exactly, so that a
/// step may span many of their swings; what they leave of the right-hand side is taken as a parabola over the step.
///
/// # Formula
/// In the coordinates of a real modal basis of the kept Jacobian, `dz/dt = Λ z + n(t, z)`:
/// `a = e^{Λh/2} z + (h/2) φ_1(Λh/2) n_0`, `b = e^{Λh} z + h (φ_1 - 2 φ_2) n_0 + 2 h φ_2 n_a`,
/// `z_new = b + h (4 φ_3 - φ_2)(n_0 - 2 n_a + n_b)`; the last term is the error estimate, and `n_b` begins the next step.
///
/// # Symbols
/// `h` step; `φ_k` at `Λh`; `n_0`, `n_a`, `n_b` the rest at the beginning, at `a` in mid-step and at `b`.
///
/// # Valid range
/// Smooth pieces of a system that is nearly linear, stiff or swinging or not. Any basis gives a consistent method, of order
/// 2 with an error in proportion to how far the Jacobian is off; it is made anew where steps fall short. Where the
/// modes are nearly the same twice (condition above 1e8), or steps come out shorter than an explicit method's, [`Tsit5`]
/// takes over within the run; `left` in the [`Statistics`] counts its steps. A step costs five products with a full
/// matrix, so it pays for few states. Where the rest hangs on time alone it is of order 4 with any basis. What a system
/// conserves as a weighted sum of states is kept to rounding, as long as its [Jacobian](System::jacobian) keeps it.
/// A step may hide a crossing and the way back, so it is looked through at a third of the fastest swing, unless
/// [`System::keeps_clear`] says that no root is within reach.
///
/// # Source
/// S. M. Cox, P. C. Matthews, Exponential time differencing for stiff systems, J. Comput. Phys. 176 (2002) 430-455, whose
/// third-order scheme has the same weights (from memory); here the third stage is the second-order solution, so that it
/// serves the next step as well. Order conditions: M. Hochbruck, A. Ostermann, Exponential integrators, Acta Numerica 19
/// (2010) 209-286 (from memory). Orders are observed in the tests.
#[derive(Clone, Debug)]
pub struct Exponential<const N: usize> {
    upkeep: Upkeep<N>,
    coefficients: Coefficients<N>,
    explicit: Tsit5<N>,
    extension: RefCell<Extension<N>>,
    /// Coordinates and rest at the beginning, in the middle and at the end of the step.
    z: [[f64; N]; 2],
    z_middle: [f64; N],
    rest: [[f64; N]; 3],
    /// Second difference of the rest.
    bend: [f64; N],
    rate: [[f64; N]; 2],
    middle: [f64; N],
    y: [f64; N],
    error: [f64; N],
    h: f64,
    /// Where the step was cut short, as a part of it.
    cut: f64,
}

impl<const N: usize> Default for Exponential<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Exponential<N> {
    /// Ready to start. One that is used for a second run keeps its bases.
    pub fn new() -> Self {
        let zero = [0.0; N];
        Self {
            upkeep: Upkeep::default(),
            coefficients: Coefficients::default(),
            explicit: Tsit5::new(),
            extension: RefCell::default(),
            z: [zero; 2],
            z_middle: zero,
            rest: [zero; 3],
            bend: zero,
            rate: [zero; 2],
            middle: zero,
            y: zero,
            error: zero,
            h: 0.0,
            cut: 1.0,
        }
    }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn step_on_avx2<const N: usize, S: System<N>>(method: &mut Exponential<N>, system: &S, t: f64, h: f64) {
    Exponential::step(method, system, t, h);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn begin_on_avx2<const N: usize>(method: &mut Exponential<N>, y: &[f64; N]) {
    Exponential::begin(method, y);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn within_on_avx2<const N: usize>(method: &Exponential<N>, theta: f64, out: &mut [f64; N]) {
    Exponential::within(method, theta, out);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn quarter_on_avx2<const N: usize>(method: &Exponential<N>, late: bool, y: &mut [f64; N]) {
    Exponential::quarter(method, late, y);
}

impl<const N: usize> Exponential<N> {
    /// Takes up a point in the basis at hand.
    #[inline(always)]
    fn begin(&mut self, y: &[f64; N]) {
        if let Some(basis) = self.upkeep.basis() {
            basis.coordinates(y, &mut self.z[0]);
            basis.rest(&self.rate[0], &self.z[0], &mut self.rest[0]);
        }
    }

    fn begin_wide(&mut self, y: &[f64; N]) {
        wide!(begin(self, y) of begin_on_avx2)
    }

    fn step_wide<S: System<N>>(&mut self, system: &S, t: f64, h: f64) {
        wide!(step(self, system, t, h) of step_on_avx2)
    }

    fn within_wide(&self, theta: f64, out: &mut [f64; N]) {
        wide!(within(self, theta, out) of within_on_avx2)
    }

    fn quarter_wide(&self, late: bool, y: &mut [f64; N]) {
        wide!(quarter(self, late, y) of quarter_on_avx2)
    }

    /// A quarter further than the beginning or the middle, as the middle is reached: with the rest as it stands there.
    #[inline(always)]
    fn quarter(&self, late: bool, y: &mut [f64; N]) {
        let Some(basis) = self.upkeep.basis() else { return };
        let (c, mut there) = (self.coefficients.last(), [0.0; N]);
        let (z, rest) = if late { (&self.z_middle, &self.rest[1]) } else { (&self.z[0], &self.rest[0]) };
        c.quarter.write(z, &mut there);
        c.early.add(rest, &mut there);
        basis.state(&there, y);
    }

    /// The state at a part of the step.
    #[inline(always)]
    fn within(&self, theta: f64, out: &mut [f64; N]) {
        let Some(basis) = self.upkeep.basis() else { return };
        let [begin, mid, _] = &self.rest;
        let tried = Tried { h: self.h, z: &self.z[0], rest: begin, mid, bend: &self.bend };
        let mut z = [0.0; N];
        self.extension.borrow_mut().at(basis, &tried, theta * self.cut, &mut z);
        basis.state(&z, out);
    }

    /// Takes a step.
    #[inline(always)]
    fn step<S: System<N>>(&mut self, system: &S, t: f64, h: f64) {
        let Some(basis) = self.upkeep.basis() else { return };
        let c = self.coefficients.of(basis, t, h);
        let (z, [begin, mid, end]) = (&self.z[0], &mut self.rest);
        let (mut b, mut f, mut last) = ([0.0; N], [0.0; N], [0.0; N]);
        let a = &mut self.z_middle;
        c.half.write(z, a);
        c.first.add(begin, a);
        basis.state(a, &mut self.middle);
        system.rhs(t + 0.5 * h, &self.middle, &mut f);
        basis.rest(&f, a, mid);
        c.whole.write(z, &mut b);
        c.level.add(begin, &mut b);
        c.slope.add(mid, &mut b);
        basis.state(&b, &mut self.y);
        system.rhs(t + h, &self.y, &mut self.rate[1]);
        basis.rest(&self.rate[1], &b, end);
        for k in 0..N {
            self.bend[k] = begin[k] - 2.0 * mid[k] + end[k];
        }
        c.bend.write(&self.bend, &mut last);
        basis.state(&last, &mut self.error);
        for k in 0..N {
            self.y[k] += self.error[k];
            self.z[1][k] = b[k] + last[k];
        }
        self.extension.get_mut().forget();
    }
}

impl<const N: usize> Method<N> for Exponential<N> {
    fn error_order(&self) -> f64 {
        if self.upkeep.basis().is_some() { 3.0 } else { self.explicit.error_order() }
    }

    fn steps_over(&self) -> bool {
        self.upkeep.basis().is_some()
    }

    fn looks(&self) -> usize {
        // A third of the fastest swing from one to the next.
        let Some(basis) = self.upkeep.basis() else { return 0 };
        let thirds = self.h * self.cut * basis.fastest().0 * (3.0 / std::f64::consts::TAU);
        (thirds as usize).min(1000)
    }

    fn glance(&self, quarters: usize) -> Option<[f64; N]> {
        if self.upkeep.basis().is_none() || self.cut < 1.0 {
            return None;
        }
        if quarters == 2 {
            return Some(self.middle);
        }
        let mut y = [0.0; N];
        self.quarter_wide(quarters > 2, &mut y);
        Some(y)
    }

    fn reach(&self) -> Option<[f64; N]> {
        let basis = self.upkeep.basis()?;
        let [begin, mid, _] = &self.rest;
        let mut far = [0.0; N];
        for k in 0..N {
            far[k] = (2.0 * (mid[k] - begin[k]) - self.bend[k]).abs() + 2.0 * self.bend[k].abs();
        }
        Some(basis.reach(self.h * self.cut, &self.z[0], begin, &far))
    }

    fn passed(&mut self, free: bool) {
        self.upkeep.passed(free, self.h);
    }

    fn restart<S: System<N>>(&mut self, system: &S, t: f64, y: &[f64; N], statistics: &mut Statistics) {
        system.rhs(t, y, &mut self.rate[0]);
        statistics.rhs += 1;
        self.upkeep.choose(system, (t, y, &self.rate[0]), statistics);
        self.begin_wide(y);
        if self.upkeep.basis().is_none() {
            self.explicit.begin_with(&self.rate[0]);
        }
    }

    #[inline]
    fn attempt<S: System<N>>(
        &mut self,
        system: &S,
        t: f64,
        y: &[f64; N],
        h: f64,
        statistics: &mut Statistics,
    ) -> Attempt {
        (self.h, self.cut) = (h, 1.0);
        if self.upkeep.basis().is_none() {
            statistics.left += 1;
            return self.explicit.attempt(system, t, y, h, statistics);
        }
        statistics.rhs += 2;
        self.step_wide(system, t, h);
        Attempt::Done
    }

    fn rate(&self) -> &[f64; N] {
        if self.upkeep.basis().is_some() { &self.rate[0] } else { self.explicit.rate() }
    }

    fn new_state(&self) -> &[f64; N] {
        if self.upkeep.basis().is_some() { &self.y } else { self.explicit.new_state() }
    }

    fn error(&self) -> &[f64; N] {
        if self.upkeep.basis().is_some() { &self.error } else { self.explicit.error() }
    }

    fn interpolate(&self, y: &[f64; N], theta: f64, out: &mut [f64; N]) {
        if self.upkeep.basis().is_none() {
            return self.explicit.interpolate(y, theta, out);
        }
        self.within_wide(theta, out);
    }

    fn cut(&mut self, y: &[f64; N], theta: f64) -> bool {
        if self.upkeep.basis().is_none() {
            return self.explicit.cut(y, theta);
        }
        let mut at = [0.0; N];
        self.interpolate(y, theta, &mut at);
        self.y = at;
        self.cut *= theta;
        true
    }

    #[inline]
    fn accept<S: System<N>>(&mut self, system: &S, t_new: f64, statistics: &mut Statistics) {
        if self.upkeep.basis().is_some() {
            self.rate[0] = self.rate[1];
            if !self.upkeep.is_due() {
                (self.z[0], self.rest[0]) = (self.z[1], self.rest[2]);
                return;
            }
        } else {
            self.explicit.accept(system, t_new, statistics);
            if !self.upkeep.is_due() {
                return;
            }
            self.y = *self.explicit.new_state();
        }
        let y = self.y;
        self.restart(system, t_new, &y, statistics);
    }
}
