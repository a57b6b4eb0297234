//! An operating point on one page: what a person reads, and what a program reads.

use super::Table;
use crate::part::regulator::Mode;
use crate::quantity::{Amount, Dim, STANDARD_ATMOSPHERE};
use crate::steady::{Limits, Point, Reserve, Verdict};
use serde_json::{Value, json};

fn amount(si: f64, dim: Dim) -> Amount {
    Amount::new(si, dim)
}

/// The word for a verdict; it does not rely on colour.
#[must_use]
pub fn verdict_word(v: Verdict) -> &'static str {
    match v {
        Verdict::Pass => "pass",
        Verdict::Warn => "WARN",
        Verdict::Fail => "FAIL",
    }
}

/// How much is left, in words.
#[must_use]
pub fn margin_words(margin: f64) -> String {
    if !margin.is_finite() {
        "–".to_owned()
    } else if margin >= 1.0 {
        format!("{:+.0} %", 100.0 * margin)
    } else {
        format!("{:+.1} %", 100.0 * margin).replace('-', "−")
    }
}

/// The readings of an operating point.
#[must_use]
pub fn readings(p: &Point) -> Table {
    let mut t = Table::new(
        format!(
            "{}: {} at manifold {}",
            p.build,
            amount(p.operating.speed().value, Dim::AngularVelocity),
            amount(p.operating.boost().pascals(), Dim::Pressure).gauge()
        ),
        &["", "value", "in other units"],
    );
    let mut put = |name: &str, a: Amount, other: &str| {
        let echo = if other.is_empty() {
            String::new()
        } else {
            a.in_unit(other).map_or_else(String::new, |o| o.to_string())
        };
        t.rows.push(vec![name.to_owned(), a.to_string(), echo]);
    };
    if let Some(d) = p.demand {
        put("air", amount(d.air, Dim::MassRate), "kg/h");
        put("charge temperature", amount(d.charge_temperature, Dim::Temperature), "degF");
        put("fuel the engine asks for", amount(d.fuel_volume, Dim::VolumeRate), "L/min");
        put("fuel the injectors pass", amount(p.engine_flow().value, Dim::VolumeRate), "L/min");
    }
    put("rail pressure", amount(p.rail_pressure().pascals(), Dim::Pressure).gauge(), "psi");
    put("manifold pressure", amount(p.manifold, Dim::Pressure).absolute(), "psi");
    put("differential pressure", amount(p.difference().value, Dim::Pressure), "psi");
    if let (Some(l), Some(d)) = (p.lambda(), p.demand) {
        put("lambda", amount(l, Dim::Ratio), "");
        put("target lambda", amount(d.lambda, Dim::Ratio), "");
        put("pulse width", amount(p.pulse_width().value, Dim::Time), "");
        t.rows.push(vec!["duty cycle".to_owned(), format!("{:.1} %", 100.0 * p.duty().value), String::new()]);
    }
    for x in &p.pumps {
        let mut pump = |name: &str, a: Amount, other: &str| {
            let echo = if other.is_empty() {
                String::new()
            } else {
                a.in_unit(other).map_or_else(String::new, |o| o.to_string())
            };
            t.rows.push(vec![format!("{} {name}", x.name), a.to_string(), echo]);
        };
        if !x.on {
            t.rows.push(vec![x.name.clone(), "off".to_owned(), String::new()]);
            continue;
        }
        pump("flow", amount(x.flow, Dim::VolumeRate), "L/min");
        pump("pressure rise", amount(x.running.rise, Dim::Pressure), "psi");
        pump("voltage", amount(x.running.volts, Dim::Voltage), "");
        pump("lost in its wiring", amount(x.feed_drop + x.return_drop, Dim::Voltage), "");
        pump("current", amount(x.running.current, Dim::Current), "");
        pump("inlet above vapour pressure", amount(x.inlet_margin, Dim::Pressure), "psi");
    }
    for r in &p.regulators {
        let word = match r.mode {
            Mode::Closed => "shut: no longer in control",
            Mode::Control => "in control",
            Mode::FullLift => "against its stop (overrun)",
            Mode::HeldOpen => "held open: it cannot close",
        };
        t.rows.push(vec![r.name.clone(), word.to_owned(), String::new()]);
        let a = amount(r.flow, Dim::VolumeRate);
        t.rows.push(vec![
            format!("{} by-pass", r.name),
            a.to_string(),
            a.in_unit("L/min").map_or_else(String::new, |o| o.to_string()),
        ]);
    }
    for leg in &p.legs {
        for part in &leg.parts {
            let other = p.pumps.iter().any(|x| x.name == part.name)
                || p.regulators.iter().any(|x| x.name == part.name)
                || p.injectors.iter().any(|x| x.name == part.name);
            if !other {
                // A shut leg carries a flow that only keeps the equations regular: its loss is none.
                let a = amount(if part.drop.abs() < 0.5 { 0.0 } else { part.drop }, Dim::Pressure);
                let show = |u: &str| a.in_unit(u).map_or_else(String::new, |o| format!("{o:.3}"));
                t.rows.push(vec![format!("lost in {}", part.name), show("kPa"), show("psi")]);
            }
        }
    }
    for x in p.pumps.iter().filter(|x| x.on && !x.covered_by_rating) {
        t.notes.push(format!("{}: {} at {} lies outside its rating rows; the family's slope carries it there (flow +- {} standard).", x.name, amount(x.running.rise, Dim::Pressure), amount(x.running.volts, Dim::Voltage), amount(x.flow_uncertainty, Dim::VolumeRate)));
    }
    for i in p.injectors.iter().filter(|i| !i.inside_table) {
        t.notes.push(format!("{}: outside the dead-time table; the value at its edge was used.", i.name));
    }
    if (p.ambient - STANDARD_ATMOSPHERE).abs() > 5e3 {
        t.notes.push(format!(
            "Gauge readings are above an ambient of {}.",
            amount(p.ambient, Dim::Pressure).absolute()
        ));
    }
    t
}

/// The sentence with a capital.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The checks of an operating point, what limits it, and what each part costs.
#[must_use]
pub fn checks(l: &Limits) -> Table {
    let mut t = Table::new("What limits it", &["check", "part", "found", "limit", "left", "verdict"]);
    for c in &l.checks {
        let headroom = c.name == "supply headroom";
        let share = headroom || c.name == "injector duty";
        let show = |a: Amount| {
            if share { format!("{:.1} %", 100.0 * a.si).replace('-', "−") } else { a.to_string() }
        };
        t.row([
            c.name.to_owned(),
            if headroom { "the whole supply".to_owned() } else { c.part.clone() },
            show(c.found),
            show(c.limit),
            // A headroom is a share already: what is left to its limit are points.
            if headroom {
                format!("{:+.1} points", 100.0 * (c.found.si - c.limit.si)).replace('-', "−")
            } else {
                margin_words(c.margin)
            },
            verdict_word(c.verdict).to_owned(),
        ]);
    }
    t.note(match l.sentence.strip_prefix(l.part.as_str()) {
        Some(rest) => format!("Limiting part: {}, which{rest}.", l.part),
        None => format!("Limiting part: {}. {}.", l.part, capital(&l.sentence)),
    });
    if l.headroom.is_finite() {
        t.note(format!(
            "Supply headroom {} ({} available at {}, {} asked).",
            margin_words(l.headroom),
            amount(l.capacity, Dim::VolumeRate).echo(),
            amount(l.held, Dim::Pressure).gauge().echo(),
            amount(l.asked, Dim::VolumeRate).echo()
        ));
    }
    if !l.costs.is_empty() {
        let costs: Vec<String> = l
            .costs
            .iter()
            .map(|c| format!("{} {} ({})", c.part, amount(c.gain, Dim::VolumeRate), c.change))
            .collect();
        t.note(format!("What each part costs the supply: {}.", costs.join("; ")));
    }
    let percent = |x: f64| (1e5 * x).round() / 1e3;
    t.note(format!(
        "Limits are common practice, no source. WARN: past what is comfortable, not past what parts can do. \
         Injectors are designed for {} % duty and limited at {} %; what is left of them is counted in open time: the \
         dead time comes off first.",
        percent(l.accepted.duty_design),
        percent(l.accepted.duty)
    ));
    t
}

/// The reserves in a sentence.
#[must_use]
pub fn reserve_words(r: &Reserve) -> String {
    let mut out = Vec::new();
    out.push(if r.short_above.is_finite() {
        format!(
            "On the full-load pull the supply runs short from {} on",
            amount(r.short_above, Dim::AngularVelocity)
        )
    } else {
        "On the full-load pull the supply is never short".to_owned()
    });
    if r.boost.is_finite() {
        out.push(format!(
            "at this speed it is short above {} of boost",
            amount(r.boost, Dim::Pressure).gauge().echo()
        ));
    } else {
        out.push("at this speed no boost up to 3 bar makes it short".to_owned());
    }
    if r.pressure.is_finite() {
        let a = amount(r.pressure.abs(), Dim::Pressure).echo();
        out.push(if r.pressure >= 0.0 {
            format!("the rail could be held {a} higher")
        } else {
            format!("it could feed the engine only at a rail {a} lower")
        });
    }
    format!("{}.", out.join("; "))
}

/// Cautions that belong beside readings taken on a running engine.
pub const PULL_CAUTION: &str = "Caution: lean in boost destroys engines in seconds. Agree abort limits and keep engine protection on before the first pull; a model's output is not a safety approval.";

/// An operating point for a program: SI values with named units.
#[must_use]
pub fn json(p: &Point, l: Option<&Limits>, r: Option<&Reserve>) -> Value {
    let value = |a: &Amount| {
        let unit = crate::quantity::unit::UNITS.iter().find(|u| u.dim == a.dim).map_or("", |u| u.symbol);
        let mut v = json!({ "value": finite(a.si), "unit": unit });
        match a.flavour {
            crate::quantity::Flavour::Gauge => v["kind"] = "gauge".into(),
            crate::quantity::Flavour::Absolute => v["kind"] = "absolute".into(),
            crate::quantity::Flavour::Plain => {}
        }
        v
    };
    let values: serde_json::Map<String, Value> =
        p.channels().iter().map(|(k, a)| (k.clone(), value(a))).collect();
    let mut out = json!({
        "format": "railrise point 1",
        "version": env!("CARGO_PKG_VERSION"),
        "build": p.build,
        "input_digest": p.input,
        "values": values,
        "regulators": p.regulators.iter().map(|r| json!({ "part": r.name, "mode": r.mode })).collect::<Vec<_>>(),
        "junctions": p.junctions.iter().map(|(n, v)| (n.clone(), json!({ "value": v, "unit": "Pa", "kind": "absolute" }))).collect::<serde_json::Map<_, _>>(),
        "legs": p.legs.iter().map(|leg| json!({ "leg": leg.name, "flow": { "value": leg.flow, "unit": "m³/s" }, "parts": leg.parts.iter().map(|x| json!({ "part": x.name, "inlet": { "value": x.inlet, "unit": "Pa", "kind": "absolute" }, "drop": { "value": x.drop, "unit": "Pa" } })).collect::<Vec<_>>() })).collect::<Vec<_>>(),
    });
    if let Some(l) = l {
        out["limits"] = json!({
            "limiting_part": l.part,
            "sentence": l.sentence,
            "supply_headroom": { "value": finite(l.headroom), "unit": "1" },
            "supply_capacity": { "value": finite(l.capacity), "unit": "m³/s" },
            "asked": { "value": finite(l.asked), "unit": "m³/s" },
            "checks": l.checks.iter().map(|c| json!({ "check": c.name, "part": c.part, "found": value(&c.found), "limit": value(&c.limit), "margin": finite(c.margin), "verdict": c.verdict })).collect::<Vec<_>>(),
            "costs": l.costs.iter().map(|c| json!({ "part": c.part, "change": c.change, "gain": { "value": c.gain, "unit": "m³/s" } })).collect::<Vec<_>>(),
        });
    }
    if let Some(r) = r {
        out["reserve"] = json!({
            "short_above": { "value": finite(r.short_above), "unit": "rad/s" },
            "boost": { "value": finite(r.boost), "unit": "Pa", "kind": "gauge" },
            "pressure": { "value": finite(r.pressure), "unit": "Pa" },
        });
    }
    out
}

/// JSON has no not-a-number: what is not known is null.
fn finite(x: f64) -> Value {
    if x.is_finite() { x.into() } else { Value::Null }
}
