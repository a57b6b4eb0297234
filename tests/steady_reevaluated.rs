//! A point's printed numbers put into every part's law again, written out here: each must hold by itself.
//!
//! Formulas: Darcy-Weisbach with Churchill's friction factor (Chem. Eng. 84 no. 24 (1977) 91), Darcy-Forchheimer,
//! Bernoulli's orifice, a direct-current motor's loop, the poppet's balance of forces.

use super::circuit_laws::{BUILDS, any_build, any_point, solved};
use proptest::prelude::*;
use railrise::build::{Build, Wire, injector_law, regulator_law};
use railrise::error::Kind;
use railrise::part::injector::open_time;
use railrise::part::pump::Curve;
use railrise::part::regulator::Mode;
use railrise::quantity::*;
use railrise::spec::Values;
use railrise::steady::{Operating, PartState, Point, PumpState, RegulatorState, point, point_within};
use std::f64::consts::PI;

/// What a pressure may be off, Pa, beside what a flow of 1e-13 m³/s (the solver's last step) makes of it.
const PASCAL: f64 = 0.5;
const FLOW: f64 = 1e-13;
/// Below this a valve is shut, m³/s: what 40 bar drive through its 1e16 Pa·s/m³.
const SHUT: f64 = 4e-10;
/// Differences below which orifices are rounded off, Pa.
const ROUND: f64 = 0.1;

pub fn round_area(d: f64) -> f64 {
    PI * d * d / 4.0
}

/// Churchill, all regimes.
fn friction(re: f64, rough: f64) -> f64 {
    let a = (2.457 * (1.0 / ((7.0 / re).powf(0.9) + 0.27 * rough)).ln()).powi(16);
    let b = (37_530.0 / re).powi(16);
    8.0 * ((8.0 / re).powi(12) + (a + b).powf(-1.5)).powf(1.0 / 12.0)
}

pub fn line(v: &Values, q: f64, p: &Point) -> f64 {
    let (bore, rho) = (v.si("bore"), p.density);
    let u = q / round_area(bore);
    let re = rho * u.abs() * bore / p.viscosity;
    let lost = if re > 0.0 { friction(re, v.si("roughness") / bore) * v.si("length") / bore } else { 0.0 };
    (lost + v.si("fittings")) * rho * u * u.abs() / 2.0 + rho * 9.806_65 * v.si("rise")
}

pub fn filter(v: &Values, q: f64, p: &Point) -> f64 {
    // The loss is stated with petrol-like fuel of 0.55 mPa·s and 740 kg/m³.
    let (loss, at, share) = (v.si("loss"), v.si("at_flow"), v.si("turbulent_part"));
    let open = 1.0 - v.opt("blocked").unwrap_or(0.0);
    let x = q / at;
    let laminar = (1.0 - share) * x * p.viscosity / 0.55e-3 * (1.0 + v.si("dirt")) / open;
    let turbulent = share * x * x.abs() * p.density / 740.0 / (open * open);
    loss * (laminar + turbulent) - p.density * 9.806_65 * v.opt("head").unwrap_or(0.0)
}

pub fn orifice(cd_a: f64, q: f64, rho: f64) -> f64 {
    0.5 * rho * (q / cd_a) * (q / cd_a).abs()
}

pub fn area(v: &Values) -> f64 {
    v.si("cd") * round_area(v.si("bore"))
}

/// Whether an orifice's drop is that of its flow; below a few times the round-off the law is another.
fn orifice_holds(drop: f64, cd_a: f64, q: f64, rho: f64) -> bool {
    let dp = orifice(cd_a, q, rho);
    let spread = 2.0 * dp.abs() * FLOW / q.abs().max(FLOW);
    // q = k dp/(dp² + s²)^¼: (1 + (s/dp)²)^½ more than the bare law.
    let rounded = if dp == 0.0 { 0.0 } else { ROUND * ROUND / (2.0 * dp.abs()) };
    (drop - dp).abs() <= PASCAL + spread + rounded.min(2.0 * ROUND) + 1e-9 * dp.abs()
}

fn pump(b: &Build, x: &PumpState, part: &PartState, p: &Point) -> Result<(), String> {
    let v = &b.part(&x.name).unwrap().values;
    let law = b.pump(&x.name).unwrap();
    let r = &x.running;
    if !x.on {
        return ensure(x.flow.abs() < 1e-9, || "a resting pump holds".into());
    }
    if x.flow <= 0.0 || r.speed * law.motor_constant < 0.06 {
        return Ok(()); // stalled: what stands behind it must hold, and is looked at there
    }
    let close = |what: &str, a: f64, b: f64, by: f64| {
        ensure((a - b).abs() <= by, || format!("{what}: {a:e} against {b:e}"))
    };
    let wire = Wire::from_values(v).unwrap().total();
    let emf = law.motor_constant * r.speed;
    let supply = r.volts + r.current * wire;
    if v.word("speed_control") == "rail" {
        ensure(supply <= p.supply + 1e-9, || "the control gives more than there is".into())?;
    } else {
        close("supply", supply, p.supply, 1e-9)?;
    }
    close("loop", r.volts - r.current * law.armature, emf, 1e-9)?;
    close("relief", r.relieved, (r.rise - law.relief).max(0.0) / law.relief_slope, 1e-13)?;
    close("rise", -part.drop, r.rise, 1e-6)?;
    close("margin", part.inlet - p.vapour_pressure, x.inlet_margin, 1e-6)?;
    let need = v.si("required_margin");
    let filled = if need > 0.0 { (x.inlet_margin / need).clamp(0.05, 1.0) } else { 1.0 };
    close("derating", filled, r.derating, 1e-12)?;
    let element = x.flow / filled + r.relieved;
    match law.curve {
        Curve::Displacement { g, k, c } => {
            let slip = k * law.rated_viscosity / p.viscosity + law.wear_slip;
            close("flow", element, g * emf - slip * r.rise, 1e-12 + 1e-9 * element)?;
            close("current", r.current, law.idle_current + c * r.rise, 1e-9)
        }
        Curve::Regenerative { a, b, t, u } => {
            let a = a * (1.0 - law.wear_head);
            close("head", r.rise, (a * emf - b * element) * emf, 1e-3 + 1e-9 * r.rise.abs())?;
            close("current", r.current, law.idle_current + (t * emf - u * element) * emf, 1e-9)
        }
    }
}

fn regulator(b: &Build, r: &RegulatorState, p: &Point) -> Result<(), String> {
    let v = &b.part(&r.name).unwrap().values;
    let law = regulator_law(v, p.density).unwrap();
    let seat = round_area(v.si("seat"));
    let opening = (PI * v.si("seat") * r.lift).min(seat);
    let dp = r.fuel - r.back;
    // The fuel on the ring outside the seat, the return on the seat, the reference on all, the spring, the flow.
    let force = r.fuel * (law.area - seat) + r.back * seat
        - r.reference * law.area
        - law.preload
        - law.rate * r.lift
        - law.flow_force * opening * dp;
    let pascal = law.area - seat; // what one pascal is worth, N
    let said = || format!("{r:?}: {force:e} N is {:e} Pa", force / pascal);
    ensure((0.0..=law.max_lift).contains(&r.lift), said)?;
    match r.mode {
        Mode::Closed => {
            ensure(r.flow < SHUT && r.lift == 0.0, said)?;
            // Shut: it does not open, or fuel and return stand together.
            return ensure(force <= 2.0 * pascal || dp <= 2.0, said);
        }
        Mode::Control => ensure(force.abs() <= 2.0 * pascal + 1e-9 * law.preload.abs(), said)?,
        Mode::FullLift => {
            ensure(r.lift == law.max_lift && force >= -2.0 * pascal, said)?;
        }
        Mode::HeldOpen => ensure(r.lift == law.min_lift.min(law.max_lift) && force <= 2.0 * pascal, said)?,
    }
    let passed = v.si("cd") * opening * (2.0 * dp.max(0.0) / p.density).sqrt();
    let by_pressure = passed * PASCAL / (2.0 * dp.max(PASCAL));
    let rounded = if r.mode == Mode::HeldOpen { passed * (ROUND / dp.max(1e-9)).powi(2) } else { 0.0 };
    ensure((passed - r.flow).abs() <= by_pressure + rounded + FLOW + 1e-9 * r.flow || r.flow < SHUT, || {
        format!("{r:?} passes {passed:e}")
    })
}

/// What a set passes at a difference, with the pulse that its control asks for.
pub fn injected(b: &Build, name: &str, p: &Point, difference: f64) -> (f64, f64) {
    let x = p.injectors.iter().find(|x| x.name == name).unwrap();
    let v = &b.part(name).unwrap().values;
    let law = injector_law(v).unwrap();
    let wide = v.si("static_flow") * v.si("flow_factor");
    let sign = difference.signum();
    // (1 + (s/dp)²)^-¼ below the bare law.
    let rounded = (1.0 + (ROUND / difference).powi(2)).powf(-0.25);
    let ratio =
        (difference.abs() / v.si("difference") * v.si("test_density") / p.density).sqrt() * sign * rounded;
    let leak = v.si("static_leak") * (difference.abs() / v.si("difference")).sqrt() * sign * rounded;
    let (Some(_), Some(belief)) = (p.demand, p.belief) else { return (x.pulse, leak) };
    let dead = law.dead_time.at_edge(p.supply, difference).0;
    let pulse = if belief.pulse.is_nan() {
        let dp = difference.max(1.0) / belief.reference_difference;
        let believed = belief.static_flow * (dp * v.si("test_density") * belief.density).sqrt();
        belief.mass / believed + dead + b.si("control.dead_time_error").unwrap()
    } else {
        belief.pulse
    };
    // What is printed as belief is the first set's; another set is asked its own share.
    let pulse = if name == p.injectors[0].name { pulse.min(x.cycle) } else { x.pulse };
    (pulse, leak + x.count * wide * ratio * open_time(pulse, dead, v.si("short_pulse"), x.cycle) / x.cycle)
}

fn injectors(b: &Build, name: &str, p: &Point) -> Result<(), String> {
    let x = p.injectors.iter().find(|x| x.name == name).unwrap();
    let (pulse, flow) = injected(b, name, p, x.difference);
    ensure((pulse - x.pulse).abs() < 1e-9, || format!("{name}: pulse {pulse} {}", x.pulse))?;
    ensure((flow - x.flow).abs() <= 1e-12 + 1e-6 * flow.abs(), || {
        format!("{name}: {flow:e} against {:e} at {:e} Pa", x.flow, x.difference)
    })
}

fn ensure(holds: bool, what: impl FnOnce() -> String) -> Result<(), String> {
    if holds { Ok(()) } else { Err(what()) }
}

fn part(b: &Build, q: f64, s: &PartState, p: &Point) -> Result<(), String> {
    let Some(part) = b.part(&s.name) else {
        // The hole in a torn diaphragm.
        let regulator = s.name.strip_suffix(" diaphragm").ok_or_else(|| format!("what is {}?", s.name))?;
        let hole = b.si(&format!("{regulator}.rupture")).unwrap();
        let holds = orifice_holds(s.drop, 0.61 * round_area(hole), q, p.density);
        return ensure(holds, || format!("{}: {} Pa at {q:e}", s.name, s.drop));
    };
    let v = &part.values;
    let said = |law: f64| format!("{}: {} Pa at {q:e} m3/s, its law says {law}", s.name, s.drop);
    let equal = |law: f64| ensure((s.drop - law).abs() <= PASCAL + 1e-9 * law.abs(), || said(law));
    match part.kind {
        "line" => equal(line(v, q, p)),
        "filter" | "strainer" => equal(filter(v, q, p)),
        "orifice" => {
            ensure(orifice_holds(s.drop, area(v), q, p.density), || said(orifice(area(v), q, p.density)))
        }
        "check valve" => {
            let (cracking, leak) = (v.si("cracking"), v.si("leak"));
            if q > SHUT {
                ensure(orifice_holds(s.drop - cracking, area(v), q, p.density), || said(cracking))
            } else if leak < 1e16 && q < -SHUT {
                equal(cracking + leak * q)
            } else {
                ensure(q > -1e-9 && s.drop <= cracking + 50.0, || said(cracking))
            }
        }
        "relief valve" => {
            let opens = v.si("opens_at");
            if q > SHUT {
                equal(opens + v.si("slope") * q)
            } else {
                ensure(q > -1e-9 && s.drop <= opens + 1.0 + v.si("slope") * q.max(0.0), || said(opens))
            }
        }
        "pump" => pump(b, p.pumps.iter().find(|x| x.name == s.name).unwrap(), s, p)
            .map_err(|e| format!("{}: {e}", s.name)),
        "regulator" => regulator(b, p.regulators.iter().find(|x| x.name == s.name).unwrap(), p),
        "injectors" => injectors(b, &s.name, p),
        other => Err(format!("nothing is written down for {other}")),
    }
}

/// Every law of a point, from its printed state alone.
pub fn holds(b: &Build, p: &Point) -> Result<usize, String> {
    let mut laws = 0;
    for (junction, pressure) in &p.junctions {
        let of = |v: &Values| p.ambient + v.si("vent_pressure");
        let given = match (junction.as_str(), b.part(junction)) {
            (_, Some(part)) if ["tank", "surge pot"].contains(&part.kind) => Some(of(&part.values)),
            ("tank" | "air", None) => Some(p.ambient),
            ("manifold", None) => Some(p.manifold),
            _ => None,
        };
        let into: f64 = p.legs.iter().filter(|l| l.to == *junction).map(|l| l.flow).sum();
        let out: f64 = p.legs.iter().filter(|l| l.from == *junction).map(|l| l.flow).sum();
        match given {
            Some(x) => ensure((x - pressure).abs() < 1e-9, || format!("{junction}: {pressure} for {x}"))?,
            None => {
                ensure((into - out).abs() < 1e-10, || format!("{junction} is left with {:e}", into - out))?
            }
        }
        laws += 1;
    }
    for leg in &p.legs {
        let (from, to) = (p.junctions[&leg.from], p.junctions[&leg.to]);
        // A valve that holds takes whatever difference there is; a regulator that is shut takes just that.
        let regulated = |s: &PartState| b.part(&s.name).is_some_and(|x| x.kind == "regulator");
        let slack = leg.flow.abs() < SHUT && !leg.parts.iter().any(regulated);
        let mut at = from;
        for s in &leg.parts {
            ensure((s.inlet - at).abs() < 1.0 || slack, || {
                format!("{}: {} starts at {at}", s.name, s.inlet)
            })?;
            at = s.inlet - s.drop;
            part(b, leg.flow, s, p).map_err(|e| format!("{e}\nleg {leg:?} from {from} to {to}"))?;
            laws += 1;
        }
        ensure((at - to).abs() < 1.0 || slack, || format!("{}: ends at {at} for {to}", leg.name))?;
    }
    Ok(laws)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_law_holds_at_any_point_of_any_circuit((b, said) in any_build(), op in any_point()) {
        let Some(p) = solved(&b, &op) else { return Ok(()) };
        if let Err(e) = holds(&b, &p) {
            prop_assert!(false, "{said}\n{op:?}\n{e}");
        }
    }
}

#[test]
fn every_law_holds_along_the_pull_of_every_build() {
    let (mut points, mut laws) = (0, 0);
    for b in BUILDS.iter() {
        for op in (0..12)
            .map(|i| {
                let w = rpm(1200.0 + f64::from(i) * 525.0);
                Operating::at(w, pa(b.full_load_boost(w.value).unwrap()))
            })
            .chain([Operating::engine_off(), Operating::at(rpm(900.0), bar(-0.65))])
        {
            let p = point(b, &op).unwrap();
            laws += holds(b, &p).unwrap_or_else(|e| panic!("{}, {op:?}: {e}", b.name()));
            points += 1;
        }
    }
    println!("{points} points of {} builds, {laws} laws and balances", BUILDS.len());
}

#[test]
fn a_point_that_was_tampered_with_does_not_hold() {
    let b = &BUILDS[0];
    let op = Operating::at(rpm(5000.0), bar(0.6));
    let good = point(b, &op).unwrap();
    assert!(holds(b, &good).is_ok());
    for i in 0..good.legs.len() {
        let mut p = good.clone();
        p.legs[i].flow *= 1.001;
        assert!(holds(b, &p).is_err(), "{}", p.legs[i].name);
    }
    let mut p = good.clone();
    p.regulators[0].lift *= 1.001;
    assert!(holds(b, &p).is_err());
    let mut p = good;
    p.pumps[0].running.current *= 1.001;
    assert!(holds(b, &p).is_err());
}

/// An unsolved point is an error that says where it stood, never a number, whatever the budget of steps falls short of:
/// the first way, the slow way, a pump's control.
#[test]
fn a_point_that_is_not_found_names_leg_parts_residual_and_last_values() {
    let (mut slow, mut legs, mut junctions) = (0, 0, 0);
    // A starved pump under a control that measures the difference needs the slow way.
    let mut harsh = BUILDS[0].with("control.compensation", "rail sensor").unwrap();
    harsh.set_si("strainer.blocked", 0.9).unwrap();
    harsh.set_si("strainer.dirt", 20.0).unwrap();
    let at = |n: f64, boost: f64| Operating::at(rpm(n), bar(boost));
    let mut asked: Vec<_> = BUILDS.iter().map(|b| (b, at(6000.0, 0.7))).collect();
    asked.push((&harsh, at(4500.0, -0.5)));
    for (b, op) in asked {
        let p = point(b, &op).unwrap();
        let enough = p.effort.steps + p.effort.fallback;
        slow += usize::from(p.effort.fallback > 0);
        for steps in (0..enough).step_by(1 + enough / 40) {
            let e = point_within(b, &op, steps).map(drop).unwrap_err();
            assert!(e.kind() == Kind::Solve);
            let e = e.to_string();
            let leg = b
                .legs()
                .iter()
                .find(|l| e.contains(&format!("the leg \"{}\" ({})", l.name, l.parts.join(", "))));
            assert!(leg.is_some(), "{e}");
            let number = |unit: &str| -> f64 {
                let before = e.split(&format!(" {unit}")).next().unwrap();
                before.rsplit(' ').next().unwrap().parse().unwrap_or_else(|_| panic!("{unit} in {e}"))
            };
            assert!(number("steps") as usize == steps, "{e}");
            assert!(number("L/h").is_finite(), "{e}");
            // What it names is past what a solution may be left with: 1e-4 Pa, 1e-13 m³/s.
            if e.contains("the junction \"") {
                let (named, most) = (e.split('"').nth(1).unwrap(), 1e-13 * 3.6e6);
                assert!(p.junctions.contains_key(named) && number("bar is").is_finite(), "{e}");
                assert!(number("L/h").abs() > most, "{e}");
                assert!(e.contains("check the sizes of these legs' parts"), "{e}");
                junctions += 1;
            } else {
                // What is left is that of the state after so many steps: Newton may be near after two.
                assert!(number("Pa at") > if steps <= 1 { 1.0 } else { 1e-4 }, "{e}");
                assert!(number("bar after").is_finite(), "{e}");
                assert!(e.contains("check the sizes of this leg's parts"), "{e}");
                legs += 1;
            }
        }
        // With steps enough it is the same point.
        let again = point_within(b, &op, enough).unwrap();
        assert!(again.junctions == p.junctions && again.legs == p.legs);
    }
    println!("{legs} unsolved points name a leg, {junctions} a junction");
    assert!(slow > 0 && legs > 0 && junctions > 0);
}
