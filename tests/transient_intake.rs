//! A manifold that fills and boost that builds, in a run of the demo car (invented), against closed forms.

use crate::support::demo_car::{car, damped, finished};
use railrise::build::Build;
use railrise::quantity::{GaugePressure, bar, ms, rpm, s};
use railrise::schedule::{Schedule, Track};
use railrise::steady::{Operating, point};
use railrise::transient::network::EventKind;
use railrise::transient::{Options, Solution, modes, run};

/// The car with these keys.
pub fn with(keys: &[(&str, &str)]) -> Build {
    keys.iter().fold(car("before-0.7-bar"), |b, (key, v)| b.with(key, v).expect("a known key"))
}

/// Channel values with their times.
pub fn course<'a>(sol: &'a Solution, name: &str) -> impl Iterator<Item = (f64, f64)> + 'a {
    sol.t.iter().copied().zip(sol.channel(name).expect("recorded").values.iter().copied())
}

/// `2 V/(η_v V_d n)`, s, at a speed of which the table of the car has this efficiency.
fn filling(volume: f64, efficiency: f64, rpm: f64) -> f64 {
    2.0 * volume / (efficiency * 2.4e-3 * rpm / 60.0)
}

fn jump(speed: f64, from: f64, to: f64, seconds: f64) -> Schedule {
    Schedule::boost_step(rpm(speed), bar(from), bar(to), ms(0.0), s(seconds))
}

// Closed form: a first-order lag of the filling time, in vacuum, where the charge stays at one temperature.
#[test]
fn a_manifold_fills_as_an_exponential() {
    for (volume, litres, speed, efficiency) in
        [("3 L", 3e-3, 3000.0, 0.86), ("8 L", 8e-3, 3000.0, 0.86), ("3 L", 3e-3, 6500.0, 0.885)]
    {
        let sol =
            finished(&with(&[("engine.intake_volume", volume)]), &jump(speed, -0.6, -0.1, 1.2), &damped());
        let tau = filling(litres, efficiency, speed);
        for (t, p) in course(&sol, "boost") {
            let lag = if t > 0.2 { (-(t - 0.2) / tau).exp() } else { 1.0 };
            let exact = -0.1e5 - 0.5e5 * lag;
            assert!((p - exact).abs() < 15.0, "{volume} {t}: {p} {exact}");
        }
        assert!(
            course(&sol, "boost asked").all(|(t, p)| t == 0.2 || p == if t < 0.2 { -0.6e5 } else { -0.1e5 })
        );
    }
}

// Closed form: two lags in a row, boost that builds and the manifold that fills behind it.
#[test]
fn boost_builds_with_the_time_constant_of_the_spool() {
    let keys = [
        ("engine.intake_volume", "6 L"),
        ("engine.spool_time", "0.4 s"),
        ("engine.charge_temperature", "45 degC"),
    ];
    let sol = finished(&with(&keys), &jump(4000.0, 0.2, 0.7, 2.5), &damped());
    let (spool, tau) = (0.4, filling(6e-3, 0.93, 4000.0));
    for ((t, pipe), (_, p)) in course(&sol, "charge pipe pressure").zip(course(&sol, "boost")) {
        let past = (t - 0.2).max(0.0);
        let (slow, fast) = ((-past / spool).exp(), (-past / tau).exp());
        let exact = 0.7e5 - 0.5e5 * slow;
        assert!((pipe - exact).abs() < 15.0, "{t}: {pipe} {exact}");
        let exact = 0.7e5 - 0.5e5 * (spool * slow - tau * fast) / (spool - tau);
        assert!((p - exact).abs() < 30.0, "{t}: {p} {exact}");
    }
}

// A vacuum is the throttle's doing: it comes with the filling time, while the boost before the throttle dies away.
#[test]
fn a_throttle_that_shuts_does_not_wait_for_the_spool() {
    let keys = [("engine.intake_volume", "3 L"), ("engine.spool_time", "1 s")];
    let sol = finished(&with(&keys), &jump(3000.0, 0.5, -0.5, 1.5), &damped());
    let at = |name: &str, t: f64| sol.at(name, s(t)).expect("recorded").si;
    let tau = filling(3e-3, 0.86, 3000.0);
    assert!(at("boost", 0.2 + 6.0 * tau) < -0.49e5, "{}", at("boost", 0.2 + 6.0 * tau));
    let left = 0.5e5 * (-6.0 * tau).exp();
    assert!((at("charge pipe pressure", 0.2 + 6.0 * tau) - left).abs() < 20.0);
    // The other way it does.
    let sol = finished(&with(&keys), &jump(3000.0, -0.5, 0.5, 1.5), &damped());
    let at = |name: &str, t: f64| sol.at(name, s(t)).expect("recorded").si;
    let built = 0.5e5 * (1.0 - (-0.5f64).exp());
    assert!((at("charge pipe pressure", 0.7) - built).abs() < 20.0);
    assert!(at("boost", 0.7) < built && at("boost", 0.7) > 0.6 * built, "{} {built}", at("boost", 0.7));
}

// What is asked for always the same is a fixed point: the run of an imposed manifold, wherever the port is joined.
#[test]
fn a_steady_point_stays_where_it_is() {
    let followed = [("engine.intake_volume", "6 L"), ("engine.spool_time", "0.4 s")];
    for (port, leak, boost) in [
        ("manifold", "0", -0.65),
        ("manifold", "0.3", 0.5),
        ("charge pipe", "0", 0.5),
        ("charge pipe", "0.2", -0.3),
        ("intake", "0", 0.5),
        ("air", "0", 0.7),
    ] {
        let port = [("regulator.reference", port), ("regulator.reference_leak", leak)];
        let held = Schedule::hold(rpm(3000.0), bar(boost), s(0.4));
        let imposed = finished(&with(&port), &held, &damped());
        let sol = finished(&with(&[&port[..], &followed[..]].concat()), &held, &damped());
        let mean = |sol: &Solution, name: &str| sol.mean(name, s(0.0), s(0.4)).expect("recorded").si;
        for name in ["rail pressure", "boost", "regulator reference", "differential pressure"] {
            let (a, b) = (mean(&sol, name), mean(&imposed, name));
            assert!((a - b).abs() < 5.0, "{port:?} {boost} {name}: {a} {b}");
        }
        assert!((mean(&sol, "boost") - boost * 1e5).abs() < 1e-3);
    }
}

// A change that has settled ends at the steady point of what was asked for, compressor heat and all.
#[test]
fn a_boost_that_has_built_ends_at_the_steady_point() {
    let keys = [("engine.intake_volume", "6 L"), ("engine.spool_time", "0.15 s")];
    let build = with(&keys);
    let sol = finished(&build, &jump(4500.0, -0.4, 0.6, 3.0), &damped());
    let held = finished(&build, &Schedule::hold(rpm(4500.0), bar(0.6), s(0.5)), &damped());
    let end =
        |sol: &Solution, name: &str, from: f64, to: f64| sol.mean(name, s(from), s(to)).expect("recorded").si;
    assert!((end(&sol, "boost", 2.5, 3.0) - 0.6e5).abs() < 5.0);
    let (a, b) = (end(&sol, "rail pressure", 2.5, 3.0), end(&held, "rail pressure", 0.0, 0.5));
    assert!((a - b).abs() < 5.0, "{a} {b}");
    let demand =
        point(&build, &Operating::at(rpm(4500.0), bar(0.6))).expect("solves").demand.expect("it runs");
    let air = end(&sol, "engine air", 2.5, 3.0);
    assert!((air / demand.air - 1.0).abs() < 1e-4, "{air} {}", demand.air);
    let asked = end(&sol, "asked flow", 2.5, 3.0);
    assert!((asked / (demand.fuel / demand.density) - 1.0).abs() < 1e-3, "{asked}");
    // It rose into boost once, and says when.
    let rose: Vec<_> = sol.events.iter().filter(|e| e.kind == EventKind::IntoBoost).collect();
    assert!(rose.len() == 1 && rose[0].part == "manifold", "{rose:?}");
    let there = sol.at("boost", s(rose[0].t)).expect("recorded").si;
    assert!((there - 100.0).abs() < 100.0, "{there}");
    assert!(sol.events.iter().all(|e| e.kind != EventKind::OutOfBoost));
}

/// `∫ (a - b) dt` of two channels, each scaled from its start to its end: the time constant of a lag.
pub fn behind(sol: &Solution, follower: &str, leader: &str) -> f64 {
    let scaled = |name: &str| -> Vec<f64> {
        let v: Vec<f64> = course(sol, name).map(|x| x.1).collect();
        let mean = |w: &[f64]| w.iter().sum::<f64>() / w.len() as f64;
        let (a, b) = (mean(&v[..v.len() / 12]), mean(&v[v.len() - v.len() / 12..]));
        v.iter().map(|x| (x - a) / (b - a)).collect()
    };
    let (leader, follower) = (scaled(leader), scaled(follower));
    leader.iter().zip(&follower).map(|(a, b)| a - b).sum::<f64>() * 2e-4
}

// The rail follows a boost that builds: behind the manifold by the lag of its hose, the manifold behind what was asked for by
// the filling time and the spool's, as lags in a row add up.
#[test]
fn the_rail_follows_a_boost_that_builds_with_the_lag_of_its_hose() {
    for lag in ["20 ms", "80 ms"] {
        let keys = [
            ("engine.intake_volume", "6 L"),
            ("engine.spool_time", "0.2 s"),
            ("engine.charge_temperature", "45 degC"),
            ("regulator.reference_lag", lag),
        ];
        let build = with(&keys);
        let sol = finished(&build, &jump(4000.0, 0.1, 0.6, 2.4), &damped());
        let lag = build.part("regulator").expect("there").values.si("reference_lag");
        let felt = behind(&sol, "regulator reference", "boost");
        assert!((felt - lag).abs() < 1e-4, "{felt} {lag}");
        let rail = behind(&sol, "rail pressure", "boost");
        assert!((rail - lag).abs() < 2e-3, "{rail} {lag}");
        let built = behind(&sol, "boost", "boost asked");
        let wanted = 0.2 + filling(6e-3, 0.93, 4000.0);
        assert!((built - wanted).abs() < 1e-4, "{built} {wanted}");
    }
}

// Closed form: flow goes with the root of the difference over the nozzle (orifice law). Without a hose to the manifold the
// vacuum behind a shut throttle draws more fuel into each pulse than was asked for, and still does while the manifold fills;
// with the hose it does not.
#[test]
fn a_shut_throttle_draws_more_than_an_open_one_unless_the_regulator_feels_it() {
    let opens = jump(3000.0, -0.6, 0.0, 1.2);
    for (port, felt) in [("air", false), ("manifold", true)] {
        let keys = [("engine.intake_volume", "6 L"), ("regulator.reference", port)];
        let (filled, imposed) =
            (finished(&with(&keys), &opens, &damped()), finished(&with(&keys[1..]), &opens, &damped()));
        let passed = |sol: &Solution, from: f64, to: f64| {
            let within = sol.pulses.iter().filter(|p| p.commanded > from && p.closed < to);
            let all: Vec<f64> = within.map(|p| p.delivered / p.asked).collect();
            all.iter().sum::<f64>() / all.len() as f64
        };
        let difference = |sol: &Solution, from: f64, to: f64| {
            sol.mean("differential pressure", s(from), s(to)).expect("recorded").si
        };
        let (shut, filling, open) = ((0.0, 0.2), (0.2, 0.26), (1.0, 1.2));
        let more = passed(&filled, shut.0, shut.1) / passed(&filled, open.0, open.1);
        let root = (difference(&filled, shut.0, shut.1) / difference(&filled, open.0, open.1)).sqrt();
        let still = passed(&filled, filling.0, filling.1) / passed(&imposed, filling.0, filling.1);
        assert!((more / root - 1.0).abs() < 0.02, "{port}: {more} {root}");
        if felt {
            assert!((more - 1.0).abs() < 0.02, "{more}");
        } else {
            assert!(more > 1.05 && still > 1.03 && still < more, "{more} {still}");
        }
    }
}

// Where boost begins the compressor's heat steps in: slow as it may pass there, a course is found, and ends where it should.
#[test]
fn a_slow_rise_into_boost_and_back_finds_its_course() {
    let keys = [("engine.intake_volume", "8 L"), ("engine.spool_time", "0.3 s")];
    for over in [0.2, 1.5] {
        let up = [(0.0, -0.3e5), (over, 0.3e5), (over + 1.5, 0.3e5), (2.0 * over + 1.5, -0.3e5)];
        let held = Schedule::hold(rpm(3000.0), bar(-0.3), s(2.0 * over + 3.0));
        let sol = finished(
            &with(&keys),
            &Schedule { boost: Track::new(&up).expect("in order"), ..held },
            &damped(),
        );
        let at = |t: f64| sol.at("boost", s(t)).expect("recorded").si;
        assert!((at(over + 1.5) - 0.3e5).abs() < 500.0, "{}", at(over + 1.5));
        assert!((at(2.0 * over + 2.9) + 0.3e5).abs() < 20.0, "{}", at(2.0 * over + 2.9));
        let rose = sol.events.iter().filter(|e| e.kind == EventKind::IntoBoost).count();
        let fell = sol.events.iter().filter(|e| e.kind == EventKind::OutOfBoost).count();
        assert_eq!((rose, fell), (1, 1));
    }
}

// Operating points at the recorded boost: a slow ramp is straight, what the engine takes over it is not. Where boost begins the
// compressor's heat steps in: the piece that holds the step is the one that is less close.
#[test]
fn along_a_slow_ramp_demand_is_that_of_the_operating_points() {
    let build = with(&[("engine.intake_volume", "3 L")]);
    let ramp = Schedule::boost_step(rpm(3000.0), bar(-0.5), bar(0.7), s(5.0), s(6.0));
    let sol = finished(&build, &ramp, &damped());
    let boost = &sol.channel("boost").expect("recorded").values;
    let off = |k: usize| {
        let there = Operating::at(rpm(3000.0), GaugePressure::from_pascals(boost[k]));
        let d = point(&build, &there).expect("solves").demand.expect("it runs");
        [("asked flow", d.fuel / d.density), ("engine air", d.air)].map(|(name, exact)| {
            let ran = sol.channel(name).expect("recorded").values[k];
            (ran / exact - 1.0).abs()
        })
    };
    for level in [-0.45, -0.3, -0.15, -0.05, 0.05, 0.15, 0.3, 0.5, 0.65] {
        let k = boost.iter().position(|p| *p >= level * 1e5).expect("it passes there");
        assert!((boost[k] - level * 1e5).abs() < 50.0, "{level}: {}", boost[k]);
        assert!(off(k).iter().all(|x| *x < 5e-3), "{level} bar: {:?}", off(k));
    }
    for k in (0..boost.len()).step_by(50) {
        assert!(off(k).iter().all(|x| *x < 1e-2), "{}: {:?}", boost[k], off(k));
    }
}

// Air is conserved, and what the engine took is `∫ η_v V_d n p/(2 R T) dt` over the recorded pressure (trapezoids).
#[test]
fn air_is_conserved_and_what_the_engine_took_is_the_integral_of_its_demand() {
    let keys = [("engine.intake_volume", "6 L"), ("engine.spool_time", "0.2 s")];
    let sol = finished(&with(&keys), &jump(3000.0, -0.5, -0.1, 1.0), &damped());
    let air = sol.ledger.air.expect("followed");
    assert!(air.imbalance.abs() < 1e-12 * air.taken, "{air:?}");
    let r = 287.052_87;
    let t = 293.15;
    let points: Vec<_> = course(&sol, "manifold pressure").collect();
    let area: f64 = points.windows(2).map(|w| 0.5 * (w[0].1 + w[1].1) * (w[1].0 - w[0].0)).sum();
    let taken = 0.86 * 2.4e-3 * 3000.0 / 120.0 / (r * t) * area;
    assert!((air.taken / taken - 1.0).abs() < 1e-6, "{} {taken}", air.taken);
    let stored = 6e-3 * (points[points.len() - 1].1 - points[0].1) / (r * t);
    assert!((air.stored / stored - 1.0).abs() < 1e-9, "{} {stored}", air.stored);
    assert_eq!(finished(&car("before-0.7-bar"), &jump(3000.0, -0.5, -0.1, 0.5), &damped()).ledger.air, None);
}

#[test]
fn small_motions_hold_the_filling_and_the_spool() {
    let keys = [("engine.intake_volume", "6 L"), ("engine.spool_time", "0.4 s")];
    let held = Schedule::hold(rpm(3000.0), bar(-0.3), s(1.0));
    let all = modes(&with(&keys), &held, &damped()).expect("valid");
    let rates = [("charge pipe pressure", 0.4), ("manifold air", filling(6e-3, 0.86, 3000.0))];
    for (name, tau) in rates {
        let mode = all.iter().find(|(_, n)| n == name).map(|(m, _)| *m);
        let mode = mode.unwrap_or_else(|| panic!("{name}: {all:?}"));
        assert!((mode.decay * tau + 1.0).abs() < 1e-6 && mode.frequency == 0.0, "{name}: {mode:?} {tau}");
    }
    // The fuel's own motions are those without.
    let plain = modes(&car("before-0.7-bar"), &held, &damped()).expect("valid");
    assert_eq!(all.len(), plain.len() + 2);
    for (m, name) in &plain {
        let same = |x: &f64, y: &f64| (x - y).abs() <= 1e-6 * x.abs().max(1.0);
        assert!(
            all.iter().any(|(n, _)| same(&n.decay, &m.decay) && same(&n.frequency, &m.frequency)),
            "{name}: {m:?}"
        );
    }
}

// Without the keys there is nothing of it: the state of the network is as long as it was, and the channels are.
#[test]
fn without_the_keys_a_run_has_no_intake() {
    let build = car("before-0.7-bar");
    let sol = finished(&build, &jump(3000.0, -0.5, 0.3, 0.5), &damped());
    assert!(
        sol.channels.keys().all(|k| k != "boost asked" && k != "charge pipe pressure" && k != "engine air")
    );
    for (t, p) in course(&sol, "boost") {
        assert!(p == if t < 0.2 { -0.5e5 } else { 0.3e5 }, "{t}: {p}");
    }
}

#[test]
fn an_intake_that_cannot_be_is_refused_by_its_key() {
    let build = car("before-0.7-bar");
    for (key, value) in [
        ("engine.intake_volume", "0 L"),
        ("engine.intake_volume", "-2 L"),
        ("engine.spool_time", "0 s"),
        ("engine.spool_time", "2 bar"),
    ] {
        let e = build.with(key, value).expect_err("refused").to_string();
        assert!(e.contains(key), "{e}");
    }
    let alone = build.with("engine.spool_time", "0.5 s").expect("a known key");
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(0.1));
    let e = run(&alone, &held, &Options::default()).expect_err("refused").to_string();
    assert!(e.contains("engine.spool_time") && e.contains("engine.intake_volume"), "{e}");
    let deep = GaugePressure::from_pascals(-2e5);
    let filled = build.with("engine.intake_volume", "6 L").expect("a known key");
    let e = run(&filled, &Schedule::hold(rpm(3000.0), deep, s(0.1)), &Options::default());
    assert_eq!(e.expect_err("refused").place().key.as_deref(), Some("schedule.boost"));
}
