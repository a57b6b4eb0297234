//! What was run: every answer, every failure and its reason, and where all of it came from.
use super::error::StudyError;
use super::model::Failure;
use super::plan::{Filler, Plan};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Read, Write};
use std::path::Path;

/// Why the runs ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// All of the plan was run.
    Complete,
    /// Stopped on request; what was done is kept.
    Cancelled,
    /// Paused to look at first results.
    Paused,
}

/// One kind of failure and how often it came.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reason {
    /// The kind of failure.
    pub reason: String,
    /// Runs that failed so.
    pub count: u64,
    /// The first few such runs, each with what happened.
    pub examples: Vec<(u64, String)>,
}

/// Where a result came from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Provenance {
    /// Seed of the draws.
    pub seed: u64,
    /// Runs done.
    pub runs: u64,
    /// Runs planned.
    pub planned: u64,
    /// What made the draws.
    pub generator: String,
    /// Version of this library.
    pub version: String,
    /// Fingerprint of inputs, laws, build and plan.
    pub input_hash: String,
    /// Why the runs ended.
    pub end: End,
}

impl fmt::Display for Provenance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} runs, seed {}, inputs {}, version {}",
            self.runs, self.seed, self.input_hash, self.version
        )?;
        match self.end {
            End::Complete => Ok(()),
            End::Cancelled => write!(f, "; cancelled, {} were planned", self.planned),
            End::Paused => write!(f, "; paused, {} are planned", self.planned),
        }
    }
}

/// The runs of a plan. They keep their plan, so a changed plan cannot be analysed with old runs.
#[derive(Clone, Debug)]
pub struct Runs {
    plan: Plan,
    pub(crate) columns: Vec<Vec<f64>>,
    reasons: Vec<Reason>,
    /// Failed runs and the place of their reason, by run.
    failed: Vec<(u64, u32)>,
    pub(crate) end: End,
    pub(crate) seconds: f64,
    version: String,
}

/// Examples kept of each kind of failure.
const EXAMPLES: usize = 5;

impl Runs {
    pub(crate) fn empty(plan: &Plan) -> Result<Self, StudyError> {
        plan.check()?;
        Ok(Self {
            columns: vec![Vec::new(); plan.outputs.len()],
            plan: plan.clone(),
            reasons: Vec::new(),
            failed: Vec::new(),
            end: End::Paused,
            seconds: 0.0,
            version: env!("CARGO_PKG_VERSION").into(),
        })
    }

    /// The plan these runs belong to.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Runs done.
    pub fn done(&self) -> u64 {
        self.columns.first().map_or(0, Vec::len) as u64
    }

    /// Why they ended.
    pub fn end(&self) -> End {
        self.end
    }

    /// Time spent running, seconds.
    pub fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Every answer of one output, by run; NaN where a run failed.
    pub fn output(&self, name: &str) -> Result<&[f64], StudyError> {
        Ok(&self.columns[self.plan.output(name)?])
    }

    /// The inputs of some runs, one column an input: computed again from the plan, not stored.
    pub fn inputs(&self, start: u64, count: usize) -> Result<Vec<Vec<f64>>, StudyError> {
        let filler = Filler::new(&self.plan)?;
        let count = count.min(self.plan.runs().saturating_sub(start) as usize);
        let mut columns = vec![vec![0.0; count]; self.plan.inputs.len()];
        if count > 0 {
            filler.fill(start, &mut columns.iter_mut().map(|c| c.as_mut_slice()).collect::<Vec<_>>());
        }
        Ok(columns)
    }

    /// Runs that gave no answer.
    pub fn failed_count(&self) -> u64 {
        self.failed.len() as u64
    }

    /// The failed runs, by run, each with its reason.
    pub fn failed(&self) -> impl Iterator<Item = (u64, &str)> {
        self.failed.iter().map(|&(run, r)| (run, self.reasons[r as usize].reason.as_str()))
    }

    /// The kinds of failure, with counts and examples.
    pub fn reasons(&self) -> &[Reason] {
        &self.reasons
    }

    /// Where these runs come from.
    pub fn provenance(&self) -> Provenance {
        Provenance {
            seed: self.plan.seed,
            runs: self.done(),
            planned: self.plan.runs(),
            generator: self.plan.generator().into(),
            version: self.version.clone(),
            input_hash: self.plan.input_hash(),
            end: self.end,
        }
    }

    pub(crate) fn ledger(&mut self) -> Ledger {
        Ledger { reasons: std::mem::take(&mut self.reasons), failed: std::mem::take(&mut self.failed) }
    }

    pub(crate) fn settle(&mut self, ledger: Ledger) {
        (self.reasons, self.failed) = ledger.settled();
    }

    /// Writes the runs to a file from which they can be read and resumed.
    ///
    /// Layout: one line of JSON (plan, reasons, counts, checksum), then each output's answers as 64-bit
    /// little-endian floating point.
    pub fn save(&self, path: &Path) -> Result<(), StudyError> {
        let fail = |e: std::io::Error| StudyError::File { path: path.into(), message: e.to_string() };
        let header = Header {
            plan: self.plan.clone(),
            reasons: self.reasons.clone(),
            failed: self.failed.clone(),
            end: self.end,
            seconds: self.seconds,
            version: self.version.clone(),
            done: self.done(),
            checksum: checksum(&self.columns),
        };
        let text = serde_json::to_string(&header).map_err(|e| fail(e.into()))?;
        // Written beside and moved into place, so that a crash cannot leave half a file under the name.
        let beside = path.with_extension("part");
        let mut out = BufWriter::new(File::create(&beside).map_err(fail)?);
        writeln!(out, "{text}").map_err(fail)?;
        for value in self.columns.iter().flatten() {
            out.write_all(&value.to_le_bytes()).map_err(fail)?;
        }
        out.into_inner().map_err(|e| fail(e.into_error()))?.sync_all().map_err(fail)?;
        std::fs::rename(&beside, path).map_err(fail)
    }

    /// Reads saved runs.
    pub fn load(path: &Path) -> Result<Self, StudyError> {
        let fail = |message: String| StudyError::File { path: path.into(), message };
        let mut input = BufReader::new(File::open(path).map_err(|e| fail(e.to_string()))?);
        let mut line = String::new();
        input.read_line(&mut line).map_err(|e| fail(format!("not a file of saved runs: {e}")))?;
        let header: Header =
            serde_json::from_str(&line).map_err(|e| fail(format!("not a file of saved runs: {e}")))?;
        header.plan.check()?;
        if header.done > header.plan.runs()
            || header.failed.iter().any(|f| f.1 as usize >= header.reasons.len())
        {
            return Err(fail("the file contradicts itself: run the study again".into()));
        }
        let mut columns = Vec::with_capacity(header.plan.outputs.len());
        let mut bytes = [0u8; 8];
        for _ in 0..header.plan.outputs.len() {
            let mut column = Vec::with_capacity(header.done as usize);
            for _ in 0..header.done {
                input
                    .read_exact(&mut bytes)
                    .map_err(|_| fail("the file is cut short: run the study again".into()))?;
                column.push(f64::from_le_bytes(bytes));
            }
            columns.push(column);
        }
        if checksum(&columns) != header.checksum {
            return Err(fail("the answers do not match their checksum: run the study again".into()));
        }
        if header.version != env!("CARGO_PKG_VERSION") {
            return Err(StudyError::Mismatch(format!(
                "{} was made by version {}, this is {}: run the study again",
                path.display(),
                header.version,
                env!("CARGO_PKG_VERSION")
            )));
        }
        Ok(Self {
            plan: header.plan,
            columns,
            reasons: header.reasons,
            failed: header.failed,
            end: header.end,
            seconds: header.seconds,
            version: header.version,
        })
    }
}

/// Failures as they come in, in any order; settled, they read the same whatever the order was.
pub(crate) struct Ledger {
    reasons: Vec<Reason>,
    failed: Vec<(u64, u32)>,
}

impl Ledger {
    pub(crate) fn len(&self) -> u64 {
        self.failed.len() as u64
    }

    pub(crate) fn note(&mut self, run: u64, failure: Failure) {
        let place = self.reasons.iter().position(|r| r.reason == failure.reason).unwrap_or_else(|| {
            self.reasons.push(Reason { reason: failure.reason, count: 0, examples: Vec::new() });
            self.reasons.len() - 1
        });
        let reason = &mut self.reasons[place];
        reason.count += 1;
        let at = reason.examples.partition_point(|e| e.0 < run);
        if at < EXAMPLES {
            reason.examples.insert(at, (run, failure.detail));
            reason.examples.truncate(EXAMPLES);
        }
        self.failed.push((run, place as u32));
    }

    fn settled(mut self) -> (Vec<Reason>, Vec<(u64, u32)>) {
        self.failed.sort_unstable();
        // Reasons in the order of their first run.
        let mut order: Vec<usize> = (0..self.reasons.len()).collect();
        order.sort_by_key(|&r| self.reasons[r].examples.first().map(|e| e.0));
        let mut renamed = vec![0; order.len()];
        for (new, &old) in order.iter().enumerate() {
            renamed[old] = new as u32;
        }
        for f in &mut self.failed {
            f.1 = renamed[f.1 as usize];
        }
        (order.iter().map(|&r| self.reasons[r].clone()).collect(), self.failed)
    }
}

#[derive(Serialize, Deserialize)]
struct Header {
    plan: Plan,
    reasons: Vec<Reason>,
    failed: Vec<(u64, u32)>,
    end: End,
    seconds: f64,
    version: String,
    done: u64,
    checksum: u64,
}

fn checksum(columns: &[Vec<f64>]) -> u64 {
    columns.iter().flatten().fold(0, |h: u64, v| super::sampling::mix(h.rotate_left(5) ^ v.to_bits()))
}
