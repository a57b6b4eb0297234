//! Layouts of the trade, solved; circuits and files that are refused, by their very message.

use railrise::build::Build;
use railrise::part::surge_pot::{Return, net_outflow};
use railrise::quantity::*;
use railrise::steady::*;

fn text(name: &str) -> String {
    std::fs::read_to_string(format!("{}/datasets/{name}.toml", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn layout(name: &str) -> Build {
    Build::from_toml(&text(&format!("layouts/{name}"))).unwrap()
}

fn at(b: &Build, n: f64, boost: f64) -> Point {
    point(b, &Operating::at(rpm(n), bar(boost))).unwrap_or_else(|e| panic!("{}: {e}", b.name()))
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

#[test]
fn a_dead_end_rail_loses_what_feed_and_filter_cost_and_the_loss_grows_with_demand() {
    let b = layout("dead-end-rail");
    let loss = |p: &Point| {
        (p.pressure_at("regulator tee").unwrap().pascals() - p.pressure_at("rail").unwrap().pascals()) / 1e5
    };
    let points: Vec<Point> =
        [(900.0, -0.65), (3000.0, 0.0), (5000.0, 0.7), (6500.0, 0.7)].map(|(n, p)| at(&b, n, p)).into();
    let losses: Vec<f64> = points.iter().map(loss).collect();
    assert!(losses[0] < 0.005 && losses.windows(2).all(|w| w[1] > w[0]), "{losses:?}");
    for p in &points {
        let feed = p.legs.iter().find(|l| l.name == "feed").unwrap();
        near(feed.parts.iter().map(|x| x.drop).sum::<f64>(), loss(p) * 1e5, 1.0);
        near(p.difference().value / 1e5, 3.0 - loss(p), 0.02); // what is left of base
    }
}

#[test]
fn a_speed_controlled_pump_holds_its_target_and_returns_nothing() {
    let b = layout("speed-controlled-pump");
    let mut volts = Vec::new();
    for (n, boost) in [(900.0, -0.65), (3000.0, 0.4), (5000.0, 0.7), (6500.0, 1.4)] {
        let p = at(&b, n, boost);
        near(p.rail_pressure().pascals(), 4.5e5, 1.0);
        near(p.pump_flow().value, p.engine_flow().value, 1e-10);
        volts.push(p.pump_voltage().value);
    }
    assert!(volts.windows(2).all(|w| w[1] > w[0]), "it turns as fast as it must: {volts:?}");
    let short = at(&b.with("main pump.wear", "60 %").unwrap(), 6500.0, 1.4);
    assert!(short.rail_pressure().pascals() < 4.4e5, "flat out and still short");
    let e = point(&b.with("control.rail_target", "0.5 bar").unwrap(), &Operating::at(rpm(6500.0), bar(1.4)));
    let e = e.unwrap_err().to_string();
    assert!(
        e.contains("with the pump at rest the rail already stands") && e.contains("raise the target"),
        "{e}"
    );
}

#[test]
fn a_surge_pot_loses_what_its_return_decides() {
    for (name, back) in
        [("surge-pot-return-to-pot", Return::ToPot), ("surge-pot-return-to-tank", Return::ToTank)]
    {
        let weak = layout(name).with("lift pump.flow_factor", "40 %").unwrap();
        let p = at(&weak, 6500.0, 0.7);
        let pot = &p.pots[0];
        let lift = p.pumps.iter().find(|x| x.fills_a_pot).unwrap().flow;
        let net = net_outflow(back, p.engine_flow(), p.pump_flow(), m3_per_s(lift));
        near(pot.net_outflow, net.value, 1e-10); // the part's own law
        near(pot.time_to_empty.unwrap(), 1.5e-3 / net.value, 1e-3);
        // Kept full with a sound lift pump.
        assert_eq!(at(&layout(name), 6500.0, 0.7).pots[0].time_to_empty, None);
    }
    let pot =
        |n| at(&layout(n).with("lift pump.flow_factor", "40 %").unwrap(), 5000.0, 0.7).pots[0].net_outflow;
    assert!(pot("surge-pot-return-to-tank") > pot("surge-pot-return-to-pot"));
}

#[test]
fn a_crossover_evens_out_two_rails() {
    let b = layout("twin-rails-with-crossover");
    let apart = |b: &Build| {
        let p = at(b, 6500.0, 0.7);
        (p.pressure_at("first rail").unwrap().pascals() - p.pressure_at("second rail").unwrap().pascals())
            .abs()
    };
    let narrow = b.with("crossover.bore", "2 mm").unwrap();
    let wide = b.with("crossover.bore", "12 mm").unwrap();
    assert!(apart(&wide) < apart(&b) && apart(&b) < apart(&narrow));
    let p = at(&b, 6500.0, 0.7);
    near(p.injectors[0].flow / p.injectors[1].flow, 1.0, 1e-3);
    near(p.engine_flow().value, p.asked_flow().value, 0.03 * p.asked_flow().value);
}

#[test]
fn a_staged_pump_rests_below_its_boost_and_twins_share_alike() {
    let b = layout("staged-second-pump");
    let (off, on) = (at(&b, 3000.0, 0.49), at(&b, 3000.0, 0.51));
    assert!(!off.pumps[1].on && on.pumps[1].on);
    assert!(off.pumps[1].flow.abs() < 1e-10, "its check valve holds: {}", off.pumps[1].flow);
    assert!(on.pump_flow().value > 1.7 * off.pump_flow().value);
    assert!(
        at(&b, 900.0, -0.65).rail_pressure().pascals()
            < at(&layout("twin-pumps"), 900.0, -0.65).rail_pressure().pascals()
    );
    let p = at(&layout("twin-pumps"), 6500.0, 1.4);
    near(p.pumps[0].flow, p.pumps[1].flow, 1e-12);
}

#[test]
fn speed_density_and_power_are_held_against_each_other() {
    let b = layout("dead-end-rail");
    assert_eq!(power_check(&b).unwrap(), None);
    // 220 kW at 320 g/kWh is 19.56 g/s by hand.
    let check = power_check(&b.with("engine.power", "220 kW").unwrap()).unwrap().unwrap();
    near(check.by_power, 220.0 * 320.0 / 3.6e6, 1e-6);
    let d = at(&b, check.speed * 30.0 / std::f64::consts::PI, 0.7).demand.unwrap();
    near(check.by_air, d.fuel, 1e-9);
    near(check.difference, check.by_air / check.by_power - 1.0, 1e-12);
    // Wheel power taken for crank power, 15 % low, is seen.
    let agreed = check.by_air / (320.0 / 3.6e9);
    let with = |w: f64| power_check(&b.with("engine.power", &format!("{w} W")).unwrap()).unwrap().unwrap();
    assert!(with(agreed).agrees() && !with(0.85 * agreed).agrees());
}

/// The message of a file that must be refused.
fn refused(file: &str) -> String {
    match Build::from_toml(file) {
        Err(e) => e.to_string(),
        Ok(b) => panic!("{} was accepted", b.name()),
    }
}

fn changed(name: &str, from: &str, to: &str) -> String {
    let t = text(name);
    assert!(t.contains(from), "{name} has no {from}");
    t.replacen(from, to, 1)
}

const TWIN: &str = "layouts/twin-pumps";
const DEAD: &str = "layouts/dead-end-rail";

#[test]
fn circuits_without_an_answer_are_refused_by_name() {
    let open = format!(
        "{}\n[part.stub]\nkind = \"orifice\"\nbore = \"1 mm\"\n[[leg]]\nname = \"stub\"\nfrom = \"rail\"\nto = \"nowhere\"\nparts = [\"stub\"]\n",
        text(DEAD)
    );
    let e = refused(&open);
    assert!(e.contains("stub: the junction \"nowhere\" is an open end: only this leg meets it"), "{e}");
    assert!(e.contains("join a second leg to it, or end at tank, manifold or air"), "{e}");

    let empty = changed(DEAD, "parts = [\"feed hose\", \"fine filter\"]", "parts = []");
    let e = refused(&empty);
    assert!(
        e.contains("feed: the leg from regulator tee to rail has no part, so nothing sets its flow"),
        "{e}"
    );
    assert!(e.contains("fine filter: this part stands in no leg"), "{e}"); // and all that follows from it, at once

    let e = refused(&changed(TWIN, "\"second pump\", \"second check valve\"]", "\"second pump\"]"));
    assert!(e.contains("second supply: the pumps of \"second supply\" and \"first supply\" push against each other and this leg has no check valve"), "{e}");
    assert!(e.contains("put a check valve into each pump's leg"), "{e}");
    assert!(e.contains("second check valve: this part stands in no leg"), "{e}");

    // The same behind a hose of its own: the pumps do not meet in one junction.
    let behind = changed(
        TWIN,
        "to = \"collector\"\nparts = [\"second strainer\", \"second pump\", \"second check valve\"]",
        "to = \"own\"\nparts = [\"second strainer\", \"second pump\"]\n[[leg]]\nname = \"link\"\nfrom = \"own\"\nto = \"collector\"\nparts = [\"link hose\"]",
    ) + "\n[part.\"link hose\"]\nkind = \"line\"\nlength = \"0.2 m\"\nbore = \"8 mm\"\n";
    let e = refused(&behind);
    assert!(e.contains("push against each other"), "{e}");
    // A check valve in the shared hose is enough for the second, not for the first.
    let valved = behind.replace("parts = [\"link hose\"]", "parts = [\"link hose\", \"second check valve\"]");
    assert!(Build::from_toml(&valved).is_ok());

    let ring = format!(
        "{}\n[part.r1]\nkind = \"orifice\"\nbore = \"1 mm\"\n[part.r2]\nkind = \"orifice\"\nbore = \"1 mm\"\n[[leg]]\nname = \"ring one\"\nfrom = \"here\"\nto = \"there\"\nparts = [\"r1\"]\n[[leg]]\nname = \"ring two\"\nfrom = \"there\"\nto = \"here\"\nparts = [\"r2\"]\n",
        text(DEAD)
    );
    let e = refused(&ring);
    assert!(e.contains("no path leads from \"here\" to the tank, the manifold or the air"), "{e}");
    assert!(e.contains("join the loop to the rest of the circuit"), "{e}");

    let e = refused(&changed(DEAD, "to = \"manifold\"", "to = \"tank\""));
    assert!(e.contains("injection: the injectors deliver to tank"), "{e}");
    let e = refused(&changed(DEAD, "\"main pump\", \"check valve\"", "\"mian pump\", \"check valve\""));
    assert!(e.contains("there is no part \"mian pump\"") && e.contains("did you mean \"main pump\""), "{e}");
    let e = refused(&changed(
        DEAD,
        "parts = [\"regulator\", \"return hose\"]",
        "parts = [\"regulator\", \"feed hose\"]",
    ));
    assert!(e.contains("feed: the part \"feed hose\" stands in two places"), "{e}");
    let e = refused(&changed(DEAD, "parts = [\"regulator\", \"return hose\"]", "parts = [\"regulator\", 7]"));
    assert!(e.contains("return.parts: the list of the parts along this leg is missing, or holds something else than names"), "{e}");
}

#[test]
fn values_that_cannot_be_are_refused_and_slips_are_named() {
    let line = |t: &str, what: &str| 1 + t[..t.find(what).unwrap()].matches('\n').count();
    let t = changed(DEAD, "length = \"4.2 m\"\nbore = \"7.5 mm\"", "length = \"4.2 m\"\nbore = \"-7.5 mm\"");
    let e = refused(&t);
    assert!(
        e.starts_with(&format!(
            "line {}: feed hose.bore: found -7.5 mm, which is outside",
            line(&t, "-7.5 mm")
        )),
        "{e}"
    );
    assert!(e.contains("accepted: 1.000 mm to 100.0 mm"), "{e}");

    let e = refused(&changed(DEAD, "length = \"4.2 m\"", "length = \"4.2 L/h\""));
    assert!(e.contains("feed hose.length: found \"4.2 L/h\": \"L/h\" measures"), "{e}");
    let e = refused(&changed(DEAD, "length = \"4.2 m\"", "length = 4.2"));
    assert!(
        e.contains("feed hose.length: found 4.2, a length without its unit") && e.contains("such as \"4 m\""),
        "{e}"
    );
    let e = refused(&changed(DEAD, "length = \"4.2 m\"\n", ""));
    assert!(e.contains("feed hose.length: this value is missing (length)"), "{e}");
    let e = refused(&changed(DEAD, "length = \"4.2 m\"", "lenght = \"4.2 m\""));
    assert!(
        e.contains("feed hose.lenght: there is no such key") && e.contains("did you mean \"length\""),
        "{e}"
    );
    let e = refused(&changed(DEAD, "kind = \"filter\"", "kind = \"flter\""));
    assert!(e.contains("there is no kind \"flter\"") && e.contains("did you mean \"filter\""), "{e}");

    // Gauge for absolute: 0 bar of ambient pressure is what a gauge shows in the open.
    let e = refused(&changed(DEAD, "pressure = \"101.3 kPa abs\"", "pressure = \"0 kPa\""));
    assert!(
        e.contains("probably a gauge pressure written for an absolute one (would be 1.013 bar abs)"),
        "{e}"
    );
    // L/min for L/h: 60 times.
    let b = Build::from_toml(&changed(DEAD, "flow = \"146 L/h\"", "flow = \"146 L/min\"")).unwrap();
    assert!(b.slips()[0].what.contains("probably L/min written for L/h"), "{:?}", b.slips());
    let e = refused(&changed(DEAD, "static_flow = \"720 cc/min\"", "static_flow = \"720 L/h\""));
    assert!(e.contains("probably L/min written for L/h (would be 12.00 L/h)"), "{e}");

    let t = text(DEAD);
    let e = refused(&t[..t.find("[supply]").unwrap() + 20]);
    assert!(e.contains("this is not TOML"), "{e}");
    let e = refused(&changed(DEAD, "rpm = \"3000 rpm\", ve", "rpm = \"800 rpm\", ve"));
    assert!(e.contains("engine.ve_rows[2].rpm: 800.0 rpm follows 900.0 rpm: the speeds must rise"), "{e}");
    let seat = layout("dead-end-rail").with("regulator.diaphragm", "7 mm").unwrap();
    let e = point(&seat, &Operating::at(rpm(3000.0), bar(0.0))).unwrap_err().to_string();
    assert!(
        e.contains(
            "regulator.seat: a seat of 6.000 mm under a diaphragm of 7.000 mm leaves the fuel no area"
        ),
        "{e}"
    );
}

#[test]
fn a_question_outside_a_table_is_refused_with_its_range() {
    let b = layout("dead-end-rail");
    let ask = |n: f64, boost: f64| point(&b, &Operating::at(rpm(n), bar(boost))).unwrap_err().to_string();
    let e = ask(600.0, 0.0);
    assert!(
        e.contains("volumetric efficiency is known from 900.0 rpm to 7000 rpm, 600.0 rpm was asked"),
        "{e}"
    );
    let e = ask(9000.0, 0.0);
    assert!(e.contains("beyond the rev limit of 7000 rpm"), "{e}");
    let e = ask(3000.0, -1.0);
    assert!(e.contains("is near vacuum"), "{e}");
}

/// A speed control takes less current from the supply than the motor carries: what goes in is what comes out.
#[test]
fn a_chopped_pumps_energy_closes_at_the_supply() {
    let b = layout("speed-controlled-pump");
    let wire = railrise::build::Wire::from_values(&b.part("main pump").unwrap().values).unwrap().total();
    for n in [1000.0, 3000.0, 6000.0] {
        let p = point(&b, &Operating::at(rpm(n), bar(0.3))).unwrap();
        let x = &p.pumps[0];
        let out = x.running.current * x.running.current * wire + x.running.electric_power;
        assert!((p.supply * p.drawn_current().value - out).abs() < 1e-9 * out, "{n}");
        assert!(x.drive_duty < 0.95 && p.drawn_current() < p.pump_current());
        assert!((x.supply_current - x.drive_duty * x.running.current).abs() < 1e-12);
        assert_eq!(p.channel("drawn current").unwrap().si, p.drawn_current().value);
    }
    // Flat out, or without a control, the supply gives what the motor carries.
    let out_of_reach = b.with("control.rail_target", "12 bar").unwrap();
    let flat_out = point(&out_of_reach, &Operating::at(rpm(6000.0), bar(0.3))).unwrap();
    let plain = point(&layout("twin-pumps"), &Operating::at(rpm(6000.0), bar(0.3))).unwrap();
    for p in [flat_out, plain] {
        assert_eq!(p.drawn_current(), p.pump_current());
        assert!(p.pumps.iter().all(|x| x.drive_duty == 1.0));
    }
}

/// Volumetric efficiency over manifold pressure and speed: on its points, between them by hand, outside refused.
#[test]
fn an_efficiency_map_sets_the_air_and_ends_where_it_was_measured() {
    let grid = |rows: &[(f64, f64, f64)]| {
        let rows: Vec<String> = rows
            .iter()
            .map(|(p, n, ve)| format!("{{ manifold = \"{p} kPa abs\", rpm = \"{n} rpm\", ve = \"{ve}\" }}"))
            .collect();
        format!("[{}]", rows.join(", "))
    };
    let rows = [(40.0, 900.0, 0.6), (40.0, 6500.0, 0.8), (180.0, 900.0, 0.7), (180.0, 6500.0, 1.0)];
    let b = layout("dead-end-rail");
    let mapped = b.with("engine.ve_map_rows", &grid(&rows)).unwrap();
    let ambient = b.si("ambient.pressure").unwrap() / 1e3;
    let air = |b: &Build, kpa: f64, n: f64| at(b, n, (kpa - ambient) / 100.0).demand.unwrap().air;
    for (kpa, n, ve) in rows {
        near(air(&mapped, kpa, n) / air(&b, kpa, n), ve, 1e-9);
    }
    // Half way along both axes: the mean of the four corners.
    near(air(&mapped, 110.0, 3700.0) / air(&b, 110.0, 3700.0), 0.775, 1e-9);
    // The calibration follows the map, so lambda stays what it was; pulse and duty grow with the air.
    let (p, q) = (at(&b, 5000.0, 0.0), at(&mapped, 5000.0, 0.0));
    near(p.lambda().unwrap(), q.lambda().unwrap(), 0.01);
    assert!(q.asked_flow() < p.asked_flow() && q.duty() < p.duty());
    assert!(railrise::steady::lanes::Reduced::of(&mapped).is_none());
    for (n, boost, says) in [(6600.0, 0.0, "engine speed"), (3000.0, 0.9, "manifold pressure (absolute)")] {
        let e = point(&mapped, &Operating::at(rpm(n), bar(boost))).unwrap_err().to_string();
        assert!(e.contains("engine.ve_map_rows") && e.contains(says), "{e}");
    }
    let e = point(
        &b.with("engine.ve_map_rows", &grid(&rows[..3])).unwrap(),
        &Operating::at(rpm(3000.0), bar(0.0)),
    );
    let e = e.unwrap_err().to_string();
    assert!(
        e.contains("3 efficiencies do not fill the grid of 2 by 2 values of manifold and rpm once"),
        "{e}"
    );
}
