//! What the runs of a tolerance study say.
use super::criterion::{Criterion, Judge, Verdict};
use super::error::StudyError;
use super::interval::{self, Interval, short};
use super::plan::Design;
use super::runs::{Provenance, Reason, Runs};
use super::sampling::Sampling;
use super::summary::{QuantileKind, mean, quantile, shortest_coverage, sorted, standard_deviation};
use serde::{Deserialize, Serialize};
use std::fmt;

/// What is asked of the runs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Question {
    /// Ways to fail; each is answered alone, then "any".
    pub criteria: Vec<Criterion>,
    /// Percentiles wanted, as probabilities.
    pub percentiles: Vec<f64>,
    /// Confidence of every interval.
    pub confidence: f64,
    /// Half width a chance's interval should have; decides "enough" or "not enough".
    pub wanted_half_width: f64,
}

impl Default for Question {
    fn default() -> Self {
        Self {
            criteria: Vec::new(),
            percentiles: vec![0.05, 0.5, 0.95],
            confidence: 0.95,
            wanted_half_width: 0.01,
        }
    }
}

/// How an interval was made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Wilson's score interval on independent draws.
    Wilson,
    /// Clopper and Pearson's interval; used where few runs fail (or pass), and never too short.
    ClopperPearson,
    /// Ranks of the sorted sample.
    OrderStatistics,
    /// Student's t over independent repeats of a stratified sample.
    Repeats,
    /// Normal law of a mean of many independent draws.
    MeanOfDraws,
    /// No interval can be given; the reason stands in the findings' notes.
    None,
}

/// A number and its interval.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// The number.
    pub value: f64,
    /// Where the true one lies, at the asked confidence.
    pub interval: Option<Interval>,
    /// How the interval was made.
    pub method: Method,
}

impl fmt::Display for Estimate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", short(self.value))?;
        match self.interval {
            Some(i) => write!(f, " ({i})"),
            None => write!(f, " (no interval)"),
        }
    }
}

/// What is known of one output.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OutputFinding {
    /// Name of the output.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Runs with an answer.
    pub answers: u64,
    /// Mean.
    pub mean: Estimate,
    /// Standard deviation.
    pub sd: f64,
    /// Probability and estimate of each percentile asked for.
    pub percentiles: Vec<(f64, Estimate)>,
    /// Shortest interval holding the asked confidence's share of the answers.
    pub shortest: Interval,
    /// Smallest and largest answer.
    pub range: Interval,
}

/// The chance of failing one criterion, or any.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ChanceFinding {
    /// The criterion's name, or "any".
    pub name: String,
    /// Runs that fail.
    pub failing: u64,
    /// Runs with an answer.
    pub of: u64,
    /// Chance among them.
    pub chance: Estimate,
    /// Upper end of the interval if every run without an answer were a failure too.
    pub high_if_no_answer_fails: f64,
    /// "Enough" or "not enough, N more".
    pub convergence: Convergence,
}

/// Whether there were enough draws.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Convergence {
    /// True when the interval is as narrow as was asked.
    pub enough: bool,
    /// About how many more draws would be needed.
    pub more: u64,
    /// The same in words.
    pub words: String,
}

/// What the runs of a tolerance study say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Findings {
    /// Where all of it comes from.
    pub provenance: Provenance,
    /// Confidence of every interval.
    pub confidence: f64,
    /// One an output.
    pub outputs: Vec<OutputFinding>,
    /// One a criterion, then "any" when there are several.
    pub chances: Vec<ChanceFinding>,
    /// Runs without an answer.
    pub without_answer: u64,
    /// Why they have none.
    pub reasons: Vec<Reason>,
    /// What a reader must know before using the numbers.
    pub notes: Vec<String>,
}

/// Fewer failing (or passing) runs than this are judged by Clopper and Pearson's interval even for stratified draws:
/// repeats that mostly saw none say too little.
const FEW: u64 = 32;

impl Runs {
    /// Answers a question from the runs of a tolerance study.
    pub fn findings(&self, question: &Question) -> Result<Findings, StudyError> {
        let (sampling, per_repeat) = self.sample_shape()?;
        if !(question.confidence > 0.0 && question.confidence < 1.0) {
            return Err(StudyError::Question(format!(
                "confidence {}: it lies between 0 and 1, 0.95 is usual",
                question.confidence
            )));
        }
        let mut notes = Vec::new();
        let whole = (self.done() / per_repeat) as usize;
        if sampling != Sampling::Plain && whole < 2 {
            notes.push(format!(
                "{whole} whole repeat{} of a {sampling} sample: no honest interval can be given for means and percentiles; run at least two",
                if whole == 1 { "" } else { "s" }
            ));
        }
        if sampling != Sampling::Plain && !self.done().is_multiple_of(per_repeat) {
            notes.push(format!(
                "the last repeat is not whole ({} of {per_repeat} draws): its draws are in the numbers but not in the intervals",
                self.done() % per_repeat
            ));
        }
        if self.done() == 0 {
            return Err(StudyError::Question("no runs yet: run the plan first".into()));
        }
        if self.failed_count() > 0 {
            notes.push(format!(
                "{} of {} runs gave no answer; chances are among the others, and the worst case counts them as failing",
                self.failed_count(),
                self.done()
            ));
        }
        let outputs = (0..self.plan().outputs.len())
            .map(|j| self.output_finding(j, sampling, per_repeat as usize, question, &mut notes))
            .collect::<Result<_, _>>()?;
        let mut chances = Vec::new();
        for c in &question.criteria {
            chances.push(self.chance(&c.name, std::slice::from_ref(c), question)?);
        }
        if question.criteria.len() > 1 {
            chances.push(self.chance("any", &question.criteria, question)?);
        }
        Ok(Findings {
            provenance: self.provenance(),
            confidence: question.confidence,
            outputs,
            chances,
            without_answer: self.failed_count(),
            reasons: self.reasons().to_vec(),
            notes,
        })
    }

    pub(crate) fn sample_shape(&self) -> Result<(Sampling, u64), StudyError> {
        match self.plan().design {
            Design::Sample { sampling, per_repeat, .. } => Ok((sampling, per_repeat)),
            _ => Err(StudyError::Question(
                "these runs are not a random sample of the inputs: ask for what their plan was made for (indices, nested) or plan a tolerance study".into(),
            )),
        }
    }

    fn output_finding(
        &self,
        j: usize,
        sampling: Sampling,
        per_repeat: usize,
        question: &Question,
        notes: &mut Vec<String>,
    ) -> Result<OutputFinding, StudyError> {
        let column = &self.columns[j];
        let all = sorted(column);
        let repeats: Vec<Vec<f64>> = if sampling == Sampling::Plain {
            Vec::new()
        } else {
            column.chunks_exact(per_repeat).map(sorted).collect()
        };
        let name = &self.plan().outputs[j].name;
        let from_repeats = |value: &dyn Fn(&[f64]) -> f64| {
            let values: Vec<f64> = repeats.iter().filter(|r| !r.is_empty()).map(|r| value(r)).collect();
            (values.len() >= 2).then(|| interval::of_mean(&values, question.confidence))
        };
        let value = mean(&all);
        let sd = standard_deviation(&all);
        let mean_estimate = if sampling == Sampling::Plain {
            Estimate {
                value,
                interval: Some(interval::of_mean(&all, question.confidence)),
                method: Method::MeanOfDraws,
            }
        } else {
            let i = from_repeats(&mean);
            Estimate { value, interval: i, method: if i.is_some() { Method::Repeats } else { Method::None } }
        };
        let mut percentiles = Vec::new();
        for &p in &question.percentiles {
            if !(p > 0.0 && p < 1.0) {
                return Err(StudyError::Question(format!("percentile {p}: it lies between 0 and 1")));
            }
            let value = quantile(&all, p, QuantileKind::default());
            let beyond = p.min(1.0 - p) * all.len() as f64;
            let (interval, method) = if sampling == Sampling::Plain || beyond < FEW as f64 {
                match interval::quantile_ranks(all.len() as u64, p, question.confidence) {
                    Some(r) => (
                        Some(Interval { low: all[r.low as usize - 1], high: all[r.high as usize - 1] }),
                        Method::OrderStatistics,
                    ),
                    None => {
                        let least = interval::least_draws_for_quantile(p, question.confidence);
                        notes.push(format!(
                            "{name}: {} draws are too few for an interval of the {} % point; {} are the least",
                            all.len(),
                            short(100.0 * p),
                            least.map_or("many".into(), |n| n.to_string())
                        ));
                        (None, Method::None)
                    }
                }
            } else {
                // Woodruff, J. Amer. Statist. Assoc. 47 (1952) 635-646: the interval of the share below the point, read
                // back through the sample. Short repeats would bias the points themselves.
                let below = |r: &[f64]| r.partition_point(|y| *y <= value) as f64 / r.len() as f64;
                match from_repeats(&below) {
                    Some(i) => {
                        let half = i.half_width().max(1.0 / all.len() as f64);
                        let at = |p: f64| quantile(&all, p.clamp(0.0, 1.0), QuantileKind::default());
                        (Some(Interval { low: at(p - half), high: at(p + half) }), Method::Repeats)
                    }
                    None => (None, Method::None),
                }
            };
            percentiles.push((p, Estimate { value, interval, method }));
        }
        Ok(OutputFinding {
            name: name.clone(),
            unit: self.plan().outputs[j].unit.clone(),
            answers: all.len() as u64,
            mean: mean_estimate,
            sd,
            percentiles,
            shortest: shortest_coverage(&all, question.confidence),
            range: Interval {
                low: all.first().copied().unwrap_or(f64::NAN),
                high: all.last().copied().unwrap_or(f64::NAN),
            },
        })
    }

    /// The chance that any of some criteria fails.
    pub fn chance(
        &self,
        name: &str,
        criteria: &[Criterion],
        question: &Question,
    ) -> Result<ChanceFinding, StudyError> {
        let (sampling, per_repeat) = self.sample_shape()?;
        let judge = Judge::new(self.plan(), criteria)?;
        let (mut failing, mut of) = (0_u64, 0_u64);
        let mut repeats: Vec<(u64, u64)> = vec![(0, 0); (self.done() / per_repeat) as usize];
        for row in 0..self.done() as usize {
            let fails = match judge.verdict(self, row) {
                Verdict::NoAnswer => continue,
                verdict => u64::from(verdict == Verdict::Fails),
            };
            failing += fails;
            of += 1;
            if let Some(r) = repeats.get_mut(row / per_repeat as usize) {
                r.0 += fails;
                r.1 += 1;
            }
        }
        let n = self.done();
        let estimate = |k: u64, of: u64, shares: &[f64]| {
            let value = k as f64 / of as f64;
            let few = k < FEW || of - k < FEW;
            let (interval, method) = if of == 0 {
                (None, Method::None)
            } else if few {
                (Some(interval::clopper_pearson(k, of, question.confidence)), Method::ClopperPearson)
            } else if sampling == Sampling::Plain || shares.len() < 2 {
                (Some(interval::wilson(k, of, question.confidence)), Method::Wilson)
            } else {
                let i = interval::of_mean(shares, question.confidence);
                (Some(Interval { low: i.low.max(0.0), high: i.high.min(1.0) }), Method::Repeats)
            };
            Estimate { value, interval, method }
        };
        let shares: Vec<f64> = repeats.iter().filter(|r| r.1 > 0).map(|r| r.0 as f64 / r.1 as f64).collect();
        let chance = estimate(failing, of, &shares);
        let worst: Vec<f64> =
            repeats.iter().map(|r| (r.0 + per_repeat - r.1) as f64 / per_repeat as f64).collect();
        let high = estimate(failing + n - of, n, &worst).interval.map_or(1.0, |i| i.high);
        let convergence = convergence(&chance, failing, of, question);
        Ok(ChanceFinding {
            name: name.into(),
            failing,
            of,
            chance,
            high_if_no_answer_fails: high,
            convergence,
        })
    }
}

/// Says whether there were enough draws; the error is taken to fall as the root of their number, which
/// stratified draws beat.
fn convergence(chance: &Estimate, failing: u64, of: u64, question: &Question) -> Convergence {
    let Some(i) = chance.interval else {
        return Convergence { enough: false, more: 0, words: "not enough: no run gave an answer".into() };
    };
    let (half, wanted) = (i.half_width(), question.wanted_half_width);
    let reached = as_doubtful(100.0 * half, 100.0 * half);
    let asked = short(100.0 * wanted);
    if half <= wanted {
        return Convergence {
            enough: true,
            more: 0,
            words: format!("enough: ±{reached} % (asked ±{asked} %)"),
        };
    }
    let needed = if failing == 0 || failing == of {
        // Clopper and Pearson with none failing: the interval is 1 - (a/2)^(1/n) wide.
        ((0.5 * (1.0 - question.confidence)).ln() / (-2.0 * wanted).ln_1p()).ceil()
    } else {
        (of as f64 * (half / wanted).powi(2)).ceil()
    };
    let more = (needed - of as f64).max(1.0) as u64;
    // Two figures are all such a forecast is worth.
    let unit = 10_u64.pow((more as f64).log10().floor().max(1.0) as u32 - 1);
    let more = more.div_ceil(unit) * unit;
    Convergence {
        enough: false,
        more,
        words: format!("not enough: ±{reached} % (asked ±{asked} %); about {more} more draws"),
    }
}

impl Findings {
    /// The finding about one output.
    pub fn output(&self, name: &str) -> Result<&OutputFinding, StudyError> {
        let i = super::model::position("output", self.outputs.iter().map(|o| o.name.as_str()), name)?;
        Ok(&self.outputs[i])
    }

    /// The finding about one criterion, or "any".
    pub fn chance(&self, name: &str) -> Result<&ChanceFinding, StudyError> {
        let i = super::model::position("criterion", self.chances.iter().map(|c| c.name.as_str()), name)?;
        Ok(&self.chances[i])
    }
}

impl ChanceFinding {
    /// The sentence a tuner can act on.
    pub fn sentence(&self, from: &Provenance, confidence: f64) -> String {
        let Some(i) = self.chance.interval else {
            return format!("The chance of {} is not known: no run gave an answer.", self.name);
        };
        let percent = |x: f64| as_doubtful(100.0 * x, 100.0 * i.half_width());
        format!(
            "The chance of {} is {} % ({} % interval {} to {} %, {} draws, seed {}).",
            self.name,
            percent(self.chance.value),
            short(100.0 * confidence),
            percent(i.low),
            percent(i.high),
            from.runs,
            from.seed
        )
    }
}

/// A number to the figures that its doubt leaves: two of the doubt's.
fn as_doubtful(x: f64, doubt: f64) -> String {
    let decimals = if doubt > 0.0 { (1 - doubt.log10().floor() as i32).clamp(0, 8) } else { 3 };
    format!("{x:.*}", decimals as usize)
}

impl fmt::Display for Findings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for o in &self.outputs {
            writeln!(f, "{} [{}]: mean {}, sd {}", o.name, o.unit, o.mean, short(o.sd))?;
            for (p, e) in &o.percentiles {
                writeln!(f, "  {:>5} % point {e}", short(100.0 * p))?;
            }
        }
        for c in &self.chances {
            writeln!(f, "{}", c.sentence(&self.provenance, self.confidence))?;
            writeln!(f, "  {}", c.convergence.words)?;
        }
        for r in &self.reasons {
            write!(f, "{} runs without an answer: {}", r.count, r.reason)?;
            match r.examples.first() {
                Some((run, detail)) if !detail.is_empty() => writeln!(f, " (run {run}: {detail})")?,
                _ => writeln!(f)?,
            }
        }
        for note in &self.notes {
            writeln!(f, "Note: {note}")?;
        }
        write!(f, "{}", self.provenance)
    }
}
