//! The equations as a stepper asks for them: rates, events at known times, roots.

use super::NetSystem;
use super::poppet::{BREAK_AWAY, LIFT_SLACK, Poppet, SPEED_SLACK, balance, opening};
use super::waves::Wave;
use crate::part::injector::coil::GUARDS;
use crate::part::line::friction_factor_churchill;
use crate::stepper::{After, Crossing, Matrix, Regime, System};
use crate::transient::network::pulses::Change;
use crate::transient::network::{EventKind, Place};
use std::f64::consts::PI;

/// How far past standing still a pump, V, and the flow of a check valve, m³/s, have gone when they are taken to have
/// stopped; how much must pull before they start again, A and Pa. All far below what is felt: a rail that nothing
/// leaves hangs at the very balance, where rounding would shut the valve and open it again.
const EMF_SLACK: f64 = 1e-9;
const FLOW_SLACK: f64 = 1e-10;
const PULL_SLACK: f64 = 1e-9;
const DRIVE_SLACK: f64 = 1e-3;

impl<const N: usize> System<N> for NetSystem<N> {
    #[inline]
    fn rhs(&self, t: f64, y: &[f64; N], dy: &mut [f64; N]) {
        let net = &self.net;
        let (pumps, nodes, branches) = (net.pumps.len(), net.nodes.len(), self.carry.len());
        let (emfs, rest) = y.split_at(pumps);
        let (stored, rest) = rest.split_at(nodes);
        let (flows, rest) = rest.split_at(branches);
        let (poppets, _) = rest.split_at(3 * net.regulators.len());
        let (d_emfs, rest) = dy.split_at_mut(pumps);
        let (d_stored, rest) = rest.split_at_mut(nodes);
        let (d_flows, rest) = rest.split_at_mut(branches);
        let (d_poppets, rest) = rest.split_at_mut(3 * net.regulators.len());
        let (d_air, rest) = rest.split_at_mut(self.air_states.0);
        let (d_injected, rest) = rest.split_at_mut(net.injectors.len());
        let (d_received, rest) = rest.split_at_mut(net.ends.len());
        let (d_needles, rest) = rest.split_at_mut(3 * self.needles.len());
        let (d_waves, rest) = rest.split_at_mut(self.waves.len());
        let (d_breathed, padding) = rest.split_at_mut(self.air_states.1);
        padding.fill(0.0);
        // What flows into each place (nodes, then ends) and the pressure felt there. A shut branch holds zero.
        let mut into = [0.0; N];
        for (into, m) in into.iter_mut().zip(&self.meets) {
            *into = m.signs[0] * flows[m.branches[0]] + m.signs[1] * flows[m.branches[1]];
        }
        for (place, branch, sign) in &self.more_meets {
            into[*place] += sign * flows[*branch];
        }
        let mut p = [0.0; N];
        let vapour = net.fluid.vapour;
        for (((p, y), wall), into) in p.iter_mut().zip(stored).zip(&self.wall).zip(&into) {
            *p = (y + wall * into).max(vapour);
        }
        for (p, piece) in p[nodes..].iter_mut().zip(&self.ends) {
            *p = piece.at(t);
        }
        for (((c, q), shut), rate) in self.carry.iter().zip(flows).zip(&self.check_shut).zip(d_flows) {
            let mut drive = p[c.from] - p[c.to] - c.offset;
            if let Some(k) = c.pump {
                let emf = emfs[k];
                let (rise, load) = self.pump_point(k, p[c.from], *q, emf);
                drive += rise;
                d_emfs[k] = if self.turning[k] {
                    let u = &net.pumps[k];
                    u.motor_constant * u.motor_constant / u.inertia * (self.current(k, t, emf) - load)
                } else {
                    0.0
                };
            }
            *rate = if *shut {
                let q = drive / c.shut_slope;
                into[c.from] -= q;
                into[c.to] += q;
                0.0
            } else {
                let size = q.abs();
                let re = c.reynolds * size;
                let f_re = if net.exact_friction {
                    if re < 1.0 { 64.0 } else { friction_factor_churchill(re, c.relative_roughness) * re }
                } else {
                    self.tables[c.table].f_re(re)
                };
                let resistance = c.linear + c.viscous * f_re + c.square * size;
                (drive - resistance * q) * c.per_inertance
            };
        }
        let states = poppets.chunks_exact(3).zip(d_poppets.chunks_exact_mut(3));
        for (k, (r, (state, rate))) in net.regulators.iter().zip(states).enumerate() {
            let (from, to) = (self.place(r.from), self.place(r.to));
            let (fuel, back) = (p[from], p[to]);
            let (lift, speed) = (state[0], state[1]);
            let q = r.cd * opening(r, lift) * self.jet(fuel - back);
            // At rest its speed is zero; on its way it makes room on both sides of the seat.
            let seat = PI / 4.0 * r.seat * r.seat;
            into[from] -= q + (r.area - seat) * speed;
            into[to] += q - seat * speed;
            rate[2] = if r.lag > 0.0 { (self.brought(k, t, y) - state[2]) / r.lag } else { 0.0 };
            let friction = match self.poppet[k] {
                Poppet::Seat | Poppet::Full | Poppet::Stuck => {
                    (rate[0], rate[1]) = (0.0, 0.0);
                    continue;
                }
                Poppet::Up => r.friction,
                Poppet::Down => -r.friction,
                Poppet::Free => 0.0,
            };
            rate[0] = speed;
            let reference = self.reference(k, t, y, state[2]);
            rate[1] = (balance(r, (fuel, back, reference), lift, speed) - friction) / r.mass;
        }
        // Injectors of one rail into one manifold share their jet.
        let manifold = self.behind_throttle(t, y);
        if let Some(air) = &self.air {
            air.rates(t, y, (d_air, d_breathed));
        }
        let (mut at, mut shared) = (usize::MAX, 0.0);
        for (node, cd_a) in &self.spraying {
            (at, shared) = (*node, self.jet(p[*node] - manifold));
            into[*node] -= cd_a * shared;
        }
        for (k, (spray, rate)) in self.sprays.iter().zip(&mut *d_injected).enumerate() {
            let jet = if spray.cd_a == 0.0 {
                0.0
            } else if spray.own_back {
                let jet = self.jet(p[spray.node] - self.back(k, t, y));
                into[spray.node] -= spray.cd_a * jet;
                jet
            } else if spray.node == at {
                shared
            } else {
                self.jet(p[spray.node] - manifold)
            };
            *rate = spray.cd_a * jet;
        }
        self.needle_rates(t, y, &p, &mut into, d_injected, d_needles);
        self.wave_rates(t, &p, &mut into, d_waves);
        if self.temperature.slope != 0.0 {
            let warming = self.temperature.slope * net.fluid.expansion;
            net.nodes.iter().zip(&mut into).for_each(|(n, into)| *into += warming * n.volume);
            // What grows within a line with waves comes out at its ends, half at each.
            for w in &net.waves {
                let half = 0.5 * warming * w.volume();
                into[w.from] += half;
                into[w.to] += half;
            }
        }
        for ((rate, into), per) in d_stored.iter_mut().zip(&into).zip(&self.per_capacitance) {
            *rate = into * per;
        }
        d_received.copy_from_slice(&into[nodes..nodes + net.ends.len()]);
    }

    fn jacobian(&self, t: f64, y: &[f64; N], _f: &[f64; N], jacobian: &mut Matrix<N>) {
        self.slopes(t, y, jacobian);
    }

    fn typical(&self, component: usize) -> f64 {
        let (pumps, nodes, branches) = (self.net.pumps.len(), self.net.nodes.len(), self.net.branches.len());
        let poppets = pumps + nodes + branches;
        if component < pumps {
            1.0
        } else if component < pumps + nodes {
            1e5
        } else if component < poppets {
            1e-5
        } else if component < self.intake_at() {
            [1e-4, 1e-2, 1e5][(component - poppets) % 3]
        } else if component < self.injected(0) {
            // Boost, when it is followed, and air.
            if component + 1 < self.injected(0) { 1e5 } else { 5e-3 }
        } else if component < self.needle(0) {
            1e-6
        } else if component < self.taken_up(0) {
            [0.1, 1e-5, 0.1][(component - self.needle(0)) % 3]
        } else if component < self.breathed() {
            1e-6
        } else {
            5e-3
        }
    }

    fn regime(&self, t: f64, y: &[f64; N]) -> Regime {
        self.regime_at(t, y)
    }

    fn keeps_clear(&self, _t: f64, _h: f64, y: &[f64; N], reach: &[f64; N]) -> bool {
        self.stays_in_regime(y, reach)
    }

    fn next_time_event(&self, _t: f64) -> Option<f64> {
        let corner = self.corners.get(self.next_corner).copied().unwrap_or(f64::INFINITY);
        let grid = self.waves.iter().map(Wave::next).fold(f64::INFINITY, f64::min);
        let next = corner.min(self.pulses.next).min(grid);
        next.is_finite().then_some(next)
    }

    fn at_time_event(&mut self, t: f64, y: &mut [f64; N]) -> After {
        let corner = self.corners.get(self.next_corner).is_some_and(|c| *c <= t);
        if corner {
            self.next_corner += 1;
            self.record(t, EventKind::Corner);
            self.refresh(t);
            // A pump at rest may start when its relay closes.
            for k in 0..self.net.pumps.len() {
                if !self.turning[k] && self.motor_pull(k, t, y) > 0.0 {
                    self.turning[k] = true;
                    self.record(t, EventKind::PumpStarted { pump: k });
                }
            }
        }
        self.step_waves(t, y);
        if !corner && self.pulses.next > t {
            // A step of a grid bends nothing but the rate of what arrives: the step need not begin afresh.
            return After::Continue;
        }
        let mut pulses = std::mem::take(&mut self.pulses);
        let mut told = std::mem::take(&mut self.told);
        pulses.at(
            t,
            &self.net,
            &self.clock,
            self.behind_throttle(t, y),
            |k| self.pressure(Place::Node(self.net.injectors[k].node), t, y) - self.back(k, t, y),
            |change| match change {
                Change::Commanded(injector, width, outside) => {
                    told.push(EventKind::Commanded { injector, width });
                    if outside {
                        told.push(EventKind::OutsideDeadTime { injector });
                    }
                }
                Change::Opened(injector) => told.push(EventKind::Opened { injector }),
                Change::Closed(injector) => told.push(EventKind::Closed { injector }),
            },
        );
        self.pulses = pulses;
        // A command alone changes nothing yet: the step need not begin afresh.
        let moved = told.iter().any(|k| matches!(k, EventKind::Opened { .. } | EventKind::Closed { .. }));
        for kind in told.drain(..) {
            self.record(t, kind);
        }
        self.told = told;
        if moved {
            self.aim();
        }
        if self.switch_coils(y) | moved | corner { After::Restart } else { After::Continue }
    }

    fn root_count(&self) -> usize {
        self.net.pumps.len()
            + self.net.branches.len()
            + 2 * self.net.regulators.len()
            + self.boiling.len()
            + self.net.ends.len()
            + 1
            + GUARDS * self.needles.len()
            + usize::from(self.air.is_some())
    }

    fn roots(&self, t: f64, y: &[f64; N], g: &mut [f64]) {
        let mut at = 0;
        let mut put = |v: f64| {
            g[at] = v;
            at += 1;
        };
        for k in 0..self.net.pumps.len() {
            put(if self.turning[k] {
                y[self.pump(k)] + EMF_SLACK
            } else {
                PULL_SLACK - self.motor_pull(k, t, y)
            });
        }
        for b in 0..self.carry.len() {
            put(if !self.carry[b].one_way {
                1.0
            } else if self.check_shut[b] {
                DRIVE_SLACK - self.drive(b, t, y)
            } else {
                y[self.branch(b)] + FLOW_SLACK
            });
        }
        for (k, r) in self.net.regulators.iter().enumerate() {
            let at = self.poppet_at(k);
            let (x, v) = (y[at], y[at + 1]);
            let hold = r.friction + BREAK_AWAY;
            let (first, second) = match self.poppet[k] {
                Poppet::Seat => (hold - self.force(k, t, y), 1.0),
                Poppet::Full => (hold + self.force(k, t, y), 1.0),
                Poppet::Stuck => {
                    let f = self.force(k, t, y);
                    (hold - f, hold + f)
                }
                Poppet::Up => (v + SPEED_SLACK, r.max_lift - x + LIFT_SLACK),
                Poppet::Down => (SPEED_SLACK - v, x + LIFT_SLACK),
                Poppet::Free => (r.max_lift - x + LIFT_SLACK, x + LIFT_SLACK),
            };
            put(first);
            put(second);
        }
        for &n in &self.boiling {
            put(y[self.node(n)] - self.net.fluid.vapour);
        }
        for (k, e) in self.net.ends.iter().enumerate() {
            put(e.fuel.map_or(1.0, |fuel| fuel + y[self.received(k)]));
        }
        put(self.net.until.map_or(1.0, |u| {
            let manifold = if u.less_manifold { self.behind_throttle(t, y) } else { 0.0 };
            y[self.node(u.node)] - manifold - u.level
        }));
        self.needle_guards(t, y, &mut put);
        self.boost_root(t, y).into_iter().for_each(put);
    }

    // All that says when another law takes over; not what boils, runs dry or is waited for.
    fn is_guard(&self, root: usize) -> bool {
        let laws = self.net.pumps.len() + self.carry.len() + 2 * self.net.regulators.len();
        root < laws || self.is_needle(root)
    }

    fn at_root(&mut self, crossing: Crossing, t: f64, y: &mut [f64; N]) -> After {
        let mut root = crossing.root;
        if self.air.is_some() && root + 1 == self.root_count() {
            self.at_boost(t);
            return After::Restart;
        }
        if root < self.net.pumps.len() {
            let stops = self.turning[root];
            if stops {
                y[self.pump(root)] = 0.0;
            }
            self.turning[root] = !stops;
            let kind = if stops {
                EventKind::PumpStopped { pump: root }
            } else {
                EventKind::PumpStarted { pump: root }
            };
            self.record(t, kind);
            return After::Restart;
        }
        root -= self.net.pumps.len();
        if root < self.carry.len() {
            let opens = self.check_shut[root];
            y[self.branch(root)] = 0.0;
            // At rest while pressures still drive it forward: it does not shut.
            if !opens && self.drive(root, t, y) > 0.0 {
                return After::Restart;
            }
            self.check_shut[root] = !opens;
            let kind = if opens {
                EventKind::CheckOpened { branch: root }
            } else {
                EventKind::CheckShut { branch: root }
            };
            self.record(t, kind);
            return After::Restart;
        }
        root -= self.carry.len();
        if root < 2 * self.net.regulators.len() {
            self.at_poppet(root / 2, root % 2 == 1, t, y);
            return After::Restart;
        }
        root -= 2 * self.net.regulators.len();
        if root < self.boiling.len() {
            let node = self.boiling[root];
            let kind =
                if crossing.rising { EventKind::Collapsed { node } } else { EventKind::Boils { node } };
            self.record(t, kind);
            return After::Restart;
        }
        root -= self.boiling.len();
        if root == self.net.ends.len() {
            if self.net.until.is_none_or(|u| u.rising != crossing.rising) {
                return After::Continue;
            }
            self.record(t, EventKind::Until);
            return After::Stop;
        }
        if root > self.net.ends.len() {
            self.at_needle(root - self.net.ends.len() - 1, t, y);
            return After::Restart;
        }
        self.record(t, EventKind::RanDry { end: root });
        if self.stop_when_dry { After::Stop } else { After::Continue }
    }
}
