//! Surge pot: a small tank that the main pump draws from and a lift pump fills.

use crate::quantity::{Time, Volume, VolumeRate, m3_per_s};

/// Where the regulator's return goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Return {
    /// Back into the pot: only what the engine burns leaves it (and the return warms and aerates it).
    ToPot,
    /// Back to the main tank: all that the main pump moves leaves the pot.
    ToTank,
}

/// Rate at which the pot's level falls; negative when it fills (and spills over to the tank once full).
///
/// # Formula
/// Return to the pot: `Q_e − Q_lift`; to the tank: `Q_p − Q_lift`
///
/// # Symbols
/// `Q_e` engine demand, m³/s; `Q_p` main pump's flow, m³/s; `Q_lift` lift pump's flow, m³/s.
///
/// # Valid range
/// Vapour and aeration not counted.
///
/// # Source
/// Volume balance of the pot.
#[must_use]
pub fn net_outflow(back: Return, demand: VolumeRate, pump: VolumeRate, lift: VolumeRate) -> VolumeRate {
    match back {
        Return::ToPot => demand - lift,
        Return::ToTank => pump - lift,
    }
}

/// Time until a pot is empty, if it empties.
///
/// # Formula
/// `t = V/Q_net`
///
/// # Symbols
/// `V` fuel in the pot above its pick-up, m³; `Q_net` [`net_outflow`], m³/s.
///
/// # Valid range
/// `None` when the lift pump keeps up: it never empties. **Caution:** a pot that runs dry under load leans the engine
/// out within a turn; stop the pull before it.
///
/// # Example
/// ```
/// use railrise::part::surge_pot::{Return, net_outflow, time_to_empty};
/// use railrise::quantity::*;
/// // Lift pump dead, 127 L/h burnt, return back into a 1 L pot: 28 s.
/// let net = net_outflow(Return::ToPot, l_per_h(127.0), l_per_h(200.0), l_per_h(0.0));
/// let dry = time_to_empty(litres(1.0), net).expect("it empties");
/// assert!((dry.value - 28.35).abs() < 0.01);
/// ```
///
/// # Source
/// Volume balance.
#[must_use]
pub fn time_to_empty(usable: Volume, net: VolumeRate) -> Option<Time> {
    (net > m3_per_s(0.0)).then(|| usable / net)
}
