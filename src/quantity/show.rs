//! Values as people read them: few decimals, the unit beside the number, and an echo in the other unit.

use super::system::{Dimension, Quantity, Units};
use super::{AbsolutePressure, Dim, Flavour, GaugePressure, unit};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A value in SI with its quantity: what result tables, records and JSON carry.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Amount {
    /// The value in SI.
    pub si: f64,
    /// Which quantity it is.
    pub dim: Dim,
    /// Which kind of pressure it is.
    #[serde(default)]
    pub flavour: Flavour,
}

/// A number beside the unit it is in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InUnit {
    /// The number.
    pub number: f64,
    /// The unit.
    pub unit: &'static unit::Unit,
    /// Which kind of pressure it is.
    pub flavour: Flavour,
}

/// The number with this many significant digits, but never fewer than its whole part and never in
/// powers of ten between 1e-4 and 1e7.
#[must_use]
pub fn round_to_digits(x: f64, digits: usize) -> String {
    if x == 0.0 || !x.is_finite() {
        return if x == 0.0 { "0".to_owned() } else { format!("{x}") };
    }
    let magnitude = x.abs().log10().floor();
    if !(-5.0..7.0).contains(&magnitude) {
        return format!("{x:.*e}", digits.saturating_sub(1));
    }
    let scale = 10f64.powi(digits as i32 - 1 - magnitude as i32);
    let rounded = (x * scale).round() / scale; // 9.9996 -> 10.00 must not gain a digit
    let magnitude = if rounded == 0.0 { magnitude } else { rounded.abs().log10().floor() };
    let places = (digits as i32 - 1 - magnitude as i32).max(0) as usize;
    format!("{x:.places$}").replace('-', "−")
}

/// The same without trailing noughts: an exact 4 is 4, not 4.0000.
#[must_use]
pub fn round_plainly(x: f64, digits: usize) -> String {
    let text = round_to_digits(x, digits);
    match text.contains('.') && !text.contains('e') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

impl Amount {
    /// An amount from SI.
    #[must_use]
    pub const fn new(si: f64, dim: Dim) -> Self {
        Self { si, dim, flavour: Flavour::Plain }
    }

    /// The same as a gauge pressure.
    #[must_use]
    pub const fn gauge(mut self) -> Self {
        self.flavour = Flavour::Gauge;
        self
    }

    /// The same as an absolute pressure.
    #[must_use]
    pub const fn absolute(mut self) -> Self {
        self.flavour = Flavour::Absolute;
        self
    }

    /// In a unit of this name; `None` when the unit does not measure this quantity.
    #[must_use]
    pub fn in_unit(self, symbol: &str) -> Option<InUnit> {
        unit::find(symbol, self.dim).map(|u| self.with(u))
    }

    /// In the unit that this quantity is usually shown in.
    #[must_use]
    pub fn shown(self) -> InUnit {
        self.with(self.dim.shown_in())
    }

    fn with(self, unit: &'static unit::Unit) -> InUnit {
        InUnit { number: (self.si - unit.offset) / unit.factor, unit, flavour: self.flavour }
    }

    /// In the shown unit, with an echo in the other unit of the trade where there is one.
    #[must_use]
    pub fn echo(self) -> String {
        let other = match self.dim {
            Dim::Pressure => "psi",
            Dim::VolumeRate => "L/min",
            Dim::Length => "in",
            Dim::Temperature => "degF",
            Dim::MassRate => "lb/h",
            _ => return self.to_string(),
        };
        match self.in_unit(other) {
            Some(o) => format!("{self} ({o})"),
            None => self.to_string(),
        }
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Pulses read in milliseconds, a tank that empties in seconds.
        if self.dim == Dim::Time && self.si.abs() >= 1.0 {
            return self.with(unit::find("s", Dim::Time).expect("the second is a unit")).fmt(f);
        }
        self.shown().fmt(f)
    }
}

impl fmt::Display for InUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = f.precision().unwrap_or(4);
        f.write_str(&round_to_digits(self.number, digits))?;
        if self.unit.symbol != "1" {
            write!(f, " {}", unit::printed(self.unit.symbol))?;
        }
        match self.flavour {
            Flavour::Plain => Ok(()),
            Flavour::Gauge => f.write_str(" gauge"),
            Flavour::Absolute => f.write_str(" abs"),
        }
    }
}

/// What every quantity type can do for display: become an [`Amount`], go into a named unit.
pub trait Shown: Sized {
    /// The value with its quantity, known at run time.
    fn amount(self) -> Amount;

    /// In a unit of this name; `None` when the unit measures something else.
    fn in_unit(self, symbol: &str) -> Option<InUnit> {
        self.amount().in_unit(symbol)
    }
}

impl<D, U> Shown for Quantity<D, U, f64>
where
    D: Dimension + ?Sized + RunTime,
    U: Units<f64> + ?Sized,
{
    fn amount(self) -> Amount {
        Amount::new(self.value, D::DIM)
    }
}

impl Shown for AbsolutePressure {
    fn amount(self) -> Amount {
        Amount::new(self.pascals(), Dim::Pressure).absolute()
    }
}

impl Shown for GaugePressure {
    fn amount(self) -> Amount {
        Amount::new(self.pascals(), Dim::Pressure).gauge()
    }
}

impl Shown for Amount {
    fn amount(self) -> Amount {
        self
    }
}

/// The link from a compile-time dimension to the run-time one.
pub trait RunTime {
    /// The quantity of this dimension.
    const DIM: Dim;
}

macro_rules! run_time {
    ($($module:ident => $dim:ident),+ $(,)?) => {
        $(impl RunTime for super::system::$module::Dimension { const DIM: Dim = Dim::$dim; })+
    };
}

run_time! {
    length => Length, mass => Mass, time => Time, current => Current, temperature => Temperature,
    area => Area, volume => Volume, volume_rate => VolumeRate, mass_rate => MassRate, density => Density,
    velocity => Velocity, force => Force, stiffness => Stiffness, pressure => Pressure,
    dynamic_viscosity => DynamicViscosity, energy => Torque, power => Power,
    specific_energy => SpecificEnergy, specific_consumption => SpecificConsumption,
    specific_heat => SpecificHeat, angular_velocity => AngularVelocity, voltage => Voltage,
    resistance => Resistance, inductance => Inductance, motor_constant => MotorConstant,
    inertia => Inertia, hydraulic_resistance => PressurePerFlow, hydraulic_compliance => Compliance,
    ratio => Ratio,
}
