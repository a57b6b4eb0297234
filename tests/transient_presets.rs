//! The runs that a workshop makes, on the demo car (invented), each held against a closed form or the steady circuit.

use crate::support::demo_car::{car, finished, smooth};
use railrise::build::Build;
use railrise::quantity::{AbsolutePressure, bar, degc, kelvin, kpa, ms, pa, rad_per_s, rpm, s, volts};
use railrise::schedule::{Schedule, Track, Until};
use railrise::steady::{Operating, point};
use railrise::transient::{Behind, Gases, Options, Stopped, run};

/// Compliance between check valve and poppet, m³/Pa, with the feed hose's wall: `V (1/B + 1/B_w)`, rail, damper; and the
/// expansivity of the fuel, 1/K.
fn compliance(build: &Build, o: &Options) -> (f64, f64) {
    let fuel = build.fuel().expect("a fuel");
    let t = kelvin(build.section("fuel").si("temperature"));
    let state = fuel.at(t, AbsolutePressure::from_pascals(4e5)).expect("in range");
    let hose = &build.part("feed hose").expect("there").values;
    let volume = std::f64::consts::PI / 4.0 * hose.si("bore").powi(2) * hose.si("length");
    let bulk = state.bulk_isentropic;
    let c = volume * (1.0 / bulk + 1.0 / hose.si("wall_bulk")) + o.rail_volume / bulk + o.damper;
    (c, state.expansivity)
}

// What a gauge does when the reference hose is put on at idle: the difference of two steady points.
#[test]
fn taking_the_hose_off_at_idle_raises_the_rail_by_the_vacuum_times_the_reference_gain() {
    let build = car("before-0.7-bar");
    let e = build.section("engine");
    let (speed, vacuum) = (rad_per_s(e.si("idle_speed")), pa(e.si("idle_manifold")));
    let sol = finished(&build, &Schedule::idle_hose_off_on(speed, vacuum, vacuum, s(0.5), s(1.5)), &smooth());
    let off = sol.mean("rail pressure", s(0.1), s(0.5)).expect("recorded").si;
    let on = sol.mean("rail pressure", s(1.0), s(1.5)).expect("recorded").si;
    let idle = Operating::at(speed, vacuum);
    let steady = |op: &Operating| point(&build, op).expect("solves").rail_pressure().pascals();
    let expected = steady(&idle.with_the_reference_hose_off()) - steady(&idle);
    assert!((off - on - expected).abs() < 2e3, "{} {expected}", off - on);
    // The gain of the seat, A_d/(A_d - A_s) with 30 mm and 6 mm, less what the return line gives back.
    let gain = (off - on) / -vacuum.value;
    assert!(gain > 1.0 && gain < 1.05, "{gain}");
}

#[test]
fn a_snap_carries_the_rail_from_the_idle_point_to_the_boosted_one() {
    let build = car("before-0.7-bar");
    let e = build.section("engine");
    let (speed, vacuum) = (rad_per_s(e.si("idle_speed")), pa(e.si("idle_manifold")));
    let sol = finished(&build, &Schedule::snap(speed, vacuum, bar(0.5), ms(100.0), s(1.6)), &smooth());
    let steady = |w, p| point(&build, &Operating::at(w, p)).expect("solves").rail_pressure().pascals();
    let first = sol.mean("rail pressure", s(0.0), s(0.19)).expect("recorded").si;
    let last = sol.mean("rail pressure", s(1.45), s(1.6)).expect("recorded").si;
    assert!((first - steady(speed, vacuum)).abs() < 2e3, "{first}");
    assert!((last - steady(3.0 * speed, bar(0.5))).abs() < 2e3, "{last}");
}

#[test]
fn a_leak_down_decays_with_leak_times_compliance() {
    for leak in [6e11, 1.2e12] {
        let build = car("before-0.7-bar")
            .with("check valve.leak", &format!("{leak:e} Pa·s/m³"))
            .expect("a known key");
        let sol = finished(&build, &Schedule::leak_down(s(4.0)), &smooth());
        let p = |t: f64| sol.at("rail pressure", s(t)).expect("recorded").si;
        // Towards the tank, less the check valve's spring and the head: a few kilopascals that are left out here.
        let tau = 0.5 / (p(1.5) / p(2.0)).ln();
        let (c, _) = compliance(&build, &Options::default());
        assert!((tau / (leak * c) - 1.0).abs() < 0.06, "{tau} s, {} s", leak * c);
    }
}

#[test]
fn a_hot_soak_pushes_out_what_the_warming_fuel_expands_by() {
    let build = car("before-0.7-bar");
    let o = smooth();
    let sol = finished(&build, &Schedule::hot_soak(degc(35.0), degc(50.0), s(16.0)), &o);
    let hose = |name: &str| {
        let v = &build.part(name).expect("there").values;
        std::f64::consts::PI / 4.0 * v.si("bore").powi(2) * v.si("length")
    };
    // The last half of four lumps of the return hose stands at the tank's pressure already.
    let volume = hose("feed hose") + 0.875 * hose("return hose") + o.rail_volume + o.return_chamber;
    let (c, expansivity) = compliance(&build, &o);
    let grown = expansivity * 15.0 * volume;
    let back: f64 = sol.ledger.ends.values().sum();
    // What the lines give back as the rail falls from the running pressure to the poppet's seat comes on top.
    assert!(back > 0.97 * grown && back < 1.03 * grown + c * 0.5e5, "{back:e} {grown:e}");
    let (held, end) =
        (sol.at("rail pressure", s(5.0)).expect("recorded").si, sol.at("rail pressure", s(15.9)));
    // The poppet lets out what expands: the rail stands where it cracks.
    assert!((end.expect("recorded").si - held).abs() < 3e3, "{held}");
}

#[test]
fn after_a_pump_failure_the_engine_drinks_what_the_lines_hold() {
    let build = car("before-0.7-bar");
    let fail = Schedule::pump_failure(rpm(6500.0), bar(0.7), s(0.2), s(3.0))
        .until(Until::difference_below(kpa(200.0)));
    let sol = run(&build, &fail, &smooth()).expect("valid");
    let Stopped::Until { t } = sol.stopped else { panic!("{}", sol.stopped) };
    let before = sol.mean("differential pressure", s(0.05), s(0.19)).expect("recorded").si;
    let flow = sol.mean("engine flow", s(0.05), s(0.19)).expect("recorded").si;
    let (c, _) = compliance(&build, &Options::default());
    // The rotor runs on for some tens of milliseconds and feeds a little; the lines alone would last C Δp/Q.
    let alone = c * (before - 2e5) / flow;
    assert!(t - 0.2 > alone && t - 0.2 < alone + 0.06, "{} s, {alone} s", t - 0.2);
}

#[test]
fn under_a_voltage_sag_the_rail_stands_at_the_steady_points_of_both_voltages() {
    let build = car("before-0.7-bar");
    let sag = Schedule::voltage_sag(rpm(3000.0), bar(0.0), volts(13.8), volts(11.0), s(2.0));
    let sol = finished(&build, &sag, &smooth());
    for (v, from, to) in [(13.8, 0.3, 0.5), (11.0, 0.9, 1.2)] {
        let op = Operating::at(rpm(3000.0), bar(0.0)).with_supply(volts(v));
        let steady = point(&build, &op).expect("solves");
        let flow = sol.mean("pump flow", s(from), s(to)).expect("recorded").si;
        assert!((flow / steady.pump_flow().value - 1.0).abs() < 0.01, "{v} V: {flow}");
        let rail = sol.mean("rail pressure", s(from), s(to)).expect("recorded").si;
        assert!((rail - steady.rail_pressure().pascals()).abs() < 2e3, "{v} V: {rail}");
    }
}

/// Mean mass of a pulse of the first injector, kg, and the swing of the pressure behind it, Pa.
fn seen(behind: Behind, begins: f64) -> (f64, f64) {
    let build = car("before-0.7-bar");
    let o = Options { behind, injection_begins: begins, tolerance: 0.3, ..smooth() };
    let sol = finished(&build, &Schedule::hold(rpm(2500.0), bar(0.3), s(0.4)), &o);
    let all: Vec<f64> = sol.pulses.iter().filter(|p| p.injector == 0).map(|p| p.delivered).collect();
    let mean = all.iter().sum::<f64>() / all.len() as f64;
    let (left, passed) = (sol.ledger.imbalance.abs(), sol.ledger.injectors.values().sum::<f64>());
    assert!(left < 1e-9 * passed.abs().max(1e-6), "{left:e}");
    let back = sol.channels.get("injectors 1 back pressure");
    let swing = back.map_or(0.0, |c| {
        c.values.iter().fold(f64::MIN, |m, v| m.max(*v)) - c.values.iter().fold(f64::MAX, |m, v| m.min(*v))
    });
    (mean, swing)
}

#[test]
fn an_injector_feels_its_own_port_and_its_own_cylinder() {
    let (manifold, none) = seen(Behind::Manifold, 0.0);
    assert_eq!(none, 0.0);
    let shut = 20.0f64.to_radians();
    let open = 400.0f64.to_radians();
    let (closed_valve, swing) = seen(Behind::Port(Gases::default()), shut);
    let (open_valve, _) = seen(Behind::Port(Gases::default()), open);
    // The port dips by kilopascals while the piston draws from it: an open valve gives a larger difference.
    assert!((2e3..0.5e5).contains(&swing), "{swing}");
    assert!(
        open_valve > closed_valve * 1.001 && open_valve < closed_valve * 1.1,
        "{open_valve:e} {closed_valve:e}"
    );
    assert!((closed_valve / manifold - 1.0).abs() < 0.05, "{closed_valve:e} {manifold:e}");
    // In the cylinder, late in compression, a port injector's rail is no match: gas comes back instead.
    let late = 660.0f64.to_radians();
    let (direct, peak) = seen(Behind::Cylinder(Gases::default()), late);
    assert!(peak > 20e5, "{peak}");
    assert!(direct < 0.3 * manifold, "{direct:e} {manifold:e}");
}

#[test]
fn a_run_that_blows_up_names_channel_and_time_and_keeps_what_it_had() {
    // A temperature that no fuel has, half way: the lines are asked to hold what they cannot.
    let warm = Track::new(&[(0.0, 308.0), (0.1, 308.0), (0.101, 1e300)]).expect("in order");
    let held = Schedule { fuel_temperature: Some(warm), ..Schedule::hold(rpm(3000.0), bar(0.0), s(0.3)) };
    let sol = run(&car("before-0.7-bar"), &held, &smooth()).expect("valid");
    let Stopped::BlewUp { t, channel } = &sol.stopped else { panic!("{}", sol.stopped) };
    assert!((0.1..0.102).contains(t), "{t}");
    assert!(channel.contains("pressure") || channel.contains("flow"), "{channel}");
    assert!(sol.t.len() >= 500 && sol.pulses.len() > 4);
    assert!(sol.at("rail pressure", s(0.09)).expect("kept").si > 2e5);
    let short = run(
        &car("before-0.7-bar"),
        &Schedule::hold(rpm(3000.0), bar(0.0), s(2.0)),
        &Options { max_steps: 3000, ..smooth() },
    );
    let short = short.expect("valid");
    assert!(matches!(short.stopped, Stopped::TooManySteps { .. }), "{}", short.stopped);
    assert!(short.t.len() > 100);
}

#[test]
fn values_that_cannot_be_are_refused_by_their_key() {
    let build = car("before-0.7-bar");
    for (key, value) in [
        ("main pump.rotor_inertia", "-40 g·cm²"),
        ("regulator.moving_mass", "0 g"),
        ("feed hose.bore", "0 mm"),
        ("feed hose.length", "-1 m"),
        ("regulator.reference_lag", "-1 ms"),
    ] {
        let e = build.with(key, value).expect_err(key).to_string();
        assert!(e.contains(key.split('.').next_back().expect("a key")), "{e}");
    }
    let backward = Track::new(&[(0.0, 1.0), (2.0, 1.0), (1.0, 1.0)]).expect_err("refused").to_string();
    assert!(backward.contains("point 2 at 1 s") && backward.contains("2 s"), "{backward}");
    assert!(Track::new(&[(0.0, f64::NAN)]).is_err());
    let refused = |s: &Schedule, o: &Options| run(&build, s, o).expect_err("refused").to_string();
    let held = Schedule::hold(rpm(3000.0), bar(0.0), s(1.0));
    assert!(
        refused(&Schedule { rpm: Track::constant(1e9), ..held.clone() }, &smooth()).contains("schedule.rpm")
    );
    assert!(
        refused(&Schedule { rpm: Track::constant(-5.0), ..held.clone() }, &smooth()).contains("schedule.rpm")
    );
    // Times that run backward, and what is no number, in each preset that takes one.
    let (low, high) = (bar(0.0), bar(0.5));
    for (s, key) in [
        (Schedule::key_on_prime(s(-1.0), s(3.0)), "schedule.power"),
        (Schedule::pump_failure(rpm(3000.0), low, s(-0.1), s(1.0)), "schedule.power"),
        (Schedule::boost_step(rpm(3000.0), low, high, ms(-50.0), s(1.0)), "schedule.boost"),
        (Schedule::snap(rpm(900.0), low, high, ms(-50.0), s(1.0)), "schedule.boost"),
        (Schedule::idle_hose_off_on(rpm(900.0), low, low, s(-0.1), s(1.0)), "schedule.reference"),
        (Schedule::voltage_sag(rpm(900.0), low, volts(f64::NAN), volts(11.0), s(1.0)), "schedule.supply"),
        (Schedule::hold(rpm(900.0), low, s(-1.0)), "schedule.seconds"),
    ] {
        let said = refused(&s, &smooth());
        assert!(said.contains(key), "{key}: {said}");
    }
    assert!(refused(&held, &Options { return_chamber: 0.0, ..smooth() }).contains("return_chamber"));
    assert!(refused(&held, &Options { damper: -1e-12, ..smooth() }).contains("options.damper"));
    let nowhere = Options { injection_begins: f64::NAN, ..smooth() };
    assert!(refused(&held, &nowhere).contains("options.injection_begins"));
    let flat = Gases { compression: 0.5, ..Gases::default() };
    assert!(refused(&held, &Options { behind: Behind::Port(flat), ..smooth() }).contains("behind"));
}
