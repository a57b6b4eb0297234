//! The change that each fault makes.

use super::Fault;
use crate::build::{Build, Leg, Wire, regulator_law};
use crate::error::{Error, Kind, Result};
use crate::part::regulator::opening_area;
use std::f64::consts::{PI, TAU};

pub(super) fn apply(fault: Fault, build: &Build, s: f64) -> Result<Build> {
    let mut b = build.clone();
    match fault {
        Fault::OverrunSeat => {
            let key = format!("{}.max_lift", first(build, "regulator")?);
            let lift = b.si(&key)?;
            b.set_si(&key, (lift * (1.0 - 0.8 * s)).max(1e-5))?;
        }
        Fault::RestrictedReturn => return restricted_return(build, s),
        Fault::BaseSetDuringOverrun => base_set_during_overrun(&mut b, s)?,
        Fault::RegulatorStuckShut => {
            raise(&mut b, &format!("{}.seized", first(build, "regulator")?), 10e5 * s)?;
        }
        Fault::RegulatorStuckOpen => {
            let name = first(build, "regulator")?;
            let travel = b.si(&format!("{name}.max_lift"))?;
            raise(&mut b, &format!("{name}.held_open"), 0.5 * s * travel)?;
        }
        Fault::RupturedDiaphragm => {
            raise(&mut b, &format!("{}.rupture", first(build, "regulator")?), 0.4e-3 * s)?;
        }
        Fault::ReferenceOff => b.set(&format!("{}.reference", first(build, "regulator")?), "air")?,
        Fault::ReferenceSplit => {
            raise(&mut b, &format!("{}.reference_leak", first(build, "regulator")?), 0.8 * s)?;
        }
        Fault::ReferenceOnWrongPort => {
            b.set(&format!("{}.reference", first(build, "regulator")?), "intake")?;
        }
        Fault::SlowReference => {
            let key = format!("{}.reference_lag", first(build, "regulator")?);
            let lag = b.si(&key)?;
            b.set_si(&key, lag + 0.5 * s)?;
        }
        Fault::WornPump => {
            let key = format!("{}.wear", main_pump(build)?.0);
            let wear = b.si(&key)?;
            b.set_si(&key, wear + s * (0.45 - wear).max(0.0))?;
        }
        Fault::WiringDrop => {
            let key = format!("{}.feed_contacts", main_pump(build)?.0);
            let now = b.si(&key)?;
            b.set_si(&key, now + 0.3 * s)?;
        }
        Fault::StrainerBlocked => {
            let name = strainer(&mut b)?;
            let key = format!("{name}.blocked");
            let open = 1.0 - b.si(&key)?;
            b.set_si(&key, 1.0 - open * 0.04_f64.powf(s))?;
        }
        Fault::HotFuelVapour => {
            let t = b.si("fuel.temperature")?;
            b.set_si("fuel.temperature", (t + 27.0 * s).min(343.0))?;
        }
        Fault::BlockedTankVent => {
            if b.part("tank").is_none() {
                b = b.with_junction("tank", "tank", &[])?;
            }
            let p = b.si("tank.vent_pressure")?;
            b.set_si("tank.vent_pressure", p - 30e3 * s)?;
        }
        Fault::PotNotKeptFull => {
            let key = format!("{}.flow_factor", lift_pump(build)?);
            let factor = b.si(&key)?;
            b.set_si(&key, (factor * (1.0 - 0.75 * s)).max(0.2))?;
        }
        Fault::FilterBeforeRegulator => filter_before(&mut b, s)?,
        Fault::FilterAfterRegulator => filter_after(&mut b, s)?,
        Fault::ReliefOpening => {
            let key = format!("{}.relief", main_pump(build)?.0);
            let relief = b.si(&key)?;
            b.set_si(&key, relief - s * (relief - 3.2e5).max(0.0))?;
        }
        Fault::CheckValveDraining => {
            let key = format!("{}.leak", first(build, "check valve")?);
            let tight = b.si(&key)?;
            b.set_si(&key, tight.powf(1.0 - s) * 1e12_f64.min(tight).powf(s))?;
        }
        Fault::LeakingInjector => {
            let key = format!("{}.static_leak", first(build, "injectors")?);
            let leak = b.si(&key)?;
            b.set_si(&key, leak + 20e-6 / 60.0 * s)?;
        }
        Fault::DutyLimit => duty_limit(&mut b, s)?,
        Fault::WeakInjector => weak_injector(&mut b, s)?,
        Fault::WrongDeadTime => {
            let error = b.si("control.dead_time_error")?;
            b.set_si("control.dead_time_error", error + 0.5e-3 * s)?;
        }
        Fault::EthanolInFuel => {
            freeze_belief(&mut b)?;
            let part = b.si("fuel.ethanol")?;
            b.set_si("fuel.ethanol", (part + 0.3 * s).min(1.0))?;
        }
        Fault::LightFuel => {
            freeze_belief(&mut b)?;
            let rho = b.si("fuel.petrol_density")?;
            b.set_si("fuel.petrol_density", (rho - 60.0 * s).max(650.0))?;
        }
        Fault::LambdaSensorAged => offset(&mut b, "reading.lambda_offset", 0.06 * s)?,
        Fault::ExhaustLeak => offset(&mut b, "reading.exhaust_leak", 1.5e-3 * s)?,
        Fault::RailGaugeOff => offset(&mut b, "reading.rail_offset", 0.4e5 * s)?,
        Fault::ManifoldSensorOff => offset(&mut b, "reading.manifold_offset", 0.15e5 * s)?,
    }
    Ok(b)
}

fn offset(b: &mut Build, path: &str, by: f64) -> Result<()> {
    let now = b.si(path)?;
    b.set_si(path, now + by)
}

/// Sets a value unless it is already larger.
fn raise(b: &mut Build, path: &str, to: f64) -> Result<()> {
    let now = b.si(path)?;
    b.set_si(path, now.max(to))
}

fn none(kind: &str) -> Error {
    Error::new(Kind::Unknown, format!("this build has no {kind} that could fail"))
        .next("choose another fault, or a build with that part")
}

fn first(build: &Build, kind: &'static str) -> Result<String> {
    build.parts_of(kind).next().map(|(n, _)| n.to_owned()).ok_or_else(|| none(kind))
}

/// The first pump that does not merely fill a surge pot, and its leg.
fn main_pump(build: &Build) -> Result<(String, Leg)> {
    pumps(build).find(|(_, leg)| !fills_a_pot(build, leg)).ok_or_else(|| none("pump"))
}

fn lift_pump(build: &Build) -> Result<String> {
    pumps(build)
        .find(|(_, leg)| fills_a_pot(build, leg))
        .map(|(n, _)| n)
        .ok_or_else(|| none("surge pot with a lift pump"))
}

fn pumps(build: &Build) -> impl Iterator<Item = (String, Leg)> {
    build.parts_of("pump").filter_map(|(n, _)| Some((n.to_owned(), build.leg_of(n)?.clone())))
}

fn fills_a_pot(build: &Build, leg: &Leg) -> bool {
    build.part(&leg.to).is_some_and(|p| p.kind == "surge pot")
}

fn kind_of<'b>(build: &'b Build, part: &str) -> &'b str {
    build.part(part).map_or("", |p| p.kind)
}

/// An orifice after the regulator: `Δp = rho/2 (Q/(C_d A))²` at 130 L/h, 730 kg/m³.
fn restricted_return(build: &Build, s: f64) -> Result<Build> {
    let regulator = first(build, "regulator")?;
    let leg = build.leg_of(&regulator).ok_or_else(|| none("return"))?;
    let after = leg.parts.iter().position(|p| *p == regulator).map_or(0, |i| i + 1);
    let (q, rho, cd) = (130.0 / 3.6e6, 730.0_f64, 0.62);
    let loss: f64 = 2.5e5 * s;
    let area = q / cd * (rho / (2.0 * loss)).sqrt();
    let bore = (4.0 * area / PI).sqrt().min(0.05);
    build.with_part_in_leg(
        "restriction in the return",
        "orifice",
        &[("bore", &format!("{} m", bore)), ("cd", &cd.to_string())],
        &leg.name,
        after,
    )
}

/// The stop is where the seat just passes the idle flow at base, so that the gauge reads base with a dead
/// screw; then the screw is turned out.
fn base_set_during_overrun(b: &mut Build, s: f64) -> Result<()> {
    let name = first(b, "regulator")?;
    let v = &b.part(&name).expect("just found").values;
    let rho = b.fuel()?.density_at_15().value;
    let regulator = regulator_law(v, rho)?;
    let base = v.si("base");
    let supply = b.section("supply");
    let volts = supply.rows("rows").map_or(supply.si("voltage"), |r| r.data[0][1]);
    let mut idle = 0.0;
    for (pump, leg) in pumps(b) {
        let values = &b.part(&pump).expect("just found").values;
        if !fills_a_pot(b, &leg) && values.opt("on_above_boost").is_none() {
            let p = b.pump(&pump)?;
            // An idling engine takes about a twentieth of a pump's flow.
            idle += 0.95 * p.flow_at(base, volts, Wire::from_values(values)?.total(), p.rated_viscosity);
        }
    }
    let opening = idle / (regulator.cd * (2.0 * base / rho).sqrt());
    if opening < opening_area(regulator.seat, regulator.max_lift) {
        b.set_si(&format!("{name}.max_lift"), (opening / (PI * regulator.seat)).max(1e-5))?;
    }
    // Preload lost per turn over the area that the fuel acts on.
    let v = &b.part(&name).expect("just found").values;
    let per_turn = v.si("screw_pitch") * v.si("spring_rate") / (regulator.area - regulator.seat_area());
    let screw = v.si("screw") - 0.6e5 * s / per_turn * TAU;
    b.set_si(&format!("{name}.screw"), screw)
}

fn strainer(b: &mut Build) -> Result<String> {
    let (pump, leg) = main_pump(b)?;
    if let Some(name) = leg.parts.iter().find(|p| kind_of(b, p) == "strainer") {
        return Ok(name.clone());
    }
    let at = leg.parts.iter().position(|p| *p == pump).unwrap_or(0);
    *b = b.with_part_in_leg("strainer of the pump", "strainer", &[], &leg.name, at)?;
    Ok("strainer of the pump".to_owned())
}

fn load(b: &mut Build, filter: &str, s: f64) -> Result<()> {
    let key = format!("{filter}.dirt");
    let dirt = b.si(&key)?;
    b.set_si(&key, (dirt + 40.0 * s).min(100.0))
}

/// The junction where the regulator senses; without a regulator the one that feeds the injectors.
fn sensed(b: &Build) -> Result<String> {
    match first(b, "regulator").ok().and_then(|r| b.leg_of(&r).map(|l| l.from.clone())) {
        Some(j) => Ok(j),
        None => {
            let set = first(b, "injectors")?;
            b.leg_of(&set).map(|l| l.from.clone()).ok_or_else(|| none("rail"))
        }
    }
}

/// Legs from which fuel reaches a junction, nearest first, not through another that is given.
fn upstream(b: &Build, junction: &str) -> Vec<Leg> {
    let mut found: Vec<Leg> = Vec::new();
    let mut at = vec![junction.to_owned()];
    while let Some(j) = at.pop() {
        for leg in b.legs().iter().filter(|l| l.to == j) {
            if !found.contains(leg) && !leg.parts.iter().any(|p| kind_of(b, p) == "regulator") {
                found.push(leg.clone());
                at.push(leg.from.clone());
            }
        }
    }
    found
}

fn filter_before(b: &mut Build, s: f64) -> Result<()> {
    let before = upstream(b, &sensed(b)?);
    let mut filters = before.iter().flat_map(|l| l.parts.iter()).filter(|p| kind_of(b, p) == "filter");
    if let Some(filter) = filters.next().cloned() {
        return load(b, &filter, s);
    }
    // A build that names none still has one: a clean filter of the usual loss, then loaded.
    let leg = before.first().ok_or_else(|| none("feed"))?;
    *b = b.with_part_in_leg(
        "filter before the regulator",
        "filter",
        &[("loss", "8 kPa")],
        &leg.name,
        usize::MAX,
    )?;
    load(b, "filter before the regulator", s)
}

fn filter_after(b: &mut Build, s: f64) -> Result<()> {
    let sensed = sensed(b)?;
    let sets: Vec<String> = b.parts_of("injectors").map(|(n, _)| n.to_owned()).collect();
    let before: Vec<String> = upstream(b, &sensed).into_iter().map(|l| l.name).collect();
    let mut after = sets
        .iter()
        .filter_map(|set| b.leg_of(set))
        .flat_map(|l| upstream(b, &l.from))
        .filter(|l| !before.contains(&l.name))
        .flat_map(|l| l.parts);
    if let Some(filter) = after.find(|p| kind_of(b, p) == "filter") {
        return load(b, &filter, s);
    }
    // Nothing but the injectors lies after the regulator: their own inlet screens.
    for set in &sets {
        let Some(leg) = b.leg_of(set).map(|l| l.name.clone()) else { continue };
        let settings: &[(&str, &str)] = &[
            ("loss", &format!("{} Pa", 0.6e5 * s)),
            ("at_flow", &format!("{} L/h", 130.0 / sets.len() as f64)),
        ];
        *b = b.with_part_in_leg(&format!("inlet screens of {set}"), "filter", settings, &leg, 0)?;
    }
    if sets.is_empty() { Err(none("set of injectors")) } else { Ok(()) }
}

fn duty_limit(b: &mut Build, s: f64) -> Result<()> {
    let smaller = 1.0 - 0.4 * s;
    let sets: Vec<String> = b.parts_of("injectors").map(|(n, _)| n.to_owned()).collect();
    for set in &sets {
        let key = format!("{set}.static_flow");
        let flow = b.si(&key)?;
        b.set_si(&key, flow * smaller)?;
    }
    if let Some(flow) = b.section("control").opt("injector_flow") {
        b.set_si("control.injector_flow", flow * smaller)?;
    }
    if sets.is_empty() { Err(none("set of injectors")) } else { Ok(()) }
}

/// One of n passes `1 - w`: the mean falls by w/n, and the weakest lies `1 - (1-w)/(1-w/n)` below it.
fn weak_injector(b: &mut Build, s: f64) -> Result<()> {
    let set = first(b, "injectors")?;
    let cylinders = b.si("engine.cylinders")?;
    let n = b.part(&set).and_then(|p| p.values.opt("count")).unwrap_or(cylinders);
    let w = 0.25 * s;
    let mean = 1.0 - w / n;
    let (factor, spread) = (b.si(&format!("{set}.flow_factor"))?, b.si(&format!("{set}.cylinder_spread"))?);
    b.set_si(&format!("{set}.flow_factor"), factor * mean)?;
    b.set_si(&format!("{set}.cylinder_spread"), (1.0 - (1.0 - spread) * (1.0 - w) / mean).min(0.5))
}

/// The calibration keeps what it knew of the old fuel.
fn freeze_belief(b: &mut Build) -> Result<()> {
    let fuel = b.fuel()?;
    for (key, old) in
        [("fuel_density", fuel.density_at_15().value), ("stoichiometric_ratio", fuel.stoichiometric_afr())]
    {
        if b.section("control").opt(key).is_none() {
            b.set_si(&format!("control.{key}"), old)?;
        }
    }
    Ok(())
}
