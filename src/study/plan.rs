//! What will be run: inputs, laws, draws and seed, fixed before the first run.
use super::error::StudyError;
use super::model::{Block, Input, Model, Output, Spread, position};
use super::sampling::{Sampling, Source, correlation::Copula, name_key};
use crate::spec::distribution::Quantile;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::time::{Duration, Instant};

/// Inputs that are varied together in a sensitivity study.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Group {
    /// Name shown in the findings.
    pub name: String,
    /// Inputs taking part.
    pub inputs: Vec<String>,
}

/// A wanted rank correlation between two inputs (Spearman, dimensionless, strictly between -1 and 1).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Correlation {
    /// One input.
    pub a: String,
    /// The other.
    pub b: String,
    /// Rank correlation.
    pub rank: f64,
}

/// The shape of the set of runs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "shape", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Design {
    /// A random sample, or several independent repeats of one.
    Sample {
        /// How the draws are spread.
        sampling: Sampling,
        /// Draws in each repeat.
        per_repeat: u64,
        /// Independent repeats.
        repeats: u64,
    },
    /// Two samples A and B, and A with one group's columns taken from B: `base (groups + 2)` runs.
    Sensitivity {
        /// How the draws are spread.
        sampling: Sampling,
        /// Rows of A.
        base: u64,
        /// Groups; an input of its own is a group of one.
        groups: Vec<Group>,
    },
    /// Missing knowledge outside, part spread inside: `outer inner` runs, the same inner draws for each outer one.
    Nested {
        /// How the draws are spread.
        sampling: Sampling,
        /// Possible cars.
        outer: u64,
        /// Runs for each.
        inner: u64,
    },
    /// Given points, each a list of the inputs' values.
    Listed {
        /// One list a run.
        points: Vec<Vec<f64>>,
    },
}

/// A plan: everything that decides the runs. Change it and it is another plan; runs keep their own copy.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    pub(crate) inputs: Vec<Input>,
    pub(crate) outputs: Vec<Output>,
    pub(crate) model: String,
    pub(crate) design: Design,
    pub(crate) seed: u64,
    pub(crate) correlations: Vec<Correlation>,
    /// Names the draws belong to, in the order of the Sobol' dimensions.
    pub(crate) dimensions: Vec<String>,
}

/// Repeats from which intervals of stratified draws are taken, unless asked otherwise.
pub const REPEATS: u64 = 16;

/// What a plan will take, known before it runs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cost {
    /// Runs of the model.
    pub runs: u64,
    /// Memory for the answers, bytes.
    pub memory: u64,
    /// Time on this machine, from a few trial runs.
    pub time: Duration,
    /// Threads counted on.
    pub threads: usize,
    /// How runs are computed.
    pub way: String,
}

impl fmt::Display for Cost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} runs, about {} on {} thread{}, {:.1} MiB",
            self.runs,
            in_words(self.time),
            self.threads,
            if self.threads == 1 { "" } else { "s" },
            self.memory as f64 / (1 << 20) as f64
        )?;
        if self.way.is_empty() { Ok(()) } else { write!(f, "; {}", self.way) }
    }
}

/// A duration in the unit a reader would choose.
pub(crate) fn in_words(time: Duration) -> String {
    let s = time.as_secs_f64();
    if s < 1e-3 {
        format!("{:.0} us", s * 1e6)
    } else if s < 1.0 {
        format!("{:.0} ms", s * 1e3)
    } else if s < 120.0 {
        format!("{s:.1} s")
    } else if s < 7200.0 {
        format!("{:.0} min", s / 60.0)
    } else {
        format!("{:.1} h", s / 3600.0)
    }
}

impl Plan {
    fn new(model: &dyn Model, design: Design) -> Self {
        Self {
            inputs: model.inputs().to_vec(),
            outputs: model.outputs().to_vec(),
            model: model.identity(),
            design,
            seed: 1,
            correlations: Vec::new(),
            dimensions: model.inputs().iter().map(|i| i.name.clone()).collect(),
        }
    }

    /// A tolerance study: 16 repeats of 256 scrambled Sobol' points unless asked otherwise.
    pub fn tolerance(model: &dyn Model) -> Self {
        Self::new(model, Design::Sample { sampling: Sampling::Sobol, per_repeat: 256, repeats: REPEATS })
    }

    /// A sensitivity study with `base` rows and every uncertain input a group of its own.
    ///
    /// `base` is best a power of two. Inputs with a fixed value take no runs.
    pub fn sensitivity(model: &dyn Model, base: u64) -> Self {
        let groups = model
            .inputs()
            .iter()
            .filter(|i| !i.law.is_fixed())
            .map(|i| Group { name: i.name.clone(), inputs: vec![i.name.clone()] })
            .collect();
        Self::new(model, Design::Sensitivity { sampling: Sampling::Sobol, base, groups })
    }

    /// "This car" against "every such car": `outer` draws of what is not known yet, each with the same `inner` draws of
    /// the part spread.
    pub fn nested(model: &dyn Model, outer: u64, inner: u64) -> Self {
        Self::new(model, Design::Nested { sampling: Sampling::Sobol, outer, inner })
    }

    /// Runs at given points, each a list of the inputs' values in the model's order.
    pub fn listed(model: &dyn Model, points: Vec<Vec<f64>>) -> Self {
        Self::new(model, Design::Listed { points })
    }

    /// At least this many draws in all. Sobol' points are rounded up to a power of two a repeat.
    pub fn draws(mut self, draws: u64) -> Self {
        if let Design::Sample { sampling, per_repeat, repeats } = &mut self.design {
            *per_repeat = share(*sampling, draws, *repeats);
        }
        self
    }

    /// How draws are spread. Plain draws need no repeats; stratified ones get 16 unless [`Plan::repeats`] says otherwise.
    pub fn sampling(mut self, wanted: Sampling) -> Self {
        match &mut self.design {
            Design::Sample { sampling, per_repeat, repeats } => {
                let draws = *per_repeat * *repeats;
                *sampling = wanted;
                *repeats = if wanted == Sampling::Plain { 1 } else { REPEATS };
                *per_repeat = share(wanted, draws, *repeats);
            }
            Design::Sensitivity { sampling, .. } | Design::Nested { sampling, .. } => *sampling = wanted,
            Design::Listed { .. } => {}
        }
        self
    }

    /// Independent repeats the draws are shared over; intervals of stratified draws need at least two.
    pub fn repeats(mut self, wanted: u64) -> Self {
        if let Design::Sample { sampling, per_repeat, repeats } = &mut self.design {
            let draws = *per_repeat * *repeats;
            *repeats = wanted;
            *per_repeat = share(*sampling, draws, wanted.max(1));
        }
        self
    }

    /// The seed; one seed gives one result on any number of threads.
    pub fn seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }

    /// Makes two inputs go together with a rank correlation (Gaussian copula).
    pub fn correlate(mut self, a: impl Into<String>, b: impl Into<String>, rank: f64) -> Self {
        self.correlations.push(Correlation { a: a.into(), b: b.into(), rank });
        self
    }

    /// In a sensitivity study, moves several inputs together as one group.
    pub fn group(mut self, name: impl Into<String>, inputs: &[&str]) -> Self {
        if let Design::Sensitivity { groups, .. } = &mut self.design {
            groups.retain(|g| !(g.inputs.len() == 1 && inputs.contains(&g.inputs[0].as_str())));
            groups.push(Group { name: name.into(), inputs: inputs.iter().map(|i| i.to_string()).collect() });
        }
        self
    }

    /// Names the draws belong to; options that share them share their draws.
    pub(crate) fn over(mut self, dimensions: &[String]) -> Self {
        self.dimensions = dimensions.to_vec();
        self
    }

    /// The inputs with their laws.
    pub fn inputs(&self) -> &[Input] {
        &self.inputs
    }

    /// The outputs.
    pub fn outputs(&self) -> &[Output] {
        &self.outputs
    }

    /// The shape of the set of runs.
    pub fn design(&self) -> &Design {
        &self.design
    }

    /// The seed.
    pub fn seed_used(&self) -> u64 {
        self.seed
    }

    /// What made the draws.
    pub fn generator(&self) -> &'static str {
        match self.design {
            Design::Sample { sampling, .. }
            | Design::Sensitivity { sampling, .. }
            | Design::Nested { sampling, .. } => sampling.generator(),
            Design::Listed { .. } => "given points",
        }
    }

    /// Number of runs.
    pub fn runs(&self) -> u64 {
        match &self.design {
            Design::Sample { per_repeat, repeats, .. } => per_repeat * repeats,
            Design::Sensitivity { base, groups, .. } => base * (groups.len() as u64 + 2),
            Design::Nested { outer, inner, .. } => outer * inner,
            Design::Listed { points } => points.len() as u64,
        }
    }

    /// A fingerprint of everything that decides the runs: 64-bit FNV-1a over the plan written as JSON.
    pub fn input_hash(&self) -> String {
        let text = serde_json::to_string(self).expect("a plan has only plain data");
        format!("{:016x}", name_key(&text))
    }

    /// Runs done side by side; part of the plan so that a block always holds the same runs.
    pub(crate) fn block(&self) -> u64 {
        let even = (self.runs() / 256).next_power_of_two().clamp(8, 1024);
        match &self.design {
            Design::Sensitivity { groups, .. } => {
                let rows = groups.len() as u64 + 2;
                rows * (even / rows).max(1)
            }
            _ => even,
        }
    }

    /// What the plan will take, timed on a few of its first runs: one by one, then as many side by side as the plan does
    /// when they are quick.
    pub fn cost(&self, model: &dyn Model) -> Result<Cost, StudyError> {
        const TRIAL: Duration = Duration::from_millis(50);
        let filler = Filler::new(self)?;
        self.matches(model)?;
        let mut worker = model.worker();
        let mut block = Block::new(self.inputs.len(), self.outputs.len(), self.block() as usize);
        let (mut tried, mut len) = (0, 1);
        let (mut each, started) = (f64::INFINITY, Instant::now());
        while tried < self.runs() && started.elapsed() < TRIAL {
            len = len.min(self.runs() - tried);
            let now = Instant::now();
            block.reset(len as usize);
            filler.fill(tried, &mut block.input_columns());
            // Failing runs take their time all the same.
            worker.run_block(&mut block);
            each = now.elapsed().as_secs_f64() / len as f64;
            tried += len;
            len = (4 * len).min(self.block()).min(((0.5 * TRIAL.as_secs_f64() / each) as u64).max(1));
        }
        let threads = rayon::current_num_threads();
        Ok(Cost {
            runs: self.runs(),
            // Answers; an input with its order beside them.
            memory: self.runs() * 8 * (self.outputs.len() as u64 + 3),
            time: Duration::from_secs_f64(each * self.runs() as f64 / threads as f64),
            threads,
            way: model.way(),
        })
    }

    /// Refuses a model other than the one the plan was made for.
    pub(crate) fn matches(&self, model: &dyn Model) -> Result<(), StudyError> {
        if self.inputs != model.inputs() || self.outputs != model.outputs() || self.model != model.identity()
        {
            return Err(StudyError::Mismatch(
                "the model is not the one this plan was made for (inputs, outputs or build differ): make a new plan"
                    .into(),
            ));
        }
        Ok(())
    }

    /// Refuses a plan that makes no sense, saying why.
    pub fn check(&self) -> Result<(), StudyError> {
        Filler::new(self).map(drop)
    }

    pub(crate) fn output(&self, name: &str) -> Result<usize, StudyError> {
        position("output", self.outputs.iter().map(|o| o.name.as_str()), name)
    }

    pub(crate) fn input(&self, name: &str) -> Result<usize, StudyError> {
        position("input", self.inputs.iter().map(|i| i.name.as_str()), name)
    }
}

fn share(sampling: Sampling, draws: u64, repeats: u64) -> u64 {
    let each = draws.div_ceil(repeats.max(1)).max(1);
    if sampling == Sampling::Sobol { each.next_power_of_two() } else { each }
}

/// Computes the inputs of any run of a plan.
pub(crate) struct Filler<'p> {
    plan: &'p Plan,
    quantiles: Vec<Quantile>,
    copula: Option<Copula>,
    sources: Vec<Source>,
    /// Place of each input among the sources' dimensions.
    place: Vec<usize>,
    /// Group of each input in a sensitivity study.
    group: Vec<Option<usize>>,
}

impl<'p> Filler<'p> {
    pub(crate) fn new(plan: &'p Plan) -> Result<Self, StudyError> {
        let names: Vec<&str> = plan.inputs.iter().map(|i| i.name.as_str()).collect();
        for (what, list) in
            [("input", names.clone()), ("output", plan.outputs.iter().map(|o| o.name.as_str()).collect())]
        {
            if list.is_empty() {
                return Err(StudyError::Plan(format!("the model has no {what}: nothing to study")));
            }
            if let Some((i, name)) = list.iter().enumerate().find(|(i, n)| list[..*i].contains(n)) {
                return Err(StudyError::Plan(format!(
                    "{what} {} repeats the name '{name}': names must differ",
                    i + 1
                )));
            }
        }
        if plan.runs() == 0 {
            return Err(StudyError::Plan("the plan has no runs: ask for at least one".into()));
        }
        let quantiles = plan
            .inputs
            .iter()
            .map(|i| i.law.prepare().map_err(|error| StudyError::Input { name: i.name.clone(), error }))
            .collect::<Result<_, _>>()?;
        let place = names
            .iter()
            .map(|n| position("input", plan.dimensions.iter().map(String::as_str), n))
            .collect::<Result<Vec<_>, _>>()?;
        let pairs = plan
            .correlations
            .iter()
            .map(|c| Ok((plan.input(&c.a)?, plan.input(&c.b)?, c.rank)))
            .collect::<Result<Vec<_>, StudyError>>()?;
        let owned: Vec<String> = names.iter().map(|n| n.to_string()).collect();
        let copula = if pairs.is_empty() { None } else { Some(Copula::new(&owned, &pairs)?) };
        let mut group = vec![None; names.len()];
        let sources = match &plan.design {
            Design::Sample { sampling, per_repeat, repeats } => {
                vec![Source::new(*sampling, &plan.dimensions, *per_repeat, *repeats, plan.seed)?]
            }
            Design::Sensitivity { sampling, base, groups } => {
                for (g, members) in groups.iter().enumerate() {
                    for member in &members.inputs {
                        let i = plan.input(member)?;
                        if let Some(other) = group[i].replace(g) {
                            return Err(StudyError::Plan(format!(
                                "input '{member}' is in groups '{}' and '{}': one is enough",
                                groups[other].name, members.name
                            )));
                        }
                    }
                }
                if let Some(i) =
                    (0..names.len()).find(|&i| group[i].is_none() && !plan.inputs[i].law.is_fixed())
                {
                    return Err(StudyError::Plan(format!(
                        "input '{}' is uncertain but in no group: put it in one",
                        names[i]
                    )));
                }
                if let Some(p) = pairs.iter().find(|p| group[p.0] != group[p.1]) {
                    return Err(StudyError::Plan(format!(
                        "'{}' and '{}' are correlated but in different groups: shares of variance are only defined between independent groups; put them in one",
                        names[p.0], names[p.1]
                    )));
                }
                let twice: Vec<String> = plan
                    .dimensions
                    .iter()
                    .cloned()
                    .chain(plan.dimensions.iter().map(|n| format!("{n} (second sample)")))
                    .collect();
                vec![Source::new(*sampling, &twice, *base, 1, plan.seed)?]
            }
            Design::Nested { sampling, outer, inner } => {
                if let Some(p) = pairs.iter().find(|p| plan.inputs[p.0].spread != plan.inputs[p.1].spread) {
                    return Err(StudyError::Plan(format!(
                        "'{}' and '{}' are correlated, but one is part spread and the other missing knowledge: a nested study keeps these apart",
                        names[p.0], names[p.1]
                    )));
                }
                vec![
                    Source::new(*sampling, &plan.dimensions, *outer, 1, plan.seed)?,
                    Source::new(*sampling, &plan.dimensions, *inner, 1, plan.seed ^ 0x696e_6e65_7221)?,
                ]
            }
            Design::Listed { points } => {
                if let Some((i, p)) = points.iter().enumerate().find(|(_, p)| p.len() != names.len()) {
                    return Err(StudyError::Plan(format!(
                        "point {i} has {} values for {} inputs: give one an input",
                        p.len(),
                        names.len()
                    )));
                }
                Vec::new()
            }
        };
        Ok(Self { plan, quantiles, copula, sources, place, group })
    }

    /// Inputs of runs `start..`, one column an input.
    pub(crate) fn fill(&self, start: u64, columns: &mut [&mut [f64]]) {
        match &self.plan.design {
            Design::Sample { .. } => {
                self.draw(columns, |j, column| self.sources[0].fill(self.place[j], start, column));
            }
            Design::Sensitivity { groups, .. } => self.fill_sensitivity(groups.len(), start, columns),
            Design::Nested { inner, .. } => self.fill_nested(*inner, start, columns),
            Design::Listed { points } => {
                for (j, column) in columns.iter_mut().enumerate() {
                    for (value, point) in column.iter_mut().zip(&points[start as usize..]) {
                        *value = point[j];
                    }
                }
            }
        }
    }

    /// One input of runs `start..`: alone where no other has a say in it.
    pub(crate) fn fill_one(&self, j: usize, start: u64, column: &mut [f64]) {
        let linked = self.copula.as_ref().map_or(&[][..], Copula::members);
        match &self.plan.design {
            Design::Sample { .. } if !linked.contains(&j) => {
                if !self.plan.inputs[j].law.is_fixed() {
                    self.sources[0].fill(self.place[j], start, column);
                }
                self.quantiles[j].fill(column);
            }
            Design::Sample { .. } => {
                // Only the inputs that it goes together with.
                let mut all = vec![Vec::new(); self.plan.inputs.len()];
                for &m in linked {
                    all[m] = vec![0.0; column.len()];
                    if !self.plan.inputs[m].law.is_fixed() {
                        self.sources[0].fill(self.place[m], start, &mut all[m]);
                    }
                }
                if let Some(copula) = &self.copula {
                    copula.apply(&mut all.iter_mut().map(|c| c.as_mut_slice()).collect::<Vec<_>>());
                }
                column.copy_from_slice(&all[j]);
                self.quantiles[j].fill(column);
            }
            _ => {
                let mut all = vec![vec![0.0; column.len()]; self.plan.inputs.len()];
                self.fill(start, &mut all.iter_mut().map(|c| c.as_mut_slice()).collect::<Vec<_>>());
                column.copy_from_slice(&all[j]);
            }
        }
    }

    fn draw(&self, columns: &mut [&mut [f64]], uniforms: impl Fn(usize, &mut [f64])) {
        for (j, column) in columns.iter_mut().enumerate() {
            if !self.plan.inputs[j].law.is_fixed() {
                uniforms(j, column);
            }
        }
        if let Some(copula) = &self.copula {
            copula.apply(columns);
        }
        for (quantile, column) in self.quantiles.iter().zip(columns) {
            quantile.fill(column);
        }
    }

    fn fill_sensitivity(&self, groups: usize, start: u64, columns: &mut [&mut [f64]]) {
        let rows = groups as u64 + 2;
        let len = columns[0].len() as u64;
        let (first, last) = (start / rows, (start + len).div_ceil(rows));
        let samples: Vec<Vec<Vec<f64>>> = (0..2)
            .map(|which| {
                let mut sample = vec![vec![0.5; (last - first) as usize]; columns.len()];
                let mut views: Vec<&mut [f64]> = sample.iter_mut().map(|c| c.as_mut_slice()).collect();
                self.draw(&mut views, |j, column| {
                    self.sources[0].fill(self.place[j] + which * self.plan.dimensions.len(), first, column);
                });
                sample
            })
            .collect();
        for (j, column) in columns.iter_mut().enumerate() {
            for (value, run) in column.iter_mut().zip(start..) {
                let (row, member) = (run / rows, run % rows);
                // Order within a row: A, A with each group from B, B.
                let from_b = member == rows - 1 || (member > 0 && self.group[j] == Some(member as usize - 1));
                *value = samples[usize::from(from_b)][j][(row - first) as usize];
            }
        }
    }

    fn fill_nested(&self, inner: u64, start: u64, columns: &mut [&mut [f64]]) {
        let len = columns[0].len();
        let mut done = 0;
        while done < len {
            let at = start + done as u64;
            let (car, first) = (at / inner, at % inner);
            let room = (inner - first).min((len - done) as u64) as usize;
            let mut views: Vec<&mut [f64]> = columns.iter_mut().map(|c| &mut c[done..done + room]).collect();
            self.draw(&mut views, |j, column| match self.plan.inputs[j].spread {
                Spread::Part => self.sources[1].fill(self.place[j], first, column),
                Spread::Knowledge => {
                    let mut one = [0.0];
                    self.sources[0].fill(self.place[j], car, &mut one);
                    column.fill(one[0]);
                }
            });
            done += room;
        }
    }
}
