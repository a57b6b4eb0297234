//! Draws that go together: rank correlation by a Gaussian copula, and the reordering of Iman and Conover.
use super::mix;
use super::plain::stream;
use crate::spec::special::{normal_cdf, normal_quantile};
use crate::study::error::StudyError;
use nalgebra::DMatrix;
use rand_chacha::rand_core::Rng;

/// The correlation of the normal scores that gives a rank correlation `rho_s`.
///
/// Formula: `2 sin(pi rho_s / 6)`. Range: -1..1, dimensionless; NaN outside.
/// Source: K. Pearson, Drapers' Company Research Memoirs, Biometric Series 4 (1907).
pub fn normal_from_rank(rho_s: f64) -> f64 {
    if !(-1.0..=1.0).contains(&rho_s) {
        return f64::NAN;
    }
    2.0 * (std::f64::consts::PI * rho_s / 6.0).sin()
}

/// A Gaussian copula over some of the inputs.
#[derive(Clone, Debug)]
pub struct Copula {
    /// Inputs taking part.
    members: Vec<usize>,
    /// Lower triangle of the Cholesky factor, row by row.
    factor: Vec<Vec<f64>>,
}

impl Copula {
    /// From wanted rank correlations between pairs of inputs; pairs not named are uncorrelated.
    ///
    /// Range: each within -1..1 (the ends excluded) and all of them possible together; an error names the input at which
    /// they contradict each other.
    pub fn new(names: &[String], pairs: &[(usize, usize, f64)]) -> Result<Self, StudyError> {
        let mut members: Vec<usize> = pairs.iter().flat_map(|p| [p.0, p.1]).collect();
        members.sort_unstable();
        members.dedup();
        let n = members.len();
        let mut matrix = DMatrix::<f64>::identity(n, n);
        for &(a, b, rho) in pairs {
            if a == b || !(rho > -1.0 && rho < 1.0) {
                return Err(StudyError::Plan(format!(
                    "rank correlation {rho} between '{}' and '{}': two different inputs and a number strictly between -1 and 1 are needed",
                    names[a], names[b]
                )));
            }
            let (i, j) = (members.partition_point(|&m| m < a), members.partition_point(|&m| m < b));
            matrix[(i, j)] = normal_from_rank(rho);
            matrix[(j, i)] = matrix[(i, j)];
        }
        let mut factor: Vec<Vec<f64>> = Vec::with_capacity(n);
        for i in 0..n {
            let mut row = vec![0.0; i + 1];
            for j in 0..=i {
                let sum: f64 = (0..j).map(|k| row[k] * if j == i { row[k] } else { factor[j][k] }).sum();
                let rest = matrix[(i, j)] - sum;
                if j < i {
                    row[j] = rest / factor[j][j];
                } else if rest > 1e-12 {
                    row[j] = rest.sqrt();
                } else {
                    return Err(StudyError::Plan(format!(
                        "the rank correlations cannot all hold together (found at '{}'): weaken one of those it takes part in",
                        names[members[i]]
                    )));
                }
            }
            factor.push(row);
        }
        Ok(Self { members, factor })
    }

    /// The inputs that it makes go together.
    pub fn members(&self) -> &[usize] {
        &self.members
    }

    /// Makes independent probabilities, one column an input, go together; margins stay uniform. Columns of inputs that take no
    /// part are not looked at.
    pub fn apply(&self, columns: &mut [&mut [f64]]) {
        let Some(&first) = self.members.first() else {
            return;
        };
        let mut z = vec![0.0; self.members.len()];
        for i in 0..columns[first].len() {
            for (value, &m) in z.iter_mut().zip(&self.members) {
                *value = normal_quantile(columns[m][i]);
            }
            // From the last row up, so that each row still sees the independent scores.
            for (row, &m) in self.factor.iter().zip(&self.members).rev() {
                let sum: f64 = row.iter().zip(&z).map(|(l, v)| l * v).sum();
                columns[m][i] = normal_cdf(sum).clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON / 2.0);
            }
        }
    }
}

/// Reorders each column so that the columns' rank correlations come close to `target`; the values in each
/// column stay the same, only their order changes.
///
/// Formula: van der Waerden scores `Phi^-1(i/(n+1))`, shuffled, are multiplied by `(P Q^-1)^T`, where `P` and `Q` are the
/// Cholesky factors of the target and of the scores' own correlation; each column then takes the ranks of
/// the transformed scores. `target` is symmetric, ones on the diagonal, positive definite; all columns are
/// of one length above the number of columns. Otherwise an error says so.
/// Source: R. L. Iman, W. J. Conover, Communications in Statistics B 11 (1982) 311-334.
pub fn iman_conover(columns: &mut [Vec<f64>], target: &DMatrix<f64>, seed: u64) -> Result<(), StudyError> {
    let k = columns.len();
    let n = columns.first().map_or(0, Vec::len);
    if target.nrows() != k || target.ncols() != k || columns.iter().any(|c| c.len() != n) || n <= k {
        return Err(StudyError::Plan(format!(
            "{k} columns of {n} values and a {}x{} correlation table: equal columns longer than their number and a table of their size are needed",
            target.nrows(),
            target.ncols()
        )));
    }
    let base: Vec<f64> = (1..=n).map(|i| normal_quantile(i as f64 / (n as f64 + 1.0))).collect();
    let mut scores = DMatrix::zeros(n, k);
    for j in 0..k {
        let mut order = base.clone();
        let mut rng = stream(seed, mix(j as u64), 0);
        for i in (1..n).rev() {
            order.swap(i, ((u128::from(rng.next_u64()) * (i as u128 + 1)) >> 64) as usize);
        }
        scores.column_mut(j).copy_from_slice(&order);
    }
    let scale = base.iter().map(|v| v * v).sum::<f64>();
    let own = scores.tr_mul(&scores) / scale;
    let cholesky = |m: &DMatrix<f64>, what: &str| {
        m.clone().cholesky().map(|c| c.l()).ok_or_else(|| {
            StudyError::Plan(format!("the {what} correlations cannot all hold together: weaken one"))
        })
    };
    let (p, q) = (cholesky(target, "wanted")?, cholesky(&own, "drawn")?);
    let q_inverse = q
        .solve_lower_triangular(&DMatrix::identity(k, k))
        .ok_or_else(|| StudyError::Plan("the drawn scores are degenerate: use more draws".into()))?;
    let transformed = scores * (p * q_inverse).transpose();
    for (j, column) in columns.iter_mut().enumerate() {
        let mut by_score: Vec<usize> = (0..n).collect();
        by_score.sort_by(|&a, &b| transformed[(a, j)].total_cmp(&transformed[(b, j)]));
        let mut sorted = column.clone();
        sorted.sort_by(f64::total_cmp);
        for (value, row) in sorted.into_iter().zip(by_score) {
            column[row] = value;
        }
    }
    Ok(())
}

/// Spearman's rank correlation of two equally long columns; ties share their mean rank.
///
/// Formula: the product-moment correlation of the ranks, dimensionless. NaN below two values or when one column is constant.
pub fn spearman(a: &[f64], b: &[f64]) -> f64 {
    pearson(&ranks(a), &ranks(b))
}

/// The product-moment correlation of two equally long columns, dimensionless. NaN when it does not exist.
pub fn pearson(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len()) as f64;
    let (ma, mb) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma) * (x - ma);
        bb += (y - mb) * (y - mb);
    }
    ab / (aa * bb).sqrt()
}

fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&i, &j| values[i].total_cmp(&values[j]));
    let mut ranks = vec![0.0; values.len()];
    let mut at = 0;
    while at < order.len() {
        let mut end = at + 1;
        while end < order.len() && values[order[end]] == values[order[at]] {
            end += 1;
        }
        for &i in &order[at..end] {
            ranks[i] = 0.5 * (at + end - 1) as f64;
        }
        at = end;
    }
    ranks
}
