//! What a value looks like in a notebook, and how it gets there.
//!
//! A value that implements [`Rich`] shows itself as a picture, a table or formatted text in a
//! notebook and as plain text in a terminal. [`show`] puts it on the page at once; the last
//! expression of a cell is shown without asking. [`Progress`] draws a bar with the time left, and
//! [`cancelled`] tells long work that the reader pressed *interrupt*.
//!
//! ```
//! use railrise::rich::{Bundle, Rich};
//! struct Reading { kpa: f64 }
//! impl Rich for Reading {
//!     fn rich(&self) -> Bundle {
//!         Bundle::text(format!("{:.1} kPa", self.kpa)).html(format!("<b>{:.1}</b> kPa", self.kpa))
//!     }
//! }
//! assert_eq!(Reading { kpa: 300.0 }.rich().get("text/plain"), Some("300.0 kPa"));
//! ```

mod bundle;
mod cancel;
mod progress;
mod quantity;
mod show;
pub mod wire;

pub use bundle::{Bundle, Rich, escape_html};
pub use cancel::{cancel, cancelled, listen_for_interrupt, resume};
pub use progress::{Progress, progress};
pub use show::{EndDebug, EndRich, Live, clear_output, flush, ready, show, show_live};
