//! A build of the common layout as plain numbers, and the car that follows from them.

use super::columns::{Car, Lanes, MAX_KNOTS, MAX_LEGS, MAX_LINES, Series};
use crate::build::{Build, LOSS_FLUID, injector_law};
use crate::error::{Error, Kind, Result};
use crate::fuel::{Blend, Component};
use crate::part::check_valve::CLOSED_SLOPE;
use crate::part::injector::Injector;
use crate::part::pump::{Curve, Pump, RatingRow};
use crate::part::regulator::Regulator;
use crate::part::wiring::copper_wire_resistance;
use crate::quantity::{AbsolutePressure, Amount, STANDARD_GRAVITY, abs, kelvin, kg_per_m3, m, m2, pa};
use crate::spec::{Takes, Values};
use std::f64::consts::PI;

/// Where a value lies; asked for once, used for every draw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot(usize);

#[derive(Clone, Copy, Debug)]
struct Range {
    low: f64,
    high: f64,
    /// The state of the fuel follows from it.
    fuel: bool,
}

/// A value that a build may leave out.
type Maybe = Option<usize>;

#[derive(Clone, Debug)]
struct FilterSlots {
    loss: usize,
    at_flow: usize,
    turbulent: usize,
    dirt: usize,
    blocked: Maybe,
    head: Maybe,
}

#[derive(Clone, Debug)]
struct LineSlots {
    length: usize,
    bore: usize,
    roughness: usize,
    fittings: usize,
    rise: usize,
}

#[derive(Clone, Debug)]
struct CheckSlots {
    cracking: usize,
    bore: usize,
    cd: usize,
    leak: usize,
}

/// Parts in series without a pump.
#[derive(Clone, Debug, Default)]
pub(super) struct SeriesLayout {
    filters: Vec<FilterSlots>,
    lines: Vec<LineSlots>,
    check: Option<CheckSlots>,
}

#[derive(Clone, Debug)]
struct PumpSlots {
    law: Pump,
    rated: RatingRow,
    flow_factor: usize,
    wear: usize,
    relief: usize,
    relief_slope: usize,
    required: usize,
    feed_length: usize,
    return_length: usize,
    area: usize,
    temperature: usize,
    feed_contacts: usize,
    return_contacts: usize,
    on_above: Maybe,
}

/// A pump's leg.
#[derive(Clone, Debug)]
pub(super) struct LegLayout {
    pub pump: String,
    pub regenerative: bool,
    slots: PumpSlots,
    pub before: SeriesLayout,
    pub after: SeriesLayout,
    /// Pressure over the fuel where it begins.
    vent: Maybe,
}

#[derive(Clone, Debug)]
struct RegulatorSlots {
    base: usize,
    setting_flow: usize,
    diaphragm: usize,
    seat: usize,
    rate: usize,
    max_lift: usize,
    cd: usize,
    flow_force: usize,
    screw: usize,
    pitch: usize,
    leak: usize,
    seized: usize,
    vent: Maybe,
}

#[derive(Clone, Debug)]
struct InjectorSlots {
    static_flow: usize,
    flow_factor: usize,
    difference: usize,
    test_density: usize,
    dead_time: usize,
    short_pulse: usize,
    spread: usize,
    leak: usize,
    count: Maybe,
}

/// Dead time on its grid, without what is added to it.
#[derive(Clone, Debug)]
pub(super) struct DeadTable {
    pub volts: Vec<f64>,
    pub differences: Vec<f64>,
    /// `seconds[volt][difference]`.
    pub seconds: Vec<Vec<f64>>,
    added: bool,
}

#[derive(Clone, Debug)]
struct ControlSlots {
    flow: Maybe,
    difference: Maybe,
    dead_error: usize,
    air_error: usize,
    manifold_offset: usize,
    density: Maybe,
    ratio: Maybe,
    base: Maybe,
    rail_target: Maybe,
}

#[derive(Clone, Debug)]
struct EngineSlots {
    displacement: usize,
    cylinders: usize,
    efficiency: usize,
    lambda: usize,
    compressor: usize,
    intercooler: usize,
    intake_loss: usize,
    intercooler_loss: usize,
    charge: Maybe,
    rev_limit: usize,
    outside: usize,
    ambient: usize,
}

#[derive(Clone, Debug)]
struct FuelSlots {
    density: usize,
    vapour: usize,
    ethanol: usize,
    temperature: usize,
}

/// What the control unit does about the pressure difference.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Compensation {
    None,
    BaseLessManifold,
    RailSensor,
}

/// What the reference port is joined to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Port {
    Manifold,
    Air,
    Intake,
    ChargePipe,
}

/// How the parts are joined: the same for every draw.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub legs: Vec<LegLayout>,
    pub feed: SeriesLayout,
    pub to_regulator: SeriesLayout,
    pub back: SeriesLayout,
    pub regulator: String,
    pub port: Port,
    pub compensation: Compensation,
    pub dead: DeadTable,
    regulator_slots: RegulatorSlots,
    injectors: InjectorSlots,
    control: ControlSlots,
    engine: EngineSlots,
    fuel: FuelSlots,
    volts: usize,
    volts_offset: usize,
}

/// A build of the common layout: pump legs from tank to rail, one by-pass regulator after the rail, one set of
/// injectors. Its values are plain numbers behind [`Slot`]s.
#[derive(Clone, Debug)]
pub struct Reduced {
    pub(super) build: Build,
    pub(super) layout: Layout,
    paths: Vec<String>,
    ranges: Vec<Range>,
    values: Vec<f64>,
    car: Box<Car<1>>,
    /// Values that the car does not follow from yet.
    stale: bool,
    fuel_stale: bool,
    fuel: FuelState,
    imposed_temperature: Option<f64>,
    /// Why this car cannot be computed.
    refused: bool,
}

#[derive(Clone, Copy, Debug, Default)]
struct FuelState {
    rho: f64,
    mu: f64,
    vapour: f64,
    afr: f64,
    density15: f64,
}

impl SeriesLayout {
    pub fn lines(&self) -> usize {
        self.lines.len()
    }

    pub fn has_check(&self) -> bool {
        self.check.is_some()
    }

    pub fn is_empty(&self) -> bool {
        self.filters.is_empty() && self.lines.is_empty() && self.check.is_none()
    }

    /// `None` for parts that the fast form does not know.
    fn of(build: &Build, parts: &[String], find: &dyn Fn(&str, &str) -> Maybe) -> Option<Self> {
        let mut out = Self::default();
        for name in parts {
            let at = |key: &str| find(name, key);
            match build.part(name)?.kind {
                "strainer" => out.filters.push(FilterSlots {
                    loss: at("loss")?,
                    at_flow: at("at_flow")?,
                    turbulent: at("turbulent_part")?,
                    dirt: at("dirt")?,
                    blocked: Some(at("blocked")?),
                    head: Some(at("head")?),
                }),
                "filter" => out.filters.push(FilterSlots {
                    loss: at("loss")?,
                    at_flow: at("at_flow")?,
                    turbulent: at("turbulent_part")?,
                    dirt: at("dirt")?,
                    blocked: None,
                    head: None,
                }),
                "line" if out.lines.len() < MAX_LINES => out.lines.push(LineSlots {
                    length: at("length")?,
                    bore: at("bore")?,
                    roughness: at("roughness")?,
                    fittings: at("fittings")?,
                    rise: at("rise")?,
                }),
                "check valve" if out.check.is_none() => {
                    out.check = Some(CheckSlots {
                        cracking: at("cracking")?,
                        bore: at("bore")?,
                        cd: at("cd")?,
                        leak: at("leak")?,
                    });
                }
                _ => return None,
            }
        }
        Some(out)
    }

    fn derive(&self, v: &[f64], rho: f64, mu: f64, out: &mut Series<1>) {
        let (mut head, mut lin, mut quad) = (0.0, 0.0, 0.0);
        for f in &self.filters {
            let (loss, q, t) = (v[f.loss], v[f.at_flow], v[f.turbulent]);
            let open = 1.0 - f.blocked.map_or(0.0, |s| v[s]);
            lin += (1.0 - t) * loss / (LOSS_FLUID.0 * q) / open * (1.0 + v[f.dirt]) * mu;
            quad += t * loss / (LOSS_FLUID.1 * q * q) / (open * open) * rho;
            head -= f.head.map_or(0.0, |s| rho * STANDARD_GRAVITY * v[s]);
        }
        for (l, to) in self.lines.iter().zip(&mut out.line) {
            let bore = v[l.bore];
            let area = PI / 4.0 * bore * bore;
            to.visc = [mu * v[l.length] / (2.0 * bore * bore * area)];
            to.re = [rho * bore / (area * mu)];
            to.rough = [v[l.roughness] / bore];
            quad += 0.5 * v[l.fittings] * rho / (area * area);
            head += rho * STANDARD_GRAVITY * v[l.rise];
        }
        if let Some(c) = &self.check {
            let d = v[c.bore];
            out.crack = [v[c.cracking]];
            out.valve = [(0.5 * rho).sqrt() / (v[c.cd] * PI * d * d / 4.0)];
            out.shut = [v[c.leak].min(CLOSED_SLOPE)];
        }
        (out.head, out.lin, out.quad) = ([head], [lin], [quad]);
    }
}

impl DeadTable {
    fn of(values: &Values) -> Option<Self> {
        let law = injector_law(values).ok()?.dead_time;
        let (volts, differences) = (law.volts().to_vec(), law.differences().to_vec());
        if differences.len() > MAX_KNOTS {
            return None;
        }
        // With rows the single value counts only where it is said.
        let parameter = values.parameter("dead_time")?;
        let default = parameter.source.as_deref().is_some_and(|s| s.starts_with("default"));
        let added = values.rows("dead_time_rows").is_none() || !default;
        let base = if added { parameter.si } else { 0.0 };
        let seconds = volts
            .iter()
            .map(|u| differences.iter().map(|d| law.at_edge(*u, *d).0 - base).collect())
            .collect();
        Some(Self { volts, differences, seconds, added })
    }
}

impl Reduced {
    /// The fast form of a build; `None` when its layout or parts are others (a lift pump with a pot, a
    /// regulator before the rail, a speed-controlled pump, twin rails, plain orifices, relief valves in legs): then
    /// [`super::super::point`] solves it.
    #[must_use]
    pub fn of(build: &Build) -> Option<Self> {
        let (mut paths, mut values, mut ranges) = (Vec::new(), Vec::new(), Vec::new());
        for (path, parameter) in build.parameters() {
            let (owner, key) = path.rsplit_once('.')?;
            let keys = build.part(owner).map_or_else(|| build.section(owner).schema(), |p| p.values.schema());
            let Takes::Scalar { low, high, .. } = keys.iter().find(|k| k.name == key)?.takes else {
                return None;
            };
            ranges.push(Range { low, high, fuel: owner == "fuel" || path == "ambient.pressure" });
            values.push(parameter.si);
            paths.push(path);
        }
        let find = |owner: &str, key: &str| -> Maybe {
            paths.iter().position(|p| {
                p.strip_prefix(owner).and_then(|rest| rest.strip_prefix('.')).is_some_and(|k| k == key)
            })
        };
        let layout = layout(build, &find)?;
        let mut out = Self {
            build: build.clone(),
            layout,
            paths,
            ranges,
            values,
            car: Box::new(Car::blank()),
            stale: true,
            fuel_stale: true,
            fuel: FuelState::default(),
            imposed_temperature: None,
            refused: false,
        };
        out.derive();
        (!out.refused).then_some(out)
    }

    /// Where the value of a path lies.
    ///
    /// # Errors
    /// A path that the build does not have, or a value that a pump's law is identified from: that is done once a
    /// build.
    pub fn slot(&self, path: &str) -> Result<Slot> {
        if path.ends_with(".held_open") || path.ends_with(".rupture") {
            return Err(Error::new(Kind::Unknown, "the fast form knows sound regulators only")
                .next("ask the general solver")
                .at_key(path));
        }
        if path.ends_with(".rated_speed") || path.ends_with(".rating_viscosity") {
            return Err(Error::new(Kind::Unknown, "the pump's law is identified from it once a build")
                .next("make a build for each value")
                .at_key(path));
        }
        self.build.parameter(path)?;
        self.paths
            .iter()
            .position(|p| p == path)
            .map(Slot)
            .ok_or_else(|| Error::new(Kind::Unknown, "this is no single value of the build").at_key(path))
    }

    /// The value in a slot, SI.
    #[must_use]
    pub fn get(&self, slot: Slot) -> f64 {
        self.values[slot.0]
    }

    /// Sets a value, SI; false when it is outside what its key may be, and then nothing is changed.
    #[inline]
    pub fn set(&mut self, slot: Slot, si: f64) -> bool {
        let r = self.ranges[slot.0];
        if !(si >= r.low && si <= r.high) {
            return false;
        }
        if slot.0 == self.layout.injectors.dead_time && !self.layout.dead.added {
            self.layout.dead.added = true; // now it is said
            self.stale = true;
        }
        if self.values[slot.0] != si {
            self.values[slot.0] = si;
            self.stale = true;
            self.fuel_stale |= r.fuel;
        }
        true
    }

    /// All values.
    pub(super) fn values(&self) -> &[f64] {
        &self.values
    }

    /// Puts all values back.
    pub(super) fn restore(&mut self, values: &[f64]) {
        self.values.copy_from_slice(values);
        self.stale = true;
        self.fuel_stale = true;
    }

    /// Why a value is refused.
    pub(super) fn refusal(&self, slot: Slot, si: f64) -> Error {
        let mut copy = self.build.clone();
        match copy.set_si(&self.paths[slot.0], si) {
            Err(e) => e,
            Ok(()) => {
                let dim = self.build.parameter(&self.paths[slot.0]).map(|p| p.dim);
                let shown = dim.map_or_else(|_| si.to_string(), |d| Amount::new(si, d).to_string());
                Error::new(Kind::Value, format!("{shown} was refused")).at_key(&self.paths[slot.0])
            }
        }
    }

    /// The build with the values of now, for the general solver.
    pub(super) fn as_build(&self) -> Result<Build> {
        let mut build = self.build.clone();
        for (path, si) in self.paths.iter().zip(&self.values) {
            if build.si(path).ok() != Some(*si) {
                build.set_si(path, *si)?;
            }
        }
        Ok(build)
    }

    /// Imposes a fuel temperature, or gives it back to the build.
    pub(super) fn impose_temperature(&mut self, kelvin: Option<f64>) {
        if self.imposed_temperature != kelvin {
            self.imposed_temperature = kelvin;
            self.stale = true;
            self.fuel_stale = true;
        }
    }

    /// The car that follows from the values; `None` where the fuel's laws refuse.
    pub(super) fn car(&mut self) -> Option<&Car<1>> {
        if self.stale {
            self.derive();
        }
        (!self.refused).then_some(&*self.car)
    }

    /// The fuel's state is costly, so it is found again only when a value that it follows from has changed; the
    /// rest is a few dozen products.
    fn derive(&mut self) {
        if self.fuel_stale {
            self.fuel_stale = false;
            let f = &self.layout.fuel;
            let v = &self.values;
            let t = self.imposed_temperature.unwrap_or(v[f.temperature]);
            let state =
                fuel_state(v[f.density], v[f.vapour], v[f.ethanol], t, v[self.layout.engine.ambient] + 3e5);
            self.refused = state.is_none();
            if let Some(state) = state {
                self.fuel = state;
            }
        }
        self.stale = false;
        if self.refused {
            return;
        }
        let (lay, v, fuel) = (&self.layout, &self.values, self.fuel);
        let (rho, mu) = (fuel.rho, fuel.mu);
        let car = &mut *self.car;
        let ambient = v[lay.engine.ambient];
        car.ambient = [ambient];
        car.rho = [rho];
        car.vapour = [fuel.vapour];
        car.volts = [v[lay.volts]];
        car.volts_offset = [v[lay.volts_offset]];
        for (leg, to) in lay.legs.iter().zip(&mut car.legs) {
            to.from = [ambient + leg.vent.map_or(0.0, |s| v[s])];
            leg.before.derive(v, rho, mu, &mut to.before);
            leg.after.derive(v, rho, mu, &mut to.after);
            to.on_above = [leg.slots.on_above.map_or(f64::NEG_INFINITY, |s| v[s])];
            leg.slots.derive(v, mu, &mut to.pump);
        }
        lay.feed.derive(v, rho, mu, &mut car.feed);
        lay.to_regulator.derive(v, rho, mu, &mut car.to_regulator);
        lay.back.derive(v, rho, mu, &mut car.back);

        let r = &lay.regulator_slots;
        let d = v[r.diaphragm];
        let mut law = Regulator {
            area: PI * d * d / 4.0,
            seat: v[r.seat],
            rate: v[r.rate],
            preload: 0.0,
            max_lift: v[r.max_lift],
            min_lift: 0.0,
            cd: v[r.cd],
            flow_force: v[r.flow_force],
            friction: 0.0,
        };
        let turns = v[r.screw] / std::f64::consts::TAU;
        law.preload = law.preload_for(v[r.base], v[r.setting_flow], rho)
            + turns * v[r.pitch] * law.rate
            + v[r.seized] * (law.area - law.seat_area());
        // A seat that leaves the fuel no area is refused, as the build refuses it.
        self.refused = law.seat_area() > 0.5 * law.area;
        let p = &mut car.poppet;
        p.area = [law.area];
        p.seat_area = [law.seat_area()];
        p.net = [law.area - law.seat_area()];
        p.curtain = [PI * law.seat];
        p.rate = [law.rate];
        p.preload = [law.preload];
        p.max_lift = [law.max_lift];
        p.flow = [law.cd * (2.0 / rho).sqrt()];
        p.flow_force = [law.flow_force];
        p.kept = [1.0 - v[r.leak]];
        p.to = [ambient + r.vent.map_or(0.0, |s| v[s])];

        let (j, c, e) = (&lay.injectors, &lay.control, &lay.engine);
        let truth = Injector {
            static_flow: v[j.static_flow] * v[j.flow_factor],
            reference_difference: v[j.difference],
            reference_density: v[j.test_density],
            dead_time: crate::part::injector::DeadTime::constant(0.0),
        };
        let count = j.count.map_or(v[e.cylinders], |s| v[s]);
        let or = |slot: Maybe, other: f64| slot.map_or(other, |s| v[s]);
        let at = or(c.difference, v[j.difference]);
        let i = &mut car.injection;
        i.open = [count * truth.cd_a() * (2.0 / rho).sqrt()];
        let leak = v[j.leak] * (rho / (2.0 * v[j.difference])).sqrt();
        i.leak = [leak.max(1e-18) * (2.0 / rho).sqrt()];
        i.short = [v[j.short_pulse]];
        i.count = [count];
        i.spread = [v[j.spread]];
        i.dead = [if lay.dead.added { v[j.dead_time] } else { 0.0 }];
        i.dead_error = [v[c.dead_error]];
        i.read = [v[c.manifold_offset]];
        let (flow, density) = (or(c.flow, v[j.static_flow]), or(c.density, fuel.density15));
        i.coefficient = [flow * (v[j.test_density] / at).sqrt() * density.sqrt()];
        i.base = [or(c.base, v[r.base])];
        i.mass = [(1.0 + v[c.air_error]) / (v[e.lambda] * or(c.ratio, fuel.afr)) / count];
        let _ = c.rail_target; // only without a regulator, which this layout has

        let to = &mut car.engine;
        to.breath = [v[e.efficiency] * v[e.displacement] / crate::part::air::GAS_CONSTANT];
        to.lambda = [v[e.lambda]];
        to.afr = [fuel.afr];
        to.outside = [v[e.outside]];
        to.compressor = [v[e.compressor]];
        to.intercooler = [v[e.intercooler]];
        to.intake_loss = [v[e.intake_loss]];
        to.intercooler_loss = [v[e.intercooler_loss]];
        to.charge = [e.charge.map_or(f64::NAN, |s| v[s])];
        to.rev_limit = [v[e.rev_limit]];
    }
}

impl PumpSlots {
    fn derive(&self, v: &[f64], mu: f64, to: &mut super::columns::Pump<1>) {
        let factor = v[self.flow_factor];
        let wear = v[self.wear];
        let per_metre = copper_wire_resistance(m(1.0), m2(v[self.area]), kelvin(v[self.temperature])).value;
        let feed = per_metre * v[self.feed_length] + v[self.feed_contacts];
        let back = per_metre * v[self.return_length] + v[self.return_contacts];
        let r = feed + back + self.law.armature;
        match self.law.curve {
            Curve::Displacement { g, k, c } => {
                let (g, k, c) = (g * factor, k * factor, c * factor);
                let slip = wear * self.rated.flow / self.rated.pressure.max(0.5e5);
                (to.g, to.c) = ([g], [c]);
                to.slip = [k * self.law.rated_viscosity / mu + slip];
            }
            Curve::Regenerative { a, b, t, u } => {
                to.a = [a * (1.0 - 0.5 * wear)];
                to.b = [b / factor];
                to.t = [t];
                to.u = [u / factor];
            }
        }
        to.r = [r];
        to.loop_r = [feed + back];
        to.idle = [self.law.idle_current];
        to.relief = [v[self.relief]];
        to.relief_slope = [v[self.relief_slope]];
        to.required = [v[self.required]];
    }
}

/// The fuel at a temperature and pressure, as [`super::super::circuit::Circuit`] has it.
fn fuel_state(density: f64, dvpe: f64, ethanol: f64, t: f64, p: f64) -> Option<FuelState> {
    let petrol = Component::Petrol { density15: kg_per_m3(density), dvpe: abs(pa(dvpe)) };
    let blend = Blend::from_volume(&[(petrol, 1.0 - ethanol), (Component::Ethanol, ethanol)]).ok()?;
    let state = blend.at(kelvin(t), AbsolutePressure::from_pascals(p)).ok()?;
    Some(FuelState {
        rho: state.density,
        mu: state.viscosity,
        vapour: state.vapour_pressure,
        afr: blend.stoichiometric_afr(),
        density15: blend.density_at_15().value,
    })
}

fn layout(build: &Build, find: &dyn Fn(&str, &str) -> Maybe) -> Option<Layout> {
    build.fuel().ok()?;
    let kind = |name: &String| build.part(name).map(|p| p.kind);
    let has = |leg: &crate::build::Leg, k: &str| leg.parts.iter().any(|p| kind(p) == Some(k));
    let legs = build.legs();
    let one = |k: &'static str| {
        let mut of = legs.iter().filter(|l| has(l, k));
        of.next().filter(|_| of.next().is_none())
    };
    let (injection, regulation) = (one("injectors")?, one("regulator")?);
    let tabled = |v: &Values| v.rows("low_pulse_rows").is_some();
    if build.section("engine").rows("ve_map_rows").is_some() {
        return None;
    }
    if tabled(&build.part(&injection.parts[0])?.values) || tabled(build.section("control")) {
        return None;
    }
    let pumping: Vec<_> = legs.iter().filter(|l| has(l, "pump")).collect();
    let rail = &injection.from;
    let is_tank = |name: &String| name == "tank" || name == "air" || kind(name) == Some("tank");
    // The vent of the tank at an end: none for the plain words.
    let vent = |name: &String| find(name, "vent_pressure");
    if injection.parts.len() != 1
        || regulation.from != *rail
        || !is_tank(&regulation.to)
        || pumping.is_empty()
        || pumping.len() > MAX_LEGS
        || pumping.iter().any(|l| !is_tank(&l.from) || l.to != pumping[0].to)
    {
        return None;
    }
    let feed = if pumping[0].to == *rail {
        SeriesLayout::default()
    } else {
        let leg = legs.iter().find(|l| l.from == pumping[0].to && l.to == *rail)?;
        SeriesLayout::of(build, &leg.parts, find).filter(|s| !s.has_check())?
    };
    if legs.len() != 2 + pumping.len() + usize::from(pumping[0].to != *rail) {
        return None;
    }
    let mut out = Vec::new();
    for leg in &pumping {
        let mut at = leg.parts.iter().enumerate().filter(|(_, p)| kind(p) == Some("pump"));
        let (i, name) = at.next().filter(|_| at.next().is_none())?;
        let values = &build.part(name)?.values;
        if values.word("speed_control") == "rail" {
            return None;
        }
        let law = build.pump_law(name)?;
        let s = |key: &str| find(name, key);
        out.push(LegLayout {
            pump: name.clone(),
            regenerative: matches!(law.pump.curve, Curve::Regenerative { .. }),
            slots: PumpSlots {
                law: law.pump,
                rated: law.rows()[0],
                flow_factor: s("flow_factor")?,
                wear: s("wear")?,
                relief: s("relief")?,
                relief_slope: s("relief_slope")?,
                required: s("required_margin")?,
                feed_length: s("feed_length")?,
                return_length: s("return_length")?,
                area: s("wire_area")?,
                temperature: s("wire_temperature")?,
                feed_contacts: s("feed_contacts")?,
                return_contacts: s("return_contacts")?,
                on_above: s("on_above_boost"),
            },
            before: SeriesLayout::of(build, &leg.parts[..i], find)?,
            after: SeriesLayout::of(build, &leg.parts[i + 1..], find)?,
            vent: vent(&leg.from),
        });
    }
    let at = regulation.parts.iter().position(|p| kind(p) == Some("regulator"))?;
    let regulator = &regulation.parts[at];
    let to_regulator = SeriesLayout::of(build, &regulation.parts[..at], find)?;
    let back = SeriesLayout::of(build, &regulation.parts[at + 1..], find)?;
    let open = |key: &str| build.part(regulator).is_some_and(|p| p.values.si(key) > 0.0);
    if open("held_open") || open("rupture") || to_regulator.has_check() || back.has_check() {
        return None;
    }
    let (r, j) = (|key: &str| find(regulator, key), |key: &str| find(&injection.parts[0], key));
    let (c, e, f) = (|k: &str| find("control", k), |k: &str| find("engine", k), |k: &str| find("fuel", k));
    Some(Layout {
        legs: out,
        feed,
        to_regulator,
        back,
        port: match build.part(regulator)?.values.word("reference") {
            "manifold" => Port::Manifold,
            "intake" => Port::Intake,
            "charge pipe" => Port::ChargePipe,
            _ => Port::Air,
        },
        compensation: match build.section("control").word("compensation") {
            "base less manifold" => Compensation::BaseLessManifold,
            "rail sensor" => Compensation::RailSensor,
            _ => Compensation::None,
        },
        dead: DeadTable::of(&build.part(&injection.parts[0])?.values)?,
        regulator_slots: RegulatorSlots {
            base: r("base")?,
            setting_flow: r("setting_flow")?,
            diaphragm: r("diaphragm")?,
            seat: r("seat")?,
            rate: r("spring_rate")?,
            max_lift: r("max_lift")?,
            cd: r("cd")?,
            flow_force: r("flow_force")?,
            screw: r("screw")?,
            pitch: r("screw_pitch")?,
            leak: r("reference_leak")?,
            seized: r("seized")?,
            vent: vent(&regulation.to),
        },
        regulator: regulator.clone(),
        injectors: InjectorSlots {
            static_flow: j("static_flow")?,
            flow_factor: j("flow_factor")?,
            difference: j("difference")?,
            test_density: j("test_density")?,
            dead_time: j("dead_time")?,
            short_pulse: j("short_pulse")?,
            spread: j("cylinder_spread")?,
            leak: j("static_leak")?,
            count: j("count"),
        },
        control: ControlSlots {
            flow: c("injector_flow"),
            difference: c("injector_difference"),
            dead_error: c("dead_time_error")?,
            air_error: c("air_error")?,
            manifold_offset: find("reading", "manifold_offset")?,
            density: c("fuel_density"),
            ratio: c("stoichiometric_ratio"),
            base: c("base"),
            rail_target: c("rail_target"),
        },
        engine: EngineSlots {
            displacement: e("displacement")?,
            cylinders: e("cylinders")?,
            efficiency: e("volumetric_efficiency")?,
            lambda: e("lambda")?,
            compressor: e("compressor_efficiency")?,
            intercooler: e("intercooler_effectiveness")?,
            intake_loss: e("intake_loss")?,
            intercooler_loss: e("intercooler_loss")?,
            charge: e("charge_temperature"),
            rev_limit: e("rev_limit")?,
            outside: find("ambient", "temperature")?,
            ambient: find("ambient", "pressure")?,
        },
        fuel: FuelSlots {
            density: f("petrol_density")?,
            vapour: f("vapour_pressure")?,
            ethanol: f("ethanol")?,
            temperature: f("temperature")?,
        },
        volts: find("supply", "voltage")?,
        volts_offset: find("supply", "voltage_offset")?,
    })
}
