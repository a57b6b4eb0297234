//! The fast form of the common circuit gives what the general solver gives.

use railrise::build::Build;
use railrise::quantity::*;
use railrise::steady::lanes::{Reduced, Sweep};
use railrise::steady::{Operating, headroom, point};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

fn text(name: &str) -> String {
    std::fs::read_to_string(format!("{}/datasets/hill-climb-car/{name}.toml", env!("CARGO_MANIFEST_DIR")))
        .unwrap()
}

const DEMOS: [&str; 4] = ["before-0.7-bar", "raised-1.4-bar", "cure-wiring", "cure-second-pump"];

/// The demo builds, and the same with other kinds of parts and control.
fn builds() -> Vec<(String, Build)> {
    let mut out: Vec<(String, String)> = DEMOS.iter().map(|n| ((*n).to_owned(), text(n))).collect();
    let raised = text("raised-1.4-bar");
    let twin = text("cure-second-pump");
    let control =
        |t: &str, word: &str| t.replace("compensation = \"none\"", &format!("compensation = \"{word}\""));
    let kind = |t: &str| t.replace("kind = \"pump\"", "kind = \"pump\"\nprinciple = \"regenerative\"");
    let key = |t: &str, part: &str, line: &str| {
        let head = format!("kind = \"{part}\"");
        t.replace(&head, &format!("{head}\n{line}"))
    };
    out.push(("impeller".into(), kind(&raised)));
    out.push(("twin impellers".into(), kind(&twin)));
    out.push(("measured difference".into(), control(&raised, "rail sensor")));
    out.push((
        "fixed rail".into(),
        control(&raised, "base less manifold").replace("reference = \"manifold\"", "reference = \"air\""),
    ));
    out.push(("wrong port".into(), raised.replace("reference = \"manifold\"", "reference = \"intake\"")));
    out.push((
        "charge pipe".into(),
        raised.replace("reference = \"manifold\"", "reference = \"charge pipe\""),
    ));
    let staged =
        twin.replace("[part.\"second pump\"]", "[part.\"second pump\"]\non_above_boost = \"0.5 bar\"");
    out.push(("staged pump".into(), staged));
    out.push(("low relief".into(), key(&raised, "pump", "relief = \"4.2 bar\"")));
    out.push(("impeller, low relief".into(), kind(&key(&raised, "pump", "relief = \"4.2 bar\""))));
    out.push((
        "leaking injectors".into(),
        key(&raised, "injectors", "static_leak = \"20 cc/min\"\nshort_pulse = \"3 ms\""),
    ));
    out.push(("leaking valves".into(), key(&twin, "check valve", "leak = \"1e12 Pa·s/m³\"")));
    let hose = "parts = [\"short hose\", \"regulator\", \"return hose\"]";
    let tee = raised.replace("parts = [\"regulator\", \"return hose\"]", hose).replace(
        "[[leg]]\nname = \"supply\"",
        "[part.\"short hose\"]\nkind = \"line\"\nlength = \"0.4 m\"\nbore = \"6 mm\"\nfittings = \"2\"\nrise = \"-0.1 m\"\n\n[[leg]]\nname = \"supply\"",
    );
    out.push(("hose to the regulator".into(), tee));
    out.into_iter()
        .map(|(n, t)| (n.clone(), Build::from_toml(&t).unwrap_or_else(|e| panic!("{n}: {e}"))))
        .collect()
}

/// Values that are drawn, between these ends; far wider than any car.
const HARSH: &[(&str, f64, f64)] = &[
    ("fuel.petrol_density", 700.0, 780.0),
    ("fuel.vapour_pressure", 40e3, 70e3),
    ("fuel.ethanol", 0.0, 0.85),
    ("fuel.temperature", 263.0, 318.0),
    ("ambient.pressure", 85e3, 105e3),
    ("ambient.temperature", 263.0, 318.0),
    ("engine.volumetric_efficiency", 0.5, 1.3),
    ("engine.lambda", 0.7, 1.1),
    ("engine.compressor_efficiency", 0.5, 0.8),
    ("engine.intercooler_effectiveness", 0.2, 0.9),
    ("engine.displacement", 1.6e-3, 2.8e-3),
    ("control.dead_time_error", -3e-4, 3e-4),
    ("control.air_error", -0.2, 0.2),
    ("control.fuel_density", 700.0, 780.0),
    ("reading.manifold_offset", -5e3, 5e3),
    ("supply.voltage_offset", -3.0, 1.0),
    ("strainer.loss", 0.0, 8e3),
    ("strainer.blocked", 0.0, 0.5),
    ("strainer.dirt", 0.0, 4.0),
    ("strainer.head", -0.3, 0.4),
    ("main pump.wear", 0.0, 0.6),
    ("main pump.flow_factor", 0.6, 1.5),
    ("main pump.feed_contacts", 5e-3, 0.4),
    ("main pump.feed_length", 1.0, 8.0),
    ("main pump.wire_area", 1e-6, 6e-6),
    ("main pump.wire_temperature", 253.0, 373.0),
    ("main pump.required_margin", 0.0, 2e4),
    ("second pump.wear", 0.0, 0.9),
    ("second pump.feed_contacts", 5e-3, 1.5),
    ("check valve.cracking", 0.0, 2e4),
    ("check valve.bore", 3e-3, 8e-3),
    ("feed hose.bore", 4e-3, 10e-3),
    ("feed hose.roughness", 0.0, 2e-5),
    ("feed hose.rise", -0.5, 0.5),
    ("feed hose.fittings", 0.0, 20.0),
    ("fine filter.dirt", 0.0, 15.0),
    ("regulator.base", 2.0e5, 5.5e5),
    ("regulator.diaphragm", 24e-3, 36e-3),
    ("regulator.seat", 3e-3, 9e-3),
    ("regulator.spring_rate", 5e3, 9e4),
    ("regulator.max_lift", 5e-5, 2.5e-3),
    ("regulator.reference_leak", 0.0, 0.5),
    ("regulator.screw", -3.0, 3.0),
    ("regulator.seized", 0.0, 2e4),
    ("return hose.bore", 3e-3, 9e-3),
    ("return hose.length", 0.0, 8.0),
    ("injectors.flow_factor", 0.5, 1.5),
    ("injectors.dead_time", 0.0, 4e-4),
    ("injectors.test_density", 660.0, 760.0),
];

fn pull(build: &Build) -> Vec<Operating> {
    (0..12)
        .map(|i| {
            let w = rpm(1200.0 + f64::from(i) * 525.0);
            Operating::at(w, pa(build.full_load_boost(w.value).unwrap()))
        })
        .chain([
            Operating::at(rpm(900.0), bar(-0.65)),
            Operating::engine_off(),
            Operating::engine_off().with_air_on_the_reference(bar(1.4)).with_supply(volts(13.5)),
            Operating::at(rpm(5000.0), bar(0.3)).with_fuel_at(degc(50.0)).asking_for(1.3),
            Operating::at(rpm(3000.0), bar(0.2)).with_the_reference_hose_off(),
        ])
        .collect()
}

/// Tolerance of a figure: what a solver's last step may leave.
fn tolerance(name: &str, expected: f64) -> f64 {
    let size = expected.abs();
    if name.contains("pressure") || name.contains("margin") || name.ends_with("rise") {
        0.05
    } else if name.contains("flow") && !name.contains("air") {
        1e-12 + 1e-9 * size
    } else if name.ends_with("lift") {
        1e-10
    } else if name == "supply headroom" {
        1e-7 * (1.0 + size)
    } else {
        2e-8 * size.max(1e-3)
    }
}

fn names(build: &Build) -> Vec<String> {
    let mut out: Vec<String> = [
        "manifold pressure",
        "supply voltage",
        "rail pressure",
        "differential pressure",
        "pump flow",
        "engine flow",
        "return flow",
        "pump current",
        "pump voltage",
        "asked flow",
        "air flow",
        "charge temperature",
        "lambda",
        "worst lambda",
        "target lambda",
        "pulse width",
        "duty",
        "regulator lift",
        "regulator return pressure",
        "supply headroom",
        "regulator mode",
    ]
    .map(String::from)
    .to_vec();
    for (name, _) in build.parts_of("pump") {
        for what in ["flow", "rise", "current", "voltage", "inlet margin", "wiring drop"] {
            out.push(format!("{name} {what}"));
        }
    }
    out
}

/// Draws of every value between its ends, some at an end.
fn draws(
    rng: &mut ChaCha12Rng,
    ends: &[(&str, f64, f64)],
    n: usize,
    wide: f64,
    build: &Build,
) -> Vec<Vec<f64>> {
    ends.iter()
        .map(|(path, low, high)| {
            let now = build.si(path).unwrap();
            (0..n)
                .map(|_| {
                    let x = low + (high - low) * rng.random::<f64>();
                    now + wide * (x - now)
                })
                .collect()
        })
        .collect()
}

#[derive(Default)]
struct Seen {
    points: usize,
    worst: Vec<(f64, String)>,
}

fn compare(
    name: &str,
    build: &Build,
    n: usize,
    wide: f64,
    seen: &mut Seen,
) -> railrise::steady::lanes::Effort {
    let mut rng = ChaCha12Rng::seed_from_u64(20_261_125);
    let ends: Vec<_> = HARSH.iter().copied().filter(|(p, ..)| build.si(p).is_ok()).collect();
    let paths: Vec<&str> = ends.iter().map(|e| e.0).collect();
    let columns = draws(&mut rng, &ends, n, wide, build);
    let inputs: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let points = pull(build);
    let names = names(build);
    let outputs: Vec<&str> = names.iter().map(String::as_str).collect();
    let reduced = Reduced::of(build).unwrap_or_else(|| panic!("{name} is a common circuit"));
    let sweep = Sweep::new(&reduced, &paths, &points, &outputs).unwrap();
    let results = sweep.run(&inputs).unwrap();
    for draw in 0..n {
        let mut car = build.clone();
        for (path, column) in paths.iter().zip(&columns) {
            car.set_si(path, column[draw]).unwrap();
        }
        for (p, op) in points.iter().enumerate() {
            seen.points += 1;
            let truth = point(&car, op).unwrap_or_else(|e| panic!("{name}, draw {draw}, {op:?}: {e}"));
            let channels = truth.channels();
            for (o, figure) in outputs.iter().enumerate() {
                let found = results.values[[p, o, draw]];
                let expected = match *figure {
                    "supply headroom" if truth.demand.is_none() => continue,
                    // The pump does not reach the pressure at all.
                    "supply headroom" if found < -0.99 => continue,
                    "supply headroom" => match headroom(&car, op) {
                        Ok(h) => h,
                        Err(_) => continue,
                    },
                    "regulator mode" => match truth.regulators[0].mode {
                        railrise::part::regulator::Mode::Closed => 0.0,
                        railrise::part::regulator::Mode::Control => 1.0,
                        railrise::part::regulator::Mode::FullLift => 2.0,
                        railrise::part::regulator::Mode::HeldOpen => 3.0,
                    },
                    f => match channels.get(f) {
                        Some(a) => a.si,
                        None => continue,
                    },
                };
                let mut allowed = tolerance(figure, expected);
                if figure.ends_with("lambda") {
                    allowed = expected * (1e-9 + 1e-12 / truth.engine_flow().value);
                }
                // Injectors whose flow does not depend on pressure leave the general solver's pressures loose.
                // Between shut valves 1e-16 m3/s is a pascal, and both solvers end there.
                if truth.engine_flow().value < 1e-10 && truth.return_flow().value == 0.0 {
                    allowed *= 100.0;
                }
                if truth.effort.residual > 1.1e-3 {
                    allowed *= 1e3 * truth.effort.residual * 10.0;
                }
                let off = (found - expected).abs() / allowed;
                if !(off <= 1.0) && found != expected {
                    seen.worst.push((
                        off,
                        format!(
                            "{name}, draw {draw}, {:.0} rpm {:.2} bar, {figure}: {found:e}, general {expected:e} \
                             (residual {:.1e} Pa, {:.1e} m3/s, mode {:?})",
                            op.speed().value * 9.549_297,
                            op.boost().pascals() / 1e5,
                            truth.effort.residual,
                            truth.effort.imbalance,
                            truth.regulators[0].mode,
                        ),
                    ));
                }
            }
        }
    }
    results.effort
}

fn hold(seen: &mut Seen) {
    seen.worst.sort_by(|a, b| b.0.total_cmp(&a.0));
    // The worst of each figure tells what is off.
    let mut told = std::collections::BTreeSet::new();
    seen.worst.retain(|(_, what)| what.contains("NaN") || told.insert(figure_of(what)));
    let shown: Vec<_> =
        seen.worst.iter().take(45).map(|(off, what)| format!("{off:.3e} x: {what}")).collect();
    assert!(
        seen.worst.is_empty(),
        "{} figures of {} points are off\n{}",
        seen.worst.len(),
        seen.points,
        shown.join("\n")
    );
}

fn figure_of(what: &str) -> String {
    let figure = what.split(", ").last().unwrap_or_default();
    what.split(':').next().and_then(|w| w.rsplit(", ").next()).unwrap_or(figure).to_owned()
}

#[test]
fn every_layout_agrees_with_the_general_solver_near_its_values() {
    let mut seen = Seen::default();
    for (name, build) in builds() {
        let effort = compare(&name, &build, 24, 0.1, &mut seen);
        println!("{name}: {effort:?}, {:.2} steps", effort.mean_steps());
    }
    println!("{} points", seen.points);
    hold(&mut seen);
}

#[test]
fn every_layout_agrees_with_the_general_solver_in_harsh_cases() {
    let mut seen = Seen::default();
    for (name, build) in builds() {
        let effort = compare(&name, &build, 48, 1.0, &mut seen);
        println!("{name}: {effort:?}, {:.2} steps", effort.mean_steps());
    }
    println!("{} points", seen.points);
    hold(&mut seen);
}

/// What the demo car does not know for certain, at its values' own ends.
const SPREAD: &[(&str, f64, f64)] = &[
    ("fuel.petrol_density", 725.0, 765.0),
    ("fuel.ethanol", 0.0, 0.10),
    ("fuel.temperature", 293.15, 331.15),
    ("engine.volumetric_efficiency", 0.97, 1.03),
    ("supply.voltage_offset", -0.5, 0.5),
    ("strainer.loss", 1e3, 1.5e4),
    ("main pump.flow_factor", 0.91, 1.09),
    ("main pump.wear", 0.0, 0.15),
    ("main pump.feed_contacts", 1.2e-2, 8e-2),
    ("feed hose.bore", 8.5e-3, 8.9e-3),
    ("fine filter.dirt", 0.0, 5.0),
    ("regulator.base", 2.95e5, 3.05e5),
    ("injectors.flow_factor", 0.985, 1.015),
];

fn along_the_pull(build: &Build) -> Vec<Operating> {
    pull(build).into_iter().take(12).collect()
}

/// Newton steps a point, pinned so that a slower start shows: afresh at every point, and along the pull.
#[test]
fn effort_over_the_demo_builds_is_as_it_was() {
    let (mut cold, mut warm) = ((0, 0), (0, 0));
    for name in DEMOS {
        let build = Build::from_toml(&text(name)).unwrap();
        let reduced = Reduced::of(&build).unwrap();
        let mut rng = ChaCha12Rng::seed_from_u64(7);
        let columns = draws(&mut rng, SPREAD, 256, 1.0, &build);
        let inputs: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
        let paths: Vec<&str> = SPREAD.iter().map(|s| s.0).collect();
        let points = along_the_pull(&build);
        let run = |p: &[Operating]| {
            Sweep::new(&reduced, &paths, p, &["rail pressure"]).unwrap().run(&inputs).unwrap().effort
        };
        for p in &points {
            let e = run(std::slice::from_ref(p));
            let one_by_one = e.alone + e.bracketed;
            assert!(e.failed + e.general == 0 && 20 * one_by_one <= e.points, "{name}: {e:?}");
            cold = (cold.0 + e.steps, cold.1 + e.settled);
        }
        let e = run(&points);
        assert!(e.failed + e.general == 0 && 20 * (e.alone + e.bracketed) <= e.points, "{name}: {e:?}");
        warm = (warm.0 + e.steps, warm.1 + e.settled);
    }
    let mean = |(steps, points): (u64, u64)| steps as f64 / points as f64;
    let (cold, warm) = (mean(cold), mean(warm));
    println!("{cold:.3} steps afresh, {warm:.3} along the pull");
    assert!(
        (cold - COLD).abs() < 0.02 && (warm - WARM).abs() < 0.02,
        "{cold:.3} afresh, {warm:.3} along the pull"
    );
}

const COLD: f64 = 3.313;
const WARM: f64 = 2.647;

#[test]
fn a_draw_knows_neither_its_neighbours_nor_the_threads() {
    let build = Build::from_toml(&text("cure-second-pump")).unwrap();
    let reduced = Reduced::of(&build).unwrap();
    let ends: Vec<_> = HARSH.iter().copied().filter(|(p, ..)| build.si(p).is_ok()).collect();
    let paths: Vec<&str> = ends.iter().map(|e| e.0).collect();
    let mut rng = ChaCha12Rng::seed_from_u64(3);
    let columns = draws(&mut rng, &ends, 5000, 0.5, &build);
    let sweep = Sweep::new(
        &reduced,
        &paths,
        &along_the_pull(&build),
        &["rail pressure", "lambda", "supply headroom"],
    )
    .unwrap();
    let all: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    let whole = sweep.run(&all).unwrap();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let alone = one.install(|| sweep.run(&all)).unwrap();
    assert_eq!(whole.effort, alone.effort);
    for shift in [3, 2051] {
        let later: Vec<&[f64]> = columns.iter().map(|c| &c[shift..]).collect();
        let part = sweep.run(&later).unwrap();
        for ((p, o, draw), y) in part.values.indexed_iter() {
            assert_eq!(y.to_bits(), whole.values[[p, o, draw + shift]].to_bits(), "{p} {o} {draw}");
        }
    }
    assert!(whole.values.iter().zip(&alone.values).all(|(a, b)| a.to_bits() == b.to_bits()));
}

#[test]
fn a_refused_draw_is_kept_with_its_reason() {
    let build = Build::from_toml(&text("raised-1.4-bar")).unwrap();
    let reduced = Reduced::of(&build).unwrap();
    let points = along_the_pull(&build);
    let sweep =
        Sweep::new(&reduced, &["main pump.wear", "ambient.pressure"], &points, &["rail pressure"]).unwrap();
    let wear = [0.05, 2.0, 0.05, 0.05];
    let ambient = [101e3, 101e3, 42e3, 101e3];
    let results = sweep.run(&[&wear, &ambient]).unwrap();
    assert_eq!(results.failed[0].draw, 1);
    assert!(results.failed[0].why.to_string().contains("wear"), "{}", results.failed[0].why);
    for (p, asked) in points.iter().enumerate() {
        assert!(results.values[[p, 0, 1]].is_nan());
        assert_eq!(results.values[[p, 0, 0]].to_bits(), results.values[[p, 0, 3]].to_bits());
        // At 42 kPa outside the compressor is asked for more than its law covers, or it is solved as the solver does.
        let mut high = build.clone();
        high.set_si("ambient.pressure", 42e3).unwrap();
        high.set_si("main pump.wear", 0.05).unwrap();
        match point(&high, asked) {
            Ok(truth) => assert!((results.values[[p, 0, 2]] - truth.rail_pressure().pascals()).abs() < 0.05),
            Err(_) => assert!(results.failed.iter().any(|f| f.draw == 2 && f.point == Some(p))),
        }
    }
    let counted = results.values.iter().filter(|y| y.is_nan()).count() as u64;
    assert_eq!(results.effort.failed, counted);
    assert_eq!(results.effort.points, 4 * points.len() as u64);
}

#[test]
fn other_layouts_are_left_to_the_general_solver() {
    let raised = text("raised-1.4-bar");
    let controlled = raised
        .replace("kind = \"pump\"", "kind = \"pump\"\nspeed_control = \"rail\"")
        .replace("[control]", "[control]\nrail_target = \"4 bar\"");
    assert!(Reduced::of(&Build::from_toml(&controlled).unwrap()).is_none());
    let reduced = Reduced::of(&Build::from_toml(&raised).unwrap()).unwrap();
    for (path, says) in
        [("main pump.rated_speed", "identified"), ("main pump.waer", "wear"), ("pump.wear", "main pump")]
    {
        let error = reduced.slot(path).unwrap_err().to_string();
        assert!(error.contains(says), "{error}");
    }
    let op = [Operating::at(rpm(3000.0), bar(0.5))];
    let error = Sweep::new(&reduced, &[], &op, &["rail presure"]).unwrap_err().to_string();
    assert!(error.contains("rail pressure"), "{error}");
}
