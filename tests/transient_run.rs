//! Builds run through schedules: the steady point as the fixed point, presets, ledger, refusals, files.

use crate::support::demo_car::{car, damped, finished};
use railrise::build::Build;
use railrise::part::injector::DeadTime;
use railrise::quantity::{bar, degc, gauge, kpa, ms, rpm, s, volts};
use railrise::schedule::{Schedule, Track, Until};
use railrise::steady::{Operating, point};
use railrise::transient::network::EventKind;
use railrise::transient::{Options, Solution, Stepper, Stopped, Traces, modes, run, run_watched};
use std::ops::ControlFlow;

// A rail so soft that pulses do not move it, and a hose that damps: there the two models coincide.
#[test]
fn the_steady_point_is_the_fixed_point_of_the_transient() {
    for (name, speed, boost) in [("before-0.7-bar", 6500.0, 0.7), ("before-0.7-bar", 3000.0, 0.2)] {
        // A rail that cannot move feeds any swing of the return hose through the seat: a short wide one does not swing.
        let build = car(name).with("return hose.length", "0.3 m").expect("a known key");
        let build = build.with("return hose.bore", "14 mm").expect("a known key");
        let o =
            Options { damper: 2e-8, tolerance: 0.1, warm_up: 8.0, poppet: Some((200.0, 3e-3)), ..damped() };
        let cycle = 120.0 / speed;
        let held = Schedule::hold(rpm(speed), bar(boost), s(16.0 * cycle));
        let sol = finished(&build, &held, &Options { sample: cycle / 200.0, ..o });
        let steady = point(&build, &Operating::at(rpm(speed), bar(boost))).expect("solves");
        let rail = sol.mean("rail pressure", s(0.0), s(16.0 * cycle)).expect("recorded").si;
        let injected: f64 = sol.ledger.injectors.values().sum();
        let wanted = steady.engine_flow().value * 16.0 * cycle;
        assert!(
            (rail - steady.rail_pressure().pascals()).abs() < 5.0,
            "{rail} {}",
            steady.rail_pressure().pascals()
        );
        assert!((injected / wanted - 1.0).abs() < 1e-4, "{injected} {wanted}");
    }
}

#[test]
fn fuel_is_conserved_and_halving_the_tolerance_moves_no_headline_by_a_thousandth() {
    let build = car("before-0.7-bar");
    let held = Schedule::hold(rpm(6500.0), bar(0.7), s(0.5));
    // A return hose wide enough not to boil, so that the answer is smooth in its inputs.
    let build = build.with("return hose.bore", "12 mm").expect("a known key");
    let headline = |tolerance: f64, stepper: Stepper| {
        let sol = finished(&build, &held, &Options { tolerance, stepper, ..damped() });
        let moved: f64 = sol.ledger.injectors.values().sum();
        assert!(sol.ledger.imbalance.abs() < 1e-9 * moved, "{:e} of {moved:e}", sol.ledger.imbalance);
        let rail = sol.mean("rail pressure", s(0.2), s(0.5)).expect("recorded").si;
        let lowest = sol.range("differential pressure").expect("recorded").0.si;
        [rail, lowest, moved, sol.mean("main pump current", s(0.2), s(0.5)).expect("recorded").si]
    };
    let (one, half, other) =
        (headline(1.0, Stepper::Tsit5), headline(0.5, Stepper::Tsit5), headline(1.0, Stepper::Rodas4));
    for k in 0..4 {
        assert!((one[k] / half[k] - 1.0).abs() < 1e-3, "{k}: {one:?} {half:?}");
        assert!((one[k] / other[k] - 1.0).abs() < 1e-3, "{k}: {one:?} {other:?}");
    }
}

#[test]
fn a_boost_step_dips_by_slew_times_lag_and_scheduling_is_told_apart_from_hydraulics() {
    let build = car("before-0.7-bar").with("return hose.bore", "12 mm").expect("a known key");
    let build = build.with("regulator.reference_lag", "20 ms").expect("a known key");
    let step = Schedule::boost_step(rpm(4000.0), bar(0.0), bar(0.6), ms(300.0), s(0.6));
    let sol = finished(&build, &step, &damped());
    let early = sol.mean("differential pressure", s(0.05), s(0.19)).expect("recorded").si;
    let ramp = sol.mean("differential pressure", s(0.35), s(0.48)).expect("recorded").si;
    // Dip = slew times lag, 0.6 bar/0.3 s times 20 ms = 4 kPa, less what the reference gain above one and the changing
    // by-pass give back.
    assert!((2.0e3..6.0e3).contains(&(early - ramp)), "{early} {ramp}");
    let during: Vec<_> = sol.pulses.iter().filter(|p| (0.3..0.48).contains(&p.commanded)).collect();
    assert!(during.len() > 10);
    for p in during {
        // The engine asks for more by the end of the pulse than at its start.
        assert!(p.scheduling_error() < -0.001 && p.scheduling_error() > -0.08, "{}", p.scheduling_error());
    }
    let calm = sol.pulses.iter().filter(|p| p.closed < 0.2).map(|p| p.scheduling_error().abs());
    assert_eq!(calm.fold(0.0, f64::max), 0.0);
}

#[test]
fn putting_the_reference_hose_on_drops_the_rail_by_the_vacuum() {
    let build = car("before-0.7-bar");
    let sol = finished(
        &build,
        &Schedule::idle_hose_off_on(rpm(900.0), bar(-0.65), bar(-0.65), s(0.5), s(1.5)),
        &damped(),
    );
    let off = sol.mean("rail pressure", s(0.1), s(0.5)).expect("recorded").si;
    let on = sol.mean("rail pressure", s(1.0), s(1.5)).expect("recorded").si;
    // The reference gain is a little above one.
    assert!((0.63e5..0.72e5).contains(&(off - on)), "{off} {on}");
}

#[test]
fn a_pump_failure_ends_at_the_condition_asked_for() {
    let build = car("before-0.7-bar");
    let fail = Schedule::pump_failure(rpm(6500.0), bar(0.7), s(0.2), s(3.0))
        .until(Until::difference_below(kpa(200.0)));
    let sol = run(&build, &fail, &damped()).expect("valid");
    let Stopped::Until { t } = sol.stopped else { panic!("{}", sol.stopped) };
    assert!(t > 0.2 && t < 0.5, "{t}");
    assert!(sol.events.iter().any(|e| matches!(e.kind, EventKind::Until)));
    let last = &sol.channel("differential pressure").expect("recorded").values;
    assert!(last[last.len() - 1] > 1.9e5 && last[last.len() - 1] < 2.4e5);
}

#[test]
fn a_prime_leaves_residual_pressure_and_a_hot_soak_raises_it() {
    let build = car("before-0.7-bar");
    let sol = finished(&build, &Schedule::key_on_prime(s(2.0), s(4.0)), &damped());
    assert!(sol.at("rail pressure", s(0.0)).expect("recorded").si.abs() < 1.0);
    let held = sol.at("rail pressure", s(3.9)).expect("recorded").si;
    assert!((2.0e5..3.2e5).contains(&held), "{held}");
    let leak = build.with("check valve.leak", "3e11 Pa·s/m³").expect("a known key");
    let down = finished(&leak, &Schedule::leak_down(s(6.0)), &damped());
    let end = down.at("rail pressure", s(5.9)).expect("recorded").si;
    assert!(end < 0.8 * held, "{end} {held}");
    let soak = finished(&build, &Schedule::hot_soak(degc(35.0), degc(50.0), s(20.0)), &damped());
    let (first, last) = (
        soak.at("rail pressure", s(2.0)).expect("recorded").si,
        soak.at("rail pressure", s(19.9)).expect("recorded").si,
    );
    // Closed lines: the pressure climbs until the regulator's seat lifts again.
    assert!(last > first - 2e3 && last < 4.0e5, "{first} {last}");
    assert!(soak.ledger.imbalance.abs() < 1e-12, "{:e}", soak.ledger.imbalance);
}

#[test]
fn a_voltage_sag_slows_the_pump_and_lengthens_the_dead_time() {
    let build = car("before-0.7-bar");
    let sol = finished(
        &build,
        &Schedule::voltage_sag(rpm(3000.0), bar(0.0), volts(13.8), volts(11.0), s(2.0)),
        &damped(),
    );
    let flow = |a, b| sol.mean("pump flow", s(a), s(b)).expect("recorded").si;
    assert!(flow(0.8, 1.2) < 0.9 * flow(0.2, 0.5));
    let width = |a: f64, b: f64| {
        let all: Vec<f64> =
            sol.pulses.iter().filter(|p| p.commanded > a && p.commanded < b).map(|p| p.width).collect();
        all.iter().sum::<f64>() / all.len() as f64
    };
    assert!(width(0.8, 1.2) > width(0.2, 0.5) + 2e-4);
}

#[test]
fn a_loaded_pull_runs_through_the_speed_range_and_the_lean_car_runs_short() {
    let points: Vec<_> = [(2000.0, 0.2), (3000.0, 0.85), (3800.0, 1.4), (7000.0, 1.4)]
        .into_iter()
        .map(|(n, p)| (rpm(n), gauge(bar(p))))
        .collect();
    let pull = Schedule::loaded_pull(rpm(2500.0), rpm(6800.0), s(3.0), &points).expect("rising speeds");
    let sol = finished(&car("raised-1.4-bar"), &pull, &damped());
    let early = sol.mean("differential pressure", s(0.2), s(0.6)).expect("recorded").si;
    let late = sol.mean("differential pressure", s(2.6), s(3.0)).expect("recorded").si;
    assert!(late < early - 1e4, "{early} {late}");
}

#[test]
fn a_watched_run_can_be_cancelled_and_keeps_what_it_had() {
    let build = car("before-0.7-bar");
    let mut seen = Vec::new();
    let sol = run_watched(&build, &Schedule::hold(rpm(3000.0), bar(0.0), s(2.0)), &damped(), &mut |f| {
        seen.push(f);
        if f > 0.3 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })
    .expect("valid");
    let Stopped::Cancelled { t } = sol.stopped else { panic!("{}", sol.stopped) };
    assert!(t > 0.6 && t < 0.65, "{t}");
    assert!(seen.len() > 20 && sol.t.len() > 2500);
    assert!(sol.channel("rail pressure").expect("recorded").values.len() == sol.t.len());
}

#[test]
fn traces_come_back_from_a_file_digit_for_digit() {
    let sol = finished(&car("before-0.7-bar"), &Schedule::hold(rpm(3000.0), bar(0.0), s(0.05)), &damped());
    let text = sol.traces().to_csv();
    assert_eq!(Traces::from_csv(&text).expect("reads"), sol.traces());
    let broken = text.replacen("\n0,", "\nzero,", 1);
    let e = Traces::from_csv(&broken).expect_err("refused").to_string();
    assert!(e.contains("zero") && e.contains("time"), "{e}");
    let unknown = sol.channel("rail presure").expect_err("refused").to_string();
    assert!(unknown.contains("rail pressure"), "{unknown}");
}

#[cfg(all(feature = "arrow", feature = "page"))]
#[test]
fn traces_come_back_from_an_arrow_file_to_the_bit() {
    let sol = finished(&car("before-0.7-bar"), &Schedule::hold(rpm(3000.0), bar(0.0), s(0.05)), &damped());
    let folder = tempfile::tempdir().expect("a folder");
    // Left where the outside check looks for it, when it is asked for.
    let path =
        std::env::var_os("RAILRISE_TRACES").map_or_else(|| folder.path().join("run.arrow"), Into::into);
    sol.traces().save_arrow(&path).expect("written");
    let mut text = path.clone().into_os_string();
    text.push(".csv");
    sol.traces().save_csv(&text).expect("written");
    let back = Traces::load_arrow(&path).expect("reads");
    assert_eq!(back, sol.traces());
    let same = |a: &ndarray::Array1<f64>, b: &ndarray::Array1<f64>| {
        a.iter().zip(b).all(|(a, b)| a.to_bits() == b.to_bits())
    };
    assert!(
        same(&back.t, &sol.t) && back.channels.iter().all(|(n, c)| same(&c.values, &sol.channels[n].values))
    );
    std::fs::write(folder.path().join("no.arrow"), "time,rail").expect("written");
    let e = Traces::load_arrow(folder.path().join("no.arrow")).expect_err("refused").to_string();
    assert!(e.contains("no.arrow") && e.contains("Arrow"), "{e}");
    let e = Traces::load_arrow(folder.path().join("missing.arrow")).expect_err("refused").to_string();
    assert!(e.contains("no such file"), "{e}");
}

#[test]
fn decimation_keeps_slow_motion_and_lets_nothing_fast_fold_down() {
    let mut sol = finished(&car("before-0.7-bar"), &Schedule::hold(rpm(3000.0), bar(0.0), s(0.4)), &damped());
    let n = sol.t.len();
    let wave = |f: f64| (0..n).map(|k| (2.0 * std::f64::consts::PI * f * k as f64 * 2e-4).sin()).collect();
    // 240 Hz sampled at 250 Hz without a filter would come down as 10 Hz.
    for (name, f) in [("slow", 10.0), ("fast", 240.0)] {
        let channel = railrise::transient::Channel {
            values: wave(f),
            ..sol.channel("boost").expect("recorded").clone()
        };
        sol.channels.insert(name.to_owned(), channel);
    }
    let thin = sol.decimated(20);
    assert_eq!(thin.t.len(), n.div_ceil(20));
    let inner = |name: &str| {
        let v = &thin.channel(name).expect("recorded").values;
        v.iter().skip(8).take(v.len() - 16).fold(0.0f64, |m, x| m.max(x.abs()))
    };
    assert!(inner("slow") > 0.99 && inner("fast") < 0.01, "{} {}", inner("slow"), inner("fast"));
}

#[test]
fn what_cannot_be_imposed_is_refused_by_key() {
    let build = car("before-0.7-bar");
    let held = Schedule::hold(rpm(3000.0), bar(0.0), s(1.0));
    let refused = |s: &Schedule, o: &Options| run(&build, s, o).expect_err("refused").to_string();
    assert!(refused(&Schedule { seconds: -1.0, ..held.clone() }, &damped()).contains("seconds"));
    assert!(refused(&Schedule { rpm: Track::constant(1e9), ..held.clone() }, &damped()).contains("rpm"));
    assert!(refused(&held, &Options { rail_volume: 0.0, ..damped() }).contains("rail_volume"));
    assert!(refused(&held, &Options { tolerance: f64::NAN, ..damped() }).contains("tolerance"));
    assert!(refused(&held, &Options { poppet: Some((20.0, 0.0)), ..damped() }).contains("moving_mass"));
    assert!(DeadTime::table(vec![10.0, 12.0], vec![1e5], &[vec![1e-3], vec![f64::NAN]]).is_err());
}

#[test]
fn small_motions_name_the_poppet_and_the_hoses() {
    let build = car("before-0.7-bar");
    let all = modes(&build, &Schedule::hold(rpm(3000.0), bar(0.0), s(1.0)), &damped()).expect("valid");
    assert!(all.iter().any(|(m, name)| name.contains("regulator") && m.frequency > 50.0), "{all:?}");
    assert!(
        all.iter().any(|(m, name)| name.contains("hose") && (10.0..300.0).contains(&m.frequency)),
        "{all:?}"
    );
    assert!(all.windows(2).all(|w| w[0].0.damping <= w[1].0.damping));
}

// Wherever the port is joined, time ends where the steady circuit stands.
#[test]
fn a_reference_off_the_manifold_is_felt_as_the_steady_circuit_has_it() {
    for (port, boost) in [("charge pipe", -0.4), ("charge pipe", 0.5), ("intake", 0.5), ("air", 0.5)] {
        let build = car("before-0.7-bar").with("regulator.reference", port).expect("a known key");
        let build = build.with("engine.intake_loss", "5 kPa").expect("a known key");
        let steady = point(&build, &Operating::at(rpm(3000.0), bar(boost))).expect("solves");
        let sol = finished(&build, &Schedule::hold(rpm(3000.0), bar(boost), s(0.4)), &damped());
        let felt = sol.mean("regulator reference", s(0.1), s(0.4)).expect("recorded").si;
        let wanted = match (port, boost > 0.0) {
            ("charge pipe", true) => 0.5e5,
            ("intake", true) => -5e3,
            _ => 0.0,
        };
        assert!((felt - wanted).abs() < 1.0, "{port} {boost}: {felt}");
        let rail = sol.mean("rail pressure", s(0.1), s(0.4)).expect("recorded").si;
        let steady = steady.rail_pressure().pascals();
        assert!((rail - steady).abs() < 1.5e3, "{port} {boost}: {rail} {steady}");
    }
}

// What a test puts on the port stands, wherever its hose goes and whatever the hose loses.
#[test]
fn a_reference_that_is_put_on_the_port_is_felt_as_the_steady_circuit_has_it() {
    for (port, leak) in
        [("manifold", "0"), ("manifold", "0.3"), ("charge pipe", "0"), ("intake", "0.3"), ("air", "0")]
    {
        let build = car("before-0.7-bar").with("regulator.reference", port).expect("a known key");
        let build = build.with("regulator.reference_leak", leak).expect("a known key");
        let op = Operating::at(rpm(3000.0), bar(0.2)).with_air_on_the_reference(bar(0.4));
        let steady = point(&build, &op).expect("solves").rail_pressure().pascals();
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(0.4));
        let sol = finished(&build, &Schedule { reference: Some(Track::constant(0.4e5)), ..held }, &damped());
        let mean = |name: &str| sol.mean(name, s(0.1), s(0.4)).expect("recorded").si;
        assert!((mean("regulator reference") - 0.4e5).abs() < 1.0, "{port} {leak}");
        let rail = mean("rail pressure");
        assert!((rail - steady).abs() < 1.5e3, "{port} {leak}: {rail} {steady}");
    }
}

// Two rails, each of two lumps: both begin, and stay, where the steady circuit has their rails.
#[test]
fn twin_rails_in_lumps_stand_at_the_steady_point() {
    let root = env!("CARGO_MANIFEST_DIR");
    let file = format!("{root}/datasets/layouts/twin-rails-with-crossover.toml");
    let build =
        ["first injectors", "second injectors"].iter().fold(Build::read(file).expect("reads"), |b, set| {
            b.with(&format!("{set}.rail_length"), "250 mm").expect("a known key")
        });
    let steady = point(&build, &Operating::at(rpm(3000.0), bar(0.2))).expect("solves");
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(0.3));
    let sol = finished(&build, &held, &Options { warm_up: 0.0, ..damped() });
    for (name, junction) in
        [("rail", "first rail"), ("first rail 2", "first rail"), ("second rail 2", "second rail")]
    {
        let steady = steady.junctions[junction] - steady.ambient;
        let channel = format!("{name} pressure");
        let first = sol.at(&channel, s(0.0)).expect("recorded").si;
        assert!((first - steady).abs() < 2e3, "{name}: {first} {steady}");
        let mean = sol.mean(&channel, s(0.1), s(0.3)).expect("recorded").si;
        assert!((mean - steady).abs() < 2e3, "{name}: {mean} {steady}");
    }
}

// A rail of 300 mm in four lumps: the mean is that of one volume, waves within it show, and fuel is conserved.
#[test]
fn a_rail_in_lumps_keeps_the_mean_and_shows_what_runs_along_it() {
    let held = Schedule::hold(rpm(6500.0), bar(0.7), s(0.2));
    let one = finished(&car("before-0.7-bar"), &held, &damped());
    let build = car("before-0.7-bar").with("injectors.rail_length", "300 mm").expect("a known key");
    let row = finished(&build, &held, &damped());
    let mean = |sol: &Solution, name: &str| sol.mean(name, s(0.0), s(0.2)).expect("recorded").si;
    let (single, first) = (mean(&one, "rail pressure"), mean(&row, "rail pressure"));
    assert!((single - first).abs() < 1e3, "{single} {first}");
    let last = mean(&row, "rail 4 pressure");
    // Fuel on its way to the regulator loses little in 16 mm of bore (what is left at the end of the record is as much).
    assert!((first - last).abs() < 100.0, "{first} {last}");
    let (a, b) =
        (row.channel("rail pressure").expect("recorded"), row.channel("rail 4 pressure").expect("recorded"));
    let apart = a.values.iter().zip(&b.values).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(apart > 50.0, "{apart}");
    let moved: f64 = row.ledger.injectors.values().sum();
    assert!(row.ledger.imbalance.abs() < 1e-9 * moved, "{:e}", row.ledger.imbalance);
    assert!((moved / one.ledger.injectors.values().sum::<f64>() - 1.0).abs() < 2e-3);
}
