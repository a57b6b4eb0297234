//! Independent draws from a counter-based generator.
use super::unit;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Independent uniforms: draw `i` of an input is word pair `i` of that input's ChaCha8 stream.
///
/// Range: 2^62 draws and any number of inputs. Source: D. J. Bernstein, ChaCha, a variant of Salsa20 (2008);
/// the implementation is the crate `rand_chacha`.
#[derive(Clone, Debug)]
pub struct Plain {
    seed: u64,
    keys: Vec<u64>,
}

impl Plain {
    /// Streams for the inputs with the given keys.
    pub fn new(seed: u64, keys: &[u64]) -> Self {
        Self { seed, keys: keys.to_vec() }
    }

    /// Uniforms of draws `start..` of one input.
    pub fn fill(&self, dimension: usize, start: u64, out: &mut [f64]) {
        let mut rng = stream(self.seed, self.keys[dimension], start);
        for u in out {
            *u = unit(rng.next_u64());
        }
    }
}

/// The generator of one stream, standing before its `start`-th 64-bit number.
pub(crate) fn stream(seed: u64, key: u64, start: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(key);
    rng.set_word_pos(2 * u128::from(start));
    rng
}
