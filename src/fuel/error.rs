//! What can be wrong with a fuel or a question about it.

use std::fmt;

/// A fuel that cannot be described, or a state outside the range of its laws.
#[derive(Clone, Debug, PartialEq)]
pub enum FuelError {
    /// A temperature outside the range of the laws.
    Temperature {
        /// What was asked for.
        kelvin: f64,
        /// Lowest, K.
        low: f64,
        /// Highest, K.
        high: f64,
    },
    /// An absolute pressure outside the range of the laws.
    Pressure {
        /// What was asked for.
        pascals: f64,
        /// Lowest, Pa.
        low: f64,
        /// Highest, Pa.
        high: f64,
    },
    /// A petrol density at 15 °C outside the range of the volume correction.
    PetrolDensity {
        /// What was given, kg/m³.
        density15: f64,
        /// Lowest, kg/m³.
        low: f64,
        /// Highest, kg/m³.
        high: f64,
    },
    /// A dry vapour pressure equivalent that no petrol has.
    PetrolVapourPressure {
        /// What was given, Pa absolute.
        dvpe: f64,
        /// Lowest, Pa.
        low: f64,
        /// Highest, Pa.
        high: f64,
    },
    /// Volume fractions that do not make up one litre.
    FractionSum {
        /// Their sum.
        sum: f64,
    },
    /// A volume fraction below zero, above one, or not a number.
    Fraction {
        /// The component.
        component: String,
        /// The fraction.
        value: f64,
    },
    /// Different numbers of fractions and densities.
    Lengths {
        /// How many fractions.
        fractions: usize,
        /// How many densities.
        densities: usize,
    },
}

impl fmt::Display for FuelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temperature { kelvin, low, high } => write!(
                f,
                "fuel temperature {:.1} °C is outside {:.0} to {:.0} °C where its properties are known: \
                 check the unit (°C or K), or hold the fuel inside this range",
                kelvin - 273.15,
                low - 273.15,
                high - 273.15
            ),
            Self::Pressure { pascals, low, high } => write!(
                f,
                "fuel pressure {:.3} bar absolute is outside {:.2} to {:.0} bar absolute: check whether a \
                 gauge pressure was taken for an absolute one",
                pascals / 1e5,
                low / 1e5,
                high / 1e5
            ),
            Self::PetrolDensity { density15, low, high } => write!(
                f,
                "petrol of {density15:.1} kg/m³ at 15 °C is outside {low:.1} to {high:.1} kg/m³: give the \
                 density at 15 °C (EN 228: 720 to 775), or describe the fuel as a blend"
            ),
            Self::PetrolVapourPressure { dvpe, low, high } => write!(
                f,
                "a dry vapour pressure equivalent of {:.1} kPa is outside {:.0} to {:.0} kPa: give the \
                 DVPE at 37.8 °C (EN 228: 45 to 100 by season)",
                dvpe / 1e3,
                low / 1e3,
                high / 1e3
            ),
            Self::FractionSum { sum } => {
                write!(f, "volume fractions add up to {sum:.6}, not 1: name every component of the litre")
            }
            Self::Fraction { component, value } => {
                write!(f, "the volume fraction of {component} is {value}: give a number from 0 to 1")
            }
            Self::Lengths { fractions, densities } => {
                write!(
                    f,
                    "{fractions} volume fractions and {densities} densities: give one of each a component"
                )
            }
        }
    }
}

impl std::error::Error for FuelError {}
