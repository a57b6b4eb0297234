//! Railrise: simulation and teaching of fuel delivery.
#[macro_use]
extern crate uom;

pub mod part;
pub mod fuel;
pub mod quantity;
pub mod stepper;
