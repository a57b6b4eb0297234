//! Pressures, flows and currents as a state has them.

use super::{NetSystem, opening};
use crate::part::orifice;
use crate::transient::network::{Back, Place};

impl<const N: usize> NetSystem<N> {
    /// Absolute pressure felt at a place, Pa: with what a damped wall adds to that of the stored fuel.
    #[must_use]
    #[inline]
    pub fn pressure(&self, place: Place, t: f64, y: &[f64; N]) -> f64 {
        let k = match place {
            Place::Node(k) => k,
            Place::End(k) => return self.ends[k].at(t),
        };
        let mut p = y[self.node(k)];
        if self.wall[k] > 0.0 {
            let few = self.meets.get(k).into_iter().flat_map(|m| m.branches.into_iter().zip(m.signs));
            let more = self.more_meets.iter().filter(|m| m.0 == k).map(|m| (m.1, m.2));
            let into: f64 = few.chain(more).map(|(b, sign)| sign * y[self.branch(b)]).sum();
            p += self.wall[k] * into;
        }
        p.max(self.net.fluid.vapour)
    }

    /// Absolute pressure behind an injector's nozzle, Pa.
    #[must_use]
    pub fn back(&self, injector: usize, t: f64, y: &[f64; N]) -> f64 {
        match &self.net.injectors[injector].back {
            Back::Manifold => self.behind_throttle(t, y),
            Back::Trace(trace) => trace.at(t),
        }
    }

    /// Fuel within nodes above their pressure `y0`, with what ends and injectors received since, m³: constant.
    #[must_use]
    pub fn volume_since(&self, y0: &[f64; N], y: &[f64; N]) -> f64 {
        let nodes = self.net.nodes.iter().enumerate();
        let stored: f64 = nodes.map(|(k, n)| n.capacitance * (y[self.node(k)] - y0[self.node(k)])).sum();
        let last = self.received(self.net.ends.len());
        let moved: f64 = (self.injected(0)..last).map(|k| y[k] - y0[k]).sum();
        stored + moved + self.swept_since(y0, y) + self.in_waves_since(y0, y)
    }

    /// Fuel that lines with waves have taken up since the state `y0`, m³.
    #[must_use]
    pub fn in_waves_since(&self, y0: &[f64; N], y: &[f64; N]) -> f64 {
        (0..self.waves.len()).map(|k| y[self.taken_up(k)] - y0[self.taken_up(k)]).sum()
    }

    /// Room made under the diaphragms since the state `y0`, m³.
    #[must_use]
    pub fn swept_since(&self, y0: &[f64; N], y: &[f64; N]) -> f64 {
        let lift = |k: usize| self.poppet_at(k);
        self.net.regulators.iter().enumerate().map(|(k, r)| r.area * (y[lift(k)] - y0[lift(k)])).sum()
    }

    /// Flow through an injector, m³/s, opened or shut as it is.
    #[must_use]
    pub fn injector_flow(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let unit = &self.net.injectors[k];
        let dp = self.pressure(Place::Node(unit.node), t, y) - self.back(k, t, y);
        let open = match (self.coil(k, y), unit.coil) {
            (Some((_, lift)), Some(law)) => unit.cd_a * lift / law.lift,
            _ if self.pulses.is_open(k) => unit.cd_a,
            _ => 0.0,
        };
        (unit.leak_cd_a + open) * self.jet(dp)
    }

    /// Flow through a regulator, m³/s.
    #[must_use]
    pub fn by_pass(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let r = &self.net.regulators[k];
        let dp = self.pressure(r.from, t, y) - self.pressure(r.to, t, y);
        r.cd * opening(r, y[self.poppet_at(k)]) * self.jet(dp)
    }

    /// Rise, Pa, and load current, A, of a pump in a branch.
    #[inline]
    pub(super) fn pump_point(&self, k: usize, from: f64, q: f64, emf: f64) -> (f64, f64) {
        let p = &self.net.pumps[k];
        let (linear, square, height) = p.before;
        let inlet = from - (linear + square * q.abs()) * q - height;
        p.law.at(q, emf, inlet - self.net.fluid.vapour)
    }

    /// Current of a pump's motor, A.
    #[must_use]
    pub fn motor_current(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        self.current(k, t, y[self.pump(k)])
    }

    #[inline]
    pub(super) fn current(&self, k: usize, t: f64, emf: f64) -> f64 {
        let volts = self.supplies[k].at(t);
        // An open relay carries nothing, whatever the rotor induces.
        if volts <= 0.0 { 0.0 } else { (volts - emf) / self.net.pumps[k].resistance }
    }

    /// Current that accelerates a pump at rest, A: above zero it starts.
    pub(super) fn motor_pull(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let Some(b) = self.net.branches.iter().position(|b| b.pump == Some(k)) else { return 0.0 };
        let from = self.pressure(self.net.branches[b].from, t, y);
        let (_, load) = self.pump_point(k, from, y[self.branch(b)], 0.0);
        self.current(k, t, 0.0) - load
    }

    /// What drives the flow of a branch at rest, Pa.
    pub(super) fn drive(&self, b: usize, t: f64, y: &[f64; N]) -> f64 {
        let unit = &self.net.branches[b];
        let from = self.pressure(unit.from, t, y);
        let to = self.pressure(unit.to, t, y);
        let rise = unit.pump.map_or(0.0, |k| self.pump_point(k, from, 0.0, y[self.pump(k)]).0);
        from - to + rise - self.carry[b].offset
    }

    /// Speed of a jet times the root of its sharpness: flow is this times `C_d A`, the orifice law of
    /// [`orifice::flow`].
    #[inline]
    pub(super) fn jet(&self, dp: f64) -> f64 {
        self.root_density * dp / (dp * dp + orifice::DP_SMALL * orifice::DP_SMALL).sqrt().sqrt()
    }
}
