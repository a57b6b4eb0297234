//! Subset simulation: a rare failure as a chain of failures that are not rare.
use super::{LimitState, RareChance};
use crate::spec::special::{normal_quantile, t_quantile};
use crate::study::error::StudyError;
use crate::study::interval::{Interval, score};
use crate::study::sampling::plain::stream;
use crate::study::sampling::{mix, unit};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng;
use rayon::prelude::*;
use serde::Serialize;

/// Shape of the simulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Runs at each level.
    pub per_level: u64,
    /// Share of a level's runs that go on to the next.
    pub share: f64,
    /// Independent repeats; with four or more the interval comes from their spread.
    pub repeats: u64,
    /// Most levels: `share` to this power is the smallest chance that can be found.
    pub max_levels: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { per_level: 2000, share: 0.1, repeats: 8, max_levels: 12 }
    }
}

/// The chance and the road to it.
#[derive(Clone, Debug, Serialize)]
pub struct Subset {
    /// The chance over all repeats.
    pub result: RareChance,
    /// Chance found by each repeat; the result is their geometric mean.
    pub repeats: Vec<f64>,
    /// Coefficient of variation of one repeat, from the correlation within its chains; lower and upper estimate (levels taken as
    /// uncorrelated and as fully correlated).
    pub cov_of_one: (f64, f64),
    /// Margins the levels of the first repeat were cut at.
    pub levels: Vec<f64>,
}

/// Scores, margin, and runs without an answer on the way.
type State = (Vec<f64>, f64, u64);
/// States of one chain and how many steps were accepted.
type Chain = (Vec<State>, u64);

struct One {
    chance: f64,
    /// Squared coefficients of variation of the levels.
    deltas: Vec<f64>,
    levels: Vec<f64>,
    evaluations: u64,
    without: u64,
}

/// Degrees of freedom given to the c.o.v. foreseen from the chains.
const FORESEEN_WEIGHT: f64 = 1.0;

/// The chance of failing by subset simulation.
///
/// Formula: `P = p^(m-1) P_m`; level by level, the share `p` of runs with the smallest margins starts Markov chains
/// `v = r u + sqrt(1 - r^2) z` that keep the standard normal law and are accepted while the margin stays below the level's cut; `r` is
/// set so that about 0.44 are. Squared c.o.v. of a level `(1 - P_i)(1 + gamma_i) / (P_i N)`, `gamma_i` from the chains' own
/// autocorrelation. The repeats are combined on the logarithm: one repeat lies evenly about the truth there, while its arithmetic mean
/// lies high by up to half its squared c.o.v. Dimensionless. Range: 100 runs a level or more, chances down to `share^max_levels`; an error says so beyond.
/// Runs without an answer count as keeping the limit with the largest margin (a chain never moves there) and are reported: a
/// failure hidden behind them is not found.
/// Source: S. K. Au, J. L. Beck, Probabilistic Engineering Mechanics 16 (2001) 263-277; I. Papaioannou, W. Betz,
/// K. Zwirglmaier, D. Straub, ibid. 41 (2015) 89-103 (the chains).
pub fn subset(
    limit: &dyn LimitState,
    options: &Options,
    seed: u64,
    confidence: f64,
) -> Result<Subset, StudyError> {
    let survivors = (options.per_level as f64 * options.share).round() as u64;
    if options.per_level < 100
        || !(0.02..=0.5).contains(&options.share)
        || options.repeats == 0
        || survivors == 0
        || !options.per_level.is_multiple_of(survivors)
    {
        return Err(StudyError::Plan(format!(
            "{} runs a level with share {} and {} repeats: 100 runs, a share of 0.02..0.5 that divides them evenly, and one repeat are the least",
            options.per_level, options.share, options.repeats
        )));
    }
    let ones = (0..options.repeats)
        .map(|r| one(limit, options, survivors as usize, mix(seed ^ mix(r ^ 0x7375_6273_6574))))
        .collect::<Result<Vec<_>, _>>()?;
    let repeats: Vec<f64> = ones.iter().map(|o| o.chance).collect();
    let n = repeats.len() as f64;
    let mean_of = |f: &dyn Fn(&One) -> f64| ones.iter().map(f).sum::<f64>() / n;
    let apart = mean_of(&|o| o.deltas.iter().sum::<f64>().sqrt());
    let together = mean_of(&|o| o.deltas.iter().map(|d| d.sqrt()).sum::<f64>());
    let logs: Vec<f64> = repeats.iter().map(|p| p.ln()).collect();
    let middle = logs.iter().sum::<f64>() / n;
    let chance = middle.exp();
    let (cov, interval) = if repeats.len() >= 4 {
        let variance = logs.iter().map(|l| (l - middle).powi(2)).sum::<f64>() / (n - 1.0);
        // A few repeats can lie together by luck: their spread is pooled with what the chains foresee (between levels taken as
        // uncorrelated and as fully correlated), weighted as one repeat. The weight is this library's own; coverage is tested.
        let dof = n - 1.0 + FORESEEN_WEIGHT;
        let variance = ((n - 1.0) * variance + FORESEEN_WEIGHT * (apart * together).ln_1p()) / dof;
        let half = -t_quantile(0.5 * (1.0 - confidence), dof) * (variance / n).sqrt();
        let interval = Interval { low: (middle - half).exp(), high: (middle + half).exp() };
        ((variance / n).exp_m1().sqrt(), interval)
    } else {
        // The wider of the two estimates: levels do share their chains.
        let cov = together / n.sqrt();
        let sigma = cov.powi(2).ln_1p().sqrt() * score(confidence);
        (cov, Interval { low: chance * (-sigma).exp(), high: chance * sigma.exp() })
    };
    Ok(Subset {
        result: RareChance {
            chance,
            interval,
            cov,
            confidence,
            evaluations: ones.iter().map(|o| o.evaluations).sum(),
            without_answer: ones.iter().map(|o| o.without).sum(),
            method: "subset simulation",
            seed,
        },
        repeats,
        cov_of_one: (apart, together),
        levels: ones[0].levels.clone(),
    })
}

/// Margin, or the largest number for a run without an answer.
fn margin(limit: &dyn LimitState, u: &[f64]) -> (f64, u64) {
    match limit.margin(u) {
        Ok(g) if !g.is_nan() => (g, 0),
        _ => (f64::MAX, 1),
    }
}

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    normal_quantile(unit(rng.next_u64()))
}

fn one(limit: &dyn LimitState, options: &Options, survivors: usize, seed: u64) -> Result<One, StudyError> {
    let (n, per_level) = (limit.dimensions(), options.per_level as usize);
    // Chains side by side: chain c holds states c * length .. (c + 1) * length.
    let mut states: Vec<State> = (0..per_level)
        .into_par_iter()
        .map(|i| {
            let mut rng = stream(seed, 0, (i * n) as u64);
            let u: Vec<f64> = (0..n).map(|_| normal(&mut rng)).collect();
            let (g, without) = margin(limit, &u);
            (u, g, without)
        })
        .collect();
    let mut length = 1;
    let mut result = One { chance: 1.0, deltas: Vec::new(), levels: Vec::new(), evaluations: 0, without: 0 };
    // Correlation kept between neighbours in a chain; follows the share accepted.
    let mut keep: f64 = 0.8;
    for level in 1..=options.max_levels {
        result.evaluations += if level == 1 { per_level } else { per_level - survivors } as u64;
        result.without += states.iter().map(|s| s.2).sum::<u64>();
        let mut order: Vec<usize> = (0..per_level).collect();
        order.sort_by(|&a, &b| states[a].1.total_cmp(&states[b].1).then(a.cmp(&b)));
        // The cut lies midway between the last survivor and the first that is left behind.
        let cut = 0.5 * states[order[survivors - 1]].1 + 0.5 * states[order[survivors]].1;
        let last = cut <= 0.0;
        let cut = cut.max(0.0);
        let inside: Vec<bool> = states.iter().map(|s| s.1 <= cut).collect();
        let share = inside.iter().filter(|x| **x).count() as f64 / per_level as f64;
        result.chance *= share;
        result
            .deltas
            .push((1.0 - share) / (share * per_level as f64) * (1.0 + gamma(&inside, length, share)));
        result.levels.push(cut);
        if last {
            return Ok(result);
        }
        // Ties at the cut (a flat margin) can let more than the share through; only so many start chains. Their order is
        // shuffled: steps are set chain group by chain group, and must not depend on how deep a chain starts.
        let mut starts = order[..survivors].to_vec();
        starts.sort_by_key(|&i| mix(seed ^ mix((level * per_level + i) as u64)));
        let seeds: Vec<(Vec<f64>, f64)> =
            starts.iter().map(|&i| (states[i].0.clone(), states[i].1)).collect();
        if seeds.iter().any(|s| s.1 > cut) || share > 0.9 {
            return Err(StudyError::Stopped(format!(
                "the margin does not fall towards failure (level {level}, cut {cut}, {:.0} % below it): it is flat over much of the inputs; give a margin that says how near failure is",
                100.0 * share
            )));
        }
        length = per_level / survivors;
        let level_seed = mix(seed ^ mix(level as u64));
        // A few chains first, to set how far the others step.
        let tried = (survivors / 10).max(5).min(survivors);
        let accepted_of = |chains: &[Chain]| {
            chains.iter().map(|c| c.1).sum::<u64>() as f64 / (chains.len() * (length - 1).max(1)) as f64
        };
        let mut chains: Vec<Chain> = Vec::with_capacity(survivors);
        for group in seeds.chunks(tried).enumerate() {
            let (k, group) = group;
            let now: Vec<_> = group
                .par_iter()
                .enumerate()
                .map(|(c, s)| {
                    let rng = stream(level_seed, (k * tried + c) as u64 + 1, 0);
                    chain(limit, s, cut, keep, length, rng)
                })
                .collect();
            let step = (1.0 - keep * keep).sqrt();
            let factor = ((accepted_of(&now) - 0.44) / ((k + 1) as f64).sqrt()).exp();
            let step = (step * factor).clamp(0.05, 0.999);
            keep = (1.0 - step * step).sqrt();
            chains.extend(now);
        }
        states = chains.into_iter().flat_map(|c| c.0).collect();
    }
    Err(StudyError::Stopped(format!(
        "{} levels did not reach failure: the chance is below about {:.0e}, the last cut at margin {}",
        options.max_levels,
        options.share.powi(options.max_levels as i32),
        result.levels.last().copied().unwrap_or(f64::NAN)
    )))
}

fn chain(
    limit: &dyn LimitState,
    seed: &(Vec<f64>, f64),
    cut: f64,
    keep: f64,
    length: usize,
    mut rng: ChaCha8Rng,
) -> Chain {
    let step = (1.0 - keep * keep).sqrt();
    let mut out = Vec::with_capacity(length);
    out.push((seed.0.clone(), seed.1, 0));
    let mut accepted = 0;
    for i in 1..length {
        let trial: Vec<f64> = out[i - 1].0.iter().map(|u: &f64| keep * u + step * normal(&mut rng)).collect();
        let (g, without) = margin(limit, &trial);
        if g <= cut {
            accepted += 1;
            out.push((trial, g, without));
        } else {
            let (u, g) = (out[i - 1].0.clone(), out[i - 1].1);
            out.push((u, g, without));
        }
    }
    (out, accepted)
}

/// Extra variance from correlation within chains (Au and Beck 2001, eq. 25-29).
fn gamma(inside: &[bool], length: usize, share: f64) -> f64 {
    if length < 2 || share >= 1.0 {
        return 0.0;
    }
    let value = |b: bool| f64::from(u8::from(b));
    let chains = inside.len() / length;
    let variance = share * (1.0 - share);
    (1..length)
        .map(|lag| {
            let sum: f64 = (0..chains)
                .flat_map(|c| (0..length - lag).map(move |i| (c * length + i, c * length + i + lag)))
                .map(|(a, b)| value(inside[a]) * value(inside[b]))
                .sum();
            let r = sum / (chains * (length - lag)) as f64 - share * share;
            2.0 * (1.0 - lag as f64 / length as f64) * r / variance
        })
        .sum::<f64>()
        .max(0.0)
}
