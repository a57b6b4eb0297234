//! Workings add up: the printed formula with the printed numbers gives the printed result.

use railrise::build::Build;
use railrise::explain::{explain, explainable};
use railrise::quantity::{bar, rpm};
use railrise::steady::{Operating, point};

/// Evaluates a printed formula with a general-purpose expression evaluator (the crate exmex).
fn by_hand(formula: &str) -> f64 {
    // It reads no powers of ten.
    let (mut plain, mut rest) = (String::new(), formula);
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        plain += &rest[..at];
        rest = &rest[at..];
        let most = rest.find(|c: char| !(c.is_ascii_digit() || ".e-".contains(c))).unwrap_or(rest.len());
        let long = (1..=most).rev().find(|n| rest[..*n].parse::<f64>().is_ok()).unwrap();
        plain += &rest[..long].parse::<f64>().unwrap().to_string();
        rest = &rest[long..];
    }
    plain += rest;
    exmex::eval_str::<f64>(&plain).unwrap_or_else(|e| panic!("{formula}: {e}"))
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

/// From a pulse that leaves just time to shut to one that never does, with a bench's table and without.
#[test]
fn the_open_time_can_be_redone_where_the_injector_shuts_late() {
    let car =
        Build::read(format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR")))
            .unwrap();
    let table = r#"[{ effective = "0.2 ms", added = "0.1 ms" }, { effective = "19 ms", added = "0 ms" }]"#;
    let tabled = car.with("injectors.low_pulse_rows", table).unwrap();
    let (mut late, mut in_time, mut never) = (0, 0, 0);
    for build in [&car, &tabled] {
        for i in 0..200 {
            // The engine asks for more and more.
            let mut b = build.clone();
            b.set_si("injectors.static_flow", 12e-6 - f64::from(i) * 0.02e-6).unwrap();
            let p = point(&b, &Operating::at(rpm(6500.0), bar(1.0))).unwrap();
            let x = &p.injectors[0];
            if !(0.93..=1.0).contains(&x.duty) {
                continue;
            }
            let steps = explain(&p, "engine flow").unwrap().steps;
            let step = steps.iter().find(|s| s.text == "t_o").unwrap();
            let redone = by_hand(&step.with_numbers());
            assert!(
                (redone - x.open_time * 1e3).abs() < 2e-3,
                "duty {}: {} {redone}",
                x.duty,
                x.open_time * 1e3
            );
            match x.cycle - x.pulse {
                t if t <= 0.0 => never += 1,
                t if t < x.dead_time => {
                    assert!(step.formula.contains("<tl>") && x.low_pulse.is_none());
                    // What the remark says of a pulse that is longer is what the law of the open time says.
                    let law = railrise::build::short_pulse_law(&b.part("injectors").unwrap().values).unwrap();
                    let open = |pulse: f64| law.open_time(pulse, x.dead_time, x.cycle);
                    let longer = (x.cycle - x.pulse).min(1e-4);
                    let by = (open(x.pulse + longer) - open(x.pulse)) * 1e3;
                    let said = if longer < 1e-4 {
                        format!(
                            "{:.3} ms longer keeps it open {by:.3} ms longer, the whole cycle",
                            longer * 1e3
                        )
                    } else {
                        format!("a pulse that is 0.1 ms longer keeps it open {by:.2} ms longer")
                    };
                    assert!(step.remark.as_ref().unwrap().contains(&said), "{said}: {:?}", step.remark);
                    late += 1;
                }
                _ => in_time += 1,
            }
        }
    }
    assert!(late >= 10 && in_time >= 4 && never >= 1, "{late} {in_time} {never}");
}

/// A dead time below zero keeps an injector open longer than its pulse: near the cycle it meets the next one.
#[test]
fn an_injector_that_outlasts_its_pulse_never_closes_near_the_cycle() {
    let car =
        Build::read(format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR")))
            .unwrap();
    let rows = r#"[{ voltage = "8 V", difference = "3 bar", time = "-0.9 ms" }, { voltage = "16 V", difference = "3 bar", time = "-0.9 ms" }]"#;
    let car = car.with("injectors.dead_time_rows", rows).unwrap();
    let mut met = 0;
    for i in 0..300 {
        let mut b = car.clone();
        b.set_si("injectors.static_flow", 12e-6 - f64::from(i) * 0.02e-6).unwrap();
        let p = point(&b, &Operating::at(rpm(6500.0), bar(1.0))).unwrap();
        let x = &p.injectors[0];
        if !(x.cycle - 0.8e-3..x.cycle).contains(&x.pulse) {
            continue;
        }
        assert!((x.dead_time + 0.9e-3).abs() < 1e-12 && (x.open_time - x.cycle).abs() < 1e-12);
        let steps = explain(&p, "engine flow").unwrap().steps;
        let step = steps.iter().find(|s| s.text == "t_o").unwrap();
        assert!(step.name.ends_with("it never closes") && step.source.contains("longer than its pulse"));
        assert!((by_hand(&step.with_numbers()) - x.open_time * 1e3).abs() < 2e-3);
        met += 1;
    }
    assert!(met >= 10, "{met}");
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
