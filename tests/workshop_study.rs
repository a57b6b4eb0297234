//! Studies in the words of a notebook cell.
use railrise::prelude::*;

#[test]
fn options_meet_on_the_same_draws_in_two_lines() {
    let raised = car("hill-climb-car/raised-1.4-bar").named("as it is");
    let wiring = car("hill-climb-car/cure-wiring").named("new wiring");
    let table = options_across_tolerances(&[&raised, &wiring], rpm(6500.0), 512, 7);
    let lean: Vec<_> = table.rows.iter().filter(|r| r[0] == "running lean").collect();
    assert_eq!((lean[0][1].as_str(), lean[1][1].as_str()), ("as it is", "new wiring"));
    // The cure is better, and the interval of the difference says by how much.
    assert!(lean[0][3].is_empty() && lean[1][3].starts_with('-') && lean[1][4].contains(" to "), "{table}");
    assert!(table.notes[0].contains("seed 7"), "{table}");
}

#[test]
fn what_matters_and_how_rare_are_one_line_each() {
    let before = car("hill-climb-car/before-0.7-bar");
    let table = what_matters(&before, rpm(6500.0), "headroom", 128, 3);
    let shares: f64 = table.rows.iter().map(|r| r[1].trim_end_matches(" %").parse::<f64>().unwrap()).sum();
    assert!(shares > 60.0 && shares < 130.0, "{table}");
    // Injectors that are nearly too small.
    let raised = car("hill-climb-car/raised-1.4-bar").with("injectors.static_flow", "690 cc/min");
    let rare = how_rare(&raised, rpm(6500.0), "injectors full", 5);
    println!("{rare}");
    assert_eq!(rare.notes[0], "The two methods agree.", "{rare}");
    let chance = |row: usize| rare.rows[row][1].parse::<f64>().unwrap();
    assert!(chance(1) < 0.1 && chance(1) > 0.0 && (chance(1) / chance(2)).ln().abs() < 1.0, "{rare}");
}

#[test]
fn a_grid_is_cut_by_name_and_value() {
    let car = car("hill-climb-car/raised-1.4-bar");
    let grid = car.over_a_grid(
        rpm(6500.0),
        &[("main pump.wear", "0 %", "20 %", 5), ("regulator.base", "2.8 bar", "3.2 bar", 3)],
    );
    assert_eq!(grid.arrays().output("headroom").unwrap().shape(), [5, 3]);
    let line = grid.at("regulator.base", "3 bar").series("headroom");
    assert!(line.y.windows(2).all(|y| y[1] < y[0]), "a worn pump brings less");
    assert_eq!((line.x[0], line.x[4]), (0.0, 0.2));
    let missed = std::panic::catch_unwind(|| grid.at("regulator.base", "3.1 bar"));
    assert!(missed.unwrap_err().downcast_ref::<String>().unwrap().contains("nearest points"));
}

#[test]
fn doubts_by_grade_are_drawn() {
    let car = car("hill-climb-car/raised-1.4-bar");
    let more = car.with_spreads_by_grade();
    let spreads = |c: &Car| c.build().parameters().filter(|(_, p)| p.spread.is_some()).count();
    assert!(spreads(&more) > spreads(&car) + 4);
}
