//! When a basis is made, kept, and given up.

use super::basis::Basis;
use crate::stepper::linear::Matrix;
use crate::stepper::stop::Statistics;
use crate::stepper::system::{Regime, System};

/// A basis costs as much as some hundred steps: it is made anew once so many fell short since.
const PATIENCE: (u64, u64) = (32, 1024);
/// An explicit method takes over when its steps were longer than so many that fell short, and for so many.
const WINDOW: u64 = 64;
const RESPITE: u64 = 512;
/// An explicit step is worth it where the steps that fell short were shorter than this over the fastest mode.
const EXPLICIT: f64 = 1.0;
/// Most bases that are kept.
const MOST: usize = 64;

/// How the steps in one regime go, whatever is counted there.
#[derive(Clone, Debug)]
struct Wear {
    felt: u64,
    /// Steps since the basis was made, those that fell short, and their time.
    steps: u64,
    short: u64,
    short_time: f64,
    patience: u64,
    /// Steps for which the explicit method has its turn still.
    respite: u64,
}

/// The bases made so far, and how well the one in use does.
#[derive(Clone, Debug)]
pub(super) struct Upkeep<const N: usize> {
    kept: Vec<(Regime, Basis<N>)>,
    /// The basis in use; none where the explicit method steps.
    at: Option<usize>,
    wears: Vec<Wear>,
    wear: usize,
    regime: Regime,
    families: u64,
    jacobian: Matrix<N>,
}

impl<const N: usize> Default for Upkeep<N> {
    fn default() -> Self {
        Self {
            kept: Vec::new(),
            at: None,
            wears: Vec::new(),
            wear: 0,
            regime: Regime::default(),
            families: 0,
            jacobian: Matrix::zeros(),
        }
    }
}

impl<const N: usize> Upkeep<N> {
    #[inline]
    pub(super) fn basis(&self) -> Option<&Basis<N>> {
        self.at.map(|at| &self.kept[at].1)
    }

    /// Whether to choose again before the next step, though nothing jumped.
    #[inline]
    pub(super) fn is_due(&self) -> bool {
        let Some(w) = self.wears.get(self.wear) else { return true };
        match self.basis() {
            Some(basis) => w.short >= w.patience || w.is_slower(basis),
            None => w.respite == 0,
        }
    }

    /// Counts a step that passed the error test.
    #[inline]
    pub(super) fn passed(&mut self, free: bool, h: f64) {
        let Some(w) = self.wears.get_mut(self.wear) else { return };
        if self.at.is_none() {
            w.respite = w.respite.saturating_sub(1);
            return;
        }
        w.steps += 1;
        if !free {
            w.short += 1;
            w.short_time += h;
        }
    }

    /// Chooses the basis for a point, and makes one where there is none or the old one is worn.
    pub(super) fn choose<S: System<N>>(
        &mut self,
        system: &S,
        (t, y, rate): (f64, &[f64; N], &[f64; N]),
        statistics: &mut Statistics,
    ) {
        let regime = system.regime(t, y);
        if self.at.is_some() && self.is_due() {
            self.give_up();
        } else if regime == self.regime && self.at.is_some() {
            return;
        }
        self.regime = regime;
        self.wear = self.wears.iter().position(|w| w.felt == regime.felt).unwrap_or_else(|| {
            let felt = regime.felt;
            self.wears.push(Wear {
                felt,
                steps: 0,
                short: 0,
                short_time: 0.0,
                patience: PATIENCE.0,
                respite: 0,
            });
            self.wears.len() - 1
        });
        if self.wears[self.wear].respite > 0 {
            self.at = None;
            return;
        }
        self.at = self.kept.iter().position(|(r, _)| *r == regime);
        if self.at.is_some() {
            return;
        }
        statistics.jacobians += 1;
        // What is counted is taken at the same point as the modes, so that the whole Jacobian keeps what the system conserves.
        let near = self.kept.iter().find(|(r, _)| r.felt == regime.felt).and_then(|(_, basis)| {
            let (t, y, rate) = &basis.point;
            system.jacobian(*t, y, rate, &mut self.jacobian);
            basis.agrees(&self.jacobian).then(|| basis.clone())
        });
        let basis = match near {
            Some(mut basis) => {
                basis.count(&self.jacobian);
                Some(basis)
            }
            None => {
                self.families += 1;
                statistics.bases += 1;
                system.jacobian(t, y, rate, &mut self.jacobian);
                Basis::new(system, &self.jacobian, (t, *y, *rate), self.families)
            }
        };
        if self.kept.len() >= MOST {
            self.kept.clear();
        }
        match basis {
            Some(basis) => {
                self.kept.push((regime, basis));
                self.at = Some(self.kept.len() - 1);
            }
            None => self.wears[self.wear].respite = RESPITE,
        }
    }

    /// Drops a basis that is worn.
    fn give_up(&mut self) {
        let slower = self.basis().is_some_and(|basis| self.wears[self.wear].is_slower(basis));
        let w = &mut self.wears[self.wear];
        if slower {
            w.respite = RESPITE;
        }
        // What wore out soon after it was made would do so again: then it is kept for longer.
        let patience = if w.steps < 4 * w.patience { 2 * w.patience } else { w.patience / 2 };
        w.patience = patience.clamp(PATIENCE.0, PATIENCE.1);
        (w.steps, w.short, w.short_time) = (0, 0, 0.0);
        self.at = None;
        let felt = w.felt;
        self.kept.retain(|(r, _)| r.felt != felt);
    }
}

impl Wear {
    /// Whether an explicit method would have taken longer steps.
    fn is_slower<const N: usize>(&self, basis: &Basis<N>) -> bool {
        self.short >= WINDOW && self.short_time * basis.fastest().1 < EXPLICIT * self.short as f64
    }
}
