//! One input at a time, from its low to its high end, all others at their medians.
use super::error::StudyError;
use super::interval::short;
use super::model::Model;
use super::plan::Plan;
use super::runs::Runs;
use serde::Serialize;
use std::fmt;

/// The swing one input causes by itself, in the output's unit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Swing {
    /// The input.
    pub input: String,
    /// Its unit.
    pub unit: String,
    /// Low and high value of the input.
    pub ends: (f64, f64),
    /// Answers at them; NaN where a run gave none.
    pub answers: (f64, f64),
}

impl Swing {
    /// Distance between the answers; NaN where one is missing.
    pub fn width(&self) -> f64 {
        (self.answers.1 - self.answers.0).abs()
    }
}

/// Swings of one output, the widest first; those without an answer lead, as nothing is known of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tornado {
    /// The output.
    pub output: String,
    /// Its unit.
    pub unit: String,
    /// Answer with every input at its median; NaN if that run gave none.
    pub middle: f64,
    /// Probabilities the ends stand for.
    pub ends: (f64, f64),
    /// One an uncertain input.
    pub swings: Vec<Swing>,
}

impl Tornado {
    /// Plans and runs the swings between two quantiles of every uncertain input (0.05 and 0.95 are usual).
    ///
    /// A swing says nothing about inputs acting together; see [`Runs::indices`].
    pub fn run(model: &dyn Model, low: f64, high: f64) -> Result<Vec<Self>, StudyError> {
        if !(low > 0.0 && low < high && high < 1.0) {
            return Err(StudyError::Question(format!("ends {low} and {high}: 0 < low < high < 1 is needed")));
        }
        let inputs = model.inputs();
        let at = |i: usize, p: f64| {
            inputs[i]
                .law
                .quantile(p)
                .map_err(|error| StudyError::Input { name: inputs[i].name.clone(), error })
        };
        let medians = (0..inputs.len()).map(|i| at(i, 0.5)).collect::<Result<Vec<_>, _>>()?;
        let uncertain: Vec<usize> = (0..inputs.len()).filter(|&i| !inputs[i].law.is_fixed()).collect();
        let mut points = vec![medians.clone()];
        for &i in &uncertain {
            for p in [low, high] {
                let mut point = medians.clone();
                point[i] = at(i, p)?;
                points.push(point);
            }
        }
        let runs: Runs = Plan::listed(model, points.clone()).run(model)?;
        model
            .outputs()
            .iter()
            .map(|output| {
                let y = runs.output(&output.name)?;
                let mut swings: Vec<Swing> = uncertain
                    .iter()
                    .enumerate()
                    .map(|(k, &i)| Swing {
                        input: inputs[i].name.clone(),
                        unit: inputs[i].unit.clone(),
                        ends: (points[1 + 2 * k][i], points[2 + 2 * k][i]),
                        answers: (y[1 + 2 * k], y[2 + 2 * k]),
                    })
                    .collect();
                let weight = |s: &Swing| if s.width().is_nan() { f64::INFINITY } else { s.width() };
                swings.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
                Ok(Self {
                    output: output.name.clone(),
                    unit: output.unit.clone(),
                    middle: y[0],
                    ends: (low, high),
                    swings,
                })
            })
            .collect()
    }
}

impl fmt::Display for Tornado {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} [{}], {} with every input at its median:", self.output, self.unit, short(self.middle))?;
        for s in &self.swings {
            write!(
                f,
                "\n  {} {}..{} {}: {} to {}",
                s.input,
                short(s.ends.0),
                short(s.ends.1),
                s.unit,
                short(s.answers.0),
                short(s.answers.1)
            )?;
        }
        Ok(())
    }
}
