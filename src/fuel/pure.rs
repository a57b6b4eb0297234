//! Pure liquids: n-heptane, iso-octane, ethanol, and the toluene of the petrol surrogate.
//!
//! # Formula
//! With θ = T − 288.15 K and p₀ = 101 325 Pa:
//! * density at p₀: ρ₀ = ρ₁₅ exp(−(a₁θ + a₂θ² + a₃θ³)), the volume correction in the form of API MPMS 11.1
//!   with three free terms;
//! * isothermal bulk modulus: K = K₀ + K′(p − p₀), K₀ = k₀ exp(k₁θ + k₂θ²), and so by Murnaghan
//!   ρ = ρ₀ (1 + K′(p − p₀)/K₀)^(1/K′);
//! * heat capacity c_p = c₀ + c₁θ + c₂θ² (no pressure term: below 0.1 % over 8 bar);
//! * isentropic bulk modulus from the exact relation 1/K_s = 1/K − T α²/(ρ c_p), with the expansivity
//!   α = −(∂ ln ρ/∂T)_p from the density above; speed of sound √(K_s/ρ);
//! * viscosity: Vogel ln μ = A + B/(T − C), with Barus' pressure term (b₀ + b₁θ)(p − p₀);
//! * vapour pressure: Antoine ln p_v = A − B/(T + C).
//!
//! # Symbols
//! T K, p Pa absolute, ρ kg/m³, K Pa, c_p J/(kg·K), α 1/K, μ Pa·s, p_v Pa absolute.
//!
//! # Range
//! −30 to 90 °C, 1 kPa to 25 MPa absolute; outside: an error of the callers ([`super::Component`]).
//! Worst relative residuals against the sources, first over 0–60 °C and 1–8 bar, then over the whole range:
//!
//! | | density | K | K_s | speed of sound | viscosity | vapour pressure |
//! |---|---|---|---|---|---|---|
//! | n-heptane | 2e-5, 1e-4 | 0.2 %, 1.0 % | 0.2 %, 1.2 % | 0.1 %, 0.6 % | 0.3 %, 1.4 % | 0.15 %, 0.7 % |
//! | ethanol | 5e-5, 3e-4 | 0.3 %, 1.9 % | 0.3 %, 2.1 % | 0.1 %, 1.0 % | 0.1 %, 0.7 % | 0.2 %, 0.9 % |
//! | toluene | 1e-5, 5e-5 | 0.1 %, 0.5 % | 0.1 %, 0.5 % | 0.05 %, 0.3 % | 0.2 %, 1.2 % | 0.15 %, 0.7 % |
//! | iso-octane | 2e-5, 7e-5 | see below | see below | see below | 0.2 %, 1.1 % | 0.13 %, 0.6 % |
//!
//! # Source
//! Fitted by `tests/outside/fit_fuel.py` to CoolProp 8.0.0 (n-heptane: Span & Wagner 2003; ethanol: Schroeder,
//! Penoncello & Schroeder 2014; toluene: Lemmon & Span 2006) and, for iso-octane, to the package `thermo`
//! 0.6.1. Iso-octane's compressibility is n-heptane's scaled to 1.55 /GPa at 25 °C (from memory of
//! published measurements, ±5 %), because the package's generic correlation is 25 % too soft; its viscosity
//! takes n-heptane's pressure term. Forms: Murnaghan 1944, Vogel 1921, Barus 1893, Antoine 1888.

use super::combustion::Composition;
use super::{P0, T15};

/// The fitted coefficients of one pure liquid, in the order of the formulas.
#[derive(Debug)]
pub struct Pure {
    /// Name.
    pub name: &'static str,
    /// Atoms of one molecule.
    pub composition: Composition,
    /// Density at 15 °C and one atmosphere, kg/m³.
    pub density15: f64,
    expansion: [f64; 3],
    bulk: [f64; 4],
    heat: [f64; 3],
    vogel: [f64; 3],
    barus: [f64; 2],
    antoine: [f64; 3],
    /// Enthalpy of formation of the liquid and of the gas at 298.15 K, J/mol (`chemicals` 1.5.2).
    pub formation: [f64; 2],
}

/// The thermodynamic state of a liquid before it is blended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Liquid {
    /// Density, kg/m³.
    pub density: f64,
    /// Expansivity −(∂ ln ρ/∂T)_p, 1/K.
    pub expansivity: f64,
    /// Isothermal bulk modulus, Pa.
    pub bulk_isothermal: f64,
    /// Heat capacity at constant pressure, J/(kg·K).
    pub heat_capacity: f64,
}

impl Liquid {
    /// Isentropic bulk modulus, Pa: 1/K_s = 1/K − T α²/(ρ c_p), exact for any fluid.
    #[must_use]
    pub fn bulk_isentropic(&self, t: f64) -> f64 {
        let heating = t * self.expansivity * self.expansivity / (self.density * self.heat_capacity);
        1.0 / (1.0 / self.bulk_isothermal - heating)
    }

    /// Murnaghan's pressure term, from the density and expansivity at p₀, K₀ with its slope over
    /// temperature, and K′.
    pub(super) fn under_pressure(
        (density0, expansivity0): (f64, f64),
        (k0, dk0): (f64, f64),
        slope: f64,
        heat_capacity: f64,
        p: f64,
    ) -> Self {
        let dp = p - P0;
        let k = slope.mul_add(dp, k0);
        Self {
            density: density0 * (k / k0).powf(1.0 / slope),
            expansivity: expansivity0 + dp * dk0 / (k0 * k),
            bulk_isothermal: k,
            heat_capacity,
        }
    }
}

impl Pure {
    /// The liquid at a temperature (K) and an absolute pressure (Pa).
    #[must_use]
    pub fn liquid(&self, t: f64, p: f64) -> Liquid {
        let th = t - T15;
        let [a1, a2, a3] = self.expansion;
        let [k0, k1, k2, slope] = self.bulk;
        let [c0, c1, c2] = self.heat;
        let density0 = self.density15 * (-th * (a1 + th * (a2 + th * a3))).exp();
        let expansivity0 = a1 + th * (2.0 * a2 + th * 3.0 * a3);
        let k = k0 * (th * (k1 + th * k2)).exp();
        let dk = k * (k1 + 2.0 * k2 * th);
        Liquid::under_pressure((density0, expansivity0), (k, dk), slope, c0 + th * (c1 + th * c2), p)
    }

    /// Natural logarithm of the viscosity in Pa·s.
    #[must_use]
    pub fn ln_viscosity(&self, t: f64, p: f64) -> f64 {
        let [a, b, c] = self.vogel;
        let [b0, b1] = self.barus;
        a + b / (t - c) + (b0 + b1 * (t - T15)) * (p - P0)
    }

    /// Vapour pressure, Pa absolute.
    #[must_use]
    pub fn vapour_pressure(&self, t: f64) -> f64 {
        let [a, b, c] = self.antoine;
        (a - b / (t + c)).exp()
    }

    /// Murnaghan's slope K′.
    pub(super) fn bulk_slope(&self) -> f64 {
        self.bulk[3]
    }
}

const fn molecule(carbon: f64, hydrogen: f64, oxygen: f64) -> Composition {
    Composition { carbon, hydrogen, oxygen }
}

/// n-heptane: the calibration fluid of injector benches.
pub static N_HEPTANE: Pure = Pure {
    name: "n-heptane",
    composition: molecule(7.0, 16.0, 0.0),
    density15: 6.880_170_85e2,
    expansion: [1.217_603_76e-3, 1.212_798_71e-6, 5.691_801_69e-9],
    bulk: [7.454_570_33e8, -8.166_371_56e-3, -1.172_833_63e-5, 1.035_513_57e1],
    heat: [2.203_420_88e3, 3.551_524_84, 6.080_201_69e-3],
    vogel: [-1.150_682_98e1, 1.221_765_07e3, -3.590_454_96e1],
    barus: [1.006_120_28e-8, 1.469_217_34e-11],
    antoine: [2.105_391_74e1, 3.057_639_42e3, -5.036_270_31e1],
    formation: [-223_910.0, -187_340.0],
};

/// Iso-octane (2,2,4-trimethylpentane).
pub static ISO_OCTANE: Pure = Pure {
    name: "iso-octane",
    composition: molecule(8.0, 18.0, 0.0),
    density15: 6.963_588_51e2,
    expansion: [1.173_571_78e-3, 1.201_497_53e-6, 5.719_512_28e-9],
    bulk: [7.007_049_26e8, -8.166_371_56e-3, -1.172_833_63e-5, 1.035_513_57e1],
    heat: [2.047_332_16e3, 4.356_761_36, 5.537_684_87e-3],
    vogel: [-1.122_027_03e1, 1.085_326_67e3, -5.226_557_77],
    barus: [1.006_120_28e-8, 1.469_217_34e-11],
    antoine: [2.078_567_90e1, 3.005_525_87e3, -4.755_533_43e1],
    formation: [-258_800.0, -223_700.0],
};

/// Ethanol.
pub static ETHANOL: Pure = Pure {
    name: "ethanol",
    composition: molecule(2.0, 6.0, 1.0),
    density15: 7.936_975_48e2,
    expansion: [1.070_242_62e-3, 1.051_985_03e-6, 1.098_833_53e-8],
    bulk: [9.211_190_06e8, -6.747_684_30e-3, -1.084_759_59e-5, 1.073_152_78e1],
    heat: [2.359_967_73e3, 7.237_415_97, 2.400_185_72e-2],
    vogel: [-1.378_978_18e1, 2.510_189_46e3, -6.243_407_88e1],
    barus: [5.443_862_33e-9, 2.929_736_93e-11],
    antoine: [2.411_516_70e1, 3.979_917_95e3, -3.532_205_19e1],
    formation: [-277_030.0, -234_570.0],
};

/// Toluene: the heavy end of the viscosity surrogate of petrol.
pub static TOLUENE: Pure = Pure {
    name: "toluene",
    composition: molecule(7.0, 8.0, 0.0),
    density15: 8.715_360_03e2,
    expansion: [1.064_136_35e-3, 7.723_509_78e-7, 3.491_149_03e-9],
    bulk: [1.166_704_08e9, -7.042_326_42e-3, -7.321_565_92e-6, 1.039_793_86e1],
    heat: [1.669_904_55e3, 3.028_732_18, 3.946_219_04e-3],
    vogel: [-1.063_945_78e1, 8.127_819_69e2, 3.908_527_16e1],
    barus: [8.210_258_73e-9, -4.877_035_60e-12],
    antoine: [2.123_734_99e1, 3.273_126_07e3, -4.627_676_69e1],
    formation: [12_180.0, 50_410.0],
};
