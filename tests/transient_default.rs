//! Default settings against another method at a tight tolerance, which shares no step with the first: the demo car and the
//! layouts (invented), through what a workshop does, with dry friction and without.

use crate::support::demo_car::{car, finished, layout};
use railrise::build::Build;
use railrise::quantity::{bar, degc, ms, rpm, s, volts};
use railrise::schedule::Schedule;
use railrise::transient::{Options, Solution, Stepper, modes};

/// What a workshop does to a car.
fn presets() -> [(&'static str, Schedule); 10] {
    let (vacuum, middling) = (bar(-0.65), bar(0.3));
    let boost = [(2500.0, 0.1), (3500.0, 0.7), (7000.0, 0.6)].map(|(n, p)| (rpm(n), bar(p).into()));
    [
        ("hold", Schedule::hold(rpm(6500.0), bar(0.7), s(0.3))),
        ("boost step", Schedule::boost_step(rpm(6500.0), bar(0.0), bar(0.7), ms(50.0), s(0.6))),
        ("hose off and on", Schedule::idle_hose_off_on(rpm(900.0), vacuum, vacuum, s(0.5), s(1.5))),
        ("snap", Schedule::snap(rpm(900.0), vacuum, bar(0.6), ms(150.0), s(1.5))),
        ("pull", Schedule::loaded_pull(rpm(2500.0), rpm(6500.0), s(2.0), &boost).expect("valid")),
        ("pump failure", Schedule::pump_failure(rpm(4000.0), middling, s(0.3), s(1.0))),
        ("sag", Schedule::voltage_sag(rpm(4000.0), middling, volts(13.8), volts(11.0), s(2.0))),
        ("hot soak", Schedule::hot_soak(degc(35.0), degc(50.0), s(16.0))),
        ("leak-down", Schedule::leak_down(s(4.0))),
        ("key on", Schedule::key_on_prime(s(1.0), s(3.0))),
    ]
}

/// Dry friction on a regulator with next to nothing to pass: each pulse moves the poppet or does not.
const HANGS_BY_A_HAIR: [(&str, &str); 2] = [("before-0.7-bar", "pull"), ("staged-second-pump", "sag")];

fn volume(run: &Solution) -> f64 {
    run.ledger.injectors.values().sum()
}

/// The largest difference of the rail, Pa, and that of the injected volume, as a part of it.
fn apart(a: &Solution, b: &Solution) -> (f64, f64) {
    let rail = |run: &Solution| run.channels["rail pressure"].values.clone();
    let rail = (rail(a) - rail(b)).iter().fold(0.0, |most: f64, d| most.max(d.abs()));
    (rail, (volume(a) - volume(b)).abs() / volume(b).max(1e-9))
}

fn holds(build: &Build, file: &str, wanted: impl Fn(&str) -> bool, steppers: &[Stepper]) {
    for (name, schedule) in presets().iter().filter(|(name, _)| wanted(name)) {
        for dry_friction in [false, true] {
            let with = |stepper, tolerance| {
                finished(build, schedule, &Options { stepper, tolerance, dry_friction, ..Options::default() })
            };
            let tight = with(Stepper::Rodas4, 1e-2);
            for stepper in steppers.iter().filter(|s| !dry_friction || **s != Stepper::Exponential) {
                let ours = with(*stepper, 1.0);
                let (rail, part) = apart(&ours, &tight);
                let said = format!("{file}, {name}, {stepper:?}, dry friction {dry_friction}");
                let hangs = dry_friction && HANGS_BY_A_HAIR.contains(&(file, name));
                let within = if hangs { (3e3, 1e-3) } else { (50.0, 1e-5) };
                assert!(rail < within.0 && part < within.1, "{said}: {rail} Pa, {part:e}");
                let moved: f64 = ours.ledger.ends.values().map(|v| v.abs()).sum();
                // The demo car has one state too many to be stepped in modes unasked.
                if file == "before-0.7-bar" {
                    assert_eq!(ours.effort.bases > 0, *stepper == Stepper::Exponential, "{said}");
                }
                assert!(ours.ledger.imbalance.abs() < 1e-9 * moved, "{said}: {:e}", ours.ledger.imbalance);
            }
        }
    }
}

#[test]
fn the_demo_car_is_held_within_50_pa_and_1e_5_by_both_methods() {
    let (file, build) = ("before-0.7-bar", car("before-0.7-bar"));
    holds(&build, file, |name| name != "snap", &[Stepper::Automatic, Stepper::Exponential]);
    // The other method, which nobody has here who does not ask for it, is 100 Pa off as the poppet comes down.
    holds(&build, file, |name| name == "snap", &[Stepper::Automatic]);
}

#[test]
fn so_is_every_layout_with_one_rail() {
    for file in [
        "dead-end-rail",
        "speed-controlled-pump",
        "staged-second-pump",
        "surge-pot-return-to-pot",
        "surge-pot-return-to-tank",
        "twin-pumps",
    ] {
        let wanted = |name: &str| !matches!(name, "hose off and on" | "hot soak" | "leak-down" | "pull");
        holds(&layout(file), file, wanted, &[Stepper::Automatic]);
    }
}

// A rail that nothing leaves hangs at the balance of its pump: rounding once opened the check valve there for good.
#[test]
fn a_dead_headed_rail_does_not_run_back_through_its_check_valve() {
    let build = layout("speed-controlled-pump");
    let leak = Schedule::leak_down(s(4.0));
    for stepper in [Stepper::Exponential, Stepper::Tsit5, Stepper::Rodas4] {
        for tolerance in [10.0, 3.0, 1.0, 0.1] {
            let run = finished(&build, &leak, &Options { stepper, tolerance, ..Options::default() });
            let end = run.at("rail pressure", s(4.0)).expect("recorded").si;
            assert!((449_900.0..450_000.0).contains(&end), "{stepper:?} {tolerance}: {end}");
        }
    }
}

// A regulator of twin rails that swings by itself makes every error grow; a finer run comes nearer all the same.
#[test]
fn what_swings_by_itself_asks_for_a_finer_run() {
    let build = layout("twin-rails-with-crossover");
    let [(_, hold), ..] = presets();
    let grows = modes(&build, &hold, &Options::default()).expect("valid");
    assert!(grows.iter().any(|(mode, of)| mode.damping < 0.0 && of.contains("return hose")));
    let with = |stepper, tolerance| {
        finished(&build, &hold, &Options { stepper, tolerance, dry_friction: false, ..Options::default() })
    };
    let tight = with(Stepper::Rodas4, 1e-4);
    let (loose, fine) =
        (apart(&with(Stepper::Tsit5, 1.0), &tight), apart(&with(Stepper::Tsit5, 1e-2), &tight));
    assert!(loose.0 < 500.0 && fine.0 < 0.1 * loose.0, "{loose:?} {fine:?}");
}
