//! Junctions and legs solved together.
//!
//! # Formula
//! The global gradient algorithm: with leg law `R_l(Q_l, p_from, p_to) = 0`, `h = -dR/dQ > 0`,
//! `a = dR/dp_from`, `b = -dR/dp_to`, one step of Newton is
//! `dQ_l = (R_l + a dp_from - b dp_to)/h_l`, and mass balance at every free junction gives the linear
//! system in `dp` (the Schur complement on the junctions). Where all laws are monotone the solution is one. One law need
//! not be: a regulator whose return pressure helps to open it may ask for less pressure at more flow. Of several
//! solutions the one with the least by-passed flow is taken: there a regulator that opens from its seat comes to rest.
//!
//! Source: E. Todini, S. Pilati, "A gradient algorithm for the analysis of pipe networks", in Computer
//! Applications in Water Supply, vol. 1, Research Studies Press 1988, pp. 1-20; extended here to laws that
//! depend on both end pressures one by one (regulator, derated pump).

use super::bend::{Asked, Poppet, asked_more, falls};
use super::element::{Element, Port, PumpOnWire, Surroundings};
use crate::error::{Error, Kind, Result};
use crate::part::regulator::Mode;
use nalgebra::{DMatrix, DVector};

/// Where a leg ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// A junction of given pressure.
    Given(usize),
    /// A free junction.
    Free(usize),
}

/// A leg as the solver sees it.
#[derive(Clone, Debug)]
pub(super) struct LegLaw {
    pub name: String,
    pub from: End,
    pub to: End,
    pub parts: Vec<String>,
    pub elements: Vec<Element>,
    /// Where the reference hose leads whose torn diaphragm this is.
    pub torn: Option<Port>,
}

/// Flows and pressures that satisfy every leg and junction.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct State {
    pub flows: Vec<f64>,
    pub pressures: Vec<f64>,
}

/// How hard it was.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Effort {
    /// Newton steps on legs and junctions together.
    pub steps: usize,
    /// Steps on the junctions alone, when the first way did not settle.
    pub fallback: usize,
    /// Largest residual of a leg that passes fuel, Pa.
    pub residual: f64,
    /// Largest imbalance at a junction, m³/s.
    pub imbalance: f64,
}

/// Tolerances of a converged point: 1 Pa and 1e-10 m³/s are promised, this is what is asked of Newton, which
/// is quadratic, so the last step costs nothing.
const PRESSURE: f64 = 1e-4;
const FLOW: f64 = 1e-15;
const BALANCE: f64 = 1e-13;
/// No leg of a car carries more (1080 L/h); keeps a Newton step from a flat start in reach.
pub(super) const MOST: f64 = 3e-4;
/// The first flow that is tried through an open regulator, m³/s: 0.004 L/h.
pub(super) const FIRST: f64 = 1e-9;
/// Least slope of a leg, Pa·s/m³: 100 L/h cost 0.03 Pa.
const LEAST: f64 = 1e3;
/// Turns a residual flow of injectors or pump into a pressure: 3 bar over 100 L/h, Pa·s/m³.
const AS_PRESSURE: f64 = 1e10;
/// Full Newton steps settle in 4 to 12; more means that they cycle between the sides of a kink.
const STEPS: usize = 30;

/// A leg's law at a flow and two end pressures.
#[derive(Clone, Copy, Debug)]
pub(super) struct Linear {
    /// Residual, Pa: what the start still has too much to drive this flow to the end.
    pub r: f64,
    /// Its fall with flow.
    pub h: f64,
    /// Its change with the pressure at the start.
    pub a: f64,
    /// Its fall with the pressure at the end.
    pub b: f64,
}

impl LegLaw {
    pub fn linearise(&self, q: f64, pf: f64, pt: f64, s: &Surroundings) -> Linear {
        if let Some(Element::Injectors(set)) = self.elements.last() {
            // Read as a flow: a control that measures the difference makes it nearly independent of pressure.
            let (mut p, mut slope) = (pf, 0.0);
            for e in &self.elements[..self.elements.len() - 1] {
                let (d, dq, _) = e.drop(q, p, s);
                p -= d;
                slope += dq;
            }
            let (flow, by_pressure) = set.flow_with_slope(p - pt, s);
            return Linear {
                r: (flow - q) * AS_PRESSURE,
                h: (1.0 + by_pressure * slope) * AS_PRESSURE,
                a: by_pressure * AS_PRESSURE,
                b: by_pressure * AS_PRESSURE,
            };
        }
        if let Some(at) = self.regulator() {
            let (asked, b) = self.asked(at, q, pt, s);
            return Linear { r: pf - asked.pressure, h: asked.slope, a: 1.0, b };
        }
        if let Some((before, pump, after)) = self.pumped(s) {
            // Read as a flow too: an inlet that starves lets the flow depend on nothing else.
            let along = |part: &[Element]| {
                part.iter().map(|e| e.drop(q, 0.0, s)).fold((0.0, 0.0), |sum, d| (sum.0 + d.0, sum.1 + d.1))
            };
            let ((d1, s1), (d2, s2)) = (along(before), along(after));
            let p_in = pf - d1;
            let (flow, by_rise, by_inlet) = pump.against(pt + d2 - p_in, p_in, s);
            return Linear {
                r: (flow - q) * AS_PRESSURE,
                h: (1.0 - by_rise * (s1 + s2) + by_inlet * s1) * AS_PRESSURE,
                a: (by_inlet - by_rise) * AS_PRESSURE,
                b: -by_rise * AS_PRESSURE,
            };
        }
        let (mut p, mut h, mut a) = (pf, 0.0, 1.0);
        for e in &self.elements {
            let (d, dq, dp) = e.drop(q, p, s);
            // p' = p - d(q, p)
            h = h * (1.0 - dp) + dq;
            a *= 1.0 - dp;
            p -= d;
        }
        // A leg without loss still needs a slope.
        let short = (LEAST - h).max(0.0);
        Linear { r: p - pt - short * q, h: h + short, a, b: 1.0 }
    }

    /// Where along the leg its regulator stands, if it has one.
    pub fn regulator(&self) -> Option<usize> {
        self.elements.iter().position(|e| matches!(e, Element::Regulator(_)))
    }

    /// What a leg with a regulator asks of its start at a flow, and its change with the pressure at the end: from the end
    /// backwards.
    pub fn asked(&self, at: usize, q: f64, pt: f64, s: &Surroundings) -> (Asked, f64) {
        let (mut p, mut h, mut b) = (pt, 0.0, 1.0);
        let (mut loss, mut may_fall) = (0.0, false);
        for (i, e) in self.elements.iter().enumerate().rev() {
            if let (true, Element::Regulator(r)) = (i == at, e) {
                let seat = r.at(q, p, s);
                let open = !matches!(seat.mode, Mode::Closed | Mode::HeldOpen);
                may_fall |= open && Poppet::of(&r.regulator).may_fall(seat.lift, p, r.reference(s), loss);
                h = seat.slope + seat.by_return * h;
                b *= seat.by_return;
                p = seat.fuel;
            } else {
                let (d, dq, _) = e.drop(q, p, s);
                // A column of fuel stands whatever flows; a pump may do anything.
                loss += if e.one_way() { d } else { d - e.drop(0.0, p, s).0 };
                may_fall |= matches!(e, Element::Pump(_));
                p += d;
                h += dq;
            }
        }
        (Asked { pressure: p, slope: h, may_fall }, b)
    }

    /// What stands before and after the leg's only running pump.
    fn pumped(&self, s: &Surroundings) -> Option<(&[Element], &PumpOnWire, &[Element])> {
        let mut found = None;
        for (i, e) in self.elements.iter().enumerate() {
            if let Element::Pump(p) = e {
                if found.is_some() || !p.runs(s) {
                    return None;
                }
                found = Some((&self.elements[..i], p.as_ref(), &self.elements[i + 1..]));
            }
        }
        found
    }

    fn one_way(&self) -> bool {
        self.elements.iter().any(Element::one_way)
    }
}

/// Solves from a start; the state is left at the solution.
///
/// Newton on legs and junctions together; where it cycles between the sides of a kink (a stop, a valve, a
/// derated pump), [`super::bracket`] finds the junctions' pressures with every leg inverted in a bracket. After `most`
/// steps altogether, of which `spent` are gone, it gives up: an error, never a number.
pub(super) fn solve(
    legs: &[LegLaw],
    given: &[f64],
    junctions: &[String],
    s: &Surroundings,
    state: &mut State,
    most: usize,
    spent: usize,
) -> Result<Effort> {
    let n = Network { legs, given, s };
    let most = most - spent;
    let mut effort = Effort::default();
    let mut worst = n.newton(state, &mut effort, STEPS.min(most));
    worst = worst.or_else(|| n.overshot(state));
    if let (Some(first), true) = (worst, most > effort.steps) {
        let was = state.clone();
        effort.fallback = super::bracket::solve(&n, state, junctions.len(), most - effort.steps);
        let left = most - effort.steps - effort.fallback;
        worst = n.newton(state, &mut effort, STEPS.min(left));
        if worst.is_some() && state.flows.iter().any(|q| !q.is_finite()) {
            (worst, *state) = (Some(first), was);
        }
        // Of two that fall the search followed one; where the other might rest at less is not known.
        if worst.is_none() && n.bent(state).len() > 1 {
            worst = n.overshot(state);
        }
    }
    let Some((l, residual)) = worst else { return Ok(effort) };
    let steps = spent + effort.steps + effort.fallback;
    Err(n.unsolved((l, residual), state, junctions, steps))
}

/// What stays the same while a circuit is solved.
pub(super) struct Network<'a> {
    pub legs: &'a [LegLaw],
    pub given: &'a [f64],
    pub s: &'a Surroundings,
}

impl Network<'_> {
    /// Absolute pressure at the end of a leg.
    pub fn pressure(&self, end: End, free: &[f64]) -> f64 {
        match end {
            End::Given(i) => self.given[i],
            End::Free(i) => free[i],
        }
    }

    /// A leg's law at a flow, between the pressures of a state.
    pub fn linearise(&self, l: usize, q: f64, state: &State) -> Linear {
        let leg = &self.legs[l];
        let ends = (self.pressure(leg.from, &state.pressures), self.pressure(leg.to, &state.pressures));
        leg.linearise(q, ends.0, ends.1, self.s)
    }

    /// Where a state stands that is no solution: at the leg that is left with most, or where every leg's law holds, at the
    /// junction.
    fn unsolved(&self, worst: (usize, f64), state: &State, junctions: &[String], steps: usize) -> Error {
        let said =
            |l: usize| format!("the leg \"{}\" ({})", self.legs[l].name, self.legs[l].parts.join(", "));
        let gauge = |p: f64| (p - self.s.ambient) / 1e5;
        let flow = |l: usize| state.flows[l] * 3.6e6;
        let (l, residual) = worst;
        let balance = self.balance(&state.flows, junctions.len());
        let bent: Vec<_> = self.bent(state).into_iter().map(said).collect();
        let most = (0..junctions.len()).max_by(|i, j| balance[*i].abs().total_cmp(&balance[*j].abs()));
        let (what, next) = match most {
            Some(j) if residual <= PRESSURE && balance[j].abs() > BALANCE => {
                let ends = |l: &usize| [self.legs[*l].from, self.legs[*l].to].contains(&End::Free(j));
                let here = (0..self.legs.len()).filter(ends);
                let flows: Vec<_> = here.map(|l| format!("{} carries {:.3} L/h", said(l), flow(l))).collect();
                let what = format!(
                    "the junction \"{}\" at {:.4} bar is left with {:.3e} L/h after {steps} steps: {}",
                    junctions[j],
                    gauge(state.pressures[j]),
                    balance[j] * 3.6e6,
                    flows.join(", ")
                );
                (what, "check the sizes of these legs' parts; if they are right, report the build")
            }
            _ => {
                let end = |e: End| gauge(self.pressure(e, &state.pressures));
                let (from, to) = (end(self.legs[l].from), end(self.legs[l].to));
                let what = format!(
                    "{} is left with {residual:.3e} Pa at {:.3} L/h between {from:.4} and {to:.4} bar after {steps} steps",
                    said(l),
                    flow(l)
                );
                (what, "check the sizes of this leg's parts; if they are right, report the build")
            }
        };
        if bent.len() > 1 {
            let what = format!(
                "no operating point was found: {} regulators whose returns help to open them work on one circuit: {}; {what}",
                bent.len(),
                bent.join(" and ")
            );
            let next = "widen or shorten all of these returns but one, so that less flow is not asked for more pressure; one such regulator is solved";
            return Error::new(Kind::Solve, what).next(next);
        }
        Error::new(Kind::Solve, format!("no operating point was found: {what}")).next(next)
    }

    /// The legs whose regulator is somewhere asked for less pressure at more flow.
    pub fn bent(&self, state: &State) -> Vec<usize> {
        let falls = |l: &usize| self.asks(*l, state).is_some_and(|asked| !falls(MOST, asked).is_empty());
        (0..self.legs.len()).filter(falls).collect()
    }

    /// What flows into each free junction.
    pub fn balance(&self, flows: &[f64], junctions: usize) -> Vec<f64> {
        let mut balance = vec![0.0; junctions];
        for (leg, q) in self.legs.iter().zip(flows) {
            if let End::Free(i) = leg.to {
                balance[i] += q;
            }
            if let End::Free(i) = leg.from {
                balance[i] -= q;
            }
        }
        balance
    }

    /// Change of each junction's balance with each junction's pressure (the Schur complement).
    pub fn schur(&self, lines: &[Linear], junctions: usize) -> DMatrix<f64> {
        let mut m = DMatrix::<f64>::zeros(junctions, junctions);
        for (leg, line) in self.legs.iter().zip(lines) {
            for (end, sign) in [(leg.to, 1.0), (leg.from, -1.0)] {
                if let End::Free(j) = end {
                    if let End::Free(i) = leg.from {
                        m[(j, i)] += sign * line.a / line.h;
                    }
                    if let End::Free(i) = leg.to {
                        m[(j, i)] -= sign * line.b / line.h;
                    }
                }
            }
        }
        m
    }

    /// One step of Newton: change of every leg's flow and every junction's pressure.
    fn step(&self, lines: &[Linear], balance: &[f64]) -> Option<(Vec<f64>, Vec<f64>)> {
        let (legs, n) = (lines.len(), balance.len());
        let index = |e: End| if let End::Free(i) = e { Some(i) } else { None };
        if lines.iter().all(|line| line.h > 0.0) {
            let mut rhs = DVector::<f64>::from_iterator(n, balance.iter().map(|b| -b));
            for (leg, line) in self.legs.iter().zip(lines) {
                for (end, sign) in [(leg.to, 1.0), (leg.from, -1.0)] {
                    if let Some(j) = index(end) {
                        rhs[j] -= sign * line.r / line.h;
                    }
                }
            }
            let dp = solved(self.schur(lines, n), &rhs)?;
            let change = |e: End| index(e).map_or(0.0, |i| dp[i]);
            let dq = self
                .legs
                .iter()
                .zip(lines)
                .map(|(leg, line)| (line.r + line.a * change(leg.from) - line.b * change(leg.to)) / line.h)
                .collect();
            return Some((dq, dp.iter().copied().collect()));
        }
        // A long return behind a wide seat lets a regulator's pressure fall with flow: a slope may be nought, and
        // nothing is divided by it when all unknowns stand in one matrix.
        let mut m = DMatrix::<f64>::zeros(legs + n, legs + n);
        let mut rhs = DVector::<f64>::zeros(legs + n);
        for (l, (leg, line)) in self.legs.iter().zip(lines).enumerate() {
            let size = line.h.abs().max(1.0); // rows of like size
            m[(l, l)] = line.h / size;
            rhs[l] = line.r / size;
            for (end, by, sign) in [(leg.from, -line.a, -1.0), (leg.to, line.b, 1.0)] {
                if let Some(i) = index(end) {
                    m[(l, legs + i)] += by / size;
                    m[(legs + i, l)] += sign;
                }
            }
        }
        for (i, b) in balance.iter().enumerate() {
            rhs[legs + i] = -b;
        }
        let x = solved(m, &rhs)?;
        Some((x.iter().take(legs).copied().collect(), x.iter().skip(legs).copied().collect()))
    }

    /// A regulator that passes more than it need, and what a smaller flow lacks, Pa: its pressure falls with its flow
    /// somewhere below, so it may come to rest at less.
    fn overshot(&self, state: &State) -> Option<(usize, f64)> {
        (0..self.legs.len()).find_map(|l| Some((l, asked_more(state.flows[l], self.asks(l, state)?)?)))
    }

    /// What the regulator in a leg asks at a flow, between the pressures of a state; none without one.
    pub fn asks(&self, l: usize, state: &State) -> Option<impl Fn(f64) -> Asked> {
        let leg = &self.legs[l];
        let (at, to) = (leg.regulator()?, self.pressure(leg.to, &state.pressures));
        Some(move |q| leg.asked(at, q, to, self.s).0)
    }

    /// Newton on flows and pressures together; `None` when settled, else the worst leg and its residual.
    fn newton(&self, state: &mut State, effort: &mut Effort, most: usize) -> Option<(usize, f64)> {
        let n = state.pressures.len();
        let mut worst = (0usize, f64::NAN);
        let mut lines: Vec<Linear> = Vec::with_capacity(self.legs.len());
        for left in (0..=most).rev() {
            lines.clear();
            effort.residual = 0.0;
            worst = (0, 0.0);
            for l in 0..self.legs.len() {
                let line = self.linearise(l, state.flows[l], state);
                let r = line.r.abs();
                // A shut valve turns a flow below the tolerance into any pressure.
                if !(r / line.h.abs() <= FLOW) {
                    effort.residual = effort.residual.max(r);
                    if !(r <= worst.1) {
                        worst = (l, r);
                    }
                }
                lines.push(line);
            }
            let balance = self.balance(&state.flows, n);
            effort.imbalance = balance.iter().fold(0.0, |m: f64, b| m.max(b.abs()));
            if effort.residual <= PRESSURE && worst.1 <= PRESSURE && effort.imbalance <= BALANCE {
                return None;
            }
            if left == 0 || !worst.1.is_finite() {
                break;
            }
            effort.steps += 1;
            let Some((dq, dp)) = self.step(&lines, &balance) else { break };
            for (l, leg) in self.legs.iter().enumerate() {
                let old = state.flows[l];
                let mut q = (old + dq[l]).clamp(-MOST, MOST);
                if leg.one_way() && q < 0.0 && old > 0.0 {
                    q = -1e-14; // just shut: the steep branch is entered at its foot
                }
                state.flows[l] = q;
            }
            for (p, by) in state.pressures.iter_mut().zip(&dp) {
                *p += by.clamp(-1e6, 1e6);
            }
        }
        Some(worst)
    }
}

/// The solution of a small linear system; none when it is singular.
pub(super) fn solved(m: DMatrix<f64>, rhs: &DVector<f64>) -> Option<DVector<f64>> {
    if rhs.is_empty() {
        return Some(DVector::zeros(0));
    }
    m.lu().solve(rhs).filter(|x| x.iter().all(|v| v.is_finite()))
}
