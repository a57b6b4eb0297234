//! What a study asks of a point, by the names of [`super::super::Point::channels`].

use super::super::point::Point;
use super::ask::{Ask, Setting};
use super::columns::{Car, Row};
use super::law::{Work, inject, leg, pump, seep, series_near};
use super::math::{max, min};
use super::newton::{LAST_LEVEL, State};
use super::reduced::{Layout, LegLayout, Reduced};
use crate::error::{Error, Kind, Result};
use crate::part::regulator::Mode;

/// A figure of an operating point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Output {
    Speed,
    Boost,
    Manifold,
    Supply,
    Rail,
    Difference,
    PumpFlow,
    EngineFlow,
    ReturnFlow,
    PumpCurrent,
    PumpVoltage,
    Asked,
    Air,
    Charge,
    Lambda,
    WorstLambda,
    TargetLambda,
    Pulse,
    Duty,
    Headroom,
    RegulatorMode,
    Lift,
    ReturnPressure,
    LegFlow(usize),
    LegRise(usize),
    LegCurrent(usize),
    LegVoltage(usize),
    InletMargin(usize),
    WiringDrop(usize),
}

const FIXED: [(&str, Output); 21] = [
    ("speed", Output::Speed),
    ("boost", Output::Boost),
    ("manifold pressure", Output::Manifold),
    ("supply voltage", Output::Supply),
    ("rail pressure", Output::Rail),
    ("differential pressure", Output::Difference),
    ("pump flow", Output::PumpFlow),
    ("engine flow", Output::EngineFlow),
    ("return flow", Output::ReturnFlow),
    ("pump current", Output::PumpCurrent),
    ("pump voltage", Output::PumpVoltage),
    ("asked flow", Output::Asked),
    ("air flow", Output::Air),
    ("charge temperature", Output::Charge),
    ("lambda", Output::Lambda),
    ("worst lambda", Output::WorstLambda),
    ("target lambda", Output::TargetLambda),
    ("pulse width", Output::Pulse),
    ("duty", Output::Duty),
    // Beside the channels of a point: headroom of the supply, and the regulator's mode as 0 shut, 1 in control, 2 at
    // its stop.
    ("supply headroom", Output::Headroom),
    ("regulator mode", Output::RegulatorMode),
];

impl Output {
    pub fn of(reduced: &Reduced, name: &str) -> Result<Self> {
        let lay = &reduced.layout;
        let mut known: Vec<(String, Output)> = FIXED.iter().map(|(n, o)| ((*n).to_owned(), *o)).collect();
        for (k, l) in lay.legs.iter().enumerate() {
            for (what, o) in [
                ("flow", Output::LegFlow(k)),
                ("rise", Output::LegRise(k)),
                ("current", Output::LegCurrent(k)),
                ("voltage", Output::LegVoltage(k)),
                ("inlet margin", Output::InletMargin(k)),
                ("wiring drop", Output::WiringDrop(k)),
            ] {
                known.push((format!("{} {what}", l.pump), o));
            }
        }
        known.push((format!("{} lift", lay.regulator), Output::Lift));
        known.push((format!("{} return pressure", lay.regulator), Output::ReturnPressure));
        known.iter().find(|(n, _)| n == name).map(|(_, o)| *o).ok_or_else(|| {
            let names: Vec<&str> = known.iter().map(|(n, _)| n.as_str()).collect();
            Error::new(Kind::Unknown, format!("the fast form does not give \"{name}\"")).next(format!(
                "{}it gives: {}",
                crate::error::did_you_mean(name, names.iter().copied()),
                names.join(", ")
            ))
        })
    }

    /// The same from a point of the general solver.
    pub fn at_point(self, name: &str, p: &Point, build: &crate::build::Build) -> Result<f64> {
        Ok(match self {
            Self::Headroom => super::super::headroom(build, &p.operating)?,
            Self::RegulatorMode => p.regulators.first().map_or(f64::NAN, |r| match r.mode {
                Mode::Closed => 0.0,
                Mode::Control => 1.0,
                Mode::FullLift => 2.0,
                Mode::HeldOpen => 3.0,
            }),
            _ => p.channels().get(name).map_or(f64::NAN, |a| a.si),
        })
    }

    fn needs_pumps(self) -> bool {
        matches!(
            self,
            Self::PumpCurrent
                | Self::PumpVoltage
                | Self::LegRise(_)
                | Self::LegCurrent(_)
                | Self::LegVoltage(_)
                | Self::WiringDrop(_)
        )
    }
}

/// What is read out of solved lanes.
pub(super) struct Reading<'a, const W: usize> {
    pub lay: &'a Layout,
    pub car: &'a Car<W>,
    pub ask: &'a Ask<W>,
    pub set: &'a Setting,
    pub state: &'a State<W>,
}

impl<const W: usize> Reading<'_, W> {
    /// Writes the asked figures, one column each.
    #[inline(always)]
    pub fn write(&self, outputs: &[Output], to: &mut [Row<W>]) {
        let Self { lay, car, ask, set, state } = *self;
        let n = lay.legs.len();
        let mut works: [Option<Work<W>>; super::columns::MAX_LEGS] =
            [const { None }; super::columns::MAX_LEGS];
        if outputs.iter().any(|o| o.needs_pumps()) {
            for k in 0..n {
                works[k] = Some(self.work(k, &lay.legs[k]));
            }
        }
        let mut dp = Row::<W>::of(0.0);
        for i in 0..W {
            dp[i] = state.rail[i] - ask.manifold[i];
        }
        let work = |k: usize| works[k].as_ref().expect("asked for above");
        for (o, to) in outputs.iter().zip(to) {
            match *o {
                Output::Speed => *to = Row::<W>::of(set.op.speed),
                Output::Boost => *to = Row::<W>::of(set.op.boost),
                Output::Manifold => *to = ask.manifold,
                Output::Supply => *to = ask.volts,
                Output::Rail => {
                    for i in 0..W {
                        to[i] = state.rail[i] - car.ambient[i];
                    }
                }
                Output::Difference => *to = dp,
                Output::PumpFlow => {
                    *to = Row::<W>::of(0.0);
                    for k in 0..n {
                        for i in 0..W {
                            to[i] += max(state.q[k][i], 0.0);
                        }
                    }
                }
                Output::EngineFlow => *to = state.injected,
                Output::ReturnFlow => *to = state.bypassed,
                Output::PumpCurrent => {
                    *to = Row::<W>::of(0.0);
                    for k in 0..n {
                        for i in 0..W {
                            to[i] += self.if_on(k, i, work(k).current[i], 0.0);
                        }
                    }
                }
                Output::PumpVoltage => {
                    *to = Row::<W>::of(f64::INFINITY);
                    for k in 0..n {
                        for i in 0..W {
                            let volts = ask.volts[i] - work(k).current[i] * car.legs[k].pump.loop_r[i];
                            to[i] = min(to[i], self.if_on(k, i, volts, f64::INFINITY));
                        }
                    }
                }
                Output::Asked => *to = if set.running { ask.asked } else { Row::<W>::of(f64::NAN) },
                Output::Air => *to = if set.running { ask.air } else { Row::<W>::of(f64::NAN) },
                Output::Charge => *to = if set.running { ask.charge } else { Row::<W>::of(f64::NAN) },
                Output::Lambda | Output::WorstLambda => {
                    for i in 0..W {
                        let spread =
                            if *o == Output::WorstLambda { 1.0 - car.injection.spread[i] } else { 1.0 };
                        let lambda =
                            ask.air[i] / (state.injected[i] * car.rho[i] * car.engine.afr[i]) / spread;
                        to[i] = if set.running { lambda } else { f64::NAN };
                    }
                }
                Output::TargetLambda => {
                    *to = if set.running { car.engine.lambda } else { Row::<W>::of(f64::NAN) }
                }
                Output::Pulse | Output::Duty => {
                    let pulse = inject(lay, car, ask, set, &dp).pulse;
                    let over = if *o == Output::Duty { set.cycle } else { 1.0 };
                    for i in 0..W {
                        to[i] = if set.running { max(pulse[i] / over, 0.0) } else { f64::NAN };
                    }
                }
                Output::Headroom => *to = self.headroom(),
                Output::RegulatorMode => {
                    for i in 0..W {
                        let stop = state.x[i] >= car.poppet.max_lift[i];
                        to[i] = if state.x[i] <= 0.0 {
                            0.0
                        } else if stop {
                            2.0
                        } else {
                            1.0
                        };
                    }
                }
                Output::Lift => *to = state.x,
                Output::ReturnPressure => {
                    for i in 0..W {
                        to[i] = state.back[i] - car.ambient[i];
                    }
                }
                Output::LegFlow(k) => *to = state.q[k],
                Output::LegRise(k) => *to = work(k).rise,
                Output::LegCurrent(k) => *to = work(k).current,
                Output::LegVoltage(k) => {
                    for i in 0..W {
                        to[i] = ask.volts[i] - work(k).current[i] * car.legs[k].pump.loop_r[i];
                    }
                }
                Output::InletMargin(k) => {
                    for i in 0..W {
                        to[i] = state.inlet[k][i] - car.vapour[i];
                    }
                }
                Output::WiringDrop(k) => {
                    for i in 0..W {
                        let drop = work(k).current[i] * car.legs[k].pump.loop_r[i];
                        to[i] = self.if_on(k, i, drop, 0.0);
                    }
                }
            }
        }
    }

    #[inline(always)]
    fn if_on(&self, k: usize, i: usize, on: f64, off: f64) -> f64 {
        if self.set.op.boost > self.car.legs[k].on_above[i] { on } else { off }
    }

    #[inline(always)]
    fn work(&self, k: usize, lay: &LegLayout) -> Work<W> {
        let (mut q, mut margin) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
        for i in 0..W {
            q[i] = max(self.state.q[k][i], 0.0);
            margin[i] = self.state.inlet[k][i] - self.car.vapour[i];
        }
        let mut out = Work {
            rise: Row::<W>::of(0.0),
            slope: Row::<W>::of(0.0),
            by_inlet: Row::<W>::of(0.0),
            current: Row::<W>::of(0.0),
        };
        pump(lay.regenerative, &self.car.legs[k].pump, &self.ask.volts, &q, &margin, &mut out);
        out
    }

    /// What the supply brings at the pressure that must be held, over what is asked, less one.
    #[inline(always)]
    fn headroom(&self) -> Row<W> {
        let Self { lay, car, ask, set, state } = *self;
        let n = lay.legs.len();
        let mut flows = state.q;
        for k in 0..n {
            for i in 0..W {
                flows[k][i] = max(flows[k][i], 1e-7);
            }
        }
        let mut done = Row::<W>::of(0.0);
        let mut near = state.near.clone();
        for _ in 0..60 {
            let mut q = Row::<W>::of(0.0);
            for f in &flows[..n] {
                for i in 0..W {
                    q[i] += f[i];
                }
            }
            let (mut feed, mut feed_q) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
            if !lay.feed.is_empty() {
                series_near(&lay.feed, &car.feed, &mut near.feed, 1.0, &q, &mut feed, &mut feed_q);
            }
            let (mut sum, mut short) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
            let mut ends: [(Row<W>, Row<W>); super::columns::MAX_LEGS] =
                [(Row::<W>::of(0.0), Row::<W>::of(0.0)); super::columns::MAX_LEGS];
            for k in 0..n {
                let near = &mut near.legs[k];
                let (leg_lay, car_leg) = (&lay.legs[k], &car.legs[k]);
                let e = leg(leg_lay, car_leg, near, 1.0, &car.vapour, &ask.volts, set.op.boost, &flows[k]);
                for i in 0..W {
                    let slope = min(e.slope[i], -1.0);
                    sum[i] += 1.0 / slope;
                    short[i] += (ask.crack[i] + feed[i] - e.p[i]) / slope;
                    ends[k].1[i] = slope;
                }
                ends[k].0 = e.p;
            }
            let mut all = 1.0;
            let mut level = Row::<W>::of(0.0);
            for i in 0..W {
                let dq = short[i] / (1.0 - sum[i] * feed_q[i]);
                level[i] = ask.crack[i] + feed[i] + feed_q[i] * dq;
            }
            let mut small = Row::<W>::of(1.0);
            for k in 0..n {
                for i in 0..W {
                    let was = flows[k][i];
                    let step = (level[i] - ends[k].0[i]) / ends[k].1[i];
                    let to = was + step;
                    let closes = to < 0.0 && was > 0.0;
                    let to = if closes { -1e-14 } else { min(to, 3e-4) };
                    flows[k][i] = if done[i] > 0.0 { was } else { to };
                    let met = (level[i] - ends[k].0[i]).abs() <= LAST_LEVEL;
                    small[i] = if closes || !met || !(step.abs() <= 1e-11) { 0.0 } else { small[i] };
                }
            }
            for i in 0..W {
                done[i] = max(done[i], small[i]);
                all = min(all, done[i]);
            }
            if all > 0.0 {
                break;
            }
        }
        let mut out = Row::<W>::of(f64::NAN);
        for i in 0..W {
            let mut q = 0.0;
            for f in &flows[..n] {
                q += f[i];
            }
            let leaks = seep(car.injection.leak[i], ask.crack[i] - ask.manifold[i]);
            let headroom = (q - leaks) / ask.asked[i] - 1.0;
            out[i] = if done[i] > 0.0 && set.running { headroom } else { f64::NAN };
        }
        out
    }
}
