//! The program as a person meets it: one clear message, the right exit code, nothing half-written.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn railrise(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_railrise")).args(args).output().expect("the program starts")
}

fn demo(name: &str) -> String {
    format!("{}/datasets/hill-climb-car/{name}.toml", env!("CARGO_MANIFEST_DIR"))
}

fn folder(name: &str) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&dir);
    std::fs::create_dir_all(&dir).unwrap();
    dir
}

/// A demo build with one text replaced, asked for a point; what the program says.
fn spoilt(dir: &Path, from: &str, to: &str) -> (Option<i32>, String) {
    let text = std::fs::read_to_string(demo("before-0.7-bar")).unwrap();
    assert!(text.contains(from), "{from}");
    let file = dir.join("spoilt.toml");
    std::fs::write(&file, text.replacen(from, to, 1)).unwrap();
    said(&railrise(&["point", file.to_str().unwrap(), "--rpm", "6500", "--boost", "0.7 bar"]))
}

fn said(out: &Output) -> (Option<i32>, String) {
    let err = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(!err.contains("panicked") && !err.contains("backtrace"), "{err}");
    (out.status.code(), err)
}

fn line_of(text: &str, part: &str) -> usize {
    text.lines().position(|l| l.contains(part)).unwrap() + 1
}

#[test]
fn a_point_is_a_table_and_json() {
    let out = railrise(&["point", &demo("raised-1.4-bar"), "--rpm", "6500", "--boost", "1.4 bar"]);
    let text = String::from_utf8(out.stdout).unwrap();
    assert_eq!(out.status.code(), Some(0));
    for part in [
        "rail pressure",
        "differential pressure",
        "lambda",
        "Limiting part: main pump",
        "Supply headroom",
        "Caution",
    ] {
        assert!(text.contains(part), "{part} in\n{text}");
    }
    let out =
        railrise(&["point", &demo("raised-1.4-bar"), "--rpm", "6500 rpm", "--boost", "20.305 psi", "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let v = |name: &str| json["values"][name]["value"].as_f64().unwrap();
    assert_eq!(json["values"]["rail pressure"]["unit"], "Pa");
    assert_eq!(json["values"]["rail pressure"]["kind"], "gauge");
    // The pressure difference is the rail less the manifold, both above vacuum.
    let ambient = v("manifold pressure") - v("boost");
    assert!((v("rail pressure") + ambient - v("manifold pressure") - v("differential pressure")).abs() < 1.0);
    assert_eq!(json["limits"]["limiting_part"], "main pump");
    assert!(json["limits"]["supply_headroom"]["value"].as_f64().unwrap() < 0.0);
}

#[test]
fn what_is_wrong_in_a_build_is_named_with_its_line() {
    let dir = folder("cli-spoilt");
    let text = std::fs::read_to_string(demo("before-0.7-bar")).unwrap();
    let cases = [
        (
            "bore = { value = \"8.7 mm\"",
            "boar = { value = \"8.7 mm\"",
            vec!["feed hose.boar", "did you mean \"bore\""],
        ),
        (
            "bore = { value = \"8.7 mm\"",
            "bore = { value = \"8.7 bar\"",
            vec!["feed hose.bore", "\"bar\" measures pressure, not length", "mm"],
        ),
        (
            "bore = { value = \"8.7 mm\"",
            "bore = { value = \"-8.7 mm\"",
            vec!["feed hose.bore", "-8.7 mm", "accepted: 1.000 mm"],
        ),
        ("bore = { value = \"8.7 mm\"", "bore = { value = 8.7", vec!["feed hose.bore", "without its unit"]),
        (
            "kind = \"regulator\"",
            "kind = \"regulater\"",
            vec!["regulator.kind", "did you mean \"regulator\""],
        ),
    ];
    for (from, to, parts) in cases {
        let (code, err) = spoilt(&dir, from, to);
        assert_eq!(code, Some(2), "{err}");
        assert!(err.contains(&format!("spoilt.toml line {}", line_of(&text, from))), "{err}");
        for p in parts {
            assert!(err.contains(p), "\"{p}\" in\n{err}");
        }
    }
}

#[test]
fn a_missing_and_a_truncated_file_are_named() {
    let (code, err) =
        said(&railrise(&["point", "no/such/build.toml", "--rpm", "6500", "--boost", "1.4 bar"]));
    assert_eq!(code, Some(2));
    assert!(err.contains("no/such/build.toml") && err.contains("no such file"), "{err}");
    let dir = folder("cli-truncated");
    let text = std::fs::read_to_string(demo("before-0.7-bar")).unwrap();
    let file = dir.join("cut.toml");
    let cut = text.find("ve_rows").unwrap() + 20;
    std::fs::write(&file, &text[..cut]).unwrap();
    let (code, err) =
        said(&railrise(&["point", file.to_str().unwrap(), "--rpm", "6500", "--boost", "1.4 bar"]));
    assert_eq!(code, Some(2));
    assert!(err.contains("cut.toml line") && err.contains("not TOML"), "{err}");
}

#[test]
fn a_question_outside_the_build_is_refused() {
    for (args, part) in [
        (vec!["--rpm", "90000", "--boost", "1.4 bar"], "rev limit"),
        (vec!["--rpm", "6500", "--boost", "1.4 L/h"], "pressure"),
        (vec!["--rpm", "6500", "--boost", "1.4"], "pressure"),
        (vec!["--rpm", "-1", "--boost", "1.4 bar"], "below zero"),
        (
            vec!["--rpm", "6500", "--boost", "1.4 bar", "--set", "pump.wear=10 %"],
            "did you mean \"main pump\"",
        ),
        (vec!["--rpm", "6500", "--boost", "1.4 bar", "--set", "main pump.wear=300 %"], "accepted"),
    ] {
        let build = demo("raised-1.4-bar");
        let mut all = vec!["point", build.as_str()];
        all.extend(args.iter());
        // clap takes a leading minus for an option unless it is joined to its name.
        let joined: Vec<String> = all.iter().map(|s| (*s).to_owned()).collect();
        let joined = if args.contains(&"-1") {
            vec!["point".into(), build.clone(), "--rpm=-1".into(), "--boost".into(), "1.4 bar".into()]
        } else {
            joined
        };
        let refs: Vec<&str> = joined.iter().map(String::as_str).collect();
        let (code, err) = said(&railrise(&refs));
        assert_eq!(code, Some(2), "{args:?}: {err}");
        assert!(err.contains(part), "{args:?}: {err}");
    }
}

#[test]
fn the_worked_explanation_is_printed() {
    let out = railrise(&[
        "point",
        &demo("raised-1.4-bar"),
        "--rpm",
        "6500",
        "--boost",
        "1.4 bar",
        "--explain",
        "lambda",
    ]);
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(text.contains("How lambda comes about") && text.contains("source:"), "{text}");
}
