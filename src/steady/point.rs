//! One operating point, solved: every pressure, flow, current, and what follows for lambda.

use super::chord::Chord;
use super::circuit::{Belief, Circuit};
use super::demand::Demand;
use super::element::{Element, InjectorSet, Port, Pulse};
use super::gauges::Offsets;
use super::network::{self, Effort, End, State};
use super::operating::Operating;
use crate::build::Build;
use crate::error::{Error, Kind, Result};
use crate::part::injector::{ShortPulse, Shuts};
use crate::part::motor::chopped_supply_current;
use crate::part::pump::Running;
use crate::part::regulator::Mode;
use crate::part::surge_pot;
use crate::quantity::{
    AbsolutePressure, Amount, Current, Dim, GaugePressure, Pressure, Ratio, Time, Voltage, VolumeRate, amps,
    m3, m3_per_s, pa, ratio, s, volts,
};
use indexmap::IndexMap;
use serde::Serialize;

/// One part along a leg, as it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartState {
    /// Its name.
    pub name: String,
    /// Absolute pressure at its inlet, Pa.
    pub inlet: f64,
    /// Pressure lost along it, Pa (negative for a pump: gained).
    pub drop: f64,
}

/// One leg, as it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LegState {
    /// Its name.
    pub name: String,
    /// Flow, m³/s.
    pub flow: f64,
    /// Where it begins.
    pub from: String,
    /// Where it ends.
    pub to: String,
    /// Its parts.
    pub parts: Vec<PartState>,
}

/// A pump, as it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PumpState {
    /// Its name.
    pub name: String,
    /// Whether it runs.
    pub on: bool,
    /// Whether it only fills a surge pot.
    pub fills_a_pot: bool,
    /// Delivered flow, m³/s.
    pub flow: f64,
    /// Motor and element.
    pub running: Running,
    /// Voltage lost on the feed side, V.
    pub feed_drop: f64,
    /// Voltage lost on the return side, V.
    pub return_drop: f64,
    /// Part of the time that a speed control joins it to the supply; 1 without one.
    pub drive_duty: f64,
    /// Mean current that it takes from the supply, A: the motor's own without a speed control.
    pub supply_current: f64,
    /// Heat at relay, fuse, connectors and earth point, W.
    pub contact_heat: f64,
    /// Fuse, A.
    pub fuse: f64,
    /// Inlet pressure above vapour pressure, Pa.
    pub inlet_margin: f64,
    /// Margin that it needs, Pa.
    pub required_margin: f64,
    /// Whether rise and voltage lie within what its rating rows cover (a bar and 1.5 V wider).
    pub covered_by_rating: bool,
    /// Standard uncertainty of its flow from the rating rows, m³/s.
    pub flow_uncertainty: f64,
}

/// A regulator, as it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RegulatorState {
    /// Its name.
    pub name: String,
    /// What the poppet does.
    pub mode: Mode,
    /// Lift, m.
    pub lift: f64,
    /// By-passed flow, m³/s.
    pub flow: f64,
    /// Absolute pressure at its fuel port, Pa.
    pub fuel: f64,
    /// Absolute pressure at its return port, Pa.
    pub back: f64,
    /// Absolute pressure at its reference port, Pa.
    pub reference: f64,
    /// Absolute pressure at which it would close, Pa.
    pub cracking: f64,
    /// Half the band in which friction may hold it, Pa.
    pub hysteresis: f64,
    /// Seat, diaphragm: how much it rises per rise of the reference.
    pub reference_gain: f64,
    /// Opening area at the stop times its coefficient, m².
    pub full_area: f64,
}

/// A set of injectors, as it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InjectorState {
    /// Its name.
    pub name: String,
    /// How many.
    pub count: f64,
    /// Pressure difference across them, Pa.
    pub difference: f64,
    /// Flow of one wide open at this difference and fuel, m³/s.
    pub static_flow: f64,
    /// Static flow of one at the reference, m³/s.
    pub reference_flow: f64,
    /// Difference of the reference, Pa.
    pub reference_difference: f64,
    /// Density of the reference fluid, kg/m³.
    pub reference_density: f64,
    /// Commanded pulse, s.
    pub pulse: f64,
    /// What a bench's table adds to this pulse's open time, s; none without a table, and none where the injector
    /// shuts late or not at all.
    pub low_pulse: Option<f64>,
    /// Effective pulse below which flow is no longer proportional, s.
    pub short_pulse: f64,
    /// Dead time, s.
    pub dead_time: f64,
    /// Effective open time, s.
    pub open_time: f64,
    /// Open time of the longest pulse after which it still shuts in time, s.
    pub last_open: f64,
    /// Cycle, s.
    pub cycle: f64,
    /// Pulse over cycle.
    pub duty: f64,
    /// Mean flow of the set, m³/s.
    pub flow: f64,
    /// What of it its seats leak, m³/s.
    pub leak: f64,
    /// How far the weakest lies below the mean.
    pub spread: f64,
    /// Whether voltage and difference lie inside the dead-time table.
    pub inside_table: bool,
}

impl InjectorState {
    /// How it comes to the end of its pulse.
    #[must_use]
    pub fn shuts(&self) -> Shuts {
        Shuts::after(self.pulse, self.dead_time, self.cycle)
    }
}

/// A surge pot, as it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PotState {
    /// Its name.
    pub name: String,
    /// Usable volume, m³.
    pub volume: f64,
    /// Flow that comes in, m³/s.
    pub inflow: f64,
    /// Flow that is drawn, m³/s.
    pub outflow: f64,
    /// What it loses, m³/s; negative while it fills, and runs over once it is full.
    pub net_outflow: f64,
    /// Time to empty from full if this point is held, s; none while it is kept full.
    pub time_to_empty: Option<f64>,
}

/// One operating point of a build.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Point {
    /// The build's name.
    pub build: String,
    /// Digest of its input.
    pub input: String,
    /// What was asked.
    pub operating: Operating,
    /// Ambient pressure, Pa.
    pub ambient: f64,
    /// Manifold pressure, absolute, Pa.
    pub manifold: f64,
    /// Supply voltage, V.
    pub supply: f64,
    /// Fuel density, kg/m³.
    pub density: f64,
    /// Fuel viscosity, Pa·s.
    pub viscosity: f64,
    /// Vapour pressure of the fuel, absolute, Pa.
    pub vapour_pressure: f64,
    /// Air and fuel the engine asks for; none with the engine off.
    pub demand: Option<Demand>,
    /// What the control unit believes; none with the engine off.
    pub belief: Option<Belief>,
    /// Absolute pressure of every junction, Pa.
    pub junctions: IndexMap<String, f64>,
    /// The junction that feeds the injectors.
    pub rail: Option<String>,
    /// Every leg.
    pub legs: Vec<LegState>,
    /// Every pump.
    pub pumps: Vec<PumpState>,
    /// Every regulator.
    pub regulators: Vec<RegulatorState>,
    /// Every set of injectors.
    pub injectors: Vec<InjectorState>,
    /// Every surge pot.
    pub pots: Vec<PotState>,
    /// Fuel that reaches the engine, kg/s: injected, and what a torn diaphragm lets through to it.
    pub injected: f64,
    /// What of it does not pass the injectors, m³/s.
    pub past_injectors: f64,
    /// What runs through torn diaphragms, to wherever their reference hoses lead, m³/s.
    pub torn: f64,
    /// Temperature of the fuel, K.
    pub fuel_temperature: f64,
    /// What gauges and sensors read too much.
    pub offsets: Offsets,
    /// How hard it was to solve.
    #[serde(skip)]
    pub effort: Effort,
}

/// The operating point of a build.
///
/// # Errors
/// A question outside a table or law's range, or a circuit whose solution was not found: the leg is named,
/// no number is given.
pub fn point(build: &Build, op: &Operating) -> Result<Point> {
    point_within(build, op, MOST_STEPS)
}

/// The same with at most this many steps of the solver altogether, the slow way and a pump's control included: where
/// time is short, or to see what an unsolved point says.
///
/// # Errors
/// As [`point`]; a solution that needs more steps is not found.
pub fn point_within(build: &Build, op: &Operating, steps: usize) -> Result<Point> {
    let mut circuit = Circuit::of(build, op)?;
    let first = start(&circuit);
    let (state, effort) = settle(build, &mut circuit, first, steps)?;
    read_out(build, op, &circuit, &state, effort)
}

/// Steps that a point may take; a harsh one takes a few hundred.
const MOST_STEPS: usize = 20_000;

/// The same from another first guess: one flow for every leg and one pressure for every junction. The answer
/// is the same, for the laws are monotone, and where a regulator's is not the least by-passed flow is taken; this is
/// how that is tested.
///
/// # Errors
/// As [`point`].
pub fn point_from(build: &Build, op: &Operating, flow: VolumeRate, pressure: GaugePressure) -> Result<Point> {
    let mut circuit = Circuit::of(build, op)?;
    let p = circuit.surroundings.ambient + pressure.pascals();
    let first =
        State { flows: vec![flow.value; circuit.legs.len()], pressures: vec![p; circuit.junctions.len()] };
    let (state, effort) = settle(build, &mut circuit, first, MOST_STEPS)?;
    read_out(build, op, &circuit, &state, effort)
}

/// Solves the circuit, holding a speed-controlled pump back to the rail's target.
fn settle(build: &Build, circuit: &mut Circuit, mut state: State, most: usize) -> Result<(State, Effort)> {
    let effort = solve_from(circuit, &mut state, most, 0)?;
    let controlled = !controlled_pumps(circuit).is_empty();
    let (true, Some(rail)) = (controlled, circuit.rail) else { return Ok((state, effort)) };
    let target = build.section("control").opt("rail_target").ok_or_else(|| {
        Error::new(Kind::Value, "a speed-controlled pump needs a target")
            .next("write rail_target = \"4 bar\" in [control]")
            .at_key("control.rail_target")
    })? + circuit.surroundings.ambient;
    let End::Free(rail) = rail else { return Ok((state, effort)) };
    if state.pressures[rail] <= target {
        return Ok((state, effort)); // flat out and still short
    }
    // Rail pressure rises with voltage.
    let mut effort = effort;
    let mut at = |v: f64, c: &mut Circuit, st: &mut State| -> Result<f64> {
        hold_pumps_to(c, v);
        let more = solve_from(c, st, most, effort.steps + effort.fallback)?;
        effort.steps += more.steps;
        effort.fallback += more.fallback;
        (effort.residual, effort.imbalance) = (more.residual, more.imbalance);
        Ok(st.pressures[rail] - target)
    };
    let mut high = (circuit.surroundings.supply, state.pressures[rail] - target);
    let mut low = (0.8 * high.0, at(0.8 * high.0, circuit, &mut state)?);
    while low.1 > 0.0 && low.0 > 0.01 {
        high = low;
        low.0 *= 0.8;
        low.1 = at(low.0, circuit, &mut state)?;
    }
    if low.1 > 0.0 {
        return Err(Error::new(
            Kind::Range,
            format!(
                "with the pump at rest the rail already stands {} above the control's target",
                Amount::new(low.1, Dim::Pressure)
            ),
        )
        .next("raise the target above the manifold and tank pressure")
        .at_key("control.rail_target"));
    }
    let mut between = Chord::between(low, high);
    for _ in 0..200 {
        let v = between.next();
        let f = at(v, circuit, &mut state)?;
        if f.abs() < 0.01 || between.high - between.low < 1e-13 {
            return Ok((state, effort));
        }
        between.saw(v, f);
    }
    let Chord { low, high, .. } = between;
    Err(Error::new(
        Kind::Solve,
        format!(
            "the control of {} did not settle: between {low:.9} V and {high:.9} V the rail is {:.3} Pa off its target",
            controlled_pumps(circuit).join(" and "),
            state.pressures[rail] - target
        ),
    )
    .next("report the build"))
}

fn controlled_pumps(circuit: &Circuit) -> Vec<&str> {
    let parts = circuit.legs.iter().flat_map(|l| l.elements.iter().zip(&l.parts));
    parts.filter(|(e, _)| matches!(e, Element::Pump(p) if p.controlled)).map(|(_, n)| n.as_str()).collect()
}

/// Holds controlled pumps back to a voltage.
fn hold_pumps_to(circuit: &mut Circuit, v: f64) {
    for e in circuit.legs.iter_mut().flat_map(|l| &mut l.elements) {
        if let Element::Pump(p) = e
            && p.controlled
        {
            p.held_to = Some(v);
        }
    }
}

fn start(circuit: &Circuit) -> State {
    let q = circuit.demand.map_or(1e-5, |d| d.fuel_volume);
    State {
        flows: circuit.legs.iter().map(|_| q).collect(),
        pressures: circuit.junctions.iter().map(|_| circuit.surroundings.ambient + 3e5).collect(),
    }
}

fn solve_from(circuit: &Circuit, state: &mut State, most: usize, spent: usize) -> Result<Effort> {
    let Circuit { legs, given, junctions, surroundings, .. } = circuit;
    network::solve(legs, given, junctions, surroundings, state, most, spent)
}

/// Flow that the supply side brings to a junction held at a pressure, with the injectors shut and the
/// regulators taken out: what is there for the engine. Flows in m³/s.
pub(super) fn capacity(build: &Build, op: &Operating, hold: &str, at: f64) -> Result<f64> {
    let mut circuit = Circuit::of(build, op)?;
    for leg in &mut circuit.legs {
        if let Some(Element::Injectors(set)) = leg.elements.last_mut() {
            set.pulse = Pulse::Off;
        }
    }
    let Some(index) = circuit.junctions.iter().position(|j| j == hold) else {
        return Err(Error::new(Kind::Layout, format!("\"{hold}\" is not a free junction")));
    };
    circuit.legs.retain(|l| l.regulator().is_none());
    let given = circuit.given.len();
    circuit.given.push(at);
    let last = circuit.junctions.len() - 1;
    for leg in &mut circuit.legs {
        for end in [&mut leg.from, &mut leg.to] {
            *end = match *end {
                End::Free(i) if i == index => End::Given(given),
                End::Free(i) if i == last => End::Free(index),
                e => e,
            };
        }
    }
    circuit.junctions.swap_remove(index);
    let mut state = start(&circuit);
    solve_from(&circuit, &mut state, MOST_STEPS, 0)?;
    Ok(circuit
        .legs
        .iter()
        .zip(&state.flows)
        .map(|(l, q)| {
            if l.to == End::Given(given) {
                *q
            } else if l.from == End::Given(given) {
                -q
            } else {
                0.0
            }
        })
        .sum())
}

fn read_out(build: &Build, op: &Operating, c: &Circuit, state: &State, effort: Effort) -> Result<Point> {
    let sur = &c.surroundings;
    let name = |e: End| match e {
        End::Given(i) => c.given_names[i].clone(),
        End::Free(i) => c.junctions[i].clone(),
    };
    let pressure = |e: End| match e {
        End::Given(i) => c.given[i],
        End::Free(i) => state.pressures[i],
    };
    let mut out = Point {
        build: build.name().to_owned(),
        input: build.input_digest().to_owned(),
        operating: *op,
        ambient: sur.ambient,
        manifold: sur.manifold,
        supply: sur.supply,
        density: sur.rho,
        viscosity: sur.mu,
        vapour_pressure: sur.vapour,
        demand: c.demand,
        belief: c.belief,
        junctions: c
            .given_names
            .iter()
            .cloned()
            .zip(c.given.iter().copied())
            .chain(c.junctions.iter().cloned().zip(state.pressures.iter().copied()))
            .collect(),
        rail: c.rail.map(name),
        legs: Vec::new(),
        pumps: Vec::new(),
        regulators: Vec::new(),
        injectors: Vec::new(),
        pots: pots(build, c, state),
        injected: 0.0,
        past_injectors: 0.0,
        torn: 0.0,
        fuel_temperature: c.fuel_temperature,
        offsets: Offsets::of(build),
        effort,
    };
    for (leg, q) in c.legs.iter().zip(&state.flows) {
        if name(leg.to) == "manifold" || matches!(leg.torn, Some(Port::Intake(_) | Port::ChargePipe)) {
            out.injected += q * sur.rho;
            if !matches!(leg.elements.last(), Some(Element::Injectors(_))) {
                out.past_injectors += q;
            }
        }
        if leg.torn.is_some() {
            out.torn += q;
        }
    }
    for (leg, &q) in c.legs.iter().zip(&state.flows) {
        let (pf, pt) = (pressure(leg.from), pressure(leg.to));
        // A regulator's leg is read from its end, every other from its start.
        let n = leg.elements.len();
        let at = leg.regulator();
        let mut inlets = vec![0.0; n];
        let mut drops = vec![0.0; n];
        let mut passed = q;
        if let Some(at) = at {
            let shut = {
                let (mut p, mut shut) = (pt, false);
                for (i, e) in leg.elements.iter().enumerate().rev() {
                    let p_in = match e {
                        Element::Regulator(r) => {
                            let seat = r.at(q, p, sur);
                            shut = seat.mode == Mode::Closed;
                            seat.fuel
                        }
                        e => p + e.drop(q, p, sur).0,
                    };
                    // What lies before the regulator is exact either way; the junction's own pressure is the better datum.
                    inlets[i] = if i == 0 { pf } else { p_in };
                    drops[i] = inlets[i] - p;
                    p = p_in;
                }
                shut
            };
            if shut {
                // What seeps through costs nothing: fuel stands before the seat as in the rail, behind it as in the
                // tank, and the seat takes the difference.
                passed = 0.0;
                // A valve that is shut as well takes no more than there is.
                let takes = |e: &Element, p: f64, there: f64| {
                    let d = e.drop(0.0, p, sur).0;
                    if e.one_way() { d.min(there.max(0.0)) } else { d }
                };
                let mut back = pt;
                for i in (at + 1..n).rev() {
                    drops[i] = takes(&leg.elements[i], back, pf - back);
                    back += drops[i];
                    inlets[i] = back;
                }
                let mut p = pf;
                for i in 0..at {
                    drops[i] = takes(&leg.elements[i], p, p - back);
                    inlets[i] = p;
                    p -= drops[i];
                }
                (inlets[at], drops[at]) = (p, p - back);
            }
        } else {
            let mut p = pf;
            for (i, e) in leg.elements.iter().enumerate() {
                let d = if matches!(e, Element::Injectors(_)) { p - pt } else { e.drop(q, p, sur).0 };
                inlets[i] = p;
                drops[i] = d;
                p -= d;
            }
        }
        for (i, e) in leg.elements.iter().enumerate() {
            let part = &leg.parts[i];
            match e {
                Element::Pump(pw) => {
                    let on = pw.runs(sur);
                    let run = pw.at(q.max(0.0), inlets[i], sur);
                    let current = if on { run.current } else { 0.0 };
                    let law = build.pump_law(part);
                    out.pumps.push(PumpState {
                        name: part.clone(),
                        on,
                        fills_a_pot: build.part(&name(leg.to)).is_some_and(|p| p.kind == "surge pot"),
                        flow: q,
                        running: run,
                        feed_drop: current * pw.wire.feed,
                        return_drop: current * pw.wire.back,
                        contact_heat: current * current * pw.wire.contacts,
                        drive_duty: pw.held_to.map_or(1.0, |v| v / sur.supply),
                        supply_current: chopped_supply_current(
                            amps(current),
                            volts(pw.held_to.unwrap_or(sur.supply)),
                            volts(sur.supply),
                        )
                        .value,
                        fuse: pw.wire.fuse,
                        inlet_margin: inlets[i] - sur.vapour,
                        required_margin: pw.pump.required_margin,
                        covered_by_rating: law.is_none_or(|l| l.covers(run.rise, run.volts)),
                        flow_uncertainty: law.map_or(f64::NAN, |l| l.flow_uncertainty(run.rise, run.volts)),
                    });
                }
                Element::Regulator(r) => {
                    let back = inlets[i] - drops[i];
                    let seat = r.at(passed, back, sur);
                    out.regulators.push(RegulatorState {
                        name: part.clone(),
                        mode: seat.mode,
                        lift: seat.lift,
                        flow: passed,
                        fuel: inlets[i],
                        back,
                        reference: r.reference(sur),
                        cracking: r.regulator.cracking(back, r.reference(sur)),
                        hysteresis: r.regulator.hysteresis(),
                        reference_gain: crate::part::regulator::reference_gain(
                            r.regulator.area,
                            r.regulator.seat,
                        ),
                        full_area: r.regulator.cd
                            * crate::part::regulator::opening_area(r.regulator.seat, r.regulator.max_lift),
                    });
                }
                Element::Injectors(set) => {
                    let dp = drops[i];
                    let pulse = set.pulse_width(dp, sur.supply);
                    let (dead_time, outside) = set.injector.dead_time.at_edge(sur.supply, dp);
                    let low_pulse = measured(part, set, pulse, dead_time)?;
                    let last = set.cycle() - dead_time.abs();
                    out.injectors.push(InjectorState {
                        name: part.clone(),
                        count: set.count,
                        difference: dp,
                        static_flow: set.injector.static_volume_flow(dp, sur.rho).0,
                        reference_flow: set.injector.static_flow,
                        reference_difference: set.injector.reference_difference,
                        reference_density: set.injector.reference_density,
                        short_pulse: set.short_pulse.straight_from(),
                        low_pulse,
                        pulse,
                        dead_time,
                        open_time: set.open_time(dp, sur.supply),
                        last_open: set.short_pulse.open_time(last, dead_time, set.cycle()),
                        cycle: set.cycle(),
                        duty: if set.cycle().is_finite() { pulse / set.cycle() } else { 0.0 },
                        flow: q,
                        leak: set.leak(dp, sur),
                        spread: build.part(part).map_or(0.0, |p| p.values.si("cylinder_spread")),
                        inside_table: outside.is_none(),
                    });
                }
                _ => {}
            }
        }
        out.legs.push(LegState {
            name: leg.name.clone(),
            flow: q,
            from: name(leg.from),
            to: name(leg.to),
            parts: leg
                .parts
                .iter()
                .zip(inlets.iter().zip(&drops))
                .map(|(n, (i, d))| PartState { name: n.clone(), inlet: *i, drop: *d })
                .collect(),
        });
    }
    Ok(out)
}

/// What a bench's table adds to the open time of a pulse, if there is one and the injector shuts in time; an error
/// for a pulse shorter than any that was measured.
fn measured(name: &str, set: &InjectorSet, pulse: f64, dead_time: f64) -> Result<Option<f64>> {
    let (ShortPulse::Measured(table), true) = (&set.short_pulse, set.cycle().is_finite()) else {
        return Ok(None);
    };
    if Shuts::after(pulse, dead_time, set.cycle()) != Shuts::InTime {
        return Ok(None);
    }
    let effective = pulse - dead_time;
    table
        .open_time(effective)
        .map(|open| Some(open - effective))
        .map_err(|e| Error::new(Kind::Range, e.to_string()).at_key(format!("{name}.low_pulse_rows")))
}

fn pots(build: &Build, c: &Circuit, state: &State) -> Vec<PotState> {
    build
        .parts_of("surge pot")
        .map(|(name, part)| {
            let here = |e: End| matches!(e, End::Given(i) if c.given_names[i] == name);
            let sum = |end: fn(&network::LegLaw) -> End| -> f64 {
                c.legs.iter().zip(&state.flows).filter(|(l, _)| here(end(l))).map(|(_, q)| q).sum()
            };
            let (inflow, outflow) = (sum(|l| l.to), sum(|l| l.from));
            let (volume, net) = (part.values.si("volume"), outflow - inflow);
            PotState {
                name: name.to_owned(),
                volume,
                inflow,
                outflow,
                net_outflow: net,
                time_to_empty: surge_pot::time_to_empty(m3(volume), m3_per_s(net)).map(|t| t.value),
            }
        })
        .collect()
}

impl Point {
    /// The rail's pressure, absolute; with several rails the first.
    fn rail_pascals(&self) -> Option<f64> {
        self.rail.as_ref().and_then(|r| self.junctions.get(r)).copied()
    }

    /// Rail pressure as a gauge shows it.
    #[must_use]
    pub fn rail_pressure(&self) -> GaugePressure {
        GaugePressure::from_pascals(self.rail_pascals().map_or(f64::NAN, |p| p - self.ambient))
    }

    /// Pressure of a junction as a gauge shows it.
    #[must_use]
    pub fn pressure_at(&self, junction: &str) -> Option<GaugePressure> {
        self.junctions.get(junction).map(|p| GaugePressure::from_pascals(p - self.ambient))
    }

    /// Pressure difference across the injectors (the lowest of several sets).
    #[must_use]
    pub fn difference(&self) -> Pressure {
        pa(self.injectors.iter().map(|i| i.difference).fold(f64::INFINITY, f64::min))
    }

    /// Manifold pressure, absolute.
    #[must_use]
    pub fn manifold_pressure(&self) -> AbsolutePressure {
        AbsolutePressure::from_pascals(self.manifold)
    }

    /// Flow that the pumps bring to the rail; lift pumps do not count.
    #[must_use]
    pub fn pump_flow(&self) -> VolumeRate {
        let to_the_rail = self.pumps.iter().filter(|p| !p.fills_a_pot);
        m3_per_s(to_the_rail.map(|p| p.flow.max(0.0)).sum())
    }

    /// Flow that the injectors pass.
    #[must_use]
    pub fn engine_flow(&self) -> VolumeRate {
        m3_per_s(self.injectors.iter().map(|i| i.flow).sum())
    }

    /// Flow that the engine asks for at its target lambda.
    #[must_use]
    pub fn asked_flow(&self) -> VolumeRate {
        m3_per_s(self.demand.map_or(0.0, |d| d.fuel_volume))
    }

    /// By-passed flow.
    #[must_use]
    pub fn return_flow(&self) -> VolumeRate {
        m3_per_s(self.regulators.iter().map(|r| r.flow).sum::<f64>() + 0.0)
    }

    /// Current of all pumps.
    #[must_use]
    pub fn pump_current(&self) -> Current {
        amps(self.pumps.iter().filter(|p| p.on).map(|p| p.running.current).sum())
    }

    /// Mean current that all pumps take from the supply: less than [`Point::pump_current`] under speed control.
    #[must_use]
    pub fn drawn_current(&self) -> Current {
        amps(self.pumps.iter().map(|p| p.supply_current).sum())
    }

    /// Lowest voltage at a running pump.
    #[must_use]
    pub fn pump_voltage(&self) -> Voltage {
        volts(self.pumps.iter().filter(|p| p.on).map(|p| p.running.volts).fold(f64::INFINITY, f64::min))
    }

    /// Highest duty of the sets of injectors.
    #[must_use]
    pub fn duty(&self) -> Ratio {
        ratio(self.injectors.iter().map(|i| i.duty).fold(0.0, f64::max))
    }

    /// Longest commanded pulse.
    #[must_use]
    pub fn pulse_width(&self) -> Time {
        s(self.injectors.iter().map(|i| i.pulse).fold(0.0, f64::max))
    }

    /// Lambda that results: air over injected fuel over the stoichiometric ratio of the fuel in the tank.
    #[must_use]
    pub fn lambda(&self) -> Option<f64> {
        self.demand.map(|d| d.air / (self.injected * d.stoichiometric))
    }

    /// Lambda of the weakest cylinder.
    #[must_use]
    pub fn worst_lambda(&self) -> Option<f64> {
        let spread = self.injectors.iter().map(|i| i.spread).fold(0.0, f64::max);
        self.lambda().map(|l| l / (1.0 - spread))
    }

    /// Whether the supply is short: there is a regulator and every one is shut while the engine runs.
    #[must_use]
    pub fn out_of_control(&self) -> bool {
        !self.regulators.is_empty() && self.regulators.iter().all(|r| r.mode == Mode::Closed)
    }

    /// The headline figures by name, each with its quantity: what sweeps, studies and JSON use.
    #[must_use]
    pub fn channels(&self) -> IndexMap<String, Amount> {
        let mut out = IndexMap::new();
        let mut put = |name: &str, a: Amount| {
            out.insert(name.to_owned(), a);
        };
        let si = |v: f64, d: Dim| Amount::new(v, d);
        put("speed", si(self.operating.speed, Dim::AngularVelocity));
        put("boost", si(self.operating.boost, Dim::Pressure).gauge());
        put("manifold pressure", si(self.manifold, Dim::Pressure).absolute());
        put("supply voltage", si(self.supply, Dim::Voltage));
        put("rail pressure", si(self.rail_pressure().pascals(), Dim::Pressure).gauge());
        put("differential pressure", si(self.difference().value, Dim::Pressure));
        put("pump flow", si(self.pump_flow().value, Dim::VolumeRate));
        put("engine flow", si(self.engine_flow().value, Dim::VolumeRate));
        put("return flow", si(self.return_flow().value, Dim::VolumeRate));
        put("pump current", si(self.pump_current().value, Dim::Current));
        put("drawn current", si(self.drawn_current().value, Dim::Current));
        put("pump voltage", si(self.pump_voltage().value, Dim::Voltage));
        if let Some(d) = self.demand {
            put("asked flow", si(d.fuel_volume, Dim::VolumeRate));
            put("air flow", si(d.air, Dim::MassRate));
            put("charge temperature", si(d.charge_temperature, Dim::Temperature));
            put("lambda", si(self.lambda().unwrap_or(f64::NAN), Dim::Ratio));
            put("worst lambda", si(self.worst_lambda().unwrap_or(f64::NAN), Dim::Ratio));
            put("target lambda", si(d.lambda, Dim::Ratio));
            put("pulse width", si(self.pulse_width().value, Dim::Time));
            put("duty", si(self.duty().value, Dim::Ratio));
        }
        for p in &self.pumps {
            put(&format!("{} flow", p.name), si(p.flow, Dim::VolumeRate));
            put(&format!("{} rise", p.name), si(p.running.rise, Dim::Pressure));
            put(&format!("{} current", p.name), si(p.running.current, Dim::Current));
            put(&format!("{} voltage", p.name), si(p.running.volts, Dim::Voltage));
            put(&format!("{} inlet margin", p.name), si(p.inlet_margin, Dim::Pressure));
            put(&format!("{} wiring drop", p.name), si(p.feed_drop + p.return_drop, Dim::Voltage));
        }
        for p in &self.pots {
            put(&format!("{} net outflow", p.name), si(p.net_outflow, Dim::VolumeRate));
            if let Some(t) = p.time_to_empty {
                put(&format!("{} time to empty", p.name), si(t, Dim::Time));
            }
        }
        for r in &self.regulators {
            put(&format!("{} lift", r.name), si(r.lift, Dim::Length));
            put(&format!("{} return pressure", r.name), si(r.back - self.ambient, Dim::Pressure).gauge());
        }
        for leg in &self.legs {
            for p in &leg.parts {
                if !self.pumps.iter().any(|x| x.name == p.name)
                    && !self.injectors.iter().any(|x| x.name == p.name)
                    && !self.regulators.iter().any(|x| x.name == p.name)
                {
                    put(&format!("{} loss", p.name), si(p.drop, Dim::Pressure));
                }
            }
        }
        out
    }

    /// One headline figure by name.
    ///
    /// # Errors
    /// Names the nearest figures.
    pub fn channel(&self, name: &str) -> Result<Amount> {
        let all = self.channels();
        all.get(name).copied().ok_or_else(|| {
            let names: Vec<&str> = all.keys().map(String::as_str).collect();
            Error::new(Kind::Unknown, format!("this point has no \"{name}\"")).next(format!(
                "{}it has: {}",
                crate::error::did_you_mean(name, names.iter().copied()),
                names.join(", ")
            ))
        })
    }
}
