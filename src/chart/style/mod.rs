//! What all figures share: palette, sizes for a projector, and text widths.

mod metrics;
mod palette;
mod ramp;

pub use metrics::*;
pub use palette::*;
pub use ramp::*;

/// Width of a figure, in its own units (pixels at natural size).
pub const WIDTH: f64 = 760.0;
/// Font size of titles.
pub const TITLE: f64 = 18.0;
/// Font size of axis titles and direct labels.
pub const LABEL: f64 = 14.0;
/// Font size of tick labels.
pub const TICK: f64 = 13.0;
/// Font size of notes below a figure.
pub const NOTE: f64 = 12.5;
/// Faces asked for, narrow ones first; see [`text_width`] for why.
pub const FACES: &str = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif";
