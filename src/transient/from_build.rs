//! A build and a schedule made into a network.

use super::behind::Wanted;
use super::intake;
use super::network::{
    Back, Belief, Branch, Check, Difference, End, Fluid, Hose, InjectorUnit, Limit, Net, Node, Place,
    PumpCurve, PumpLaw, PumpUnit, RegulatorUnit, Tap, WaveLine,
};
use super::options::Options;
use crate::build::{
    Build, Leg, Wire, check_valve_law, coil_law, effective_area, filter_law, injector_law, line_law,
    regulator_law,
};
use crate::error::{Error, Kind, Result};
use crate::part::injector::Injector;
use crate::part::pump::Curve;
use crate::quantity::{AbsolutePressure, GaugePressure, kelvin, rpm, volts};
use crate::schedule::{Schedule, Start, Track, Until};
use crate::spec::Values;
use crate::steady::{Operating, Point, point};
use std::f64::consts::PI;

/// A network with the names of its places, and what the engine truly asks for.
pub(super) struct Made {
    pub net: Net,
    /// Name and node of each free junction.
    pub junctions: Vec<(String, usize)>,
    pub rail: Option<usize>,
    /// Nodes of each rail in lumps, from the feed on; a rail of one volume has none.
    rows: Vec<Vec<usize>>,
    /// Branch that meets each pump.
    pub pump_branches: Vec<usize>,
    /// Fuel mass truly wanted in a pulse over time, kg.
    pub wanted: Track,
    pub first: Point,
    /// Which branches and inner nodes each leg became, to begin from.
    chains: Vec<Chain>,
}

struct Chain {
    leg: usize,
    branches: Vec<usize>,
    inner: Vec<usize>,
    from: Place,
    to: Place,
}

/// Fewest samples of a changing stretch.
const PIECES: u32 = 24;

pub(super) fn made(build: &Build, schedule: &Schedule, o: &Options) -> Result<Made> {
    check(schedule, o)?;
    let felt = intake::felt(build, schedule)?;
    let asked = felt.as_ref().map(|_| schedule);
    let felt = felt.as_ref().unwrap_or(schedule);
    let samples = samples(build, felt, asked)?;
    let first = samples[0].1.clone();
    let mut net = bare(build, felt, &samples)?;
    net.intake = intake::intake(build, schedule, &samples)?;
    let mut maker = Maker { build, o, net, junctions: vec![], chains: vec![], pumps: vec![], rows: vec![] };
    for (k, leg) in build.legs().iter().enumerate() {
        maker.leg(k, leg, felt, &samples)?;
    }
    maker.leave_from_the_last();
    let rail = maker.net.injectors.first().map(|i| i.node);
    let rail = rail.or_else(|| {
        maker.net.regulators.iter().find_map(|r| match r.from {
            Place::Node(k) => Some(k),
            Place::End(_) => None,
        })
    });
    if let (Some(r), Some(until)) = (rail, schedule.until) {
        let ambient = maker.net.ambient;
        let limit = |level: f64, rising: bool| Limit {
            node: r,
            less_manifold: false,
            level: ambient + level,
            rising,
        };
        maker.net.until = Some(match until {
            Until::RailBelow(p) => limit(p, false),
            Until::RailAbove(p) => limit(p, true),
            Until::DifferenceBelow(d) => Limit { node: r, less_manifold: true, level: d, rising: false },
        });
    }
    if maker.o.behind != super::behind::Behind::Manifold && !maker.net.injectors.is_empty() {
        let engine = build.section("engine");
        let cylinders = engine.si("cylinders").round().max(1.0) as usize;
        let warm = if schedule.start == Start::Running { o.warm_up } else { 0.0 };
        let traces = o.behind.traces(&Wanted {
            displacement: engine.si("displacement"),
            cylinders,
            rpm: &maker.net.rpm,
            manifold: &maker.net.manifold,
            ambient: maker.net.ambient,
            charge_temperature: first.demand.map_or(293.15, |d| d.charge_temperature),
            from: -warm,
            to: schedule.seconds,
        })?;
        if let Some(traces) = traces {
            for i in &mut maker.net.injectors {
                let phase = (i.begins - o.injection_begins).rem_euclid(4.0 * PI) / (4.0 * PI);
                let cylinder = (phase * cylinders as f64 + 1e-9).floor() as usize % cylinders;
                i.back = Back::Trace(traces[cylinder].clone());
            }
        }
    }
    let pulses = maker.net.injectors.len().max(1) as f64;
    let wanted = track(&samples, |p| p.demand.map_or(0.0, |d| d.fuel * d.cycle / pulses))?;
    let pump_branches = (0..maker.net.pumps.len())
        .map(|k| maker.net.branches.iter().position(|b| b.pump == Some(k)).unwrap_or(0))
        .collect();
    Ok(Made {
        junctions: maker.junctions,
        rows: maker.rows,
        rail,
        pump_branches,
        wanted,
        first,
        chains: maker.chains,
        net: maker.net,
    })
}

fn check(s: &Schedule, o: &Options) -> Result<()> {
    let bad = |key: &str, v: f64, next: &str| {
        Err(Error::new(Kind::Value, format!("{key} is {v}")).next(next.to_owned()).at_key(key))
    };
    if !(s.seconds > 0.0 && s.seconds.is_finite()) {
        return bad("schedule.seconds", s.seconds, "give a run a length above zero");
    }
    for (key, v) in [
        ("tolerance", o.tolerance),
        ("sample", o.sample),
        ("lump", o.lump),
        ("reach", o.reach),
        ("rail_volume", o.rail_volume),
        ("junction_volume", o.junction_volume),
        ("return_chamber", o.return_chamber),
    ] {
        if !(v > 0.0 && v.is_finite()) {
            return bad(&format!("options.{key}"), v, "give a value above zero");
        }
    }
    for (key, v) in [
        ("damper", o.damper),
        ("wall_loss", o.wall_loss),
        ("closing_delay", o.closing_delay),
        ("warm_up", o.warm_up),
    ] {
        if !(v >= 0.0 && v.is_finite()) {
            return bad(&format!("options.{key}"), v, "give zero or more");
        }
    }
    if !o.injection_begins.is_finite() {
        return bad("options.injection_begins", o.injection_begins, "give an angle");
    }
    let limit = super::engine_gas::RPM_LIMIT;
    match s.rpm.values().iter().find(|v| !(0.0..=limit).contains(*v)) {
        Some(v) => bad("schedule.rpm", *v, &format!("give 0 to {limit} rev/min")),
        None => Ok(()),
    }
}

/// The operating point at one instant of a schedule, just before or at it.
fn operating(s: &Schedule, t: f64, before: bool) -> Operating {
    let at = |track: &Track| if before { track.before(t) } else { track.at(t) };
    let mut op = Operating::at(rpm(at(&s.rpm)), GaugePressure::from_pascals(at(&s.boost)));
    if let Some(v) = &s.supply {
        op = op.with_supply(volts(at(v)));
    }
    if let Some(r) = &s.reference {
        op = op.with_air_on_the_reference(crate::quantity::pa(at(r)));
    }
    if let Some(f) = &s.fuel_temperature {
        op = op.with_fuel_at(kelvin(f.at(0.0)));
    }
    op
}

/// Operating points along the schedule, close enough for straight lines between them. Where its boost is a course that was
/// found from what is `asked` for, that has points enough of its own.
pub(super) fn samples(build: &Build, s: &Schedule, asked: Option<&Schedule>) -> Result<Vec<(f64, Point)>> {
    let corners = s.corners();
    let whole = asked.map(Schedule::corners);
    let mut out: Vec<(f64, Point)> = Vec::new();
    for pair in corners.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let optional = [&s.supply, &s.reference];
        let boost = asked.is_none().then_some(&s.boost);
        let tracks = [&s.rpm].into_iter().chain(boost).chain(optional.into_iter().flatten());
        let moves = tracks.into_iter().any(|t| t.at(a) != t.before(b));
        let around = whole.iter().flat_map(|w| w.windows(2)).find(|w| w[0] <= a && b <= w[1]);
        let part = around.map_or(1.0, |w| (b - a) / (w[1] - w[0]));
        let pieces = if moves { (f64::from(PIECES) * part).ceil() as u32 } else { 1 };
        for k in 0..=pieces {
            let t = if k == pieces { b } else { a + (b - a) * f64::from(k) / f64::from(pieces) };
            let op = operating(s, t, k == pieces);
            // A course of its own does not jump: where nothing else does, one point stands for both sides.
            if k == 0 && asked.is_some() && a > 0.0 && op == operating(s, t, true) {
                continue;
            }
            out.push((t, point(build, &op)?));
        }
    }
    Ok(out)
}

/// A track of one number of the samples.
pub(super) fn track(samples: &[(f64, Point)], of: impl Fn(&Point) -> f64) -> Result<Track> {
    let points: Vec<(f64, f64)> = samples.iter().map(|(t, p)| (*t, of(p))).collect();
    let constant = points.iter().all(|p| p.1 == points[0].1);
    if constant {
        return Ok(Track::constant(points[0].1));
    }
    Track::new(&points).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule"))
}

/// The network before its legs.
pub(super) fn bare(build: &Build, s: &Schedule, samples: &[(f64, Point)]) -> Result<Net> {
    let first = &samples[0].1;
    let blend = build.fuel()?;
    let start = s.fuel_temperature.as_ref().map(|f| f.at(0.0));
    let t = start.unwrap_or_else(|| build.section("fuel").si("temperature"));
    let state = blend
        .at(kelvin(t), AbsolutePressure::from_pascals(first.ambient + 3e5))
        .map_err(|e| Error::new(Kind::Range, e.to_string()).at_key("fuel.temperature"))?;
    Ok(Net {
        fluid: Fluid {
            rho: first.density,
            mu: first.viscosity,
            vapour: first.vapour_pressure,
            expansion: state.expansivity,
        },
        ambient: first.ambient,
        nodes: vec![],
        ends: vec![],
        branches: vec![],
        waves: vec![],
        pumps: vec![],
        regulators: vec![],
        injectors: vec![],
        rpm: s.rpm.clone(),
        manifold: s.boost.map(|p| p + first.ambient),
        intake: None,
        supply: track(samples, |p| p.supply)?,
        belief: Belief::Off,
        until: None,
        temperature: s.fuel_temperature.clone().unwrap_or_else(|| Track::constant(t)),
        exact_friction: false,
    })
}

/// What of a leg waits for the next piece of line.
#[derive(Default)]
struct Waiting {
    linear: f64,
    square: f64,
    rise: f64,
    check: Option<Check>,
    pump: Option<usize>,
}

impl Waiting {
    /// Whether what waits keeps the fuel on its two sides apart.
    fn cuts(&self) -> bool {
        self.pump.is_some() || self.check.is_some()
    }

    fn give(&mut self, b: &mut Branch) {
        b.linear += self.linear;
        b.square += self.square;
        b.rise += self.rise;
        if let Some(c) = self.check.take() {
            let has = b.check.unwrap_or(Check { cracking: 0.0, shut: c.shut });
            b.check = Some(Check { cracking: has.cracking + c.cracking, shut: has.shut.max(c.shut) });
        }
        b.pump = b.pump.or(self.pump.take());
        *self = Self::default();
    }
}

/// A piece of line.
struct Lump {
    branch: Branch,
    /// Volume and compliance of half of it.
    half: (f64, f64),
    /// Loss tangent of its wall.
    wall_loss: f64,
    /// What lies between it and the next lump when the line is carried with waves; its places are still open.
    wave: Option<WaveLine>,
    /// Whether a pump or check valve cuts it off from where it begins, or ends.
    starts_cut: bool,
    ends_cut: bool,
}

/// What a port feels beside the manifold, gauge, as the boost goes: one law with boost and one without.
fn beside(boost: &Track, of: impl Fn(f64, bool) -> f64) -> Result<Track> {
    let (t, v) = (boost.times(), boost.values());
    if v.len() == 1 {
        return Ok(Track::constant(of(v[0], v[0] > 0.0)));
    }
    let mut points = Vec::new();
    for k in 1..t.len() {
        let (a, b) = ((t[k - 1], v[k - 1]), (t[k], v[k]));
        let mut ends = vec![a, b];
        if a.1 * b.1 < 0.0 {
            ends.insert(1, (a.0 + (b.0 - a.0) * a.1 / (a.1 - b.1), 0.0));
        }
        for w in ends.windows(2) {
            let boosted = w[0].1.max(w[1].1) > 0.0;
            points.extend(w.iter().map(|(t, p)| (*t, of(*p, boosted))));
        }
    }
    points.dedup();
    Track::new(&points).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule.boost"))
}

struct Maker<'a> {
    build: &'a Build,
    o: &'a Options,
    net: Net,
    junctions: Vec<(String, usize)>,
    chains: Vec<Chain>,
    pumps: Vec<String>,
    /// Nodes of each rail in lumps.
    rows: Vec<Vec<usize>>,
}

impl Maker<'_> {
    fn place(&mut self, name: &str) -> Place {
        let given = match self.build.part(name).map(|p| (p.kind, &p.values)) {
            Some(("tank" | "surge pot", v)) => Some((v.si("vent_pressure"), Some(v.si("volume")))),
            _ if name == "tank" || name == "air" => Some((0.0, None)),
            _ => None,
        };
        if let Some((vent, fuel)) = given {
            if let Some(k) = self.net.ends.iter().position(|e| e.name == name) {
                return Place::End(k);
            }
            let pressure = Track::constant(self.net.ambient + vent);
            self.net.ends.push(End { name: name.to_owned(), pressure, fuel });
            return Place::End(self.net.ends.len() - 1);
        }
        if let Some((_, k)) = self.junctions.iter().find(|(n, _)| n == name) {
            return Place::Node(*k);
        }
        // A leg with more in it than injectors has its rail behind that; of several sets the one in lumps has the rail.
        let fed = self.build.legs().iter().filter(|l| l.from == name && l.parts.len() == 1);
        let sets = fed.filter_map(|l| self.fed_by(l));
        let (volume, extra) = match sets.min_by_key(|set| set.opt("rail_length").is_none()) {
            Some(injectors) => self.rail(injectors),
            None => (self.o.junction_volume, 0.0),
        };
        let k = self.node(name.to_owned(), volume, extra, 0.0, false);
        self.junctions.push((name.to_owned(), k));
        Place::Node(k)
    }

    /// The injectors that a leg ends in.
    fn fed_by(&self, l: &Leg) -> Option<&Values> {
        let last = l.parts.last().and_then(|p| self.build.part(p))?;
        (last.kind == "injectors").then_some(&last.values)
    }

    /// How many injectors a set has.
    fn count(&self, injectors: &Values) -> usize {
        let count = injectors.opt("count").unwrap_or_else(|| self.build.section("engine").si("cylinders"));
        count.round().max(1.0) as usize
    }

    /// The node of each injector: one for all, or with a `rail_length` a row of lumps, the first of which is there already.
    /// Its bore is that of its volume over its length.
    fn rail_row(&mut self, set: &str, first: usize, injectors: &Values, count: usize) -> Result<Vec<usize>> {
        let Some(length) = injectors.opt("rail_length").filter(|_| count > 1) else {
            return Ok(vec![first; count]);
        };
        if self.rows.iter().any(|row| row[0] == first) {
            let what =
                format!("{} has a length already, by another set of injectors", self.net.nodes[first].name);
            return Err(Error::new(Kind::Layout, what)
                .next("state rail_length for one of the sets, or give each a rail of its own")
                .at_key(format!("{set}.rail_length")));
        }
        let (volume, _) = self.rail(injectors);
        let bore = (4.0 * volume * count as f64 / (PI * length)).sqrt();
        let each = length / (count as f64 - 1.0);
        let name = self.net.nodes[first].name.clone();
        let mut row = vec![first];
        for k in 1..count {
            let name = format!("{name} {}", k + 1);
            let node = self.node(name.clone(), volume, 0.0, 0.0, false);
            let ends = (Place::Node(row[k - 1]), Place::Node(node));
            let passage = Branch::bare(format!("{name} passage"), ends, (each, bore));
            self.net.branches.push(Branch { rough_length: each, ..passage });
            self.junctions.push((name, node));
            row.push(node);
        }
        self.rows.push(row.clone());
        Ok(row)
    }

    /// Fuel enters a rail in lumps at the first; what leaves it but for injectors leaves from the last.
    fn leave_from_the_last(&mut self) {
        for row in &self.rows {
            let at = |k: usize| Place::Node(row[k]);
            let (first, second, last) = (at(0), at(1), at(row.len() - 1));
            for b in self.net.branches.iter_mut().filter(|b| b.from == first && b.to != second) {
                b.from = last;
            }
            self.net.regulators.iter_mut().filter(|r| r.from == first).for_each(|r| r.from = last);
        }
    }

    /// Volume of the rail (or of a lump of it) before a set of injectors, m³, and compliance of its damper, m³/Pa.
    fn rail(&self, injectors: &Values) -> (f64, f64) {
        let per_bar = injectors.opt("damper");
        let lumps = injectors.opt("rail_length").map_or(1.0, |_| self.count(injectors) as f64);
        (
            injectors.opt("rail_volume").unwrap_or(self.o.rail_volume) / lumps,
            per_bar.map_or(self.o.damper, |volume| volume / 1e5),
        )
    }

    /// A rigid node; a damped wall only for those inside a hose.
    fn node(&mut self, name: String, volume: f64, extra: f64, wall: f64, may_boil: bool) -> usize {
        let capacitance = volume / self.bulk() + extra;
        self.net.nodes.push(Node { name, volume, capacitance, wall, may_boil });
        self.net.nodes.len() - 1
    }

    /// Isentropic bulk modulus of the fuel at the line's pressure.
    fn bulk(&self) -> f64 {
        self.build
            .fuel()
            .ok()
            .and_then(|b| {
                let t = self.net.temperature.at(0.0);
                b.at(kelvin(t), AbsolutePressure::from_pascals(self.net.ambient + 3e5)).ok()
            })
            .map_or(1e9, |s| s.bulk_isentropic)
    }

    fn leg(&mut self, k: usize, leg: &Leg, s: &Schedule, samples: &[(f64, Point)]) -> Result<()> {
        let kind = |name: &str| self.build.part(name).map_or("", |p| p.kind);
        if leg.parts.last().is_some_and(|p| kind(p) == "injectors") {
            let from = self.place(&leg.from);
            let passive = &leg.parts[..leg.parts.len() - 1];
            let at = if passive.is_empty() {
                from
            } else {
                let (volume, damper) = self.fed_by(leg).map_or((self.o.rail_volume, 0.0), |i| self.rail(i));
                let inner = self.node(format!("{} end", leg.name), volume, damper, 0.0, false);
                self.chain(k, leg, passive, from, Place::Node(inner), false, samples)?;
                Place::Node(inner)
            };
            let Place::Node(node) = at else {
                return Err(Error::new(
                    Kind::Layout,
                    "injectors are fed straight from a place of given pressure",
                )
                .next("put a line or a rail before them")
                .at_key(&leg.name));
            };
            return self.injectors(&leg.parts[leg.parts.len() - 1], node, samples);
        }
        let (from, to) = (self.place(&leg.from), self.place(&leg.to));
        let Some(at) = leg.parts.iter().position(|p| kind(p) == "regulator") else {
            return self.chain(k, leg, &leg.parts, from, to, false, samples);
        };
        let (before, after) = (&leg.parts[..at], &leg.parts[at + 1..]);
        let mut inlet = from;
        if !before.is_empty() {
            let volume = self.o.junction_volume;
            inlet = Place::Node(self.node(format!("{} inlet", leg.parts[at]), volume, 0.0, 0.0, false));
            self.chain(k, leg, before, from, inlet, false, samples)?;
        }
        let mut outlet = to;
        if !after.is_empty() {
            let own = self.build.part(&leg.parts[at]).and_then(|r| r.values.opt("return_chamber"));
            let volume = own.unwrap_or(self.o.return_chamber);
            outlet = Place::Node(self.node(format!("{} return", leg.parts[at]), volume, 0.0, 0.0, true));
            self.chain(k, leg, after, outlet, to, true, samples)?;
        }
        self.regulator(&leg.parts[at], inlet, outlet, s)
    }

    /// Passive parts and pumps in series between two places.
    #[allow(clippy::too_many_arguments)]
    fn chain(
        &mut self,
        k: usize,
        leg: &Leg,
        parts: &[String],
        from: Place,
        to: Place,
        may_boil: bool,
        samples: &[(f64, Point)],
    ) -> Result<()> {
        let mut waiting = Waiting::default();
        let mut lumps: Vec<Lump> = Vec::new();
        let plain = |name: String, length: f64, bore: f64| Branch::bare(name, (from, to), (length, bore));
        // What stands between lines joins the next lump, or at the end the last one.
        for name in parts {
            let part = self.build.part(name).expect("the reader has checked the names");
            let v = &part.values;
            if part.kind != "line" {
                self.series(name, part.kind, v, &mut waiting, samples)?;
                continue;
            }
            let line = line_law(v);
            if line.length <= 0.0 {
                waiting.square += 0.5 * self.net.fluid.rho * line.k_sum / line.area().powi(2);
                waiting.rise += line.rise;
                continue;
            }
            let waves = v.word("model") == "waves";
            // With waves the first and last reach are lumps: they carry what stands beside the line.
            let (count, each) = if waves {
                (2.0, self.reach(name, v, line.length)?)
            } else {
                let count = (line.length / self.o.lump).ceil().max(1.0);
                (count, line.length / count)
            };
            let bulk = 1.0 / (1.0 / self.bulk() + 1.0 / v.si("wall_bulk"));
            let half = 0.5 * line.area() * each;
            let wall_loss = v.opt("wall_loss").unwrap_or(self.o.wall_loss);
            for n in 0..count as usize {
                let mut b = plain(format!("{name} {}", n + 1), each, line.bore);
                b.rough_length = each;
                b.roughness = line.roughness;
                b.k_sum = line.k_sum / count;
                b.rise = line.rise / count;
                let starts_cut = waiting.cuts();
                waiting.give(&mut b);
                lumps.push(Lump {
                    branch: b,
                    half: (half, half / bulk),
                    wall_loss,
                    wave: (waves && n == 0).then(|| {
                        let length = line.length - 2.0 * each;
                        WaveLine {
                            name: name.clone(),
                            from: 0,
                            to: 0,
                            fed_by: 0,
                            length,
                            bore: line.bore,
                            roughness: line.roughness,
                            wave_speed: (bulk / self.net.fluid.rho).sqrt(),
                            reaches: (length / each).round() as usize,
                        }
                    }),
                    starts_cut,
                    ends_cut: false,
                });
            }
        }
        if lumps.is_empty() {
            // No line at all: a short passage lends its inertance and nothing else (50 mm of 8 mm, assumed).
            let branch = plain(leg.name.clone(), 0.05, 8e-3);
            let half = (0.0, 0.0);
            lumps.push(Lump { branch, half, wall_loss: 0.0, wave: None, starts_cut: false, ends_cut: false });
        }
        if let Some(last) = lumps.last_mut() {
            last.ends_cut = waiting.cuts();
            waiting.give(&mut last.branch);
        }
        let mut inner = Vec::new();
        for n in 1..lumps.len() {
            if let Some(mut wave) = lumps[n - 1].wave.take() {
                for place in ["inlet", "outlet"] {
                    let name = format!("{} {place}", wave.name);
                    self.net.nodes.push(Node { name, volume: 0.0, capacitance: 0.0, wall: 0.0, may_boil });
                    inner.push(self.net.nodes.len() - 1);
                }
                wave.to = self.net.nodes.len() - 1;
                wave.from = wave.to - 1;
                wave.fed_by = self.net.branches.len() + n - 1;
                lumps[n - 1].branch.to = Place::Node(wave.from);
                lumps[n].branch.from = Place::Node(wave.to);
                self.net.waves.push(wave);
                continue;
            }
            let name = format!("{} end", lumps[n - 1].branch.name);
            let wall = 0.5 * (lumps[n - 1].wall_loss + lumps[n].wall_loss) / (2.0 * PI * 30.0);
            self.net.nodes.push(Node { name, volume: 0.0, capacitance: 0.0, wall, may_boil });
            let node = self.net.nodes.len() - 1;
            lumps[n - 1].branch.to = Place::Node(node);
            lumps[n].branch.from = Place::Node(node);
            inner.push(node);
        }
        // Each lump lends half of itself to either end. Behind a pump or a check valve the first half belongs to what
        // follows, before one the last half to what precedes.
        for lump in &lumps {
            let (from, to) = (lump.branch.from, lump.branch.to);
            let first = if lump.starts_cut { to } else { from };
            let last = if lump.ends_cut && !lump.starts_cut { from } else { to };
            for place in [first, last] {
                if let Place::Node(n) = place {
                    self.net.nodes[n].volume += lump.half.0;
                    self.net.nodes[n].capacitance += lump.half.1;
                }
            }
        }
        let first = self.net.branches.len();
        self.net.branches.extend(lumps.into_iter().map(|l| l.branch));
        let branches = (first..self.net.branches.len()).collect();
        self.chains.push(Chain { leg: k, branches, inner, from, to });
        Ok(())
    }

    /// Length of a reach of a line with waves, m.
    fn reach(&self, name: &str, v: &Values, length: f64) -> Result<f64> {
        if let Some(loss) = v.opt("wall_loss").filter(|loss| *loss > 0.0) {
            let what = format!("wall_loss is {loss}; a line with waves has a wall that loses nothing");
            return Err(Error::new(Kind::Layout, what)
                .next("leave wall_loss out, or take model = \"lumps\"")
                .at_key(format!("{name}.wall_loss")));
        }
        let count = (length / self.o.reach).ceil();
        if count < 4.0 {
            let what = format!(
                "a line of {length} m is too short for waves at reaches of {} m: it takes four",
                self.o.reach
            );
            return Err(Error::new(Kind::Layout, what)
                .next("take model = \"lumps\", or shorter reaches (options.reach)")
                .at_key(format!("{name}.model")));
        }
        Ok(length / count)
    }

    /// One part without a length of its own.
    fn series(
        &mut self,
        name: &str,
        kind: &str,
        v: &Values,
        w: &mut Waiting,
        samples: &[(f64, Point)],
    ) -> Result<()> {
        let (rho, mu) = (self.net.fluid.rho, self.net.fluid.mu);
        match kind {
            "strainer" | "filter" => {
                let f = filter_law(v);
                if kind == "strainer" {
                    w.rise -= v.si("head");
                }
                // The law's own loss at two flows gives both coefficients exactly: it is linear plus square.
                let (q1, q2) = (1e-5, 2e-5);
                let (d1, d2) = (f.drop(q1, rho, mu).0, f.drop(q2, rho, mu).0);
                let square = (d2 / q2 - d1 / q1) / (q2 - q1);
                w.square += square;
                w.linear += d1 / q1 - square * q1;
            }
            "check valve" => {
                let law = check_valve_law(v);
                w.square += 0.5 * rho / law.cd_a.powi(2);
                let has = w.check.map_or(0.0, |c| c.cracking);
                w.check = Some(Check { cracking: has + law.cracking, shut: v.si("leak") });
            }
            "orifice" => w.square += 0.5 * rho / effective_area(v).powi(2),
            "relief valve" => {
                w.linear += v.si("slope");
                w.check = Some(Check { cracking: v.si("opens_at"), shut: 1e16 });
            }
            "pump" => self.pump(name, v, w, samples)?,
            other => {
                return Err(Error::new(
                    Kind::Layout,
                    format!("a {other} in the middle of a leg has no form in time"),
                )
                .next("end the leg at it, or ask the steady point")
                .at_key(name));
            }
        }
        Ok(())
    }

    fn pump(&mut self, name: &str, v: &Values, w: &mut Waiting, samples: &[(f64, Point)]) -> Result<()> {
        let p = self.build.pump(name)?;
        let mu = self.net.fluid.mu;
        let curve = match p.curve {
            Curve::Displacement { g, k, c } => {
                PumpCurve::Displacement { g, k: k * p.rated_viscosity / mu + p.wear_slip, c }
            }
            Curve::Regenerative { a, b, t, u } => {
                PumpCurve::Regenerative { a: a * (1.0 - p.wear_head), b, t, u }
            }
        };
        let wire = Wire::from_values(v)?.total();
        // A staged pump has an open relay below its boost; one held back to the rail's target is taken as ideally held.
        let controlled = v.word("speed_control") == "rail";
        let supply = track(samples, |point| {
            point.pumps.iter().find(|x| x.name == name).map_or(0.0, |x| match (x.on, controlled) {
                (false, _) => 0.0,
                (true, true) => x.running.volts + x.running.current * wire,
                (true, false) => point.supply,
            })
        })?;
        self.net.pumps.push(PumpUnit {
            name: name.to_owned(),
            law: PumpLaw {
                curve,
                idle_current: p.idle_current,
                relief: p.relief,
                relief_slope: p.relief_slope,
                required_margin: p.required_margin,
            },
            resistance: wire + p.armature,
            motor_constant: p.motor_constant,
            inertia: v.si("rotor_inertia"),
            supply,
            before: (w.linear, w.square, self.net.fluid.rho * crate::part::line::STANDARD_GRAVITY * w.rise),
        });
        self.pumps.push(name.to_owned());
        w.pump = Some(self.net.pumps.len() - 1);
        Ok(())
    }

    fn regulator(&mut self, name: &str, from: Place, to: Place, s: &Schedule) -> Result<()> {
        let v = &self.build.part(name).expect("the reader has checked the names").values;
        let r = regulator_law(v, self.net.fluid.rho).map_err(|e| e.at_key(format!("{name}.seat")))?;
        let (damping, mass) = self.o.poppet.unwrap_or((v.si("damping"), v.si("moving_mass")));
        let joined = match v.word("reference") {
            "manifold" => s.boost.clone(),
            "charge pipe" => beside(&s.boost, |p, boosted| if boosted { p } else { 0.0 })?,
            "intake" => {
                let loss = self.build.section("engine").si("intake_loss");
                beside(&s.boost, |_, boosted| if boosted { -loss } else { 0.0 })?
            }
            _ => Track::constant(0.0),
        };
        let (ambient, heard) = (self.net.ambient, 1.0 - v.si("reference_leak"));
        // What a schedule puts on the port stands whatever the hose does, as at the steady point.
        let felt = s.reference.clone().unwrap_or_else(|| joined.map(|p| p * heard));
        let mut reference = felt.map(|p| ambient + p);
        if let (Some(intake), None) = (&mut self.net.intake, &s.reference) {
            let at = match v.word("reference") {
                "manifold" => Some(Tap::Manifold),
                "charge pipe" => Some(Tap::ChargePipe),
                _ => None,
            };
            if let Some(at) = at {
                let regulator = self.net.regulators.len();
                intake.hoses.push(Hose { regulator, at, passes: heard });
                // It goes by the intake's state: where it begins is all that is imposed.
                reference = Track::constant(reference.at(0.0));
            }
        }
        self.net.regulators.push(RegulatorUnit {
            name: name.to_owned(),
            from,
            to,
            area: r.area,
            seat: r.seat,
            rate: r.rate,
            preload: r.preload,
            max_lift: r.max_lift,
            cd: r.cd,
            flow_force: r.flow_force,
            friction: if self.o.dry_friction { r.friction } else { 0.0 },
            mass,
            damping,
            reference,
            lag: v.si("reference_lag"),
        });
        Ok(())
    }

    fn injectors(&mut self, name: &str, node: usize, samples: &[(f64, Point)]) -> Result<()> {
        let v = &self.build.part(name).expect("the reader has checked the names").values;
        for (owner, values) in [(name, v), ("control", self.build.section("control"))] {
            if values.rows("low_pulse_rows").is_some() {
                return Err(Error::new(
                    Kind::Layout,
                    "in time, short pulses follow short_pulse, not a bench's table",
                )
                .next("leave low_pulse_rows out for a run in time")
                .at_key(format!("{owner}.low_pulse_rows")));
            }
        }
        let truth: Injector = injector_law(v).map_err(|e| e.at_key(name))?;
        let count = self.count(v);
        let row = self.rail_row(name, node, v, count)?;
        let n = count as f64;
        let weak = 1.0 - v.si("cylinder_spread");
        let coil = coil_law(v);
        let leak = v.si("static_leak") * (self.net.fluid.rho / (2.0 * v.si("difference"))).sqrt() / n;
        for (k, node) in row.into_iter().enumerate() {
            // The last one is the weakest; the others make up for it, so the set keeps its mean.
            let share = match (k + 1 == count, count) {
                (_, 1) => 1.0,
                (true, _) => weak,
                (false, _) => (n - weak) / (n - 1.0),
            };
            self.net.injectors.push(InjectorUnit {
                name: if count == 1 { name.to_owned() } else { format!("{name} {}", k + 1) },
                node,
                cd_a: truth.cd_a() * share,
                leak_cd_a: leak,
                dead_time: truth.dead_time.clone(),
                closing_delay: v.opt("closing_delay").unwrap_or(self.o.closing_delay),
                short_pulse: v.si("short_pulse"),
                coil,
                begins: (4.0 * PI * k as f64 / n + self.o.injection_begins).rem_euclid(4.0 * PI),
                back: Back::Manifold,
            });
        }
        self.belief(v, samples)
    }

    /// What the control unit believes, as the steady circuit has it.
    fn belief(&mut self, v: &Values, samples: &[(f64, Point)]) -> Result<()> {
        let c = self.build.section("control");
        if samples.iter().all(|(_, p)| p.belief.is_none()) {
            return Ok(());
        }
        let mass = track(samples, |p| p.belief.map_or(0.0, |b| b.mass))?;
        let flow = c.opt("injector_flow").unwrap_or_else(|| v.si("static_flow"));
        let at = c.opt("injector_difference").unwrap_or_else(|| v.si("difference"));
        let blend = self.build.fuel()?;
        let rho = c.opt("fuel_density").unwrap_or_else(|| blend.density_at_15().value);
        let first = samples.iter().find_map(|(_, p)| p.belief.map(|b| (b, p.manifold - p.ambient)));
        let difference = match c.word("compensation") {
            "rail sensor" => Difference::Measured,
            "base less manifold" => {
                Difference::BaseLessManifold(first.map_or(0.0, |(b, boost)| b.difference + boost))
            }
            _ => Difference::Constant(first.map_or(0.0, |(b, _)| b.difference)),
        };
        self.net.belief = Belief::Mass {
            mass,
            coefficient: flow * (v.si("test_density") / at).sqrt() * rho.sqrt(),
            difference,
            dead_time_error: c.si("dead_time_error"),
        };
        Ok(())
    }
}

impl Made {
    /// Pumps without power where the schedule opens their relays.
    pub fn power(&mut self, s: &Schedule) -> Result<()> {
        if s.power.is_constant() && s.power.at(0.0) > 0.5 {
            return Ok(());
        }
        for p in &mut self.net.pumps {
            let mut times: Vec<f64> = p.supply.times().iter().chain(s.power.times()).copied().collect();
            times.sort_by(f64::total_cmp);
            times.dedup();
            let mut points = Vec::new();
            for t in times {
                points.push((t, p.supply.before(t) * f64::from(s.power.before(t) > 0.5)));
                points.push((t, p.supply.at(t) * f64::from(s.power.at(t) > 0.5)));
            }
            p.supply = Track::new(&points)
                .map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule.power"))?;
        }
        Ok(())
    }

    /// Pressures, flows, speeds and lifts of the first operating point, into a state at rest.
    pub fn begin<const N: usize>(
        &self,
        s: &Schedule,
        system: &super::network::NetSystem<N>,
        y: &mut [f64; N],
    ) {
        if s.start == Start::Rest {
            return;
        }
        let p = &self.first;
        for (name, node) in &self.junctions {
            if let Some(v) = p.junctions.get(name) {
                y[system.node(*node)] = *v;
            }
        }
        // A rail behind parts of its own leg is no junction of the steady circuit: it begins where the leg does.
        for c in &self.chains {
            if let (Place::Node(from), Place::Node(to)) = (c.from, c.to)
                && self.net.injectors.iter().any(|i| i.node == to)
                && self.junctions.iter().all(|(_, n)| *n != to)
            {
                y[system.node(to)] = y[system.node(from)];
            }
        }
        for row in &self.rows {
            row.iter().for_each(|node| y[system.node(*node)] = y[system.node(row[0])]);
        }
        for (k, r) in self.net.regulators.iter().enumerate() {
            let Some(state) = p.regulators.iter().find(|x| x.name == r.name) else { continue };
            y[system.poppet_at(k)] = state.lift;
            for (place, v) in [(r.from, state.fuel), (r.to, state.back)] {
                if let Place::Node(n) = place {
                    y[system.node(n)] = v;
                }
            }
        }
        for c in &self.chains {
            let pressure = |place: Place, y: &[f64; N]| match place {
                Place::Node(n) => y[system.node(n)],
                Place::End(e) => self.net.ends[e].pressure.at(0.0),
            };
            let (a, b) = (pressure(c.from, y), pressure(c.to, y));
            let pumped = c.branches.first().is_some_and(|b| self.net.branches[*b].pump.is_some());
            let steps = c.inner.len() as f64 + 1.0;
            for (k, n) in c.inner.iter().enumerate() {
                // Behind a pump the line already stands near the pressure of its end.
                let part = if pumped { 1.0 } else { (k as f64 + 1.0) / steps };
                y[system.node(*n)] = a + (b - a) * part;
            }
            for branch in &c.branches {
                y[system.branch(*branch)] = p.legs[c.leg].flow;
            }
        }
        for (k, unit) in self.net.pumps.iter().enumerate() {
            if let Some(state) = p.pumps.iter().find(|x| x.name == unit.name && x.on) {
                y[system.pump(k)] = (state.running.speed * unit.motor_constant).max(0.0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{bar, s};

    const CAR: &str = include_str!("../../datasets/hill-climb-car/before-0.7-bar.toml");

    /// What the nodes hold for each pascal that answer to a name, m³/Pa.
    fn compliance(net: &Net, wanted: impl Fn(&str) -> bool) -> f64 {
        net.nodes.iter().filter(|n| wanted(&n.name)).map(|n| n.capacitance).sum()
    }

    // Closed form: all of the line behind the valve, `V (1/B + 1/B_w)`, with the rail and its damper.
    #[test]
    fn a_check_valve_between_two_hoses_parts_their_fuel() {
        let second = "[part.\"second hose\"]\nkind = \"line\"\nlength = \"2 m\"\nbore = \"8 mm\"\n\n[part.\"fine filter\"]";
        let orders = [
            r#""main pump", "feed hose", "check valve", "second hose", "fine filter""#,
            r#""main pump", "second hose", "feed hose", "check valve", "fine filter""#,
        ];
        for (order, behind) in orders.into_iter().zip([true, false]) {
            let text = CAR
                .replace("[part.\"fine filter\"]", second)
                .replace(r#""main pump", "check valve", "feed hose", "fine filter""#, order);
            let build = Build::from_toml(&text).expect("reads");
            let o = Options::default();
            let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
            let net = made(&build, &held, &o).expect("valid").net;
            let p = AbsolutePressure::from_pascals(net.ambient + 3e5);
            let fuel = build.fuel().expect("a fuel");
            let bulk = fuel.at(kelvin(308.15), p).expect("in range").bulk_isentropic;
            let hose = &build.part("second hose").expect("there").values;
            let volume = PI / 4.0 * 8e-3f64.powi(2) * 2.0;
            let line = volume * (1.0 / bulk + 1.0 / hose.si("wall_bulk"));
            let expected = o.rail_volume / bulk + o.damper + if behind { line } else { 0.0 };
            let after = |name: &str| name == "rail" || (behind && name.starts_with("second hose"));
            let found = compliance(&net, after);
            assert!((found / expected - 1.0).abs() < 1e-9, "{found:e} {expected:e}");
        }
    }

    #[test]
    fn what_a_build_says_of_its_volumes_and_walls_holds_before_the_options() {
        let keys = [
            ("injectors.rail_volume", "90 cm³"),
            ("injectors.damper", "0.5 cm³"),
            ("injectors.closing_delay", "0.4 ms"),
            ("regulator.return_chamber", "8 cm³"),
            ("return hose.wall_loss", "0.1"),
        ];
        let plain = Build::from_toml(CAR).expect("reads");
        let told = keys.iter().fold(plain.clone(), |b, (key, v)| b.with(key, v).expect("a known key"));
        let o = Options::default();
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
        let net = |b: &Build| made(b, &held, &o).expect("valid").net;
        let (plain, told) = (net(&plain), net(&told));
        let node = |net: &Net, name: &str| net.nodes.iter().find(|n| n.name == name).expect("there").clone();
        let grown = |name: &str| node(&told, name).volume - node(&plain, name).volume;
        assert!((grown("rail") - 3e-5).abs() < 1e-15 && (grown("regulator return") - 3e-6).abs() < 1e-15);
        // A chamber that grew by 3 cm³ tells the fuel's bulk modulus.
        let firm = |net: &Net| node(net, "regulator return").capacitance;
        let bulk = 3e-6 / (firm(&told) - firm(&plain));
        let softer = node(&told, "rail").capacitance - node(&plain, "rail").capacitance;
        assert!((softer - (5e-12 - o.damper) - 3e-5 / bulk).abs() < 1e-16, "{softer:e}");
        let wall = |net: &Net| node(net, "return hose 1 end").wall;
        assert!((wall(&told) / wall(&plain) - 0.1 / o.wall_loss).abs() < 1e-12);
        assert_eq!(
            (plain.injectors[0].closing_delay, told.injectors[0].closing_delay),
            (o.closing_delay, 4e-4)
        );
    }

    #[test]
    fn a_rail_of_stated_length_has_a_lump_for_each_injector() {
        let build = Build::from_toml(CAR).expect("reads").with("injectors.rail_length", "300 mm");
        let build = build.expect("a known key");
        let o = Options::default();
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
        let made = made(&build, &held, &o).expect("valid");
        let row = &made.rows[0];
        let rail: Vec<_> = row.iter().map(|n| &made.net.nodes[*n]).collect();
        assert_eq!(rail.len(), 4);
        let rigid: f64 = row[1..].iter().map(|n| made.net.nodes[*n].volume).sum();
        assert!((rigid - 0.75 * o.rail_volume).abs() < 1e-15, "{rigid:e}");
        let at: Vec<usize> = made.net.injectors.iter().map(|i| i.node).collect();
        assert_eq!(&at, row);
        let passages = made.net.branches.iter().filter(|b| b.name.ends_with("passage"));
        let (length, bore) = passages.fold((0.0, 0.0), |(l, _), b| (l + b.length, b.bore));
        assert!(
            (length - 0.3).abs() < 1e-12
                && (PI / 4.0 * bore * bore * 0.3 / o.rail_volume - 1.0).abs() < 1e-12
        );
        assert_eq!(made.net.regulators[0].from, Place::Node(row[3]));
    }

    #[test]
    fn each_set_of_injectors_has_its_own_row_and_a_junction_holds_but_one() {
        const TWIN: &str = include_str!("../../datasets/layouts/twin-rails-with-crossover.toml");
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
        let in_lumps = |text: &str| {
            let build = Build::from_toml(text).expect("reads").with("first injectors.rail_length", "250 mm");
            build.expect("known").with("second injectors.rail_length", "250 mm").expect("known")
        };
        let made_of = |text: &str| made(&in_lumps(text), &held, &Options::default());
        let twin = made_of(TWIN).expect("valid");
        let at: Vec<usize> = twin.net.injectors.iter().map(|i| i.node).collect();
        assert_eq!((twin.rows.len(), twin.rows.concat()), (2, at));
        // The crossover leaves the first rail, the return the second, each from its last lump.
        let crossover = twin.net.branches.iter().find(|b| b.name.starts_with("crossover")).expect("there");
        assert_eq!(crossover.from, Place::Node(twin.rows[0][1]));
        assert_eq!(twin.net.regulators[0].from, Place::Node(twin.rows[1][1]));
        let one = TWIN
            .replace("from = \"second rail\"\nto = \"manifold\"", "from = \"first rail\"\nto = \"manifold\"");
        assert_ne!(one, TWIN);
        let Err(e) = made_of(&one) else { panic!("a second row on one rail") };
        let e = e.to_string();
        assert!(e.contains("second injectors.rail_length") && e.contains("first rail"), "{e}");
    }

    // Closed form: a rail, and a junction before it.
    #[test]
    fn parts_before_the_injectors_move_the_rail_and_do_not_double_it() {
        let restricted =
            CAR.replace("parts = [\"injectors\"]", "parts = [\"restrictor\", \"injectors\"]").replace(
                "[part.\"fine filter\"]",
                "[part.\"restrictor\"]\nkind = \"orifice\"\nbore = \"4 mm\"\n\n[part.\"fine filter\"]",
            );
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
        let o = Options::default();
        let net = |text: &str| made(&Build::from_toml(text).expect("reads"), &held, &o).expect("valid").net;
        let (plain, parted) = (net(CAR), net(&restricted));
        let more = parted.volume() - plain.volume();
        assert!((more - o.junction_volume).abs() < 1e-15, "{more:e}");
        let softer = compliance(&parted, |_| true) - compliance(&plain, |_| true);
        let rail = parted.nodes.iter().find(|n| n.name == "injection end").expect("there");
        assert!((rail.volume - o.rail_volume).abs() < 1e-15, "{:e}", rail.volume);
        let firm = rail.volume / (rail.capacitance - o.damper);
        assert!((softer - o.junction_volume / firm).abs() < 1e-18, "{softer:e}");
    }

    #[test]
    fn a_line_with_waves_holds_as_much_as_one_in_lumps() {
        let held = Schedule::hold(rpm(3000.0), bar(0.2), s(1.0));
        let volume = |model: &str| {
            let build = Build::from_toml(CAR).expect("reads").with("feed hose.model", model).expect("known");
            made(&build, &held, &Options::default()).expect("valid").net.volume()
        };
        assert!((volume("waves") / volume("lumps") - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_port_off_the_manifold_changes_its_law_where_boost_begins() {
        let boost = Track::new(&[(0.0, -4e4), (1.0, 4e4), (2.0, 4e4)]).expect("in order");
        let charge = beside(&boost, |p, boosted| if boosted { p } else { 0.0 }).expect("valid");
        let intake = beside(&boost, |_, boosted| if boosted { -2e3 } else { 0.0 }).expect("valid");
        for (t, c, i) in [(0.2, 0.0, 0.0), (0.49, 0.0, 0.0), (0.75, 2e4, -2e3), (1.5, 4e4, -2e3)] {
            assert!((charge.at(t) - c).abs() < 1e-9 && (intake.at(t) - i).abs() < 1e-9, "{t}");
        }
    }
}
