//! How a draw becomes settings of a build.
//!
//! Most inputs are one value of the build each. An injector set whose `each_flow` has a spread is drawn injector by
//! injector: the mean of the draws multiplies the set's `flow_factor`, and the weakest below the mean is its
//! `cylinder_spread`, so that the sum of the flows and the leanest cylinder are those of the drawn injectors.

use super::model::Block;
use crate::build::Build;
use std::ops::Range;

/// The key whose spread is drawn for each injector anew.
pub(super) const EACH: &str = "each_flow";

/// A value of the build that an input sets: SI = factor * shown + offset.
#[derive(Clone, Debug)]
pub(super) struct Scalar {
    pub path: String,
    pub factor: f64,
    pub offset: f64,
}

/// A set whose injectors are drawn one by one.
#[derive(Clone, Debug)]
pub(super) struct Set {
    /// Name of the part.
    pub name: String,
    pub count: usize,
}

/// What one setting follows from.
#[derive(Clone, Debug)]
enum Source {
    Scalar {
        input: usize,
        factor: f64,
        offset: f64,
    },
    /// The mean of the draws times the set's factor: drawn too, or as it stands.
    Mean {
        draws: Range<usize>,
        drawn: Option<(usize, f64, f64)>,
        stands: f64,
    },
    /// One less the least draw over the mean.
    Weakest {
        draws: Range<usize>,
    },
}

/// The settings of a build that a study draws: first the scalars' inputs, then the injectors of each set.
#[derive(Clone, Debug, Default)]
pub(super) struct Settings {
    paths: Vec<String>,
    sources: Vec<Source>,
}

impl Settings {
    pub fn of(build: &Build, scalars: &[Scalar], sets: &[Set]) -> Self {
        let mut all = Self::default();
        for (input, s) in scalars.iter().enumerate() {
            all.paths.push(s.path.clone());
            all.sources.push(Source::Scalar { input, factor: s.factor, offset: s.offset });
        }
        let mut next = scalars.len();
        for set in sets {
            let draws = next..next + set.count;
            next = draws.end;
            let (factor, spread) =
                (format!("{}.flow_factor", set.name), format!("{}.cylinder_spread", set.name));
            let drawn = scalars.iter().position(|s| s.path == factor);
            let mean = Source::Mean {
                draws: draws.clone(),
                drawn: drawn.map(|i| (i, scalars[i].factor, scalars[i].offset)),
                stands: build.si(&factor).unwrap_or(1.0),
            };
            match drawn {
                Some(i) => all.sources[i] = mean,
                None => {
                    all.paths.push(factor);
                    all.sources.push(mean);
                }
            }
            all.paths.push(spread);
            all.sources.push(Source::Weakest { draws });
        }
        all
    }

    /// What is set.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.paths.iter().map(String::as_str)
    }

    pub fn len(&self) -> usize {
        self.paths.len()
    }

    /// The SI value of a setting for one draw.
    pub fn value(&self, setting: usize, x: impl Fn(usize) -> f64) -> f64 {
        let mean = |draws: &Range<usize>| draws.clone().map(&x).sum::<f64>() / draws.len() as f64;
        match &self.sources[setting] {
            Source::Scalar { input, factor, offset } => x(*input).mul_add(*factor, *offset),
            Source::Mean { draws, drawn, stands } => {
                mean(draws) * drawn.map_or(*stands, |(i, factor, offset)| x(i).mul_add(factor, offset))
            }
            Source::Weakest { draws } => {
                1.0 - draws.clone().map(&x).fold(f64::INFINITY, f64::min) / mean(draws)
            }
        }
    }

    /// The SI values of a setting for a block of draws.
    pub fn column(&self, setting: usize, block: &Block, into: &mut Vec<f64>) {
        into.clear();
        match &self.sources[setting] {
            Source::Scalar { input, factor, offset } => {
                into.extend(block.input(*input).iter().map(|x| x.mul_add(*factor, *offset)));
            }
            _ => into.extend((0..block.len()).map(|row| self.value(setting, |j| block.input(j)[row]))),
        }
    }
}
