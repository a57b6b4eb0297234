//! Pieces of line in which pressure travels as waves.

use super::{NetSystem, describe::WaveLine};
use crate::stepper::Matrix;
use crate::transient::characteristics::{Hose, Loss};
use std::f64::consts::PI;

/// A piece of line between two nodes. From one step of its grid to the next the characteristic that meets either node is
/// known: it goes evenly from where it stands to what the neighbouring point sends.
#[derive(Clone, Debug)]
pub(super) struct Wave {
    from: usize,
    to: usize,
    line: WaveLine,
    hose: Option<Hose>,
    /// Time of the last step of the grid, s, and its length.
    since: f64,
    step: f64,
    /// Characteristics that meet the inlet, `p = c + b Q`, and the outlet, `p = c - b Q`: (c, b) now and a step on.
    inlet: [(f64, f64); 2],
    outlet: [(f64, f64); 2],
}

impl Wave {
    pub(super) fn new(line: &WaveLine) -> Self {
        let (from, to) = (line.from, line.to);
        let idle = [(0.0, 1.0); 2];
        let step = line.length / line.reaches as f64 / line.wave_speed;
        Self { from, to, line: line.clone(), hose: None, since: 0.0, step, inlet: idle, outlet: idle }
    }

    /// At rest or in steady flow, from this time on.
    fn begin(&mut self, t: f64, rho: f64, mu: f64, (p, q): (f64, f64)) {
        let l = &self.line;
        let area = PI / 4.0 * l.bore * l.bore;
        let loss = Loss::Wall {
            viscous: mu / (2.0 * l.bore * l.bore * area),
            reynolds: 4.0 * rho / (PI * l.bore * mu),
            relative_roughness: l.roughness / l.bore,
        };
        let hose = Hose::new((l.length, area, l.wave_speed, rho), l.reaches, loss, (p, q));
        self.hose = Some(hose.expect("the network was checked"));
        self.since = t;
        self.aim((p, q), {
            let hose = self.hose.as_ref().expect("just made");
            (hose.pressures()[l.reaches], q)
        });
    }

    /// Characteristics of the coming step, from pressures and flows at both ends.
    fn aim(&mut self, (p0, q0): (f64, f64), (p1, q1): (f64, f64)) {
        let Some(hose) = &self.hose else { return };
        let (next_in, next_out) = hose.arriving();
        // Where it stands now, seen with the same resistance.
        self.inlet = [(p0 - next_in.1 * q0, next_in.1), next_in];
        self.outlet = [(p1 + next_out.1 * q1, next_out.1), next_out];
    }

    pub(super) fn next(&self) -> f64 {
        if self.hose.is_some() { self.since + self.step } else { f64::INFINITY }
    }

    /// Flow in at the inlet and out at the outlet, m³/s, at pressures there, with the resistances that they meet.
    #[inline]
    fn flows(&self, t: f64, p_in: f64, p_out: f64) -> ([f64; 2], [f64; 2]) {
        let part = ((t - self.since) / self.step).min(1.0);
        let at = |[now, next]: [(f64, f64); 2]| (now.0 + (next.0 - now.0) * part, now.1);
        let ((ci, bi), (co, bo)) = (at(self.inlet), at(self.outlet));
        ([(p_in - ci) / bi, (co - p_out) / bo], [bi, bo])
    }
}

impl<const N: usize> NetSystem<N> {
    /// Where what a line with waves has taken up lies in the state.
    #[inline]
    pub(super) fn taken_up(&self, k: usize) -> usize {
        self.needle(self.needles.len()) + k
    }

    /// Starts all lines with waves at what their ends and the branch before them say.
    pub(super) fn begin_waves(&mut self, t: f64, y: &[f64; N]) {
        let (rho, mu) = (self.net.fluid.rho, self.net.fluid.mu);
        for k in 0..self.waves.len() {
            let (node, branch) = (self.node(self.waves[k].from), self.branch(self.waves[k].line.fed_by));
            self.waves[k].begin(t, rho, mu, (y[node], y[branch]));
        }
    }

    /// Lets every grid that is due take its step.
    pub(super) fn step_waves(&mut self, t: f64, y: &[f64; N]) {
        let (first, vapour) = (self.node(0), self.net.fluid.vapour);
        for w in self.waves.iter_mut().filter(|w| w.next() <= t) {
            let (p0, p1) = (y[first + w.from].max(vapour), y[first + w.to].max(vapour));
            let ([q0, q1], _) = w.flows(t, p0, p1);
            if let Some(hose) = &mut w.hose {
                hose.advance_between((p0, q0), (p1, q1));
            }
            w.since = t;
            w.aim((p0, q0), (p1, q1));
        }
    }

    #[inline]
    pub(super) fn wave_rates(&self, t: f64, p: &[f64; N], into: &mut [f64; N], taken_up: &mut [f64]) {
        for (w, rate) in self.waves.iter().zip(taken_up) {
            let ([entering, leaving], _) = w.flows(t, p[w.from], p[w.to]);
            into[w.from] -= entering;
            into[w.to] += leaving;
            *rate = entering - leaving;
        }
    }

    pub(super) fn wave_slopes(&self, t: f64, p: &[f64; N], floored: &[bool; N], j: &mut Matrix<N>) {
        for (k, w) in self.waves.iter().enumerate() {
            let (_, resistances) = w.flows(t, p[w.from], p[w.to]);
            let row = self.taken_up(k);
            for (n, b) in [w.from, w.to].into_iter().zip(resistances).filter(|(n, _)| !floored[*n]) {
                j.add(self.node(n), self.node(n), -self.per_capacitance[n] / b);
                j.add(row, self.node(n), 1.0 / b);
            }
        }
    }

    /// What the pressures in lines with waves hold of fuel, m³, as of the last step of each grid: what
    /// [`NetSystem::in_waves_since`] adds up, seen the other way.
    #[must_use]
    pub fn held_in_waves(&self) -> f64 {
        self.waves.iter().filter_map(|w| w.hose.as_ref()).map(Hose::content).sum()
    }

    /// Lowest pressure that each line with waves has met within, Pa, with its name.
    pub fn lowest_in_waves(&self) -> impl Iterator<Item = (&str, f64)> + '_ {
        self.waves.iter().filter_map(|w| Some((w.line.name.as_str(), w.hose.as_ref()?.lowest())))
    }
}
