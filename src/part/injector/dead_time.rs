//! Dead time: how much later an injector opens than it closes, over voltage and pressure difference.

use std::fmt;

/// Dead time over supply voltage and pressure difference, as a bench measures it.
///
/// # Formula
/// Bilinear between the four points around (V, Δp).
///
/// # Symbols
/// `V` voltage at the injector, V; `Δp` rail minus port, Pa; result in s (may be negative at high voltage:
/// closing can take longer than opening).
///
/// # Valid range
/// The table's own corners. Outside [`DeadTime::at`] refuses; [`DeadTime::at_edge`] holds the edge value and
/// says so.
///
/// # Source
/// The table is data. Bilinear interpolation is common practice, no source.
#[derive(Clone, Debug, PartialEq)]
pub struct DeadTime {
    volts: Vec<f64>,
    differences: Vec<f64>,
    seconds: Vec<f64>, // row by row: one row per voltage
}

/// Which side of the dead-time table was left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OutsideDeadTime {
    /// Supply voltage, V.
    Voltage {
        /// What was asked for.
        asked: f64,
        /// Lowest in the table.
        low: f64,
        /// Highest in the table.
        high: f64,
    },
    /// Pressure difference, Pa.
    Difference {
        /// What was asked for.
        asked: f64,
        /// Lowest in the table.
        low: f64,
        /// Highest in the table.
        high: f64,
    },
}

impl fmt::Display for OutsideDeadTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Voltage { asked, low, high } => write!(
                f,
                "dead time asked for at {asked:.2} V, the table holds {low:.2} to {high:.2} V: measure a row there or keep the supply inside"
            ),
            Self::Difference { asked, low, high } => write!(
                f,
                "dead time asked for at {:.0} kPa across the injector, the table holds {:.0} to {:.0} kPa: measure a column there or keep the difference inside",
                asked / 1e3,
                low / 1e3,
                high / 1e3
            ),
        }
    }
}

impl std::error::Error for OutsideDeadTime {}

/// Why a dead-time table cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub enum BadDeadTime {
    /// An axis or value is missing, repeated, falling or not finite.
    Axis {
        /// `"voltage"` or `"difference"`.
        name: &'static str,
        /// The axis as given.
        values: Vec<f64>,
    },
    /// The number of values is not rows times columns.
    Shape {
        /// Number of voltages.
        volts: usize,
        /// Number of differences.
        differences: usize,
        /// Number of values given.
        values: usize,
    },
    /// A dead time that is not a finite number.
    Value {
        /// Its voltage, V.
        volts: f64,
        /// Its difference, Pa.
        difference: f64,
    },
}

impl fmt::Display for BadDeadTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Axis { name, values } => {
                write!(
                    f,
                    "the {name} axis of the dead-time table must rise from point to point, it is {values:?}"
                )
            }
            Self::Shape { volts, differences, values } => write!(
                f,
                "the dead-time table has {volts} voltages and {differences} differences but {values} values: give one row of {differences} per voltage"
            ),
            Self::Value { volts, difference } => {
                write!(
                    f,
                    "the dead time at {volts} V and {:.0} kPa is not a finite number: measure it or drop its row",
                    difference / 1e3
                )
            }
        }
    }
}

impl std::error::Error for BadDeadTime {}

impl DeadTime {
    /// A table: voltages (V) rising, differences (Pa) rising, one row of dead times (s) per voltage. An axis
    /// of one point makes the table independent of that axis.
    ///
    /// # Errors
    /// [`BadDeadTime`] says what does not fit.
    pub fn table(volts: Vec<f64>, differences: Vec<f64>, seconds: &[Vec<f64>]) -> Result<Self, BadDeadTime> {
        for (name, axis) in [("voltage", &volts), ("difference", &differences)] {
            let finite = axis.iter().all(|x| x.is_finite());
            if axis.is_empty() || !finite || axis.windows(2).any(|w| w[0] >= w[1]) {
                return Err(BadDeadTime::Axis { name, values: axis.clone() });
            }
        }
        let ragged = seconds.len() != volts.len() || seconds.iter().any(|r| r.len() != differences.len());
        if ragged {
            let values = seconds.iter().map(Vec::len).sum();
            return Err(BadDeadTime::Shape { volts: volts.len(), differences: differences.len(), values });
        }
        for (v, row) in volts.iter().zip(seconds) {
            if let Some(j) = row.iter().position(|t| !t.is_finite()) {
                return Err(BadDeadTime::Value { volts: *v, difference: differences[j] });
            }
        }
        Ok(Self { volts, differences, seconds: seconds.concat() })
    }

    /// One dead time (s) at every voltage and difference.
    #[must_use]
    pub fn constant(seconds: f64) -> Self {
        Self { volts: vec![0.0], differences: vec![0.0], seconds: vec![seconds] }
    }

    /// The voltages of the table, V.
    #[must_use]
    pub fn volts(&self) -> &[f64] {
        &self.volts
    }

    /// The pressure differences of the table, Pa.
    #[must_use]
    pub fn differences(&self) -> &[f64] {
        &self.differences
    }

    /// The same table with every dead time longer by `seconds`.
    #[must_use]
    pub fn shifted(&self, seconds: f64) -> Self {
        Self { seconds: self.seconds.iter().map(|t| t + seconds).collect(), ..self.clone() }
    }

    /// Dead time (s) at `volts` (V) and `dp` (Pa).
    ///
    /// # Errors
    /// [`OutsideDeadTime`] when the table does not hold that point.
    pub fn at(&self, volts: f64, dp: f64) -> Result<f64, OutsideDeadTime> {
        match self.at_edge(volts, dp) {
            (t, None) => Ok(t),
            (_, Some(outside)) => Err(outside),
        }
    }

    /// Dead time (s) at `volts` (V) and `dp` (Pa); outside the table the value at its edge, with what was
    /// left.
    #[must_use]
    pub fn at_edge(&self, volts: f64, dp: f64) -> (f64, Option<OutsideDeadTime>) {
        let (i, u, volts_in) = locate(&self.volts, volts);
        let (j, w, dp_in) = locate(&self.differences, dp);
        let n = self.differences.len();
        let (i1, j1) = ((i + 1).min(self.volts.len() - 1), (j + 1).min(n - 1));
        let value = |i: usize, j: usize| self.seconds[i * n + j];
        let low = (1.0 - w) * value(i, j) + w * value(i, j1);
        let high = (1.0 - w) * value(i1, j) + w * value(i1, j1);
        let ends = |axis: &[f64]| (axis[0], axis[axis.len() - 1]);
        let outside = if !volts_in {
            let (low, high) = ends(&self.volts);
            Some(OutsideDeadTime::Voltage { asked: volts, low, high })
        } else if !dp_in {
            let (low, high) = ends(&self.differences);
            Some(OutsideDeadTime::Difference { asked: dp, low, high })
        } else {
            None
        };
        ((1.0 - u) * low + u * high, outside)
    }
}

/// Cell, fraction inside it, and whether the axis holds the point (an axis of one point holds every point).
fn locate(axis: &[f64], x: f64) -> (usize, f64, bool) {
    let last = axis.len() - 1;
    if last == 0 {
        return (0, 0.0, !x.is_nan());
    }
    if x.is_nan() || x < axis[0] {
        return (0, 0.0, false);
    }
    if x > axis[last] {
        return (last - 1, 1.0, false);
    }
    let i = axis.partition_point(|a| *a <= x).clamp(1, last) - 1;
    (i, (x - axis[i]) / (axis[i + 1] - axis[i]), true)
}
