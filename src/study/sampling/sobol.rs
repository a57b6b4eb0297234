//! Sobol' points.
use super::owen::Scrambler;
use super::unit;
use crate::study::error::StudyError;
use std::sync::OnceLock;

/// The largest number of inputs Sobol' points are kept for.
pub const MAX_DIMENSIONS: usize = 2048;

/// The most points of one sequence; later points would repeat.
pub const MAX_POINTS: u64 = 1 << 52;

/// Digits kept of each coordinate.
const DIGITS: usize = 64;

/// Sobol' points in the unit cube, in Gray-code order.
///
/// Formula: coordinate `j` of point `i` is the exclusive or of direction numbers `v_{j,k}` over the bits `k`
/// set in the Gray code `i ^ (i >> 1)`. Each point is computed from its index alone.
/// Range: 1 to 2048 inputs, 2^52 points; outside it an error says so.
/// The first `2^m` points hold exactly one point in each of `2^m` equal shares of every input.
/// Source: S. Joe and F. Y. Kuo, SIAM J. Sci. Comput. 30 (2008) 2635-2654 (direction numbers,
/// new-joe-kuo-6.21201); I. A. Antonov, V. M. Saleev, USSR Comput. Math. Math. Phys. 19 (1979) 252 (order).
#[derive(Clone, Debug)]
pub struct Sobol {
    /// Direction numbers of each dimension with their digits reversed: bit 0 is the first binary digit.
    directions: Vec<[u64; DIGITS]>,
}

impl Sobol {
    /// Points over `dimensions` inputs.
    pub fn new(dimensions: usize) -> Result<Self, StudyError> {
        if dimensions == 0 || dimensions > MAX_DIMENSIONS {
            return Err(StudyError::Plan(format!(
                "Sobol' points over {dimensions} inputs: 1 to {MAX_DIMENSIONS} are known; use plain or Latin hypercube draws for more"
            )));
        }
        Ok(Self { directions: (0..dimensions).map(directions).collect() })
    }

    /// Digits of one coordinate, reversed: bit 0 is the first binary digit after the point.
    #[inline]
    fn reversed(&self, dimension: usize, index: u64) -> u64 {
        let v = &self.directions[dimension];
        let mut gray = index ^ (index >> 1);
        let mut x = 0;
        while gray != 0 {
            x ^= v[gray.trailing_zeros() as usize];
            gray &= gray - 1;
        }
        x
    }

    /// One coordinate of the unscrambled point `index` (point 0 is the origin), in 0..1 with 1 excluded.
    pub fn coordinate(&self, dimension: usize, index: u64) -> f64 {
        let digits = self.reversed(dimension, index).reverse_bits();
        (digits >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Scrambled coordinates of points `first..` of one dimension, strictly between 0 and 1.
    pub fn fill_scrambled(&self, dimension: usize, first: u64, scrambler: &Scrambler, out: &mut [f64]) {
        if out.is_empty() {
            return;
        }
        let v = &self.directions[dimension];
        let mut x = self.reversed(dimension, first);
        let mut next = first;
        for u in out {
            *u = unit(scrambler.scramble(x));
            // The Gray codes of neighbours differ in one bit: the lowest one set in the next index.
            next += 1;
            x ^= v[next.trailing_zeros() as usize];
        }
    }
}

/// Direction numbers of one dimension (0-based), digits reversed.
fn directions(dimension: usize) -> [u64; DIGITS] {
    let mut v = [0u64; DIGITS];
    if dimension == 0 {
        for (k, value) in v.iter_mut().enumerate() {
            *value = 1 << k;
        }
        return v;
    }
    let (s, a, ref m) = table()[dimension - 1];
    // v_k = m_k / 2^k as a 64-digit fraction.
    for k in 0..s {
        v[k] = u64::from(m[k]) << (DIGITS - 1 - k);
    }
    for k in s..DIGITS {
        let mut x = v[k - s] ^ (v[k - s] >> s);
        for i in 1..s {
            if (a >> (s - 1 - i)) & 1 == 1 {
                x ^= v[k - i];
            }
        }
        v[k] = x;
    }
    v.map(u64::reverse_bits)
}

/// Degree, inner coefficients and initial numbers of each primitive polynomial, from dimension 2.
fn table() -> &'static [(usize, u32, Vec<u32>)] {
    static TABLE: OnceLock<Vec<(usize, u32, Vec<u32>)>> = OnceLock::new();
    TABLE.get_or_init(|| {
        include_str!("new-joe-kuo-6.txt")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .map(|line| {
                let mut numbers = line
                    .split_ascii_whitespace()
                    .map(|t| t.parse::<u32>().expect("the shipped table holds whole numbers"));
                let mut next = || numbers.next().expect("the shipped table has d, s and a");
                let (_d, s, a) = (next(), next() as usize, next());
                (s, a, numbers.collect())
            })
            .collect()
    })
}
