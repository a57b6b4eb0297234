//! When a run counts as failing.
use super::error::StudyError;
use super::plan::Plan;
use super::runs::Runs;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Which side of the limit fails.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// Fails above this value, in the output's unit.
    Above(f64),
    /// Fails below this value, in the output's unit.
    Below(f64),
}

impl Limit {
    /// True when the value fails. NaN does not: a run without an answer is counted apart.
    #[inline]
    pub fn fails(self, value: f64) -> bool {
        match self {
            Self::Above(limit) => value > limit,
            Self::Below(limit) => value < limit,
        }
    }

    /// Distance to the limit: positive while it is kept, in the output's unit.
    #[inline]
    pub fn margin(self, value: f64) -> f64 {
        match self {
            Self::Above(limit) => limit - value,
            Self::Below(limit) => value - limit,
        }
    }
}

/// A named way to fail: one output and its limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Criterion {
    /// Name shown in the findings, such as "running lean".
    pub name: String,
    /// The output judged.
    pub output: String,
    /// Its limit.
    pub limit: Limit,
}

impl Criterion {
    /// Fails when the output is above `limit`.
    pub fn above(name: impl Into<String>, output: impl Into<String>, limit: f64) -> Self {
        Self { name: name.into(), output: output.into(), limit: Limit::Above(limit) }
    }

    /// Fails when the output is below `limit`.
    pub fn below(name: impl Into<String>, output: impl Into<String>, limit: f64) -> Self {
        Self { name: name.into(), output: output.into(), limit: Limit::Below(limit) }
    }
}

impl fmt::Display for Criterion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (side, limit) = match self.limit {
            Limit::Above(v) => (">", v),
            Limit::Below(v) => ("<", v),
        };
        write!(f, "{} ({} {side} {limit})", self.name, self.output)
    }
}

/// One run under a criterion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    Passes,
    Fails,
    NoAnswer,
}

/// Judges runs by some criteria; a run fails "any" when one of them fails.
pub(crate) struct Judge {
    parts: Vec<(usize, Limit)>,
}

impl Judge {
    pub(crate) fn new(plan: &Plan, criteria: &[Criterion]) -> Result<Self, StudyError> {
        if criteria.is_empty() {
            return Err(StudyError::Question("no criterion: say when a run counts as failing".into()));
        }
        let parts = criteria
            .iter()
            .map(|c| Ok((plan.output(&c.output)?, c.limit)))
            .collect::<Result<_, StudyError>>()?;
        Ok(Self { parts })
    }

    pub(crate) fn verdict(&self, runs: &Runs, row: usize) -> Verdict {
        let mut verdict = Verdict::Passes;
        for &(output, limit) in &self.parts {
            let value = runs.columns[output][row];
            if value.is_nan() {
                return Verdict::NoAnswer;
            }
            if limit.fails(value) {
                verdict = Verdict::Fails;
            }
        }
        verdict
    }
}
