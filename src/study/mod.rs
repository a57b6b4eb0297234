//! Studies: how far tolerances move an answer.
//!
//! A [`Model`] (a build through [`of_build::BuildModel`], or any function through [`FunctionModel`]) has inputs with laws and named
//! outputs. A [`Plan`] fixes what will be run, and shows its cost; running it gives [`Runs`], which keep their plan; [`Findings`] and the other
//! answers come from runs only, so stale ones cannot be analysed.
//!
//! ```
//! use railrise::spec::distribution::Distribution;
//! use railrise::study::{Criterion, FunctionModel, Input, Output, Plan, Question};
//! let drop = FunctionModel::new(
//!     vec![
//!         Input::new("current", "A", Distribution::Normal { mean: 12.0, sd: 0.6 }),
//!         Input::new("loop resistance", "ohm", Distribution::Lognormal { median: 0.040, sigma_ln: 0.5 }),
//!     ],
//!     vec![Output::new("voltage drop", "V")],
//!     |x: &[f64]| Ok(vec![x[0] * x[1]]),
//! );
//! let runs = Plan::tolerance(&drop).draws(4096).seed(7).run(&drop)?;
//! let question = Question { criteria: vec![Criterion::above("weak feed", "voltage drop", 0.5)], ..Question::default() };
//! println!("{}", runs.findings(&question)?);
//! # Ok::<(), railrise::study::StudyError>(())
//! ```
//!
//! | question | answer |
//! |---|---|
//! | percentiles, chance of failing, enough draws? | [`Runs::findings`] |
//! | which input matters? | [`Runs::indices`], [`tornado::Tornado`] |
//! | where it fails, what is different? | [`Runs::contrast`] |
//! | what is measuring worth? | [`Runs::worth_of_measuring`], [`Runs::chance_if`] |
//! | which option is better? | [`compare::Options`] |
//! | this car or every car? | [`Runs::car_by_car`] |
//! | how rare is rare? | [`reliability::cross_check`] |
//! | what happens along a grid? | [`sweep::Swept`] |
//! | what does the hand calculation say? | [`budget::Budget`] |
//!
//! A build whose circuit is the common one is run many draws side by side; the plan says so, or why not. Values without a stated
//! spread can have the one of their grade ([`defaults`]).
//!
//! Not modelled: dependence other than rank correlation; wear over time; laws fitted to data.
pub mod budget;
pub mod compare;
pub mod contrast;
pub mod criterion;
pub mod defaults;
pub mod error;
mod fast;
pub mod file;
pub mod findings;
pub mod interval;
pub mod measure;
pub mod model;
pub mod nested;
pub mod of_build;
pub mod plan;
pub mod reliability;
pub mod run;
pub mod runs;
pub mod sampling;
pub mod sensitivity;
mod settings;
pub mod summary;
pub mod sweep;
pub mod tornado;

pub use criterion::{Criterion, Limit};
pub use error::StudyError;
pub use findings::{Findings, Question};
pub use model::{Failure, FunctionModel, Input, Model, Output, Spread, Worker};
pub use plan::Plan;
pub use run::{Control, Progress};
pub use runs::Runs;
pub use sampling::Sampling;
