//! What every notebook cell has at hand. The kernel loads it before the first cell; elsewhere
//! `use railrise::prelude::*;` does the same.

pub use crate::rich::{
    Bundle, EndDebug as _, EndRich as _, Live, Progress, Rich, cancelled, clear_output, progress, show,
    show_live,
};

pub use crate::chart::Chart as _;
pub use crate::quantity::{Amount, GaugePressure, Shown as _};
pub use crate::workshop::measure::*;
pub use crate::workshop::{
    Car, Compared, Feedback, Prediction, Question, Reading, Run, car, car_file, check, compare, ladder,
    predict, supply_and_demand, words,
};
