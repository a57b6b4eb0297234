//! A pump's law from the rows that a shop has: flow at a pressure at a voltage, and current when known.
//!
//! One row does not fix a law with five numbers. The rows are therefore joined by what pumps of the
//! family are like, each as one weak observation with its own width; with more rows the family matters
//! less, and the covariance says how much is left open.

use super::law::{Curve, Kind, Pump};
use crate::error::{Error, Kind as ErrorKind, Result};
use crate::spec::fit::{Bounds, Options, least_squares};
use serde::Serialize;

/// One row of a rating: what was pumped against which rise at which voltage at the pump.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RatingRow {
    /// Rise, Pa.
    pub pressure: f64,
    /// Voltage at the terminals, V.
    pub volts: f64,
    /// Flow, m³/s.
    pub flow: f64,
    /// Current, A, when it was read.
    pub current: Option<f64>,
}

/// A law found from rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Identified {
    /// The pump (no wear, no relief, zero required margin: the caller sets those).
    pub pump: Pump,
    /// Difference of the law's flow from each row, m³/s.
    pub flow_residuals: Vec<f64>,
    /// Difference of the law's current from each row that has one, A.
    pub current_residuals: Vec<Option<f64>>,
    /// Lowest and highest pressure of the rows, Pa.
    pub pressure_range: (f64, f64),
    /// Lowest and highest voltage of the rows, V.
    pub volt_range: (f64, f64),
    rows: Vec<RatingRow>,
    covariance: Vec<f64>,
    log_params: Vec<f64>,
    kind: Kind,
    motor_constant: f64,
}

// What the family is like (common practice, no source): fall of flow with pressure 8..13 % of rated a bar,
// armature near 0.3 ohm, a quarter of the current for friction, an eighth of the electrical power in the fuel.
const FAMILY_SLOPE: (f64, f64) = (0.10e-5, 0.02e-5); // 1/Pa, mean and sd
const FAMILY_ARMATURE: (f64, f64) = (0.3, 0.4); // ohm, sd of ln
const FAMILY_FRICTION: (f64, f64) = (0.25, 0.10); // share, sd
const FAMILY_EFFICIENCY: (f64, f64) = (0.125, 0.25); // -, sd of ln
const FAMILY_SHUT_OFF: (f64, f64) = (2.2, 0.4); // regenerative: shut-off rise over rated rise, sd
const ROW_FLOW: f64 = 0.015; // sd of a bench flow, share
const ROW_CURRENT: f64 = 0.03; // sd of a bench current, share

fn pump_of(kind: Kind, p: &[f64], motor_constant: f64, viscosity: f64) -> Pump {
    let e: Vec<f64> = p.iter().map(|x| x.exp()).collect();
    let curve = match kind {
        Kind::Displacement => Curve::Displacement { g: e[0], k: e[2], c: e[3] },
        Kind::Regenerative => Curve::Regenerative { a: e[0], b: e[2], t: e[3], u: 0.4 * e[3] * e[2] / e[0] },
    };
    Pump {
        curve,
        armature: e[1],
        idle_current: e[4],
        motor_constant,
        rated_viscosity: viscosity,
        wear_slip: 0.0,
        wear_head: 0.0,
        relief: f64::INFINITY,
        relief_slope: 1e9,
        required_margin: 0.0,
    }
}

/// Finds the law of a pump from rating rows by bounded least squares.
///
/// # Formula
/// Minimises the sum of squares of (flow and current misfit)/(bench uncertainty 1.5 %, 3 %) and of the
/// family's departures/width. Parameters are kept positive by fitting their logarithms.
/// `viscosity` Pa·s of the rating fluid; `speed` rad/s at the first row sets the motor constant only.
///
/// # Errors
/// No row, a row with a value not above zero, or a fit that does not converge: the row is named.
pub fn identify(kind: Kind, rows: &[RatingRow], viscosity: f64, speed: f64) -> Result<Identified> {
    let first = rows.first().ok_or_else(|| {
        Error::new(ErrorKind::Value, "a pump needs at least one rating row")
            .next("give rows = [{ pressure = \"3 bar\", voltage = \"13.5 V\", flow = \"140 L/h\" }]")
    })?;
    for (i, r) in rows.iter().enumerate() {
        let bad = |what: &str, v: f64| {
            Error::new(
                ErrorKind::Value,
                format!("rating row {}: {what} is {v}, it must be above zero", i + 1),
            )
        };
        if !(r.volts > 0.0) {
            return Err(bad("voltage", r.volts));
        }
        if !(r.flow > 0.0) {
            return Err(bad("flow", r.flow));
        }
        if !(r.pressure >= 0.0) {
            return Err(bad("pressure", r.pressure));
        }
        if let Some(c) = r.current
            && !(c > 0.0)
        {
            return Err(bad("current", c));
        }
    }
    let p0 = first.pressure.max(0.5e5);
    let current0 = first.current.unwrap_or(p0 * first.flow / (FAMILY_EFFICIENCY.0 * first.volts));
    let (armature, friction) =
        (FAMILY_ARMATURE.0.min(0.4 * first.volts / current0), FAMILY_FRICTION.0 * current0);
    let free = first.flow * (1.0 + FAMILY_SLOPE.0 * p0);
    let start: Vec<f64> = match kind {
        Kind::Displacement => {
            let g = free / (first.volts - friction * armature);
            let c = (current0 - friction) / p0;
            let k = (FAMILY_SLOPE.0 * first.flow - g * c * armature).max(0.2 * FAMILY_SLOPE.0 * first.flow);
            vec![g, armature, k, c, friction]
        }
        Kind::Regenerative => {
            let e = first.volts - current0 * armature;
            let a = FAMILY_SHUT_OFF.0 * p0 / (e * e);
            let b = (a * e * e - p0) / (e * first.flow);
            let t = (current0 - friction) / (e * e - 0.4 * b / a * e * first.flow).max(0.1);
            vec![a, armature, b, t, friction]
        }
    }
    .into_iter()
    .map(f64::ln)
    .collect();

    let motor_constant = (first.volts - current0 * armature) / speed;
    let residuals = |x: &[f64], out: &mut Vec<f64>| {
        out.clear();
        let pump = pump_of(kind, x, motor_constant, viscosity);
        for r in rows {
            let q = pump.flow_at(r.pressure, r.volts, 0.0, viscosity);
            out.push((q - r.flow) / (ROW_FLOW * r.flow));
            if let Some(current) = r.current {
                let run = pump.at_flow(q, r.volts, 0.0, viscosity, f64::INFINITY);
                out.push((run.current - current) / (ROW_CURRENT * current));
            }
        }
        let q0 = pump.flow_at(p0, first.volts, 0.0, viscosity);
        let at0 = pump.at_flow(q0, first.volts, 0.0, viscosity, f64::INFINITY);
        match kind {
            Kind::Displacement => out.push((-1.0 / at0.slope / q0 - FAMILY_SLOPE.0) / FAMILY_SLOPE.1),
            Kind::Regenerative => {
                let dead = pump.at_flow(0.0, first.volts, 0.0, viscosity, f64::INFINITY).rise;
                out.push((dead / p0 - FAMILY_SHUT_OFF.0) / FAMILY_SHUT_OFF.1);
            }
        }
        out.push((pump.armature / FAMILY_ARMATURE.0).ln() / FAMILY_ARMATURE.1);
        out.push((pump.idle_current / at0.current - FAMILY_FRICTION.0) / FAMILY_FRICTION.1);
        out.push((p0 * q0 / at0.electric_power / FAMILY_EFFICIENCY.0).ln() / FAMILY_EFFICIENCY.1);
    };
    let wide: Vec<(f64, f64)> = start.iter().map(|s| (s - 4.0, s + 4.0)).collect();
    let fit = least_squares(
        |x| {
            let mut out = Vec::new();
            residuals(x, &mut out);
            out
        },
        &start,
        &Bounds::new(&wide),
        &Options::default(),
    )
    .map_err(|e| {
        Error::new(ErrorKind::Solve, format!("no pump law fits the rating rows: {e}"))
            .next("check the units of flow, pressure and voltage of each row")
    })?;
    if !fit.why_stopped.converged() {
        return Err(Error::new(
            ErrorKind::Solve,
            format!(
                "the pump's law did not settle: {:?} after {} iterations",
                fit.why_stopped, fit.iterations
            ),
        )
        .next("check the units of flow, pressure and voltage of each row"));
    }
    let pump = pump_of(kind, &fit.params, motor_constant, viscosity);
    let mut flow_residuals = Vec::new();
    let mut current_residuals = Vec::new();
    for r in rows {
        let q = pump.flow_at(r.pressure, r.volts, 0.0, viscosity);
        flow_residuals.push(q - r.flow);
        let run = pump.at_flow(q, r.volts, 0.0, viscosity, f64::INFINITY);
        current_residuals.push(r.current.map(|c| run.current - c));
    }
    // Rows and family are scaled to unit variance, so (J'J)^-1 is the covariance as it stands; a misfit
    // larger than stated widens it.
    let mut squares = Vec::new();
    residuals(&fit.params, &mut squares);
    let dof = squares.len().saturating_sub(fit.params.len()).max(1) as f64;
    let scale = (squares.iter().map(|s| s * s).sum::<f64>() / dof).max(1.0);
    let n = fit.params.len();
    let jtj = normal_matrix(&fit.params, &residuals);
    let covariance = jtj
        .try_inverse()
        .map(|m| (m * scale).as_slice().to_vec())
        .unwrap_or_else(|| vec![f64::INFINITY; n * n]);
    let range = |f: fn(&RatingRow) -> f64| {
        rows.iter().map(f).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)))
    };
    Ok(Identified {
        pump,
        flow_residuals,
        current_residuals,
        pressure_range: range(|r| r.pressure),
        volt_range: range(|r| r.volts),
        rows: rows.to_vec(),
        covariance,
        log_params: fit.params,
        kind,
        motor_constant,
    })
}

fn normal_matrix(at: &[f64], residuals: &impl Fn(&[f64], &mut Vec<f64>)) -> nalgebra::DMatrix<f64> {
    let n = at.len();
    let h = 1e-5;
    let columns: Vec<Vec<f64>> = (0..n)
        .map(|j| {
            let side = |s: f64| {
                let mut x = at.to_vec();
                x[j] += s * h;
                let mut out = Vec::new();
                residuals(&x, &mut out);
                out
            };
            side(1.0).iter().zip(side(-1.0)).map(|(a, b)| (a - b) / (2.0 * h)).collect()
        })
        .collect();
    let m = columns[0].len();
    let j = nalgebra::DMatrix::from_fn(m, n, |r, c| columns[c][r]);
    j.transpose() * j
}

impl Identified {
    /// The rows it was found from.
    #[must_use]
    pub fn rows(&self) -> &[RatingRow] {
        &self.rows
    }

    /// Standard uncertainty of the flow that this law gives at a rise and voltage, m³/s.
    ///
    /// # Formula
    /// `u² = g' C g`, g the slope of flow with each fitted parameter, C their covariance (JCGM 100, 5.2).
    #[must_use]
    pub fn flow_uncertainty(&self, rise: f64, volts: f64) -> f64 {
        let n = self.log_params.len();
        let mu = self.pump.rated_viscosity;
        let h = 1e-5;
        let slope: Vec<f64> = (0..n)
            .map(|j| {
                let side = |s: f64| {
                    let mut x = self.log_params.clone();
                    x[j] += s * h;
                    pump_of(self.kind, &x, self.motor_constant, mu).flow_at(rise, volts, 0.0, mu)
                };
                (side(1.0) - side(-1.0)) / (2.0 * h)
            })
            .collect();
        let mut u2 = 0.0;
        for i in 0..n {
            for j in 0..n {
                u2 += slope[i] * self.covariance[i * n + j] * slope[j];
            }
        }
        u2.max(0.0).sqrt()
    }

    /// Whether this rise and voltage lie within what the rows cover, widened by a bar and a volt and a half.
    #[must_use]
    pub fn covers(&self, rise: f64, volts: f64) -> bool {
        rise <= self.pressure_range.1 + 1e5
            && rise >= self.pressure_range.0 - 1e5
            && volts <= self.volt_range.1 + 1.5
            && volts >= self.volt_range.0 - 1.5
    }
}
