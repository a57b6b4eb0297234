//! Which quantity a number in a file is, known at run time.

use serde::{Deserialize, Serialize};

/// The quantity that a value in a build file, a table column or a result channel has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[allow(missing_docs)] // each name is its own description
pub enum Dim {
    Ratio,
    Length,
    Mass,
    Time,
    Current,
    Temperature,
    TemperatureDifference,
    Area,
    Volume,
    VolumeRate,
    MassRate,
    Density,
    Velocity,
    Force,
    Stiffness,
    Pressure,
    DynamicViscosity,
    Torque,
    Power,
    SpecificEnergy,
    SpecificConsumption,
    SpecificHeat,
    AngularVelocity,
    Angle,
    Voltage,
    Resistance,
    Inductance,
    MotorConstant,
    Inertia,
    ViscousFriction,
    Damping,
    PressurePerFlow,
    ForchheimerLinear,
    ForchheimerSquare,
    Compliance,
}

/// Which of the three kinds of pressure a value is; every other quantity is [`Flavour::Plain`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, Default)]
pub enum Flavour {
    /// Not a pressure, or a difference of two pressures.
    #[default]
    Plain,
    /// Above the ambient.
    Gauge,
    /// Above vacuum.
    Absolute,
}

impl Dim {
    /// The name with its article, for sentences: "an angle", "a pressure".
    #[must_use]
    pub fn with_article(self) -> String {
        let name = self.name();
        let article = if name.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" };
        format!("{article} {name}")
    }

    /// The name in words, for messages and tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Dim::Ratio => "pure number",
            Dim::Length => "length",
            Dim::Mass => "mass",
            Dim::Time => "time",
            Dim::Current => "electric current",
            Dim::Temperature => "temperature",
            Dim::TemperatureDifference => "temperature difference",
            Dim::Area => "area",
            Dim::Volume => "volume",
            Dim::VolumeRate => "volume flow",
            Dim::MassRate => "mass flow",
            Dim::Density => "density",
            Dim::Velocity => "velocity",
            Dim::Force => "force",
            Dim::Stiffness => "spring rate",
            Dim::Pressure => "pressure",
            Dim::DynamicViscosity => "dynamic viscosity",
            Dim::Torque => "torque",
            Dim::Power => "power",
            Dim::SpecificEnergy => "energy per mass",
            Dim::SpecificConsumption => "brake specific fuel consumption",
            Dim::SpecificHeat => "specific heat capacity",
            Dim::AngularVelocity => "speed of rotation",
            Dim::Angle => "angle",
            Dim::Voltage => "voltage",
            Dim::Resistance => "electrical resistance",
            Dim::Inductance => "inductance",
            Dim::MotorConstant => "motor constant",
            Dim::Inertia => "moment of inertia",
            Dim::ViscousFriction => "torque per speed",
            Dim::Damping => "force per velocity",
            Dim::PressurePerFlow => "pressure per flow",
            Dim::ForchheimerLinear => "filter resistance, linear part",
            Dim::ForchheimerSquare => "filter resistance, square part",
            Dim::Compliance => "volume per pressure",
        }
    }

    /// The unit that results of this quantity are shown in.
    #[must_use]
    pub fn shown_in(self) -> &'static super::unit::Unit {
        super::unit::shown(self)
    }
}
