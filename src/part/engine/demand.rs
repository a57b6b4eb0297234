//! How much air an engine takes, and how much fuel goes with it.

use super::{EngineError, VolumetricEfficiency};
use crate::fuel::Blend;
use crate::part::air::GAS_CONSTANT;
use crate::quantity::{
    AbsolutePressure, AngularVelocity, Density, Mass, MassRate, Power, SpecificConsumption, Temperature,
    Volume, VolumeRate, kg, kg_per_s, m3_per_s,
};
use std::f64::consts::TAU;

/// Air that a four-stroke engine takes in over two revolutions, all cylinders together (speed-density).
///
/// # Formula
/// m = η_v V_d p/(R T)
///
/// # Symbols
/// η_v volumetric efficiency referred to the manifold; V_d displacement, m³; p manifold, absolute, Pa; T charge, K;
/// R = 287.05287 J/(kg·K).
///
/// # Range
/// Ideal dry air: 0.1 % low at 2.5 bar. The fuel's own vapour and residual gas sit inside η_v.
///
/// # Source
/// Heywood 1988, section 2.10; ISO 2533 for R.
#[must_use]
pub fn air_per_cycle(
    volumetric_efficiency: f64,
    displacement: Volume,
    manifold: AbsolutePressure,
    charge: Temperature,
) -> Mass {
    kg(volumetric_efficiency * displacement.value * manifold.pascals() / (GAS_CONSTANT * charge.value))
}

/// Air mass flow of a four-stroke from its air a cycle: m n/2.
///
/// # Symbols
/// m air over two revolutions, kg; n revolutions a second.
#[must_use]
pub fn air_mass_flow(air_per_cycle: Mass, speed: AngularVelocity) -> MassRate {
    kg_per_s(air_per_cycle.value * speed.value / (2.0 * TAU))
}

/// Fuel that goes with the air.
///
/// # Formula
/// ṁ_f = ṁ_a/(λ AFR)
///
/// # Symbols
/// ṁ kg/s; λ air-fuel ratio over the stoichiometric one; AFR stoichiometric air-fuel ratio of *this* fuel.
///
/// # Range
/// λ 0.5 to 2; outside: [`EngineError::OutOfRange`].
///
/// # Source
/// Definition of λ.
///
/// # Errors
/// A λ outside the range.
pub fn fuel_mass_flow(air: MassRate, lambda: f64, stoichiometric_afr: f64) -> Result<MassRate, EngineError> {
    let lambda = EngineError::within(
        "lambda",
        lambda,
        (0.5, 2.0),
        "",
        "give the ratio to stoichiometric (0.80), not the air-fuel ratio (11.7)",
    )?;
    Ok(kg_per_s(air.value / (lambda * stoichiometric_afr)))
}

/// Volume that a fuel mass flow takes at this density: ṁ/ρ. Hot fuel is thinner: take ρ where the volume is asked for.
#[must_use]
pub fn fuel_volume_flow(fuel: MassRate, density: Density) -> VolumeRate {
    m3_per_s(fuel.value / density.value)
}

/// Fuel that a brake power takes: P bsfc.
///
/// # Formula
/// ṁ_f = P bsfc
///
/// # Symbols
/// P power at the *crankshaft*, W (wheel power is 10 to 20 % less: common practice, no source); bsfc brake
/// specific fuel consumption, kg/J.
///
/// # Range
/// Full load, petrol: 270 to 330 g/kWh naturally aspirated, 330 to 400 g/kWh boosted and rich (common practice, no
/// source).
///
/// # Source
/// Definition.
#[must_use]
pub fn fuel_by_bsfc(power: Power, bsfc: SpecificConsumption) -> MassRate {
    kg_per_s(power.value * bsfc.value)
}

/// Two estimates of the same fuel flow side by side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrossCheck {
    /// By speed-density.
    pub speed_density: MassRate,
    /// By power and consumption.
    pub by_bsfc: MassRate,
    /// How far the second is from the first, as a share of the first.
    pub difference: f64,
    /// Whether that is within [`SETTLED_WITHIN`].
    pub settled: bool,
}

/// Two estimates of demand that are closer than this are taken as one; further apart, the report says by how much
/// (common practice, no source).
pub const SETTLED_WITHIN: f64 = 0.10;

/// Speed-density and power · bsfc against each other.
#[must_use]
pub fn cross_check(speed_density: MassRate, by_bsfc: MassRate) -> CrossCheck {
    let difference = by_bsfc.value / speed_density.value - 1.0;
    CrossCheck { speed_density, by_bsfc, difference, settled: difference.abs() <= SETTLED_WITHIN }
}

/// Share of the time that a set of injectors must be open for a volume flow, dead time left out: Q/(N Q_s).
///
/// # Symbols
/// Q fuel of the engine, Q_s static flow of one injector at its pressure difference, m³/s; N injectors.
#[must_use]
pub fn duty_by_continuity(fuel: VolumeRate, injectors: u32, static_flow: VolumeRate) -> f64 {
    fuel.value / (f64::from(injectors) * static_flow.value)
}

/// An engine as the fuel system sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Engine {
    /// Displacement of all cylinders.
    pub displacement: Volume,
    /// How many cylinders.
    pub cylinders: u32,
    /// Volumetric efficiency over speed and manifold pressure.
    pub efficiency: VolumetricEfficiency,
}

/// What an engine asks for at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Demand {
    /// Volumetric efficiency.
    pub volumetric_efficiency: f64,
    /// Air over two revolutions, all cylinders.
    pub air_per_cycle: Mass,
    /// Air mass flow.
    pub air: MassRate,
    /// Fuel mass flow.
    pub fuel: MassRate,
    /// Fuel of one cylinder over two revolutions.
    pub fuel_per_injection: Mass,
}

impl Engine {
    /// Air and fuel at a speed, a manifold pressure, a charge temperature and a target λ.
    ///
    /// # Formula
    /// [`air_per_cycle`], [`air_mass_flow`], [`fuel_mass_flow`] in turn.
    ///
    /// # Symbols
    /// As there.
    ///
    /// # Range
    /// The map's; λ 0.5 to 2; charge temperature −40 to 200 °C; outside: [`EngineError::OutOfRange`].
    ///
    /// # Source
    /// As there.
    ///
    /// # Errors
    /// A value outside its range.
    pub fn demand(
        &self,
        speed: AngularVelocity,
        manifold: AbsolutePressure,
        charge: Temperature,
        lambda: f64,
        fuel: &Blend,
    ) -> Result<Demand, EngineError> {
        EngineError::within(
            "charge temperature",
            charge.value - 273.15,
            (-40.0, 200.0),
            "°C",
            "check the unit (°C or K) and the intercooler",
        )?;
        let volumetric_efficiency = self.efficiency.at(speed, manifold)?;
        let air_per_cycle = air_per_cycle(volumetric_efficiency, self.displacement, manifold, charge);
        let air = air_mass_flow(air_per_cycle, speed);
        let fuel = fuel_mass_flow(air, lambda, fuel.stoichiometric_afr())?;
        let cycles = speed.value / (2.0 * TAU) * f64::from(self.cylinders);
        Ok(Demand {
            volumetric_efficiency,
            air_per_cycle,
            air,
            fuel,
            fuel_per_injection: kg(if cycles > 0.0 { fuel.value / cycles } else { 0.0 }),
        })
    }
}
