//! Which of the laws of a network hold at a time.

use super::{NetSystem, Poppet};
use crate::part::injector::coil::{At, Drive};
use crate::stepper::Regime;

/// With more states the modes cost as much as the steps that they save: the demo car's 25 break even.
const MOST: usize = 24;

impl<const N: usize> NetSystem<N> {
    /// Whether an exponential method pays: nothing that turns or lands hundreds of times a second, and few states.
    #[must_use]
    pub fn is_nearly_linear(&self) -> bool {
        let dry = self.net.regulators.iter().any(|r| r.friction > 0.0);
        !dry && self.needles.is_empty() && self.waves.is_empty() && self.active() <= MOST
    }

    /// What the slopes hang on besides state and time: stops, valves, motors and vapour; and which injectors spray, which
    /// their own volumes feel far more than the rail does.
    pub(super) fn regime_at(&self, t: f64, y: &[f64; N]) -> Regime {
        let (mut felt, mut counted) = (0, 0);
        let put = |to: &mut u64, holds: bool| *to = to.rotate_left(1) ^ u64::from(holds);
        for poppet in &self.poppet {
            put(&mut felt, matches!(poppet, Poppet::Seat | Poppet::Full | Poppet::Stuck));
        }
        self.check_shut.iter().chain(&self.turning).for_each(|holds| put(&mut felt, *holds));
        self.supplies.iter().for_each(|piece| put(&mut felt, piece.at(t) > 0.0));
        self.boiling.iter().for_each(|n| put(&mut felt, y[self.node(*n)] < self.net.fluid.vapour));
        for n in &self.needles {
            put(&mut felt, n.stage.drive == Drive::On);
            put(&mut felt, n.stage.drive == Drive::Dead);
            put(&mut felt, n.stage.at == At::Between);
        }
        for s in &self.sprays {
            put(&mut counted, s.cd_a > 0.0);
            // What sprays from a node in all: of the same size whichever injector it is, but for rounding.
            let size = (s.cd_a as f32).to_bits();
            felt = felt.wrapping_add(
                u64::from(size).wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_mul(2 * s.node as u64 + 1),
            );
        }
        Regime { felt, counted }
    }

    /// Whether every stop, valve and end is out of reach, as the states alone have it; false where a force, a command or a
    /// manifold that is followed may call as well.
    pub(super) fn stays_in_regime(&self, y: &[f64; N], reach: &[f64; N]) -> bool {
        let above = |k: usize, low: f64| y[k] - reach[k] > low;
        let vapour = self.net.fluid.vapour;
        self.needles.is_empty()
            && self.air.is_none()
            && self.net.until.is_none()
            && self.poppet.iter().enumerate().all(|(k, poppet)| {
                let at = self.poppet_at(k);
                let most = self.net.regulators[k].max_lift;
                *poppet == Poppet::Free && above(at, 0.0) && y[at] + reach[at] < most
            })
            && self.turning.iter().enumerate().all(|(k, turns)| *turns && above(self.pump(k), 0.0))
            && self
                .carry
                .iter()
                .zip(&self.check_shut)
                .enumerate()
                .all(|(b, (c, shut))| !c.one_way || (!shut && above(self.branch(b), 0.0)))
            && self.boiling.iter().all(|n| (y[self.node(*n)] - vapour).abs() > reach[self.node(*n)])
            && self.net.ends.iter().enumerate().all(|(k, end)| {
                end.fuel.is_none_or(|fuel| fuel + y[self.received(k)] > reach[self.received(k)])
            })
    }
}
