//! Many operating points of one layout at once: the general solver's equations for the common circuit, lane by lane.
//!
//! [`Reduced`] recognises the circuit and holds its values as plain numbers; [`Sweep`] says which values change
//! from draw to draw, at which operating points, and what is wanted; [`Sweep::run`] computes them on all cores.
//! Every law is the one of [`super::point`]; what the fast form cannot do is handed back to it.
//!
//! A draw's result depends on its own values alone, so it has the same bits on any number of threads, in any
//! block and on any processor.

// One index runs through many columns at once.
#![allow(clippy::needless_range_loop)]

mod ask;
mod bracket;
mod columns;
mod law;
mod math;
mod newton;
mod output;
mod reduced;
mod sweep;

pub use reduced::{Reduced, Slot};
pub use sweep::{Effort, Failed, LANES, Results, Sweep, Worker};
