//! Figures that teach.
//!
//! Every figure is built in trade words from labelled numbers, carries units on its axes, names its
//! curves where they end, stays readable in grey and for a colour-blind reader, describes itself in
//! words, and offers its numbers as a table. [`Chart`] is what all of them can do.
//!
//! A figure never computes physics: it draws what it is given, and says in a note what it could not draw.

mod crossing;
mod data;
mod figure;
mod ladder;
mod panel;
mod place;
mod scale;
mod sheet;
mod spread;
mod stack;
pub mod style;
mod sweep;
mod table;
mod words;

pub use crossing::{Crossing, Hinge};
pub use data::{Axis, Series};
pub use figure::{Chart, Figure};
pub use ladder::Ladder;
pub use spread::{needed, spread};
pub use sweep::Sweep;
pub use table::{Cell, Table};
