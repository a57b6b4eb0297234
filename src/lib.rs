//! Railrise: simulation and teaching of fuel delivery.
#[macro_use]
extern crate uom;

pub mod fuel;
pub mod part;
pub mod quantity;
pub mod stepper;

#[cfg(feature = "page")]
pub mod notebook;
