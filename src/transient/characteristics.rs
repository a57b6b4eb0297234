//! A hose with waves in it: the method of characteristics.

use super::friction_table::FrictionTable;
use std::fmt;

/// What holds at an end of the hose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HoseEnd {
    /// A pressure, Pa: tank, reservoir, a rail that does not move.
    Pressure(f64),
    /// A flow in the direction from inlet to outlet, m³/s: pump, closed valve (0), injectors.
    Flow(f64),
    /// A restriction to a pressure, Pa: outward flow `s √Δp`.
    Orifice {
        /// `s` = C_d A √(2/ρ), m³/(s·√Pa).
        conductance: f64,
        /// Pressure behind it, Pa.
        beyond: f64,
    },
    /// A chamber of compliance, m³/Pa, that also gives off a flow, m³/s.
    Chamber {
        /// Compliance, m³/Pa.
        capacitance: f64,
        /// Flow drawn from the chamber, m³/s.
        drawn: f64,
    },
}

/// A hose in which pressure travels as waves.
///
/// # Formula
/// With `n` reaches, `Δx = L/n`, `Δt = Δx/a`, `Z = ρ a/A` and `r = ½ R_x(Q_old) Δx`: from the neighbour upstream
/// `p + (Z + r) Q = p_A + (Z - r) Q_A`, from the one downstream `p - (Z + r) Q = p_B - (Z - r) Q_B`
///
/// # Symbols
/// `p` absolute pressure, Pa; `Q` flow, m³/s; `a` wave speed, m/s; `A` bore area, m²; `ρ` density, kg/m³; `R_x` loss per
/// length and flow, Pa·s/m⁴: half at the old flow, half at the new, so steady flow stays steady to rounding.
///
/// # Valid range
/// Speeds far below `a`; liquid throughout. Pressure is not held at vapour pressure: [`Hose::lowest`] says whether it would have
/// boiled. Friction is quasi-steady: it under-damps waves.
///
/// # Source
/// E. B. Wylie, V. L. Streeter, Fluid Transients in Systems (1993), ch. 3 (from memory).
#[derive(Clone, Debug)]
pub struct Hose {
    impedance: f64,
    reach: f64,
    step: f64,
    loss: Resistance,
    /// Half the loss of a reach over flow at each point, at the flow there: each is worked out once a step.
    half: Vec<f64>,
    p: Vec<f64>,
    q: Vec<f64>,
    next_p: Vec<f64>,
    next_q: Vec<f64>,
    lowest: f64,
    t: f64,
}

/// Loss along a hose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Loss {
    /// None.
    None,
    /// `R_x = linear + square |Q|`, Pa·s/m⁴ and Pa·s²/m⁷.
    Along {
        /// In proportion to flow.
        linear: f64,
        /// With its square.
        square: f64,
    },
    /// Friction of the wall: `R_x = viscous · f Re`, `f` by Churchill, quasi-steady.
    Wall {
        /// `µ/(2 D² A)`, Pa·s/m⁴.
        viscous: f64,
        /// Reynolds number per flow, s/m³.
        reynolds: f64,
        /// Roughness over bore.
        relative_roughness: f64,
    },
}

/// A hose that cannot be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BadHose {
    /// Name of the key.
    pub key: &'static str,
    /// Its value.
    pub value: f64,
}

impl fmt::Display for BadHose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "hose: `{}` = {}: give a finite value above zero", self.key, self.value)
    }
}

impl std::error::Error for BadHose {}

impl Hose {
    /// A hose of length, m, bore area, m², and wave speed, m/s, with a fluid of density, kg/m³, in `reaches` pieces, at
    /// a pressure, Pa, and flow, m³/s, everywhere; with a loss, the pressure falls along it as it does in steady flow.
    ///
    /// # Errors
    /// Names the key that cannot be.
    pub fn new(
        (length, area, wave_speed, rho): (f64, f64, f64, f64),
        reaches: usize,
        loss: Loss,
        (p, q): (f64, f64),
    ) -> Result<Self, BadHose> {
        let wanted = [
            ("length", length),
            ("area", area),
            ("wave_speed", wave_speed),
            ("density", rho),
            ("reaches", reaches as f64),
        ];
        if let Some((key, value)) = wanted.into_iter().find(|(_, v)| !(v.is_finite() && *v > 0.0)) {
            return Err(BadHose { key, value });
        }
        let reach = length / reaches as f64;
        let loss = Resistance::of(loss);
        let fall = loss.per_length(q) * q;
        let pressures: Vec<f64> = (0..=reaches).map(|k| p - fall * reach * k as f64).collect();
        let lowest = pressures.iter().copied().fold(f64::INFINITY, f64::min);
        Ok(Self {
            impedance: rho * wave_speed / area,
            reach,
            step: reach / wave_speed,
            half: vec![0.5 * loss.per_length(q) * reach; reaches + 1],
            loss,
            q: vec![q; reaches + 1],
            next_p: pressures.clone(),
            next_q: vec![q; reaches + 1],
            p: pressures,
            lowest,
            t: 0.0,
        })
    }

    /// The time step, s: one reach at the wave speed.
    #[must_use]
    pub fn step_length(&self) -> f64 {
        self.step
    }

    /// Time, s.
    #[must_use]
    pub fn time(&self) -> f64 {
        self.t
    }

    /// Pressures along it, inlet first, Pa.
    #[must_use]
    pub fn pressures(&self) -> &[f64] {
        &self.p
    }

    /// Flows along it, inlet first, m³/s.
    #[must_use]
    pub fn flows(&self) -> &[f64] {
        &self.q
    }

    /// What its pressures hold of fuel beyond that of no pressure, m³: `∫ p A/(ρ a²) dx`, by the trapezoidal rule, as
    /// exact as the grid.
    #[must_use]
    pub fn content(&self) -> f64 {
        let n = self.p.len() - 1;
        let sum = self.p.iter().sum::<f64>() - 0.5 * (self.p[0] + self.p[n]);
        // A Δx/(ρ a²) = Δt/Z.
        sum * self.step / self.impedance
    }

    /// Lowest pressure that was met anywhere, Pa.
    #[must_use]
    pub fn lowest(&self) -> f64 {
        self.lowest
    }

    /// Characteristic impedance, Pa·s/m³.
    #[must_use]
    pub fn impedance(&self) -> f64 {
        self.impedance
    }

    /// What the point k sends downstream: `p + B Q = C` where it arrives, as (C, B).
    fn plus(&self, k: usize) -> (f64, f64) {
        // Half the loss at the old flow and half at the new: steady flow stays steady to rounding.
        let r = self.half[k];
        (self.p[k] + (self.impedance - r) * self.q[k], self.impedance + r)
    }

    /// What the point k sends upstream: `p - B Q = C`.
    fn minus(&self, k: usize) -> (f64, f64) {
        let r = self.half[k];
        (self.p[k] - (self.impedance - r) * self.q[k], self.impedance + r)
    }

    /// What arrives at the inlet, `p = C + B Q`, and at the outlet, `p = C - B Q`, at the end of the coming step: (C, B).
    #[must_use]
    pub fn arriving(&self) -> ((f64, f64), (f64, f64)) {
        (self.minus(1), self.plus(self.p.len() - 2))
    }

    /// One time step with these ends.
    pub fn advance(&mut self, inlet: HoseEnd, outlet: HoseEnd) {
        let n = self.p.len() - 1;
        let (from_inlet, from_outlet) = self.arriving();
        // At the inlet p = C + B Q; turned around it has the form of the outlet: p = C - B (-Q).
        let (p, q) = end(inlet, from_inlet, -self.q[0], self.p[0], self.step, true);
        let out = end(outlet, from_outlet, self.q[n], self.p[n], self.step, false);
        self.advance_between((p, -q), out);
    }

    /// One time step to pressures, Pa, and flows, m³/s, at inlet and outlet that something else has found, as what stands
    /// there and [`Hose::arriving`] have them.
    pub fn advance_between(&mut self, inlet: (f64, f64), outlet: (f64, f64)) {
        let n = self.p.len() - 1;
        for k in 1..n {
            let ((cp, bp), (cm, bm)) = (self.plus(k - 1), self.minus(k + 1));
            self.next_q[k] = (cp - cm) / (bp + bm);
            self.next_p[k] = cp - bp * self.next_q[k];
        }
        (self.next_p[0], self.next_q[0]) = inlet;
        (self.next_p[n], self.next_q[n]) = outlet;
        std::mem::swap(&mut self.p, &mut self.next_p);
        std::mem::swap(&mut self.q, &mut self.next_q);
        for (half, q) in self.half.iter_mut().zip(&self.q) {
            *half = 0.5 * self.loss.per_length(*q) * self.reach;
        }
        self.lowest = self.p.iter().copied().fold(self.lowest, f64::min);
        self.t += self.step;
    }
}

/// A [`Loss`] made ready: friction is read from its table.
#[derive(Clone, Debug)]
enum Resistance {
    Along { linear: f64, square: f64 },
    Wall { viscous: f64, reynolds: f64, table: FrictionTable },
}

impl Resistance {
    fn of(loss: Loss) -> Self {
        match loss {
            Loss::None => Self::Along { linear: 0.0, square: 0.0 },
            Loss::Along { linear, square } => Self::Along { linear, square },
            Loss::Wall { viscous, reynolds, relative_roughness } => {
                Self::Wall { viscous, reynolds, table: FrictionTable::new(relative_roughness) }
            }
        }
    }

    fn per_length(&self, q: f64) -> f64 {
        match self {
            Self::Along { linear, square } => linear + square * q.abs(),
            Self::Wall { viscous, reynolds, table } => viscous * table.f_re(reynolds * q.abs()),
        }
    }
}

/// Pressure and outward flow where `p = c - b q` meets an end.
fn end(kind: HoseEnd, (c, b): (f64, f64), q_old: f64, p_old: f64, dt: f64, inlet: bool) -> (f64, f64) {
    match kind {
        HoseEnd::Pressure(p) => (p, (c - p) / b),
        HoseEnd::Flow(q) => {
            let out = if inlet { -q } else { q };
            (c - b * out, out)
        }
        HoseEnd::Orifice { conductance, beyond } => {
            // q²/s² + b q = c - beyond: the root that does not cancel.
            let drive = c - beyond;
            let s2 = conductance * conductance;
            let q = 2.0 * s2 * drive.abs() / (s2 * b + (s2 * s2 * b * b + 4.0 * s2 * drive.abs()).sqrt());
            let q = q.copysign(drive);
            (c - b * q, q)
        }
        HoseEnd::Chamber { capacitance, drawn } => {
            // Trapezoids: C (p - p_old) = dt (q + q_old)/2 - dt drawn, p = c - b q.
            let k = 0.5 * dt / capacitance;
            let q = (c - p_old - k * q_old + 2.0 * k * drawn) / (b + k);
            (c - b * q, q)
        }
    }
}
