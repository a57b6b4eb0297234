//! Parameters fitted to readings: nonlinear least squares with bounds.
use nalgebra::{DMatrix, DVector};

/// Lowest and highest allowed value of each parameter; infinities leave a side open.
#[derive(Clone, Debug, PartialEq)]
pub struct Bounds {
    /// Lowest values, one a parameter.
    pub low: Vec<f64>,
    /// Highest values, one a parameter.
    pub high: Vec<f64>,
}

impl Bounds {
    /// No limits on any of `n` parameters.
    pub fn none(n: usize) -> Self {
        Self { low: vec![f64::NEG_INFINITY; n], high: vec![f64::INFINITY; n] }
    }

    /// One `(low, high)` pair a parameter.
    pub fn new(pairs: &[(f64, f64)]) -> Self {
        Self { low: pairs.iter().map(|p| p.0).collect(), high: pairs.iter().map(|p| p.1).collect() }
    }
}

/// When to stop. Dimensionless unless said otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Most iterations (each needs one Jacobian, `2 p` evaluations for `p` parameters).
    pub max_iterations: usize,
    /// Stop when the sum of squares falls, and is foreseen to fall, by less than this share.
    pub cost_tolerance: f64,
    /// Stop when the scaled step is shorter than this share of the scaled parameters.
    pub step_tolerance: f64,
    /// Stop when the residuals are this close to perpendicular to every free column of the Jacobian (cosine).
    pub gradient_tolerance: f64,
    /// Damping at the start: 1e-3 trusts the start values, 1 or more takes shorter first steps.
    pub damping: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            max_iterations: 1000,
            cost_tolerance: 1e-15,
            step_tolerance: 1e-13,
            gradient_tolerance: 1e-12,
            damping: 1e-3,
        }
    }
}

/// Why the fit stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Stopped {
    /// The sum of squares no longer falls.
    CostSettled,
    /// The parameters no longer move.
    StepSettled,
    /// No free direction lowers the sum of squares.
    GradientZero,
    /// Every parameter sits on a bound it is pushed against.
    AllAtBounds,
    /// The iteration limit came first; the result is not a minimum.
    IterationLimit,
}

impl Stopped {
    /// True unless the iteration limit came first.
    pub fn converged(self) -> bool {
        self != Self::IterationLimit
    }
}

/// A fitted set of parameters and what can be said about it.
#[derive(Clone, Debug)]
pub struct Fit {
    /// Fitted parameters, in the order and units of the start values.
    pub params: Vec<f64>,
    /// Residuals at the fitted parameters.
    pub residuals: Vec<f64>,
    /// Sum of their squares.
    pub sum_of_squares: f64,
    /// `sqrt(sum_of_squares / (n - free parameters))`; NaN without spare readings.
    pub residual_sd: f64,
    /// Covariance of the parameters, rows and columns of parameters at a bound being zero; `None` when the
    /// readings cannot tell the parameters apart (or there are no spare readings).
    pub covariance: Option<DMatrix<f64>>,
    /// Condition number of the column-scaled Jacobian; above about 1e8 the parameters cannot be told apart.
    pub condition: f64,
    /// Which parameters ended on a bound.
    pub at_bound: Vec<bool>,
    /// Iterations used.
    pub iterations: usize,
    /// Evaluations of the residuals.
    pub evaluations: usize,
    /// Why it stopped.
    pub why_stopped: Stopped,
}

impl Fit {
    /// Standard deviation of each parameter, from the covariance.
    pub fn standard_deviations(&self) -> Option<Vec<f64>> {
        let c = self.covariance.as_ref()?;
        Some((0..c.nrows()).map(|i| c[(i, i)].sqrt()).collect())
    }
}

/// Why a fit could not be made.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum FitError {
    /// No parameters, bounds of another length, or a low bound above its high bound.
    Setup(String),
    /// The residuals cannot be evaluated at the start.
    Start {
        /// Start values after being moved inside the bounds.
        params: Vec<f64>,
        /// Index of the first residual that is not finite, if there are residuals at all.
        residual: Option<usize>,
    },
}

impl std::fmt::Display for FitError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Setup(what) => f.write_str(what),
            Self::Start { params, residual: Some(i) } => write!(
                f,
                "residual {i} is not finite at the start {params:?}: start from values the model can compute"
            ),
            Self::Start { residual: None, .. } => f.write_str("no residuals: give readings to fit"),
        }
    }
}

impl std::error::Error for FitError {}

/// Minimises the sum of squared residuals over parameters kept inside `bounds`.
///
/// Formula: each step solves `min |J s + r|^2 + lambda |D s|^2` over the parameters not held at a bound,
/// is cut back to the bounds, and is kept when the sum of squares falls; `D` holds the largest column norms
/// of the Jacobian `J` met so far and `lambda` follows the ratio of actual to foreseen fall. `J` is taken by
/// central differences, from the inside where a bound is near.
///
/// Symbols: `residuals` maps parameters to residuals, all in one unit or already divided by their standard
/// deviation; a residual that is not finite means "cannot be computed here" and turns the step back.
/// Range: at least one parameter and residual. Outside it an error says so.
/// A local minimum is found; where several exist, start from several places. A start whose first step leaves a
/// parameter without any effect is tried again with heavy damping.
///
/// ```
/// use railrise::spec::fit::{Bounds, Options, least_squares};
/// let (x, y) = ([1.0, 2.0, 3.0], [2.9, 5.1, 7.0]);
/// let line = |p: &[f64]| (0..3).map(|i| p[0] + p[1] * x[i] - y[i]).collect();
/// let fit = least_squares(line, &[0.0, 0.0], &Bounds::none(2), &Options::default()).unwrap();
/// assert!((fit.params[1] - 2.05).abs() < 1e-9);
/// ```
///
/// Source: J. J. More, The Levenberg-Marquardt algorithm, Lecture Notes in Mathematics 630 (1978) 105-116
/// (scaling, stopping tests); H. B. Nielsen, Damping parameter in Marquardt's method, report IMM-REP-1999-05
/// (lambda); C. Kanzow, N. Yamashita, M. Fukushima, J. Comput. Appl. Math. 172 (2004) 375-397 (projection).
pub fn least_squares(
    mut residuals: impl FnMut(&[f64]) -> Vec<f64>,
    start: &[f64],
    bounds: &Bounds,
    options: &Options,
) -> Result<Fit, FitError> {
    let p = start.len();
    if p == 0 {
        return Err(FitError::Setup("no parameters to fit: give at least one start value".into()));
    }
    if bounds.low.len() != p || bounds.high.len() != p {
        return Err(FitError::Setup(format!(
            "{p} start values but {} low and {} high bounds: give one of each a parameter",
            bounds.low.len(),
            bounds.high.len()
        )));
    }
    if let Some(i) =
        (0..p).find(|&i| bounds.low[i].is_nan() || bounds.high[i].is_nan() || bounds.low[i] > bounds.high[i])
    {
        return Err(FitError::Setup(format!(
            "bounds of parameter {i} are {}..{}: the low one must not be above the high one",
            bounds.low[i], bounds.high[i]
        )));
    }
    let inside = |x: f64, i: usize| x.clamp(bounds.low[i], bounds.high[i]);
    let x: Vec<f64> = start.iter().enumerate().map(|(i, &v)| inside(v, i)).collect();
    let r = DVector::from_vec(residuals(&x));
    if r.is_empty() || r.iter().any(|v| !v.is_finite()) {
        return Err(FitError::Start { params: x, residual: r.iter().position(|v| !v.is_finite()) });
    }
    let fit = descend(&mut residuals, &x, &r, bounds, options, options.damping);
    // A long first step can throw a parameter where it has no effect at all, and leave it there.
    if fit.condition.is_infinite() && options.damping < HEAVY_DAMPING {
        let again = descend(&mut residuals, &x, &r, bounds, options, HEAVY_DAMPING);
        let evaluations = fit.evaluations + again.evaluations;
        let better = if again.sum_of_squares < fit.sum_of_squares { again } else { fit };
        return Ok(Fit { evaluations, ..better });
    }
    Ok(fit)
}

/// Damping that keeps the first step to a small part of the start values.
const HEAVY_DAMPING: f64 = 100.0;

fn descend(
    residuals: &mut impl FnMut(&[f64]) -> Vec<f64>,
    start: &[f64],
    start_residuals: &DVector<f64>,
    bounds: &Bounds,
    options: &Options,
    damping: f64,
) -> Fit {
    let p = start.len();
    let (mut x, mut r) = (start.to_vec(), start_residuals.clone());
    let inside = |x: f64, i: usize| x.clamp(bounds.low[i], bounds.high[i]);
    let mut evaluations = 1;
    let mut cost = r.norm_squared();
    let mut scale = vec![0.0_f64; p];
    let mut lambda = damping;
    let mut growth = 2.0;
    let mut iterations = 0;
    let mut jacobian = DMatrix::zeros(r.len(), p);
    let why_stopped = loop {
        differentiate(residuals, &x, &r, bounds, &mut jacobian, &mut evaluations);
        for (largest, column) in scale.iter_mut().zip(jacobian.column_iter()) {
            *largest = largest.max(column.norm());
        }
        let gradient = jacobian.tr_mul(&r);
        let free: Vec<usize> = (0..p)
            .filter(|&i| {
                bounds.low[i] < bounds.high[i]
                    && !(x[i] <= bounds.low[i] && gradient[i] >= 0.0)
                    && !(x[i] >= bounds.high[i] && gradient[i] <= 0.0)
            })
            .collect();
        if free.is_empty() {
            break Stopped::AllAtBounds;
        }
        let cosine = free
            .iter()
            .map(|&i| {
                let norm = jacobian.column(i).norm() * cost.sqrt();
                if norm > 0.0 { gradient[i].abs() / norm } else { 0.0 }
            })
            .fold(0.0, f64::max);
        if cosine <= options.gradient_tolerance {
            break Stopped::GradientZero;
        }
        if iterations >= options.max_iterations {
            break Stopped::IterationLimit;
        }
        iterations += 1;
        // Inner loop: raise lambda until a step lowers the sum of squares.
        let verdict = loop {
            let Some(step) = damped_step(&jacobian, &r, &free, &scale, lambda) else {
                lambda = lambda.max(1e-12) * 10.0;
                continue;
            };
            let mut trial = x.clone();
            for (&i, s) in free.iter().zip(step.iter()) {
                trial[i] = inside(x[i] + s, i);
            }
            let moved = DVector::from_iterator(p, (0..p).map(|i| trial[i] - x[i]));
            let size = (0..p).map(|i| (scale[i] * moved[i]).powi(2)).sum::<f64>().sqrt();
            let norm = (0..p).map(|i| (scale[i] * x[i]).powi(2)).sum::<f64>().sqrt();
            let foreseen = cost - (&jacobian * &moved + &r).norm_squared();
            let trial_r = DVector::from_vec(residuals(&trial));
            evaluations += 1;
            let trial_cost = if trial_r.len() == r.len() && trial_r.iter().all(|v| v.is_finite()) {
                trial_r.norm_squared()
            } else {
                f64::INFINITY
            };
            let fall = cost - trial_cost;
            let ratio = if foreseen > 0.0 { fall / foreseen } else { -1.0 };
            let settled_cost = foreseen.abs() <= options.cost_tolerance * cost
                && fall.abs() <= options.cost_tolerance * cost;
            let settled_step = size <= options.step_tolerance * norm;
            if fall > 0.0 && ratio > 1e-4 {
                x = trial;
                r = trial_r;
                cost = trial_cost;
                lambda *= (1.0 - (2.0 * ratio - 1.0).powi(3)).max(1.0 / 3.0);
                lambda = lambda.max(1e-20);
                growth = 2.0;
                break if cost == 0.0 {
                    Some(Stopped::GradientZero)
                } else if settled_cost {
                    Some(Stopped::CostSettled)
                } else if settled_step {
                    Some(Stopped::StepSettled)
                } else {
                    None
                };
            }
            if settled_cost {
                break Some(Stopped::CostSettled);
            }
            if settled_step {
                break Some(Stopped::StepSettled);
            }
            lambda *= growth;
            growth *= 2.0;
        };
        if let Some(stopped) = verdict {
            differentiate(residuals, &x, &r, bounds, &mut jacobian, &mut evaluations);
            break stopped;
        }
    };
    conclude(x, r, &jacobian, bounds, iterations, evaluations, why_stopped)
}

/// Least-squares step over the `free` columns with damping; `None` when the system is singular.
fn damped_step(
    jacobian: &DMatrix<f64>,
    r: &DVector<f64>,
    free: &[usize],
    scale: &[f64],
    lambda: f64,
) -> Option<DVector<f64>> {
    let (m, k) = (jacobian.nrows(), free.len());
    let mut stacked = DMatrix::zeros(m + k, k);
    let mut right = DVector::zeros(m + k);
    for (c, &i) in free.iter().enumerate() {
        stacked.view_mut((0, c), (m, 1)).copy_from(&jacobian.column(i));
        let d = if scale[i] > 0.0 { scale[i] } else { 1.0 };
        stacked[(m + c, c)] = lambda.sqrt() * d;
    }
    right.rows_mut(0, m).copy_from(&(-r));
    let qr = stacked.qr();
    qr.q_tr_mul(&mut right);
    let step = qr.r().solve_upper_triangular(&right.rows(0, k).into_owned())?;
    step.iter().all(|s| s.is_finite()).then_some(step)
}

/// Central differences; where a bound is near, a second-order difference from the inside.
fn differentiate(
    residuals: &mut impl FnMut(&[f64]) -> Vec<f64>,
    x: &[f64],
    r: &DVector<f64>,
    bounds: &Bounds,
    jacobian: &mut DMatrix<f64>,
    evaluations: &mut usize,
) {
    let mut probe = x.to_vec();
    for j in 0..x.len() {
        // The cube root of the rounding error balances rounding against the neglected third derivative.
        let mut h = f64::EPSILON.cbrt() * if x[j] == 0.0 { 1.0 } else { x[j].abs() };
        let room_up = bounds.high[j] - x[j];
        let room_down = x[j] - bounds.low[j];
        let at = |value: f64, probe: &mut Vec<f64>, residuals: &mut dyn FnMut(&[f64]) -> Vec<f64>| {
            probe[j] = value;
            let out = residuals(probe);
            probe[j] = x[j];
            (out.len() == r.len() && out.iter().all(|v| v.is_finite())).then_some(out)
        };
        let column: Vec<f64> = if room_up >= h && room_down >= h {
            let (xu, xd) = (x[j] + h, x[j] - h);
            *evaluations += 2;
            match (at(xu, &mut probe, residuals), at(xd, &mut probe, residuals)) {
                (Some(u), Some(d)) => (0..u.len()).map(|i| (u[i] - d[i]) / (xu - xd)).collect(),
                (Some(u), None) => (0..u.len()).map(|i| (u[i] - r[i]) / (xu - x[j])).collect(),
                (None, Some(d)) => (0..d.len()).map(|i| (r[i] - d[i]) / (x[j] - xd)).collect(),
                (None, None) => vec![0.0; r.len()],
            }
        } else {
            let sign = if room_up >= room_down { 1.0 } else { -1.0 };
            h = h.min(0.5 * room_up.max(room_down)) * sign;
            if h == 0.0 {
                vec![0.0; r.len()]
            } else {
                *evaluations += 2;
                match (at(x[j] + h, &mut probe, residuals), at(x[j] + 2.0 * h, &mut probe, residuals)) {
                    (Some(a), Some(b)) => {
                        (0..a.len()).map(|i| (4.0 * a[i] - 3.0 * r[i] - b[i]) / (2.0 * h)).collect()
                    }
                    (Some(a), None) => (0..a.len()).map(|i| (a[i] - r[i]) / h).collect(),
                    _ => vec![0.0; r.len()],
                }
            }
        };
        jacobian.column_mut(j).copy_from_slice(&column);
    }
}

fn conclude(
    params: Vec<f64>,
    r: DVector<f64>,
    jacobian: &DMatrix<f64>,
    bounds: &Bounds,
    iterations: usize,
    evaluations: usize,
    why_stopped: Stopped,
) -> Fit {
    let p = params.len();
    let at_bound: Vec<bool> =
        (0..p).map(|i| params[i] <= bounds.low[i] || params[i] >= bounds.high[i]).collect();
    let free: Vec<usize> = (0..p).filter(|&i| !at_bound[i]).collect();
    let sum_of_squares = r.norm_squared();
    let spare = r.len() as f64 - free.len() as f64;
    let residual_sd = if spare > 0.0 { (sum_of_squares / spare).sqrt() } else { f64::NAN };
    // Columns scaled to unit length: the condition number then speaks of the data, not of the units.
    let norms: Vec<f64> = free.iter().map(|&i| jacobian.column(i).norm()).collect();
    let (mut condition, mut covariance) = (1.0, None);
    if !free.is_empty() {
        let scaled = DMatrix::from_fn(r.len(), free.len(), |row, c| {
            if norms[c] > 0.0 { jacobian[(row, free[c])] / norms[c] } else { 0.0 }
        });
        let svd = scaled.svd(false, true);
        let (big, small) = (svd.singular_values.max(), svd.singular_values.min());
        condition = if small > 0.0 && r.len() >= free.len() { big / small } else { f64::INFINITY };
        if let (Some(v_t), true) = (svd.v_t, spare > 0.0 && condition < 1e13) {
            let mut full = DMatrix::zeros(p, p);
            for (a, &i) in free.iter().enumerate() {
                for (b, &j) in free.iter().enumerate() {
                    let sum: f64 = (0..free.len())
                        .map(|k| v_t[(k, a)] * v_t[(k, b)] / svd.singular_values[k].powi(2))
                        .sum();
                    full[(i, j)] = residual_sd * residual_sd * sum / (norms[a] * norms[b]);
                }
            }
            covariance = Some(full);
        }
    }
    Fit {
        params,
        residuals: r.as_slice().to_vec(),
        sum_of_squares,
        residual_sd,
        covariance,
        condition,
        at_bound,
        iterations,
        evaluations,
        why_stopped,
    }
}
