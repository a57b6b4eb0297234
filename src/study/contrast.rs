//! Where it fails, what is different?
use super::criterion::{Criterion, Judge, Verdict};
use super::error::StudyError;
use super::interval::{Interval, score, short};
use super::model::Input;
use super::plan::Filler;
use super::runs::Runs;
use super::summary::{mean, standard_deviation};
use rayon::prelude::*;
use serde::Serialize;
use std::fmt;

/// One input among failing and passing runs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contrast {
    /// The input.
    pub input: String,
    /// Its unit.
    pub unit: String,
    /// Mean among failing runs.
    pub failing: f64,
    /// Mean among passing runs.
    pub passing: f64,
    /// Difference of the means in pooled standard deviations, dimensionless: above zero when failing runs have more of it.
    pub standardised: f64,
    /// Its interval.
    pub interval: Interval,
}

/// Inputs by how much failing runs differ from passing ones.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contrasts {
    /// The criterion.
    pub criterion: String,
    /// Failing runs.
    pub failing: u64,
    /// Passing runs.
    pub passing: u64,
    /// One an uncertain input, the largest difference first.
    pub inputs: Vec<Contrast>,
}

impl Runs {
    /// Ranks the inputs by the standardised difference between failing and passing runs.
    ///
    /// Formula: `d = (mean_f - mean_p) / s`, `s` the pooled standard deviation; its interval is
    /// `d ± z sqrt((n_f + n_p)/(n_f n_p) + d^2 / 2(n_f + n_p))`. Range: two failing and two passing runs or more; an error says
    /// how many there are. Source: L. V. Hedges, I. Olkin, Statistical Methods for Meta-Analysis (1985), ch. 5.
    pub fn contrast(&self, criterion: &Criterion, confidence: f64) -> Result<Contrasts, StudyError> {
        let judged = Judged::new(self, criterion)?;
        judged.can_contrast()?;
        let mut inputs = Vec::new();
        self.each_input(|input, column| {
            inputs.push(judged.contrast(input, column, confidence));
            Ok(())
        })?;
        Ok(judged.contrasts(inputs))
    }

    /// Every uncertain input with its values in the runs done, one after the other: memory for a single column however
    /// many runs there are.
    pub(super) fn each_input(
        &self,
        mut each: impl FnMut(&Input, &[f64]) -> Result<(), StudyError>,
    ) -> Result<(), StudyError> {
        for (j, input) in self.plan().inputs.iter().enumerate().filter(|(_, i)| !i.law.is_fixed()) {
            each(input, &self.input_column(j)?)?;
        }
        Ok(())
    }

    /// One input of every run done.
    pub(crate) fn input_column(&self, j: usize) -> Result<Vec<f64>, StudyError> {
        let filler = Filler::new(self.plan())?;
        let mut column = vec![0.0; self.done() as usize];
        column
            .par_chunks_mut(4096)
            .enumerate()
            .for_each(|(k, part)| filler.fill_one(j, 4096 * k as u64, part));
        Ok(column)
    }
}

/// The runs judged by one criterion.
pub(super) struct Judged {
    pub criterion: String,
    pub verdicts: Vec<Verdict>,
    pub fails: usize,
    pub passes: usize,
}

impl Judged {
    pub fn new(runs: &Runs, criterion: &Criterion) -> Result<Self, StudyError> {
        runs.sample_shape()?;
        let judge = Judge::new(runs.plan(), std::slice::from_ref(criterion))?;
        let verdicts: Vec<Verdict> = (0..runs.done() as usize).map(|r| judge.verdict(runs, r)).collect();
        let count = |v| verdicts.iter().filter(|x| **x == v).count();
        let (fails, passes) = (count(Verdict::Fails), count(Verdict::Passes));
        Ok(Self { criterion: criterion.name.clone(), verdicts, fails, passes })
    }

    pub fn can_contrast(&self) -> Result<(), StudyError> {
        if self.fails < 2 || self.passes < 2 {
            return Err(StudyError::Question(format!(
                "{} runs fail and {} pass '{}': two of each are needed to see a difference; run more or move the limit",
                self.fails, self.passes, self.criterion
            )));
        }
        Ok(())
    }

    pub fn contrast(&self, input: &Input, column: &[f64], confidence: f64) -> Contrast {
        let part = |v| -> Vec<f64> {
            column.iter().zip(&self.verdicts).filter(|(_, x)| **x == v).map(|(x, _)| *x).collect()
        };
        let (fail, pass) = (part(Verdict::Fails), part(Verdict::Passes));
        let (f, p) = (self.fails as f64, self.passes as f64);
        let pooled = (((f - 1.0) * standard_deviation(&fail).powi(2)
            + (p - 1.0) * standard_deviation(&pass).powi(2))
            / (f + p - 2.0))
            .sqrt();
        let d = (mean(&fail) - mean(&pass)) / pooled;
        let half = score(confidence) * ((f + p) / (f * p) + d * d / (2.0 * (f + p))).sqrt();
        Contrast {
            input: input.name.clone(),
            unit: input.unit.clone(),
            failing: mean(&fail),
            passing: mean(&pass),
            standardised: d,
            interval: Interval { low: d - half, high: d + half },
        }
    }

    /// The contrasts of all inputs, the largest first.
    pub fn contrasts(&self, mut inputs: Vec<Contrast>) -> Contrasts {
        inputs.sort_by(|a, b| b.standardised.abs().total_cmp(&a.standardised.abs()));
        Contrasts {
            criterion: self.criterion.clone(),
            failing: self.fails as u64,
            passing: self.passes as u64,
            inputs,
        }
    }
}

impl fmt::Display for Contrasts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "Where '{}' fails ({} of {} runs):",
            self.criterion,
            self.failing,
            self.failing + self.passing
        )?;
        for c in &self.inputs {
            write!(
                f,
                "\n  {}: {} against {} {}, {} standard deviations ({})",
                c.input,
                short(c.failing),
                short(c.passing),
                c.unit,
                short(c.standardised),
                c.interval
            )?;
        }
        Ok(())
    }
}
