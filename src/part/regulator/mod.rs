//! By-pass pressure regulator: diaphragm, spring, poppet, reference port.
//!
//! The fuel acts on the diaphragm less the seat, the return pressure on the seat, the reference on the
//! whole diaphragm; spring and flow force close. What the trade knows of a regulator (1:1 rise with the
//! manifold, a slope with flow, overrun at full lift, no control when closed) follows from this balance.

mod law;
mod spec;

pub use law::{Mode, Regulator, Seat, opening_area, reference_gain};
pub use spec::KEYS;
