//! First-order uncertainty budget: the quick hand calculation beside the draws.
use super::error::StudyError;
use super::interval::Interval;
use super::model::Failure;
use crate::spec::special::t_quantile;
use serde::Serialize;

/// One input of a budget.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contribution {
    /// Name of the input.
    pub name: String,
    /// Estimate.
    pub value: f64,
    /// Standard uncertainty, in the input's unit.
    pub uncertainty: f64,
    /// Degrees of freedom of that uncertainty; infinite when it is taken as known.
    pub dof: f64,
    /// Sensitivity coefficient, output unit over input unit; filled in by [`Budget::new`].
    pub sensitivity: f64,
}

impl Contribution {
    /// An input with its estimate, standard uncertainty and degrees of freedom.
    pub fn new(name: impl Into<String>, value: f64, uncertainty: f64, dof: f64) -> Self {
        Self { name: name.into(), value, uncertainty, dof, sensitivity: f64::NAN }
    }

    /// Its share of the combined uncertainty before squaring, in the output's unit.
    pub fn share(&self) -> f64 {
        self.sensitivity * self.uncertainty
    }
}

/// A first-order budget.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Budget {
    /// Output at the estimates.
    pub value: f64,
    /// Inputs with their sensitivities.
    pub contributions: Vec<Contribution>,
    /// Combined standard uncertainty (root of the sum of squares), in the output's unit.
    pub combined: f64,
    /// Sum of the absolute shares, in the output's unit: everything at its worst at once.
    pub worst_case: f64,
    /// Effective degrees of freedom (Welch and Satterthwaite); may be infinite.
    pub dof: f64,
}

impl Budget {
    /// Propagates independent uncertainties to first order.
    ///
    /// Formula: `u^2 = sum (c_i u_i)^2` with `c_i = df/dx_i` by central differences over `±u_i/1000`;
    /// `dof = u^4 / sum ((c_i u_i)^4 / dof_i)`. Range: a model close to linear over the uncertainties; where
    /// it is not, the draws of a tolerance study are right and this is not. Source: JCGM 100:2008, 5.1.2 and G.4.1.
    pub fn new(
        mut contributions: Vec<Contribution>,
        model: impl Fn(&[f64]) -> Result<f64, Failure>,
    ) -> Result<Self, StudyError> {
        let mut x: Vec<f64> = contributions.iter().map(|c| c.value).collect();
        let run = |x: &[f64]| {
            model(x).map_err(|f| {
                StudyError::Stopped(format!("the model gave no answer: {}: {}", f.reason, f.detail))
            })
        };
        let value = run(&x)?;
        for i in 0..x.len() {
            let c = &mut contributions[i];
            if c.uncertainty.is_nan() || c.uncertainty < 0.0 || c.dof.is_nan() || c.dof <= 0.0 {
                return Err(StudyError::Plan(format!(
                    "'{}' has uncertainty {} and {} degrees of freedom: neither may be negative",
                    c.name, c.uncertainty, c.dof
                )));
            }
            if c.uncertainty == 0.0 {
                c.sensitivity = 0.0;
                continue;
            }
            // A thousandth of the uncertainty, but no less than what the digits of the value resolve well.
            let h = (1e-3 * c.uncertainty).max(1e-9 * c.value.abs());
            let (up, down) = (c.value + h, c.value - h);
            x[i] = up;
            let y_up = run(&x)?;
            x[i] = down;
            let y_down = run(&x)?;
            x[i] = c.value;
            c.sensitivity = (y_up - y_down) / (up - down);
        }
        let variance: f64 = contributions.iter().map(|c| c.share().powi(2)).sum();
        let fourth: f64 = contributions.iter().map(|c| c.share().powi(4) / c.dof).sum();
        Ok(Self {
            value,
            combined: variance.sqrt(),
            worst_case: contributions.iter().map(|c| c.share().abs()).sum(),
            dof: if fourth > 0.0 { variance * variance / fourth } else { f64::INFINITY },
            contributions,
        })
    }

    /// Coverage factor for a coverage probability: Student's t at the effective degrees of freedom cut to a whole number.
    pub fn coverage_factor(&self, coverage: f64) -> f64 {
        -t_quantile(0.5 * (1.0 - coverage), self.dof.floor().max(1.0))
    }

    /// `value ± k u`, in the output's unit.
    pub fn expanded(&self, coverage: f64) -> Interval {
        let half = self.coverage_factor(coverage) * self.combined;
        Interval { low: self.value - half, high: self.value + half }
    }
}
