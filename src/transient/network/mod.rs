//! A fuel circuit in time: nodes that store, branches that carry, and the parts that act between them.
//!
//! | state | law |
//! |---|---|
//! | node pressure | `C dp/dt = ΣQ - Σ A v`, never felt below vapour pressure; `A v`: room that a diaphragm makes |
//! | branch flow | `I dQ/dt = Δp + rise - losses(Q)`; a shut check valve holds it at zero |
//! | pump | back electromotive force `E = K ω`: `dE/dt = K²/J (I - I_load)` |
//! | regulator | poppet lift and speed between its stops, dry friction, reference lag |
//! | intake | boost in the charge pipe `dp/dt = (p_asked - p)/τ`, air in the manifold `dm/dt = ṁ_in - ṁ_engine`, in through a throttle or as it is held; air come in and taken |
//! | injector | volume passed since the start; where followed, current of its coil, lift and speed of its needle |
//! | line with waves | volume taken up; what travels along it stands on a grid of its own |
//! | end of given pressure | volume received since the start |
//!
//! A poppet of lift x makes room (A_d - A_s) x on its fuel side and A_s x on its return side, as a single-stage relief
//! valve does (H. E. Merritt, Hydraulic Control Systems, on single-stage pressure control valves, from memory): what
//! the fuel's pressure does on the diaphragm is taken out of the fuel, so the two cannot feed each other. Left out, the
//! poppet swings by itself unless damping times rate exceeds mass times area times flow gain over compliance (Routh).
//!
//! A branch carries its filter, check valve, fittings and pump in series with the inertance of its line, so the
//! check valve needs no small volume beside it: the stiffest node of such a network is not there at all.

mod describe;
mod event;
mod hydraulics;
mod pulses;
mod system;
mod validate;

pub use describe::{
    Back, BadNet, Belief, Branch, Check, Difference, End, Fluid, Hose, InjectorUnit, Intake, Limit, Net,
    Node, Place, Plate, PumpUnit, RegulatorUnit, Tap, Trace, WaveLine,
};
pub use event::{Event, EventKind};
pub use hydraulics::{PumpCurve, PumpLaw};
pub use system::{NetSystem, Poppet, states};
