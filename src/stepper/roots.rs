//! Locating root events and calling their handlers.

use super::event::{After, Crossing};
use super::method::{Attempt, Method};
use super::observer::Observer;
use super::solve::{Runner, TRUSTED};
use super::stop::StopReason;
use super::system::System;

/// Signs of the root functions at the start of a step; 0 where not yet known.
#[derive(Default)]
pub(super) struct Roots {
    pub(super) sign: Vec<f64>,
    /// Values at the start of a step and at its end.
    pub(super) begin: Vec<f64>,
    pub(super) end: Vec<f64>,
    pub(super) probe: Vec<f64>,
    pub(super) crossed: Vec<usize>,
    /// Values at the start of the step before, and how long that was; not after a jump.
    pub(super) before: Vec<f64>,
    pub(super) span: Option<f64>,
    /// Where the step was looked at, as parts of it, and the values there, one row for each.
    pub(super) looked: Vec<f64>,
    pub(super) rows: Vec<f64>,
    /// Whether nothing can have crossed within the step.
    pub(super) clear: bool,
}

impl Roots {
    /// Takes the signs at a new beginning; that of the roots that just fired is left open, that of a guard is known.
    pub(super) fn start<const N: usize, S: System<N>>(
        &mut self,
        system: &S,
        t: f64,
        y: &[f64; N],
        fired: Option<&[usize]>,
    ) {
        let n = system.root_count();
        for v in [&mut self.sign, &mut self.begin, &mut self.end, &mut self.probe, &mut self.before] {
            v.resize(n, 0.0);
        }
        self.span = None;
        if n == 0 {
            return;
        }
        system.roots(t, y, &mut self.begin);
        for (sign, g) in self.sign.iter_mut().zip(&self.begin) {
            *sign = sign_of(*g);
        }
        for &i in fired.unwrap_or(&[]) {
            if i < n {
                self.sign[i] = 0.0;
            }
        }
        for (i, sign) in self.sign.iter_mut().enumerate() {
            if system.is_guard(i) {
                *sign = 1.0;
            }
        }
    }
}

pub(super) fn sign_of(g: f64) -> f64 {
    if g > 0.0 {
        1.0
    } else if g < 0.0 {
        -1.0
    } else {
        0.0
    }
}

impl<const N: usize, S: System<N>, M: Method<N>, O: Observer<N>> Runner<'_, N, S, M, O> {
    /// Looks for crossings in the step just tried. When there is one, the step is repeated to end on it.
    pub(super) fn find_roots(&mut self, step: f64, t_new: f64) -> Result<(f64, bool), StopReason> {
        let n = self.roots.sign.len();
        if n == 0 {
            return Ok((t_new, false));
        }
        let tolerance = self.options.event_time.max(4.0 * f64::EPSILON * t_new.abs());
        self.settle_signs(step, tolerance);
        let (tried, mut step) = (step, step);
        let mut t_end = t_new;
        for _ in 0..12 {
            let mut earliest = self.look_within(step).unwrap_or(1.0);
            if self.roots.crossed.is_empty() {
                self.look(t_end);
                if self.roots.crossed.is_empty() {
                    match self.look_into_dips(step) {
                        Some(theta) => earliest = theta,
                        None => return Ok((t_end, self.leave(step))),
                    }
                }
            }
            for k in 0..self.roots.crossed.len() {
                let root = self.roots.crossed[k];
                earliest = self.locate(root, step, earliest, tolerance);
            }
            if (1.0 - earliest) * step <= tolerance {
                return Ok((t_end, self.leave(step)));
            }
            if self.norm <= TRUSTED && step == tried && self.method.cut(&self.y, earliest) {
                self.cut = true;
                t_end = self.t + earliest * step;
                self.look(t_end);
                return Ok((t_end, self.leave(step)));
            }
            let shorter = earliest * step + 0.25 * tolerance;
            t_end = self.t + shorter;
            step = shorter;
            if t_end <= self.t {
                return Ok((self.t, true));
            }
            if self.method.attempt(self.system, self.t, &self.y, step, &mut self.statistics) != Attempt::Done
            {
                return Err(StopReason::NotFinite { t: self.t, component: self.runaway() });
            }
        }
        self.look(t_end);
        Ok((t_end, self.leave(step)))
    }

    /// What stands at the end of the step is where the next one begins. True when something crossed; what did keeps its sign
    /// until its handler was called.
    fn leave(&mut self, step: f64) -> bool {
        let roots = &mut self.roots;
        std::mem::swap(&mut roots.before, &mut roots.begin);
        roots.span = Some(step);
        std::mem::swap(&mut roots.begin, &mut roots.end);
        if roots.crossed.is_empty() {
            for (sign, g) in roots.sign.iter_mut().zip(&roots.begin) {
                *sign = sign_of(*g);
            }
        }
        !roots.crossed.is_empty()
    }

    /// Looks through a step that may hide a crossing and the way back: the part of it at which one was first seen.
    fn look_within(&mut self, step: f64) -> Option<f64> {
        self.roots.forget_looks();
        self.roots.clear = false;
        let looks = self.method.looks();
        if looks == 0 || looks <= 3 && self.glances_clear(looks, step) {
            return None;
        }
        if looks > 3 {
            let reach = self.method.reach();
            self.roots.clear =
                reach.is_some_and(|reach| self.system.keeps_clear(self.t, step, &self.y, &reach));
            if self.roots.clear {
                return None;
            }
        }
        let mut y = [0.0; N];
        for k in 1..=looks {
            let theta = k as f64 / (looks + 1) as f64;
            self.method.interpolate(&self.y, theta, &mut y);
            self.system.roots(self.t + theta * step, &y, &mut self.roots.probe);
            if self.roots.any_crossed_at_probe() {
                return Some(theta);
            }
            self.roots.keep_look(theta);
        }
        None
    }

    /// Whether nothing has crossed at a glance, in the middle or at all quarters.
    fn glances_clear(&mut self, looks: usize, step: f64) -> bool {
        let quarters = if looks == 1 { 2..=2 } else { 1..=3 };
        for k in quarters {
            let Some(y) = self.method.glance(k) else { return false };
            self.system.roots(self.t + 0.25 * k as f64 * step, &y, &mut self.roots.probe);
            if self.roots.any_crossed_at_probe() {
                self.roots.forget_looks();
                return false;
            }
            self.roots.keep_look(0.25 * k as f64);
        }
        true
    }

    /// Which roots have crossed at the end of the step just tried.
    fn look(&mut self, t_end: f64) {
        self.system.roots(t_end, self.method.new_state(), &mut self.roots.end);
        self.roots.crossed.clear();
        for (i, (sign, end)) in self.roots.sign.iter().zip(&self.roots.end).enumerate() {
            if *sign != 0.0 && *sign != sign_of(*end) {
                self.roots.crossed.push(i);
            }
        }
    }

    /// Sign just after the start of the step of roots that began at zero, at the resolution of events.
    fn settle_signs(&mut self, step: f64, tolerance: f64) {
        if self.roots.sign.iter().all(|s| *s != 0.0) {
            return;
        }
        let mut y = [0.0; N];
        for wait in [1.0, 1e2, 1e4, 1e6] {
            let theta = (wait * tolerance / step).min(0.5);
            self.method.interpolate(&self.y, theta, &mut y);
            self.system.roots(self.t + theta * step, &y, &mut self.roots.probe);
            for (sign, g) in self.roots.sign.iter_mut().zip(&self.roots.probe) {
                if *sign == 0.0 {
                    *sign = sign_of(*g);
                }
            }
            if self.roots.sign.iter().all(|s| *s != 0.0) {
                return;
            }
        }
    }

    /// First crossing of one root in (0, upper], by the Illinois rule on the continuous extension; the answer
    /// lies on the far side.
    fn locate(&mut self, root: usize, step: f64, upper: f64, tolerance: f64) -> f64 {
        let mut y = [0.0; N];
        let (method, system, probe) = (&*self.method, &*self.system, &mut self.roots.probe);
        let (y0, t0) = (&self.y, self.t);
        let mut g = |theta: f64| {
            method.interpolate(y0, theta, &mut y);
            system.roots(t0 + theta * step, &y, probe);
            probe[root]
        };
        let start = self.roots.sign[root];
        let (mut a, mut b) = (0.0, upper);
        let mut gb = if upper == 1.0 { self.roots.end[root] } else { g(upper) };
        let mut ga = self.roots.begin[root];
        if sign_of(gb) == start {
            return upper;
        }
        if sign_of(ga) != start {
            // Began on zero: enter the near side first.
            a = (tolerance / step).min(0.5 * upper);
            ga = g(a);
            if sign_of(ga) != start {
                return a;
            }
        }
        let mut side = 0i8;
        for _ in 0..100 {
            if (b - a) * step <= 0.5 * tolerance {
                break;
            }
            let mut c = (a * gb - b * ga) / (gb - ga);
            if !(c > a && c < b) {
                c = 0.5 * (a + b);
            }
            let gc = g(c);
            if sign_of(gc) == start {
                a = c;
                ga = gc;
                if side == 1 {
                    gb *= 0.5;
                }
                side = 1;
            } else {
                b = c;
                gb = gc;
                if gc == 0.0 {
                    break;
                }
                if side == -1 {
                    ga *= 0.5;
                }
                side = -1;
            }
        }
        b
    }

    /// Calls the handlers of what crossed. True when to begin afresh.
    pub(super) fn handle_roots(&mut self) -> Result<bool, StopReason> {
        let mut restart = false;
        let gap = self.t - self.last_root;
        self.last_root = self.t;
        self.close_roots = if gap < self.options.accumulate_within { self.close_roots + 1 } else { 0 };
        for k in 0..self.roots.crossed.len() {
            let root = self.roots.crossed[k];
            let crossing = Crossing { root, rising: self.roots.sign[root] < 0.0 };
            self.statistics.root_events += 1;
            let after = self.system.at_root(crossing, self.t, &mut self.y);
            self.observer.root_event(self.t, crossing, &self.y);
            match after {
                After::Continue => self.roots.sign[root] = -self.roots.sign[root],
                After::Restart => restart = true,
                After::Stop => {
                    return Err(StopReason::Root { t: self.t, crossing });
                }
            }
            if self.close_roots >= self.options.accumulate_after {
                return Err(StopReason::EventsAccumulate { t: self.t, root });
            }
        }
        Ok(restart)
    }
}
