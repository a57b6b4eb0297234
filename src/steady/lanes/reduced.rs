//! A build of the common layout as plain numbers, and the car that follows from them.

use super::columns::{Car, Fuel, Lanes, MAX_KNOTS, MAX_LEGS, MAX_LINES, Row, Series};
use super::math::{fma, max, min};
use crate::build::{Build, LOSS_FLUID, injector_law};
use crate::error::{Error, Kind, Result};
use crate::fuel::{Blend, Component};
use crate::part::check_valve::CLOSED_SLOPE;
use crate::part::pump::{Curve, Pump, RatingRow};
use crate::part::wiring::copper_wire_resistance;
use crate::quantity::{AbsolutePressure, Amount, STANDARD_GRAVITY, abs, kelvin, kg_per_m3, m, m2, pa};
use crate::spec::{Takes, Values};
use std::f64::consts::PI;

/// Where a value lies; asked for once, used for every draw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot(usize);

impl Slot {
    pub(super) fn index(self) -> usize {
        self.0
    }
}

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
    /// Resistivity of the wire over its temperature: slope and offset.
    copper: (f64, f64),
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

    #[inline(always)]
    fn derive<const W: usize>(&self, v: &[Row<W>], fuel: &Fuel<W>, out: &mut Series<W>) {
        let (rho, mu) = (&fuel.rho, &fuel.mu);
        (out.head, out.lin, out.quad) = (Row::<W>::of(0.0), Row::<W>::of(0.0), Row::<W>::of(0.0));
        let none = Row::<W>::of(0.0);
        for f in &self.filters {
            let (loss, flow, part, dirt) = (&v[f.loss], &v[f.at_flow], &v[f.turbulent], &v[f.dirt]);
            let blocked = f.blocked.map_or(&none, |s| &v[s]);
            let head = f.head.map_or(&none, |s| &v[s]);
            for i in 0..W {
                let over = 1.0 / ((1.0 - blocked[i]) * flow[i]);
                let lin = (1.0 - part[i]) * loss[i] * (1.0 / LOSS_FLUID.0);
                out.lin[i] += lin * over * (1.0 + dirt[i]) * mu[i];
                out.quad[i] += part[i] * loss[i] * (1.0 / LOSS_FLUID.1) * (over * over) * rho[i];
                out.head[i] -= rho[i] * STANDARD_GRAVITY * head[i];
            }
        }
        for (l, to) in self.lines.iter().zip(&mut out.line) {
            let (bore, length, rough) = (&v[l.bore], &v[l.length], &v[l.roughness]);
            let (fittings, rise) = (&v[l.fittings], &v[l.rise]);
            for i in 0..W {
                let over_bore = 1.0 / bore[i];
                let over_area = over_bore * over_bore * (4.0 / PI);
                to.visc[i] = mu[i] * length[i] * 0.5 * over_bore * over_bore * over_area;
                to.re[i] = rho[i] * bore[i] * over_area / mu[i];
                to.rough[i] = rough[i] * over_bore;
                out.quad[i] += 0.5 * fittings[i] * rho[i] * over_area * over_area;
                out.head[i] += rho[i] * STANDARD_GRAVITY * rise[i];
            }
        }
        if let Some(c) = &self.check {
            let (bore, cracking, cd, leak) = (&v[c.bore], &v[c.cracking], &v[c.cd], &v[c.leak]);
            for i in 0..W {
                out.crack[i] = cracking[i];
                out.valve[i] = (0.5 * rho[i]).sqrt() / (cd[i] * (PI / 4.0) * bore[i] * bore[i]);
                out.shut[i] = min(leak[i], CLOSED_SLOPE);
            }
        }
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
    /// regulator before the rail, a speed-controlled pump, twin rails, plain orifices, relief valves in legs, a wire by gauge
    /// or class, a low-pulse table, a map of volumetric efficiency): then
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
        let out = Self { build: build.clone(), layout, paths, ranges, values };
        let sound = out.car(&out.columns::<1>(), None).is_some_and(|(_, sound)| sound[0] == 1.0);
        sound.then_some(out)
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

    /// The value in a slot as the build has it, SI.
    pub(super) fn value(&self, slot: Slot) -> f64 {
        self.values[slot.0]
    }

    /// The values in columns, every lane the same.
    pub(super) fn columns<const W: usize>(&self) -> Vec<Row<W>> {
        self.values.iter().map(|v| Row::<W>::of(*v)).collect()
    }

    /// Whether the key of a slot may be this.
    #[inline(always)]
    pub(super) fn takes(&self, slot: Slot, si: f64) -> bool {
        let r = &self.ranges[slot.0];
        si >= r.low && si <= r.high
    }

    /// Whether the state of the fuel follows from it.
    pub(super) fn is_of_fuel(&self, slot: Slot) -> bool {
        self.ranges[slot.0].fuel
    }

    /// Makes ready for draws of these values.
    pub(super) fn prepare(&mut self, slots: &[Slot]) {
        // A dead time beside a table counts once it is said.
        let at = self.layout.injectors.dead_time;
        self.layout.dead.added |= slots.contains(&Slot(at));
    }

    /// The cars that follow from columns of values, and which of them are sound; `None` where the fuel's laws refuse
    /// all.
    pub(super) fn car<const W: usize>(
        &self,
        v: &[Row<W>],
        temperature: Option<f64>,
    ) -> Option<(Car<W>, Row<W>)> {
        let mut fuel = Fuel::blank();
        self.fuel(v, temperature, &mut fuel);
        let (mut car, mut sound) = (Car::blank(), Row::<W>::of(0.0));
        self.layout.derive(v, &fuel, &mut car, &mut sound);
        sound.contains(&1.0).then_some((car, sound))
    }

    /// The state of the fuel in every lane.
    pub(super) fn fuel<const W: usize>(&self, v: &[Row<W>], temperature: Option<f64>, out: &mut Fuel<W>) {
        let f = &self.layout.fuel;
        for i in 0..W {
            let t = temperature.unwrap_or(v[f.temperature][i]);
            let p = v[self.layout.engine.ambient][i] + 3e5;
            let state = fuel_state(v[f.density][i], v[f.vapour][i], v[f.ethanol][i], t, p);
            out.known[i] = if state.is_some() { 1.0 } else { 0.0 };
            let [rho, mu, vapour, afr, density15] = state.unwrap_or([1.0; 5]);
            (out.rho[i], out.mu[i], out.vapour[i]) = (rho, mu, vapour);
            (out.afr[i], out.density15[i]) = (afr, density15);
        }
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

    /// The build with the values of a lane, for the general solver.
    pub(super) fn as_build<const W: usize>(&self, v: &[Row<W>], lane: usize) -> Result<Build> {
        let mut build = self.build.clone();
        for (path, si) in self.paths.iter().zip(v) {
            if build.si(path).ok() != Some(si[lane]) {
                build.set_si(path, si[lane])?;
            }
        }
        Ok(build)
    }
}

impl Layout {
    /// The cars that follow from columns of values. A car is sound when its fuel is known and its seat leaves the fuel
    /// enough area.
    #[inline(always)]
    pub(super) fn derive<const W: usize>(
        &self,
        v: &[Row<W>],
        fuel: &Fuel<W>,
        car: &mut Car<W>,
        sound: &mut Row<W>,
    ) {
        let rho = &fuel.rho;
        let (r, j, c, e) = (&self.regulator_slots, &self.injectors, &self.control, &self.engine);
        let or = |slot: Maybe, other: &Row<W>| slot.map_or(*other, |s| v[s]);
        let ambient = v[e.ambient];
        car.ambient = ambient;
        car.rho = *rho;
        car.vapour = fuel.vapour;
        car.volts = v[self.volts];
        car.volts_offset = v[self.volts_offset];
        for (leg, to) in self.legs.iter().zip(&mut car.legs) {
            let vent = or(leg.vent, &Row::<W>::of(0.0));
            for i in 0..W {
                to.from[i] = ambient[i] + vent[i];
            }
            leg.before.derive(v, fuel, &mut to.before);
            leg.after.derive(v, fuel, &mut to.after);
            to.on_above = or(leg.slots.on_above, &Row::<W>::of(f64::NEG_INFINITY));
            leg.slots.derive(v, fuel, &mut to.pump);
        }
        self.feed.derive(v, fuel, &mut car.feed);
        self.to_regulator.derive(v, fuel, &mut car.to_regulator);
        self.back.derive(v, fuel, &mut car.back);

        let p = &mut car.poppet;
        let vent = or(r.vent, &Row::<W>::of(0.0));
        p.rate = v[r.rate];
        p.max_lift = v[r.max_lift];
        p.flow_force = v[r.flow_force];
        let (wide, seat, cd, held) = (&v[r.diaphragm], &v[r.seat], &v[r.cd], &v[r.base]);
        let (flow, screw, pitch) = (&v[r.setting_flow], &v[r.screw], &v[r.pitch]);
        let (seized, leak) = (&v[r.seized], &v[r.leak]);
        for i in 0..W {
            let seat = seat[i];
            p.area[i] = (PI / 4.0) * wide[i] * wide[i];
            p.seat_area[i] = (PI / 4.0) * seat * seat;
            p.net[i] = p.area[i] - p.seat_area[i];
            p.over_net[i] = 1.0 / p.net[i];
            p.curtain[i] = PI * seat;
            p.flow[i] = cd[i] * (2.0 / rho[i]).sqrt();
            // Set at a flow, hose off: the lift that passes it, and the balance there.
            let base = held[i];
            let curtain = flow[i] / (p.flow[i] * base.sqrt());
            let lift = min(curtain / p.curtain[i], p.max_lift[i]);
            let opening = min(p.curtain[i] * lift, p.seat_area[i]);
            let turns = screw[i] * (1.0 / std::f64::consts::TAU);
            p.preload[i] = base * p.net[i] - p.rate[i] * lift - p.flow_force[i] * opening * base
                + turns * pitch[i] * p.rate[i]
                + seized[i] * p.net[i];
            p.kept[i] = 1.0 - leak[i];
            p.to[i] = ambient[i] + vent[i];
            // A seat that leaves the fuel no area is refused, as the build refuses it.
            let room = p.seat_area[i] <= 0.5 * p.area[i];
            sound[i] = if room { fuel.known[i] } else { 0.0 };
        }

        let count = or(j.count, &v[e.cylinders]);
        let at = or(c.difference, &v[j.difference]);
        let (flow, density) = (or(c.flow, &v[j.static_flow]), or(c.density, &fuel.density15));
        let (base, ratio) = (or(c.base, &v[r.base]), or(c.ratio, &fuel.afr));
        let inj = &mut car.injection;
        inj.short = v[j.short_pulse];
        inj.count = count;
        inj.spread = v[j.spread];
        inj.dead = if self.dead.added { v[j.dead_time] } else { Row::<W>::of(0.0) };
        inj.dead_error = v[c.dead_error];
        inj.read = v[c.manifold_offset];
        inj.base = base;
        let (tested, difference, leak) = (&v[j.test_density], &v[j.difference], &v[j.leak]);
        let (passes, factor) = (&v[j.static_flow], &v[j.flow_factor]);
        let (error, lambda) = (&v[c.air_error], &v[e.lambda]);
        for i in 0..W {
            // The orifice that passes the static flow of the test fluid at the test's difference.
            let (test, twice) = (tested[i], 2.0 * difference[i]);
            let spread = (2.0 / rho[i]).sqrt();
            inj.open[i] = count[i] * passes[i] * factor[i] * (test / twice).sqrt() * spread;
            inj.leak[i] = max(leak[i] * (rho[i] / twice).sqrt(), 1e-18) * spread;
            inj.over_short[i] = 1.0 / max(inj.short[i], 1e-12);
            inj.coefficient[i] = flow[i] * (test / at[i] * density[i]).sqrt();
            inj.width[i] = 1.0 / (inj.coefficient[i] * max(base[i], 1e-3).sqrt());
            inj.mass[i] = (1.0 + error[i]) / (lambda[i] * ratio[i] * count[i]);
        }

        let to = &mut car.engine;
        to.lambda = v[e.lambda];
        to.afr = fuel.afr;
        to.outside = v[e.outside];
        to.compressor = v[e.compressor];
        to.intercooler = v[e.intercooler];
        to.intake_loss = v[e.intake_loss];
        to.intercooler_loss = v[e.intercooler_loss];
        to.charge = or(e.charge, &Row::<W>::of(f64::NAN));
        to.rev_limit = v[e.rev_limit];
        let (efficiency, swept) = (&v[e.efficiency], &v[e.displacement]);
        for i in 0..W {
            to.breath[i] = efficiency[i] * swept[i] * (1.0 / crate::part::air::GAS_CONSTANT);
            to.fuel[i] = 1.0 / (lambda[i] * fuel.afr[i] * rho[i]);
            to.over_compressor[i] = 1.0 / to.compressor[i];
            to.over_intake[i] = 1.0 / (ambient[i] - to.intake_loss[i]);
        }
    }
}

impl PumpSlots {
    #[inline(always)]
    fn derive<const W: usize>(&self, v: &[Row<W>], fuel: &Fuel<W>, to: &mut super::columns::Pump<W>) {
        let rated = self.rated.flow / self.rated.pressure.max(0.5e5);
        let (factor, wear, required) = (&v[self.flow_factor], &v[self.wear], &v[self.required]);
        let (area, warm) = (&v[self.area], &v[self.temperature]);
        let (there, home) = (&v[self.feed_length], &v[self.return_length]);
        let (feed_contacts, return_contacts) = (&v[self.feed_contacts], &v[self.return_contacts]);
        for i in 0..W {
            let per_metre = fma(self.copper.0, warm[i], self.copper.1) / area[i];
            to.loop_r[i] = per_metre * (there[i] + home[i]) + feed_contacts[i] + return_contacts[i];
            to.r[i] = to.loop_r[i] + self.law.armature;
            to.idle[i] = self.law.idle_current;
            to.over_required[i] = 1.0 / max(required[i], 1e-9);
        }
        match self.law.curve {
            Curve::Displacement { g, k, c } => {
                for i in 0..W {
                    let (g, k, c) = (g * factor[i], k * factor[i], c * factor[i]);
                    to.g[i] = g;
                    to.c[i] = c;
                    to.still[i] = g * self.law.idle_current * to.r[i];
                    to.stiff[i] =
                        g * c * to.r[i] + k * self.law.rated_viscosity / fuel.mu[i] + wear[i] * rated;
                    to.over_stiff[i] = 1.0 / to.stiff[i];
                }
            }
            Curve::Regenerative { a, b, t, u } => {
                for i in 0..W {
                    to.a[i] = a * (1.0 - 0.5 * wear[i]);
                    to.b[i] = b / factor[i];
                    to.t[i] = t;
                    to.u[i] = u / factor[i];
                }
            }
        }
        to.relief = v[self.relief];
        to.relief_slope = v[self.relief_slope];
        to.required = v[self.required];
    }
}

/// The fuel at a temperature and pressure, as [`super::super::circuit::Circuit`] has it.
fn fuel_state(density: f64, dvpe: f64, ethanol: f64, t: f64, p: f64) -> Option<[f64; 5]> {
    let petrol = Component::Petrol { density15: kg_per_m3(density), dvpe: abs(pa(dvpe)) };
    let blend = Blend::from_volume(&[(petrol, 1.0 - ethanol), (Component::Ethanol, ethanol)]).ok()?;
    let state = blend.at(kelvin(t), AbsolutePressure::from_pascals(p)).ok()?;
    let afr = blend.stoichiometric_afr();
    Some([state.density, state.viscosity, state.vapour_pressure, afr, blend.density_at_15().value])
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
        // Lanes know a wire by its area and its copper.
        if values.word("speed_control") == "rail"
            || values.word("wire_gauge") != "none"
            || values.word("wire_class") != "copper"
        {
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
                copper: {
                    let at = |t: f64| copper_wire_resistance(m(1.0), m2(1.0), kelvin(t)).value;
                    ((at(1000.0) - at(0.0)) / 1000.0, at(0.0))
                },
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
