//! The operating point: a build solved at one speed and boost.
//!
//! [`point`] solves legs and junctions together and reads everything out; [`limits`] says what runs out
//! first, how much is left and what each part costs.

mod bend;
mod bracket;
mod chord;
mod circuit;
mod demand;
mod element;
mod gauges;
pub mod lanes;
mod limit;
mod network;
mod operating;
mod point;
mod power;

pub use circuit::Belief;
pub use demand::Demand;
pub(crate) use demand::NEAR_VACUUM;
pub use gauges::{Gauges, Offsets};
pub use limit::{Acceptance, Check, Cost, Limits, Reserve, Verdict, headroom, limits, limits_at, reserve};
pub use network::Effort;
pub use operating::Operating;
pub use point::{
    InjectorState, LegState, PartState, Point, PotState, PumpState, RegulatorState, point, point_from,
    point_within,
};
pub use power::{PowerCheck, power_check};
