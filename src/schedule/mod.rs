//! What is imposed on a build over time.

mod crank;
mod track;

pub use crank::CrankClock;
pub use track::{BadTrack, Track};
