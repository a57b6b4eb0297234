//! Petrol as a surrogate: everything from its density at 15 °C and its dry vapour pressure equivalent.

use super::pure::{Liquid, N_HEPTANE, TOLUENE};
use super::{FuelError, T15};
use crate::quantity::{
    AbsolutePressure, Density, DynamicViscosity, Pressure, SpecificEnergy, SpecificHeat, Temperature,
    j_per_kg, j_per_kg_k, kg_per_m3, pa, pa_s,
};

/// Densities at 15 °C that are taken, kg/m³. EN 228 petrol is 720 to 775; the volume correction's gasoline
/// and transition groups end at 787.5.
pub const DENSITY15: (f64, f64) = (680.0, 787.5);

/// Dry vapour pressure equivalents that are taken, Pa. EN 228 classes span 45 to 100 kPa.
pub const DVPE: (f64, f64) = (30.0e3, 110.0e3);

/// The temperature of the dry vapour pressure equivalent: 37.8 °C (EN 13016-1), 100 °F.
pub const T_DVPE: f64 = 310.95;

/// Carbon and hydrogen: CH₁.₈₇ (Heywood 1988, table D.4, from memory).
pub const HYDROGEN_PER_CARBON: f64 = 1.87;

/// Mean molar mass, kg/mol: about 110 g/mol (Heywood 1988, table D.4, from memory). It weighs in only where
/// a blend needs mole fractions.
pub const MOLAR_MASS: f64 = 0.110;

/// Lower heating value of petrol.
///
/// 44.0 MJ/kg: Heywood 1988, table D.4, from memory. Pump petrol with some oxygenate is lower, 42 to 43.5 MJ/kg
/// (common practice, no source).
#[must_use]
pub fn lower_heating_value() -> SpecificEnergy {
    j_per_kg(44.0e6)
}

/// Heat of evaporation: 305 kJ/kg (Heywood 1988, table D.4, from memory).
#[must_use]
pub fn latent_heat() -> SpecificEnergy {
    j_per_kg(305.0e3)
}

/// Density of petrol from that at 15 °C, at one atmosphere.
///
/// # Formula
/// ρ = ρ₁₅ exp(−α₁₅Δ(1 + 0.8 α₁₅Δ)); α₁₅ = 346.42278/ρ₁₅² + 0.43884/ρ₁₅ below 770.5 kg/m³ (gasoline),
/// 2680.3206/ρ₁₅² − 0.00336312 from there on (transition zone).
///
/// # Symbols
/// ρ, ρ₁₅ kg/m³; Δ = T − 15 °C, K; α₁₅ expansivity at 15 °C, 1/K.
///
/// # Range
/// ρ₁₅ 680 to 787.5 kg/m³, −30 to 90 °C; outside: [`FuelError`].
///
/// # Source
/// ASTM D1250-80 / API MPMS chapter 11.1, table 54B (transition constants from memory; some prints round
/// the second to 0.0033612, which moves a density by 1e-4 at 60 °C).
///
/// # Errors
/// Density or temperature outside the range.
pub fn volume_correction(density15: Density, t: Temperature) -> Result<Density, FuelError> {
    check_density(density15.value)?;
    let t = super::check_temperature(t)?;
    Ok(kg_per_m3(density_and_expansivity(density15.value, t).0))
}

fn density_and_expansivity(density15: f64, t: f64) -> (f64, f64) {
    let r2 = density15 * density15;
    let alpha15 = if density15 < 770.5 {
        346.422_78 / r2 + 0.438_84 / density15
    } else {
        2_680.320_6 / r2 - 0.003_363_12
    };
    let x = alpha15 * (t - T15);
    (density15 * (-x * (1.0 + 0.8 * x)).exp(), alpha15 * (1.0 + 1.6 * x))
}

/// Isothermal bulk modulus of petrol at one atmosphere.
///
/// # Formula
/// K = 1/F, F = 10⁻⁶ exp(−1.62080 + 0.00021592 t + 0.87096/ρ² + 0.0042092 t/ρ²) in 1/kPa.
///
/// # Symbols
/// t °C; ρ density at 15 °C in kg/L; F compressibility factor.
///
/// # Range
/// As [`volume_correction`]; stated to hold within about 6.5 % for hydrocarbons. Mixing n-heptane and toluene to 745 kg/m³
/// gives 0.84 GPa where this gives 0.94: take ±10 %, and ±6 % for the speed of sound that follows from it (1290 m/s at
/// 20 °C; general tables have 1250, from memory). A hose slows the wave far more than that.
///
/// # Source
/// API MPMS chapter 11.2.1M (1984), from memory.
///
/// # Errors
/// Density or temperature outside the range.
pub fn bulk_isothermal_api(density15: Density, t: Temperature) -> Result<Pressure, FuelError> {
    check_density(density15.value)?;
    let t = super::check_temperature(t)?;
    Ok(pa(bulk_and_slope(density15.value, t).0))
}

fn bulk_and_slope(density15: f64, t: f64) -> (f64, f64) {
    let c = t - 273.15;
    let r2 = (density15 / 1000.0).powi(2);
    let per_kelvin = 0.000_215_92 + 0.004_209_2 / r2;
    let per_kpa = 1e-6 * (-1.620_80 + 0.870_96 / r2 + per_kelvin * c).exp();
    let k = 1e3 / per_kpa;
    (k, -k * per_kelvin)
}

/// Heat capacity of petrol.
///
/// # Formula
/// c_p = (1.685 + 0.0034 t)/√s kJ/(kg·K)
///
/// # Symbols
/// t °C; s density at 15 °C over that of water (999 kg/m³).
///
/// # Range
/// As [`volume_correction`]; stated within 2 to 4 %.
///
/// # Source
/// NBS Miscellaneous Publication 97 (Cragoe 1929), from memory.
///
/// # Errors
/// Density or temperature outside the range.
pub fn heat_capacity(density15: Density, t: Temperature) -> Result<SpecificHeat, FuelError> {
    check_density(density15.value)?;
    let t = super::check_temperature(t)?;
    Ok(j_per_kg_k(heat_capacity_si(density15.value, t)))
}

fn heat_capacity_si(density15: f64, t: f64) -> f64 {
    1e3 * (1.685 + 0.003_4 * (t - 273.15)) / (density15 / 999.0).sqrt()
}

/// The liquid at a temperature (K) and an absolute pressure (Pa); Murnaghan's slope is n-heptane's.
pub(super) fn liquid(density15: f64, t: f64, p: f64) -> Liquid {
    Liquid::under_pressure(
        density_and_expansivity(density15, t),
        bulk_and_slope(density15, t),
        N_HEPTANE.bulk_slope(),
        heat_capacity_si(density15, t),
        p,
    )
}

/// Viscosity of petrol: that of the mixture of n-heptane and toluene which has its density at 15 °C.
///
/// # Formula
/// φ = (ρ₁₅ − ρ_h)/(ρ_t − ρ_h) by volume; ln μ = (1 − x) ln μ_h + x ln μ_t with x the mole fraction of φ
/// (Grunberg and Nissan without interaction).
///
/// # Symbols
/// Subscripts h n-heptane, t toluene; μ Pa·s.
///
/// # Range
/// As the pure liquids. Gives 0.62 to 0.64 mm²/s at 20 °C for EN 228 petrol, inside the 0.4 to 0.8 mm²/s that pump
/// petrol spans (common practice, no source): ±20 %.
///
/// # Source
/// Mixing rule: Grunberg & Nissan, Nature 164 (1949) 799. The surrogate is this project's choice.
///
/// # Errors
/// Density, temperature or pressure outside the range.
pub fn viscosity(
    density15: Density,
    t: Temperature,
    p: AbsolutePressure,
) -> Result<DynamicViscosity, FuelError> {
    check_density(density15.value)?;
    let (t, p) = (super::check_temperature(t)?, super::check_pressure(p)?);
    Ok(pa_s(ln_viscosity(density15.value, t, p).exp()))
}

pub(super) fn ln_viscosity(density15: f64, t: f64, p: f64) -> f64 {
    let (h, b) = (&N_HEPTANE, &TOLUENE);
    let by_volume = (density15 - h.density15) / (b.density15 - h.density15);
    let moles = |pure: &super::pure::Pure, share: f64| share * pure.density15 / pure.composition.molar_mass();
    let (nh, nb) = (moles(h, 1.0 - by_volume), moles(b, by_volume));
    let x = nb / (nh + nb);
    (1.0 - x) * h.ln_viscosity(t, p) + x * b.ln_viscosity(t, p)
}

/// Vapour pressure of petrol through its dry vapour pressure equivalent.
///
/// # Formula
/// p_v = DVPE exp(−B (1/T − 1/T_d)), 1.8 B = 8742 − 1042 √S − (2416 − 413 √S) log₁₀(DVPE in psi), S = 3.
///
/// # Symbols
/// p_v, DVPE Pa absolute; T K, T_d = 310.95 K; B K, the heat of evaporation over the gas constant; S slope of the
/// distillation curve at 10 % evaporated.
///
/// # Range
/// DVPE 30 to 110 kPa; −30 to 90 °C; outside: an error. The dry vapour pressure equivalent is measured over four
/// volumes of vapour; the true vapour pressure of the liquid before any of it evaporates is some 5 %
/// higher: part of the margin that a pump inlet needs.
///
/// # Source
/// Clausius-Clapeyron; B from the true vapour pressure of gasolines of US EPA AP-42 section 7.1, from memory.
///
/// # Errors
/// Vapour pressure equivalent or temperature outside the range.
pub fn vapour_pressure(dvpe: AbsolutePressure, t: Temperature) -> Result<AbsolutePressure, FuelError> {
    check_dvpe(dvpe.pascals())?;
    let t = super::check_temperature(t)?;
    Ok(AbsolutePressure::from_pascals(vapour_pressure_si(dvpe.pascals(), t)))
}

pub(super) fn vapour_pressure_si(dvpe: f64, t: f64) -> f64 {
    let sqrt_slope = 3f64.sqrt();
    let log_psi = (dvpe / 6894.757).log10();
    let b = (8742.0 - 1042.0 * sqrt_slope - (2416.0 - 413.0 * sqrt_slope) * log_psi) / 1.8;
    dvpe * (-b * (1.0 / t - 1.0 / T_DVPE)).exp()
}

pub(super) fn check_density(density15: f64) -> Result<(), FuelError> {
    let (low, high) = DENSITY15;
    if (low..=high).contains(&density15) {
        Ok(())
    } else {
        Err(FuelError::PetrolDensity { density15, low, high })
    }
}

fn check_dvpe(dvpe: f64) -> Result<(), FuelError> {
    let (low, high) = DVPE;
    if (low..=high).contains(&dvpe) {
        Ok(())
    } else {
        Err(FuelError::PetrolVapourPressure { dvpe, low, high })
    }
}

pub(super) fn check(density15: Density, dvpe: AbsolutePressure) -> Result<(), FuelError> {
    check_density(density15.value)?;
    check_dvpe(dvpe.pascals())
}
