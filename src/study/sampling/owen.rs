//! Nested uniform (Owen) scrambling by hashing.
use super::mix;

/// A random nested scramble of one coordinate.
///
/// Each binary digit is flipped or not, depending on all digits before it and on the key. The first eight
/// digits follow a tree of independent coin flips kept as a table; the digits after them follow a keyed
/// permutation in which every digit depends on the earlier ones only, with a key of its own for each of
/// the 256 branches. Equidistribution of the points is kept exactly; every scrambled point is uniform.
/// Source: A. B. Owen, Randomly permuted (t,m,s)-nets, LNS 106 (1995) 299-317; S. Laine, T. Karras,
/// Stratified sampling for stochastic transparency, Computer Graphics Forum 30 (2011) 1197-1204 (the form
/// of the hashed permutation); the two-level form is this library's own.
#[derive(Clone, Debug)]
pub struct Scrambler {
    /// First eight digits after the flips, by the first eight digits reversed (bit 0 first).
    top: Box<[u8; 256]>,
    key: u64,
}

impl Scrambler {
    /// The scramble belonging to a key.
    pub fn new(key: u64) -> Self {
        let mut top = Box::new([0u8; 256]);
        for (reversed, entry) in top.iter_mut().enumerate() {
            let mut digits = 0u8;
            for level in 0..8 {
                let before = reversed as u64 & ((1 << level) - 1);
                let flip = mix(key ^ mix((1 << level) | before)) >> 63;
                let digit = ((reversed as u64 >> level) & 1) ^ flip;
                digits |= (digit as u8) << (7 - level);
            }
            *entry = digits;
        }
        Self { top, key: mix(!key) }
    }

    /// Scrambles digits given in reverse (bit 0 is the first digit); the result has its first digit at bit 63.
    #[inline]
    pub fn scramble(&self, reversed: u64) -> u64 {
        let head = (reversed & 0xff) as usize;
        let branch = mix(self.key ^ head as u64);
        // Every operation carries information from low bits (earlier digits) to high bits only.
        let mut x = (reversed >> 8).wrapping_add(branch);
        x ^= x.wrapping_mul(0x6c50_b47c_a9d0_17e2);
        x = x.wrapping_mul((branch >> 32) | 1);
        x ^= x.wrapping_mul(0xb82f_1e52_16af_b5ac);
        x = x.wrapping_add(branch.rotate_left(23));
        x ^= x.wrapping_mul(0xc7af_e638_2d1d_84f0);
        x = x.wrapping_mul(branch.rotate_left(41) | 1);
        x ^= x.wrapping_mul(0x8f4e_2d97_5c31_a6b8);
        (u64::from(self.top[head]) << 56) | (x.reverse_bits() >> 8)
    }
}
