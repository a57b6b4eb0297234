//! The continuous extension of a step.

use super::basis::{Basis, Mode, places};
use super::coefficients::Diagonal;
use super::phi::phi;
use nalgebra::Complex;

/// Below this |λh| a mode is read from its series.
const SLOW: f64 = 0.05;
/// Distances that differ by less than this part of a step are the same.
const SAME: f64 = 1e-12;

/// The continuous extension of the step last asked for: `z(θ) = e^{Λθh} c + p_0 + p_1 θ + p_2 θ² + p_3 θ³`, whose parts are worked
/// out once a step; from one time to the next of an even record the exponential is a product.
#[derive(Clone, Debug)]
pub(super) struct Extension<const N: usize> {
    known: bool,
    free: [f64; N],
    cubic: [[f64; N]; 4],
    slow: Vec<(usize, Mode)>,
    /// Where it was asked last, and the exponential there.
    last: (f64, Diagonal<N>),
    /// A distance, and the exponential over it: basis family, s.
    over: (u64, f64, Diagonal<N>),
}

impl<const N: usize> Default for Extension<N> {
    fn default() -> Self {
        let zero = [0.0; N];
        Self {
            known: false,
            free: zero,
            cubic: [zero; 4],
            slow: Vec::new(),
            last: (0.0, Diagonal::all(1.0)),
            over: (0, f64::NAN, Diagonal::all(1.0)),
        }
    }
}

/// A step as the extension needs it: coordinates, rest and its slope at the beginning, second difference of the rest.
pub(super) struct Tried<'a, const N: usize> {
    pub(super) h: f64,
    pub(super) z: &'a [f64; N],
    pub(super) rest: &'a [f64; N],
    pub(super) mid: &'a [f64; N],
    pub(super) bend: &'a [f64; N],
}

impl<const N: usize> Tried<'_, N> {
    /// Slope of the rest at the beginning, over the step.
    fn slope(&self, k: usize) -> f64 {
        2.0 * (self.mid[k] - self.rest[k]) - self.bend[k]
    }
}

fn exponential<const N: usize>(basis: &Basis<N>, s: f64) -> Diagonal<N> {
    let mut e = Diagonal::all(1.0);
    for (at, mode) in places(&basis.modes) {
        e.set(at, mode.pair, (mode.value * s).exp());
    }
    e
}

impl<const N: usize> Extension<N> {
    /// Another step was tried.
    #[inline]
    pub(super) fn forget(&mut self) {
        self.known = false;
    }

    /// The coordinates at a part of the step.
    pub(super) fn at(&mut self, basis: &Basis<N>, tried: &Tried<'_, N>, theta: f64, z: &mut [f64; N]) {
        if !self.known {
            self.learn(basis, tried);
        }
        self.advance(basis, tried.h, theta);
        self.last.1.write(&self.free, z);
        let [p0, p1, p2, p3] = &self.cubic;
        for k in 0..N {
            z[k] += p0[k] + theta * (p1[k] + theta * (p2[k] + theta * p3[k]));
        }
        let pair =
            |x: &[f64; N], at: usize, pair: bool| Complex::new(x[at], if pair { -x[at + 1] } else { 0.0 });
        for (at, mode) in &self.slow {
            let s = theta * tried.h;
            let [e, p1, p2, p3] = phi(mode.value * s);
            let slope = Complex::new(tried.slope(*at), if mode.pair { -tried.slope(at + 1) } else { 0.0 });
            let x = e * pair(tried.z, *at, mode.pair)
                + (p1 * pair(tried.rest, *at, mode.pair)
                    + p2 * theta * slope
                    + p3 * (4.0 * theta * theta) * pair(tried.bend, *at, mode.pair))
                    * s;
            z[*at] = x.re;
            if mode.pair {
                z[at + 1] = -x.im;
            }
        }
    }

    /// Free motion and polynomial of each coordinate.
    fn learn(&mut self, basis: &Basis<N>, tried: &Tried<'_, N>) {
        let h = tried.h;
        self.slow.clear();
        let [p0, p1, p2, p3] = &mut self.cubic;
        // What only adds up is the integral of the rest.
        self.free = *tried.z;
        for k in 0..N {
            p0[k] = 0.0;
            p1[k] = h * tried.rest[k];
            p2[k] = 0.5 * h * tried.slope(k);
            p3[k] = h * (2.0 / 3.0) * tried.bend[k];
        }
        for (at, mode) in places(&basis.modes) {
            let l = mode.value * h;
            if l.norm_sqr() < SLOW * SLOW {
                self.slow.push((at, mode));
                continue;
            }
            let read =
                |f: &dyn Fn(usize) -> f64| Complex::new(f(at), if mode.pair { -f(at + 1) } else { 0.0 });
            let (n0, n1, n2) = (
                read(&|k| h * tried.rest[k]),
                read(&|k| h * tried.slope(k)),
                read(&|k| 2.0 * h * tried.bend[k]),
            );
            // z' = l z + n0 + n1 θ + n2 θ².
            let per = Complex::new(1.0, 0.0) / l;
            let c2 = -n2 * per;
            let c1 = (c2 * 2.0 - n1) * per;
            let c0 = (c1 - n0) * per;
            let free = read(&|k| tried.z[k]) - c0;
            let put = |to: &mut [f64; N], x: Complex<f64>| {
                to[at] = x.re;
                if mode.pair {
                    to[at + 1] = -x.im;
                }
            };
            put(p0, c0);
            put(p1, c1);
            put(p2, c2);
            put(p3, Complex::new(0.0, 0.0));
            put(&mut self.free, free);
        }
        self.last = (f64::NAN, Diagonal::all(1.0));
        self.known = true;
    }

    /// The exponential at a part of the step: a product where the last way was as long.
    fn advance(&mut self, basis: &Basis<N>, h: f64, theta: f64) {
        let way = (theta - self.last.0) * h;
        if way.is_finite() && way > 0.0 {
            if !(self.over.0 == basis.family && (self.over.1 - way).abs() <= SAME * h) {
                self.over = (basis.family, way, exponential(basis, way));
            }
            self.last = (theta, self.last.1.then(&self.over.2));
        } else if way != 0.0 {
            self.last = (theta, exponential(basis, theta * h));
        }
    }
}
