//! Quantile functions with everything that does not depend on the probability worked out beforehand.
use super::Distribution;
use super::moments::{normal_mass, trapezoid_upper};
use crate::spec::special::{normal_cdf, normal_quantile, polish, t_quantile};
use std::f64::consts::PI;

/// The quantile function of one law, ready for many calls; made by [`Distribution::prepare`].
#[derive(Clone, Debug)]
pub struct Quantile(Kind);

#[derive(Clone, Debug)]
enum Kind {
    Fixed(f64),
    Normal {
        mean: f64,
        sd: f64,
    },
    /// Probability runs from `from` by `mass`; mirrored when the cut lies in the upper tail.
    Truncated {
        mean: f64,
        sd: f64,
        low: f64,
        high: f64,
        from: f64,
        mass: f64,
        mirrored: bool,
    },
    Uniform {
        low: f64,
        width: f64,
    },
    Triangular {
        low: f64,
        high: f64,
        split: f64,
        rise: f64,
        fall: f64,
    },
    Lognormal {
        median: f64,
        sigma_ln: f64,
    },
    /// Sorted values and the cumulative probability up to and including each.
    Steps {
        values: Box<[f64]>,
        cumulative: Box<[f64]>,
    },
    /// Sorted, equally likely.
    Even(Box<[f64]>),
    StudentT {
        location: f64,
        scale: f64,
        dof: f64,
    },
    Arcsine {
        middle: f64,
        half: f64,
    },
    Trapezoid {
        middle: f64,
        half: f64,
        inexactness: f64,
        /// Probability from the middle to the end of the flat part, and the flat part's half width.
        flat: f64,
        inner: f64,
    },
}

impl Quantile {
    pub(super) fn new(law: &Distribution) -> Self {
        Self(match *law {
            Distribution::Fixed { value } => Kind::Fixed(value),
            Distribution::Normal { mean, sd } => Kind::Normal { mean, sd },
            Distribution::TruncatedNormal { mean, sd, low, high } => {
                let (a, b) = ((low - mean) / sd, (high - mean) / sd);
                let mirrored = a > 0.0;
                Kind::Truncated {
                    mean,
                    sd,
                    low,
                    high,
                    from: normal_cdf(if mirrored { -b } else { a }),
                    mass: normal_mass(a, b),
                    mirrored,
                }
            }
            Distribution::Uniform { low, high } => Kind::Uniform { low, width: high - low },
            Distribution::Triangular { low, mode, high } => Kind::Triangular {
                low,
                high,
                split: (mode - low) / (high - low),
                rise: (high - low) * (mode - low),
                fall: (high - low) * (high - mode),
            },
            Distribution::Lognormal { median, sigma_ln } => Kind::Lognormal { median, sigma_ln },
            Distribution::Discrete { ref values, ref weights } => {
                let mut pairs: Vec<(f64, f64)> =
                    values.iter().copied().zip(weights.iter().copied()).filter(|&(_, w)| w > 0.0).collect();
                pairs.sort_by(|p, q| p.0.total_cmp(&q.0));
                let total: f64 = pairs.iter().map(|p| p.1).sum();
                let mut sum = 0.0;
                let cumulative = pairs
                    .iter()
                    .map(|p| {
                        sum += p.1;
                        sum / total
                    })
                    .collect();
                Kind::Steps { values: pairs.iter().map(|p| p.0).collect(), cumulative }
            }
            Distribution::Empirical { ref values } => {
                let mut sorted = values.clone();
                sorted.sort_by(f64::total_cmp);
                Kind::Even(sorted.into())
            }
            Distribution::StudentT { location, scale, dof } => Kind::StudentT { location, scale, dof },
            Distribution::Arcsine { low, high } => {
                Kind::Arcsine { middle: 0.5 * (low + high), half: 0.5 * (high - low) }
            }
            Distribution::CurvilinearTrapezoid { low, high, inexactness } => {
                let half = 0.5 * (high - low);
                let inner = half - inexactness;
                Kind::Trapezoid {
                    middle: 0.5 * (low + high),
                    half,
                    inexactness,
                    flat: trapezoid_upper(inner, half, inexactness),
                    inner,
                }
            }
        })
    }

    /// The quantile at probability `p` (0..1; NaN outside, the law's ends at 0 and 1).
    #[inline]
    pub fn at(&self, p: f64) -> f64 {
        match self.0 {
            Kind::Normal { mean, sd } => mean + sd * normal_quantile(p),
            Kind::Uniform { low, width } if (0.0..=1.0).contains(&p) => low + width * p,
            _ => self.others(p),
        }
    }

    /// The quantile at probability `Phi(z)` for a standard normal score `z`, keeping its digits far out in the
    /// upper tail where `Phi(z)` itself rounds to one (normal and lognormal laws; others round).
    pub fn at_score(&self, z: f64) -> f64 {
        match self.0 {
            Kind::Normal { mean, sd } => mean + sd * z,
            Kind::Lognormal { median, sigma_ln } => median * (sigma_ln * z).exp(),
            Kind::Truncated { mean, sd, low, high, from, mass, mirrored } if z > 0.0 => {
                // Counted from the upper end, mirrored so that the small share stays exact.
                let share = normal_cdf(-z);
                let upper = if mirrored { from } else { 1.0 - from - mass };
                let score = -normal_quantile((upper + mass * share).clamp(0.0, 1.0));
                (mean + sd * score).clamp(low, high)
            }
            _ => self.at(normal_cdf(z)),
        }
    }

    /// Replaces each probability in `u` by its quantile.
    pub fn fill(&self, u: &mut [f64]) {
        match self.0 {
            Kind::Fixed(value) => u.fill(value),
            Kind::Normal { mean, sd } => {
                for p in u {
                    *p = mean + sd * normal_quantile(*p);
                }
            }
            Kind::Lognormal { median, sigma_ln } => {
                for p in u {
                    *p = median * (sigma_ln * normal_quantile(*p)).exp();
                }
            }
            _ => {
                for p in u {
                    *p = self.at(*p);
                }
            }
        }
    }

    fn others(&self, p: f64) -> f64 {
        if !(0.0..=1.0).contains(&p) {
            return f64::NAN;
        }
        match self.0 {
            Kind::Fixed(value) => value,
            Kind::Normal { mean, sd } => mean + sd * normal_quantile(p),
            Kind::Uniform { low, width } => low + width * p,
            Kind::Truncated { mean, sd, low, high, from, mass, mirrored } => {
                let share = if mirrored { 1.0 - p } else { p };
                let z = normal_quantile((from + mass * share).min(1.0));
                (mean + sd * if mirrored { -z } else { z }).clamp(low, high)
            }
            Kind::Triangular { low, high, split, rise, fall } => {
                if p < split {
                    low + (p * rise).sqrt()
                } else {
                    high - ((1.0 - p) * fall).sqrt()
                }
            }
            Kind::Lognormal { median, sigma_ln } => median * (sigma_ln * normal_quantile(p)).exp(),
            Kind::Steps { ref values, ref cumulative } => {
                let i = cumulative.partition_point(|&c| c < p);
                values[i.min(values.len() - 1)]
            }
            Kind::Even(ref values) => {
                let i = (p * values.len() as f64).ceil() as usize;
                values[i.saturating_sub(1).min(values.len() - 1)]
            }
            Kind::StudentT { location, scale, dof } => location + scale * t_quantile(p, dof),
            Kind::Arcsine { middle, half } => middle + half * (PI * (p - 0.5)).sin(),
            Kind::Trapezoid { middle, half, inexactness, flat, inner } => {
                let q = (p - 0.5).abs();
                let y = if q == 0.0 {
                    0.0
                } else if q <= flat && flat > 0.0 {
                    inner * q / flat
                } else if q >= 0.5 {
                    half + inexactness
                } else {
                    polish(inner, half + inexactness, half, |y| {
                        (
                            trapezoid_upper(y, half, inexactness) - q,
                            ((half + inexactness) / y).ln() / (4.0 * inexactness),
                        )
                    })
                };
                middle + y.copysign(p - 0.5)
            }
        }
    }
}
