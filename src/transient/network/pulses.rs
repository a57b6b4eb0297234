//! When each injector is commanded, opens and closes.

use super::describe::{Belief, Difference, InjectorUnit, Net};
use crate::schedule::CrankClock;
use std::f64::consts::PI;

/// The state of one injector's driver and needle; where a coil is followed, open means switched on.
#[derive(Clone, Copy, Debug, Default)]
struct Needle {
    open: bool,
    opens_at: f64,
    closes_at: f64,
    next_command: f64,
}

/// All injectors.
#[derive(Clone, Debug, Default)]
pub(super) struct Pulses {
    needles: Vec<Needle>,
    pub next: f64,
}

/// What happened at an event.
pub(super) enum Change {
    Commanded(usize, f64, bool),
    Opened(usize),
    Closed(usize),
}

const CYCLE: f64 = 4.0 * PI;

impl Pulses {
    pub fn new(net: &Net, clock: &CrankClock, t: f64) -> Self {
        let needles = net
            .injectors
            .iter()
            .map(|i| Needle {
                open: false,
                opens_at: f64::INFINITY,
                closes_at: f64::INFINITY,
                next_command: if net.belief == Belief::Off {
                    f64::INFINITY
                } else {
                    next_command(clock, i, t, true)
                },
            })
            .collect();
        let mut pulses = Self { needles, next: f64::INFINITY };
        pulses.plan();
        pulses
    }

    #[inline]
    pub fn is_open(&self, injector: usize) -> bool {
        self.needles[injector].open
    }

    /// Handles what falls on this time. `manifold` is its absolute pressure, `seen` gives the measured difference of an
    /// injector.
    pub fn at(
        &mut self,
        t: f64,
        net: &Net,
        clock: &CrankClock,
        manifold: f64,
        seen: impl Fn(usize) -> f64,
        mut tell: impl FnMut(Change),
    ) {
        for (k, unit) in net.injectors.iter().enumerate() {
            let n = &mut self.needles[k];
            if n.closes_at <= t {
                n.open = false;
                n.closes_at = f64::INFINITY;
                if unit.coil.is_none() {
                    tell(Change::Closed(k));
                }
            }
            if n.opens_at <= t {
                n.open = true;
                n.opens_at = f64::INFINITY;
                tell(Change::Opened(k));
            }
            if n.next_command <= t {
                let dp = seen(k);
                let cycle = CYCLE / clock.speed(t).max(1e-9);
                let (width, dead, outside) = command(net, unit, t, (manifold, dp));
                n.next_command = next_command(clock, unit, t, false);
                if width > 0.0 && unit.coil.is_some() {
                    tell(Change::Commanded(k, width, outside));
                    n.open = true;
                    // One that is never switched off stays on into the next pulse.
                    let last = if width >= cycle { cycle * (1.0 + 1e-9) } else { width };
                    n.closes_at = t + last;
                } else if width > 0.0 {
                    tell(Change::Commanded(k, width, outside));
                    let until = if width >= cycle {
                        // Static: it stays open into the next pulse.
                        t + cycle * (1.0 + 1e-9) + dead
                    } else {
                        let open = (width - dead).max(0.0);
                        let x = if unit.short_pulse > 0.0 { (open / unit.short_pulse).min(1.0) } else { 1.0 };
                        // Ballistic needle: the open time shrinks as x (2 - x).
                        let effective = open * x * (2.0 - x);
                        t + dead + unit.closing_delay + effective
                    };
                    let opens = t + dead + unit.closing_delay;
                    if n.open {
                        n.closes_at = n.closes_at.max(until);
                    } else if until > opens {
                        n.opens_at = opens;
                        n.closes_at = until;
                    }
                }
            }
        }
        self.plan();
    }

    fn plan(&mut self) {
        self.next = self
            .needles
            .iter()
            .flat_map(|n| [n.opens_at, n.closes_at, n.next_command])
            .fold(f64::INFINITY, f64::min);
    }
}

/// The next time at which an injector's pulse begins.
fn next_command(clock: &CrankClock, unit: &InjectorUnit, t: f64, here_too: bool) -> f64 {
    let past = clock.angle(t) - unit.begins;
    let hair = if here_too { -1e-9 } else { 1e-9 };
    let turns = ((past + hair) / CYCLE).floor() + 1.0;
    match clock.time_of(unit.begins + turns * CYCLE) {
        Some(at) if here_too => at.max(t),
        Some(at) if at > t => at,
        _ => f64::INFINITY,
    }
}

/// Pulse width, dead time, s, and whether its table was left.
fn command(net: &Net, unit: &InjectorUnit, t: f64, (manifold, dp): (f64, f64)) -> (f64, f64, bool) {
    let volts = net.supply.at(t);
    let (dead, outside) = unit.dead_time.at_edge(volts, dp);
    let width = match &net.belief {
        Belief::Off => 0.0,
        Belief::Width(w) => w.at(t),
        Belief::Mass { mass, coefficient, difference, dead_time_error } => {
            let believed = match difference {
                Difference::Constant(d) => *d,
                Difference::BaseLessManifold(base) => base - (manifold - net.ambient),
                Difference::Measured => dp,
            };
            let (table, _) = unit.dead_time.at_edge(volts, believed);
            mass.at(t) / (coefficient * believed.max(1.0).sqrt()) + table + dead_time_error
        }
    };
    (width, dead, outside.is_some())
}
