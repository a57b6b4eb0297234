//! What a network is made of, SI.

use crate::part::injector::{CoilNeedle, DeadTime};
use crate::part::manifold::Throttle;
use crate::schedule::Track;
use std::f64::consts::PI;
use std::fmt;
use std::sync::Arc;

/// The fuel in the network; its properties are kept through a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fluid {
    /// Density, kg/m³.
    pub rho: f64,
    /// Dynamic viscosity, Pa·s.
    pub mu: f64,
    /// Vapour pressure, absolute, Pa.
    pub vapour: f64,
    /// Thermal expansion, 1/K.
    pub expansion: f64,
}

/// A place that stores fuel by its compliance.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Its name.
    pub name: String,
    /// Volume, m³ (for thermal expansion).
    pub volume: f64,
    /// Volume taken up per pressure, m³/Pa.
    pub capacitance: f64,
    /// Time constant of the wall's own damping, s: `p = p_e + τ/C ΣQ` (Kelvin-Voigt wall). Only where branches meet;
    /// a loss tangent `tan δ` at a frequency f is `τ = tan δ/(2πf)`.
    pub wall: f64,
    /// Whether reaching vapour pressure here is reported.
    pub may_boil: bool,
}

/// A place of given pressure: tank, pot, air.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// Its name.
    pub name: String,
    /// Absolute pressure over time, Pa.
    pub pressure: Track,
    /// Fuel in it at the start, m³; when it is used up the run ends.
    pub fuel: Option<f64>,
}

/// Where a branch begins or ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// A node.
    Node(usize),
    /// An end of given pressure.
    End(usize),
}

/// A check valve in a branch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Check {
    /// Difference at which it opens, Pa.
    pub cracking: f64,
    /// Resistance when shut, Pa·s/m³.
    pub shut: f64,
}

/// Parts in series with the inertance of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// Its name.
    pub name: String,
    /// Where it begins.
    pub from: Place,
    /// Where it ends.
    pub to: Place,
    /// Length of its line, m: its inertance.
    pub length: f64,
    /// Length along which the wall rubs, m; zero for a short passage that only stands in for inertance.
    pub rough_length: f64,
    /// Bore, m.
    pub bore: f64,
    /// Roughness of the wall, m.
    pub roughness: f64,
    /// Sum of loss coefficients on the velocity in the bore.
    pub k_sum: f64,
    /// Loss in proportion to flow of the other parts (filter), Pa·s/m³.
    pub linear: f64,
    /// Loss with the square of flow of the other parts, Pa·s²/m⁶.
    pub square: f64,
    /// Height of its end above its beginning, m.
    pub rise: f64,
    /// Its check valve.
    pub check: Option<Check>,
    /// Its pump, an index of [`Net::pumps`].
    pub pump: Option<usize>,
}

impl Branch {
    /// A passage of this length and bore, m, that loses nothing.
    #[must_use]
    pub fn bare(name: String, (from, to): (Place, Place), (length, bore): (f64, f64)) -> Self {
        Self {
            name,
            from,
            to,
            length,
            rough_length: 0.0,
            bore,
            roughness: 0.0,
            k_sum: 0.0,
            linear: 0.0,
            square: 0.0,
            rise: 0.0,
            check: None,
            pump: None,
        }
    }
}

/// A piece of line between two nodes in which pressure travels as waves, see [`crate::transient::characteristics`].
#[derive(Clone, Debug, PartialEq)]
pub struct WaveLine {
    /// Its name.
    pub name: String,
    /// Node at its inlet.
    pub from: usize,
    /// Node at its outlet.
    pub to: usize,
    /// The branch that ends at its inlet: its flow is taken over at the start.
    pub fed_by: usize,
    /// Length, m.
    pub length: f64,
    /// Bore, m.
    pub bore: f64,
    /// Roughness of the wall, m.
    pub roughness: f64,
    /// Wave speed, m/s.
    pub wave_speed: f64,
    /// Pieces of its grid; a step of the grid is one piece at the wave speed.
    pub reaches: usize,
}

impl WaveLine {
    /// Fuel within it, m³.
    #[must_use]
    pub fn volume(&self) -> f64 {
        PI / 4.0 * self.bore * self.bore * self.length
    }
}

/// A pump, its motor and its wire.
#[derive(Clone, Debug, PartialEq)]
pub struct PumpUnit {
    /// Its name.
    pub name: String,
    /// The law of motor and element.
    pub law: super::hydraulics::PumpLaw,
    /// Resistance of armature and wire, Ω.
    pub resistance: f64,
    /// Motor constant, V·s/rad.
    pub motor_constant: f64,
    /// Inertia of armature and element, kg·m².
    pub inertia: f64,
    /// Supply voltage over time, V; zero is an open relay.
    pub supply: Track,
    /// Part of the branch's losses that lies before the pump: linear, Pa·s/m³, square, Pa·s²/m⁶, and height, Pa.
    pub before: (f64, f64, f64),
}

/// A by-pass regulator.
#[derive(Clone, Debug, PartialEq)]
pub struct RegulatorUnit {
    /// Its name.
    pub name: String,
    /// Fuel side.
    pub from: Place,
    /// Return side.
    pub to: Place,
    /// Effective area of the diaphragm, m².
    pub area: f64,
    /// Diameter of the seat, m.
    pub seat: f64,
    /// Spring rate, N/m.
    pub rate: f64,
    /// Spring force with the poppet shut, N.
    pub preload: f64,
    /// Lift at the stop, m.
    pub max_lift: f64,
    /// Discharge coefficient of the seat.
    pub cd: f64,
    /// Flow force per opening area and pressure difference.
    pub flow_force: f64,
    /// Dry friction, N.
    pub friction: f64,
    /// Moving mass, kg.
    pub mass: f64,
    /// Viscous damping, N·s/m.
    pub damping: f64,
    /// Absolute pressure that the reference port is joined to, Pa.
    pub reference: Track,
    /// Time constant of the reference hose, s.
    pub lag: f64,
}

/// What lies behind an injector's nozzle.
#[derive(Clone, Debug, PartialEq)]
pub enum Back {
    /// The manifold.
    Manifold,
    /// A pressure of its own: the port, or the cylinder for direct injection.
    Trace(Arc<Trace>),
}

/// A pressure on an even grid of time, read by cubics through four neighbours.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    start: f64,
    step: f64,
    values: Vec<f64>,
    periodic: bool,
}

impl Trace {
    /// From values `step` seconds apart; a periodic one repeats after its last value. None with fewer than four.
    #[must_use]
    pub fn new(start: f64, step: f64, values: Vec<f64>, periodic: bool) -> Option<Self> {
        let sound = step > 0.0 && values.len() >= 4 && values.iter().all(|v| v.is_finite());
        sound.then_some(Self { start, step, values, periodic })
    }

    /// Value at a time, s; beyond the ends of a trace that does not repeat, the end value.
    #[must_use]
    #[inline]
    pub fn at(&self, t: f64) -> f64 {
        let n = self.values.len();
        let mut x = (t - self.start) / self.step;
        if self.periodic {
            x -= below(x / n as f64) * n as f64;
        }
        let floor = below(x);
        let s = x - floor;
        let (a, b, c, d) = if floor >= 1.0 && floor + 2.0 < n as f64 {
            let v = &self.values[floor as usize - 1..][..4];
            (v[0], v[1], v[2], v[3])
        } else {
            let (k, n) = (floor as isize, n as isize);
            let get = |i: isize| {
                let i = if self.periodic { i.rem_euclid(n) } else { i.clamp(0, n - 1) };
                self.values[i as usize]
            };
            (get(k - 1), get(k), get(k + 1), get(k + 2))
        };
        // Catmull-Rom: continuous slope.
        b + 0.5 * s * (c - a + s * (2.0 * a - 5.0 * b + 4.0 * c - d + s * (3.0 * (b - c) + d - a)))
    }
}

/// The whole number at or below; a call less than `floor` without the processor's own.
#[inline]
fn below(x: f64) -> f64 {
    let whole = (x as i64) as f64;
    if whole > x { whole - 1.0 } else { whole }
}

/// The pressure difference that the control unit takes for true.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Difference {
    /// Always the same, Pa.
    Constant(f64),
    /// A constant rail: this gauge pressure, Pa, less the manifold's.
    BaseLessManifold(f64),
    /// Measured at the start of the pulse.
    Measured,
}

/// How the control unit finds a pulse width.
#[derive(Clone, Debug, PartialEq)]
pub enum Belief {
    /// No pulses.
    Off,
    /// A width over time, s.
    Width(Track),
    /// From the mass that it wants delivered in a pulse.
    Mass {
        /// Mass over time, kg.
        mass: Track,
        /// Mass flow of an open injector that it believes in, kg/s per √Pa.
        coefficient: f64,
        /// The difference that it believes in.
        difference: Difference,
        /// Dead time in its table less the true one, s.
        dead_time_error: f64,
    },
}

/// One injector.
#[derive(Clone, Debug, PartialEq)]
pub struct InjectorUnit {
    /// Its name.
    pub name: String,
    /// The node that feeds it.
    pub node: usize,
    /// Discharge coefficient times area, open, m².
    pub cd_a: f64,
    /// The same for what passes when shut, m².
    pub leak_cd_a: f64,
    /// Dead time.
    pub dead_time: DeadTime,
    /// Part of the dead time's two delays that falls on closing: after the pulse it stays open this long, s.
    pub closing_delay: f64,
    /// Open time below which flow is no longer proportional, s.
    pub short_pulse: f64,
    /// Coil and needle, when they are followed; the dead time is then only what the control unit believes.
    pub coil: Option<CoilNeedle>,
    /// Crank angle at which its pulse begins, rad, within 4π.
    pub begins: f64,
    /// What lies behind its nozzle.
    pub back: Back,
}

/// Where a reference hose is joined to the intake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tap {
    /// Behind the throttle.
    Manifold,
    /// Before the throttle: boost that has built, ambient without.
    ChargePipe,
}

/// A reference hose that is joined to the intake.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hose {
    /// Index of the regulator that it serves.
    pub regulator: usize,
    /// Where it is joined.
    pub at: Tap,
    /// Part of the pressure above ambient that it passes on: less than one where it leaks.
    pub passes: f64,
}

/// An intake whose manifold fills and whose boost builds, see [`crate::part::manifold`].
#[derive(Clone, Debug, PartialEq)]
pub struct Intake {
    /// Volume that fills, m³.
    pub volume: f64,
    /// Time constant of boost, s; zero: it is there at once.
    pub spool: f64,
    /// Manifold pressure above ambient that throttle and boost control ask for over time, Pa.
    pub target: Track,
    /// Temperature of the charge over time, K.
    pub temperature: Track,
    /// Air that the engine takes for each pascal in the manifold over time, kg/(s·Pa).
    pub pull: Track,
    /// A throttle whose opening is imposed; none: the manifold is held where `target` asks.
    pub throttle: Option<Plate>,
    /// Reference hoses that are joined to it.
    pub hoses: Vec<Hose>,
}

/// A throttle between charge pipe and manifold.
#[derive(Clone, Debug, PartialEq)]
pub struct Plate {
    /// How it lets air through.
    pub law: Throttle,
    /// Its opening over time, 0 to 1.
    pub opening: Track,
}

/// A pressure that ends the run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The node that is watched.
    pub node: usize,
    /// Whether the manifold's pressure is taken off first.
    pub less_manifold: bool,
    /// Absolute pressure, or difference, Pa.
    pub level: f64,
    /// Whether it is met from below.
    pub rising: bool,
}

/// A whole network.
#[derive(Clone, Debug, PartialEq)]
pub struct Net {
    /// The fuel.
    pub fluid: Fluid,
    /// Ambient pressure, Pa.
    pub ambient: f64,
    /// Nodes.
    pub nodes: Vec<Node>,
    /// Ends of given pressure.
    pub ends: Vec<End>,
    /// Branches.
    pub branches: Vec<Branch>,
    /// Lines with waves.
    pub waves: Vec<WaveLine>,
    /// Pumps.
    pub pumps: Vec<PumpUnit>,
    /// Regulators.
    pub regulators: Vec<RegulatorUnit>,
    /// Injectors.
    pub injectors: Vec<InjectorUnit>,
    /// Engine speed over time, rev/min.
    pub rpm: Track,
    /// Manifold pressure over time, absolute, Pa, where no intake is followed.
    pub manifold: Track,
    /// An intake that is followed.
    pub intake: Option<Intake>,
    /// Supply voltage at the injectors over time, V.
    pub supply: Track,
    /// How pulses are found.
    pub belief: Belief,
    /// What ends the run early.
    pub until: Option<Limit>,
    /// Fuel temperature over time, K; only its change acts, by expansion.
    pub temperature: Track,
    /// Whether friction is read from a table (fast) or computed each time (the same law).
    pub exact_friction: bool,
}

/// A network that cannot be.
#[derive(Clone, Debug, PartialEq)]
pub struct BadNet {
    /// The part and its key, such as `"rail.capacitance"`.
    pub key: String,
    /// What is wrong and what to do.
    pub why: String,
}

impl fmt::Display for BadNet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}` {}", self.key, self.why)
    }
}

impl std::error::Error for BadNet {}

impl Net {
    /// Fuel within nodes and lines with waves that expands as it warms, m³.
    #[must_use]
    pub fn volume(&self) -> f64 {
        let nodes: f64 = self.nodes.iter().map(|n| n.volume).sum();
        nodes + self.waves.iter().map(WaveLine::volume).sum::<f64>()
    }
}
