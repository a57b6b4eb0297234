//! The gas side of the engine in time: each cylinder, its port and the plenum.

use crate::part::cubic_table::CubicTable;
use crate::part::cylinder::{HeatLoss, SliderCrank, Valve, WallHeat, Wiebe, valve_lift};
use crate::part::gas::{Gas, Restriction};
use crate::part::manifold::Plenum;
use crate::schedule::{CrankClock, Track};
use crate::stepper::{After, Crossing, StepView, System};
use std::f64::consts::PI;

/// Combustion of the charge trapped when the intake valve shuts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Burn {
    /// Course of burning.
    pub wiebe: Wiebe,
    /// Heat released for each kilogram of trapped charge, J/kg.
    pub heat: f64,
}

/// What feeds the ports.
#[derive(Clone, Debug, PartialEq)]
pub enum Feed {
    /// The manifold is so large that its pressure is imposed.
    Imposed,
    /// A plenum behind a throttle of imposed effective area, m².
    Throttle {
        /// The plenum.
        volume: f64,
        /// Effective area of the throttle over time, m².
        cd_a: Track,
    },
}

/// An engine as the gas in it sees it.
#[derive(Clone, Debug)]
pub struct EngineGas {
    /// Crank, rod and bore.
    pub crank: SliderCrank,
    /// Intake valves of one cylinder, angles after firing top dead centre.
    pub intake: Valve,
    /// Exhaust valves of one cylinder.
    pub exhaust: Valve,
    /// Combustion; none when motored.
    pub burn: Option<Burn>,
    /// Heat to the walls of the cylinder.
    pub heat: HeatLoss,
    /// The gas.
    pub gas: Gas,
    /// Crank angle of firing top dead centre of each cylinder, rad.
    pub firing: Vec<f64>,
    /// Volume of each port between runner and intake valve, m³.
    pub port_volume: f64,
    /// Effective area between port and plenum, m².
    pub runner_cd_a: f64,
    /// What feeds the ports.
    pub feed: Feed,
    /// Absolute pressure before the throttle, or of the manifold when imposed, Pa.
    pub upstream: Track,
    /// Temperature there, K.
    pub upstream_temperature: f64,
    /// Absolute pressure in the exhaust, Pa.
    pub exhaust_pressure: f64,
    /// Temperature of what flows back from the exhaust, K.
    pub exhaust_temperature: f64,
    /// Crank speed, rev/min.
    pub rpm: Track,
}

/// Where the numbers of one cylinder lie in the state.
const CYLINDER: usize = 4;
/// Part of the manifold's pressure from which a shut port is taken to have come to it.
const JOINS: f64 = 1e-3;
/// Cells of the table of volumes, a turn: within 1e-10 of the closed form.
const CELLS: usize = 360;

/// The equations of [`EngineGas`], for up to (N - 4)/4 cylinders.
///
/// State: for each cylinder mass and energy of the cylinder, mass and energy of its port; then mass and energy of
/// the plenum; then mass in from upstream and mass out to the exhaust since the start.
///
/// A port whose intake valve is shut comes to the imposed pressure within tens of microseconds and then follows it: it is
/// joined to the manifold once it is within a thousandth, as the root in the flow law would ask for steps as short.
#[derive(Clone, Debug)]
pub struct GasSystem<const N: usize> {
    engine: EngineGas,
    clock: CrankClock,
    flow: Restriction,
    /// Volume of a cylinder over turns of the crank.
    volumes: CubicTable,
    /// Rate of burning, 1/rad, over the part of its duration that has passed.
    burning: Option<CubicTable>,
    /// Lift of a valve, of its greatest, over the part of its opening that has passed.
    lift: CubicTable,
    port: Plenum,
    plenum: Plenum,
    stages: Vec<Stage>,
    wall: WallHeat,
    /// Time of the last edge, s, and from there on imposed pressure, Pa, with its slope, and crank angle, rad, with
    /// speed and acceleration.
    since: f64,
    upstream: [f64; 2],
    crank: [f64; 3],
    next: f64,
}

/// What a cylinder does between two edges.
#[derive(Clone, Copy, Debug)]
struct Stage {
    /// Crank angle, rad, at which the valve opened; none when it is shut.
    intake: Option<f64>,
    exhaust: Option<f64>,
    /// Crank angle, rad, at which burning began; none when nothing burns.
    burning: Option<f64>,
    /// Mass trapped at the last closing of the intake valve, kg.
    trapped: f64,
    /// Whether the port stands at the imposed pressure, its valve shut; before that, the side from which it comes.
    joined: bool,
    side: f64,
}

/// What flow asks of one side.
struct Side {
    /// Absolute, Pa.
    pressure: f64,
    /// kg/m³
    density: f64,
    /// J/kg
    enthalpy: f64,
}

/// Something about the engine that cannot be.
#[derive(Clone, Debug, PartialEq)]
pub struct BadEngine {
    /// Name of the key.
    pub key: &'static str,
    /// What is wrong with it.
    pub why: String,
}

impl std::fmt::Display for BadEngine {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "engine: `{}` {}", self.key, self.why)
    }
}

impl std::error::Error for BadEngine {}

/// Fastest crank that is believed, rev/min (the fastest engines stay below; common practice, no source).
pub const RPM_LIMIT: f64 = 25_000.0;

impl<const N: usize> GasSystem<N> {
    /// Checks the engine and fills it: cylinders and ports at the manifold's pressure and temperature.
    ///
    /// # Errors
    /// Names the key that cannot be.
    pub fn new(engine: EngineGas) -> Result<(Self, [f64; N]), BadEngine> {
        let n = engine.firing.len();
        let bad = |key, why: String| Err(BadEngine { key, why });
        if n == 0 || CYLINDER * n + 4 > N {
            return bad(
                "firing",
                format!("names {n} cylinders; this size takes 1 to {}", (N - 4) / CYLINDER),
            );
        }
        for (key, valve) in [("intake", &engine.intake), ("exhaust", &engine.exhaust)] {
            if let Err(e) = valve.validate() {
                return bad(key, e.to_string());
            }
        }
        let positive = [
            ("port_volume", engine.port_volume),
            ("runner_cd_a", engine.runner_cd_a),
            ("upstream_temperature", engine.upstream_temperature),
            ("exhaust_pressure", engine.exhaust_pressure),
            ("exhaust_temperature", engine.exhaust_temperature),
        ];
        if let Some((key, v)) = positive.into_iter().find(|(_, v)| !(v.is_finite() && *v > 0.0)) {
            return bad(key, format!("is {v}: give a value above zero"));
        }
        if let Some(v) = engine.upstream.values().iter().find(|v| **v <= 0.0) {
            return bad("upstream", format!("holds {v} Pa: absolute pressures are above zero"));
        }
        if let Some(v) = engine.rpm.values().iter().find(|v| !(0.0..=RPM_LIMIT).contains(*v)) {
            return bad("rpm", format!("holds {v}: give 0 to {RPM_LIMIT}"));
        }
        let plenum_volume = match &engine.feed {
            Feed::Imposed => 1.0,
            Feed::Throttle { volume, .. } if *volume > 0.0 && volume.is_finite() => *volume,
            Feed::Throttle { volume, .. } => {
                return bad("volume", format!("is {volume}: give m³ above zero"));
            }
        };
        let clock = CrankClock::new(&engine.rpm);
        let port = Plenum { volume: engine.port_volume, gas: engine.gas };
        let plenum = Plenum { volume: plenum_volume, gas: engine.gas };
        let (p, t) = (engine.upstream.at(0.0), engine.upstream_temperature);
        let mut y = [0.0; N];
        let mut stages = Vec::with_capacity(n);
        for (k, firing) in engine.firing.iter().enumerate() {
            let (volume, _) = engine.crank.volume(-firing);
            let (m, e) = Plenum { volume, gas: engine.gas }.fill(p, t);
            let (mp, ep) = port.fill(p, t);
            y[CYLINDER * k..CYLINDER * (k + 1)].copy_from_slice(&[m, e, mp, ep]);
            let shut =
                Stage { intake: None, exhaust: None, burning: None, trapped: m, joined: false, side: 0.0 };
            stages.push(shut);
        }
        let (m, e) = plenum.fill(p, t);
        y[CYLINDER * n] = m;
        y[CYLINDER * n + 1] = e;
        let flow = Restriction::new(engine.gas);
        let crank = engine.crank;
        let volumes = CubicTable::new(0.0, 1.0, CELLS, |turns| {
            let (volume, slope) = crank.volume(2.0 * PI * turns);
            (volume, 2.0 * PI * slope)
        });
        let burning = engine.burn.and_then(|burn| burn.wiebe.table());
        let lift = CubicTable::new(0.0, 1.0, CELLS, valve_lift);
        let wall = WallHeat::new(engine.crank.bore());
        let (upstream, crank) = ([0.0; 2], [0.0; 3]);
        let mut system = Self {
            flow,
            volumes,
            burning,
            lift,
            port,
            plenum,
            stages,
            wall,
            since: 0.0,
            upstream,
            crank,
            next: 0.0,
            engine,
            clock,
        };
        system.plan(0.0);
        Ok((system, y))
    }

    /// Begins at another time than zero, one at which the crank stands as at zero.
    pub fn begin(&mut self, t: f64) {
        self.plan(t);
    }

    /// Rounds the root of the flow law off within this of pressure ratio one. At 2.4e-3, with a run's tolerance, the mean in a
    /// port moves by less than 4 Pa (`a_ports_mean_is_held_within_four_pascals` in `tests/transient_engine_gas.rs`).
    #[must_use]
    pub fn round_within(self, width: f64) -> Self {
        Self { flow: self.flow.rounded(width), ..self }
    }

    /// Number of components in use.
    #[must_use]
    pub fn active(&self) -> usize {
        CYLINDER * self.cylinders() + 4
    }

    /// Number of cylinders.
    #[must_use]
    pub fn cylinders(&self) -> usize {
        self.engine.firing.len()
    }

    /// Crank angle of a cylinder after its firing top dead centre, rad, within one cycle.
    #[must_use]
    #[inline]
    pub fn angle(&self, cylinder: usize, t: f64) -> f64 {
        self.clock.angle(t) - self.engine.firing[cylinder]
    }

    /// Absolute pressure, Pa, temperature, K, and volume, m³, of a cylinder.
    #[must_use]
    pub fn cylinder(&self, cylinder: usize, t: f64, y: &[f64; N]) -> (f64, f64, f64) {
        let (volume, _) = self.engine.crank.volume(self.angle(cylinder, t));
        let k = CYLINDER * cylinder;
        let (p, temp) = Plenum { volume, gas: self.engine.gas }.state(y[k], y[k + 1]);
        (p, temp, volume)
    }

    /// Absolute pressure, Pa, and temperature, K, of a port.
    #[must_use]
    pub fn port(&self, cylinder: usize, y: &[f64; N]) -> (f64, f64) {
        let k = CYLINDER * cylinder;
        self.port.state(y[k + 2], y[k + 3])
    }

    /// Absolute pressure of a cylinder within a step, Pa.
    #[must_use]
    pub fn cylinder_pressure(&self, cylinder: usize, t: f64, view: &StepView<'_, N>) -> f64 {
        let turns = self.angle(cylinder, t) * (0.5 / PI);
        let energy = view.one_at(t, CYLINDER * cylinder + 1);
        (self.engine.gas.gamma - 1.0) * energy / self.volumes.at(fraction(turns))
    }

    /// Absolute pressure of a port within a step, Pa.
    #[must_use]
    pub fn port_pressure(&self, cylinder: usize, t: f64, view: &StepView<'_, N>) -> f64 {
        (self.engine.gas.gamma - 1.0) * view.one_at(t, CYLINDER * cylinder + 3) / self.port.volume
    }

    /// Absolute pressure, Pa, and temperature, K, of the manifold.
    #[must_use]
    pub fn manifold(&self, t: f64, y: &[f64; N]) -> (f64, f64) {
        match self.engine.feed {
            Feed::Imposed => (self.engine.upstream.at(t), self.engine.upstream_temperature),
            Feed::Throttle { .. } => {
                let k = CYLINDER * self.cylinders();
                self.plenum.state(y[k], y[k + 1])
            }
        }
    }

    /// Mass within, kg: cylinders, ports and (when it is not imposed) plenum.
    #[must_use]
    pub fn mass(&self, y: &[f64; N]) -> f64 {
        let n = self.cylinders();
        let inside: f64 = (0..n).map(|c| y[CYLINDER * c] + y[CYLINDER * c + 2]).sum();
        inside + if self.engine.feed == Feed::Imposed { 0.0 } else { y[CYLINDER * n] }
    }

    /// Mass in from upstream and out to the exhaust since the start, kg.
    #[must_use]
    pub fn passed(&self, y: &[f64; N]) -> (f64, f64) {
        let k = CYLINDER * self.cylinders();
        (y[k + 2], y[k + 3])
    }

    /// Pressure and temperature of the manifold between two edges: [`GasSystem::manifold`] without a search.
    #[inline]
    fn feeding(&self, t: f64, y: &[f64; N]) -> (f64, f64) {
        match self.engine.feed {
            Feed::Imposed => {
                let [p, slope] = self.upstream;
                (p + slope * (t - self.since), self.engine.upstream_temperature)
            }
            Feed::Throttle { .. } => self.manifold(t, y),
        }
    }

    /// Joins a port to the imposed manifold, and counts what that takes in.
    fn join(&mut self, c: usize, t: f64, y: &mut [f64; N]) {
        let (p, _) = self.feeding(t, y);
        let k = CYLINDER * c;
        let (_, temperature) = self.port.state(y[k + 2], y[k + 3]);
        let gain = p * self.port.volume / (self.engine.gas.gamma - 1.0) - y[k + 3];
        let mass = gain / (self.engine.gas.cp() * temperature);
        y[k + 2] += mass;
        y[k + 3] += gain;
        y[CYLINDER * self.cylinders() + 2] += mass;
        self.stages[c].joined = true;
    }

    /// Pressure of a port over the manifold's, less one.
    #[inline]
    fn apart(&self, c: usize, t: f64, y: &[f64; N]) -> f64 {
        self.port(c, y).0 / self.feeding(t, y).0 - 1.0
    }

    fn may_join(&self, c: usize) -> bool {
        self.engine.feed == Feed::Imposed && self.stages[c].intake.is_none()
    }

    /// What holds from an edge on, and the next edge of a valve, of the burning or of a track.
    fn plan(&mut self, t: f64) {
        self.since = t;
        self.upstream = [self.engine.upstream.at(t), self.engine.upstream.rate(t)];
        let crank = self.clock.angle(t);
        self.crank = [crank, self.clock.speed(t), self.clock.acceleration(t)];
        for (stage, firing) in self.stages.iter_mut().zip(&self.engine.firing) {
            // A hair past an edge, so that rounding cannot take it for the time before.
            let theta = crank - firing + 1e-9;
            let opened = |valve: &Valve| {
                let since = valve.since(theta);
                (since < valve.closes - valve.opens).then_some(theta - since + firing)
            };
            (stage.intake, stage.exhaust) = (opened(&self.engine.intake), opened(&self.engine.exhaust));
            (stage.joined, stage.side) = (false, 0.0);
        }
        let mut next = f64::INFINITY;
        let mut offer = |at: Option<f64>| {
            if let Some(at) = at.filter(|at| *at > t) {
                next = next.min(at);
            }
        };
        for firing in &self.engine.firing {
            // A hair past the edge just landed on, so that rounding cannot offer it again.
            let local = crank - firing + 1e-9;
            offer(self.clock.time_of(firing + self.engine.intake.next_edge(local)));
            offer(self.clock.time_of(firing + self.engine.exhaust.next_edge(local)));
            if let Some(burn) = self.engine.burn {
                let w = burn.wiebe;
                for edge in [w.start, w.start + w.duration] {
                    let turns = ((local - edge) / (4.0 * PI)).floor() + 1.0;
                    offer(self.clock.time_of(firing + edge + turns * 4.0 * PI));
                }
            }
        }
        offer(self.clock.next_corner(t));
        offer(self.engine.upstream.next_corner(t));
        if let Feed::Throttle { cd_a, .. } = &self.engine.feed {
            offer(cd_a.next_corner(t));
        }
        self.next = next;
    }
}

impl<const N: usize> System<N> for GasSystem<N> {
    fn rhs(&self, t: f64, y: &[f64; N], dy: &mut [f64; N]) {
        let e = &self.engine;
        let n = e.firing.len();
        let ([angle, speed, growing], dt) = (self.crank, t - self.since);
        let omega = speed + growing * dt;
        let base = angle + dt * (speed + 0.5 * growing * dt);
        let cp = e.gas.cp();
        let over_cp = 1.0 / cp;
        let manifold = self.feeding(t, y);
        let piston_speed = e.crank.mean_piston_speed(omega / (2.0 * PI));
        *dy = [0.0; N];
        let (mut from_plenum, mut heat_from_plenum, mut to_exhaust) = (0.0, 0.0, 0.0);
        // Flow with the enthalpy it carries: that of the side it comes from.
        let carry = |m: f64, from: &Side, to: &Side| m * if m >= 0.0 { from.enthalpy } else { to.enthalpy };
        let side = |volume: f64, mass: f64, energy: f64| {
            let over = 1.0 / volume;
            Side {
                pressure: (e.gas.gamma - 1.0) * energy * over,
                density: mass * over,
                enthalpy: e.gas.gamma * energy / mass,
            }
        };
        let of = |(p, t): (f64, f64)| Side { pressure: p, density: p / (e.gas.r * t), enthalpy: cp * t };
        let flow = |area: f64, from: &Side, to: &Side| {
            self.flow.mass_flow_by_density(area, (from.pressure, from.density), (to.pressure, to.density))
        };
        let (supply, outside) = (of(manifold), of((e.exhaust_pressure, e.exhaust_temperature)));
        for c in 0..n {
            let k = CYLINDER * c;
            let theta = base - e.firing[c];
            let turns = theta * (0.5 / PI);
            let (volume, slope) = self.volumes.with_slope(fraction(turns));
            let growth = slope * (omega * (0.5 / PI));
            let gas = side(volume, y[k], y[k + 1]);
            let port = side(self.port.volume, y[k + 2], y[k + 3]);
            let mut mass = 0.0;
            let mut energy = -gas.pressure * growth;
            let (mut port_mass, mut port_energy) = (0.0, 0.0);
            let stage = &self.stages[c];
            let area = |valve: &Valve, opened: Option<f64>| {
                opened.map_or(0.0, |o| valve.area_of((base - o) / (valve.closes - valve.opens), &self.lift))
            };
            let (intake, exhaust) = (area(&e.intake, stage.intake), area(&e.exhaust, stage.exhaust));
            // The polytropic form speaks of a closed charge only.
            let polytropic = matches!(e.heat, HeatLoss::Polytropic { .. });
            if !(polytropic && intake + exhaust > 0.0) {
                let volumes = (volume, growth);
                let state = (gas.pressure, gas.enthalpy * over_cp, gas.density * e.gas.r);
                energy += e.heat.power(&e.crank, &self.wall, state, volumes, piston_speed, e.gas.gamma);
            }
            if intake > 0.0 {
                let m = flow(intake, &port, &gas);
                let h = carry(m, &port, &gas);
                mass += m;
                energy += h;
                port_mass -= m;
                port_energy -= h;
            }
            if exhaust > 0.0 {
                let m = flow(exhaust, &gas, &outside);
                mass -= m;
                energy -= carry(m, &gas, &outside);
                to_exhaust += m;
            }
            if let (Some(began), Some(burn)) = (stage.burning, e.burn) {
                let w = burn.wiebe;
                let passed = ((base - began) / w.duration).clamp(0.0, 1.0);
                let rate = |table: &CubicTable| table.at(passed);
                let rate = self.burning.as_ref().map_or_else(|| w.rate(w.start + passed * w.duration), rate);
                energy += stage.trapped * burn.heat * rate * omega;
            }
            let (m, h) = if stage.joined {
                let h = self.upstream[1] * self.port.volume / (e.gas.gamma - 1.0);
                (h / if h >= 0.0 { supply.enthalpy } else { port.enthalpy }, h)
            } else {
                let m = flow(e.runner_cd_a, &supply, &port);
                (m, carry(m, &supply, &port))
            };
            port_mass += m;
            port_energy += h;
            from_plenum += m;
            heat_from_plenum += h;
            dy[k] = mass;
            dy[k + 1] = energy;
            dy[k + 2] = port_mass;
            dy[k + 3] = port_energy;
        }
        let k = CYLINDER * n;
        match &e.feed {
            Feed::Imposed => dy[k + 2] = from_plenum,
            Feed::Throttle { cd_a, .. } => {
                let up = of((e.upstream.at(t), e.upstream_temperature));
                let m = flow(cd_a.at(t), &up, &supply);
                dy[k] = m - from_plenum;
                dy[k + 1] = carry(m, &up, &supply) - heat_from_plenum;
                dy[k + 2] = m;
            }
        }
        dy[k + 3] = to_exhaust;
    }

    fn next_time_event(&self, _t: f64) -> Option<f64> {
        self.next.is_finite().then_some(self.next)
    }

    fn at_time_event(&mut self, t: f64, y: &mut [f64; N]) -> After {
        let base = self.clock.angle(t);
        let near = |angle: f64| {
            let off = angle.rem_euclid(4.0 * PI);
            off.min(4.0 * PI - off) < 1e-6
        };
        for c in 0..self.cylinders() {
            let theta = base - self.engine.firing[c];
            if near(theta - self.engine.intake.closes) {
                self.stages[c].trapped = y[CYLINDER * c];
            }
            if let Some(burn) = self.engine.burn {
                if near(theta - burn.wiebe.start) {
                    self.stages[c].burning = Some(base);
                }
                if near(theta - burn.wiebe.start - burn.wiebe.duration) {
                    self.stages[c].burning = None;
                }
            }
        }
        self.plan(t);
        for c in 0..self.cylinders() {
            if self.may_join(c) {
                let apart = self.apart(c, t, y);
                self.stages[c].side = apart.signum();
                if apart.abs() <= JOINS {
                    self.join(c, t, y);
                }
            }
        }
        After::Restart
    }

    fn root_count(&self) -> usize {
        self.cylinders()
    }

    fn roots(&self, t: f64, y: &[f64; N], g: &mut [f64]) {
        for (c, g) in g.iter_mut().enumerate().take(self.cylinders()) {
            let s = &self.stages[c];
            let free = s.side != 0.0 && !s.joined;
            *g = if free { s.side * self.apart(c, t, y) - JOINS } else { 1.0 };
        }
    }

    fn at_root(&mut self, crossing: Crossing, t: f64, y: &mut [f64; N]) -> After {
        if crossing.rising {
            return After::Continue;
        }
        self.join(crossing.root, t, y);
        After::Restart
    }
}

/// What is left of a number of turns above the whole ones.
#[inline]
fn fraction(turns: f64) -> f64 {
    let left = turns - (turns as i64) as f64;
    if left < 0.0 { left + 1.0 } else { left }
}
