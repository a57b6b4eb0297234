//! Running notebook cells: evaluation by `evcxr`, a cache that survives restarts, the notebook
//! kernel, interrupts, progress, errors in trade words.
//!
//! The headless runner and the kernel share one [`session::Session`], so both behave alike. Four
//! processes take part, all from the one `railrise` program:
//!
//! - the *session* (runner or kernel) holds the evaluator;
//! - the *relay* ([`relay`]) starts the cells' process and passes on what it prints, so that text,
//!   pictures and panics arrive at once and in order;
//! - the *cells' process* loads each compiled cell and keeps the variables;
//! - the *cargo stand-in* ([`shim`]) has a cell compiled ([`compile`]) with one compiler call, since the only library
//!   a cell needs was built beforehand ([`library`]), by a compiler that the session started beforehand ([`ready`]).

pub mod cell;
pub mod compile;
pub mod desk;
pub mod error;
pub mod friendly;
pub mod headless;
pub mod home;
pub mod install;
pub mod join;
pub mod library;
pub mod message;
pub mod prepare;
pub mod protocol;
#[cfg_attr(not(target_os = "linux"), allow(dead_code, unused_imports))]
pub mod ready;
pub mod relay;
pub mod serve;
pub mod session;
pub mod shim;
pub mod sources;
#[cfg(test)]
mod store;
pub mod thin;
pub mod toolchain;
pub mod units;
