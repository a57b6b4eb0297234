//! Twelve checks that any correct model of this trade passes. Their expected numbers are common workshop
//! knowledge (no source unless one is named); the numbers held against them come out of the model.

use railrise::build::Build;
use railrise::part::injector::flow_ratio;
use railrise::quantity::*;
use railrise::steady::*;

fn demo(name: &str) -> Build {
    Build::read(format!("{}/datasets/{name}.toml", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn before() -> Build {
    demo("hill-climb-car/before-0.7-bar")
}

/// With more pump than any check asks for, so that the supply does not limit.
fn plenty() -> Build {
    demo("hill-climb-car/cure-second-pump")
}

fn at(b: &Build, n: f64, boost: f64) -> Point {
    point(b, &Operating::at(rpm(n), bar(boost))).unwrap()
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

/// An ideal regulator: no slope, no seat in the balance, so that what is checked is the layout.
fn ideal(mut b: Build) -> Build {
    for (key, v) in
        [("spring_rate", 1e2), ("flow_force", 0.0), ("seat", 3e-3), ("diaphragm", 0.1), ("max_lift", 5e-3)]
    {
        b.set_si(&format!("regulator.{key}"), v).unwrap();
    }
    b
}

#[test]
fn check_1_pressures_and_flows_in_other_units() {
    near(kpa(400.0).value / psi(1.0).value, 58.0, 0.05); // NIST SP 811: 1 psi = 6894.757 Pa
    near(kpa(300.0).value / psi(1.0).value, 43.5, 0.05);
    near(in_hg(20.0).value / 1e3, 67.7, 0.05); // NIST SP 811: 1 inHg = 3386.389 Pa
    near(in_hg(20.0).value / psi(1.0).value, 9.82, 0.01);
    near(l_per_h(127.0).value / l_per_min(1.0).value, 2.1, 0.02);
}

#[test]
fn check_2_more_than_ten_litres_a_minute_from_one_pump_is_flagged() {
    let path = format!("{}/datasets/layouts/dead-end-rail.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    assert!(Build::from_toml(&text).unwrap().slips().is_empty());
    let b = Build::from_toml(&text.replacen("\"146 L/h\"", "\"146 L/min\"", 1)).unwrap();
    let said = &b.slips()[0].what;
    assert!(said.contains("L/min written for L/h") && said.contains("146"), "{said}");
}

#[test]
fn check_3_a_rating_without_pressure_or_voltage_is_not_taken_and_one_row_is_less_certain_than_three() {
    let b = before();
    let asked = b.with("main pump.rows", "[{ flow = \"146 L/h\" }]").unwrap_err().to_string();
    assert!(
        asked.contains("the column pressure is missing") || asked.contains("the column voltage is missing"),
        "{asked}"
    );
    let one = b
        .with("main pump.rows", "[{ pressure = \"3 bar\", voltage = \"13.5 V\", flow = \"146 L/h\" }]")
        .unwrap();
    let width = |b: &Build| at(b, 6500.0, 0.7).pumps[0].flow_uncertainty;
    assert!(width(&one) > 1.3 * width(&b), "{} {}", width(&one), width(&b));
}

#[test]
fn check_4_a_fixed_rail_loses_flow_in_boost_and_only_without_compensation() {
    for (base, boost, share) in [
        (4.0, 0.7, 0.908),
        (4.0, 1.0, 0.866),
        (4.0, 1.4, 0.806),
        (3.0, 0.7, 0.876),
        (3.0, 1.0, 0.816),
        (3.0, 1.4, 0.730),
    ] {
        let fixed = ideal(plenty())
            .with("regulator.base", &format!("{base} bar"))
            .and_then(|b| b.with("regulator.reference", "air"))
            .and_then(|b| {
                b.with(
                    "injectors.dead_time_rows",
                    "[{ voltage = \"14 V\", difference = \"3 bar\", time = \"0 ms\" }]",
                )
            })
            .unwrap();
        let (flat, high) = (at(&fixed, 4000.0, 0.0), at(&fixed, 4000.0, boost));
        let open = |p: &Point| p.injectors[0].static_flow;
        near(open(&high) / open(&flat), share, 0.002);
        near(high.lambda().unwrap() / flat.lambda().unwrap(), 1.0 / share, 0.003);
        let mended = fixed.with("control.compensation", "base less manifold").unwrap();
        near(
            at(&mended, 4000.0, boost).lambda().unwrap() / at(&mended, 4000.0, 0.0).lambda().unwrap(),
            1.0,
            0.004,
        );
    }
}

#[test]
fn check_5_a_referenced_regulator_keeps_the_difference_and_base_set_with_the_hose_on_is_high() {
    let b = ideal(plenty());
    near(at(&b, 4000.0, 1.4).rail_pressure().pascals() / 1e5, 4.4, 0.02);
    near(at(&b, 4000.0, 0.0).difference().value, at(&b, 4000.0, 1.4).difference().value, 1500.0);
    // 58 psi read at idle with 20 inHg on the port: turn the screw until it reads so, then take the hose off.
    let vacuum = -in_hg(20.0).value / 1e5;
    let reading = |turns: f64, off: bool| {
        let mut b = before();
        b.set_si("regulator.screw", turns * std::f64::consts::TAU).unwrap();
        let op = Operating::at(rpm(900.0), bar(vacuum));
        let op = if off { op.with_the_reference_hose_off() } else { op };
        point(&b, &op).unwrap().rail_pressure().pascals() / psi(1.0).value
    };
    let (mut low, mut high) = (0.0, 10.0);
    for _ in 0..40 {
        let mid = 0.5 * (low + high);
        if reading(mid, false) < 58.0 { low = mid } else { high = mid }
    }
    let base = reading(low, true);
    near(base, 68.0, 0.5); // 58 + 9.82, and the seat's gain of 1.04 on the vacuum
    near(flow_ratio(psi(base), psi(58.0)), 1.081, 0.005);
}

#[test]
fn check_6_a_port_injector_sees_the_port() {
    let p = at(&before(), 5000.0, 0.7);
    near(p.injectors[0].difference, p.junctions["rail"] - p.manifold, 1e-3);
}

#[test]
fn check_7_the_screw_raises_base_and_is_dead_while_overrun_or_pump_limited() {
    let turned = |b: &Build, t: f64| {
        let mut b = b.clone();
        b.set_si("regulator.screw", t * std::f64::consts::TAU).unwrap();
        b
    };
    let rail = |b: &Build, n, boost| at(b, n, boost).rail_pressure().pascals();
    let b = before();
    let rails: Vec<f64> =
        [-1.0, -0.5, 0.0, 0.5, 1.0].iter().map(|t| rail(&turned(&b, *t), 3000.0, 0.0)).collect();
    assert!(rails.windows(2).all(|w| w[1] > w[0] + 1e4), "{rails:?}");
    let overrun = b.with("regulator.max_lift", "0.07 mm").unwrap();
    near(rail(&turned(&overrun, -0.5), 900.0, -0.65), rail(&overrun, 900.0, -0.65), 1.0);
    let short = demo("hill-climb-car/raised-1.4-bar");
    near(rail(&turned(&short, 0.5), 6500.0, 1.4), rail(&short, 6500.0, 1.4), 1.0);
}

#[test]
fn check_8_lean_onset_is_a_crossing_a_hinge_and_then_a_gradual_rise() {
    let b = demo("hill-climb-car/raised-1.4-bar");
    let pull: Vec<Point> = (40..=70).map(|i| at(&b, f64::from(i) * 100.0, 1.4)).collect();
    let hinge = pull.iter().position(Point::out_of_control).unwrap();
    assert!(hinge > 2 && hinge < pull.len() - 3);
    for w in pull[..hinge].windows(2) {
        near(w[0].difference().value, w[1].difference().value, 2e3); // flat before
    }
    let capacity = |p: &Point| limits_at(&b, p, &Acceptance::default()).unwrap().headroom;
    assert!(capacity(&pull[hinge - 1]) > 0.0 && capacity(&pull[hinge]) < 0.01); // supply meets demand there
    for w in pull[hinge..].windows(2) {
        let step = w[1].lambda().unwrap() - w[0].lambda().unwrap();
        assert!(step > -0.002 && step < 0.02, "no cliff: {step}");
        assert!(
            w[1].pump_flow().value >= w[0].pump_flow().value - 1e-9,
            "the pump regains flow as pressure falls"
        );
    }
    assert!(pull.last().unwrap().lambda().unwrap() > pull[hinge].lambda().unwrap() + 0.05);
}

#[test]
fn check_9_pump_flow_raised_by_r_raises_the_floor_by_up_to_r_squared() {
    let tight = before().with("regulator.max_lift", "0.07 mm").unwrap();
    let floor = |factor: f64| {
        let mut b = tight.clone();
        b.set_si("main pump.flow_factor", factor).unwrap();
        let p = at(&b, 900.0, -0.65);
        let r = &p.regulators[0];
        assert_eq!(r.mode, railrise::part::regulator::Mode::FullLift);
        r.fuel - p.ambient
    };
    let (one, more) = (floor(1.0), floor(1.3));
    assert!(more / one > 1.1 && more / one < 1.69, "{}", more / one);
}

#[test]
fn check_10_loss_after_the_regulator_vanishes_at_idle_and_costs_flow_under_load() {
    near(flow_ratio(bar(2.7), bar(3.0)), 1.0 - 0.051, 0.0005); // 0.3 bar of 3.0: flow -5.1 %
    near(0.80 / flow_ratio(bar(2.7), bar(3.0)), 0.843, 0.0005);
    let b = demo("layouts/dead-end-rail").with("fine filter.dirt", "25").unwrap();
    let loss = |p: &Point| p.junctions["regulator tee"] - p.junctions["rail"];
    let (idle, load) = (at(&b, 900.0, -0.65), at(&b, 6500.0, 0.7));
    assert!(loss(&idle) < 0.06 * loss(&load));
    // What the loss takes of the difference is what lambda shows, to second order.
    let sound = at(&demo("layouts/dead-end-rail"), 6500.0, 0.7);
    let ratio = load.lambda().unwrap() / sound.lambda().unwrap();
    near(ratio, (sound.difference() / load.difference()).value.sqrt(), 0.003);
}

#[test]
fn check_11_unreferenced_the_boost_for_three_per_cent_lean_is_p_b_times_1_less_1_over_1_03_squared() {
    // 3.0 bar (1 - 1/1.03²) = 0.17 bar
    let b = ideal(plenty())
        .with("regulator.reference", "air")
        .and_then(|b| {
            b.with(
                "injectors.dead_time_rows",
                "[{ voltage = \"14 V\", difference = \"3 bar\", time = \"0 ms\" }]",
            )
        })
        .unwrap();
    let lean =
        |boost: f64| at(&b, 4000.0, boost).lambda().unwrap() / at(&b, 4000.0, 0.0).lambda().unwrap() - 1.0;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..40 {
        let mid = 0.5 * (low + high);
        if lean(mid) < 0.03 { low = mid } else { high = mid }
    }
    near(low, 0.17, 0.004);
}

#[test]
fn check_12_limits_balances() {
    // No demand: the set pressure or the floor, whichever is higher.
    for lift in ["0.40 mm", "0.07 mm"] {
        let b = before().with("regulator.max_lift", lift).unwrap();
        let p = point(&b, &Operating::engine_off()).unwrap();
        let r = &p.regulators[0];
        let law = railrise::build::regulator_law(&b.part("regulator").unwrap().values, p.density).unwrap();
        let set = law.at_flow(r.flow, p.density, r.back, r.reference).fuel;
        near(r.fuel, set.max(law.floor(r.flow, p.density, r.back)), 1.0);
    }
    // No boost: fixed and referenced are one.
    let fixed = before().with("regulator.reference", "air").unwrap();
    near(
        at(&before(), 3000.0, 0.0).rail_pressure().pascals(),
        at(&fixed, 3000.0, 0.0).rail_pressure().pascals(),
        1e-6,
    );
    // Pump = return + engine.
    for (n, boost) in [(900.0, -0.65), (3000.0, 0.0), (6500.0, 0.7)] {
        let p = at(&before(), n, boost);
        near(p.pump_flow().value, p.return_flow().value + p.engine_flow().value, 1e-10);
    }
}
