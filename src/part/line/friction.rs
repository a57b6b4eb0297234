//! Darcy friction factor: laminar, Colebrook-White, explicit forms, and one formula for all regimes.

/// Reynolds number below which Churchill's turbulent term is under the round-off of the laminar one:
/// at Re = 100 it is (Re/8)¹² (Re/37530)²⁴ ≈ 1e-49.
const PURELY_LAMINAR: f64 = 100.0;

/// Laminar friction factor.
///
/// # Formula
/// `f = 64/Re`
///
/// # Symbols
/// `Re` Reynolds number ρuD/µ on the bore, 1.
///
/// # Valid range
/// `0 < Re <` about 2300. Above it the value is returned but the flow is no longer laminar; at `Re = 0`
/// it is infinite (the pressure drop is not: see [`hagen_poiseuille`](super::hagen_poiseuille)).
///
/// # Source
/// Hagen-Poiseuille.
#[must_use]
pub fn friction_factor_laminar(re: f64) -> f64 {
    64.0 / re
}

/// Friction factor of Colebrook and White, solved to round-off.
///
/// # Formula
/// `1/√f = −2 log₁₀(ε/(3.7 D) + 2.51/(Re √f))`
///
/// # Symbols
/// `Re` Reynolds number, 1; `ε/D` roughness over bore, 1.
///
/// # Valid range
/// `Re > 4000`, `ε/D ≤ 0.05`. Below 4000 the root still exists and is returned; the flow is then laminar
/// or in transition and the value is no friction factor of it.
///
/// # Source
/// C. F. Colebrook, J. Inst. Civ. Eng. 11 (1939) 133. Solved by Newton's method on x = 1/√f, whose
/// residual is concave and monotone, from Haaland's value.
#[must_use]
pub fn friction_factor_colebrook(re: f64, relative_roughness: f64) -> f64 {
    let rough = relative_roughness / 3.7;
    let smooth = 2.51 / re;
    let two_over_ln10 = 2.0 / std::f64::consts::LN_10;
    let mut x = 1.0 / friction_factor_haaland(re, relative_roughness).sqrt();
    for _ in 0..40 {
        let inside = rough + smooth * x;
        let residual = x + two_over_ln10 * inside.ln();
        let step = residual / (1.0 + two_over_ln10 * smooth / inside);
        x -= step;
        if step.abs() <= 4.0 * f64::EPSILON * x.abs() {
            break;
        }
    }
    1.0 / (x * x)
}

/// Explicit friction factor of Haaland.
///
/// # Formula
/// `1/√f = −1.8 log₁₀((ε/D/3.7)^1.11 + 6.9/Re)`
///
/// # Symbols
/// `Re` Reynolds number, 1; `ε/D` roughness over bore, 1.
///
/// # Valid range
/// `4000 ≤ Re ≤ 1e8`, `1e-6 ≤ ε/D ≤ 0.05`; within about 2 % of Colebrook there. Outside it is evaluated as
/// it stands.
///
/// # Source
/// S. E. Haaland, J. Fluids Eng. 105 (1983) 89.
#[must_use]
pub fn friction_factor_haaland(re: f64, relative_roughness: f64) -> f64 {
    let x = -1.8 * ((relative_roughness / 3.7).powf(1.11) + 6.9 / re).log10();
    1.0 / (x * x)
}

/// Explicit friction factor of Serghides, his second (two-point) form.
///
/// # Formula
/// `A = −2 log₁₀(ε/D/3.7 + 12/Re)`, `B = −2 log₁₀(ε/D/3.7 + 2.51 A/Re)`,
/// `f = (4.781 − (A − 4.781)²/(B − 2A + 4.781))⁻²`
///
/// # Symbols
/// `Re` Reynolds number, 1; `ε/D` roughness over bore, 1.
///
/// # Valid range
/// `Re > 2100`, `ε/D ≤ 0.05`; within 0.5 % of Colebrook there. Outside it is evaluated as it stands.
///
/// # Source
/// T. K. Serghides, Chem. Eng. 91 (1984) 63.
#[must_use]
pub fn friction_factor_serghides(re: f64, relative_roughness: f64) -> f64 {
    let a = -2.0 * (relative_roughness / 3.7 + 12.0 / re).log10();
    let b = -2.0 * (relative_roughness / 3.7 + 2.51 * a / re).log10();
    (4.781 - (a - 4.781).powi(2) / (b - 2.0 * a + 4.781)).powi(-2)
}

/// Explicit friction factor of Swamee and Jain.
///
/// # Formula
/// `1/√f = −2 log₁₀((6.97/Re)^0.9 + ε/(3.7 D))`
///
/// # Symbols
/// `Re` Reynolds number, 1; `ε/D` roughness over bore, 1.
///
/// # Valid range
/// `5000 ≤ Re ≤ 1e8`, `1e-6 ≤ ε/D ≤ 0.05`; within 1 % of Colebrook there. Outside it is evaluated as it stands.
///
/// # Source
/// P. K. Swamee, A. K. Jain, J. Hydraul. Div. ASCE 102 (1976) 657; constants as in `fluids` 1.3.1.
#[must_use]
pub fn friction_factor_swamee_jain(re: f64, relative_roughness: f64) -> f64 {
    let x = -2.0 * ((6.97 / re).powf(0.9) + relative_roughness / 3.7).log10();
    1.0 / (x * x)
}

/// Friction factor over all regimes, laminar to rough.
///
/// # Formula
/// `f = 8 ((8/Re)¹² + (A + B)^−1.5)^(1/12)`, `A = (2.457 ln(1/((7/Re)^0.9 + 0.27 ε/D)))¹⁶`,
/// `B = (37530/Re)¹⁶`
///
/// # Symbols
/// `Re` Reynolds number, 1; `ε/D` roughness over bore, 1.
///
/// # Valid range
/// `Re > 0`, `ε/D ≤ 0.05`. At `Re = 0` it is infinite, as 64/Re is; the flow's *sign* is the caller's.
/// Between 2100 and 4000 nature itself varies by ±40 %.
///
/// # Source
/// S. W. Churchill, Chem. Eng. 84 (1977) 91.
#[must_use]
pub fn friction_factor_churchill(re: f64, relative_roughness: f64) -> f64 {
    f_times_re(re, relative_roughness).0 / re
}

/// [`friction_factor_churchill`] with its derivative `df/dRe`.
///
/// # Formula
/// That of [`friction_factor_churchill`], differentiated.
///
/// # Symbols, valid range, source
/// As there.
#[must_use]
pub fn friction_factor_churchill_with_slope(re: f64, relative_roughness: f64) -> (f64, f64) {
    let (phi, re_dphi) = f_times_re(re, relative_roughness);
    (phi / re, (re_dphi - phi) / (re * re))
}

/// Churchill's `f Re` (64 when laminar) and `Re d(f Re)/dRe`: the form that stays finite at rest.
#[inline]
pub(super) fn f_times_re(re: f64, relative_roughness: f64) -> (f64, f64) {
    if re < PURELY_LAMINAR {
        return (64.0, 0.0);
    }
    let viscous = (7.0 / re).powf(0.9);
    let inside = viscous + 0.27 * relative_roughness;
    let theta = -2.457 * inside.ln();
    let a = pow16(theta);
    let b = pow16(37_530.0 / re);
    let sum = a + b;
    let eighth = re / 8.0;
    let e4 = (eighth * eighth) * (eighth * eighth);
    let g = e4 * e4 * e4 / (sum * sum.sqrt());
    // Re·d/dRe of each: θ falls out of the logarithm, B is a pure power.
    let re_da = 16.0 * a / theta * (2.457 * 0.9 * viscous / inside);
    let re_dg = g * (12.0 - 1.5 * (re_da - 16.0 * b) / sum);
    let phi = 64.0 * (1.0 + g).powf(1.0 / 12.0);
    (phi, phi / 12.0 * re_dg / (1.0 + g))
}

#[inline]
fn pow16(x: f64) -> f64 {
    let x2 = x * x;
    let x4 = x2 * x2;
    let x8 = x4 * x4;
    x8 * x8
}
