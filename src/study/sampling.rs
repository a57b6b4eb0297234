//! Where draws come from: a draw is a row of probabilities, one an input, computed from its index alone.
//!
//! Any draw of any input can be computed by itself, so the number of threads, the order of work and a
//! resumed run cannot change a digit. Each input has a stream named by the input: adding an input or
//! changing the order of inputs leaves the plain and Latin draws of the others as they were.
pub mod correlation;
pub mod latin;
pub mod owen;
pub mod plain;
pub mod sobol;

use super::error::StudyError;
use serde::{Deserialize, Serialize};
use std::fmt;

/// How draws are spread over the inputs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sampling {
    /// Independent draws (ChaCha8). Every interval of [`super::interval`] holds as it stands.
    Plain,
    /// Latin hypercube: each input's range is cut into as many equal shares as there are draws and each
    /// share is used once. Intervals come from independent repeats.
    LatinHypercube,
    /// Sobol' points with nested uniform (Owen) scrambling. Intervals come from independent repeats.
    #[default]
    Sobol,
}

impl Sampling {
    /// What made the draws, in words that pin the method down.
    pub fn generator(self) -> &'static str {
        match self {
            Self::Plain => "ChaCha8 (rand_chacha), one stream an input, 52-bit uniforms",
            Self::LatinHypercube => {
                "Latin hypercube over ChaCha8 (rand_chacha), one stream an input, 52-bit uniforms"
            }
            Self::Sobol => "Sobol' (Joe-Kuo D6), hashed nested uniform scrambling, 52-bit uniforms",
        }
    }
}

impl fmt::Display for Sampling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Plain => "plain",
            Self::LatinHypercube => "Latin hypercube",
            Self::Sobol => "scrambled Sobol'",
        })
    }
}

/// A source of draws: `repeats` independent samples of `per_repeat` points, one after the other.
#[derive(Clone, Debug)]
pub struct Source {
    kind: Kind,
    dimensions: usize,
    per_repeat: u64,
    repeats: u64,
}

#[derive(Clone, Debug)]
enum Kind {
    Plain(plain::Plain),
    Latin(latin::Latin),
    Sobol {
        points: sobol::Sobol,
        /// One scrambler a repeat and dimension, repeat by repeat.
        scramblers: Vec<owen::Scrambler>,
    },
}

impl Source {
    /// A source over named dimensions.
    ///
    /// Range: at least one point and repeat; Sobol' points up to [`sobol::MAX_DIMENSIONS`] dimensions.
    pub fn new(
        sampling: Sampling,
        names: &[String],
        per_repeat: u64,
        repeats: u64,
        seed: u64,
    ) -> Result<Self, StudyError> {
        if per_repeat == 0 || repeats == 0 {
            return Err(StudyError::Plan(format!(
                "{repeats} repeats of {per_repeat} draws is no sample: ask for at least one draw"
            )));
        }
        let keys: Vec<u64> = names.iter().map(|n| name_key(n)).collect();
        let kind = match sampling {
            Sampling::Plain => Kind::Plain(plain::Plain::new(seed, &keys)),
            Sampling::LatinHypercube => Kind::Latin(latin::Latin::new(seed, &keys, per_repeat, repeats)),
            Sampling::Sobol => Kind::Sobol {
                points: sobol::Sobol::new(names.len())?,
                scramblers: (0..repeats)
                    .flat_map(|r| keys.iter().map(move |&k| (r, k)))
                    .map(|(r, k)| owen::Scrambler::new(mix(seed ^ mix(k ^ mix(r)))))
                    .collect(),
            },
        };
        Ok(Self { kind, dimensions: names.len(), per_repeat, repeats })
    }

    /// Number of inputs.
    pub fn dimensions(&self) -> usize {
        self.dimensions
    }

    /// Number of draws in all repeats together.
    pub fn draws(&self) -> u64 {
        self.per_repeat * self.repeats
    }

    /// Writes the probabilities of draws `start..` of input `dimension`, all strictly between 0 and 1.
    pub fn fill(&self, dimension: usize, start: u64, out: &mut [f64]) {
        match &self.kind {
            Kind::Plain(p) => p.fill(dimension, start, out),
            Kind::Latin(l) => l.fill(dimension, start, out),
            Kind::Sobol { points, scramblers } => {
                let (mut at, mut done) = (start, 0);
                while done < out.len() {
                    let (repeat, first) = (at / self.per_repeat, at % self.per_repeat);
                    let room = (self.per_repeat - first).min((out.len() - done) as u64) as usize;
                    let scrambler = &scramblers[repeat as usize * self.dimensions + dimension];
                    points.fill_scrambled(dimension, first, scrambler, &mut out[done..done + room]);
                    done += room;
                    at += room as u64;
                }
            }
        }
    }
}

/// A number strictly between 0 and 1 from the top 52 bits: the middle of one of 2^52 equal cells, so that
/// neither end can be reached and no two cells share a value.
#[inline]
pub(crate) fn unit(bits: u64) -> f64 {
    ((bits >> 12) as f64 + 0.5) * (1.0 / (1u64 << 52) as f64)
}

/// The finaliser of SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number
/// generators, OOPSLA 2014; constants of D. Stafford's mix 13).
#[inline]
pub(crate) fn mix(x: u64) -> u64 {
    let x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

/// The stream number of a name: FNV-1a, 64 bits (G. Fowler, L. C. Noll, K.-P. Vo).
pub(crate) fn name_key(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3))
}
