//! Notebooks run without a reader, through the built program.

use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn railrise() -> Command {
    Command::new(env!("CARGO_BIN_EXE_railrise"))
}

/// A folder of its own for one test, emptied first.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kernel run").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("the test's folder");
    folder
}

fn code(source: &str, tags: &[&str]) -> Value {
    json!({"cell_type": "code", "execution_count": null, "metadata": {"tags": tags}, "outputs": [], "source": source})
}

fn write(path: &Path, cells: &[Value]) {
    let mut cells = cells.to_vec();
    for (n, cell) in cells.iter_mut().enumerate() {
        cell["id"] = format!("cell-{n}").into();
    }
    let notebook = json!({"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5});
    std::fs::write(path, notebook.to_string()).expect("the test's notebook");
}

fn read(path: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path).expect("the written copy")).expect("JSON")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn text(value: &Value) -> String {
    match value {
        Value::Array(lines) => lines.iter().filter_map(Value::as_str).collect(),
        other => other.as_str().unwrap_or_default().to_owned(),
    }
}

#[test]
fn a_notebook_runs_and_the_copy_holds_what_it_said() {
    let folder = folder("a whole notebook");
    let stored = folder.join("whole.ipynb");
    write(
        &stored,
        &[
            code("let rpm = 6500.0;\nlet name = \"car\";", &["parameters"]),
            code("format!(\"{name} {rpm:.0}\")", &[]),
            code("println!(\"to stdout\"); eprintln!(\"to stderr\"); print!(\"no line end\");", &[]),
            code("let b = Bundle::text(\"t\").html(\"<b>t</b>\"); show(&b); show(&b); b", &[]),
            // The second line's types hang on what functions of the standard library return, and on its macros.
            code(
                "let v = vec![1.0, 2.5]; let o = Some(3).map(|x| x + 1); let r = (2.0f64).sqrt();\n\
                 let a = [0.0; 2usize.pow(3)]; let c = [0u8; size_of::<f64>()]; let t = f64::from(true);",
                &[],
            ),
            code("(v.len(), o, r, a.len(), c.len(), t)", &[]),
            code("panic!(\"on purpose {}\", 3)", &["raises-exception"]),
            code(
                "let r: Result<i32, String> = Err(\"bad gauge\".into()); let x = r?;",
                &["raises-exception"],
            ),
            code("let q: u32 = rpm;", &["raises-exception"]),
            code("loop {}", &["skip-execution"]),
            code(
                "for i in progress(\"steps\", 0..30) { std::thread::sleep(std::time::Duration::from_millis(10)); if i == 29 { print!(\"end\") } }",
                &[],
            ),
            code("v", &[]),
        ],
    );
    let before = std::fs::read(&stored).expect("the stored notebook");
    let out = folder.join("out");
    let ran = railrise()
        .arg("run")
        .arg(&stored)
        .arg("--out")
        .arg(&out)
        .args(["--set", "rpm=7000"])
        .output()
        .expect("runs");
    assert!(ran.status.success(), "{}", said(&ran));
    assert_eq!(
        std::fs::read(&stored).expect("the stored notebook"),
        before,
        "the stored notebook is never written"
    );

    let copy = read(&out.join("whole.ipynb"));
    let outputs = |cell: usize| copy["cells"][cell]["outputs"].as_array().cloned().unwrap_or_default();
    let result =
        |cell: usize| outputs(cell).last().map(|o| text(&o["data"]["text/plain"])).unwrap_or_default();
    assert_eq!(text(&copy["cells"][0]["source"]), "let rpm = 7000.0;\nlet name = \"car\";");
    assert_eq!(result(1), "\"car 7000\"");
    let streams = outputs(2);
    let stream = |name: &str| {
        streams.iter().filter(|o| o["name"] == name).map(|o| text(&o["text"])).collect::<String>()
    };
    assert_eq!(
        (stream("stdout").as_str(), stream("stderr").as_str()),
        ("to stdout\nno line end", "to stderr\n")
    );
    let kinds: Vec<_> = outputs(3).iter().map(|o| o["output_type"].clone()).collect();
    assert_eq!(kinds, ["display_data", "display_data", "execute_result"], "every picture of a cell survives");
    assert_eq!(
        result(5),
        "(2, Some(4), 1.4142135623730951, 8, 8, 1.0)",
        "types that need the library's sources"
    );
    assert_eq!(outputs(6)[0]["evalue"], "on purpose 3", "a panic is an error");
    let returned =
        outputs(7).into_iter().find(|o| o["output_type"] == "error").expect("a `?` that returns is an error");
    assert!(returned["evalue"].as_str().is_some_and(|m| m.contains("bad gauge")), "{returned}");
    assert_eq!(outputs(8)[0]["ename"], "compile error");
    assert!(outputs(9).is_empty() && copy["cells"][9]["execution_count"].is_null());
    assert_eq!(outputs(10).len(), 1, "a finished bar leaves only the text: {:?}", outputs(10));
    assert_eq!(text(&outputs(10)[0]["text"]), "end");
    assert_eq!(result(11), "[1.0, 2.5]", "a panic loses nothing, and showing a variable does not use it up");
    assert!(copy["cells"][11]["metadata"]["railrise"]["seconds"].as_f64().is_some_and(|s| s > 0.0));
    let page = std::fs::read_to_string(out.join("whole.html")).expect("the page");
    assert!(page.contains("on purpose 3") && !page.contains("http://"), "the page shows the outputs");

    // The copy, run again, says the same; a changed output is found and named.
    let checked = railrise().arg("check").arg(out.join("whole.ipynb")).output().expect("runs");
    assert!(checked.status.success(), "{}", said(&checked));
    let mut changed = copy;
    changed["cells"][1]["outputs"][0]["data"]["text/plain"] = "\"car 7001\"".into();
    std::fs::write(out.join("changed.ipynb"), changed.to_string()).expect("written");
    let checked = railrise().arg("check").arg(out.join("changed.ipynb")).output().expect("runs");
    assert_eq!(checked.status.code(), Some(1));
    assert!(said(&checked).contains("cell 2") && said(&checked).contains("car 7001"), "{}", said(&checked));
}

#[test]
#[cfg(target_os = "linux")]
fn cells_are_compiled_the_quick_way() {
    let folder = folder("quick cells");
    let stored = folder.join("quick.ipynb");
    write(
        &stored,
        &[
            // One unit of code, several, then a store of variables.
            code("fn twice(x: f64) -> f64 { 2.0 * x }", &[]),
            code("let list = vec![1.0, 2.0];", &[]),
            code("let q: u32 = list;", &["raises-exception"]),
            code("twice(list[1]) + (u128::MAX / 7 % 10) as f64 + 0.0f64.sin()", &[]),
            code(
                "compare(\"lambda\", &[&car(\"hill-climb-car/cure-second-pump\").as_boost_rises(rpm(4000.0), bar(0.0), bar(1.0))])",
                &[],
            ),
        ],
    );
    let run = |how: &str| {
        let mut run = railrise();
        run.env("RAILRISE_CARGO", how).arg("run").arg(&stored).arg("--out").arg(folder.join("out"));
        run.output().expect("it runs")
    };
    let output = run("quick");
    assert!(output.status.success(), "{}", said(&output));
    let copy = read(&folder.join("out/quick.ipynb"));
    let result = |n: usize| copy["cells"][n]["outputs"][0]["data"].clone();
    // 2 × 2, and u128::MAX/7 is …636.
    assert_eq!(text(&result(3)["text/plain"]), "10.0");
    assert!(text(&result(4)["text/html"]).contains("<svg"));

    // And the words that ask for it are heard: what cannot be done so is then an error.
    write(
        &stored,
        &[code("#[link(name = \"m\")] unsafe extern \"C\" { safe fn cosh(x: f64) -> f64; }", &[])],
    );
    assert!(said(&run("quick")).contains("does not compile the quick way"));
}

/// Whether a cell's outputs say that the variable `rail` is gone.
fn rail_is_gone(cell: &Value) -> bool {
    let outputs = cell["outputs"].as_array().into_iter().flatten();
    outputs.map(|o| text(&o["text"])).any(|said| said.contains("variables are gone: rail."))
}

/// Runs a notebook to its end, with `RAILRISE_CARGO` as it is given; the copy's cells.
fn ran(folder: &Path, cells: &[Value], how: &str) -> Value {
    let stored = folder.join("crates.ipynb");
    write(&stored, cells);
    let mut run = railrise();
    run.env("RAILRISE_CARGO", how).arg("run").arg(&stored).arg("--out").arg(folder.join("out"));
    let output = run.output().expect("it runs");
    assert!(output.status.success(), "{}", said(&output));
    read(&folder.join("out/crates.ipynb"))["cells"].take()
}

fn result(cell: &Value) -> String {
    let outputs = cell["outputs"].as_array();
    outputs.and_then(|o| o.last()).map(|o| text(&o["data"]["text/plain"])).unwrap_or_default()
}

#[test]
fn a_cell_may_ask_for_other_crates() {
    let folder = folder("other crates");
    let cells = [
        // Division of 128 bits and a function of the mathematics library, neither of them in ours.
        code(
            "let rail = bar(3.0); let big = u128::MAX / rail.to_string().len() as u128; let s = 0.5f64.sin();",
            &[],
        ),
        code("#[link(name = \"m\")] unsafe extern \"C\" { safe fn cosh(x: f64) -> f64; }\ncosh(0.0)", &[]),
        code(
            "// Another.\n:dep itoa = \"1\"\nlet rail = bar(3.0); let seven = itoa::Buffer::new().format(7).to_owned();",
            &[],
        ),
        code("format!(\"{rail} {big} {s:.3} {seven}\")", &[]),
    ];
    // With a real `cargo` for every cell too; then the library is the same all along.
    for how in ["", "plain"] {
        let ran = ran(&folder, &cells, how);
        let big = u128::MAX / 9;
        assert_eq!(
            (result(&ran[1]), result(&ran[3])),
            ("1.0".into(), format!("\"3.000 bar {big} 0.479 7\""))
        );
        assert_eq!(rail_is_gone(&ran[2]), how.is_empty(), "{how}");
    }
}

#[test]
#[ignore = "builds the library once more, which takes a minute: .ci/run asks for it"]
fn crates_that_change_the_librarys_own_load_beside_it() {
    let cells = [
        code(":dep itoa = \"1\"\nlet rail = bar(3.0);", &[]),
        // A feature of a crate that the library uses too, so that all of it is another one.
        code(
            ":dep serde = { version = \"1\", features = [\"rc\"] }\nlet rail = bar(4.0); let kept = 7;",
            &[],
        ),
        code("format!(\"{rail} {kept}\")", &[]),
    ];
    let ran = ran(&folder("changed crates"), &cells, "");
    assert!(!rail_is_gone(&ran[0]) && rail_is_gone(&ran[1]));
    assert_eq!(result(&ran[2]), "\"4.000 bar 7\"");
}

#[test]
fn a_failing_cell_stops_its_notebook_and_is_named() {
    let folder = folder("failing");
    write(
        &folder.join("a.ipynb"),
        &[code("let a = 1;", &[]), code("let b: u32 = \"x\";", &[]), code("a", &[])],
    );
    write(&folder.join("b.ipynb"), &[code("1 + 1", &[])]);
    let out = folder.join("out");
    let ran = railrise().arg("run").arg(&folder).arg("--out").arg(&out).output().expect("runs");
    let words = said(&ran);
    assert_eq!(ran.status.code(), Some(1), "{words}");
    assert!(words.contains("a.ipynb: cell 2") && !words.contains("panicked at"), "{words}");
    let copy = read(&out.join("a.ipynb"));
    assert_eq!(copy["cells"][1]["outputs"][0]["output_type"], "error");
    assert!(copy["cells"][2]["execution_count"].is_null(), "what follows is not run");
    assert_eq!(
        text(&read(&out.join("b.ipynb"))["cells"][0]["outputs"][0]["data"]["text/plain"]),
        "2",
        "the next notebook is"
    );
    assert!(out.join("index.html").is_file());
}

#[test]
fn a_wrong_command_says_so_with_code_2() {
    let folder = folder("wrong");
    write(&folder.join("p.ipynb"), &[code("let rpm = 1.0;", &["parameters"])]);
    std::fs::write(folder.join("cut.ipynb"), "{\"cells\": [").expect("written");
    let cases: [(&[&str], &str); 5] = [
        (&["no-such.ipynb"], "there is no such file"),
        (&["p.ipynb", "--set", "rmp=2"], "rpm"),
        (&["cut.ipynb"], "cut.ipynb"),
        (&["p.ipynb", "--set", "rpm"], "KEY=VALUE"),
        (&["p.ipynb", "--out", "."], "--out"),
    ];
    for (args, expected) in cases {
        let ran = railrise().arg("run").args(args).current_dir(&folder).output().expect("runs");
        assert_eq!(ran.status.code(), Some(2), "{args:?}: {}", said(&ran));
        assert!(
            said(&ran).contains(expected) && !said(&ran).contains("backtrace"),
            "{args:?}: {}",
            said(&ran)
        );
    }
}

#[test]
fn missing_sources_stop_the_run_before_the_evaluator_starts() {
    let folder = folder("no sources");
    write(&folder.join("p.ipynb"), &[code("1", &[])]);
    // A path with the compiler but without apt-get, and a cache of its own.
    let bin = folder.join("bin");
    std::fs::create_dir_all(&bin).expect("made");
    let find = |tool: &str| {
        std::env::split_paths(&std::env::var_os("PATH").unwrap_or_default())
            .map(|p| p.join(tool))
            .find(|p| p.is_file())
    };
    #[cfg(unix)]
    std::os::unix::fs::symlink(find("rustc").expect("rustc is on the path"), bin.join("rustc"))
        .expect("linked");
    let sysroot = Command::new("rustc").arg("--print=sysroot").output().expect("rustc runs").stdout;
    if Path::new(String::from_utf8_lossy(&sysroot).trim()).join("lib/rustlib/src/rust/library/core").exists()
    {
        return; // They are installed: there is nothing to miss.
    }
    let cache = std::env::temp_dir().join(format!("railrise-test-{}", std::process::id()));
    let ran = railrise()
        .arg("run")
        .arg(folder.join("p.ipynb"))
        .arg("--out")
        .arg(folder.join("out"))
        .env("PATH", &bin)
        .env_remove("RUST_SRC_PATH")
        .env("RAILRISE_CACHE", &cache)
        .output()
        .expect("runs");
    let _ = std::fs::remove_dir_all(cache);
    assert_eq!(ran.status.code(), Some(1));
    assert!(said(&ran).contains("rustup component add rust-src"), "{}", said(&ran));
}

/// The evaluator ends a session by closing the relay's input and waiting for it, also when the session failed before
/// its first cell.
#[test]
fn a_relay_without_orders_ends() {
    use std::process::Stdio;
    let nobody_listens = folder("a relay").join("listening");
    let mut relay = railrise()
        .env("RAILRISE_RELAY", &nobody_listens)
        .env("EVCXR_IS_RUNTIME", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .expect("starts");
    drop(relay.stdin.take());
    for _ in 0..300 {
        if relay.try_wait().expect("can be asked").is_some() {
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    relay.kill().expect("can be ended");
    panic!("the relay went on waiting");
}

#[test]
fn one_source_makes_the_students_copy_the_stored_outputs_and_the_class() {
    let folder = folder("a class");
    let lesson = folder.join("lesson.ipynb");
    let question = "check(\"How much?\", \"2 bar\").against(bar(top))";
    let said = "predict(\"It\", \"1 bar\").compare(bar(top), \"it is so\")";
    write(
        &lesson,
        &[
            code("let top = 2.0;", &["parameters"]),
            code("println!(\"only for the teacher\")", &["teacher"]),
            code(question, &[]),
            code(said, &[]),
        ],
    );
    let run =
        |args: &[&str]| railrise().args(args).current_dir(&folder).output().expect("the program starts");
    let handout = run(&["run", "lesson.ipynb", "--for", "students", "--out", "handout"]);
    assert!(handout.status.success(), "{}", self::said(&handout));
    let copy = std::fs::read_to_string(folder.join("handout/lesson.ipynb")).expect("the copy");
    let page = std::fs::read_to_string(folder.join("handout/lesson.html")).expect("the page");
    assert!(!copy.contains("only for the teacher") && !page.contains("only for the teacher"));
    // Stored, then run again: the same. Spoilt: named.
    let stored = run(&["run", "lesson.ipynb", "--store", "--out", "out"]);
    assert!(stored.status.success(), "{}", self::said(&stored));
    let text = std::fs::read_to_string(&lesson).expect("the lesson");
    assert!(text.contains("only for the teacher\\n") && !text.contains("seconds"), "{text}");
    assert!(run(&["run", "lesson.ipynb", "--as-stored", "--out", "out"]).status.success());
    std::fs::write(&lesson, text.replace("it is:    2.000 bar", "it is:    2.001 bar")).expect("written");
    let spoilt = run(&["run", "lesson.ipynb", "--as-stored", "--out", "out"]);
    let message = self::said(&spoilt);
    assert_eq!(spoilt.status.code(), Some(1));
    assert!(message.contains("cell 4 is not as stored") && message.contains("2.001 bar"), "{message}");
    std::fs::write(&lesson, text).expect("written");
    // A class: own values each, and who got what.
    let class = "notebooks = [\"lesson.ipynb\"]\n[[student]]\nname = \"Ada\"\n\
                 [[student]]\nname = \"Ben\"\nset = { top = \"3.0\" }\n";
    std::fs::write(folder.join("class.toml"), class).expect("written");
    let marked = run(&["class", "class.toml", "--out", "marks"]);
    let table = String::from_utf8_lossy(&marked.stdout).into_owned();
    assert!(marked.status.success(), "{}", self::said(&marked));
    let row = |name: &str| table.lines().find(|l| l.starts_with(name)).expect("a row").to_owned();
    assert!(row("Ada").contains("1 of 1") && row("Ada").contains("1 bar / 2.000 bar"), "{table}");
    assert!(row("Ben").contains("0 of 1") && row("Ben").contains("top = 3.0"), "{table}");
    assert!(folder.join("marks/Ben/lesson.html").is_file() && folder.join("marks/class.html").is_file());
    std::fs::write(folder.join("class.toml"), class.replace("set", "sett")).expect("written");
    let wrong = run(&["class", "class.toml", "--out", "marks"]);
    assert_eq!(wrong.status.code(), Some(2));
    assert!(self::said(&wrong).contains("Ben: the key `sett` is not known"), "{}", self::said(&wrong));
}
