//! The one integration-test binary: each line names a module and what it holds.
