//! The laws of the parts, lane by lane: the same as in [`crate::part`], written without branches.

use super::ask::{Ask, Setting};
use super::columns::{Car, Leg, Pump, Series};
use super::math::{f_times_re, max, min};
use super::reduced::{Compensation, Layout, LegLayout, SeriesLayout};
use crate::part::check_valve::CLOSED_SLOPE;
use crate::part::orifice::DP_SMALL;

/// Part of its flow that a vapour-locked pump still weeps, as in [`crate::part::pump`].
const LEAST_DERATING: f64 = 0.05;

/// Loss of parts in series and its slope.
#[inline(always)]
pub(super) fn series<const W: usize>(
    lay: &SeriesLayout,
    s: &Series<W>,
    q: &[f64; W],
    loss: &mut [f64; W],
    slope: &mut [f64; W],
) {
    for i in 0..W {
        let quad = s.quad[i] * q[i].abs();
        loss[i] = s.head[i] + (s.lin[i] + quad) * q[i];
        slope[i] = s.lin[i] + 2.0 * quad;
    }
    for line in &s.line[..lay.lines()] {
        for i in 0..W {
            let (phi, rise) = f_times_re(line.re[i] * q[i].abs(), line.rough[i]);
            loss[i] += line.visc[i] * phi * q[i];
            slope[i] += line.visc[i] * (phi + rise);
        }
    }
    if lay.has_check() {
        for i in 0..W {
            let y = q[i] * s.valve[i];
            let y2 = y * y;
            let r = (y2 * y2 + 4.0 * DP_SMALL * DP_SMALL).sqrt();
            let h = (0.5 * (y2 + r)).sqrt();
            let open = q[i] > 0.0;
            loss[i] += s.crack[i] + if open { y * h } else { s.shut[i] * q[i] };
            slope[i] += if open { s.valve[i] * (h + 0.5 * y2 * (1.0 + y2 / r) / h) } else { s.shut[i] };
        }
    }
}

/// What a pump does at a flow.
pub(super) struct Work<const W: usize> {
    pub rise: [f64; W],
    /// Change of rise with flow.
    pub slope: [f64; W],
    /// Change of rise with inlet pressure.
    pub by_inlet: [f64; W],
    pub current: [f64; W],
}

#[inline(always)]
fn element(t: f64, u: f64, q: f64, drive: f64, r: f64) -> (f64, f64) {
    let drive = max(drive, 0.0);
    let qb = 1.0 - u * r * q;
    let root = (qb * qb + 4.0 * t * r * drive).sqrt();
    let e = 2.0 * drive / (qb + root);
    (e, u * r * e / root)
}

/// The pump, its motor and wire at a flow and an inlet pressure above vapour pressure.
#[inline(always)]
pub(super) fn pump<const W: usize>(
    regenerative: bool,
    p: &Pump<W>,
    volts: &[f64; W],
    q: &[f64; W],
    margin: &[f64; W],
    out: &mut Work<W>,
) {
    let (mut derating, mut by_margin) = ([1.0; W], [0.0; W]);
    for i in 0..W {
        let needs = p.required[i];
        let f = margin[i] / max(needs, 1e-9);
        let enough = needs <= 0.0 || margin[i] >= needs;
        let least = f <= LEAST_DERATING;
        let enough = enough || q[i] <= 0.0; // what runs backwards is not derated
        derating[i] = if enough { 1.0 } else { max(f, LEAST_DERATING) };
        by_margin[i] = if enough || least { 0.0 } else { 1.0 / max(needs, 1e-9) };
    }
    let mut inner = [0.0; W];
    let mut fall = [0.0; W];
    for i in 0..W {
        inner[i] = q[i] / derating[i];
    }
    if regenerative {
        let mut q_element = inner;
        for i in 0..W {
            let drive = volts[i] - p.r[i] * p.idle[i];
            let (e, e_q) = element(p.t[i], p.u[i], inner[i], drive, p.r[i]);
            out.rise[i] = (p.a[i] * e - p.b[i] * inner[i]) * e;
            fall[i] = (2.0 * p.a[i] * e - p.b[i] * inner[i]) * e_q - p.b[i] * e;
        }
        // The internal relief: the element falls with flow, so Newton from above stays above the root.
        let mut resting = [0.0; W];
        for _ in 0..50 {
            let mut left = 0.0;
            for i in 0..W {
                let over = (out.rise[i] > p.relief[i] || q_element[i] > inner[i]) && resting[i] == 0.0;
                let qe = inner[i] + max(out.rise[i] - p.relief[i], 0.0) / p.relief_slope[i];
                let drive = volts[i] - p.r[i] * p.idle[i];
                let (e, e_q) = element(p.t[i], p.u[i], qe, drive, p.r[i]);
                let f = (p.a[i] * e - p.b[i] * qe) * e;
                let f_q = (2.0 * p.a[i] * e - p.b[i] * qe) * e_q - p.b[i] * e;
                let step = if over { (f - out.rise[i]) / (1.0 - f_q / p.relief_slope[i]) } else { 0.0 };
                out.rise[i] += step;
                q_element[i] = if over { qe } else { q_element[i] };
                fall[i] = if over { f_q } else { fall[i] };
                resting[i] = if step.abs() < 1e-7 { 1.0 } else { 0.0 }; // a lane does not wait for its neighbours
                left = max(step.abs(), left);
            }
            if left < 1e-7 {
                break;
            }
        }
        for i in 0..W {
            let over = out.rise[i] > p.relief[i];
            fall[i] = if over { fall[i] / (1.0 - fall[i] / p.relief_slope[i]) } else { fall[i] };
            let qe = inner[i] + max(out.rise[i] - p.relief[i], 0.0) / p.relief_slope[i];
            let drive = volts[i] - p.r[i] * p.idle[i];
            let (e, _) = element(p.t[i], p.u[i], qe, drive, p.r[i]);
            out.current[i] = p.idle[i] + (p.t[i] * e - p.u[i] * qe) * e;
        }
    } else {
        for i in 0..W {
            let drive = p.g[i] * (volts[i] - p.idle[i] * p.r[i]) - inner[i];
            let stiff = p.g[i] * p.c[i] * p.r[i] + p.slip[i];
            let free = drive / stiff;
            let over = free > p.relief[i];
            let relieved = stiff + 1.0 / p.relief_slope[i];
            out.rise[i] = if over { (drive + p.relief[i] / p.relief_slope[i]) / relieved } else { free };
            fall[i] = -1.0 / if over { relieved } else { stiff };
            out.current[i] = p.idle[i] + p.c[i] * out.rise[i];
        }
    }
    for i in 0..W {
        out.slope[i] = fall[i] / derating[i];
        out.by_inlet[i] = -fall[i] * inner[i] / derating[i] * by_margin[i];
    }
}

/// About the flow of a pump against a rise, relief and derating left out.
#[inline(always)]
pub(super) fn against<const W: usize>(
    regenerative: bool,
    p: &Pump<W>,
    volts: &[f64; W],
    rise: &[f64; W],
) -> [f64; W] {
    let mut q = [1e-5; W];
    for i in 0..W {
        let drive = volts[i] - p.r[i] * p.idle[i];
        if regenerative {
            for _ in 0..2 {
                let (e, _) = element(p.t[i], p.u[i], q[i], drive, p.r[i]);
                let e = max(e, 1e-3);
                q[i] = (p.a[i] * e - rise[i] / e) / p.b[i];
                q[i] = min(max(q[i], 1e-7), 2e-4);
            }
        } else {
            q[i] = p.g[i] * drive - (p.g[i] * p.c[i] * p.r[i] + p.slip[i]) * rise[i];
            q[i] = min(max(q[i], 1e-7), 2e-4);
        }
    }
    q
}

/// Pressure at the end of a pump's leg, and what leads to it.
pub(super) struct LegEnd<const W: usize> {
    pub p: [f64; W],
    pub slope: [f64; W],
    pub inlet: [f64; W],
    /// Change of inlet pressure with flow, negative.
    pub inlet_slope: [f64; W],
    /// Change of rise with inlet pressure: not zero where vapour takes flow.
    pub by_inlet: [f64; W],
}

/// A pump's leg at a flow.
#[inline(always)]
pub(super) fn leg<const W: usize>(
    lay: &LegLayout,
    leg: &Leg<W>,
    vapour: &[f64; W],
    volts: &[f64; W],
    boost: f64,
    q: &[f64; W],
) -> LegEnd<W> {
    let (mut before, mut before_slope) = ([0.0; W], [0.0; W]);
    let (mut after, mut after_slope) = ([0.0; W], [0.0; W]);
    series(&lay.before, &leg.before, q, &mut before, &mut before_slope);
    series(&lay.after, &leg.after, q, &mut after, &mut after_slope);
    let mut inlet = [0.0; W];
    let mut margin = [0.0; W];
    for i in 0..W {
        inlet[i] = leg.from[i] - before[i];
        margin[i] = inlet[i] - vapour[i];
    }
    let mut work = Work { rise: [0.0; W], slope: [0.0; W], by_inlet: [0.0; W], current: [0.0; W] };
    pump(lay.regenerative, &leg.pump, volts, q, &margin, &mut work);
    let (mut p, mut slope) = ([0.0; W], [0.0; W]);
    for i in 0..W {
        let on = boost > leg.on_above[i]; // a stopped element holds
        let rise = if on { work.rise[i] } else { -CLOSED_SLOPE * q[i] };
        let by_flow = if on { work.slope[i] } else { -CLOSED_SLOPE };
        let by_inlet = if on { work.by_inlet[i] } else { 0.0 };
        p[i] = inlet[i] + rise - after[i];
        slope[i] = by_flow - (1.0 + by_inlet) * before_slope[i] - after_slope[i];
        before_slope[i] = -before_slope[i];
    }
    LegEnd { p, slope, inlet, inlet_slope: before_slope, by_inlet: work.by_inlet }
}

/// Mean flow of the injectors, its slope, the pulse and the open time.
pub(super) struct Injected<const W: usize> {
    pub q: [f64; W],
    pub slope: [f64; W],
    pub pulse: [f64; W],
}

/// The injectors at a pressure difference.
#[inline(always)]
pub(super) fn inject<const W: usize>(
    lay: &Layout,
    car: &Car<W>,
    ask: &Ask<W>,
    set: &Setting,
    dp: &[f64; W],
) -> Injected<W> {
    let j = &car.injection;
    let cycle = set.cycle;
    let (mut open, mut open_slope) = ([0.0; W], [0.0; W]);
    let mut pulse = ask.pulse;
    if set.running {
        let (dead, dead_slope) = ask.dead_at(lay, dp);
        let mut pulse_slope = [0.0; W];
        if lay.compensation == Compensation::RailSensor {
            for i in 0..W {
                let at = max(dp[i], 1.0);
                let width = ask.mass[i] / (j.coefficient[i] * at.sqrt());
                let asked = width + dead[i] + j.dead_error[i];
                pulse[i] = min(asked, cycle);
                let falls = if dp[i] > 1.0 { -0.5 * width / at } else { 0.0 };
                pulse_slope[i] = if asked < cycle { falls + dead_slope[i] } else { 0.0 };
            }
        }
        for i in 0..W {
            let short = j.short[i];
            // From not opening to not shutting; late: it shuts ever later before the next pulse.
            let late = dead[i].abs();
            let left = cycle - pulse[i];
            let leaves = left < late;
            let effective = if leaves { cycle - late - dead[i] } else { pulse[i] - dead[i] };
            let time = max(effective, 0.0);
            let x = time / max(short, 1e-12);
            let brief = time < short;
            let inside = if brief { short * x * x * (2.0 - x) } else { time };
            let lever = if effective <= 0.0 {
                0.0
            } else if brief {
                x * (4.0 - 3.0 * x)
            } else {
                1.0
            };
            let moved = lever * (pulse_slope[i] - dead_slope[i]);
            let late_slope = if dead[i] < 0.0 { -dead_slope[i] } else { dead_slope[i] };
            let share = 1.0 - left / max(late, 1e-12);
            let at_last_slope = lever * (-late_slope - dead_slope[i]);
            let share_slope = (pulse_slope[i] + left / max(late, 1e-12) * late_slope) / max(late, 1e-12);
            let late_open = inside + (cycle - inside) * share;
            let late_moved = at_last_slope * (1.0 - share) + (cycle - inside) * share_slope;
            let held = pulse[i] >= cycle;
            let off = pulse[i] <= 0.0;
            let some = if leaves { late_open } else { inside };
            let some_slope = if leaves { late_moved } else { moved };
            open[i] = if off {
                0.0
            } else if held {
                cycle
            } else {
                some
            };
            open_slope[i] = if off || held { 0.0 } else { some_slope };
        }
    }
    let (mut q, mut slope) = ([0.0; W], [0.0; W]);
    let part = if set.running { 1.0 / cycle } else { 0.0 };
    for i in 0..W {
        let square = dp[i] * dp[i] + DP_SMALL * DP_SMALL;
        let fourth = square.sqrt().sqrt();
        let unit = dp[i] / fourth;
        let unit_slope = (1.0 - 0.5 * dp[i] * dp[i] / square) / fourth;
        let wide = j.open[i] * open[i] * part + j.leak[i];
        q[i] = wide * unit;
        slope[i] = wide * unit_slope + j.open[i] * open_slope[i] * part * unit;
    }
    Injected { q, slope, pulse }
}

/// What passes shut injectors at a difference.
#[inline(always)]
pub(super) fn seep(leak: f64, dp: f64) -> f64 {
    let square = dp * dp + DP_SMALL * DP_SMALL;
    leak * dp / square.sqrt().sqrt()
}
