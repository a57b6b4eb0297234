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

/// A step's formula with every term changed by a factor, unrounded.
fn unrounded(step: &railrise::explain::Step, changed: impl Fn(usize) -> f64) -> f64 {
    let mut formula = step.formula.to_owned();
    for (i, t) in step.terms.iter().enumerate() {
        formula = formula.replace(&format!("<{}>", t.key), &format!("({})", t.number * changed(i)));
    }
    by_hand(&formula)
}

/// Every demo car and layout, sound and with every fault, with leaking seats, torn diaphragms and pulses that never open.
#[test]
fn every_line_can_be_redone_whatever_is_wrong_with_the_car() {
    use super::circuit_laws::BUILDS;
    use railrise::fault::Fault;
    let faulty = |b: &Build| -> Vec<(String, Build)> {
        let mut out = vec![("sound".to_owned(), b.clone())];
        for f in Fault::all() {
            for severity in [0.3, 1.0] {
                out.extend(f.apply(b, severity).ok().map(|x| (format!("{f} {severity}"), x)));
            }
        }
        let injectors: Vec<String> = b.parts_of("injectors").map(|(n, _)| n.to_owned()).collect();
        let set = |path: String, to: &str| b.with(&path, to).ok().map(|x| (format!("{path} = {to}"), x));
        out.extend(injectors.iter().filter_map(|n| set(format!("{n}.static_leak"), "20 cc/min")));
        out.extend(set("control.dead_time_error".into(), "-2 ms"));
        for (name, _) in b.parts_of("regulator") {
            for reference in ["manifold", "air", "intake", "charge pipe"] {
                let torn = b.with(&format!("{name}.reference"), reference).unwrap();
                let torn = torn.with(&format!("{name}.rupture"), "0.4 mm").unwrap();
                out.push((format!("{name} torn, hose on {reference}"), torn));
            }
        }
        out
    };
    let (mut lines, mut never, mut leaks, mut tears, mut held) = (0, 0, 0, 0, 0);
    let mut apart: Vec<(&str, String)> = Vec::new();
    for build in BUILDS.iter() {
        for (what, b) in faulty(build) {
            for (n, boost) in [(900.0, -0.6), (900.0, -0.65), (3500.0, 0.2), (6500.0, 1.2)] {
                let Ok(p) = point(&b, &Operating::at(rpm(n), bar(boost))) else { continue };
                for figure in explainable() {
                    // What this circuit has not (a regulator, a believed difference) is not explained.
                    let Ok(working) = explain(&p, figure) else { continue };
                    for step in working.steps {
                        let said = format!(
                            "{}, {what}, {n} rpm, {boost} bar, {figure}: {}",
                            b.name(),
                            step.with_numbers()
                        );
                        let exact = unrounded(&step, |_| 1.0);
                        let most = step.terms.iter().fold(step.number.abs(), |m, t| m.max(t.number.abs()));
                        // Not printed: what seeps through a shut seat, 0.04 mL/h for each bar, and that an orifice's root
                        // is rounded off at 0.1 Pa.
                        let unsaid = match step.text {
                            "Q_ret" => 5e-4,
                            "q_s" => {
                                let dp = step.terms.iter().find(|t| t.key == "dp").unwrap().number;
                                0.26 * step.number.abs() * (1e-6 / dp).powi(2)
                            }
                            _ => 0.0,
                        };
                        if !((exact - step.number).abs() <= 1e-7 * (most + 1.0) + unsaid) {
                            apart.push((
                                step.formula,
                                format!("{said}: unrounded {exact}, said {}", step.number),
                            ));
                        }
                        // Five digits are printed of each term.
                        let rounding: f64 = (0..step.terms.len())
                            .map(|i| {
                                (unrounded(&step, |j| if i == j { 1.0 + 5.1e-5 } else { 1.0 }) - exact).abs()
                            })
                            .sum();
                        let redone = by_hand(&step.with_numbers());
                        let within = 1.05 * rounding + 1e-7 * (most + 1.0) + unsaid;
                        if !((redone - step.number).abs() <= within) {
                            apart.push((
                                step.formula,
                                format!("{said}: {redone} within {within}, said {}", step.number),
                            ));
                        }
                        lines += 1;
                        never += usize::from(step.name.contains("never opens"));
                        leaks += usize::from(step.formula.contains("<leak>"));
                        tears += usize::from(step.formula.contains("<torn>"));
                        held += usize::from(step.formula.contains("<d>"));
                    }
                }
            }
        }
    }
    let all = apart.len();
    apart.sort_by_key(|x| x.0);
    apart.dedup_by_key(|x| x.0);
    assert!(apart.is_empty(), "{all} of {lines}, of each formula one: {apart:#?}");
    assert!(
        lines > 30_000 && never > 10 && leaks > 10 && tears > 10 && held > 10,
        "{lines} {never} {leaks} {tears} {held}"
    );
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
