//! Wiring: what the supply loses on its way to the pump and back.
//!
//! A loop has two sides: the feed (battery to pump) and the ground (pump to battery). Each piece on a side
//! has a resistance; [`Loop::drops`] gives the volts and watts of every piece, as a meter across it reads.
//!
//! ```
//! use railrise::part::wiring::*;
//! use railrise::quantity::*;
//! let wire = copper_wire_resistance(m(4.0), awg_area(14), degc(60.0));
//! let feed = Loop::new()
//!     .with("feed wire", Side::Feed, wire)
//!     .with("relay", Side::Feed, milliohms(45.0)) // burnt contacts
//!     .with("ground bolt", Side::Ground, milliohms(1.0));
//! let drops = feed.drops(amps(12.0));
//! assert!(drops[1].drop > volts(0.5)); // the relay alone takes all that the whole loop may
//! ```

mod copper;

pub use copper::*;

use crate::quantity::{Current, Power, Resistance, Voltage, milliohms};

/// Cold resistance of a closed relay contact, 5 mΩ: common practice, no source. A worn one has tens.
#[must_use]
pub fn relay_contact_typical() -> Resistance {
    milliohms(5.0)
}

/// Resistance of a crimped blade connection, 2 mΩ a pair: common practice, no source.
#[must_use]
pub fn crimp_typical() -> Resistance {
    milliohms(2.0)
}

/// Resistance of a bolted ground, 1 mΩ on clean metal: common practice, no source. Paint or rust gives
/// hundreds.
#[must_use]
pub fn ground_bolt_typical() -> Resistance {
    milliohms(1.0)
}

/// Cold resistance of a blade fuse.
///
/// # Formula
/// `R ≈ 75 mV/I_n`
///
/// # Symbols
/// `I_n` rating, A.
///
/// # Valid range
/// 5 to 30 A. Warm, near its rating, it has up to half as much again.
///
/// # Source
/// Common practice, no source.
#[must_use]
pub fn fuse_typical(rating: Current) -> Resistance {
    crate::quantity::volts(0.075) / rating
}

/// Which way the current runs in a piece of the loop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Side {
    /// From the battery to the pump.
    Feed,
    /// From the pump back to the battery.
    Ground,
}

/// A piece of the loop: a wire, a fuse, a relay, a contact.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// What it is called in reports.
    pub name: String,
    /// Which side it is on.
    pub side: Side,
    /// Its resistance as it is now: warm, worn.
    pub resistance: Resistance,
}

/// What a piece costs at a current.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceDrop {
    /// What it is called.
    pub name: String,
    /// Which side it is on.
    pub side: Side,
    /// Volts across it.
    pub drop: Voltage,
    /// Heat in it.
    pub heat: Power,
}

/// All that lies in series between the battery's posts and the pump's terminals.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Loop {
    /// In order along the current.
    pub pieces: Vec<Piece>,
}

impl Loop {
    /// An empty loop: the pump sits on the battery's posts.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The loop with one more piece.
    #[must_use]
    pub fn with(mut self, name: &str, side: Side, resistance: Resistance) -> Self {
        self.pieces.push(Piece { name: name.to_owned(), side, resistance });
        self
    }

    /// Resistance of both sides.
    #[must_use]
    pub fn resistance(&self) -> Resistance {
        self.pieces.iter().fold(milliohms(0.0), |sum, p| sum + p.resistance)
    }

    /// Resistance of one side.
    #[must_use]
    pub fn side_resistance(&self, side: Side) -> Resistance {
        self.pieces.iter().filter(|p| p.side == side).fold(milliohms(0.0), |sum, p| sum + p.resistance)
    }

    /// Volts lost on one side, as a meter from battery post to pump terminal reads *under load*.
    #[must_use]
    pub fn side_drop(&self, side: Side, current: Current) -> Voltage {
        voltage_drop(self.side_resistance(side), current)
    }

    /// What each piece costs at this current.
    #[must_use]
    pub fn drops(&self, current: Current) -> Vec<PieceDrop> {
        self.pieces
            .iter()
            .map(|p| PieceDrop {
                name: p.name.clone(),
                side: p.side,
                drop: voltage_drop(p.resistance, current),
                heat: contact_heating(p.resistance, current),
            })
            .collect()
    }
}

/// Voltage lost in a resistance.
///
/// # Formula
/// `V = R I`
///
/// # Symbols
/// `R` resistance, Ω; `I` current, A.
///
/// # Valid range
/// Any. For the whole loop at most 0.5 V (common practice, no source).
///
/// # Source
/// Ohm's law.
#[must_use]
pub fn voltage_drop(resistance: Resistance, current: Current) -> Voltage {
    resistance * current
}

/// Heat in a resistance.
///
/// # Formula
/// `P = R I²`
///
/// # Symbols
/// `R` resistance, Ω; `I` current, A.
///
/// # Valid range
/// Any. **Caution:** a few watts in one push-on contact melt its housing, and it sits near fuel. Find and mend
/// the contact; never fit a larger fuse.
///
/// # Source
/// Joule.
#[must_use]
pub fn contact_heating(resistance: Resistance, current: Current) -> Power {
    resistance * current * current
}

/// Share of its rating at which a blade fuse is used without end: 0.75. Common practice, no source.
pub const FUSE_CONTINUOUS_SHARE: f64 = 0.75;

/// How much current is left under a fuse.
///
/// # Formula
/// `m = s I_n/I − 1`
///
/// # Symbols
/// `I_n` rating, A; `s` [`FUSE_CONTINUOUS_SHARE`], 1; `I` running current, A. Negative: the fuse will tire
/// and open.
///
/// # Valid range
/// `I > 0`; starting current is not covered. **Caution:** the fuse protects the *wire*: a larger one needs a larger
/// wire all the way.
///
/// # Source
/// Common practice, no source.
#[must_use]
pub fn fuse_margin(rating: Current, running: Current) -> f64 {
    FUSE_CONTINUOUS_SHARE * (rating / running).value - 1.0
}
