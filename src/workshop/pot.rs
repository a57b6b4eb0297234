//! A surge pot and how long it lasts.

use super::Reading;
use super::measure::{Time, Volume, VolumeRate, l_per_h};
use crate::chart::{Axis, Series, Sweep};
use crate::part::surge_pot::{Return, net_outflow, time_to_empty};
use crate::quantity::Shown;

/// A surge pot, full, with a lift pump that fills it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pot {
    usable: Volume,
    lift: VolumeRate,
    back: Return,
}

/// A surge pot of this usable volume: return to the pot, lift pump dead until [`Pot::lift`] says otherwise.
#[must_use]
pub fn surge_pot(usable: Volume) -> Pot {
    Pot { usable, lift: l_per_h(0.0), back: Return::ToPot }
}

/// Longest time drawn, s.
const LONGEST: f64 = 120.0;

impl Pot {
    /// The same pot with a lift pump of this flow.
    #[must_use]
    pub fn lift(mut self, flow: VolumeRate) -> Self {
        self.lift = flow;
        self
    }

    /// The same pot with the regulator's return led back into it.
    #[must_use]
    pub fn return_to_pot(mut self) -> Self {
        self.back = Return::ToPot;
        self
    }

    /// The same pot with the regulator's return led to the main tank.
    #[must_use]
    pub fn return_to_tank(mut self) -> Self {
        self.back = Return::ToTank;
        self
    }

    /// Time until it is empty while the car does what this reading says; nothing when it never is.
    #[must_use]
    pub fn empty_after(self, reading: &Reading) -> Option<Time> {
        let net = net_outflow(
            self.back,
            reading.engine_flow().quantity(),
            reading.pump_flow().quantity(),
            self.lift.quantity(),
        );
        time_to_empty(self.usable.quantity(), net).map(Time::from)
    }

    /// Time until it is empty over the lift pump's flow, for both routes of the return, drawn up to two minutes. A
    /// lift pump that keeps up gives no point.
    #[must_use]
    pub fn lasting(self, reading: &Reading, up_to: VolumeRate) -> Sweep {
        let top = up_to.quantity().value;
        let curve = |name: &str, pot: Pot| {
            let (mut x, mut y) = (Vec::new(), Vec::new());
            for i in 0..=160 {
                let lift = top * f64::from(i) / 160.0;
                let lasts = pot.lift(VolumeRate::from(crate::quantity::m3_per_s(lift))).empty_after(reading);
                // The first point beyond the picture too, so that the curve leaves it instead of ending inside.
                if let Some(t) = lasts
                    && y.last().is_none_or(|last| *last <= LONGEST)
                {
                    x.push(lift * 3.6e6);
                    y.push(t.quantity().value);
                }
            }
            Series::new(name, x, y)
        };
        let (burns, moves) = (reading.engine_flow().quantity().value, reading.pump_flow().quantity().value);
        let mut chart = Sweep::new(
            "How long a full pot lasts",
            Axis::new("flow of the lift pump", "L/h"),
            Axis::new("time until empty", "s"),
        )
        .subtitle(reading.point().build.as_str())
        .curve(curve("return to the pot", self.return_to_pot()))
        .curve(curve("return to the tank", self.return_to_tank()))
        .x_range(0.0, top * 3.6e6)
        .y_range(0.0, LONGEST);
        for (flow, what) in [(burns, "engine burns"), (moves, "pumps move")] {
            if flow <= top {
                chart =
                    chart.at(flow * 3.6e6, &format!("{what} {}", crate::quantity::m3_per_s(flow).amount()));
            }
        }
        chart
    }
}
