//! A build solved in time.

pub mod engine_gas; // cylinders, ports and plenum: filling and emptying, valve by valve
mod friction_table; // the friction law at a tenth of its cost
pub mod linear; // modes and response about an operating point
pub mod network; // nodes, branches, pump, regulator and injectors in time

pub use friction_table::FrictionTable;
