//! Parts that no build of the datasets has: a relief valve on the rail, an orifice, a tank of its own, wires by gauge
//! and class; a pump whose control is just able to hold its target.

use super::circuit_laws::{BUILDS, named};
use super::steady_reevaluated::holds;
use railrise::build::Build;
use railrise::part::regulator::Mode;
use railrise::quantity::*;
use railrise::steady::*;

fn text() -> String {
    let file = format!("{}/datasets/hill-climb-car/before-0.7-bar.toml", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(file).unwrap()
}

fn car() -> &'static Build {
    named("Hill-climb car before, 0.7 bar")
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

fn solved(b: &Build, op: &Operating) -> Point {
    let p = point(b, op).unwrap_or_else(|e| panic!("{op:?}: {e}"));
    holds(b, &p).unwrap_or_else(|e| panic!("{op:?}: {e}"));
    p
}

fn ops() -> [Operating; 3] {
    [Operating::engine_off(), Operating::at(rpm(900.0), bar(-0.65)), Operating::at(rpm(4500.0), bar(0.6))]
}

/// The valve's own law by hand: what it opens at, and its slope times what it passes.
#[test]
fn a_relief_valve_on_the_rail_holds_it_where_the_regulator_would_not() {
    let with = |opens_at: &str| {
        Build::from_toml(&format!(
            "{}\n[part.safety]\nkind = \"relief valve\"\nopens_at = \"{opens_at}\"\nslope = \"36 kPa per 100 L/h\"\n\n[[leg]]\nname = \"safety\"\nfrom = \"rail\"\nto = \"tank\"\nparts = [\"safety\"]\n",
            text()
        ))
        .unwrap()
    };
    let (early, late) = (with("2 bar"), with("6 bar"));
    let passed = |p: &Point| p.legs.iter().find(|l| l.name == "safety").unwrap().flow;
    for op in ops() {
        let plain = solved(car(), &op);
        let p = solved(&late, &op);
        near(p.rail_pressure().pascals(), plain.rail_pressure().pascals(), 1.0);
        assert!(passed(&p).abs() < 1e-10);
        let p = solved(&early, &op);
        let q = passed(&p);
        near(p.rail_pressure().pascals(), 2e5 + 36e3 * q * 3.6e6 / 100.0, 1.0);
        assert!(q > 1e-6);
        if op.boost().pascals() >= 0.0 {
            assert!(p.regulators[0].mode == Mode::Closed && p.return_flow().value == 0.0);
        }
        near(p.pump_flow().value, q + p.engine_flow().value + p.return_flow().value, 1e-10);
    }
}

/// Bernoulli: `Δp = ρ/2 (Q/(C_d A))²`, and what stands behind the regulator moves its opening by the seat's share.
#[test]
fn an_orifice_in_the_return_backs_the_regulator_up() {
    let settings = [("bore", "3 mm"), ("cd", "0.7")];
    let b = car().with_part_in_leg("restrictor", "orifice", &settings, "return", 1).unwrap();
    for op in ops() {
        let (plain, p) = (solved(car(), &op), solved(&b, &op));
        let (q, area) = (p.return_flow().value, 0.7 * std::f64::consts::PI / 4.0 * 9e-6);
        let s = p.legs.iter().flat_map(|l| &l.parts).find(|x| x.name == "restrictor").unwrap();
        near(s.drop, 0.5 * p.density * (q / area).powi(2), 0.3);
        assert!(s.drop > 500.0 && p.regulators[0].back > plain.regulators[0].back + 0.9 * s.drop);
        // Fuel acts on diaphragm less seat, return on the seat: cracking falls by seat/(diaphragm - seat) of its rise.
        let (now, was) = (&p.regulators[0], &plain.regulators[0]);
        let share = was.reference_gain - 1.0;
        near(now.cracking - was.cracking, -share * (now.back - was.back), 1.0);
    }
}

/// A stub up to the regulator, higher at its end, and a return that falls: behind a shut seat nothing flows, so statics
/// alone say what stands where, and the seat takes the rest. In control the stub takes what its law says.
#[test]
fn a_stub_before_a_shut_regulator_takes_its_height_only() {
    let stub = [("length", "300 mm"), ("bore", "4 mm"), ("fittings", "3"), ("rise", "200 mm")];
    let stubbed = car().with_part_in_leg("stub", "line", &stub, "return", 0).unwrap();
    let stubbed = stubbed.with("return hose.rise", "-300 mm").unwrap();
    let strained = [("loss", "10 kPa"), ("at_flow", "100 L/h")];
    let both = stubbed.with_part_in_leg("screen", "filter", &strained, "return", 1).unwrap();
    let mut shut = 0;
    for (b, parts) in [(stubbed, 3), (both, 4)] {
        for (relief, op) in ["1.5 bar", "2 bar", "8 bar"].iter().flat_map(|r| ops().map(|op| (r, op))) {
            let p = solved(&b.with("main pump.relief", relief).unwrap(), &op);
            let leg = p.legs.iter().find(|l| l.name == "return").unwrap();
            assert!(leg.parts.len() == parts);
            let (stub, r, rail) = (&leg.parts[0], &p.regulators[0], p.junctions["rail"]);
            near(stub.inlet, rail, 0.0);
            let weight = p.density * 9.806_65;
            if r.mode == Mode::Closed {
                near(stub.drop, 0.2 * weight, 1e-6);
                near(r.fuel, rail - 0.2 * weight, 1e-6);
                near(r.back, p.ambient - 0.3 * weight, 1e-6);
                let seat = leg.parts.iter().find(|x| x.name == "regulator").unwrap();
                near(seat.drop, r.fuel - r.back, 1e-9);
                assert!(r.flow == 0.0 && *relief != "8 bar");
                shut += 1;
            } else {
                assert!(stub.drop > 0.2 * weight + 100.0 && r.flow > 1e-6);
            }
        }
    }
    assert!((4..18).contains(&shut), "{shut}");
}

/// Two valves shut in series: each holds, and neither takes more than there is.
#[test]
fn a_relief_valve_beside_a_shut_regulator_takes_what_there_is_at_most() {
    for (opens_at, takes) in [("0.5 bar", Some(0.5e5)), ("6 bar", None)] {
        for at in [0, 1] {
            let valve = [("opens_at", opens_at), ("slope", "36 kPa per 100 L/h")];
            let b = car().with_part_in_leg("valve", "relief valve", &valve, "return", at).unwrap();
            let p = solved(&b.with("main pump.relief", "2 bar").unwrap(), &Operating::engine_off());
            let (r, rail) = (&p.regulators[0], p.junctions["rail"]);
            assert!(r.mode == Mode::Closed && r.flow == 0.0 && rail > p.ambient + 1.5e5);
            let takes = takes.unwrap_or(rail - p.ambient);
            let (before, behind) = if at == 0 { (takes, 0.0) } else { (0.0, takes) };
            near(rail - r.fuel, before, 1e-6);
            near(r.back - p.ambient, behind, 1e-6);
        }
    }
}

/// A vent that holds 20 kPa below the ambient takes just that from the pump's inlet, beside what less flow gives back.
#[test]
fn a_tank_of_its_own_takes_its_vents_pressure_from_the_inlet() {
    for op in ops() {
        let margin = |kpa: &str| {
            let b = car().with_junction("tank", "tank", &[("vent_pressure", kpa)]).unwrap();
            let p = solved(&b, &op);
            let strainer = p.legs.iter().flat_map(|l| &l.parts).find(|x| x.name == "strainer").unwrap();
            (p.pumps[0].inlet_margin + strainer.drop, p)
        };
        let (open, p) = margin("0 kPa");
        let plain = solved(car(), &op);
        near(p.pumps[0].inlet_margin, plain.pumps[0].inlet_margin, 1e-6);
        near(p.rail_pressure().pascals(), plain.rail_pressure().pascals(), 1e-6);
        let (shut, bad) = margin("-20 kPa");
        near(open - shut, 20e3, 1e-3);
        assert!(bad.pump_flow().value < p.pump_flow().value);
    }
}

/// A target just below what the pump reaches flat out is held, one just above is not, and nothing jumps between.
#[test]
fn a_speed_controlled_pump_goes_over_into_flat_out_without_a_step() {
    let b = named("Layout: speed-controlled pump");
    for (n, boost) in [(900.0, -0.65), (3000.0, 0.4), (6500.0, 1.4)] {
        let op = Operating::at(rpm(n), bar(boost));
        let flat_out = point(&b.with("control.rail_target", "15 bar").unwrap(), &op).unwrap();
        let most = flat_out.rail_pressure().pascals();
        assert!(most > 4.6e5 && flat_out.pumps[0].drive_duty == 1.0);
        let mut last = 0.0;
        for below in [1e5, 1e4, 1e3, 100.0, 10.0, 1.0, -1.0, -10.0, -1e3] {
            let mut held = b.clone();
            held.set_si("control.rail_target", most - below).unwrap();
            let p = point(&held, &op).unwrap();
            near(p.rail_pressure().pascals(), most - below.max(0.0), 0.05);
            let volts = p.pump_voltage().value;
            assert!(volts >= last - 1e-9, "{below}: {volts} after {last}");
            if below > 0.0 {
                assert!(p.pumps[0].drive_duty < 1.0);
                // A pascal less is a pascal's worth of volts less.
                assert!(flat_out.pump_voltage().value - volts < 5e-4 * below + 1e-9, "{below}: {volts}");
            } else {
                near(volts, flat_out.pump_voltage().value, 1e-12);
            }
            last = volts;
        }
    }
}

/// 12 AWG is 2.053 mm in diameter and 3.31 mm² (ASTM B258, table 1, from memory); class 5 of 2.5 mm² resists at most
/// 7.98 mΩ/m, class 2 7.41 (IEC 60228:2004, tables 2 and 3); 0.393 %/K (IEC 60028).
#[test]
fn a_wire_is_given_by_area_gauge_or_class() {
    let without = text().replace("wire_area = \"2.5 mm²\"\n", "");
    assert!(without.len() < text().len());
    let with = |line: &str| Build::from_toml(&without.replace("fuse = ", &format!("{line}\nfuse = ")));
    let op = Operating::at(rpm(4500.0), bar(0.6));
    // 5.7 m of wire, 42 mΩ of contacts, copper at 50 °C.
    let warm = 1.0 + 0.00393 * 30.0;
    for (line, per_metre) in [
        ("wire_gauge = \"12 AWG\"", 1e3 / 58.0 / 3.3088),
        ("wire_gauge = \"18 AWG\"", 1e3 / 58.0 / 0.8230),
        ("wire_area = \"2.5 mm²\"", 1e3 / 58.0 / 2.5),
        ("", 1e3 / 58.0 / 2.5),
        ("wire_area = \"2.5 mm²\"\nwire_class = \"flexible\"", 7.98),
        ("wire_area = \"2.5 mm²\"\nwire_class = \"solid or stranded\"", 7.41),
        ("wire_class = \"flexible\"", 7.98),
    ] {
        let b = with(line).unwrap();
        let p = point(&b, &op).unwrap();
        let x = &p.pumps[0];
        let ohms = (x.feed_drop + x.return_drop) / x.running.current;
        near(ohms, 5.7e-3 * per_metre * warm + 42e-3, 2e-4 * ohms);
    }
    for (line, says, next) in [
        (
            "wire_area = \"4 mm²\"\nwire_gauge = \"12 AWG\"",
            "a wire of 12 AWG and an area of 4.000 mm² are both given",
            "take out wire_area or wire_gauge",
        ),
        (
            "wire_gauge = \"12 AWG\"\nwire_class = \"flexible\"",
            "there is no class for 12 AWG",
            "give wire_area",
        ),
        (
            "wire_area = \"3 mm²\"\nwire_class = \"flexible\"",
            "no conductor of 3 mm² in IEC 60228",
            "take one of 0.5",
        ),
        ("wire_gauge = \"13 AWG\"", "13 AWG", "12 AWG"),
    ] {
        let e = with(line).unwrap_err().to_string();
        assert!(e.contains(says) && e.contains(next) && e.contains("main pump.wire_"), "{e}");
    }
    // Set by hand: the area that stands in the file must go first; a default gives way, and comes back.
    assert!(car().with("main pump.wire_gauge", "12 AWG").is_err());
    let gauge = with("wire_gauge = \"12 AWG\"").unwrap();
    assert!(gauge.parameters().all(|(path, _)| path != "main pump.wire_area"));
    assert!(gauge.with("main pump.wire_area", "4 mm²").is_err());
    let back = gauge.with("main pump.wire_gauge", "none").unwrap();
    near(back.si("main pump.wire_area").unwrap(), 2.5e-6, 1e-15);
    // A class that the default has gives way with it, or stays.
    let classed = with("wire_class = \"flexible\"").unwrap();
    assert!(classed.with("main pump.wire_gauge", "12 AWG").is_err());
    near(
        classed.with("main pump.wire_area", "4 mm²").unwrap().si("main pump.wire_area").unwrap(),
        4e-6,
        1e-15,
    );
}

/// Whatever is refused, by text or by number, leaves the build as it was: every value, law, slip and the digest.
#[test]
fn a_change_that_is_refused_leaves_the_build_as_it_was() {
    let without = text().replace("wire_area = \"2.5 mm²\"\n", "");
    let with =
        |line: &str| Build::from_toml(&without.replace("fuse = ", &format!("{line}\nfuse = "))).unwrap();
    let gauge = with("wire_gauge = \"12 AWG\"");
    let class = with("wire_area = \"2.5 mm²\"\nwire_class = \"flexible\"");
    let mut refused = 0;
    for (b, path, text, si) in [
        (car(), "main pump.wire_gauge", "12 AWG", None),
        (car(), "main pump.wire_gauge", "13 AWG", None),
        (car(), "main pump.rows", "[{ pressure = \"3 bar\", voltage = \"13.5 V\", flow = \"0 L/h\" }]", None),
        (car(), "regulator.base", "3 L/h", Some(-1e9)),
        (&gauge, "main pump.wire_area", "4 mm²", Some(4e-6)),
        (&gauge, "main pump.wire_class", "flexible", None),
        (&class, "main pump.wire_area", "3 mm²", Some(3e-6)),
        (&class, "main pump.wire_gauge", "12 AWG", None),
    ] {
        let mut after = b.clone();
        let e = after.set(path, text).map_err(|e| e.to_string());
        assert!(
            e.as_ref().is_err_and(|e| e.contains(path.split('.').next().unwrap())),
            "{path} = {text}: {e:?}"
        );
        assert!(after == *b, "{path} = {text}");
        if let Some(si) = si {
            assert!(after.set_si(path, si).is_err(), "{path} = {si}");
            assert!(after == *b, "{path} = {si}");
        }
        refused += 1;
    }
    assert!(refused == 8);
    let op = Operating::at(rpm(4500.0), bar(0.6));
    assert!(point(&gauge, &op).unwrap() == point(&with("wire_gauge = \"12 AWG\""), &op).unwrap());
}

#[test]
fn the_datasets_lack_these_parts() {
    let kinds: Vec<_> = ["relief valve", "orifice", "tank"].into();
    for b in BUILDS.iter() {
        for k in &kinds {
            assert!(b.parts_of(k).next().is_none(), "{} has a {k}: use it above", b.name());
        }
    }
}

/// A sound regulator that is named first does not hide the one whose pressure falls with its flow: with it open in a few
/// cases and shut in others, two starts give one answer, and it is the one with the two named the other way round.
#[test]
fn the_order_in_which_regulators_are_named_changes_nothing() {
    let sound = "[part.\"a sound one\"]\nkind = \"regulator\"\nbase = \"3.6 bar\"\nreference = \"manifold\"\n\n\
                 [[leg]]\nname = \"short return\"\nfrom = \"rail\"\nto = \"tank\"\nparts = [\"a sound one\"]\n\n";
    let first = Build::from_toml(&text().replacen("[[leg]]", &format!("{sound}[[leg]]"), 1)).unwrap();
    let last = Build::from_toml(&format!("{}\n{sound}", text())).unwrap();
    let mut shut = 0;
    for i in 0..200 {
        let at =
            |k: u32, low: f64, high: f64| low + (high - low) * (f64::from(i) * f64::from(k).sqrt()).fract();
        let points = [&first, &last].map(|b| {
            let mut b = b.clone();
            for (path, x) in [
                ("regulator.seat", 8.4e-3),
                ("regulator.diaphragm", 21e-3),
                ("regulator.spring_rate", 5e3),
                ("regulator.base", at(2, 3.9e5, 4.1e5)),
                ("return hose.bore", at(5, 2e-3, 3.4e-3)),
                ("return hose.length", at(11, 5.0, 9.0)),
                ("a sound one.base", at(3, 3.9e5, 4.6e5)),
                ("main pump.relief", at(13, 4.2e5, 4.6e5)),
            ] {
                b.set_si(path, x).unwrap();
            }
            point(&b, &Operating::at(rpm(900.0), bar(0.42))).unwrap()
        });
        let flow = |k: usize, name: &str| points[k].regulators.iter().find(|r| r.name == name).unwrap().flow;
        for name in ["regulator", "a sound one"] {
            let (a, b) = (flow(0, name), flow(1, name));
            assert!((a - b).abs() < 1e-10, "{i}, {name}: {} against {} L/h", a * 3.6e6, b * 3.6e6);
        }
        shut += u32::from(flow(0, "a sound one") == 0.0);
    }
    assert!((20..=180).contains(&shut), "{shut}");
}

/// Fuel through a torn diaphragm ends where the hose leads: in the engine, unless the hose hangs open.
#[test]
fn a_torn_diaphragm_feeds_what_its_hose_leads_to() {
    let car =
        Build::read(format!("{}/datasets/hill-climb-car/before-0.7-bar.toml", env!("CARGO_MANIFEST_DIR")))
            .unwrap();
    for boost in [-0.6, 0.0, 0.7] {
        let at = |reference: &str| {
            let b = car
                .with("regulator.reference", reference)
                .unwrap()
                .with("regulator.rupture", "0.4 mm")
                .unwrap();
            let p = point(&b, &Operating::at(rpm(3000.0), bar(boost))).unwrap();
            // Mass at the rail, and what of it reaches the engine.
            let out = p.return_flow().value + p.engine_flow().value + p.torn;
            assert!((p.pump_flow().value - out).abs() < 1e-10 && p.torn > 1e-6, "{reference}");
            let past = if reference == "air" { 0.0 } else { p.torn };
            assert!((p.past_injectors - past).abs() < 1e-15, "{reference}");
            let injected = (p.engine_flow().value + past) * p.density;
            assert!((p.injected / injected - 1.0).abs() < 1e-12, "{reference}");
            p
        };
        let (manifold, pipe, intake, air) = (at("manifold"), at("charge pipe"), at("intake"), at("air"));
        // Under boost the pipe is at the manifold's pressure, without it at the ambient one.
        let as_pipe = if boost > 0.0 { &manifold } else { &air };
        assert!((pipe.torn / as_pipe.torn - 1.0).abs() < 1e-9, "{boost}");
        for p in [&pipe, &intake] {
            assert!(
                p.lambda().unwrap() < 0.9 * air.lambda().unwrap(),
                "{boost}: {:?} {:?}",
                p.lambda(),
                air.lambda()
            );
        }
    }
}

/// Of two regulators on one rail that their returns help to open, one answer is not sought: where none is found, both are
/// named.
#[test]
fn two_regulators_that_their_returns_open_are_named_where_no_point_is_found() {
    let second = "[part.\"other regulator\"]\nkind = \"regulator\"\nbase = \"3.0 bar\"\nreference = \"manifold\"\n\n\
                  [part.\"other hose\"]\nkind = \"line\"\nlength = \"3.8 m\"\nbore = \"7.5 mm\"\n\n\
                  [[leg]]\nname = \"other return\"\nfrom = \"rail\"\nto = \"tank\"\nparts = [\"other regulator\", \"other hose\"]\n\n";
    let text = text().replacen("[[leg]]", &format!("{second}[[leg]]"), 1);
    let mut b = Build::from_toml(&text).unwrap();
    let mut refused = 0;
    for i in 0..600 {
        let at =
            |k: u32, low: f64, high: f64| low + (high - low) * (f64::from(i) * f64::from(k).sqrt()).fract();
        for (name, hose, k) in [("regulator", "return hose", 2), ("other regulator", "other hose", 3)] {
            for (path, x) in [
                (format!("{name}.seat"), 8.4e-3),
                (format!("{name}.diaphragm"), 21e-3),
                (format!("{name}.spring_rate"), 5e3),
                (format!("{name}.base"), at(k, 3.99e5, 4.01e5)),
                (format!("{hose}.bore"), at(k + 3, 2e-3, 3.4e-3)),
                (format!("{hose}.length"), at(k + 9, 5.0, 9.0)),
            ] {
                b.set_si(&path, x).unwrap();
            }
        }
        b.set_si("main pump.relief", at(13, 4.2e5, 4.6e5)).unwrap();
        let found = point(&b, &Operating::at(rpm(900.0), bar(0.42)));
        if let Ok(p) = &found {
            // What is found holds at the rail.
            let back: f64 = p.regulators.iter().map(|r| r.flow).sum();
            let left = p.pump_flow().value - p.engine_flow().value - back;
            assert!(left.abs() < 1e-10, "{left:.3e}");
        }
        if let Err(e) = found {
            let said = e.to_string();
            for word in [
                "2 regulators whose returns help to open them",
                "regulator, return hose",
                "other regulator, other hose",
                "widen or shorten",
            ] {
                assert!(said.contains(word), "{said}");
            }
            refused += 1;
        }
    }
    println!("{refused} of 600");
    assert!(refused > 0);
}
