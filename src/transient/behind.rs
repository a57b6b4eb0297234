//! What the injectors spray against when it is not the manifold: the pressure of their own port or cylinder.

use super::engine_gas::{Burn, EngineGas, Feed, GasSystem};
use super::network::Trace;
use crate::error::{Error, Kind, Result};
use crate::part::cylinder::{BadGeometry, HeatLoss, SliderCrank, Valve, Wiebe, Woschni};
use crate::part::gas::AIR;
use crate::schedule::Track;
use crate::stepper::{self, Observer, StepView, Tsit5};
use rayon::prelude::*;
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

/// When valves of one kind stand open, and their size for the bore.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Valves {
    /// Opening angle after firing top dead centre, rad.
    pub opens: f64,
    /// Closing angle, rad.
    pub closes: f64,
    /// Greatest lift over the bore.
    pub lift: f64,
    /// Head diameter over the bore.
    pub head: f64,
    /// Port diameter over the bore.
    pub port: f64,
}

impl Valves {
    fn of(&self, bore: f64) -> Valve {
        Valve {
            opens: self.opens,
            closes: self.closes,
            lift: self.lift * bore,
            head: self.head * bore,
            port: self.port * bore,
            count: 2.0,
            cd: 0.65,
        }
    }
}

/// What the gas side needs beyond a build: shape of the cylinders, valves, ports and combustion. The defaults are those of
/// an invented engine of the demo car's kind, which no build states.
#[derive(Clone, Debug, PartialEq)]
pub struct Gases {
    /// Bore over stroke.
    pub bore_over_stroke: f64,
    /// Rod over stroke.
    pub rod_over_stroke: f64,
    /// Compression ratio.
    pub compression: f64,
    /// Two intake valves a cylinder.
    pub intake: Valves,
    /// Two exhaust valves a cylinder.
    pub exhaust: Valves,
    /// Volume of a port, m³.
    pub port_volume: f64,
    /// Effective area between port and manifold, m².
    pub runner_cd_a: f64,
    /// Exhaust pressure over the higher of ambient and manifold pressure as the run begins.
    pub exhaust_over: f64,
    /// Course of burning; none when motored.
    pub burn: Option<Wiebe>,
    /// Heat released for each kilogram of charge, J/kg.
    pub heat: f64,
    /// Wall temperature, K.
    pub wall: f64,
}

impl Default for Gases {
    fn default() -> Self {
        let valves = |opens: f64, closes: f64, head: f64| Valves {
            opens: opens.to_radians(),
            closes: closes.to_radians(),
            lift: 0.1,
            head,
            port: 0.85 * head,
        };
        Self {
            bore_over_stroke: 0.877,
            rod_over_stroke: 1.52,
            compression: 9.0,
            intake: valves(355.0, 590.0, 0.39),
            exhaust: valves(140.0, 370.0, 0.33),
            port_volume: 4e-4,
            runner_cd_a: 1.4e-3,
            exhaust_over: 1.1,
            // Half is burned 26 degrees after top dead centre: late, as a boosted engine near its knock limit burns (common
            // practice, no source).
            burn: Some(Wiebe { start: 0.0, duration: 50.0f64.to_radians(), a: 5.0, m: 2.0 }),
            heat: 2.6e6,
            wall: 450.0,
        }
    }
}

/// The run that the gases are needed for.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    /// Displacement of the engine, m³.
    pub displacement: f64,
    /// Number of cylinders.
    pub cylinders: usize,
    /// Crank speed over time, rev/min.
    pub rpm: &'a Track,
    /// Manifold pressure over time, absolute, Pa.
    pub manifold: &'a Track,
    /// Ambient pressure, Pa.
    pub ambient: f64,
    /// Temperature in the manifold, K.
    pub charge_temperature: f64,
    /// Beginning of the record, s.
    pub from: f64,
    /// Its end, s.
    pub to: f64,
}

/// Records a cycle at the highest speed: two degrees of crank apart.
const PER_CYCLE: f64 = 360.0;
/// Cycles after which a steady engine repeats itself.
const SETTLE: f64 = 5.0;
/// Most cylinders that are believed.
const MOST: usize = 16;

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
        if !(1..=MOST).contains(&w.cylinders) {
            let what = format!("{} cylinders; ports are computed for 1 to {MOST}", w.cylinders);
            return Err(Error::new(Kind::Range, what).at_key("engine.cylinders"));
        }
        let cycle = 120.0 / fastest;
        let step = cycle / PER_CYCLE;
        let trace = |start: f64, pressures: Vec<f64>, repeats: bool| {
            let short = "holds fewer than four records: make the run longer";
            let trace = Trace::new(start, step, pressures, repeats);
            trace.map(Arc::new).ok_or_else(|| Error::new(Kind::Value, short).at_key("options.behind"))
        };
        let seen = |w: &Wanted<'_>, firing: f64| {
            if in_cylinder {
                gases.watch(w, firing, step, 1.0, |gas, t, view| gas.cylinder_pressure(0, t, view))
            } else {
                gases.watch(w, firing, step, 1.0, |gas, t, view| gas.port_pressure(0, t, view))
            }
        };
        let phase = |k: usize| k as f64 / w.cylinders as f64;
        let all: Result<Vec<_>> = if w.rpm.is_constant() && w.manifold.is_constant() {
            // Nothing changes: one cycle of one cylinder stands for all.
            let wanted = Wanted { from: 0.0, to: cycle, ..*w };
            let mut one = seen(&wanted, 0.0)?;
            one.truncate(PER_CYCLE as usize);
            (0..w.cylinders).map(|k| trace(phase(k) * cycle, one.clone(), true)).collect()
        } else {
            // An imposed manifold leaves the cylinders nothing to share.
            let one = |k: usize| trace(w.from, seen(w, phase(k) * 4.0 * PI)?, false);
            (0..w.cylinders).into_par_iter().map(one).collect()
        };
        all.map(Some)
    }
}

/// Absolute pressures about one injector, Pa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pressures {
    /// In the cylinder.
    pub cylinder: f64,
    /// In its port.
    pub port: f64,
}

/// What is seen of one cylinder's gas, on an even grid of time.
struct Rows<'a, T, F> {
    system: &'a GasSystem<8>,
    start: f64,
    step: f64,
    see: F,
    rows: Vec<T>,
}

impl<T, F: Fn(&GasSystem<8>, f64, &StepView<'_, 8>) -> T> Observer<8> for Rows<'_, T, F> {
    fn step(&mut self, view: &StepView<'_, 8>) -> ControlFlow<()> {
        loop {
            let t = self.start + self.rows.len() as f64 * self.step;
            if t > view.t1 {
                return ControlFlow::Continue(());
            }
            self.rows.push((self.see)(self.system, t, view));
        }
    }
}

impl Gases {
    /// Pressures in one cylinder and its port through a run, `step` seconds apart, for a firing top dead centre at
    /// this crank angle, rad. A `tolerance` of 1 holds the port's mean within four pascals; smaller is finer.
    ///
    /// # Errors
    /// A step, s, or tolerance that is no number above zero; a shape that cannot be; a run that fails on its way.
    pub fn follow(&self, w: &Wanted<'_>, firing: f64, step: f64, tolerance: f64) -> Result<Vec<Pressures>> {
        for (key, v) in [("step", step), ("tolerance", tolerance)] {
            if !(v > 0.0 && v.is_finite()) {
                return Err(Error::new(Kind::Value, format!("{key} is {v}"))
                    .next("give a value above zero")
                    .at_key(key));
            }
        }
        self.watch(w, firing, step, tolerance, |gas, t, view| Pressures {
            cylinder: gas.cylinder_pressure(0, t, view),
            port: gas.port_pressure(0, t, view),
        })
    }

    fn watch<T>(
        &self,
        w: &Wanted<'_>,
        firing: f64,
        step: f64,
        tolerance: f64,
        see: impl Fn(&GasSystem<8>, f64, &StepView<'_, 8>) -> T,
    ) -> Result<Vec<T>> {
        let bad = |e: &dyn std::fmt::Display| Error::new(Kind::Value, e.to_string()).at_key("options.behind");
        let engine = self.engine(w, firing).map_err(|e| bad(&e))?;
        // The gas begins whole cycles before the run, where the crank stands as at time zero, and settles on its way.
        let first = w.rpm.at(w.from).max(1.0);
        let lead = (SETTLE + (-w.from).max(0.0) / (120.0 / first)).ceil() * 120.0 / first;
        let (system, y) = GasSystem::<8>::new(engine).map_err(|e| bad(&e))?;
        let mut system = system.round_within((2.4e-3 * tolerance).clamp(1e-3, 2.4e-3));
        system.begin(-lead);
        // Kilograms and joules in turn: a port holds half a gram and a hundred joules.
        let absolute = std::array::from_fn(|k| tolerance * if k % 2 == 0 { 1.2e-8 } else { 1.2e-3 });
        let mut o = stepper::Options::with_absolute(1.2e-5 * tolerance, absolute);
        o.active = system.active();
        let view = system.clone();
        let mut rows = Rows { system: &view, start: w.from, step, see, rows: Vec::new() };
        let failed = |what: String| Error::new(Kind::Solve, what).at_key("options.behind");
        let run = stepper::solve(&mut system, &mut Tsit5::new(), -lead, y, w.to, &o, &mut rows)
            .map_err(|e| failed(e.to_string()))?;
        if !run.stop.is_planned() {
            return Err(failed(format!("the gas in ports and cylinders did not come through: {}", run.stop)));
        }
        Ok(rows.rows)
    }

    /// One cylinder of the engine.
    fn engine(&self, w: &Wanted<'_>, firing: f64) -> std::result::Result<EngineGas, BadGeometry> {
        let swept = w.displacement / w.cylinders as f64;
        let stroke = (4.0 * swept / (PI * self.bore_over_stroke * self.bore_over_stroke)).cbrt();
        let bore = self.bore_over_stroke * stroke;
        Ok(EngineGas {
            crank: SliderCrank::new(bore, stroke, stroke * self.rod_over_stroke, self.compression)?,
            intake: self.intake.of(bore),
            exhaust: self.exhaust.of(bore),
            burn: self.burn.map(|wiebe| Burn { wiebe, heat: self.heat }),
            heat: HeatLoss::Woschni(Woschni { wall: self.wall, speed_factor: 2.28 }),
            gas: AIR,
            firing: vec![firing],
            port_volume: self.port_volume,
            runner_cd_a: self.runner_cd_a,
            feed: Feed::Imposed,
            upstream: w.manifold.clone(),
            upstream_temperature: w.charge_temperature,
            exhaust_pressure: self.exhaust_over * w.ambient.max(w.manifold.at(w.from)),
            exhaust_temperature: 1100.0,
            rpm: w.rpm.clone(),
        })
    }
}
