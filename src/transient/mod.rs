//! A build solved in time.
//!
//! [`run`] takes a [`crate::build::Build`] through a [`crate::schedule::Schedule`] and gives a [`Solution`]: named
//! channels, every pulse, every event, a ledger of the fuel and why it ended. [`modes`] judges small motions about the
//! operating point; the two verdicts may differ, and both are worth showing.
//!
//! What is not here: heating of the fuel by the pump, wave action in the intake, cavitation other than a floor at vapour
//! pressure with the void that it opens, and hoses whose wall remembers longer than one time constant.

#[cfg(feature = "arrow")]
mod arrow; // traces to and from an Arrow file
mod behind; // ports and cylinders behind the nozzles
pub mod characteristics; // a hose with waves in it
mod course; // how the manifold fills and boost builds, before the fuel is stepped
pub mod engine_gas; // cylinders, ports and plenum: filling and emptying, valve by valve
mod friction_table; // the friction law at a tenth of its cost
mod from_build; // a build and a schedule made into a network
mod intake; // what fills, through what, and what the engine takes
pub mod linear; // modes and response about an operating point
pub mod network; // nodes, branches, pump, regulator and injectors in time
mod options; // how a run is made
mod record; // channels while a run goes on
mod run; // the run itself
mod save; // traces to and from a file
mod solution; // what a run was

pub use behind::{Behind, Gases, Pressures, Valves, Wanted};
pub use friction_table::FrictionTable;
pub use intake::throttle_opening;
pub use options::{Options, Stepper};
pub use record::Watch;
pub use run::{follows, modes, run, run_watched};
pub use save::Traces;
pub use solution::{Air, Channel, Happening, Ledger, PulseRecord, Solution, Stopped};
