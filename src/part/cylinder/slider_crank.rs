//! Volume of a cylinder at a crank angle.

use std::f64::consts::PI;
use std::fmt;

/// Crank, rod and bore of one cylinder.
///
/// # Formula
/// `V(θ) = V_c + πB²/4 (l + a - a cos θ - √(l² - a² sin²θ))`, `V_c = V_d/(r_c - 1)`
///
/// # Symbols
/// `B` bore, m; `a` half the stroke, m; `l` rod between centres, m; `r_c` compression ratio; `θ` crank angle after
/// top dead centre, rad.
///
/// # Valid range
/// Rod longer than half the stroke, compression ratio above one, no pin offset; any `θ`.
///
/// # Source
/// J. B. Heywood, Internal Combustion Engine Fundamentals (1988), eqs 2.4-2.6 (from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SliderCrank {
    bore: f64,
    half_stroke: f64,
    rod: f64,
    clearance: f64,
}

/// Geometry that cannot turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BadGeometry {
    /// Name of the key.
    pub key: &'static str,
    /// Its value.
    pub value: f64,
    /// What is asked for.
    pub wanted: &'static str,
}

impl fmt::Display for BadGeometry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "cylinder: `{}` = {}: give {}", self.key, self.value, self.wanted)
    }
}

impl std::error::Error for BadGeometry {}

impl SliderCrank {
    /// From bore, stroke and rod, m, and compression ratio.
    ///
    /// # Errors
    /// Names the key that cannot be.
    pub fn new(bore: f64, stroke: f64, rod: f64, compression_ratio: f64) -> Result<Self, BadGeometry> {
        let positive = [("bore", bore), ("stroke", stroke), ("rod", rod)];
        if let Some((key, value)) = positive.into_iter().find(|(_, v)| !(v.is_finite() && *v > 0.0)) {
            return Err(BadGeometry { key, value, wanted: "a length above zero, m" });
        }
        if rod <= 0.5 * stroke {
            return Err(BadGeometry { key: "rod", value: rod, wanted: "a rod longer than half the stroke" });
        }
        if !(compression_ratio > 1.0 && compression_ratio.is_finite()) {
            let wanted = "a ratio above one";
            return Err(BadGeometry { key: "compression_ratio", value: compression_ratio, wanted });
        }
        let displaced = PI / 4.0 * bore * bore * stroke;
        Ok(Self { bore, half_stroke: 0.5 * stroke, rod, clearance: displaced / (compression_ratio - 1.0) })
    }

    /// Bore, m.
    #[must_use]
    pub fn bore(&self) -> f64 {
        self.bore
    }

    /// Stroke, m.
    #[must_use]
    pub fn stroke(&self) -> f64 {
        2.0 * self.half_stroke
    }

    /// Piston area, m².
    #[must_use]
    pub fn piston_area(&self) -> f64 {
        PI / 4.0 * self.bore * self.bore
    }

    /// Displaced volume, m³.
    #[must_use]
    pub fn displaced(&self) -> f64 {
        self.piston_area() * self.stroke()
    }

    /// Clearance volume, m³.
    #[must_use]
    pub fn clearance(&self) -> f64 {
        self.clearance
    }

    /// Volume, m³, and its slope, m³/rad, at a crank angle after top dead centre, rad.
    #[must_use]
    #[inline]
    pub fn volume(&self, theta: f64) -> (f64, f64) {
        let (sin, cos) = theta.sin_cos();
        let a = self.half_stroke;
        let root = (self.rod * self.rod - a * a * sin * sin).sqrt();
        let travel = self.rod + a - a * cos - root;
        let slope = a * sin + a * a * sin * cos / root;
        (self.clearance + self.piston_area() * travel, self.piston_area() * slope)
    }

    /// Surface that the gas touches, m²: flat head, flat piston and the bare bore.
    #[must_use]
    #[inline]
    pub fn surface(&self, volume: f64) -> f64 {
        2.0 * self.piston_area() + 4.0 * volume / self.bore
    }

    /// Mean piston speed, m/s, at a crank speed in rev/s: `2 S n`.
    #[must_use]
    pub fn mean_piston_speed(&self, revolutions_per_second: f64) -> f64 {
        2.0 * self.stroke() * revolutions_per_second
    }
}
