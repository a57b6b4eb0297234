//! Constructors in the trade's words: `bar(1.4)`, `l_per_h(127.0)`, `mm(8.7)`.

use super::system::{self as sys, f64::*};

/// Length: a value in metres.
#[must_use]
pub fn m(value: f64) -> Length {
    Length::new::<sys::length::meter>(value)
}

/// Length: a value in millimetres.
#[must_use]
pub fn mm(value: f64) -> Length {
    Length::new::<sys::length::millimeter>(value)
}

/// Length: a value in micrometres.
#[must_use]
pub fn um(value: f64) -> Length {
    Length::new::<sys::length::micrometer>(value)
}

/// Length: a value in inches.
#[must_use]
pub fn inch(value: f64) -> Length {
    Length::new::<sys::length::inch>(value)
}

/// Mass: a value in kilograms.
#[must_use]
pub fn kg(value: f64) -> Mass {
    Mass::new::<sys::mass::kilogram>(value)
}

/// Mass: a value in milligrams.
#[must_use]
pub fn mg(value: f64) -> Mass {
    Mass::new::<sys::mass::milligram>(value)
}

/// Time: a value in seconds.
#[must_use]
pub fn s(value: f64) -> Time {
    Time::new::<sys::time::second>(value)
}

/// Time: a value in milliseconds.
#[must_use]
pub fn ms(value: f64) -> Time {
    Time::new::<sys::time::millisecond>(value)
}

/// Time: a value in minutes.
#[must_use]
pub fn minutes(value: f64) -> Time {
    Time::new::<sys::time::minute>(value)
}

/// Current: a value in amperes.
#[must_use]
pub fn amps(value: f64) -> Current {
    Current::new::<sys::current::ampere>(value)
}

/// Temperature: a value in kelvins.
#[must_use]
pub fn kelvin(value: f64) -> Temperature {
    Temperature::new::<sys::temperature::kelvin>(value)
}

/// Temperature: a value in degrees Celsius.
#[must_use]
pub fn degc(value: f64) -> Temperature {
    Temperature::new::<sys::temperature::degree_celsius>(value)
}

/// Area: a value in square metres.
#[must_use]
pub fn m2(value: f64) -> Area {
    Area::new::<sys::area::square_meter>(value)
}

/// Area: a value in square millimetres.
#[must_use]
pub fn mm2(value: f64) -> Area {
    Area::new::<sys::area::square_millimeter>(value)
}

/// Area: a value in square centimetres.
#[must_use]
pub fn cm2(value: f64) -> Area {
    Area::new::<sys::area::square_centimeter>(value)
}

/// Volume: a value in cubic metres.
#[must_use]
pub fn m3(value: f64) -> Volume {
    Volume::new::<sys::volume::cubic_meter>(value)
}

/// Volume: a value in litres.
#[must_use]
pub fn litres(value: f64) -> Volume {
    Volume::new::<sys::volume::liter>(value)
}

/// Volume: a value in cubic centimetres.
#[must_use]
pub fn cc(value: f64) -> Volume {
    Volume::new::<sys::volume::cubic_centimeter>(value)
}

/// VolumeRate: a value in cubic metres per second.
#[must_use]
pub fn m3_per_s(value: f64) -> VolumeRate {
    VolumeRate::new::<sys::volume_rate::cubic_meter_per_second>(value)
}

/// VolumeRate: a value in litres per hour.
#[must_use]
pub fn l_per_h(value: f64) -> VolumeRate {
    VolumeRate::new::<sys::volume_rate::liter_per_hour>(value)
}

/// VolumeRate: a value in litres per minute.
#[must_use]
pub fn l_per_min(value: f64) -> VolumeRate {
    VolumeRate::new::<sys::volume_rate::liter_per_minute>(value)
}

/// VolumeRate: a value in cubic centimetres per minute.
#[must_use]
pub fn cc_per_min(value: f64) -> VolumeRate {
    VolumeRate::new::<sys::volume_rate::cubic_centimeter_per_minute>(value)
}

/// MassRate: a value in kilograms per second.
#[must_use]
pub fn kg_per_s(value: f64) -> MassRate {
    MassRate::new::<sys::mass_rate::kilogram_per_second>(value)
}

/// MassRate: a value in grams per second.
#[must_use]
pub fn g_per_s(value: f64) -> MassRate {
    MassRate::new::<sys::mass_rate::gram_per_second>(value)
}

/// MassRate: a value in pounds per hour.
#[must_use]
pub fn lb_per_h(value: f64) -> MassRate {
    MassRate::new::<sys::mass_rate::pound_per_hour>(value)
}

/// Density: a value in kilograms per cubic metre.
#[must_use]
pub fn kg_per_m3(value: f64) -> Density {
    Density::new::<sys::density::kilogram_per_cubic_meter>(value)
}

/// Velocity: a value in metres per second.
#[must_use]
pub fn m_per_s(value: f64) -> Velocity {
    Velocity::new::<sys::velocity::meter_per_second>(value)
}

/// Acceleration: a value in metres per second squared.
#[must_use]
pub fn m_per_s2(value: f64) -> Acceleration {
    Acceleration::new::<sys::acceleration::meter_per_second_squared>(value)
}

/// Force: a value in newtons.
#[must_use]
pub fn newtons(value: f64) -> Force {
    Force::new::<sys::force::newton>(value)
}

/// Stiffness: a value in newtons per metre.
#[must_use]
pub fn n_per_m(value: f64) -> Stiffness {
    Stiffness::new::<sys::stiffness::newton_per_meter>(value)
}

/// Pressure: a value in pascals (a difference).
#[must_use]
pub fn pa(value: f64) -> Pressure {
    Pressure::new::<sys::pressure::pascal>(value)
}

/// Pressure: a value in kilopascals (a difference).
#[must_use]
pub fn kpa(value: f64) -> Pressure {
    Pressure::new::<sys::pressure::kilopascal>(value)
}

/// Pressure: a value in megapascals (a difference).
#[must_use]
pub fn mpa(value: f64) -> Pressure {
    Pressure::new::<sys::pressure::megapascal>(value)
}

/// Pressure: a value in bar (a difference).
#[must_use]
pub fn bar(value: f64) -> Pressure {
    Pressure::new::<sys::pressure::bar_unit>(value)
}

/// Pressure: a value in pounds-force per square inch (a difference).
#[must_use]
pub fn psi(value: f64) -> Pressure {
    Pressure::new::<sys::pressure::psi_unit>(value)
}

/// Pressure: a value in inches of mercury (a difference).
#[must_use]
pub fn in_hg(value: f64) -> Pressure {
    Pressure::new::<sys::pressure::inch_of_mercury>(value)
}

/// DynamicViscosity: a value in pascal seconds.
#[must_use]
pub fn pa_s(value: f64) -> DynamicViscosity {
    DynamicViscosity::new::<sys::dynamic_viscosity::pascal_second>(value)
}

/// DynamicViscosity: a value in millipascal seconds.
#[must_use]
pub fn mpa_s(value: f64) -> DynamicViscosity {
    DynamicViscosity::new::<sys::dynamic_viscosity::millipascal_second>(value)
}

/// KinematicViscosity: a value in square metres per second.
#[must_use]
pub fn m2_per_s(value: f64) -> KinematicViscosity {
    KinematicViscosity::new::<sys::kinematic_viscosity::square_meter_per_second>(value)
}

/// Energy: a value in newton metres (torque).
#[must_use]
pub fn nm(value: f64) -> Energy {
    Energy::new::<sys::energy::newton_meter>(value)
}

/// Energy: a value in joules.
#[must_use]
pub fn joules(value: f64) -> Energy {
    Energy::new::<sys::energy::joule>(value)
}

/// Power: a value in watts.
#[must_use]
pub fn watts(value: f64) -> Power {
    Power::new::<sys::power::watt>(value)
}

/// Power: a value in kilowatts.
#[must_use]
pub fn kw(value: f64) -> Power {
    Power::new::<sys::power::kilowatt>(value)
}

/// SpecificEnergy: a value in joules per kilogram.
#[must_use]
pub fn j_per_kg(value: f64) -> SpecificEnergy {
    SpecificEnergy::new::<sys::specific_energy::joule_per_kilogram>(value)
}

/// SpecificConsumption: a value in grams per kilowatt hour.
#[must_use]
pub fn g_per_kwh(value: f64) -> SpecificConsumption {
    SpecificConsumption::new::<sys::specific_consumption::gram_per_kilowatt_hour>(value)
}

/// SpecificHeat: a value in joules per kilogram kelvin.
#[must_use]
pub fn j_per_kg_k(value: f64) -> SpecificHeat {
    SpecificHeat::new::<sys::specific_heat::joule_per_kilogram_kelvin>(value)
}

/// AngularVelocity: a value in revolutions per minute.
#[must_use]
pub fn rpm(value: f64) -> AngularVelocity {
    AngularVelocity::new::<sys::angular_velocity::revolution_per_minute>(value)
}

/// AngularVelocity: a value in radians per second.
#[must_use]
pub fn rad_per_s(value: f64) -> AngularVelocity {
    AngularVelocity::new::<sys::angular_velocity::radian_per_second>(value)
}

/// Voltage: a value in volts.
#[must_use]
pub fn volts(value: f64) -> Voltage {
    Voltage::new::<sys::voltage::volt>(value)
}

/// Resistance: a value in ohms.
#[must_use]
pub fn ohms(value: f64) -> Resistance {
    Resistance::new::<sys::resistance::ohm>(value)
}

/// Resistance: a value in milliohms.
#[must_use]
pub fn milliohms(value: f64) -> Resistance {
    Resistance::new::<sys::resistance::milliohm>(value)
}

/// Resistivity: a value in ohm metres.
#[must_use]
pub fn ohm_m(value: f64) -> Resistivity {
    Resistivity::new::<sys::resistivity::ohm_meter>(value)
}

/// Inductance: a value in henries.
#[must_use]
pub fn henries(value: f64) -> Inductance {
    Inductance::new::<sys::inductance::henry>(value)
}

/// MotorConstant: a value in volt seconds per radian.
#[must_use]
pub fn vs_per_rad(value: f64) -> MotorConstant {
    MotorConstant::new::<sys::motor_constant::volt_second_per_radian>(value)
}

/// Inertia: a value in kilogram square metres.
#[must_use]
pub fn kg_m2(value: f64) -> Inertia {
    Inertia::new::<sys::inertia::kilogram_square_meter>(value)
}

/// Ratio: a value in percent.
#[must_use]
pub fn percent(value: f64) -> Ratio {
    Ratio::new::<sys::ratio::percent>(value)
}

/// Ratio: a value in a pure number.
#[must_use]
pub fn ratio(value: f64) -> Ratio {
    Ratio::new::<sys::ratio::fraction>(value)
}
