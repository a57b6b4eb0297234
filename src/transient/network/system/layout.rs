//! Where each thing lies in the state, and how closely it is held.

use super::{NetSystem, intake};
use crate::part::gas::AIR;
use crate::stepper::Options;
use crate::transient::network::{Net, Place};

/// Number of states of a network.
#[must_use]
pub fn states(net: &Net) -> usize {
    net.pumps.len()
        + net.nodes.len()
        + net.branches.len()
        + 3 * net.regulators.len()
        + net.injectors.len()
        + net.ends.len()
        + 3 * net.injectors.iter().filter(|i| i.coil.is_some()).count()
        + net.waves.len()
        + intake::moving(net)
        + intake::counting(net)
}

impl<const N: usize> NetSystem<N> {
    /// Number of states in use.
    #[must_use]
    pub fn active(&self) -> usize {
        states(&self.net)
    }

    /// Where the back e.m.f. of a pump lies in the state.
    #[must_use]
    #[inline]
    pub fn pump(&self, k: usize) -> usize {
        k
    }

    /// Where the pressure of a node lies in the state.
    #[must_use]
    #[inline]
    pub fn node(&self, k: usize) -> usize {
        self.net.pumps.len() + k
    }

    /// Where the flow of a branch lies in the state.
    #[must_use]
    #[inline]
    pub fn branch(&self, k: usize) -> usize {
        self.net.pumps.len() + self.net.nodes.len() + k
    }

    /// Where lift, speed and felt reference of a regulator begin in the state.
    #[must_use]
    #[inline]
    pub fn poppet_at(&self, k: usize) -> usize {
        self.net.pumps.len() + self.net.nodes.len() + self.net.branches.len() + 3 * k
    }

    /// Where the volume that an injector has passed lies in the state.
    #[must_use]
    #[inline]
    pub fn injected(&self, k: usize) -> usize {
        self.intake_at() + self.air_states.0 + k
    }

    /// Where the volume that an end has received lies in the state.
    #[must_use]
    #[inline]
    pub fn received(&self, k: usize) -> usize {
        self.injected(self.net.injectors.len()) + k
    }

    #[inline]
    pub(super) fn place(&self, p: Place) -> usize {
        match p {
            Place::Node(k) => k,
            Place::End(k) => self.net.nodes.len() + k,
        }
    }

    /// Which factor of [`Self::tolerances`] is a run's own, by how much a small error grows: some fiftyfold through jumps,
    /// stops and landings, which few of the circuits see that an exponential method is chosen for. In a rail that nothing
    /// leaves dry friction lets go at a force that is reached slowly, and a pascal decides when.
    #[must_use]
    pub fn fineness(&self, exponential: bool) -> f64 {
        let shut_in = self.net.rpm.values().iter().all(|rpm| *rpm == 0.0);
        let sticks = self.net.regulators.iter().any(|r| r.friction > 0.0);
        match (shut_in, sticks) {
            (true, true) => 1e-6,
            (true, false) => 0.01,
            (false, _) if exponential => 0.1,
            (false, _) => 0.02,
        }
    }

    /// Tolerances for this network.
    ///
    /// `factor` 1 holds the rail within 50 Pa and injected volumes within 1e-5 of themselves at a held speed (held in the
    /// tests); a factor of 0.1 is ten times finer, and [`Self::fineness`] what holds that through what a workshop does.
    /// Absolute only: the sizes of all states are known.
    #[must_use]
    pub fn tolerances(&self, factor: f64) -> Options<N> {
        let mut absolute = [1.0; N];
        let n = &self.net;
        let mut set = |k: usize, v: f64| absolute[k] = v * factor;
        (0..n.pumps.len()).for_each(|k| set(self.pump(k), 1.5e-4)); // V
        (0..n.nodes.len()).for_each(|k| set(self.node(k), 15.0)); // Pa
        (0..n.branches.len()).for_each(|k| set(self.branch(k), 1.5e-9)); // m³/s
        for k in 0..n.regulators.len() {
            let at = self.poppet_at(k);
            // m: the room that it makes, some 7 cm² wide, is worth 20 Pa in a rail that takes up 2 mm³/kPa.
            set(at, 6e-8);
            set(at + 1, 1.5e-4); // m/s
            set(at + 2, 15.0); // Pa
        }
        (0..n.injectors.len()).for_each(|k| set(self.injected(k), 1.5e-11)); // m³
        (0..n.ends.len()).for_each(|k| set(self.received(k), 1.5e-10)); // m³
        for k in 0..self.needles.len() {
            let at = self.needle(k);
            // A, m and m/s: a tenth of a microsecond of opening.
            set(at, 2e-5);
            set(at + 1, 2e-9);
            set(at + 2, 2e-5);
        }
        (0..n.waves.len()).for_each(|k| set(self.taken_up(k), 1.5e-10)); // m³
        if let Some(i) = &n.intake {
            // Pa, and kg worth as much.
            let worth = 15.0 * i.volume / (AIR.r * 300.0);
            let at = self.intake_at();
            (at..self.injected(0)).for_each(|k| set(k, worth));
            if i.spool > 0.0 {
                set(at, 15.0);
            }
            (0..intake::counting(n)).for_each(|k| set(self.breathed() + k, worth));
        }
        let mut options = Options::with_absolute(0.0, absolute);
        // A nanosecond is felt nowhere: a poppet's speed changes by 1e-6 m/s in it.
        options.event_time = 1e-9;
        // Events are landed on from a quarter of that away: closer than this they accumulate.
        options.accumulate_within = 10.0 * options.event_time;
        options.active = self.active();
        options
    }
}
