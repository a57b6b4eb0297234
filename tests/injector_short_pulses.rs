//! A bench's low-pulse table in the truth and in the calibration: what is commanded, what is delivered.

use railrise::build::Build;
use railrise::part::injector::LowPulse;
use railrise::quantity::*;
use railrise::steady::lanes::Reduced;
use railrise::steady::{Operating, Point, point};

const TABLE: &str = r#"[
    { effective = "0.3 ms", added = "-0.10 ms" },
    { effective = "0.8 ms", added = "0.08 ms" },
    { effective = "6.0 ms", added = "0.20 ms" },
    { effective = "8.0 ms", added = "0 ms" },
]"#;

fn car() -> Build {
    Build::read(format!("{}/datasets/hill-climb-car/before-0.7-bar.toml", env!("CARGO_MANIFEST_DIR")))
        .unwrap()
}

fn idle(b: &Build) -> Point {
    point(b, &Operating::at(rpm(900.0), bar(-0.6))).unwrap()
}

#[test]
fn the_true_table_changes_the_fuel_and_the_calibrations_table_the_pulse() {
    let plain = car();
    let truly = plain.with("injectors.low_pulse_rows", TABLE).unwrap();
    let known = truly.with("control.low_pulse_rows", TABLE).unwrap();
    let believed = plain.with("control.low_pulse_rows", TABLE).unwrap();
    let (a, b, c, d) = (idle(&plain), idle(&truly), idle(&known), idle(&believed));
    // Unknown to the calibration: the same pulse, more fuel.
    assert!((a.pulse_width() - b.pulse_width()).value.abs() < 1e-9);
    assert!(b.lambda().unwrap() < a.lambda().unwrap() - 0.02, "{:?} {:?}", a.lambda(), b.lambda());
    // By hand: straight between the second and third point.
    let x = &b.injectors[0];
    let effective = x.pulse - x.dead_time;
    assert!(effective > 0.8e-3 && effective < 6e-3, "{effective}");
    let added = 0.08e-3 + (0.20e-3 - 0.08e-3) * (effective - 0.8e-3) / 5.2e-3;
    assert!((x.open_time - effective - added).abs() < 1e-12 && (x.low_pulse.unwrap() - added).abs() < 1e-12);
    let each = x.static_flow * x.open_time / x.cycle;
    assert!((x.flow - x.count * each).abs() < 1e-6 * x.flow);
    // Known to it: a shorter pulse, the fuel as asked again.
    let shorter = (a.pulse_width() - c.pulse_width()).value;
    assert!(shorter > 0.05e-3 && c.belief.unwrap().low_pulse < 0.0);
    assert!((c.belief.unwrap().low_pulse + shorter).abs() < 1e-9);
    assert!((c.injectors[0].open_time - a.injectors[0].open_time).abs() < 2e-6);
    // Believed but not so: too little fuel.
    assert!((d.pulse_width() - c.pulse_width()).value.abs() < 1e-6);
    assert!(d.lambda().unwrap() > a.lambda().unwrap() + 0.02);
    // The same where the difference is measured.
    let sensor = |b: &Build| idle(&b.with("control.compensation", "rail sensor").unwrap());
    let (e, f, g) = (sensor(&plain), sensor(&truly), sensor(&known));
    assert!(f.lambda().unwrap() < e.lambda().unwrap() - 0.02);
    assert!((g.lambda().unwrap() / e.lambda().unwrap() - 1.0).abs() < 1e-3);
    // On the straight line the table changes nothing.
    let load = |b: &Build| point(b, &Operating::at(rpm(5000.0), bar(0.7))).unwrap();
    assert!(load(&plain).injectors[0].pulse - load(&plain).injectors[0].dead_time > 8e-3);
    assert!((load(&plain).lambda().unwrap() - load(&known).lambda().unwrap()).abs() < 1e-9);
}

#[test]
fn a_pulse_shorter_than_the_bench_measured_is_refused() {
    let high = r#"[{ effective = "5 ms", added = "0.1 ms" }, { effective = "9 ms", added = "0 ms" }]"#;
    let b = car().with("injectors.low_pulse_rows", high).unwrap();
    let e = point(&b, &Operating::at(rpm(900.0), bar(-0.6))).unwrap_err().to_string();
    assert!(
        e.contains("injectors.low_pulse_rows")
            && e.contains("is shorter than the 5.000 ms the table starts with"),
        "{e}"
    );
    assert!(point(&b, &Operating::at(rpm(5000.0), bar(0.7))).is_ok());
    assert!(point(&b, &Operating::engine_off()).is_ok());
    for (bad, says) in [
        (r#"[{ effective = "1 ms", added = "0.1 ms" }]"#, "two or more points"),
        (
            r#"[{ effective = "1 ms", added = "0 ms" }, { effective = "2 ms", added = "0.1 ms" }]"#,
            "still adds",
        ),
        (
            r#"[{ effective = "1 ms", added = "-1 ms" }, { effective = "2 ms", added = "0 ms" }]"#,
            "nothing would be delivered",
        ),
        (
            r#"[{ effective = "1 ms", added = "2 ms" }, { effective = "2 ms", added = "0 ms" }]"#,
            "would deliver less",
        ),
    ] {
        for owner in ["injectors", "control"] {
            let b = car().with(&format!("{owner}.low_pulse_rows"), bad).unwrap();
            let e = point(&b, &Operating::at(rpm(5000.0), bar(0.7))).unwrap_err().to_string();
            assert!(e.contains(says) && e.contains(&format!("{owner}.low_pulse_rows")), "{e}");
        }
    }
}

#[test]
fn the_inverse_of_a_table_is_its_inverse_and_the_fast_forms_leave_it_alone() {
    let t = LowPulse::new(vec![(0.3e-3, -0.1e-3), (0.8e-3, 0.08e-3), (2e-3, 0.0)]).unwrap();
    for i in 0..300 {
        let x = 1e-5 * f64::from(i);
        assert!((t.effective_for(t.at_edge(x)) - x).abs() < 1e-15, "{x}");
        if x >= 0.3e-3 {
            assert!((t.open_time(x).unwrap() - t.at_edge(x)).abs() < 1e-15);
        }
    }
    assert!(t.at_edge(-1e-3) == 0.0 && t.straight_from() == 2e-3);
    assert!(Reduced::of(&car()).is_some());
    for path in ["injectors.low_pulse_rows", "control.low_pulse_rows"] {
        let b = car().with(path, TABLE).unwrap();
        assert!(Reduced::of(&b).is_none());
        let idle = railrise::schedule::Schedule::hold(rpm(900.0), bar(-0.6), s(0.1));
        let e = railrise::transient::run(&b, &idle, &railrise::transient::Options::default());
        assert!(e.unwrap_err().to_string().contains(path));
    }
}
