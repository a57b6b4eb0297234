//! How long a cell takes: our session beside the plain evaluator, in one run on one machine.
//!
//! `cargo bench --bench latency` prints medians of eleven cells of each kind, in milliseconds, and the
//! time from the start of a session to the first figure. Both evaluate the same library; the plain
//! evaluator gets it by one `:dep` line, with its own settings.

#[path = "../src/kernel/mod.rs"]
#[allow(dead_code, unused_imports)]
mod kernel;

mod parts;

use kernel::{prepare, session::Session};
use serde_json::{Value, json};
use std::process::ExitCode;
use std::time::Instant;

const ROUNDS: usize = 11;

fn main() -> ExitCode {
    parts::run(ours, plain, compare)
}

/// The kinds of cell; `{n}` makes each a new one.
const CELLS: [(&str, &str); 7] = [
    ("statement", "std::hint::black_box({n});"),
    ("let", "let list = vec![{n}.0, 2.0];"),
    ("expression", "list.len() + {n}"),
    ("library call", "std::hint::black_box(the_car.at(rpm(4000.0 + {n}.0), bar(1.0)));"),
    ("library value", "the_car.at(rpm(4000.0 + {n}.0), bar(1.0))"),
    ("figure", "compare(\"rail pressure\", &[&run]) // {n}"),
    ("error", "nothing_here_{n}"),
];
const CAR: &str = "let the_car = car(\"hill-climb-car/cure-second-pump\");\n\
                   let run = the_car.as_boost_rises(rpm(4000.0), bar(-0.6), bar(1.4));";

fn measure(mut cell: impl FnMut(&str) -> bool) -> Value {
    let mut times = serde_json::Map::new();
    for (kind, code) in CELLS {
        let mut all: Vec<f64> = (0..ROUNDS)
            .map(|n| {
                let begun = Instant::now();
                let fine = cell(&code.replace("{n}", &n.to_string()));
                assert_eq!(fine, kind != "error", "{kind}");
                begun.elapsed().as_secs_f64() * 1000.0
            })
            .collect();
        all.sort_by(f64::total_cmp);
        times.insert(kind.to_owned(), all[ROUNDS / 2].into());
    }
    times.into()
}

fn ours() -> Result<Value, String> {
    let begun = Instant::now();
    let prepared = prepare::enter()?;
    let mut session = Session::start(&prepared, &prepared.started_in, &mut |text| eprintln!("{text}"))?;
    let started = begun.elapsed().as_secs_f64() * 1000.0;
    session.execute(CAR, &mut |_| {}).map_err(|e| e.text)?;
    session.execute("compare(\"lambda\", &[&run])", &mut |_| {}).map_err(|e| e.text)?;
    let figure = begun.elapsed().as_secs_f64() * 1000.0;
    let mut times = measure(|code| session.execute(code, &mut |_| {}).is_ok());
    times["session started"] = started.into();
    times["first figure"] = figure.into();
    Ok(times)
}

fn plain() -> Result<Value, String> {
    let prepared = prepare::enter()?;
    let source = json!(prepared.home.source);
    let said = |e: evcxr::Error| e.to_string();
    // The plain evaluator has its own settings; it may fetch what `:dep` asks for.
    std::fs::remove_file(prepared.slot.path.join("config/evcxr.toml")).map_err(|e| e.to_string())?;
    let open = || -> Result<evcxr::CommandContext, String> {
        let (mut context, outputs) = evcxr::CommandContext::new().map_err(said)?;
        std::thread::spawn(move || outputs.stdout.iter().for_each(drop));
        std::thread::spawn(move || outputs.stderr.iter().for_each(drop));
        context
            .execute(&format!(":dep railrise = {{ path = {source}, default-features = false }}"))
            .map_err(said)?;
        context.execute("use railrise::prelude::*;").map_err(said)?;
        Ok(context)
    };
    // The first time builds the library; the second is what a warm start takes.
    drop(open()?);
    let begun = Instant::now();
    let mut context = open()?;
    let started = begun.elapsed().as_secs_f64() * 1000.0;
    context.execute(CAR).map_err(said)?;
    context.execute("compare(\"lambda\", &[&run])").map_err(said)?;
    let figure = begun.elapsed().as_secs_f64() * 1000.0;
    let mut times = measure(|code| context.execute(code).is_ok());
    times["session started"] = started.into();
    times["first figure"] = figure.into();
    Ok(times)
}

/// What nothing can undercut: the compiler alone, on a library without a line that does anything.
fn bare_compiler() -> Result<f64, String> {
    let folder = std::env::temp_dir().join(format!("railrise-bare-{}", std::process::id()));
    std::fs::create_dir_all(&folder).map_err(|e| e.to_string())?;
    std::fs::write(folder.join("bare.rs"), "pub extern \"C\" fn nothing() {}").map_err(|e| e.to_string())?;
    // Itself, not a launcher that looks for it first.
    let rustc = kernel::toolchain::Toolchain::find()?.rustc;
    let mut all = Vec::new();
    for _ in 0..ROUNDS {
        let begun = Instant::now();
        let done = std::process::Command::new(&rustc)
            .current_dir(&folder)
            .args(["--crate-type", "cdylib", "bare.rs"])
            .status();
        if !done.map_err(|e| e.to_string())?.success() {
            return Err("the compiler does not compile an empty library".into());
        }
        all.push(begun.elapsed().as_secs_f64() * 1000.0);
    }
    let _ = std::fs::remove_dir_all(&folder);
    all.sort_by(f64::total_cmp);
    Ok(all[ROUNDS / 2])
}

fn compare() -> Result<(), String> {
    // Once to build what is missing, so that the second start is a warm one.
    parts::part("ours")?;
    let (ours, plain) = (parts::part("ours")?, parts::part("plain")?);
    println!("{:<18}{:>10}{:>10}   (milliseconds; medians of {ROUNDS})", "", "railrise", "plain");
    let kinds = ["session started", "first figure"].into_iter().chain(CELLS.map(|(kind, _)| kind));
    for kind in kinds {
        let number = |v: &Value| v[kind].as_f64().unwrap_or(f64::NAN);
        println!("{kind:<18}{:>10.0}{:>10.0}", number(&ours), number(&plain));
    }
    println!("the compiler alone on an empty library: {:.0}", bare_compiler()?);
    Ok(())
}
