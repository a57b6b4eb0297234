//! Parts in series between two places: lines in lumps or with waves, and what stands between them.

use super::{Chain, Maker};
use crate::build::{Leg, check_valve_law, effective_area, filter_law, line_law};
use crate::error::{Error, Kind, Result};
use crate::spec::Values;
use crate::steady::Point;
use crate::transient::network::{Branch, Check, Node, Place, WaveLine};
use std::f64::consts::PI;

/// What of a leg waits for the next piece of line.
#[derive(Default)]
pub(super) struct Waiting {
    pub linear: f64,
    pub square: f64,
    pub rise: f64,
    pub check: Option<Check>,
    pub pump: Option<usize>,
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

impl Maker<'_> {
    /// Passive parts and pumps in series between two places.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn chain(
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
    pub(super) fn reach(&self, name: &str, v: &Values, length: f64) -> Result<f64> {
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
    pub(super) fn series(
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
}
