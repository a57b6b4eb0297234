//! Options against each other on the same draws.
use super::criterion::{Criterion, Judge, Verdict};
use super::error::StudyError;
use super::findings::{ChanceFinding, Estimate, Method, Question};
use super::interval::{self, Interval, short};
use super::model::Model;
use super::plan::{Cost, Plan};
use super::run::Control;
use super::runs::{Provenance, Runs};
use super::sampling::Sampling;
use super::summary::mean;
use serde::Serialize;
use std::fmt;

/// Options to be run on common draws: inputs of the same name get the same probabilities in every option.
pub struct Options<'m> {
    names: Vec<String>,
    models: Vec<&'m dyn Model>,
    plans: Vec<Plan>,
}

/// The runs of several options on common draws.
#[derive(Clone, Debug)]
pub struct OptionRuns {
    names: Vec<String>,
    runs: Vec<Runs>,
}

/// One criterion, one option against the first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChanceDifference {
    /// The criterion, or "any".
    pub criterion: String,
    /// The option.
    pub option: String,
    /// Its chance of failing.
    pub chance: ChanceFinding,
    /// Its chance less that of the first option; absent for the first.
    pub difference: Option<Estimate>,
}

/// One output, one option against the first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MeanDifference {
    /// The output.
    pub output: String,
    /// Its unit.
    pub unit: String,
    /// The option.
    pub option: String,
    /// Mean of the option less that of the first, over draws both answered.
    pub difference: Estimate,
}

/// What the comparison says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// Names of the options, the first being the one compared with.
    pub options: Vec<String>,
    /// Chances and their differences.
    pub chances: Vec<ChanceDifference>,
    /// Differences of the outputs' means.
    pub means: Vec<MeanDifference>,
    /// Draws that one option answered and another did not.
    pub unpaired: u64,
    /// Where each option's runs come from.
    pub provenance: Vec<Provenance>,
    /// Confidence of every interval.
    pub confidence: f64,
}

impl<'m> Options<'m> {
    /// Options by name; the first is the one the others are compared with. `shape` sets draws, seed and sampling of each plan.
    pub fn new(options: &[(&str, &'m dyn Model)], shape: impl Fn(Plan) -> Plan) -> Result<Self, StudyError> {
        if options.len() < 2 {
            return Err(StudyError::Plan("fewer than two options: nothing to compare".into()));
        }
        let mut dimensions: Vec<String> = Vec::new();
        for input in options.iter().flat_map(|o| o.1.inputs()) {
            if !dimensions.contains(&input.name) {
                dimensions.push(input.name.clone());
            }
        }
        let plans: Vec<Plan> =
            options.iter().map(|o| shape(Plan::tolerance(o.1)).over(&dimensions)).collect();
        for p in &plans {
            p.check()?;
            if p.runs() != plans[0].runs() || p.seed_used() != plans[0].seed_used() {
                return Err(StudyError::Plan("options must share draws and seed: give all the same".into()));
            }
        }
        Ok(Self {
            names: options.iter().map(|o| o.0.into()).collect(),
            models: options.iter().map(|o| o.1).collect(),
            plans,
        })
    }

    /// What all options together will take.
    pub fn cost(&self) -> Result<Vec<Cost>, StudyError> {
        self.plans.iter().zip(&self.models).map(|(p, m)| p.cost(*m)).collect()
    }

    /// Runs every option.
    pub fn run(&self, control: &Control<'_>) -> Result<OptionRuns, StudyError> {
        let runs = self
            .plans
            .iter()
            .zip(&self.models)
            .map(|(p, m)| p.run_with(*m, control))
            .collect::<Result<_, _>>()?;
        Ok(OptionRuns { names: self.names.clone(), runs })
    }
}

impl OptionRuns {
    /// The runs of one option.
    pub fn of(&self, option: &str) -> Result<&Runs, StudyError> {
        let i = super::model::position("option", self.names.iter().map(String::as_str), option)?;
        Ok(&self.runs[i])
    }

    /// Compares every option with the first, criterion by criterion and output by output.
    ///
    /// Formula: plain draws: Bonett and Price's interval for chances and Student's t on the differences draw by
    /// draw for means; stratified draws: Student's t over the differences repeat by repeat. Draws that one of the two did not answer
    /// are left out of the difference and counted.
    pub fn compare(&self, question: &Question) -> Result<Comparison, StudyError> {
        let (sampling, per_repeat) = self.runs[0].sample_shape()?;
        let done = self.runs.iter().map(Runs::done).min().unwrap_or(0) as usize;
        let mut sets: Vec<(String, Vec<Criterion>)> =
            question.criteria.iter().map(|c| (c.name.clone(), vec![c.clone()])).collect();
        if question.criteria.len() > 1 {
            sets.push(("any".into(), question.criteria.clone()));
        }
        let mut chances = Vec::new();
        for (criterion, parts) in &sets {
            let judge = Judge::new(self.runs[0].plan(), parts)?;
            for (k, (name, runs)) in self.names.iter().zip(&self.runs).enumerate() {
                let own = Judge::new(runs.plan(), parts)?;
                let difference = (k > 0).then(|| {
                    let pairs = (0..done).map(|row| {
                        match (own.verdict(runs, row), judge.verdict(&self.runs[0], row)) {
                            (Verdict::NoAnswer, _) | (_, Verdict::NoAnswer) => f64::NAN,
                            (a, b) => {
                                f64::from(u8::from(a == Verdict::Fails))
                                    - f64::from(u8::from(b == Verdict::Fails))
                            }
                        }
                    });
                    difference_of(pairs, sampling, per_repeat as usize, question.confidence, true)
                });
                chances.push(ChanceDifference {
                    criterion: criterion.clone(),
                    option: name.clone(),
                    chance: runs.chance(criterion, parts, question)?,
                    difference,
                });
            }
        }
        let mut means = Vec::new();
        for output in &self.runs[0].plan().outputs {
            let first = self.runs[0].output(&output.name)?;
            for (name, runs) in self.names.iter().zip(&self.runs).skip(1) {
                let Ok(own) = runs.output(&output.name) else { continue };
                let pairs = own.iter().zip(first).take(done).map(|(a, b)| a - b);
                means.push(MeanDifference {
                    output: output.name.clone(),
                    unit: output.unit.clone(),
                    option: name.clone(),
                    difference: difference_of(
                        pairs,
                        sampling,
                        per_repeat as usize,
                        question.confidence,
                        false,
                    ),
                });
            }
        }
        let answered = |runs: &Runs, row: usize| runs.columns.iter().all(|c| !c[row].is_nan());
        let unpaired = (0..done)
            .filter(|&row| {
                let n = self.runs.iter().filter(|r| answered(r, row)).count();
                n > 0 && n < self.runs.len()
            })
            .count() as u64;
        Ok(Comparison {
            options: self.names.clone(),
            chances,
            means,
            unpaired,
            provenance: self.runs.iter().map(Runs::provenance).collect(),
            confidence: question.confidence,
        })
    }
}

/// Mean of paired differences with its interval; NaN pairs are left out.
fn difference_of(
    pairs: impl Iterator<Item = f64>,
    sampling: Sampling,
    per_repeat: usize,
    confidence: f64,
    of_chances: bool,
) -> Estimate {
    let pairs: Vec<f64> = pairs.collect();
    let known: Vec<f64> = pairs.iter().copied().filter(|d| !d.is_nan()).collect();
    let value = mean(&known);
    if sampling == Sampling::Plain {
        if of_chances {
            let count = |v: f64| known.iter().filter(|d| **d == v).count() as u64;
            let i = interval::paired_difference(count(1.0), count(-1.0), known.len() as u64, confidence);
            return Estimate { value, interval: Some(i), method: Method::Wilson };
        }
        let i = interval::of_mean(&known, confidence);
        return Estimate { value, interval: Some(i), method: Method::MeanOfDraws };
    }
    let repeats: Vec<f64> = pairs
        .chunks_exact(per_repeat)
        .map(|r| mean(&r.iter().copied().filter(|d| !d.is_nan()).collect::<Vec<_>>()))
        .filter(|m| !m.is_nan())
        .collect();
    if of_chances && known.iter().filter(|d| **d != 0.0).count() < 32 {
        // Too few draws differ for the repeats to show their spread.
        let count = |v: f64| known.iter().filter(|d| **d == v).count() as u64;
        let i = interval::paired_difference(count(1.0), count(-1.0), known.len() as u64, confidence);
        return Estimate { value, interval: Some(i), method: Method::Wilson };
    }
    if repeats.len() < 2 {
        return Estimate { value, interval: None, method: Method::None };
    }
    let i: Interval = interval::of_mean(&repeats, confidence);
    Estimate { value, interval: Some(i), method: Method::Repeats }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for c in &self.chances {
            write!(f, "{}, {}: {} %", c.criterion, c.option, short(100.0 * c.chance.chance.value))?;
            if let Some(d) = &c.difference {
                write!(f, ", {} points against {}", short(100.0 * d.value), self.options[0])?;
                if let Some(i) = d.interval {
                    write!(f, " ({}..{})", short(100.0 * i.low), short(100.0 * i.high))?;
                }
            }
            writeln!(f)?;
        }
        for m in &self.means {
            writeln!(
                f,
                "{} [{}], {} less {}: {}",
                m.output, m.unit, m.option, self.options[0], m.difference
            )?;
        }
        if self.unpaired > 0 {
            writeln!(f, "{} draws left out of differences: not every option answered", self.unpaired)?;
        }
        write!(f, "{}", self.provenance[0])
    }
}
