//! Fuel pump: a permanent-magnet motor on its wire, driving a displacement or a regenerative element.

mod affinity;
mod fit;
mod law;
mod spec;

pub use affinity::affinity;
pub use fit::{Identified, RatingRow, identify};
pub(crate) use law::LEAST_EMF;
pub use law::{Curve, Kind, Pump, Running};
pub use spec::{KEYS, identified};
