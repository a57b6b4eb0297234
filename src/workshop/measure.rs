//! The quantities of a lesson's cells.
//!
//! Each wraps the library's `uom` quantity of the same name and keeps its meaning: a pressure is still no
//! flow. They exist so that the notebook's evaluator sees a plain named type: the spelled-out type of a
//! `uom` quantity is one that it cannot write down for a variable, and slow to resolve.

use crate::quantity::{self as q, Amount, Shown};
use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};

macro_rules! measures {
    ($($(#[$doc:meta])* $name:ident: $($make:ident $words:literal),+;)+) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(q::$name);

        impl $name {
            /// The library's quantity.
            #[must_use]
            pub fn quantity(self) -> q::$name {
                self.0
            }
        }

        impl From<q::$name> for $name {
            fn from(x: q::$name) -> Self {
                Self(x)
            }
        }

        impl From<$name> for q::$name {
            fn from(x: $name) -> Self {
                x.0
            }
        }

        impl Shown for $name {
            fn amount(self) -> Amount {
                self.0.amount()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.amount().fmt(f)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.amount().fmt(f)
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f64> for $name {
            type Output = Self;
            fn mul(self, times: f64) -> Self {
                Self(self.0 * times)
            }
        }

        impl Mul<$name> for f64 {
            type Output = $name;
            fn mul(self, of: $name) -> $name {
                $name(of.0 * self)
            }
        }

        impl Div<f64> for $name {
            type Output = Self;
            fn div(self, by: f64) -> Self {
                Self(self.0 / by)
            }
        }

        $(
            #[doc = concat!("A value in ", $words, ".")]
            #[must_use]
            pub fn $make(value: f64) -> $name {
                $name(q::$make(value))
            }
        )+
    )+

        /// Each quantity's makers: name, unit in words, SI value of one of it.
        pub const MAKERS: &[(&str, &[Maker])] = &[
            $((stringify!($name), &[$((stringify!($make), $words, || q::$make(1.0).value)),+])),+,
            ("Temperature", &[("degc", "degrees Celsius", || q::degc(1.0).value)]),
        ];
    };
}

/// A word that makes a quantity, its unit in words, the SI value of one of it.
pub type Maker = (&'static str, &'static str, fn() -> f64);

measures! {
    /// A pressure: a difference, or a reading above ambient.
    Pressure: bar "bar", psi "pounds-force per square inch", kpa "kilopascals", in_hg "inches of mercury";
    /// A volume flow.
    VolumeRate: l_per_h "litres per hour", l_per_min "litres per minute", cc_per_min "cubic centimetres per minute";
    /// A mass flow.
    MassRate: g_per_s "grams per second", lb_per_h "pounds per hour";
    /// An engine or pump speed.
    AngularVelocity: rpm "revolutions per minute";
    /// A voltage.
    Voltage: volts "volts";
    /// An electric current.
    Current: amps "amperes";
    /// An electrical resistance.
    Resistance: ohms "ohms", milliohms "milliohms";
    /// A time.
    Time: ms "milliseconds", s "seconds", minutes "minutes";
    /// A length.
    Length: mm "millimetres", m "metres", inch "inches";
    /// A volume.
    Volume: litres "litres", cc "cubic centimetres";
    /// A density.
    Density: kg_per_m3 "kilograms per cubic metre";
    /// A power.
    Power: watts "watts", kw "kilowatts";
    /// A pure number: lambda, a duty, a ratio of two like quantities.
    Ratio: ratio "a pure number", percent "percent";
}

macro_rules! like_over_like {
    ($($name:ident),+ $(,)?) => {$(
        impl Div for $name {
            type Output = Ratio;
            fn div(self, by: Self) -> Ratio {
                ratio(self.0.value / by.0.value)
            }
        }
    )+};
}
like_over_like!(
    Pressure,
    VolumeRate,
    MassRate,
    AngularVelocity,
    Voltage,
    Current,
    Resistance,
    Time,
    Length,
    Volume,
    Density,
    Power,
    Ratio
);

impl Ratio {
    /// The number itself.
    #[must_use]
    pub fn number(self) -> f64 {
        self.0.value
    }

    /// Its square root.
    #[must_use]
    pub fn root(self) -> Self {
        ratio(self.0.value.sqrt())
    }
}

/// A temperature; it has a zero of its own, so two of them do not add.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
pub struct Temperature(q::Temperature);

/// A temperature in degrees Celsius.
#[must_use]
pub fn degc(value: f64) -> Temperature {
    Temperature(q::degc(value))
}

impl Temperature {
    /// The library's quantity.
    #[must_use]
    pub fn quantity(self) -> q::Temperature {
        self.0
    }
}

impl Shown for Temperature {
    fn amount(self) -> Amount {
        self.0.amount()
    }
}

impl fmt::Debug for Temperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.amount().fmt(f)
    }
}

impl crate::rich::Rich for Amount {
    fn rich(&self) -> crate::rich::Bundle {
        crate::rich::Bundle::text(self.echo())
    }
}
