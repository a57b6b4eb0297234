//! First-order reliability: the most likely point of failure.
use super::LimitState;
use crate::spec::special::normal_cdf;
use crate::study::error::StudyError;
use serde::Serialize;

/// When to stop, and how steps are found. Dimensionless.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Most steps.
    pub max_steps: usize,
    /// Stop when the point moves by less than this, in standard deviations, and lies on the limit.
    pub tolerance: f64,
    /// Half width of the central differences, in standard deviations.
    pub difference: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { max_steps: 100, tolerance: 1e-6, difference: 1e-4 }
    }
}

/// The design point and what it says to first order.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Form {
    /// Reliability index: distance of the limit from the middle, in standard deviations; negative when the middle fails.
    pub beta: f64,
    /// First-order chance of failing, `Phi(-beta)`: exact for a flat limit only.
    pub chance: f64,
    /// Most likely point of failure, in scores.
    pub design_point: Vec<f64>,
    /// Direction cosines of the point: how much each score takes part; their squares add up to one.
    pub cosines: Vec<f64>,
    /// Steps taken.
    pub steps: usize,
    /// Runs of the model.
    pub evaluations: u64,
}

/// How far a search for the design point came.
#[derive(Clone, Debug)]
pub struct Search {
    /// The design point, where the search settled; else why not.
    pub form: Result<Form, String>,
    /// A point on the limit or beyond it, the nearest to the middle that was met: where importance sampling may be
    /// centred, settled or not. `None`: the limit was not reached.
    pub near: Option<Vec<f64>>,
}

/// As [`search`], a search that did not settle being an error that says how far it came.
pub fn form(limit: &dyn LimitState, options: &Options) -> Result<Form, StudyError> {
    search(limit, options).form.map_err(StudyError::Stopped)
}

/// Spreads from the middle at which the search is given up: a limit there has a chance below 1e-300.
const BEYOND: f64 = 40.0;

/// Finds the point of failure nearest the middle.
///
/// Formula: `u' = (grad g . u - g) grad g / |grad g|^2`, each step shortened until the merit
/// `|u|^2 / 2 + c |g|`, `c = 2 |u| / |grad g| + 10`, falls; `beta = sign(g(0)) |u*|`. Range: a margin that is smooth near the point and has
/// one such point; several points or a jump need [`super::subset`]. Where it does not settle the nearest point
/// beyond the limit is kept.
/// Source: A. M. Hasofer, N. C. Lind, J. Eng. Mech. Div. ASCE 100 (1974) 111-121; R. Rackwitz, B. Fiessler,
/// Computers and Structures 9 (1978) 489-494; Y. Zhang, A. Der Kiureghian, Reliability and Optimization of Structural
/// Systems (1995) 297-304 (merit and step length).
pub fn search(limit: &dyn LimitState, options: &Options) -> Search {
    let mut near = None;
    let form = settle(limit, options, &mut near);
    Search { form, near }
}

fn norm(v: &[f64]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// The point nearest the middle that fails, or lies on the limit.
fn keep_nearest(near: &mut Option<Vec<f64>>, u: &[f64], g: f64, scale: f64) {
    if g <= 1e-3 * scale && near.as_ref().is_none_or(|n| norm(u) < norm(n)) {
        *near = Some(u.to_vec());
    }
}

fn settle(limit: &dyn LimitState, options: &Options, near: &mut Option<Vec<f64>>) -> Result<Form, String> {
    let n = limit.dimensions();
    let mut evaluations = 0;
    let mut margin = |u: &[f64]| {
        evaluations += 1;
        limit.margin(u).map_err(|f| {
            format!(
                "the model gave no answer {:.1} spreads from the middle: {}: {}; use subset simulation, which steps round such points",
                norm(u),
                f.reason,
                f.detail
            )
        })
    };
    let mut u = vec![0.0; n];
    let at_middle = margin(&u)?;
    let mut g = at_middle;
    let scale = at_middle.abs().max(f64::MIN_POSITIVE);
    for step in 1..=options.max_steps {
        let mut gradient = vec![0.0; n];
        let mut probe = u.clone();
        for i in 0..n {
            probe[i] = u[i] + options.difference;
            let up = margin(&probe)?;
            probe[i] = u[i] - options.difference;
            let down = margin(&probe)?;
            probe[i] = u[i];
            gradient[i] = (up - down) / (2.0 * options.difference);
        }
        let size = norm(&gradient);
        if size == 0.0 || !size.is_finite() {
            return Err(format!(
                "after {step} steps, {:.1} spreads from the middle, no input moves the margin ({g:.4}): the limit cannot be found from there; use subset simulation",
                norm(&u)
            ));
        }
        let along = gradient.iter().zip(&u).map(|(a, b)| a * b).sum::<f64>();
        let target: Vec<f64> = gradient.iter().map(|d| (along - g) * d / (size * size)).collect();
        let direction: Vec<f64> = target.iter().zip(&u).map(|(t, x)| t - x).collect();
        let penalty =
            2.0 * norm(&u).max(norm(&target)) / size + 10.0 * f64::from(u8::from(g.abs() > 0.0)) / size;
        let merit = |u: &[f64], g: f64| 0.5 * u.iter().map(|x| x * x).sum::<f64>() + penalty * g.abs();
        let now = merit(&u, g);
        let mut length = 1.0;
        let (mut next, mut next_g);
        loop {
            next = u.iter().zip(&direction).map(|(x, d)| x + length * d).collect::<Vec<_>>();
            // A step beyond what the model can answer is too long.
            match margin(&next) {
                Ok(found) => {
                    next_g = found;
                    if merit(&next, next_g) < now || length < 1e-3 {
                        break;
                    }
                }
                Err(e) if length < 1e-3 => return Err(e),
                Err(_) => {}
            }
            length *= 0.5;
        }
        let moved = length * norm(&direction);
        u = next;
        g = next_g;
        if norm(&u) > BEYOND {
            return Err(format!(
                "after {step} steps the search stands {:.1} spreads from the middle and the limit is not reached: it is not a chance that draws can show",
                norm(&u)
            ));
        }
        keep_nearest(near, &u, g, scale);
        if moved <= options.tolerance * (1.0 + norm(&u)) && g.abs() <= 1e-6 * scale.max(size) {
            let beta = if at_middle >= 0.0 { norm(&u) } else { -norm(&u) };
            let cosines = u.iter().map(|x| if beta == 0.0 { 0.0 } else { x / norm(&u) }).collect();
            return Ok(Form {
                beta,
                chance: normal_cdf(-beta),
                design_point: u,
                cosines,
                steps: step,
                evaluations,
            });
        }
    }
    Err(format!(
        "{} steps did not settle (margin {g:.2e}, {:.2} spreads from the middle): the margin has a kink there",
        options.max_steps,
        norm(&u)
    ))
}
