//! The one integration-test binary: each line names a module and what it holds.

mod support; // reader of the reference rows, and the count of those held
