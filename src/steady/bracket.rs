//! The slow, sure way: junction pressures alone, every leg inverted in a bracket.
//!
//! # Formula
//! With `Q_l(p_from, p_to)` the root of the leg's law, what flows into junction j, `F_j(p)`, falls with `p_j` and
//! rises with the other pressures (a regulator's leg aside, whose flow is imposed instead). Newton on `F = 0` with a step that is halved until the sum of `|F_j|` falls;
//! where no step helps, one sweep in which each junction is put right by itself between two bounds.
//!
//! Source: W. C. Rheinboldt, "On M-functions and their application to nonlinear Gauss-Seidel iterations and to
//! network flows", J. Math. Anal. Appl. 32 (1970) 274-307 (from memory): such sweeps converge from anywhere.

use super::bend::falls;
use super::chord::Chord;
use super::network::{End, FIRST, Linear, MOST, Network, State, solved};
use nalgebra::DVector;

/// What the junctions may be left with, m³/s; Newton on everything polishes it further.
const BALANCE: f64 = 1e-12;
/// Junction pressures are sought between these, Pa absolute (below zero: a strangled suction side).
const BOUNDS: (f64, f64) = (-1e7, 1e7);

/// Brings the state close to the solution; the number of steps taken. Where it starts does not depend on where the
/// first way gave up, so that one circuit has one answer.
///
/// A regulator's pressure may fall with its flow (a long return behind a wide seat), and then its leg has no
/// single flow between two pressures. So its flow is imposed and raised from nought until the rail no longer
/// reaches the pressure that drives it: the first crossing, where a regulator that opens from its seat comes to rest.
pub(super) fn solve(n: &Network<'_>, state: &mut State, junctions: usize, most: usize) -> usize {
    state.pressures.fill(n.s.ambient + 3e5);
    state.flows.fill(1e-5);
    // Of several regulators the one whose pressure falls: the others have one flow between two pressures.
    let regulator = n.legs.iter().position(|leg| leg.regulator().is_some());
    let Some(l) = n.bent(state).first().copied().or(regulator) else {
        return settle(n, state, junctions, None, most).0;
    };
    let mut steps = 0;
    // What the rail has too much at an imposed flow; a flow that nothing brings is too much of a flow.
    let mut over = |q: f64, state: &mut State| -> f64 {
        let mut trial = state.clone();
        trial.flows[l] = q;
        let (more, found) = settle(n, &mut trial, junctions, Some(l), most - steps);
        steps += more;
        if !found {
            return f64::NEG_INFINITY;
        }
        let f = n.linearise(l, q, &trial).r;
        if f > -NEAR {
            *state = trial; // from the side of the smaller flow: the other may lie on another branch of the rest
        }
        f
    };
    let mut low = (0.0, over(0.0, state));
    if low.1 <= 0.0 {
        let left = most - steps;
        return steps + settle(n, state, junctions, None, left).0;
    }
    let looks = n.asks(l, state).map_or_else(Vec::new, |asked| falls(MOST, asked));
    let mut before = low;
    let mut high = (FIRST, over(FIRST, state));
    while high.1 > 0.0 && high.0 < MOST {
        // Less and then more of it again: two crossings may lie between the three, nearer than a step.
        if before.1 > low.1 && low.1 < high.1 {
            let (left, least) = trough(before, low, high, |q| over(q, state));
            if least.1 <= 0.0 {
                (low, high) = (left, least);
                break;
            }
        }
        (before, low) = (low, high);
        let next = looks.iter().find(|q| **q > low.0 * (1.0 + 1e-12));
        high.0 = next.map_or(f64::INFINITY, |q| *q).min(1.5 * low.0);
        high.1 = over(high.0, state);
    }
    let mut between = Chord::between(low, high);
    for _ in 0..200 {
        let q = between.next();
        let f = over(q, state);
        let (low, high) = (between.low, between.high);
        // What the junctions may be left with is a width in flow, too; Newton does the rest.
        if f.abs() <= NEAR || high - low <= 0.01 * BALANCE {
            break;
        }
        between.saw(q, f);
    }
    steps
}

/// The least of a function between three points of which the middle one is the lowest, and the point before it, sought
/// until the least is below nought or the points are a millionth apart: parabolas through the three, and the golden section
/// where they do not help.
///
/// Source: R. P. Brent, Algorithms for Minimization without Derivatives, 1973, ch. 5 (from memory), simplified.
fn trough(
    mut left: (f64, f64),
    mut least: (f64, f64),
    mut right: (f64, f64),
    mut f: impl FnMut(f64) -> f64,
) -> ((f64, f64), (f64, f64)) {
    const GOLDEN: f64 = 0.381_966;
    for round in 1..=60 {
        let width = right.0 - left.0;
        if least.1 <= 0.0 || width <= 1e-6 * least.0 {
            break;
        }
        let (a, b) = (least.0 - left.0, least.0 - right.0);
        let (fa, fb) = (a * (least.1 - right.1), b * (least.1 - left.1));
        let mut x = least.0 - 0.5 * (a * fa - b * fb) / (fa - fb);
        // Neither onto a point that is known, nor crawling from one side.
        let near = 1e-7 * least.0;
        if round % 3 == 0 || !(x > left.0 + near && x < right.0 - near && (x - least.0).abs() > near) {
            let wider = if a > -b { -a } else { -b };
            x = least.0 + GOLDEN * wider;
        }
        let found = (x, f(x));
        if found.1 < least.1 {
            if x < least.0 {
                right = least
            } else {
                left = least
            }
            least = found;
        } else if x < least.0 {
            left = found
        } else {
            right = found
        }
    }
    (left, least)
}

/// How near to the pressure that drives it the rail is brought, Pa.
const NEAR: f64 = 1e-4;

/// Balances the junctions, with the flow of one leg imposed if one is named; the number of steps, and whether found.
fn settle(
    n: &Network<'_>,
    state: &mut State,
    junctions: usize,
    imposed: Option<usize>,
    most: usize,
) -> (usize, bool) {
    let mut now = Flows::at(n, &state.pressures, &state.flows, imposed);
    let most = most.min(200);
    for step in 1..=most {
        let balance = n.balance(&now.flows, junctions);
        if merit(&balance) <= BALANCE {
            state.flows = now.flows;
            return (step, true);
        }
        let rhs = DVector::from_iterator(junctions, balance.iter().map(|b| -b));
        let better = improved(n, &state.pressures, &now, &rhs, merit(&balance), imposed);
        let (pressures, flows) = better.unwrap_or_else(|| {
            // Together first: junctions that a wide hose joins hold each other where they are.
            let together: Vec<usize> = (0..junctions).collect();
            let mut p = put_right(n, &state.pressures, &together, &now.flows, imposed);
            for j in 0..junctions {
                p = put_right(n, &p, &[j], &now.flows, imposed);
            }
            let flows = Flows::at(n, &p, &now.flows, imposed);
            (p, flows)
        });
        state.pressures = pressures;
        now = flows;
    }
    state.flows = now.flows;
    (most, false)
}

/// What the junctions are left with together, m³/s.
fn merit(balance: &[f64]) -> f64 {
    balance.iter().map(|x| x.abs()).sum()
}

/// A step of Newton that leaves the junctions with less: shortened, or held back by a storage at each junction.
fn improved(
    n: &Network<'_>,
    pressures: &[f64],
    now: &Flows,
    rhs: &DVector<f64>,
    was: f64,
    imposed: Option<usize>,
) -> Option<(Vec<f64>, Flows)> {
    let junctions = rhs.len();
    let tried = |dp: &DVector<f64>, part: f64, enough: f64| {
        let p: Vec<f64> =
            pressures.iter().zip(dp.iter()).map(|(p, d)| (p + part * d).clamp(BOUNDS.0, BOUNDS.1)).collect();
        let flows = Flows::at(n, &p, &now.flows, imposed);
        (merit(&n.balance(&flows.flows, junctions)) < enough * was).then_some((p, flows))
    };
    let schur = n.schur(&now.lines, junctions);
    if let Some(dp) = solved(schur.clone(), rhs) {
        for part in [1.0, 0.5, 0.25, 0.1, 0.03] {
            if let Some(found) = tried(&dp, part, 1.0 - 0.25 * part) {
                return Some(found);
            }
        }
    }
    for storage in STORAGES {
        let mut held = schur.clone();
        for j in 0..junctions {
            held[(j, j)] -= storage;
        }
        if let Some(found) = solved(held, rhs).and_then(|dp| tried(&dp, 1.0, 0.98)) {
            return Some(found);
        }
    }
    None
}

/// Storage of a junction over the length of a step, m³/(s·Pa): from soft to as stiff as the stiffest leg.
const STORAGES: [f64; 6] = [1e-12, 1e-11, 1e-10, 1e-9, 1e-8, 1e-7];

/// Every leg's flow at given junction pressures, with its law there.
struct Flows {
    flows: Vec<f64>,
    lines: Vec<Linear>,
}

impl Flows {
    fn at(n: &Network<'_>, pressures: &[f64], guess: &[f64], imposed: Option<usize>) -> Self {
        let mut out = Self { flows: Vec::with_capacity(guess.len()), lines: Vec::with_capacity(guess.len()) };
        for (l, q) in guess.iter().enumerate() {
            let (q, line) = if imposed == Some(l) {
                (*q, Linear { r: 0.0, h: f64::INFINITY, a: 1.0, b: 1.0 })
            } else {
                invert(n, l, pressures, *q)
            };
            out.flows.push(q);
            out.lines.push(line);
        }
        out
    }
}

/// The flow of a leg between its end pressures: Newton kept in a bracket.
fn invert(n: &Network<'_>, l: usize, pressures: &[f64], guess: f64) -> (f64, Linear) {
    let leg = &n.legs[l];
    let ends = (n.pressure(leg.from, pressures), n.pressure(leg.to, pressures));
    let (mut low, mut high) = (-MOST, MOST);
    let mut q = guess.clamp(low, high);
    let mut line = leg.linearise(q, ends.0, ends.1, n.s);
    let mut width = high - low;
    for step in 1..200 {
        // At the foot of a shut valve's steep branch the slope says nothing of the side where it opens.
        let foot = q == 0.0 && line.r > 0.0;
        if line.r.abs() / line.h.abs() <= 1e-17 && !foot {
            break;
        }
        if line.r > 0.0 {
            low = q
        } else {
            high = q
        }
        let mut next = q + line.r / line.h;
        // Newton that leaves the bracket, or has not halved it in three steps, knows only its side of a kink.
        let slow = step % 3 == 0 && high - low > 0.5 * std::mem::replace(&mut width, high - low);
        if slow || !(next > low && next < high) {
            next = if low < 0.0 && high > 0.0 && q != 0.0 { 0.0 } else { 0.5 * (low + high) };
        }
        if next == q || !(next > low && next < high) {
            break; // the bracket is down to neighbouring numbers
        }
        q = next;
        line = leg.linearise(q, ends.0, ends.1, n.s);
    }
    (q, line)
}

/// Pressures at which some junctions, moved as one, balance as one with the others held.
fn put_right(
    n: &Network<'_>,
    pressures: &[f64],
    these: &[usize],
    guess: &[f64],
    imposed: Option<usize>,
) -> Vec<f64> {
    let moved = |by: f64| {
        let mut p = pressures.to_vec();
        for j in these {
            p[*j] = (p[*j] + by).clamp(BOUNDS.0, BOUNDS.1);
        }
        p
    };
    let inside = |end: End| matches!(end, End::Free(i) if these.contains(&i));
    let into = |by: f64| -> f64 {
        let p = moved(by);
        let mut sum = 0.0;
        for (l, leg) in n.legs.iter().enumerate() {
            let sign = f64::from(i8::from(inside(leg.to)) - i8::from(inside(leg.from)));
            if sign != 0.0 {
                sum += sign * if imposed == Some(l) { guess[l] } else { invert(n, l, &p, guess[l]).0 };
            }
        }
        sum
    };
    let (mut low, mut high) = (2.0 * BOUNDS.0, 2.0 * BOUNDS.1);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if into(middle) > 0.0 {
            low = middle
        } else {
            high = middle
        }
        if high - low < 1e-6 {
            break;
        }
    }
    moved(0.5 * (low + high))
}
