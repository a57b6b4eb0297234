//! What one pump does at another speed.

use crate::quantity::{AngularVelocity, Power, Pressure, VolumeRate};

/// Flow, pressure rise and shaft power of a dynamic (regenerative or centrifugal) pump at another speed.
///
/// # Formula
/// `Q₂ = Q₁ r`, `Δp₂ = Δp₁ r²`, `P₂ = P₁ r³`, `r = n₂/n₁`
///
/// # Symbols
/// `Q` volume flow, m³/s; `Δp` pressure rise, Pa (head, m, goes the same way); `P` shaft power, W; `n` speed,
/// rad/s.
///
/// # Valid range
/// The same pump, liquid and efficiency, turbulent inside: speeds within about 2:1. It moves a point along the
/// parabola `Δp ∝ Q²`; it does not say what the pump gives at the *same* pressure. A displacement pump keeps no
/// such law: its pressure is the circuit's.
///
/// # Source
/// Crane TP-410, example 7.33 (affinity laws).
#[must_use]
pub fn affinity(
    (flow, rise, power): (VolumeRate, Pressure, Power),
    from: AngularVelocity,
    to: AngularVelocity,
) -> (VolumeRate, Pressure, Power) {
    let r = (to / from).value;
    (flow * r, rise * (r * r), power * (r * r * r))
}
