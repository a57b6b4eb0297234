//! Cumulative laws and moments in closed form.
use super::Distribution;
use crate::spec::special::{normal_cdf, normal_pdf, t_cdf};
use std::f64::consts::PI;

/// `x * phi(x)`, zero at the infinities.
fn x_pdf(x: f64) -> f64 {
    if x.is_infinite() { 0.0 } else { x * normal_pdf(x) }
}

/// Probability mass of the standard normal law between `a` and `b`, without cancellation in the upper tail.
pub(super) fn normal_mass(a: f64, b: f64) -> f64 {
    if a > 0.0 { normal_cdf(-a) - normal_cdf(-b) } else { normal_cdf(b) - normal_cdf(a) }
}

/// Cumulative curvilinear trapezoid for a distance `y` above the middle: half width `w` known to `d`.
///
/// The half width is uniform on `w-d..w+d`, so the density at distance `y` is
/// `ln((w+d) / max(y, w-d)) / (4 d)`; this is its integral from zero.
pub(super) fn trapezoid_upper(y: f64, w: f64, d: f64) -> f64 {
    let inner = w - d;
    let flat = if inner > 0.0 { y.min(inner) * ((w + d) / inner).ln() } else { 0.0 };
    let curved = if y > inner {
        let part = |t: f64| {
            if t == 0.0 { 0.0 } else { t * (((w + d) / t).ln() + 1.0) }
        };
        part(y.min(w + d)) - part(inner)
    } else {
        0.0
    };
    (flat + curved) / (4.0 * d)
}

pub(super) fn cdf(law: &Distribution, x: f64) -> f64 {
    match *law {
        Distribution::Fixed { value } => f64::from(u8::from(x >= value)),
        Distribution::Normal { mean, sd } => normal_cdf((x - mean) / sd),
        Distribution::TruncatedNormal { mean, sd, low, high } => {
            if x <= low {
                0.0
            } else if x >= high {
                1.0
            } else {
                let (a, b, z) = ((low - mean) / sd, (high - mean) / sd, (x - mean) / sd);
                normal_mass(a, z) / normal_mass(a, b)
            }
        }
        Distribution::Uniform { low, high } => ((x - low) / (high - low)).clamp(0.0, 1.0),
        Distribution::Triangular { low, mode, high } => {
            if x <= low {
                0.0
            } else if x >= high {
                1.0
            } else if x < mode {
                (x - low) * (x - low) / ((high - low) * (mode - low))
            } else {
                1.0 - (high - x) * (high - x) / ((high - low) * (high - mode))
            }
        }
        Distribution::Lognormal { median, sigma_ln } => {
            if x <= 0.0 {
                0.0
            } else {
                normal_cdf((x / median).ln() / sigma_ln)
            }
        }
        Distribution::Discrete { ref values, ref weights } => {
            let at_or_below: f64 = values.iter().zip(weights).filter(|(v, _)| **v <= x).map(|(_, w)| w).sum();
            (at_or_below / weights.iter().sum::<f64>()).min(1.0)
        }
        Distribution::Empirical { ref values } => {
            values.iter().filter(|v| **v <= x).count() as f64 / values.len() as f64
        }
        Distribution::StudentT { location, scale, dof } => t_cdf((x - location) / scale, dof),
        Distribution::Arcsine { low, high } => {
            let s = ((2.0 * x - low - high) / (high - low)).clamp(-1.0, 1.0);
            0.5 + s.asin() / PI
        }
        Distribution::CurvilinearTrapezoid { low, high, inexactness } => {
            let (middle, w) = (0.5 * (low + high), 0.5 * (high - low));
            let y = trapezoid_upper((x - middle).abs(), w, inexactness);
            if x >= middle { 0.5 + y } else { 0.5 - y }
        }
    }
}

pub(super) fn mean_and_variance(law: &Distribution) -> (f64, f64) {
    match *law {
        Distribution::Fixed { value } => (value, 0.0),
        Distribution::Normal { mean, sd } => (mean, sd * sd),
        Distribution::TruncatedNormal { mean, sd, low, high } => {
            // N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions 1, sec. 10.1.
            let (a, b) = ((low - mean) / sd, (high - mean) / sd);
            let mass = normal_mass(a, b);
            let shift = (normal_pdf(a) - normal_pdf(b)) / mass;
            let spread = 1.0 + (x_pdf(a) - x_pdf(b)) / mass - shift * shift;
            (mean + sd * shift, sd * sd * spread.max(0.0))
        }
        Distribution::Uniform { low, high } => (0.5 * (low + high), (high - low) * (high - low) / 12.0),
        Distribution::Triangular { low, mode, high } => {
            let (p, q) = (mode - low, high - mode);
            ((low + mode + high) / 3.0, (p * p + q * q + p * q) / 18.0)
        }
        Distribution::Lognormal { median, sigma_ln } => {
            let s2 = sigma_ln * sigma_ln;
            (median * (0.5 * s2).exp(), median * median * s2.exp() * s2.exp_m1())
        }
        Distribution::Discrete { ref values, ref weights } => {
            let total: f64 = weights.iter().sum();
            let mean = values.iter().zip(weights).map(|(v, w)| v * w).sum::<f64>() / total;
            let variance =
                values.iter().zip(weights).map(|(v, w)| w * (v - mean) * (v - mean)).sum::<f64>() / total;
            (mean, variance)
        }
        Distribution::Empirical { ref values } => {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
            (mean, variance)
        }
        Distribution::StudentT { location, scale, dof } => {
            let mean = if dof > 1.0 { location } else { f64::NAN };
            let variance = if dof.is_infinite() {
                scale * scale
            } else if dof > 2.0 {
                scale * scale * dof / (dof - 2.0)
            } else if dof > 1.0 {
                f64::INFINITY
            } else {
                f64::NAN
            };
            (mean, variance)
        }
        Distribution::Arcsine { low, high } => (0.5 * (low + high), (high - low) * (high - low) / 8.0),
        Distribution::CurvilinearTrapezoid { low, high, inexactness } => {
            (0.5 * (low + high), (high - low) * (high - low) / 12.0 + inexactness * inexactness / 9.0)
        }
    }
}
