//! Size of the error and of the first step.

use super::method::Method;
use super::options::Options;
use super::stop::Statistics;
use super::system::System;

/// Weighted root-mean-square error over the active components, and the worst of them.
pub(super) fn error_norm<const N: usize>(
    y: &[f64; N],
    new: &[f64; N],
    error: &[f64; N],
    o: &Options<N>,
) -> (f64, usize) {
    let mut sum = 0.0;
    let mut ratio = [0.0; N];
    if o.relative == 0.0 {
        for i in 0..N {
            ratio[i] = error[i] / o.absolute[i];
        }
    } else {
        for i in 0..N {
            let scale = o.absolute[i] + o.relative * y[i].abs().max(new[i].abs());
            ratio[i] = error[i] / scale;
        }
    }
    for r in &ratio[..o.active] {
        sum += r * r;
    }
    let norm = (sum / o.active as f64).sqrt();
    let worst = if norm <= 1.0 {
        0
    } else {
        (0..o.active).max_by(|a, b| ratio[*a].abs().total_cmp(&ratio[*b].abs())).unwrap_or(0)
    };
    (norm, worst)
}

/// Starting step from the first and second derivative: Hairer, Norsett, Wanner, Solving ODEs I, section II.4.
pub(super) fn first_step<const N: usize, S: System<N>, M: Method<N>>(
    system: &S,
    method: &M,
    t: f64,
    y: &[f64; N],
    t1: f64,
    o: &Options<N>,
    statistics: &mut Statistics,
) -> f64 {
    let f = *method.rate();
    let norm = |v: &[f64; N]| {
        let s: f64 = (0..o.active).map(|i| (v[i] / (o.absolute[i] + o.relative * y[i].abs())).powi(2)).sum();
        (s / o.active as f64).sqrt()
    };
    let (d0, d1) = (norm(y), norm(&f));
    let longest = (t1 - t).min(o.max_step);
    let h0 = if d0 < 1e-5 || d1 < 1e-5 { 1e-6 } else { 0.01 * d0 / d1 }.min(longest);
    let mut z = [0.0; N];
    for i in 0..N {
        z[i] = y[i] + h0 * f[i];
    }
    let mut f1 = [0.0; N];
    system.rhs(t + h0, &z, &mut f1);
    statistics.rhs += 1;
    let mut d = [0.0; N];
    for i in 0..N {
        d[i] = (f1[i] - f[i]) / h0;
    }
    let d2 = norm(&d);
    let top = d1.max(d2);
    let h1 = if top <= 1e-15 { (1e-6f64).max(1e-3 * h0) } else { (0.01 / top).powf(1.0 / 5.0) };
    let h = (100.0 * h0).min(h1);
    if h.is_finite() && h > 0.0 { h.min(longest) } else { h0.max(1e-12) }
}
