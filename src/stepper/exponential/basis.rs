//! The modes of a kept Jacobian.

use crate::stepper::linear::Matrix;
use crate::stepper::system::System;
use nalgebra::{Complex, DMatrix, DVector, Schur};

/// A basis whose condition is worse loses too many digits.
const WORST: f64 = 1e8;
/// Modes slower than this part of the fastest are not taken into what is only counted.
const SLOW: f64 = 1e-6;

/// One mode: its eigenvalue, and whether a conjugate stands beside it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mode {
    pub(super) value: Complex<f64>,
    pub(super) pair: bool,
}

/// A real basis in which a kept Jacobian falls apart into single modes and swinging pairs.
///
/// # Formula
/// `y = V z`, `z' = Λ z + W (f - J y)`, `W = V⁻¹`, `J V = V Λ`; a pair `λ = a ± b i` has the columns Re v, Im v and the block
/// `(a, b; -b, a)`. A state that nobody feels (a volume counted) only adds up: its row of `V` holds `(g v)/λ`, `g` being its
/// row of `J`, so that what the modes bring it is integrated with them and exactly.
///
/// # Valid range
/// Any basis is right, since what it leaves out stays in the rest; how well it fits decides how long a step may be.
#[derive(Clone, Debug)]
pub(super) struct Basis<const N: usize> {
    /// The pairs, then the single modes.
    pub(super) modes: Vec<Mode>,
    /// States that move and are felt; their modes come first. Then the others, as they are.
    core: Vec<usize>,
    others: Vec<usize>,
    v: Box<[[f64; N]]>,
    w: Box<[[f64; N]]>,
    /// What each coordinate and its partner add to its rate.
    own: [f64; N],
    partner: [f64; N],
    /// Size of each mode's part in each state, and `2/|λ|` or, where it does not swing, `1/|λ|`.
    size: Box<[[f64; N]]>,
    slowness: Vec<f64>,
    fastest: (f64, f64),
    /// Time, state and rate at which the Jacobian was taken.
    pub(super) point: (f64, [f64; N], [f64; N]),
    /// The rows of felt states.
    felt: Vec<f64>,
    /// Same for all bases that differ in what is counted only.
    pub(super) family: u64,
}

/// The coordinate that may swing with another.
#[inline]
pub(super) const fn beside(k: usize, n: usize) -> usize {
    let k = k ^ 1;
    if k < n { k } else { n - 1 }
}

impl<const N: usize> Basis<N> {
    /// The modes of a Jacobian; none where it has too few or nearly the same twice.
    pub(super) fn new<S: System<N>>(
        system: &S,
        j: &Matrix<N>,
        point: (f64, [f64; N], [f64; N]),
        family: u64,
    ) -> Option<Self> {
        let felt = |k: &usize| (0..N).any(|r| j.get(r, *k) != 0.0);
        let moves = |k: &usize| (0..N).any(|c| j.get(*k, c) != 0.0);
        let (core, others): (Vec<usize>, Vec<usize>) = (0..N).partition(|k| felt(k) && moves(k));
        let m = core.len();
        let typical: Vec<f64> = core.iter().map(|k| system.typical(*k)).collect();
        let a = DMatrix::from_fn(m, m, |r, c| j.get(core[r], core[c]) * typical[c] / typical[r]);
        if m == 0 || a.iter().any(|x| !x.is_finite()) {
            return None;
        }
        let (q, t) = Schur::try_new(a, f64::EPSILON, 100 * m)?.unpack();
        let blocks = blocks(&t)?;
        let fastest = blocks.iter().map(|b| b.1.norm()).fold(0.0, f64::max);
        let (mut modes, mut columns) = (Vec::with_capacity(m), Vec::with_capacity(m));
        for pair in [true, false] {
            for (last, value) in blocks.iter().filter(|b| (b.1.im > 0.0) == pair) {
                let (re, im) = eigenvector(&q, &t, *last, *value, f64::EPSILON * fastest);
                modes.push(Mode { value: *value, pair });
                columns.push(re);
                columns.extend(pair.then_some(im));
            }
        }
        let d = DMatrix::from_columns(&columns);
        let inverse = d.clone().try_inverse()?;
        if !(d.norm() * inverse.norm() < WORST) {
            return None;
        }
        let mut basis = Self {
            others,
            v: vec![[0.0; N]; m].into_boxed_slice(),
            w: vec![[0.0; N]; m].into_boxed_slice(),
            own: [0.0; N],
            partner: [0.0; N],
            size: Box::default(),
            slowness: modes.iter().map(|m| if m.pair { 2.0 } else { 1.0 } / m.value.norm()).collect(),
            fastest: (modes.iter().map(|m| m.value.im).fold(0.0, f64::max), fastest),
            felt: (0..m * m).map(|k| j.get(core[k / m], core[k % m])).collect(),
            core,
            modes,
            point,
            family,
        };
        for c in 0..m {
            for (r, state) in basis.core.iter().enumerate() {
                basis.v[c][*state] = d[(r, c)] * typical[r];
                basis.w[c][r] = inverse[(r, c)] / typical[c];
            }
        }
        for (at, mode) in places(&basis.modes) {
            basis.own[at] = mode.value.re;
            if mode.pair {
                basis.own[at + 1] = mode.value.re;
                (basis.partner[at], basis.partner[at + 1]) = (mode.value.im, -mode.value.im);
            }
        }
        basis.count(j);
        Some(basis)
    }

    /// Whether a Jacobian has the same rows of felt states, so that only what is counted differs.
    pub(super) fn agrees(&self, j: &Matrix<N>) -> bool {
        let m = self.core.len();
        (0..m * m).all(|k| {
            let (old, new) = (self.felt[k], j.get(self.core[k / m], self.core[k % m]));
            (old - new).abs() <= 1e-12 * old.abs()
        })
    }

    /// Takes what is only counted from another Jacobian; the modes stay.
    pub(super) fn count(&mut self, j: &Matrix<N>) {
        for (at, mode) in places(&self.modes) {
            let slow = mode.value.norm() <= SLOW * self.fastest.1;
            for other in &self.others {
                let brings = |v: &[f64; N]| self.core.iter().map(|c| j.get(*other, *c) * v[*c]).sum::<f64>();
                let re = brings(&self.v[at]);
                let im = if mode.pair { brings(&self.v[at + 1]) } else { 0.0 };
                let x = if slow { Complex::new(0.0, 0.0) } else { Complex::new(re, im) / mode.value };
                self.v[at][*other] = x.re;
                if mode.pair {
                    self.v[at + 1][*other] = x.im;
                }
            }
        }
        let m = self.core.len();
        for w in &mut self.w {
            for (k, other) in self.others.iter().enumerate() {
                w[m + k] = -self.v.iter().zip(&w[..m]).map(|(v, w)| v[*other] * w).sum::<f64>();
            }
        }
        self.size = places(&self.modes)
            .map(|(at, mode)| {
                let (re, im) = (&self.v[at], if mode.pair { Some(&self.v[at + 1]) } else { None });
                std::array::from_fn(|k| im.map_or(re[k].abs(), |im| (re[k] * re[k] + im[k] * im[k]).sqrt()))
            })
            .collect();
    }

    /// The state at modal coordinates.
    #[inline(always)]
    pub(super) fn state(&self, z: &[f64; N], y: &mut [f64; N]) {
        *y = [0.0; N];
        for (v, z) in self.v.iter().zip(z) {
            for k in 0..N {
                y[k] += z * v[k];
            }
        }
        for (state, z) in self.others.iter().zip(&z[self.core.len()..]) {
            y[*state] += z;
        }
    }

    /// The modal coordinates of a state or rate.
    #[inline(always)]
    pub(super) fn coordinates(&self, y: &[f64; N], z: &mut [f64; N]) {
        *z = [0.0; N];
        for (w, state) in self.w.iter().zip(&self.core) {
            let y = y[*state];
            for k in 0..N {
                z[k] += y * w[k];
            }
        }
        for (state, z) in self.others.iter().zip(&mut z[self.core.len()..]) {
            *z += y[*state];
        }
    }

    /// What the modes leave of a rate `f` at coordinates `z`.
    #[inline(always)]
    pub(super) fn rest(&self, f: &[f64; N], z: &[f64; N], rest: &mut [f64; N]) {
        self.coordinates(f, rest);
        for k in 0..N {
            rest[k] -= self.own[k] * z[k] + self.partner[k] * z[beside(k, N)];
        }
    }

    /// How far each state can get from coordinates `z` within `h`, while the rest stays within `far` of `rest`.
    ///
    /// `z(s) - z = s φ_1 (Λ z + rest) + ...`: each factor of a mode that dies away is below both `s` and `2/|λ|`, or `1/|λ|`
    /// where it does not swing.
    pub(super) fn reach(&self, h: f64, z: &[f64; N], rest: &[f64; N], far: &[f64; N]) -> [f64; N] {
        let mut rate = [0.0; N];
        for k in 0..N {
            rate[k] = self.own[k] * z[k] + self.partner[k] * z[beside(k, N)] + rest[k];
        }
        let mut reach = [0.0; N];
        for (((at, mode), size), slow) in places(&self.modes).zip(&self.size).zip(&self.slowness) {
            let grown = if mode.value.re > 0.0 { (mode.value.re * h).exp() } else { 1.0 };
            let whole = |x: &[f64; N]| {
                let beside = if mode.pair { x[at + 1] } else { 0.0 };
                (x[at] * x[at] + beside * beside).sqrt()
            };
            let far = grown * (h.min(*slow) * whole(&rate) + h.min(2.0 * slow) * whole(far));
            for k in 0..N {
                reach[k] += far * size[k];
            }
        }
        for (k, state) in self.others.iter().enumerate() {
            let k = self.core.len() + k;
            reach[*state] += h * (rate[k].abs() + far[k]);
        }
        reach
    }

    /// Fastest swing, rad/s, and fastest mode, 1/s.
    #[inline]
    pub(super) fn fastest(&self) -> (f64, f64) {
        self.fastest
    }
}

/// Each mode with the place of its first coordinate.
pub(super) fn places(modes: &[Mode]) -> impl Iterator<Item = (usize, Mode)> + '_ {
    modes.iter().scan(0, |next, mode| {
        let at = *next;
        *next += if mode.pair { 2 } else { 1 };
        Some((at, *mode))
    })
}

/// The last row of each diagonal block of a real Schur form, and its eigenvalue above or on the real axis; none where one
/// has two real eigenvalues still.
fn blocks(t: &DMatrix<f64>) -> Option<Vec<(usize, Complex<f64>)>> {
    let mut blocks = Vec::new();
    let mut k = 0;
    while k < t.nrows() {
        if k + 1 < t.nrows() && t[(k + 1, k)] != 0.0 {
            let (mean, half) = (0.5 * (t[(k, k)] + t[(k + 1, k + 1)]), 0.5 * (t[(k, k)] - t[(k + 1, k + 1)]));
            let square = half * half + t[(k, k + 1)] * t[(k + 1, k)];
            if square >= 0.0 {
                return None;
            }
            blocks.push((k + 1, Complex::new(mean, (-square).sqrt())));
            k += 2;
        } else {
            blocks.push((k, Complex::new(t[(k, k)], 0.0)));
            k += 1;
        }
    }
    Some(blocks)
}

/// Real and imaginary part of the eigenvector `Q x`, `(T - λ) x = 0`, by substitution upwards from the block of `λ`. Where two
/// eigenvalues are the same, `least` keeps their vectors apart if anything does.
fn eigenvector(
    q: &DMatrix<f64>,
    t: &DMatrix<f64>,
    last: usize,
    value: Complex<f64>,
    least: f64,
) -> (DVector<f64>, DVector<f64>) {
    let zero = Complex::new(0.0, 0.0);
    let apart = |x: Complex<f64>| if x.norm() < least { Complex::new(least, 0.0) } else { x };
    let mut x = vec![zero; last + 1];
    x[last] = Complex::new(1.0, 0.0);
    let mut k = last;
    if value.im > 0.0 {
        k -= 1;
        x[k] = Complex::from(t[(k, last)]) / (value - t[(k, k)]);
    }
    while k > 0 {
        k -= 1;
        let rest = |row: usize| -> Complex<f64> { (k + 1..=last).map(|c| x[c] * t[(row, c)]).sum() };
        if k > 0 && t[(k, k - 1)] != 0.0 {
            let (r0, r1) = (rest(k - 1), rest(k));
            let (a, b, c, d) = (t[(k - 1, k - 1)] - value, t[(k - 1, k)], t[(k, k - 1)], t[(k, k)] - value);
            let per = -Complex::new(1.0, 0.0) / apart(a * d - b * c);
            x[k - 1] = (d * r0 - r1 * b) * per;
            x[k] = (a * r1 - r0 * c) * per;
            k -= 1;
        } else {
            x[k] = -rest(k) / apart(t[(k, k)] - value);
        }
    }
    let mut v = DVector::from_fn(q.nrows(), |r, _| {
        x.iter().enumerate().map(|(c, x)| x * q[(r, c)]).sum::<Complex<f64>>()
    });
    // As long as one, and turned so that real and imaginary part stand at right angles.
    let square: Complex<f64> = v.iter().map(|x| x * x).sum();
    v *= Complex::from_polar(1.0 / v.norm(), -0.5 * square.arg());
    (v.map(|x| x.re), v.map(|x| x.im))
}
