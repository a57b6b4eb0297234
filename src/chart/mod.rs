//! Figures that teach.
//!
//! Every figure is built in trade words from labelled numbers, carries units on its axes, names its
//! curves where they end, stays readable in grey and for a colour-blind reader, describes itself in
//! words, and offers its numbers as a table. [`Chart`] is what all of them can do.
//!
//! A figure never computes physics: it draws what it is given, and says in a note what it could not draw.

mod bands;
mod contour;
mod crossing;
mod data;
mod explorable;
mod figure;
mod gauge;
mod histogram;
mod injection;
mod ladder;
mod map;
mod matrix;
mod overlay;
mod panel;
mod place;
mod pump_curves;
mod scale;
mod schematic;
mod sheet;
mod shown;
mod spread;
mod stack;
pub mod style;
mod sweep;
mod symbol;
mod table;
mod tornado;
mod trace;
mod words;

pub use bands::Bands;
pub use crossing::{Crossing, Hinge};
pub use data::{Axis, Series};
pub use explorable::Explorable;
pub use figure::{Chart, Figure};
pub use gauge::GaugeFace;
pub use histogram::Histogram;
pub use injection::InjectionWindow;
pub use ladder::Ladder;
pub use map::Map;
pub use matrix::{PassMatrix, Verdict};
pub use overlay::Overlay;
pub use pump_curves::PumpCurves;
pub use schematic::{Component, Schematic, Vessel};
pub use spread::{needed, spread};
pub use sweep::Sweep;
pub use symbol::Symbol;
pub use table::{Cell, Table};
pub use tornado::Tornado;
pub use trace::Trace;
