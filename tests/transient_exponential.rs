//! The exponential method on the demo car (invented): valves, stops and vapour on the way, against the implicit method at a
//! tight tolerance, which shares no step with it; and the methods that runs choose for themselves.

use crate::support::demo_car::{car, finished, smooth};
use crate::support::hill_climb_net::{Choice, net};
use railrise::quantity::{bar, degc, ms, rpm, s, volts};
use railrise::schedule::Schedule;
use railrise::stepper::{Exponential, Rodas4, StopReason, solve};
use railrise::transient::network::NetSystem;
use railrise::transient::{Options, Stepper};

/// What a workshop does to a car; the last three shut the rail in. A snap is not among them: the poppet bounces.
fn presets() -> [Schedule; 8] {
    let vacuum = bar(-0.65);
    [
        Schedule::hold(rpm(6500.0), bar(0.7), s(0.3)),
        Schedule::boost_step(rpm(6500.0), bar(0.0), bar(0.7), ms(50.0), s(0.6)),
        Schedule::idle_hose_off_on(rpm(900.0), vacuum, vacuum, s(0.5), s(1.5)),
        Schedule::pump_failure(rpm(4000.0), bar(0.3), s(0.3), s(1.0)),
        Schedule::voltage_sag(rpm(4000.0), bar(0.3), volts(13.8), volts(11.0), s(2.0)),
        Schedule::hot_soak(degc(35.0), degc(50.0), s(16.0)),
        Schedule::leak_down(s(4.0)),
        Schedule::key_on_prime(s(1.0), s(3.0)),
    ]
}

/// Holds a method at default settings against another at a tight tolerance.
fn holds(schedule: &Schedule, stepper: Stepper, options: &Options) {
    let build = car("before-0.7-bar");
    let with =
        |stepper, tolerance| finished(&build, schedule, &Options { stepper, tolerance, ..options.clone() });
    let (ours, tight) = (with(stepper, 1.0), with(Stepper::Rodas4, 1e-2));
    let said = format!("{}, {stepper:?}, dry friction {}", schedule.name, options.dry_friction);
    let rail = |k: usize| {
        let at = |sol: &railrise::transient::Solution| sol.channels["rail pressure"].values[k];
        (at(&ours) - at(&tight)).abs()
    };
    let worst = (0..ours.t.len()).map(rail).fold(0.0, f64::max);
    assert!(worst < 50.0, "{said}: {worst} Pa");
    let volume = |sol: &railrise::transient::Solution| sol.ledger.injectors.values().sum::<f64>();
    let (a, b) = (volume(&ours), volume(&tight));
    assert!((a - b).abs() <= 1e-5 * b, "{said}: {a} {b}");
    let moved: f64 = ours.ledger.ends.values().map(|v| v.abs()).sum();
    assert!(ours.ledger.imbalance.abs() < 1e-9 * moved, "{said}: {:e}", ours.ledger.imbalance);
    assert_eq!(ours.effort.bases > 0, stepper == Stepper::Exponential, "{said}");
}

#[test]
fn both_methods_hold_50_pa_and_1e_5_through_what_a_workshop_does() {
    for schedule in presets() {
        for stepper in [Stepper::Exponential, Stepper::Tsit5] {
            holds(&schedule, stepper, &smooth());
        }
    }
}

// Where the rail is shut in, dry friction lets the poppet rest anywhere within it.
#[test]
fn with_dry_friction_too_while_fuel_flows() {
    for schedule in &presets()[..5] {
        holds(schedule, Stepper::Tsit5, &Options { dry_friction: true, ..smooth() });
    }
}

#[test]
fn the_method_is_chosen_by_friction_and_size() {
    let near = |choice| NetSystem::<32>::new(net(choice), 0.0).expect("valid").0.is_nearly_linear();
    assert!(near(Choice::default()));
    assert!(!near(Choice { friction: 0.5, ..Choice::default() }));
    assert!(!near(Choice { feed_lumps: 8, ..Choice::default() }));
}

// From one edge to the next in one step, where an explicit method needs four.
#[test]
fn a_running_engine_is_stepped_from_edge_to_edge() {
    const N: usize = 24;
    let (mut system, y) = NetSystem::<N>::new(net(Choice::default()), 0.0).expect("valid");
    let options = system.tolerances(1.0);
    let warm = solve(&mut system, &mut Rodas4::new(), 0.0, y, 0.5, &options, &mut ()).expect("valid");
    let run =
        solve(&mut system, &mut Exponential::new(), 0.5, warm.y, 1.5, &options, &mut ()).expect("valid");
    assert_eq!(run.stop, StopReason::Finished);
    let s = run.statistics;
    assert!(s.accepted + s.rejected < 2 * s.time_events && s.left == 0, "{s:?}");
}
