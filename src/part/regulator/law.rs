//! The static balance of diaphragm and poppet.

use crate::part::orifice;
use std::f64::consts::PI;

/// What the poppet is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// Shut: all the pump's flow goes to the engine, the pressure is no longer held.
    Closed,
    /// In control.
    Control,
    /// At its stop: more flow only by more pressure (overrun).
    FullLift,
    /// Kept from closing by dirt or a jammed stem: an open hole that holds no pressure.
    HeldOpen,
}

/// A by-pass regulator, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Regulator {
    /// Effective area of the diaphragm, m².
    pub area: f64,
    /// Diameter of the seat, m.
    pub seat: f64,
    /// Spring rate, N/m.
    pub rate: f64,
    /// Spring force with the poppet shut, N.
    pub preload: f64,
    /// Lift at the stop, m.
    pub max_lift: f64,
    /// Lift below which it cannot close, m; zero when sound.
    pub min_lift: f64,
    /// Discharge coefficient of the seat.
    pub cd: f64,
    /// Flow force per opening area and pressure difference (0.43 in the cited form), -.
    pub flow_force: f64,
    /// Dry friction of the stem, N. It gives a hysteresis band, not part of the mean balance.
    pub friction: f64,
}

/// Where the poppet sits, and what holds there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// Pressure at the fuel port, Pa (same datum as the two given).
    pub fuel: f64,
    /// Change of it with flow, Pa·s/m³.
    pub slope: f64,
    /// Change of it with the return pressure, -.
    pub by_return: f64,
    /// Lift, m.
    pub lift: f64,
    /// What the poppet is doing.
    pub mode: Mode,
}

/// Opening area of a flat seat: the curtain, until it exceeds the bore.
///
/// # Formula
/// `A(x) = min(pi d x, pi d²/4)`; d seat diameter m, x lift m, A m². Range `x >= 0`; below zero it is zero.
/// Source: geometry (curtain area equals bore at x = d/4).
#[must_use]
pub fn opening_area(seat: f64, lift: f64) -> f64 {
    (PI * seat * lift.max(0.0)).min(PI * seat * seat / 4.0)
}

/// By how much the fuel pressure rises per rise of the reference.
///
/// # Formula
/// `g = A_d / (A_d - A_seat)`; areas m². Range `A_seat < A_d`. "1:1" is close to, not exactly, one:
/// the fuel does not act on the part of the diaphragm that the seat shades.
/// Source: force balance on the poppet with constant return pressure.
#[must_use]
pub fn reference_gain(area: f64, seat: f64) -> f64 {
    area / (area - PI * seat * seat / 4.0)
}

/// Slope of the shut branch, Pa·s/m³: one bar leaks 1e-11 m³/s (0.04 mL/h), far below what is solved for.
const SHUT: f64 = 1e16;

impl Regulator {
    /// Seat area, m².
    #[must_use]
    pub fn seat_area(&self) -> f64 {
        PI * self.seat * self.seat / 4.0
    }

    /// Fuel pressure at which the poppet just leaves the seat, Pa.
    ///
    /// # Formula
    /// `p_f (A_d - A_s) + p_ret A_s - p_ref A_d - F_0 = 0`.
    #[must_use]
    pub fn cracking(&self, p_return: f64, p_reference: f64) -> f64 {
        let s = self.seat_area();
        (p_reference * self.area + self.preload - p_return * s) / (self.area - s)
    }

    /// The preload at which the fuel port stands at `base` above the reference while `flow` passes to a
    /// return at the reference's pressure: how base is set, hose off, at idle.
    ///
    /// # Formula
    /// From the balance at the lift that passes `flow`:
    /// `F_0 = base (A_d - A_s) - k x - c A(x) base`, `x = flow/(C_d pi d sqrt(2 base/rho))`.
    #[must_use]
    pub fn preload_for(&self, base: f64, flow: f64, rho: f64) -> f64 {
        let curtain = flow / (self.cd * (2.0 * base / rho).sqrt());
        let lift = (curtain / (PI * self.seat)).min(self.max_lift);
        base * (self.area - self.seat_area())
            - self.rate * lift
            - self.flow_force * opening_area(self.seat, lift) * base
    }

    /// The fuel pressure that passes this flow, and where the poppet sits.
    ///
    /// # Formula
    /// With lift x, `dp = rho/2 (Q/(C_d A(x)))²` and
    /// `p_f (A_d - A_s) + p_ret A_s - p_ref A_d - F_0 - k x - c A(x) dp = 0`, `0 <= x <= x_max`;
    /// the balance falls with x, so the lift is unique. At `x_max` the pressure follows the orifice alone.
    ///
    /// `q` m³/s, `rho` kg/m³, pressures Pa. Below the cracking point the seat is shut: `p_f = p_ret + 1e16 Q`, a leak that keeps equations regular.
    /// A poppet that cannot close follows the orifice at its least lift until the balance lifts it further.
    #[must_use]
    pub fn at_flow(&self, q: f64, rho: f64, p_return: f64, p_reference: f64) -> Seat {
        let s = self.seat_area();
        let net = self.area - s;
        let crack = self.cracking(p_return, p_reference);
        if self.min_lift > 0.0 {
            let lift = self.min_lift.min(self.max_lift);
            let cd_a = self.cd * opening_area(self.seat, lift);
            let (dp, slope) = orifice::drop(q, cd_a, rho, orifice::DP_SMALL);
            let force = dp * net + (p_return - p_reference) * self.area
                - self.preload
                - self.rate * lift
                - self.flow_force * opening_area(self.seat, lift) * dp;
            if force <= 0.0 {
                return Seat { fuel: p_return + dp, slope, by_return: 1.0, lift, mode: Mode::HeldOpen };
            }
        }
        // Up to its cracking point the shut seat lets through next to nothing, driven by the difference like any leak:
        // from rail to tank, never the other way. A return above that point holds the poppet open: no difference then.
        let seeps = (crack - p_return).max(0.0) / SHUT;
        if q <= seeps {
            let fuel = p_return + SHUT * q;
            return Seat { fuel, slope: SHUT, by_return: 1.0, lift: 0.0, mode: Mode::Closed };
        }
        // The leak goes over into the lift's flow without a step, and is soon nothing beside it.
        let fade = (seeps / q).powi(3);
        let (q, q_slope) = (q - seeps * fade, 1.0 + 3.0 * fade * (seeps / q));
        let dp_at = |x: f64| {
            let v = q / (self.cd * opening_area(self.seat, x));
            0.5 * rho * v * v
        };
        // Balance at lift x, N: positive opens further. fuel = return + dp(x).
        let offset = p_return * self.area - p_reference * self.area - self.preload;
        let balance = |x: f64| {
            let dp = dp_at(x);
            dp * net + offset - self.rate * x - self.flow_force * opening_area(self.seat, x) * dp
        };
        let full = balance(self.max_lift);
        if full >= 0.0 {
            let dp = dp_at(self.max_lift);
            return Seat {
                fuel: p_return + dp,
                slope: 2.0 * dp / q * q_slope,
                by_return: 1.0,
                lift: self.max_lift,
                mode: Mode::FullLift,
            };
        }
        let x = self.root(q, rho, offset, net, balance);
        let dp = dp_at(x);
        let area = opening_area(self.seat, x);
        let da = if PI * self.seat * x < self.seat_area() { PI * self.seat } else { 0.0 };
        // Along the balance dp (net - c A) = k x - offset, both dp and Q follow from the lift; written so, nothing
        // cancels where the flow goes to nothing.
        let weight = net - self.flow_force * area;
        let stiff = self.rate + self.flow_force * da * dp;
        let dp_x = stiff / weight;
        let v2 = 2.0 * dp / rho;
        let q_x = self.cd * (da * v2.sqrt() + area * dp_x / (rho * v2.sqrt()));
        // At constant flow the return pressure moves dp, and the lift makes room: dx = -A ddp/(2 dp dA/dx).
        let by_return =
            if da > 0.0 { 1.0 - self.area / (weight + stiff * area / (2.0 * dp * da)) } else { 1.0 };
        Seat { fuel: p_return + dp, slope: dp_x / q_x * q_slope, by_return, lift: x, mode: Mode::Control }
    }

    /// The unique root of a falling balance on `(0, x_max)`: Newton in `1/x`-friendly form, kept in a bracket.
    fn root(&self, q: f64, rho: f64, offset: f64, net: f64, balance: impl Fn(f64) -> f64) -> f64 {
        let (mut low, mut high) = (0.0, self.max_lift);
        // Start where the orifice would drop the cracking difference.
        let crack = (-offset / net).max(1.0);
        let mut x = (q / (self.cd * PI * self.seat * (2.0 * crack / rho).sqrt())).min(0.999 * high);
        for _ in 0..200 {
            let b = balance(x);
            if b > 0.0 {
                low = x
            } else {
                high = x
            }
            let h = 1e-6 * x;
            let slope = (balance(x + h) - b) / h;
            let mut next = x - b / slope;
            if !(next > low && next < high) {
                // The lift may be any power of ten below the stop: halve its logarithm.
                next = (low.max(1e-24) * high).sqrt();
            }
            if (next - x).abs() <= 1e-13 * x {
                return next;
            }
            x = next;
        }
        x
    }

    /// Half the width of the pressure band in which friction can hold the poppet, Pa.
    ///
    /// # Formula
    /// `F_s/(A_d - A_s)`: stiction gives memory, the mean rail may sit anywhere inside it.
    #[must_use]
    pub fn hysteresis(&self) -> f64 {
        self.friction / (self.area - self.seat_area())
    }

    /// Pressure at the fuel port at this flow with the poppet against its stop: the floor of an overrun.
    ///
    /// # Formula
    /// `p_ret + rho/2 (Q/(C_d A_max))²`.
    #[must_use]
    pub fn floor(&self, q: f64, rho: f64, p_return: f64) -> f64 {
        let v = q / (self.cd * opening_area(self.seat, self.max_lift));
        p_return + 0.5 * rho * v * v
    }
}
