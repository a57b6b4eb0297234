//! Runs a build through a schedule.

use super::from_build::{Made, made, made_watched};
use super::linear::{Linear, Mode};
use super::network::{EventKind, NetSystem, states};
use super::options::{Options, Stepper};
use super::record::{Before, Recorder, Watch};
use super::solution::{Air, Happening, Ledger, PulseRecord, Solution, Stopped};
use crate::build::Build;
use crate::error::{Error, Kind, Result};
use crate::part::gas::AIR;
use crate::part::manifold::Filling;
use crate::schedule::{Schedule, Start};
use crate::stepper::{self, Exponential, Observer, Rodas4, StopReason, Tsit5};
use std::ops::ControlFlow;

/// Runs a build through a schedule.
///
/// # Errors
/// A value of build, schedule or options that cannot be, by its key; an operating point outside a table of the build; a
/// throttle behind which the manifold falls near vacuum, by when it does.
/// A run that fails on its way is no error: [`Solution::stopped`] says so, with all that was reached.
pub fn run(build: &Build, schedule: &Schedule, options: &Options) -> Result<Solution> {
    run_watched(build, schedule, options, &mut |_| ControlFlow::Continue(()))
}

/// The same, telling how far it has come (0 to 1); a `Break` ends it and keeps what there is.
///
/// # Errors
/// As [`run`]; one that was ended before there was anything to keep, in the search for a manifold's course, is of kind
/// [`Kind::Cancelled`].
pub fn run_watched(
    build: &Build,
    schedule: &Schedule,
    options: &Options,
    watch: Watch<'_>,
) -> Result<Solution> {
    let mut made = made_watched(build, schedule, options, watch)?;
    made.power(schedule)?;
    match states(&made.net) {
        0..=24 => sized::<24>(build, schedule, options, &made, watch),
        25..=32 => sized::<32>(build, schedule, options, &made, watch),
        33..=48 => sized::<48>(build, schedule, options, &made, watch),
        49..=80 => sized::<80>(build, schedule, options, &made, watch),
        81..=160 => sized::<160>(build, schedule, options, &made, watch),
        n => Err(Error::new(Kind::Layout, format!("the circuit needs {n} states, 160 are the most"))
            .next("take longer lumps (options.lump), or a simpler circuit")),
    }
}

/// Modes of small motion about the operating point at the start of a schedule, with injectors shut and all lines in lumps.
///
/// # Errors
/// As [`run`].
pub fn modes(build: &Build, schedule: &Schedule, options: &Options) -> Result<Vec<(Mode, String)>> {
    let (system, y, _) = at_rest(build, schedule, options)?;
    let linear = Linear::of(&system, 0.0, &y, system.injected(0));
    Ok(linear.modes().into_iter().map(|m| (m, state_name(&system, m.state))).collect())
}

/// How the rail follows a small sine on the first regulator's reference port, with injectors shut and lines
/// in lumps: at each frequency, Hz,
/// swing of the rail over that of the reference, and how far ahead of it, rad (below zero: behind).
///
/// # Errors
/// As [`run`]; a build without a rail or a regulator; a frequency that is no number above zero.
pub fn follows(
    build: &Build,
    schedule: &Schedule,
    options: &Options,
    frequencies: &[f64],
) -> Result<Vec<(f64, f64)>> {
    let (system, y, rail) = at_rest(build, schedule, options)?;
    let missing = |what: &str| {
        Err(Error::new(Kind::Layout, format!("the circuit has no {what}: no pressure follows a reference"))
            .next("ask a circuit with a by-pass regulator and a rail"))
    };
    let Some(rail) = rail else { return missing("rail") };
    if system.net().regulators.is_empty() {
        return missing("regulator");
    }
    let linear = Linear::of(&system, 0.0, &y, system.injected(0));
    let forcing = system.reference_forcing(0);
    let one = |f: &f64| {
        let answer = if *f > 0.0 { linear.response(*f, &[forcing], system.node(rail)) } else { None };
        answer.ok_or_else(|| {
            Error::new(Kind::Value, format!("there is no response at {f} Hz"))
                .next("give a frequency above zero, and a point at which the regulator is off its stops")
        })
    };
    frequencies.iter().map(one).collect()
}

/// A build at the operating point at the start of a schedule, injectors shut, without dry friction; and its rail.
fn at_rest(
    build: &Build,
    schedule: &Schedule,
    options: &Options,
) -> Result<(NetSystem<160>, [f64; 160], Option<usize>)> {
    const N: usize = 160;
    // A small motion is one of states: what travels along a line is none of them, so each line is taken in lumps.
    let mut lumped = build.clone();
    for (name, part) in build.parts() {
        if part.values.word("model") == "waves" {
            lumped.set(&format!("{name}.model"), "lumps")?;
        }
    }
    let mut made = made(&lumped, schedule, options)?;
    made.power(schedule)?;
    // The verdict is about the smooth laws: dry friction would hold the poppet still.
    made.net.regulators.iter_mut().for_each(|r| r.friction = 0.0);
    made.net.belief = super::network::Belief::Off;
    let (mut system, mut y) = NetSystem::<N>::new(made.net.clone(), 0.0).map_err(bad_net)?;
    made.begin(&Schedule { start: Start::Running, ..schedule.clone() }, &system, &mut y);
    system.settle_modes(0.0, &mut y);
    Ok((system, y, made.rail))
}

fn bad_net(e: super::network::BadNet) -> Error {
    Error::new(Kind::Value, e.to_string()).at_key(e.key)
}

/// What a state is called.
fn state_name<const N: usize>(s: &NetSystem<N>, k: usize) -> String {
    let net = s.net();
    let (p, n, b) = (net.pumps.len(), net.nodes.len(), net.branches.len());
    if k < p {
        format!("{} speed", net.pumps[k].name)
    } else if k < p + n {
        format!("{} pressure", net.nodes[k - p].name)
    } else if k < p + n + b {
        format!("{} flow", net.branches[k - p - n].name)
    } else if k < s.injected(0) {
        let r = k - p - n - b;
        match net.regulators.get(r / 3) {
            Some(unit) => format!("{} {}", unit.name, ["lift", "poppet speed", "reference"][r % 3]),
            None if k + 1 < s.injected(0) => "charge pipe pressure".to_owned(),
            None => "manifold air".to_owned(),
        }
    } else if k < s.received(0) {
        format!("{} volume", net.injectors[k - s.injected(0)].name)
    } else if let Some(e) = net.ends.get(k - s.received(0)) {
        format!("{} volume", e.name)
    } else {
        s.beyond_ends(k).unwrap_or_else(|| "padding".to_owned())
    }
}

fn sized<const N: usize>(
    build: &Build,
    schedule: &Schedule,
    o: &Options,
    made: &Made,
    watch: Watch<'_>,
) -> Result<Solution> {
    let running = schedule.start == Start::Running && o.warm_up > 0.0;
    let begin = if running { -o.warm_up } else { 0.0 };
    let (mut system, mut y) = NetSystem::<N>::new(made.net.clone(), begin).map_err(bad_net)?;
    made.begin(schedule, &system, &mut y);
    system.settle_modes(begin, &mut y);
    let mut steps = Steps::of(o, &system);
    if running {
        let warm = steps.run(&mut system, o, (begin, y), 0.0, &mut Before::new(watch))?;
        y = warm.y;
        if !matches!(warm.stop, StopReason::Finished) {
            let mut early = stopped(&system, &warm.stop);
            if let Stopped::Finished = early {
                early = Stopped::Until { t: warm.t };
            }
            return Ok(Solution {
                build: build.name().to_owned(),
                input: build.input_digest().to_owned(),
                schedule: schedule.name.clone(),
                t: ndarray::Array1::zeros(0),
                channels: indexmap::IndexMap::new(),
                pulses: vec![],
                events: happenings(&system),
                ledger: ledger(&system, &y, (0.0, &y)),
                stopped: early,
                warnings: vec!["it ended before the record began".to_owned()],
                effort: warm.statistics,
            });
        }
        system.forget_events();
    }
    let start = y;
    let mut recorder = Recorder::new(made, schedule, system.clone(), o.sample, &start, watch);
    let done = steps.run(&mut system, o, (0.0, start), schedule.seconds, &mut recorder)?;
    let channels = recorder.channels();
    let events = happenings(&system);
    let mut warnings = Vec::new();
    let count = |wanted: fn(&EventKind) -> bool| events.iter().filter(|e| wanted(&e.kind)).count();
    let outside = count(|k| matches!(k, EventKind::OutsideDeadTime { .. }));
    if outside > 0 {
        warnings.push(format!("the dead-time table was left in {outside} pulses; its edge was used"));
    }
    let boils = count(|k| matches!(k, EventKind::Boils { .. }));
    if boils > 0 {
        warnings.push(format!("fuel reached vapour pressure {boils} times in the return"));
    }
    for (name, lowest) in system.lowest_in_waves() {
        let vapour = made.net.fluid.vapour;
        warnings.push(format!(
            "{name} is carried with waves and a wall that loses nothing: it swings longer than rubber"
        ));
        if lowest < vapour {
            warnings.push(format!("{name} would have boiled: {:.0} kPa within it, absolute", lowest / 1e3));
        }
    }
    let full = count(|k| matches!(k, EventKind::PoppetFullLift { .. }));
    if full > 0 {
        warnings.push(format!("a regulator came to full lift {full} times"));
    }
    Ok(Solution {
        build: build.name().to_owned(),
        input: build.input_digest().to_owned(),
        schedule: schedule.name.clone(),
        t: recorder.t.iter().copied().collect(),
        pulses: pulses(&system, made, &recorder.passed, &recorder.injected_at_start),
        channels,
        ledger: ledger(&system, &start, (done.t, &done.y)),
        stopped: stopped(&system, &done.stop),
        events,
        warnings,
        effort: done.statistics,
    })
}

/// The method of a run; it keeps what it learned from the time before the record.
enum Steps<const N: usize> {
    Exponential(Box<Exponential<N>>),
    Tsit5(Tsit5<N>),
    Rodas4(Rodas4<N>),
}

impl<const N: usize> Steps<N> {
    fn of(o: &Options, system: &NetSystem<N>) -> Self {
        match o.stepper {
            Stepper::Automatic if system.is_nearly_linear() => Self::Exponential(Box::default()),
            Stepper::Exponential => Self::Exponential(Box::default()),
            Stepper::Automatic | Stepper::Tsit5 => Self::Tsit5(Tsit5::new()),
            Stepper::Rodas4 => Self::Rodas4(Rodas4::new()),
        }
    }

    fn run<O: Observer<N>>(
        &mut self,
        system: &mut NetSystem<N>,
        o: &Options,
        (from, y): (f64, [f64; N]),
        to: f64,
        observer: &mut O,
    ) -> Result<stepper::Run<N>> {
        let exponential = matches!(self, Self::Exponential(_));
        let mut options = system.tolerances(system.fineness(exponential) * o.tolerance);
        options.max_steps = o.max_steps;
        match self {
            Self::Exponential(m) => stepper::solve(system, &mut **m, from, y, to, &options, observer),
            Self::Tsit5(m) => stepper::solve(system, m, from, y, to, &options, observer),
            Self::Rodas4(m) => stepper::solve(system, m, from, y, to, &options, observer),
        }
        .map_err(|e| Error::new(Kind::Solve, e.to_string()))
    }
}

fn stopped<const N: usize>(system: &NetSystem<N>, stop: &StopReason) -> Stopped {
    let last = system.events().last().map(|e| e.kind);
    match *stop {
        StopReason::Finished => Stopped::Finished,
        StopReason::Root { t, .. } => match last {
            Some(EventKind::RanDry { end }) => {
                Stopped::RanDry { t, place: system.net().ends[end].name.clone() }
            }
            _ => Stopped::Until { t },
        },
        StopReason::Cancelled { t } => Stopped::Cancelled { t },
        StopReason::NotFinite { t, component } | StopReason::StepTooSmall { t, component } => {
            Stopped::BlewUp { t, channel: state_name(system, component) }
        }
        StopReason::EventsAccumulate { t, .. } => {
            Stopped::BlewUp { t, channel: "the spacing of events".to_owned() }
        }
        StopReason::TooManySteps { t } => Stopped::TooManySteps { t },
        StopReason::OutOfRange { t, what } => Stopped::BlewUp { t, channel: what.to_owned() },
        StopReason::TimeEvent { t } => Stopped::Until { t },
    }
}

fn happenings<const N: usize>(system: &NetSystem<N>) -> Vec<Happening> {
    let net = system.net();
    let part = |kind: &EventKind| match *kind {
        EventKind::Commanded { injector, .. }
        | EventKind::Opened { injector }
        | EventKind::Closed { injector }
        | EventKind::OutsideDeadTime { injector } => net.injectors[injector].name.clone(),
        EventKind::CheckShut { branch } | EventKind::CheckOpened { branch } => {
            net.branches[branch].name.clone()
        }
        EventKind::PoppetSeated { regulator }
        | EventKind::PoppetFullLift { regulator }
        | EventKind::PoppetStuck { regulator }
        | EventKind::PoppetMoved { regulator } => net.regulators[regulator].name.clone(),
        EventKind::Boils { node } | EventKind::Collapsed { node } => net.nodes[node].name.clone(),
        EventKind::PumpStopped { pump } | EventKind::PumpStarted { pump } => net.pumps[pump].name.clone(),
        EventKind::RanDry { end } => net.ends[end].name.clone(),
        EventKind::IntoBoost | EventKind::OutOfBoost => "manifold".to_owned(),
        EventKind::Until | EventKind::Corner => String::new(),
    };
    system.events().iter().map(|e| Happening { t: e.t, kind: e.kind, part: part(&e.kind) }).collect()
}

/// Where the fuel went between time 0 and another.
fn ledger<const N: usize>(system: &NetSystem<N>, start: &[f64; N], (t, end): (f64, &[f64; N])) -> Ledger {
    let net = system.net();
    let moved = |k: usize| end[k] - start[k];
    let ends =
        net.ends.iter().enumerate().map(|(k, e)| (e.name.clone(), moved(system.received(k)))).collect();
    let injectors =
        net.injectors.iter().enumerate().map(|(k, i)| (i.name.clone(), moved(system.injected(k)))).collect();
    let in_nodes: f64 =
        net.nodes.iter().enumerate().map(|(k, n)| n.capacitance * moved(system.node(k))).sum();
    let stored = in_nodes + system.swept_since(start, end) + system.in_waves_since(start, end);
    let grown = net.volume() * net.fluid.expansion * (net.temperature.at(t) - net.temperature.at(0.0));
    let air = air(system, start, (t, end));
    Ledger { ends, injectors, stored, imbalance: system.volume_since(start, end) - grown, air }
}

/// Where the air went through a manifold that is followed: what stayed is read off its pressure and temperature.
fn air<const N: usize>(system: &NetSystem<N>, start: &[f64; N], (t, end): (f64, &[f64; N])) -> Option<Air> {
    let law = Filling { volume: system.net().intake.as_ref()?.volume, gas: AIR };
    let holds = |t: f64, y: &[f64; N]| {
        system.intake(t, y).map_or(0.0, |(_, temperature, _)| law.mass(system.manifold(t, y), temperature))
    };
    let at = system.breathed();
    let (entered, taken) = (end[at] - start[at], end[at + 1] - start[at + 1]);
    let stored = holds(t, end) - holds(0.0, start);
    Some(Air { entered, taken, stored, imbalance: entered - taken - stored })
}

/// Pulses that began and ended within the record.
fn pulses<const N: usize>(
    system: &NetSystem<N>,
    made: &Made,
    passed: &[(f64, Vec<f64>)],
    at_start: &[f64],
) -> Vec<PulseRecord> {
    let n = made.net.injectors.len();
    let mut open: Vec<Option<(f64, f64)>> = vec![None; n];
    let mut before: Vec<f64> = at_start.to_vec();
    let mut out = Vec::new();
    let mut at = 0;
    for e in system.events() {
        match e.kind {
            EventKind::Commanded { injector, width } => open[injector] = Some((e.t, width)),
            EventKind::Closed { injector } => {
                while at < passed.len() && passed[at].0 < e.t {
                    at += 1;
                }
                let Some((_, volumes)) = passed.get(at).filter(|p| p.0 == e.t) else { continue };
                let volume = volumes[injector] - before[injector];
                before[injector] = volumes[injector];
                if let Some((commanded, width)) = open[injector].take() {
                    out.push(PulseRecord {
                        injector,
                        commanded,
                        width,
                        closed: e.t,
                        asked: made.wanted.at(commanded),
                        asked_at_close: made.wanted.at(e.t),
                        delivered: volume * made.net.fluid.rho,
                    });
                }
            }
            _ => {}
        }
    }
    out
}
