//! Parameters: nominal value, tolerance, grade and source; how a value may spread and how it is fitted.

pub mod distribution;
pub mod fit;
mod grade;
pub mod key;
pub mod special;
mod spread;
mod values;

pub use grade::Grade;
pub use key::{Column, Key, Takes};
pub use spread::moved;
pub use values::{Parameter, Rows, Value, Values};
