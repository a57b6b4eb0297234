//! The circuit of a build, drawn from its legs, with what flows and presses at each part.

use super::{Reading, stop};
use crate::build::Part;
use crate::chart::{Component, Schematic, Symbol, Vessel};
use crate::quantity::{Amount, Dim, Shown, m3_per_s, round_to_digits};
use crate::steady::{LegState, PartState, Point};

/// The circuit as it is joined, with the pressures, flows and volts of a reading.
///
/// Tank and pots stand left, the rail right; what the injectors take is written at the rail.
#[must_use]
pub fn schematic(reading: &Reading) -> Schematic {
    let p = reading.point();
    let Some(rail) = p.rail.as_deref() else {
        stop("this build has no rail, so there is no circuit to draw")
    };
    let mut chart = Schematic::new("The circuit, with what this reading says")
        .subtitle(&format!("{}; pressures above ambient", p.build));
    let mut places: Vec<&str> = p.junctions.keys().map(String::as_str).collect();
    places.retain(|n| *n != rail && p.legs.iter().any(|l| &l.from == n || &l.to == n) && *n != "manifold");
    places.sort_by_key(|n| match kind_of(reading, n) {
        Vessel::Tank => 0,
        Vessel::Pot => 1,
        _ => 2,
    });
    places.push(rail);
    for name in places {
        let values = at_place(p, name, name == rail);
        chart = chart.place(name, kind_of(reading, name), values.iter().map(String::as_str));
    }
    for leg in p.legs.iter().filter(|l| l.to != "manifold") {
        let parts = leg.parts.iter().filter_map(|x| component(reading, leg, x));
        chart = chart.leg(&leg.from, &leg.to, parts);
    }
    chart
}

fn kind_of(reading: &Reading, name: &str) -> Vessel {
    let p = reading.point();
    match reading.build().part(name).map(|x| x.kind) {
        Some("surge pot") => Vessel::Pot,
        Some("tank") => Vessel::Tank,
        _ if name == "tank" || name == "air" => Vessel::Tank,
        _ if p.rail.as_deref() == Some(name) => {
            Vessel::Rail(p.injectors.iter().map(|i| i.count).sum::<f64>().round() as usize)
        }
        _ => Vessel::Junction,
    }
}

fn at_place(p: &Point, name: &str, rail: bool) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(pressure) = p.junctions.get(name)
        && (*pressure - p.ambient).abs() > 50.0
    {
        out.push(format!("{} bar", round_to_digits((pressure - p.ambient) / 1e5, 3)));
    }
    if rail && let Some(i) = p.injectors.first() {
        out.push(format!("{} taken", flow(p.injected / p.density)));
        out.push(format!("duty {:.0} %", 100.0 * i.duty));
    }
    out
}

/// A millilitre in an hour, m³/s.
const SEEPS: f64 = 1e-6 / 3600.0;

fn flow(q: f64) -> String {
    // What seeps through a shut seat is no flow that a reader looks for.
    let q = if q.abs() < SEEPS { 0.0 } else { q };
    m3_per_s(q).amount().to_string()
}

fn component(reading: &Reading, leg: &LegState, x: &PartState) -> Option<Component> {
    let part = reading.build().part(&x.name)?;
    let made = Component::new(symbol(&x.name, part)?, &x.name);
    let p = reading.point();
    Some(if let Some(pump) = p.pumps.iter().find(|y| y.name == x.name) {
        if pump.on {
            let volts = Amount::new(pump.running.volts, Dim::Voltage);
            let amps = Amount::new(pump.running.current, Dim::Current);
            made.value(&flow(pump.flow)).value(&format!("{volts}, {amps}"))
        } else {
            made.value("at rest")
        }
    } else if p.regulators.iter().any(|r| r.name == x.name) {
        made.value(&format!("{} back", flow(leg.flow))).reference(part.values.word("reference"))
    } else {
        // Losses run from pascals to bars: kPa keeps them short.
        let kpa = |pa: f64| format!("{} kPa", round_to_digits(pa.abs() / 1e3, 3));
        let way = |pa: f64| if pa < 0.0 { "gives" } else { "takes" };
        // A strainer gives nothing: what is gained is the fuel standing above it.
        let level = if part.kind == "strainer" {
            p.density * crate::quantity::STANDARD_GRAVITY * part.values.si("head")
        } else {
            0.0
        };
        let made = if level.abs() > 1.0 {
            made.value(&format!("fuel level {}{}", if level < 0.0 { '−' } else { '+' }, kpa(level)))
        } else {
            made
        };
        let own = x.drop + level;
        made.value(&format!("{} {}", way(own), kpa(own)))
    })
}

fn symbol(name: &str, part: &Part) -> Option<Symbol> {
    Some(match part.kind {
        "strainer" => Symbol::Strainer,
        "pump" => Symbol::Pump,
        "check valve" => Symbol::CheckValve,
        "line" if name.contains("hose") => Symbol::Hose,
        "line" => Symbol::Line,
        "filter" => Symbol::Filter,
        "orifice" => Symbol::Restriction,
        "regulator" => Symbol::Regulator,
        "relief valve" => Symbol::Relief,
        _ => return None,
    })
}
