//! Which input matters: shares of variance.
use super::error::StudyError;
use super::interval::{Interval, short};
use super::plan::Design;
use super::runs::{Provenance, Runs};
use super::sampling::{mix, plain::stream};
use super::summary::sum;
use rand_chacha::rand_core::Rng;
use rayon::prelude::*;
use serde::Serialize;
use std::fmt;

/// Shares of variance of one input or group, dimensionless.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Index {
    /// Input or group.
    pub name: String,
    /// First-order index: the share of variance that would go, on average, if this were known.
    pub first: f64,
    /// Its bootstrap interval.
    pub first_interval: Interval,
    /// Total index: the share that would stay if everything but this were known.
    pub total: f64,
    /// Its bootstrap interval.
    pub total_interval: Interval,
}

/// Shares of variance of one output.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Indices {
    /// The output.
    pub output: String,
    /// One an input or group, in the plan's order.
    pub indices: Vec<Index>,
    /// Mean of the output.
    pub mean: f64,
    /// Variance of the output.
    pub variance: f64,
    /// Rows of the base sample used.
    pub rows: u64,
    /// Rows left out because one of their runs gave no answer.
    pub rows_without_answer: u64,
    /// Confidence of the intervals.
    pub confidence: f64,
    /// Where all of it comes from.
    pub provenance: Provenance,
}

/// Resamplings behind each bootstrap interval.
pub const RESAMPLINGS: usize = 1000;

impl Runs {
    /// First-order and total Sobol' indices of one output, with bootstrap intervals.
    ///
    /// Formula: with `f` the output less its mean, `S_i = mean(f_B (f_ABi - f_A)) / V` and
    /// `T_i = mean((f_A - f_ABi)^2) / 2V`, where `V` is the variance over A and B and ABi is A with group `i` from B.
    /// Dimensionless. Range: the runs of a sensitivity plan, groups independent of each other, a variance above zero; otherwise
    /// an error. Intervals: percentile bootstrap over the rows; for Sobol' points they are wider than need be.
    /// Source: A. Saltelli et al., Computer Physics Communications 181 (2010) 259-270 (first order);
    /// M. J. W. Jansen, ibid. 117 (1999) 35-43 (total).
    pub fn indices(&self, output: &str, confidence: f64) -> Result<Indices, StudyError> {
        let Design::Sensitivity { groups, .. } = &self.plan().design else {
            return Err(StudyError::Question(
                "shares of variance need the runs of a sensitivity plan: make one with Plan::sensitivity"
                    .into(),
            ));
        };
        let y = self.output(output)?;
        let width = groups.len() + 2;
        let rows = y.len() / width;
        let used: Vec<&[f64]> = y.chunks_exact(width).filter(|r| r.iter().all(|v| v.is_finite())).collect();
        if used.len() < 2 {
            return Err(StudyError::Question(format!(
                "{} of {rows} rows have all their answers: at least two are needed",
                used.len()
            )));
        }
        let n = used.len() as f64;
        let mean = sum(used.iter().flat_map(|r| r.iter().copied())) / (n * width as f64);
        // Per row: what the two estimators sum over.
        let g = groups.len();
        let stride = 3 + 2 * g;
        let mut terms = vec![0.0; used.len() * stride];
        for (row, t) in used.iter().zip(terms.chunks_mut(stride)) {
            let (a, b) = (row[0] - mean, row[width - 1] - mean);
            t[0] = a + b;
            t[1] = a * a + b * b;
            t[2] = b;
            for i in 0..g {
                let ab = row[1 + i] - mean;
                t[3 + i] = b * (ab - a);
                t[3 + g + i] = (a - ab) * (a - ab);
            }
        }
        let of = |sums: &[f64]| -> (f64, Vec<f64>) {
            let centre = sums[0] / (2.0 * n);
            let variance = sums[1] / (2.0 * n) - centre * centre;
            let mut out = Vec::with_capacity(2 * g);
            out.extend((0..g).map(|i| sums[3 + i] / n / variance));
            out.extend((0..g).map(|i| 0.5 * sums[3 + g + i] / n / variance));
            (variance, out)
        };
        let mut whole = vec![0.0; stride];
        for t in terms.chunks(stride) {
            for (s, v) in whole.iter_mut().zip(t) {
                *s += v;
            }
        }
        let (variance, values) = of(&whole);
        if variance.is_nan() || variance <= 1e-28 * mean * mean {
            return Err(StudyError::Question(format!(
                "'{output}' does not vary (mean {}): there is no variance to share out",
                short(mean)
            )));
        }
        let resampled: Vec<Vec<f64>> = (0..RESAMPLINGS as u64)
            .into_par_iter()
            .map(|b| {
                let mut rng = stream(self.plan().seed, mix(0x626f_6f74 ^ mix(b)), 0);
                let mut sums = vec![0.0; stride];
                for _ in 0..used.len() {
                    let row = ((u128::from(rng.next_u64()) * used.len() as u128) >> 64) as usize;
                    for (s, v) in sums.iter_mut().zip(&terms[row * stride..(row + 1) * stride]) {
                        *s += v;
                    }
                }
                of(&sums).1
            })
            .collect();
        let interval = |i: usize| {
            let values = super::summary::sorted(&resampled.iter().map(|r| r[i]).collect::<Vec<_>>());
            super::summary::symmetric_coverage(&values, confidence)
        };
        Ok(Indices {
            output: output.into(),
            indices: groups
                .iter()
                .enumerate()
                .map(|(i, group)| Index {
                    name: group.name.clone(),
                    first: values[i],
                    first_interval: interval(i),
                    total: values[g + i],
                    total_interval: interval(g + i),
                })
                .collect(),
            mean,
            variance,
            rows: used.len() as u64,
            rows_without_answer: (rows - used.len()) as u64,
            confidence,
            provenance: self.provenance(),
        })
    }
}

impl Indices {
    /// The indices from the largest total share to the smallest.
    pub fn ranked(&self) -> Vec<&Index> {
        let mut ranked: Vec<&Index> = self.indices.iter().collect();
        ranked.sort_by(|a, b| b.total.total_cmp(&a.total));
        ranked
    }
}

impl fmt::Display for Indices {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "Shares of the variance of {} (mean {}, sd {}), {} % intervals:",
            self.output,
            short(self.mean),
            short(self.variance.sqrt()),
            short(100.0 * self.confidence)
        )?;
        for i in self.ranked() {
            writeln!(
                f,
                "  {}: alone {} ({}), with its interactions {} ({})",
                i.name,
                short(i.first),
                i.first_interval,
                short(i.total),
                i.total_interval
            )?;
        }
        if self.rows_without_answer > 0 {
            writeln!(f, "  {} rows left out: a run gave no answer", self.rows_without_answer)?;
        }
        write!(f, "{}", self.provenance)
    }
}
