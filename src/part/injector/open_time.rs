//! How long a pulse holds an injector effectively open, from a pulse too short to open it to one that never shuts.

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
/// and slope. Where a bench has measured short pulses use [`LowPulse`](super::LowPulse).
///
/// # Source
/// Linear offset model with the terms of SAE J1832 (abstract); both transitions: common practice, no source.
#[must_use]
pub fn open_time(pulse: f64, dead_time: f64, short_pulse: f64, cycle: f64) -> f64 {
    if pulse >= cycle {
        return cycle;
    }
    if pulse <= 0.0 {
        return 0.0;
    }
    let (shut, late) = (cycle - pulse, dead_time.abs());
    if shut < late {
        let at_last = in_range(cycle - late - dead_time, short_pulse);
        return at_last + (cycle - at_last) * (1.0 - shut / late);
    }
    in_range(pulse - dead_time, short_pulse)
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
