//! The engine as a consumer of fuel: air by speed-density, charge temperature, altitude, power corrections.
//!
//! ```
//! use railrise::fuel::Blend;
//! use railrise::part::engine::{Engine, VolumetricEfficiency};
//! use railrise::quantity::*;
//!
//! let engine = Engine { displacement: litres(2.4), cylinders: 4, efficiency: VolumetricEfficiency::constant(0.95) };
//! let petrol = Blend::petrol(kg_per_m3(745.0), abs(kpa(60.0)));
//! let d = engine.demand(rpm(6500.0), abs(kpa(241.3)), degc(50.0), 0.80, &petrol)?;
//! assert!((d.fuel.value * 1e3 - 27.5).abs() < 0.1); // g/s, some 130 L/h
//! # Ok::<(), railrise::part::engine::EngineError>(())
//! ```
//!
//! Ratios (efficiency, lambda, pressure ratio) are plain numbers. A law whose range is a standard's or a table's refuses
//! or flags what lies outside; a definition (power from mean effective pressure) has no range.
//!
//! *Not modelled*: the compressor's map (its efficiency is a number), heat soak of the intercooler, cooling of the
//! charge by fuel that evaporates, humidity's share in the air that burns.

mod altitude;
mod charge;
mod correction;
mod demand;
mod efficiency_map;
mod error;

pub use altitude::{
    Atmosphere, dry_air_pressure, geopotential_altitude, isa_atmosphere, isa_atmosphere_geopotential,
};
pub use charge::{
    Charge, Induction, compressor_outlet_temperature, compressor_specific_work, density_ratio,
    intercooler_outlet_temperature, pressure_ratio, pressure_ratio_for,
};
pub use correction::{
    PowerCorrection, bmep_power, brake_efficiency, mean_piston_speed, power_correction_iso1585,
    power_correction_j1349,
};
pub use demand::{
    CrossCheck, Demand, Engine, SETTLED_WITHIN, air_mass_flow, air_per_cycle, cross_check,
    duty_by_continuity, fuel_by_bsfc, fuel_mass_flow, fuel_volume_flow,
};
pub use efficiency_map::VolumetricEfficiency;
pub use error::EngineError;
