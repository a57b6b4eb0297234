//! What one operating point asks of each lane: air, fuel, the pulse, voltages, the reference.

use super::super::demand::NEAR_VACUUM;
use super::super::operating::Operating;
use super::columns::{Car, Lanes, MAX_KNOTS, Row};
use super::math::{exp, fma, ln, max, min};
use super::reduced::{Compensation, Layout, Port, Reduced};
use crate::build::Build;
use crate::error::Result;
use crate::part::air::GAMMA;

/// What is the same for every lane of an operating point.
#[derive(Clone, Debug)]
pub(super) struct Setting {
    pub op: Operating,
    pub running: bool,
    /// Row of the volumetric efficiency at this speed.
    pub ve: f64,
    /// Row of the supply at this speed, or the voltage imposed.
    pub volts: Option<f64>,
    pub volts_imposed: bool,
    pub cycle: f64,
}

impl Setting {
    /// # Errors
    /// A speed outside the build's rows.
    pub fn of(reduced: &Reduced, op: &Operating) -> Result<Self> {
        let build: &Build = &reduced.build;
        let running = op.speed > 0.0;
        let mut ve = 1.0;
        if let (true, Some(rows)) = (running, build.section("engine").rows("ve_rows")) {
            ve = rows.interpolate(op.speed, "volumetric efficiency")?;
        }
        let volts = match (op.supply, build.section("supply").rows("rows")) {
            (Some(v), _) => Some(v),
            (None, Some(rows)) => Some(rows.interpolate(op.speed.max(rows.data[0][0]), "supply voltage")?),
            (None, None) => None,
        };
        Ok(Self {
            op: *op,
            running,
            ve,
            volts,
            volts_imposed: op.supply.is_some(),
            cycle: if running { 2.0 * std::f64::consts::TAU / op.speed } else { f64::INFINITY },
        })
    }
}

/// What an operating point asks, one column of lanes each.
#[derive(Clone, Debug)]
pub(super) struct Ask<const W: usize> {
    /// One where the laws hold, zero where a value is outside their range.
    pub valid: Row<W>,
    pub volts: Row<W>,
    pub manifold: Row<W>,
    pub reference: Row<W>,
    pub charge: Row<W>,
    pub air: Row<W>,
    /// Volume flow that the engine asks for.
    pub asked: Row<W>,
    /// Mass of one injection that the control unit wants.
    pub mass: Row<W>,
    /// Commanded pulse; with a rail sensor it follows from the difference.
    pub pulse: Row<W>,
    /// Dead time at this voltage on the table's differences.
    pub dead: [Row<W>; MAX_KNOTS],
    /// Fuel pressure at which the poppet opens with no flow in the return.
    pub crack: Row<W>,
}

impl<const W: usize> Ask<W> {
    pub fn blank() -> Self {
        let z = || <Row<W> as Lanes<W>>::blank();
        Self {
            valid: z(),
            volts: z(),
            manifold: z(),
            reference: z(),
            charge: z(),
            air: z(),
            asked: z(),
            mass: z(),
            pulse: z(),
            dead: std::array::from_fn(|_| z()),
            crack: z(),
        }
    }

    #[inline(always)]
    pub fn fill(&mut self, lay: &Layout, car: &Car<W>, set: &Setting) {
        let op = &set.op;
        let (boost, speed) = (op.boost, op.speed);
        let pressed = boost > 0.0;
        let e = &car.engine;
        for i in 0..W {
            let base = match set.volts {
                Some(v) => v,
                None => car.volts[i],
            };
            self.volts[i] = if set.volts_imposed { base } else { base + car.volts_offset[i] };
            self.manifold[i] = car.ambient[i] + boost;
        }
        for i in 0..W {
            let full = match lay.port {
                Port::Manifold => boost,
                Port::Air => 0.0,
                Port::Intake => {
                    if pressed {
                        -e.intake_loss[i]
                    } else {
                        0.0
                    }
                }
                Port::ChargePipe => boost.max(0.0),
            };
            // What a test puts on the port stands whatever the hose does.
            self.reference[i] = car.ambient[i]
                + match op.reference {
                    Some(imposed) => imposed,
                    None => full * car.poppet.kept[i],
                };
        }
        for i in 0..W {
            let p = &car.poppet;
            let opens = fma(self.reference[i], p.area[i], p.preload[i]);
            self.crack[i] = fma(-p.to[i], p.seat_area[i], opens) * p.over_net[i];
        }
        self.valid = Row::<W>::of(1.0);
        if set.running {
            let cycles = speed / (2.0 * std::f64::consts::TAU);
            let (breath, demand) = (set.ve * cycles, op.demand_factor);
            for i in 0..W {
                let outside = e.outside[i];
                let mut charge = outside;
                let mut good = self.manifold[i] >= NEAR_VACUUM && speed <= e.rev_limit[i] * 1.05;
                if pressed {
                    let ratio = (self.manifold[i] + e.intercooler_loss[i]) * e.over_intake[i];
                    let rise = exp((GAMMA - 1.0) / GAMMA * ln(ratio)) - 1.0;
                    let t2 = outside * fma(rise, e.over_compressor[i], 1.0);
                    charge = fma(-e.intercooler[i], t2 - outside, t2);
                    good &= (1.0..=6.0).contains(&ratio);
                    good &= e.compressor[i] > 0.0 && e.compressor[i] <= 1.0;
                    good &= (0.0..=1.0).contains(&e.intercooler[i]);
                }
                let given = e.charge[i];
                charge = if given > 0.0 { given } else { charge };
                let inhaled = e.breath[i] * breath / charge;
                let air = inhaled * self.manifold[i];
                good &= (0.5..=2.0).contains(&e.lambda[i]);
                self.valid[i] = if good { 1.0 } else { 0.0 };
                self.charge[i] = charge;
                self.air[i] = air;
                self.asked[i] = air * demand * e.fuel[i];
                let read = self.manifold[i] + car.injection.read[i];
                self.mass[i] = demand * inhaled * read * car.injection.mass[i] * set.cycle;
            }
        } else {
            self.air = Row::<W>::of(0.0);
            self.asked = Row::<W>::of(0.0);
            self.mass = Row::<W>::of(0.0);
        }
        self.fill_dead(lay, car);
        self.pulse = Row::<W>::of(0.0);
        let j = &car.injection;
        if set.running && lay.compensation == Compensation::None {
            let (dead, _) = self.dead_at(lay, &j.base);
            for i in 0..W {
                self.pulse[i] = min(fma(self.mass[i], j.width[i], dead[i] + j.dead_error[i]), set.cycle);
                self.valid[i] = if j.base[i] > 0.0 { self.valid[i] } else { 0.0 };
            }
        } else if set.running && lay.compensation == Compensation::BaseLessManifold {
            let mut believed = Row::<W>::of(0.0);
            for i in 0..W {
                believed[i] = j.base[i] - (self.manifold[i] + j.read[i] - car.ambient[i]);
            }
            let (dead, _) = self.dead_at(lay, &believed);
            for i in 0..W {
                let width = self.mass[i] / (j.coefficient[i] * max(believed[i], 1e-3).sqrt());
                self.pulse[i] = min(width + dead[i] + j.dead_error[i], set.cycle);
                self.valid[i] = if believed[i] > 0.0 { self.valid[i] } else { 0.0 };
            }
        }
    }

    /// The dead-time table at each lane's voltage.
    #[inline(always)]
    fn fill_dead(&mut self, lay: &Layout, car: &Car<W>) {
        let table = &lay.dead;
        for j in 0..table.differences.len() {
            for i in 0..W {
                self.dead[j][i] = table.seconds[0][j] + car.injection.dead[i];
            }
            for k in 1..table.volts.len() {
                let (from, over) = (table.volts[k - 1], 1.0 / (table.volts[k] - table.volts[k - 1]));
                let step = table.seconds[k][j] - table.seconds[k - 1][j];
                for i in 0..W {
                    self.dead[j][i] += step * min(max((self.volts[i] - from) * over, 0.0), 1.0);
                }
            }
        }
    }

    /// Dead time at a difference and its slope: straight lines between the table's, level outside.
    #[inline(always)]
    pub fn dead_at(&self, lay: &Layout, dp: &Row<W>) -> (Row<W>, Row<W>) {
        let knots = &lay.dead.differences;
        let (mut t, mut slope) = (self.dead[0], Row::<W>::of(0.0));
        for j in 1..knots.len() {
            let (from, over) = (knots[j - 1], 1.0 / (knots[j] - knots[j - 1]));
            for i in 0..W {
                let step = self.dead[j][i] - self.dead[j - 1][i];
                let at = (dp[i] - from) * over;
                t[i] = fma(step, min(max(at, 0.0), 1.0), t[i]);
                slope[i] += if at > 0.0 && at < 1.0 { step * over } else { 0.0 };
            }
        }
        (t, slope)
    }
}
