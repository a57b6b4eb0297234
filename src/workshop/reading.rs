//! What the gauges of a car say at one operating point.

use super::measure::{Current, Pressure, Ratio, Time, Voltage, VolumeRate};
use super::stop;
use crate::build::Build;
use crate::error::Result;
use crate::explain::{self, Table, Working};
use crate::quantity::{Amount, GaugePressure};
use crate::rich::{Bundle, Rich};
use crate::steady::{Acceptance, Limits, Operating, Point, limits_at, point};

/// One operating point of a car.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    build: Build,
    point: Point,
}

impl Reading {
    pub(super) fn of(build: &Build, op: Operating) -> Result<Self> {
        Ok(Self { point: point(build, &op)?, build: build.clone() })
    }

    /// The build that was asked.
    #[must_use]
    pub fn build(&self) -> &Build {
        &self.build
    }

    /// The solved point.
    #[must_use]
    pub fn point(&self) -> &Point {
        &self.point
    }

    /// Rail pressure as a gauge shows it.
    ///
    /// Formula: p_gauge = p_rail − p_ambient, shown in bar. Where it settles: the flows of the circuit balance at the rail.
    /// Source: definition of gauge pressure, ISO 80000-4 (from memory).
    #[must_use]
    pub fn rail_pressure(&self) -> GaugePressure {
        self.point.rail_pressure()
    }

    /// Pressure difference across the injectors.
    ///
    /// Formula: Δp = p_rail − p_manifold, both above vacuum. Shown in bar. Source: definition.
    #[must_use]
    pub fn difference(&self) -> Pressure {
        self.point.difference().into()
    }

    /// Lambda; with the engine at rest there is none.
    ///
    /// Formula: λ = ṁ_air / (L_st · ṁ_fuel), mass flows in kg/s, L_st stoichiometric air-fuel ratio; a pure
    /// number. Source: definition; Heywood, *Internal Combustion Engine Fundamentals* (1988), chapter 3 (from memory).
    ///
    /// # Panics
    /// With the engine at rest.
    #[must_use]
    pub fn lambda(&self) -> Ratio {
        match self.point.lambda() {
            Some(l) => super::measure::ratio(l),
            None => stop("the engine is at rest, so there is no lambda\n  ask the car at a speed"),
        }
    }

    /// Commanded pulse width.
    ///
    /// Formula: t_p = V / Q_static(Δp) + t_d(U, Δp): fuel for one cylinder and cycle over the flow that the control unit believes in, and the
    /// dead time it believes in; shown in ms. Source: how such control units work, common practice, no source.
    #[must_use]
    pub fn pulse_width(&self) -> Time {
        self.point.pulse_width().into()
    }

    /// Duty cycle.
    ///
    /// Formula: D = t_p / t_c, pulse width over the time of two turns, both in s; a pure number, shown in
    /// percent. Source: definition; one injection each two turns of a four-stroke.
    #[must_use]
    pub fn duty(&self) -> Ratio {
        self.point.duty().into()
    }

    /// Flow that the pumps deliver.
    ///
    /// Formula: Q_pump = Q(Δp_pump, U_pump), from the pump's rows as worn, all pumps together, shown in L/h. Source: the data
    /// sheet that the build states, and Q_pump = Q_injectors + Q_return at the rail.
    #[must_use]
    pub fn pump_flow(&self) -> VolumeRate {
        self.point.pump_flow().into()
    }

    /// Flow that the injectors pass.
    ///
    /// Formula: Q = n · Q_ref √(Δp/Δp_ref · ρ_ref/ρ) · t_open/t_cycle, n injectors, shown in L/h. Valid from the shortest straight pulse
    /// up to always open. Source: orifice flow, Bernoulli; ISO 5167-1 for the root (from memory).
    #[must_use]
    pub fn engine_flow(&self) -> VolumeRate {
        self.point.engine_flow().into()
    }

    /// Flow that the engine asks for.
    ///
    /// Formula: Q = ṁ_air / (λ L_st ρ), air in kg/s, shown in L/h; at the target lambda. Source: definition of lambda; air by
    /// speed-density, Heywood, *Internal Combustion Engine Fundamentals* (1988), chapter 2 (from memory).
    #[must_use]
    pub fn asked_flow(&self) -> VolumeRate {
        self.point.asked_flow().into()
    }

    /// Supply headroom: what the supply brings at the held pressure, over what is asked, less one.
    ///
    /// Formula: h = Q_supply(p_base + p_manifold) / Q_asked − 1; a pure number, shown in percent; below nought the rail falls.
    /// Source: definition; 20 % asked for is common practice, no source.
    #[must_use]
    pub fn headroom(&self) -> Ratio {
        super::measure::ratio(self.limits().headroom)
    }

    /// Flow that goes back to the tank.
    ///
    /// Formula: Q_return = Q_pump − Q_injectors, shown in L/h. Source: mass balance at the rail.
    #[must_use]
    pub fn return_flow(&self) -> VolumeRate {
        self.point.return_flow().into()
    }

    /// Current of the pumps.
    ///
    /// Formula: I = I(Δp_pump, U_pump) from the motor's rows, all pumps together, shown in A. Source: the data sheet that the
    /// build states; torque and current in proportion, as of any motor with a fixed field.
    #[must_use]
    pub fn pump_current(&self) -> Current {
        self.point.pump_current().into()
    }

    /// Voltage at the pump.
    ///
    /// Formula: U_pump = U_supply − I (R_feed + R_return), shown in V. Source: Ohm's law; resistances from area, length,
    /// temperature and contacts of the wires.
    #[must_use]
    pub fn pump_voltage(&self) -> Voltage {
        self.point.pump_voltage().into()
    }

    /// Any figure by its name, such as `"fine filter loss"`.
    ///
    /// # Panics
    /// When there is no such figure; the message lists those that there are.
    #[must_use]
    pub fn value(&self, name: &str) -> Amount {
        if let Some(a) = self.more(name) {
            return a;
        }
        match self.point.channel(name) {
            Ok(a) => a,
            Err(e) => stop(e),
        }
    }

    /// How a figure comes about, with the numbers of this point.
    ///
    /// # Panics
    /// When the figure has no worked explanation; the message lists those that have.
    #[must_use]
    pub fn explain(&self, figure: &str) -> Working {
        match explain::explain(&self.point, figure) {
            Ok(w) => w,
            Err(e) => stop(e),
        }
    }

    /// What limits the car here.
    ///
    /// # Panics
    /// When the engine is at rest or the question has no answer.
    #[must_use]
    pub fn limits(&self) -> Limits {
        match limits_at(&self.build, &self.point, &Acceptance::default()) {
            Ok(l) => l,
            Err(e) => stop(e),
        }
    }
}

impl Rich for Reading {
    fn rich(&self) -> Bundle {
        rich_table(&explain::readings(&self.point))
    }
}

impl Rich for Limits {
    fn rich(&self) -> Bundle {
        rich_table(&explain::checks(self))
    }
}

impl Rich for Table {
    fn rich(&self) -> Bundle {
        rich_table(self)
    }
}

impl Rich for Working {
    fn rich(&self) -> Bundle {
        Bundle::text(self.to_string()).markdown(self.markdown())
    }
}

fn rich_table(t: &Table) -> Bundle {
    Bundle::text(t.to_string()).html(t.html())
}
