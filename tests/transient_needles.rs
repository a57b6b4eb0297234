//! Coil and needle: static limits in closed form, dead time out of the physics, and beside the table made from it.

use crate::support::demo_car::{damped, finished};
use proptest::prelude::*;
use railrise::build::Build;
use railrise::part::injector::CoilNeedle;
use railrise::quantity::{bar, rpm, s};
use railrise::schedule::Schedule;
use railrise::transient::network::EventKind;
use railrise::transient::{Options, Solution, Stepper};

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    // Closed forms: i = V/R (1 - exp(-t R/L)) (textbook RL circuit) meets k i² = F_s + A Δp at lift-off.
    #[test]
    fn the_needle_leaves_its_seat_when_the_rl_current_balances_spring_and_pressure(
        volts in 9.0..16.0f64,
        dp in 1e5..6e5f64,
    ) {
        let c = CoilNeedle::default();
        let t = c.lift_off(volts, dp).expect("lifts");
        let i = volts / c.resistance * (1.0 - (-t * c.resistance / c.inductance).exp());
        let force = c.pull * i * i - c.preload - c.seat_area * dp;
        prop_assert!(force.abs() < 1e-12 * c.preload.max(1.0) * 100.0, "{force:e}");
        prop_assert!((c.force(c.release_current(), c.lift, dp)).abs() < 1e-12);
        // A pulse that ends before it is worth nothing, one that ends after it something.
        prop_assert_eq!(c.open_time(0.999 * t, volts, dp), 0.0);
        prop_assert!(c.open_time(1.05 * t, volts, dp) > 0.0);
        // Once it has met its stop, a longer pulse is worth what it is longer by.
        let (a, b) = (c.open_time(17e-3, volts, dp), c.open_time(20e-3, volts, dp));
        prop_assert!((b - a - 3e-3).abs() < 2e-8, "{}", b - a);
    }

    #[test]
    fn dead_time_falls_with_voltage_and_rises_with_pressure(volts in 9.0..15.0f64, dp in 1e5..5e5f64) {
        let c = CoilNeedle::default();
        let d = c.dead_time(volts, dp);
        prop_assert!(c.dead_time(volts + 0.5, dp) < d - 1e-6);
        prop_assert!(c.dead_time(volts, dp + 5e4) > d + 1e-6);
        // High-resistance port injectors: some 0.4 to 2 ms in this range (common practice, no source).
        prop_assert!((4e-4..2.05e-3).contains(&d), "{d}");
    }
}

#[test]
fn a_supply_that_cannot_lift_the_needle_delivers_nothing() {
    let c = CoilNeedle::default();
    let least = c.opening_current(3e5) * c.resistance;
    assert!(c.lift_off(0.999 * least, 3e5).is_none() && c.lift_off(1.001 * least, 3e5).is_some());
    assert_eq!(c.open_time(20e-3, 0.999 * least, 3e5), 0.0);
}

#[test]
fn short_pulses_lie_below_the_straight_line() {
    let c = CoilNeedle::default();
    let (volts, dp) = (13.8, 3e5);
    let dead = c.dead_time(volts, dp);
    let turns_back = 1.1 * c.lift_off(volts, dp).expect("lifts");
    let straight = (turns_back - dead).max(0.0);
    let t = c.open_time(turns_back, volts, dp);
    assert!(t > 0.0 && straight - t > 1e-4, "{t} {straight}");
    let mut last = 0.0;
    for k in 0..60 {
        let t = c.open_time(f64::from(k) * 1e-4, volts, dp);
        // Landing takes the needle's speed: there a longer pulse may be worth a little less.
        assert!(t >= last - 5e-6, "{k}: {t} {last}");
        last = t;
    }
}

/// The car with a table that was read off the coil and needle, on a grid.
fn identified() -> Build {
    let c = CoilNeedle::default();
    let mut rows = Vec::new();
    for volts in [11.0, 12.0, 13.0, 13.5, 14.0, 14.5] {
        for kpa in [200.0, 250.0, 300.0, 350.0, 400.0] {
            let ms = c.dead_time(volts, kpa * 1e3) * 1e3;
            rows.push(format!(
                "{{ voltage = \"{volts} V\", difference = \"{kpa} kPa\", time = \"{ms:.6} ms\" }}"
            ));
        }
    }
    const CAR: &str = include_str!("../datasets/hill-climb-car/before-0.7-bar.toml");
    let begins = CAR.find("dead_time_rows = [").expect("the car has a table");
    let ends = begins + CAR[begins..].find("\n]").expect("the table ends") + 2;
    let rows = rows.join(", ");
    Build::from_toml(&format!("{}dead_time_rows = [{rows}]{}", &CAR[..begins], &CAR[ends..])).expect("reads")
}

#[test]
fn the_table_made_from_it_agrees_with_coil_and_needle_in_a_run() {
    let table = identified();
    let coil = table.with("injectors.opening", "coil and needle").expect("a known key");
    let held = Schedule::hold(rpm(4500.0), bar(0.5), s(0.4));
    let o = damped();
    let (by_table, by_coil) = (finished(&table, &held, &o), finished(&coil, &held, &o));
    let delivered = |sol: &Solution| {
        let all: Vec<f64> = sol.pulses.iter().map(|p| p.delivered).collect();
        all.iter().sum::<f64>() / all.len() as f64
    };
    let (a, b) = (delivered(&by_table), delivered(&by_coil));
    assert!((b / a - 1.0).abs() < 1e-3, "{a:e} {b:e}");
    assert!(by_coil.pulses.len() + 4 >= by_table.pulses.len());
    let moved: f64 = by_coil.ledger.injectors.values().sum();
    assert!(by_coil.ledger.imbalance.abs() < 1e-9 * moved, "{:e}", by_coil.ledger.imbalance);
    // Static limits within the run: current comes to V/R and lift to its stop.
    let c = CoilNeedle::default();
    let first = by_coil.channels.keys().find(|k| k.ends_with("1 current")).expect("recorded").clone();
    let current = by_coil.range(&first).expect("recorded").1.si;
    let volts = by_coil.mean("supply voltage", s(0.0), s(0.4)).expect("recorded").si;
    assert!((current / c.steady_current(volts) - 1.0).abs() < 1e-3, "{current} {volts}");
    let lift = by_coil.range(&first.replace("current", "lift")).expect("recorded").1.si;
    assert!((lift / c.lift - 1.0).abs() < 1e-4, "{lift}");
    let opened = by_coil.events.iter().filter(|e| matches!(e.kind, EventKind::Opened { .. })).count();
    assert!(opened.abs_diff(by_coil.pulses.len()) <= 4, "{opened}");
    // The other stepper, with its Jacobian in closed form, says the same.
    let other = finished(&coil, &held, &Options { stepper: Stepper::Rodas4, ..o });
    let d = delivered(&other);
    assert!((d / b - 1.0).abs() < 1e-5, "{b:e} {d:e}");
}

// A coil of more resistance than the one the table was read off, while the control unit keeps the table: less fuel.
#[test]
fn what_the_control_unit_believes_stays_its_table() {
    let table = identified();
    let coil = table.with("injectors.opening", "coil and needle").expect("a known key");
    let stiff = coil.with("injectors.coil_resistance", "18 Ω").expect("a known key");
    let held = Schedule::hold(rpm(3000.0), bar(0.2), s(0.2));
    let mean = |b: &Build| {
        let sol = finished(b, &held, &damped());
        sol.pulses.iter().map(|p| p.delivered / p.asked).sum::<f64>() / sol.pulses.len() as f64
    };
    let (right, wrong) = (mean(&coil), mean(&stiff));
    assert!(wrong < right - 0.01, "{right} {wrong}");
}
