//! Cumulative and quantile functions the distributions and the intervals share.
//!
//! The functions themselves come from `statrs` and `libm` (whose error function keeps all digits); here they are made safe at the ends of the range,
//! and quantiles are polished by a bracketed Newton iteration where the crate's own inverse stops early.
use libm::erfc;
use statrs::function::{beta::beta_reg, gamma::gamma_lr, gamma::ln_gamma};
use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

/// Density of the standard normal law.
///
/// Formula: `exp(-z^2/2) / sqrt(2 pi)`. `z` is dimensionless and may be any real number.
#[inline]
pub fn normal_pdf(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (SQRT_2 * PI.sqrt())
}

/// Cumulative standard normal law.
///
/// Formula: `erfc(-z / sqrt 2) / 2`. `z` is dimensionless and may be any real number, infinities included;
/// the lower tail keeps its relative accuracy, the upper tail is read as `normal_cdf(-z)`.
#[inline]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z * FRAC_1_SQRT_2)
}

/// Quantile of the standard normal law.
///
/// Formula: the rational approximations PPND16. `p` is a probability in 0..1; 0 and 1 give the
/// infinities and anything outside gives NaN. Relative accuracy about 1e-16.
/// Source: M. J. Wichura, Algorithm AS 241, Applied Statistics 37 (1988) 477-484.
#[inline]
pub fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180625 - q * q;
        return q * horner(&CENTRE_NUMERATOR, r) / horner(&CENTRE_DENOMINATOR, r);
    }
    normal_tail_quantile(p, q)
}

#[cold]
fn normal_tail_quantile(p: f64, q: f64) -> f64 {
    let tail = if q < 0.0 { p } else { 1.0 - p };
    if tail.is_nan() || tail < 0.0 {
        return f64::NAN;
    }
    if tail == 0.0 {
        return f64::INFINITY.copysign(q);
    }
    let r = (-tail.ln()).sqrt();
    let z = if r <= 5.0 {
        horner(&MIDDLE_NUMERATOR, r - 1.6) / horner(&MIDDLE_DENOMINATOR, r - 1.6)
    } else {
        horner(&FAR_NUMERATOR, r - 5.0) / horner(&FAR_DENOMINATOR, r - 5.0)
    };
    z.copysign(q)
}

#[inline]
fn horner(coefficients: &[f64; 8], x: f64) -> f64 {
    let c = coefficients;
    ((((((c[7] * x + c[6]) * x + c[5]) * x + c[4]) * x + c[3]) * x + c[2]) * x + c[1]) * x + c[0]
}

// Coefficients of AS 241, highest accuracy set (PPND16), lowest power first.
const CENTRE_NUMERATOR: [f64; 8] = [
    3.387_132_872_796_366_5,
    133.141_667_891_784_38,
    1_971.590_950_306_551_3,
    13_731.693_765_509_46,
    45_921.953_931_549_87,
    67_265.770_927_008_7,
    33_430.575_583_588_13,
    2_509.080_928_730_122_7,
];
const CENTRE_DENOMINATOR: [f64; 8] = [
    1.0,
    42.313_330_701_600_91,
    687.187_007_492_057_9,
    5_394.196_021_424_751,
    21_213.794_301_586_597,
    39_307.895_800_092_71,
    28_729.085_735_721_943,
    5_226.495_278_852_854,
];
const MIDDLE_NUMERATOR: [f64; 8] = [
    1.423_437_110_749_683_5,
    4.630_337_846_156_546,
    5.769_497_221_460_691,
    3.647_848_324_763_204_5,
    1.270_458_252_452_368_4,
    0.241_780_725_177_450_6,
    0.022_723_844_989_269_184,
    7.745_450_142_783_414e-4,
];
const MIDDLE_DENOMINATOR: [f64; 8] = [
    1.0,
    2.053_191_626_637_759,
    1.676_384_830_183_803_8,
    0.689_767_334_985_1,
    0.148_103_976_427_480_08,
    0.015_198_666_563_616_457,
    5.475_938_084_995_345e-4,
    1.050_750_071_644_416_9e-9,
];
const FAR_NUMERATOR: [f64; 8] = [
    6.657_904_643_501_103,
    5.463_784_911_164_114,
    1.784_826_539_917_291_3,
    0.296_560_571_828_504_87,
    0.026_532_189_526_576_124,
    0.001_242_660_947_388_078_4,
    2.711_555_568_743_487_6e-5,
    2.010_334_399_292_288_1e-7,
];
const FAR_DENOMINATOR: [f64; 8] = [
    1.0,
    0.599_832_206_555_888,
    0.136_929_880_922_735_8,
    0.014_875_361_290_850_615,
    7.868_691_311_456_133e-4,
    1.846_318_317_510_054_8e-5,
    1.421_511_758_316_446e-7,
    2.044_263_103_389_939_8e-15,
];

/// Cumulative Student's t law with `dof` degrees of freedom (any positive number, infinity is normal).
///
/// Formula: `1 - I_x(dof/2, 1/2) / 2` for `t >= 0`, with `x = dof / (dof + t^2)` and `I` the regularised
/// incomplete beta function; mirrored for `t < 0`. `t` is dimensionless and may be any real number.
pub fn t_cdf(t: f64, dof: f64) -> f64 {
    if dof.is_infinite() {
        return normal_cdf(t);
    }
    let tail = 0.5 * beta_reg(0.5 * dof, 0.5, dof / (dof + t * t));
    if t > 0.0 { 1.0 - tail } else { tail }
}

/// Quantile of Student's t law with `dof` degrees of freedom.
///
/// Formula: the root of [`t_cdf`]. `p` is a probability in 0..1, the ends give infinities and anything
/// outside gives NaN.
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if p == 0.5 {
        return 0.0;
    }
    let q = p.min(1.0 - p);
    if q == 0.0 || dof.is_infinite() {
        return normal_quantile(p);
    }
    // Solved in the lower tail, where the cumulative law keeps its relative accuracy.
    let ln_scale = ln_gamma(0.5 * (dof + 1.0)) - ln_gamma(0.5 * dof) - 0.5 * (dof * PI).ln();
    let density = |t: f64| (ln_scale - 0.5 * (dof + 1.0) * (t * t / dof).ln_1p()).exp();
    let mut low = -1.0;
    while t_cdf(low, dof) > q {
        low *= 2.0;
    }
    let t = polish(low, 0.0, normal_quantile(q).max(low), |t| (t_cdf(t, dof) - q, density(t)));
    if p < 0.5 { t } else { -t }
}

/// Quantile of the beta law with shapes `a` and `b` (both positive).
///
/// Formula: the root of the regularised incomplete beta function `I_x(a, b) = p`. `p` is a probability in
/// 0..1 and anything outside gives NaN.
pub fn beta_quantile(p: f64, a: f64, b: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || a.is_nan() || b.is_nan() || a <= 0.0 || b <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return p;
    }
    let ln_scale = ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b);
    let density = |x: f64| (ln_scale + (a - 1.0) * x.ln() + (b - 1.0) * (-x).ln_1p()).exp();
    polish(0.0, 1.0, a / (a + b), |x| (beta_reg(a, b, x) - p, density(x)))
}

/// Quantile of the chi-square law with `dof` degrees of freedom (positive).
///
/// Formula: the root of the regularised lower incomplete gamma function `P(dof/2, x/2) = p`. `p` is a
/// probability in 0..1 and anything outside gives NaN.
pub fn chi_square_quantile(p: f64, dof: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 {
        return 0.0;
    }
    if p == 1.0 {
        return f64::INFINITY;
    }
    let half = 0.5 * dof;
    let density = |x: f64| ((half - 1.0) * (0.5 * x).ln() - 0.5 * x - ln_gamma(half)).exp() * 0.5;
    let mut high = dof + 1.0;
    while gamma_lr(half, 0.5 * high) < p {
        high *= 2.0;
    }
    polish(0.0, high, dof.min(high), |x| (gamma_lr(half, 0.5 * x) - p, density(x)))
}

/// Newton's iteration for a rising function, kept between `low` and `high`; bisects when a step leaves.
pub(crate) fn polish(
    mut low: f64,
    mut high: f64,
    start: f64,
    value_and_slope: impl Fn(f64) -> (f64, f64),
) -> f64 {
    let mut x = if start > low && start < high { start } else { 0.5 * (low + high) };
    for _ in 0..200 {
        let (value, slope) = value_and_slope(x);
        if value == 0.0 {
            return x;
        }
        if value < 0.0 {
            low = x;
        } else {
            high = x;
        }
        let newton = x - value / slope;
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        if (next - x).abs() <= 4.0 * f64::EPSILON * x.abs() || next == low && next == high {
            return next;
        }
        x = next;
    }
    x
}
