//! The Rosenbrock method RODAS of Hairer and Wanner.

use super::linear::{Lu, Matrix};
use super::method::{Attempt, Method};
use super::stop::Statistics;
use super::system::System;

/// Rosenbrock method of order 4(3), six stages, L-stable and stiffly accurate, with a third-order
/// continuous extension.
///
/// (I/(gamma h) - J) u_i = f(t + alpha_i h, y + sum(a_ij u_j)) + sum(c_ij u_j)/h + gamma_i h df/dt,
/// y' = y + sum(m_i u_i); the error estimate is u_6.
///
/// Valid for stiff and non-stiff smooth pieces. The Jacobian is formed once a step, at its start, and kept
/// when the step is repeated; a wrong Jacobian costs order. Weakly damped fast modes are followed, not damped,
/// once the step resolves them.
///
/// Source: E. Hairer, G. Wanner, Solving Ordinary Differential Equations II (2nd ed. 1996), section IV.7 and
/// code RODAS, coefficient set 1. The coefficients are from memory, checked by the observed order on problems
/// with a known solution in the tests.
#[derive(Clone, Debug)]
pub struct Rodas4<const N: usize> {
    jacobian: Matrix<N>,
    lu: Lu<N>,
    u: [[f64; N]; 6],
    rate: [f64; N],
    time: [f64; N],
    y: [f64; N],
    dense: [[f64; N]; 2],
    jacobian_is_fresh: bool,
}

const GAMMA: f64 = 0.25;
const ALPHA: [f64; 4] = [0.0, 0.386, 0.21, 0.63];
const GAMMA_I: [f64; 4] = [0.25, -0.1043, 0.1035, -0.03620000000000023];
const A: [[f64; 4]; 4] = [
    [1.544, 0.0, 0.0, 0.0],
    [0.9466785280815826, 0.2557011698983284, 0.0, 0.0],
    [3.314825187068521, 2.896124015972201, 0.9986419139977817, 0.0],
    [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.687886036105895],
];
const CC: [[f64; 5]; 5] = [
    [-5.6688, 0.0, 0.0, 0.0, 0.0],
    [-2.430093356833875, -0.2063599157091915, 0.0, 0.0, 0.0],
    [-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0.0, 0.0],
    [7.496443313967647, -10.24680431464352, -33.99990352819905, 11.7089089320616, 0.0],
    [8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136, -6.058818238834054],
];
const H: [[f64; 5]; 2] = [
    [10.12623508344586, -7.487995877610167, -34.80091861555747, -7.992771707568823, 1.025137723295662],
    [-0.6762803392801253, 6.087714651680015, 16.43084320892478, 24.76722511418386, -6.594389125716872],
];

impl<const N: usize> Default for Rodas4<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Rodas4<N> {
    /// Ready to start.
    pub fn new() -> Self {
        Self {
            jacobian: Matrix::zeros(),
            lu: Lu::default(),
            u: [[0.0; N]; 6],
            rate: [0.0; N],
            time: [0.0; N],
            y: [0.0; N],
            dense: [[0.0; N]; 2],
            jacobian_is_fresh: false,
        }
    }
}

impl<const N: usize> Method<N> for Rodas4<N> {
    fn error_order(&self) -> f64 {
        4.0
    }

    fn restart<S: System<N>>(&mut self, system: &S, t: f64, y: &[f64; N], statistics: &mut Statistics) {
        system.rhs(t, y, &mut self.rate);
        self.jacobian_is_fresh = false;
        statistics.rhs += 1;
    }

    fn attempt<S: System<N>>(
        &mut self,
        system: &S,
        t: f64,
        y: &[f64; N],
        h: f64,
        statistics: &mut Statistics,
    ) -> Attempt {
        if !self.jacobian_is_fresh {
            system.jacobian(t, y, &self.rate, &mut self.jacobian);
            system.time_derivative(t, y, &self.rate, h, &mut self.time);
            self.jacobian_is_fresh = true;
            statistics.jacobians += 1;
        }
        statistics.factorisations += 1;
        if !self.lu.factor_shifted(1.0 / (GAMMA * h), &self.jacobian, system.bands()) {
            return Attempt::Singular;
        }
        let mut f = [0.0; N];
        for i in 0..N {
            self.u[0][i] = self.rate[i] + h * GAMMA_I[0] * self.time[i];
        }
        self.lu.solve(&mut self.u[0]);
        for stage in 1..6 {
            let (done, rest) = self.u.split_at_mut(stage);
            let u = &mut rest[0];
            let t_stage = if stage < 4 {
                self.y = *y;
                for (a, v) in A[stage - 1].iter().zip(done.iter()) {
                    for (y, v) in self.y.iter_mut().zip(v) {
                        *y += a * v;
                    }
                }
                t + ALPHA[stage] * h
            } else if stage == 4 {
                self.y = *y;
                for (a, v) in A[3].iter().zip(done.iter()) {
                    for (y, v) in self.y.iter_mut().zip(v) {
                        *y += a * v;
                    }
                }
                t + h
            } else {
                for (y, v) in self.y.iter_mut().zip(&done[4]) {
                    *y += v;
                }
                t + h
            };
            system.rhs(t_stage, &self.y, &mut f);
            let c = CC[stage - 1].map(|c| c / h);
            for i in 0..N {
                let mut sum = f[i];
                for (c, v) in c.iter().zip(done.iter()) {
                    sum += c * v[i];
                }
                if stage < 4 {
                    sum += h * GAMMA_I[stage] * self.time[i];
                }
                u[i] = sum;
            }
            self.lu.solve(u);
        }
        for i in 0..N {
            self.y[i] += self.u[5][i];
        }
        statistics.rhs += 5;
        for (dense, h) in self.dense.iter_mut().zip(&H) {
            *dense = [0.0; N];
            for (h, u) in h.iter().zip(&self.u) {
                for i in 0..N {
                    dense[i] += h * u[i];
                }
            }
        }
        Attempt::Done
    }

    fn rate(&self) -> &[f64; N] {
        &self.rate
    }

    fn new_state(&self) -> &[f64; N] {
        &self.y
    }

    fn error(&self) -> &[f64; N] {
        &self.u[5]
    }

    fn interpolate(&self, y: &[f64; N], theta: f64, out: &mut [f64; N]) {
        let rest = 1.0 - theta;
        for i in 0..N {
            out[i] = y[i] * rest + theta * (self.y[i] + rest * (self.dense[0][i] + theta * self.dense[1][i]));
        }
    }

    fn accept<S: System<N>>(&mut self, system: &S, t_new: f64, statistics: &mut Statistics) {
        system.rhs(t_new, &self.y, &mut self.rate);
        self.jacobian_is_fresh = false;
        statistics.rhs += 1;
    }
}
