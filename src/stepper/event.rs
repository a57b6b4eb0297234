//! Events: what crossed, and what happens next.

/// A root function that changed sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Crossing {
    /// Index of the root function.
    pub root: usize,
    /// True when it went from negative to positive.
    pub rising: bool,
}

/// What a system asks for once it has handled an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum After {
    /// Nothing changed: carry on as if the event were a mark on the ruler.
    Continue,
    /// The right-hand side or the state jumped: begin afresh from here.
    Restart,
    /// End the run here.
    Stop,
}
