//! What a study asks of a model: named inputs with their laws, named outputs, and a way to run it.
use super::error::StudyError;
use crate::spec::distribution::Distribution;
use serde::{Deserialize, Serialize};

/// Where an input's spread comes from; the nested study keeps the two apart.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spread {
    /// Differs from part to part or run to run: more measuring does not remove it (aleatory).
    #[default]
    Part,
    /// One value for this car that is not known yet: measuring removes it (epistemic).
    Knowledge,
}

/// An uncertain quantity of the model.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Input {
    /// Name, unique within the model.
    pub name: String,
    /// Unit the law is written in, and the model is given.
    pub unit: String,
    /// How it may spread.
    pub law: Distribution,
    /// Where the spread comes from.
    #[serde(default)]
    pub spread: Spread,
    /// Why the law is what it is, where nobody stated it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub basis: String,
}

impl Input {
    /// An input whose spread is from part to part.
    pub fn new(name: impl Into<String>, unit: impl Into<String>, law: Distribution) -> Self {
        Self { name: name.into(), unit: unit.into(), law, spread: Spread::Part, basis: String::new() }
    }

    /// The same input, its spread being missing knowledge that a measurement would remove.
    pub fn not_known_yet(mut self) -> Self {
        self.spread = Spread::Knowledge;
        self
    }
}

/// A quantity the model answers with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Output {
    /// Name, unique within the model.
    pub name: String,
    /// Unit of its values.
    pub unit: String,
}

impl Output {
    /// A named output in a unit.
    pub fn new(name: impl Into<String>, unit: impl Into<String>) -> Self {
        Self { name: name.into(), unit: unit.into() }
    }
}

/// Why one run of the model gave no answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Failure {
    /// The kind of failure, in words without values: runs are counted by it.
    pub reason: String,
    /// What happened in this run, with its values.
    pub detail: String,
}

impl Failure {
    /// A failure of a kind, with what happened.
    pub fn new(reason: impl Into<String>, detail: impl Into<String>) -> Self {
        Self { reason: reason.into(), detail: detail.into() }
    }
}

/// A model that can be studied.
///
/// A run depends on its inputs alone: neither on the runs before it nor on its neighbours in a block.
pub trait Model: Sync {
    /// The uncertain quantities, in the order runs receive them.
    fn inputs(&self) -> &[Input];
    /// The answers, in the order runs give them.
    fn outputs(&self) -> &[Output];
    /// Everything else the answer depends on (build, schedule, settings), as text for the input hash.
    fn identity(&self) -> String {
        String::new()
    }
    /// How runs are computed, in words; empty when there is but one way.
    fn way(&self) -> String {
        String::new()
    }
    /// A worker for one thread, with the memory it needs between runs.
    fn worker(&self) -> Box<dyn Worker + '_>;
}

/// Runs a model on one thread.
pub trait Worker {
    /// One run: inputs in, outputs written to `y`.
    fn run(&mut self, x: &[f64], y: &mut [f64]) -> Result<(), Failure>;

    /// Many runs at once; override where several can be computed side by side.
    fn run_block(&mut self, block: &mut Block) {
        for row in 0..block.len() {
            block.run_row(row, |x, y| self.run(x, y));
        }
    }
}

/// Inputs and outputs of a block of runs, each quantity one contiguous column.
#[derive(Debug)]
pub struct Block {
    len: usize,
    capacity: usize,
    inputs: Vec<f64>,
    outputs: Vec<f64>,
    failures: Vec<(usize, Failure)>,
    row_in: Vec<f64>,
    row_out: Vec<f64>,
}

impl Block {
    pub(crate) fn new(inputs: usize, outputs: usize, capacity: usize) -> Self {
        Self {
            len: 0,
            capacity,
            inputs: vec![0.0; inputs * capacity],
            outputs: vec![f64::NAN; outputs * capacity],
            failures: Vec::new(),
            row_in: vec![0.0; inputs],
            row_out: vec![0.0; outputs],
        }
    }

    pub(crate) fn reset(&mut self, len: usize) {
        self.len = len;
        self.outputs.fill(f64::NAN);
        self.failures.clear();
    }

    /// Number of runs.
    pub fn len(&self) -> usize {
        self.len
    }

    /// True without runs.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Values of input `j`, one a run.
    pub fn input(&self, j: usize) -> &[f64] {
        &self.inputs[j * self.capacity..][..self.len]
    }

    /// Values of output `j`, one a run, NaN until written.
    pub fn output(&self, j: usize) -> &[f64] {
        &self.outputs[j * self.capacity..][..self.len]
    }

    /// Values of output `j` for writing.
    pub fn output_mut(&mut self, j: usize) -> &mut [f64] {
        &mut self.outputs[j * self.capacity..][..self.len]
    }

    pub(crate) fn input_columns(&mut self) -> Vec<&mut [f64]> {
        let len = self.len;
        self.inputs.chunks_mut(self.capacity).map(|c| &mut c[..len]).collect()
    }

    /// Marks a run as failed; its outputs become NaN.
    pub fn fail(&mut self, row: usize, failure: Failure) {
        for column in self.outputs.chunks_mut(self.capacity) {
            column[row] = f64::NAN;
        }
        self.failures.push((row, failure));
    }

    /// Runs one row through `f`, keeping its outputs or its failure.
    pub fn run_row(&mut self, row: usize, f: impl FnOnce(&[f64], &mut [f64]) -> Result<(), Failure>) {
        for (x, column) in self.row_in.iter_mut().zip(self.inputs.chunks(self.capacity)) {
            *x = column[row];
        }
        self.row_out.fill(f64::NAN);
        match f(&self.row_in, &mut self.row_out) {
            Ok(()) => {
                for (y, column) in self.row_out.iter().zip(self.outputs.chunks_mut(self.capacity)) {
                    column[row] = *y;
                }
            }
            Err(failure) => self.fail(row, failure),
        }
    }

    pub(crate) fn take_failures(&mut self) -> Vec<(usize, Failure)> {
        let mut failures = std::mem::take(&mut self.failures);
        failures.sort_by_key(|f| f.0);
        failures.dedup_by_key(|f| f.0);
        failures
    }

    pub(crate) fn has_failed(&self, row: usize) -> bool {
        self.failures.iter().any(|f| f.0 == row)
    }
}

/// A model made of a function.
///
/// ```
/// use railrise::spec::distribution::Distribution;
/// use railrise::study::model::{Input, Output, FunctionModel};
/// let drop = FunctionModel::new(
///     vec![
///         Input::new("current", "A", Distribution::Normal { mean: 12.0, sd: 0.6 }),
///         Input::new("loop resistance", "ohm", Distribution::Lognormal { median: 0.060, sigma_ln: 0.5 }),
///     ],
///     vec![Output::new("voltage drop", "V")],
///     |x: &[f64]| Ok(vec![x[0] * x[1]]),
/// );
/// ```
pub struct FunctionModel<F> {
    inputs: Vec<Input>,
    outputs: Vec<Output>,
    function: F,
    identity: String,
}

impl<F> FunctionModel<F>
where
    F: Fn(&[f64]) -> Result<Vec<f64>, Failure> + Sync,
{
    /// A model from its inputs, outputs and a function from inputs to outputs, in the same orders.
    pub fn new(inputs: Vec<Input>, outputs: Vec<Output>, function: F) -> Self {
        Self { inputs, outputs, function, identity: String::new() }
    }

    /// Names what the function stands for, for the input hash.
    pub fn identified_as(mut self, identity: impl Into<String>) -> Self {
        self.identity = identity.into();
        self
    }
}

impl<F> Model for FunctionModel<F>
where
    F: Fn(&[f64]) -> Result<Vec<f64>, Failure> + Sync,
{
    fn inputs(&self) -> &[Input] {
        &self.inputs
    }
    fn outputs(&self) -> &[Output] {
        &self.outputs
    }
    fn identity(&self) -> String {
        self.identity.clone()
    }
    fn worker(&self) -> Box<dyn Worker + '_> {
        Box::new(FunctionWorker(&self.function))
    }
}

struct FunctionWorker<'a, F>(&'a F);

impl<F> Worker for FunctionWorker<'_, F>
where
    F: Fn(&[f64]) -> Result<Vec<f64>, Failure>,
{
    fn run(&mut self, x: &[f64], y: &mut [f64]) -> Result<(), Failure> {
        let answer = (self.0)(x)?;
        if answer.len() != y.len() {
            return Err(Failure::new(
                "wrong number of outputs",
                format!("{} outputs where {} are named", answer.len(), y.len()),
            ));
        }
        y.copy_from_slice(&answer);
        Ok(())
    }
}

/// The place of a name in a list, or an error with the names there are.
pub(crate) fn position<'a>(
    what: &'static str,
    names: impl Iterator<Item = &'a str> + Clone,
    name: &str,
) -> Result<usize, StudyError> {
    names.clone().position(|n| n == name).ok_or_else(|| StudyError::Unknown {
        what,
        name: name.into(),
        known: names.map(String::from).collect(),
    })
}
