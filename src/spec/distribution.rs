//! How a quantity may spread: one law per parameter, in the parameter's own unit.
mod moments;
mod prepared;

pub use prepared::Quantile;

use serde::{Deserialize, Serialize};
use std::fmt;

/// A probability law for one quantity. Every field carries the quantity's unit unless it says otherwise.
///
/// Validity: see each law; [`Distribution::check`] refuses anything else, and so do the functions that
/// return a [`Result`]. Source of the laws and their moments: JCGM 101:2008, table 1 and clause 6.4,
/// except where named. In a file a law is a table such as `{ law = "normal", mean = 13.8, sd = 0.25 }`.
///
/// ```
/// use railrise::spec::distribution::Distribution;
/// let charging = Distribution::Normal { mean: 13.8, sd: 0.25 };
/// assert!((charging.quantile(0.975).unwrap() - 14.29).abs() < 0.001);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "law", rename_all = "snake_case", deny_unknown_fields)]
#[non_exhaustive]
pub enum Distribution {
    /// Exactly one value.
    Fixed {
        /// The value.
        value: f64,
    },
    /// Normal law: density `exp(-z^2/2) / (sd sqrt(2 pi))`, `z = (x - mean) / sd`, for any real x.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation, above zero.
        sd: f64,
    },
    /// Normal law cut at `low` and `high` and scaled up so that its area is one.
    TruncatedNormal {
        /// Mean before cutting.
        mean: f64,
        /// Standard deviation before cutting, above zero.
        sd: f64,
        /// Smallest possible value.
        low: f64,
        /// Largest possible value, above `low`.
        high: f64,
    },
    /// Every value between `low` and `high` equally likely (rectangular).
    Uniform {
        /// Smallest possible value.
        low: f64,
        /// Largest possible value, above `low`.
        high: f64,
    },
    /// Density rising in a straight line from `low` to `mode` and falling to `high`.
    Triangular {
        /// Smallest possible value.
        low: f64,
        /// Most likely value, from `low` to `high`.
        mode: f64,
        /// Largest possible value, above `low`.
        high: f64,
    },
    /// The logarithm is normal: quantile `median exp(sigma_ln z)`.
    Lognormal {
        /// Median, above zero.
        median: f64,
        /// Standard deviation of the natural logarithm (dimensionless), above zero.
        sigma_ln: f64,
    },
    /// A list of values, each with its own weight.
    Discrete {
        /// Possible values; at least one.
        values: Vec<f64>,
        /// Their weights (dimensionless), none negative, sum above zero; scaled to sum one.
        weights: Vec<f64>,
    },
    /// Measured values, each equally likely: the sample is replayed, nothing is read between or beyond
    /// its values. A handful of readings says little about the tails; prefer [`Distribution::StudentT`].
    Empirical {
        /// The sample; at least one value, in any order.
        values: Vec<f64>,
    },
    /// Scaled and shifted Student's t law: what `n` readings with mean `location` and standard deviation
    /// of the mean `scale` say about the quantity, with `dof = n - 1` (JCGM 101:2008, 6.4.9).
    StudentT {
        /// Centre.
        location: f64,
        /// Scale, above zero.
        scale: f64,
        /// Degrees of freedom (dimensionless), above zero. The mean exists above 1, the deviation above 2.
        dof: f64,
    },
    /// U-shaped law of a quantity that cycles as a sine between `low` and `high` (JCGM 101:2008, 6.4.6).
    Arcsine {
        /// Smallest possible value.
        low: f64,
        /// Largest possible value, above `low`.
        high: f64,
    },
    /// Rectangular law whose limits are themselves known only to `inexactness` either way, the middle
    /// being fixed (curvilinear trapezoid, JCGM 101:2008, 6.4.3).
    CurvilinearTrapezoid {
        /// Nominal lower limit.
        low: f64,
        /// Nominal upper limit, above `low`.
        high: f64,
        /// Inexactness of either limit, above zero and at most half the width.
        inexactness: f64,
    },
}

/// Why a law cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub struct DistributionError {
    /// Name of the law.
    pub law: &'static str,
    /// What is wrong, with the offending value, and what to do about it.
    pub message: String,
}

impl fmt::Display for DistributionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} law: {}", self.law, self.message)
    }
}

impl std::error::Error for DistributionError {}

impl Distribution {
    /// The law's name as written in a file.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Fixed { .. } => "fixed",
            Self::Normal { .. } => "normal",
            Self::TruncatedNormal { .. } => "truncated_normal",
            Self::Uniform { .. } => "uniform",
            Self::Triangular { .. } => "triangular",
            Self::Lognormal { .. } => "lognormal",
            Self::Discrete { .. } => "discrete",
            Self::Empirical { .. } => "empirical",
            Self::StudentT { .. } => "student_t",
            Self::Arcsine { .. } => "arcsine",
            Self::CurvilinearTrapezoid { .. } => "curvilinear_trapezoid",
        }
    }

    /// Refuses a law whose parameters make no sense, saying which and what would.
    pub fn check(&self) -> Result<(), DistributionError> {
        let fail = |message: String| Err(DistributionError { law: self.name(), message });
        let all_finite = |named: &[(&str, f64)]| {
            named
                .iter()
                .find(|(_, v)| !v.is_finite())
                .map(|(name, v)| format!("{name} is {v}: give a finite number"))
        };
        let positive = |name: &str, v: f64| {
            (v <= 0.0)
                .then(|| format!("{name} is {v}: it must be above zero; use the fixed law for no spread"))
        };
        let ordered = |low: f64, high: f64| {
            (low >= high).then(|| format!("low is {low} and high is {high}: low must be below high"))
        };
        let problem = match *self {
            Self::Fixed { value } => all_finite(&[("value", value)]),
            Self::Normal { mean, sd } => {
                all_finite(&[("mean", mean), ("sd", sd)]).or_else(|| positive("sd", sd))
            }
            Self::TruncatedNormal {
                mean,
                sd,
                low,
                high,
            } => all_finite(&[("mean", mean), ("sd", sd)])
                .or_else(|| positive("sd", sd))
                .or_else(|| (low.is_nan() || high.is_nan()).then(|| "low or high is not a number".into()))
                .or_else(|| ordered(low, high))
                .or_else(|| {
                    let nearest = mean.clamp(low, high);
                    let distance = (nearest - mean).abs() / sd;
                    (distance > 30.0).then(|| {
                        format!("the interval {low}..{high} lies {distance:.0} standard deviations from the mean {mean}: nothing is left of the law there")
                    })
                }),
            Self::Uniform { low, high } | Self::Arcsine { low, high } => {
                all_finite(&[("low", low), ("high", high)]).or_else(|| ordered(low, high))
            }
            Self::Triangular { low, mode, high } => {
                all_finite(&[("low", low), ("mode", mode), ("high", high)])
                    .or_else(|| ordered(low, high))
                    .or_else(|| {
                        (mode < low || mode > high)
                            .then(|| format!("mode {mode} lies outside {low}..{high}"))
                    })
            }
            Self::Lognormal { median, sigma_ln } => {
                all_finite(&[("median", median), ("sigma_ln", sigma_ln)])
                    .or_else(|| positive("median", median))
                    .or_else(|| positive("sigma_ln", sigma_ln))
            }
            Self::Discrete {
                ref values,
                ref weights,
            } => check_list(values).or_else(|| {
                if values.len() != weights.len() {
                    return Some(format!(
                        "{} values but {} weights: give one weight a value",
                        values.len(),
                        weights.len()
                    ));
                }
                if let Some(w) = weights.iter().find(|w| !(w.is_finite() && **w >= 0.0)) {
                    return Some(format!("weight {w}: weights must be finite and not negative"));
                }
                (weights.iter().sum::<f64>() <= 0.0).then(|| "all weights are zero".into())
            }),
            Self::Empirical { ref values } => check_list(values),
            Self::StudentT {
                location,
                scale,
                dof,
            } => all_finite(&[("location", location), ("scale", scale)])
                .or_else(|| positive("scale", scale))
                .or_else(|| {
                    (dof.is_nan() || dof <= 0.0)
                        .then(|| format!("dof is {dof}: two readings or more are needed for one degree of freedom"))
                }),
            Self::CurvilinearTrapezoid {
                low,
                high,
                inexactness,
            } => all_finite(&[("low", low), ("high", high), ("inexactness", inexactness)])
                .or_else(|| ordered(low, high))
                .or_else(|| positive("inexactness", inexactness))
                .or_else(|| {
                    (inexactness > 0.5 * (high - low)).then(|| {
                        format!("inexactness {inexactness} is more than half the width {}", high - low)
                    })
                }),
        };
        match problem {
            Some(message) => fail(message),
            None => Ok(()),
        }
    }

    /// The quantile function, made ready for many calls.
    pub fn prepare(&self) -> Result<Quantile, DistributionError> {
        self.check()?;
        Ok(Quantile::new(self))
    }

    /// The value below which the quantity lies with probability `p` (0..1; NaN outside).
    ///
    /// For many calls use [`Distribution::prepare`].
    pub fn quantile(&self, p: f64) -> Result<f64, DistributionError> {
        Ok(self.prepare()?.at(p))
    }

    /// The probability of a value at or below `x`.
    pub fn cdf(&self, x: f64) -> Result<f64, DistributionError> {
        self.check()?;
        Ok(moments::cdf(self, x))
    }

    /// The mean, in the quantity's unit. NaN where it does not exist (t law with `dof <= 1`).
    pub fn mean(&self) -> Result<f64, DistributionError> {
        self.check()?;
        Ok(moments::mean_and_variance(self).0)
    }

    /// The standard deviation, in the quantity's unit. Infinite or NaN where it does not exist (t law with
    /// `dof <= 2`).
    pub fn sd(&self) -> Result<f64, DistributionError> {
        self.check()?;
        Ok(moments::mean_and_variance(self).1.sqrt())
    }

    /// The median, in the quantity's unit.
    pub fn median(&self) -> Result<f64, DistributionError> {
        self.quantile(0.5)
    }

    /// True for the law that has one value only.
    pub fn is_fixed(&self) -> bool {
        matches!(self, Self::Fixed { .. })
    }

    /// The law of `factor x + offset`, as when a unit is changed. `factor` must be above zero.
    ///
    /// A lognormal law keeps its form only without an offset; with one this is refused.
    pub fn rescaled(&self, factor: f64, offset: f64) -> Result<Self, DistributionError> {
        self.check()?;
        let fail = |message: String| DistributionError { law: self.name(), message };
        if !(factor.is_finite() && factor > 0.0 && offset.is_finite()) {
            return Err(fail(format!(
                "cannot be rescaled by factor {factor} and offset {offset}: the factor must be above zero"
            )));
        }
        let to = |x: f64| factor * x + offset;
        Ok(match *self {
            Self::Fixed { value } => Self::Fixed { value: to(value) },
            Self::Normal { mean, sd } => Self::Normal { mean: to(mean), sd: factor * sd },
            Self::TruncatedNormal { mean, sd, low, high } => {
                Self::TruncatedNormal { mean: to(mean), sd: factor * sd, low: to(low), high: to(high) }
            }
            Self::Uniform { low, high } => Self::Uniform { low: to(low), high: to(high) },
            Self::Triangular { low, mode, high } => {
                Self::Triangular { low: to(low), mode: to(mode), high: to(high) }
            }
            Self::Lognormal { median, sigma_ln } => {
                if offset != 0.0 {
                    return Err(fail(format!(
                        "an offset of {offset} cannot be expressed: give the law in the unit it is used in"
                    )));
                }
                Self::Lognormal { median: factor * median, sigma_ln }
            }
            Self::Discrete { ref values, ref weights } => {
                Self::Discrete { values: values.iter().map(|&v| to(v)).collect(), weights: weights.clone() }
            }
            Self::Empirical { ref values } => {
                Self::Empirical { values: values.iter().map(|&v| to(v)).collect() }
            }
            Self::StudentT { location, scale, dof } => {
                Self::StudentT { location: to(location), scale: factor * scale, dof }
            }
            Self::Arcsine { low, high } => Self::Arcsine { low: to(low), high: to(high) },
            Self::CurvilinearTrapezoid { low, high, inexactness } => {
                Self::CurvilinearTrapezoid { low: to(low), high: to(high), inexactness: factor * inexactness }
            }
        })
    }
}

fn check_list(values: &[f64]) -> Option<String> {
    if values.is_empty() {
        return Some("no values: give at least one".into());
    }
    values
        .iter()
        .position(|v| !v.is_finite())
        .map(|i| format!("value {} of the list is {}: give finite numbers", i + 1, values[i]))
}

impl fmt::Display for Distribution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Six digits tell what was written; trailing noughts do not.
        let r = |x: &f64| crate::quantity::round_plainly(*x, 6);
        match self {
            Self::Fixed { value } => write!(f, "{}", r(value)),
            Self::Normal { mean, sd } => write!(f, "normal, mean {}, sd {}", r(mean), r(sd)),
            Self::TruncatedNormal { mean, sd, low, high } => {
                write!(f, "normal, mean {}, sd {}, cut at {} and {}", r(mean), r(sd), r(low), r(high))
            }
            Self::Uniform { low, high } => write!(f, "uniform {} to {}", r(low), r(high)),
            Self::Triangular { low, mode, high } => {
                write!(f, "triangular {}, {}, {}", r(low), r(mode), r(high))
            }
            Self::Lognormal { median, sigma_ln } => {
                write!(f, "lognormal, median {}, sigma_ln {}", r(median), r(sigma_ln))
            }
            Self::Discrete { values, .. } => write!(f, "discrete, {} values", values.len()),
            Self::Empirical { values } => write!(f, "measured, {} values", values.len()),
            Self::StudentT { location, scale, dof } => {
                write!(f, "t, centre {location}, scale {scale}, {dof} degrees of freedom")
            }
            Self::Arcsine { low, high } => write!(f, "arcsine {low}..{high}"),
            Self::CurvilinearTrapezoid { low, high, inexactness } => {
                write!(f, "uniform {low}..{high}, limits known to {inexactness}")
            }
        }
    }
}
