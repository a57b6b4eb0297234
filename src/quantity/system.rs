//! Our own small system of quantities on `uom`'s machinery: only what fuel delivery needs, so that a
//! notebook's evaluator starts in about a second (the whole SI of `uom` costs it over ten).
//!
//! Base units: metre, kilogram, second, ampere, kelvin. The radian is one, so torque and energy share a
//! type, and so do angular velocity and frequency.
#![allow(missing_docs)] // the macro writes thousands of items; each unit carries its own words

#[macro_use]
pub mod length {
    quantity! {
        /// Length.
        quantity: Length; "length";
        dimension: Q<P1, Z0, Z0, Z0, Z0>;
        units {
            @meter: 1.0; "m", "meter", "meters";
            @millimeter: 0.001; "mm", "millimeter", "millimeters";
            @micrometer: 1e-06; "µm", "micrometer", "micrometers";
            @inch: 0.0254; "in", "inch", "inches";
            @foot: 0.3048; "ft", "foot", "feet";
        }
    }
}

#[macro_use]
pub mod mass {
    quantity! {
        /// Mass.
        quantity: Mass; "mass";
        dimension: Q<Z0, P1, Z0, Z0, Z0>;
        units {
            @kilogram: 1.0; "kg", "kilogram", "kilograms";
            @gram: 0.001; "g", "gram", "grams";
            @milligram: 1e-06; "mg", "milligram", "milligrams";
            @pound: 0.45359237; "lb", "pound", "pounds";
        }
    }
}

#[macro_use]
pub mod time {
    quantity! {
        /// Time.
        quantity: Time; "time";
        dimension: Q<Z0, Z0, P1, Z0, Z0>;
        units {
            @second: 1.0; "s", "second", "seconds";
            @millisecond: 0.001; "ms", "millisecond", "milliseconds";
            @microsecond: 1e-06; "µs", "microsecond", "microseconds";
            @minute: 60.0; "min", "minute", "minutes";
            @hour: 3600.0; "h", "hour", "hours";
        }
    }
}

#[macro_use]
pub mod current {
    quantity! {
        /// Electric current.
        quantity: Current; "electric current";
        dimension: Q<Z0, Z0, Z0, P1, Z0>;
        units {
            @ampere: 1.0; "A", "ampere", "amperes";
            @milliampere: 0.001; "mA", "milliampere", "milliamperes";
        }
    }
}

#[macro_use]
pub mod temperature {
    quantity! {
        /// Thermodynamic temperature.
        quantity: Temperature; "thermodynamic temperature";
        dimension: Q<Z0, Z0, Z0, Z0, P1>;
        units {
            @kelvin: 1.0; "K", "kelvin", "kelvins";
            @degree_celsius: 1.0, 273.15; "degC", "degree Celsius", "degrees Celsius";
            @degree_fahrenheit: 5.0 / 9.0, 459.67 * 5.0 / 9.0; "degF", "degree Fahrenheit", "degrees Fahrenheit";
        }
    }
}

#[macro_use]
pub mod area {
    quantity! {
        /// Area.
        quantity: Area; "area";
        dimension: Q<P2, Z0, Z0, Z0, Z0>;
        units {
            @square_meter: 1.0; "m²", "square meter", "square meters";
            @square_centimeter: 0.0001; "cm²", "square centimeter", "square centimeters";
            @square_millimeter: 1e-06; "mm²", "square millimeter", "square millimeters";
        }
    }
}

#[macro_use]
pub mod volume {
    quantity! {
        /// Volume.
        quantity: Volume; "volume";
        dimension: Q<P3, Z0, Z0, Z0, Z0>;
        units {
            @cubic_meter: 1.0; "m³", "cubic meter", "cubic meters";
            @liter: 0.001; "L", "liter", "liters";
            @cubic_centimeter: 1e-06; "cm³", "cubic centimeter", "cubic centimeters";
            @cubic_millimeter: 1e-09; "mm³", "cubic millimeter", "cubic millimeters";
        }
    }
}

#[macro_use]
pub mod volume_rate {
    quantity! {
        /// Volume flow rate.
        quantity: VolumeRate; "volume flow rate";
        dimension: Q<P3, Z0, N1, Z0, Z0>;
        units {
            @cubic_meter_per_second: 1.0; "m³/s", "cubic meter per second", "cubic meters per second";
            @liter_per_hour: 1.0e-3 / 3600.0; "L/h", "liter per hour", "liters per hour";
            @liter_per_minute: 1.0e-3 / 60.0; "L/min", "liter per minute", "liters per minute";
            @cubic_centimeter_per_minute: 1.0e-6 / 60.0; "cc/min", "cubic centimeter per minute", "cubic centimeters per minute";
            @cubic_centimeter_per_second: 1e-06; "cc/s", "cubic centimeter per second", "cubic centimeters per second";
            @us_gallon_per_hour: 3.785411784e-3 / 3600.0; "gal/h", "US gallon per hour", "US gallons per hour";
        }
    }
}

#[macro_use]
pub mod mass_rate {
    quantity! {
        /// Mass flow rate.
        quantity: MassRate; "mass flow rate";
        dimension: Q<Z0, P1, N1, Z0, Z0>;
        units {
            @kilogram_per_second: 1.0; "kg/s", "kilogram per second", "kilograms per second";
            @gram_per_second: 0.001; "g/s", "gram per second", "grams per second";
            @kilogram_per_hour: 1.0 / 3600.0; "kg/h", "kilogram per hour", "kilograms per hour";
            @pound_per_hour: 4.5359237e-1 / 3600.0; "lb/h", "pound per hour", "pounds per hour";
        }
    }
}

#[macro_use]
pub mod density {
    quantity! {
        /// Mass density.
        quantity: Density; "mass density";
        dimension: Q<N3, P1, Z0, Z0, Z0>;
        units {
            @kilogram_per_cubic_meter: 1.0; "kg/m³", "kilogram per cubic meter", "kilograms per cubic meter";
            @gram_per_cubic_centimeter: 1000.0; "g/cm³", "gram per cubic centimeter", "grams per cubic centimeter";
        }
    }
}

#[macro_use]
pub mod velocity {
    quantity! {
        /// Velocity.
        quantity: Velocity; "velocity";
        dimension: Q<P1, Z0, N1, Z0, Z0>;
        units {
            @meter_per_second: 1.0; "m/s", "meter per second", "meters per second";
        }
    }
}

#[macro_use]
pub mod acceleration {
    quantity! {
        /// Acceleration.
        quantity: Acceleration; "acceleration";
        dimension: Q<P1, Z0, N2, Z0, Z0>;
        units {
            @meter_per_second_squared: 1.0; "m/s²", "meter per second squared", "meters per second squared";
        }
    }
}

#[macro_use]
pub mod force {
    quantity! {
        /// Force.
        quantity: Force; "force";
        dimension: Q<P1, P1, N2, Z0, Z0>;
        units {
            @newton: 1.0; "N", "newton", "newtons";
        }
    }
}

#[macro_use]
pub mod stiffness {
    quantity! {
        /// Spring rate.
        quantity: Stiffness; "spring rate";
        dimension: Q<Z0, P1, N2, Z0, Z0>;
        units {
            @newton_per_meter: 1.0; "N/m", "newton per meter", "newtons per meter";
            @newton_per_millimeter: 1000.0; "N/mm", "newton per millimeter", "newtons per millimeter";
        }
    }
}

#[macro_use]
pub mod pressure {
    quantity! {
        /// Pressure (a difference, unless a type of this room says absolute or gauge).
        quantity: Pressure; "pressure";
        dimension: Q<N1, P1, N2, Z0, Z0>;
        units {
            @pascal: 1.0; "Pa", "pascal", "pascals";
            @kilopascal: 1000.0; "kPa", "kilopascal", "kilopascals";
            @megapascal: 1000000.0; "MPa", "megapascal", "megapascals";
            @bar_unit: 100000.0; "bar", "bar", "bar";
            @millibar: 100.0; "mbar", "millibar", "millibar";
            @psi_unit: 4.4482216152605 / 6.4516e-4; "psi", "pound-force per square inch", "pounds-force per square inch";
            @inch_of_mercury: 3386.388640341; "inHg", "inch of mercury", "inches of mercury";
        }
    }
}

#[macro_use]
pub mod dynamic_viscosity {
    quantity! {
        /// Dynamic viscosity.
        quantity: DynamicViscosity; "dynamic viscosity";
        dimension: Q<N1, P1, N1, Z0, Z0>;
        units {
            @pascal_second: 1.0; "Pa·s", "pascal second", "pascal seconds";
            @millipascal_second: 0.001; "mPa·s", "millipascal second", "millipascal seconds";
        }
    }
}

#[macro_use]
pub mod kinematic_viscosity {
    quantity! {
        /// Kinematic viscosity.
        quantity: KinematicViscosity; "kinematic viscosity";
        dimension: Q<P2, Z0, N1, Z0, Z0>;
        units {
            @square_meter_per_second: 1.0; "m²/s", "square meter per second", "square meters per second";
            @centistokes: 1e-06; "cSt", "centistokes", "centistokes";
        }
    }
}

#[macro_use]
pub mod energy {
    quantity! {
        /// Energy, work, torque.
        quantity: Energy; "energy, work, torque";
        dimension: Q<P2, P1, N2, Z0, Z0>;
        units {
            @joule: 1.0; "J", "joule", "joules";
            @newton_meter: 1.0; "N·m", "newton meter", "newton meters";
            @kilojoule: 1000.0; "kJ", "kilojoule", "kilojoules";
        }
    }
}

#[macro_use]
pub mod power {
    quantity! {
        /// Power.
        quantity: Power; "power";
        dimension: Q<P2, P1, N3, Z0, Z0>;
        units {
            @watt: 1.0; "W", "watt", "watts";
            @kilowatt: 1000.0; "kW", "kilowatt", "kilowatts";
        }
    }
}

#[macro_use]
pub mod specific_energy {
    quantity! {
        /// Energy per mass.
        quantity: SpecificEnergy; "energy per mass";
        dimension: Q<P2, Z0, N2, Z0, Z0>;
        units {
            @joule_per_kilogram: 1.0; "J/kg", "joule per kilogram", "joules per kilogram";
            @megajoule_per_kilogram: 1000000.0; "MJ/kg", "megajoule per kilogram", "megajoules per kilogram";
        }
    }
}

#[macro_use]
pub mod specific_consumption {
    quantity! {
        /// Fuel mass per work (brake specific fuel consumption).
        quantity: SpecificConsumption; "fuel mass per work";
        dimension: Q<N2, Z0, P2, Z0, Z0>;
        units {
            @kilogram_per_joule: 1.0; "kg/J", "kilogram per joule", "kilograms per joule";
            @gram_per_kilowatt_hour: 1.0e-3 / 3.6e6; "g/kWh", "gram per kilowatt hour", "grams per kilowatt hour";
        }
    }
}

#[macro_use]
pub mod specific_heat {
    quantity! {
        /// Specific heat capacity, specific gas constant.
        quantity: SpecificHeat; "specific heat capacity, specific gas constant";
        dimension: Q<P2, Z0, N2, Z0, N1>;
        units {
            @joule_per_kilogram_kelvin: 1.0; "J/(kg·K)", "joule per kilogram kelvin", "joules per kilogram kelvin";
        }
    }
}

#[macro_use]
pub mod angular_velocity {
    quantity! {
        /// Angular velocity (the radian is one).
        quantity: AngularVelocity; "angular velocity";
        dimension: Q<Z0, Z0, N1, Z0, Z0>;
        units {
            @radian_per_second: 1.0; "rad/s", "radian per second", "radians per second";
            @revolution_per_minute: core::f64::consts::TAU / 60.0; "rpm", "revolution per minute", "revolutions per minute";
        }
    }
}

#[macro_use]
pub mod voltage {
    quantity! {
        /// Electric potential difference.
        quantity: Voltage; "electric potential difference";
        dimension: Q<P2, P1, N3, N1, Z0>;
        units {
            @volt: 1.0; "V", "volt", "volts";
            @millivolt: 0.001; "mV", "millivolt", "millivolts";
        }
    }
}

#[macro_use]
pub mod resistance {
    quantity! {
        /// Electrical resistance.
        quantity: Resistance; "electrical resistance";
        dimension: Q<P2, P1, N3, N2, Z0>;
        units {
            @ohm: 1.0; "Ω", "ohm", "ohms";
            @milliohm: 0.001; "mΩ", "milliohm", "milliohms";
        }
    }
}

#[macro_use]
pub mod resistivity {
    quantity! {
        /// Electrical resistivity.
        quantity: Resistivity; "electrical resistivity";
        dimension: Q<P3, P1, N3, N2, Z0>;
        units {
            @ohm_meter: 1.0; "Ω·m", "ohm meter", "ohm meters";
        }
    }
}

#[macro_use]
pub mod inductance {
    quantity! {
        /// Inductance.
        quantity: Inductance; "inductance";
        dimension: Q<P2, P1, N2, N2, Z0>;
        units {
            @henry: 1.0; "H", "henry", "henries";
            @millihenry: 0.001; "mH", "millihenry", "millihenries";
        }
    }
}

#[macro_use]
pub mod motor_constant {
    quantity! {
        /// Motor constant (V·s/rad = N·m/A).
        quantity: MotorConstant; "motor constant";
        dimension: Q<P2, P1, N2, N1, Z0>;
        units {
            @volt_second_per_radian: 1.0; "V·s/rad", "volt second per radian", "volt seconds per radian";
        }
    }
}

#[macro_use]
pub mod inertia {
    quantity! {
        /// Moment of inertia.
        quantity: Inertia; "moment of inertia";
        dimension: Q<P2, P1, Z0, Z0, Z0>;
        units {
            @kilogram_square_meter: 1.0; "kg·m²", "kilogram square meter", "kilogram square meters";
        }
    }
}

#[macro_use]
pub mod hydraulic_resistance {
    quantity! {
        /// Pressure per volume flow.
        quantity: HydraulicResistance; "pressure per volume flow";
        dimension: Q<N4, P1, N1, Z0, Z0>;
        units {
            @pascal_second_per_cubic_meter: 1.0; "Pa·s/m³", "pascal second per cubic meter", "pascal seconds per cubic meter";
        }
    }
}

#[macro_use]
pub mod hydraulic_inertance {
    quantity! {
        /// Pressure per rate of volume flow.
        quantity: HydraulicInertance; "pressure per rate of volume flow";
        dimension: Q<N4, P1, Z0, Z0, Z0>;
        units {
            @pascal_second_squared_per_cubic_meter: 1.0; "Pa·s²/m³", "pascal second squared per cubic meter", "pascal seconds squared per cubic meter";
        }
    }
}

#[macro_use]
pub mod hydraulic_compliance {
    quantity! {
        /// Volume per pressure.
        quantity: HydraulicCompliance; "volume per pressure";
        dimension: Q<P4, N1, P2, Z0, Z0>;
        units {
            @cubic_meter_per_pascal: 1.0; "m³/Pa", "cubic meter per pascal", "cubic meters per pascal";
        }
    }
}

#[macro_use]
pub mod ratio {
    quantity! {
        /// Pure number.
        quantity: Ratio; "pure number";
        dimension: Q<Z0, Z0, Z0, Z0, Z0>;
        units {
            @fraction: 1.0; "1", "fraction", "fractions";
            @percent: 0.01; "%", "percent", "percent";
        }
    }
}

system! {
    quantities: Q {
        length: meter, L;
        mass: kilogram, M;
        time: second, T;
        current: ampere, I;
        temperature: kelvin, Th;
    }

    units: U {
        mod length::Length,
        mod mass::Mass,
        mod time::Time,
        mod current::Current,
        mod temperature::Temperature,
        mod area::Area,
        mod volume::Volume,
        mod volume_rate::VolumeRate,
        mod mass_rate::MassRate,
        mod density::Density,
        mod velocity::Velocity,
        mod acceleration::Acceleration,
        mod force::Force,
        mod stiffness::Stiffness,
        mod pressure::Pressure,
        mod dynamic_viscosity::DynamicViscosity,
        mod kinematic_viscosity::KinematicViscosity,
        mod energy::Energy,
        mod power::Power,
        mod specific_energy::SpecificEnergy,
        mod specific_consumption::SpecificConsumption,
        mod specific_heat::SpecificHeat,
        mod angular_velocity::AngularVelocity,
        mod voltage::Voltage,
        mod resistance::Resistance,
        mod resistivity::Resistivity,
        mod inductance::Inductance,
        mod motor_constant::MotorConstant,
        mod inertia::Inertia,
        mod hydraulic_resistance::HydraulicResistance,
        mod hydraulic_inertance::HydraulicInertance,
        mod hydraulic_compliance::HydraulicCompliance,
        mod ratio::Ratio,
    }
}

/// The quantities over `f64`.
pub mod f64 {
    mod system {
        pub use super::super::*;
    }

    Q!(self::system, f64);
}
