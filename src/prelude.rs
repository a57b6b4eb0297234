//! What every notebook cell has at hand. The kernel loads it before the first cell; elsewhere
//! `use railrise::prelude::*;` does the same.

pub use crate::rich::{
    Bundle, EndDebug as _, EndRich as _, Live, Progress, Rich, cancelled, clear_output, progress, show, show_live,
};
