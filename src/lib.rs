//! Railrise: simulation and teaching of fuel delivery.
#[macro_use]
extern crate uom;

pub mod build;
pub mod chart;
pub mod error;
pub mod explain;
pub mod fault;
pub mod fuel;
pub mod part;
pub mod prelude;
pub mod quantity;
pub mod rich;
pub mod schedule;
pub mod spec;
pub mod steady;
pub mod stepper;
pub mod study;
pub mod transient;
pub mod workshop;

pub use error::{Error, Result};

#[cfg(feature = "page")]
pub mod notebook;
