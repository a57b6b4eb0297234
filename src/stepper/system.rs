//! What is to be solved.

use super::event::{After, Crossing};
use super::linear::{Bands, Matrix};

/// Which Jacobian a system has: as long as both numbers are the same, an old one is a fair guess.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Regime {
    /// Changes with the rows of states that are felt.
    pub felt: u64,
    /// Changes with the rows of states that nobody feels, such as a volume that is counted.
    pub counted: u64,
}

/// A system y' = f(t, y) of `N` equations with sudden events.
///
/// Between events f must be smooth: whatever jumps (a pulse edge, a stop, a valve) is announced, by
/// time through [`System::next_time_event`] or by the sign of a root function through [`System::roots`],
/// and the discrete state is changed only in the two handlers. The run loop lands on each.
pub trait System<const N: usize> {
    /// Writes f(t, y) into `dy`.
    fn rhs(&self, t: f64, y: &[f64; N], dy: &mut [f64; N]);

    /// Writes the Jacobian df/dy; `f` is f(t, y), already at hand. By default forward differences with an
    /// increment sqrt(eps) max(|y|, 1e-5 typical), column groups merged when [`System::bands`] is given.
    fn jacobian(&self, t: f64, y: &[f64; N], f: &[f64; N], jacobian: &mut Matrix<N>) {
        difference_jacobian(self, t, y, f, jacobian);
    }

    /// Writes the partial derivative df/dt. By default a forward difference within the current smooth
    /// piece; a system whose f does not contain the time overrides it with zeros.
    fn time_derivative(&self, t: f64, y: &[f64; N], f: &[f64; N], step: f64, out: &mut [f64; N]) {
        let dt = (1e-6 * step.abs()).max(4.0 * f64::EPSILON * t.abs());
        self.rhs(t + dt, y, out);
        for (o, f) in out.iter_mut().zip(f) {
            *o = (*o - f) / dt;
        }
    }

    /// Typical magnitude of a component, the least scale for difference increments.
    fn typical(&self, _component: usize) -> f64 {
        1e-5
    }

    /// Number of diagonals below and above the main one that may be non-zero, when that is less than full.
    fn bands(&self) -> Option<Bands> {
        None
    }

    /// The first imposed event strictly after `t` (a pulse edge, a corner of a schedule).
    fn next_time_event(&self, _t: f64) -> Option<f64> {
        None
    }

    /// Called with `t` equal to the announced time, bit for bit. May change the discrete state and y.
    fn at_time_event(&mut self, _t: f64, _y: &mut [f64; N]) -> After {
        After::Continue
    }

    /// How many root functions there are.
    fn root_count(&self) -> usize {
        0
    }

    /// Writes the root functions; an event is a change of sign, or for a [guard](System::is_guard) a value that is not
    /// above zero. One that is switched off returns a constant other than zero.
    fn roots(&self, _t: f64, _y: &[f64; N], _g: &mut [f64]) {}

    /// Whether a root function is above zero as long as the laws at hold stand: then it calls wherever it is not, also just
    /// after a jump, and only there.
    fn is_guard(&self, _root: usize) -> bool {
        false
    }

    /// Called at a located crossing. May change the discrete state and y.
    fn at_root(&mut self, _crossing: Crossing, _t: f64, _y: &mut [f64; N]) -> After {
        After::Continue
    }

    /// Whether no root function can change its sign from `t` to `t + h` while each state keeps within `reach` of y. False
    /// when that is not known: a long step is then looked through.
    fn keeps_clear(&self, _t: f64, _h: f64, _y: &[f64; N], _reach: &[f64; N]) -> bool {
        self.root_count() == 0
    }

    /// What the Jacobian hangs on besides time and state: a method that keeps one asks for it after each jump.
    fn regime(&self, _t: f64, _y: &[f64; N]) -> Regime {
        Regime::default()
    }

    /// Called after each accepted step, for a bound that is an inequality rather than an event (a table
    /// range). `Some(name)` stops the run with [`super::StopReason::OutOfRange`].
    fn check(&self, _t: f64, _y: &[f64; N]) -> Option<&'static str> {
        None
    }
}

/// Forward-difference Jacobian; columns further apart than the band width share one evaluation.
pub(super) fn difference_jacobian<const N: usize, S: System<N> + ?Sized>(
    system: &S,
    t: f64,
    y: &[f64; N],
    f: &[f64; N],
    jacobian: &mut Matrix<N>,
) {
    let stride = system.bands().map_or(N, |b| (b.lower + b.upper + 1).min(N)).max(1);
    jacobian.clear();
    let increment = |column: usize| {
        let v = y[column];
        let d = f64::EPSILON.sqrt() * v.abs().max(system.typical(column));
        (v + d) - v
    };
    let mut moved = *y;
    let mut g = [0.0; N];
    for group in 0..stride {
        for column in (group..N).step_by(stride) {
            moved[column] = y[column] + increment(column);
        }
        system.rhs(t, &moved, &mut g);
        for column in (group..N).step_by(stride) {
            let d = increment(column);
            let rows = match system.bands() {
                Some(b) => column.saturating_sub(b.upper)..(column + b.lower + 1).min(N),
                None => 0..N,
            };
            for row in rows {
                jacobian.set(row, column, (g[row] - f[row]) / d);
            }
            moved[column] = y[column];
        }
    }
}
