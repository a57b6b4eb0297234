//! Loss coefficients `K` of fittings: every one says on which bore's velocity it stands.

use super::friction::friction_factor_colebrook;
use std::f64::consts::PI;

/// Flush, sharp-edged entrance from a tank. Source: Crane TP-410 A-30. Rennels gives 0.57.
pub const K_ENTRANCE_SHARP: f64 = 0.5;

/// Exit into a tank: all kinetic energy is lost. Source: Crane TP-410 A-30; momentum balance.
pub const K_EXIT: f64 = 1.0;

/// Sudden expansion, on the upstream (small) bore.
///
/// # Formula
/// `K = (1 − β²)²`
///
/// # Symbols
/// `β` small over large bore, 1.
///
/// # Valid range
/// `0 ≤ β ≤ 1`, turbulent. `β = 0` is [`K_EXIT`].
///
/// # Source
/// Borda-Carnot (momentum balance).
#[must_use]
pub fn k_sudden_expansion(beta: f64) -> f64 {
    (1.0 - beta * beta).powi(2)
}

/// Sudden contraction, on the downstream (small) bore, after Crane.
///
/// # Formula
/// `K = 0.5 (1 − β²)`
///
/// # Symbols
/// `β` small over large bore, 1.
///
/// # Valid range
/// `0 ≤ β ≤ 1`, turbulent.
///
/// # Source
/// Crane TP-410 A-26 formula 1 at 180° (from memory).
#[must_use]
pub fn k_sudden_contraction_crane(beta: f64) -> f64 {
    0.5 * (1.0 - beta * beta)
}

/// Sudden contraction, on the downstream (small) bore, after White.
///
/// # Formula
/// `K = 0.42 (1 − β²)` up to `β = 0.76`, `K = (1 − β²)²` above
///
/// # Symbols
/// `β` small over large bore, 1.
///
/// # Valid range
/// `0 ≤ β ≤ 1`, turbulent. The two branches meet within 0.001 of each other at 0.76.
///
/// # Source
/// F. M. White, Fluid Mechanics, Eqs. 6.80 and 6.81 (from memory).
#[must_use]
pub fn k_sudden_contraction_white(beta: f64) -> f64 {
    if beta < 0.76 { 0.42 * (1.0 - beta * beta) } else { k_sudden_expansion(beta) }
}

/// Sudden contraction, on the downstream (small) bore, after Rennels.
///
/// # Formula
/// `K = 0.0696 (1 − β⁵) λ² + (λ − 1)²`, `λ = 1 + 0.622 (1 − 0.215 β² − 0.785 β⁵)`
///
/// # Symbols
/// `β` small over large bore, 1; `λ` jet velocity over that in the small bore, 1.
///
/// # Valid range
/// `0 ≤ β ≤ 1`, turbulent; about ±10 %.
///
/// # Source
/// D. C. Rennels, H. M. Hudson, Pipe Flow (2012), as in `fluids` 1.3.1.
#[must_use]
pub fn k_sudden_contraction_rennels(beta: f64) -> f64 {
    let b5 = beta.powi(5);
    let jet = 1.0 + 0.622 * (1.0 - 0.215 * beta * beta - 0.785 * b5);
    0.0696 * (1.0 - b5) * jet * jet + (jet - 1.0).powi(2)
}

/// Rounded entrance from a tank, on the bore after it.
///
/// # Formula
/// `K = 0.0696 (1 − 0.569 r) λ² + (λ − 1)²`, `λ = 1 + 0.622 (1 − 0.30 √r − 0.70 r)⁴`
///
/// # Symbols
/// `r` radius of the rounding over bore, 1.
///
/// # Valid range
/// `0 ≤ r ≤ 1`; above 1 it is 0.03.
///
/// # Source
/// D. C. Rennels, H. M. Hudson, Pipe Flow (2012), as in `fluids` 1.3.1.
#[must_use]
pub fn k_entrance_rounded(radius_over_bore: f64) -> f64 {
    let r = radius_over_bore;
    if r > 1.0 {
        return 0.03;
    }
    let jet = 1.0 + 0.622 * (1.0 - 0.30 * r.sqrt() - 0.70 * r).powi(4);
    0.0696 * (1.0 - 0.569 * r) * jet * jet + (jet - 1.0).powi(2)
}

/// Two-constant loss coefficient of Hooper, valid into laminar flow.
///
/// # Formula
/// `K = K₁/Re + K_∞ (1 + 1/D_in)`
///
/// # Symbols
/// `K₁`, `K_∞` constants of the fitting (standard screwed 90° elbow: 800, 0.4); `Re` Reynolds number, 1;
/// `D_in` bore in *inches*.
///
/// # Valid range
/// `Re > 0`. The size term was fitted on 1 inch and up; on a 1/2 inch bore it triples `K_∞`.
///
/// # Source
/// W. B. Hooper, Chem. Eng. 88 (24 Aug 1981) 96; checked with `fluids` 1.3.1.
#[must_use]
pub fn k_hooper(k1: f64, k_infinity: f64, re: f64, bore_inches: f64) -> f64 {
    k1 / re + k_infinity * (1.0 + 1.0 / bore_inches)
}

/// Three-constant loss coefficient of Darby, valid into laminar flow.
///
/// # Formula
/// `K = K₁/Re + K_i (1 + K_d/D_n^0.3)`
///
/// # Symbols
/// `K₁`, `K_i`, `K_d` constants of the fitting (threaded 90° elbow: 800, 0.14, 4.0); `D_n` nominal size
/// in *inches*.
///
/// # Valid range
/// `Re > 0`, `D_n > 0`.
///
/// # Source
/// R. Darby, Chemical Engineering Fluid Mechanics (2001); checked with `fluids` 1.3.1.
#[must_use]
pub fn k_darby(k1: f64, ki: f64, kd: f64, re: f64, nominal_inches: f64) -> f64 {
    k1 / re + ki * (1.0 + kd * nominal_inches.powf(-0.3))
}

/// Smooth bend, on its own bore, wall friction along the bend included.
///
/// # Formula
/// `K = f α r/D + (0.10 + 2.4 f) sin(α/2) + 6.6 f (√sin(α/2) + sin(α/2))/(r/D)^(4α/π)`
///
/// # Symbols
/// `f` Darcy friction factor, 1; `α` angle, rad; `r/D` bend radius on the centre line over bore, 1.
///
/// # Valid range
/// `0 < α ≤ π`, `r/D ≥ 0.5`, turbulent; about ±15 %.
///
/// # Source
/// D. C. Rennels, H. M. Hudson, Pipe Flow (2012), as in `fluids` 1.3.1.
#[must_use]
pub fn k_rennels_bend(friction_factor: f64, angle: f64, radius_over_bore: f64) -> f64 {
    let f = friction_factor;
    let sine = (0.5 * angle).sin();
    f * angle * radius_over_bore
        + (0.10 + 2.4 * f) * sine
        + 6.6 * f * (sine.sqrt() + sine) / radius_over_bore.powf(4.0 * angle / PI)
}

/// [`k_rennels_bend`] with the friction factor of Colebrook.
///
/// # Formula
/// `f` = [`friction_factor_colebrook`]`(Re, ε/D)`
///
/// # Symbols, valid range, source
/// As [`k_rennels_bend`].
#[must_use]
pub fn k_rennels_bend_at(re: f64, relative_roughness: f64, angle: f64, radius_over_bore: f64) -> f64 {
    k_rennels_bend(friction_factor_colebrook(re, relative_roughness), angle, radius_over_bore)
}

/// Friction factor of a fully rough bore: what Crane calls `f_T`.
///
/// # Formula
/// `f_T = 0.25/log₁₀(ε/(3.7 D))²`
///
/// # Symbols
/// `ε/D` roughness over bore, 1 (commercial steel: ε = 0.0457 mm).
///
/// # Valid range
/// `0 < ε/D ≤ 0.05`.
///
/// # Source
/// Colebrook at Re → ∞; Crane TP-410 A-27.
#[must_use]
pub fn friction_factor_fully_rough(relative_roughness: f64) -> f64 {
    0.25 / (relative_roughness / 3.7).log10().powi(2)
}

/// A fitting whose loss coefficient is a number of fully rough friction factors: `K = n f_T`.
///
/// Source: Crane TP-410 appendix A, from memory except the smooth 1 D bend and the gate valve, which
/// `fluids` 1.3.1 confirms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum CraneFitting {
    /// Standard 90° elbow.
    Elbow90,
    /// Standard 45° elbow.
    Elbow45,
    /// 90° bend, radius 1 D.
    Bend90Radius1,
    /// 90° bend, radius 1.5 D.
    Bend90Radius1_5,
    /// 90° bend, radius 3 D.
    Bend90Radius3,
    /// Tee, flow along the run.
    TeeRun,
    /// Tee, flow through the branch.
    TeeBranch,
    /// Gate valve, full open.
    GateOpen,
    /// Ball valve, full bore, open.
    BallFull,
    /// Globe valve, full open.
    Globe,
    /// Swing check valve (the clearway form has 50).
    SwingCheck,
    /// Lift check valve, globe body.
    LiftCheckGlobe,
}

impl CraneFitting {
    /// The number `n` of fully rough friction factors.
    #[must_use]
    pub const fn multiplier(self) -> f64 {
        match self {
            Self::Elbow90 => 30.0,
            Self::Elbow45 => 16.0,
            Self::Bend90Radius1 => 20.0,
            Self::Bend90Radius1_5 => 14.0,
            Self::Bend90Radius3 => 12.0,
            Self::TeeRun => 20.0,
            Self::TeeBranch => 60.0,
            Self::GateOpen => 8.0,
            Self::BallFull => 3.0,
            Self::Globe => 340.0,
            Self::SwingCheck => 100.0,
            Self::LiftCheckGlobe => 600.0,
        }
    }

    /// Loss coefficient on its own bore.
    ///
    /// # Formula
    /// `K = n f_T`
    ///
    /// # Symbols
    /// `f_T` = [`friction_factor_fully_rough`] of the connecting tube, 1, whatever the Reynolds number.
    ///
    /// # Valid range
    /// Turbulent flow; in laminar flow the loss is larger: use [`k_hooper`] or [`k_darby`].
    ///
    /// # Source
    /// Crane TP-410 appendix A.
    #[must_use]
    pub fn k(self, f_t: f64) -> f64 {
        self.multiplier() * f_t
    }
}

/// Lift check valve of a smaller bore in a line, on the line's (large) bore.
///
/// # Formula
/// `K₂ = (600 f_T + β (0.5 (1 − β²) + (1 − β²)²))/β⁴`
///
/// # Symbols
/// `β` valve over line bore, 1; `f_T` fully rough friction factor, 1.
///
/// # Valid range
/// `0 < β ≤ 1`, disc fully lifted, turbulent. Printings of the example differ by 6 % in `f_T`.
///
/// # Source
/// Crane TP-410 A-26 formula 7 and example 7.5, as in `fluids` 1.3.1.
#[must_use]
pub fn k_lift_check_valve(beta: f64, f_t: f64) -> f64 {
    let shut = 1.0 - beta * beta;
    (CraneFitting::LiftCheckGlobe.k(f_t) + beta * (0.5 * shut + shut * shut)) / beta.powi(4)
}

/// A loss coefficient moved to another bore.
///
/// # Formula
/// `K_to = K_from (D_to/D_from)⁴`
///
/// # Symbols
/// `D_from` bore on whose velocity `K_from` stands, m; `D_to` bore of the wanted one, m.
///
/// # Valid range
/// Both positive.
///
/// # Source
/// Continuity: the same pressure at the same flow.
#[must_use]
pub fn k_on_other_bore(k: f64, from_bore: f64, to_bore: f64) -> f64 {
    k * (to_bore / from_bore).powi(4)
}
