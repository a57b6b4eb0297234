//! Operating points a second: the fast form on one core and on all, and the same equations in vectorised numpy, in one
//! run, so that the ratio does not depend on what else the machine does.
//!
//! `cargo bench --no-default-features --bench points -- [python]`; without a Python that has numpy the ratio is left out.

use railrise::build::Build;
use railrise::quantity::*;
use railrise::steady::lanes::{Reduced, Sweep};
use railrise::steady::{Operating, point};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Twenty uncertain values of the demo car, between these ends.
const SPREAD: &[(&str, f64, f64)] = &[
    ("fuel.petrol_density", 725.0, 765.0),
    ("fuel.vapour_pressure", 50e3, 70e3),
    ("fuel.ethanol", 0.0, 0.10),
    ("fuel.temperature", 293.15, 331.15),
    ("engine.volumetric_efficiency", 0.97, 1.03),
    ("engine.compressor_efficiency", 0.665, 0.735),
    ("engine.intercooler_effectiveness", 0.66, 0.78),
    ("supply.voltage_offset", -0.5, 0.5),
    ("strainer.loss", 1e3, 1.5e4),
    ("main pump.flow_factor", 0.91, 1.09),
    ("main pump.wear", 0.0, 0.15),
    ("main pump.feed_contacts", 1.2e-2, 8e-2),
    ("feed hose.bore", 8.5e-3, 8.9e-3),
    ("feed hose.fittings", 3.6, 8.4),
    ("fine filter.dirt", 0.0, 5.0),
    ("regulator.base", 2.95e5, 3.05e5),
    ("return hose.fittings", 4.0, 6.0),
    ("injectors.flow_factor", 0.985, 1.015),
    ("injectors.cylinder_spread", 0.0, 0.02),
    ("control.air_error", -0.02, 0.02),
];

/// What is read out: gauge pressures in Pa, flow in m³/s.
const OUTPUTS: &[&str] = &["rail pressure", "return flow", "lambda"];

fn draws(n: usize) -> Vec<Vec<f64>> {
    let mut rng = ChaCha12Rng::seed_from_u64(1);
    SPREAD.iter().map(|(_, a, b)| (0..n).map(|_| a + (b - a) * rng.random::<f64>()).collect()).collect()
}

fn columns(of: &[Vec<f64>]) -> Vec<&[f64]> {
    of.iter().map(Vec::as_slice).collect()
}

/// Seconds of processor time of this process, user and system. Source: proc(5), fields 14 and 15 of stat, 100 a second.
fn processor_time() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    let fields: Vec<&str> = text.rsplit(')').next()?.split_whitespace().collect();
    Some((fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?) / 100.0)
}

fn main() {
    let path = format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR"));
    let build = Build::read(&path).expect("the demo car");
    let points: Vec<Operating> = (0..12)
        .map(|i| {
            let w = rpm(1500.0 + 500.0 * f64::from(i));
            Operating::at(w, pa(build.full_load_boost(w.value).expect("the pull's rows")))
        })
        .collect();
    let reduced = Reduced::of(&build).expect("the common circuit");
    let paths: Vec<&str> = SPREAD.iter().map(|s| s.0).collect();
    let sweep = Sweep::new(&reduced, &paths, &points, OUTPUTS).expect("known names");

    // Accuracy against the general solver.
    let few = draws(200);
    let found = sweep.run(&columns(&few)).expect("columns of one length");
    let mut worst = [0.0f64; 3];
    let mut truth = vec![[0.0; 3]; 200 * 12];
    let general = Instant::now();
    for draw in 0..200 {
        let mut car = build.clone();
        for (path, column) in paths.iter().zip(&few) {
            car.set_si(path, column[draw]).expect("inside its range");
        }
        for (p, op) in points.iter().enumerate() {
            let t = point(&car, op).expect("an answer");
            let t = [t.rail_pressure().pascals(), t.return_flow().value, t.lambda().expect("running")];
            truth[p * 200 + draw] = t;
            for o in 0..3 {
                worst[o] = worst[o].max((found.values[[p, o, draw]] - t[o]).abs());
            }
        }
    }
    let general = general.elapsed().as_secs_f64() / 2400.0 * 1e6;
    println!(
        "general solver {general:.2} us a point; fast form against it: {:.1e} Pa, {:.1e} m3/s, lambda {:.1e}",
        worst[0], worst[1], worst[2]
    );

    // The other side, started first so that both sides meet the same load in turn.
    let python = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let mut numpy = None;
    const N: usize = 20_000;
    let some = draws(N);
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let ours = || {
        let start = processor_time();
        let clock = Instant::now();
        let mut rounds = 0;
        while clock.elapsed().as_secs_f64() < 1.0 {
            one.install(|| std::hint::black_box(sweep.run(&columns(&some)).expect("columns")));
            rounds += 1;
        }
        let spent = match (start, processor_time()) {
            (Some(a), Some(b)) => b - a,
            _ => clock.elapsed().as_secs_f64(),
        };
        spent / (rounds * N * 12) as f64 * 1e6
    };
    let before = ours();
    if let Some(python) = python {
        numpy = with_numpy(&python, &build, &points, &few, &truth);
    }
    let after = ours();
    let us = 0.5 * (before + after);
    let e = one.install(|| sweep.run(&columns(&some)).expect("columns")).effort;
    println!(
        "fast form {us:.4} us of processor time a point on one core, draws and read-out included ({before:.4} before, \
         {after:.4} after numpy); {:.2} steps a point, {} of {} points alone, {} bracketed, {} general, {} without an answer",
        e.mean_steps(),
        e.alone,
        e.points,
        e.bracketed,
        e.general,
        e.failed
    );
    if let Some((their, off)) = numpy {
        println!("numpy {their:.4} us of processor time a point, {off:.1e} Pa from the general solver");
        println!("numpy over fast form: {:.2}", their / us);
    }

    // A million builds at twelve speeds.
    let many = draws(1_000_000);
    let (start, clock) = (processor_time(), Instant::now());
    let all = sweep.run(&columns(&many)).expect("columns");
    let wall = clock.elapsed().as_secs_f64();
    let lean = all.values.index_axis(ndarray::Axis(1), 2).iter().filter(|l| **l > 0.824).count();
    println!(
        "1e6 builds x 12 speeds: {wall:.2} s, {} threads, {:.0} % of one processor; {:.2} % of the points lean; {:?}",
        rayon::current_num_threads(),
        processor_time().zip(start).map_or(f64::NAN, |(b, a)| (b - a) / wall * 100.0),
        lean as f64 / 12e4,
        all.effort
    );
}

/// Hands values, points and the general solver's answers to the script; gives back its time a point and its error.
fn with_numpy(
    python: &str,
    build: &Build,
    points: &[Operating],
    few: &[Vec<f64>],
    truth: &[[f64; 3]],
) -> Option<(f64, f64)> {
    let law = build.pump_law("main pump").expect("a pump");
    let railrise::part::pump::Curve::Displacement { g, k, c } = law.pump.curve else {
        panic!("the demo pump is a displacement pump")
    };
    let base: serde_json::Map<String, serde_json::Value> =
        build.parameters().map(|(p, v)| (p, v.si.into())).collect();
    let injectors = &build.part("injectors").expect("injectors").values;
    let task = serde_json::json!({
        "base": base,
        "paths": SPREAD.iter().map(|s| s.0).collect::<Vec<_>>(),
        "draws": few,
        "points": points.iter().map(|op| {
            let w = op.speed().value;
            let row = |s: &str, k: &str| build.section(s).rows(k).expect("rows").interpolate(w, k).expect("inside");
            [w, op.boost().pascals(), row("engine", "ve_rows"), row("supply", "rows")]
        }).collect::<Vec<_>>(),
        "rail": truth.iter().map(|t| t[0]).collect::<Vec<_>>(),
        "pump": {"g": g, "k": k, "c": c, "armature": law.pump.armature, "idle": law.pump.idle_current,
                 "viscosity": law.pump.rated_viscosity, "flow": law.rows()[0].flow, "pressure": law.rows()[0].pressure},
        "dead": injectors.rows("dead_time_rows").expect("rows").data,
        // The state of the fuel is this library's in both: it is no part of the comparison.
        "fuel": (0..few[0].len()).map(|i| {
            let mut car = build.clone();
            for (s, column) in SPREAD.iter().zip(few) {
                car.set_si(s.0, column[i]).expect("inside its range");
            }
            let p = point(&car, &points[0]).expect("an answer");
            [p.density, p.viscosity, p.vapour_pressure, p.demand.expect("running").stoichiometric]
        }).collect::<Vec<_>>(),
    });
    let script = format!("{}/benches/points_numpy.py", env!("CARGO_MANIFEST_DIR"));
    let mut child =
        Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().ok()?;
    child.stdin.take()?.write_all(task.to_string().as_bytes()).ok()?;
    let out = child.wait_with_output().ok()?;
    let text = String::from_utf8_lossy(&out.stdout);
    let answer: serde_json::Value = serde_json::from_str(text.trim()).ok()?;
    println!("numpy {} with {} draws a block, {} steps", answer["version"], answer["block"], answer["steps"]);
    Some((answer["us"].as_f64()?, answer["off"].as_f64()?))
}
