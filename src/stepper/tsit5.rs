//! The explicit 5(4) pair of Tsitouras.

use super::method::{Attempt, Method};
use super::stop::Statistics;
use super::system::System;
use super::wide::wide;

/// Explicit Runge-Kutta pair of order 5(4), seven stages of which the last is the first of the next step,
/// with a fourth-order continuous extension at no cost.
///
/// y' = y + h sum(b_i k_i), k_i = f(t + c_i h, y + h sum(a_ij k_j)).
///
/// Valid for smooth, non-stiff pieces: stable for real h lambda > -3.3 (about); beyond that the error
/// control keeps it at the border, correct but slow: use [`super::Rodas4`].
///
/// Source: Ch. Tsitouras, Runge-Kutta pairs of order 5(4) satisfying only the first column simplifying
/// assumption, Computers and Mathematics with Applications 62 (2011) 770-775. The coefficients are from
/// memory, checked by the order conditions in the tests and digit by digit against diffsol 0.18.
#[derive(Clone, Debug)]
pub struct Tsit5<const N: usize> {
    k: [[f64; N]; 7],
    y: [f64; N],
    error: [f64; N],
    h: f64,
    /// Where the step was cut short, as a part of it.
    cut: f64,
}

/// Nodes.
pub(super) const C: [f64; 7] = [0.0, 0.161, 0.327, 0.9, 0.9800255409045097, 1.0, 1.0];
/// Stage weights; the last row is the solution.
pub(super) const A: [[f64; 6]; 6] = [
    [0.161, 0.0, 0.0, 0.0, 0.0, 0.0],
    [-0.008480655492356989, 0.335480655492357, 0.0, 0.0, 0.0, 0.0],
    [2.8971530571054935, -6.359448489975075, 4.3622954328695815, 0.0, 0.0, 0.0],
    [5.325864828439257, -11.748883564062828, 7.4955393428898365, -0.09249506636175525, 0.0, 0.0],
    [5.86145544294642, -12.92096931784711, 8.159367898576159, -0.071584973281401, -0.028269050394068383, 0.0],
    [0.09646076681806523, 0.01, 0.4798896504144996, 1.379008574103742, -3.290069515436081, 2.324710524099774],
];
/// Solution minus the embedded fourth-order one.
pub(super) const E: [f64; 7] = [
    -0.001780011052225777,
    -0.0008164344596567469,
    0.007880878010261995,
    -0.1447110071732629,
    0.5823571654525552,
    -0.45808210592918697,
    1.0 / 66.0,
];
/// Continuous weights: coefficients of theta^2, theta^3, theta^4 (the first stage also has theta itself).
pub(super) const R: [[f64; 3]; 7] = [
    [-2.763706197274826, 2.9132554618219126, -1.0530884977290216],
    [0.13169999999999998, -0.2234, 0.1017],
    [3.9302962368947516, -5.941033872131505, 2.490627285651253],
    [-12.411077166933676, 30.33818863028232, -16.548102889244902],
    [37.50931341651104, -88.1789048947664, 47.37952196281928],
    [-27.896526289197286, 65.09189467479366, -34.87065786149661],
    [1.5, -4.0, 2.5],
];

impl<const N: usize> Default for Tsit5<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Tsit5<N> {
    /// Ready to start.
    pub fn new() -> Self {
        Self { k: [[0.0; N]; 7], y: [0.0; N], error: [0.0; N], h: 0.0, cut: 1.0 }
    }

    /// Begins with a rate that is at hand.
    pub(super) fn begin_with(&mut self, rate: &[f64; N]) {
        self.k[0] = *rate;
    }

    #[inline(always)]
    fn step<S: System<N>>(&mut self, system: &S, t: f64, y: &[f64; N], h: f64) {
        (self.h, self.cut) = (h, 1.0);
        let [k1, k2, k3, k4, k5, k6, k7] = &mut self.k;
        let z = &mut self.y;
        let mut a = A;
        a.iter_mut().flatten().for_each(|a| *a *= h);
        for i in 0..N {
            z[i] = y[i] + a[0][0] * k1[i];
        }
        system.rhs(t + C[1] * h, z, k2);
        for i in 0..N {
            z[i] = y[i] + (a[1][0] * k1[i] + a[1][1] * k2[i]);
        }
        system.rhs(t + C[2] * h, z, k3);
        for i in 0..N {
            z[i] = y[i] + (a[2][0] * k1[i] + a[2][1] * k2[i] + a[2][2] * k3[i]);
        }
        system.rhs(t + C[3] * h, z, k4);
        for i in 0..N {
            z[i] = y[i] + (a[3][0] * k1[i] + a[3][1] * k2[i] + a[3][2] * k3[i] + a[3][3] * k4[i]);
        }
        system.rhs(t + C[4] * h, z, k5);
        for i in 0..N {
            z[i] = y[i]
                + (a[4][0] * k1[i] + a[4][1] * k2[i] + a[4][2] * k3[i] + a[4][3] * k4[i] + a[4][4] * k5[i]);
        }
        system.rhs(t + h, z, k6);
        for i in 0..N {
            z[i] = y[i]
                + (a[5][0] * k1[i]
                    + a[5][1] * k2[i]
                    + a[5][2] * k3[i]
                    + a[5][3] * k4[i]
                    + a[5][4] * k5[i]
                    + a[5][5] * k6[i]);
        }
        system.rhs(t + h, z, k7);
        let mut e = E;
        e.iter_mut().for_each(|e| *e *= h);
        for i in 0..N {
            self.error[i] = e[0] * k1[i]
                + e[1] * k2[i]
                + e[2] * k3[i]
                + e[3] * k4[i]
                + e[4] * k5[i]
                + e[5] * k6[i]
                + e[6] * k7[i];
        }
    }

    #[inline(always)]
    fn within(&self, y: &[f64; N], theta: f64, out: &mut [f64; N]) {
        let w = weights(theta * self.cut).map(|b| b * self.h);
        *out = *y;
        for (w, k) in w.iter().zip(&self.k) {
            for i in 0..N {
                out[i] += w * k[i];
            }
        }
    }

    fn step_wide<S: System<N>>(&mut self, system: &S, t: f64, y: &[f64; N], h: f64) {
        wide!(step(self, system, t, y, h) of step_on_avx2)
    }

    fn within_wide(&self, y: &[f64; N], theta: f64, out: &mut [f64; N]) {
        wide!(within(self, y, theta, out) of within_on_avx2)
    }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn step_on_avx2<const N: usize, S: System<N>>(
    method: &mut Tsit5<N>,
    system: &S,
    t: f64,
    y: &[f64; N],
    h: f64,
) {
    Tsit5::step(method, system, t, y, h);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn within_on_avx2<const N: usize>(method: &Tsit5<N>, y: &[f64; N], theta: f64, out: &mut [f64; N]) {
    Tsit5::within(method, y, theta, out);
}

impl<const N: usize> Method<N> for Tsit5<N> {
    fn error_order(&self) -> f64 {
        5.0
    }

    fn restart<S: System<N>>(&mut self, system: &S, t: f64, y: &[f64; N], statistics: &mut Statistics) {
        system.rhs(t, y, &mut self.k[0]);
        statistics.rhs += 1;
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
        self.step_wide(system, t, y, h);
        statistics.rhs += 6;
        Attempt::Done
    }

    fn rate(&self) -> &[f64; N] {
        &self.k[0]
    }

    fn new_state(&self) -> &[f64; N] {
        &self.y
    }

    fn error(&self) -> &[f64; N] {
        &self.error
    }

    fn interpolate(&self, y: &[f64; N], theta: f64, out: &mut [f64; N]) {
        self.within_wide(y, theta, out);
    }

    fn interpolate_one(&self, y: &[f64; N], theta: f64, component: usize) -> f64 {
        let moved =
            weights(theta * self.cut).iter().zip(&self.k).fold(0.0, |sum, (w, k)| sum + w * k[component]);
        y[component] + self.h * moved
    }

    fn cut(&mut self, y: &[f64; N], theta: f64) -> bool {
        let mut at = [0.0; N];
        self.interpolate(y, theta, &mut at);
        self.y = at;
        self.cut *= theta;
        true
    }

    fn accept<S: System<N>>(&mut self, _system: &S, _t_new: f64, _statistics: &mut Statistics) {
        self.k[0] = self.k[6];
    }
}

/// Weights b_i(theta) of the continuous extension.
pub(super) fn weights(theta: f64) -> [f64; 7] {
    let mut w = R.map(|[r2, r3, r4]| theta * theta * (r2 + theta * (r3 + theta * r4)));
    w[0] += theta;
    w
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Weights, stage matrix and nodes as plain tables.
    fn tables() -> ([f64; 7], [[f64; 7]; 7], [f64; 7]) {
        let mut a = [[0.0; 7]; 7];
        for (row, coefficients) in A.iter().enumerate() {
            a[row + 1][..6].copy_from_slice(coefficients);
        }
        (a[6], a, C)
    }

    fn order_conditions(b: &[f64; 7], up_to: u32) -> Vec<(&'static str, f64, f64)> {
        let (_, a, c) = tables();
        let sum = |f: &dyn Fn(usize) -> f64| (0..7).map(|i| b[i] * f(i)).sum::<f64>();
        let ac = |i: usize, f: &dyn Fn(usize) -> f64| (0..7).map(|j| a[i][j] * f(j)).sum::<f64>();
        let all = [
            (1, "b", sum(&|_| 1.0), 1.0),
            (2, "bc", sum(&|i| c[i]), 1.0 / 2.0),
            (3, "bc2", sum(&|i| c[i].powi(2)), 1.0 / 3.0),
            (3, "bac", sum(&|i| ac(i, &|j| c[j])), 1.0 / 6.0),
            (4, "bc3", sum(&|i| c[i].powi(3)), 1.0 / 4.0),
            (4, "bcac", sum(&|i| c[i] * ac(i, &|j| c[j])), 1.0 / 8.0),
            (4, "bac2", sum(&|i| ac(i, &|j| c[j].powi(2))), 1.0 / 12.0),
            (4, "baac", sum(&|i| ac(i, &|j| ac(j, &|k| c[k]))), 1.0 / 24.0),
            (5, "bc4", sum(&|i| c[i].powi(4)), 1.0 / 5.0),
            (5, "bc2ac", sum(&|i| c[i].powi(2) * ac(i, &|j| c[j])), 1.0 / 10.0),
            (5, "b(ac)2", sum(&|i| ac(i, &|j| c[j]).powi(2)), 1.0 / 20.0),
            (5, "bcac2", sum(&|i| c[i] * ac(i, &|j| c[j].powi(2))), 1.0 / 15.0),
            (5, "bac3", sum(&|i| ac(i, &|j| c[j].powi(3))), 1.0 / 20.0),
            (5, "bcaac", sum(&|i| c[i] * ac(i, &|j| ac(j, &|k| c[k]))), 1.0 / 30.0),
            (5, "bacac", sum(&|i| ac(i, &|j| c[j] * ac(j, &|k| c[k]))), 1.0 / 40.0),
            (5, "baac2", sum(&|i| ac(i, &|j| ac(j, &|k| c[k].powi(2)))), 1.0 / 60.0),
            (5, "baaac", sum(&|i| ac(i, &|j| ac(j, &|k| ac(k, &|l| c[l])))), 1.0 / 120.0),
        ];
        all.into_iter().filter(|x| x.0 <= up_to).map(|x| (x.1, x.2, x.3)).collect()
    }

    // The seventeen rooted-tree conditions: Hairer, Norsett, Wanner, Solving ODEs I (2nd ed.), table II.2.2.
    #[test]
    fn the_solution_meets_the_conditions_of_order_five() {
        let (b, _, _) = tables();
        for (name, left, right) in order_conditions(&b, 5) {
            assert!((left - right).abs() < 1e-13, "{name}: {left} {right}");
        }
    }

    #[test]
    fn the_embedded_solution_is_of_order_four_and_not_five() {
        let (b, _, _) = tables();
        let hat: [f64; 7] = std::array::from_fn(|i| b[i] - E[i]);
        for (name, left, right) in order_conditions(&hat, 4) {
            assert!((left - right).abs() < 1e-13, "{name}: {left} {right}");
        }
        let worst = order_conditions(&hat, 5).iter().map(|x| (x.1 - x.2).abs()).fold(0.0, f64::max);
        assert!(worst > 1e-5);
    }

    // Scaled conditions b(theta): theta^order in place of 1.
    #[test]
    fn the_continuous_extension_is_of_order_four() {
        for theta in [0.1, 0.37, 0.5, 0.93, 1.0] {
            let orders: [i32; 8] = [1, 2, 3, 3, 4, 4, 4, 4];
            for ((name, left, right), p) in order_conditions(&weights(theta), 4).into_iter().zip(orders) {
                assert!((left - right * theta.powi(p)).abs() < 1e-12, "{name} at {theta}");
            }
        }
    }
}
