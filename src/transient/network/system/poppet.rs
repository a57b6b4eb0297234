//! The poppet of a regulator: what it feels, its stops and its dry friction.

use super::NetSystem;
use crate::transient::network::{EventKind, Place, RegulatorUnit};
use std::f64::consts::PI;

/// A poppet leaves rest only once the force exceeds friction by this, N (0.015 Pa on the diaphragm): at the very
/// balance rounding would set it down again at once, without end.
pub(super) const BREAK_AWAY: f64 = 1e-5;

/// How far past a stop, m, and past rest, m/s, a poppet has gone when it is taken to have arrived: above the error of
/// the continuous extension just after it left, below anything that is felt (0.05 Pa).
pub(super) const LIFT_SLACK: f64 = 1e-9;
pub(super) const SPEED_SLACK: f64 = 1e-6;

/// What a poppet does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Poppet {
    /// On its seat.
    Seat,
    /// Against its upper stop.
    Full,
    /// Held by dry friction.
    Stuck,
    /// Opening.
    Up,
    /// Closing.
    Down,
    /// Moving without dry friction.
    Free,
}

/// Opening area of the seat: the curtain until it exceeds the hole.
#[inline]
pub(super) fn opening(r: &RegulatorUnit, lift: f64) -> f64 {
    (PI * r.seat * lift.max(0.0)).min(PI / 4.0 * r.seat * r.seat)
}

/// Force that opens a poppet without dry friction, N, at fuel, return and reference pressure, lift and speed.
#[inline]
pub(super) fn balance(
    r: &RegulatorUnit,
    (fuel, back, reference): (f64, f64, f64),
    lift: f64,
    speed: f64,
) -> f64 {
    let seat = PI / 4.0 * r.seat * r.seat;
    fuel * (r.area - seat) + back * seat
        - reference * r.area
        - r.preload
        - r.rate * lift
        - r.flow_force * opening(r, lift) * (fuel - back)
        - r.damping * speed
}

impl<const N: usize> NetSystem<N> {
    /// Puts a poppet on a lift and gives the room that this makes or takes back to the fuel beside it.
    fn put_poppet(&mut self, k: usize, lift: f64, y: &mut [f64; N]) {
        let at = self.poppet_at(k);
        let r = &self.net.regulators[k];
        let seat = PI / 4.0 * r.seat * r.seat;
        for (place, area) in [(r.from, r.area - seat), (r.to, seat)] {
            let room = area * (lift - y[at]);
            match place {
                Place::Node(n) => y[self.node(n)] -= room / self.net.nodes[n].capacitance,
                Place::End(e) => y[self.received(e)] -= room,
            }
        }
        (y[at], y[at + 1]) = (lift, 0.0);
    }

    /// Force that opens a poppet, without dry friction, N.
    pub(super) fn force(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let r = &self.net.regulators[k];
        let at = self.poppet_at(k);
        let (fuel, back) = (self.pressure(r.from, t, y), self.pressure(r.to, t, y));
        balance(r, (fuel, back, self.reference(k, t, y, y[at + 2])), y[at], y[at + 1])
    }

    /// The state that a regulator's reference moves at once, and its rate for each pascal: what [`Linear::response`] asks.
    ///
    /// [`Linear::response`]: crate::transient::linear::Linear::response
    #[must_use]
    pub fn reference_forcing(&self, k: usize) -> (usize, f64) {
        let (r, at) = (&self.net.regulators[k], self.poppet_at(k));
        if r.lag > 0.0 { (at + 2, 1.0 / r.lag) } else { (at + 1, -r.area / r.mass) }
    }

    /// Pressure felt at a regulator's reference port, absolute, Pa, whatever event came last.
    #[must_use]
    pub fn felt_reference(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        if self.net.regulators[k].lag > 0.0 {
            return y[self.poppet_at(k) + 2];
        }
        match self.intake_tap(k, t, y) {
            Some(p) => p,
            None => self.net.regulators[k].reference.at(t),
        }
    }

    /// Pressure felt at the reference port: lagged, or at once without a lag.
    #[inline]
    pub(super) fn reference(&self, k: usize, t: f64, y: &[f64; N], felt: f64) -> f64 {
        if self.net.regulators[k].lag > 0.0 { felt } else { self.brought(k, t, y) }
    }

    /// What a poppet that has just stopped, or may leave its stop, does next.
    fn next_mode(&self, k: usize, f: f64) -> Poppet {
        let friction = self.net.regulators[k].friction;
        if friction == 0.0 {
            Poppet::Free
        } else if f.abs() <= friction + BREAK_AWAY {
            Poppet::Stuck
        } else if f > 0.0 {
            Poppet::Up
        } else {
            Poppet::Down
        }
    }

    pub(super) fn at_poppet(&mut self, k: usize, second: bool, t: f64, y: &mut [f64; N]) {
        let at = self.poppet_at(k);
        let limit = self.net.regulators[k].max_lift;
        let friction = self.net.regulators[k].friction;
        let mode = self.poppet[k];
        let next = match (mode, second) {
            // Turned around, or stopped.
            (Poppet::Up | Poppet::Down, false) => {
                y[at + 1] = 0.0;
                let f = self.force(k, t, y);
                self.next_mode(k, f)
            }
            // Without rebound: it rests where it is pressed, else it turns at once.
            (Poppet::Up, true) | (Poppet::Free, false) => {
                self.put_poppet(k, limit, y);
                let f = self.force(k, t, y);
                if f >= -friction - BREAK_AWAY { Poppet::Full } else { self.next_mode(k, f) }
            }
            (Poppet::Down, true) | (Poppet::Free, true) => {
                self.put_poppet(k, 0.0, y);
                let f = self.force(k, t, y);
                if f <= friction + BREAK_AWAY { Poppet::Seat } else { self.next_mode(k, f) }
            }
            (Poppet::Stuck, false) | (Poppet::Seat, _) => {
                if friction == 0.0 {
                    Poppet::Free
                } else {
                    Poppet::Up
                }
            }
            (Poppet::Stuck, true) | (Poppet::Full, _) => {
                if friction == 0.0 {
                    Poppet::Free
                } else {
                    Poppet::Down
                }
            }
        };
        self.poppet[k] = next;
        let kind = match next {
            Poppet::Seat => EventKind::PoppetSeated { regulator: k },
            Poppet::Full => EventKind::PoppetFullLift { regulator: k },
            Poppet::Stuck => EventKind::PoppetStuck { regulator: k },
            Poppet::Up | Poppet::Down | Poppet::Free => EventKind::PoppetMoved { regulator: k },
        };
        self.record(t, kind);
    }
}
