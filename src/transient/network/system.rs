//! The equations of a network.

use super::describe::{Back, Net, Place, RegulatorUnit, Tap};
use super::event::{Event, EventKind};
use super::pulses::{Change, Pulses};
use super::{BadNet, describe};
use crate::part::gas::AIR;
use crate::part::injector::coil::{CoilNeedle, GUARDS, Stage};
use crate::part::line::friction_factor_churchill;
use crate::part::orifice;
use crate::schedule::{CrankClock, Track};
use crate::stepper::{After, Crossing, Matrix, Options, System};
use crate::transient::friction_table::FrictionTable;
use std::f64::consts::PI;

mod intake; // boost that builds, a manifold that fills
mod jacobian; // derivatives in closed form
mod needles; // coils and needles that are followed
mod waves; // lines in which pressure travels as waves

use intake::Air;
use waves::Wave;

/// Standard gravity, m/s². Source: 3rd CGPM (1901), exact.
const GRAVITY: f64 = 9.806_65;

/// A poppet leaves rest only once the force exceeds friction by this, N (0.015 Pa on the diaphragm): at the very
/// balance rounding would set it down again at once, without end.
const BREAK_AWAY: f64 = 1e-5;
/// How far past a stop, m, and past rest, m/s, a poppet has gone when it is taken to have arrived: above the error of
/// the continuous extension just after it left, below anything that is felt (0.05 Pa).
const LIFT_SLACK: f64 = 1e-9;
const SPEED_SLACK: f64 = 1e-6;

/// What a poppet does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Poppet {
    /// On its seat.
    Seat,
    /// Against its upper stop.
    Full,
    /// Held by dry friction.
    Stuck,
    /// Opening.
    Up,
    /// Closing.
    Down,
    /// Moving without dry friction.
    Free,
}

/// A straight piece of a track, read without a search.
#[derive(Clone, Copy, Debug, Default)]
struct Piece {
    t: f64,
    v: f64,
    slope: f64,
}

impl Piece {
    fn of(track: &Track, t: f64) -> Self {
        Self { t, v: track.at(t), slope: track.rate(t) }
    }
    #[inline]
    fn at(&self, t: f64) -> f64 {
        self.v + self.slope * (t - self.t)
    }
}

/// A branch with its constants worked out.
#[derive(Clone, Debug)]
struct Carry {
    from: usize,
    to: usize,
    per_inertance: f64,
    /// `µ L/(2 D² A)`: loss is this times `f Re` times Q.
    viscous: f64,
    reynolds: f64,
    linear: f64,
    square: f64,
    offset: f64,
    table: usize,
    relative_roughness: f64,
    shut_slope: f64,
    one_way: bool,
    pump: Option<usize>,
}

/// Up to two branches that end (+) or begin (-) at a place; a sign of zero is none. More stand in a list of their own.
#[derive(Clone, Copy, Debug, Default)]
struct Meet {
    branches: [usize; 2],
    signs: [f64; 2],
}

/// A coil and needle that are followed.
#[derive(Clone, Copy, Debug)]
struct Needle {
    injector: usize,
    node: usize,
    law: CoilNeedle,
    stage: Stage,
    /// Discharge coefficient times area for each metre of lift, m.
    per_lift: f64,
}

/// What an injector passes just now.
#[derive(Clone, Copy, Debug)]
struct Spray {
    node: usize,
    /// Discharge coefficient times area, m²: open, or the leak of a shut one.
    cd_a: f64,
    own_back: bool,
}

/// The equations of a [`Net`], for up to `N` states.
#[derive(Clone, Debug)]
pub struct NetSystem<const N: usize> {
    net: Net,
    clock: CrankClock,
    carry: Vec<Carry>,
    tables: Vec<FrictionTable>,
    pulses: Pulses,
    check_shut: Vec<bool>,
    poppet: Vec<Poppet>,
    turning: Vec<bool>,
    boiling: Vec<usize>,
    manifold: Piece,
    /// An intake that is followed, whether it stands above ambient, and for each regulator where its hose is joined to it.
    air: Option<Air>,
    /// Number of its states that move, and of those that count.
    air_states: (usize, usize),
    boosted: bool,
    taps: Vec<Option<(Tap, f64)>>,
    supplies: Vec<Piece>,
    references: Vec<Piece>,
    ends: Vec<Piece>,
    temperature: Piece,
    corners: Vec<f64>,
    next_corner: usize,
    events: Vec<Event>,
    stop_when_dry: bool,
    /// Damping of each node's wall over its capacitance, Pa·s/m³.
    wall: Vec<f64>,
    per_capacitance: Vec<f64>,
    /// Branches at each place, nodes then ends; what finds no room there as place, branch and sign.
    meets: Vec<Meet>,
    more_meets: Vec<(usize, usize, f64)>,
    sprays: Vec<Spray>,
    needles: Vec<Needle>,
    waves: Vec<Wave>,
    /// Voltage at the coils.
    coil_volts: Piece,
    /// Node, and `C_d A` of what sprays from it into the manifold.
    spraying: Vec<(usize, f64)>,
    /// `√(2/ρ)`.
    root_density: f64,
    /// Changes told by the injectors at an event, kept for their room.
    told: Vec<EventKind>,
}

impl<const N: usize> NetSystem<N> {
    /// Checks a network and starts it at rest at time `t`: every node at ambient pressure, nothing moving.
    ///
    /// # Errors
    /// Names the part and key that cannot be, or says how many states are needed.
    pub fn new(net: Net, t: f64) -> Result<(Self, [f64; N]), BadNet> {
        net.validate()?;
        let wanted = states(&net);
        if wanted > N {
            return Err(BadNet {
                key: "network".into(),
                why: format!("needs {wanted} states, this size has {N}"),
            });
        }
        let clock = CrankClock::new(&net.rpm);
        let id = |p: Place| match p {
            Place::Node(k) => k,
            Place::End(k) => net.nodes.len() + k,
        };
        let mut tables: Vec<FrictionTable> = Vec::new();
        let mut carry = Vec::new();
        let f = net.fluid;
        for b in &net.branches {
            let area = PI / 4.0 * b.bore * b.bore;
            let relative = b.roughness / b.bore;
            let table = tables.iter().position(|t| t.relative_roughness() == relative).unwrap_or_else(|| {
                tables.push(FrictionTable::new(relative));
                tables.len() - 1
            });
            carry.push(Carry {
                from: id(b.from),
                to: id(b.to),
                per_inertance: area / (f.rho * b.length),
                viscous: f.mu * b.rough_length / (2.0 * b.bore * b.bore * area),
                reynolds: 4.0 * f.rho / (PI * b.bore * f.mu),
                linear: b.linear,
                square: b.square + 0.5 * f.rho * b.k_sum / (area * area),
                offset: f.rho * GRAVITY * b.rise + b.check.map_or(0.0, |c| c.cracking),
                table,
                relative_roughness: relative,
                shut_slope: b.check.map_or(0.0, |c| c.shut),
                one_way: b.check.is_some(),
                pump: b.pump,
            });
        }
        let mut meets = vec![Meet::default(); net.nodes.len() + net.ends.len()];
        let mut more_meets = Vec::new();
        for (b, c) in carry.iter().enumerate() {
            for (place, sign) in [(c.from, -1.0), (c.to, 1.0)] {
                match meets[place].signs.iter().position(|s| *s == 0.0) {
                    Some(k) => (meets[place].branches[k], meets[place].signs[k]) = (b, sign),
                    None => more_meets.push((place, b, sign)),
                }
            }
        }
        if carry.is_empty() {
            meets.clear();
        }
        let mut corners: Vec<f64> = Vec::new();
        let mut tracks = vec![&net.rpm, &net.manifold, &net.supply, &net.temperature];
        tracks.extend(net.pumps.iter().map(|p| &p.supply));
        tracks.extend(net.regulators.iter().map(|r| &r.reference));
        tracks.extend(net.ends.iter().map(|e| &e.pressure));
        tracks.extend(net.intake.iter().flat_map(|i| [&i.target, &i.temperature, &i.pull]));
        match &net.belief {
            describe::Belief::Off => {}
            describe::Belief::Width(w) => tracks.push(w),
            describe::Belief::Mass { mass, .. } => tracks.push(mass),
        }
        for track in tracks {
            corners.extend(track.times().iter().filter(|c| **c > t));
        }
        corners.sort_by(f64::total_cmp);
        corners.dedup();
        let boiling = net.nodes.iter().enumerate().filter(|(_, n)| n.may_boil).map(|(k, _)| k).collect();
        let mut system = Self {
            pulses: Pulses::new(&net, &clock, t),
            check_shut: vec![false; net.branches.len()],
            poppet: vec![Poppet::Seat; net.regulators.len()],
            turning: vec![false; net.pumps.len()],
            boiling,
            manifold: Piece::default(),
            air: None,
            air_states: (intake::moving(&net), intake::counting(&net)),
            boosted: false,
            taps: vec![],
            supplies: vec![Piece::default(); net.pumps.len()],
            references: vec![Piece::default(); net.regulators.len()],
            ends: vec![Piece::default(); net.ends.len()],
            temperature: Piece::default(),
            corners,
            next_corner: 0,
            events: Vec::new(),
            stop_when_dry: true,
            wall: net.nodes.iter().map(|n| n.wall / n.capacitance).collect(),
            per_capacitance: net.nodes.iter().map(|n| 1.0 / n.capacitance).collect(),
            meets,
            more_meets,
            sprays: Vec::new(),
            needles: (net.injectors.iter().enumerate())
                .filter_map(|(injector, i)| {
                    let law = i.coil?;
                    let per_lift = i.cd_a / law.lift;
                    Some(Needle { injector, node: i.node, law, stage: Stage::REST, per_lift })
                })
                .collect(),
            waves: net.waves.iter().map(Wave::new).collect(),
            coil_volts: Piece::default(),
            spraying: Vec::new(),
            root_density: (2.0 / net.fluid.rho).sqrt(),
            told: Vec::new(),
            carry,
            tables,
            clock,
            net,
        };
        if let Some(i) = &system.net.intake {
            system.taps = vec![None; system.net.regulators.len()];
            for h in &i.hoses {
                system.taps[h.regulator] = Some((h.at, h.passes));
            }
        }
        system.refresh(t);
        system.aim();
        let mut y = [0.0; N];
        system.fill(t, &mut y);
        for k in 0..system.net.nodes.len() {
            y[system.node(k)] = system.net.ambient;
        }
        for k in 0..system.references.len() {
            y[system.poppet_at(k) + 2] = system.brought(k, t, &y);
        }
        system.settle_modes(t, &mut y);
        Ok((system, y))
    }

    /// Takes a state to start from, and finds the modes that fit it.
    pub fn settle_modes(&mut self, t: f64, y: &mut [f64; N]) {
        self.begin_waves(t, y);
        self.settle_boost(t, y);
        for k in 0..self.net.pumps.len() {
            self.turning[k] = y[self.pump(k)] > 0.0;
            if !self.turning[k] {
                y[self.pump(k)] = 0.0;
                self.turning[k] = self.motor_pull(k, t, y) > 0.0;
            }
        }
        for b in 0..self.carry.len() {
            if self.carry[b].one_way {
                let q = y[self.branch(b)];
                self.check_shut[b] = q <= 0.0;
                if q <= 0.0 {
                    y[self.branch(b)] = 0.0;
                    self.check_shut[b] = self.drive(b, t, y) <= 0.0;
                }
            }
        }
        for k in 0..self.net.regulators.len() {
            let r = &self.net.regulators[k];
            let at = self.poppet_at(k);
            let (x, v) = (y[at].clamp(0.0, r.max_lift), y[at + 1]);
            y[at] = x;
            let f = self.force(k, t, y);
            let friction = r.friction;
            let hold = friction + BREAK_AWAY;
            self.poppet[k] = if x <= 0.0 && f <= hold {
                Poppet::Seat
            } else if x >= r.max_lift && f >= -hold {
                Poppet::Full
            } else if friction == 0.0 {
                Poppet::Free
            } else if v == 0.0 && f.abs() <= hold {
                Poppet::Stuck
            } else if v > 0.0 || (v == 0.0 && f > 0.0) {
                Poppet::Up
            } else {
                Poppet::Down
            };
            if matches!(self.poppet[k], Poppet::Seat | Poppet::Full | Poppet::Stuck) {
                y[at + 1] = 0.0;
            }
        }
    }

    /// The same with friction computed each time rather than read from its table.
    #[must_use]
    pub fn with_exact_friction(mut self, exact: bool) -> Self {
        self.net.exact_friction = exact;
        self
    }

    /// Tolerances for this network.
    ///
    /// `factor` 1 holds the rail within 50 Pa and injected volumes within 1e-5 of themselves (held in the tests); a factor of 0.1 is ten times finer. Absolute only: the sizes of all states are known.
    #[must_use]
    pub fn tolerances(&self, factor: f64) -> Options<N> {
        let mut absolute = [1.0; N];
        let n = &self.net;
        let mut set = |k: usize, v: f64| absolute[k] = v * factor;
        (0..n.pumps.len()).for_each(|k| set(self.pump(k), 1.5e-4)); // V
        (0..n.nodes.len()).for_each(|k| set(self.node(k), 15.0)); // Pa
        (0..n.branches.len()).for_each(|k| set(self.branch(k), 1.5e-9)); // m³/s
        for k in 0..n.regulators.len() {
            let at = self.poppet_at(k);
            // m: the room that it makes, some 7 cm² wide, is worth 20 Pa in a rail that takes up 2 mm³/kPa.
            set(at, 6e-8);
            set(at + 1, 1.5e-4); // m/s
            set(at + 2, 15.0); // Pa
        }
        (0..n.injectors.len()).for_each(|k| set(self.injected(k), 1.5e-11)); // m³
        (0..n.ends.len()).for_each(|k| set(self.received(k), 1.5e-10)); // m³
        for k in 0..self.needles.len() {
            let at = self.needle(k);
            // A, m and m/s: a tenth of a microsecond of opening.
            set(at, 2e-5);
            set(at + 1, 2e-9);
            set(at + 2, 2e-5);
        }
        (0..n.waves.len()).for_each(|k| set(self.taken_up(k), 1.5e-10)); // m³
        if let Some(i) = &n.intake {
            // Pa, and kg worth as much.
            let worth = 15.0 * i.volume / (AIR.r * 300.0);
            let at = self.intake_at();
            (at..self.injected(0)).for_each(|k| set(k, worth));
            if i.spool > 0.0 {
                set(at, 15.0);
            }
            (0..intake::counting(n)).for_each(|k| set(self.breathed() + k, worth));
        }
        let mut options = Options::with_absolute(0.0, absolute);
        // A nanosecond is felt nowhere: a poppet's speed changes by 1e-6 m/s in it.
        options.event_time = 1e-9;
        // Events are landed on from a quarter of that away: closer than this they accumulate.
        options.accumulate_within = 10.0 * options.event_time;
        options.active = self.active();
        options
    }

    /// The network.
    #[must_use]
    pub fn net(&self) -> &Net {
        &self.net
    }

    /// What happened so far.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// Forgets what happened so far.
    pub fn forget_events(&mut self) {
        self.events.clear();
    }

    /// Crank angle over time.
    #[must_use]
    pub fn clock(&self) -> &CrankClock {
        &self.clock
    }

    /// What each poppet does.
    #[must_use]
    pub fn poppets(&self) -> &[Poppet] {
        &self.poppet
    }

    /// Number of states in use.
    #[must_use]
    pub fn active(&self) -> usize {
        states(&self.net)
    }

    /// Where the back e.m.f. of a pump lies in the state.
    #[must_use]
    #[inline]
    pub fn pump(&self, k: usize) -> usize {
        k
    }

    /// Where the pressure of a node lies in the state.
    #[must_use]
    #[inline]
    pub fn node(&self, k: usize) -> usize {
        self.net.pumps.len() + k
    }

    /// Where the flow of a branch lies in the state.
    #[must_use]
    #[inline]
    pub fn branch(&self, k: usize) -> usize {
        self.net.pumps.len() + self.net.nodes.len() + k
    }

    /// Where lift, speed and felt reference of a regulator begin in the state.
    #[must_use]
    #[inline]
    pub fn poppet_at(&self, k: usize) -> usize {
        self.net.pumps.len() + self.net.nodes.len() + self.net.branches.len() + 3 * k
    }

    /// Where the volume that an injector has passed lies in the state.
    #[must_use]
    #[inline]
    pub fn injected(&self, k: usize) -> usize {
        self.intake_at() + self.air_states.0 + k
    }

    /// Where the volume that an end has received lies in the state.
    #[must_use]
    #[inline]
    pub fn received(&self, k: usize) -> usize {
        self.injected(self.net.injectors.len()) + k
    }

    /// Absolute pressure felt at a place, Pa: with what a damped wall adds to that of the stored fuel.
    #[must_use]
    #[inline]
    pub fn pressure(&self, place: Place, t: f64, y: &[f64; N]) -> f64 {
        let k = match place {
            Place::Node(k) => k,
            Place::End(k) => return self.ends[k].at(t),
        };
        let mut p = y[self.node(k)];
        if self.wall[k] > 0.0 {
            let few = self.meets.get(k).into_iter().flat_map(|m| m.branches.into_iter().zip(m.signs));
            let more = self.more_meets.iter().filter(|m| m.0 == k).map(|m| (m.1, m.2));
            let into: f64 = few.chain(more).map(|(b, sign)| sign * y[self.branch(b)]).sum();
            p += self.wall[k] * into;
        }
        p.max(self.net.fluid.vapour)
    }

    /// Absolute pressure behind an injector's nozzle, Pa.
    #[must_use]
    pub fn back(&self, injector: usize, t: f64, y: &[f64; N]) -> f64 {
        match &self.net.injectors[injector].back {
            Back::Manifold => self.behind_throttle(t, y),
            Back::Trace(trace) => trace.at(t),
        }
    }

    /// Fuel within nodes above their pressure `y0`, with what ends and injectors received since, m³: constant.
    #[must_use]
    pub fn volume_since(&self, y0: &[f64; N], y: &[f64; N]) -> f64 {
        let nodes = self.net.nodes.iter().enumerate();
        let stored: f64 = nodes.map(|(k, n)| n.capacitance * (y[self.node(k)] - y0[self.node(k)])).sum();
        let last = self.received(self.net.ends.len());
        let moved: f64 = (self.injected(0)..last).map(|k| y[k] - y0[k]).sum();
        stored + moved + self.swept_since(y0, y) + self.in_waves_since(y0, y)
    }

    /// Fuel that lines with waves have taken up since the state `y0`, m³.
    #[must_use]
    pub fn in_waves_since(&self, y0: &[f64; N], y: &[f64; N]) -> f64 {
        (0..self.waves.len()).map(|k| y[self.taken_up(k)] - y0[self.taken_up(k)]).sum()
    }

    /// Room made under the diaphragms since the state `y0`, m³.
    #[must_use]
    pub fn swept_since(&self, y0: &[f64; N], y: &[f64; N]) -> f64 {
        let lift = |k: usize| self.poppet_at(k);
        self.net.regulators.iter().enumerate().map(|(k, r)| r.area * (y[lift(k)] - y0[lift(k)])).sum()
    }

    /// Puts a poppet on a lift and gives the room that this makes or takes back to the fuel beside it.
    fn put_poppet(&mut self, k: usize, lift: f64, y: &mut [f64; N]) {
        let at = self.poppet_at(k);
        let r = &self.net.regulators[k];
        let seat = PI / 4.0 * r.seat * r.seat;
        for (place, area) in [(r.from, r.area - seat), (r.to, seat)] {
            let room = area * (lift - y[at]);
            match place {
                Place::Node(n) => y[self.node(n)] -= room / self.net.nodes[n].capacitance,
                Place::End(e) => y[self.received(e)] -= room,
            }
        }
        (y[at], y[at + 1]) = (lift, 0.0);
    }

    /// Flow through an injector, m³/s, opened or shut as it is.
    #[must_use]
    pub fn injector_flow(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let unit = &self.net.injectors[k];
        let dp = self.pressure(Place::Node(unit.node), t, y) - self.back(k, t, y);
        let open = match (self.coil(k, y), unit.coil) {
            (Some((_, lift)), Some(law)) => unit.cd_a * lift / law.lift,
            _ if self.pulses.is_open(k) => unit.cd_a,
            _ => 0.0,
        };
        (unit.leak_cd_a + open) * self.jet(dp)
    }

    /// Flow through a regulator, m³/s.
    #[must_use]
    pub fn by_pass(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let r = &self.net.regulators[k];
        let dp = self.pressure(r.from, t, y) - self.pressure(r.to, t, y);
        r.cd * opening(r, y[self.poppet_at(k)]) * self.jet(dp)
    }

    /// Rise, Pa, and load current, A, of a pump in a branch.
    #[inline]
    fn pump_point(&self, k: usize, from: f64, q: f64, emf: f64) -> (f64, f64) {
        let p = &self.net.pumps[k];
        let (linear, square, height) = p.before;
        let inlet = from - (linear + square * q.abs()) * q - height;
        p.law.at(q, emf, inlet - self.net.fluid.vapour)
    }

    /// Current of a pump's motor, A.
    #[must_use]
    pub fn motor_current(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        self.current(k, t, y[self.pump(k)])
    }

    #[inline]
    fn current(&self, k: usize, t: f64, emf: f64) -> f64 {
        let volts = self.supplies[k].at(t);
        // An open relay carries nothing, whatever the rotor induces.
        if volts <= 0.0 { 0.0 } else { (volts - emf) / self.net.pumps[k].resistance }
    }

    /// Current that accelerates a pump at rest, A: above zero it starts.
    fn motor_pull(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let Some(b) = self.net.branches.iter().position(|b| b.pump == Some(k)) else { return 0.0 };
        let from = self.pressure(self.net.branches[b].from, t, y);
        let (_, load) = self.pump_point(k, from, y[self.branch(b)], 0.0);
        self.current(k, t, 0.0) - load
    }

    /// What drives the flow of a branch at rest, Pa.
    fn drive(&self, b: usize, t: f64, y: &[f64; N]) -> f64 {
        let unit = &self.net.branches[b];
        let from = self.pressure(unit.from, t, y);
        let to = self.pressure(unit.to, t, y);
        let rise = unit.pump.map_or(0.0, |k| self.pump_point(k, from, 0.0, y[self.pump(k)]).0);
        from - to + rise - self.carry[b].offset
    }

    /// Force that opens a poppet, without dry friction, N.
    fn force(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        let r = &self.net.regulators[k];
        let at = self.poppet_at(k);
        let (fuel, back) = (self.pressure(r.from, t, y), self.pressure(r.to, t, y));
        balance(r, (fuel, back, self.reference(k, t, y, y[at + 2])), y[at], y[at + 1])
    }

    /// The state that a regulator's reference moves at once, and its rate for each pascal: what [`Linear::response`] asks.
    ///
    /// [`Linear::response`]: crate::transient::linear::Linear::response
    #[must_use]
    pub fn reference_forcing(&self, k: usize) -> (usize, f64) {
        let (r, at) = (&self.net.regulators[k], self.poppet_at(k));
        if r.lag > 0.0 { (at + 2, 1.0 / r.lag) } else { (at + 1, -r.area / r.mass) }
    }

    /// Pressure felt at a regulator's reference port, absolute, Pa, whatever event came last.
    #[must_use]
    pub fn felt_reference(&self, k: usize, t: f64, y: &[f64; N]) -> f64 {
        if self.net.regulators[k].lag > 0.0 {
            return y[self.poppet_at(k) + 2];
        }
        match self.intake_tap(k, t, y) {
            Some(p) => p,
            None => self.net.regulators[k].reference.at(t),
        }
    }

    /// Pressure felt at the reference port: lagged, or at once without a lag.
    #[inline]
    fn reference(&self, k: usize, t: f64, y: &[f64; N], felt: f64) -> f64 {
        if self.net.regulators[k].lag > 0.0 { felt } else { self.brought(k, t, y) }
    }

    /// Speed of a jet times the root of its sharpness: flow is this times `C_d A`, the orifice law of
    /// [`orifice::flow`].
    #[inline]
    fn jet(&self, dp: f64) -> f64 {
        self.root_density * dp / (dp * dp + orifice::DP_SMALL * orifice::DP_SMALL).sqrt().sqrt()
    }

    /// Takes over which injectors are open.
    fn aim(&mut self) {
        self.sprays.clear();
        for k in 0..self.net.injectors.len() {
            let spray = self.spray(k);
            self.sprays.push(spray);
        }
        self.spraying.clear();
        for s in self.sprays.iter().filter(|s| !s.own_back && s.cd_a > 0.0) {
            match self.spraying.iter_mut().find(|(node, _)| *node == s.node) {
                Some((_, total)) => *total += s.cd_a,
                None => self.spraying.push((s.node, s.cd_a)),
            }
        }
    }

    /// Reads all tracks afresh from a time on.
    fn refresh(&mut self, t: f64) {
        self.manifold = Piece::of(&self.net.manifold, t);
        self.air = self.net.intake.as_ref().map(|i| Air::new(i, self.net.ambient, self.intake_at(), t));
        self.temperature = Piece::of(&self.net.temperature, t);
        self.coil_volts = Piece::of(&self.net.supply, t);
        for (piece, p) in self.supplies.iter_mut().zip(&self.net.pumps) {
            *piece = Piece::of(&p.supply, t);
        }
        for (piece, r) in self.references.iter_mut().zip(&self.net.regulators) {
            *piece = Piece::of(&r.reference, t);
        }
        for (piece, e) in self.ends.iter_mut().zip(&self.net.ends) {
            *piece = Piece::of(&e.pressure, t);
        }
    }

    fn record(&mut self, t: f64, kind: EventKind) {
        self.events.push(Event { t, kind });
    }

    /// What a poppet that has just stopped, or may leave its stop, does next.
    fn next_mode(&self, k: usize, f: f64) -> Poppet {
        let friction = self.net.regulators[k].friction;
        if friction == 0.0 {
            Poppet::Free
        } else if f.abs() <= friction + BREAK_AWAY {
            Poppet::Stuck
        } else if f > 0.0 {
            Poppet::Up
        } else {
            Poppet::Down
        }
    }

    fn at_poppet(&mut self, k: usize, second: bool, t: f64, y: &mut [f64; N]) {
        let at = self.poppet_at(k);
        let limit = self.net.regulators[k].max_lift;
        let friction = self.net.regulators[k].friction;
        let mode = self.poppet[k];
        let next = match (mode, second) {
            // Turned around, or stopped.
            (Poppet::Up | Poppet::Down, false) => {
                y[at + 1] = 0.0;
                let f = self.force(k, t, y);
                self.next_mode(k, f)
            }
            // Without rebound: it rests where it is pressed, else it turns at once.
            (Poppet::Up, true) | (Poppet::Free, false) => {
                self.put_poppet(k, limit, y);
                let f = self.force(k, t, y);
                if f >= -friction - BREAK_AWAY { Poppet::Full } else { self.next_mode(k, f) }
            }
            (Poppet::Down, true) | (Poppet::Free, true) => {
                self.put_poppet(k, 0.0, y);
                let f = self.force(k, t, y);
                if f <= friction + BREAK_AWAY { Poppet::Seat } else { self.next_mode(k, f) }
            }
            (Poppet::Stuck, false) | (Poppet::Seat, _) => {
                if friction == 0.0 {
                    Poppet::Free
                } else {
                    Poppet::Up
                }
            }
            (Poppet::Stuck, true) | (Poppet::Full, _) => {
                if friction == 0.0 {
                    Poppet::Free
                } else {
                    Poppet::Down
                }
            }
        };
        self.poppet[k] = next;
        let kind = match next {
            Poppet::Seat => EventKind::PoppetSeated { regulator: k },
            Poppet::Full => EventKind::PoppetFullLift { regulator: k },
            Poppet::Stuck => EventKind::PoppetStuck { regulator: k },
            Poppet::Up | Poppet::Down | Poppet::Free => EventKind::PoppetMoved { regulator: k },
        };
        self.record(t, kind);
    }
}

/// Number of states of a network.
#[must_use]
pub fn states(net: &Net) -> usize {
    net.pumps.len()
        + net.nodes.len()
        + net.branches.len()
        + 3 * net.regulators.len()
        + net.injectors.len()
        + net.ends.len()
        + 3 * net.injectors.iter().filter(|i| i.coil.is_some()).count()
        + net.waves.len()
        + intake::moving(net)
        + intake::counting(net)
}

/// Opening area of the seat: the curtain until it exceeds the hole.
#[inline]
fn opening(r: &RegulatorUnit, lift: f64) -> f64 {
    (PI * r.seat * lift.max(0.0)).min(PI / 4.0 * r.seat * r.seat)
}

/// Force that opens a poppet without dry friction, N, at fuel, return and reference pressure, lift and speed.
#[inline]
fn balance(r: &RegulatorUnit, (fuel, back, reference): (f64, f64, f64), lift: f64, speed: f64) -> f64 {
    let seat = PI / 4.0 * r.seat * r.seat;
    fuel * (r.area - seat) + back * seat
        - reference * r.area
        - r.preload
        - r.rate * lift
        - r.flow_force * opening(r, lift) * (fuel - back)
        - r.damping * speed
}

impl<const N: usize> System<N> for NetSystem<N> {
    #[inline]
    fn rhs(&self, t: f64, y: &[f64; N], dy: &mut [f64; N]) {
        let net = &self.net;
        let (pumps, nodes, branches) = (net.pumps.len(), net.nodes.len(), self.carry.len());
        let (emfs, rest) = y.split_at(pumps);
        let (stored, rest) = rest.split_at(nodes);
        let (flows, rest) = rest.split_at(branches);
        let (poppets, _) = rest.split_at(3 * net.regulators.len());
        let (d_emfs, rest) = dy.split_at_mut(pumps);
        let (d_stored, rest) = rest.split_at_mut(nodes);
        let (d_flows, rest) = rest.split_at_mut(branches);
        let (d_poppets, rest) = rest.split_at_mut(3 * net.regulators.len());
        let (d_air, rest) = rest.split_at_mut(self.air_states.0);
        let (d_injected, rest) = rest.split_at_mut(net.injectors.len());
        let (d_received, rest) = rest.split_at_mut(net.ends.len());
        let (d_needles, rest) = rest.split_at_mut(3 * self.needles.len());
        let (d_waves, rest) = rest.split_at_mut(self.waves.len());
        let (d_breathed, padding) = rest.split_at_mut(self.air_states.1);
        padding.fill(0.0);
        // What flows into each place (nodes, then ends) and the pressure felt there. A shut branch holds zero.
        let mut into = [0.0; N];
        for (into, m) in into.iter_mut().zip(&self.meets) {
            *into = m.signs[0] * flows[m.branches[0]] + m.signs[1] * flows[m.branches[1]];
        }
        for (place, branch, sign) in &self.more_meets {
            into[*place] += sign * flows[*branch];
        }
        let mut p = [0.0; N];
        let vapour = net.fluid.vapour;
        for (((p, y), wall), into) in p.iter_mut().zip(stored).zip(&self.wall).zip(&into) {
            *p = (y + wall * into).max(vapour);
        }
        for (p, piece) in p[nodes..].iter_mut().zip(&self.ends) {
            *p = piece.at(t);
        }
        for (((c, q), shut), rate) in self.carry.iter().zip(flows).zip(&self.check_shut).zip(d_flows) {
            let mut drive = p[c.from] - p[c.to] - c.offset;
            if let Some(k) = c.pump {
                let emf = emfs[k];
                let (rise, load) = self.pump_point(k, p[c.from], *q, emf);
                drive += rise;
                d_emfs[k] = if self.turning[k] {
                    let u = &net.pumps[k];
                    u.motor_constant * u.motor_constant / u.inertia * (self.current(k, t, emf) - load)
                } else {
                    0.0
                };
            }
            *rate = if *shut {
                let q = drive / c.shut_slope;
                into[c.from] -= q;
                into[c.to] += q;
                0.0
            } else {
                let size = q.abs();
                let re = c.reynolds * size;
                let f_re = if net.exact_friction {
                    if re < 1.0 { 64.0 } else { friction_factor_churchill(re, c.relative_roughness) * re }
                } else {
                    self.tables[c.table].f_re(re)
                };
                let resistance = c.linear + c.viscous * f_re + c.square * size;
                (drive - resistance * q) * c.per_inertance
            };
        }
        let states = poppets.chunks_exact(3).zip(d_poppets.chunks_exact_mut(3));
        for (k, (r, (state, rate))) in net.regulators.iter().zip(states).enumerate() {
            let (from, to) = (self.place(r.from), self.place(r.to));
            let (fuel, back) = (p[from], p[to]);
            let (lift, speed) = (state[0], state[1]);
            let q = r.cd * opening(r, lift) * self.jet(fuel - back);
            // At rest its speed is zero; on its way it makes room on both sides of the seat.
            let seat = PI / 4.0 * r.seat * r.seat;
            into[from] -= q + (r.area - seat) * speed;
            into[to] += q - seat * speed;
            rate[2] = if r.lag > 0.0 { (self.brought(k, t, y) - state[2]) / r.lag } else { 0.0 };
            let friction = match self.poppet[k] {
                Poppet::Seat | Poppet::Full | Poppet::Stuck => {
                    (rate[0], rate[1]) = (0.0, 0.0);
                    continue;
                }
                Poppet::Up => r.friction,
                Poppet::Down => -r.friction,
                Poppet::Free => 0.0,
            };
            rate[0] = speed;
            let reference = self.reference(k, t, y, state[2]);
            rate[1] = (balance(r, (fuel, back, reference), lift, speed) - friction) / r.mass;
        }
        // Injectors of one rail into one manifold share their jet.
        let manifold = self.behind_throttle(t, y);
        if let Some(air) = &self.air {
            air.rates(t, y, (d_air, d_breathed));
        }
        let (mut at, mut shared) = (usize::MAX, 0.0);
        for (node, cd_a) in &self.spraying {
            (at, shared) = (*node, self.jet(p[*node] - manifold));
            into[*node] -= cd_a * shared;
        }
        for (k, (spray, rate)) in self.sprays.iter().zip(&mut *d_injected).enumerate() {
            let jet = if spray.cd_a == 0.0 {
                0.0
            } else if spray.own_back {
                let jet = self.jet(p[spray.node] - self.back(k, t, y));
                into[spray.node] -= spray.cd_a * jet;
                jet
            } else if spray.node == at {
                shared
            } else {
                self.jet(p[spray.node] - manifold)
            };
            *rate = spray.cd_a * jet;
        }
        self.needle_rates(t, y, &p, &mut into, d_injected, d_needles);
        self.wave_rates(t, &p, &mut into, d_waves);
        if self.temperature.slope != 0.0 {
            let warming = self.temperature.slope * net.fluid.expansion;
            net.nodes.iter().zip(&mut into).for_each(|(n, into)| *into += warming * n.volume);
            // What grows within a line with waves comes out at its ends, half at each.
            for w in &net.waves {
                let half = 0.5 * warming * w.volume();
                into[w.from] += half;
                into[w.to] += half;
            }
        }
        for ((rate, into), per) in d_stored.iter_mut().zip(&into).zip(&self.per_capacitance) {
            *rate = into * per;
        }
        d_received.copy_from_slice(&into[nodes..nodes + net.ends.len()]);
    }

    fn jacobian(&self, t: f64, y: &[f64; N], _f: &[f64; N], jacobian: &mut Matrix<N>) {
        self.slopes(t, y, jacobian);
    }

    fn typical(&self, component: usize) -> f64 {
        let (pumps, nodes, branches) = (self.net.pumps.len(), self.net.nodes.len(), self.net.branches.len());
        let poppets = pumps + nodes + branches;
        if component < pumps {
            1.0
        } else if component < pumps + nodes {
            1e5
        } else if component < poppets {
            1e-5
        } else if component < self.intake_at() {
            [1e-4, 1e-2, 1e5][(component - poppets) % 3]
        } else if component < self.injected(0) {
            // Boost, when it is followed, and air.
            if component + 1 < self.injected(0) { 1e5 } else { 5e-3 }
        } else if component < self.needle(0) {
            1e-6
        } else if component < self.taken_up(0) {
            [0.1, 1e-5, 0.1][(component - self.needle(0)) % 3]
        } else if component < self.breathed() {
            1e-6
        } else {
            5e-3
        }
    }

    fn next_time_event(&self, _t: f64) -> Option<f64> {
        let corner = self.corners.get(self.next_corner).copied().unwrap_or(f64::INFINITY);
        let grid = self.waves.iter().map(Wave::next).fold(f64::INFINITY, f64::min);
        let next = corner.min(self.pulses.next).min(grid);
        next.is_finite().then_some(next)
    }

    fn at_time_event(&mut self, t: f64, y: &mut [f64; N]) -> After {
        let corner = self.corners.get(self.next_corner).is_some_and(|c| *c <= t);
        if corner {
            self.next_corner += 1;
            self.record(t, EventKind::Corner);
            self.refresh(t);
            // A pump at rest may start when its relay closes.
            for k in 0..self.net.pumps.len() {
                if !self.turning[k] && self.motor_pull(k, t, y) > 0.0 {
                    self.turning[k] = true;
                    self.record(t, EventKind::PumpStarted { pump: k });
                }
            }
        }
        self.step_waves(t, y);
        if !corner && self.pulses.next > t {
            // A step of a grid bends nothing but the rate of what arrives: the step need not begin afresh.
            return After::Continue;
        }
        let mut pulses = std::mem::take(&mut self.pulses);
        let mut told = std::mem::take(&mut self.told);
        pulses.at(
            t,
            &self.net,
            &self.clock,
            self.manifold(t, y),
            |k| self.pressure(Place::Node(self.net.injectors[k].node), t, y) - self.back(k, t, y),
            |change| match change {
                Change::Commanded(injector, width, outside) => {
                    told.push(EventKind::Commanded { injector, width });
                    if outside {
                        told.push(EventKind::OutsideDeadTime { injector });
                    }
                }
                Change::Opened(injector) => told.push(EventKind::Opened { injector }),
                Change::Closed(injector) => told.push(EventKind::Closed { injector }),
            },
        );
        self.pulses = pulses;
        // A command alone changes nothing yet: the step need not begin afresh.
        let moved = told.iter().any(|k| matches!(k, EventKind::Opened { .. } | EventKind::Closed { .. }));
        for kind in told.drain(..) {
            self.record(t, kind);
        }
        self.told = told;
        if moved {
            self.aim();
        }
        if self.switch_coils(y) | moved | corner { After::Restart } else { After::Continue }
    }

    fn root_count(&self) -> usize {
        self.net.pumps.len()
            + self.net.branches.len()
            + 2 * self.net.regulators.len()
            + self.boiling.len()
            + self.net.ends.len()
            + 1
            + GUARDS * self.needles.len()
            + usize::from(self.air.is_some())
    }

    fn roots(&self, t: f64, y: &[f64; N], g: &mut [f64]) {
        let mut at = 0;
        let mut put = |v: f64| {
            g[at] = v;
            at += 1;
        };
        for k in 0..self.net.pumps.len() {
            put(if self.turning[k] { y[self.pump(k)] } else { -self.motor_pull(k, t, y) });
        }
        for b in 0..self.carry.len() {
            put(if !self.carry[b].one_way {
                1.0
            } else if self.check_shut[b] {
                -self.drive(b, t, y)
            } else {
                y[self.branch(b)]
            });
        }
        for (k, r) in self.net.regulators.iter().enumerate() {
            let at = self.poppet_at(k);
            let (x, v) = (y[at], y[at + 1]);
            let hold = r.friction + BREAK_AWAY;
            let (first, second) = match self.poppet[k] {
                Poppet::Seat => (hold - self.force(k, t, y), 1.0),
                Poppet::Full => (hold + self.force(k, t, y), 1.0),
                Poppet::Stuck => {
                    let f = self.force(k, t, y);
                    (hold - f, hold + f)
                }
                Poppet::Up => (v + SPEED_SLACK, r.max_lift - x + LIFT_SLACK),
                Poppet::Down => (SPEED_SLACK - v, x + LIFT_SLACK),
                Poppet::Free => (r.max_lift - x + LIFT_SLACK, x + LIFT_SLACK),
            };
            put(first);
            put(second);
        }
        for &n in &self.boiling {
            put(y[self.node(n)] - self.net.fluid.vapour);
        }
        for (k, e) in self.net.ends.iter().enumerate() {
            put(e.fuel.map_or(1.0, |fuel| fuel + y[self.received(k)]));
        }
        put(self.net.until.map_or(1.0, |u| {
            let manifold = if u.less_manifold { self.behind_throttle(t, y) } else { 0.0 };
            y[self.node(u.node)] - manifold - u.level
        }));
        self.needle_guards(t, y, &mut put);
        self.boost_root(t, y).into_iter().for_each(put);
    }

    fn at_root(&mut self, crossing: Crossing, t: f64, y: &mut [f64; N]) -> After {
        let mut root = crossing.root;
        if self.air.is_some() && root + 1 == self.root_count() {
            self.at_boost(t);
            return After::Restart;
        }
        if root < self.net.pumps.len() {
            let stops = self.turning[root];
            if stops {
                y[self.pump(root)] = 0.0;
            }
            self.turning[root] = !stops;
            let kind = if stops {
                EventKind::PumpStopped { pump: root }
            } else {
                EventKind::PumpStarted { pump: root }
            };
            self.record(t, kind);
            return After::Restart;
        }
        root -= self.net.pumps.len();
        if root < self.carry.len() {
            let opens = self.check_shut[root];
            y[self.branch(root)] = 0.0;
            // At rest while pressures still drive it forward: it does not shut.
            if !opens && self.drive(root, t, y) > 0.0 {
                return After::Restart;
            }
            self.check_shut[root] = !opens;
            let kind = if opens {
                EventKind::CheckOpened { branch: root }
            } else {
                EventKind::CheckShut { branch: root }
            };
            self.record(t, kind);
            return After::Restart;
        }
        root -= self.carry.len();
        if root < 2 * self.net.regulators.len() {
            self.at_poppet(root / 2, root % 2 == 1, t, y);
            return After::Restart;
        }
        root -= 2 * self.net.regulators.len();
        if root < self.boiling.len() {
            let node = self.boiling[root];
            let kind =
                if crossing.rising { EventKind::Collapsed { node } } else { EventKind::Boils { node } };
            self.record(t, kind);
            return After::Restart;
        }
        root -= self.boiling.len();
        if root == self.net.ends.len() {
            if self.net.until.is_none_or(|u| u.rising != crossing.rising) {
                return After::Continue;
            }
            self.record(t, EventKind::Until);
            return After::Stop;
        }
        if root > self.net.ends.len() {
            self.at_needle(root - self.net.ends.len() - 1, t, y);
            return After::Restart;
        }
        self.record(t, EventKind::RanDry { end: root });
        if self.stop_when_dry { After::Stop } else { After::Continue }
    }
}

impl<const N: usize> NetSystem<N> {
    #[inline]
    fn place(&self, p: Place) -> usize {
        match p {
            Place::Node(k) => k,
            Place::End(k) => self.net.nodes.len() + k,
        }
    }
}
