//! Workings add up: the printed formula with the printed numbers gives the printed result.

use railrise::build::Build;
use railrise::explain::{explain, explainable};
use railrise::quantity::{bar, rpm};
use railrise::steady::{Operating, point};

/// Evaluates a printed formula with a general-purpose expression evaluator (the crate exmex).
fn by_hand(formula: &str) -> f64 {
    exmex::eval_str::<f64>(formula).unwrap_or_else(|e| panic!("{formula}: {e}"))
}

#[test]
fn every_line_can_be_redone_with_the_printed_numbers() {
    let mut lines = 0;
    for name in ["before-0.7-bar", "raised-1.4-bar", "cure-wiring", "cure-second-pump"] {
        let build =
            Build::read(format!("{}/datasets/hill-climb-car/{name}.toml", env!("CARGO_MANIFEST_DIR")))
                .unwrap();
        let table = r#"[{ effective = "0.2 ms", added = "0.1 ms" }, { effective = "9 ms", added = "0 ms" }]"#;
        let tabled = build.with("injectors.low_pulse_rows", table).unwrap();
        let tabled = tabled.with("control.low_pulse_rows", table).unwrap();
        let plain = [(900.0, -0.65), (4000.0, 1.0), (6500.0, 1.4)].map(|x| (&build, x));
        for (build, (speed, boost)) in plain.into_iter().chain([(&tabled, (900.0, -0.65))]) {
            let p = point(build, &Operating::at(rpm(speed), bar(boost))).unwrap();
            for figure in explainable() {
                for step in explain(&p, figure).unwrap().steps {
                    let redone = by_hand(&step.with_numbers());
                    // Five printed digits in each term: a difference of near numbers loses a little.
                    let near = (redone - step.number).abs()
                        <= 2e-4 * step.number.abs() + 1e-3 * f64::from(u8::from(step.text == "Q_ret"));
                    assert!(
                        near,
                        "{name} {figure}: {} = {} gives {redone}, printed {}",
                        step.text,
                        step.with_numbers(),
                        step.number
                    );
                    lines += 1;
                }
            }
        }
    }
    assert!(lines > 300, "{lines}");
}

#[test]
fn the_working_arrives_at_the_channel() {
    let build =
        Build::read(format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR")))
            .unwrap();
    let p = point(&build, &Operating::at(rpm(6500.0), bar(1.4))).unwrap();
    for (figure, unit) in [
        ("lambda", "1"),
        ("asked flow", "L/h"),
        ("pulse width", "ms"),
        ("duty", "%"),
        ("differential pressure", "bar"),
        ("engine flow", "L/h"),
    ] {
        let channel = p.channel(figure).unwrap().in_unit(unit).unwrap().number;
        let worked = explain(&p, figure).unwrap().number();
        assert!((worked / channel - 1.0).abs() < 1e-9, "{figure}: {worked} and {channel}");
    }
}

#[test]
fn an_unknown_figure_names_the_nearest() {
    let build =
        Build::read(format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR")))
            .unwrap();
    let p = point(&build, &Operating::at(rpm(6500.0), bar(1.4))).unwrap();
    let e = explain(&p, "lamda").unwrap_err().to_string();
    assert!(e.contains("did you mean \"lambda\""), "{e}");
    let rest = point(&build, &Operating::engine_off()).unwrap();
    assert!(explain(&rest, "lambda").unwrap_err().to_string().contains("at rest"));
}
