//! What gauges and sensors say of an operating point: the truth, with what each of them reads too much.

use super::point::Point;
use crate::build::Build;
use serde::Serialize;

/// How far each instrument of a car reads off, read less true.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Offsets {
    /// Lambda.
    pub lambda: f64,
    /// Air drawn in ahead of the lambda sensor, kg/s.
    pub exhaust_leak: f64,
    /// Rail pressure, Pa.
    pub rail: f64,
    /// Manifold pressure, Pa.
    pub manifold: f64,
    /// Fuel temperature, K.
    pub fuel_temperature: f64,
}

impl Offsets {
    /// Those that a build states.
    #[must_use]
    pub fn of(build: &Build) -> Self {
        let r = build.section("reading");
        Self {
            lambda: r.si("lambda_offset"),
            exhaust_leak: r.si("exhaust_leak"),
            rail: r.si("rail_offset"),
            manifold: r.si("manifold_offset"),
            fuel_temperature: r.si("fuel_temperature_offset"),
        }
    }
}

/// What a person or a logger reads, SI, gauge pressures above ambient.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Gauges {
    /// Engine speed, rad/s.
    pub speed: f64,
    /// Manifold pressure, gauge, Pa.
    pub manifold: f64,
    /// Rail pressure, gauge, Pa.
    pub rail: f64,
    /// Read rail less read manifold, Pa: what a person takes for the differential pressure.
    pub difference: f64,
    /// Lambda; none with the engine off.
    pub lambda: Option<f64>,
    /// Highest duty.
    pub duty: f64,
    /// Longest commanded pulse, s.
    pub pulse: f64,
    /// Supply voltage, V.
    pub supply: f64,
    /// Lowest voltage at a running pump, V.
    pub pump_volts: f64,
    /// Current of all pumps, A.
    pub pump_current: f64,
    /// By-passed flow, m³/s.
    pub return_flow: f64,
    /// Fuel temperature, K.
    pub fuel_temperature: f64,
}

impl Point {
    /// What the instruments of this car read here.
    #[must_use]
    pub fn gauges(&self) -> Gauges {
        let rail = self.rail_pressure().pascals() + self.offsets.rail;
        let manifold = self.manifold - self.ambient + self.offsets.manifold;
        Gauges {
            speed: self.operating.speed().value,
            manifold,
            rail,
            difference: rail - manifold,
            lambda: self.lambda().zip(self.demand).map(|(l, d)| {
                // What is drawn in counts as air that was not burnt.
                l * (1.0 + self.offsets.exhaust_leak / d.air) + self.offsets.lambda
            }),
            duty: self.duty().value,
            pulse: self.pulse_width().value,
            supply: self.supply,
            pump_volts: self.pump_voltage().value,
            pump_current: self.pump_current().value,
            return_flow: self.return_flow().value,
            fuel_temperature: self.fuel_temperature + self.offsets.fuel_temperature,
        }
    }
}
