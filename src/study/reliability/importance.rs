//! Importance sampling around a point of failure.
use super::{LimitState, RareChance};
use crate::spec::special::normal_quantile;
use crate::study::error::StudyError;
use crate::study::interval::{Interval, score};
use crate::study::sampling::plain::stream;
use crate::study::sampling::unit;
use rand_chacha::rand_core::Rng;
use rayon::prelude::*;

const STREAM: u64 = 0x696d_706f_7274;

/// The chance of failing from normal draws centred on `centre` (the design point of [`super::form`]).
///
/// Formula: `mean(1[g(u) <= 0] exp(-z . c - |c|^2/2))` over `u = c + z`, `z` standard normal; interval `± z_c s / sqrt n`.
/// Dimensionless. Range: 100 draws or more, and all ways to fail near the centre: a second one far away is not seen, so
/// compare with subset simulation. Runs without an answer count as failing (the safe side) and are reported.
/// Source: R. E. Melchers, Structural Safety 6 (1989) 3-10.
pub fn around(
    limit: &dyn LimitState,
    centre: &[f64],
    draws: u64,
    seed: u64,
    confidence: f64,
) -> Result<RareChance, StudyError> {
    let n = limit.dimensions();
    if draws < 100 || centre.len() != n {
        return Err(StudyError::Plan(format!(
            "{draws} draws around a point of {} scores for {n} inputs: 100 draws and one score an input are the least",
            centre.len()
        )));
    }
    let square = centre.iter().map(|c| c * c).sum::<f64>();
    const BLOCK: u64 = 256;
    let parts: Vec<(f64, f64, u64)> = (0..draws.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            let mut rng = stream(seed, STREAM, block * BLOCK * n as u64);
            let mut u = vec![0.0; n];
            let (mut sum, mut squares, mut without) = (0.0, 0.0, 0);
            for _ in block * BLOCK..((block + 1) * BLOCK).min(draws) {
                let mut dot = 0.0;
                for (x, c) in u.iter_mut().zip(centre) {
                    let z = normal_quantile(unit(rng.next_u64()));
                    dot += z * c;
                    *x = c + z;
                }
                let fails = match limit.margin(&u) {
                    Ok(g) => g <= 0.0,
                    Err(_) => {
                        without += 1;
                        true
                    }
                };
                if fails {
                    let weight = (-dot - 0.5 * square).exp();
                    sum += weight;
                    squares += weight * weight;
                }
            }
            (sum, squares, without)
        })
        .collect();
    // Summed block by block in order: the same digits on any number of threads.
    let (sum, squares, without_answer) =
        parts.iter().fold((0.0, 0.0, 0), |a, p| (a.0 + p.0, a.1 + p.1, a.2 + p.2));
    let count = draws as f64;
    let chance = sum / count;
    let sd = ((squares / count - chance * chance).max(0.0) / (count - 1.0)).sqrt();
    if sum == 0.0 {
        return Err(StudyError::Stopped(format!(
            "none of {draws} draws around the point failed: the point is not one of failure"
        )));
    }
    let half = score(confidence) * sd;
    Ok(RareChance {
        chance,
        interval: Interval { low: (chance - half).max(0.0), high: chance + half },
        cov: sd / chance,
        confidence,
        evaluations: draws,
        without_answer,
        method: "importance sampling",
        seed,
    })
}
