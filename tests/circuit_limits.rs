//! Limits that every build and layout must keep, with pumps of either principle: no demand, no resistance, a huge
//! filter, twins, tables that end, and single figures by hand.

use super::circuit_laws::{BUILDS, named};
use railrise::build::{Build, Wire, regulator_law};
use railrise::part::regulator::{Mode, reference_gain};
use railrise::part::suction::{StrainerState, ambient_at_altitude};
use railrise::quantity::*;
use railrise::steady::*;

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

fn loads() -> [Operating; 4] {
    [(900.0, -0.65), (2500.0, 0.0), (4500.0, 0.6), (6500.0, 0.7)].map(|(n, p)| Operating::at(rpm(n), bar(p)))
}

#[test]
fn without_demand_the_rail_stands_at_the_set_point_or_the_floor() {
    let mut modes = std::collections::BTreeSet::new();
    for b in BUILDS.iter() {
        for lift in [None, Some("0.05 mm")] {
            let mut b = b.clone();
            for (name, _) in BUILDS.iter().find(|x| x.name() == b.name()).unwrap().parts_of("regulator") {
                if let Some(lift) = lift {
                    b.set(&format!("{name}.max_lift"), lift).unwrap();
                }
            }
            let p = point(&b, &Operating::engine_off()).unwrap();
            assert!(p.engine_flow().value < 1e-10, "{}", b.name());
            for r in &p.regulators {
                let law = regulator_law(&b.part(&r.name).unwrap().values, p.density).unwrap();
                let set = law.cracking(r.back, r.reference);
                let floor = law.floor(r.flow, p.density, r.back);
                // In control it stands above cracking by its slope, at the stop on the floor.
                let stands = law.at_flow(r.flow, p.density, r.back, r.reference).fuel;
                near(r.fuel, stands, 1.0);
                assert!(r.fuel >= set.max(floor) - 1.0, "{}", b.name());
                if r.mode == Mode::FullLift {
                    near(r.fuel, floor, 1.0);
                }
                modes.insert(format!("{:?}", r.mode));
            }
            if p.regulators.is_empty() {
                let target = b.section("control").opt("rail_target").unwrap();
                assert!(p.rail_pressure().pascals() <= target + 1.0);
            }
        }
    }
    assert!(modes.contains("Control") && modes.contains("FullLift"), "{modes:?}");
}

/// A seat that stays shut neither takes from the rail nor brings to it: engine off, the rail stands where the pump's
/// own relief lets it (statics: inlet, rise, what opens the check valve).
#[test]
fn behind_a_shut_seat_the_rail_stands_where_the_pump_holds_it() {
    for b in [before(), named("Hill-climb car, boost raised to 1.4 bar").clone()] {
        for (key, x) in
            [("regulator.seized", "10 bar"), ("main pump.relief", "1.5 bar"), ("main pump.relief", "2 bar")]
        {
            let b = b.with(key, x).unwrap();
            let p = point(&b, &Operating::engine_off()).unwrap();
            let (r, x) = (&p.regulators[0], &p.pumps[0]);
            assert!(r.mode == Mode::Closed && r.lift == 0.0 && r.flow == 0.0 && r.fuel < r.cracking, "{r:?}");
            let inlet = x.inlet_margin + p.vapour_pressure;
            let stands = inlet + x.running.rise - b.si("check valve.cracking").unwrap();
            near(p.rail_pressure().pascals() + p.ambient, stands, 100.0);
            near(r.back, p.ambient, 1e-6);
            near(r.fuel, p.rail_pressure().pascals() + p.ambient, 1e-6);
        }
    }
}

/// Clogged to starving and at any speed, whatever the calibration does about the difference.
#[test]
fn a_starved_pump_leaves_a_point_to_be_found_with_every_compensation() {
    let (mut found, mut starved) = (0, 0);
    for car in ["Hill-climb car before, 0.7 bar", "Hill-climb car, boost raised to 1.4 bar"] {
        for compensation in ["none", "base less manifold", "rail sensor"] {
            let b = named(car).with("control.compensation", compensation).unwrap();
            for blocked in [0.0, 0.3, 0.6, 0.8, 0.9, 0.95, 0.98, 0.99] {
                for dirt in [0.0, 20.0] {
                    let mut b = b.clone();
                    b.set_si("strainer.blocked", blocked).unwrap();
                    b.set_si("strainer.dirt", dirt).unwrap();
                    for n in (0..=24).map(|i| 1000.0 + 250.0 * f64::from(i)) {
                        for boost in [-0.5, 0.0, 0.7, 1.4] {
                            let p = point(&b, &Operating::at(rpm(n), bar(boost))).unwrap_or_else(|e| {
                                panic!("{car}, {compensation}, {blocked}, {dirt}, {n}, {boost}: {e}")
                            });
                            let other =
                                point_from(&b, &p.operating, l_per_h(10.0), GaugePressure::from_pascals(6e5))
                                    .unwrap();
                            near(p.pump_flow().value, other.pump_flow().value, 1e-9);
                            found += 1;
                            starved += usize::from(p.pumps[0].running.derating < 1.0);
                        }
                    }
                }
            }
        }
    }
    println!("{found} points, at {starved} of them the pump starves");
    assert!(starved > found / 20);
}

#[test]
fn without_wire_resistance_every_pump_is_on_its_bench_curve() {
    let mut pumps = 0;
    for b in BUILDS.iter() {
        let mut b = b.clone();
        let names: Vec<String> = b.parts_of("pump").map(|(n, _)| n.to_owned()).collect();
        for n in &names {
            for key in ["feed_length", "return_length", "feed_contacts", "return_contacts", "required_margin"]
            {
                b.set_si(&format!("{n}.{key}"), 0.0).unwrap();
            }
        }
        for op in loads() {
            let p = point(&b, &op).unwrap();
            for x in p.pumps.iter().filter(|x| x.on && x.drive_duty == 1.0) {
                assert_eq!(x.running.volts, p.supply);
                assert!(x.feed_drop == 0.0 && x.return_drop == 0.0 && x.contact_heat == 0.0);
                let bench = b.pump(&x.name).unwrap().flow_at(x.running.rise, p.supply, 0.0, p.viscosity);
                near(x.flow, bench, 1e-11);
                pumps += 1;
            }
        }
    }
    assert!(pumps > 60, "{pumps}");
}

#[test]
fn a_huge_filter_is_no_filter() {
    for b in BUILDS.iter() {
        let filters: Vec<String> =
            ["filter", "strainer"].iter().flat_map(|k| b.parts_of(k)).map(|(n, _)| n.to_owned()).collect();
        let (mut huge, mut none) = (b.clone(), b.clone());
        for f in &filters {
            // A thousand times the area: the loss of the same flow falls as the flow through each part of it.
            huge.set_si(&format!("{f}.loss"), b.si(&format!("{f}.loss")).unwrap() / 1e3).unwrap();
            none.set_si(&format!("{f}.loss"), 0.0).unwrap();
        }
        for op in loads() {
            let (x, y) = (point(&huge, &op).unwrap(), point(&none, &op).unwrap());
            for (j, a) in &x.junctions {
                near(*a, y.junctions[j], 100.0);
            }
            near(x.engine_flow().value, y.engine_flow().value, 1e-4 * y.engine_flow().value);
        }
    }
}

#[test]
fn more_demand_never_raises_the_rail_nor_lowers_what_the_pumps_bring() {
    for b in BUILDS.iter() {
        let held = b.parts_of("pump").any(|(_, p)| p.values.word("speed_control") == "rail");
        for (n, boost) in [(3000.0, 0.2), (6500.0, 0.7)] {
            let points: Vec<Point> = (1..=24)
                .map(|i| {
                    let op = Operating::at(rpm(n), bar(boost)).asking_for(0.1 * f64::from(i));
                    point(b, &op).unwrap()
                })
                .collect();
            for w in points.windows(2) {
                let rails = [w[0].rail_pressure().pascals(), w[1].rail_pressure().pascals()];
                assert!(rails[1] <= rails[0] + if held { 0.02 } else { 1e-3 }, "{}: {rails:?}", b.name());
                assert!(w[1].pump_flow().value >= w[0].pump_flow().value - 1e-11, "{}", b.name());
                assert!(w[1].engine_flow().value >= w[0].engine_flow().value - 1e-11, "{}", b.name());
            }
        }
    }
}

#[test]
fn twins_share_alike_and_changing_places_changes_nothing() {
    let mut twins = 0;
    for b in BUILDS.iter() {
        let legs: Vec<_> = b
            .legs()
            .iter()
            .filter(|l| l.parts.iter().any(|p| b.part(p).is_some_and(|x| x.kind == "pump")))
            .collect();
        let [one, two] = legs[..] else { continue };
        if one.from != two.from || one.to != two.to || one.parts.len() != two.parts.len() {
            continue;
        }
        // Twins: every part of the second leg is made as that of the first.
        let mut same = b.clone();
        for (x, y) in one.parts.iter().zip(&two.parts) {
            same = same.with_part(y, b.part(x).unwrap()).unwrap();
        }
        let pump = |leg: &railrise::build::Leg| {
            leg.parts.iter().find(|p| b.part(p).unwrap().kind == "pump").unwrap().clone()
        };
        let (a, c) = (pump(one), pump(two));
        let worn = |x: f64, y: f64| {
            let mut w = same.clone();
            w.set_si(&format!("{a}.wear"), x).unwrap();
            w.set_si(&format!("{c}.wear"), y).unwrap();
            w
        };
        for op in loads() {
            let p = point(&same, &op).unwrap();
            near(p.pumps[0].flow, p.pumps[1].flow, 1e-12);
            near(p.pumps[0].running.current, p.pumps[1].running.current, 1e-7);
            for (x, y) in [(0.0, 0.3), (0.1, 0.8)] {
                let (p, q) = (point(&worn(x, y), &op).unwrap(), point(&worn(y, x), &op).unwrap());
                near(p.pumps[0].flow, q.pumps[1].flow, 1e-12);
                near(p.pumps[1].flow, q.pumps[0].flow, 1e-12);
                near(p.rail_pressure().pascals(), q.rail_pressure().pascals(), 0.01);
                assert!(p.pumps[0].flow > p.pumps[1].flow);
            }
        }
        twins += 1;
    }
    assert!(twins >= 4, "{twins}");
}

#[test]
fn a_speed_outside_a_builds_tables_is_refused() {
    for b in BUILDS.iter() {
        let rows = b.section("engine").rows("ve_rows").unwrap_or_else(|| panic!("{}", b.name()));
        let (first, last) = (rows.data[0][0], rows.data[rows.data.len() - 1][0]);
        assert!(point(b, &Operating::at(rad_per_s(first), bar(0.0))).is_ok());
        assert!(point(b, &Operating::at(rad_per_s(last), bar(0.0))).is_ok());
        for w in [0.99 * first, 1.01 * last] {
            let e = point(b, &Operating::at(rad_per_s(w), bar(0.0))).unwrap_err().to_string();
            assert!(e.contains("volumetric efficiency is known from"), "{}: {e}", b.name());
        }
        for t in [-80.0, 200.0] {
            assert!(point(b, &Operating::at(rad_per_s(first), bar(0.0)).with_fuel_at(degc(t))).is_err());
        }
    }
}

fn before() -> Build {
    BUILDS[0].clone()
}

/// By hand, over a diaphragm of 7 cm²: a seat of 5 mm has 0.1963 cm², 7/(7 - 0.1963) = 1.0289; one of 8 mm has
/// 0.5027 cm², 7/(7 - 0.5027) = 1.0774.
#[test]
fn the_regulators_single_figures_by_hand() {
    near(reference_gain(7e-4, 5e-3), 1.0289, 5e-5);
    near(reference_gain(7e-4, 8e-3), 1.0774, 5e-5);
    let b = before();
    let law = |b: &Build| regulator_law(&b.part("regulator").unwrap().values, 740.0).unwrap();
    let v = &b.part("regulator").unwrap().values;
    let net = std::f64::consts::PI / 4.0 * (v.si("diaphragm").powi(2) - v.si("seat").powi(2));
    // One turn of the screw: pitch times rate over the area that the fuel acts on.
    let turned = b.with("regulator.screw", "1 turn").unwrap();
    let rise = law(&turned).cracking(1e5, 1e5) - law(&b).cracking(1e5, 1e5);
    near(rise, v.si("screw_pitch") * v.si("spring_rate") / net, 1e-6 * rise);
    // Half the band that dry friction can hold the poppet in.
    let p = point(&b, &loads()[0]).unwrap();
    near(p.regulators[0].hysteresis, v.si("friction") / net, 1e-9);
    let rough = b.with("regulator.friction", "1.4 N").unwrap();
    near(point(&rough, &loads()[0]).unwrap().regulators[0].hysteresis, 1.4 / net, 1e-6);
    // The hose to the manifold: a bar of boost raises the rail by the gain; open, by nothing.
    let rail = |b: &Build, boost: f64| {
        point(b, &Operating::engine_off().with_air_on_the_reference(bar(boost)))
            .unwrap()
            .rail_pressure()
            .pascals()
    };
    near(
        (rail(&b, 0.5) - rail(&b, 0.0)) / 0.5e5,
        reference_gain(net + std::f64::consts::PI / 4.0 * v.si("seat").powi(2), v.si("seat")),
        0.02,
    );
}

#[test]
fn the_wires_volts_and_watts_by_hand() {
    for b in BUILDS.iter() {
        let p = point(b, &loads()[3]).unwrap();
        for x in p.pumps.iter().filter(|x| x.on) {
            let v = &b.part(&x.name).unwrap().values;
            let (wire, i) = (Wire::from_values(v).unwrap(), x.running.current);
            // Copper of 1.7241e-8 ohm m at 20 degC, 0.393 %/K (IEC 60028).
            let copper = |length: f64| {
                1.7241e-8 * length / v.si("wire_area") * (1.0 + 0.00393 * (v.si("wire_temperature") - 293.15))
            };
            near(wire.feed, copper(v.si("feed_length")) + v.si("feed_contacts"), 2e-3 * wire.feed);
            near(wire.back, copper(v.si("return_length")) + v.si("return_contacts"), 2e-3 * wire.back);
            near(x.feed_drop, i * wire.feed, 1e-9);
            near(x.return_drop, i * wire.back, 1e-9);
            near(x.contact_heat, i * i * (v.si("feed_contacts") + v.si("return_contacts")), 1e-9);
        }
    }
}

#[test]
fn a_folded_strainer_and_thin_air_take_their_margin() {
    let b = before();
    let op = loads()[3];
    let clean = point(&b, &op).unwrap();
    let loss = |p: &Point| {
        let s = p.legs.iter().flat_map(|l| &l.parts).find(|x| x.name == "strainer").unwrap();
        s.drop + p.density * 9.806_65 * b.part("strainer").unwrap().values.si("head")
    };
    let share = b.part("strainer").unwrap().values.si("turbulent_part");
    for (key, x, state) in [
        ("blocked", 0.5, StrainerState::Folded(0.5)),
        ("blocked", 0.8, StrainerState::Folded(0.8)),
        ("dirt", 4.0, StrainerState::Loaded(4.0)),
    ] {
        let mut bad = b.clone();
        let was = b.si(&format!("strainer.{key}")).unwrap();
        assert_eq!(was, 0.0);
        bad.set_si(&format!("strainer.{key}"), x).unwrap();
        let p = point(&bad, &op).unwrap();
        let (linear, square) = state.factors();
        let q = p.pumps[0].flow / clean.pumps[0].flow;
        // The clean loss split into its laminar and turbulent part at the clean flow.
        let at = b.si("strainer.at_flow").unwrap();
        let laminar = (1.0 - share) * clean.viscosity / 0.55e-3 * clean.pumps[0].flow / at;
        let turbulent = share * clean.density / 740.0 * (clean.pumps[0].flow / at).powi(2);
        let part = laminar / (laminar + turbulent);
        let expected = loss(&clean) * (part * linear * q + (1.0 - part) * square * q * q);
        near(loss(&p), expected, 0.5);
        assert!(p.pumps[0].inlet_margin < clean.pumps[0].inlet_margin);
    }
    // 2000 m up: the air over the fuel is lighter, the fuel boils as before. Its loss of margin is the loss of air.
    let mut high = b.clone();
    high.set_si("ambient.pressure", ambient_at_altitude(m(2000.0)).unwrap().pascals()).unwrap();
    let p = point(&high, &Operating::engine_off()).unwrap();
    let low = point(&b, &Operating::engine_off()).unwrap();
    let lost = low.ambient - p.ambient;
    assert!(lost > 2e4);
    near(low.pumps[0].inlet_margin - p.pumps[0].inlet_margin, lost, 50.0);
}

/// Seven ohms of rotten contacts: the motor stalls, its terminals keep what the armature takes, and the fuel that the manifold
/// draws passes the resting impeller.
#[test]
fn a_pump_that_its_wire_stalls_takes_what_the_loop_lets_through() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/datasets/layouts/speed-controlled-pump.toml");
    let build = railrise::build::Build::read(file).unwrap();
    for control in ["rail", "none"] {
        let b = build.with("main pump.principle", "regenerative").unwrap();
        let b = b.with("main pump.speed_control", control).unwrap();
        let b = b
            .with("main pump.feed_contacts", "5 ohm")
            .and_then(|b| b.with("main pump.return_contacts", "2.2 ohm"))
            .unwrap();
        let p = point(&b, &Operating::at(rpm(900.0), bar(-0.7))).unwrap();
        let r = &p.pumps[0].running;
        let armature = b.pump("main pump").unwrap().armature;
        assert!(r.volts > 0.0 && r.current > 0.0, "{control}: {} V, {} A", r.volts, r.current);
        // It turns no faster than 0.06 V of e.m.f. make it, and what passes is what the engine takes.
        let emf = b.pump("main pump").unwrap().motor_constant * r.speed;
        assert!((0.0..=0.06).contains(&emf), "{control}: {emf} V");
        near(p.pump_flow().value, p.engine_flow().value, 1e-10);
        assert!(p.engine_flow().value > 1e-7);
        // Never more than a locked armature on that loop would draw: Ohm's law.
        let loop_resistance = (p.supply - r.volts) / r.current;
        assert!(
            r.current <= p.supply / (loop_resistance.min(7.2) + armature) + 1e-6,
            "{control}: {} A",
            r.current
        );
    }
}
