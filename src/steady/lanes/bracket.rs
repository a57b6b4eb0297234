//! The same equations by nested brackets: slow, and sure where Newton's method cycles between stops.
//!
//! With rail pressure given, every branch is monotone: the supply falls with it, regulator and injectors rise. The
//! rail pressure at which they agree is bracketed; the flow of each branch at a rail pressure likewise. A regulator that
//! its return helps to open is not monotone: [`overshot`] tells where its answer must come from the general solver.

use super::super::bend::{Asked, Poppet, asked_more};
use super::ask::{Ask, Setting};
use super::columns::{Car, MAX_LEGS, Row, Series};
use super::law::{LegEnd, NearLeg, inject, leg, series};
use super::newton::{SHUT, State};
use super::reduced::{Layout, SeriesLayout};
use crate::part::regulator::Regulator;

/// Root of a continuous function with a change of sign between `a` and `b`.
///
/// Source: T. R. Chandrupatla, Adv. Eng. Software 28 (1997) 145, in the form of P. O. J. Scherer (2013), from memory:
/// inverse quadratic interpolation where it is safe, else the middle.
fn root(mut a: f64, mut b: f64, tol: f64, mut f: impl FnMut(f64) -> f64) -> Option<f64> {
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 {
        return Some(a);
    }
    if fb == 0.0 {
        return Some(b);
    }
    if !(fa * fb < 0.0) {
        return None;
    }
    let mut t = 0.5;
    for _ in 0..200 {
        let x = a + t * (b - a);
        let fx = f(x);
        if fx.is_nan() {
            return None;
        }
        let (c, fc);
        if (fx > 0.0) == (fa > 0.0) {
            (c, fc) = (a, fa);
        } else {
            (c, fc) = (b, fb);
            (b, fb) = (a, fa);
        }
        (a, fa) = (x, fx);
        let (best, f_best) = if fa.abs() < fb.abs() { (a, fa) } else { (b, fb) };
        let least = 2.0 * f64::EPSILON * best.abs() + 0.5 * tol;
        let part = least / (b - a).abs();
        if part > 0.5 || f_best == 0.0 {
            return Some(best);
        }
        let xi = (a - b) / (c - b);
        let phi = (fa - fb) / (fc - fb);
        t = if phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi {
            fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        } else {
            0.5
        };
        t = t.clamp(part, 1.0 - part);
    }
    Some(a)
}

/// What is lost along a series, and its change with flow.
fn loss(lay: &SeriesLayout, s: &Series<1>, q: f64) -> (f64, f64) {
    let (mut p, mut slope) = (Row([0.0]), Row([0.0]));
    series(lay, s, &Row([q]), &mut p, &mut slope);
    (p[0], slope[0])
}

/// Widest flow of a branch, m³/s.
const MOST: f64 = 1e-3;
/// Tolerance of a flow, m³/s, and of the rail, Pa.
const FLOW: f64 = 1e-17;
const PRESSURE: f64 = 1e-7;

/// A pump's leg by the exact laws.
fn end_of(lay: &Layout, car: &Car<1>, ask: &Ask<1>, set: &Setting, k: usize, q: f64) -> LegEnd<1> {
    let mut near = NearLeg::nowhere();
    leg(&lay.legs[k], &car.legs[k], &mut near, 1.0, &car.vapour, &ask.volts, set.op.boost, &Row([q]))
}

/// Flows of the pumps at a pressure where they meet.
fn pumps(lay: &Layout, car: &Car<1>, ask: &Ask<1>, set: &Setting, at: f64) -> Option<[f64; MAX_LEGS]> {
    let mut out = [0.0; MAX_LEGS];
    for k in 0..lay.legs.len() {
        let end = |q: f64| end_of(lay, car, ask, set, k, q).p[0] - at;
        // Beyond a shut check valve's steep branch the flow is below zero.
        out[k] = if end(0.0) > 0.0 { root(0.0, MOST, FLOW, end)? } else { root(-1e-4, 0.0, FLOW, end)? };
    }
    Some(out)
}

/// What the supply brings to a rail held at a pressure.
pub(super) fn supply(lay: &Layout, car: &Car<1>, ask: &Ask<1>, set: &Setting, rail: f64) -> Option<f64> {
    let brings = |q: f64| {
        let meet = rail + if lay.feed.is_empty() { 0.0 } else { loss(&lay.feed, &car.feed, q).0 };
        Some(pumps(lay, car, ask, set, meet)?.iter().sum::<f64>())
    };
    if lay.feed.is_empty() {
        return brings(0.0);
    }
    root(-1e-4, MOST, FLOW, |q| brings(q).map_or(f64::NAN, |b| b - q))
}

/// A lane's regulator by the exact law.
fn regulator(car: &Car<1>) -> Regulator {
    let p = &car.poppet;
    Regulator {
        area: p.area[0],
        seat: 4.0 * p.seat_area[0] / p.curtain[0],
        rate: p.rate[0],
        preload: p.preload[0],
        max_lift: p.max_lift[0],
        min_lift: 0.0,
        cd: p.flow[0] / (2.0 / car.rho[0]).sqrt(),
        flow_force: p.flow_force[0],
        friction: 0.0,
    }
}

/// Whether a smaller flow than the one by-passed may come to rest as well: the regulator's leg asks for more pressure there.
/// The general solver looks from nought on then.
pub(super) fn overshot(lay: &Layout, car: &Car<1>, ask: &Ask<1>, q: f64) -> bool {
    let law = regulator(car);
    let bends = Poppet::of(&law);
    let still = loss(&lay.back, &car.back, 0.0).0;
    let asked = |q: f64| {
        let (taken, taken_slope) = loss(&lay.back, &car.back, q);
        let (before, before_slope) = loss(&lay.to_regulator, &car.to_regulator, q);
        let back = car.poppet.to[0] + taken;
        let seat = law.at_flow(q, car.rho[0], back, ask.reference[0]);
        Asked {
            pressure: seat.fuel + before,
            slope: seat.slope + seat.by_return * taken_slope + before_slope,
            may_fall: bends.may_fall(seat.lift, back, ask.reference[0], taken - still),
        }
    };
    asked_more(q, asked).is_some()
}

/// Solves one lane; `None` when there is no answer between no pressure and 30 bar.
pub(super) fn solve(lay: &Layout, car: &Car<1>, ask: &Ask<1>, set: &Setting) -> Option<State<1>> {
    let p = &car.poppet;
    let rho = car.rho[0];
    let law = regulator(car);
    // Rail pressure that drives a flow through the regulator's leg.
    let through = |q: f64| {
        let behind = p.to[0] + loss(&lay.back, &car.back, q.max(0.0)).0;
        let seat = law.at_flow(q, rho, behind, ask.reference[0]);
        (seat.fuel + loss(&lay.to_regulator, &car.to_regulator, q).0, behind, seat)
    };
    // Behind a shut seat nothing flows, and what seeps through it follows the difference.
    let still = p.to[0] + loss(&lay.back, &car.back, 0.0).0;
    let level = still + loss(&lay.to_regulator, &car.to_regulator, 0.0).0;
    let seeps = (law.cracking(still, ask.reference[0]) - still).max(0.0) / SHUT;
    let bypass = |rail: f64| {
        let leak = (rail - level) / SHUT;
        if leak <= seeps { Some(leak) } else { root(seeps, MOST, FLOW, |q| through(q).0 - rail) }
    };
    let legs = lay.legs.len();
    let pumps = |at: f64| pumps(lay, car, ask, set, at);
    let injected = |rail: f64| inject(lay, car, ask, set, &Row([rail - ask.manifold[0]])).q[0];
    let balance = |rail: f64| -> Option<f64> {
        let q = injected(rail) + bypass(rail)?;
        let meet = rail + if lay.feed.is_empty() { 0.0 } else { loss(&lay.feed, &car.feed, q).0 };
        Some(pumps(meet)?.iter().sum::<f64>() - q)
    };
    let rail = root(1e3, 31e5, PRESSURE, |x| balance(x).unwrap_or(f64::NAN))?;
    let q = bypass(rail)?;
    let injection = injected(rail);
    let meet = rail + if lay.feed.is_empty() { 0.0 } else { loss(&lay.feed, &car.feed, injection + q).0 };
    let flows = pumps(meet)?;
    let mut out = State::<1>::blank();
    let (_, _, poppet) = through(q.max(0.0));
    let behind = p.to[0] + loss(&lay.back, &car.back, q.max(0.0)).0; // what seeps back costs nothing
    out.x = Row([poppet.lift]);
    out.rail = Row([rail]);
    out.fuel = Row([rail - loss(&lay.to_regulator, &car.to_regulator, q).0]);
    out.d = Row([out.fuel[0] - behind]);
    out.back = Row([behind]);
    out.bypassed = Row([if poppet.lift > 0.0 { q } else { 0.0 }]);
    out.injected = Row([injection]);
    let mut left = injection + q;
    for k in 0..legs {
        let end = end_of(lay, car, ask, set, k, flows[k]);
        out.q[k] = Row([flows[k]]);
        out.inlet[k] = end.inlet;
        left -= flows[k];
    }
    out.follow_from(lay, car, ask, set);
    // What is promised of a point: a part in a billion of a litre a second.
    (left.abs() <= 1e-10).then(|| {
        out.done = Row([1.0]);
        out
    })
}
