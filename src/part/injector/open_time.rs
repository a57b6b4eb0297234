//! How long a pulse holds an injector effectively open, from a pulse too short to open it to one that never shuts.

use super::LowPulse;

/// Effective open time of one pulse in one cycle, s.
///
/// # Formula
/// With effective pulse `e = t_w − t_d`:
/// * `e ≤ 0`: 0 (the needle does not leave its seat);
/// * `e < t_s`: `t_s x²(2 − x)`, `x = e/t_s` (ballistic: the needle turns back before its stop);
/// * to `t_w = t − |t_d|`: `e`;
/// * from there to `t_w = t`: linear up to `t` (it shuts later and later before the next pulse);
/// * `t_w ≥ t`: `t` (static: it never shuts, more pulse gives no more fuel).
///
/// # Symbols
/// `t_w` commanded pulse, s; `t_d` dead time, s; `t_s` effective pulse below which flow is no longer
/// proportional, s; `t` cycle, s.
///
/// # Valid range
/// `t > 0` (infinite: engine at rest, nothing), `t_s ≥ 0`. Continuous and rising in `t_w`; joined at `t_s` in value
/// and slope. Where a bench has measured short pulses use [`ShortPulse::Measured`].
///
/// # Source
/// Linear offset model with the terms of SAE J1832 (abstract); both transitions: common practice, no source.
#[must_use]
pub fn open_time(pulse: f64, dead_time: f64, short_pulse: f64, cycle: f64) -> f64 {
    over_all(pulse, dead_time, cycle, |effective| in_range(effective, short_pulse))
}

/// What short pulses deliver beside the straight line.
#[derive(Clone, Debug, PartialEq)]
pub enum ShortPulse {
    /// The curve of [`open_time`] below this effective pulse, s.
    Curve(f64),
    /// A bench's table.
    Measured(LowPulse),
}

impl ShortPulse {
    /// [`open_time`] with this in the place of its ballistic curve.
    #[must_use]
    pub fn open_time(&self, pulse: f64, dead_time: f64, cycle: f64) -> f64 {
        match self {
            Self::Curve(short) => open_time(pulse, dead_time, *short, cycle),
            Self::Measured(table) => over_all(pulse, dead_time, cycle, |effective| table.at_edge(effective)),
        }
    }

    /// Effective pulse above which the line is straight, s.
    #[must_use]
    pub fn straight_from(&self) -> f64 {
        match self {
            Self::Curve(short) => *short,
            Self::Measured(table) => table.straight_from(),
        }
    }
}

/// How an injector comes to the end of a pulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shuts {
    /// Before the next pulse begins.
    InTime,
    /// Ever later before the next pulse: the time left is shorter than the dead time.
    Late,
    /// Never: the pulse fills the cycle.
    Never,
}

impl Shuts {
    /// After a pulse, with a dead time and in a cycle, s.
    #[must_use]
    pub fn after(pulse: f64, dead_time: f64, cycle: f64) -> Self {
        if pulse >= cycle {
            Self::Never
        } else if cycle - pulse < dead_time.abs() {
            Self::Late
        } else {
            Self::InTime
        }
    }
}

/// From a pulse too short to open to one that never shuts, with `inside` between.
fn over_all(pulse: f64, dead_time: f64, cycle: f64, inside: impl Fn(f64) -> f64) -> f64 {
    match Shuts::after(pulse, dead_time, cycle) {
        Shuts::Never => cycle,
        _ if pulse <= 0.0 => 0.0,
        Shuts::Late => {
            let late = dead_time.abs();
            let at_last = inside(cycle - late - dead_time);
            at_last + (cycle - at_last) * (1.0 - (cycle - pulse) / late)
        }
        Shuts::InTime => inside(pulse - dead_time),
    }
}

/// Open time of an effective pulse between not opening and not shutting.
fn in_range(effective: f64, short_pulse: f64) -> f64 {
    if effective <= 0.0 {
        0.0
    } else if effective < short_pulse {
        let x = effective / short_pulse;
        short_pulse * x * x * (2.0 - x)
    } else {
        effective
    }
}
