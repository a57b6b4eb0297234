//! Where a run begins: at the operating point of its first instant.

use super::Made;
use crate::error::{Error, Kind, Result};
use crate::schedule::{Schedule, Start, Track};
use crate::transient::network::{NetSystem, Place};

impl Made {
    /// Pumps without power where the schedule opens their relays.
    pub(in crate::transient) fn power(&mut self, s: &Schedule) -> Result<()> {
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
    pub(in crate::transient) fn begin<const N: usize>(
        &self,
        s: &Schedule,
        system: &NetSystem<N>,
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
