//! A build solved in time.

pub mod engine_gas; // cylinders, ports and plenum: filling and emptying, valve by valve
