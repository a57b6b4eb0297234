//! A build as a model: its stated spreads are the inputs, figures of its operating points the outputs.
use super::criterion::Criterion;
use super::error::StudyError;
use super::fast::Fast;
use super::model::{Failure, Input, Model, Output, Worker};
use super::settings::{EACH, Scalar, Set, Settings};
use crate::build::Build;
use crate::error::{Error, Kind};
use crate::quantity::{Dim, GaugePressure, Pressure, pa, rad_per_s};
use crate::spec::Grade;
use crate::spec::distribution::Distribution;
use crate::steady::{Operating, Point, headroom, point};

/// A figure judged over all operating points: its worst value counts.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Figure {
    /// Supply headroom, the smallest: capacity over asked flow, less one.
    Headroom,
    /// Lambda over its target, less one, the largest.
    LambdaExcess,
    /// Lambda of the weakest cylinder over target, less one, the largest.
    WorstCylinder,
    /// How far the differential pressure lies below the regulator's nominal base, as a part of it, the largest.
    DifferenceShortfall,
    /// Duty, the largest.
    Duty,
    /// Pressure above vapour pressure at a pump's inlet, the smallest.
    InletMargin,
    /// Pump current over its fuse, the largest.
    FuseLoad,
    /// A named channel of the point, the smallest over the points.
    Smallest(String),
    /// A named channel of the point, the largest over the points.
    Largest(String),
}

impl Figure {
    /// The figures of the shop's failure criteria.
    pub const CRITERIA: [Self; 7] = [
        Self::Headroom,
        Self::LambdaExcess,
        Self::WorstCylinder,
        Self::DifferenceShortfall,
        Self::Duty,
        Self::InletMargin,
        Self::FuseLoad,
    ];

    /// The figure of this name; `smallest X` and `largest X` stand for a channel X.
    pub fn named(name: &str) -> Result<Self, StudyError> {
        if let Some(f) = Self::CRITERIA.iter().find(|f| f.name() == name) {
            return Ok(f.clone());
        }
        match name.split_once(' ') {
            Some(("smallest", channel)) => Ok(Self::Smallest(channel.into())),
            Some(("largest", channel)) => Ok(Self::Largest(channel.into())),
            _ => Err(StudyError::Unknown {
                what: "figure",
                name: name.into(),
                known: Self::CRITERIA
                    .iter()
                    .map(|f| f.name())
                    .chain(["smallest <channel>".into(), "largest <channel>".into()])
                    .collect(),
            }),
        }
    }

    /// Its name in findings and files.
    pub fn name(&self) -> String {
        match self {
            Self::Headroom => "headroom".into(),
            Self::LambdaExcess => "lambda over target".into(),
            Self::WorstCylinder => "worst cylinder over target".into(),
            Self::DifferenceShortfall => "differential pressure below base".into(),
            Self::Duty => "duty".into(),
            Self::InletMargin => "inlet margin".into(),
            Self::FuseLoad => "fuse load".into(),
            Self::Smallest(c) => format!("smallest {c}"),
            Self::Largest(c) => format!("largest {c}"),
        }
    }

    fn smallest(&self) -> bool {
        matches!(self, Self::Headroom | Self::InletMargin | Self::Smallest(_))
    }
}

/// Those of the [`shop_criteria`] that have a meaning for a study with these outputs.
#[must_use]
pub fn shop_criteria_of(outputs: &[Output]) -> Vec<Criterion> {
    shop_criteria().into_iter().filter(|c| outputs.iter().any(|o| o.name == c.output)).collect()
}

/// The shop's failure criteria (common practice, no source), by the names of [`Figure::CRITERIA`]: headroom below zero, lambda
/// 3 % over target, differential pressure 5 % below base, duty 0.90, inlet margin 10 kPa, fuse load 80 %, worst cylinder 4 % over
/// target.
pub fn shop_criteria() -> Vec<Criterion> {
    vec![
        Criterion::below("supply short", "headroom", 0.0),
        Criterion::above("running lean", "lambda over target", 0.03),
        Criterion::above("pressure low", "differential pressure below base", 0.05),
        Criterion::above("injectors full", "duty", 0.90),
        Criterion::below("vapour at the pump", "inlet margin", 0.10),
        Criterion::above("fuse overloaded", "fuse load", 0.80),
        Criterion::above("one cylinder lean", "worst cylinder over target", 0.04),
    ]
}

/// A build seen by a study.
pub struct BuildModel {
    build: Build,
    points: Vec<Operating>,
    figures: Vec<Figure>,
    inputs: Vec<Input>,
    /// The values that the first inputs set, one each; the rest are the injectors of `sets`.
    scalars: Vec<Scalar>,
    sets: Vec<Set>,
    settings: Settings,
    outputs: Vec<Output>,
    scales: Vec<f64>,
    base: Option<f64>,
    fuses: Vec<(String, f64)>,
    identity: String,
    /// The lanes that carry it, or why they do not.
    fast: Result<Fast, String>,
}

impl BuildModel {
    /// A build at some operating points, judged by some figures.
    ///
    /// Every parameter whose spread is stated becomes an input, in the unit results are shown in. A spread is part spread where the value
    /// comes from a data sheet and missing knowledge where it was assumed or measured: measuring this car would settle it.
    /// An injector set whose `each_flow` has a spread has one input an injector, part spread all: together they give the
    /// set's flow and its weakest cylinder.
    pub fn new(build: &Build, points: &[Operating], figures: &[Figure]) -> Result<Self, StudyError> {
        if points.is_empty() || figures.is_empty() {
            return Err(StudyError::Plan(format!(
                "{} operating points and {} figures: give at least one of each",
                points.len(),
                figures.len()
            )));
        }
        let mut model = Self {
            build: build.clone(),
            points: points.to_vec(),
            figures: figures.to_vec(),
            inputs: Vec::new(),
            scalars: Vec::new(),
            sets: Vec::new(),
            settings: Settings::default(),
            outputs: Vec::new(),
            scales: Vec::new(),
            base: build.parts_of("regulator").find_map(|(_, p)| p.values.opt("base")),
            fuses: build
                .parts_of("pump")
                .filter_map(|(n, p)| Some((n.to_string(), p.values.opt("fuse")?)))
                .collect(),
            identity: String::new(),
            fast: Err(String::new()),
        };
        let stated: Vec<_> = build
            .parameters()
            .filter_map(|(path, p)| Some((path, p.dim, p.grade, p.spread.clone()?)))
            .collect();
        for (path, dim, grade, law) in stated {
            model.push(path, dim, grade, law)?;
        }
        model.check_sets()?;
        // The nominal points must solve: a study of a build that does not run says nothing.
        let nominal = points
            .iter()
            .map(|op| point(build, op))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| StudyError::Plan(format!("the build has no answer as it stands: {e}")))?;
        for figure in figures {
            let unit = match figure {
                Figure::InletMargin => Dim::Pressure.shown_in(),
                Figure::Smallest(c) | Figure::Largest(c) => {
                    let amount = nominal[0].channel(c).map_err(|e| StudyError::Plan(e.to_string()))?;
                    amount.dim.shown_in()
                }
                _ => Dim::Ratio.shown_in(),
            };
            let ratio = unit.dim == Dim::Ratio;
            model.outputs.push(Output::new(figure.name(), if ratio { "1" } else { unit.symbol }));
            // Ratios stay plain numbers so that limits read as they are usually written.
            model.scales.push(if ratio { 1.0 } else { unit.factor });
            let missing = match figure {
                Figure::FuseLoad if model.fuses.is_empty() => Some("no pump has a fuse: give fuse"),
                Figure::DifferenceShortfall if model.base.is_none() => {
                    Some("there is no regulator with a base")
                }
                _ => None,
            };
            if let Some(what) = missing {
                return Err(StudyError::Plan(format!(
                    "figure '{}' has no meaning here: {what}",
                    figure.name()
                )));
            }
        }
        model.identity = format!("{} at {:?}", build.input_digest(), points);
        model.find_way();
        Ok(model)
    }

    fn find_way(&mut self) {
        self.settings = Settings::of(&self.build, &self.scalars, &self.sets);
        let paths: Vec<&str> = self.settings.paths().collect();
        self.fast = Fast::of(&self.build, &paths, &self.points, &self.figures, self.base, &self.fuses);
    }

    /// The same through the general solver, one run after the other: to check the fast path, which gives the same
    /// answers.
    pub fn through_the_general_solver(mut self) -> Self {
        self.fast = Err("it was asked for".into());
        self
    }

    /// The same with every value that has no stated spread taken at the one of its grade ([`super::defaults`]).
    pub fn with_spreads_by_grade(mut self) -> Result<Self, StudyError> {
        let (build, found) = super::defaults::with_spreads_by_grade(&self.build)?;
        for d in &found {
            if self.scalars.iter().any(|s| s.path == d.path) {
                continue; // a law of its own was given
            }
            let dim = build.parameter(&d.path).map_err(|e| StudyError::Plan(e.to_string()))?.dim;
            self.push(d.path.clone(), dim, d.grade, d.law.clone())?;
            self.inputs[self.scalars.len() - 1].basis = super::defaults::basis(d.grade);
        }
        self.build = build;
        self.identity = format!("{} at {:?}", self.build.input_digest(), self.points);
        self.find_way();
        Ok(self)
    }

    /// Why the general solver runs it, or `None` when the lanes do.
    pub fn why_general(&self) -> Option<&str> {
        self.fast.as_ref().err().map(String::as_str)
    }

    /// The full-load pull of a build at some speeds (rad/s), judged by the shop's figures that have a meaning for it.
    pub fn full_load(build: &Build, speeds: &[f64]) -> Result<Self, StudyError> {
        let points = speeds
            .iter()
            .map(|&w| Ok(Operating::at(rad_per_s(w), pa(build.full_load_boost(w)?))))
            .collect::<Result<Vec<_>, Error>>()
            .map_err(|e| StudyError::Plan(e.to_string()))?;
        let has_fuse = build.parts_of("pump").any(|(_, p)| p.values.opt("fuse").is_some());
        let has_base = build.parts_of("regulator").any(|(_, p)| p.values.opt("base").is_some());
        let figures: Vec<Figure> = Figure::CRITERIA
            .into_iter()
            .filter(|f| match f {
                Figure::FuseLoad => has_fuse,
                Figure::DifferenceShortfall => has_base,
                _ => true,
            })
            .collect();
        Self::new(build, &points, &figures)
    }

    /// Gives a parameter a law (in SI), whether one was stated or not.
    pub fn with_law(mut self, path: &str, law: Distribution) -> Result<Self, StudyError> {
        let p = self.build.parameter(path).map_err(|e| StudyError::Plan(e.to_string()))?;
        let (dim, grade) = (p.dim, p.grade);
        if let Some(i) = self.scalars.iter().position(|s| s.path == path) {
            self.scalars.remove(i);
            self.inputs.remove(i);
        }
        if let Some(i) = self.sets.iter().position(|s| path == format!("{}.{EACH}", s.name)) {
            let before: usize = self.scalars.len() + self.sets[..i].iter().map(|s| s.count).sum::<usize>();
            let set = self.sets.remove(i);
            self.inputs.drain(before..before + set.count);
        }
        self.push(path.to_string(), dim, grade, law)?;
        self.check_sets()?;
        self.find_way();
        Ok(self)
    }

    fn push(&mut self, path: String, dim: Dim, grade: Grade, law: Distribution) -> Result<(), StudyError> {
        let unit = dim.shown_in();
        let shown = law.rescaled(1.0 / unit.factor, -unit.offset / unit.factor);
        // A lognormal temperature has no form in degrees: it stays in SI.
        let (law, symbol, factor, offset) = match shown {
            Ok(shown) => (shown, unit.symbol, unit.factor, unit.offset),
            Err(_) => {
                law.check().map_err(|error| StudyError::Input { name: path.clone(), error })?;
                (law, "SI", 1.0, 0.0)
            }
        };
        let symbol = if symbol.is_empty() { "1" } else { symbol };
        if let Some(set) = path.strip_suffix(EACH).and_then(|p| p.strip_suffix('.')) {
            return self.draw_one_by_one(set, symbol, law);
        }
        let mut input = Input::new(path.clone(), symbol, law);
        if grade != Grade::DataSheet {
            input = input.not_known_yet();
        }
        self.inputs.insert(self.scalars.len(), input);
        self.scalars.push(Scalar { path, factor, offset });
        Ok(())
    }

    /// Inputs for the injectors of a set, one each.
    fn draw_one_by_one(&mut self, set: &str, symbol: &str, law: Distribution) -> Result<(), StudyError> {
        let bad = |e: Error| StudyError::Plan(e.to_string());
        let stated = self.build.part(set).and_then(|p| p.values.opt("count"));
        let count = match stated {
            Some(n) => n,
            None => self.build.si("engine.cylinders").map_err(bad)?,
        };
        let count = count.round() as usize;
        for i in 1..=count {
            // Part from part, whoever stated it: one measured injector says nothing of its neighbour.
            self.inputs.push(Input::new(format!("{set}.{EACH} of injector {i}"), symbol, law.clone()));
        }
        self.sets.push(Set { name: set.to_owned(), count });
        Ok(())
    }

    /// A set's weakest injector either has a spread or follows from its injectors' own, not both.
    fn check_sets(&self) -> Result<(), StudyError> {
        for set in &self.sets {
            let spread = format!("{}.cylinder_spread", set.name);
            if self.scalars.iter().any(|s| s.path == spread) {
                return Err(StudyError::Plan(format!(
                    "{spread} and {}.{EACH} both have a spread, but the first follows from the second: state one",
                    set.name
                )));
            }
        }
        Ok(())
    }

    /// The build with its inputs at some values, in the inputs' units: to look at one draw in full.
    pub fn build_at(&self, x: &[f64]) -> Result<Build, StudyError> {
        let mut build = self.build.clone();
        for (i, path) in self.settings.paths().enumerate() {
            let si = self.settings.value(i, |j| x[j]);
            build.set_si(path, si).map_err(|e| StudyError::Question(e.to_string()))?;
        }
        Ok(build)
    }

    /// The build as it stands.
    pub fn build(&self) -> &Build {
        &self.build
    }

    fn value(&self, figure: &Figure, build: &Build, op: &Operating, p: &Point) -> Result<f64, Error> {
        let target = p.demand.map_or(f64::NAN, |d| d.lambda);
        Ok(match figure {
            Figure::Headroom => headroom(build, op)?,
            Figure::LambdaExcess => p.lambda().unwrap_or(f64::NAN) / target - 1.0,
            Figure::WorstCylinder => p.worst_lambda().unwrap_or(f64::NAN) / target - 1.0,
            Figure::DifferenceShortfall => {
                let difference: Pressure = p.difference();
                1.0 - difference.value / self.base.unwrap_or(f64::NAN)
            }
            Figure::Duty => p.duty().value,
            Figure::InletMargin => p.pumps.iter().map(|x| x.inlet_margin).fold(f64::NAN, f64::min),
            Figure::FuseLoad => p
                .pumps
                .iter()
                .filter_map(|x| {
                    let fuse = self.fuses.iter().find(|f| f.0 == x.name)?.1;
                    Some(x.running.current / fuse)
                })
                .fold(f64::NAN, f64::max),
            Figure::Smallest(c) | Figure::Largest(c) => p.channel(c)?.si,
        })
    }
}

impl Model for BuildModel {
    fn inputs(&self) -> &[Input] {
        &self.inputs
    }
    fn outputs(&self) -> &[Output] {
        &self.outputs
    }
    fn identity(&self) -> String {
        self.identity.clone()
    }
    fn way(&self) -> String {
        match &self.fast {
            Ok(_) => "fast path".into(),
            Err(why) => format!("general solver, because {why}"),
        }
    }
    fn worker(&self) -> Box<dyn Worker + '_> {
        if let Ok(fast) = &self.fast {
            return fast.worker(&self.figures, &self.scales, &self.settings);
        }
        Box::new(BuildWorker { model: self, build: self.build.clone() })
    }
}

struct BuildWorker<'m> {
    model: &'m BuildModel,
    build: Build,
}

/// The worse of two values of a figure; the first may be none yet.
pub(super) fn worst(figure: &Figure, so_far: f64, value: f64) -> f64 {
    let worse = so_far.is_nan() || if figure.smallest() { value < so_far } else { value > so_far };
    if worse { value } else { so_far }
}

pub(super) fn failure(e: &Error) -> Failure {
    let reason = match e.kind() {
        Kind::Solve => "no operating point found",
        Kind::Range => "outside a table or a law's range",
        Kind::Value => "a drawn value lies outside what it may be",
        _ => "the build cannot be evaluated",
    };
    Failure::new(reason, e.to_string())
}

impl Worker for BuildWorker<'_> {
    fn run(&mut self, x: &[f64], y: &mut [f64]) -> Result<(), Failure> {
        let model = self.model;
        for (i, path) in model.settings.paths().enumerate() {
            self.build.set_si(path, model.settings.value(i, |j| x[j])).map_err(|e| failure(&e))?;
        }
        y.fill(f64::NAN);
        for op in &model.points {
            let p = point(&self.build, op).map_err(|e| failure(&e))?;
            for ((figure, y), scale) in model.figures.iter().zip(y.iter_mut()).zip(&model.scales) {
                let value = model.value(figure, &self.build, op, &p).map_err(|e| failure(&e))? / scale;
                if value.is_nan() {
                    return Err(Failure::new(
                        format!("{} has no value", figure.name()),
                        format!("at {:.0} rad/s and {}", op.speed().value, shown(op.boost())),
                    ));
                }
                *y = worst(figure, *y, value);
            }
        }
        Ok(())
    }
}

fn shown(p: GaugePressure) -> String {
    format!("{:.2} bar boost", p.pascals() / 1e5)
}
