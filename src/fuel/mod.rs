//! Fuel: the properties of petrol, ethanol, two pure test fluids, and their blends by volume.
//!
//! ```
//! use railrise::fuel::{Blend, Component};
//! use railrise::quantity::*;
//!
//! let petrol = Blend::petrol(kg_per_m3(745.0), abs(kpa(60.0)));
//! let s = petrol.at(degc(35.0), abs(bar(4.0)))?;
//! assert!((s.density - 727.0).abs() < 1.0); // kg/m³: it was 745 at 15 °C
//!
//! let e85 = Blend::from_volume(&[(Component::Ethanol, 0.85), (petrol.parts()[0].component, 0.15)])?;
//! assert!(e85.stoichiometric_afr() < 10.0); // petrol: 14.6, ethanol: 9.0
//! # Ok::<(), railrise::fuel::FuelError>(())
//! ```
//!
//! | property | law | where |
//! |---|---|---|
//! | density | volume correction from 15 °C (form of API MPMS 11.1), Murnaghan's pressure term | [`pure`], [`petrol`] |
//! | bulk moduli, speed of sound | isothermal by fit or API MPMS 11.2.1M; isentropic from it exactly | [`pure`], [`petrol`] |
//! | viscosity | Vogel and Barus; blends by Grunberg and Nissan | [`pure`], [`blend`] |
//! | vapour pressure | Antoine; petrol by Clausius-Clapeyron through its DVPE; ethanol by van Laar | [`vapour`] |
//! | air-fuel ratio, heating value | complete combustion in dry air, by mass | [`combustion`] |
//!
//! *Range*: −30 to 90 °C and 1 kPa to 25 MPa absolute for every fuel ([`RANGE`]); petrol of 680 to
//! 787.5 kg/m³ at 15 °C and a DVPE of 30 to 110 kPa. Outside it every method returns a [`FuelError`] that
//! names value and range. Below its vapour pressure a state is that of the metastable liquid, and
//! [`State::is_liquid`] says so.
//!
//! *Not modelled*: distillation curve, dissolved air and water, phase separation of wet ethanol blends,
//! ethers and other oxygenates, ageing.

pub mod blend;
pub mod combustion;
mod component;
mod error;
pub mod petrol;
pub mod pure;
pub mod vapour;

pub use blend::{Blend, Part, State, mass_fractions};
pub use combustion::Composition;
pub use component::Component;
pub use error::FuelError;

use crate::quantity::{AbsolutePressure, Temperature};

/// The range of temperature and pressure in which properties are given, in kelvins and pascals absolute.
pub struct Range {
    /// Lowest and highest temperature.
    pub temperature: (f64, f64),
    /// Lowest and highest absolute pressure.
    pub pressure: (f64, f64),
}

/// −30 to 90 °C, 1 kPa to 25 MPa absolute.
pub const RANGE: Range = Range { temperature: (243.15, 363.15), pressure: (1.0e3, 2.5e7) };

/// The temperature that volumes and the density of petrol refer to: 15 °C (EN 228, ISO 3675).
pub const T15: f64 = 288.15;

/// The pressure that densities at 15 °C refer to: one standard atmosphere.
pub const P0: f64 = crate::quantity::STANDARD_ATMOSPHERE;

pub(crate) fn check_temperature(t: Temperature) -> Result<f64, FuelError> {
    let (low, high) = RANGE.temperature;
    if (low..=high).contains(&t.value) {
        Ok(t.value)
    } else {
        Err(FuelError::Temperature { kelvin: t.value, low, high })
    }
}

pub(crate) fn check_pressure(p: AbsolutePressure) -> Result<f64, FuelError> {
    let (low, high) = RANGE.pressure;
    if (low..=high).contains(&p.pascals()) {
        Ok(p.pascals())
    } else {
        Err(FuelError::Pressure { pascals: p.pascals(), low, high })
    }
}
