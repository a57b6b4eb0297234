//! Derivatives of the equations, for the methods that ask for them.

use super::describe::{Back, Tap};
use super::{NetSystem, Poppet, opening};
use crate::part::line::friction_factor_churchill_with_slope;
use crate::part::orifice;
use crate::stepper::Matrix;
use std::f64::consts::PI;

impl<const N: usize> NetSystem<N> {
    /// Writes df/dy: closed forms throughout but for the pump's law, which is differenced on its three arguments.
    pub(super) fn slopes(&self, t: f64, y: &[f64; N], j: &mut Matrix<N>) {
        j.clear();
        let net = &self.net;
        let nodes = net.nodes.len();
        let vapour = net.fluid.vapour;
        let flow = |b: usize| y[self.branch(b)];
        // Pressure felt at a place depends on the node's own state and, with a damped wall, on its branches; not at all
        // once it stands at vapour pressure.
        let mut p = [0.0; N];
        let mut floored = [false; N];
        let mut into = [0.0; N];
        for (into, m) in into.iter_mut().zip(&self.meets) {
            *into = m.signs[0] * flow(m.branches[0]) + m.signs[1] * flow(m.branches[1]);
        }
        for (place, branch, sign) in &self.more_meets {
            into[*place] += sign * flow(*branch);
        }
        for k in 0..nodes {
            p[k] = y[self.node(k)] + self.wall[k] * into[k];
            if p[k] < vapour {
                p[k] = vapour;
                floored[k] = true;
            }
        }
        for k in 0..net.ends.len() {
            p[nodes + k] = self.ends[k].at(t);
        }
        let by_pressure = |j: &mut Matrix<N>, row: usize, place: usize, slope: f64| {
            if place >= nodes || floored[place] {
                return;
            }
            j.add(row, self.node(place), slope);
            if let Some(m) = self.meets.get(place).filter(|_| self.wall[place] > 0.0) {
                let few = m.branches.into_iter().zip(m.signs);
                let more = self.more_meets.iter().filter(|x| x.0 == place).map(|x| (x.1, x.2));
                for (b, sign) in few.chain(more).filter(|(b, _)| !self.check_shut[*b]) {
                    j.add(row, self.branch(b), slope * sign * self.wall[place]);
                }
            }
        };
        // Flow that leaves one place for another: its derivative goes into both rows.
        let row_of = |place: usize| {
            if place < nodes {
                (self.node(place), self.per_capacitance[place])
            } else {
                (self.received(place - nodes), 1.0)
            }
        };
        let leaves = |j: &mut Matrix<N>, from: usize, to: usize, column: usize, slope: f64| {
            for (place, sign) in [(from, -1.0), (to, 1.0)] {
                let (row, scale) = row_of(place);
                j.add(row, column, sign * scale * slope);
            }
        };
        for (b, (c, unit)) in self.carry.iter().zip(&net.branches).enumerate() {
            let row = self.branch(b);
            let (q, shut) = (y[row], self.check_shut[b]);
            // d(drive) by place, flow and pump.
            let mut drive = [(c.from, 1.0), (c.to, -1.0)];
            let (mut by_q, mut by_emf) = (0.0, None);
            if let Some(k) = unit.pump {
                let emf = y[self.pump(k)];
                let (rise, load) = self.pump_point(k, p[c.from], q, emf);
                let step = |v: f64, typical: f64| f64::EPSILON.sqrt() * v.abs().max(typical);
                let (dq, de, dp) = (step(q, 1e-5), step(emf, 1.0), step(p[c.from], 1e5));
                let slope = |(r, l): (f64, f64), d: f64| ((r - rise) / d, (l - load) / d);
                let on_q = slope(self.pump_point(k, p[c.from], q + dq, emf), dq);
                let on_e = slope(self.pump_point(k, p[c.from], q, emf + de), de);
                let on_p = slope(self.pump_point(k, p[c.from] + dp, q, emf), dp);
                drive[0].1 += on_p.0;
                by_q = on_q.0;
                by_emf = Some((self.pump(k), on_e.0));
                if self.turning[k] {
                    let u = &net.pumps[k];
                    let gain = u.motor_constant * u.motor_constant / u.inertia;
                    let live = if self.supplies[k].at(t) > 0.0 { 1.0 / u.resistance } else { 0.0 };
                    j.add(self.pump(k), self.pump(k), -gain * (live + on_e.1));
                    j.add(self.pump(k), row, -gain * on_q.1);
                    by_pressure(j, self.pump(k), c.from, -gain * on_p.1);
                }
            }
            if shut {
                let gain = 1.0 / c.shut_slope;
                for (place, sign) in [(c.from, -1.0), (c.to, 1.0)] {
                    let (to, scale) = row_of(place);
                    for (at, slope) in &drive {
                        by_pressure(j, to, *at, sign * scale * gain * slope);
                    }
                    j.add(to, row, sign * scale * gain * by_q);
                    if let Some((pump, slope)) = by_emf {
                        j.add(to, pump, sign * scale * gain * slope);
                    }
                }
                continue;
            }
            leaves(j, c.from, c.to, row, 1.0);
            for (at, slope) in &drive {
                by_pressure(j, row, *at, c.per_inertance * slope);
            }
            if let Some((pump, slope)) = by_emf {
                j.add(row, pump, c.per_inertance * slope);
            }
            let re = c.reynolds * q.abs();
            let (f_re, re_slope) = if net.exact_friction {
                if re < 1.0 {
                    (64.0, 0.0)
                } else {
                    let (f, slope) = friction_factor_churchill_with_slope(re, c.relative_roughness);
                    (f * re, (f + re * slope) * re)
                }
            } else {
                self.tables[c.table].f_re_with_slope(re)
            };
            let loss = c.linear + c.viscous * (f_re + re_slope) + 2.0 * c.square * q.abs();
            j.add(row, row, c.per_inertance * (by_q - loss));
        }
        for (k, r) in net.regulators.iter().enumerate() {
            let at = self.poppet_at(k);
            let (from, to) = (self.place(r.from), self.place(r.to));
            let (dp, x) = (p[from] - p[to], y[at]);
            let area = opening(r, x);
            let seat = PI / 4.0 * r.seat * r.seat;
            let curtain = if x >= 0.0 && area < seat { PI * r.seat } else { 0.0 };
            if area > 0.0 {
                let (_, slope) = orifice::flow(dp, r.cd * area, net.fluid.rho, orifice::DP_SMALL);
                for (place, sign) in [(from, -1.0), (to, 1.0)] {
                    let (row, scale) = row_of(place);
                    by_pressure(j, row, from, sign * scale * slope);
                    by_pressure(j, row, to, -sign * scale * slope);
                }
            }
            leaves(j, from, to, at, r.cd * curtain * self.jet(dp));
            for (place, swept) in [(from, r.area - seat), (to, seat)] {
                let (row, scale) = row_of(place);
                j.add(row, at + 1, -scale * swept);
            }
            // The reference by what the intake holds, where its hose is joined to it.
            let joined = self.air.as_ref().zip(self.taps.get(k).copied().flatten());
            let joined = joined.and_then(|(air, (to, passes))| {
                air.slope(to, t).map(|(column, slope)| (column, passes * slope))
            });
            if r.lag > 0.0 {
                j.add(at + 2, at + 2, -1.0 / r.lag);
                if let Some((column, slope)) = joined {
                    j.add(at + 2, column, slope / r.lag);
                }
            }
            if matches!(self.poppet[k], Poppet::Seat | Poppet::Full | Poppet::Stuck) {
                continue;
            }
            j.add(at, at + 1, 1.0);
            let per = 1.0 / r.mass;
            by_pressure(j, at + 1, from, per * (r.area - seat - r.flow_force * area));
            by_pressure(j, at + 1, to, per * (seat + r.flow_force * area));
            j.add(at + 1, at, -per * (r.rate + r.flow_force * curtain * dp));
            j.add(at + 1, at + 1, -per * r.damping);
            if r.lag > 0.0 {
                j.add(at + 1, at + 2, -per * r.area);
            } else if let Some((column, slope)) = joined {
                j.add(at + 1, column, -per * r.area * slope);
            }
        }
        // What a difference over a nozzle does: by the node before it, and by a followed manifold behind it.
        let manifold = self.air.as_ref().and_then(|air| air.slope(Tap::Manifold, t));
        let by_difference = |j: &mut Matrix<N>, row: usize, injector: usize, slope: f64| {
            let unit = &net.injectors[injector];
            by_pressure(j, row, unit.node, slope);
            if let (Some((column, per)), Back::Manifold) = (manifold, &unit.back) {
                j.add(row, column, -slope * per);
            }
        };
        for (k, unit) in net.injectors.iter().enumerate() {
            let cd_a = self.sprays[k].cd_a;
            if cd_a > 0.0 {
                let dp = p[unit.node] - self.back(k, t, y);
                let (_, slope) = orifice::flow(dp, cd_a, net.fluid.rho, orifice::DP_SMALL);
                let (row, scale) = row_of(unit.node);
                by_difference(j, row, k, -scale * slope);
                by_difference(j, self.injected(k), k, slope);
            }
        }
        for (k, n) in self.needles.iter().enumerate() {
            let dp = p[n.node] - self.back(n.injector, t, y);
            let (jet, slope) = orifice::flow(dp, 1.0, net.fluid.rho, orifice::DP_SMALL);
            self.needle_slopes(k, (dp, jet, slope), y, j, by_difference);
        }
        if let Some(air) = &self.air {
            air.slopes(t, y, self.breathed(), j);
        }
        self.wave_slopes(t, &p, &floored, j);
    }
}
