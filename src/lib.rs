//! Railrise: simulation and teaching of fuel delivery.
#[macro_use]
extern crate uom;

pub mod chart;
pub mod fuel;
pub mod part;
pub mod quantity;
pub mod schedule;
pub mod spec;
pub mod stepper;
pub mod study;
pub mod transient;

#[cfg(feature = "page")]
pub mod notebook;
