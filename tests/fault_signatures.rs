//! Each fault shows what the trade knows it by, on the college's hill-climb car (invented).
//!
//! The words are those of a fault table in common use (common practice, no source); the numbers are the model's.

use railrise::build::Build;
use railrise::fault::Fault;
use railrise::part::regulator::Mode;
use railrise::quantity::*;
use railrise::steady::*;

fn demo(name: &str) -> Build {
    Build::read(format!("{}/datasets/{name}.toml", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

/// Fuelled with a little in hand, and the same car asked for too much.
fn before() -> Build {
    demo("hill-climb-car/before-0.7-bar")
}

fn raised() -> Build {
    demo("hill-climb-car/raised-1.4-bar")
}

fn with(car: &Build, fault: Fault, severity: f64) -> Build {
    fault.apply(car, severity).unwrap_or_else(|e| panic!("{fault}: {e}"))
}

fn at(car: &Build, speed: f64, boost: f64) -> Point {
    point(car, &Operating::at(rpm(speed), bar(boost))).unwrap_or_else(|e| panic!("{}: {e}", car.name()))
}

fn idle(car: &Build) -> Point {
    at(car, 900.0, -0.65)
}

fn idle_hose_off(car: &Build) -> Point {
    point(car, &Operating::at(rpm(900.0), bar(-0.65)).with_the_reference_hose_off()).unwrap()
}

fn load(car: &Build) -> Point {
    at(car, 6500.0, 0.7)
}

fn rail(p: &Point) -> f64 {
    p.gauges().rail / 1e5
}

fn dp(p: &Point) -> f64 {
    p.difference().value / 1e5
}

fn lambda(p: &Point) -> f64 {
    p.lambda().unwrap()
}

fn near(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}

/// Speed at which the supply first runs short on a pull at this boost.
fn hinge(car: &Build, boost: f64) -> f64 {
    (20..=70)
        .map(|i| f64::from(i) * 100.0)
        .find(|r| at(car, *r, boost).out_of_control())
        .unwrap_or(f64::INFINITY)
}

/// Flow at which the supply first runs short.
fn hinge_flow(car: &Build, boost: f64) -> f64 {
    at(car, hinge(car, boost), boost).pump_flow().value * 3.6e6
}

#[test]
fn every_fault_has_its_words_and_is_found_by_name() {
    let mut names = std::collections::BTreeSet::new();
    for f in Fault::all() {
        let w = f.words();
        assert!(names.insert(w.name), "{} stands twice", w.name);
        for text in [w.what, w.full, w.changes, w.leaves] {
            assert!(text.len() > 5, "{}: a word is missing", w.name);
        }
        assert_eq!(Fault::named(w.name).unwrap(), *f);
    }
    assert_eq!(names.len(), 30);
    let e = Fault::named("worn pimp").unwrap_err().to_string();
    assert!(e.contains("did you mean \"worn pump\""), "{e}");
    let e = Fault::WornPump.apply(&before(), 1.5).unwrap_err().to_string();
    assert!(e.contains("worn pump: a severity of 1.5"), "{e}");
}

#[test]
fn severity_nought_is_the_sound_car_and_every_fault_changes_what_was_read_in() {
    let car = before();
    let pot = demo("layouts/surge-pot-return-to-pot");
    for f in Fault::all() {
        let car = if *f == Fault::PotNotKeptFull { &pot } else { &car };
        assert_eq!(f.apply(car, 0.0).unwrap(), *car);
        let b = with(car, *f, 0.7);
        assert_ne!(b.input_digest(), car.input_digest(), "{f}");
        assert!(b.name().ends_with(f.name()), "{}", b.name());
    }
    let e = Fault::PotNotKeptFull.apply(&car, 1.0).unwrap_err().to_string();
    assert!(e.contains("this build has no surge pot with a lift pump"), "{e}");
}

#[test]
fn a_steady_point_is_blind_to_what_only_shows_in_time() {
    let car = before();
    for f in Fault::all().iter().filter(|f| f.only_in_time()) {
        let b = with(&car, *f, 1.0);
        for (n, boost) in [(900.0, -0.65), (3000.0, 0.0), (6500.0, 0.7)] {
            let (sound, faulty) = (at(&car, n, boost).gauges(), at(&b, n, boost).gauges());
            near(faulty.rail, sound.rail, 1e-3);
            near(faulty.lambda.unwrap(), sound.lambda.unwrap(), 1e-9);
        }
    }
    assert_eq!(Fault::all().iter().filter(|f| f.only_in_time()).count(), 2);
}

#[test]
fn overrun_seat_idles_high_does_not_drop_with_the_hose_on_and_is_normal_under_load() {
    let (car, bad) = (before(), with(&before(), Fault::OverrunSeat, 1.0));
    near(rail(&idle_hose_off(&car)) - rail(&idle(&car)), 0.65, 0.03); // the sound car drops by the vacuum
    assert_eq!(idle(&bad).regulators[0].mode, Mode::FullLift);
    near(rail(&idle_hose_off(&bad)), rail(&idle(&bad)), 0.01);
    assert!(rail(&idle(&bad)) > rail(&idle(&car)) + 0.5);
    near(dp(&load(&bad)), dp(&load(&car)), 0.002);
    near(lambda(&load(&bad)), lambda(&load(&car)), 0.001);
}

#[test]
fn restricted_return_lifts_the_idle_and_its_return_pressure_and_vanishes_under_load() {
    let (car, bad) = (before(), with(&before(), Fault::RestrictedReturn, 1.0));
    let back = |p: &Point| (p.regulators[0].back - p.ambient) / 1e5;
    assert!(rail(&idle(&bad)) > rail(&idle(&car)) + 0.15);
    assert!(back(&idle(&bad)) > 2.0 && back(&idle(&car)) < 0.2);
    near(rail(&load(&bad)), rail(&load(&car)), 0.01);
    near(lambda(&load(&bad)), lambda(&load(&car)), 0.002);
}

#[test]
fn base_set_during_overrun_reads_right_at_idle_and_lies_below_by_one_offset_under_load() {
    let (car, bad) = (before(), with(&before(), Fault::BaseSetDuringOverrun, 1.0));
    near(rail(&idle_hose_off(&bad)), 3.0, 0.2); // the gauge said base
    let turned = bad.with("regulator.screw", "-1.5 turn").unwrap();
    near(rail(&idle_hose_off(&turned)), rail(&idle_hose_off(&bad)), 0.01); // the screw is dead
    let offset = |n, b| dp(&at(&car, n, b)) - dp(&at(&bad, n, b));
    for (n, b) in [(4000.0, 0.7), (5000.0, 0.7), (6500.0, 0.7)] {
        near(offset(n, b), 0.6, 0.02);
    }
    let half = with(&before(), Fault::BaseSetDuringOverrun, 0.5);
    near(dp(&load(&car)) - dp(&load(&half)), 0.3, 0.02);
    assert!(lambda(&load(&bad)) > 1.08 * lambda(&load(&car)));
}

#[test]
fn regulator_stuck_shut_stands_at_what_the_pump_can_do_and_draws_more_current() {
    let (car, bad) = (before(), with(&before(), Fault::RegulatorStuckShut, 1.0));
    let (sound, p) = (idle(&car), idle(&bad));
    assert!(rail(&p) > 7.0 && p.return_flow().value < 1e-9);
    assert!(p.pump_current() > 1.5 * sound.pump_current());
    assert!(lambda(&p) < 0.8 * lambda(&sound));
    near(p.pumps[0].running.rise, bad.si("main pump.relief").unwrap(), 0.6e5); // held by the relief alone
}

#[test]
fn regulator_stuck_open_never_reaches_base_and_returns_all() {
    let (car, bad) = (before(), with(&before(), Fault::RegulatorStuckOpen, 1.0));
    assert_eq!(load(&bad).regulators[0].mode, Mode::HeldOpen);
    assert!(rail(&idle_hose_off(&bad)) < 0.5 * rail(&idle_hose_off(&car)));
    assert!(idle(&bad).return_flow() > idle(&car).return_flow());
    assert!(lambda(&load(&bad)) > 2.0 * lambda(&load(&car)));
}

#[test]
fn ruptured_diaphragm_floods_the_idle_and_keeps_base() {
    let (car, bad) = (before(), with(&before(), Fault::RupturedDiaphragm, 1.0));
    assert!(Fault::RupturedDiaphragm.caution().unwrap().contains("stop the engine"));
    let leak = |p: &Point| p.legs.iter().find(|l| l.name == "regulator rupture").unwrap().flow * 3.6e6;
    // Q = C_d A sqrt(2 dp/rho): 0.61, 0.4 mm, 3 bar, 727 kg/m3: 7.9 L/h
    near(leak(&load(&bad)), 7.9, 0.2);
    assert!(lambda(&idle(&bad)) < 0.5 * lambda(&idle(&car)));
    near(dp(&idle(&bad)), dp(&idle(&car)), 0.02);
    let rich = |n, b| lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b));
    assert!(rich(900.0, -0.65) < rich(3000.0, 0.0) && rich(3000.0, 0.0) < rich(6500.0, 0.7));
    assert!(hinge(&with(&raised(), Fault::RupturedDiaphragm, 1.0), 1.4) < hinge(&raised(), 1.4));
}

#[test]
fn a_reference_that_is_off_or_on_the_wrong_port_loses_one_bar_a_bar() {
    let car = before();
    for f in [Fault::ReferenceOff, Fault::ReferenceOnWrongPort] {
        let bad = with(&car, f, 0.1);
        let (low, high) = (at(&bad, 4000.0, 0.2), at(&bad, 4000.0, 0.7));
        near(dp(&low) - dp(&high), 0.5, 0.01);
        near(rail(&low), rail(&high), 0.01);
        near(rail(&idle(&bad)), rail(&idle_hose_off(&bad)), 0.01); // no drop with the hose on
    }
    // Before the compressor the pressure lies below the ambient by the intake's loss, 2 kPa.
    let port = |f| dp(&load(&with(&car, f, 1.0)));
    near(port(Fault::ReferenceOff) - port(Fault::ReferenceOnWrongPort), 0.02 * 1.042, 0.002);
}

#[test]
fn a_split_reference_hose_loses_its_part_of_the_signal_and_nothing_at_no_boost() {
    let (car, bad) = (before(), with(&before(), Fault::ReferenceSplit, 0.5));
    near(dp(&at(&bad, 3000.0, 0.0)), dp(&at(&car, 3000.0, 0.0)), 1e-4);
    // 0.4 of 0.7 bar, times the seat's gain of 1.042
    near(dp(&load(&car)) - dp(&load(&bad)), 0.4 * 0.7 * 1.042, 0.01);
}

#[test]
fn worn_pump_hinges_with_its_volts_in_order() {
    let (car, bad) = (raised(), with(&raised(), Fault::WornPump, 0.5));
    assert!(hinge(&bad, 1.4) < hinge(&car, 1.4) - 300.0);
    let (below, above) = (at(&bad, 3000.0, 0.0), at(&bad, 6500.0, 1.4));
    near(dp(&below), dp(&at(&car, 3000.0, 0.0)), 0.03);
    assert!(above.out_of_control() && dp(&above) < dp(&at(&car, 6500.0, 1.4)) - 0.3);
    near(above.gauges().pump_volts, at(&car, 6500.0, 1.4).gauges().pump_volts, 0.15);
    assert!(idle(&bad).return_flow() < 0.9 * idle(&car).return_flow());
}

#[test]
fn wiring_drop_hinges_with_its_volts_low() {
    let (car, bad) = (raised(), with(&raised(), Fault::WiringDrop, 0.75));
    assert!(hinge(&bad, 1.4) < hinge(&car, 1.4) - 300.0);
    let (sound, p) = (at(&car, 6500.0, 1.4).gauges(), at(&bad, 6500.0, 1.4).gauges());
    assert!(p.pump_volts < sound.pump_volts - 1.2);
    near(p.supply, sound.supply, 1e-9); // the battery says nothing
    near(dp(&at(&bad, 3000.0, 0.0)), dp(&at(&car, 3000.0, 0.0)), 0.02);
    let worn = at(&with(&car, Fault::WornPump, 0.5), 6500.0, 1.4).gauges();
    assert!(p.pump_volts < worn.pump_volts - 1.2); // what tells the two apart
}

#[test]
fn strainer_blocked_hinges_at_a_flow_that_a_lower_base_does_not_move_with_current_low() {
    let bad = with(&before(), Fault::StrainerBlocked, 0.9);
    let lower = bad.with("regulator.base", "2.5 bar").unwrap();
    let moved = |a: &Build, b: &Build| hinge_flow(b, 0.7) / hinge_flow(a, 0.7) - 1.0;
    assert!(moved(&bad, &lower).abs() < 0.02, "{}", moved(&bad, &lower));
    // A worn pump answers to a lower base.
    let worn = with(&before(), Fault::WornPump, 0.8);
    assert!(moved(&worn, &worn.with("regulator.base", "2.5 bar").unwrap()) > 0.05);
    let p = load(&bad);
    assert!(p.out_of_control() && p.pumps[0].inlet_margin < p.pumps[0].required_margin);
    // Current low: below the sound car's and well below that of a filter which starves it as much.
    let filter = load(&with(&before(), Fault::FilterBeforeRegulator, 1.0));
    assert!(p.pump_current() < 0.8 * load(&before()).pump_current());
    assert!(p.pump_current() < 0.7 * filter.pump_current());
}

#[test]
fn hot_fuel_makes_the_hinge_creep_to_lower_flow() {
    let car = raised();
    let flows: Vec<f64> =
        [0.46, 0.48, 0.50].iter().map(|s| hinge_flow(&with(&car, Fault::HotFuelVapour, *s), 1.4)).collect();
    assert!(flows[0] < hinge_flow(&car, 1.4) - 5.0, "{flows:?}");
    assert!(flows.windows(2).all(|w| w[1] < w[0] - 5.0), "{flows:?}");
    let car = before();
    let p = load(&with(&car, Fault::HotFuelVapour, 0.5));
    assert!(p.pumps[0].running.derating < 0.9 && p.pumps[0].inlet_margin < 10e3);
}

#[test]
fn a_blocked_vent_eats_the_inlet_margin_as_it_builds_up() {
    let car = before();
    let margin = |s| load(&with(&car, Fault::BlockedTankVent, s)).pumps[0].inlet_margin / 1e3;
    near(margin(0.2), load(&car).pumps[0].inlet_margin / 1e3 - 6.0, 0.2);
    near(margin(0.6), load(&car).pumps[0].inlet_margin / 1e3 - 18.0, 0.4);
    let late = with(&raised(), Fault::BlockedTankVent, 1.0);
    assert!(lambda(&at(&late, 6500.0, 1.4)) > lambda(&at(&raised(), 6500.0, 1.4)) + 0.03);
}

#[test]
fn a_pot_that_is_not_kept_full_is_good_until_its_time_to_empty() {
    let car = demo("layouts/surge-pot-return-to-pot");
    let bad = with(&car, Fault::PotNotKeptFull, 1.0);
    let (sound, p) = (load(&car), load(&bad));
    assert_eq!(sound.pots[0].time_to_empty, None);
    let t = p.pots[0].time_to_empty.unwrap();
    assert!(t > 5.0 && t < 600.0, "{t}");
    near(lambda(&p), lambda(&sound), 1e-6); // until then nothing shows
    near(rail(&p), rail(&sound), 1e-6);
}

#[test]
fn a_filter_before_the_regulator_makes_current_high_and_the_hinge_early() {
    let (car, bad) = (raised(), with(&raised(), Fault::FilterBeforeRegulator, 0.5));
    assert!(hinge(&bad, 1.4) < hinge(&car, 1.4) - 150.0);
    near(dp(&at(&bad, 3000.0, 0.0)), dp(&at(&car, 3000.0, 0.0)), 0.02);
    assert!(at(&bad, 3000.0, 0.0).pump_current() > 1.1 * at(&car, 3000.0, 0.0).pump_current());
    assert!(at(&bad, 6500.0, 1.4).pump_current() > at(&car, 6500.0, 1.4).pump_current());
}

#[test]
fn a_filter_after_the_regulator_droops_with_demand_and_idles_perfectly() {
    let (car, bad) = (before(), with(&before(), Fault::FilterAfterRegulator, 0.75));
    near(lambda(&idle(&bad)), lambda(&idle(&car)), 0.001);
    near(rail(&load(&bad)), rail(&load(&car)), 0.01); // the gauge at the regulator sees nothing
    let lean = |n, b| lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b)) - 1.0;
    let steps: Vec<f64> = [(2000.0, 0.0), (3000.0, 0.0), (4000.0, 0.7), (5000.0, 0.7), (6500.0, 0.7)]
        .iter()
        .map(|(n, b)| lean(*n, *b))
        .collect();
    assert!(steps.windows(2).all(|w| w[1] > w[0]), "{steps:?}");
    assert!(steps[0] > 1e-3 && steps[4] > 0.03, "{steps:?}"); // smooth from the start, no hinge
    assert!(!load(&bad).out_of_control());
    // In a dead-end feed the rail's own gauge sees it, the one at the regulator does not.
    let car = demo("layouts/dead-end-rail");
    let bad = with(&car, Fault::FilterAfterRegulator, 0.5);
    near(rail(&idle(&bad)), rail(&idle(&car)), 0.02);
    assert!(rail(&load(&car)) - rail(&load(&bad)) > 0.1);
    let at_regulator = |p: &Point| p.pressure_at("regulator tee").unwrap().pascals();
    near(at_regulator(&load(&bad)), at_regulator(&load(&car)), 1500.0);
}

#[test]
fn an_early_relief_flattens_the_top() {
    let (car, bad) = (raised(), with(&raised(), Fault::ReliefOpening, 1.0));
    let tops: Vec<f64> = [0.8, 1.0, 1.2, 1.4].iter().map(|b| rail(&at(&bad, 4000.0, *b))).collect();
    let rise = tops[3] - tops[0];
    assert!(rise.abs() < 0.12, "{tops:?}"); // boost rose by 0.6 bar
    assert!(rail(&at(&car, 4000.0, 1.4)) - rail(&at(&car, 4000.0, 0.8)) > 0.55);
    near(rail(&idle(&bad)), rail(&idle(&car)), 1e-3);
    assert!(at(&bad, 4000.0, 1.4).pumps[0].running.relieved > 0.0);
}

#[test]
fn a_check_valve_that_drains_lets_fuel_back_only_when_the_pump_rests() {
    let bad = with(&before(), Fault::CheckValveDraining, 1.0);
    let v = &bad.part("check valve").unwrap().values;
    // 3 bar over its leak: 3e5/1e12 m3/s = 1.1 L/h
    near(3e5 / v.si("leak") * 3.6e6, 1.08, 0.01);
    near(rail(&load(&bad)), rail(&load(&before())), 1e-5);
}

#[test]
fn a_leaking_injector_is_rich_at_idle_and_fades_with_load() {
    let (car, bad) = (before(), with(&before(), Fault::LeakingInjector, 1.0));
    let rich = |n, b| 1.0 - lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b));
    assert!(rich(900.0, -0.65) > 0.25);
    assert!(rich(6500.0, 0.7) < 0.02);
    near(rail(&load(&bad)), rail(&load(&car)), 0.005);
    // 20 cc/min at the stated 3 bar
    let more = load(&bad).engine_flow().value - load(&car).engine_flow().value;
    near(more * 6e7, 20.0, 0.3);
}

#[test]
fn injectors_that_are_too_small_go_lean_past_their_limit_though_the_difference_is_held() {
    let car = demo("hill-climb-car/cure-second-pump");
    let bad = with(&car, Fault::DutyLimit, 0.8);
    let (sound, p) = (at(&car, 6500.0, 1.4), at(&bad, 6500.0, 1.4));
    near(dp(&p), dp(&sound), 0.05);
    assert!(p.duty().value >= 1.0 && lambda(&p) > 1.1 * lambda(&sound));
    let below = at(&bad, 3000.0, 0.0);
    assert!(below.duty().value < 0.85);
    near(lambda(&below), lambda(&at(&car, 3000.0, 0.0)), 0.01);
}

#[test]
fn one_weak_injector_hides_in_the_mean_and_shows_in_its_cylinder() {
    let (car, bad) = (before(), with(&before(), Fault::WeakInjector, 1.0));
    let (sound, p) = (load(&car), load(&bad));
    near(lambda(&p) / lambda(&sound), 1.0 / (1.0 - 0.25 / 4.0), 0.003);
    near(p.worst_lambda().unwrap() / sound.worst_lambda().unwrap(), 1.0 / 0.75, 0.005);
    near(rail(&p), rail(&sound), 0.01);
    near(p.duty().value, sound.duty().value, 1e-9);
}

#[test]
fn a_wrong_dead_time_upsets_idle_and_spares_load() {
    let (car, bad) = (before(), with(&before(), Fault::WrongDeadTime, 1.0));
    let rich = |n, b| 1.0 - lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b));
    assert!(rich(900.0, -0.65) > 0.15);
    assert!(rich(6500.0, 0.7) < 0.06);
    assert!(rich(900.0, -0.65) > 4.0 * rich(6500.0, 0.7));
    near(rail(&load(&bad)), rail(&load(&car)), 0.01);
}

#[test]
fn ethanol_and_light_fuel_lean_every_load_alike() {
    let car = before();
    for (f, least, most) in [(Fault::EthanolInFuel, 1.09, 1.16), (Fault::LightFuel, 1.03, 1.06)] {
        let bad = with(&car, f, 1.0);
        for (n, b) in [(900.0, -0.65), (3000.0, 0.0), (6500.0, 0.7)] {
            let ratio = lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b));
            assert!(ratio > least && ratio < most, "{f} at {n} rpm: {ratio}");
            near(at(&bad, n, b).duty().value, at(&car, n, b).duty().value, 1e-9);
        }
        let ratio = |n, b| lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b));
        near(ratio(900.0, -0.65), ratio(6500.0, 0.7), 0.01); // uniform
    }
}

#[test]
fn a_reading_that_is_off_leaves_the_truth_alone() {
    let car = before();
    let pairs = [(900.0, -0.65), (3000.0, 0.0), (6500.0, 0.7)];
    for f in [Fault::LambdaSensorAged, Fault::ExhaustLeak, Fault::RailGaugeOff] {
        let bad = with(&car, f, 1.0);
        for (n, b) in pairs {
            let (sound, p) = (at(&car, n, b), at(&bad, n, b));
            assert_eq!(p.injected.to_bits(), sound.injected.to_bits(), "{f}");
            assert_eq!(p.junctions, sound.junctions, "{f}");
        }
    }
    let read = |b: &Build, n, boost| at(b, n, boost).gauges();
    let aged = with(&car, Fault::LambdaSensorAged, 1.0);
    let leak = with(&car, Fault::ExhaustLeak, 1.0);
    let gauge = with(&car, Fault::RailGaugeOff, 1.0);
    for (n, b) in pairs {
        near(read(&aged, n, b).lambda.unwrap() - read(&car, n, b).lambda.unwrap(), 0.06, 1e-9);
        near(read(&gauge, n, b).rail - read(&car, n, b).rail, 0.4e5, 1e-6);
    }
    let off = |n, b| read(&leak, n, b).lambda.unwrap() / read(&car, n, b).lambda.unwrap() - 1.0;
    assert!(off(900.0, -0.65) > 0.1 && off(6500.0, 0.7) < 0.01);
}

#[test]
fn a_manifold_sensor_that_reads_high_enriches_idle_most() {
    let (car, bad) = (before(), with(&before(), Fault::ManifoldSensorOff, 1.0));
    near(load(&bad).gauges().manifold - load(&car).gauges().manifold, 0.15e5, 1e-6);
    let rich = |n, b| 1.0 - lambda(&at(&bad, n, b)) / lambda(&at(&car, n, b));
    assert!(rich(900.0, -0.65) > 0.2 && rich(6500.0, 0.7) < 0.1);
    near(dp(&load(&bad)), dp(&load(&car)), 0.01);
}
