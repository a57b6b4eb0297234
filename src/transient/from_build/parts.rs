//! Pumps, regulators and injectors, and what the control unit believes of them.

use super::Maker;
use super::along::{beside, track};
use super::chain::Waiting;
use crate::build::{Wire, coil_law, injector_law, regulator_law};
use crate::error::{Error, Kind, Result};
use crate::part::injector::Injector;
use crate::part::pump::Curve;
use crate::schedule::{Schedule, Track};
use crate::spec::Values;
use crate::steady::Point;
use crate::transient::network::{
    Back, Belief, Difference, Hose, InjectorUnit, Place, PumpCurve, PumpLaw, PumpUnit, RegulatorUnit, Tap,
};
use std::f64::consts::PI;

impl Maker<'_> {
    pub(super) fn pump(
        &mut self,
        name: &str,
        v: &Values,
        w: &mut Waiting,
        samples: &[(f64, Point)],
    ) -> Result<()> {
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

    pub(super) fn regulator(&mut self, name: &str, from: Place, to: Place, s: &Schedule) -> Result<()> {
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

    pub(super) fn injectors(&mut self, name: &str, node: usize, samples: &[(f64, Point)]) -> Result<()> {
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
    pub(super) fn belief(&mut self, v: &Values, samples: &[(f64, Point)]) -> Result<()> {
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
