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
    Car, Compared, Cycle, Feedback, Grid, Pot, Prediction, Question, Reading, Run, Tolerances, Transient,
    across_tolerances, beside_the_log, car, car_file, check, compare, compare_in_time, expect_gauge,
    fuel_for_power, how_rare, in_proportion, ladder, one_cycle, options_across_tolerances, predict,
    pump_curves, ratio_of, schematic, slide_boost, slide_supply_and_demand, speed_boost_map, study_figures,
    supply_and_demand, surge_pot, tornado, volt_ladder, what_matters, words,
};
