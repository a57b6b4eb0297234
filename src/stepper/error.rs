//! A problem that cannot even be started.

use std::fmt;

/// Input that [`super::solve`] refuses, with the value and what to do.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum StepperError {
    /// The end lies before the beginning, or one of them is not finite.
    Interval {
        /// Start, s.
        t0: f64,
        /// End, s.
        t1: f64,
    },
    /// A component of the initial state is not finite.
    InitialState {
        /// Index of the component.
        component: usize,
        /// Its value.
        value: f64,
    },
    /// A tolerance or step limit is zero, negative or not finite.
    Option {
        /// Name of the option.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// The right-hand side is not finite at the start.
    InitialRate {
        /// Index of the component.
        component: usize,
        /// Its value.
        value: f64,
    },
}

impl fmt::Display for StepperError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Interval { t0, t1 } => {
                write!(f, "time runs from {t0} s to {t1} s: the end must be finite and not before the start")
            }
            Self::InitialState { component, value } => {
                write!(f, "initial state: component {component} is {value}; give a finite value")
            }
            Self::Option { name, value } => {
                write!(f, "option `{name}` is {value}: give a positive, finite value")
            }
            Self::InitialRate { component, value } => write!(
                f,
                "rate of component {component} at the start is {value}: check the parameters that drive it"
            ),
        }
    }
}

impl std::error::Error for StepperError {}
