//! The exponential method: exact where the system is linear, of its order where it is not, and no crossing is stepped over.

use nalgebra::{DMatrix, DVector};
use railrise::stepper::{Every, Exponential, Matrix, Options, System, Tsit5, solve};

/// y' = A y.
struct Linear<const N: usize>([[f64; N]; N]);
impl<const N: usize> System<N> for Linear<N> {
    fn rhs(&self, _t: f64, y: &[f64; N], dy: &mut [f64; N]) {
        for (dy, row) in dy.iter_mut().zip(&self.0) {
            *dy = row.iter().zip(y).map(|(a, y)| a * y).sum();
        }
    }
    fn jacobian(&self, _t: f64, _y: &[f64; N], _f: &[f64; N], j: &mut Matrix<N>) {
        for (r, row) in self.0.iter().enumerate() {
            row.iter().enumerate().for_each(|(c, a)| j.set(r, c, *a));
        }
    }
}

// Against the matrix exponential of nalgebra (scaling and squaring with Padé approximants): stiff by 1e6, swinging and
// creeping modes, and a fifth state that only adds up what the others bring.
#[test]
fn a_stiff_linear_problem_is_solved_exactly() {
    let a = [
        [-3.0e5, 2.0e5, 10.0, 0.0, 0.0],
        [1.0e5, -3.0e5, 0.0, 40.0, 0.0],
        [5.0, 0.0, -2.0, 900.0, 0.0],
        [0.0, 3.0, -900.0, -2.0, 0.0],
        [1.0, 2.0, 0.5, -1.0, 0.0],
    ];
    let y0 = [1.0, -2.0, 0.5, 3.0, 0.25];
    let mut seen = Every::new(0.0, 0.01);
    let options = Options::new(1e-6, 1e-6);
    let run =
        solve(&mut Linear(a), &mut Exponential::new(), 0.0, y0, 0.1, &options, &mut seen).expect("valid");
    // The first step is chosen for a method of whatever kind; then each is eight times as long as the last.
    assert!(run.statistics.accepted < 12 && run.statistics.left == 0, "{:?}", run.statistics);
    let m = DMatrix::from_fn(5, 5, |r, c| a[r][c]);
    for (t, y) in seen.t.iter().zip(&seen.y) {
        let exact = (&m * *t).exp() * DVector::from_row_slice(&y0);
        for k in 0..5 {
            assert!((y[k] - exact[k]).abs() < 1e-9, "{t} {k}: {} {}", y[k], exact[k]);
        }
    }
}

/// Two swings coupled by a cube: the Jacobian changes along the way. Energy `(u² + v²)/2 + x²/2 + 2 y² + (x - y)⁴/4`.
struct Cubic;
impl System<4> for Cubic {
    fn rhs(&self, _t: f64, s: &[f64; 4], d: &mut [f64; 4]) {
        let cube = (s[0] - s[1]).powi(3);
        *d = [s[2], s[3], -s[0] - cube, -4.0 * s[1] + cube];
    }
}

/// Driven by a sine in time alone: what the modes leave does not hang on the state.
struct Driven;
impl System<2> for Driven {
    fn rhs(&self, t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        *dy = [y[1], -30.0 * y[1] - 900.0 * y[0] + 900.0 * t.sin()];
    }
}

fn at_steps<const N: usize, S: System<N>>(mut system: S, y0: [f64; N], t: f64, steps: u32) -> [f64; N] {
    let h = t / f64::from(steps);
    let mut o = Options::new(0.5, 1e9).max_step(h);
    o.first_step = Some(h);
    let run = solve(&mut system, &mut Exponential::new(), 0.0, y0, t, &o, &mut ()).expect("valid");
    assert_eq!((run.statistics.accepted, run.statistics.left), (u64::from(steps), 0));
    run.y
}

#[test]
fn it_converges_at_second_order_and_at_fourth_where_the_rest_is_of_time_alone() {
    let y0 = [0.6, 0.0, 0.0, 0.5];
    let tight = solve(&mut Cubic, &mut Tsit5::new(), 0.0, y0, 4.0, &Options::new(1e-12, 1e-13), &mut ());
    let exact = tight.expect("valid").y;
    let error =
        |n| at_steps(Cubic, y0, 4.0, n).iter().zip(exact).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let order: f64 = (error(100) / error(200)).log2();
    assert!((1.8..3.2).contains(&order), "{order}");
    assert!(error(200) < 1e-4, "{}", error(200));

    let tight =
        solve(&mut Driven, &mut Tsit5::new(), 0.0, [0.0; 2], 2.0, &Options::new(1e-12, 1e-14), &mut ());
    let exact = tight.expect("valid").y[0];
    let error = |n| (at_steps(Driven, [0.0; 2], 2.0, n)[0] - exact).abs();
    let order = (error(160) / error(320)).log2();
    assert!((3.5..4.3).contains(&order), "{order}");
}

/// Critically damped: both eigenvalues the same, with one vector.
struct Critical;
impl System<2> for Critical {
    fn rhs(&self, _t: f64, y: &[f64; 2], dy: &mut [f64; 2]) {
        *dy = [y[1], -100.0 * y[0] - 20.0 * y[1]];
    }
    fn jacobian(&self, _t: f64, _y: &[f64; 2], _f: &[f64; 2], j: &mut Matrix<2>) {
        j.set(0, 1, 1.0);
        j.set(1, 0, -100.0);
        j.set(1, 1, -20.0);
    }
}

#[test]
fn where_there_is_no_basis_the_explicit_method_steps_and_it_is_counted() {
    let options = Options::new(1e-9, 1e-12);
    let run = solve(&mut Critical, &mut Exponential::new(), 0.0, [1.0, 0.0], 0.5, &options, &mut ())
        .expect("valid");
    let exact = (1.0 + 5.0) * (-5.0f64).exp();
    assert!((run.y[0] - exact).abs() < 1e-8, "{} {exact}", run.y[0]);
    assert_eq!(run.statistics.left, run.statistics.accepted + run.statistics.rejected);
    assert!(run.statistics.left > 10);
}
