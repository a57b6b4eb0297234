//! What runs out first, how much is left, and what each part costs.

use super::circuit::Circuit;
use super::element::Element;
use super::operating::Operating;
use super::point::{Point, capacity, point};
use crate::build::{Build, regulator_law};
use crate::error::Result;
use crate::quantity::{Amount, Dim};
use serde::Serialize;

/// Limits that an operating point is held against. All are common practice, no source, unless said.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Acceptance {
    /// Lowest supply headroom that is comfortable.
    pub headroom: f64,
    /// Highest duty to design for.
    pub duty_design: f64,
    /// Highest duty at all.
    pub duty: f64,
    /// Lambda may lie this part above its target.
    pub lambda: f64,
    /// Differential pressure may lie this part below base.
    pub difference: f64,
    /// Pressure above vapour pressure at a pump's inlet, Pa.
    pub inlet_margin: f64,
    /// Voltage lost between supply and pump, V.
    pub wiring_drop: f64,
    /// Current as a part of the fuse.
    pub fuse: f64,
    /// Lambda of the weakest cylinder above target.
    pub worst_cylinder: f64,
}

impl Default for Acceptance {
    fn default() -> Self {
        Self {
            headroom: 0.20,
            duty_design: 0.85,
            duty: 0.90,
            lambda: 0.03,
            difference: 0.05,
            inlet_margin: 10e3,
            wiring_drop: 0.5,
            fuse: 0.80,
            worst_cylinder: 0.04,
        }
    }
}

/// How a check came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within its limit.
    Pass,
    /// Past the comfortable limit, not past the hard one.
    Warn,
    /// Past its limit.
    Fail,
}

/// One check of an operating point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    /// What is checked.
    pub name: &'static str,
    /// The part that it belongs to.
    pub part: String,
    /// What was found.
    pub found: Amount,
    /// What is accepted at most or at least.
    pub limit: Amount,
    /// How it came out.
    pub verdict: Verdict,
    /// What is left, as a part of the demand for flow checks and of the limit otherwise; below zero: missing.
    pub margin: f64,
}

/// What one part costs the supply.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cost {
    /// The part, or its wire.
    pub part: String,
    /// What was done to it in thought.
    pub change: &'static str,
    /// Flow that the supply would gain, m³/s.
    pub gain: f64,
}

/// What limits the car at an operating point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limits {
    /// What the point was held against.
    pub accepted: Acceptance,
    /// Every check, worst margin first.
    pub checks: Vec<Check>,
    /// Flow that the supply brings at the pressure that must be held, m³/s; not-a-number without a regulator or target.
    pub capacity: f64,
    /// Flow that the engine asks for, m³/s.
    pub asked: f64,
    /// Supply headroom: capacity over asked, less one.
    pub headroom: f64,
    /// The pressure that must be held at the junction, gauge, Pa.
    pub held: f64,
    /// What each part costs the supply, costliest first.
    pub costs: Vec<Cost>,
    /// The part that runs out first.
    pub part: String,
    /// The same in a sentence.
    pub sentence: String,
}

/// Where pressure is held, and at which absolute pressure.
fn held(point: &Point, build: &Build) -> Option<(String, f64)> {
    if let Some(r) = point.regulators.first() {
        let leg = build.legs().iter().find(|l| l.parts.contains(&r.name))?;
        // The regulator may sit behind a hose; with no by-pass flow there is no loss up to it.
        let tank = point.junctions.get(&leg.to).copied().unwrap_or(point.ambient);
        let part = build.part(&r.name)?;
        let law = regulator_law(&part.values, point.density).ok()?;
        return Some((leg.from.clone(), law.cracking(tank, r.reference)));
    }
    let target = build.section("control").opt("rail_target")?;
    Some((point.rail.clone()?, target + point.ambient))
}

/// What limits a build at an operating point with a running engine.
///
/// # Errors
/// As [`point`]; an engine at rest has no demand to compare with.
pub fn limits(build: &Build, op: &Operating, accept: &Acceptance) -> Result<Limits> {
    limits_at(build, &point(build, op)?, accept)
}

/// The same for a point that is already solved.
///
/// # Errors
/// As [`limits`].
pub fn limits_at(build: &Build, p: &Point, accept: &Acceptance) -> Result<Limits> {
    let op = &p.operating;
    let asked = p.asked_flow().value;
    let hold = held(p, build);
    let supply = match &hold {
        Some((junction, at)) if asked > 0.0 => capacity(build, op, junction, *at)?,
        _ => f64::NAN,
    };
    let headroom = supply / asked - 1.0;
    let mut checks = Vec::new();
    let mut check = |name, part: &str, found: Amount, limit: Amount, verdict, margin: f64| {
        checks.push(Check { name, part: part.to_owned(), found, limit, verdict, margin });
    };
    let worse = |fail: bool, warn: bool| {
        if fail {
            Verdict::Fail
        } else if warn {
            Verdict::Warn
        } else {
            Verdict::Pass
        }
    };
    let number = |x: f64| Amount::new(x, Dim::Ratio);
    let main_pump = p.pumps.iter().filter(|x| x.on).max_by(|a, b| a.running.rise.total_cmp(&b.running.rise));
    if headroom.is_finite() {
        check(
            "supply headroom",
            main_pump.map_or("pump", |x| &x.name),
            number(headroom),
            number(accept.headroom),
            worse(headroom < 0.0, headroom < accept.headroom),
            headroom,
        );
    }
    for i in &p.injectors {
        if p.demand.is_some() {
            // Flow left: the open time at the limit over the open time now.
            let at_limit = (accept.duty * i.cycle - i.dead_time).max(0.0);
            let left = at_limit / i.open_time.max(1e-9) - 1.0;
            check(
                "injector duty",
                &i.name,
                number(i.duty),
                number(accept.duty),
                worse(i.duty > accept.duty, i.duty > accept.duty_design),
                left,
            );
        }
    }
    if let Some(b) = p.belief.filter(|b| b.difference.is_finite()) {
        let found = p.difference().value;
        let least = b.difference * (1.0 - accept.difference);
        check(
            "differential pressure",
            p.rail.as_deref().unwrap_or("rail"),
            Amount::new(found, Dim::Pressure),
            Amount::new(least, Dim::Pressure),
            worse(found < least, false),
            found / least - 1.0,
        );
    }
    if let (Some(l), Some(d)) = (p.lambda(), p.demand) {
        let most = d.lambda * (1.0 + accept.lambda);
        check("lambda", "engine", number(l), number(most), worse(l > most, false), most / l - 1.0);
        if let Some(w) = p.worst_lambda() {
            let most = d.lambda * (1.0 + accept.worst_cylinder);
            check(
                "worst cylinder",
                "injectors",
                number(w),
                number(most),
                worse(w > most, false),
                most / w - 1.0,
            );
        }
    }
    for x in p.pumps.iter().filter(|x| x.on) {
        let needed = accept.inlet_margin.max(x.required_margin);
        check(
            "inlet margin",
            &x.name,
            Amount::new(x.inlet_margin, Dim::Pressure),
            Amount::new(needed, Dim::Pressure),
            worse(x.inlet_margin < needed, x.inlet_margin < 2.0 * needed),
            x.inlet_margin / needed - 1.0,
        );
        let drop = x.feed_drop + x.return_drop;
        check(
            "wiring drop",
            &x.name,
            Amount::new(drop, Dim::Voltage),
            Amount::new(accept.wiring_drop, Dim::Voltage),
            worse(false, drop > accept.wiring_drop),
            accept.wiring_drop / drop.max(1e-9) - 1.0,
        );
        let most = accept.fuse * x.fuse;
        check(
            "fuse load",
            &x.name,
            Amount::new(x.running.current, Dim::Current),
            Amount::new(most, Dim::Current),
            worse(x.running.current > most, false),
            most / x.running.current - 1.0,
        );
    }
    checks.sort_by(|a, b| b.verdict.cmp(&a.verdict).then(a.margin.total_cmp(&b.margin)));

    let costs = match &hold {
        Some((junction, at)) if supply.is_finite() => costs(build, op, junction, *at, supply)?,
        _ => Vec::new(),
    };
    let (part, sentence) = verdict(p, &checks, &costs, asked, supply, headroom);
    Ok(Limits {
        accepted: *accept,
        checks,
        capacity: supply,
        asked,
        headroom,
        held: hold.map_or(f64::NAN, |(_, at)| at - p.ambient),
        costs,
        part,
        sentence,
    })
}

/// A kind of part, what is done to it in thought, and the values that do it.
type Mended = (&'static str, &'static str, &'static [(&'static str, f64)]);

/// What the supply gains when one part after the other is made perfect in thought.
fn costs(build: &Build, op: &Operating, junction: &str, at: f64, now: f64) -> Result<Vec<Cost>> {
    let mut out = Vec::new();
    let mut circuit_parts: Vec<(String, &'static str)> = Vec::new();
    let circuit = Circuit::of(build, op)?;
    for leg in &circuit.legs {
        let supplies =
            !leg.elements.iter().any(|e| matches!(e, Element::Regulator(_) | Element::Injectors(_)));
        if supplies {
            for name in &leg.parts {
                circuit_parts.push((name.clone(), build.part(name).map_or("", |p| p.kind)));
            }
        }
    }
    let mended: &[Mended] = &[
        ("strainer", "strainer clean and free", &[("dirt", 0.0), ("blocked", 0.0), ("loss", 0.0)]),
        ("filter", "filter without loss", &[("dirt", 0.0), ("loss", 0.0)]),
        ("line", "line without loss", &[("length", 0.0), ("fittings", 0.0)]),
        ("check valve", "check valve without loss", &[("cracking", 0.0), ("bore", 0.05)]),
        ("orifice", "orifice wide open", &[("bore", 0.05)]),
        ("pump", "pump as new", &[("wear", 0.0)]),
        (
            "pump",
            "full supply voltage at the pump",
            &[("feed_length", 0.0), ("return_length", 0.0), ("feed_contacts", 0.0), ("return_contacts", 0.0)],
        ),
    ];
    for (name, kind) in circuit_parts {
        for (k, change, values) in mended {
            if *k != kind {
                continue;
            }
            let mut better = build.clone();
            for (key, value) in *values {
                better.set_si(&format!("{name}.{key}"), *value)?;
            }
            let gain = capacity(&better, op, junction, at)? - now;
            if gain > 1e-10 {
                let part =
                    if change.contains("voltage") { format!("wiring of {name}") } else { name.clone() };
                out.push(Cost { part, change, gain });
            }
        }
    }
    out.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    Ok(out)
}

fn verdict(
    p: &Point,
    checks: &[Check],
    costs: &[Cost],
    asked: f64,
    supply: f64,
    headroom: f64,
) -> (String, String) {
    let flow = |q: f64| Amount::new(q, Dim::VolumeRate).to_string();
    if headroom < 0.0 {
        let missing = asked - supply;
        // A part is to blame when mending it alone is enough; else the pump is too small for the task.
        if let Some(c) = costs.iter().find(|c| c.gain >= missing) {
            return (
                c.part.clone(),
                format!(
                    "supply short by {}: {} costs {}, and mending it alone is enough ({})",
                    flow(missing),
                    c.part,
                    flow(c.gain),
                    c.change
                ),
            );
        }
        let pump = checks
            .iter()
            .find(|c| c.name == "supply headroom")
            .map_or_else(|| "pump".to_owned(), |c| c.part.clone());
        let all: f64 = costs.iter().map(|c| c.gain).sum();
        let why = match costs.first() {
            Some(c) => format!(
                "no single part mends it (the costliest in flow: {} at {}, all together {})",
                c.part,
                flow(c.gain),
                flow(all)
            ),
            None => "nothing else in the supply costs flow".to_owned(),
        };
        return (
            pump.clone(),
            format!(
                "supply short by {}: {pump} brings {} at this pressure and voltage, {} is asked; {why}",
                flow(missing),
                flow(supply),
                flow(asked)
            ),
        );
    }
    let flows = |c: &&Check| matches!(c.name, "supply headroom" | "injector duty");
    if let Some(c) = checks.iter().find(|c| c.verdict == Verdict::Fail) {
        return (
            c.part.clone(),
            format!("{} of {} is {}, the limit is {}", c.name, c.part, c.found, c.limit),
        );
    }
    match checks.iter().filter(flows).min_by(|a, b| a.margin.total_cmp(&b.margin)) {
        Some(c) => (
            c.part.clone(),
            if c.margin < 2.0 {
                format!("{} first ({}): {:.0} % more fuel is left", runs_out(c), c.name, 100.0 * c.margin)
            } else {
                format!("{} first ({}), at {:.0} times this fuel", runs_out(c), c.name, 1.0 + c.margin)
            },
        ),
        None => (
            "none".to_owned(),
            if p.demand.is_none() {
                "the engine is at rest".to_owned()
            } else {
                "nothing that limits flow is known".to_owned()
            },
        ),
    }
}

/// "main pump runs out", "injectors run out": a set of injectors may be many, a pump is one whatever its name ends in.
fn runs_out(c: &Check) -> String {
    let many = c.name == "injector duty" && c.part.ends_with('s');
    format!("{} {} out", c.part, if many { "run" } else { "runs" })
}

/// What is left in other words: by how much speed, boost or base could rise before the supply is short.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reserve {
    /// Speed on the full-load pull at which the supply first runs short, rad/s; not-a-number when it never does.
    pub short_above: f64,
    /// Boost at which the supply runs short at this speed, Pa gauge; not-a-number when it does not within 3 bar.
    pub boost: f64,
    /// Rise of the pressure at which the supply runs short, Pa; below zero: what is missing.
    pub pressure: f64,
}

/// Headroom of the supply alone, cheap enough to search with.
///
/// # Errors
/// As [`point`].
pub fn headroom(build: &Build, op: &Operating) -> Result<f64> {
    let p = point(build, op)?;
    match held(&p, build) {
        Some((junction, at)) => Ok(capacity(build, op, &junction, at)? / p.asked_flow().value - 1.0),
        None => Ok(f64::NAN),
    }
}

/// Searches the reserves of a build at an operating point.
///
/// # Errors
/// As [`point`].
pub fn reserve(build: &Build, op: &Operating) -> Result<Reserve> {
    let p = point(build, op)?;
    let mut out = Reserve { short_above: f64::NAN, boost: f64::NAN, pressure: f64::NAN };
    if let Some((junction, at)) = held(&p, build) {
        let asked = p.asked_flow().value;
        let left = |extra: f64| capacity(build, op, &junction, at + extra).map(|q| q - asked);
        out.pressure = crossing(-3e5, 6e5, 36, left)?.unwrap_or(f64::NAN);
    }
    let mut boosted = |b: f64| headroom(build, &Operating { boost: b, ..*op });
    let now = op.boost.max(0.0);
    out.boost = crossing(0.0, (now + 1.5e5).min(3e5), 12, &mut boosted)?.unwrap_or(f64::NAN);
    if let Some(rows) = build.section("engine").rows("boost_rows") {
        let (low, high) =
            (rows.data[0][0], rows.data[rows.data.len() - 1][0].min(build.section("engine").si("rev_limit")));
        let along = |w: f64| {
            let boost = rows.interpolate(w, "boost")?;
            headroom(build, &Operating { speed: w, boost, ..*op })
        };
        out.short_above = crossing(low, high, 24, along)?.unwrap_or(f64::NAN);
    }
    Ok(out)
}

/// First fall of `f` through zero on a grid, refined by bisection; `None` when it stays above zero.
/// When it starts below zero the start is returned.
fn crossing(low: f64, high: f64, steps: usize, mut f: impl FnMut(f64) -> Result<f64>) -> Result<Option<f64>> {
    let mut a = low;
    if f(a)? <= 0.0 {
        return Ok(Some(a));
    }
    for i in 1..=steps {
        let b = low + (high - low) * i as f64 / steps as f64;
        if f(b)? <= 0.0 {
            let (mut l, mut h) = (a, b);
            for _ in 0..40 {
                let m = 0.5 * (l + h);
                if f(m)? > 0.0 { l = m } else { h = m }
            }
            return Ok(Some(0.5 * (l + h)));
        }
        a = b;
    }
    Ok(None)
}
