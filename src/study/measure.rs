//! What a measurement would be worth: how the chance of failing depends on one input's true value.
use super::contrast::{Contrast, Contrasts, Judged};
use super::criterion::{Criterion, Judge, Verdict};
use super::error::StudyError;
use super::interval::{Interval, short, wilson};
use super::model::Input;
use super::runs::Runs;
use super::sampling::mix;
use rayon::prelude::*;
use serde::Serialize;
use std::fmt;

/// The chance of failing for one range of the measured value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reading {
    /// Smallest and largest value of the range, in the input's unit.
    pub from: f64,
    /// Largest value of the range.
    pub to: f64,
    /// Draws in the range with an answer.
    pub draws: u64,
    /// Chance of failing there.
    pub chance: f64,
    /// Its interval, taking the draws as independent.
    pub interval: Interval,
}

/// What measuring one input would be worth for one criterion.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Worth {
    /// The input.
    pub input: String,
    /// Its unit.
    pub unit: String,
    /// The criterion.
    pub criterion: String,
    /// Chance of failing as things stand.
    pub chance: f64,
    /// How the chance depends on the value read, over ranges that are equally likely.
    pub readings: Vec<Reading>,
    /// Expected drop of `p (1 - p)`, the variance of "fails or not", as a share of what it is now: 0 when
    /// the measurement says nothing, 1 when it settles the matter.
    pub variance_drop: f64,
    /// Chance of failing among the cars one would still run after measuring, if one acts whenever the reading puts the
    /// chance above today's.
    pub chance_if_acted: f64,
    /// Share of readings after which one would act.
    pub share_acted: f64,
}

/// Equally likely ranges a reading is sorted into.
const RANGES: usize = 20;

impl Runs {
    /// What measuring each uncertain input exactly would be worth, most useful first.
    ///
    /// Formula: the draws are sorted by the input into 20 equally likely ranges with chances `p_r`; the expected variance left
    /// is the mean of the unbiased `p_r (1 - p_r) n_r / (n_r - 1)`. What is gained by acting is judged on one half of the draws where
    /// the other half chose the ranges, and the other way round, so that chance finds are not counted as gain.
    /// Range: 200 answers or more and both failing and passing runs; otherwise an error.
    /// Source: H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory (1961) for the value of information; the split is common practice.
    pub fn worth_of_measuring(
        &self,
        criterion: &Criterion,
        confidence: f64,
    ) -> Result<Vec<Worth>, StudyError> {
        let judged = Judged::new(self, criterion)?;
        judged.can_weigh()?;
        let mut all = Vec::new();
        self.each_input(|input, column| {
            all.push(judged.worth(input, &Sorted::of(column), confidence));
            Ok(())
        })?;
        Ok(ranked(all))
    }

    /// [`Runs::contrast`] and [`Runs::worth_of_measuring`] for several criteria; each input is drawn and sorted once. Criteria
    /// that (nearly) every run passes or fails have neither.
    pub fn levers(
        &self,
        criteria: &[Criterion],
        confidence: f64,
    ) -> Result<(Vec<Contrasts>, Vec<Vec<Worth>>), StudyError> {
        let judged = criteria.iter().map(|c| Judged::new(self, c)).collect::<Result<Vec<_>, _>>()?;
        let mut found: Vec<(Vec<Contrast>, Vec<Worth>)> = vec![Default::default(); judged.len()];
        self.each_input(|input, column| {
            let sorted = Sorted::of(column);
            found.par_iter_mut().zip(&judged).for_each(|((contrasts, worth), j)| {
                if j.can_contrast().is_ok() {
                    contrasts.push(j.contrast(input, column, confidence));
                }
                if j.can_weigh().is_ok() {
                    worth.push(j.worth(input, &sorted, confidence));
                }
            });
            Ok(())
        })?;
        let (mut contrasts, mut worth) = (Vec::new(), Vec::new());
        for ((c, w), j) in found.into_iter().zip(&judged) {
            if !c.is_empty() {
                contrasts.push(j.contrasts(c));
            }
            if !w.is_empty() {
                worth.push(ranked(w));
            }
        }
        Ok((contrasts, worth))
    }

    /// The chance of failing among the draws whose input lies within `from..=to`, with its Wilson interval.
    pub fn chance_if(
        &self,
        criterion: &Criterion,
        input: &str,
        from: f64,
        to: f64,
        confidence: f64,
    ) -> Result<Reading, StudyError> {
        self.sample_shape()?;
        let judge = Judge::new(self.plan(), std::slice::from_ref(criterion))?;
        let column = self.input_column(self.plan().input(input)?)?;
        let (mut k, mut n) = (0, 0);
        for (row, x) in column.iter().enumerate().filter(|(_, x)| (from..=to).contains(*x)) {
            debug_assert!(x.is_finite());
            match judge.verdict(self, row) {
                Verdict::NoAnswer => {}
                v => {
                    n += 1;
                    k += u64::from(v == Verdict::Fails);
                }
            }
        }
        if n == 0 {
            return Err(StudyError::Question(format!(
                "no draw of '{input}' with an answer lies within {from}..{to}: widen the range or run more"
            )));
        }
        Ok(Reading { from, to, draws: n, chance: k as f64 / n as f64, interval: wilson(k, n, confidence) })
    }
}

/// Most useful first.
fn ranked(mut all: Vec<Worth>) -> Vec<Worth> {
    all.sort_by(|a, b| b.variance_drop.total_cmp(&a.variance_drop));
    all
}

/// An input's values in ascending order, each with its run; equal values in the order of the runs.
struct Sorted(Vec<(f64, u32)>);

impl Sorted {
    fn of(column: &[f64]) -> Self {
        let mut all: Vec<(f64, u32)> = column.iter().zip(0..).map(|(x, r)| (*x, r)).collect();
        all.par_sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        Self(all)
    }
}

impl Judged {
    fn answers(&self) -> usize {
        self.fails + self.passes
    }

    fn can_weigh(&self) -> Result<(), StudyError> {
        let (fails, answers) = (self.fails, self.answers());
        if answers < 10 * RANGES || fails == 0 || fails == answers {
            return Err(StudyError::Question(format!(
                "{fails} of {answers} runs fail '{}': at least {} answers, some failing and some passing, are needed",
                self.criterion,
                10 * RANGES
            )));
        }
        Ok(())
    }

    fn worth(&self, input: &Input, sorted: &Sorted, confidence: f64) -> Worth {
        let verdict = |r: u32| self.verdicts[r as usize];
        let answers = self.answers();
        let chance = self.fails as f64 / answers as f64;
        let mut order = sorted.0.iter().filter(|&&(_, r)| verdict(r) != Verdict::NoAnswer);
        let mut readings = Vec::new();
        let (mut left, mut kept, mut kept_failing, mut acted) = (0.0, 0_u64, 0_u64, 0_u64);
        for range in 0..RANGES {
            let n = (range + 1) * answers / RANGES - range * answers / RANGES;
            let (mut from, mut to) = (f64::NAN, f64::NAN);
            let mut halves = [(0_u64, 0_u64); 2];
            for &(x, r) in order.by_ref().take(n) {
                from = if from.is_nan() { x } else { from };
                to = x;
                // By a hash: odd and even Sobol' points lie in different places.
                let half = (mix(u64::from(r)) >> 63) as usize;
                halves[half].1 += 1;
                halves[half].0 += u64::from(verdict(r) == Verdict::Fails);
            }
            let (n, k) = (n as u64, halves[0].0 + halves[1].0);
            let p = k as f64 / n as f64;
            left += p * (1.0 - p) * n as f64 / (n as f64 - 1.0) * n as f64 / answers as f64;
            readings.push(Reading { from, to, draws: n, chance: p, interval: wilson(k, n, confidence) });
            for (chooser, judged) in [(0, 1), (1, 0)] {
                let (chosen_k, chosen_n) = halves[chooser];
                let (k, n) = halves[judged];
                if chosen_n > 0 && chosen_k as f64 / chosen_n as f64 > chance {
                    acted += n;
                } else {
                    kept += n;
                    kept_failing += k;
                }
            }
        }
        Worth {
            input: input.name.clone(),
            unit: input.unit.clone(),
            criterion: self.criterion.clone(),
            chance,
            readings,
            variance_drop: 1.0 - left / (chance * (1.0 - chance) * answers as f64 / (answers as f64 - 1.0)),
            chance_if_acted: if kept > 0 { kept_failing as f64 / kept as f64 } else { 0.0 },
            share_acted: acted as f64 / answers as f64,
        }
    }
}

impl fmt::Display for Worth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |x: f64| short(100.0 * x);
        let best = self.readings.iter().min_by(|a, b| a.chance.total_cmp(&b.chance));
        write!(
            f,
            "Measure {}: it settles {} % of the doubt about '{}' ({} % now; {} % among those still run if one acts on a bad reading, {} % of readings)",
            self.input,
            percent(self.variance_drop.max(0.0)),
            self.criterion,
            percent(self.chance),
            percent(self.chance_if_acted),
            percent(self.share_acted)
        )?;
        if let Some(r) = best {
            write!(f, "; best at {}..{} {}: {} %", short(r.from), short(r.to), self.unit, percent(r.chance))?;
        }
        Ok(())
    }
}
