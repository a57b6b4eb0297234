//! What a blend is made of.

use super::combustion::Composition;
use super::pure::{ETHANOL, ISO_OCTANE, Liquid, N_HEPTANE, Pure};
use super::{FuelError, P0, check_temperature, petrol};
use crate::quantity::{AbsolutePressure, Density, SpecificEnergy, Temperature, j_per_kg, kg_per_m3};
use std::fmt;

/// One component of a fuel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Component {
    /// Petrol by its two numbers: see [`petrol`].
    Petrol {
        /// Density at 15 °C and one atmosphere.
        density15: Density,
        /// Dry vapour pressure equivalent at 37.8 °C.
        dvpe: AbsolutePressure,
    },
    /// Ethanol.
    Ethanol,
    /// n-heptane, the calibration fluid of injector benches.
    NHeptane,
    /// Iso-octane (2,2,4-trimethylpentane).
    IsoOctane,
}

impl Component {
    /// Petrol of this density at 15 °C and this dry vapour pressure equivalent.
    ///
    /// # Errors
    /// Values that no petrol has.
    pub fn petrol(density15: Density, dvpe: AbsolutePressure) -> Result<Self, FuelError> {
        petrol::check(density15, dvpe)?;
        Ok(Self::Petrol { density15, dvpe })
    }

    /// Whether its numbers are inside the range of the laws.
    ///
    /// # Errors
    /// Petrol whose density or vapour pressure is outside it.
    pub fn check(&self) -> Result<(), FuelError> {
        match *self {
            Self::Petrol { density15, dvpe } => petrol::check(density15, dvpe),
            _ => Ok(()),
        }
    }

    fn pure(&self) -> Option<&'static Pure> {
        match self {
            Self::Petrol { .. } => None,
            Self::Ethanol => Some(&ETHANOL),
            Self::NHeptane => Some(&N_HEPTANE),
            Self::IsoOctane => Some(&ISO_OCTANE),
        }
    }

    /// Density at 15 °C and one atmosphere.
    #[must_use]
    pub fn density_at_15(&self) -> Density {
        match (self, self.pure()) {
            (Self::Petrol { density15, .. }, _) => *density15,
            (_, Some(pure)) => kg_per_m3(pure.density15),
            (_, None) => unreachable!("every component but petrol is a pure liquid"),
        }
    }

    /// Atoms of one molecule; for petrol those of its mean molecule, CH₁.₈₇ at 110 g/mol.
    #[must_use]
    pub fn composition(&self) -> Composition {
        match self.pure() {
            Some(pure) => pure.composition,
            None => {
                let one = Composition { carbon: 1.0, hydrogen: petrol::HYDROGEN_PER_CARBON, oxygen: 0.0 };
                let carbon = petrol::MOLAR_MASS / one.molar_mass();
                Composition { carbon, hydrogen: carbon * petrol::HYDROGEN_PER_CARBON, oxygen: 0.0 }
            }
        }
    }

    /// Molar mass, kg/mol.
    #[must_use]
    pub fn molar_mass(&self) -> f64 {
        self.composition().molar_mass()
    }

    /// Stoichiometric air-fuel ratio by mass: [`Composition::stoichiometric_afr`].
    #[must_use]
    pub fn stoichiometric_afr(&self) -> f64 {
        self.composition().stoichiometric_afr()
    }

    /// Lower heating value of the liquid: [`Composition::lower_heating_value`], petrol by
    /// [`petrol::lower_heating_value`].
    #[must_use]
    pub fn lower_heating_value(&self) -> SpecificEnergy {
        match self.pure() {
            Some(pure) => pure.composition.lower_heating_value(pure.formation[0]),
            None => petrol::lower_heating_value(),
        }
    }

    /// Heat of evaporation at 25 °C: the difference of the enthalpies of formation of gas and liquid; petrol by
    /// [`petrol::latent_heat`].
    #[must_use]
    pub fn latent_heat(&self) -> SpecificEnergy {
        match self.pure() {
            Some(pure) => {
                let [liquid, gas] = pure.formation;
                j_per_kg((gas - liquid) / pure.composition.molar_mass())
            }
            None => petrol::latent_heat(),
        }
    }

    /// Vapour pressure of the component alone: [`Pure::vapour_pressure`], petrol through its DVPE by
    /// [`petrol::vapour_pressure`].
    ///
    /// # Errors
    /// A temperature outside the range.
    pub fn vapour_pressure(&self, t: Temperature) -> Result<AbsolutePressure, FuelError> {
        self.check()?;
        Ok(AbsolutePressure::from_pascals(self.vapour_pressure_si(check_temperature(t)?)))
    }

    pub(super) fn vapour_pressure_si(&self, t: f64) -> f64 {
        match (self, self.pure()) {
            (Self::Petrol { dvpe, .. }, _) => petrol::vapour_pressure_si(dvpe.pascals(), t),
            (_, Some(pure)) => pure.vapour_pressure(t),
            (_, None) => unreachable!("every component but petrol is a pure liquid"),
        }
    }

    pub(super) fn liquid(&self, t: f64, p: f64) -> Liquid {
        match (self, self.pure()) {
            (Self::Petrol { density15, .. }, _) => petrol::liquid(density15.value, t, p),
            (_, Some(pure)) => pure.liquid(t, p),
            (_, None) => unreachable!("every component but petrol is a pure liquid"),
        }
    }

    pub(super) fn ln_viscosity(&self, t: f64, p: f64) -> f64 {
        match (self, self.pure()) {
            (Self::Petrol { density15, .. }, _) => petrol::ln_viscosity(density15.value, t, p),
            (_, Some(pure)) => pure.ln_viscosity(t, p),
            (_, None) => unreachable!("every component but petrol is a pure liquid"),
        }
    }

    /// The density at 15 °C that the laws give, for checks of the fits.
    #[must_use]
    pub fn fitted_density_at_15(&self) -> Density {
        kg_per_m3(self.liquid(super::T15, P0).density)
    }
}

impl fmt::Display for Component {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self, self.pure()) {
            (Self::Petrol { density15, dvpe }, _) => write!(
                f,
                "petrol ({:.0} kg/m³ at 15 °C, DVPE {:.0} kPa)",
                density15.value,
                dvpe.pascals() / 1e3
            ),
            (_, Some(pure)) => f.write_str(pure.name),
            (_, None) => unreachable!("every component but petrol is a pure liquid"),
        }
    }
}
