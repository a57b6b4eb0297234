//! A throttle that is imposed, in a run of the demo car (invented), against the textbook's flow of gas through an orifice.
//!
//! Source of the closed forms: J. B. Heywood, Internal Combustion Engine Fundamentals (1988), appendix C, eqs C-8 and C-9
//! (standard compressible orifice flow; from memory), written out here apart from the library's.

use crate::support::demo_car::{car, damped, finished};
use crate::transient_intake::{behind, course, with};
use railrise::build::Build;
use railrise::error::Kind;
use railrise::part::manifold::Throttle;
use railrise::quantity::{GaugePressure, bar, ms, rpm, s};
use railrise::schedule::{Schedule, Track};
use railrise::steady::Operating;
use railrise::transient::linear::Mode;
use railrise::transient::network::EventKind;
use railrise::transient::{Options, Solution, modes, run, run_watched, throttle_opening};
use std::ops::ControlFlow;

const GAMMA: f64 = 1.4;
const R: f64 = 287.052_87;
/// Ambient pressure of the car, Pa, and temperature of its charge where it is given, K.
const AMBIENT: f64 = 101.3e3;
const WARM: f64 = 318.15;

const KEYS: [(&str, &str); 3] = [
    ("engine.intake_volume", "6 L"),
    ("engine.throttle_area", "2000 mm²"),
    ("engine.charge_temperature", "45 degC"),
];

/// Mass flow through an orifice, kg/s.
fn orifice(area: f64, before: f64, behind: f64, t: f64) -> f64 {
    let choked = (2.0 / (GAMMA + 1.0)).powf(GAMMA / (GAMMA - 1.0));
    let r = (behind / before).max(choked);
    let root = 2.0 * GAMMA / (GAMMA - 1.0) * (1.0 - r.powf((GAMMA - 1.0) / GAMMA));
    area * before / (R * t).sqrt() * r.powf(1.0 / GAMMA) * root.sqrt()
}

/// Air that the engine takes for each pascal, kg/(s·Pa), at a speed of which the table of the car has this efficiency.
fn pull(efficiency: f64, rpm: f64, t: f64) -> f64 {
    efficiency * 2.4e-3 * rpm / 120.0 / (R * t)
}

/// Where inflow and engine balance, by bisection.
fn stands(area: f64, before: f64, pull: f64, t: f64) -> f64 {
    let (mut low, mut high) = (1.0, before);
    for _ in 0..80 {
        let p = 0.5 * (low + high);
        if orifice(area, before, p, t) > pull * p { low = p } else { high = p }
    }
    0.5 * (low + high)
}

fn held(speed: f64, pipe: f64, opening: f64, seconds: f64) -> Schedule {
    Schedule::hold(rpm(speed), bar(pipe), s(seconds)).with_throttle(Track::constant(opening))
}

/// The opening from one value to another at 0.2 s, over a time.
fn turned(speed: f64, pipe: f64, (from, to): (f64, f64), over: f64, seconds: f64) -> Schedule {
    let track = Track::new(&[(0.0, from), (0.2, from), (0.2 + over, to)]).expect("in order");
    Schedule::hold(rpm(speed), bar(pipe), s(seconds)).with_throttle(track)
}

fn mean(sol: &Solution, name: &str, from: f64, to: f64) -> f64 {
    sol.mean(name, s(from), s(to)).expect("recorded").si
}

// Closed form: choked flow hangs on the charge pipe alone, so the manifold stands at flow over the engine's pull.
#[test]
fn a_throttle_little_open_is_choked() {
    for (opening, pipe) in [(0.02, 0.0), (0.05, 0.4), (0.05, 0.7)] {
        let before = AMBIENT + 1e5 * pipe;
        let exact = opening * 2e-3 * before / (R * WARM).sqrt() * 0.684_731_46;
        let sol = finished(&with(&KEYS), &held(3000.0, pipe, opening, 0.3), &damped());
        for name in ["throttle air", "engine air"] {
            let found = mean(&sol, name, 0.0, 0.3);
            assert!((found / exact - 1.0).abs() < 1e-5, "{name}: {found} {exact}");
        }
        let p = exact / pull(0.86, 3000.0, WARM);
        assert!(p < 0.528 * before, "not choked: {p}");
        let found = mean(&sol, "manifold pressure", 0.0, 0.3);
        assert!((found - p).abs() < 5.0, "{found} {p}");
        assert!(course(&sol, "throttle").all(|(_, x)| x == opening));
    }
}

// Independent root: textbook flow against the engine's demand, choked and not.
#[test]
fn an_idle_vacuum_is_where_the_shut_throttle_lets_in_what_the_engine_takes() {
    let build = with(&KEYS[..2]);
    for opening in [0.01, 0.014, 0.017, 0.025, 0.05] {
        let t = 293.15;
        let exact = stands(opening * 2e-3, AMBIENT, pull(0.62, 900.0, t), t);
        let sol = finished(&build, &held(900.0, 0.0, opening, 0.4), &damped());
        for (t, p) in course(&sol, "manifold pressure") {
            assert!((p - exact).abs() < 5.0, "{opening} {t}: {p} {exact}");
        }
        // The other way round: the opening for this vacuum.
        let idle = Operating::at(rpm(900.0), GaugePressure::from_pascals(exact - AMBIENT));
        let found = throttle_opening(&build, &idle, bar(0.0)).expect("it idles");
        assert!((found / opening - 1.0).abs() < 1e-5, "{found} {opening}");
    }
}

/// `(V/(R T))/(κ - ∂ṁ/∂p)` at a balance, s.
fn filling(opening: f64, before: f64, pull: f64) -> f64 {
    let p = stands(opening * 2e-3, before, pull, WARM);
    let at = |p: f64| orifice(opening * 2e-3, before, p, WARM);
    6e-3 / (R * WARM) / (pull - (at(p + 1.0) - at(p - 1.0)) / 2.0)
}

// Linearised closed form: a small turn of the throttle is followed as an exponential, sooner where it is not choked.
#[test]
fn a_manifold_fills_sooner_behind_a_throttle_that_is_not_choked() {
    let pull = pull(0.86, 3000.0, WARM);
    let build = with(&KEYS);
    let mut last = f64::INFINITY;
    for opening in [0.05, 0.12, 0.2] {
        let tau = filling(opening, AMBIENT, pull);
        let all = modes(&build, &held(3000.0, 0.0, opening, 1.0), &damped()).expect("valid");
        let same = |m: &Mode| m.frequency == 0.0 && (m.decay * tau + 1.0).abs() < 1e-4;
        assert!(all.iter().any(|(m, _)| same(m)), "{opening} {tau}: {all:?}");
        let more = 1.002 * opening;
        let sol = finished(&build, &turned(3000.0, 0.0, (opening, more), 0.0, 1.2), &damped());
        let ends = [opening, more].map(|x| stands(x * 2e-3, AMBIENT, pull, WARM));
        for (t, p) in course(&sol, "manifold pressure") {
            let lag = if t > 0.2 { (-(t - 0.2) / tau).exp() } else { 1.0 };
            let exact = ends[1] + (ends[0] - ends[1]) * lag;
            assert!((p - exact).abs() < 0.05 * (ends[1] - ends[0]), "{opening} {t}: {p} {exact}");
        }
        assert!(tau < last, "{tau} {last}");
        last = if opening < 0.06 { 0.6 * tau } else { tau };
    }
    // Choked it is the time of `2 V/(η_v V_d n)`.
    let choked = 2.0 * 6e-3 / (0.86 * 2.4e-3 * 50.0);
    assert!((filling(0.05, AMBIENT, pull) / choked - 1.0).abs() < 1e-9);
}

// Closed form for a small loss: `Δp = ṁ² R T/(2 (C_d A)² p)`, here less than 0.8 % of the charge pipe's pressure.
#[test]
fn wide_open_the_manifold_stands_just_below_the_charge_pipe() {
    for (speed, efficiency, pipe) in [(3000.0, 0.86, 0.5), (4000.0, 0.93, 0.0)] {
        let before = AMBIENT + 1e5 * pipe;
        let sol = finished(&with(&KEYS), &held(speed, pipe, 1.0, 0.3), &damped());
        let loss = before - mean(&sol, "manifold pressure", 0.0, 0.3);
        let flow = pull(efficiency, speed, WARM) * (before - loss);
        let exact = flow * flow * R * WARM / (2.0 * 4e-6 * before);
        assert!((loss / exact - 1.0).abs() < 0.02, "{loss} {exact}");
        assert!(loss / before < 0.008, "{}", loss / before);
    }
}

// Closed form: with nothing coming in the engine empties the manifold as an exponential.
#[test]
fn an_engine_empties_the_manifold_behind_a_shut_throttle() {
    let sol = finished(&with(&KEYS), &turned(3000.0, 0.0, (0.3, 0.0), 0.0, 0.45), &damped());
    let pull = pull(0.86, 3000.0, WARM);
    let (start, tau) = (stands(0.3 * 2e-3, AMBIENT, pull, WARM), 6e-3 / (pull * R * WARM));
    for (t, p) in course(&sol, "manifold pressure").filter(|x| x.0 > 0.2) {
        let exact = start * (-(t - 0.2) / tau).exp();
        assert!((p - exact).abs() < 30.0, "{t}: {p} {exact}");
    }
    // What came in before it shut, and then what the manifold held more than it does now.
    let end = start * (-0.25 / tau).exp();
    let (entered, left) =
        (0.2 * orifice(0.3 * 2e-3, AMBIENT, start, WARM), 6e-3 / (R * WARM) * (start - end));
    let air = sol.ledger.air.expect("followed");
    assert!((air.entered / entered - 1.0).abs() < 1e-4, "{air:?} {entered}");
    assert!(((air.taken - air.entered) / left - 1.0).abs() < 1e-3, "{air:?} {left}");
    assert!((air.taken / (entered + left) - 1.0).abs() < 1e-4, "{air:?} {entered} {left}");
}

/// The time that a text names, s.
fn named_time(text: &str) -> f64 {
    let words: Vec<&str> = text.split_whitespace().collect();
    let at = words.windows(3).find(|w| w[0] == "at" && w[2].starts_with("s,")).expect("a time");
    at[1].parse().expect("a number")
}

// Closed form, as above: the exponential passes 5 kPa, below which demand is not known, at a time that the refusal names.
#[test]
fn a_throttle_that_leaves_next_to_nothing_is_refused_with_its_time() {
    let build = with(&KEYS);
    let refused = |schedule: &Schedule| {
        let e = run(&build, schedule, &damped()).expect_err("refused");
        assert_eq!(e.place().key.as_deref(), Some("schedule.throttle"), "{e}");
        named_time(&e.to_string())
    };
    let pull = pull(0.86, 3000.0, WARM);
    let (start, tau) = (stands(0.3 * 2e-3, AMBIENT, pull, WARM), 6e-3 / (pull * R * WARM));
    let exact = 0.2 + tau * (start / 5e3).ln();
    let found = refused(&turned(3000.0, 0.0, (0.3, 0.0), 0.0, 0.6));
    assert!((found - exact).abs() < 2e-3, "{found} {exact}");
    // Up to then it runs.
    let before = turned(3000.0, 0.0, (0.3, 0.0), 0.0, exact - 5e-3);
    finished(&build, &before, &damped());
    // Choked flow and pull balance at 5 kPa.
    let least = 5e3 * pull / orifice(2e-3, AMBIENT, 5e3, WARM);
    assert_eq!(refused(&held(3000.0, 0.0, 0.99 * least, 0.1)), 0.0);
    finished(&build, &held(3000.0, 0.0, 1.01 * least, 0.1), &damped());
}

// A wide throttle before a small volume fills in microseconds: the stiff method finds the course in few steps, within the
// budget of the options, and is asked whether to go on.
#[test]
fn the_search_for_a_stiff_course_is_cheap_bounded_and_can_be_ended() {
    let keys = [("engine.intake_volume", "0.5 L"), ("engine.throttle_area", "5000 mm²")];
    let (build, opens) = (with(&keys), turned(3000.0, 0.0, (0.05, 1.0), 0.05, 2.0));
    modes(&build, &opens, &Options { max_steps: 20_000, ..damped() }).expect("few steps");
    let e = run(&build, &opens, &Options { max_steps: 20, ..damped() }).expect_err("refused");
    assert_eq!(e.place().key.as_deref(), Some("engine.throttle_area"), "{e}");
    let text = e.to_string();
    assert!(text.contains("engine.intake_volume") && text.contains("options.max_steps"), "{text}");
    let mut asked = 0;
    let ended = run_watched(&build, &opens, &damped(), &mut |done| {
        assert_eq!(done, 0.0);
        asked += 1;
        if asked > 2 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    });
    assert_eq!(ended.expect_err("ended").kind(), Kind::Cancelled);
}

// Boost builds in the charge pipe with the spool's time whatever the throttle does; the hose feels the side it is joined to.
#[test]
fn a_hose_feels_the_side_of_the_throttle_that_it_is_joined_to() {
    for (port, felt, other) in
        [("manifold", "boost", "charge pipe pressure"), ("charge pipe", "charge pipe pressure", "boost")]
    {
        let keys = [
            KEYS[0],
            KEYS[1],
            KEYS[2],
            ("engine.spool_time", "0.3 s"),
            ("regulator.reference", port),
            ("regulator.reference_lag", "1 ms"),
        ];
        let boost = Track::new(&[(0.0, 0.1e5), (0.2, 0.1e5), (0.2, 0.6e5)]).expect("in order");
        let opens = turned(3000.0, 0.1, (0.06, 0.09), 0.1, 1.0);
        let sol = finished(&with(&keys), &Schedule { boost, ..opens }, &damped());
        for (t, p) in course(&sol, "charge pipe pressure") {
            let exact = 0.6e5 - 0.5e5 * (-(t - 0.2).max(0.0) / 0.3).exp();
            assert!((p - exact).abs() < 15.0, "{t}: {p} {exact}");
        }
        let reference = mean(&sol, "regulator reference", 0.8, 1.0);
        assert!((reference - mean(&sol, felt, 0.8, 1.0)).abs() < 300.0, "{port}: {reference}");
        assert!((reference - mean(&sol, other, 0.8, 1.0)).abs() > 3e4, "{port}: {reference}");
    }
}

// Lags in a row add up: the rail is behind the manifold by the lag of its hose.
#[test]
fn after_a_tip_in_the_rail_follows_the_manifold_by_the_lag_of_its_hose() {
    for lag in ["20 ms", "80 ms"] {
        let build = with(&[&KEYS[..], &[("regulator.reference_lag", lag)]].concat());
        let sol = finished(&build, &turned(4000.0, 0.0, (0.05, 1.0), 0.08, 2.4), &damped());
        let lag = build.part("regulator").expect("there").values.si("reference_lag");
        let felt = behind(&sol, "regulator reference", "boost");
        assert!((felt - lag).abs() < 1e-4, "{felt} {lag}");
        let rail = behind(&sol, "rail pressure", "boost");
        assert!((rail - lag).abs() < 2e-3, "{rail} {lag}");
    }
}

// A throttle that opens into boost: the course is found where compressor heat steps in, and the manifold says when.
#[test]
fn a_throttle_opened_into_boost_finds_its_course() {
    let build = with(&[KEYS[0], KEYS[1], ("engine.spool_time", "0.3 s")]);
    let boost = Track::new(&[(0.0, 0.0), (0.2, 0.0), (0.3, 0.5e5)]).expect("in order");
    let sol = finished(&build, &Schedule { boost, ..turned(3000.0, 0.0, (0.04, 1.0), 0.1, 2.6) }, &damped());
    let rose = sol.events.iter().filter(|e| e.kind == EventKind::IntoBoost).count();
    assert_eq!(rose, 1);
    let end = mean(&sol, "boost", 2.5, 2.6);
    assert!((0.485e5..0.5e5).contains(&end), "{end}");
}

#[test]
fn a_throttle_area_alone_changes_nothing() {
    let step = Schedule::boost_step(rpm(3000.0), bar(-0.5), bar(0.3), ms(50.0), s(0.6));
    let runs = [&KEYS[..1], &KEYS[..2]].map(|keys| finished(&with(keys), &step, &Options::default()));
    assert_eq!(runs[0].channels, runs[1].channels);
    assert!(runs[0].channels.keys().all(|k| !k.starts_with("throttle")));
}

// Closed form: the flow is odd where the sides change places, and a held pressure is a balance.
#[test]
fn the_law_of_a_throttle_agrees_with_itself() {
    let law = Throttle { area: 1.5e-3 };
    assert_eq!(law.flow(0.4, (1.5e5, 1.2e5), 300.0), -law.flow(0.4, (1.2e5, 1.5e5), 300.0));
    assert_eq!(law.flow(0.0, (1.5e5, 1.2e5), 300.0), 0.0);
    assert_eq!(law.held(0.3, 1.5e5, 300.0, 0.0), 1.5e5);
    for pull in [1e-8, 1e-7, 1e-6, 1e-5] {
        let p = law.held(0.3, 1.5e5, 300.0, pull);
        let flow = law.flow(0.3, (1.5e5, p), 300.0);
        assert!((flow / (pull * p) - 1.0).abs() < 1e-6, "{pull}: {p} {flow}");
    }
    assert_eq!(law.opening(0.01, (1e5, 1e5), 300.0), None);
    assert_eq!(law.opening(0.01, (1e5, 1.2e5), 300.0), None);
}

#[test]
fn a_throttle_that_cannot_be_is_refused_by_its_key() {
    let e = car("before-0.7-bar").with("engine.throttle_area", "0 mm²").expect_err("refused").to_string();
    assert!(e.contains("engine.throttle_area"), "{e}");
    let refused = |build: &Build, schedule: &Schedule, key: &str| {
        let e = run(build, schedule, &Options::default()).expect_err("refused").to_string();
        assert!(e.contains(key), "{key}: {e}");
    };
    let steady = held(3000.0, 0.0, 0.3, 0.1);
    refused(&with(&KEYS[..1]), &steady, "engine.throttle_area");
    refused(&with(&KEYS[1..2]), &steady, "engine.intake_volume");
    let plain = Schedule { throttle: None, ..steady };
    refused(&with(&KEYS[1..2]), &plain, "engine.intake_volume");
    for opening in [-0.1, 1.2] {
        refused(&with(&KEYS), &held(3000.0, 0.0, opening, 0.1), "schedule.throttle");
    }
    refused(&with(&KEYS), &held(3000.0, 0.0, 0.0, 0.1), "schedule.throttle");
    let open = held(3000.0, 0.0, 0.3, 0.1);
    refused(&with(&KEYS), &open.clone().throttle_opened(f64::NAN, ms(50.0)), "schedule.throttle");
    refused(&with(&KEYS), &open.throttle_opened(0.1, ms(f64::NAN)), "schedule.throttle");
    let opening = |area: &str, speed: f64, manifold: f64| {
        let build = with(&KEYS).with("engine.throttle_area", area).expect("a known key");
        throttle_opening(&build, &Operating::at(rpm(speed), bar(manifold)), bar(0.0))
    };
    for refused in
        [opening("50 mm²", 3000.0, -0.2), opening("2000 mm²", 3000.0, 0.1), opening("2000 mm²", 0.0, 0.0)]
    {
        let e = refused.expect_err("refused").to_string();
        assert!(e.contains("engine.throttle_area"), "{e}");
    }
}
