//! Poppets and spools: flow area against lift, and the force that the flow itself makes.

use crate::quantity::{Area, Force, Length, Pressure};
use std::f64::consts::PI;

/// Flow area of a conical poppet on a sharp seat.
///
/// # Formula
/// `A = π s (d − s cos α)`, `s = x sin α`
///
/// # Symbols
/// `d` seat diameter, m; `α` half angle of the cone, rad (π/2 is a flat disc: `A = π d x`); `x` lift, m.
///
/// # Valid range
/// `x ≥ 0` while the area rises with lift; [`poppet_area_limited`] adds the seat's own hole as the limit.
///
/// # Source
/// Frustum geometry; H. E. Merritt, Hydraulic Control Systems, sec. 5-5.
#[must_use]
pub fn poppet_area(seat: Length, half_angle: f64, lift: Length) -> Area {
    let slant = lift * half_angle.sin();
    PI * slant * (seat - slant * half_angle.cos())
}

/// Flow area of a conical poppet, no more than the hole of its seat, none at negative lift.
///
/// # Formula
/// `min(A(x), π d²/4)`
///
/// # Symbols, source
/// As [`poppet_area`].
///
/// # Valid range
/// Any lift: beyond the largest frustum the hole is the limit.
#[must_use]
pub fn poppet_area_limited(seat: Length, half_angle: f64, lift: Length) -> Area {
    let hole = super::hole_area(seat);
    let widest = 0.5 * seat.value / (half_angle.sin() * half_angle.cos()).max(f64::MIN_POSITIVE);
    let lift = lift.value.clamp(0.0, widest);
    let area = poppet_area(seat, half_angle, crate::quantity::m(lift));
    if area < hole { area } else { hole }
}

/// Jet angle of a sharp-edged spool port, rad: 69°. Source: von Mises, in Merritt sec. 5-2 (from memory).
pub const JET_ANGLE: f64 = 69.0 * PI / 180.0;

/// Steady flow force on a valve, in the closing direction.
///
/// # Formula
/// `F = 2 C_d C_v A Δp cos θ`
///
/// # Symbols
/// `C_d` discharge, `C_v` velocity coefficient (0.98), 1; `A` flow area, m²; `Δp` difference, Pa; `θ` jet
/// angle, rad ([`JET_ANGLE`] for a sharp port, about the half angle for a cone).
///
/// # Valid range
/// Turbulent jet that leaves at `θ` and enters across the axis.
///
/// # Source
/// H. E. Merritt, Hydraulic Control Systems, sec. 5-2 (from memory); with 69° it is 0.43 A Δp.
#[must_use]
pub fn steady_flow_force(
    discharge: f64,
    velocity: f64,
    area: Area,
    difference: Pressure,
    jet_angle: f64,
) -> Force {
    2.0 * discharge * velocity * jet_angle.cos() * area * difference
}
