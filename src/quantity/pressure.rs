//! Absolute, gauge and difference are three things; half of the trade's mistakes mix them up.

use super::system::f64::Pressure;
use serde::{Deserialize, Serialize};
use std::ops::{Add, Sub};

/// The standard atmosphere, 101 325 Pa. Source: ISO 2533:1975, 10th CGPM resolution 4.
pub const STANDARD_ATMOSPHERE: f64 = 101_325.0;

/// A pressure above vacuum. Two of them differ by a [`Pressure`].
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AbsolutePressure(f64);

/// A pressure above the ambient, as a gauge shows it. It becomes absolute only by naming the ambient.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(transparent)]
pub struct GaugePressure(f64);

/// An absolute pressure: `abs(kpa(101.3))`.
#[must_use]
pub fn abs(p: Pressure) -> AbsolutePressure {
    AbsolutePressure(p.value)
}

/// A gauge pressure: `gauge(bar(1.4))`.
#[must_use]
pub fn gauge(p: Pressure) -> GaugePressure {
    GaugePressure(p.value)
}

/// The standard atmosphere as an absolute pressure.
#[must_use]
pub fn atm() -> AbsolutePressure {
    AbsolutePressure(STANDARD_ATMOSPHERE)
}

impl AbsolutePressure {
    /// From pascals above vacuum.
    #[must_use]
    pub const fn from_pascals(p: f64) -> Self {
        Self(p)
    }

    /// Pascals above vacuum.
    #[must_use]
    pub const fn pascals(self) -> f64 {
        self.0
    }

    /// What a gauge in this ambient shows.
    #[must_use]
    pub fn gauge(self, ambient: AbsolutePressure) -> GaugePressure {
        GaugePressure(self.0 - ambient.0)
    }
}

impl GaugePressure {
    /// From pascals above the ambient.
    #[must_use]
    pub const fn from_pascals(p: f64) -> Self {
        Self(p)
    }

    /// Pascals above the ambient.
    #[must_use]
    pub const fn pascals(self) -> f64 {
        self.0
    }

    /// The pressure above vacuum in this ambient.
    #[must_use]
    pub fn absolute(self, ambient: AbsolutePressure) -> AbsolutePressure {
        AbsolutePressure(self.0 + ambient.0)
    }
}

/// In a car's words a boost or rail figure is a gauge pressure.
impl From<Pressure> for GaugePressure {
    fn from(p: Pressure) -> Self {
        Self(p.value)
    }
}

macro_rules! point_like {
    ($t:ident) => {
        impl Sub for $t {
            type Output = Pressure;
            fn sub(self, other: Self) -> Pressure {
                super::pa(self.0 - other.0)
            }
        }
        impl Add<Pressure> for $t {
            type Output = Self;
            fn add(self, dp: Pressure) -> Self {
                Self(self.0 + dp.value)
            }
        }
        impl Sub<Pressure> for $t {
            type Output = Self;
            fn sub(self, dp: Pressure) -> Self {
                Self(self.0 - dp.value)
            }
        }
    };
}
point_like!(AbsolutePressure);
point_like!(GaugePressure);
