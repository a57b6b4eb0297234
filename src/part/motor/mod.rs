//! Permanent-magnet direct-current motor: volts to torque and speed.

use crate::quantity::{
    AngularVelocity, Current, Energy, Inertia, MotorConstant, Power, Resistance, Time, Voltage,
};

/// A permanent-magnet motor, steady.
///
/// # Formula
/// `V = R I + K ω`, `K I = T + T_f`
///
/// # Symbols
/// `V` voltage at the terminals, V; `R` armature resistance with brushes, Ω; `I` current, A; `K` motor
/// constant, V·s/rad (back emf and torque: one number in SI); `ω` speed, rad/s; `T` shaft torque, N·m;
/// `T_f` friction torque, N·m.
///
/// # Valid range
/// Constant flux and resistance: heat raises `R` (copper 0.39 %/K) and lowers `K` (magnets). Inductance left out.
///
/// # Source
/// A. E. Fitzgerald, C. Kingsley, S. D. Umans, Electric Machinery, ch. 7.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Motor {
    /// Armature resistance with brushes.
    pub resistance: Resistance,
    /// Motor constant.
    pub constant: MotorConstant,
    /// Friction torque, against the motion.
    pub friction: Energy,
}

/// A motor's steady point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotorPoint {
    /// Armature current.
    pub current: Current,
    /// Speed; negative when the load drives it backwards.
    pub speed: AngularVelocity,
    /// Power taken from the terminals.
    pub electrical: Power,
    /// Power at the shaft.
    pub shaft: Power,
    /// Shaft over electrical power.
    pub efficiency: f64,
}

impl Motor {
    /// A motor from its no-load test: volts, amps and speed with nothing on the shaft, and its resistance.
    ///
    /// # Formula
    /// `K = (V₀ − R I₀)/ω₀`, `T_f = K I₀`
    ///
    /// # Symbols
    /// `V₀`, V, `I₀`, A, `ω₀`, rad/s, of the test; `R` armature resistance, Ω.
    ///
    /// # Valid range
    /// `ω₀ > 0`, `V₀ > R I₀`. Friction is taken as constant torque.
    ///
    /// # Source
    /// As [`Motor`].
    #[must_use]
    pub fn from_no_load(
        resistance: Resistance,
        volts: Voltage,
        current: Current,
        speed: AngularVelocity,
    ) -> Self {
        let constant = motor_constant(volts, current, resistance, speed);
        Self { resistance, constant, friction: constant * current }
    }

    /// Back electromotive force at a speed: `E = K ω`.
    #[must_use]
    pub fn back_emf(&self, speed: AngularVelocity) -> Voltage {
        self.constant * speed
    }

    /// Armature current at a voltage and speed: `I = (V − K ω)/R`.
    #[must_use]
    pub fn current(&self, volts: Voltage, speed: AngularVelocity) -> Current {
        (volts - self.back_emf(speed)) / self.resistance
    }

    /// Current that carries a shaft torque: `I = (T + T_f)/K`.
    #[must_use]
    pub fn current_for_torque(&self, torque: Energy) -> Current {
        (torque + self.friction) / self.constant
    }

    /// The steady point at a voltage and shaft torque.
    ///
    /// # Formula
    /// `I = (T + T_f)/K`, `ω = (V − R I)/K`
    ///
    /// # Symbols
    /// As [`Motor`].
    ///
    /// # Valid range
    /// The motor turns forward: with `ω < 0` the voltage does not hold the load and the point is the load
    /// driving the motor.
    ///
    /// # Source
    /// As [`Motor`].
    #[must_use]
    pub fn at(&self, volts: Voltage, torque: Energy) -> MotorPoint {
        let current = self.current_for_torque(torque);
        let speed = (volts - self.resistance * current) / self.constant;
        let (electrical, shaft) = (volts * current, torque * speed);
        MotorPoint { current, speed, electrical, shaft, efficiency: (shaft / electrical).value }
    }

    /// Time constant of the run-up: [`mechanical_time_constant`].
    #[must_use]
    pub fn time_constant(&self, inertia: Inertia) -> Time {
        mechanical_time_constant(inertia, self.resistance, self.constant)
    }
}

/// Mean current that a motor behind a chopping speed control takes from the supply.
///
/// # Formula
/// `I_s = D I`, `D = V/V_s`
///
/// # Symbols
/// `I` motor current, A: steady, for its inductance and the free-wheeling diode carry it on; `V` mean voltage that
/// the control puts out, `V_s` voltage of the supply, V; `D` part of the time that it is switched on.
///
/// # Valid range
/// `0 ≤ V ≤ V_s`; a lossless switch at the supply's end of the wire: wire and motor carry `I`, the fuse before the
/// switch carries pulses of `I` whose mean is `I_s` and whose heating value is `I √D`. Energy: `V_s I_s = V I`.
///
/// # Source
/// Mean values of the step-down converter in continuous conduction: N. Mohan, T. M. Undeland, W. P. Robbins, Power
/// Electronics, ch. 7 (from memory).
#[must_use]
pub fn chopped_supply_current(current: Current, mean: Voltage, supply: Voltage) -> Current {
    current * (mean / supply).value
}

/// Motor constant from one running point.
///
/// # Formula
/// `K = (V − R I)/ω`
///
/// # Symbols
/// `V` terminal voltage, V; `I` current, A; `R` armature resistance, Ω; `ω` speed, rad/s.
///
/// # Valid range
/// `ω > 0`.
///
/// # Source
/// As [`Motor`].
#[must_use]
pub fn motor_constant(
    volts: Voltage,
    current: Current,
    resistance: Resistance,
    speed: AngularVelocity,
) -> MotorConstant {
    (volts - resistance * current) / speed
}

/// Power that turns into motion (shaft and friction): `P = E I`.
///
/// # Formula
/// `P = (V − R I) I`
///
/// # Symbols
/// `V` terminal voltage, V; `I` current, A; `R` armature resistance, Ω. At no load it is the rotational
/// loss.
///
/// # Valid range
/// Any.
///
/// # Source
/// As [`Motor`].
#[must_use]
pub fn electromagnetic_power(volts: Voltage, current: Current, resistance: Resistance) -> Power {
    (volts - resistance * current) * current
}

/// Largest mechanical power that a motor can turn out of a voltage.
///
/// # Formula
/// `P = V²/(4R)`, at half the stall torque and half the no-load speed
///
/// # Symbols
/// `V` terminal voltage, V; `R` resistance, Ω (the loop's wiring counts when `V` is the battery's).
///
/// # Valid range
/// Constant `V` and `R`. No pump is run there: half of the power heats the armature.
///
/// # Source
/// Maximum of `(V − R I) I`.
#[must_use]
pub fn max_mechanical_power(volts: Voltage, resistance: Resistance) -> Power {
    volts * volts / (4.0 * resistance)
}

/// Mechanical time constant.
///
/// # Formula
/// `τ = J R/K²`
///
/// # Symbols
/// `J` inertia of rotor and pump, kg·m²; `R` resistance, Ω; `K` motor constant, V·s/rad.
///
/// # Valid range
/// Inductance left out: `L/R` well below `τ`.
///
/// # Source
/// First-order motor.
#[must_use]
pub fn mechanical_time_constant(inertia: Inertia, resistance: Resistance, constant: MotorConstant) -> Time {
    inertia * resistance / (constant * constant)
}
