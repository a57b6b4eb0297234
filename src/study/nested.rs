//! This one car against every car built so: missing knowledge outside, part spread inside.
use super::criterion::{Criterion, Judge, Verdict};
use super::error::StudyError;
use super::interval::{Interval, short};
use super::plan::Design;
use super::runs::{Provenance, Runs};
use super::summary::{QuantileKind, mean, quantile, sorted};
use serde::Serialize;
use std::fmt;

/// How the chance of failing spreads over what is not known yet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CarByCar {
    /// The criterion.
    pub criterion: String,
    /// Chance of failing of each possible car, in the order drawn; cars without any answer are left out.
    pub chances: Vec<f64>,
    /// Chance over all of them: the design rule for every car built so.
    pub overall: f64,
    /// Where the chance of one car lies, with the asked share of possible cars: what not knowing leaves open.
    pub band: Interval,
    /// Share of the variance of "fails or not" that comes from missing knowledge, less what the inner noise fakes.
    pub knowledge_share: f64,
    /// Inner runs without an answer.
    pub without_answer: u64,
    /// Where all of it comes from.
    pub provenance: Provenance,
}

impl Runs {
    /// The chance of failing, car by car.
    ///
    /// Formula: `p_o` = failing inner runs over answered ones for each outer draw; the band runs between the quantiles of the
    /// `p_o`; the share is `(Var(p_o) - mean(p_o (1-p_o)/(m-1))) / (p (1-p))`, at least 0, `m` inner runs. Range: the runs of a nested plan
    /// with two whole outer draws or more; otherwise an error.
    /// Source: A. Saltelli et al., Global Sensitivity Analysis (2008), ch. 1 (law of total variance).
    pub fn car_by_car(&self, criterion: &Criterion, coverage: f64) -> Result<CarByCar, StudyError> {
        let Design::Nested { inner, .. } = self.plan().design else {
            return Err(StudyError::Question(
                "only a nested plan keeps one car and all cars apart: make one with Plan::nested".into(),
            ));
        };
        let judge = Judge::new(self.plan(), std::slice::from_ref(criterion))?;
        let cars = (self.done() / inner) as usize;
        let mut chances = Vec::with_capacity(cars);
        let (mut noise, mut without_answer) = (0.0, 0);
        for car in 0..cars {
            let (mut k, mut n) = (0_u64, 0_u64);
            for row in car * inner as usize..(car + 1) * inner as usize {
                match judge.verdict(self, row) {
                    Verdict::NoAnswer => without_answer += 1,
                    v => {
                        n += 1;
                        k += u64::from(v == Verdict::Fails);
                    }
                }
            }
            if n > 0 {
                let p = k as f64 / n as f64;
                noise += if n > 1 { p * (1.0 - p) / (n as f64 - 1.0) } else { 0.0 };
                chances.push(p);
            }
        }
        if chances.len() < 2 {
            return Err(StudyError::Question(format!(
                "{} possible cars have answers: two are the least that can differ",
                chances.len()
            )));
        }
        let overall = mean(&chances);
        let count = chances.len() as f64;
        let between =
            chances.iter().map(|p| (p - overall).powi(2)).sum::<f64>() / (count - 1.0) - noise / count;
        let ordered = sorted(&chances);
        let tail = 0.5 * (1.0 - coverage);
        let all = overall * (1.0 - overall);
        Ok(CarByCar {
            criterion: criterion.name.clone(),
            band: Interval {
                low: quantile(&ordered, tail, QuantileKind::default()),
                high: quantile(&ordered, 1.0 - tail, QuantileKind::default()),
            },
            overall,
            knowledge_share: if all > 0.0 { (between / all).clamp(0.0, 1.0) } else { 0.0 },
            chances,
            without_answer,
            provenance: self.provenance(),
        })
    }
}

impl fmt::Display for CarByCar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let percent = |x: f64| short(100.0 * x);
        writeln!(
            f,
            "{}: {} % over every car built so; what is not known about this one could make it {}..{} %",
            self.criterion,
            percent(self.overall),
            percent(self.band.low),
            percent(self.band.high)
        )?;
        writeln!(f, "  {} % of the doubt would go with measuring", percent(self.knowledge_share))?;
        write!(f, "{}", self.provenance)
    }
}
