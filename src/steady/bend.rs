//! Where a regulator's leg asks for less pressure at more flow.
//!
//! # Formula
//! With lift x, opening area a and what the return takes, `l`, the poppet's balance gives the pressure before the seat,
//! `p_f (A_d - A_s) = F_0 + p_ref A_d + k x + c a dp - p_ret A_s`: more flow raises it by the spring and lowers it by the
//! return. A return's loss grows no faster than with the fourth power of flow (Churchill's friction factor between laminar
//! and turbulent; an orifice's is a square), the lift no slower than with the root of order `g = 1 + k x/(2 (F + k x)) +
//! c a/(2 w)`, `w = A_d - A_s - c a`, `F = F_0 + (p_ref - p_ret) A_d`. So while
//! `4 g l (A_s + c a A_d/w) <= k x` no smaller flow is asked for more pressure. Once the lift no longer opens more (a
//! quarter of the seat, the stop), the drop over the seat alone rises with flow: x is then what it was when it got there.
//!
//! Source: the balance of [`crate::part::regulator`], derived here.

use super::network::FIRST;
use crate::part::regulator::Regulator;
use std::f64::consts::PI;

/// What of a regulator says whether its pressure may fall, SI.
pub(super) struct Poppet {
    pub area: f64,
    pub seat_area: f64,
    /// Opening area per lift, up to that of the seat.
    pub curtain: f64,
    pub rate: f64,
    pub preload: f64,
    pub flow_force: f64,
}

impl Poppet {
    pub fn of(law: &Regulator) -> Self {
        Self {
            area: law.area,
            seat_area: law.seat_area(),
            curtain: PI * law.seat,
            rate: law.rate,
            preload: law.preload,
            flow_force: law.flow_force,
        }
    }

    /// Whether some smaller flow may be asked for more pressure than a flow that the poppet passes at a lift, with what
    /// its return takes of it.
    pub fn may_fall(&self, lift: f64, back: f64, reference: f64, loss: f64) -> bool {
        let open = (self.curtain * lift).min(self.seat_area);
        let spring = self.rate * open / self.curtain;
        let steers = self.flow_force * open;
        let weight = self.area - self.seat_area - steers;
        let shuts = self.preload + (reference - back) * self.area;
        let order = 1.0 + 0.5 * spring / (shuts + spring) + 0.5 * steers / weight;
        let lifts = 4.0 * order * loss * (self.seat_area + steers * self.area / weight);
        loss > 0.0 && !(weight > 0.0 && shuts >= 0.0 && lifts <= spring)
    }
}

/// What a regulator's leg asks of its start at a flow.
#[derive(Clone, Copy)]
pub(super) struct Asked {
    /// The pressure, Pa.
    pub pressure: f64,
    /// Its change with flow, Pa·s/m³.
    pub slope: f64,
    /// Whether a smaller flow may be asked for more.
    pub may_fall: bool,
}

/// Step of a search along a leg's flow: a twentieth of the way from laminar to turbulent.
const STEP: f64 = 1.05;
/// What a smaller flow is asked for more before it counts, Pa.
const COUNTS: f64 = 1e-3;

/// How much more some smaller flow is asked for than this one, Pa; none where none is asked for more. In steps down from
/// the flow, and between two steps to the top of what rises before it falls.
pub(super) fn asked_more(q: f64, asked: impl Fn(f64) -> Asked) -> Option<f64> {
    if q <= 2.0 * FIRST {
        return None;
    }
    let here = asked(q);
    if !here.may_fall {
        return None;
    }
    if here.slope < 0.0 {
        return Some(-here.slope * q);
    }
    let (mut above, mut was) = (q, here);
    while above > FIRST {
        let below = (above / STEP).max(FIRST);
        let now = asked(below);
        let top = if now.slope > 0.0 && was.slope < 0.0 {
            asked(turn(below, above, |q| asked(q).slope > 0.0)).pressure
        } else {
            now.pressure
        };
        if top - here.pressure > COUNTS {
            return Some(top - here.pressure);
        }
        if !now.may_fall {
            break;
        }
        (above, was) = (below, now);
    }
    None
}

/// Flows up to the most at which a search must look so that it misses no fall of what is asked: steps along each fall, its
/// ends, and just before them.
pub(super) fn falls(most: f64, asked: impl Fn(f64) -> Asked) -> Vec<f64> {
    let mut out = Vec::new();
    let (mut below, mut was) = (FIRST, asked(FIRST));
    while below < most {
        let above = below * STEP;
        let now = asked(above);
        if was.slope < 0.0 || now.slope < 0.0 {
            out.push(below);
            if (was.slope < 0.0) != (now.slope < 0.0) {
                let end = turn(below, above, |q| (asked(q).slope < 0.0) == (was.slope < 0.0));
                out.extend([end * (1.0 - 1e-4), end * (1.0 + 1e-9)]);
            }
            out.push(above);
        }
        (below, was) = (above, now);
    }
    out.sort_by(f64::total_cmp);
    out.dedup();
    out
}

/// The last flow between two of which something holds that holds of the smaller and not of the larger.
fn turn(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    low
}
