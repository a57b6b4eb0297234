//! Quantities: what a number means before it is used.
//!
//! * the types ([`Pressure`], [`VolumeRate`], [`Density`] ...) are `uom` quantities of our own small
//!   [`mod@system`]: adding bar to litres per hour does not compile;
//! * [`AbsolutePressure`] and [`GaugePressure`] are kept apart from [`Pressure`], which is a difference;
//! * the constructors read as the trade speaks: [`bar`]`(1.4)`, [`l_per_h`]`(127.0)`, [`mm`]`(8.7)`;
//! * [`Dim`] and [`mod@unit`] read and print values with units (`"1.4 bar"`, `"58 psi"`), with an echo in the
//!   other unit.
//!
//! ```
//! use railrise::quantity::*;
//! let base = psi(58.0);
//! assert_eq!(base.in_unit("kPa").unwrap().to_string(), "399.9 kPa");
//! let q = l_per_h(127.0);
//! assert!((q.value - 3.527_777e-5).abs() < 1e-10); // SI inside: m³/s
//! ```

#[macro_use]
pub mod system;
mod construct;
mod dim;
mod pressure;
mod show;
pub mod unit;

pub use construct::*;
pub use dim::{Dim, Flavour};
pub use pressure::{AbsolutePressure, GaugePressure, STANDARD_ATMOSPHERE, abs, atm, gauge};
pub use show::{Amount, InUnit, Shown, round_plainly, round_to_digits};
pub use system::f64::*;

/// Standard acceleration of free fall, m/s². Source: 3rd CGPM (1901), exact.
pub const STANDARD_GRAVITY: f64 = 9.806_65;
