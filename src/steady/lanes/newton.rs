//! Newton's method on lift and regulator difference.
//!
//! # Formula
//! Unknown are the lift x and the difference d across the regulator; with more than one pump their flows q_k too.
//! By-passed flow `Q_r = C_d A(x) √(2d/ρ)`, return, rail and injected flow follow one after the other, so two
//! equations remain:
//! * every pump's leg ends at the same pressure and brings what is by-passed and injected;
//! * the force balance `d (A_d − A_s) + p_ret A_d − p_ref A_d − F_0 − k x − c A(x) d = 0`.
//!
//! At its seat (balance below zero) and at its stop (above zero) the lift stands and the first equation is left:
//! shut, in control, full lift. All slopes are analytic.
//!
//! # Range
//! One regulator after the rail. A lane that has not settled says so and is never a number.

use super::super::bend::Poppet;
use super::ask::{Ask, Setting};
use super::columns::{Car, MAX_LEGS, Row};
use super::law::{Near, NearLeg, against, inject, leg, series_near};
use super::math::{fma, max, min};
use super::reduced::Layout;

/// How much further than they hold a first step uses expansions.
const FIRST_REACH: f64 = 10.0;
/// Slope of the shut regulator, as in [`crate::part::regulator`].
pub(super) const SHUT: f64 = 1e16;
/// The last step of the difference as a part of it: Newton squares what is left.
const LAST: f64 = 3e-5;
/// Not stricter and not looser than this, Pa.
const LAST_ENDS: (f64, f64) = (2.0, 10.0);
/// The last step of the flow as a part of it, and its ends, m³/s.
const LAST_FLOW: f64 = 3e-4;
const LAST_FLOW_ENDS: (f64, f64) = (3e-9, 1e-8);
/// The same as a part of one pump's flow where several meet.
const LAST_PART: f64 = 1e-4;
/// The same for the pressure where pumps meet, Pa.
pub(super) const LAST_LEVEL: f64 = 100.0;
/// The same for a pump that vapour takes flow from: its law bends most.
const LAST_STRAINED: f64 = 1e-12;

/// Where the lanes stand; at a solution what was found there.
#[derive(Clone, Debug)]
pub(super) struct State<const W: usize> {
    pub x: Row<W>,
    pub d: Row<W>,
    pub q: [Row<W>; MAX_LEGS],
    /// One where settled.
    pub done: Row<W>,
    pub steps: Row<W>,
    /// Rail pressure, absolute.
    pub rail: Row<W>,
    /// Pressure at the regulator's fuel port, absolute.
    pub fuel: Row<W>,
    /// Pressure behind the regulator, absolute.
    pub back: Row<W>,
    pub bypassed: Row<W>,
    pub injected: Row<W>,
    pub inlet: [Row<W>; MAX_LEGS],
    /// Change of the supply with rail pressure, negative: for the next start.
    supply_slope: Row<W>,
    leg_slope: [Row<W>; MAX_LEGS],
    asked: Row<W>,
    crack: Row<W>,
    /// Losses computed nearby.
    pub near: Nearby<W>,
}

/// Losses of a car's branches, each about a flow at which it was computed.
#[derive(Clone, Debug)]
pub(super) struct Nearby<const W: usize> {
    pub legs: [NearLeg<W>; MAX_LEGS],
    pub feed: Near<W>,
    to_regulator: Near<W>,
    back: Near<W>,
}

impl<const W: usize> Nearby<W> {
    fn nowhere() -> Self {
        Self {
            legs: std::array::from_fn(|_| NearLeg::nowhere()),
            feed: Near::nowhere(),
            to_regulator: Near::nowhere(),
            back: Near::nowhere(),
        }
    }

    /// The car is another.
    pub fn forget(&mut self) {
        self.legs.iter_mut().for_each(NearLeg::forget);
        self.feed.forget();
        self.to_regulator.forget();
        self.back.forget();
    }
}

impl<const W: usize> State<W> {
    pub fn blank() -> Self {
        let z = Row::<W>::of(0.0);
        Self {
            x: z,
            d: z,
            q: [z; MAX_LEGS],
            done: z,
            steps: z,
            rail: z,
            fuel: z,
            back: z,
            bypassed: z,
            injected: z,
            inlet: [z; MAX_LEGS],
            supply_slope: z,
            leg_slope: [z; MAX_LEGS],
            asked: z,
            crack: z,
            near: Nearby::nowhere(),
        }
    }

    /// Puts one lane back.
    pub fn put(&mut self, i: usize, one: &State<1>) {
        (self.x[i], self.d[i], self.done[i]) = (one.x[0], one.d[0], one.done[0]);
        self.steps[i] += one.steps[0];
        (self.rail[i], self.fuel[i], self.back[i]) = (one.rail[0], one.fuel[0], one.back[0]);
        (self.bypassed[i], self.injected[i]) = (one.bypassed[0], one.injected[0]);
        (self.supply_slope[i], self.asked[i], self.crack[i]) =
            (one.supply_slope[0], one.asked[0], one.crack[0]);
        for k in 0..MAX_LEGS {
            self.q[k][i] = one.q[k][0];
            self.inlet[k][i] = one.inlet[k][0];
            self.leg_slope[k][i] = one.leg_slope[k][0];
        }
    }

    /// A first guess: the supply's law made straight at the flow that is asked, the regulator at its cracking point.
    #[inline(always)]
    pub fn start(&mut self, lay: &Layout, car: &Car<W>, ask: &Ask<W>, set: &Setting) {
        let n = lay.legs.len();
        let mut supply = Row::<W>::of(0.0);
        for k in 0..n {
            let (lay, car_leg) = (&lay.legs[k], &car.legs[k]);
            let mut rise = Row::<W>::of(0.0);
            for i in 0..W {
                rise[i] = max(ask.crack[i], car.poppet.to[i]) - car_leg.from[i];
            }
            // Without losses the pump brings more than it will; one tangent takes the losses off.
            let mut q = against(lay.regenerative, &car_leg.pump, &ask.volts, &rise);
            let near = &mut self.near.legs[k];
            let end = leg(lay, car_leg, near, 1.0, &car.vapour, &ask.volts, set.op.boost, &q);
            for i in 0..W {
                let slope = min(end.slope[i], -1.0);
                let less = (rise[i] + car_leg.from[i] - end.p[i]) / slope;
                q[i] = max(q[i] + min(less, 0.0), 1e-9);
                self.leg_slope[k][i] = slope;
            }
            for i in 0..W {
                supply[i] += q[i];
            }
            self.q[k] = q;
        }
        let p = &car.poppet;
        for i in 0..W {
            self.d[i] = max(ask.crack[i] - p.to[i], 1e4);
            let over = supply[i] - ask.asked[i];
            let lift = over / (p.flow[i] * p.curtain[i] * self.d[i].sqrt());
            self.x[i] = min(max(lift, 0.0), p.max_lift[i]);
        }
    }

    /// The same from a neighbouring point's solution: what reference, demand and the supply's slope have changed.
    #[inline(always)]
    pub fn follow(&mut self, lay: &Layout, car: &Car<W>, ask: &Ask<W>) {
        let p = &car.poppet;
        for i in 0..W {
            let shut = self.x[i] <= 0.0;
            let moved = if shut { 0.0 } else { ask.crack[i] - self.crack[i] };
            let d = max(self.d[i] + moved, 1e3);
            let more = self.injected[i] * (ask.asked[i] / max(self.asked[i], 1e-9) - 1.0);
            let change = (self.supply_slope[i] * moved - more) / (p.flow[i] * p.curtain[i] * d.sqrt());
            let lift = min(max(self.x[i] + change, 0.0), p.max_lift[i]);
            self.x[i] = if shut { 0.0 } else { lift };
            self.d[i] = if shut { self.d[i] } else { d };
            for k in 0..lay.legs.len() {
                let q = self.q[k][i];
                self.q[k][i] = if q > 0.0 { max(q + moved / self.leg_slope[k][i], 1e-9) } else { q };
            }
        }
    }

    /// Whether a lane's regulator may ask for more pressure at a smaller flow.
    pub fn may_fall(&self, car: &Car<W>, ask: &Ask<W>, lane: usize) -> bool {
        let p = &car.poppet;
        let loss = self.back[lane] - p.to[lane] - car.back.head[lane];
        let law = poppet(car, lane);
        self.bypassed[lane] > 0.0
            && law.may_fall(self.x[lane], self.back[lane], ask.reference[lane], loss.max(0.0))
    }

    /// Which lanes have no solution, or one too far away to start from.
    #[inline(always)]
    pub fn lost(&self, ask: &Ask<W>) -> Row<W> {
        let mut out = Row::<W>::of(0.0);
        for i in 0..W {
            let far = (ask.crack[i] - self.crack[i]).abs() > 6e4
                || ask.asked[i] > 3.0 * self.asked[i]
                || ask.asked[i] < self.asked[i] / 3.0;
            out[i] = if self.done[i] == 0.0 || far { 1.0 } else { 0.0 };
        }
        out
    }

    /// Takes another start for these lanes.
    pub fn begin(&mut self, lost: &Row<W>, fresh: &Self) {
        for i in 0..W {
            if lost[i] > 0.0 {
                (self.x[i], self.d[i]) = (fresh.x[i], fresh.d[i]);
                for k in 0..MAX_LEGS {
                    self.q[k][i] = fresh.q[k][i];
                    self.leg_slope[k][i] = fresh.leg_slope[k][i];
                }
            }
        }
    }

    /// Fills what the next start needs at a solution that was found another way.
    pub fn follow_from(&mut self, lay: &Layout, car: &Car<W>, ask: &Ask<W>, set: &Setting) {
        self.supply_slope = Row::<W>::of(0.0);
        for (k, l) in lay.legs.iter().enumerate() {
            let near = &mut self.near.legs[k];
            let end = leg(l, &car.legs[k], near, 1.0, &car.vapour, &ask.volts, set.op.boost, &self.q[k]);
            for i in 0..W {
                self.leg_slope[k][i] = min(end.slope[i], -1.0);
                self.supply_slope[i] += 1.0 / self.leg_slope[k][i];
            }
        }
        self.asked = ask.asked;
        self.crack = ask.crack;
    }

    /// Newton's method until every lane has settled, or the steps are spent. A settled lane stands still, so it
    /// does not know its neighbours.
    #[inline(always)]
    pub fn solve(
        &mut self,
        lay: &Layout,
        car: &Car<W>,
        ask: &Ask<W>,
        set: &Setting,
        most: usize,
        damping: f64,
    ) {
        let n = lay.legs.len();
        let p = &car.poppet;
        for i in 0..W {
            self.done[i] = 1.0 - ask.valid[i]; // a refused lane need not be solved
            self.steps[i] = 0.0;
        }
        let z = Row::<W>::of(0.0);
        for step in 0..most {
            // The first step may use what a neighbouring point left, the second computes afresh, the last stay there.
            let first = step == 0;
            let reach = [FIRST_REACH, 0.0, 1.0][step.min(2)];
            // Regulator and return.
            let (mut qr, mut qr_x, mut qr_d, mut area, mut area_x) = (z, z, z, z, z);
            for i in 0..W {
                let root = max(self.d[i], 1e-2).sqrt();
                let curtain = p.curtain[i] * self.x[i];
                let lifting = curtain < p.seat_area[i];
                area[i] = if lifting { curtain } else { p.seat_area[i] };
                area_x[i] = if lifting { p.curtain[i] } else { 0.0 };
                let wide = p.flow[i] * area[i];
                qr[i] = wide * root;
                qr_x[i] = p.flow[i] * area_x[i] * root;
                qr_d[i] = if self.d[i] > 1e-2 { 0.5 * wide / root } else { 0.0 };
            }
            let (mut loss, mut loss_q) = (z, z);
            series_near(&lay.back, &car.back, &mut self.near.back, reach, &qr, &mut loss, &mut loss_q);
            let (mut up, mut up_q) = (z, z);
            if !lay.to_regulator.is_empty() {
                let near = &mut self.near.to_regulator;
                series_near(&lay.to_regulator, &car.to_regulator, near, reach, &qr, &mut up, &mut up_q);
            }
            // Rail and injectors.
            let (mut rail, mut rail_x, mut rail_d, mut dp) = (z, z, z, z);
            for i in 0..W {
                rail[i] = p.to[i] + loss[i] + self.d[i] + up[i];
                rail_x[i] = (loss_q[i] + up_q[i]) * qr_x[i];
                rail_d[i] = fma(loss_q[i] + up_q[i], qr_d[i], 1.0);
                dp[i] = rail[i] - ask.manifold[i];
            }
            let injected = inject(lay, car, ask, set, &dp);
            // The force on the poppet, and what a shut one leaks.
            let (mut force, mut q, mut q_x, mut q_d, mut leak) = (z, z, z, z, z);
            let mut shut = false;
            for i in 0..W {
                let over = p.to[i] + loss[i] - ask.reference[i];
                let d = self.d[i];
                let spring = fma(p.rate[i], self.x[i], p.preload[i]);
                let opens = fma(over, p.area[i], d * p.net[i]);
                force[i] = fma(-p.flow_force[i] * area[i], d, opens - spring);
                shut |= self.x[i] <= 0.0;
            }
            if shut {
                for i in 0..W {
                    let back = p.to[i] + loss[i];
                    let d = self.d[i];
                    let crack = back + d - force[i] * p.over_net[i];
                    let through = min(d, max(crack - back, 0.0)) * (1.0 / SHUT);
                    leak[i] = if self.x[i] <= 0.0 { through } else { 0.0 };
                }
            }
            for i in 0..W {
                q[i] = qr[i] + injected.q[i] + leak[i];
                q_x[i] = fma(injected.slope[i], rail_x[i], qr_x[i]);
                q_d[i] = fma(injected.slope[i], rail_d[i], qr_d[i]);
            }
            // The supply.
            let (mut feed, mut feed_q) = (z, z);
            if !lay.feed.is_empty() {
                series_near(&lay.feed, &car.feed, &mut self.near.feed, reach, &q, &mut feed, &mut feed_q);
            }
            if n == 1 {
                self.q[0] = select(&self.done, &self.q[0], &q);
            }
            let (mut sum, mut short, mut strained) = (z, z, z);
            for i in 0..W {
                short[i] = -q[i];
            }
            let (mut end, mut end_slope, mut inlet, mut inlet_slope) =
                ([z; MAX_LEGS], [z; MAX_LEGS], [z; MAX_LEGS], [z; MAX_LEGS]);
            for k in 0..n {
                let at = if n == 1 { &q } else { &self.q[k] };
                let near = &mut self.near.legs[k];
                let (leg_lay, car_leg) = (&lay.legs[k], &car.legs[k]);
                let e = leg(leg_lay, car_leg, near, reach, &car.vapour, &ask.volts, set.op.boost, at);
                for i in 0..W {
                    let slope = min(e.slope[i], -1.0);
                    let over = 1.0 / slope;
                    sum[i] += over;
                    short[i] += fma(rail[i] + feed[i] - e.p[i], over, at[i]);
                    end_slope[k][i] = slope;
                    strained[i] = if e.by_inlet[i] != 0.0 { 1.0 } else { strained[i] };
                }
                end[k] = e.p;
                inlet[k] = e.inlet;
                inlet_slope[k] = e.inlet_slope;
            }
            // Two equations: short + sum dPc = dQ, force = 0.
            let (mut dx, mut dd, mut hit, mut part) = (z, z, z, z);
            for i in 0..W {
                let a11 = fma(sum[i], fma(feed_q[i], q_x[i], rail_x[i]), -q_x[i]);
                let a12 = fma(sum[i], fma(feed_q[i], q_d[i], rail_d[i]), -q_d[i]);
                let b1 = -short[i];
                let lifts = loss_q[i] * p.area[i];
                let a21 = fma(lifts, qr_x[i], fma(-p.flow_force[i] * area_x[i], self.d[i], -p.rate[i]));
                let a22 = fma(lifts, qr_d[i], fma(-p.flow_force[i], area[i], p.net[i]));
                let b2 = -force[i];
                let over = 1.0 / fma(a11, a22, -(a12 * a21));
                let free_x = fma(b1, a22, -(a12 * b2)) * over;
                let free_d = fma(a11, b2, -(a21 * b1)) * over;
                let over_a12 = 1.0 / a12;
                let shut = self.x[i] <= 0.0 && (force[i] <= 0.0 || self.d[i] <= 0.0);
                let stop = self.x[i] >= p.max_lift[i] && force[i] >= 0.0;
                let pinned = shut || stop;
                // Shorter steps lead past the kinks; the last are whole, or what is left is not squared.
                let near = free_d.abs() < 1e3 && free_x.abs() < 0.02 * p.max_lift[i];
                part[i] = if near { 1.0 } else { damping };
                let to = self.x[i] + part[i] * free_x;
                let held = min(max(to, 0.0), p.max_lift[i]);
                let caught = !pinned && held != to;
                let step = held - self.x[i];
                let pinned_d = b1 * over_a12;
                part[i] = if pinned && pinned_d.abs() < 1e3 { 1.0 } else { part[i] };
                let caught_d = fma(-a11, step, b1) * over_a12;
                dx[i] = if pinned { 0.0 } else { step };
                let move_d = if pinned {
                    pinned_d
                } else if caught {
                    caught_d
                } else {
                    free_d
                } * part[i];
                // The rail stays above the manifold and an open poppet's difference above zero.
                let least = if shut { -0.9 * max(dp[i], 1.0) } else { -0.8 * max(self.d[i], 1.0) };
                dd[i] = max(move_d, least);
                hit[i] = if caught || move_d < least { 1.0 } else { 0.0 };
            }
            let mut settled = z;
            for i in 0..W {
                let flow = q_x[i] * dx[i] + q_d[i] * dd[i];
                let last = min(max(LAST * self.d[i], LAST_ENDS.0), LAST_ENDS.1);
                let last_flow = min(max(LAST_FLOW * q[i], LAST_FLOW_ENDS.0), LAST_FLOW_ENDS.1);
                let small = dd[i].abs() <= last && flow.abs() <= last_flow && hit[i] == 0.0;
                let calm = strained[i] == 0.0 || flow.abs() <= LAST_STRAINED;
                settled[i] = if small && calm && !first { 1.0 } else { 0.0 };
            }
            if n > 1 {
                for k in 0..n {
                    for i in 0..W {
                        let lift = rail_x[i] + feed_q[i] * q_x[i];
                        let dif = rail_d[i] + feed_q[i] * q_d[i];
                        let level = rail[i] + feed[i] + lift * dx[i] + dif * dd[i];
                        let was = self.q[k][i];
                        let step = part[i] * (level - end[k][i]) / end_slope[k][i];
                        let to = was + step;
                        let closes = to < 0.0 && was > 0.0;
                        let to = if closes { -1e-14 } else { min(to, 3e-4) };
                        // On a shut valve's steep branch a small step says nothing: the pressures must meet.
                        let met = (level - end[k][i]).abs() <= LAST_LEVEL;
                        let least = min(LAST_FLOW_ENDS.0, max(LAST_PART * was.abs(), 1e-13));
                        let small = !closes && met && step.abs() <= least;
                        settled[i] = if small { settled[i] } else { 0.0 };
                        self.q[k][i] = if self.done[i] > 0.0 { was } else { to };
                        inlet[k][i] += inlet_slope[k][i] * step;
                    }
                }
            }
            let mut left = false;
            for i in 0..W {
                let live = self.done[i] == 0.0;
                let pressure = rail_x[i] * dx[i] + rail_d[i] * dd[i];
                let flow = q_x[i] * dx[i] + q_d[i] * dd[i];
                let passed = qr[i] + qr_x[i] * dx[i] + qr_d[i] * dd[i];
                let behind = p.to[i] + loss[i] + loss_q[i] * (passed - qr[i]);
                self.x[i] = if live { self.x[i] + dx[i] } else { self.x[i] };
                self.d[i] = if live { self.d[i] + dd[i] } else { self.d[i] };
                self.rail[i] = if live { rail[i] + pressure } else { self.rail[i] };
                self.back[i] = if live { behind } else { self.back[i] };
                self.fuel[i] = if live { behind + self.d[i] } else { self.fuel[i] };
                self.bypassed[i] = if live { passed } else { self.bypassed[i] };
                self.injected[i] =
                    if live { injected.q[i] + injected.slope[i] * pressure } else { self.injected[i] };
                self.supply_slope[i] = if live { sum[i] } else { self.supply_slope[i] };
                if n == 1 {
                    let moved = inlet[0][i] + inlet_slope[0][i] * flow;
                    self.inlet[0][i] = if live { moved } else { self.inlet[0][i] };
                    self.q[0][i] = if live { q[i] + flow } else { self.q[0][i] };
                }
                self.steps[i] += if live { 1.0 } else { 0.0 };
                left |= live && settled[i] == 0.0;
            }
            for k in 0..n {
                for i in 0..W {
                    let live = self.done[i] == 0.0;
                    self.leg_slope[k][i] = if live { end_slope[k][i] } else { self.leg_slope[k][i] };
                    if n > 1 {
                        self.inlet[k][i] = if live { inlet[k][i] } else { self.inlet[k][i] };
                    }
                }
            }
            for i in 0..W {
                self.done[i] = max(self.done[i], settled[i]);
            }
            if !left {
                break;
            }
        }
        self.asked = ask.asked;
        self.crack = ask.crack;
        for i in 0..W {
            // A refused lane has not been solved.
            self.done[i] *= ask.valid[i];
        }
    }
}

/// What of a lane's regulator says whether its pressure may fall.
fn poppet<const W: usize>(car: &Car<W>, lane: usize) -> Poppet {
    let p = &car.poppet;
    Poppet {
        area: p.area[lane],
        seat_area: p.seat_area[lane],
        curtain: p.curtain[lane],
        rate: p.rate[lane],
        preload: p.preload[lane],
        flow_force: p.flow_force[lane],
    }
}

/// The first where done, the second elsewhere.
#[inline(always)]
fn select<const W: usize>(done: &Row<W>, a: &Row<W>, b: &Row<W>) -> Row<W> {
    let mut out = *b;
    for i in 0..W {
        out[i] = if done[i] > 0.0 { a[i] } else { b[i] };
    }
    out
}
