//! Small motions about an operating point: modes, damping, response.

use crate::stepper::{Matrix, System};
use nalgebra::{Complex, DMatrix, DVector};

/// One mode of small motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mode {
    /// Real part of the eigenvalue, 1/s: below zero dies away.
    pub decay: f64,
    /// Frequency, Hz; zero does not swing.
    pub frequency: f64,
    /// Damping ratio: one dies away without swinging, below zero grows.
    pub damping: f64,
    /// State that takes the largest part in it, as index.
    pub state: usize,
}

/// A system made linear: `dδ/dt = A δ`.
///
/// # Formula
/// `A = ∂f/∂y`; modes are its eigenvalues `λ`: frequency `|Im λ|/2π`, damping ratio `-Re λ/|λ|`
///
/// # Symbols
/// `δ` small departure from the operating point, scaled by a typical size of each state.
///
/// # Valid range
/// Departures so small that no stop, valve or dry friction is met: a verdict of this kind and that of the time step may
/// differ, and both are shown.
///
/// # Source
/// Textbook linear systems.
#[derive(Clone, Debug)]
pub struct Linear {
    a: DMatrix<f64>,
    states: Vec<usize>,
    scale: Vec<f64>,
}

impl Linear {
    /// The first `dynamic` states of a system at a time and state, leaving out those that do not move at all there.
    #[must_use]
    pub fn of<const N: usize, S: System<N>>(system: &S, t: f64, y: &[f64; N], dynamic: usize) -> Self {
        let mut f = [0.0; N];
        system.rhs(t, y, &mut f);
        let mut j = Matrix::zeros();
        system.jacobian(t, y, &f, &mut j);
        let states: Vec<usize> = (0..dynamic).filter(|r| (0..dynamic).any(|c| j.get(*r, c) != 0.0)).collect();
        let scale: Vec<f64> = states.iter().map(|k| system.typical(*k)).collect();
        let n = states.len();
        // Scaled states of similar size keep the eigenvalues accurate.
        let a = DMatrix::from_fn(n, n, |r, c| j.get(states[r], states[c]) * scale[c] / scale[r]);
        Self { a, states, scale }
    }

    /// All modes, the least damped first; of each swinging pair one.
    #[must_use]
    pub fn modes(&self) -> Vec<Mode> {
        let mut modes: Vec<Mode> = self
            .a
            .complex_eigenvalues()
            .iter()
            .filter(|l| l.im >= 0.0)
            .map(|l| Mode {
                decay: l.re,
                frequency: l.im / std::f64::consts::TAU,
                damping: if l.norm() > 0.0 { -l.re / l.norm() } else { 0.0 },
                state: self.leading_state(*l),
            })
            .collect();
        modes.sort_by(|a, b| a.damping.total_cmp(&b.damping));
        modes
    }

    /// Whether every mode dies away.
    #[must_use]
    pub fn is_stable(&self) -> bool {
        self.a.complex_eigenvalues().iter().all(|l| l.re < 0.0)
    }

    /// The state with the largest part in the eigenvector, by one step of inverse iteration.
    fn leading_state(&self, l: Complex<f64>) -> usize {
        let n = self.a.nrows();
        let shift = l * Complex::new(1.0 + 1e-7, 1e-7) + Complex::new(1e-9, 0.0);
        let m = DMatrix::from_fn(n, n, |r, c| {
            let d = if r == c { shift } else { Complex::new(0.0, 0.0) };
            Complex::new(self.a[(r, c)], 0.0) - d
        });
        let start = DVector::from_fn(n, |k, _| Complex::new(1.0 + 0.1 * k as f64, 0.3));
        let v = m.lu().solve(&start);
        let best = v.map_or(0, |v| (0..n).max_by(|a, b| v[*a].norm().total_cmp(&v[*b].norm())).unwrap_or(0));
        self.states.get(best).copied().unwrap_or(0)
    }

    /// Response of a state to a forcing: `g = c (jω - A)⁻¹ b`, with `forcing` the rates that one unit of the input
    /// adds to each state. Returns gain and phase, rad. None at an undamped resonance or an unknown state.
    #[must_use]
    pub fn response(&self, frequency: f64, forcing: &[(usize, f64)], state: usize) -> Option<(f64, f64)> {
        let n = self.a.nrows();
        let w = Complex::new(0.0, std::f64::consts::TAU * frequency);
        let m = DMatrix::from_fn(n, n, |r, c| {
            let d = if r == c { w } else { Complex::new(0.0, 0.0) };
            d - Complex::new(self.a[(r, c)], 0.0)
        });
        let mut b = DVector::from_element(n, Complex::new(0.0, 0.0));
        for (s, rate) in forcing {
            let k = self.states.iter().position(|x| x == s)?;
            b[k] += Complex::new(rate / self.scale[k], 0.0);
        }
        let out = self.states.iter().position(|x| *x == state)?;
        let x = m.lu().solve(&b)?[out] * Complex::new(self.scale[out], 0.0);
        Some((x.norm(), x.arg()))
    }
}
