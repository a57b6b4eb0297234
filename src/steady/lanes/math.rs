//! Logarithm, exponential and friction factor without branches or calls, so that loops over lanes become vectors.
//!
//! Fused products are written out and none is contracted, so every machine and every width gives the same bits.

/// `a b + c`, rounded once.
#[inline(always)]
pub(super) fn fma(a: f64, b: f64, c: f64) -> f64 {
    a.mul_add(b, c)
}

/// Natural logarithm of a positive, normal number; within 2 ulp.
///
/// # Formula
/// `x = 2^k m`, `√½ ≤ m < √2`, `s = (m−1)/(m+1)`: `ln x = k ln 2 + s (2 + R(s²))`
///
/// # Source
/// Reduction and coefficients of the freely distributable libm of Sun Microsystems, `e_log.c` (1993).
#[inline(always)]
pub(super) fn ln(x: f64) -> f64 {
    const HALF_ROOT: u64 = 0x3fe6_a09e_667f_3bcd; // sqrt(1/2)
    const ONE: u64 = 0x3ff0_0000_0000_0000;
    let bits = x.to_bits();
    let biased = (bits + (ONE - HALF_ROOT)) >> 52;
    // The exponent as a float: laid into the mantissa of 2^52.
    let k = f64::from_bits(biased | 0x4330_0000_0000_0000) - (4_503_599_627_370_496.0 + 1023.0);
    let m = f64::from_bits(bits.wrapping_sub(biased << 52).wrapping_add(ONE));
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let w = z * z;
    let even =
        w * fma(w, fma(w, 1.531_383_769_920_937_3e-1, 2.222_219_843_214_978_4e-1), 3.999_999_999_940_942e-1);
    let odd = fma(
        w,
        fma(w, fma(w, 1.479_819_860_511_658_6e-1, 1.818_357_216_161_805e-1), 2.857_142_874_366_239e-1),
        6.666_666_666_666_735e-1,
    );
    let rest = 2.0 + fma(z, odd, even);
    fma(k, std::f64::consts::LN_2, s * rest)
}

/// Exponential for `|x| < 700`; within 2 ulp.
///
/// # Formula
/// `x = k ln 2 + r`, `|r| ≤ ½ ln 2`: `eˣ = 2^k Σ rⁿ/n!`, n to 12
///
/// # Source
/// Taylor's series; the remainder at the ends is 1.7e-16.
#[inline(always)]
pub(super) fn exp(x: f64) -> f64 {
    const SHIFT: f64 = 6_755_399_441_055_744.0; // 1.5 * 2^52: the sum holds k in its last bits
    let shifted = fma(x, std::f64::consts::LOG2_E, SHIFT);
    let k = shifted - SHIFT;
    let r = fma(k, -1.908_214_929_270_587_7e-10, fma(k, -6.931_471_803_691_238e-1, x));
    let r2 = r * r;
    let r4 = r2 * r2;
    let a = fma(r2, fma(r, 1.0 / 6.0, 0.5), 1.0 + r);
    let b = fma(r2, 1.0 / 720.0 + r * (1.0 / 5_040.0), fma(r, 1.0 / 120.0, 1.0 / 24.0));
    let c = fma(
        r2,
        fma(r, 1.0 / 39_916_800.0, 1.0 / 3_628_800.0),
        fma(r4, 1.0 / 479_001_600.0, fma(r, 1.0 / 362_880.0, 1.0 / 40_320.0)),
    );
    let p = fma(r4, fma(r4, c, b), a);
    f64::from_bits(p.to_bits().wrapping_add(shifted.to_bits() << 52))
}

/// The greater of two; the second when the first is not a number.
#[inline(always)]
pub(super) fn max(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// The lesser of two; the second when the first is not a number.
#[inline(always)]
pub(super) fn min(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

#[inline(always)]
fn pow16(x: f64) -> f64 {
    let x2 = x * x;
    let x4 = x2 * x2;
    let x8 = x4 * x4;
    x8 * x8
}

/// Churchill's `φ = f Re`, as [`crate::part::line::friction_factor_churchill`] has it, and its first two derivatives
/// over `ln Re`.
#[inline(always)]
pub(super) fn friction(re: f64, relative_roughness: f64) -> (f64, f64, f64) {
    const STEEP: f64 = 2.457 * 0.9;
    let re = max(re, 100.0); // below it the law is 64 to the last bit
    let viscous = exp(0.9 * (1.945_910_149_055_313_2 - ln(re))); // ln 7
    let inside = fma(0.27, relative_roughness, viscous);
    let theta = -2.457 * ln(inside);
    // One division for three.
    let all = 1.0 / (re * inside * theta);
    let (over_re, smooth, over_theta) = (all * inside * theta, all * re * theta * viscous, all * re * inside);
    let a = pow16(theta);
    let b = pow16(37_530.0 * over_re);
    let sum = a + b;
    let root = sum.sqrt();
    let over = 1.0 / (sum * root);
    let eighth = re * 0.125;
    let e4 = (eighth * eighth) * (eighth * eighth);
    let g = e4 * e4 * e4 * over;
    // Relative slopes over ln Re: of theta, of the sum, of g.
    let t = STEEP * smooth * over_theta;
    let bent = -0.9 * (1.0 - smooth) * t;
    let share = a * over * root;
    let rest = b * over * root;
    let s = 16.0 * fma(share, t, -rest);
    let s_bent = 16.0 * fma(share, fma(15.0 * t, t, bent), 16.0 * rest);
    let w = fma(-1.5, s, 12.0);
    let w_slope = -1.5 * fma(-s, s, s_bent);
    let less = 1.0 / (1.0 + g);
    let h = g * less;
    let u = w * h * (1.0 / 12.0);
    let u_slope = h * (1.0 / 12.0) * fma(w * w, less, w_slope);
    let phi = 64.0 * exp(ln(1.0 + g) * (1.0 / 12.0));
    (phi, phi * u, phi * fma(u, u, u_slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithm_and_exponential_follow_the_standard_library() {
        let mut x = 1e-300f64;
        while x < 1e300 {
            let (ours, theirs) = (ln(x), x.ln());
            assert!((ours - theirs).abs() <= 4e-16 * theirs.abs().max(1.0), "ln {x}: {ours} {theirs}");
            x *= 1.37;
        }
        let mut y = -690.0f64;
        while y < 690.0 {
            let (ours, theirs) = (exp(y), y.exp());
            assert!((ours / theirs - 1.0).abs() <= 6e-16, "exp {y}: {ours} {theirs}");
            y += 0.0937;
        }
    }

    #[test]
    fn friction_is_the_lines_own() {
        for rough in [0.0, 1e-4, 3e-3, 0.05] {
            let mut re = 1.0;
            while re < 1e6 {
                let (f, slope) = crate::part::line::friction_factor_churchill_with_slope(re, rough);
                let (phi, rise, bend) = friction(re, rough);
                assert!((phi / (f * re) - 1.0).abs() < 1e-13, "{re} {rough}");
                let theirs = (slope * re + f) * re;
                assert!((rise - theirs).abs() < 1e-11 * phi, "{re} {rough}: {rise} {theirs}");
                let h = 1e-5f64;
                let (up, down) = (friction(re * h.exp(), rough).1, friction(re * (-h).exp(), rough).1);
                if re > 101.0 {
                    assert!(
                        (bend - (up - down) / (2.0 * h)).abs() < 1e-6 * phi.max(bend.abs()),
                        "{re} {rough}"
                    );
                }
                re *= 1.11;
            }
        }
    }
}
