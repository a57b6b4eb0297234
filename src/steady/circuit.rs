//! A build made ready to solve at one operating point.

use super::demand::{self, Demand};
use super::element::{Element, InjectorSet, Port, Pulse, PumpOnWire, ReferencedRegulator, Surroundings};
use super::network::{End, LegLaw};
use super::operating::Operating;
use crate::build::{
    Build, Part, Wire, check_valve_law, effective_area, filter_law, injector_law, line_law, low_pulse_law,
    regulator_law, short_pulse_law,
};
use crate::error::{Error, Kind, Result};
use crate::fuel::Blend;
use crate::quantity::{AbsolutePressure, kelvin};
use crate::spec::Values;
use std::f64::consts::PI;
use std::sync::Arc;

/// Discharge coefficient of a tear: a sharp edge (0.60 to 0.62 in ISO 5167-2 for small ratios).
const SHARP_HOLE: f64 = 0.61;

/// The circuit, its surroundings and the demand on it.
pub(super) struct Circuit {
    pub legs: Vec<LegLaw>,
    pub junctions: Vec<String>,
    pub given_names: Vec<String>,
    pub given: Vec<f64>,
    pub surroundings: Surroundings,
    /// Temperature of the fuel, K.
    pub fuel_temperature: f64,
    pub demand: Option<Demand>,
    pub belief: Option<Belief>,
    /// The junction that feeds the injectors, if any do.
    pub rail: Option<End>,
}

/// What the control unit believes and commands, for one injector.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Belief {
    /// Fuel mass that it wants delivered each cycle, kg.
    pub mass: f64,
    /// Pressure difference that it takes for true, Pa; not-a-number when it measures it.
    pub difference: f64,
    /// Static flow in the calibration, m³/s.
    pub static_flow: f64,
    /// Difference that this static flow belongs to, Pa.
    pub reference_difference: f64,
    /// Density the calibration was made with, kg/m³.
    pub density: f64,
    /// Mass flow of an open injector that it takes for true at that difference, kg/s.
    pub flow: f64,
    /// What its low-pulse table adds to the pulse, s; nought on the straight line.
    pub low_pulse: f64,
    /// Dead time in its table, s.
    pub dead_time: f64,
    /// Pulse that it commands, s; not-a-number when it follows the measured difference.
    pub pulse: f64,
}

/// Supply voltage of a build at a speed.
pub(super) fn supply(build: &Build, op: &Operating) -> Result<f64> {
    if let Some(v) = op.supply {
        return Ok(v);
    }
    let s = build.section("supply");
    let base = match s.rows("rows") {
        // Below the first row the alternator's lowest reading holds: the engine cannot run slower and charge.
        Some(rows) => rows.interpolate(op.speed.max(rows.data[0][0]), "supply voltage")?,
        None => s.si("voltage"),
    };
    Ok(base + s.si("voltage_offset"))
}

impl Circuit {
    pub fn of(build: &Build, op: &Operating) -> Result<Self> {
        let ambient = build.section("ambient").si("pressure");
        let blend = build.fuel()?;
        let t = op.fuel_temperature.unwrap_or_else(|| build.section("fuel").si("temperature"));
        // Properties at the pressure of the line: 3 bar above ambient; a bar changes density by 0.01 %.
        let fuel = blend
            .at(kelvin(t), AbsolutePressure::from_pascals(ambient + 3e5))
            .map_err(|e| Error::new(Kind::Range, e.to_string()).at_key("fuel.temperature"))?;
        let demand = demand::demand(build, op, &blend, fuel.density)?;
        let surroundings = Surroundings {
            rho: fuel.density,
            mu: fuel.viscosity,
            vapour: fuel.vapour_pressure,
            supply: supply(build, op)?,
            manifold: ambient + op.boost,
            boost: op.boost,
            imposed_reference: op.reference.map(|p| ambient + p),
            ambient,
        };
        let mut circuit = Self {
            legs: Vec::new(),
            junctions: Vec::new(),
            given_names: Vec::new(),
            given: Vec::new(),
            surroundings,
            fuel_temperature: t,
            demand,
            belief: None,
            rail: None,
        };
        for leg in build.legs() {
            let from = circuit.end(build, &leg.from);
            let to = circuit.end(build, &leg.to);
            let mut elements = Vec::with_capacity(leg.parts.len());
            for name in &leg.parts {
                let part = build.part(name).expect("the reader has checked the names");
                elements.push(circuit.element(build, name, part, &blend)?);
            }
            if matches!(elements.last(), Some(Element::Injectors(_))) && circuit.rail.is_none() {
                circuit.rail = Some(from);
            }
            circuit.legs.push(LegLaw {
                name: leg.name.clone(),
                from,
                to,
                parts: leg.parts.clone(),
                elements,
                torn: None,
            });
            for name in &leg.parts {
                let part = build.part(name).expect("the reader has checked the names");
                if part.kind == "regulator" && part.values.si("rupture") > 0.0 {
                    circuit.ruptured(build, name, &part.values, from);
                }
            }
        }
        Ok(circuit)
    }

    /// Fuel that runs through a torn diaphragm into the reference hose, to wherever the hose leads: into the engine by way
    /// of manifold, charge pipe or intake, and to the ground from an open one.
    fn ruptured(&mut self, build: &Build, name: &str, v: &Values, from: End) {
        let hole = v.si("rupture");
        let to = match port(build, v) {
            Port::Manifold => self.end(build, "manifold"),
            Port::Air => self.end(build, "air"),
            inlet => {
                self.given_names.push(format!("{name} reference hose"));
                self.given.push(inlet.pressure(&self.surroundings));
                End::Given(self.given.len() - 1)
            }
        };
        self.legs.push(LegLaw {
            name: format!("{name} rupture"),
            from,
            to,
            parts: vec![format!("{name} diaphragm")],
            elements: vec![Element::Orifice { cd_a: SHARP_HOLE * PI * hole * hole / 4.0 }],
            torn: Some(port(build, v)),
        });
    }

    fn end(&mut self, build: &Build, name: &str) -> End {
        let place = |list: &mut Vec<String>| {
            list.iter().position(|n| n == name).unwrap_or_else(|| {
                list.push(name.to_owned());
                list.len() - 1
            })
        };
        let s = &self.surroundings;
        let given = match build.part(name).map(|p| (p.kind, &p.values)) {
            Some(("tank" | "surge pot", v)) => Some(s.ambient + v.si("vent_pressure")),
            _ => match name {
                "tank" | "air" => Some(s.ambient),
                "manifold" => Some(s.manifold),
                _ => None,
            },
        };
        match given {
            Some(p) => {
                let i = place(&mut self.given_names);
                if i == self.given.len() {
                    self.given.push(p);
                }
                End::Given(i)
            }
            None => End::Free(place(&mut self.junctions)),
        }
    }

    fn element(&mut self, build: &Build, name: &str, part: &Part, blend: &Blend) -> Result<Element> {
        let v = &part.values;
        Ok(match part.kind {
            "strainer" => Element::Strainer { filter: filter_law(v), head: v.si("head") },
            "filter" => Element::Filter(filter_law(v)),
            "line" => Element::Line(line_law(v)),
            "check valve" => Element::Check { valve: check_valve_law(v), shut: v.si("leak") },
            "orifice" => Element::Orifice { cd_a: effective_area(v) },
            "relief valve" => Element::Relief { opens_at: v.si("opens_at"), slope: v.si("slope") },
            "pump" => Element::Pump(Box::new(PumpOnWire {
                pump: build.pump(name)?,
                wire: Wire::of(name, v)?,
                on_above: v.opt("on_above_boost"),
                controlled: v.word("speed_control") == "rail",
                held_to: None,
            })),
            "regulator" => {
                // Base was set with warm fuel in the car: the density of now.
                let regulator =
                    regulator_law(v, self.surroundings.rho).map_err(|e| e.at_key(format!("{name}.seat")))?;
                Element::Regulator(Box::new(ReferencedRegulator {
                    regulator,
                    port: port(build, v),
                    leak: v.si("reference_leak"),
                }))
            }
            "injectors" => {
                let set = self.injectors(build, name, v, blend)?;
                Element::Injectors(Box::new(set))
            }
            other => unreachable!("{other} is not a part along a leg"),
        })
    }

    fn injectors(&mut self, build: &Build, name: &str, v: &Values, blend: &Blend) -> Result<InjectorSet> {
        let s = self.surroundings;
        let truth = injector_law(v).map_err(|e| e.at_key(format!("{name}.dead_time_rows")))?;
        let count = v.opt("count").unwrap_or_else(|| build.section("engine").si("cylinders"));
        let short_pulse = short_pulse_law(v).map_err(|e| e.at_key(format!("{name}.low_pulse_rows")))?;
        let believed_short =
            low_pulse_law(build.section("control")).map_err(|e| e.at_key("control.low_pulse_rows"))?;
        let mut pulse = Pulse::Off;
        if let Some(d) = &self.demand {
            let c = build.section("control");
            let total: f64 =
                build.parts_of("injectors").map(|(_, p)| p.values.opt("count").unwrap_or(d.cylinders)).sum();
            let believed_afr = c.opt("stoichiometric_ratio").unwrap_or(d.stoichiometric);
            // Speed-density: the believed air goes with the manifold pressure that is read.
            let read = s.manifold + build.section("reading").si("manifold_offset");
            let believed_air = d.air * (1.0 + c.si("air_error")) * read / s.manifold;
            let factor = d.fuel * d.lambda * d.stoichiometric / d.air; // what headroom questions multiply demand by
            let mass = factor * believed_air / (d.lambda * believed_afr) * d.cycle / total;
            // Believed flow: nominal at the stated difference and test fluid, carried to the calibration's fuel.
            let flow = c.opt("injector_flow").unwrap_or_else(|| v.si("static_flow"));
            let at = c.opt("injector_difference").unwrap_or_else(|| v.si("difference"));
            let rho = c.opt("fuel_density").unwrap_or_else(|| blend.density_at_15().value);
            let coefficient = flow * (v.si("test_density") / at).sqrt() * rho.sqrt(); // kg/s per sqrt(Pa)
            let error = c.si("dead_time_error");
            if c.word("compensation") == "rail sensor" {
                pulse = Pulse::Measured { mass, coefficient, dead_time_error: error, cycle: d.cycle };
                self.belief.get_or_insert(Belief {
                    mass,
                    difference: f64::NAN,
                    static_flow: flow,
                    reference_difference: at,
                    density: rho,
                    flow: f64::NAN,
                    low_pulse: f64::NAN,
                    dead_time: f64::NAN,
                    pulse: f64::NAN,
                });
            } else {
                let base = build.believed_base().ok_or_else(|| {
                    Error::new(
                        Kind::Value,
                        "the calibration's base pressure is not known: there is no regulator",
                    )
                    .next("write base = \"3 bar\" in [control]")
                    .at_key("control.base")
                })?;
                let difference = if c.word("compensation") == "base less manifold" {
                    base - (read - s.ambient)
                } else {
                    base
                };
                if difference <= 0.0 {
                    return Err(Error::new(
                        Kind::Range,
                        "the calibration expects no pressure difference at all across the injectors",
                    )
                    .next("less boost, or another compensation")
                    .at_key("control.compensation"));
                }
                let (dead, _) = truth.dead_time.at_edge(s.supply, difference);
                let dead = dead + error;
                let q = coefficient * difference.sqrt();
                let open = mass / q;
                let effective = believed_short.as_ref().map_or(open, |t| t.effective_for(open));
                let width = effective + dead;
                pulse = Pulse::Fixed { pulse: width, cycle: d.cycle };
                self.belief.get_or_insert(Belief {
                    mass,
                    difference,
                    static_flow: flow,
                    reference_difference: at,
                    density: rho,
                    flow: q,
                    low_pulse: effective - open,
                    dead_time: dead,
                    pulse: width,
                });
            }
        }
        let leak = v.si("static_leak");
        Ok(InjectorSet {
            leak_cd_a: leak * (s.rho / (2.0 * v.si("difference"))).sqrt(),
            injector: Arc::new(truth),
            count,
            short_pulse,
            believed_short,
            pulse,
        })
    }
}

/// What a regulator's reference port is joined to.
fn port(build: &Build, v: &Values) -> Port {
    match v.word("reference") {
        "manifold" => Port::Manifold,
        "intake" => Port::Intake(build.section("engine").si("intake_loss")),
        "charge pipe" => Port::ChargePipe,
        _ => Port::Air,
    }
}
