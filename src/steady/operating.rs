//! What is asked of a build: speed, boost, and what is imposed for a test.

use crate::quantity::{AngularVelocity, GaugePressure, Pressure, Temperature, Voltage};
use serde::Serialize;

/// One operating point, asked in the trade's words.
///
/// ```
/// use railrise::quantity::*;
/// use railrise::steady::Operating;
/// let point = Operating::at(rpm(6500.0), bar(1.4));
/// let test = Operating::engine_off().with_air_on_the_reference(bar(1.4)).with_supply(volts(13.5));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Operating {
    /// Engine speed, rad/s; zero with the engine off.
    pub(crate) speed: f64,
    /// Manifold pressure above ambient, Pa.
    pub(crate) boost: f64,
    /// Supply voltage, V; the build's own when not imposed.
    pub(crate) supply: Option<f64>,
    /// Fuel temperature, K; the build's own when not imposed.
    pub(crate) fuel_temperature: Option<f64>,
    /// Pressure on the regulator's reference port above ambient, Pa; the manifold's when not imposed.
    pub(crate) reference: Option<f64>,
    /// Scales the fuel that the engine asks for (headroom is asked this way).
    pub(crate) demand_factor: f64,
}

impl Operating {
    /// The engine running at this speed with this manifold gauge pressure (boost positive).
    #[must_use]
    pub fn at(speed: AngularVelocity, boost: impl Into<GaugePressure>) -> Self {
        Self {
            speed: speed.value,
            boost: boost.into().pascals(),
            supply: None,
            fuel_temperature: None,
            reference: None,
            demand_factor: 1.0,
        }
    }

    /// Key on, engine at rest, pump running.
    #[must_use]
    pub fn engine_off() -> Self {
        Self {
            speed: 0.0,
            boost: 0.0,
            supply: None,
            fuel_temperature: None,
            reference: None,
            demand_factor: 1.0,
        }
    }

    /// The reference hose pulled off and plugged, the regulator open to air: how base is set.
    #[must_use]
    pub fn with_the_reference_hose_off(mut self) -> Self {
        self.reference = Some(0.0);
        self
    }

    /// Regulated air on the regulator's reference port only. Never to tank, manifold or fuel.
    #[must_use]
    pub fn with_air_on_the_reference(mut self, p: Pressure) -> Self {
        self.reference = Some(p.value);
        self
    }

    /// A supply voltage other than the build's.
    #[must_use]
    pub fn with_supply(mut self, v: Voltage) -> Self {
        self.supply = Some(v.value);
        self
    }

    /// A fuel temperature other than the build's.
    #[must_use]
    pub fn with_fuel_at(mut self, t: Temperature) -> Self {
        self.fuel_temperature = Some(t.value);
        self
    }

    /// The same point with the engine asking for this many times the fuel.
    #[must_use]
    pub fn asking_for(mut self, factor: f64) -> Self {
        self.demand_factor = factor;
        self
    }

    /// Engine speed.
    #[must_use]
    pub fn speed(&self) -> AngularVelocity {
        crate::quantity::rad_per_s(self.speed)
    }

    /// How many times its fuel the engine asks for.
    #[must_use]
    pub fn demand_factor(&self) -> f64 {
        self.demand_factor
    }

    /// Manifold pressure above ambient.
    #[must_use]
    pub fn boost(&self) -> GaugePressure {
        GaugePressure::from_pascals(self.boost)
    }
}
