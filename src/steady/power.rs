//! Fuel by air and fuel by power, side by side.

use super::demand::{self, Demand};
use super::operating::Operating;
use crate::build::Build;
use crate::error::Result;
use crate::quantity::{AbsolutePressure, GaugePressure, kelvin, rad_per_s};
use serde::Serialize;

/// How far the two ways to the fuel demand agree.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PowerCheck {
    /// Engine speed at which the air asks for most fuel, rad/s.
    pub speed: f64,
    /// Boost there, gauge, Pa.
    pub boost: f64,
    /// Fuel by speed-density, kg/s.
    pub by_air: f64,
    /// Fuel by power times brake specific consumption, kg/s.
    pub by_power: f64,
    /// By air over by power, less one.
    pub difference: f64,
}

impl PowerCheck {
    /// Whether the two agree within a tenth (common practice, no source). If not, one of displacement, boost,
    /// efficiency, lambda, power or consumption is not what it is believed to be: wheel power read for crank power, and
    /// gauge pressure for absolute, are the usual ones.
    #[must_use]
    pub fn agrees(&self) -> bool {
        self.difference.abs() <= 0.10
    }
}

/// Compares speed-density with the dyno's power at the highest boost; none when the build states no power.
///
/// # Formula
/// `m_air/(lambda AFR)` against `P bsfc`. Valid at full load; the power is that of the crankshaft.
///
/// # Errors
/// As the demand: a speed or boost outside the build's tables.
pub fn power_check(build: &Build) -> Result<Option<PowerCheck>> {
    let e = build.section("engine");
    let (Some(power), Some(rows)) = (e.opt("power"), e.rows("boost_rows")) else { return Ok(None) };
    let by_power = power * e.si("bsfc");
    let blend = build.fuel()?;
    let ambient = build.section("ambient").si("pressure");
    let fuel = blend
        .at(kelvin(build.section("fuel").si("temperature")), AbsolutePressure::from_pascals(ambient))
        .map_err(|e| crate::error::Error::new(crate::error::Kind::Range, e.to_string()))?;
    let most = rows.data.iter().map(|r| r[1]).fold(f64::NEG_INFINITY, f64::max);
    let mut speeds: Vec<f64> = rows.data.iter().filter(|r| r[1] == most).map(|r| r[0]).collect();
    let (low, high) = (speeds[0], speeds[speeds.len() - 1].min(e.si("rev_limit")));
    if let Some(ve) = e.rows("ve_rows") {
        speeds.extend(ve.data.iter().map(|r| r[0]));
    }
    if let Some(map) = e.rows("ve_map_rows") {
        speeds.extend(map.column("rpm"));
    }
    let mut best: Option<Demand> = None;
    for w in speeds.into_iter().filter(|w| *w >= low && *w <= high) {
        let op = Operating::at(rad_per_s(w), GaugePressure::from_pascals(most));
        if let Some(d) = demand::demand(build, &op, &blend, fuel.density)?
            && best.is_none_or(|b| d.fuel > b.fuel)
        {
            best = Some(d);
        }
    }
    Ok(best.map(|d| PowerCheck {
        speed: d.speed,
        boost: most,
        by_air: d.fuel,
        by_power,
        difference: d.fuel / by_power - 1.0,
    }))
}
