//! The parts of a leg as the solver sees them.

use crate::build::Wire;
use crate::part::check_valve::CLOSED_SLOPE;
use crate::part::filter::Filter;
use crate::part::injector::{Injector, LowPulse, ShortPulse};
use crate::part::line::Line;
use crate::part::pump::{Pump, Running};
use crate::part::regulator::{Regulator, Seat};
use crate::part::{check_valve::CheckValve, orifice};
use crate::quantity::STANDARD_GRAVITY;
use std::sync::Arc;

/// What the circuit is in at one operating point; all pressures absolute, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Surroundings {
    pub rho: f64,
    pub mu: f64,
    pub vapour: f64,
    pub supply: f64,
    pub manifold: f64,
    pub boost: f64,
    /// What a test puts on the regulator's own port, absolute.
    pub imposed_reference: Option<f64>,
    pub ambient: f64,
}

/// One part along a leg.
#[derive(Clone, Debug)]
pub(super) enum Element {
    Strainer { filter: Filter, head: f64 },
    Line(Line),
    Filter(Filter),
    Check { valve: CheckValve, shut: f64 },
    Orifice { cd_a: f64 },
    Relief { opens_at: f64, slope: f64 },
    Pump(Box<PumpOnWire>),
    Regulator(Box<ReferencedRegulator>),
    Injectors(Box<InjectorSet>),
}

/// A pump, its wire and when it runs.
#[derive(Clone, Debug)]
pub(super) struct PumpOnWire {
    pub pump: Pump,
    pub wire: Wire,
    /// Boost (gauge, Pa) above which a staged pump runs.
    pub on_above: Option<f64>,
    /// Held back by the control so that the rail keeps its target.
    pub controlled: bool,
    /// Voltage that the control holds it to.
    pub held_to: Option<f64>,
}

/// A regulator and what its reference port feels.
#[derive(Clone, Debug)]
pub(super) struct ReferencedRegulator {
    pub regulator: Regulator,
    pub port: Port,
    /// Part of the signal lost by a split hose.
    pub leak: f64,
}

/// What the reference port is joined to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Port {
    Manifold,
    Air,
    /// Before the compressor: below the ambient by the intake's loss while the compressor draws.
    Intake(f64),
    /// After the compressor, before the throttle: boost, but no vacuum.
    ChargePipe,
}

/// A set of injectors with the pulse that the control unit commands.
#[derive(Clone, Debug)]
pub(super) struct InjectorSet {
    pub injector: Arc<Injector>,
    pub count: f64,
    /// What short pulses truly deliver.
    pub short_pulse: ShortPulse,
    /// What the calibration believes they do, if it has a table.
    pub believed_short: Option<LowPulse>,
    /// Area of the seat leak times its coefficient, m².
    pub leak_cd_a: f64,
    pub pulse: Pulse,
}

/// How the pulse follows from belief.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Pulse {
    /// Engine at rest.
    Off,
    /// A fixed pulse, s, once a cycle of this length, s.
    Fixed { pulse: f64, cycle: f64 },
    /// Computed from the measured difference: mass each, believed coefficient (kg/s per sqrt(Pa)), dead-time error.
    Measured { mass: f64, coefficient: f64, dead_time_error: f64, cycle: f64 },
}

impl PumpOnWire {
    pub fn runs(&self, s: &Surroundings) -> bool {
        self.on_above.is_none_or(|p| s.boost > p)
    }

    /// Flow against a rise, its change with the rise and with the inlet pressure.
    pub fn against(&self, rise: f64, p_in: f64, s: &Surroundings) -> (f64, f64, f64) {
        let supply = self.held_to.unwrap_or(s.supply);
        self.pump.flow_against(rise, supply, self.wire.total(), s.mu, p_in - s.vapour)
    }

    pub fn at(&self, q: f64, p_in: f64, s: &Surroundings) -> Running {
        self.pump.at_flow(q, self.held_to.unwrap_or(s.supply), self.wire.total(), s.mu, p_in - s.vapour)
    }
}

impl Port {
    /// Absolute pressure there.
    pub fn pressure(self, s: &Surroundings) -> f64 {
        match self {
            Self::Manifold => s.manifold,
            Self::Air => s.ambient,
            Self::Intake(loss) if s.boost > 0.0 => s.ambient - loss,
            Self::Intake(_) => s.ambient,
            Self::ChargePipe => s.manifold.max(s.ambient),
        }
    }
}

impl ReferencedRegulator {
    /// Absolute pressure at the reference port. What a test puts on the port stands whatever the hose does.
    pub fn reference(&self, s: &Surroundings) -> f64 {
        if let Some(p) = s.imposed_reference {
            return p;
        }
        s.ambient + (self.port.pressure(s) - s.ambient) * (1.0 - self.leak)
    }

    pub fn at(&self, q: f64, p_out: f64, s: &Surroundings) -> Seat {
        self.regulator.at_flow(q, s.rho, p_out, self.reference(s))
    }
}

impl InjectorSet {
    /// Pulse width commanded at this difference, s, not longer than the cycle.
    pub fn pulse_width(&self, dp: f64, supply: f64) -> f64 {
        match self.pulse {
            Pulse::Off => 0.0,
            Pulse::Fixed { pulse, cycle } => pulse.min(cycle),
            Pulse::Measured { mass, coefficient, dead_time_error, cycle } => {
                let (dead, _) = self.injector.dead_time.at_edge(supply, dp);
                let flow = coefficient * dp.max(1.0).sqrt();
                let open = mass / flow;
                let effective = self.believed_short.as_ref().map_or(open, |t| t.effective_for(open));
                (effective + dead + dead_time_error).min(cycle)
            }
        }
    }

    pub fn cycle(&self) -> f64 {
        match self.pulse {
            Pulse::Off => f64::INFINITY,
            Pulse::Fixed { cycle, .. } | Pulse::Measured { cycle, .. } => cycle,
        }
    }

    /// Time the valve is effectively open at this difference, s: see [`ShortPulse::open_time`].
    pub fn open_time(&self, dp: f64, supply: f64) -> f64 {
        let (dead, _) = self.injector.dead_time.at_edge(supply, dp);
        self.short_pulse.open_time(self.pulse_width(dp, supply), dead, self.cycle())
    }

    /// What the seats of all leak at a difference, open or not.
    pub fn leak(&self, dp: f64, s: &Surroundings) -> f64 {
        orifice::flow(dp, self.leak_cd_a.max(1e-18), s.rho, orifice::DP_SMALL).0
    }

    /// Mean flow of all injectors at a difference.
    pub fn flow(&self, dp: f64, s: &Surroundings) -> f64 {
        let leak = self.leak(dp, s);
        let cycle = self.cycle();
        let (each, _) = self.injector.static_volume_flow(dp, s.rho);
        let pulsed =
            if cycle.is_finite() { self.count * each * self.open_time(dp, s.supply) / cycle } else { 0.0 };
        pulsed + leak
    }

    /// Flow and its slope.
    pub fn flow_with_slope(&self, dp: f64, s: &Surroundings) -> (f64, f64) {
        let q = self.flow(dp, s);
        let h = (1e-6 * dp.abs()).max(1e-2);
        let slope = (self.flow(dp + h, s) - self.flow(dp - h, s)) / (2.0 * h);
        (q, slope)
    }
}

impl Element {
    /// Pressure drop along a passive part or pump at flow `q` from inlet pressure `p_in`:
    /// drop, change with flow, change with inlet pressure.
    pub fn drop(&self, q: f64, p_in: f64, s: &Surroundings) -> (f64, f64, f64) {
        match self {
            Self::Strainer { filter, head } => {
                let (d, slope) = filter.drop(q, s.rho, s.mu);
                (d - s.rho * STANDARD_GRAVITY * head, slope, 0.0)
            }
            Self::Line(line) => with_zero(line.drop(q, s.rho, s.mu)),
            Self::Filter(filter) => with_zero(filter.drop(q, s.rho, s.mu)),
            Self::Check { valve, shut } => {
                if q > 0.0 || *shut >= CLOSED_SLOPE {
                    with_zero(valve.drop(q, s.rho))
                } else {
                    (valve.cracking + shut * q, *shut, 0.0)
                }
            }
            Self::Orifice { cd_a } => with_zero(orifice::drop(q, *cd_a, s.rho, orifice::DP_SMALL)),
            Self::Relief { opens_at, slope } => {
                if q > 0.0 {
                    (opens_at + slope * q, *slope, 0.0)
                } else {
                    (opens_at + CLOSED_SLOPE * q, CLOSED_SLOPE, 0.0)
                }
            }
            Self::Pump(p) => {
                if p.runs(s) {
                    let r = p.at(q, p_in, s);
                    (-r.rise, -r.slope, -r.by_inlet)
                } else {
                    (CLOSED_SLOPE * q, CLOSED_SLOPE, 0.0) // a stopped element holds
                }
            }
            Self::Regulator(_) | Self::Injectors(_) => unreachable!("marched by their legs"),
        }
    }

    /// Whether it lets fuel pass one way only.
    pub fn one_way(&self) -> bool {
        matches!(self, Self::Check { .. } | Self::Relief { .. } | Self::Regulator(_))
    }
}

fn with_zero((a, b): (f64, f64)) -> (f64, f64, f64) {
    (a, b, 0.0)
}
