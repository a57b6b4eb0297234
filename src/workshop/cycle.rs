//! One engine cycle: what the port and the cylinder do while an injector is open.

use super::measure::Ratio;
use super::{Reading, stop};
use crate::chart::{Axis, Chart, InjectionWindow, Series};
use crate::quantity::{Amount, Dim};
use crate::rich::{Bundle, Rich};
use crate::schedule::Track;
use crate::transient::{Gases, Valves, Wanted};
use std::f64::consts::PI;

/// Two turns of the crank, degrees.
const CYCLE: f64 = 720.0;
/// Degrees from sample to sample.
const STEP: f64 = 2.0;

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
    /// When the valves open and close, degrees.
    intake: (f64, f64),
    exhaust: (f64, f64),
}

/// The cycle of one cylinder at a reading.
#[must_use]
pub fn one_cycle(reading: &Reading) -> Cycle {
    let p = reading.point();
    let (Some(d), Some(i)) = (p.demand, p.injectors.first()) else {
        stop("the engine is at rest, so there is no cycle\n  ask the car at a speed")
    };
    let lower_heating_value = 43e6;
    let gases = Gases {
        heat: 0.9 * lower_heating_value / d.stoichiometric * d.lambda.recip().min(1.0),
        ..Gases::default()
    };
    let period = 4.0 * PI / d.speed;
    let step = period * STEP / CYCLE;
    let wanted = Wanted {
        displacement: d.displacement,
        cylinders: d.cylinders.round().max(1.0) as usize,
        rpm: &Track::constant(d.speed * 30.0 / PI),
        manifold: &Track::constant(d.manifold),
        ambient: p.ambient,
        charge_temperature: d.charge_temperature,
        from: 0.0,
        to: period + 0.5 * step,
    };
    let seen = gases.follow(&wanted, 0.0, step, 1.0 / 150.0).unwrap_or_else(|e| stop(e));
    let open = |v: &Valves| (v.opens.to_degrees(), v.closes.to_degrees());
    Cycle {
        build: p.build.clone(),
        rail: reading.rail_pressure().pascals() + p.ambient,
        angle: (0..seen.len()).map(|k| STEP * k as f64).collect(),
        cylinder: seen.iter().map(|x| x.cylinder).collect(),
        port: seen.iter().map(|x| x.port).collect(),
        intake: open(&gases.intake),
        exhaust: open(&gases.exhaust),
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
            .subtitle(&format!("{}: one cylinder, two turns; shaded: injector commanded open", self.build))
            .event(180.0, "bottom")
            .event(360.0, "top, gas changes")
            .event(540.0, "bottom")
            .valve(self.exhaust.0, self.exhaust.1, "exhaust valve open")
            .valve(self.intake.0, self.intake.1, "intake valve open");
        let from = self.intake.0 - self.pulse;
        chart = if self.pulse >= CYCLE {
            chart.injection(0.0, CYCLE, "injector commanded open, always")
        } else if from >= 0.0 {
            chart.injection(from, self.intake.0, "injector commanded open")
        } else {
            chart.injection(0.0, self.intake.0, "injector commanded open").injection(
                CYCLE + from,
                CYCLE,
                "open for the next cycle",
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
