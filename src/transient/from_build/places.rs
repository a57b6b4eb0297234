//! Places of a circuit: ends of given pressure, junctions, and rails of one volume or in lumps.

use super::Maker;
use crate::build::Leg;
use crate::error::{Error, Kind, Result};
use crate::quantity::{AbsolutePressure, kelvin};
use crate::schedule::Track;
use crate::spec::Values;
use crate::transient::network::{Branch, End, Node, Place};
use std::f64::consts::PI;

impl Maker<'_> {
    pub(super) fn place(&mut self, name: &str) -> Place {
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
    pub(super) fn fed_by(&self, l: &Leg) -> Option<&Values> {
        let last = l.parts.last().and_then(|p| self.build.part(p))?;
        (last.kind == "injectors").then_some(&last.values)
    }

    /// How many injectors a set has.
    pub(super) fn count(&self, injectors: &Values) -> usize {
        let count = injectors.opt("count").unwrap_or_else(|| self.build.section("engine").si("cylinders"));
        count.round().max(1.0) as usize
    }

    /// The node of each injector: one for all, or with a `rail_length` a row of lumps, the first of which is there already.
    /// Its bore is that of its volume over its length.
    pub(super) fn rail_row(
        &mut self,
        set: &str,
        first: usize,
        injectors: &Values,
        count: usize,
    ) -> Result<Vec<usize>> {
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
    pub(super) fn leave_from_the_last(&mut self) {
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
    pub(super) fn rail(&self, injectors: &Values) -> (f64, f64) {
        let per_bar = injectors.opt("damper");
        let lumps = injectors.opt("rail_length").map_or(1.0, |_| self.count(injectors) as f64);
        (
            injectors.opt("rail_volume").unwrap_or(self.o.rail_volume) / lumps,
            per_bar.map_or(self.o.damper, |volume| volume / 1e5),
        )
    }

    /// A rigid node; a damped wall only for those inside a hose.
    pub(super) fn node(&mut self, name: String, volume: f64, extra: f64, wall: f64, may_boil: bool) -> usize {
        let capacitance = volume / self.bulk() + extra;
        self.net.nodes.push(Node { name, volume, capacitance, wall, may_boil });
        self.net.nodes.len() - 1
    }

    /// Isentropic bulk modulus of the fuel at the line's pressure.
    pub(super) fn bulk(&self) -> f64 {
        self.build
            .fuel()
            .ok()
            .and_then(|b| {
                let t = self.net.temperature.at(0.0);
                b.at(kelvin(t), AbsolutePressure::from_pascals(self.net.ambient + 3e5)).ok()
            })
            .map_or(1e9, |s| s.bulk_isentropic)
    }
}
