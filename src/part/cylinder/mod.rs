//! The cylinder: volume, valves, burn, heat to the wall, and the gas in it.

mod burn;
mod heat;
mod slider_crank;
mod valve;

pub use burn::Wiebe;
pub use heat::{HeatLoss, WallHeat, Woschni, polytropic_ratios};
pub use slider_crank::{BadGeometry, SliderCrank};
pub use valve::{BadValve, Valve, valve_lift};
