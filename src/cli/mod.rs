//! The command line: one file a subcommand, each with its arguments and `run`.
//!
//! Exit codes: 0 done; 1 the work failed (a cell, a comparison, a missing piece of the machine);
//! 2 the command itself is wrong (a missing file, an unknown key).

use clap::{Parser, Subcommand};
use std::process::ExitCode;

mod check;
mod class;
mod files;
mod kernel;
mod point;
mod run;
mod runner;
mod study;

#[derive(Parser)]
#[command(name = "railrise", version, about, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Run notebooks and write each with its outputs, and as a page
    Run(run::Args),
    /// Run notebooks again and compare with the outputs stored in them
    Check(check::Args),
    /// Run notebooks for a class, a setting or a filled-in copy each, and say who got what
    Class(class::Args),
    /// The kernel for notebook programs
    Kernel(kernel::Args),
    /// Work out one operating point of a build
    Point(point::Args),
    /// Run a tolerance study described in a file
    Study(study::Args),
}

/// Reads the command line and does what it says.
pub fn run() -> ExitCode {
    match Cli::parse().command {
        Command::Run(args) => run::run(args),
        Command::Check(args) => check::run(args),
        Command::Class(args) => class::run(args),
        Command::Kernel(args) => kernel::run(args),
        Command::Point(args) => point::run(args),
        Command::Study(args) => study::run(args),
    }
}

/// The command itself was wrong.
fn wrong(message: impl std::fmt::Display) -> ExitCode {
    eprintln!("railrise: {message}");
    ExitCode::from(2)
}

/// The command was right, the work failed.
fn failed(message: impl std::fmt::Display) -> ExitCode {
    eprintln!("railrise: {message}");
    ExitCode::FAILURE
}
