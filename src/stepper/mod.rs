//! Steppers for ordinary differential equations with events: pure mathematics, no fuel in it.
//!
//! A [`System`] says what changes and when something sudden happens; a [`Method`] takes one step;
//! [`solve`] is the one run loop that controls the error, lands on events, tells an [`Observer`] and
//! says in a [`StopReason`] why it ended.
//!
//! | method | kind | order | for |
//! |---|---|---|---|
//! | [`Tsit5`] | explicit Runge-Kutta, seven stages, first same as last | 5(4) | smooth, not stiff |
//! | [`Exponential`] | exponential, two stages, modes of a kept Jacobian exact | 2 | nearly linear, swings faster than what drives it |
//! | [`Rodas4`] | Rosenbrock, six stages, L-stable, stiffly accurate | 4(3) | stiff: valves shut, needles, stops |
//!
//! State is a fixed-size array, so a step allocates nothing.
//!
//! ```
//! use railrise::stepper::{solve, Options, System, Tsit5};
//!
//! struct Decay;
//! impl System<1> for Decay {
//!     fn rhs(&self, _t: f64, y: &[f64; 1], dy: &mut [f64; 1]) {
//!         dy[0] = -2.0 * y[0];
//!     }
//! }
//! let run = solve(&mut Decay, &mut Tsit5::new(), 0.0, [1.0], 1.0, &Options::new(1e-9, 1e-12), &mut ())?;
//! assert!((run.y[0] - (-2.0f64).exp()).abs() < 1e-8);
//! # Ok::<(), railrise::stepper::StepperError>(())
//! ```
//!
//! What is not here: differential-algebraic systems with a singular mass matrix (solve the algebraic
//! part inside the right-hand side instead), delay equations, and symplectic methods.

mod control;
mod dips;
mod error;
mod event;
mod exponential;
mod linear;
mod method;
mod observer;
mod options;
mod rodas4;
mod roots;
mod solve;
mod stop;
mod system;
mod tsit5;
mod wide;

pub use error::StepperError;
pub use event::{After, Crossing};
pub use exponential::Exponential;
pub use linear::{Bands, Matrix};
pub use method::{Attempt, Method};
pub use observer::{Cancel, Every, Observer, Progress, StepView};
pub use options::Options;
pub use rodas4::Rodas4;
pub use solve::{Run, solve};
pub use stop::{Statistics, StopReason};
pub use system::{Regime, System};
pub use tsit5::Tsit5;
