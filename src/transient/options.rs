//! How a run in time is made.

use super::behind::Behind;

/// Which method steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stepper {
    /// Exponential where it pays: without dry friction, coils that are followed and waves, and with few states; else Tsit5.
    Automatic,
    /// Exponential: steps from one edge to the next where the circuit is nearly linear.
    Exponential,
    /// Explicit: small steps, cheap events.
    Tsit5,
    /// Implicit, for stiff variants and as a second opinion.
    Rodas4,
}

/// How a run in time is made. What a build does not say stands here, with its basis; where the build has a key of the
/// same name (`rail_volume`, `damper`, `return_chamber`, `wall_loss`, `closing_delay`) and says it, the build's holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Tolerance: 1 holds the rail within 50 Pa and injected volumes within 1e-5, on the demo car through all that
    /// [`Schedule`](crate::schedule::Schedule) has by name (`tests/transient_default.rs`); smaller is finer. The exponential
    /// method, asked for where it would not be chosen, may be 100 Pa off as a throttle snaps open. Where dry friction decides
    /// at each pulse whether a poppet moves that has next to nothing to pass (that car's own pull, near 5700 rev/min), a run may
    /// be some kilopascals off for a while, and where a circuit swings by itself ([`modes`](super::modes) tells) any error
    /// grows: run it again at a tenth and see what stays.
    pub tolerance: f64,
    /// The method.
    pub stepper: Stepper,
    /// Interval of the recorded channels, s.
    pub sample: f64,
    /// Time spent at the first operating point before the record begins, s.
    pub warm_up: f64,
    /// Longest piece of line taken as one lump, m.
    pub lump: f64,
    /// Longest reach of a line carried with waves, m; a step of its grid is one reach at the wave speed.
    pub reach: f64,
    /// Volume of the junction that feeds the injectors, m³ (60 cm³, common practice, no source).
    pub rail_volume: f64,
    /// Volume of every other junction, m³ (10 cm³, assumed).
    pub junction_volume: f64,
    /// Compliance of a pulsation damper at the rail, m³/Pa (2 mm³/kPa, assumed; 0 for none).
    pub damper: f64,
    /// Volume behind a regulator's poppet, m³ (5 cm³, assumed).
    pub return_chamber: f64,
    /// Loss tangent of the hose wall at 30 Hz, near the first modes of metre-long hoses (rubber 0.1-0.3, from memory).
    pub wall_loss: f64,
    /// How long an injector stays open after its pulse, s (0.3 ms, assumed; the dead time is opening less closing delay).
    pub closing_delay: f64,
    /// Damping and moving mass of the poppets, N·s/m and kg; the build's own when left out.
    pub poppet: Option<(f64, f64)>,
    /// Whether dry friction of the poppets acts.
    pub dry_friction: bool,
    /// What the injectors spray against.
    pub behind: Behind,
    /// Crank angle after firing top dead centre at which each pulse begins, rad.
    pub injection_begins: f64,
    /// Most steps before the run is given up.
    pub max_steps: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            tolerance: 1.0,
            stepper: Stepper::Automatic,
            sample: 2e-4,
            warm_up: 0.5,
            lump: 1.1,
            reach: 0.1,
            rail_volume: 6e-5,
            junction_volume: 1e-5,
            damper: 2e-12,
            return_chamber: 5e-6,
            wall_loss: 0.3,
            closing_delay: 3e-4,
            poppet: None,
            dry_friction: true,
            behind: Behind::Manifold,
            injection_begins: 0.0,
            max_steps: 50_000_000,
        }
    }
}
