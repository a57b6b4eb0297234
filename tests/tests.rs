//! The one integration-test binary: each line names a module and what it holds.

mod cylinder_reference; // slider-crank, Wiebe and compressible flow against the engine rows
#[cfg(feature = "page")]
mod notebook_document;
mod stepper_behaviour; // run loop: landing, stopping, refusing, watching, convergence
mod stepper_reference;
mod study_distribution; // probability laws against outside quantiles and moments
mod study_fit; // bounded least squares against certified regressions
mod study_reference; // rows of the statistics reference
mod study_sampling; // draws: published points, frozen values, correlation
mod support; // reader of the reference rows, and the count of those held // steppers against published and closed-form solutions of reference problems // notebooks are read and written without loss
mod transient_engine_gas; // motored and fired cylinders: isentropic peak, mass, heat loss, port pressure
