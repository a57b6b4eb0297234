//! Injectors whose coil and needle are followed.

use super::{EventKind, Needle, NetSystem, Place, Spray};
use crate::part::injector::coil::{At, Drive, GUARDS};
use crate::stepper::Matrix;
use crate::transient::network::Back;

impl<const N: usize> NetSystem<N> {
    /// Where current, lift and speed of a followed needle begin in the state.
    #[inline]
    pub(super) fn needle(&self, k: usize) -> usize {
        self.received(self.net.ends.len()) + 3 * k
    }

    /// Current of an injector's coil, A, and lift of its needle, m; none where they are not followed.
    #[must_use]
    pub fn coil(&self, injector: usize, y: &[f64; N]) -> Option<(f64, f64)> {
        let k = self.needles.iter().position(|n| n.injector == injector)?;
        let at = self.needle(k);
        Some((y[at], y[at + 1]))
    }

    /// Current, lift and speed of a needle, and the difference across it.
    fn about_needle(&self, k: usize, t: f64, y: &[f64; N]) -> ([f64; 3], f64) {
        let at = self.needle(k);
        let injector = self.needles[k].injector;
        let node = Place::Node(self.net.injectors[injector].node);
        ([y[at], y[at + 1], y[at + 2]], self.pressure(node, t, y) - self.back(injector, t, y))
    }

    /// Switches each coil as its driver asks. True when one was switched.
    pub(super) fn switch_coils(&mut self, y: &[f64; N]) -> bool {
        let mut any = false;
        let first = self.needle(0);
        for (k, n) in self.needles.iter_mut().enumerate() {
            let on = self.pulses.is_open(n.injector);
            if on != (n.stage.drive == Drive::On) {
                n.stage = n.stage.switched(on, y[first + 3 * k]);
                any = true;
            }
        }
        any
    }

    /// Adds what passes the needles to what flows into nodes and is injected, and writes their rates.
    #[inline]
    pub(super) fn needle_rates(
        &self,
        t: f64,
        y: &[f64; N],
        p: &[f64; N],
        into: &mut [f64; N],
        injected: &mut [f64],
        rates: &mut [f64],
    ) {
        let first = self.needle(0);
        let volts = self.coil_volts.at(t);
        for (k, (n, rates)) in self.needles.iter().zip(rates.chunks_exact_mut(3)).enumerate() {
            let at = first + 3 * k;
            let dp = p[n.node] - self.back(n.injector, t, y);
            let q = n.per_lift * y[at + 1] * self.jet(dp);
            into[n.node] -= q;
            injected[n.injector] += q;
            rates.copy_from_slice(&n.law.rates(n.stage, volts, dp, [y[at], y[at + 1], y[at + 2]]));
        }
    }

    /// What a state behind those of the ends is called.
    pub(in crate::transient) fn beyond_ends(&self, state: usize) -> Option<String> {
        let past = state.checked_sub(self.needle(0))?;
        if let Some(n) = self.needles.get(past / 3) {
            let name = &self.net.injectors[n.injector].name;
            return Some(format!("{name} {}", ["current", "lift", "needle speed"][past % 3]));
        }
        if let Some(wave) = self.net.waves.get(state.checked_sub(self.taken_up(0))?) {
            return Some(format!("{} volume", wave.name));
        }
        self.net.intake.as_ref()?;
        let counted = ["air let in", "air taken"];
        counted.get(state - self.breathed()).map(|name| (*name).to_owned())
    }

    /// Whether a root function is a needle's.
    pub(in crate::transient) fn is_needle(&self, root: usize) -> bool {
        use crate::stepper::System;
        let behind = usize::from(self.net.intake.is_some());
        let first = self.root_count() - behind - GUARDS * self.needles.len();
        (first..self.root_count() - behind).contains(&root)
    }

    /// Writes the guards of all needles.
    pub(super) fn needle_guards(&self, t: f64, y: &[f64; N], mut put: impl FnMut(f64)) {
        for (k, n) in self.needles.iter().enumerate() {
            let (state, dp) = self.about_needle(k, t, y);
            n.law.guards(n.stage, dp, state).into_iter().for_each(&mut put);
        }
    }

    /// A guard has changed its sign.
    pub(super) fn at_needle(&mut self, guard: usize, t: f64, y: &mut [f64; N]) {
        let (k, guard) = (guard / GUARDS, guard % GUARDS);
        let (mut state, dp) = self.about_needle(k, t, y);
        let n = &mut self.needles[k];
        let before = n.stage.at;
        n.stage = n.law.after(n.stage, guard, dp, &mut state);
        let (injector, after) = (n.injector, n.stage.at);
        let at = self.needle(k);
        y[at..at + 3].copy_from_slice(&state);
        match (before, after) {
            (At::Seat, At::Between) => self.record(t, EventKind::Opened { injector }),
            (At::Between, At::Seat) => self.record(t, EventKind::Closed { injector }),
            _ => {}
        }
    }

    /// Adds the derivatives of one needle; `by_difference` adds to a row what the difference over the nozzle of an
    /// injector does there.
    pub(super) fn needle_slopes(
        &self,
        k: usize,
        (dp, jet, jet_slope): (f64, f64, f64),
        y: &[f64; N],
        j: &mut Matrix<N>,
        mut by_difference: impl FnMut(&mut Matrix<N>, usize, usize, f64),
    ) {
        let n: &Needle = &self.needles[k];
        let at = self.needle(k);
        let (i, x) = (y[at], y[at + 1]);
        let (node, passed) = (self.node(n.node), self.injected(n.injector));
        let per = self.per_capacitance[n.node];
        j.add(node, at + 1, -per * n.per_lift * jet);
        j.add(passed, at + 1, n.per_lift * jet);
        let slope = n.per_lift * x * jet_slope;
        by_difference(j, node, n.injector, -per * slope);
        by_difference(j, passed, n.injector, slope);
        if n.stage.drive != Drive::Dead {
            j.add(at, at, -n.law.resistance / n.law.inductance);
        }
        if n.stage.at == At::Between {
            let per = 1.0 / n.law.mass;
            j.add(at + 1, at + 2, 1.0);
            j.add(at + 2, at, per * 2.0 * n.law.pull * i);
            j.add(at + 2, at + 1, per * n.law.seat_area * dp / n.law.lift);
            by_difference(j, at + 2, n.injector, -per * n.law.seat_area * (1.0 - x / n.law.lift));
        }
    }

    /// What an injector passes besides a followed needle.
    pub(super) fn spray(&self, injector: usize) -> Spray {
        let unit = &self.net.injectors[injector];
        let opens = unit.coil.is_none() && self.pulses.is_open(injector);
        Spray {
            node: unit.node,
            cd_a: unit.leak_cd_a + if opens { unit.cd_a } else { 0.0 },
            own_back: unit.back != Back::Manifold,
        }
    }
}
