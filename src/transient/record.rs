//! Records channels while a run goes on.

use super::from_build::Made;
use super::network::{Back, NetSystem, Place};
use super::solution::Channel;
use crate::quantity::{Dim, Flavour};
use crate::schedule::Schedule;
use crate::stepper::{Crossing, Observer, StepView};
use indexmap::IndexMap;
use ndarray::Array1;
use std::ops::ControlFlow;

/// Asked now and then how far the run has come; `Break` ends it.
pub type Watch<'a> = &'a mut dyn FnMut(f64) -> ControlFlow<()>;

/// Asks on the way to the start of the record, where nothing is done yet of what is told.
pub(super) struct Before<'a> {
    watch: Watch<'a>,
    steps: u32,
}

/// Steps between two questions.
const SELDOM: u32 = 64;

impl<'a> Before<'a> {
    pub fn new(watch: Watch<'a>) -> Self {
        Self { watch, steps: 0 }
    }

    pub fn ask(&mut self) -> ControlFlow<()> {
        (self.watch)(0.0)
    }
}

impl<const N: usize> Observer<N> for Before<'_> {
    fn step(&mut self, _view: &StepView<'_, N>) -> ControlFlow<()> {
        self.steps = self.steps.wrapping_add(1);
        if self.steps.is_multiple_of(SELDOM) { self.ask() } else { ControlFlow::Continue(()) }
    }
}

/// An observer that writes rows.
pub(super) struct Recorder<'a, const N: usize> {
    made: &'a Made,
    schedule: &'a Schedule,
    view: NetSystem<N>,
    sample: f64,
    next: u64,
    last_injected: f64,
    pub t: Vec<f64>,
    pub rows: Vec<f64>,
    /// Volume that each injector has passed, at each imposed event and each stop of a followed needle.
    pub passed: Vec<(f64, Vec<f64>)>,
    pub injected_at_start: Vec<f64>,
    watch: Watch<'a>,
    told: f64,
}

impl<'a, const N: usize> Recorder<'a, N> {
    pub fn new(
        made: &'a Made,
        schedule: &'a Schedule,
        view: NetSystem<N>,
        sample: f64,
        start: &[f64; N],
        watch: Watch<'a>,
    ) -> Self {
        let n = made.net.injectors.len();
        let injected_at_start: Vec<f64> = (0..n).map(|k| start[view.injected(k)]).collect();
        let last_injected = injected_at_start.iter().sum();
        let mut recorder = Self {
            made,
            schedule,
            view,
            sample,
            next: 1,
            last_injected,
            t: vec![0.0],
            rows: Vec::new(),
            passed: Vec::new(),
            injected_at_start,
            watch,
            told: 0.0,
        };
        recorder.row(0.0, start, 0.0);
        recorder
    }

    /// Names, quantities and kinds of the channels, in the order of [`Recorder::row`].
    fn names(&self) -> Vec<(String, Dim, Flavour)> {
        let mut out: Vec<(String, Dim, Flavour)> = Vec::new();
        let mut put = |name: String, dim: Dim, flavour: Flavour| out.push((name, dim, flavour));
        put("speed".into(), Dim::AngularVelocity, Flavour::Plain);
        put("boost".into(), Dim::Pressure, Flavour::Gauge);
        put("manifold pressure".into(), Dim::Pressure, Flavour::Absolute);
        put("supply voltage".into(), Dim::Voltage, Flavour::Plain);
        if self.made.rail.is_some() {
            put("rail pressure".into(), Dim::Pressure, Flavour::Gauge);
            put("differential pressure".into(), Dim::Pressure, Flavour::Plain);
        }
        for (name, node) in &self.made.junctions {
            if Some(*node) != self.made.rail {
                put(format!("{name} pressure"), Dim::Pressure, Flavour::Gauge);
            }
        }
        put("pump flow".into(), Dim::VolumeRate, Flavour::Plain);
        put("return flow".into(), Dim::VolumeRate, Flavour::Plain);
        put("engine flow".into(), Dim::VolumeRate, Flavour::Plain);
        put("asked flow".into(), Dim::VolumeRate, Flavour::Plain);
        put("injected volume".into(), Dim::Volume, Flavour::Plain);
        for p in &self.made.net.pumps {
            put(format!("{} flow", p.name), Dim::VolumeRate, Flavour::Plain);
            put(format!("{} current", p.name), Dim::Current, Flavour::Plain);
            put(format!("{} speed", p.name), Dim::AngularVelocity, Flavour::Plain);
        }
        for r in &self.made.net.regulators {
            put(format!("{} lift", r.name), Dim::Length, Flavour::Plain);
            put(format!("{} reference", r.name), Dim::Pressure, Flavour::Gauge);
            put(format!("{} return pressure", r.name), Dim::Pressure, Flavour::Gauge);
        }
        for i in self.made.net.injectors.iter().filter(|i| i.back != Back::Manifold) {
            put(format!("{} back pressure", i.name), Dim::Pressure, Flavour::Absolute);
        }
        for i in self.made.net.injectors.iter().filter(|i| i.coil.is_some()) {
            put(format!("{} current", i.name), Dim::Current, Flavour::Plain);
            put(format!("{} lift", i.name), Dim::Length, Flavour::Plain);
        }
        for e in self.made.net.ends.iter().filter(|e| e.fuel.is_some()) {
            put(format!("{} contents", e.name), Dim::Volume, Flavour::Plain);
        }
        if self.made.net.intake.is_some() {
            put("boost asked".into(), Dim::Pressure, Flavour::Gauge);
            put("charge pipe pressure".into(), Dim::Pressure, Flavour::Gauge);
            put("engine air".into(), Dim::MassRate, Flavour::Plain);
        }
        if self.made.net.intake.as_ref().is_some_and(|i| i.throttle.is_some()) {
            put("throttle".into(), Dim::Ratio, Flavour::Plain);
            put("throttle air".into(), Dim::MassRate, Flavour::Plain);
        }
        out
    }

    fn row(&mut self, t: f64, y: &[f64; N], since: f64) {
        let net = &self.made.net;
        let view = &self.view;
        let ambient = net.ambient;
        let asked = self.schedule.boost.at(t);
        let intake = view.intake(t, y);
        let boost = if intake.is_some() { view.manifold(t, y) - ambient } else { asked };
        let rpm = self.schedule.rpm.at(t);
        let rows = &mut self.rows;
        rows.push(rpm * std::f64::consts::PI / 30.0);
        rows.push(boost);
        rows.push(ambient + boost);
        rows.push(net.supply.at(t));
        if let Some(rail) = self.made.rail {
            let p = view.pressure(Place::Node(rail), t, y) - ambient;
            rows.push(p);
            rows.push(p - boost);
        }
        for (_, node) in &self.made.junctions {
            if Some(*node) != self.made.rail {
                rows.push(view.pressure(Place::Node(*node), t, y) - ambient);
            }
        }
        rows.push(self.made.pump_branches.iter().map(|b| y[view.branch(*b)]).sum());
        rows.push((0..net.regulators.len()).map(|k| view.by_pass(k, t, y)).sum());
        let injected: f64 = (0..net.injectors.len()).map(|k| y[view.injected(k)]).sum();
        rows.push(if since > 0.0 { (injected - self.last_injected) / since } else { 0.0 });
        rows.push(self.made.wanted.at(t) * net.injectors.len() as f64 * rpm / 120.0 / net.fluid.rho);
        rows.push(injected - self.injected_at_start.iter().sum::<f64>());
        self.last_injected = injected;
        for (k, p) in net.pumps.iter().enumerate() {
            let (volts, emf) = (p.supply.at(t), y[view.pump(k)]);
            rows.push(y[view.branch(self.made.pump_branches[k])]);
            rows.push(if volts > 0.0 { (volts - emf) / p.resistance } else { 0.0 });
            rows.push(emf / p.motor_constant);
        }
        for (k, r) in net.regulators.iter().enumerate() {
            let at = view.poppet_at(k);
            rows.push(y[at]);
            rows.push(view.felt_reference(k, t, y) - ambient);
            rows.push(view.pressure(r.to, t, y) - ambient);
        }
        for (k, i) in net.injectors.iter().enumerate() {
            if i.back != Back::Manifold {
                rows.push(view.back(k, t, y));
            }
        }
        for (current, lift) in (0..net.injectors.len()).filter_map(|k| view.coil(k, y)) {
            rows.extend([current, lift]);
        }
        for (k, e) in net.ends.iter().enumerate() {
            if let Some(fuel) = e.fuel {
                rows.push(fuel + y[view.received(k)]);
            }
        }
        if let Some((pipe, _, taken)) = intake {
            rows.extend([asked, pipe, taken]);
        }
        if let Some((opening, air)) = view.throttle(t, y) {
            rows.extend([opening, air]);
        }
    }

    fn note_passed(&mut self, t: f64, y: &[f64; N]) {
        let n = self.made.net.injectors.len();
        self.passed.push((t, (0..n).map(|k| y[self.view.injected(k)]).collect()));
    }

    pub fn channels(&self) -> IndexMap<String, Channel> {
        let names = self.names();
        let width = names.len();
        names
            .into_iter()
            .enumerate()
            .map(|(c, (name, dim, flavour))| {
                let values: Array1<f64> = self.rows.iter().skip(c).step_by(width).copied().collect();
                (name, Channel { dim, flavour, values })
            })
            .collect()
    }
}

impl<const N: usize> Observer<N> for Recorder<'_, N> {
    fn step(&mut self, view: &StepView<'_, N>) -> ControlFlow<()> {
        let mut y = [0.0; N];
        loop {
            let t = self.next as f64 * self.sample;
            if t > view.t1 {
                break;
            }
            view.at(t, &mut y);
            self.t.push(t);
            self.row(t, &y, self.sample);
            self.next += 1;
        }
        let done = view.t1 / self.schedule.seconds;
        if done >= self.told + 0.01 || done >= 1.0 {
            self.told = done;
            return (self.watch)(done.min(1.0));
        }
        ControlFlow::Continue(())
    }

    fn time_event(&mut self, t: f64, y: &[f64; N]) {
        self.note_passed(t, y);
    }

    fn root_event(&mut self, t: f64, crossing: Crossing, y: &[f64; N]) {
        // A followed needle shuts when it does, not when it was planned.
        if self.view.is_needle(crossing.root) {
            self.note_passed(t, y);
        }
    }
}
