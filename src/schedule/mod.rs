//! What is imposed on a build over time.

mod crank;
mod imposed;
mod track;

pub use crank::CrankClock;
pub use imposed::{Schedule, Start, Until};
pub use track::{BadTrack, Track};
