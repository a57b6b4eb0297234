//! Crossings and ways back that no look has seen, between looks.

use super::method::Method;
use super::observer::Observer;
use super::roots::sign_of;
use super::solve::Runner;
use super::system::System;

/// A dip is looked at where it seems to come down to less than this part of what was seen beside it. The parabola through
/// looks a third of a swing apart comes down to 0.75 where the swing just touches zero.
const DEEP: f64 = 0.8;

/// A dip whose lowest look is above this part of the highest beside it does not reach zero: a swing that just touches it, seen
/// every third of itself, shows a quarter or less.
const LOW: f64 = 0.3;

/// Time within a step, as a part of it, and what one root function is there, above zero on the side where it began.
type Seen = (f64, f64);

/// Where a parabola through three points is lowest, if that is between the outer ones and well below all of them.
fn lowest([a, b, c]: [Seen; 3]) -> Option<f64> {
    let (least, most) = (a.1.min(b.1).min(c.1), a.1.max(b.1).max(c.1));
    if least > LOW * most {
        return None;
    }
    let (left, right) = ((b.1 - a.1) / (b.0 - a.0), (c.1 - b.1) / (c.0 - b.0));
    let bend = (right - left) / (c.0 - a.0);
    if !(bend > 0.0) {
        return None;
    }
    // Newton's form: a + left (x - a) + bend (x - a)(x - b).
    let at = 0.5 * (a.0 + b.0 - left / bend);
    let value = a.1 + (at - a.0) * (left + bend * (at - b.0));
    let inside = at > a.0 && at < c.0 && at != b.0;
    (inside && value < DEEP * least).then_some(at)
}

impl<const N: usize, S: System<N>, M: Method<N>, O: Observer<N>> Runner<'_, N, S, M, O> {
    /// Looks where a root function seems to come near zero between what was seen of the step just tried, at whose end nothing
    /// has crossed: the part of the step at which something had.
    pub(super) fn look_into_dips(&mut self, step: f64) -> Option<f64> {
        if self.roots.clear {
            return None;
        }
        if self.roots.looked.is_empty() {
            if !self.roots.may_turn(step) {
                return None;
            }
            let glanced = self.method.glance(2).is_some_and(|y| {
                self.system.roots(self.t + 0.5 * step, &y, &mut self.roots.probe);
                !self.roots.any_crossed_at_probe()
            });
            // A glance is about the state: what crosses there is looked at.
            if !glanced {
                self.probe_at(0.5, step);
            }
            self.roots.keep_look(0.5);
            if self.roots.any_crossed_at_probe() {
                return Some(0.5);
            }
        }
        let between = self.roots.looked.len();
        for root in 0..self.roots.sign.len() {
            if !self.roots.may_dip(root) {
                continue;
            }
            for k in 0..between {
                let points = [k, k + 1, k + 2].map(|at| self.roots.seen(root, at));
                if let Some(theta) = self.follow(root, points, step) {
                    return Some(theta);
                }
            }
        }
        None
    }

    /// Follows one dip down, a few parabolas long.
    fn follow(&mut self, root: usize, mut points: [Seen; 3], step: f64) -> Option<f64> {
        for _ in 0..4 {
            let at = lowest(points)?;
            self.probe_at(at, step);
            if self.roots.any_crossed_at_probe() {
                return Some(at);
            }
            let new = (at, self.roots.sign[root] * self.roots.probe[root]);
            let [a, b, c] = points;
            // The lowest of all and its neighbours.
            points = match (at < b.0, new.1 < b.1) {
                (true, true) => [a, new, b],
                (true, false) => [new, b, c],
                (false, true) => [b, new, c],
                (false, false) => [a, b, new],
            };
        }
        None
    }

    /// Evaluates the root functions within the step just tried.
    fn probe_at(&mut self, theta: f64, step: f64) {
        let mut y = [0.0; N];
        self.method.interpolate(&self.y, theta, &mut y);
        self.system.roots(self.t + theta * step, &y, &mut self.roots.probe);
    }
}

impl super::roots::Roots {
    /// Keeps what was seen within a step.
    pub(super) fn keep_look(&mut self, theta: f64) {
        self.looked.push(theta);
        self.rows.extend_from_slice(&self.probe);
    }

    pub(super) fn forget_looks(&mut self) {
        self.crossed.clear();
        self.looked.clear();
        self.rows.clear();
    }

    /// The beginning, what was looked at, or the end.
    fn seen(&self, root: usize, at: usize) -> Seen {
        let sign = self.sign[root];
        let (theta, g) = if at == 0 {
            (0.0, self.begin[root])
        } else if let Some(theta) = self.looked.get(at - 1) {
            (*theta, self.rows[(at - 1) * self.sign.len() + root])
        } else {
            (1.0, self.end[root])
        };
        (theta, sign * g)
    }

    /// Whether a look came near enough to zero that something lower may lie beside it.
    fn may_dip(&self, root: usize) -> bool {
        let (begin, end) = (self.begin[root].abs(), self.end[root].abs());
        let (mut least, mut most) = (begin.min(end), begin.max(end));
        for row in self.rows.chunks_exact(self.sign.len()) {
            let g = row[root].abs();
            (least, most) = (least.min(g), most.max(g));
        }
        least <= LOW * most
    }

    /// Whether a root function was on its way to zero and would have got there within the step; also when it is not known.
    fn may_turn(&self, step: f64) -> bool {
        let Some(span) = self.span else { return true };
        let ratio = step / span;
        let mut ways = self.before.iter().zip(&self.begin).zip(&self.sign);
        ways.any(|((before, begin), sign)| sign * (begin + (begin - before) * ratio) < 0.0)
    }

    /// Takes note of what has crossed where it was probed last.
    pub(super) fn any_crossed_at_probe(&mut self) -> bool {
        let Self { sign, probe, crossed, .. } = self;
        crossed.clear();
        let pairs = sign.iter().zip(probe.iter()).enumerate();
        crossed.extend(pairs.filter(|(_, (s, g))| **s != 0.0 && **s != sign_of(**g)).map(|(i, _)| i));
        !crossed.is_empty()
    }
}
