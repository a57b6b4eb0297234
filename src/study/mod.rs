//! Studies: how far tolerances move an answer.
pub mod error;
pub mod sampling;

pub use error::StudyError;
pub use sampling::Sampling;
