//! Numbers that sum up a sample.
use super::interval::Interval;
use rayon::slice::ParallelSliceMut;

/// Arithmetic mean, in the unit of the values, summed with compensation; NaN without values.
///
/// Source: A. Neumaier, Z. Angew. Math. Mech. 54 (1974) 39-51 (the compensated sum).
pub fn mean(values: &[f64]) -> f64 {
    let Some(&first) = values.first() else {
        return f64::NAN;
    };
    // About the first value, so that a large common offset costs no digits.
    first + sum(values.iter().map(|v| v - first)) / values.len() as f64
}

/// Sample standard deviation (divisor `n - 1`), in the unit of the values; NaN with fewer than two.
pub fn standard_deviation(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return f64::NAN;
    }
    let first = values[0];
    let shifted_mean = sum(values.iter().map(|v| v - first)) / values.len() as f64;
    let deviation = |v: &f64| (v - first) - shifted_mean;
    let squares = sum(values.iter().map(|v| deviation(v).powi(2)));
    let rest = sum(values.iter().map(deviation));
    // The second term is what rounding left of the mean (corrected two-pass algorithm).
    ((squares - rest * rest / values.len() as f64) / (values.len() - 1) as f64).sqrt()
}

/// Autocorrelation of neighbouring values, dimensionless.
///
/// Formula: `sum (y_i - m)(y_(i+1) - m) / sum (y_i - m)^2`. NaN with fewer than two values.
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12.
pub fn lag_one_autocorrelation(values: &[f64]) -> f64 {
    let Some(&first) = values.first() else {
        return f64::NAN;
    };
    let shifted_mean = sum(values.iter().map(|v| v - first)) / values.len() as f64;
    let d = |v: f64| (v - first) - shifted_mean;
    sum(values.windows(2).map(|w| d(w[0]) * d(w[1]))) / sum(values.iter().map(|&v| d(v) * d(v)))
}

/// Sum with compensation for rounding.
pub(crate) fn sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0_f64, 0.0);
    for v in values {
        let next = total + v;
        lost += if total.abs() >= v.abs() { (total - next) + v } else { (v - next) + total };
        total = next;
    }
    total + lost
}

/// Which of the common definitions of a sample quantile.
///
/// Source: R. J. Hyndman, Y. Fan, The American Statistician 50 (1996) 361-365.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum QuantileKind {
    /// Type 6: position `p (n + 1)`.
    Weibull,
    /// Type 7: position `p (n - 1) + 1`.
    Linear,
    /// Type 8: position `p (n + 1/3) + 1/3`, about median-unbiased whatever the law; the one used in findings.
    #[default]
    MedianUnbiased,
}

/// The quantile at probability `p` of values sorted upwards, in their unit; NaN without values.
pub fn quantile(sorted: &[f64], p: f64, kind: QuantileKind) -> f64 {
    let n = sorted.len() as f64;
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let position = match kind {
        QuantileKind::Weibull => p * (n + 1.0),
        QuantileKind::Linear => p * (n - 1.0) + 1.0,
        QuantileKind::MedianUnbiased => p * (n + 1.0 / 3.0) + 1.0 / 3.0,
    }
    .clamp(1.0, n);
    let below = position.floor();
    let (i, part) = (below as usize, position - below);
    let low = sorted[i - 1];
    if part == 0.0 { low } else { low + part * (sorted[i.min(sorted.len() - 1)] - low) }
}

/// The values that are numbers, sorted upwards; on all threads, the result not depending on their number.
pub fn sorted(values: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = values.iter().copied().filter(|v| !v.is_nan()).collect();
    out.par_sort_unstable_by(f64::total_cmp);
    out
}

/// The shortest interval holding a share `coverage` of values sorted upwards, in their unit.
///
/// Formula: the smallest `y_(r+q) - y_(r)` with `q = round(coverage n)`. NaN with too few values.
/// Source: JCGM 101:2008, 7.7.4.
pub fn shortest_coverage(sorted: &[f64], coverage: f64) -> Interval {
    let q = (coverage * sorted.len() as f64 + 0.5).floor() as usize;
    if sorted.len() < 2 || q == 0 || q >= sorted.len() {
        return Interval { low: f64::NAN, high: f64::NAN };
    }
    let best = (0..sorted.len() - q)
        .min_by(|&a, &b| (sorted[a + q] - sorted[a]).total_cmp(&(sorted[b + q] - sorted[b])))
        .unwrap_or(0);
    Interval { low: sorted[best], high: sorted[best + q] }
}

/// The interval between the `(1-coverage)/2` and `(1+coverage)/2` quantiles of values sorted upwards.
///
/// Source: JCGM 101:2008, 7.7.2 (probabilistically symmetric coverage interval).
pub fn symmetric_coverage(sorted: &[f64], coverage: f64) -> Interval {
    let tail = 0.5 * (1.0 - coverage);
    Interval {
        low: quantile(sorted, tail, QuantileKind::default()),
        high: quantile(sorted, 1.0 - tail, QuantileKind::default()),
    }
}
