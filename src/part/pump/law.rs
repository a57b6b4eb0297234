//! Motor and element solved together: what rise a pump gives at a flow.
//!
//! Heating of the motor is left out: armature and magnets stay as the rating rows found them. Copper gains 0.39 % a kelvin
//! (IEC 60028), so an armature 40 K warmer than on the bench has 16 % more resistance; a rating row read warm holds it.

/// How the pump moves fuel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Roller, gerotor or screw: a volume a turn, less slip.
    Displacement,
    /// Side-channel impeller: head with the square of speed.
    Regenerative,
}

/// The steady law of motor and element in electrical terms; E = V - I R is the back electromotive force,
/// proportional to speed (omega = E/K).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Curve {
    /// `Q = g E - k p`, `I = I_f + c p`.
    Displacement {
        /// Flow per volt of back e.m.f. without slip, m³/(s·V): displacement per radian over K.
        g: f64,
        /// Slip at the viscosity of the rating, m³/(s·Pa).
        k: f64,
        /// Current per pressure, A/Pa: g over the mechanical efficiency.
        c: f64,
    },
    /// `p = a E² - b E Q`, `I = I_f + t E² - u E Q`.
    Regenerative {
        /// Shut-off head, Pa/V².
        a: f64,
        /// Fall of head with flow, Pa·s/(m³·V).
        b: f64,
        /// Load current at shut-off, A/V².
        t: f64,
        /// Relief of load with flow, A·s/(m³·V).
        u: f64,
    },
}

/// A pump with its motor, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pump {
    /// The law of motor and element.
    pub curve: Curve,
    /// Armature resistance, Ω.
    pub armature: f64,
    /// Current that overcomes friction, A.
    pub idle_current: f64,
    /// Motor constant, V·s/rad; it sets the speed, not the flow.
    pub motor_constant: f64,
    /// Viscosity at which the slip was rated, Pa·s.
    pub rated_viscosity: f64,
    /// Flow lost by wear at the rated pressure, m³/(s·Pa).
    pub wear_slip: f64,
    /// Part of the shut-off head lost by wear (regenerative).
    pub wear_head: f64,
    /// Difference at which the internal relief opens, Pa.
    pub relief: f64,
    /// Rise of pressure per relieved flow, Pa·s/m³.
    pub relief_slope: f64,
    /// Margin over vapour pressure that the inlet needs, Pa.
    pub required_margin: f64,
}

/// A pump at work.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Running {
    /// Pressure rise, Pa.
    pub rise: f64,
    /// Change of rise with flow, Pa·s/m³ (negative).
    pub slope: f64,
    /// Change of rise with inlet pressure by vapour derating, - .
    pub by_inlet: f64,
    /// Current, A.
    pub current: f64,
    /// Voltage at the pump's terminals, V.
    pub volts: f64,
    /// Speed, rad/s.
    pub speed: f64,
    /// Flow through the element, m³/s (delivered plus relieved).
    pub element_flow: f64,
    /// Flow through the internal relief, m³/s.
    pub relieved: f64,
    /// Part of the flow that the inlet margin leaves, 1 when it is sufficient.
    pub derating: f64,
    /// Electrical power at the terminals, W.
    pub electric_power: f64,
    /// Heat in the armature, W.
    pub armature_heat: f64,
    /// Power left in the delivered fuel, W.
    pub hydraulic_power: f64,
}

impl Pump {
    /// The pump at a delivered flow.
    ///
    /// * `q` delivered flow m³/s; `supply` V before `loop_resistance` Ω; `viscosity` Pa·s;
    /// * `margin` inlet pressure above vapour pressure Pa.
    ///
    /// # Formula
    /// Loop: `supply - I (R_loop + R_a) = E`. Displacement: `E`, `I` and `p` are linear in each other, so
    /// `p = (g (V - I_f R) - Q)/(g c R + k)`, `R = R_loop + R_a`, `k = k_rated mu_rated/mu + wear`.
    /// Regenerative: `E` is the root of `t R E² + (1 - u R Q) E - (V - R I_f) = 0`, not below a twentieth of a volt; there
    /// the motor stalls, and its current is no more than `(V - E)/R`.
    /// The internal relief takes `(p - p_relief)/slope` when p exceeds it. Below the required inlet
    /// margin the element delivers only the part `f = margin/required` (not below a twentieth) of what it moves. The
    /// voids collapse when their chambers open to the outlet, so the whole displacement works against the rise and
    /// the current stays `I_f + c p` (common practice, no source). Less margin thus never brings more flow, and a
    /// starved pump has one answer. What runs backwards is not derated.
    /// Energy: `V I = I² R_a + E I`, and for a displacement pump
    /// `E (I - I_f) g/c = p Q + p Q (1/f - 1) + p Q_relief + k p²`: fuel, collapse of voids, relief and slip.
    #[must_use]
    pub fn at_flow(&self, q: f64, supply: f64, loop_resistance: f64, viscosity: f64, margin: f64) -> Running {
        let (derating, derating_slope) = if q > 0.0 { self.derating(margin) } else { (1.0, 0.0) };
        let inner = q / derating;
        let mut q_element = inner;
        let (mut p, mut p_q) = self.element(inner, supply, loop_resistance, viscosity);
        if p > self.relief {
            // p = f(inner + (p - relief)/slope): f falls, so Newton from above stays above the root.
            for _ in 0..50 {
                q_element = inner + (p - self.relief).max(0.0) / self.relief_slope;
                let (f, f_q) = self.element(q_element, supply, loop_resistance, viscosity);
                let step = (f - p) / (1.0 - f_q / self.relief_slope);
                p += step;
                p_q = f_q;
                if step.abs() < 1e-7 {
                    break;
                }
            }
            q_element = inner + (p - self.relief).max(0.0) / self.relief_slope;
            p_q /= 1.0 - p_q / self.relief_slope;
        }
        let current = self.current(q_element, p, supply, loop_resistance);
        let volts = supply - current * loop_resistance;
        let emf = volts - current * self.armature;
        Running {
            rise: p,
            slope: p_q / derating,
            by_inlet: -p_q * inner / derating * derating_slope,
            current,
            volts,
            speed: emf / self.motor_constant,
            element_flow: q_element,
            relieved: q_element - inner,
            derating,
            electric_power: volts * current,
            armature_heat: current * current * self.armature,
            hydraulic_power: p * q,
        }
    }

    /// Part of the flow that an inlet margin leaves, and its change with the margin (1/Pa).
    fn derating(&self, margin: f64) -> (f64, f64) {
        const LEAST: f64 = 0.05; // a vapour-locked pump still weeps; keeps the law invertible
        if self.required_margin <= 0.0 || margin >= self.required_margin {
            return (1.0, 0.0);
        }
        let f = margin / self.required_margin;
        if f <= LEAST { (LEAST, 0.0) } else { (f, 1.0 / self.required_margin) }
    }

    /// Rise of the bare element and its slope with flow.
    fn element(&self, q: f64, supply: f64, loop_resistance: f64, viscosity: f64) -> (f64, f64) {
        let r = loop_resistance + self.armature;
        match self.curve {
            Curve::Displacement { g, k, c } => {
                let stiff = g * c * r + k * self.rated_viscosity / viscosity + self.wear_slip;
                ((g * (supply - self.idle_current * r) - q) / stiff, -1.0 / stiff)
            }
            Curve::Regenerative { a, b, t, u } => {
                let a = a * (1.0 - self.wear_head);
                let (e, e_q) = Self::emf(t, u, q, supply - r * self.idle_current, r);
                ((a * e - b * q) * e, (2.0 * a * e - b * q) * e_q - b * e)
            }
        }
    }

    /// Back e.m.f. of the regenerative pump and its slope with flow.
    fn emf(t: f64, u: f64, q: f64, drive: f64, r: f64) -> (f64, f64) {
        let (qa, qb) = (t * r, 1.0 - u * r * q);
        let root = (qb * qb + 4.0 * qa * drive.max(0.0)).sqrt();
        let e = 2.0 * drive.max(0.0) / (qb + root); // stable form of the positive root
        if e > LEAST_EMF { (e, u * r * e / root) } else { (LEAST_EMF, 0.0) }
    }

    /// Current at an element flow and rise.
    fn current(&self, q: f64, p: f64, supply: f64, loop_resistance: f64) -> f64 {
        match self.curve {
            Curve::Displacement { c, .. } => self.idle_current + c * p,
            Curve::Regenerative { t, u, .. } => {
                let r = loop_resistance + self.armature;
                let (e, _) = Self::emf(t, u, q, supply - r * self.idle_current, r);
                let turning = self.idle_current + (t * e - u * q) * e;
                // At rest friction does not ask for its current: the loop lets through what it does.
                if e > LEAST_EMF { turning } else { turning.min(((supply - e) / r).max(0.0)) }
            }
        }
    }

    /// Flow that the pump delivers against a rise without derating: [`Pump::flow_against`] with ample margin.
    #[must_use]
    pub fn flow_at(&self, rise: f64, supply: f64, loop_resistance: f64, viscosity: f64) -> f64 {
        self.flow_against(rise, supply, loop_resistance, viscosity, f64::INFINITY).0
    }

    /// Flow without any rise, m³/s.
    #[must_use]
    pub fn free_flow(&self, supply: f64, loop_resistance: f64, viscosity: f64) -> f64 {
        self.flow_at(0.0, supply, loop_resistance, viscosity)
    }

    /// The inverse of [`Pump::at_flow`]: delivered flow (m³/s), its change with the rise (m³/(s·Pa), negative) and with
    /// the inlet margin.
    ///
    /// # Formula
    /// `Q = f (Q_element(p) - Q_relief(p))`, with `f = 1` where that is negative. Displacement:
    /// `Q_element = g (V - I_f R) - p (g c R + k)`.
    /// Regenerative: `Q_element = (a E² - p)/(b E)` with E the root of
    /// `R (t - u a/b) E² + E - (V - I_f R - u R p/b) = 0`, not below a twentieth of a volt.
    #[must_use]
    pub fn flow_against(
        &self,
        rise: f64,
        supply: f64,
        loop_resistance: f64,
        viscosity: f64,
        margin: f64,
    ) -> (f64, f64, f64) {
        let r = loop_resistance + self.armature;
        let drive = supply - self.idle_current * r;
        let (element, by_rise) = match self.curve {
            Curve::Displacement { g, k, c } => {
                let stiff = g * c * r + k * self.rated_viscosity / viscosity + self.wear_slip;
                (g * drive - rise * stiff, -stiff)
            }
            Curve::Regenerative { a, b, t, u } => {
                let a = a * (1.0 - self.wear_head);
                let (square, level) = (r * (t - u * a / b), drive - u * r * rise / b);
                let root = (1.0 + 4.0 * square * level).max(0.0).sqrt();
                let e = 2.0 * level / (1.0 + root);
                let (e, e_p) = if e > LEAST_EMF { (e, -u * r / b / root) } else { (LEAST_EMF, 0.0) };
                let q = (a * e * e - rise) / (b * e);
                (q, (a + rise / (e * e)) / b * e_p - 1.0 / (b * e))
            }
        };
        let open = rise > self.relief;
        let relieved = if open { (rise - self.relief) / self.relief_slope } else { 0.0 };
        let by_relief = if open { 1.0 / self.relief_slope } else { 0.0 };
        let inner = element - relieved;
        let (filled, filled_slope) = if inner > 0.0 { self.derating(margin) } else { (1.0, 0.0) };
        (filled * inner, filled * (by_rise - by_relief), filled_slope * inner)
    }
}

/// Back e.m.f. below which an impeller no longer pumps, V: keeps the law invertible at rest.
pub(crate) const LEAST_EMF: f64 = 0.05;
