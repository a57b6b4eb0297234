//! The words of a cell for changes in time, on the demo car: what each says follows from the physics named beside it.

use railrise::prelude::*;

fn car_before() -> Car {
    car("hill-climb-car/before-0.7-bar")
}

#[test]
fn the_rail_trails_the_manifold_by_the_lag_of_the_reference_hose() {
    let slow = car_before().with("regulator.reference_lag", "40 ms");
    let run = slow.boost_step(rpm(4000.0), bar(0.0), bar(0.6), ms(200.0));
    // A first-order lag trails by its time constant whatever the shape of the change.
    let reference = run.lag("regulator reference", "manifold pressure");
    assert!((reference / ms(40.0) - ratio(1.0)).number().abs() < 0.02, "{reference}");
    // The rail follows the reference within the poppet's own settling.
    let rail = run.lag("rail pressure", "manifold pressure");
    assert!(rail > ms(34.0) && rail < ms(48.0), "{rail}");
    // Slew times lag, 0.6 bar / 0.2 s times 40 ms = 12 kPa, while the ramp lasts (it ends after five lags).
    let dip = run.dip("differential pressure").si;
    assert!((9e3..14e3).contains(&dip), "{dip}");
    let quick = car_before().with("regulator.reference_lag", "1 ms");
    let other = quick.boost_step(rpm(4000.0), bar(0.0), bar(0.6), ms(200.0));
    assert!(other.dip("differential pressure").si < 0.3 * dip);
    let settled = run.settles_within("differential pressure", kpa(1.0)).expect("settles");
    // From 12 kPa to 1 kPa takes two and a half lags after the ramp.
    assert!(settled > ms(200.0) && settled < ms(420.0), "{settled}");
}

// Lags in a row add up: boost that builds, and a manifold that fills in `2 V/(η_v V_d n)` behind it.
#[test]
fn a_rise_of_the_boost_asked_for_shows_how_boost_builds() {
    let car = car_before().with("engine.intake_volume", "6 L").with("engine.spool_time", "0.3 s");
    let car = car.with("engine.charge_temperature", "45 degC");
    let run = car.boost_step(rpm(4000.0), bar(0.1), bar(0.6), ms(200.0));
    let behind = run.lag("boost", "boost asked");
    let filling = 2.0 * 6e-3 / (0.93 * 2.4e-3 * 4000.0 / 60.0);
    assert!(behind > s(0.99 * (0.3 + filling)) && behind < s(1.01 * (0.3 + filling)), "{behind:?}");
    assert!(run.ledger().to_string().contains("went to the engine"), "{}", run.ledger());
    assert!(
        !car_before()
            .boost_step(rpm(4000.0), bar(0.1), bar(0.3), ms(50.0))
            .ledger()
            .to_string()
            .contains("Air:")
    );
}

// With a throttle on the car a snap begins at the idle's own vacuum, by the opening that holds it, and ends just below the
// boost asked for; the manifold is there before boost has built.
#[test]
fn a_snap_opens_the_throttle_that_the_car_has() {
    let car = car_before().with("engine.intake_volume", "6 L").with("engine.spool_time", "0.3 s");
    let car = car.with("engine.throttle_area", "2000 mm²");
    let run = car.snap(bar(0.5), ms(80.0));
    let idle = run.mean("boost", s(0.0), s(0.2)).si;
    assert!((idle + 0.65e5).abs() < 10.0, "{idle}");
    let opening = |from: f64, to: f64| run.mean("throttle", s(from), s(to)).si;
    assert!((0.005..0.02).contains(&opening(0.0, 0.2)), "{}", opening(0.0, 0.2));
    assert!((opening(0.3, 1.0) - 1.0).abs() < 1e-12);
    let early = |name: &str| run.mean(name, s(0.35), s(0.4)).si;
    let short = early("charge pipe pressure") - early("boost");
    assert!(early("charge pipe pressure") < 0.3e5 && (0.0..3e3).contains(&short), "{short}");
    let end = run.mean("boost", s(3.0), s(3.3)).si;
    assert!((0.48e5..0.5e5).contains(&end), "{end}");
}

#[test]
#[should_panic(expected = "engine.throttle_area")]
fn a_snap_into_vacuum_by_a_throttle_is_refused() {
    let car = car_before().with("engine.intake_volume", "6 L").with("engine.throttle_area", "2000 mm²");
    let _ = car.snap(bar(-0.2), ms(80.0));
}

// A split hose brings 0.7 of the vacuum to the port, as it does at the steady point.
#[test]
fn a_hose_that_leaks_brings_less_vacuum_when_it_goes_on() {
    let split = car_before().with("regulator.reference_leak", "0.3");
    for (car, part) in [(car_before(), 1.0), (split, 0.7)] {
        let run = car.hose_off_then_on();
        let felt = |from: f64, to: f64| run.mean("regulator reference", s(from), s(to)).si;
        let vacuum = run.mean("boost", s(1.0), s(1.5)).si;
        assert!(felt(0.1, 0.5).abs() < 1.0, "{}", felt(0.1, 0.5));
        assert!((felt(1.0, 1.5) / vacuum - part).abs() < 1e-3, "{part}: {} {vacuum}", felt(1.0, 1.5));
    }
}

#[test]
fn a_run_shows_itself_and_its_channels_can_be_asked() {
    let run = car_before().snap(bar(0.6), ms(150.0));
    assert_eq!(run.ended(), "ran to its end");
    let page = run.rich();
    assert!(page.get("text/html").is_some_and(|h| h.contains("<svg") && h.contains("lowest")));
    assert!(run.lowest("boost").si < -0.6e5 && run.highest("boost").si > 0.59e5);
    assert!(run.ripple("rail pressure").si > 100.0);
    assert!(run.ledger().to_string().contains("tank") && run.channels().contains(&"pump flow"));
    let two = compare_in_time("differential pressure", &[&run, &run.clone().named("again")]);
    assert!(two.svg().contains("again"));
    assert!(run.worst_scheduling().number() < 0.0 && run.worst_pulse().number() < 0.0);
    let primed = car_before().prime().events().to_string();
    assert!(primed.contains("poppet moved") && primed.contains("regulator"), "{primed}");
}

#[test]
#[should_panic(expected = "rail pressure")]
fn a_channel_that_is_not_there_names_those_that_are() {
    let _ = car_before().prime().lowest("rail presure");
}

#[test]
fn the_rail_follows_a_slow_reference_and_not_a_fast_one() {
    let table = car_before().follows_reference(rpm(3000.0), bar(0.2)).to_string();
    let gain = |line: &str| -> f64 {
        let row = table.lines().find(|l| l.contains(line)).unwrap_or_else(|| panic!("{line}: {table}"));
        let numbers: Vec<f64> = row.split_whitespace().filter_map(|w| w.parse().ok()).collect();
        numbers[1]
    };
    assert!((gain("1 Hz") - 1.0).abs() < 0.1 && gain("300 Hz") < 0.5, "{table}");
}

#[test]
fn the_demo_car_is_stable_in_small_motions() {
    for (speed, boost) in [(rpm(900.0), bar(-0.65)), (rpm(3000.0), bar(0.0)), (rpm(6500.0), bar(0.7))] {
        let table = car_before().small_motions(speed, boost).to_string();
        assert!(table.contains("dies away") && !table.contains("grows"), "{table}");
    }
}
