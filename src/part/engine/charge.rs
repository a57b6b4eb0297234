//! The charge on its way in: compressor, intercooler, manifold.

use super::EngineError;
use crate::part::air;
use crate::quantity::{
    AbsolutePressure, GaugePressure, Pressure, SpecificEnergy, Temperature, j_per_kg, kelvin,
};

/// Pressure ratio of the compressor for a gauge boost above the local ambient.
///
/// # Formula
/// PR = (p_a + p_b + Δp_ic)/(p_a − Δp_in)
///
/// # Symbols
/// p_a local ambient, absolute; p_b boost, gauge above *local* ambient; Δp_ic, Δp_in losses of intercooler and
/// intake; all Pa.
///
/// # Range
/// Δp_in below p_a; a ratio below one means that the compressor is a restriction, not a pump.
///
/// # Source
/// Definition.
#[must_use]
pub fn pressure_ratio(
    ambient: AbsolutePressure,
    boost: GaugePressure,
    intake_loss: Pressure,
    intercooler_loss: Pressure,
) -> f64 {
    pressure_ratio_for(boost.absolute(ambient), ambient, intake_loss, intercooler_loss)
}

/// Pressure ratio of the compressor for an absolute manifold pressure.
///
/// # Formula
/// PR = (p_man + Δp_ic)/(p_a − Δp_in)
///
/// # Symbols
/// p_man manifold, p_a local ambient, absolute; Δp_ic, Δp_in losses of intercooler and intake; all Pa.
///
/// # Range
/// As [`pressure_ratio`]. For the same manifold pressure it rises with altitude.
///
/// # Source
/// Definition.
#[must_use]
pub fn pressure_ratio_for(
    manifold: AbsolutePressure,
    ambient: AbsolutePressure,
    intake_loss: Pressure,
    intercooler_loss: Pressure,
) -> f64 {
    (manifold + intercooler_loss).pascals() / (ambient - intake_loss).pascals()
}

/// Temperature behind the compressor.
///
/// # Formula
/// T₂ = T₁ (1 + (PR^((γ−1)/γ) − 1)/η)
///
/// # Symbols
/// T₁ inlet, T₂ outlet, K; PR pressure ratio, total to total; η isentropic efficiency; γ ratio of heat
/// capacities (air 1.4).
///
/// # Range
/// PR 1 to 6, η above 0 to 1, γ 1.2 to 1.67; outside: [`EngineError::OutOfRange`]. Heat through the
/// housing is left out.
///
/// # Source
/// Isentropic efficiency, Heywood 1988, section 6.8.
///
/// # Errors
/// A value outside the range.
pub fn compressor_outlet_temperature(
    inlet: Temperature,
    pressure_ratio: f64,
    efficiency: f64,
    gamma: f64,
) -> Result<Temperature, EngineError> {
    let pr = EngineError::within(
        "compressor pressure ratio",
        pressure_ratio,
        (1.0, 6.0),
        "",
        "check that both pressures are absolute",
    )?;
    let eta = EngineError::within(
        "compressor efficiency",
        efficiency,
        (f64::MIN_POSITIVE, 1.0),
        "",
        "give it as a fraction, 0.72 for 72 %",
    )?;
    let gamma = EngineError::within("ratio of heat capacities", gamma, (1.2, 1.67), "", "air has 1.4")?;
    let rise = (pr.powf((gamma - 1.0) / gamma) - 1.0) / eta;
    Ok(kelvin(inlet.value * (1.0 + rise)))
}

/// Work that a kilogram of air takes up in the compressor.
///
/// # Formula
/// w = c_p (T₂ − T₁)
///
/// # Symbols
/// c_p J/(kg·K), air near 1005; T K; w J/kg.
///
/// # Range
/// Constant c_p: 1 % up to 200 °C.
///
/// # Source
/// First law, adiabatic.
#[must_use]
pub fn compressor_specific_work(
    inlet: Temperature,
    outlet: Temperature,
    heat_capacity: crate::quantity::SpecificHeat,
) -> SpecificEnergy {
    j_per_kg(heat_capacity.value * (outlet.value - inlet.value))
}

/// Temperature behind the intercooler.
///
/// # Formula
/// T₃ = T₂ − ε (T₂ − T_c)
///
/// # Symbols
/// T₂ in, T₃ out, T_c coolant (ambient air), K; ε effectiveness.
///
/// # Range
/// ε 0 to 1; outside: [`EngineError::OutOfRange`]. A cooler that soaks heat over a run has a falling ε: not modelled.
///
/// # Source
/// Definition of effectiveness for equal capacity rates or an excess of coolant.
///
/// # Errors
/// An effectiveness outside the range.
pub fn intercooler_outlet_temperature(
    inlet: Temperature,
    coolant: Temperature,
    effectiveness: f64,
) -> Result<Temperature, EngineError> {
    let e = EngineError::within(
        "intercooler effectiveness",
        effectiveness,
        (0.0, 1.0),
        "",
        "give it as a fraction, 0.7 for 70 %",
    )?;
    Ok(kelvin(inlet.value - e * (inlet.value - coolant.value)))
}

/// Density of one state of an ideal gas over that of another: (p₁/T₁)/(p₂/T₂).
#[must_use]
pub fn density_ratio(
    (p1, t1): (AbsolutePressure, Temperature),
    (p2, t2): (AbsolutePressure, Temperature),
) -> f64 {
    p1.pascals() / t1.value / (p2.pascals() / t2.value)
}

/// The way of the air into the manifold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Induction {
    /// Isentropic efficiency of the compressor, 0 to 1.
    pub compressor_efficiency: f64,
    /// Effectiveness of the intercooler, 0 (none) to 1.
    pub intercooler_effectiveness: f64,
    /// Pressure lost between the open air and the compressor.
    pub intake_loss: Pressure,
    /// Pressure lost in the intercooler.
    pub intercooler_loss: Pressure,
}

/// What arrives in the manifold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charge {
    /// Pressure ratio of the compressor; one when it only lets the air through.
    pub pressure_ratio: f64,
    /// Temperature behind the compressor.
    pub compressor_outlet: Temperature,
    /// Temperature in the manifold.
    pub temperature: Temperature,
}

impl Induction {
    /// The charge at a manifold pressure in this ambient.
    ///
    /// # Formula
    /// [`pressure_ratio`], [`compressor_outlet_temperature`], [`intercooler_outlet_temperature`] in turn.
    ///
    /// # Symbols
    /// As there.
    ///
    /// # Range
    /// As there. At and below ambient pressure the throttle, not the compressor, sets the manifold: the
    /// charge then has the ambient temperature (throttling leaves an ideal gas at its temperature).
    ///
    /// # Source
    /// As there.
    ///
    /// # Errors
    /// A pressure ratio, efficiency or effectiveness outside its range.
    pub fn charge(
        &self,
        manifold: AbsolutePressure,
        ambient: AbsolutePressure,
        air: Temperature,
    ) -> Result<Charge, EngineError> {
        let ratio = pressure_ratio_for(manifold, ambient, self.intake_loss, self.intercooler_loss);
        if manifold <= ambient {
            return Ok(Charge { pressure_ratio: 1.0, compressor_outlet: air, temperature: air });
        }
        let outlet = compressor_outlet_temperature(air, ratio, self.compressor_efficiency, air::GAMMA)?;
        let temperature = intercooler_outlet_temperature(outlet, air, self.intercooler_effectiveness)?;
        Ok(Charge { pressure_ratio: ratio, compressor_outlet: outlet, temperature })
    }
}
