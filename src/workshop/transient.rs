//! A car through a change in time: what the gauges do, and how far behind they are.

use super::measure::{AngularVelocity, Pressure, Ratio, Temperature, Time, Voltage, ratio, s};
use super::run::{axis, shown, title};
use super::{Car, stop};
use crate::chart::{Chart, Series, Trace};
use crate::explain::Table;
use crate::quantity::{Amount, Dim, GaugePressure, Shown, rad_per_s};
use crate::rich::{Bundle, Rich, cancelled};
use crate::schedule::{Schedule, Until};
use crate::steady::{Operating, point};
use crate::transient::{Options, Solution, follows, modes, run_watched, throttle_opening};
use std::ops::ControlFlow;

/// A car's run in time: channels, pulses, what happened, and where the fuel went.
#[derive(Clone, Debug, PartialEq)]
pub struct Transient {
    name: String,
    schedule: Schedule,
    solution: Solution,
}

/// Share of a run whose mean counts as where it ends up.
const END: f64 = 0.1;

impl Car {
    /// Key on, engine at rest: the pump runs for two seconds, then its relay opens; four seconds in all.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn prime(&self) -> Transient {
        self.through(Schedule::key_on_prime(s(2.0).quantity(), s(4.0).quantity()))
    }

    /// At idle with the reference hose off and plugged; after half a second the hose goes on.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn hose_off_then_on(&self) -> Transient {
        let (speed, manifold) = self.idle_state();
        // What the hose brings to the port: less than the vacuum where it leaks, none where it is joined elsewhere.
        let idle = point(self.build(), &Operating::at(speed, manifold)).unwrap_or_else(|e| stop(e));
        let port = idle.regulators.first().map(|r| GaugePressure::from_pascals(r.reference - idle.ambient));
        let brings = port.unwrap_or(manifold);
        let (at, time) = (s(0.5).quantity(), s(1.5).quantity());
        self.through(Schedule::idle_hose_off_on(speed, manifold, brings, at, time))
    }

    /// The throttle snapped open from idle: the manifold goes from its vacuum to this boost within so long. With
    /// `engine.intake_volume` (and `engine.spool_time`) on the car this is what the throttle asks for: the manifold fills, and
    /// boost builds, in their own time. With `engine.throttle_area` too the throttle itself is opened, from where it idles to
    /// wide, while this boost, zero or more, is asked for in the charge pipe.
    ///
    /// # Panics
    /// As [`Car::through`]; on a boost below zero where the car has a throttle, since wide open it holds no vacuum.
    #[must_use]
    pub fn snap(&self, boost: Pressure, opens: Time) -> Transient {
        let (speed, manifold) = self.idle_state();
        let builds = self.build().section("engine").opt("spool_time").unwrap_or(0.0);
        let time = s(1.5 + 6.0 * builds) + opens;
        let from = |p| Schedule::snap(speed, p, boost.quantity(), opens.quantity(), time.quantity());
        if self.build().section("engine").opt("throttle_area").is_none() {
            return self.through(from(manifold));
        }
        if boost.quantity().value < 0.0 {
            stop(format!(
                "a snap to {boost}: a throttle wide open holds no vacuum\n  give a boost of zero or more, leave engine.throttle_area \
                 out, or open the throttle part of the way in a schedule of your own (Schedule::with_throttle)"
            ))
        }
        let still = GaugePressure::from_pascals(0.0);
        let idle = throttle_opening(self.build(), &Operating::at(speed, manifold), still);
        let idle = idle.unwrap_or_else(|e| stop(e));
        self.through(from(still).throttle_opened(idle, opens.quantity()))
    }

    /// Boost from one value to another at one speed, so long over it; half a second more to settle. With
    /// `engine.intake_volume` (and `engine.spool_time`) on the car this is the boost asked for, and a step of no length shows
    /// how it builds; then six time constants of the spool more.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn boost_step(&self, speed: AngularVelocity, from: Pressure, to: Pressure, over: Time) -> Transient {
        let builds = self.build().section("engine").opt("spool_time").unwrap_or(0.0);
        let time = s(0.7 + 6.0 * builds) + over;
        self.through(Schedule::boost_step(
            speed.quantity(),
            from.quantity(),
            to.quantity(),
            over.quantity(),
            time.quantity(),
        ))
    }

    /// A loaded pull in time, boost after the build's boost rows.
    ///
    /// **Caution:** lean in boost destroys engines in seconds: protection on and abort limits agreed before the pull.
    ///
    /// # Panics
    /// When the build has no boost rows, or as [`Car::through`].
    #[must_use]
    pub fn loaded_pull(&self, from: AngularVelocity, to: AngularVelocity, time: Time) -> Transient {
        let (a, b) = (from.quantity().value, to.quantity().value);
        let points: Vec<_> = (0..=48)
            .map(|k| a + (b - a) * f64::from(k) / 48.0)
            .map(|w| (rad_per_s(w), self.full_load_boost(rad_per_s(w).into())))
            .collect();
        match Schedule::loaded_pull(from.quantity(), to.quantity(), time.quantity(), &points) {
            Ok(pull) => self.through(pull),
            Err(e) => stop(e),
        }
    }

    /// Engine and pump off after a second, the fuel in the lines warming by the engine's heat.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn hot_soak(&self, from: Temperature, to: Temperature, time: Time) -> Transient {
        self.through(Schedule::hot_soak(from.quantity(), to.quantity(), time.quantity()))
    }

    /// Engine at rest, the pump off after a second: how the rail falls.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn leak_down(&self, time: Time) -> Transient {
        self.through(Schedule::leak_down(time.quantity()))
    }

    /// The pump loses its supply after 0.2 s under load; the run ends when the difference has fallen to this.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn pump_failure(&self, speed: AngularVelocity, boost: Pressure, down_to: Pressure) -> Transient {
        let fails =
            Schedule::pump_failure(speed.quantity(), boost.quantity(), s(0.2).quantity(), s(3.0).quantity());
        self.through(fails.until(Until::difference_below(down_to.quantity())))
    }

    /// The supply sags from one voltage to another and comes back, two seconds in all.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn voltage_sag(
        &self,
        speed: AngularVelocity,
        boost: Pressure,
        from: Voltage,
        to: Voltage,
    ) -> Transient {
        self.through(Schedule::voltage_sag(
            speed.quantity(),
            boost.quantity(),
            from.quantity(),
            to.quantity(),
            s(2.0).quantity(),
        ))
    }

    /// Through a schedule of your own.
    ///
    /// # Panics
    /// When the schedule or the build cannot be run; the message names the key.
    #[must_use]
    pub fn through(&self, schedule: Schedule) -> Transient {
        let mut watch = |_| if cancelled() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) };
        match run_watched(self.build(), &schedule, &Options::default(), &mut watch) {
            Ok(solution) => Transient { name: self.name().to_owned(), schedule, solution },
            Err(e) => stop(e),
        }
    }

    /// Modes of small motion at a speed and boost: how fast each swings, and whether it dies away.
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn small_motions(&self, speed: AngularVelocity, boost: Pressure) -> Table {
        let held = Schedule::hold(speed.quantity(), boost.quantity(), s(1.0).quantity());
        let all = match modes(self.build(), &held, &Options::default()) {
            Ok(all) => all,
            Err(e) => stop(e),
        };
        let mut t = Table::new("Small motions", &["mostly", "frequency", "damping ratio", "verdict"]);
        // Least damped first, as they come.
        let swings: Vec<_> = all.iter().filter(|(m, _)| m.frequency > 0.0).collect();
        for (m, name) in swings.iter().take(MODES) {
            let verdict = if m.damping > 0.0 { "dies away" } else { "grows" };
            t.row([
                lump(name),
                format!("{:.1} Hz", m.frequency),
                format!("{:.3}", m.damping),
                verdict.into(),
            ]);
        }
        if swings.len() > MODES {
            t.note(format!("The {MODES} least damped of {} motions.", swings.len()));
        }
        if swings.is_empty() {
            t.note("Nothing swings here: every disturbance dies away or grows without turning back.");
        } else if swings.iter().all(|(m, _)| m.damping > 0.0) {
            t.note("All of them die away: nothing sings here. A hose is reckoned in lumps.");
        }
        t.note(
            "Dry friction and stops are left out of this: on the car they may hold still what is growing here. Compare with a run.",
        );
        t
    }

    /// How the rail follows a small sine on the regulator's reference port, slow to fast: swing of the rail over that of
    /// the reference, and how far it is ahead of it (below zero: behind).
    ///
    /// # Panics
    /// As [`Car::through`].
    #[must_use]
    pub fn follows_reference(&self, speed: AngularVelocity, boost: Pressure) -> Table {
        let held = Schedule::hold(speed.quantity(), boost.quantity(), s(1.0).quantity());
        let frequencies = [1.0, 3.0, 10.0, 30.0, 100.0, 300.0];
        let all = match follows(self.build(), &held, &Options::default(), &frequencies) {
            Ok(all) => all,
            Err(e) => stop(e),
        };
        let mut t = Table::new("The rail after its reference", &["sine", "rail over reference", "ahead by"]);
        for (f, (gain, phase)) in frequencies.iter().zip(all) {
            t.row([format!("{f:.0} Hz"), format!("{gain:.3}"), format!("{:.0}°", phase.to_degrees())]);
        }
        t.note("Small motions, injectors shut, no dry friction. Slow, the swing is that of the diaphragm over the diaphragm less its seat.");
        t
    }

    fn idle_state(&self) -> (crate::quantity::AngularVelocity, GaugePressure) {
        let e = self.build().section("engine");
        (rad_per_s(e.si("idle_speed")), GaugePressure::from_pascals(e.si("idle_manifold")))
    }
}

impl Transient {
    /// The name of the car.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The same run under another name, for the labels of figures.
    #[must_use]
    pub fn named(mut self, name: &str) -> Self {
        name.clone_into(&mut self.name);
        self
    }

    /// The run itself: channels, pulses, events, ledger.
    #[must_use]
    pub fn solution(&self) -> &Solution {
        &self.solution
    }

    /// The channels there are.
    #[must_use]
    pub fn channels(&self) -> Vec<&str> {
        self.solution.channels.keys().map(String::as_str).collect()
    }

    fn values(&self, name: &str) -> (&[f64], Amount) {
        match self.solution.channel(name) {
            Ok(c) => {
                let kind = Amount { si: 0.0, dim: c.dim, flavour: c.flavour };
                (c.values.as_slice().unwrap_or(&[]), kind)
            }
            Err(e) => stop(e),
        }
    }

    /// Lowest value of a channel, ripple and all.
    ///
    /// # Panics
    /// When there is no such channel; the message lists those that there are.
    #[must_use]
    pub fn lowest(&self, name: &str) -> Amount {
        let (v, kind) = self.values(name);
        Amount { si: v.iter().copied().fold(f64::INFINITY, f64::min), ..kind }
    }

    /// Highest value of a channel, ripple and all.
    ///
    /// # Panics
    /// As [`Transient::lowest`].
    #[must_use]
    pub fn highest(&self, name: &str) -> Amount {
        let (v, kind) = self.values(name);
        Amount { si: v.iter().copied().fold(f64::NEG_INFINITY, f64::max), ..kind }
    }

    /// When a channel was lowest.
    ///
    /// # Panics
    /// As [`Transient::lowest`].
    #[must_use]
    pub fn lowest_at(&self, name: &str) -> Time {
        let (v, _) = self.values(name);
        let k = (0..v.len()).min_by(|a, b| v[*a].total_cmp(&v[*b])).unwrap_or(0);
        s(self.solution.t.get(k).copied().unwrap_or(0.0))
    }

    /// Value of a channel at a time.
    ///
    /// # Panics
    /// As [`Transient::lowest`], or at a time outside the run.
    #[must_use]
    pub fn at(&self, name: &str, time: Time) -> Amount {
        self.solution.at(name, time.quantity()).unwrap_or_else(|e| stop(e))
    }

    /// Mean of a channel between two times.
    ///
    /// # Panics
    /// As [`Transient::at`].
    #[must_use]
    pub fn mean(&self, name: &str, from: Time, to: Time) -> Amount {
        self.solution.mean(name, from.quantity(), to.quantity()).unwrap_or_else(|e| stop(e))
    }

    /// Swing of a channel, highest less lowest, over the last tenth of the run.
    ///
    /// # Panics
    /// As [`Transient::lowest`].
    #[must_use]
    pub fn ripple(&self, name: &str) -> Amount {
        let (v, kind) = self.values(name);
        let last = &v[self.tail(v.len())..];
        let (low, high) =
            last.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
        Amount::new(high - low, kind.dim)
    }

    /// A channel without its ripple: at each moment the mean over one engine cycle about it.
    fn cycle_mean(&self, name: &str) -> (Vec<f64>, Amount) {
        let (v, kind) = self.values(name);
        let (t, n) = (&self.solution.t, v.len());
        if n < 3 {
            return (v.to_vec(), kind);
        }
        let sample = (t[n - 1] - t[0]) / (n - 1) as f64;
        let mut sum = vec![0.0];
        for x in v {
            sum.push(sum[sum.len() - 1] + x);
        }
        let mean = (0..n)
            .map(|k| {
                let rpm = self.schedule.rpm.at(t[k]);
                let half = if rpm > 0.0 { (60.0 / rpm / sample).round() as usize } else { 0 };
                // Near an end of the run the first or last whole cycle stands for it.
                let half = half.min((n - 1) / 2);
                let k = k.clamp(half, n - 1 - half);
                (sum[k + half + 1] - sum[k - half]) / (2 * half + 1) as f64
            })
            .collect();
        (mean, kind)
    }

    /// A channel as mean, lowest and highest over one engine cycle, when it swings so much within a cycle that its line
    /// would hide others; a few hundred points, as wide as a picture.
    fn without_teeth(&self, name: &str) -> Option<[Series; 3]> {
        let (mean, kind) = self.cycle_mean(name);
        let (v, _) = self.values(name);
        let (t, n) = (&self.solution.t, v.len());
        if n < 3 {
            return None;
        }
        let sample = (t[n - 1] - t[0]) / (n - 1) as f64;
        let ends =
            |x: &[f64]| x.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
        let at: Vec<usize> = (0..=POINTS).map(|i| i * (n - 1) / POINTS).collect();
        let swings: Vec<(f64, f64)> = at
            .iter()
            .map(|k| {
                let rpm = self.schedule.rpm.at(t[*k]);
                let half = if rpm > 0.0 { (60.0 / rpm / sample).round() as usize } else { 0 };
                ends(&v[k.saturating_sub(half)..=(k + half).min(n - 1)])
            })
            .collect();
        let (low, high) = ends(v);
        let typical = swings.iter().map(|(l, h)| h - l).sum::<f64>() / swings.len() as f64;
        if !(typical > 0.1 * (high - low)) {
            return None;
        }
        let series = |values: Vec<f64>| {
            let y: Vec<f64> = values.into_iter().map(|si| shown(Amount { si, ..kind })).collect();
            Series::new(self.name.clone(), at.iter().map(|k| t[*k]).collect::<Vec<f64>>(), y)
        };
        Some([
            series(at.iter().map(|k| mean[*k]).collect()),
            series(swings.iter().map(|s| s.0).collect()),
            series(swings.iter().map(|s| s.1).collect()),
        ])
    }

    /// First of the last records that count as the end.
    fn tail(&self, n: usize) -> usize {
        n - ((n as f64 * END) as usize).clamp(1.min(n), n)
    }

    /// When what is imposed first changes, s.
    fn begins(&self) -> f64 {
        self.schedule.corners().into_iter().find(|t| *t > 0.0 && *t < self.schedule.seconds).unwrap_or(0.0)
    }

    /// How far a channel's cycle mean falls below where it stood before the change.
    ///
    /// # Panics
    /// As [`Transient::lowest`].
    #[must_use]
    pub fn dip(&self, name: &str) -> Amount {
        let (v, kind) = self.cycle_mean(name);
        let before = self.before(&v);
        let low = v.iter().copied().fold(before, f64::min);
        Amount::new(before - low, kind.dim)
    }

    fn before(&self, v: &[f64]) -> f64 {
        let start = self.begins();
        let n = self.solution.t.iter().take_while(|t| **t <= start).count().clamp(1, v.len().max(1));
        v.iter().take(n).sum::<f64>() / n as f64
    }

    fn after(&self, v: &[f64]) -> f64 {
        let last = &v[self.tail(v.len())..];
        last.iter().sum::<f64>() / last.len().max(1) as f64
    }

    /// How long after the change a channel's cycle mean comes to stay within a band of where it ends; nothing if it
    /// is still on its way in the last tenth of the run.
    ///
    /// # Panics
    /// As [`Transient::lowest`]; or when the band is another quantity than the channel.
    #[must_use]
    pub fn settles_within(&self, name: &str, band: impl Shown) -> Option<Time> {
        let (v, kind) = self.cycle_mean(name);
        let band = band.amount();
        if band.dim != kind.dim {
            stop(format!(
                "the channel \"{name}\" is a {}; the band {band} is a {}",
                kind.dim.name(),
                band.dim.name()
            ))
        }
        let end = self.after(&v);
        let out = (0..v.len()).rfind(|k| (v[*k] - end).abs() > band.si);
        match out {
            None => Some(s(0.0)),
            Some(k) if k >= self.tail(v.len()) => None,
            Some(k) => Some(s((self.solution.t[k] - self.begins()).max(0.0))),
        }
    }

    /// How far one channel trails another through a change from one level to another.
    ///
    /// # Formula
    /// `∫ (a(t) - b(t)) dt`, each scaled from 0 before the change to 1 at the end: the time constant of a first-order
    /// lag, the delay of a pure delay, whatever the shape of the change.
    ///
    /// # Panics
    /// As [`Transient::lowest`]; when one of them ends where it began.
    #[must_use]
    pub fn lag(&self, follower: &str, leader: &str) -> Time {
        let course = |name: &str| {
            let (v, kind) = self.cycle_mean(name);
            let (a, b) = (self.before(&v), self.after(&v));
            if (b - a).abs() <= 1e-3 * a.abs().max(b.abs()) {
                let stays = Amount { si: b, ..kind };
                stop(format!("\"{name}\" ends where it began, at {stays}: there is no change to trail"))
            }
            v.into_iter().map(|x| (x - a) / (b - a)).collect::<Vec<f64>>()
        };
        let (b, a) = (course(follower), course(leader));
        let t = &self.solution.t;
        let from = t.iter().take_while(|t| **t < self.begins()).count();
        let area =
            (from + 1..a.len()).map(|k| 0.5 * (a[k] - b[k] + a[k - 1] - b[k - 1]) * (t[k] - t[k - 1])).sum();
        s(area)
    }

    /// The worst pulse: fuel that passed over fuel that was asked for when it began, less one (hydraulics and belief).
    ///
    /// # Panics
    /// When no pulse was complete.
    #[must_use]
    pub fn worst_pulse(&self) -> Ratio {
        self.worst(crate::transient::PulseRecord::hydraulic_error)
    }

    /// The worst pulse by scheduling alone: what was asked at its start over what was asked at its end, less one.
    ///
    /// # Panics
    /// As [`Transient::worst_pulse`].
    #[must_use]
    pub fn worst_scheduling(&self) -> Ratio {
        self.worst(crate::transient::PulseRecord::scheduling_error)
    }

    fn worst(&self, of: fn(&crate::transient::PulseRecord) -> f64) -> Ratio {
        match self.solution.pulses.iter().map(of).min_by(f64::total_cmp) {
            Some(x) => ratio(x),
            None => stop("no pulse was complete in this run\n  run the engine, or make the run longer"),
        }
    }

    /// Why it ended.
    #[must_use]
    pub fn ended(&self) -> String {
        self.solution.stopped.to_string()
    }

    /// One channel as points over time, in the unit it is shown in.
    ///
    /// # Panics
    /// As [`Transient::lowest`].
    #[must_use]
    pub fn series(&self, name: &str) -> Series {
        let (v, kind) = self.values(name);
        let y: Vec<f64> = v.iter().map(|si| shown(Amount { si: *si, ..kind })).collect();
        Series::new(name, self.solution.t.to_vec(), y)
    }

    /// Channels over time, those of one quantity in one panel: `run.draw(&["rail pressure", "boost", "pump flow"])`.
    ///
    /// # Panics
    /// As [`Transient::lowest`].
    #[must_use]
    pub fn draw(&self, names: &[&str]) -> Trace {
        let mut chart = Trace::over_time(&title(&self.schedule.name)).subtitle(&self.name);
        let mut panels: Vec<(Amount, Vec<&str>)> = Vec::new();
        for name in names {
            let (_, kind) = self.values(name);
            match panels.iter_mut().find(|(k, _)| *k == kind) {
                Some((_, list)) => list.push(name),
                None => panels.push((kind, vec![name])),
            }
        }
        for (kind, list) in panels {
            let label = if list.len() == 1 { list[0] } else { kind.dim.name() };
            chart = chart.channel(axis(label, kind), list.iter().map(|n| self.series(n)));
        }
        let at = self.begins();
        if at > 0.0 { chart.event(at, &self.schedule.name) } else { chart }
    }

    /// The picture that it ends a cell with.
    #[must_use]
    pub fn picture(&self) -> Trace {
        let wanted =
            ["rail pressure", "boost", "boost asked", "differential pressure", "pump flow", "engine flow"];
        let there: Vec<&str> =
            wanted.into_iter().filter(|n| self.solution.channels.contains_key(*n)).collect();
        self.draw(&there)
    }

    /// Where the fuel went.
    #[must_use]
    pub fn ledger(&self) -> Table {
        let l = &self.solution.ledger;
        let mut t = Table::new("Where the fuel went", &["place", "volume"]);
        // A short run moves cubic centimetres.
        let most = l.ends.iter().chain(&l.injectors).fold(l.stored.abs(), |most, (_, v)| most.max(v.abs()));
        let volume = |si: f64| {
            let v = Amount::new(si, Dim::Volume);
            let little = if most < 1e-4 { v.in_unit("cm³") } else { None };
            little.unwrap_or_else(|| v.shown()).to_string()
        };
        for (name, v) in l.ends.iter().chain(&l.injectors) {
            t.row([name.replace("injectors ", "injector "), volume(*v)]);
        }
        t.row(["taken up by lines and chambers".to_owned(), volume(l.stored)]);
        // Rounding differs from machine to machine.
        let left =
            if l.imbalance.abs() < 1e-12 { "nothing".to_owned() } else { format!("{:.1e} m³", l.imbalance) };
        t.row(["left over".to_owned(), left]);
        if let Some(air) = &l.air {
            let mass = |si: f64| Amount::new(si, Dim::Mass);
            t.note(format!(
                "Air: {} came in past the throttle, {} went to the engine, {} stayed in the manifold.",
                mass(air.entered),
                mass(air.taken),
                mass(air.stored)
            ));
        }
        t
    }

    /// What happened, leaving out the pulses.
    #[must_use]
    pub fn events(&self) -> Table {
        use crate::transient::network::EventKind::{Closed, Commanded, Corner, Opened};
        let mut t = Table::new("What happened", &["time", "part", "what"]);
        let told = self
            .solution
            .events
            .iter()
            .filter(|e| !matches!(e.kind, Commanded { .. } | Opened { .. } | Closed { .. } | Corner));
        for e in told.clone().take(30) {
            t.row([format!("{:.4} s", e.t), e.part.clone(), e.kind.words().to_owned()]);
        }
        let more = told.count().saturating_sub(30);
        if more > 0 {
            t.note(format!("{more} more followed."));
        }
        for w in &self.solution.warnings {
            t.note(w.clone());
        }
        t
    }
}

/// Motions shown.
const MODES: usize = 5;

/// "return hose 4 flow" and "return hose 4 end pressure" in words.
fn lump(name: &str) -> String {
    let words: Vec<&str> = name.split(' ').collect();
    match words.as_slice() {
        [of @ .., number, "end", what] if !of.is_empty() && number.parse::<u32>().is_ok() => {
            format!("{what} at the end of lump {number} of the {}", of.join(" "))
        }
        [of @ .., number, what] if !of.is_empty() && number.parse::<u32>().is_ok() => {
            format!("{what} in lump {number} of the {}", of.join(" "))
        }
        _ => name.to_owned(),
    }
}

/// Points of a line that stands for a toothed one.
const POINTS: usize = 400;

/// One channel of several runs in one picture: `compare_in_time("differential pressure", &[&a, &b])`.
///
/// # Panics
/// As [`Transient::lowest`]; without a run.
#[must_use]
pub fn compare_in_time(channel: &str, runs: &[&Transient]) -> Trace {
    let Some(first) = runs.first() else {
        stop(
            "there is no run to draw\n  give at least one, such as compare_in_time(\"rail pressure\", &[&run])",
        )
    };
    let (_, kind) = first.values(channel);
    let chart = Trace::over_time(&format!("{}: {channel}", title(&first.schedule.name)));
    let toothed: Vec<_> = runs.iter().map(|r| r.without_teeth(channel)).collect();
    if runs.len() < 2 || toothed.iter().all(Option::is_none) {
        let series = runs.iter().map(|r| Series { label: r.name.clone(), ..r.series(channel) });
        return chart.channel(axis(channel, kind), series).taller(2.0);
    }
    // Teeth over teeth are a smear: the mean over a cycle is the line, what swings about it a pale band.
    let line = |(r, t): (&&Transient, &Option<[Series; 3]>)| match t {
        Some([mean, ..]) => mean.clone(),
        None => Series { label: r.name.clone(), ..r.series(channel) },
    };
    let mut chart = chart
        .subtitle("line: mean over one engine cycle; band: lowest to highest within it")
        .channel(axis(channel, kind), runs.iter().zip(&toothed).map(line))
        .taller(2.0);
    for (n, swing) in toothed.into_iter().enumerate() {
        if let Some([_, low, high]) = swing {
            chart = chart.swing(n, low, high);
        }
    }
    chart
}

impl Rich for Transient {
    fn rich(&self) -> Bundle {
        let figure = self.picture().figure();
        let mut words = format!("{}: {}, {}\n", self.name, self.schedule.name, self.ended());
        for name in ["rail pressure", "differential pressure"] {
            if self.solution.channels.contains_key(name) {
                words += &format!("{name}: lowest {}, highest {}\n", self.lowest(name), self.highest(name));
            }
        }
        for w in &self.solution.warnings {
            words += &format!("note: {w}\n");
        }
        let notes = crate::rich::escape_html(&words).replace('\n', "<br>");
        Bundle::text(format!("{words}{}", figure.plain())).html(format!("{}<p>{notes}</p>", figure.html()))
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn states_of_lumps_are_put_in_words() {
        for (name, words) in [
            ("return hose 4 flow", "flow in lump 4 of the return hose"),
            ("return hose 4 end pressure", "pressure at the end of lump 4 of the return hose"),
            ("rail pressure", "rail pressure"),
            ("regulator lift", "regulator lift"),
        ] {
            assert_eq!(super::lump(name), words);
        }
    }
}
