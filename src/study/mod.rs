//! Studies: how far tolerances move an answer.
pub mod budget;
pub mod compare;
pub mod contrast;
pub mod criterion;
pub mod error;
pub mod findings;
pub mod interval;
pub mod measure;
pub mod model;
pub mod nested;
pub mod plan;
pub mod reliability;
pub mod run;
pub mod runs;
pub mod sampling;
pub mod sensitivity;
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
