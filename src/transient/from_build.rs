//! A build and a schedule made into a network.

use super::behind::{Behind, Wanted};
use super::course;
use super::intake;
use super::network::{Back, Belief, Fluid, Limit, Net, Place};
use super::options::Options;
use super::record::Watch;
use crate::build::{Build, Leg};
use crate::error::{Error, Kind, Result};
use crate::quantity::{AbsolutePressure, kelvin};
use crate::schedule::{Schedule, Start, Track, Until};
use crate::steady::Point;
use std::f64::consts::PI;
use std::ops::ControlFlow;

mod along; // operating points along a schedule
mod begin; // where a run begins
mod chain; // parts in series between two places
mod parts; // pumps, regulators and injectors
mod places; // ends, junctions and rails
#[cfg(test)]
mod tests;
pub(super) use along::{samples, track};

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

pub(super) fn made(build: &Build, schedule: &Schedule, o: &Options) -> Result<Made> {
    made_watched(build, schedule, o, &mut |_| ControlFlow::Continue(()))
}

/// The same, asking now and then whether to go on.
pub(super) fn made_watched(
    build: &Build,
    schedule: &Schedule,
    o: &Options,
    watch: Watch<'_>,
) -> Result<Made> {
    along::check(schedule, o)?;
    let felt = course::felt(build, schedule, o, watch)?;
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
    if maker.o.behind != Behind::Manifold && !maker.net.injectors.is_empty() {
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
}
