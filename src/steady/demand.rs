//! What the engine asks for, and what the control unit does about it.

use super::operating::Operating;
use crate::build::{Build, ve_map_law};
use crate::error::{Error, Kind, Result};
use crate::fuel::Blend;
use crate::part::{air, engine};
use crate::quantity::{AbsolutePressure, Amount, Dim, GaugePressure, kelvin, m3, pa};
use serde::Serialize;

/// Lowest manifold pressure for which demand is known, absolute, Pa.
pub(crate) const NEAR_VACUUM: f64 = 5e3;

/// Air and fuel of one operating point, SI.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Demand {
    /// Engine speed, rad/s.
    pub speed: f64,
    /// Manifold pressure, absolute, Pa.
    pub manifold: f64,
    /// Charge temperature, K.
    pub charge_temperature: f64,
    /// Compressor pressure ratio.
    pub pressure_ratio: f64,
    /// Compressor outlet temperature, K.
    pub compressor_outlet: f64,
    /// Volumetric efficiency.
    pub volumetric_efficiency: f64,
    /// Swept volume, m³.
    pub displacement: f64,
    /// Number of cylinders.
    pub cylinders: f64,
    /// Air mass flow, kg/s.
    pub air: f64,
    /// Target lambda.
    pub lambda: f64,
    /// Stoichiometric air-fuel ratio of the fuel in the tank.
    pub stoichiometric: f64,
    /// Fuel mass flow for the target lambda, kg/s.
    pub fuel: f64,
    /// The same as volume at the fuel's temperature, m³/s.
    pub fuel_volume: f64,
    /// Fuel density at its temperature, kg/m³.
    pub density: f64,
    /// Time of two revolutions, s.
    pub cycle: f64,
}

/// The demand of a running engine; `None` with the engine off.
pub(super) fn demand(build: &Build, op: &Operating, blend: &Blend, density: f64) -> Result<Option<Demand>> {
    if op.speed <= 0.0 {
        return Ok(None);
    }
    let e = build.section("engine");
    if op.speed > e.si("rev_limit") * 1.05 {
        return Err(Error::new(
            Kind::Range,
            format!(
                "{} is beyond the rev limit of {}",
                Amount::new(op.speed, Dim::AngularVelocity),
                Amount::new(e.si("rev_limit"), Dim::AngularVelocity)
            ),
        )
        .next("ask below the limit, or change engine.rev_limit"));
    }
    let around = build.section("ambient");
    let ambient = around.si("pressure");
    let manifold = ambient + op.boost;
    if manifold < NEAR_VACUUM {
        return Err(Error::new(
            Kind::Range,
            format!("a manifold at {} is near vacuum", Amount::new(manifold, Dim::Pressure).absolute()),
        )
        .next("give the manifold pressure above ambient; a vacuum is negative, and cannot be deeper than the ambient pressure"));
    }
    let outside = around.si("temperature");
    let pressure_ratio = engine::pressure_ratio(
        AbsolutePressure::from_pascals(ambient),
        GaugePressure::from_pascals(op.boost),
        pa(e.si("intake_loss")),
        pa(e.si("intercooler_loss")),
    );
    let refused = |error: engine::EngineError| Error::new(Kind::Range, error.to_string()).at_key("engine");
    // In vacuum the throttle, not the compressor, sets the pressure: the charge stays at ambient temperature.
    let (outlet, mut charge) = if op.boost > 0.0 {
        let t2 = engine::compressor_outlet_temperature(
            kelvin(outside),
            pressure_ratio,
            e.si("compressor_efficiency"),
            air::GAMMA,
        )
        .map_err(refused)?;
        let t3 =
            engine::intercooler_outlet_temperature(t2, kelvin(outside), e.si("intercooler_effectiveness"))
                .map_err(refused)?;
        (t2.value, t3.value)
    } else {
        (outside, outside)
    };
    if let Some(t) = e.opt("charge_temperature") {
        charge = t;
    }
    let mut ve = e.si("volumetric_efficiency");
    if let Some(rows) = e.rows("ve_rows") {
        ve *= rows.interpolate(op.speed, "volumetric efficiency")?;
    }
    if let Some(map) = ve_map_law(e)? {
        let outside = |error: engine::EngineError| {
            Error::new(Kind::Range, error.to_string()).at_key("engine.ve_map_rows")
        };
        ve *= map.at(op.speed(), AbsolutePressure::from_pascals(manifold)).map_err(outside)?;
    }
    let displacement = m3(e.si("displacement"));
    let each =
        engine::air_per_cycle(ve, displacement, AbsolutePressure::from_pascals(manifold), kelvin(charge));
    let air_flow = engine::air_mass_flow(each, op.speed());
    let stoichiometric = blend.stoichiometric_afr();
    let lambda = e.si("lambda");
    let fuel =
        engine::fuel_mass_flow(air_flow, lambda, stoichiometric).map_err(refused)?.value * op.demand_factor;
    Ok(Some(Demand {
        speed: op.speed,
        manifold,
        charge_temperature: charge,
        pressure_ratio,
        compressor_outlet: outlet,
        volumetric_efficiency: ve,
        displacement: displacement.value,
        cylinders: e.si("cylinders"),
        air: air_flow.value,
        lambda,
        stoichiometric,
        fuel,
        fuel_volume: fuel / density,
        density,
        cycle: 2.0 * std::f64::consts::TAU / op.speed,
    }))
}
