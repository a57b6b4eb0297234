//! A fuel: a blend of components by volume, and its state at an operating point.
//!
//! # Formula
//! Volume fractions φ hold at 15 °C and one atmosphere; they fix the mass fractions w once and for all.
//! * specific volume adds by mass, 1/ρ = Σ w/ρ_i, and so do expansion, compression (φ now at T, p) and heat
//!   capacity; the isentropic bulk modulus follows from them exactly ([`Liquid::bulk_isentropic`]);
//! * viscosity by Grunberg and Nissan without interaction, ln μ = Σ x ln μ_i, x by mole;
//! * vapour pressure by modified Raoult ([`super::vapour`]);
//! * air-fuel ratio and heating values add by mass.
//!
//! # Range
//! As the components. Excess volume is left out (ethanol in petrol: up to 0.3 % in density, from memory), and so is the
//! interaction in viscosity (ethanol in hydrocarbons: up to 15 % too thick near half and half, from memory).
//!
//! # Source
//! Grunberg & Nissan, Nature 164 (1949) 799; the rest from first principles for additive volumes.

use super::combustion::Composition;
use super::pure::Liquid;
use super::{Component, FuelError, T15, check_pressure, check_temperature, vapour};
use crate::quantity::{
    AbsolutePressure, Density, DynamicViscosity, Pressure, SpecificEnergy, Temperature, Velocity, j_per_kg,
    kg_per_m3, m_per_s, pa, pa_s,
};
use smallvec::{SmallVec, smallvec};
use std::fmt;

/// One component in a blend with its share, counted three ways.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// The component.
    pub component: Component,
    /// Its share of the volume at 15 °C.
    pub by_volume: f64,
    /// Its share of the mass.
    pub by_mass: f64,
    /// Its share of the moles.
    pub by_mole: f64,
}

/// A fuel of fixed composition.
#[derive(Clone, Debug, PartialEq)]
pub struct Blend {
    /// In place: a study makes a blend a draw.
    parts: SmallVec<[Part; 2]>,
}

/// The fuel at one temperature and pressure, in SI: computed once an operating point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Temperature, K.
    pub temperature: f64,
    /// Absolute pressure, Pa.
    pub pressure: f64,
    /// Density, kg/m³.
    pub density: f64,
    /// Dynamic viscosity, Pa·s.
    pub viscosity: f64,
    /// Isentropic bulk modulus, Pa.
    pub bulk_isentropic: f64,
    /// Isothermal bulk modulus, Pa.
    pub bulk_isothermal: f64,
    /// Vapour pressure, Pa absolute.
    pub vapour_pressure: f64,
    /// Speed of sound in unconfined fuel, m/s.
    pub sound_speed: f64,
    /// Thermal expansivity, 1/K.
    pub expansivity: f64,
    /// Heat capacity at constant pressure, J/(kg·K).
    pub heat_capacity: f64,
}

impl State {
    /// Whether the pressure is at or above the vapour pressure; below it the other values are those of a metastable
    /// liquid and the fuel may boil.
    #[must_use]
    pub fn is_liquid(&self) -> bool {
        self.pressure >= self.vapour_pressure
    }

    /// Kinematic viscosity, m²/s.
    #[must_use]
    pub fn kinematic_viscosity(&self) -> f64 {
        self.viscosity / self.density
    }
}

/// Mass fractions from volume fractions and the densities they refer to: w_i = φ_i ρ_i / Σ φ ρ (additive volumes).
///
/// # Errors
/// Lists of different length.
pub fn mass_fractions(by_volume: &[f64], densities: &[Density]) -> Result<SmallVec<[f64; 2]>, FuelError> {
    if by_volume.len() != densities.len() {
        return Err(FuelError::Lengths { fractions: by_volume.len(), densities: densities.len() });
    }
    // A blend of two takes no heap: studies make one a draw.
    let masses: SmallVec<[f64; 2]> = by_volume.iter().zip(densities).map(|(v, d)| v * d.value).collect();
    let sum: f64 = masses.iter().sum();
    Ok(masses.into_iter().map(|m| m / sum).collect())
}

/// How far volume fractions may be from adding up to one: a rounding slip of a written blend, not a missing component.
const SUM_SLACK: f64 = 1e-6;

impl Blend {
    /// Petrol of this density at 15 °C and this dry vapour pressure equivalent at 37.8 °C.
    ///
    /// Values that no petrol has are refused by the first question about a state ([`Blend::at`]); use
    /// [`Component::petrol`] to ask at once.
    #[must_use]
    pub fn petrol(density15: Density, dvpe: AbsolutePressure) -> Self {
        Self::pure(Component::Petrol { density15, dvpe })
    }

    /// One component alone.
    #[must_use]
    pub fn pure(component: Component) -> Self {
        Self { parts: smallvec![Part { component, by_volume: 1.0, by_mass: 1.0, by_mole: 1.0 }] }
    }

    /// A blend from shares of the volume at 15 °C, which add up to one.
    ///
    /// # Errors
    /// Shares outside 0 to 1 or that do not add up to one; petrol outside the range of its laws.
    pub fn from_volume(shares: &[(Component, f64)]) -> Result<Self, FuelError> {
        for (component, value) in shares {
            component.check()?;
            if !(0.0..=1.0).contains(value) {
                return Err(FuelError::Fraction { component: component.to_string(), value: *value });
            }
        }
        let sum: f64 = shares.iter().map(|(_, v)| v).sum();
        if (sum - 1.0).abs() > SUM_SLACK {
            return Err(FuelError::FractionSum { sum });
        }
        let present: SmallVec<[(Component, f64); 2]> =
            shares.iter().filter(|(_, v)| *v > 0.0).map(|(c, v)| (*c, v / sum)).collect();
        let by_volume: SmallVec<[f64; 2]> = present.iter().map(|(_, v)| *v).collect();
        let densities: SmallVec<[Density; 2]> = present.iter().map(|(c, _)| c.density_at_15()).collect();
        let by_mass = mass_fractions(&by_volume, &densities)?;
        let amount = |(component, w): (&(Component, f64), &f64)| w / component.0.molar_mass();
        let amounts: f64 = present.iter().zip(&by_mass).map(amount).sum();
        let parts = present.iter().zip(&by_mass).map(|(share, w)| Part {
            component: share.0,
            by_volume: share.1,
            by_mass: *w,
            by_mole: amount((share, w)) / amounts,
        });
        Ok(Self { parts: parts.collect() })
    }

    /// The components with their shares.
    #[must_use]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Stoichiometric air-fuel ratio by mass: Σ w AFR_i, since air demands add.
    #[must_use]
    pub fn stoichiometric_afr(&self) -> f64 {
        self.by_mass(|c| c.stoichiometric_afr())
    }

    /// Lower heating value: Σ w LHV_i; the heat of mixing is left out.
    #[must_use]
    pub fn lower_heating_value(&self) -> SpecificEnergy {
        j_per_kg(self.by_mass(|c| c.lower_heating_value().value))
    }

    /// Heat of evaporation: Σ w h_i; the heat of mixing is left out.
    #[must_use]
    pub fn latent_heat(&self) -> SpecificEnergy {
        j_per_kg(self.by_mass(|c| c.latent_heat().value))
    }

    /// Density at 15 °C and one atmosphere.
    #[must_use]
    pub fn density_at_15(&self) -> Density {
        kg_per_m3(self.parts.iter().map(|q| q.by_volume * q.component.density_at_15().value).sum())
    }

    /// Atoms of the mean molecule: Σ x over the components.
    #[must_use]
    pub fn composition(&self) -> Composition {
        let mut mean = Composition { carbon: 0.0, hydrogen: 0.0, oxygen: 0.0 };
        for q in &self.parts {
            let c = q.component.composition();
            mean.carbon += q.by_mole * c.carbon;
            mean.hydrogen += q.by_mole * c.hydrogen;
            mean.oxygen += q.by_mole * c.oxygen;
        }
        mean
    }

    /// Mean molar mass, kg/mol.
    #[must_use]
    pub fn molar_mass(&self) -> f64 {
        self.composition().molar_mass()
    }

    fn by_mass(&self, value: impl Fn(&Component) -> f64) -> f64 {
        self.parts.iter().map(|q| q.by_mass * value(&q.component)).sum()
    }

    fn check(&self) -> Result<(), FuelError> {
        self.parts.iter().try_for_each(|q| q.component.check())
    }

    /// Every property at a temperature and an absolute pressure.
    ///
    /// # Errors
    /// Outside −30 to 90 °C or 1 kPa to 25 MPa; petrol outside the range of its laws.
    pub fn at(&self, t: Temperature, p: AbsolutePressure) -> Result<State, FuelError> {
        self.check()?;
        Ok(self.state(check_temperature(t)?, check_pressure(p)?))
    }

    /// The same from kelvins and pascals absolute.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn at_si(&self, kelvin: f64, pascals: f64) -> Result<State, FuelError> {
        self.at(crate::quantity::kelvin(kelvin), AbsolutePressure::from_pascals(pascals))
    }

    fn state(&self, t: f64, p: f64) -> State {
        let l = self.liquid(t, p);
        let bulk_isentropic = l.bulk_isentropic(t);
        State {
            temperature: t,
            pressure: p,
            density: l.density,
            viscosity: self
                .parts
                .iter()
                .map(|q| q.by_mole * q.component.ln_viscosity(t, p))
                .sum::<f64>()
                .exp(),
            bulk_isentropic,
            bulk_isothermal: l.bulk_isothermal,
            vapour_pressure: self.vapour_pressure_si(t),
            sound_speed: (bulk_isentropic / l.density).sqrt(),
            expansivity: l.expansivity,
            heat_capacity: l.heat_capacity,
        }
    }

    fn liquid(&self, t: f64, p: f64) -> Liquid {
        if let [one] = self.parts.as_slice() {
            return one.component.liquid(t, p);
        }
        // Per kilogram of blend: volume, its slope over temperature and over pressure, heat capacity.
        let (mut volume, mut over_t, mut over_p, mut heat) = (0.0, 0.0, 0.0, 0.0);
        for q in &self.parts {
            let l = q.component.liquid(t, p);
            let v = q.by_mass / l.density;
            volume += v;
            over_t += v * l.expansivity;
            over_p += v / l.bulk_isothermal;
            heat += q.by_mass * l.heat_capacity;
        }
        Liquid {
            density: 1.0 / volume,
            expansivity: over_t / volume,
            bulk_isothermal: volume / over_p,
            heat_capacity: heat,
        }
    }

    fn vapour_pressure_si(&self, t: f64) -> f64 {
        if let [one] = self.parts.as_slice() {
            return one.component.vapour_pressure_si(t);
        }
        let (mut ethanol, mut others) = (0.0, 0.0);
        for q in &self.parts {
            match q.component {
                Component::Ethanol => ethanol += q.by_mole,
                other => others += q.by_mole * other.vapour_pressure_si(t),
            }
        }
        vapour::blend_pressure((ethanol, Component::Ethanol.vapour_pressure_si(t)), others, t)
    }

    /// Density.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn density(&self, t: Temperature, p: AbsolutePressure) -> Result<Density, FuelError> {
        Ok(kg_per_m3(self.at(t, p)?.density))
    }

    /// Dynamic viscosity.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn viscosity(&self, t: Temperature, p: AbsolutePressure) -> Result<DynamicViscosity, FuelError> {
        Ok(pa_s(self.at(t, p)?.viscosity))
    }

    /// Isentropic bulk modulus: what a fast pressure wave meets.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn bulk_isentropic(&self, t: Temperature, p: AbsolutePressure) -> Result<Pressure, FuelError> {
        Ok(pa(self.at(t, p)?.bulk_isentropic))
    }

    /// Isothermal bulk modulus: what a slow change of pressure meets.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn bulk_isothermal(&self, t: Temperature, p: AbsolutePressure) -> Result<Pressure, FuelError> {
        Ok(pa(self.at(t, p)?.bulk_isothermal))
    }

    /// Speed of sound in unconfined fuel; a hose slows it further.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn sound_speed(&self, t: Temperature, p: AbsolutePressure) -> Result<Velocity, FuelError> {
        Ok(m_per_s(self.at(t, p)?.sound_speed))
    }

    /// Vapour pressure.
    ///
    /// # Errors
    /// A temperature outside the range; petrol outside the range of its laws.
    pub fn vapour_pressure(&self, t: Temperature) -> Result<AbsolutePressure, FuelError> {
        self.check()?;
        Ok(AbsolutePressure::from_pascals(self.vapour_pressure_si(check_temperature(t)?)))
    }

    /// Dry vapour pressure equivalent of the blend: its vapour pressure at 37.8 °C.
    ///
    /// # Errors
    /// Petrol outside the range of its laws.
    pub fn dvpe(&self) -> Result<AbsolutePressure, FuelError> {
        self.vapour_pressure(crate::quantity::kelvin(super::petrol::T_DVPE))
    }

    /// The factor by which a volume at 15 °C has grown at a temperature, at one atmosphere.
    ///
    /// # Errors
    /// As [`Blend::at`].
    pub fn volume_growth(&self, t: Temperature) -> Result<f64, FuelError> {
        let at15 = self.at_si(T15, super::P0)?.density;
        Ok(at15 / self.at(t, crate::quantity::atm())?.density)
    }
}

impl fmt::Display for Blend {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let [one] = self.parts.as_slice() {
            return one.component.fmt(f);
        }
        for (i, q) in self.parts.iter().enumerate() {
            let comma = if i == 0 { "" } else { ", " };
            write!(f, "{comma}{:.1} % {}", 100.0 * q.by_volume, q.component)?;
        }
        Ok(())
    }
}
