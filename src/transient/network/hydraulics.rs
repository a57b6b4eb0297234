//! Laws of a pump and poppet in motion: the steady laws with speed and lift as they are.

/// Motor and element at a back electromotive force `E` = K ω, V.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PumpCurve {
    /// `p = (g E - Q)/k`, load current `c p`.
    Displacement {
        /// Flow per volt, m³/(s·V).
        g: f64,
        /// Slip at this viscosity with wear, m³/(s·Pa).
        k: f64,
        /// Current per pressure, A/Pa.
        c: f64,
    },
    /// `p = (a E - b Q) E`, load current `(t E - u Q) E`.
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

/// A pump with relief and suction limit.
///
/// # Formula
/// Element flow `Q_e = Q/f + max(p - p_r, 0)/s`; `f` = margin over required margin, between 0.05 and 1.
///
/// # Symbols
/// `p` rise, Pa; `p_r` relief, Pa, `s` its slope, Pa·s/m³; margin: inlet pressure above vapour pressure, Pa.
///
/// # Valid range
/// The element follows its steady law at each instant (its own passages are short).
///
/// # Source
/// The pump law of the steady circuit, solved for the rise at a given speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PumpLaw {
    /// The element.
    pub curve: PumpCurve,
    /// Current that overcomes friction, A.
    pub idle_current: f64,
    /// Rise at which the relief opens, Pa.
    pub relief: f64,
    /// Rise per relieved flow, Pa·s/m³.
    pub relief_slope: f64,
    /// Margin that the inlet needs, Pa.
    pub required_margin: f64,
}

impl PumpLaw {
    /// Rise, Pa, and load current with friction, A, at a delivered flow, m³/s, back e.m.f., V, and inlet margin, Pa.
    #[must_use]
    #[inline]
    pub fn at(&self, q: f64, emf: f64, margin: f64) -> (f64, f64) {
        let inner =
            if margin < self.required_margin { q / (margin / self.required_margin).max(0.05) } else { q };
        match self.curve {
            PumpCurve::Displacement { g, k, c } => {
                let mut p = (g * emf - inner) / k;
                if p > self.relief {
                    let per = 1.0 / self.relief_slope;
                    p = (g * emf - inner + self.relief * per) / (k + per);
                }
                (p, self.idle_current + (c * p).max(0.0))
            }
            PumpCurve::Regenerative { a, b, t, u } => {
                let mut p = (a * emf - b * inner) * emf;
                let mut element = inner;
                if p > self.relief {
                    let per = 1.0 / self.relief_slope;
                    let (free, be) = (a * emf * emf, b * emf);
                    p = (free - be * inner + be * self.relief * per) / (1.0 + be * per);
                    element += (p - self.relief) * per;
                }
                (p, self.idle_current + ((t * emf - u * element) * emf).max(0.0))
            }
        }
    }
}
