//! Railrise: simulation and teaching of fuel delivery.
