//! What happened, and when.

/// A sudden thing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum EventKind {
    /// An injector was commanded open for a width, s.
    Commanded {
        /// Index of the injector.
        injector: usize,
        /// Pulse width, s.
        width: f64,
    },
    /// An injector opened.
    Opened {
        /// Index of the injector.
        injector: usize,
    },
    /// An injector closed.
    Closed {
        /// Index of the injector.
        injector: usize,
    },
    /// A dead time was asked outside its table; the edge was used.
    OutsideDeadTime {
        /// Index of the injector.
        injector: usize,
    },
    /// A check valve shut.
    CheckShut {
        /// Index of the branch.
        branch: usize,
    },
    /// A check valve opened.
    CheckOpened {
        /// Index of the branch.
        branch: usize,
    },
    /// A poppet came to its seat.
    PoppetSeated {
        /// Index of the regulator.
        regulator: usize,
    },
    /// A poppet came to its upper stop.
    PoppetFullLift {
        /// Index of the regulator.
        regulator: usize,
    },
    /// A poppet stopped between its stops, held by dry friction.
    PoppetStuck {
        /// Index of the regulator.
        regulator: usize,
    },
    /// A poppet began to move, or turned.
    PoppetMoved {
        /// Index of the regulator.
        regulator: usize,
    },
    /// A node reached vapour pressure.
    Boils {
        /// Index of the node.
        node: usize,
    },
    /// The vapour at a node collapsed.
    Collapsed {
        /// Index of the node.
        node: usize,
    },
    /// A pump came to rest.
    PumpStopped {
        /// Index of the pump.
        pump: usize,
    },
    /// A pump began to turn.
    PumpStarted {
        /// Index of the pump.
        pump: usize,
    },
    /// A pot or tank is used up.
    RanDry {
        /// Index of the end.
        end: usize,
    },
    /// The manifold of a followed intake rose above ambient pressure.
    IntoBoost,
    /// It fell below.
    OutOfBoost,
    /// The condition that ends the run was met.
    Until,
    /// A corner of an imposed track.
    Corner,
}

impl EventKind {
    /// What happened, in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::Commanded { .. } => "commanded open",
            Self::Opened { .. } => "opened",
            Self::Closed { .. } => "closed",
            Self::OutsideDeadTime { .. } => "asked outside its dead-time table",
            Self::CheckShut { .. } => "check valve shut",
            Self::CheckOpened { .. } => "check valve opened",
            Self::PoppetSeated { .. } => "poppet came to its seat",
            Self::PoppetFullLift { .. } => "poppet came to full lift",
            Self::PoppetStuck { .. } => "poppet held by friction",
            Self::PoppetMoved { .. } => "poppet moved",
            Self::Boils { .. } => "reached vapour pressure",
            Self::Collapsed { .. } => "vapour collapsed",
            Self::PumpStopped { .. } => "pump stopped",
            Self::PumpStarted { .. } => "pump started",
            Self::RanDry { .. } => "ran dry",
            Self::IntoBoost => "rose above ambient pressure",
            Self::OutOfBoost => "fell below ambient pressure",
            Self::Until => "the condition was met",
            Self::Corner => "what is imposed changed its course",
        }
    }
}

/// A sudden thing with its time, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// Time, s.
    pub t: f64,
    /// What happened.
    pub kind: EventKind,
}
