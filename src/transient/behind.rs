//! What the injectors spray against when it is not the manifold: the pressure of their own port or cylinder.

use super::engine_gas::{Burn, EngineGas, Feed, GasSystem};
use super::network::Trace;
use crate::error::{Error, Kind, Result};
use crate::part::cylinder::{HeatLoss, SliderCrank, Valve, Wiebe, Woschni};
use crate::part::gas::AIR;
use crate::schedule::{CrankClock, Track};
use crate::stepper::{self, Observer, StepView, Tsit5};
use std::f64::consts::PI;
use std::ops::ControlFlow;
use std::sync::Arc;

/// What an injector sprays against.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum Behind {
    /// The manifold, steady through the cycle.
    #[default]
    Manifold,
    /// Its own port: the pressure swings as the intake valve opens and shuts.
    Port(Gases),
    /// Its own cylinder, as in direct injection.
    Cylinder(Gases),
}

/// What the gas side needs beyond a build: shape of the cylinders, valves, ports and combustion. The defaults are those of
/// an invented engine of the demo car's kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Gases {
    /// Stroke over bore.
    pub stroke_over_bore: f64,
    /// Rod over stroke.
    pub rod_over_stroke: f64,
    /// Compression ratio.
    pub compression: f64,
    /// Intake valves, angles after firing top dead centre.
    pub intake: Valve,
    /// Exhaust valves.
    pub exhaust: Valve,
    /// Volume of a port, m³.
    pub port_volume: f64,
    /// Effective area between port and manifold, m².
    pub runner_cd_a: f64,
    /// Exhaust pressure above ambient for each pascal of boost above ambient, as it stands when the run begins.
    pub exhaust_per_boost: f64,
    /// Course of burning; none when motored.
    pub burn: Option<Wiebe>,
    /// Heat released for each kilogram of charge, J/kg.
    pub heat: f64,
    /// Wall temperature, K.
    pub wall: f64,
}

impl Default for Gases {
    fn default() -> Self {
        let valve = |opens: f64, closes: f64, lift, head, port| Valve {
            opens: opens.to_radians(),
            closes: closes.to_radians(),
            lift,
            head,
            port,
            count: 2.0,
            cd: 0.65,
        };
        Self {
            stroke_over_bore: 1.14,
            rod_over_stroke: 1.52,
            compression: 9.0,
            intake: valve(355.0, 590.0, 9e-3, 0.034, 0.029),
            exhaust: valve(140.0, 370.0, 8.5e-3, 0.029, 0.025),
            port_volume: 2.5e-4,
            runner_cd_a: 8e-4,
            exhaust_per_boost: 1.2,
            burn: Some(Wiebe {
                start: (-20.0f64).to_radians(),
                duration: 50.0f64.to_radians(),
                a: 5.0,
                m: 2.0,
            }),
            heat: 2.6e6,
            wall: 450.0,
        }
    }
}

/// The run that the gases are needed for.
pub(super) struct Wanted<'a> {
    pub displacement: f64,
    pub cylinders: usize,
    pub rpm: &'a Track,
    /// Absolute, Pa.
    pub manifold: &'a Track,
    pub ambient: f64,
    pub charge_temperature: f64,
    pub from: f64,
    pub to: f64,
}

/// Records a degree of crank at the highest speed apart.
const PER_CYCLE: f64 = 720.0;
/// Cycles after which a steady engine repeats itself.
const SETTLE: f64 = 8.0;

impl Behind {
    /// The pressure behind each cylinder's injector through a run; none for the manifold or an engine at rest.
    pub(super) fn traces(&self, w: &Wanted<'_>) -> Result<Option<Vec<Arc<Trace>>>> {
        let (gases, in_cylinder) = match self {
            Self::Manifold => return Ok(None),
            Self::Port(g) => (g, false),
            Self::Cylinder(g) => (g, true),
        };
        let fastest = w.rpm.values().iter().copied().fold(0.0, f64::max);
        if fastest <= 0.0 {
            return Ok(None);
        }
        match w.cylinders {
            1..=4 => sized::<20>(gases, in_cylinder, w, fastest),
            5..=8 => sized::<36>(gases, in_cylinder, w, fastest),
            9..=16 => sized::<68>(gases, in_cylinder, w, fastest),
            n => Err(Error::new(Kind::Range, format!("{n} cylinders; ports are computed for 1 to 16"))
                .at_key("engine.cylinders")),
        }
    }
}

struct Rows<'a, const N: usize> {
    system: &'a GasSystem<N>,
    in_cylinder: bool,
    start: f64,
    step: f64,
    rows: Vec<Vec<f64>>,
}

impl<const N: usize> Observer<N> for Rows<'_, N> {
    fn step(&mut self, view: &StepView<'_, N>) -> ControlFlow<()> {
        let mut y = [0.0; N];
        loop {
            let t = self.start + self.rows[0].len() as f64 * self.step;
            if t > view.t1 {
                return ControlFlow::Continue(());
            }
            view.at(t, &mut y);
            for (c, row) in self.rows.iter_mut().enumerate() {
                row.push(if self.in_cylinder {
                    self.system.cylinder(c, t, &y).0
                } else {
                    self.system.port(c, &y).0
                });
            }
        }
    }
}

fn engine(g: &Gases, w: &Wanted<'_>) -> Result<EngineGas> {
    let swept = w.displacement / w.cylinders as f64;
    let bore = (4.0 * swept / (PI * g.stroke_over_bore)).cbrt();
    let stroke = bore * g.stroke_over_bore;
    let crank = SliderCrank::new(bore, stroke, stroke * g.rod_over_stroke, g.compression)
        .map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("options.behind"))?;
    let boost = (w.manifold.at(w.from) - w.ambient).max(0.0);
    Ok(EngineGas {
        crank,
        intake: g.intake,
        exhaust: g.exhaust,
        burn: g.burn.map(|wiebe| Burn { wiebe, heat: g.heat }),
        heat: HeatLoss::Woschni(Woschni { wall: g.wall, speed_factor: 2.28 }),
        gas: AIR,
        firing: (0..w.cylinders).map(|k| 4.0 * PI * k as f64 / w.cylinders as f64).collect(),
        port_volume: g.port_volume,
        runner_cd_a: g.runner_cd_a,
        feed: Feed::Imposed,
        upstream: w.manifold.clone(),
        upstream_temperature: w.charge_temperature,
        exhaust_pressure: w.ambient + g.exhaust_per_boost * boost,
        exhaust_temperature: 1100.0,
        rpm: w.rpm.clone(),
    })
}

fn sized<const N: usize>(
    g: &Gases,
    in_cylinder: bool,
    w: &Wanted<'_>,
    fastest: f64,
) -> Result<Option<Vec<Arc<Trace>>>> {
    let engine = engine(g, w)?;
    let clock = CrankClock::new(w.rpm);
    let cycle = 120.0 / fastest;
    let bad = |e: &dyn std::fmt::Display| Error::new(Kind::Value, e.to_string()).at_key("options.behind");
    // The gas begins whole cycles before the run, where the crank stands as at time zero, and settles on its way there.
    let first = w.rpm.at(w.from).max(1.0);
    let lead = (SETTLE + (-w.from).max(0.0) / (120.0 / first)).ceil() * 120.0 / first;
    let steady = w.rpm.is_constant() && w.manifold.is_constant();
    let (mut system, y) = GasSystem::<N>::new(engine).map_err(|e| bad(&e))?;
    system.begin(-lead);
    let turns = clock.angle(-lead) / (4.0 * PI);
    debug_assert!((turns - turns.round()).abs() < 1e-6);
    let mut absolute = [1.0; N];
    for (k, a) in absolute.iter_mut().enumerate() {
        // Kilograms and joules in turn; a port holds a third of a gram and a hundred joules.
        *a = if k % 2 == 0 { 1e-8 } else { 1e-3 };
    }
    let mut o = stepper::Options::with_absolute(1e-5, absolute);
    o.active = system.active();
    let step = cycle / PER_CYCLE;
    // One cycle stands for all when nothing changes.
    let (start, end) = if steady { (-cycle, 0.0) } else { (w.from, w.to) };
    let view = system.clone();
    let mut rows = Rows { system: &view, in_cylinder, start, step, rows: vec![Vec::new(); w.cylinders] };
    let run = stepper::solve(&mut system, &mut Tsit5::new(), -lead, y, end, &o, &mut rows)
        .map_err(|e| Error::new(Kind::Solve, e.to_string()).at_key("options.behind"))?;
    if !run.stop.is_planned() {
        let what = format!("the gas in ports and cylinders did not come through: {}", run.stop);
        return Err(Error::new(Kind::Solve, what).at_key("options.behind"));
    }
    let trace = |mut values: Vec<f64>| {
        if steady {
            values.truncate(PER_CYCLE as usize);
        }
        let trace = Trace::new(start, step, values, steady);
        trace.map(Arc::new).ok_or_else(|| bad(&"holds fewer than four degrees: make the run longer"))
    };
    rows.rows.into_iter().map(trace).collect::<Result<Vec<_>>>().map(Some)
}
