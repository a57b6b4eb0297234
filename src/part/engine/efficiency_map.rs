//! Volumetric efficiency over engine speed and manifold pressure.

use super::EngineError;
use crate::quantity::{AbsolutePressure, AngularVelocity};
use std::f64::consts::TAU;

/// Volumetric efficiency referred to manifold pressure and charge temperature, bilinear between its points.
///
/// # Formula
/// η = (1−u)(1−v) η₀₀ + u(1−v) η₁₀ + (1−u)v η₀₁ + uv η₁₁
///
/// # Symbols
/// u, v place between the two neighbouring speeds and pressures, 0 to 1.
///
/// # Range
/// From the first to the last of each axis; outside: [`EngineError::OutOfRange`] with the value and the
/// range. It never extrapolates: efficiency falls steeply past the last speed and a guess there
/// hides the demand that matters.
///
/// # Source
/// Bilinear interpolation. A guessed map is good to ±8 % (common practice, no source).
#[derive(Clone, Debug, PartialEq)]
pub struct VolumetricEfficiency {
    /// rpm, rising.
    rpm: Vec<f64>,
    /// kPa absolute, rising.
    kpa: Vec<f64>,
    /// A row for each pressure, a column for each speed.
    rows: Vec<Vec<f64>>,
}

impl VolumetricEfficiency {
    /// A map from its speeds, its manifold pressures, and a row of efficiencies for each pressure.
    ///
    /// # Errors
    /// Axes that do not rise, rows that do not fit them, or an efficiency outside 0.05 to 1.5.
    pub fn new(
        speeds: &[AngularVelocity],
        manifold: &[AbsolutePressure],
        rows: &[Vec<f64>],
    ) -> Result<Self, EngineError> {
        let rpm: Vec<f64> = speeds.iter().copied().map(to_rpm).collect();
        let kpa: Vec<f64> = manifold.iter().map(|p| p.pascals() / 1e3).collect();
        let bad = |why: String| Err(EngineError::BadMap { why });
        for (name, axis) in [("speeds", &rpm), ("manifold pressures", &kpa)] {
            if axis.is_empty() || axis.iter().any(|v| !v.is_finite()) {
                return bad(format!("{name} are missing or not numbers: give at least one"));
            }
            if let Some(w) = axis.windows(2).find(|w| w[1] <= w[0]) {
                return bad(format!("{name} do not rise ({} then {}): sort them", w[0], w[1]));
            }
        }
        if rows.len() != kpa.len() {
            return bad(format!(
                "{} rows for {} manifold pressures: give one row each",
                rows.len(),
                kpa.len()
            ));
        }
        for (row, p) in rows.iter().zip(&kpa) {
            if row.len() != rpm.len() {
                return bad(format!(
                    "the row at {p:.1} kPa has {} values for {} speeds",
                    row.len(),
                    rpm.len()
                ));
            }
            if let Some(v) = row.iter().find(|v| !(0.05..=1.5).contains(*v)) {
                return bad(format!(
                    "{v} at {p:.1} kPa is outside 0.05 to 1.5: give a fraction, 0.95 for 95 %"
                ));
            }
        }
        Ok(Self { rpm, kpa, rows: rows.to_vec() })
    }

    /// The same efficiency from 0 to 20 000 rpm and 5 to 500 kPa absolute, for a first estimate.
    #[must_use]
    pub fn constant(efficiency: f64) -> Self {
        Self { rpm: vec![0.0, 20_000.0], kpa: vec![5.0, 500.0], rows: vec![vec![efficiency; 2]; 2] }
    }

    /// The efficiency at a speed and a manifold pressure.
    ///
    /// # Errors
    /// A speed or a pressure outside the map.
    pub fn at(&self, speed: AngularVelocity, manifold: AbsolutePressure) -> Result<f64, EngineError> {
        let (i, u) = place(
            &self.rpm,
            to_rpm(speed),
            "engine speed",
            "rpm",
            "extend the map with measured points, or stay inside it",
        )?;
        let (j, v) = place(
            &self.kpa,
            manifold.pascals() / 1e3,
            "manifold pressure (absolute)",
            "kPa",
            "extend the map with measured points, or check gauge against absolute",
        )?;
        let right = (i + 1).min(self.rpm.len() - 1);
        let up = (j + 1).min(self.kpa.len() - 1);
        let row = |k: usize| (1.0 - u) * self.rows[k][i] + u * self.rows[k][right];
        Ok((1.0 - v) * row(j) + v * row(up))
    }

    /// Lowest and highest speed, rpm.
    #[must_use]
    pub fn speed_range(&self) -> (f64, f64) {
        (self.rpm[0], self.rpm[self.rpm.len() - 1])
    }

    /// Lowest and highest manifold pressure, kPa absolute.
    #[must_use]
    pub fn pressure_range(&self) -> (f64, f64) {
        (self.kpa[0], self.kpa[self.kpa.len() - 1])
    }
}

/// Revolutions a minute to a millionth: 1000 rpm must come back from radians as 1000, also in a message.
fn to_rpm(speed: AngularVelocity) -> f64 {
    (speed.value * 60.0 / TAU * 1e6).round() / 1e6
}

/// The interval of a rising axis that holds a value, and how far along it the value lies. A value that misses an end by
/// round-off (1e-9 of it) is that end: 7000 rpm must be inside a map that ends at 7000.
fn place(
    axis: &[f64],
    value: f64,
    what: &'static str,
    unit: &'static str,
    next: &'static str,
) -> Result<(usize, f64), EngineError> {
    let (low, high) = (axis[0], axis[axis.len() - 1]);
    let slack = 1e-9 * high.abs();
    let x = if (value - low).abs() <= slack {
        low
    } else if (value - high).abs() <= slack {
        high
    } else {
        EngineError::within(what, value, (low, high), unit, next)?
    };
    if axis.len() == 1 {
        return Ok((0, 0.0));
    }
    let i = axis.partition_point(|a| *a <= x).clamp(1, axis.len() - 1) - 1;
    Ok((i, (x - axis[i]) / (axis[i + 1] - axis[i])))
}
