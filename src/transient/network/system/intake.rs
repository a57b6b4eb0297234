//! An intake that is followed: boost that builds, a manifold that fills.

use super::{EventKind, NetSystem, Piece};
use crate::part::gas::AIR;
use crate::part::manifold::{Filling, Spool, Throttle};
use crate::stepper::Matrix;
use crate::transient::network::{Intake, Net, Tap};

/// How far past ambient the manifold has gone when it is said to be in boost or out of it, Pa: above the error of a step.
const PAST: f64 = 100.0;

/// An intake as it stands between two corners.
#[derive(Clone, Copy, Debug)]
pub(super) struct Air {
    law: Filling,
    spool: Option<Spool>,
    ambient: f64,
    target: Piece,
    temperature: Piece,
    pull: Piece,
    /// A throttle and its opening, where that is imposed.
    throttle: Option<(Throttle, Piece)>,
    /// Where its states begin: boost, when it is followed, then air in the manifold.
    at: usize,
}

/// Number of an intake's states that move.
pub(super) fn moving(net: &Net) -> usize {
    net.intake.as_ref().map_or(0, |i| 1 + usize::from(i.spool > 0.0))
}

/// Number of an intake's states that only count.
pub(super) fn counting(net: &Net) -> usize {
    if net.intake.is_some() { 2 } else { 0 }
}

impl Air {
    pub(super) fn new(i: &Intake, ambient: f64, at: usize, t: f64) -> Self {
        Self {
            law: Filling { volume: i.volume, gas: AIR },
            spool: (i.spool > 0.0).then_some(Spool { tau: i.spool }),
            ambient,
            target: Piece::of(&i.target, t),
            temperature: Piece::of(&i.temperature, t),
            pull: Piece::of(&i.pull, t),
            throttle: i.throttle.as_ref().map(|plate| (plate.law, Piece::of(&plate.opening, t))),
            at,
        }
    }

    fn mass_at(&self) -> usize {
        self.at + usize::from(self.spool.is_some())
    }

    /// Boost that is asked for: a vacuum is the throttle's doing.
    fn boost(&self, t: f64) -> f64 {
        self.target.at(t).max(0.0)
    }

    /// Charge pipe above ambient, Pa.
    #[inline]
    pub(super) fn pipe(&self, t: f64, y: &[f64]) -> f64 {
        if self.spool.is_some() { y[self.at] } else { self.boost(t) }
    }

    /// Where the throttle holds the manifold, above ambient, Pa: no higher than the charge pipe.
    fn held(&self, t: f64, y: &[f64]) -> f64 {
        self.target.at(t).min(self.pipe(t, y))
    }

    /// Opening of a throttle, and air that comes into the manifold, kg/s.
    pub(super) fn entered(&self, t: f64, y: &[f64]) -> (Option<f64>, f64) {
        match &self.throttle {
            None => (None, self.pull.at(t) * (self.ambient + self.held(t, y))),
            Some((law, opening)) => {
                let (x, sides) = (opening.at(t), self.sides(t, y));
                (Some(x), law.flow(x, sides, self.temperature.at(t)))
            }
        }
    }

    /// Absolute pressures before and behind the throttle, Pa.
    fn sides(&self, t: f64, y: &[f64]) -> (f64, f64) {
        (self.ambient + self.pipe(t, y), self.manifold(t, y))
    }

    /// Absolute pressure in the manifold, Pa.
    #[inline]
    pub(super) fn manifold(&self, t: f64, y: &[f64]) -> f64 {
        self.law.pressure(y[self.mass_at()], self.temperature.at(t))
    }

    /// Air that the engine takes, kg/s.
    pub(super) fn taken(&self, t: f64, y: &[f64]) -> f64 {
        self.pull.at(t) * self.manifold(t, y)
    }

    /// Fills the intake to where it is held.
    fn settle(&self, t: f64, y: &mut [f64]) {
        if self.spool.is_some() {
            y[self.at] = self.boost(t);
        }
        let warm = self.temperature.at(t);
        let held = match &self.throttle {
            None => self.ambient + self.held(t, y),
            Some((law, x)) => law.held(x.at(t), self.ambient + self.pipe(t, y), warm, self.pull.at(t)),
        };
        y[self.mass_at()] = self.law.mass(held, warm);
    }

    /// Rates of what moves and of what counts.
    #[inline(never)]
    pub(super) fn rates(&self, t: f64, y: &[f64], (moving, counting): (&mut [f64], &mut [f64])) {
        if let Some(spool) = self.spool {
            moving[0] = spool.rate(y[self.at], self.boost(t));
        }
        let (_, entered) = self.entered(t, y);
        let taken = self.taken(t, y);
        moving[self.mass_at() - self.at] = entered - taken;
        counting.copy_from_slice(&[entered, taken]);
    }

    /// The state that a pressure follows, and by how much; none where it is imposed.
    pub(super) fn slope(&self, at: Tap, t: f64) -> Option<(usize, f64)> {
        match at {
            Tap::Manifold => Some((self.mass_at(), self.law.per_mass(self.temperature.at(t)))),
            Tap::ChargePipe => self.spool.map(|_| (self.at, 1.0)),
        }
    }

    /// Adds the derivatives of its own rates; `counting` is where those that count begin.
    pub(super) fn slopes<const N: usize>(&self, t: f64, y: &[f64], counting: usize, j: &mut Matrix<N>) {
        let (mass, pull) = (self.mass_at(), self.pull.at(t));
        let by_mass = pull * self.law.per_mass(self.temperature.at(t));
        j.add(mass, mass, -by_mass);
        j.add(counting + 1, mass, by_mass);
        if let Some(spool) = self.spool {
            j.add(self.at, self.at, -1.0 / spool.tau);
            if self.throttle.is_none() && y[self.at] < self.target.at(t) {
                j.add(mass, self.at, pull);
                j.add(counting, self.at, pull);
            }
        }
        if let Some((law, x)) = &self.throttle {
            let warm = self.temperature.at(t);
            let (by_pipe, by_manifold) = law.slopes(x.at(t), self.sides(t, y), warm);
            for row in [mass, counting] {
                j.add(row, mass, by_manifold * self.law.per_mass(warm));
                if self.spool.is_some() {
                    j.add(row, self.at, by_pipe);
                }
            }
        }
    }
}

impl<const N: usize> NetSystem<N> {
    /// Where the states of an intake that move begin.
    #[inline]
    pub(super) fn intake_at(&self) -> usize {
        self.poppet_at(self.net.regulators.len())
    }

    /// Where air come in and air taken since the start are counted, kg.
    #[must_use]
    #[inline]
    pub fn breathed(&self) -> usize {
        self.taken_up(self.net.waves.len())
    }

    /// The intake as its tracks have it at a time, whatever event came last.
    fn intake_now(&self, t: f64) -> Option<Air> {
        self.net.intake.as_ref().map(|i| Air::new(i, self.net.ambient, self.intake_at(), t))
    }

    /// Absolute pressure in the manifold, Pa, followed or imposed.
    #[must_use]
    pub fn manifold(&self, t: f64, y: &[f64; N]) -> f64 {
        self.intake_now(t).map_or_else(|| self.net.manifold.at(t), |a| a.manifold(t, y))
    }

    /// Charge pipe above ambient, Pa, temperature of the charge, K, and air that the engine takes, kg/s, of an intake that
    /// is followed.
    #[must_use]
    pub fn intake(&self, t: f64, y: &[f64; N]) -> Option<(f64, f64, f64)> {
        self.intake_now(t).map(|a| (a.pipe(t, y), a.temperature.at(t), a.taken(t, y)))
    }

    /// Opening of a throttle that is imposed, and air that passes it, kg/s.
    #[must_use]
    pub fn throttle(&self, t: f64, y: &[f64; N]) -> Option<(f64, f64)> {
        let (opening, entered) = self.intake_now(t)?.entered(t, y);
        opening.map(|x| (x, entered))
    }

    /// Absolute pressure in the manifold between two corners, Pa.
    #[inline]
    pub(super) fn behind_throttle(&self, t: f64, y: &[f64; N]) -> f64 {
        match &self.air {
            None => self.manifold.at(t),
            Some(a) => a.manifold(t, y),
        }
    }

    /// What a regulator's reference hose brings, absolute, Pa.
    #[inline]
    pub(super) fn brought(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let tapped = if self.air.is_some() { self.tapped(self.air.as_ref(), k, t, y) } else { None };
        tapped.unwrap_or_else(|| self.references[k].at(t))
    }

    /// The same where the hose is joined to a followed intake, whatever event came last.
    pub(super) fn intake_tap(&self, k: usize, t: f64, y: &[f64; N]) -> Option<f64> {
        self.tapped(self.intake_now(t).as_ref(), k, t, y)
    }

    #[inline(never)]
    fn tapped(&self, air: Option<&Air>, k: usize, t: f64, y: &[f64; N]) -> Option<f64> {
        let (air, (at, passes)) = (air?, self.taps.get(k).copied().flatten()?);
        let above = match at {
            Tap::Manifold => air.manifold(t, y) - self.net.ambient,
            Tap::ChargePipe => air.pipe(t, y),
        };
        Some(self.net.ambient + passes * above)
    }

    /// Fills a followed intake to where it is held at a time.
    pub(super) fn fill(&self, t: f64, y: &mut [f64; N]) {
        if let Some(a) = &self.air {
            a.settle(t, y);
        }
    }

    /// Whether the manifold stands above ambient at a start.
    pub(super) fn settle_boost(&mut self, t: f64, y: &[f64; N]) {
        self.boosted = self.air.is_some_and(|a| a.manifold(t, y) > self.net.ambient + PAST);
    }

    /// Falls to zero where the manifold passes ambient pressure.
    pub(super) fn boost_root(&self, t: f64, y: &[f64; N]) -> Option<f64> {
        let above = self.air?.manifold(t, y) - self.net.ambient;
        Some(if self.boosted { above + PAST } else { PAST - above })
    }

    /// The manifold has passed ambient pressure.
    pub(super) fn at_boost(&mut self, t: f64) {
        self.boosted = !self.boosted;
        self.record(t, if self.boosted { EventKind::IntoBoost } else { EventKind::OutOfBoost });
    }
}
