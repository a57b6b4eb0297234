//! Small dense and banded linear systems of fixed size.

/// Number of diagonals below and above the main one that may be non-zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bands {
    /// Diagonals below.
    pub lower: usize,
    /// Diagonals above.
    pub upper: usize,
}

/// A square matrix of fixed size, kept by rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Matrix<const N: usize> {
    rows: Box<[[f64; N]]>,
}

impl<const N: usize> Default for Matrix<N> {
    fn default() -> Self {
        Self { rows: vec![[0.0; N]; N].into_boxed_slice() }
    }
}

impl<const N: usize> Matrix<N> {
    /// The zero matrix.
    pub fn zeros() -> Self {
        Self::default()
    }

    /// Sets every entry to zero.
    pub fn clear(&mut self) {
        for row in &mut self.rows {
            row.fill(0.0);
        }
    }

    /// Entry of a row and a column.
    pub fn get(&self, row: usize, column: usize) -> f64 {
        self.rows[row][column]
    }

    /// Sets an entry.
    pub fn set(&mut self, row: usize, column: usize, value: f64) {
        self.rows[row][column] = value;
    }

    /// Adds to an entry.
    pub fn add(&mut self, row: usize, column: usize, value: f64) {
        self.rows[row][column] += value;
    }
}

/// Factors of P A = L U; partial pivoting, work confined to the bands.
#[derive(Clone, Debug, Default)]
pub(super) struct Lu<const N: usize> {
    m: Matrix<N>,
    pivot: Vec<usize>,
    lower: usize,
    upper: usize,
}

impl<const N: usize> Lu<N> {
    /// Factors shift I - J; false when a pivot vanishes.
    pub(super) fn factor_shifted(&mut self, shift: f64, j: &Matrix<N>, bands: Option<Bands>) -> bool {
        let last = N.saturating_sub(1);
        self.lower = bands.map_or(last, |b| b.lower.min(last));
        // Row swaps widen the upper band by the lower one.
        self.upper = bands.map_or(last, |b| (b.lower + b.upper).min(last));
        for (row, (w, j)) in self.m.rows.iter_mut().zip(&j.rows).enumerate() {
            for (w, j) in w.iter_mut().zip(j) {
                *w = -j;
            }
            w[row] += shift;
        }
        self.pivot.clear();
        for k in 0..N {
            let end = (k + self.lower + 1).min(N);
            let wide = (k + self.upper + 1).min(N);
            let mut best = k;
            for i in k + 1..end {
                if self.m.rows[i][k].abs() > self.m.rows[best][k].abs() {
                    best = i;
                }
            }
            self.pivot.push(best);
            if best != k {
                self.m.rows.swap(best, k);
            }
            let (head, tail) = self.m.rows.split_at_mut(k + 1);
            let pivot_row = &head[k];
            let pivot = pivot_row[k];
            if pivot == 0.0 || !pivot.is_finite() {
                return false;
            }
            for row in &mut tail[..end - k - 1] {
                let factor = row[k] / pivot;
                row[k] = factor;
                if factor != 0.0 {
                    for (r, p) in row[k + 1..wide].iter_mut().zip(&pivot_row[k + 1..wide]) {
                        *r -= factor * p;
                    }
                }
            }
        }
        true
    }

    /// Solves in place. Whole rows are swapped while factoring, so the swaps of the multipliers are in the
    /// factors already and all swaps of b come first.
    pub(super) fn solve(&self, b: &mut [f64; N]) {
        for (k, &p) in self.pivot.iter().enumerate() {
            b.swap(k, p);
        }
        for k in 0..N {
            let row = &self.m.rows[k];
            // After swaps a multiplier may lie anywhere left of the diagonal.
            let mut sum = b[k];
            for (l, x) in row[..k].iter().zip(&b[..k]) {
                sum -= l * x;
            }
            b[k] = sum;
        }
        for k in (0..N).rev() {
            let row = &self.m.rows[k];
            let wide = (k + self.upper + 1).min(N);
            let mut sum = b[k];
            for (u, x) in row[k + 1..wide].iter().zip(&b[k + 1..wide]) {
                sum -= u * x;
            }
            b[k] = sum / row[k];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(bands: Option<Bands>) {
        const N: usize = 9;
        let mut j = Matrix::<N>::zeros();
        let b = bands.unwrap_or(Bands { lower: N, upper: N });
        let mut s = 1u64;
        for r in 0..N {
            for c in 0..N {
                if c <= r + b.upper && r <= c + b.lower {
                    s = s.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                    j.set(r, c, (s >> 40) as f64 / 1e6 - 8.0);
                }
            }
        }
        let mut lu = Lu::<N>::default();
        assert!(lu.factor_shifted(0.1, &j, bands));
        let x: [f64; N] = std::array::from_fn(|i| 1.0 + i as f64);
        let mut rhs = [0.0; N];
        for r in 0..N {
            rhs[r] = 0.1 * x[r] - (0..N).map(|c| j.get(r, c) * x[c]).sum::<f64>();
        }
        lu.solve(&mut rhs);
        for (a, b) in rhs.iter().zip(x) {
            assert!((a - b).abs() < 1e-10 * b, "{a} {b}");
        }
    }

    #[test]
    fn a_dense_system_is_solved() {
        check(None);
    }

    #[test]
    fn a_banded_system_with_row_swaps_is_solved() {
        check(Some(Bands { lower: 2, upper: 1 }));
        check(Some(Bands { lower: 1, upper: 3 }));
    }
}
