//! A study described in a file: read, run, reported.
use super::compare::{Comparison, Options};
use super::contrast::Contrasts;
use super::criterion::{Criterion, Limit};
use super::error::StudyError;
use super::findings::{Findings, Question};
use super::measure::Worth;
use super::model::{Input, Model};
use super::of_build::{BuildModel, Figure, shop_criteria_of};
use super::plan::{Cost, Plan};
use super::run::Control;
use super::runs::{End, Runs};
use super::sampling::Sampling;
use super::sensitivity::Indices;
use super::tornado::Tornado;
use crate::build::Build;
use crate::quantity::{Dim, unit};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::{Path, PathBuf};

/// A study as its file describes it.
///
/// ```toml
/// build = "raised-1.4-bar.toml"          # beside this file
/// rpm = ["4000 rpm", "6500 rpm"]         # points of the full-load pull
/// draws = 10000
/// seed = 7
/// sensitivity = 512                      # rows of the sensitivity study; left out: none
/// default_spreads = false                # only spreads that are stated; left out: also those by grade
/// [[criterion]]                          # left out: the shop's usual ones
/// name = "running lean"
/// figure = "lambda over target"
/// above = 0.03
/// [[correlate]]
/// a = "fuel.temperature"
/// b = "fuel.petrol_density"
/// rank = -0.5
/// [[option]]                             # compared on the same draws
/// name = "new wiring"
/// build = "cure-wiring.toml"
/// ```
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StudyFile {
    /// Build file, relative to the study file.
    pub build: PathBuf,
    /// Speeds of the full-load pull, each with its unit.
    pub rpm: Vec<String>,
    /// Draws asked for.
    #[serde(default = "draws")]
    pub draws: u64,
    /// Seed.
    #[serde(default = "seed")]
    pub seed: u64,
    /// How draws are spread.
    #[serde(default)]
    pub sampling: Sampling,
    /// Confidence of the intervals.
    #[serde(default = "confidence")]
    pub confidence: f64,
    /// Percentiles wanted, as probabilities.
    #[serde(default = "percentiles")]
    pub percentiles: Vec<f64>,
    /// Half width wanted of a chance's interval.
    #[serde(default = "half_width")]
    pub wanted_half_width: f64,
    /// Rows of the sensitivity study.
    pub sensitivity: Option<u64>,
    /// Whether values without a stated spread have the one of their grade ([`super::defaults`]).
    #[serde(default = "yes")]
    pub default_spreads: bool,
    /// Ways to fail.
    #[serde(default)]
    pub criterion: Vec<CriterionLine>,
    /// Rank correlations.
    #[serde(default)]
    pub correlate: Vec<super::plan::Correlation>,
    /// Options compared with the build.
    #[serde(default)]
    pub option: Vec<OptionLine>,
    #[serde(skip)]
    folder: PathBuf,
}

fn yes() -> bool {
    true
}
fn draws() -> u64 {
    4096
}
fn seed() -> u64 {
    1
}
fn confidence() -> f64 {
    Question::default().confidence
}
fn percentiles() -> Vec<f64> {
    Question::default().percentiles
}
fn half_width() -> f64 {
    Question::default().wanted_half_width
}

/// One way to fail, as written in a file.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CriterionLine {
    /// Name.
    pub name: String,
    /// The figure judged.
    pub figure: String,
    /// Fails above this.
    pub above: Option<f64>,
    /// Fails below this.
    pub below: Option<f64>,
}

/// One option, as written in a file.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OptionLine {
    /// Name.
    pub name: String,
    /// Build file, relative to the study file.
    pub build: PathBuf,
}

/// Everything a study file asks for, answered.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The build's name.
    pub build: String,
    /// What it was foreseen to take.
    pub cost: Cost,
    /// Percentiles, chances and convergence.
    pub findings: Findings,
    /// Where runs fail, what is different: one for each criterion that some runs fail and some pass.
    pub contrasts: Vec<Contrasts>,
    /// What measuring would be worth, for the same criteria.
    pub worth: Vec<Vec<Worth>>,
    /// One input at a time, one an output.
    pub tornado: Vec<Tornado>,
    /// Shares of variance, one an output that varies.
    pub indices: Vec<Indices>,
    /// Options against the build.
    pub comparison: Option<Comparison>,
    /// What was left out, and why.
    pub left_out: Vec<String>,
}

/// What a study will do: its inputs with their laws, and what each part of it takes.
#[derive(Clone, Debug, Serialize)]
pub struct Outline {
    /// The build's name.
    pub build: String,
    /// The uncertain inputs.
    pub inputs: Vec<Input>,
    /// The parts and their cost.
    pub parts: Vec<(String, Cost)>,
}

/// How a study is run: under which control, where its runs are kept, who is told first results.
#[derive(Clone, Copy, Default)]
pub struct Desk<'a> {
    /// Cancel flag and observer.
    pub control: Control<'a>,
    /// The tolerance study's runs are kept in this file; where it exists, they go on from there.
    pub keep: Option<&'a Path>,
    /// Told what the first part of a long study says.
    pub first: Option<&'a dyn Fn(&Findings)>,
}

/// Seconds after which first results are told.
const FIRST: f64 = 0.4;

impl StudyFile {
    /// Reads a study file.
    pub fn read(path: &Path) -> Result<Self, StudyError> {
        let fail = |message: String| StudyError::File { path: path.into(), message };
        let text = std::fs::read_to_string(path).map_err(|e| fail(e.to_string()))?;
        let mut file = Self::from_toml(&text).map_err(|e| fail(e.to_string()))?;
        file.folder = path.parent().map(Path::to_path_buf).unwrap_or_default();
        Ok(file)
    }

    /// Reads the text of a study file; paths in it are taken from the working folder.
    pub fn from_toml(text: &str) -> Result<Self, StudyError> {
        let document: toml_edit::Document<&str> =
            toml_edit::Document::parse(text).map_err(|e| StudyError::Plan(e.to_string()))?;
        let value = to_json(document.as_item());
        let file: Self = serde_json::from_value(value).map_err(|e| {
            let message = e.to_string();
            // The line that holds the word the message is about.
            let word = message.split('`').nth(1).unwrap_or_default();
            let line = text.lines().position(|l| !word.is_empty() && l.contains(word));
            StudyError::Plan(match line {
                Some(i) => format!("line {}: {message}", i + 1),
                None => message,
            })
        })?;
        for c in &file.criterion {
            if c.above.is_some() == c.below.is_some() {
                return Err(StudyError::Plan(format!("criterion '{}': give one of above and below", c.name)));
            }
        }
        Ok(file)
    }

    fn model(&self, build: &Path) -> Result<BuildModel, StudyError> {
        let build = Build::read(self.folder.join(build)).map_err(|e| StudyError::Plan(e.to_string()))?;
        let speeds = self
            .rpm
            .iter()
            .map(|text| {
                unit::read(text, Dim::AngularVelocity).map(|r| r.si).map_err(|_| {
                    StudyError::Plan(format!(
                        "rpm: \"{text}\" is not a speed with a unit, such as \"6500 rpm\""
                    ))
                })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let finish = |m: BuildModel| if self.default_spreads { m.with_spreads_by_grade() } else { Ok(m) };
        if self.criterion.is_empty() {
            return finish(BuildModel::full_load(&build, &speeds)?);
        }
        let mut figures: Vec<Figure> = Vec::new();
        for c in &self.criterion {
            let figure = Figure::named(&c.figure)?;
            if !figures.contains(&figure) {
                figures.push(figure);
            }
        }
        let points = speeds
            .iter()
            .map(|&w| {
                let boost = build.full_load_boost(w)?;
                Ok(crate::steady::Operating::at(crate::quantity::rad_per_s(w), crate::quantity::pa(boost)))
            })
            .collect::<Result<Vec<_>, crate::error::Error>>()
            .map_err(|e| StudyError::Plan(e.to_string()))?;
        finish(BuildModel::new(&build, &points, &figures)?)
    }

    fn question(&self, model: &BuildModel) -> Question {
        let criteria = if self.criterion.is_empty() {
            shop_criteria_of(model.outputs())
        } else {
            self.criterion
                .iter()
                .map(|c| Criterion {
                    name: c.name.clone(),
                    output: c.figure.clone(),
                    limit: match (c.above, c.below) {
                        (Some(v), _) => Limit::Above(v),
                        (_, v) => Limit::Below(v.unwrap_or(f64::NAN)),
                    },
                })
                .collect()
        };
        Question {
            criteria,
            percentiles: self.percentiles.clone(),
            confidence: self.confidence,
            wanted_half_width: self.wanted_half_width,
        }
    }

    fn shape(&self, plan: Plan) -> Plan {
        let plan = plan.sampling(self.sampling).draws(self.draws).seed(self.seed);
        self.correlate.iter().fold(plan, |p, c| p.correlate(&c.a, &c.b, c.rank))
    }

    fn sensitivity_plan(&self, model: &BuildModel, base: u64) -> Plan {
        let mut plan = Plan::sensitivity(model, base).sampling(self.sampling).seed(self.seed);
        for c in &self.correlate {
            plan = plan
                .correlate(&c.a, &c.b, c.rank)
                .group(format!("{} and {}", c.a, c.b), &[c.a.as_str(), c.b.as_str()]);
        }
        plan
    }

    /// What the file asks for, before it is run.
    pub fn outline(&self) -> Result<Outline, StudyError> {
        let model = self.model(&self.build)?;
        let plan = self.shape(Plan::tolerance(&model));
        let mut parts = vec![("tolerance".to_owned(), plan.cost(&model)?)];
        if let Some(base) = self.sensitivity {
            parts.push(("sensitivity".into(), self.sensitivity_plan(&model, base).cost(&model)?));
        }
        for o in &self.option {
            let other = self.model(&o.build)?;
            let plan = self.shape(Plan::tolerance(&other));
            parts.push((format!("option {}", o.name), plan.cost(&other)?));
        }
        Ok(Outline { build: model.build().name().into(), inputs: model.inputs().to_vec(), parts })
    }

    /// The tolerance study's runs: begun, or gone on with where they are kept; first results told on the way.
    fn tolerance(
        &self,
        plan: &Plan,
        model: &BuildModel,
        question: &Question,
        desk: &Desk<'_>,
        cost: &Cost,
    ) -> Result<Runs, StudyError> {
        let mut runs = match desk.keep {
            Some(path) if path.exists() => {
                let kept = Runs::load(path)?;
                if kept.plan() != plan {
                    return Err(StudyError::Mismatch(format!(
                        "{} holds the runs of another study (inputs {}, these are {}): name another file, or remove it",
                        path.display(),
                        kept.plan().input_hash(),
                        plan.input_hash()
                    )));
                }
                kept
            }
            _ => Runs::empty(plan)?,
        };
        let seconds = cost.time.as_secs_f64();
        if let (Some(first), 0, true) = (desk.first, runs.done(), seconds > 2.0 * FIRST) {
            let some = (plan.runs() as f64 * FIRST / seconds) as u64;
            let control = Control { pause_after: Some(some.max(1)), ..desk.control };
            runs = runs.resume(model, &control)?;
            if let Ok(f) = runs.findings(question) {
                first(&f);
            }
        }
        let runs = runs.resume(model, &desk.control)?;
        if let Some(path) = desk.keep {
            runs.save(path)?;
        }
        Ok(runs)
    }

    /// Runs all that the file asks for.
    pub fn run(&self, control: &Control<'_>) -> Result<Report, StudyError> {
        self.run_at(&Desk { control: *control, ..Desk::default() })
    }

    /// The same, with first results told and runs kept.
    pub fn run_at(&self, desk: &Desk<'_>) -> Result<Report, StudyError> {
        let control = &desk.control;
        let model = self.model(&self.build)?;
        let question = self.question(&model);
        let plan = self.shape(Plan::tolerance(&model));
        let cost = plan.cost(&model)?;
        let runs = self.tolerance(&plan, &model, &question, desk, &cost)?;
        let mut left_out = Vec::new();
        let findings = runs.findings(&question)?;
        let (contrasts, worth) = runs.levers(&question.criteria, self.confidence)?;
        let tornado = Tornado::run(&model, 0.05, 0.95)?;
        let mut indices = Vec::new();
        let cancelled = || control.cancel.is_some_and(|c| c.load(std::sync::atomic::Ordering::Relaxed));
        if let Some(base) = self.sensitivity {
            let runs = self.sensitivity_plan(&model, base).run_with(&model, control)?;
            if runs.end() == End::Complete {
                for output in model.outputs() {
                    // An output that does not vary has no shares.
                    if let Ok(i) = runs.indices(&output.name, self.confidence) {
                        indices.push(i);
                    }
                }
            } else {
                left_out.push("the sensitivity study: cancelled".to_owned());
            }
        }
        let comparison = if self.option.is_empty() {
            None
        } else if cancelled() {
            left_out.push("the options: cancelled".to_owned());
            None
        } else {
            let others = self.option.iter().map(|o| self.model(&o.build)).collect::<Result<Vec<_>, _>>()?;
            let mut options: Vec<(&str, &dyn Model)> = vec![("as it is", &model)];
            options.extend(self.option.iter().zip(&others).map(|(o, m)| (o.name.as_str(), m as &dyn Model)));
            let runs = Options::new(&options, |p| self.shape(p))?.run(control)?;
            // Stopped on the way, some option may not have one run.
            if cancelled() {
                left_out.push("the options: cancelled".to_owned());
                None
            } else {
                Some(runs.compare(&question)?)
            }
        };
        Ok(Report {
            build: model.build().name().into(),
            cost,
            findings,
            contrasts,
            worth,
            tornado,
            indices,
            comparison,
            left_out,
        })
    }
}

fn to_json(item: &toml_edit::Item) -> serde_json::Value {
    use toml_edit::{Item, Value};
    fn value(v: &Value) -> serde_json::Value {
        match v {
            Value::String(s) => s.value().as_str().into(),
            Value::Integer(i) => (*i.value()).into(),
            Value::Float(f) => (*f.value()).into(),
            Value::Boolean(b) => (*b.value()).into(),
            Value::Datetime(d) => d.value().to_string().into(),
            Value::Array(a) => a.iter().map(value).collect(),
            Value::InlineTable(t) => {
                serde_json::Value::Object(t.iter().map(|(k, v)| (k.to_string(), value(v))).collect())
            }
        }
    }
    match item {
        Item::None => serde_json::Value::Null,
        Item::Value(v) => value(v),
        Item::Table(t) => {
            serde_json::Value::Object(t.iter().map(|(k, v)| (k.to_string(), to_json(v))).collect())
        }
        Item::ArrayOfTables(a) => a
            .iter()
            .map(|t| serde_json::Value::Object(t.iter().map(|(k, v)| (k.to_string(), to_json(v))).collect()))
            .collect(),
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}\n{}\n\n{}", self.build, self.cost, self.findings)?;
        for (what, list) in [("Where it fails, what is different?", &self.contrasts)] {
            if !list.is_empty() {
                writeln!(f, "\n{what}")?;
            }
            for c in list {
                let mut short = c.clone();
                short.inputs.truncate(5);
                writeln!(f, "{short}")?;
            }
        }
        if !self.worth.is_empty() {
            writeln!(f, "\nWhat would measuring be worth?")?;
            for w in self.worth.iter().flat_map(|w| w.iter().take(2)) {
                writeln!(f, "{w}")?;
            }
        }
        for t in &self.tornado {
            let mut short = t.clone();
            short.swings.truncate(6);
            writeln!(f, "\n{short}")?;
        }
        for i in &self.indices {
            writeln!(f, "\n{i}")?;
        }
        if let Some(c) = &self.comparison {
            writeln!(f, "\nOptions on the same draws\n{c}")?;
        }
        for what in &self.left_out {
            writeln!(f, "\nLeft out: {what}")?;
        }
        write!(
            f,
            "\nA model's chance, not a safety approval: input assumptions are as stated in the build, or by grade."
        )
    }
}

impl fmt::Display for Outline {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.build)?;
        for (what, cost) in &self.parts {
            writeln!(f, "{what}: {cost}")?;
        }
        let by_grade = self.inputs.iter().filter(|i| !i.basis.is_empty()).count();
        writeln!(
            f,
            "\n{} uncertain inputs{}",
            self.inputs.len(),
            match by_grade {
                0 => String::new(),
                n => format!(", {n} of them by grade (marked *; default_spreads = false leaves them out)"),
            }
        )?;
        for i in &self.inputs {
            let mark = if i.basis.is_empty() { " " } else { "*" };
            let unit = if i.unit == "1" { "" } else { i.unit.as_str() };
            writeln!(f, "{mark} {}: {} {unit}", i.name, i.law)?;
        }
        if by_grade > 0 {
            write!(
                f,
                "* not stated: the width usual for how the value is known (common practice, no source)"
            )?;
        }
        Ok(())
    }
}
