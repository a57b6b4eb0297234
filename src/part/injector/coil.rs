//! A coil that lifts a needle against its spring and the fuel's pressure: dead time out of the physics.

use crate::stepper::{After, Crossing, Options, System, Tsit5, solve};

/// Coil, needle and the driver that switches them.
///
/// # Formula
/// * on: `L di/dt = V - R i`; off: `L di/dt = -R i - V_c` until `i = 0`
/// * `m d²x/dt² = k i² - F_s - A Δp (1 - x/x_m)`, `0 <= x <= x_m`, no rebound at either stop
/// * flow: that of the open nozzle times `x/x_m`
///
/// # Symbols
/// `i` current, A; `L` inductance, H; `V` supply, V; `R` resistance of coil and its wire, Ω; `V_c` voltage at which the
/// driver clamps the coil once switched off, V; `x` lift, m, `x_m` at the stop; `m` moving mass, kg; `k` pull for the
/// square of current, N/A²; `F_s` spring force, N; `A` seat area that pressure holds shut, m²; `Δp` rail less back
/// pressure, Pa.
///
/// # Valid range
/// Saturated driver (no peak and hold). The inductance is fixed and the pull does not know the gap, so there is no notch in
/// the current as the needle lands and no force left in the iron: short pulses are the least certain part. A pulse that
/// just lets the needle land may be worth a little less than one that does not quite: landing takes its speed.
///
/// # Source
/// Loop law, force of a magnetic circuit `k i²` and Newton's law (textbook). That pressure lets go in proportion to lift is
/// assumed, no source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoilNeedle {
    /// Resistance, Ω.
    pub resistance: f64,
    /// Inductance, H.
    pub inductance: f64,
    /// Voltage at which the driver clamps, V.
    pub clamp: f64,
    /// Pull for the square of current, N/A².
    pub pull: f64,
    /// Spring force, N.
    pub preload: f64,
    /// Moving mass, kg.
    pub mass: f64,
    /// Lift at the stop, m.
    pub lift: f64,
    /// Area that pressure holds shut, m².
    pub seat_area: f64,
}

impl Default for CoilNeedle {
    /// A port injector of high resistance, invented; 14.5 Ω is common practice, no source, the rest assumed.
    fn default() -> Self {
        let bore = 1.6e-3;
        Self {
            resistance: 14.5,
            inductance: 14e-3,
            clamp: 40.0,
            pull: 9.0,
            preload: 1.4,
            mass: 2e-3,
            lift: 8e-5,
            seat_area: std::f64::consts::PI / 4.0 * bore * bore,
        }
    }
}

/// What the driver does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drive {
    /// Switched on.
    On,
    /// Switched off, current still falling.
    Falling,
    /// No current.
    Dead,
}

/// Where the needle is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// On its seat.
    Seat,
    /// On its way.
    Between,
    /// Against its stop.
    Stop,
}

/// Driver and needle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stage {
    /// The driver.
    pub drive: Drive,
    /// The needle.
    pub at: At,
}

impl Stage {
    /// Shut and without current.
    pub const REST: Self = Self { drive: Drive::Dead, at: At::Seat };

    /// The driver switched on or off at a current, A.
    #[must_use]
    pub fn switched(self, on: bool, current: f64) -> Self {
        let drive = match (on, current > 0.0) {
            (true, _) => Drive::On,
            (false, true) => Drive::Falling,
            (false, false) => Drive::Dead,
        };
        Self { drive, ..self }
    }
}

/// Sign changes that [`CoilNeedle::guards`] watches.
pub const GUARDS: usize = 3;
/// How far past a stop, m, and past balance, N, a needle is when it is taken to be there: below anything felt.
const LIFT_SLACK: f64 = 1e-9;
const FORCE_SLACK: f64 = 1e-6;

impl CoilNeedle {
    /// Names the first key that cannot be.
    ///
    /// # Errors
    /// The key and its value.
    pub fn validate(&self) -> Result<(), (&'static str, f64)> {
        let sizes = [
            ("coil_resistance", self.resistance),
            ("coil_inductance", self.inductance),
            ("clamp_voltage", self.clamp),
            ("pull", self.pull),
            ("needle_preload", self.preload),
            ("needle_mass", self.mass),
            ("needle_lift", self.lift),
            ("seat_bore", self.seat_area),
        ];
        sizes.into_iter().find(|(_, v)| !(v.is_finite() && *v > 0.0)).map_or(Ok(()), Err)
    }

    /// Current that a steady supply comes to, A: `V/R`.
    #[must_use]
    pub fn steady_current(&self, volts: f64) -> f64 {
        volts / self.resistance
    }

    /// Current at which the needle leaves its seat, A: `√((F_s + A Δp)/k)`.
    #[must_use]
    pub fn opening_current(&self, dp: f64) -> f64 {
        ((self.preload + self.seat_area * dp).max(0.0) / self.pull).sqrt()
    }

    /// Current at which it leaves its stop, A: `√(F_s/k)`.
    #[must_use]
    pub fn release_current(&self) -> f64 {
        (self.preload / self.pull).sqrt()
    }

    /// Time from switching on until the needle leaves its seat, s: `-(L/R) ln(1 - R i_o/V)`. None where the supply cannot
    /// lift it.
    #[must_use]
    pub fn lift_off(&self, volts: f64, dp: f64) -> Option<f64> {
        let part = self.opening_current(dp) / self.steady_current(volts);
        (part < 1.0).then(|| -self.inductance / self.resistance * (-part).ln_1p())
    }

    /// Force that opens, N.
    #[must_use]
    #[inline]
    pub fn force(&self, current: f64, lift: f64, dp: f64) -> f64 {
        // Past its end, where a step may look, current pulls no more: the stop is left once and not entered again.
        self.pull * current * current.max(0.0) - self.preload - self.seat_area * dp * (1.0 - lift / self.lift)
    }

    /// Rates of current, lift and speed.
    #[must_use]
    #[inline]
    pub fn rates(&self, stage: Stage, volts: f64, dp: f64, [i, x, v]: [f64; 3]) -> [f64; 3] {
        let current = match stage.drive {
            Drive::On => (volts - self.resistance * i) / self.inductance,
            Drive::Falling => (-self.clamp - self.resistance * i) / self.inductance,
            Drive::Dead => 0.0,
        };
        match stage.at {
            At::Between => [current, v, self.force(i, x, dp) / self.mass],
            At::Seat | At::Stop => [current, 0.0, 0.0],
        }
    }

    /// Above zero until current ends, or the needle meets or leaves a stop.
    #[must_use]
    pub fn guards(&self, stage: Stage, dp: f64, [i, x, _]: [f64; 3]) -> [f64; GUARDS] {
        let ends = if stage.drive == Drive::Falling { i } else { 1.0 };
        match stage.at {
            At::Seat => [ends, FORCE_SLACK - self.force(i, 0.0, dp), 1.0],
            At::Stop => [ends, FORCE_SLACK + self.force(i, self.lift, dp), 1.0],
            At::Between => [ends, self.lift - x + LIFT_SLACK, x + LIFT_SLACK],
        }
    }

    /// The stage after a guard has changed its sign; puts the needle on the stop that it met.
    #[must_use]
    pub fn after(&self, stage: Stage, guard: usize, dp: f64, state: &mut [f64; 3]) -> Stage {
        if guard == 0 {
            state[0] = 0.0;
            return Stage { drive: Drive::Dead, ..stage };
        }
        let at = match (stage.at, guard) {
            (At::Seat | At::Stop, _) => At::Between,
            (At::Between, 1) => {
                (state[1], state[2]) = (self.lift, 0.0);
                if self.force(state[0], self.lift, dp) >= -FORCE_SLACK { At::Stop } else { At::Between }
            }
            (At::Between, _) => {
                (state[1], state[2]) = (0.0, 0.0);
                if self.force(state[0], 0.0, dp) <= FORCE_SLACK { At::Seat } else { At::Between }
            }
        };
        Stage { at, ..stage }
    }

    /// How long one pulse, s, is worth at full lift, s: `∫ x/x_m dt`, at a supply, V, and difference, Pa, that stand still.
    /// Zero where the needle does not leave its seat.
    #[must_use]
    pub fn open_time(&self, pulse: f64, volts: f64, dp: f64) -> f64 {
        let mut one = Alone { law: *self, volts, dp, pulse, stage: Stage { drive: Drive::On, at: At::Seat } };
        let mut options = Options::with_absolute(0.0, [1e-7, 1e-12, 1e-7, 1e-11]);
        options.event_time = 1e-12;
        // Longer than any needle takes to come back.
        let end = pulse + 0.1;
        solve(&mut one, &mut Tsit5::new(), 0.0, [0.0; 4], end, &options, &mut ()).map_or(0.0, |run| run.y[3])
    }

    /// Dead time, s: a pulse of 20 ms less what it is worth.
    #[must_use]
    pub fn dead_time(&self, volts: f64, dp: f64) -> f64 {
        let long = 20e-3;
        long - self.open_time(long, volts, dp)
    }
}

/// One injector by itself: current, lift, speed and open time.
struct Alone {
    law: CoilNeedle,
    volts: f64,
    dp: f64,
    pulse: f64,
    stage: Stage,
}

impl System<4> for Alone {
    fn rhs(&self, _t: f64, y: &[f64; 4], dy: &mut [f64; 4]) {
        let state = [y[0], y[1], y[2]];
        dy[..3].copy_from_slice(&self.law.rates(self.stage, self.volts, self.dp, state));
        dy[3] = y[1] / self.law.lift;
    }

    fn next_time_event(&self, _t: f64) -> Option<f64> {
        (self.stage.drive == Drive::On).then_some(self.pulse)
    }

    fn at_time_event(&mut self, _t: f64, y: &mut [f64; 4]) -> After {
        self.stage = self.stage.switched(false, y[0]);
        After::Restart
    }

    fn root_count(&self) -> usize {
        GUARDS
    }

    fn roots(&self, _t: f64, y: &[f64; 4], g: &mut [f64]) {
        g.copy_from_slice(&self.law.guards(self.stage, self.dp, [y[0], y[1], y[2]]));
    }

    fn is_guard(&self, _root: usize) -> bool {
        true
    }

    fn at_root(&mut self, crossing: Crossing, _t: f64, y: &mut [f64; 4]) -> After {
        let mut state = [y[0], y[1], y[2]];
        self.stage = self.law.after(self.stage, crossing.root, self.dp, &mut state);
        y[..3].copy_from_slice(&state);
        After::Restart
    }
}
