//! Latin hypercube draws, each computable by itself.
use super::plain::stream;
use super::{mix, unit};
use rand_chacha::rand_core::Rng;

/// A Latin hypercube: `u_i = (perm(i) + jitter_i) / n`, with one permutation an input and repeat.
///
/// Up to 2^22 numbers in all the permutations are shuffled and kept (Fisher-Yates over ChaCha8); above that each is a keyed
/// permutation computed on the fly (a six-round Feistel network walked until it lands in range), so that ten
/// million draws cost no memory. Source: M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979)
/// 239-245; J. Black, P. Rogaway, Ciphers with arbitrary finite domains, CT-RSA 2002 (cycle walking).
#[derive(Clone, Debug)]
pub struct Latin {
    seed: u64,
    keys: Vec<u64>,
    per_repeat: u64,
    half_bits: u32,
    /// Kept permutations, by repeat then dimension.
    tables: Option<Vec<u32>>,
}

/// Separates the shuffles' streams from the jitters'.
const SHUFFLE: u64 = 0x6c61_7469_6e5f_6863;

impl Latin {
    /// `repeats` hypercubes of `per_repeat` draws over the inputs with the given keys.
    pub fn new(seed: u64, keys: &[u64], per_repeat: u64, repeats: u64) -> Self {
        let bits = 64 - (per_repeat.max(2) - 1).leading_zeros();
        let total = per_repeat.saturating_mul(repeats).saturating_mul(keys.len() as u64);
        let tables = (total <= 1 << 22).then(|| {
            let mut all = Vec::with_capacity(total as usize);
            for repeat in 0..repeats {
                for &key in keys {
                    let mut rng = stream(seed, mix(key ^ SHUFFLE), repeat * per_repeat);
                    let first = all.len();
                    all.extend(0..per_repeat as u32);
                    let table = &mut all[first..];
                    for i in (1..table.len()).rev() {
                        // Widening multiplication: bias below 2^-40 for the lengths kept here.
                        let j = ((u128::from(rng.next_u64()) * (i as u128 + 1)) >> 64) as usize;
                        table.swap(i, j);
                    }
                }
            }
            all
        });
        Self { seed, keys: keys.to_vec(), per_repeat, half_bits: bits.div_ceil(2), tables }
    }

    /// Uniforms of draws `start..` of one input.
    pub fn fill(&self, dimension: usize, start: u64, out: &mut [f64]) {
        let key = self.keys[dimension];
        let mut rng = stream(self.seed, key, start);
        let n = self.per_repeat;
        for (i, u) in (start..).zip(out) {
            let (repeat, row) = (i / n, i % n);
            let share = match &self.tables {
                Some(t) => {
                    u64::from(t[(repeat as usize * self.keys.len() + dimension) * n as usize + row as usize])
                }
                None => self.permuted(mix(self.seed ^ mix(key ^ SHUFFLE ^ mix(repeat))), row),
            };
            *u = ((share as f64 + unit(rng.next_u64())) / n as f64).min(1.0 - f64::EPSILON / 2.0);
        }
    }

    fn permuted(&self, key: u64, mut row: u64) -> u64 {
        let mask = (1u64 << self.half_bits) - 1;
        loop {
            let (mut left, mut right) = (row >> self.half_bits, row & mask);
            for round in 0..6 {
                let next = left ^ (mix(key.wrapping_add(round) ^ mix(right)) & mask);
                left = right;
                right = next;
            }
            row = (left << self.half_bits) | right;
            if row < self.per_repeat {
                return row;
            }
        }
    }
}
