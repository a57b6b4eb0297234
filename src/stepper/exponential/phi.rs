//! The functions φ of exponential methods.

use nalgebra::Complex;

/// `φ_0 = exp(z)`, `φ_1`, `φ_2` and `φ_3`.
///
/// # Formula
/// `φ_{k+1}(z) = (φ_k(z) - 1/k!)/z`, `φ_k(0) = 1/k!`
///
/// # Symbols
/// `z` an eigenvalue times a step.
///
/// # Valid range
/// Every `z` whose exponential is finite. Below |z| = 1/2 by the series, where the formula would cancel; departs by less
/// than 1e-14 of itself.
///
/// # Source
/// M. Hochbruck, A. Ostermann, Exponential integrators, Acta Numerica 19 (2010) 209-286, section 2 (from memory).
#[inline]
pub(super) fn phi(z: Complex<f64>) -> [Complex<f64>; 4] {
    let one = Complex::new(1.0, 0.0);
    if z.norm_sqr() >= 0.25 {
        let (per, p0) = (one / z, z.exp());
        let p1 = (p0 - 1.0) * per;
        let p2 = (p1 - 1.0) * per;
        return [p0, p1, p2, (p2 - 0.5) * per];
    }
    // 1/3! to 1/13!, the last first.
    let mut over = [1.0 / 6.0; 11];
    for k in 1..11 {
        over[k] = over[k - 1] / (k + 3) as f64;
    }
    let p3 = over.iter().rev().fold(Complex::new(0.0, 0.0), |sum, c| sum * z + c);
    let p2 = z * p3 + 0.5;
    let p1 = z * p2 + 1.0;
    [z * p1 + 1.0, p1, p2, p3]
}

/// The same at twice the argument, without another exponential.
#[inline]
pub(super) fn doubled([e, p1, p2, p3]: [Complex<f64>; 4]) -> [Complex<f64>; 4] {
    [e * e, (e * p1 + p1) * 0.5, (p1 * p1 + p2 * 2.0) * 0.25, (p1 * p2 + p2 + p3 * 2.0) * 0.125]
}

#[cfg(test)]
mod tests {
    use super::{doubled, phi};
    use nalgebra::Complex;

    // By their integrals φ_k = ∫ exp((1-s) z) s^(k-1)/(k-1)! ds over 0..1, Gauss-Legendre of five points in 400 pieces.
    fn integral(z: Complex<f64>, k: i32) -> Complex<f64> {
        let nodes = [0.0, 0.538_469_310_105_683_1, 0.906_179_845_938_664];
        let weights = [0.568_888_888_888_888_9, 0.478_628_670_499_366_5, 0.236_926_885_056_189_1];
        let factorial: f64 = (1..k).map(f64::from).product();
        let f = |s: f64| (z * (1.0 - s)).exp() * s.powi(k - 1) / factorial;
        let piece = 1.0 / 400.0;
        (0..400)
            .flat_map(|n| {
                let mid = (f64::from(n) + 0.5) * piece;
                [-2i32, -1, 0, 1, 2].map(|j| {
                    let at = j.unsigned_abs() as usize;
                    f(mid + 0.5 * piece * nodes[at] * f64::from(j.signum())) * (0.5 * piece * weights[at])
                })
            })
            .sum()
    }

    #[test]
    fn they_are_the_integrals_that_they_stand_for() {
        for (re, im) in
            [(0.0, 0.0), (-1e-5, 1e-4), (-0.3, 0.39), (-0.36, 0.36), (-3.0, 4.0), (-20.0, 1.0), (0.7, -9.0)]
        {
            let z = Complex::new(re, im);
            let here = phi(z);
            for (got, want) in [(here, z), (doubled(here), z * 2.0)]
                .into_iter()
                .flat_map(|(p, z)| (1..4).map(move |k| (p[k as usize], integral(z, k))))
            {
                assert!((got - want).norm() < 1e-13 * want.norm().max(1e-3), "{z}: {got} {want}");
            }
        }
    }
}
