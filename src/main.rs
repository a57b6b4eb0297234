//! The `railrise` program.

use std::process::ExitCode;

mod cli;
mod kernel;

/// The analyser makes and drops millions of small things.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    // The program plays several parts in running a notebook; the order matters: a relay's child is
    // the cells' process, and both are started by a process that may itself be called `cargo`.
    if let Some(code) = kernel::shim::run_if_called_so() {
        return code;
    }
    if let Some(code) = kernel::relay::run_if_called_so() {
        return code;
    }
    evcxr::runtime_hook();
    cli::run()
}
