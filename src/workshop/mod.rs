//! What a lesson's cells say: load a car, change one thing, ask, predict, check.
//!
//! Everything here speaks in trade words, shows itself richly in a notebook, and stops the cell with one
//! clear sentence when it cannot go on (a lesson has no error handling of its own; a program uses
//! [`crate::build`] and [`crate::steady`], which return errors).
//!
//! ```
//! use railrise::prelude::*;
//! let car = car("hill-climb-car/raised-1.4-bar");
//! let fixed = car.with("regulator.reference", "air").named("fixed rail");
//! let now = fixed.at(rpm(4000.0), bar(1.4));
//! assert!(now.difference() < bar(1.7)); // the manifold ate 1.4 bar of it
//! ```

mod answer;
mod car;
mod circuit_picture;
mod cycle;
mod expect;
mod figures;
mod gauges;
mod logged;
pub mod measure;
mod pictures;
mod pot;
mod reading;
mod run;
mod study;
mod tolerance;
mod transient;
mod watched;

pub use answer::{Compared, Feedback, Prediction, Question, Worded, check, predict, words};
pub use car::{Car, car, car_file};
pub use circuit_picture::schematic;
pub use cycle::{Cycle, one_cycle};
pub use expect::{expect_gauge, tornado};
pub use figures::{compare, ladder, supply_and_demand};
pub use logged::beside_the_log;
pub use pictures::{
    fuel_for_power, in_proportion, pump_curves, ratio_of, slide_boost, slide_supply_and_demand,
    speed_boost_map, volt_ladder,
};
pub use pot::{Pot, surge_pot};
pub use reading::Reading;
pub use run::Run;
pub use study::{Grid, how_rare, options_across_tolerances, study_figures, what_matters};
pub use tolerance::{Tolerances, across_tolerances};
pub use transient::{Transient, compare_in_time};

/// Stops a cell with one sentence.
pub(crate) fn stop(error: impl std::fmt::Display) -> ! {
    panic!("{error}")
}
