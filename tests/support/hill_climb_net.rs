//! The demo car's circuit as a network, by hand: numbers invented, as the car is.

use railrise::part::injector::DeadTime;
use railrise::schedule::Track;
use railrise::transient::network::{
    Back, Belief, Branch, Check, End, Fluid, InjectorUnit, Net, Node, Place, PumpCurve, PumpLaw, PumpUnit,
    RegulatorUnit,
};
use std::f64::consts::PI;

/// Ambient pressure, Pa.
pub const AMBIENT: f64 = 101_325.0;

/// Damping of the hose wall, s: loss tangent 0.3 at 100 Hz (rubber, from memory).
pub const WALL: f64 = 0.3 / (2.0 * PI * 100.0);

/// What may be chosen.
#[derive(Clone, Copy)]
pub struct Choice {
    pub cylinders: usize,
    pub feed_lumps: usize,
    pub return_lumps: usize,
    pub rpm: f64,
    /// Manifold gauge pressure, Pa.
    pub boost: f64,
    /// Pulse width, s.
    pub pulse: f64,
    /// Dry friction of the poppet, N.
    pub friction: f64,
    pub volts: f64,
    /// Flow of the pump per volt, m³/(s·V).
    pub pump: f64,
    /// Volume of the rail, m³.
    pub rail: f64,
    /// Length and bore of the return hose, m.
    pub back: (f64, f64),
    /// Compliance of the pulsation damper at the rail, m³/Pa.
    pub damper: f64,
    /// Moving mass of the poppet, kg.
    pub mass: f64,
    /// Damping of the poppet, N·s/m.
    pub damping: f64,
}

impl Default for Choice {
    fn default() -> Self {
        Self {
            cylinders: 4,
            feed_lumps: 4,
            return_lumps: 3,
            rpm: 6500.0,
            boost: 0.7e5,
            pulse: 11.1e-3,
            friction: 0.0,
            volts: 13.8,
            pump: 5.2e-6,
            rail: 6e-5,
            back: (2.5, 11e-3),
            damper: 2e-12,
            mass: 6e-3,
            damping: 40.0,
        }
    }
}

// One line of the layout, spelled out where it is called.
#[allow(clippy::too_many_arguments)]
fn line(
    name: &str,
    (length, bore): (f64, f64),
    k_sum: f64,
    lumps: usize,
    (from, to): (Place, Place),
    bulk: f64,
    may_boil: bool,
    nodes: &mut Vec<Node>,
    branches: &mut Vec<Branch>,
) {
    let area = PI / 4.0 * bore * bore;
    let each = length / lumps as f64;
    let mut at = from;
    for k in 0..lumps {
        let next = if k + 1 == lumps {
            to
        } else {
            let volume = area * each;
            let name = format!("{name} {}", k + 1);
            nodes.push(Node { name, volume, capacitance: volume / bulk, wall: WALL, may_boil });
            Place::Node(nodes.len() - 1)
        };
        branches.push(Branch {
            name: format!("{name} {}", k + 1),
            from: at,
            to: next,
            length: each,
            rough_length: each,
            bore,
            roughness: 1.5e-6,
            k_sum: k_sum / lumps as f64,
            linear: 0.0,
            square: 0.0,
            rise: 0.0,
            check: None,
            pump: None,
        });
        at = next;
    }
    for end in [from, to] {
        if let Place::Node(k) = end {
            nodes[k].volume += 0.5 * area * each;
            nodes[k].capacitance += 0.5 * area * each / bulk;
        }
    }
}

/// Tank, pump, check valve, feed hose, fine filter, rail, regulator, return hose.
pub fn net(c: Choice) -> Net {
    let hose_bulk = 1.0 / (1.0 / 1.0e9 + 1.0 / 150e6);
    let fluid = Fluid { rho: 740.0, mu: 4.5e-4, vapour: 55e3, expansion: 1.1e-3 };
    // Rail of 60 cm³ and the chamber behind the poppet of 5 cm³, rigid.
    let mut nodes = vec![
        Node {
            name: "rail".into(),
            volume: c.rail,
            capacitance: c.rail / 1.0e9 + c.damper,
            wall: 0.0,
            may_boil: false,
        },
        Node {
            name: "return chamber".into(),
            volume: 5e-6,
            capacitance: 5e-6 / 1.0e9,
            wall: 0.0,
            may_boil: true,
        },
    ];
    let mut branches = Vec::new();
    let (rail, chamber, tank) = (Place::Node(0), Place::Node(1), Place::End(0));
    line(
        "feed hose",
        (4.2, 8.7e-3),
        6.0,
        c.feed_lumps,
        (tank, rail),
        hose_bulk,
        false,
        &mut nodes,
        &mut branches,
    );
    let area = 0.65 * PI / 4.0 * 7e-3f64.powi(2);
    let first = &mut branches[0];
    first.pump = Some(0);
    first.check = Some(Check { cracking: 4e3, shut: 1e16 });
    // Strainer 1.5 kPa and open check valve; the filter of 8 kPa at 150 L/h, loaded, sits at the end of the hose.
    let q = 150.0 / 3.6e6;
    first.linear += 0.7 * 1.5e3 / q;
    first.square += 0.3 * 1.5e3 / (q * q) + 0.5 * fluid.rho / (area * area);
    let last = &mut branches[c.feed_lumps - 1];
    last.linear += 2.0 * 0.7 * 8e3 / q;
    last.square += 0.3 * 8e3 / (q * q);
    line(
        "return hose",
        c.back,
        5.0,
        c.return_lumps,
        (chamber, tank),
        hose_bulk,
        true,
        &mut nodes,
        &mut branches,
    );
    let injector = |k: usize| InjectorUnit {
        name: format!("injector {}", k + 1),
        node: 0,
        cd_a: 720e-6 / 60.0 * (683.0f64 / (2.0 * 3e5)).sqrt(),
        leak_cd_a: 0.0,
        dead_time: DeadTime::constant(1e-3),
        closing_delay: 0.3e-3,
        short_pulse: 0.4e-3,
        coil: None,
        begins: 4.0 * PI * k as f64 / c.cylinders as f64,
        back: Back::Manifold,
    };
    Net {
        fluid,
        ambient: AMBIENT,
        nodes,
        ends: vec![End { name: "tank".into(), pressure: Track::constant(AMBIENT), fuel: Some(0.04) }],
        branches,
        waves: vec![],
        pumps: vec![PumpUnit {
            name: "main pump".into(),
            law: PumpLaw {
                curve: PumpCurve::Displacement { g: c.pump, k: 3.0e-11, c: 1.3e-5 },
                idle_current: 3.0,
                relief: 7.5e5,
                relief_slope: 1.3e9,
                required_margin: 1e4,
            },
            resistance: 0.4,
            motor_constant: 0.0167,
            inertia: 4e-6,
            supply: Track::constant(c.volts),
            before: (0.7 * 1.5e3 / q, 0.3 * 1.5e3 / (q * q), 0.0),
        }],
        regulators: vec![RegulatorUnit {
            name: "regulator".into(),
            from: rail,
            to: chamber,
            area: PI / 4.0 * 0.03f64.powi(2),
            seat: 6e-3,
            rate: 35e3,
            preload: 200.8,
            max_lift: 0.4e-3,
            cd: 0.7,
            flow_force: 0.43,
            friction: c.friction,
            mass: c.mass,
            damping: c.damping,
            reference: Track::constant(AMBIENT + c.boost),
            lag: 15e-3,
        }],
        injectors: (0..c.cylinders).map(injector).collect(),
        rpm: Track::constant(c.rpm),
        manifold: Track::constant(AMBIENT + c.boost),
        supply: Track::constant(c.volts),
        belief: if c.pulse > 0.0 { Belief::Width(Track::constant(c.pulse)) } else { Belief::Off },
        intake: None,
        temperature: Track::constant(300.0),
        until: None,
        exact_friction: false,
    }
}
