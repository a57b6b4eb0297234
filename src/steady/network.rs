//! Junctions and legs solved together.
//!
//! # Formula
//! The global gradient algorithm: with leg law `R_l(Q_l, p_from, p_to) = 0`, `h = -dR/dQ > 0`,
//! `a = dR/dp_from`, `b = -dR/dp_to`, one step of Newton is
//! `dQ_l = (R_l + a dp_from - b dp_to)/h_l`, and mass balance at every free junction gives the linear
//! system in `dp` (the Schur complement on the junctions). All laws are monotone, so the solution is one.
//!
//! Source: E. Todini, S. Pilati, "A gradient algorithm for the analysis of pipe networks", in Computer
//! Applications in Water Supply, vol. 1, Research Studies Press 1988, pp. 1-20; extended here to laws that
//! depend on both end pressures one by one (regulator, derated pump).

use super::element::{Element, Surroundings};
use crate::error::{Error, Kind, Result};
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
    /// Newton steps.
    pub steps: usize,
    /// Largest residual of a leg, Pa.
    pub residual: f64,
    /// Largest imbalance at a junction, m³/s.
    pub imbalance: f64,
}

/// Tolerances of a converged point: 1 Pa and 1e-10 m³/s are promised, this is what is asked of Newton, which
/// is quadratic, so the last step costs nothing.
const PRESSURE: f64 = 1e-3;
const FLOW: f64 = 1e-15;
/// No leg of a car carries more (1080 L/h); keeps a Newton step from a flat start in reach.
const MOST: f64 = 3e-4;

struct Linear {
    r: f64,
    h: f64,
    a: f64,
    b: f64,
}

impl LegLaw {
    fn linearise(&self, q: f64, pf: f64, pt: f64, s: &Surroundings) -> Linear {
        if let Some(Element::Injectors(set)) = self.elements.last() {
            let (mut p, mut slope) = (pf, 0.0);
            for e in &self.elements[..self.elements.len() - 1] {
                let (d, dq, _) = e.drop(q, p, s);
                p -= d;
                slope += dq;
            }
            let (flow, flow_slope) = set.flow_with_slope(p - pt, s);
            return Linear { r: (flow - q) / flow_slope, h: slope + 1.0 / flow_slope, a: 1.0, b: 1.0 };
        }
        if let Some(at) = self.elements.iter().position(|e| matches!(e, Element::Regulator(_))) {
            // From the end backwards: what pressure at the start drives q through?
            let (mut p, mut h, mut b) = (pt, 0.0, 1.0);
            for (i, e) in self.elements.iter().enumerate().rev() {
                if i == at {
                    let Element::Regulator(r) = e else { unreachable!() };
                    let seat = r.at(q, p, s);
                    h = seat.slope + seat.by_return * h;
                    b *= seat.by_return;
                    p = seat.fuel;
                } else {
                    let (d, dq, _) = e.drop(q, p, s);
                    p += d;
                    h += dq;
                }
            }
            return Linear { r: pf - p, h, a: 1.0, b };
        }
        let (mut p, mut h, mut a) = (pf, 0.0, 1.0);
        for e in &self.elements {
            let (d, dq, dp) = e.drop(q, p, s);
            // p' = p - d(q, p)
            h = h * (1.0 - dp) + dq;
            a *= 1.0 - dp;
            p -= d;
        }
        Linear { r: p - pt, h, a, b: 1.0 }
    }

    fn one_way(&self) -> bool {
        self.elements.iter().any(Element::one_way)
    }
}

/// Solves from a start; the state is left at the solution.
pub(super) fn solve(
    legs: &[LegLaw],
    given: &[f64],
    junctions: &[String],
    s: &Surroundings,
    state: &mut State,
) -> Result<Effort> {
    let n = junctions.len();
    let mut effort = Effort::default();
    let pressure = |e: End, p: &[f64]| match e {
        End::Given(i) => given[i],
        End::Free(i) => p[i],
    };
    let mut worst = (0usize, 0.0f64);
    let mut lines: Vec<Linear> = Vec::with_capacity(legs.len());
    // Full steps first; if they cycle (kinks of stops and valves), shorter ones.
    for (round, &damping) in [1.0, 0.5, 0.2].iter().enumerate() {
        let most = if round == 0 { 60 } else { 200 };
        for _ in 0..most {
            effort.steps += 1;
            lines.clear();
            let mut balance = vec![0.0; n];
            effort.residual = 0.0;
            let mut settled = true;
            worst = (0, 0.0);
            for (l, leg) in legs.iter().enumerate() {
                let line = leg.linearise(
                    state.flows[l],
                    pressure(leg.from, &state.pressures),
                    pressure(leg.to, &state.pressures),
                    s,
                );
                let r = line.r.abs();
                if !(r <= PRESSURE || r / line.h <= FLOW) {
                    settled = false;
                }
                if r > worst.1 || r.is_nan() {
                    worst = (l, r);
                }
                effort.residual = effort.residual.max(r.min(r / line.h * 1e13));
                if let End::Free(i) = leg.to {
                    balance[i] += state.flows[l];
                }
                if let End::Free(i) = leg.from {
                    balance[i] -= state.flows[l];
                }
                lines.push(line);
            }
            effort.imbalance = balance.iter().fold(0.0, |m: f64, b| m.max(b.abs()));
            if settled && effort.imbalance <= 1e-13 {
                return Ok(effort);
            }
            if !worst.1.is_finite() {
                break;
            }
            let mut m = DMatrix::<f64>::zeros(n, n);
            let mut rhs = DVector::<f64>::from_iterator(n, balance.iter().map(|b| -b));
            for (leg, line) in legs.iter().zip(&lines) {
                for (end, sign) in [(leg.to, 1.0), (leg.from, -1.0)] {
                    if let End::Free(j) = end {
                        rhs[j] -= sign * line.r / line.h;
                        if let End::Free(i) = leg.from {
                            m[(j, i)] += sign * line.a / line.h;
                        }
                        if let End::Free(i) = leg.to {
                            m[(j, i)] -= sign * line.b / line.h;
                        }
                    }
                }
            }
            let dp = if n == 0 {
                DVector::zeros(0)
            } else {
                m.lu().solve(&rhs).unwrap_or_else(|| DVector::zeros(n))
            };
            let change = |e: End| match e {
                End::Given(_) => 0.0,
                End::Free(i) => dp[i],
            };
            for (l, (leg, line)) in legs.iter().zip(&lines).enumerate() {
                let dq = (line.r + line.a * change(leg.from) - line.b * change(leg.to)) / line.h;
                let old = state.flows[l];
                let mut q = (old + damping * dq).clamp(-MOST, MOST);
                if leg.one_way() && q < 0.0 && old > 0.0 {
                    q = -1e-14; // just shut: the steep branch is entered at its foot
                }
                state.flows[l] = q;
            }
            for i in 0..n {
                state.pressures[i] += damping * dp[i].clamp(-2e6, 2e6);
            }
        }
    }
    let leg = &legs[worst.0];
    Err(Error::new(
        Kind::Solve,
        format!(
            "no operating point was found: the leg \"{}\" ({}) is left with {:.3e} Pa at {:.3} L/h after {} steps",
            leg.name,
            leg.parts.join(", "),
            worst.1,
            state.flows[worst.0] * 3.6e6,
            effort.steps
        ),
    )
    .next("check the sizes of this leg's parts; if they are right, report the build"))
}
