//! Three networks against EPANET 2.2, solved there by tests/outside/epanet_check.py.
//!
//! The script reads what this test writes (`RAILRISE_NETWORKS=file cargo test epanet`), builds the same network of
//! pipes, minor losses and pump curves, and records its answer in tests/outside/epanet_networks.json, which is
//! held here without EPANET. Friction differs by formula: Churchill (1977) here, Swamee-Jain (1976) there, apart by
//! less than 0.2 % above a Reynolds number of 4000, where all these lines run.

use railrise::build::Build;
use railrise::part::line::friction_factor_churchill;
use railrise::quantity::*;
use railrise::steady::*;
use serde_json::{Value, json};

const PUMP: &str = r#"kind = "pump"
rows = [
    { pressure = "3.0 bar", voltage = "13.5 V", flow = "146 L/h", current = "6.9 A" },
    { pressure = "4.0 bar", voltage = "13.5 V", flow = "132 L/h", current = "8.2 A" },
    { pressure = "3.0 bar", voltage = "12.0 V", flow = "127 L/h", current = "6.8 A" },
]
required_margin = "0 kPa"
"#;

fn text(parts: &[(&str, &str)], legs: &[(&str, &str, &str, &str)]) -> String {
    let mut t = String::from(
        "[car]\nname = \"network (invented)\"\n[engine]\ndisplacement = \"2.4 L\"\ncylinders = 4\n",
    );
    for (name, body) in parts {
        t += &format!("[part.\"{name}\"]\n{body}\n");
    }
    for (name, from, to, parts) in legs {
        t += &format!("[[leg]]\nname = \"{name}\"\nfrom = \"{from}\"\nto = \"{to}\"\nparts = {parts}\n");
    }
    t
}

fn line(length: &str, bore: &str, k: f64, rise: &str) -> String {
    format!(
        "kind = \"line\"\nlength = \"{length}\"\nbore = \"{bore}\"\nroughness = \"1.5 µm\"\nfittings = \"{k}\"\nrise = \"{rise}\""
    )
}

fn jet(bore: &str) -> String {
    format!("kind = \"orifice\"\nbore = \"{bore}\"\ncd = \"0.62\"")
}

/// No loss worth naming: below 0.1 Pa, left out on the other side.
const VALVE: &str = "kind = \"check valve\"\ncracking = \"0 kPa\"\nbore = \"50 mm\"\ncd = \"1\"";

fn networks() -> Vec<(&'static str, Build)> {
    let series = text(
        &[
            ("pump", PUMP),
            ("first hose", &line("4.2 m", "6 mm", 6.0, "0.4 m")),
            ("second hose", &line("1.5 m", "5 mm", 2.5, "-0.1 m")),
            ("jet", &jet("1.5 mm")),
        ],
        &[
            ("supply", "tank", "middle", r#"["pump", "first hose"]"#),
            ("outlet", "middle", "air", r#"["second hose", "jet"]"#),
        ],
    );
    let twin = text(
        &[
            ("pump one", PUMP),
            ("pump two", &format!("{PUMP}flow_factor = \"93 %\"\nfeed_contacts = \"80 mΩ\"\n")),
            ("valve one", VALVE),
            ("valve two", VALVE),
            ("short hose", &line("3.0 m", "7.5 mm", 4.0, "0 m")),
            ("long hose", &line("4.5 m", "6 mm", 9.0, "0 m")),
            ("jet", &jet("2.0 mm")),
        ],
        &[
            ("one", "tank", "collector", r#"["pump one", "valve one"]"#),
            ("two", "tank", "collector", r#"["pump two", "valve two"]"#),
            ("short way", "collector", "rail", r#"["short hose"]"#),
            ("long way", "collector", "rail", r#"["long hose"]"#),
            ("outlet", "rail", "air", r#"["jet"]"#),
        ],
    );
    let crossover = text(
        &[
            ("pump", PUMP),
            ("trunk", &line("3.6 m", "6 mm", 4.0, "0.3 m")),
            ("first branch", &line("0.8 m", "5 mm", 2.0, "0 m")),
            ("second branch", &line("2.4 m", "3.5 mm", 8.0, "0 m")),
            ("crossover", &line("0.5 m", "4 mm", 3.0, "0 m")),
            ("small jet", &jet("0.5 mm")),
            ("large jet", &jet("1.5 mm")),
        ],
        &[
            ("supply", "tank", "tee", r#"["pump", "trunk"]"#),
            ("first feed", "tee", "first rail", r#"["first branch"]"#),
            ("second feed", "tee", "second rail", r#"["second branch"]"#),
            ("across", "first rail", "second rail", r#"["crossover"]"#),
            ("first outlet", "first rail", "air", r#"["small jet"]"#),
            ("second outlet", "second rail", "air", r#"["large jet"]"#),
        ],
    );
    [("series", series), ("twin feed", twin), ("loop with crossover", crossover)]
        .map(|(n, t)| (n, Build::from_toml(&t).unwrap_or_else(|e| panic!("{n}: {e}"))))
        .into()
}

fn described(name: &str, b: &Build) -> Value {
    let p = point(b, &Operating::engine_off().with_supply(volts(13.5))).unwrap();
    let mut legs = Vec::new();
    for leg in &p.legs {
        let parts: Vec<Value> = leg
            .parts
            .iter()
            .map(|x| {
                let part = b.part(&x.name).unwrap();
                let si = |k: &str| part.values.si(k);
                match part.kind {
                    "line" => {
                        let re = 4.0 * p.density * leg.flow.abs() / (std::f64::consts::PI * p.viscosity * si("bore"));
                        assert!(re > 4000.0, "{name}: {} runs at a Reynolds number of {re}", x.name);
                        json!({"kind": "line", "length": si("length"), "bore": si("bore"), "roughness": si("roughness"), "k": si("fittings"), "rise": si("rise")})
                    }
                    "orifice" => json!({"kind": "orifice", "bore": si("bore"), "cd": si("cd")}),
                    "pump" => {
                        let (law, wire) = (b.pump(&x.name).unwrap(), railrise::build::Wire::from_values(&part.values).unwrap());
                        // Rise at flows around the point, close enough that straight pieces are exact.
                        let curve: Vec<_> = (-40..=40)
                            .map(|i| leg.flow * (1.0 + f64::from(i) / 200.0))
                            .map(|q| (q, law.at_flow(q, p.supply, wire.total(), p.viscosity, f64::INFINITY).rise))
                            .collect();
                        json!({"kind": "pump", "curve": curve})
                    }
                    _ => json!({"kind": "valve"}),
                }
            })
            .collect();
        legs.push(
            json!({"name": leg.name, "from": leg.from, "to": leg.to, "flow": leg.flow, "parts": parts}),
        );
    }
    json!({
        "name": name, "density": p.density, "viscosity": p.viscosity, "ambient": p.ambient,
        "pressures": p.junctions, "legs": legs,
    })
}

#[test]
fn epanet_agrees_on_flows_to_a_thousandth_and_on_pressures_to_100_pa() {
    let ours: Vec<Value> = networks().iter().map(|(n, b)| described(n, b)).collect();
    if let Ok(file) = std::env::var("RAILRISE_NETWORKS") {
        std::fs::write(file, serde_json::to_string_pretty(&ours).unwrap()).unwrap();
        return;
    }
    let root = env!("CARGO_MANIFEST_DIR");
    let recorded = std::fs::read_to_string(format!("{root}/tests/outside/epanet_networks.json")).unwrap();
    let theirs: Value = serde_json::from_str(&recorded).unwrap();
    let mut held = 0;
    for n in &ours {
        let them = &theirs["networks"][n["name"].as_str().unwrap()];
        for leg in n["legs"].as_array().unwrap() {
            let (q, e) = (
                leg["flow"].as_f64().unwrap(),
                them["flows"][leg["name"].as_str().unwrap()].as_f64().unwrap(),
            );
            assert!((q / e - 1.0).abs() < 1e-3, "{} {}: {q} here, {e} there", n["name"], leg["name"]);
            held += 1;
        }
        for (j, p) in n["pressures"].as_object().unwrap() {
            let (p, e) = (p.as_f64().unwrap(), them["pressures"][j].as_f64().unwrap());
            assert!((p - e).abs() < 100.0, "{} {j}: {p} Pa here, {e} Pa there", n["name"]);
            held += 1;
        }
    }
    assert_eq!(held, 25);
}

#[test]
fn the_two_friction_formulas_stand_within_two_thousandths_where_the_networks_run() {
    // Swamee & Jain (1976): f = 0.25/log10(e/(3.7 D) + 5.74/Re^0.9)²
    for re in [4e3, 1e4, 3e4, 1e5] {
        for rough in [0.0, 3e-4, 1e-3] {
            let swamee = 0.25 / (rough / 3.7 + 5.74 / f64::powf(re, 0.9)).log10().powi(2);
            let here = friction_factor_churchill(re, rough);
            assert!((here / swamee - 1.0).abs() < 2e-3, "Re {re}, e/D {rough}: {here} {swamee}");
        }
    }
}
