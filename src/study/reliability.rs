//! Rare failure: chances far below what plain draws can see.
//!
//! Everything happens in independent standard normal scores `u`; a run fails when its margin `g(u)` is at or below zero.
//! Use two of the methods and compare: [`cross_check`] does.
pub mod form;
pub mod importance;
pub mod subset;

use super::criterion::Criterion;
use super::error::StudyError;
use super::interval::{Interval, short};
use super::model::{Failure, Input, Model};
use super::sampling::correlation::normal_from_rank;
use crate::spec::distribution::Quantile;
use serde::Serialize;
use std::fmt;

/// A margin over standard normal scores: positive while the limit is kept.
pub trait LimitState: Sync {
    /// Number of scores.
    fn dimensions(&self) -> usize;
    /// The margin, or why there is none.
    fn margin(&self, u: &[f64]) -> Result<f64, Failure>;
}

/// A limit state given by a function of the scores.
pub struct Margin<F> {
    dimensions: usize,
    function: F,
}

impl<F: Fn(&[f64]) -> f64 + Sync> Margin<F> {
    /// A margin over so many standard normal scores.
    pub fn new(dimensions: usize, function: F) -> Self {
        Self { dimensions, function }
    }
}

impl<F: Fn(&[f64]) -> f64 + Sync> LimitState for Margin<F> {
    fn dimensions(&self) -> usize {
        self.dimensions
    }
    fn margin(&self, u: &[f64]) -> Result<f64, Failure> {
        Ok((self.function)(u))
    }
}

/// A model under one criterion, seen from the scores of its uncertain inputs.
pub struct ModelMargin<'m> {
    model: &'m dyn Model,
    criterion: Criterion,
    output: usize,
    /// Places of the uncertain inputs and their quantile functions.
    uncertain: Vec<(usize, Quantile)>,
    fixed: Vec<f64>,
    /// Lower triangle that makes independent scores correlated.
    factor: Option<Vec<Vec<f64>>>,
}

impl<'m> ModelMargin<'m> {
    /// The margin of a model's output to a criterion's limit.
    pub fn new(model: &'m dyn Model, criterion: &Criterion) -> Result<Self, StudyError> {
        Self::correlated(model, criterion, &[])
    }

    /// The same with rank correlations between named inputs (Gaussian copula).
    pub fn correlated(
        model: &'m dyn Model,
        criterion: &Criterion,
        correlations: &[(&str, &str, f64)],
    ) -> Result<Self, StudyError> {
        let output = super::model::position(
            "output",
            model.outputs().iter().map(|o| o.name.as_str()),
            &criterion.output,
        )?;
        let inputs = model.inputs();
        let mut uncertain = Vec::new();
        let mut fixed = Vec::new();
        for (i, input) in inputs.iter().enumerate() {
            let quantile =
                input.law.prepare().map_err(|error| StudyError::Input { name: input.name.clone(), error })?;
            fixed.push(quantile.at(0.5));
            if !input.law.is_fixed() {
                uncertain.push((i, quantile));
            }
        }
        if uncertain.is_empty() {
            return Err(StudyError::Plan("no input is uncertain: nothing can fail by chance".into()));
        }
        let factor =
            if correlations.is_empty() { None } else { Some(factor(inputs, &uncertain, correlations)?) };
        Ok(Self { model, criterion: criterion.clone(), output, uncertain, fixed, factor })
    }

    /// The inputs' values at some scores.
    pub fn inputs_at(&self, u: &[f64]) -> Vec<f64> {
        let mut x = self.fixed.clone();
        for (k, (place, quantile)) in self.uncertain.iter().enumerate() {
            let z = match &self.factor {
                None => u[k],
                Some(rows) => rows[k].iter().zip(u).map(|(l, v)| l * v).sum(),
            };
            x[*place] = quantile.at_score(z);
        }
        x
    }

    /// The uncertain inputs, in the order of the scores.
    pub fn uncertain(&self) -> Vec<&Input> {
        self.uncertain.iter().map(|(place, _)| &self.model.inputs()[*place]).collect()
    }
}

fn factor(
    inputs: &[Input],
    uncertain: &[(usize, Quantile)],
    correlations: &[(&str, &str, f64)],
) -> Result<Vec<Vec<f64>>, StudyError> {
    let n = uncertain.len();
    let mut matrix = nalgebra::DMatrix::<f64>::identity(n, n);
    for (a, b, rank) in correlations {
        let names = uncertain.iter().map(|(p, _)| inputs[*p].name.as_str());
        let i = super::model::position("uncertain input", names.clone(), a)?;
        let j = super::model::position("uncertain input", names, b)?;
        matrix[(i, j)] = normal_from_rank(*rank);
        matrix[(j, i)] = matrix[(i, j)];
    }
    let lower = matrix
        .cholesky()
        .ok_or_else(|| StudyError::Plan("the rank correlations cannot all hold together: weaken one".into()))?
        .l();
    Ok((0..n).map(|i| (0..=i).map(|j| lower[(i, j)]).collect()).collect())
}

impl LimitState for ModelMargin<'_> {
    fn dimensions(&self) -> usize {
        self.uncertain.len()
    }
    fn margin(&self, u: &[f64]) -> Result<f64, Failure> {
        let x = self.inputs_at(u);
        let mut y = vec![f64::NAN; self.model.outputs().len()];
        self.model.worker().run(&x, &mut y)?;
        let margin = self.criterion.limit.margin(y[self.output]);
        if margin.is_nan() {
            return Err(Failure::new("an output is not a number", self.criterion.output.clone()));
        }
        Ok(margin)
    }
}

/// A small chance of failing and how well it is known.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RareChance {
    /// The chance.
    pub chance: f64,
    /// Its interval.
    pub interval: Interval,
    /// Coefficient of variation of the estimate.
    pub cov: f64,
    /// Confidence of the interval.
    pub confidence: f64,
    /// Runs of the model.
    pub evaluations: u64,
    /// Runs that gave no answer; what was done about them stands with the method.
    pub without_answer: u64,
    /// The method.
    pub method: &'static str,
    /// Seed of the draws.
    pub seed: u64,
}

impl fmt::Display for RareChance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}: {:.3e} ({:.2e}..{:.2e}), c.o.v. {}, {} runs, seed {}",
            self.method,
            self.chance,
            self.interval.low,
            self.interval.high,
            short(self.cov),
            self.evaluations,
            self.seed
        )?;
        if self.without_answer > 0 {
            write!(f, ", {} without an answer", self.without_answer)?;
        }
        Ok(())
    }
}

/// Two methods on the same question.
#[derive(Clone, Debug)]
pub struct CrossCheck {
    /// Design point and first-order chance, or why none was settled on.
    pub form: Result<form::Form, String>,
    /// Importance sampling around the design point, or the nearest point beyond the limit that was met; or why there is none.
    pub importance: Result<RareChance, String>,
    /// Subset simulation.
    pub subset: RareChance,
    /// Whether the two sampled intervals overlap; `None` with one alone.
    pub agree: Option<bool>,
}

/// Runs FORM, importance sampling around its design point, and subset simulation, and says whether the two agree. Where FORM does
/// not settle (a margin with a kink), importance sampling takes the nearest point beyond the limit, which costs width, not
/// truth.
///
/// `draws` is the number of importance draws; subset simulation uses 8 repeats of `draws / 8` a level, at least 500.
pub fn cross_check(
    limit: &dyn LimitState,
    draws: u64,
    seed: u64,
    confidence: f64,
) -> Result<CrossCheck, StudyError> {
    let found = form::search(limit, &form::Options::default());
    let centre = found.form.as_ref().ok().map(|f| &f.design_point).or(found.near.as_ref());
    let importance = match centre {
        Some(c) => importance::around(limit, c, draws, seed, confidence).map_err(|e| e.to_string()),
        None => Err("no point beyond the limit was met to draw around".to_owned()),
    };
    let options =
        subset::Options { per_level: (draws / 8).max(500), repeats: 8, ..subset::Options::default() };
    let subset = subset::subset(limit, &options, seed, confidence)?.result;
    let agree = importance
        .as_ref()
        .ok()
        .map(|i| i.interval.low <= subset.interval.high && subset.interval.low <= i.interval.high);
    let form = found.form;
    Ok(CrossCheck { form, importance, subset, agree })
}

impl CrossCheck {
    /// Whether the two methods agree, in a sentence.
    #[must_use]
    pub fn verdict(&self) -> &'static str {
        match self.agree {
            Some(true) => "The two methods agree.",
            Some(false) => {
                "The two methods do not agree: there may be a second way to fail; trust the larger one until it is found."
            }
            None => "One method alone: nothing stands against it but a larger plain study.",
        }
    }
}

impl fmt::Display for CrossCheck {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.form {
            Ok(form) => {
                writeln!(f, "first order: {:.3e} (reliability index {})", form.chance, short(form.beta))?
            }
            Err(why) => writeln!(f, "first order: {why}")?,
        }
        match &self.importance {
            Ok(i) => writeln!(f, "{i}")?,
            Err(why) => writeln!(f, "importance sampling: {why}")?,
        }
        writeln!(f, "{}", self.subset)?;
        f.write_str(self.verdict())
    }
}
