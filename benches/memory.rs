//! How memory grows over a thousand cells: our session beside the plain evaluator, in one run.
//!
//! `cargo bench --bench memory` prints resident memory of the session with all its children, in MiB,
//! after the first fifty cells and after a thousand more. The plain evaluator gets the cells that need
//! no library; ours gets these, and every fourth cell calls the library or draws a figure besides.
//! Linux only: memory is read from `/proc`.

#[path = "../src/kernel/mod.rs"]
#[allow(dead_code, unused_imports)]
mod kernel;

mod parts;

use kernel::{prepare, session::Session};
use serde_json::{Value, json};
use std::process::ExitCode;

const FIRST: usize = 50;
const CELLS: usize = 1000;

fn main() -> ExitCode {
    parts::run(ours, plain, compare)
}

const ANYWHERE: [&str; 3] =
    ["std::hint::black_box({n});", "let list = vec![{n}.0, 2.0];", "println!(\"{}\", list.len() + {n});"];
const OURS: [&str; 2] =
    ["the_car.at(rpm(4000.0 + {n}.0), bar(1.0)).lambda()", "compare(\"rail pressure\", &[&run]) // {n}"];

/// Resident memory of a process and all that descend from it, in MiB.
fn resident(process: u32) -> f64 {
    let read = |file: &str| std::fs::read_to_string(format!("/proc/{process}/{file}")).unwrap_or_default();
    let status = read("status");
    let own = status
        .lines()
        .find_map(|l| l.strip_prefix("VmRSS:")?.trim().strip_suffix(" kB")?.parse::<f64>().ok());
    let tasks = std::fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten();
    let children: String =
        tasks.map(|t| std::fs::read_to_string(t.path().join("children")).unwrap_or_default()).collect();
    let below: f64 = children.split_whitespace().filter_map(|c| c.parse().ok()).map(resident).sum();
    own.unwrap_or(0.0) / 1024.0 + below
}

fn measure(with_library: bool, mut cell: impl FnMut(&str) -> bool) -> Value {
    let mut after = Vec::new();
    for n in 0..FIRST + CELLS {
        let code = match n % 4 {
            3 if with_library => OURS[n / 4 % OURS.len()],
            k => ANYWHERE[k % ANYWHERE.len()],
        };
        assert!(cell(&code.replace("{n}", &n.to_string())), "cell {n}: {code}");
        if n + 1 == FIRST || (n + 1 - FIRST).is_multiple_of(CELLS / 4) && n + 1 > FIRST {
            after.push(resident(std::process::id()));
        }
    }
    json!(after)
}

fn ours() -> Result<Value, String> {
    let prepared = prepare::enter()?;
    let mut session = Session::start(&prepared, &prepared.started_in, &mut |text| eprintln!("{text}"))?;
    let car = "let the_car = car(\"hill-climb-car/cure-second-pump\");\n\
               let run = the_car.as_boost_rises(rpm(4000.0), bar(-0.6), bar(1.4));";
    session.execute(car, &mut |_| {}).map_err(|e| e.text)?;
    Ok(measure(true, |code| session.execute(code, &mut |_| {}).is_ok()))
}

fn plain() -> Result<Value, String> {
    let _prepared = prepare::enter()?;
    let (mut context, outputs) = evcxr::CommandContext::new().map_err(|e| e.to_string())?;
    std::thread::spawn(move || outputs.stdout.iter().for_each(drop));
    std::thread::spawn(move || outputs.stderr.iter().for_each(drop));
    Ok(measure(false, |code| context.execute(code).is_ok()))
}

fn compare() -> Result<(), String> {
    let sizes = |name| -> Result<Vec<f64>, String> {
        serde_json::from_value(parts::part(name)?).map_err(|e| format!("the part `{name}`: {e}"))
    };
    // Beside each other in time, too.
    let (ours, plain) = std::thread::scope(|scope| {
        let other = scope.spawn(|| sizes("plain"));
        (sizes("ours"), other.join())
    });
    let (ours, plain) = (ours?, plain.map_err(|_| "measuring the plain evaluator panicked")??);
    println!("{:<22}{:>10}{:>10}   (MiB resident, with all children)", "", "railrise", "plain");
    for (quarter, (ours, plain)) in ours.iter().zip(&plain).enumerate() {
        println!("{:<22}{ours:>10.1}{plain:>10.1}", format!("after {} cells", FIRST + quarter * CELLS / 4));
    }
    let growth = |sizes: &[f64]| sizes.last().zip(sizes.first()).map_or(f64::NAN, |(a, b)| a - b);
    println!("{:<22}{:>10.1}{:>10.1}", "growth", growth(&ours), growth(&plain));
    Ok(())
}
