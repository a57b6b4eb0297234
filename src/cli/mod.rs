//! The command line: one file a subcommand, each with its arguments and `run`.

use clap::{Parser, Subcommand};
use std::process::ExitCode;

mod try_cell;

#[derive(Parser)]
#[command(name = "railrise", version, about)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// dev
    TryCell(try_cell::Args),
}

/// Reads the command line and does what it says.
pub fn run() -> ExitCode {
    match Cli::parse().command {
        Command::TryCell(args) => try_cell::run(args),
    }
}
