//! The equations of a network.

use super::describe::{Net, Place, Tap};
use super::event::{Event, EventKind};
use super::pulses::Pulses;
use super::{BadNet, describe};
use crate::part::injector::coil::{CoilNeedle, Stage};
use crate::quantity::STANDARD_GRAVITY;
use crate::schedule::{CrankClock, Track};
use crate::transient::friction_table::FrictionTable;
use std::f64::consts::PI;

mod equations; // rates, events and roots, as a stepper asks for them
mod felt; // pressures, flows and currents as a state has them
mod intake; // boost that builds, a manifold that fills
mod jacobian; // derivatives in closed form
mod layout; // where each thing lies in the state
mod needles; // coils and needles that are followed
mod poppet; // what a poppet feels, its stops and dry friction
mod regime; // which of its laws hold at a time
mod waves; // lines in which pressure travels as waves

use intake::Air;
pub use layout::states;
pub use poppet::Poppet;
use poppet::{BREAK_AWAY, opening};
use waves::Wave;

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
    /// An intake that is followed.
    air: Option<Air>,
    /// Number of its states that move, and of those that count.
    air_states: (usize, usize),
    /// Whether its manifold stands above ambient.
    boosted: bool,
    /// For each regulator, where its hose is joined to it and the share that it passes of the pressure there, above ambient.
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
                offset: f.rho * STANDARD_GRAVITY * b.rise + b.check.map_or(0.0, |c| c.cracking),
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
        tracks.extend(net.intake.iter().filter_map(|i| i.throttle.as_ref()).map(|plate| &plate.opening));
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
}
