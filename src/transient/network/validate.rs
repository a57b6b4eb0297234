//! What a network must be before it is stepped.

use super::{BadNet, Hose, Net, Place};
use crate::schedule::Track;

impl Net {
    /// Refuses what cannot be.
    ///
    /// # Errors
    /// Names the part and key.
    pub fn validate(&self) -> Result<(), BadNet> {
        let mut wanted: Vec<(String, f64, bool)> = Vec::new();
        let mut positive = |part: &str, key: &str, v: f64| wanted.push((format!("{part}.{key}"), v, v > 0.0));
        positive("fluid", "density", self.fluid.rho);
        positive("fluid", "viscosity", self.fluid.mu);
        positive("ambient", "pressure", self.ambient);
        for n in &self.nodes {
            positive(&n.name, "capacitance", n.capacitance);
            positive(&n.name, "volume", n.volume);
        }
        let acted_on = |k: usize| {
            let at = Place::Node(k);
            self.regulators.iter().any(|r| r.from == at || r.to == at)
                || self.injectors.iter().any(|i| i.node == k)
        };
        if let Some(k) = (0..self.nodes.len()).find(|k| self.nodes[*k].wall != 0.0 && acted_on(*k)) {
            let why =
                "has a damped wall where a regulator or injector acts: put the damping into the hose".into();
            return Err(BadNet { key: format!("{}.wall", self.nodes[k].name), why });
        }
        for b in &self.branches {
            positive(&b.name, "length", b.length);
            positive(&b.name, "bore", b.bore);
        }
        for w in &self.waves {
            positive(&w.name, "length", w.length);
            positive(&w.name, "bore", w.bore);
            positive(&w.name, "wave_speed", w.wave_speed);
            positive(&w.name, "reaches", w.reaches as f64);
            let known = w.from < self.nodes.len()
                && w.to < self.nodes.len()
                && w.fed_by < self.branches.len()
                && self.nodes[w.from].wall == 0.0
                && self.nodes[w.to].wall == 0.0;
            if !known {
                let why = "begins or ends at no node, or at one with a damped wall".into();
                return Err(BadNet { key: w.name.clone(), why });
            }
        }
        for p in &self.pumps {
            positive(&p.name, "rotor_inertia", p.inertia);
            positive(&p.name, "resistance", p.resistance);
            positive(&p.name, "motor_constant", p.motor_constant);
        }
        for r in &self.regulators {
            positive(&r.name, "moving_mass", r.mass);
            positive(&r.name, "diaphragm", r.area);
            positive(&r.name, "seat", r.seat);
            positive(&r.name, "max_lift", r.max_lift);
            positive(&r.name, "spring_rate", r.rate);
        }
        for i in &self.injectors {
            positive(&i.name, "static_flow", i.cd_a);
            if let Some(Err((key, v))) = i.coil.map(|c| c.validate()) {
                positive(&i.name, key, v);
            }
        }
        if let Some(i) = &self.intake {
            let lowest = |t: &Track| t.values().iter().copied().fold(f64::INFINITY, f64::min);
            positive("engine", "intake_volume", i.volume);
            positive("engine", "charge_temperature", lowest(&i.temperature));
            if let Some(plate) = &i.throttle {
                positive("engine", "throttle_area", plate.law.area);
                let out = plate.opening.values().iter().find(|x| !(0.0..=1.0).contains(*x));
                if let Some(x) = out {
                    let why = format!("holds {x}: an opening is 0 to 1");
                    return Err(BadNet { key: "schedule.throttle".into(), why });
                }
            }
            wanted.push(("engine.spool_time".into(), i.spool, i.spool >= 0.0));
            wanted.push(("engine.displacement".into(), lowest(&i.pull), lowest(&i.pull) >= 0.0));
            let target = self.ambient + lowest(&i.target);
            wanted.push(("schedule.boost".into(), target, target > 0.0));
            let known = |h: &&Hose| h.regulator < self.regulators.len() && (0.0..=1.0).contains(&h.passes);
            if let Some(h) = i.hoses.iter().find(|h| !known(h)) {
                let why = format!(
                    "passes {} to regulator {}: give 0 to 1, and one there is",
                    h.passes, h.regulator
                );
                return Err(BadNet { key: "reference_leak".into(), why });
            }
            let twice = |(k, h): (usize, &Hose)| i.hoses[..k].iter().any(|x| x.regulator == h.regulator);
            if let Some((_, h)) = i.hoses.iter().enumerate().find(|x| twice(*x)) {
                let key = format!("{}.reference", self.regulators[h.regulator].name);
                return Err(BadNet { key, why: "has two hoses to the intake: join one".into() });
            }
        }
        let not_negative = |part: &str, key: &str, v: f64| (format!("{part}.{key}"), v, v >= 0.0);
        for b in &self.branches {
            wanted.push(not_negative(&b.name, "fittings", b.k_sum));
            wanted.push(not_negative(&b.name, "loss", b.linear.min(b.square)));
            wanted.push(not_negative(&b.name, "roughness", b.roughness));
        }
        for n in &self.nodes {
            wanted.push(not_negative(&n.name, "wall", n.wall));
        }
        for r in &self.regulators {
            wanted.push(not_negative(&r.name, "friction", r.friction));
            wanted.push(not_negative(&r.name, "damping", r.damping));
            wanted.push(not_negative(&r.name, "reference_lag", r.lag));
        }
        for (key, v, holds) in wanted {
            if !holds || !v.is_finite() {
                let why = format!("is {v}: give a finite value in range (above zero for sizes)");
                return Err(BadNet { key, why });
            }
        }
        let limit = crate::transient::engine_gas::RPM_LIMIT;
        if let Some(v) = self.rpm.values().iter().find(|v| !(0.0..=limit).contains(*v)) {
            return Err(BadNet { key: "schedule.rpm".into(), why: format!("holds {v}: give 0 to {limit}") });
        }
        if let Some(v) = self.manifold.values().iter().find(|v| **v <= 0.0) {
            let why = format!("holds {v} Pa: absolute pressures are above zero");
            return Err(BadNet { key: "schedule.manifold".into(), why });
        }
        for (what, place) in self
            .branches
            .iter()
            .flat_map(|b| [(&b.name, b.from), (&b.name, b.to)])
            .chain(self.regulators.iter().flat_map(|r| [(&r.name, r.from), (&r.name, r.to)]))
        {
            let known = match place {
                Place::Node(k) => k < self.nodes.len(),
                Place::End(k) => k < self.ends.len(),
            };
            if !known {
                return Err(BadNet {
                    key: what.clone(),
                    why: format!("names {place:?}, which is not there"),
                });
            }
        }
        Ok(())
    }
}
