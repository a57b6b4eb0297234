//! Laws that hold for every demo build and layout at any operating point and any setting.

use proptest::prelude::*;
use railrise::build::Build;
use railrise::error::Kind;
use railrise::part::pump::Curve;
use railrise::quantity::*;
use railrise::spec::Takes;
use railrise::steady::*;
use std::sync::LazyLock;

pub static BUILDS: LazyLock<Vec<Build>> = LazyLock::new(|| {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("datasets");
    let mut files: Vec<_> = ["hill-climb-car", "layouts"]
        .iter()
        .flat_map(|d| std::fs::read_dir(root.join(d)).unwrap().map(|e| e.unwrap().path()))
        .filter(|p| p.to_string_lossy().ends_with(".toml") && !p.to_string_lossy().ends_with(".study.toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 11);
    let read: Vec<Build> = files.iter().map(|f| Build::read(f).unwrap()).collect();
    // The same with impellers in the place of displacement pumps.
    let impellers = read.iter().map(|b| {
        let pumps: Vec<String> = b.parts_of("pump").map(|(n, _)| n.to_owned()).collect();
        pumps.iter().fold(b.clone(), |b, n| b.with(&format!("{n}.principle"), "regenerative").unwrap())
    });
    read.iter().cloned().chain(impellers).collect()
});

pub fn named(name: &str) -> &'static Build {
    BUILDS.iter().find(|b| b.name() == name).unwrap()
}

/// A build with up to five values moved: by up to ten times, or to anywhere in their range.
pub fn any_build() -> impl Strategy<Value = (Build, String)> {
    let change = (0.0..1.0f64, any::<bool>(), 0.0..1.0f64);
    (0..BUILDS.len(), prop::collection::vec(change, 0..=5)).prop_map(|(i, changes)| {
        let mut b = BUILDS[i].clone();
        let paths: Vec<String> = b.parameters().map(|(p, _)| p).filter(|p| !p.starts_with("fuel.")).collect();
        let mut said = b.name().to_owned();
        for (which, scale, x) in changes {
            let path = &paths[((which * paths.len() as f64) as usize).min(paths.len() - 1)];
            let (owner, key) = path.rsplit_once('.').unwrap();
            let values = b.part(owner).map_or_else(|| b.section(owner), |p| &p.values);
            let Takes::Scalar { low, high, .. } = values.key(key).unwrap().takes else { continue };
            let now = b.si(path).unwrap();
            let new = if scale { now * 10f64.powf(2.0 * x - 1.0) } else { low + (high - low) * x };
            if b.set_si(path, new).is_ok() {
                said += &format!(", {path} = {new:e}");
            }
        }
        (b, said)
    })
}

pub fn any_point() -> impl Strategy<Value = Operating> {
    let supply = prop::option::weighted(0.2, 8.0..16.0f64);
    (prop::bool::weighted(0.9), 900.0..7000.0f64, -0.8..1.6f64, supply).prop_map(
        |(runs, n, boost, supply)| {
            let op = if runs { Operating::at(rpm(n), bar(boost)) } else { Operating::engine_off() };
            supply.map_or(op, |v| op.with_supply(volts(v)))
        },
    )
}

/// The point, or nothing when the question is refused as out of range.
pub fn solved(b: &Build, op: &Operating) -> Option<Point> {
    match point(b, op) {
        Ok(p) => Some(p),
        Err(e) => {
            assert!(e.kind() != Kind::Solve, "{e}");
            None
        }
    }
}

/// The raised car with a wide seat, a long return, an early relief and a clogged strainer.
pub fn bent(x: [f64; 9], impeller: bool) -> Build {
    let mut b = named("Hill-climb car, boost raised to 1.4 bar").clone();
    let paths = [
        "regulator.seat",
        "regulator.diaphragm",
        "return hose.bore",
        "return hose.length",
        "regulator.spring_rate",
        "regulator.base",
        "main pump.relief",
        "strainer.blocked",
        "control.dead_time_error",
    ];
    for (path, x) in paths.iter().zip(x) {
        b.set_si(path, x).unwrap();
    }
    if impeller {
        b.set("main pump.principle", "regenerative").unwrap();
    }
    b
}

/// Another first guess, flow in L/h and gauge pressure in bar, leads to the same point.
pub fn one_answer(b: &Build, op: &Operating, q: f64, start: f64) -> Result<(), String> {
    let Some(p) = solved(b, op) else { return Ok(()) };
    let other = point_from(b, op, l_per_h(q), GaugePressure::from_pascals(start * 1e5)).unwrap();
    for (l, x) in p.legs.iter().zip(&other.legs) {
        if (l.flow - x.flow).abs() >= 1e-9 {
            return Err(format!("{}: {} {}", l.name, l.flow, x.flow));
        }
    }
    for (j, a) in &p.junctions {
        if (a - other.junctions[j]).abs() >= 1.0 {
            return Err(format!("{j}: {a} {}", other.junctions[j]));
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn fuel_is_conserved_and_pressures_add_up((b, said) in any_build(), op in any_point()) {
        let Some(p) = solved(&b, &op) else { return Ok(()) };
        for junction in p.junctions.keys().filter(|j| !["tank", "manifold", "air", "surge pot"].contains(&j.as_str())) {
            let into: f64 = p.legs.iter().filter(|l| l.to == *junction).map(|l| l.flow).sum();
            let out: f64 = p.legs.iter().filter(|l| l.from == *junction).map(|l| l.flow).sum();
            prop_assert!((into - out).abs() < 1e-10, "{said}: {junction} is left with {} m3/s", into - out);
        }
        for leg in &p.legs {
            let dp = p.junctions[&leg.from] - p.junctions[&leg.to];
            let sum: f64 = leg.parts.iter().map(|x| x.drop).sum();
            // On a shut valve's steep branch the solver's last step in flow, 1e-15 m3/s, is 10 Pa.
            let within = if leg.flow.abs() < 1e-10 { 100.0 } else { 1.0 };
            prop_assert!((sum - dp).abs() < within, "{said}: {} {sum} {dp} at {:e}", leg.name, leg.flow);
        }
        prop_assert!(p.effort.residual <= 1.0 && p.effort.imbalance <= 1e-10);
    }

    #[test]
    fn the_pumps_energy_is_accounted_for((b, said) in any_build(), op in any_point()) {
        let Some(p) = solved(&b, &op) else { return Ok(()) };
        for x in p.pumps.iter().filter(|x| x.on && x.flow > 0.0) {
            let (r, law) = (&x.running, b.pump(&x.name).unwrap());
            // Terminals: V I = I² R_a + E I, with E = K omega.
            let emf = law.motor_constant * r.speed;
            let power = r.volts * r.current;
            prop_assert!((r.electric_power - power).abs() <= 1e-9 * power.abs());
            prop_assert!((power - r.armature_heat - emf * r.current).abs() < 1e-6 * (power.abs() + 1.0), "{said}");
            // Shaft: the load current over the displacement gives fuel and slip; friction takes E I_f.
            if let Curve::Displacement { g, k, c } = law.curve {
                let shaft = emf * (r.current - law.idle_current) * g / c;
                let slip = k * law.rated_viscosity / p.viscosity + law.wear_slip;
                let fuel = r.rise * (x.flow / r.derating + r.relieved);
                let lost = slip * r.rise * r.rise;
                let all = shaft.abs() + fuel.abs() + lost.abs() + 1.0;
                prop_assert!((shaft - fuel - lost).abs() < 1e-6 * all, "{said}: {shaft} {fuel} {lost}");
            }
            // An impeller's load carries what it gives to all the fuel that it moves.
            if let (Curve::Regenerative { .. }, true) = (law.curve, r.rise > 0.0 && emf > 0.06) {
                let shaft = emf * (r.current - law.idle_current);
                prop_assert!(r.rise * r.element_flow <= shaft * (1.0 + 1e-9) + 1e-6, "{said}: {shaft} {r:?}");
            }
            prop_assert!((r.hydraulic_power - r.rise * x.flow).abs() <= 1e-9 * r.hydraulic_power.abs() + 1e-12);
        }
    }

    #[test]
    fn two_starting_points_give_one_answer((b, said) in any_build(), op in any_point(), q in 0.0..400.0f64, start in -0.5..9.0f64) {
        let Some(p) = solved(&b, &op) else { return Ok(()) };
        let other = point_from(&b, &op, l_per_h(q), GaugePressure::from_pascals(start * 1e5)).unwrap();
        for (j, a) in &p.junctions {
            let x = other.junctions[j];
            // A junction between two shut valves holds anything within what leaks through them.
            prop_assert!((a - x).abs() < 1.0 || p.legs.iter().filter(|l| l.to == *j || l.from == *j).all(|l| l.flow.abs() < 1e-10), "{said}: {j} {a} {x}");
        }
        for (l, x) in p.legs.iter().zip(&other.legs) {
            prop_assert!((l.flow - x.flow).abs() < 1e-9, "{said}: {} {} {}", l.name, l.flow, x.flow);
        }
    }

    /// A wide seat before a long return (its pressure may fall with its flow), an early relief (a flat supply) and a
    /// starved pump.
    #[test]
    fn two_starting_points_give_one_answer_where_laws_bend_most(
        (seat, diaphragm, bore, length) in (3e-3..9e-3f64, 20e-3..32e-3f64, 2.5e-3..7e-3f64, 0.0..8.0f64),
        (rate, base, relief, blocked) in (5e3..9e4f64, 2e5..5e5f64, 3e5..8e5f64, 0.0..0.99f64),
        (dead, impeller) in (-4e-4..2e-4f64, any::<bool>()),
        held in prop::option::weighted(0.3, -7.0..-3.5f64),
        op in any_point(), q in 0.0..400.0f64, start in -0.5..9.0f64,
    ) {
        let mut b = bent([seat, diaphragm, bore, length, rate, base, relief, blocked, dead], impeller);
        b.set_si("regulator.held_open", held.map_or(0.0, |x| 10f64.powf(x))).unwrap();
        if let Err(e) = one_answer(&b, &op, q, start) {
            prop_assert!(false, "{e}");
        }
    }

    #[test]
    fn at_no_boost_a_reference_makes_no_difference((b, _) in any_build(), n in 900.0..7000.0f64) {
        let op = Operating::at(rpm(n), bar(0.0));
        let Some(regulator) = b.parts_of("regulator").next().map(|(n, _)| n.to_owned()) else { return Ok(()) };
        let fixed = b.with(&format!("{regulator}.reference"), "air").unwrap();
        let (Some(p), Some(x)) = (solved(&b, &op), solved(&fixed, &op)) else { return Ok(()) };
        for (j, a) in &p.junctions {
            prop_assert!((a - x.junctions[j]).abs() < 1e-6);
        }
    }

    #[test]
    fn a_lower_supply_never_brings_more_fuel((b, said) in any_build(), n in 900.0..7000.0f64, v in 9.0..14.0f64) {
        // A control that holds the rail takes what it needs.
        if b.parts_of("pump").any(|(_, p)| p.values.word("speed_control") == "rail") {
            return Ok(());
        }
        let at = |v: f64| solved(&b, &Operating::at(rpm(n), bar(0.5)).with_supply(volts(v)));
        let (Some(low), Some(high)) = (at(v), at(v + 1.0)) else { return Ok(()) };
        prop_assert!(low.pump_flow().value <= high.pump_flow().value + 1e-9, "{said}");
    }
}

#[test]
fn every_circuit_that_may_be_asked_is_solved() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let mut solved = 0;
    for _ in 0..6000 {
        let (b, said) = any_build().new_tree(&mut runner).unwrap().current();
        let op = any_point().new_tree(&mut runner).unwrap().current();
        match point(&b, &op) {
            Ok(_) => solved += 1,
            Err(e) => assert!(e.kind() != Kind::Solve, "{said}, {op:?}: {e}"),
        }
    }
    println!("{solved} circuits with values anywhere in their ranges, all solved");
    assert!(solved > 5000);
}

#[test]
fn no_demand_leaves_the_set_pressure_or_the_floor() {
    let b = named("Hill-climb car before, 0.7 bar");
    let p = point(b, &Operating::engine_off()).unwrap();
    let r = &p.regulators[0];
    assert!(p.engine_flow().value < 1e-12);
    assert!((p.pump_flow().value - p.return_flow().value).abs() < 1e-10);
    assert!(r.fuel >= r.cracking - 1.0);
    let tight = b.with("regulator.max_lift", "0.05 mm").unwrap();
    let p = point(&tight, &Operating::engine_off()).unwrap();
    let law = railrise::build::regulator_law(&tight.part("regulator").unwrap().values, p.density).unwrap();
    let r = &p.regulators[0];
    assert!((r.fuel - law.floor(r.flow, p.density, r.back)).abs() < 1.0 && r.fuel > r.cracking);
}

#[test]
fn no_wire_resistance_recovers_the_bench_and_a_huge_filter_takes_nothing() {
    let mut b = named("Hill-climb car before, 0.7 bar").clone();
    for key in ["feed_length", "return_length", "feed_contacts", "return_contacts", "wear", "required_margin"]
    {
        b.set_si(&format!("main pump.{key}"), 0.0).unwrap();
    }
    let law = b.pump_law("main pump").unwrap();
    for row in law.rows() {
        let op = Operating::at(rpm(3000.0), bar(0.0)).with_supply(volts(row.volts));
        let p = point(&b, &op).unwrap();
        let x = &p.pumps[0];
        assert!((x.running.volts - row.volts).abs() < 1e-12);
        let bench = b.pump("main pump").unwrap().flow_at(x.running.rise, row.volts, 0.0, p.viscosity);
        assert!((x.flow - bench).abs() < 1e-11);
    }
    // A filter of a hundred times the area: the loss at this flow is a hundredth.
    let op = Operating::at(rpm(6500.0), bar(0.7));
    let loss = |b: &Build| point(b, &op).unwrap().channel("fine filter loss").unwrap().si;
    let huge =
        b.with("fine filter.at_flow", "1000 L/h").unwrap().with("fine filter.loss", "0.1 kPa").unwrap();
    assert!(loss(&huge) < 60.0 && loss(&b) > 5e3);
    let mut none = b.clone();
    none.set_si("fine filter.loss", 0.0).unwrap();
    assert!(loss(&none).abs() < 1e-6);
    assert!(
        (point(&none, &op).unwrap().rail_pressure().pascals()
            - point(&huge, &op).unwrap().rail_pressure().pascals())
        .abs()
            < 100.0
    );
}

#[test]
fn a_lossless_loop_is_still_solved() {
    let mut b = named("Layout: twin rails with crossover").clone();
    for line in ["first branch", "second branch", "crossover", "trunk hose"] {
        b.set_si(&format!("{line}.length"), 0.0).unwrap();
        b.set_si(&format!("{line}.fittings"), 0.0).unwrap();
    }
    let p = point(&b, &Operating::at(rpm(6500.0), bar(0.7))).unwrap();
    assert!((p.junctions["first rail"] - p.junctions["second rail"]).abs() < 0.1);
}
