//! Why a run ended, and what it cost.

use super::event::Crossing;
use std::fmt;

/// Why a run ended. Whatever the reason, the state up to it is kept.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum StopReason {
    /// The end time was reached.
    Finished,
    /// A handler of an imposed time event asked to stop.
    TimeEvent {
        /// Time of the event, s.
        t: f64,
    },
    /// A handler of a root event asked to stop.
    Root {
        /// Time of the crossing, s.
        t: f64,
        /// What crossed.
        crossing: Crossing,
    },
    /// The same events came ever faster (bounces of a ball): time cannot pass their accumulation point.
    EventsAccumulate {
        /// Time reached, s.
        t: f64,
        /// Root function of the last event.
        root: usize,
    },
    /// An observer asked to stop.
    Cancelled {
        /// Time reached, s.
        t: f64,
    },
    /// A state left the range for which the system is defined.
    OutOfRange {
        /// Time reached, s.
        t: f64,
        /// Name given by the system.
        what: &'static str,
    },
    /// A component became NaN or infinite however small the step.
    NotFinite {
        /// Last good time, s.
        t: f64,
        /// Index of the component.
        component: usize,
    },
    /// The error test could not be met with the smallest step.
    StepTooSmall {
        /// Time reached, s.
        t: f64,
        /// Component with the largest weighted error.
        component: usize,
    },
    /// The budget of steps was used up.
    TooManySteps {
        /// Time reached, s.
        t: f64,
    },
}

impl StopReason {
    /// True when the run ended where it was meant to: at the end time or at an event that asked for it.
    pub fn is_planned(&self) -> bool {
        matches!(self, Self::Finished | Self::TimeEvent { .. } | Self::Root { .. })
    }
}

impl fmt::Display for StopReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Finished => write!(f, "reached the end time"),
            Self::TimeEvent { t } => write!(f, "stopped by an imposed event at t = {t} s"),
            Self::Root { t, crossing } => {
                let way = if crossing.rising { "rising" } else { "falling" };
                write!(f, "stopped by root function {} ({way}) at t = {t} s", crossing.root)
            }
            Self::EventsAccumulate { t, root } => write!(
                f,
                "events of root function {root} accumulate at t = {t} s: give the system a resting mode"
            ),
            Self::Cancelled { t } => write!(f, "cancelled at t = {t} s"),
            Self::OutOfRange { t, what } => write!(f, "{what} left its range at t = {t} s"),
            Self::NotFinite { t, component } => write!(
                f,
                "component {component} is not finite after t = {t} s: check the parameters that drive it"
            ),
            Self::StepTooSmall { t, component } => write!(
                f,
                "the error of component {component} cannot be met at t = {t} s: announce the jump as an event \
                 or loosen the tolerance"
            ),
            Self::TooManySteps { t } => {
                write!(f, "the budget of steps ran out at t = {t} s: raise it or use the stiff method")
            }
        }
    }
}

/// Effort spent in a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Statistics {
    /// Steps that passed the error test.
    pub accepted: u64,
    /// Steps that failed it and were repeated.
    pub rejected: u64,
    /// Evaluations of the right-hand side, those of difference Jacobians included.
    pub rhs: u64,
    /// Jacobians formed.
    pub jacobians: u64,
    /// Matrix factorisations.
    pub factorisations: u64,
    /// Imposed time events landed on.
    pub time_events: u64,
    /// Root events located.
    pub root_events: u64,
    /// Bases of modes made.
    pub bases: u64,
    /// Steps that an exponential method left to the explicit one, for want of a basis that fits.
    pub left: u64,
}
