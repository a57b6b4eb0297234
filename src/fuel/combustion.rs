//! Complete combustion in dry air: stoichiometry and heating values from first principles.

use crate::quantity::{SpecificEnergy, j_per_kg};

/// Atomic weights in kg/mol. Source: CIAAW, abridged standard atomic weights.
mod atom {
    pub const H: f64 = 1.008e-3;
    pub const C: f64 = 12.011e-3;
    pub const N: f64 = 14.007e-3;
    pub const O: f64 = 15.999e-3;
    pub const AR: f64 = 39.95e-3;
}

/// Dry air by mole before it is made to add up to one: N₂, O₂, Ar, CO₂. Source: standard dry-air composition
/// (US Standard Atmosphere 1976, CO₂ brought to 400 ppm).
const AIR: [f64; 4] = [0.780_84, 0.209_46, 0.009_34, 0.000_40];

/// Enthalpies of formation at 298.15 K in J/mol of CO₂ and of water vapour (CODATA key values, as in
/// `chemicals` 1.5.2).
const FORMATION: [f64; 2] = [-393_474.0, -241_822.0];

/// Molar mass of dry air, kg/mol: Σ x M over N₂, O₂, Ar and CO₂.
#[must_use]
pub fn molar_mass_of_dry_air() -> f64 {
    let [n2, o2, ar, co2] = AIR;
    let mass = n2 * 2.0 * atom::N + o2 * 2.0 * atom::O + ar * atom::AR + co2 * (atom::C + 2.0 * atom::O);
    mass / AIR.iter().sum::<f64>()
}

/// Mole fraction of oxygen in dry air.
#[must_use]
pub fn oxygen_in_dry_air() -> f64 {
    AIR[1] / AIR.iter().sum::<f64>()
}

/// The atoms of a molecule, or of a mean molecule of a mixture: C_c H_h O_o.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Composition {
    /// Atoms of carbon.
    pub carbon: f64,
    /// Atoms of hydrogen.
    pub hydrogen: f64,
    /// Atoms of oxygen.
    pub oxygen: f64,
}

impl Composition {
    /// Molar mass, kg/mol.
    #[must_use]
    pub fn molar_mass(&self) -> f64 {
        self.carbon * atom::C + self.hydrogen * atom::H + self.oxygen * atom::O
    }

    /// Moles of O₂ that burn one mole completely: c + h/4 − o/2.
    #[must_use]
    pub fn oxygen_demand(&self) -> f64 {
        self.carbon + self.hydrogen / 4.0 - self.oxygen / 2.0
    }

    /// Stoichiometric air-fuel ratio by mass.
    ///
    /// # Formula
    /// AFR = (c + h/4 − o/2) M_air / (x_O₂ M_fuel)
    ///
    /// # Symbols
    /// c, h, o atoms a molecule; M kg/mol; x_O₂ mole fraction of oxygen in dry air.
    ///
    /// # Range
    /// Any C/H/O fuel in dry air; humid air needs more (about 1 % at 16 g of water a kilogram).
    ///
    /// # Source
    /// First principles. Iso-octane 15.13, ethanol 9.0, gasoline 14.6: Heywood 1988, table D.4.
    #[must_use]
    pub fn stoichiometric_afr(&self) -> f64 {
        self.oxygen_demand() * molar_mass_of_dry_air() / (oxygen_in_dry_air() * self.molar_mass())
    }

    /// Lower heating value at 298.15 K by Hess's law.
    ///
    /// # Formula
    /// LHV = (H_f − c H_f(CO₂) − h/2 H_f(H₂O gas)) / M
    ///
    /// # Symbols
    /// H_f enthalpy of formation of the fuel as liquid or gas, J/mol; M kg/mol.
    ///
    /// # Range
    /// Complete combustion to CO₂ and water vapour.
    ///
    /// # Source
    /// First principles; enthalpies of formation as in the package `chemicals` 1.5.2.
    #[must_use]
    pub fn lower_heating_value(&self, formation: f64) -> SpecificEnergy {
        let [co2, water] = FORMATION;
        j_per_kg((formation - self.carbon * co2 - self.hydrogen / 2.0 * water) / self.molar_mass())
    }
}
