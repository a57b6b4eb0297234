//! The one integration-test binary: each line names a module and what it holds.

#[cfg(feature = "page")]
mod notebook_document;
mod stepper_behaviour; // run loop: landing, stopping, refusing, watching, convergence
mod stepper_reference;
mod support; // reader of the reference rows, and the count of those held // steppers against published and closed-form solutions of reference problems // notebooks are read and written without loss
