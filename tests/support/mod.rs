//! What several test modules share.

#[cfg(feature = "cvode")]
pub mod cvode;
pub mod demo_car;
pub mod hill_climb_net;
pub mod rows;
