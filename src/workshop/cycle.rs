//! One engine cycle: what the port and the cylinder do while an injector is open.

use super::measure::Ratio;
use super::{Reading, stop};
use crate::chart::{Axis, Chart, InjectionWindow, Series};
use crate::part::cylinder::{HeatLoss, SliderCrank, Valve, Wiebe, Woschni};
use crate::part::gas::AIR;
use crate::quantity::{Amount, Dim};
use crate::rich::{Bundle, Rich};
use crate::schedule::Track;
use crate::stepper::{Observer, Options, StepView, Tsit5, solve};
use crate::transient::engine_gas::{Burn, EngineGas, Feed, GasSystem};
use std::f64::consts::PI;
use std::ops::ControlFlow;

/// Bore over stroke, compression ratio, rod over stroke: of the invented engine, as no build states them.
const SHAPE: (f64, f64, f64) = (0.877, 9.0, 1.52);
/// Intake and exhaust valves: opens and closes, degrees after firing top dead centre (invented).
const INTAKE: (f64, f64) = (355.0, 590.0);
const EXHAUST: (f64, f64) = (140.0, 370.0);
/// Two turns of the crank, degrees.
const CYCLE: f64 = 720.0;
/// Degrees from sample to sample.
const STEP: f64 = 2.0;
/// Cycles until the gas repeats itself.
const BEFORE: f64 = 4.0;

/// One cycle of one cylinder at a reading: pressures in cylinder and port over crank angle.
///
/// Perfect gas, two valves of each kind, Wiebe burning, heat to the wall by Woschni, a port of 0.4 L before a
/// manifold of constant pressure. Bore, stroke and valves are those of the invented engine; heat released is what
/// the oxygen of the charge allows, less a tenth. The picture is right in kind, its peaks to a fifth at best.
#[derive(Clone, Debug, PartialEq)]
pub struct Cycle {
    build: String,
    rail: f64,
    /// Crank angle after firing top dead centre, degrees.
    angle: Vec<f64>,
    cylinder: Vec<f64>,
    port: Vec<f64>,
    pulse: f64,
}

/// Samples the state at fixed angles of the last cycle.
struct Sampled<'a> {
    system: &'a GasSystem<8>,
    times: Vec<f64>,
    out: Vec<(f64, f64)>,
}

impl Observer<8> for Sampled<'_> {
    fn step(&mut self, step: &StepView<'_, 8>) -> ControlFlow<()> {
        let mut y = [0.0; 8];
        while let Some(t) = self.times.get(self.out.len()).copied().filter(|t| *t <= step.t1) {
            step.at(t, &mut y);
            self.out.push((self.system.cylinder(0, t, &y).0, self.system.port(0, &y).0));
        }
        ControlFlow::Continue(())
    }
}

/// The cycle of one cylinder at a reading.
#[must_use]
pub fn one_cycle(reading: &Reading) -> Cycle {
    let p = reading.point();
    let (Some(d), Some(i)) = (p.demand, p.injectors.first()) else {
        stop("the engine is at rest, so there is no cycle\n  ask the car at a speed")
    };
    let swept = d.displacement / d.cylinders;
    let stroke = (4.0 * swept / (PI * SHAPE.0 * SHAPE.0)).cbrt();
    let bore = SHAPE.0 * stroke;
    let crank = SliderCrank::new(bore, stroke, SHAPE.2 * stroke, SHAPE.1).unwrap_or_else(|e| stop(e));
    let valve = |(opens, closes): (f64, f64), part: f64| Valve {
        opens: opens.to_radians(),
        closes: closes.to_radians(),
        lift: 0.1 * bore,
        head: part * bore,
        port: 0.85 * part * bore,
        count: 2.0,
        cd: 0.65,
    };
    let lower_heating_value = 43e6;
    let heat = 0.9 * lower_heating_value / d.stoichiometric * d.lambda.recip().min(1.0);
    let engine = EngineGas {
        crank,
        intake: valve(INTAKE, 0.39),
        exhaust: valve(EXHAUST, 0.33),
        burn: Some(Burn { wiebe: Wiebe { start: 0.0, duration: 50f64.to_radians(), a: 5.0, m: 2.0 }, heat }),
        heat: HeatLoss::Woschni(Woschni { wall: 450.0, speed_factor: 2.28 }),
        gas: AIR,
        firing: vec![0.0],
        port_volume: 4e-4,
        runner_cd_a: 1.4e-3,
        feed: Feed::Imposed,
        upstream: Track::constant(d.manifold),
        upstream_temperature: d.charge_temperature,
        exhaust_pressure: 1.1 * p.ambient.max(d.manifold),
        exhaust_temperature: 1100.0,
        rpm: Track::constant(d.speed * 30.0 / PI),
    };
    let (mut system, y0) = GasSystem::<8>::new(engine).unwrap_or_else(|e| stop(e));
    let period = 4.0 * PI / d.speed;
    let angle: Vec<f64> = (0..=(CYCLE / STEP) as u32).map(|k| STEP * f64::from(k)).collect();
    let times = angle.iter().map(|a| (BEFORE + a / CYCLE) * period).collect();
    // Masses about 1e-4 kg, energies about 100 J.
    let absolute = [1e-9, 1e-3, 1e-9, 1e-3, 1e-9, 1e-3, 1e-9, 1e-9];
    let mut options = Options::with_absolute(1e-7, absolute);
    options.active = system.active();
    options.max_step = period / 100.0;
    let looking = system.clone();
    let mut sampled = Sampled { system: &looking, times, out: Vec::new() };
    let end = (BEFORE + 1.0) * period * (1.0 + 1e-9);
    let run = solve(&mut system, &mut Tsit5::new(), 0.0, y0, end, &options, &mut sampled);
    match run {
        Ok(r) if r.stop.is_planned() && sampled.out.len() == angle.len() => {}
        Ok(r) => stop(format!("the gas in the cylinder could not be followed: {}", r.stop)),
        Err(e) => stop(e),
    }
    Cycle {
        build: p.build.clone(),
        rail: reading.rail_pressure().pascals() + p.ambient,
        cylinder: sampled.out.iter().map(|x| x.0).collect(),
        port: sampled.out.iter().map(|x| x.1).collect(),
        angle,
        pulse: CYCLE * i.pulse / i.cycle,
    }
}

impl Cycle {
    fn values(&self, what: &str) -> Vec<f64> {
        match what {
            "cylinder" => self.cylinder.clone(),
            "port" => self.port.clone(),
            "rail less port" => self.port.iter().map(|p| self.rail - p).collect(),
            "rail less cylinder" => self.cylinder.iter().map(|p| self.rail - p).collect(),
            _ => stop(format!(
                "there is no \"{what}\" in a cycle\n  ask for: cylinder, port, rail less port, rail less cylinder"
            )),
        }
    }

    fn kind(what: &str, si: f64) -> Amount {
        let a = Amount::new(si, Dim::Pressure);
        if what.starts_with("rail") { a } else { a.absolute() }
    }

    /// Highest value over the cycle: "cylinder" and "port" above vacuum, "rail less port", "rail less cylinder".
    #[must_use]
    pub fn highest(&self, what: &str) -> Amount {
        Self::kind(what, self.values(what).into_iter().fold(f64::NEG_INFINITY, f64::max))
    }

    /// Lowest value over the cycle.
    #[must_use]
    pub fn lowest(&self, what: &str) -> Amount {
        Self::kind(what, self.values(what).into_iter().fold(f64::INFINITY, f64::min))
    }

    /// Mean over the cycle.
    #[must_use]
    pub fn mean(&self, what: &str) -> Amount {
        let v = self.values(what);
        Self::kind(what, v[1..].iter().sum::<f64>() / (v.len() - 1) as f64)
    }

    /// Largest swing of the port around its mean, as part of the difference that drives the fuel.
    #[must_use]
    pub fn port_swing(&self) -> Ratio {
        let around = self.mean("port").si;
        let most = self.port.iter().map(|p| (p - around).abs()).fold(0.0, f64::max);
        super::measure::ratio(most / (self.rail - around))
    }

    /// Pressures and windows over crank angle. The pulse ends as the intake valve opens (a usual choice).
    #[must_use]
    pub fn draw(&self) -> InjectionWindow {
        let bar = |v: Vec<f64>| v.into_iter().map(|p| p / 1e5).collect::<Vec<f64>>();
        let line = |what: &str| Series::new(what, self.angle.clone(), bar(self.values(what)));
        let mut chart = InjectionWindow::new("A port injector sees the port, not the cylinder")
            .subtitle(&format!("{}: one cylinder, two turns", self.build))
            .valve(EXHAUST.0, EXHAUST.1, "exhaust valve open")
            .valve(INTAKE.0, INTAKE.1, "intake valve open");
        let from = INTAKE.0 - self.pulse;
        chart = if self.pulse >= CYCLE {
            chart.injection(0.0, CYCLE, "injector commanded open, always")
        } else if from >= 0.0 {
            chart.injection(from, INTAKE.0, "injector commanded open")
        } else {
            chart.injection(0.0, INTAKE.0, "injector commanded open").injection(
                CYCLE + from,
                CYCLE,
                "injector, next cycle",
            )
        };
        chart
            .pressures(Axis::new("cylinder", "bar abs"), [line("cylinder")])
            .pressures(Axis::new("port", "bar abs"), [line("port")])
            .pressures(Axis::new("difference", "bar"), [line("rail less port")])
    }
}

impl Rich for Cycle {
    fn rich(&self) -> Bundle {
        let figure = self.draw().figure();
        Bundle::text(figure.plain()).html(figure.html())
    }
}
