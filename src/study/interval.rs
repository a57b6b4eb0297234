//! Intervals: how far a number from a limited sample can be trusted.
//!
//! Every interval here has been checked by simulation to hold the truth about as often as it says.
use crate::spec::special::{beta_quantile, normal_quantile, t_quantile};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Two ends with the unit of the number they belong to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// True when `value` lies inside or on an end.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Half the distance between the ends.
    pub fn half_width(&self) -> f64 {
        0.5 * (self.high - self.low)
    }
}

impl fmt::Display for Interval {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}..{}", short(self.low), short(self.high))
    }
}

/// A number with the digits worth reading.
pub(crate) fn short(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let digits = (3 - x.abs().log10().floor() as i32).clamp(0, 8) as usize;
    let text = if x.abs() < 1e-5 || x.abs() >= 1e7 { format!("{x:.3e}") } else { format!("{x:.digits$}") };
    if text.contains('.') && !text.contains('e') {
        text.trim_end_matches('0').trim_end_matches('.').into()
    } else {
        text
    }
}

/// The normal score belonging to a two-sided confidence (0.95 gives 1.96).
pub fn score(confidence: f64) -> f64 {
    -normal_quantile(0.5 * (1.0 - confidence))
}

/// Wilson's score interval for a chance, from `k` of `n` independent draws.
///
/// Formula: `(p + z^2/2n ± z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n)`, `p = k/n`, `z` the normal score of
/// `confidence`. Dimensionless. Range: `k <= n`, `n >= 1`, confidence between 0 and 1; NaN outside.
/// Source: E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927) 209-212.
pub fn wilson(k: u64, n: u64, confidence: f64) -> Interval {
    if n == 0 || k > n {
        return Interval { low: f64::NAN, high: f64::NAN };
    }
    let (count, z2) = (n as f64, score(confidence).powi(2));
    let p = k as f64 / count;
    let middle = p + z2 / (2.0 * count);
    let half = (z2 * (p * (1.0 - p) / count + z2 / (4.0 * count * count))).sqrt();
    let scale = 1.0 + z2 / count;
    Interval {
        low: if k == 0 { 0.0 } else { (middle - half) / scale },
        high: if k == n { 1.0 } else { (middle + half) / scale },
    }
}

/// Clopper and Pearson's interval for a chance, from `k` of `n` independent draws: never short of its confidence.
///
/// Formula: the `a/2` quantile of beta(k, n-k+1) and the `1-a/2` quantile of beta(k+1, n-k), `a = 1 - confidence`.
/// Dimensionless. Range: `k <= n`, `n >= 1`; NaN outside. Source: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413.
pub fn clopper_pearson(k: u64, n: u64, confidence: f64) -> Interval {
    if n == 0 || k > n {
        return Interval { low: f64::NAN, high: f64::NAN };
    }
    let tail = 0.5 * (1.0 - confidence);
    let (k_f, n_f) = (k as f64, n as f64);
    Interval {
        low: if k == 0 { 0.0 } else { beta_quantile(tail, k_f, n_f - k_f + 1.0) },
        high: if k == n { 1.0 } else { 1.0 - beta_quantile(tail, n_f - k_f, k_f + 1.0) },
    }
}

/// Chance that a binomial count of `n` trials with success chance `p` is at most `j`.
///
/// Formula: summed from its larger end by the ratio of neighbouring terms, the first term by Loader's
/// saddle-point form, so that it holds for any `n`. Source: C. Loader, Fast and accurate computation of binomial
/// probabilities (2000).
pub fn binomial_cdf(j: i64, n: u64, p: f64) -> f64 {
    if j < 0 {
        return 0.0;
    }
    if j as u64 >= n {
        return 1.0;
    }
    let (n_f, mean) = (n as f64, n as f64 * p);
    let lower = |mut i: f64| {
        let (mut term, mut sum) = (binomial_pmf(i, n_f, p), 0.0);
        while term > 0.0 && i >= 0.0 {
            sum += term;
            term *= i / (n_f - i + 1.0) * (1.0 - p) / p;
            i -= 1.0;
            if term < sum * 1e-18 {
                break;
            }
        }
        sum
    };
    let upper = |mut i: f64| {
        let (mut term, mut sum) = (binomial_pmf(i, n_f, p), 0.0);
        while term > 0.0 && i <= n_f {
            sum += term;
            term *= (n_f - i) / (i + 1.0) * p / (1.0 - p);
            i += 1.0;
            if term < sum * 1e-18 {
                break;
            }
        }
        sum
    };
    if (j as f64) < mean { lower(j as f64) } else { 1.0 - upper(j as f64 + 1.0) }
}

fn binomial_pmf(i: f64, n: f64, p: f64) -> f64 {
    let q = 1.0 - p;
    if i == 0.0 {
        return (n * (-p).ln_1p()).exp();
    }
    if i == n {
        return (n * p.ln()).exp();
    }
    // Deviance x ln(x/m) + m - x, by its series where the logarithm would cancel.
    let deviance = |x: f64, m: f64| {
        let v = (x - m) / (x + m);
        if v.abs() < 0.1 {
            let (mut sum, mut power, mut j) = ((x - m) * v, 2.0 * x * v, 1.0);
            loop {
                power *= v * v;
                let next = sum + power / (2.0 * j + 1.0);
                if next == sum {
                    return sum;
                }
                sum = next;
                j += 1.0;
            }
        }
        x * (x / m).ln() + m - x
    };
    // Error of Stirling's formula for ln(x!).
    let stirling = |x: f64| {
        if x < 16.0 {
            libm::lgamma(x + 1.0) - (x + 0.5) * x.ln() + x - 0.5 * (2.0 * std::f64::consts::PI).ln()
        } else {
            let x2 = x * x;
            (1.0 / 12.0 - (1.0 / 360.0 - (1.0 / 1260.0 - 1.0 / (1680.0 * x2)) / x2) / x2) / x
        }
    };
    let exponent = stirling(n) - stirling(i) - stirling(n - i) - deviance(i, n * p) - deviance(n - i, n * q);
    (n / (2.0 * std::f64::consts::PI * i * (n - i))).sqrt() * exponent.exp()
}

/// Ranks of the sorted sample between which a quantile lies with a confidence, whatever the law.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ranks {
    /// Lower rank, counted from 1.
    pub low: u64,
    /// Upper rank, counted from 1.
    pub high: u64,
    /// The confidence these two ranks really have; a little above the one asked for.
    pub confidence: f64,
}

/// Ranks that hold the quantile at probability `p` of `n` independent draws; `None` when the sample is too small.
///
/// Formula: the largest `l` with `P(K < l) <= a/2` and the smallest `u` with `P(K >= u) <= a/2`, where `K`, the count
/// of draws below the quantile, is binomial(n, p) and `a = 1 - confidence`. Range: `0 < p < 1`; `None` outside.
/// Source: H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed. (2003), sec. 7.1.
pub fn quantile_ranks(n: u64, p: f64, confidence: f64) -> Option<Ranks> {
    if !(p > 0.0 && p < 1.0) || n == 0 {
        return None;
    }
    let tail = 0.5 * (1.0 - confidence);
    // P(K <= j) rises with j: both ranks by bisection.
    let last_at_most = |limit: f64| {
        let (mut low, mut high) = (-1_i64, n as i64);
        while high - low > 1 {
            let middle = (low + high) / 2;
            if binomial_cdf(middle, n, p) <= limit { low = middle } else { high = middle }
        }
        low
    };
    let l = last_at_most(tail) + 1;
    let (mut below, mut u) = (-1_i64, n as i64);
    while u - below > 1 {
        let middle = (below + u) / 2;
        if binomial_cdf(middle, n, p) >= 1.0 - tail { u = middle } else { below = middle }
    }
    let u = u + 1;
    if l < 1 || u > n as i64 {
        return None;
    }
    Some(Ranks {
        low: l as u64,
        high: u as u64,
        confidence: binomial_cdf(u - 1, n, p) - binomial_cdf(l - 1, n, p),
    })
}

/// The smallest number of independent draws with which [`quantile_ranks`] has an answer.
pub fn least_draws_for_quantile(p: f64, confidence: f64) -> Option<u64> {
    if p.is_nan() || p <= 0.0 || p >= 1.0 || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    // The extreme ranks must be allowed: p^n and (1-p)^n at most a/2.
    let tail = 0.5 * (1.0 - confidence);
    let n = (tail.ln() / p.ln()).max(tail.ln() / (1.0 - p).ln()).ceil() as u64;
    (n.saturating_sub(2)..n + 3).find(|&n| quantile_ranks(n, p, confidence).is_some())
}

/// Draws after which the largest one lies above the quantile at `coverage` with a confidence (59 for 95 %/95 %).
///
/// Formula: the smallest `n` with `1 - coverage^n >= confidence`. Range: both between 0 and 1; `None` outside.
/// Source: S. S. Wilks, Ann. Math. Statist. 12 (1941) 91-96.
pub fn wilks_one_sided(coverage: f64, confidence: f64) -> Option<u64> {
    wilks(coverage, confidence, |n| 1.0 - coverage.powf(n))
}

/// Draws after which the smallest and largest one hold `coverage` of the law between them (93 for 95 %/95 %).
///
/// Formula: the smallest `n` with `1 - c^n - n (1-c) c^(n-1) >= confidence`. Range and source as [`wilks_one_sided`].
pub fn wilks_two_sided(coverage: f64, confidence: f64) -> Option<u64> {
    wilks(coverage, confidence, |n| 1.0 - coverage.powf(n) - n * (1.0 - coverage) * coverage.powf(n - 1.0))
}

fn wilks(coverage: f64, confidence: f64, reached: impl Fn(f64) -> f64) -> Option<u64> {
    if !(coverage > 0.0 && coverage < 1.0 && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let mut high = 2_u64;
    while reached(high as f64) < confidence {
        high *= 2;
    }
    let mut low = 0;
    while high - low > 1 {
        let middle = (low + high) / 2;
        if reached(middle as f64) >= confidence { high = middle } else { low = middle }
    }
    Some(high)
}

/// Interval of a mean from independent values of it, such as one a repeat of a stratified sample.
///
/// Formula: `mean ± t sqrt(s^2/n)`, `t` from Student's law with `n-1` degrees of freedom. In the unit of the values.
/// Range: two values or more; infinite with fewer. Source: JCGM 100:2008, G.3; for randomised Sobol' points
/// A. B. Owen, Monte Carlo theory, methods and examples, ch. 17.
pub fn of_mean(values: &[f64], confidence: f64) -> Interval {
    let n = values.len() as f64;
    if n < 2.0 {
        return Interval { low: f64::NEG_INFINITY, high: f64::INFINITY };
    }
    let mean = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0);
    let half = -t_quantile(0.5 * (1.0 - confidence), n - 1.0) * (variance / n).sqrt();
    Interval { low: mean - half, high: mean + half }
}

/// Interval of the difference of two chances seen on the same draws.
///
/// Formula: `d ± z sqrt((a + b - d^2)/(n + 2))` with `a = (first_only + 1)/(n + 2)`, `b = (second_only + 1)/(n + 2)`,
/// `d = a - b`; `first_only` draws fail with the first option alone, `second_only` with the second alone.
/// Dimensionless, first minus second. Range: the two counts together at most `n`; NaN outside.
/// Source: D. G. Bonett, R. M. Price, British J. Math. Statist. Psych. 65 (2012) 479-488.
pub fn paired_difference(first_only: u64, second_only: u64, n: u64, confidence: f64) -> Interval {
    if n == 0 || first_only + second_only > n {
        return Interval { low: f64::NAN, high: f64::NAN };
    }
    let m = n as f64 + 2.0;
    let (a, b) = ((first_only as f64 + 1.0) / m, (second_only as f64 + 1.0) / m);
    let (d, z) = (a - b, score(confidence));
    let half = z * ((a + b - d * d) / m).sqrt();
    Interval { low: (d - half).max(-1.0), high: (d + half).min(1.0) }
}
