//! What the benches of the kernel share: the parts that the program plays, and halves of a comparison, each in a
//! process of its own.

use crate::kernel::{relay, shim};
use serde_json::Value;
use std::process::{Command, ExitCode, Stdio};

/// Names the half that a process of the bench measures.
const PART: &str = "RAILRISE_BENCH_PART";

/// Plays the part that this process was started for, in the order of the program; else compares.
pub fn run(
    ours: fn() -> Result<Value, String>,
    plain: fn() -> Result<Value, String>,
    compare: fn() -> Result<(), String>,
) -> ExitCode {
    if let Some(code) = shim::run_if_called_so() {
        return code;
    }
    if let Some(code) = relay::run_if_called_so() {
        return code;
    }
    evcxr::runtime_hook();
    let done = match std::env::var(PART).unwrap_or_default().as_str() {
        "ours" => ours().map(|measured| println!("{measured}")),
        "plain" => plain().map(|measured| println!("{measured}")),
        _ => compare(),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::FAILURE
        }
    }
}

/// What the half of that name measured: `ours`, or `plain` with the stand-in for cargo switched off.
///
/// # Errors
/// When it ends without a measurement.
pub fn part(name: &str) -> Result<Value, String> {
    let exe = std::env::current_exe().map_err(|e| e.to_string())?;
    let mut command = Command::new(exe);
    command.env(PART, name);
    if name == "plain" {
        command.env("RAILRISE_CARGO", "plain");
    }
    let out = command.stderr(Stdio::inherit()).output().map_err(|e| e.to_string())?;
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    let last = text.lines().last().ok_or_else(|| format!("the part `{name}` said nothing"))?;
    serde_json::from_str(last).map_err(|e| format!("the part `{name}`: {e}"))
}
