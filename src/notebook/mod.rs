//! Notebooks: reading and writing `.ipynb` files without loss, and turning them into pages.
//!
//! A notebook stays the JSON document it was read as, and only what is set through [`Notebook`] changes. Keys this crate
//! does not know, key order and indentation all survive, so a version-control diff shows only the work.
//!
//! - [`Notebook`]: read, look at the cells, set sources and outputs, write.
//! - [`output`]: the four kinds of output of notebook format 4.5.
//! - [`student_copy`]: the copy to hand out, without the teacher's cells.
//! - [`Tally`]: what the check cells and predictions of a copy came to.
//! - [`export`]: one self-contained page per notebook.
//! - [`index`]: the page that lists a folder of them.

mod check;
mod copy;
mod document;
mod error;
pub mod export;
mod file;
pub mod index;
pub mod output;
mod tally;

pub use copy::{TEACHER_TAG, for_the_teacher, student_copy};
pub use document::{Cell, CellKind, Notebook};
pub use error::{CellPlace, NotebookError};
pub use file::write_atomically;
pub use tally::{Said, Tally};
