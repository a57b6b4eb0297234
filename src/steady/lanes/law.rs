//! The laws of the parts, lane by lane: the same as in [`crate::part`], written without branches.

use super::ask::{Ask, Setting};
use super::columns::{Car, Leg, Pump, Row, Series};
use super::math::{fma, friction, max, min};
use super::reduced::{Compensation, Layout, LegLayout, SeriesLayout};
use crate::part::check_valve::CLOSED_SLOPE;
use crate::part::orifice::DP_SMALL;
use crate::part::pump::LEAST_EMF;

/// Part of its flow that a vapour-locked pump still weeps, as in [`crate::part::pump`].
const LEAST_DERATING: f64 = 0.05;

/// A loss about a flow at which it was computed: value, slope and half the curvature.
#[derive(Clone, Debug)]
pub(super) struct Near<const W: usize> {
    at: Row<W>,
    /// How far from there the expansion holds.
    reach: Row<W>,
    loss: Row<W>,
    slope: Row<W>,
    bend: Row<W>,
}

/// Part of the flow over which a quadratic stands for the loss, where the friction's exponent hardly changes and in
/// transition (Reynolds numbers of 2000 to 4000): it leaves less than 2.5e-6 of a line's loss, which is tested below.
const REACH: f64 = 0.015;
const REACH_IN_TRANSITION: f64 = 0.002;

impl<const W: usize> Near<W> {
    /// Nothing computed yet.
    pub fn nowhere() -> Self {
        let z = Row::<W>::of(0.0);
        Self { at: z, reach: Row::<W>::of(-1.0), loss: z, slope: z, bend: z }
    }

    /// Forgets what was computed: the car is another.
    pub fn forget(&mut self) {
        self.reach = Row::<W>::of(-1.0);
    }
}

/// How far a line's expansion holds, from its friction with first and second slope over ln Re.
#[inline(always)]
fn reach_of(phi: f64, rise: f64, bent: f64) -> f64 {
    // How the exponent of the flow changes with ln Re.
    let changes = fma(bent, phi, -rise * rise).abs();
    if changes < 0.1 * phi * phi && rise < 1.05 * phi { REACH } else { REACH_IN_TRANSITION }
}

/// Loss of parts in series and its slope, by the exact laws.
#[inline(always)]
pub(super) fn series<const W: usize>(
    lay: &SeriesLayout,
    s: &Series<W>,
    q: &Row<W>,
    loss: &mut Row<W>,
    slope: &mut Row<W>,
) {
    let (mut bend, mut reach) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
    expand(lay, s, q, loss, slope, &mut bend, &mut reach);
}

/// The same with half the curvature and how far the expansion holds.
#[inline(always)]
fn expand<const W: usize>(
    lay: &SeriesLayout,
    s: &Series<W>,
    q: &Row<W>,
    loss: &mut Row<W>,
    slope: &mut Row<W>,
    bend: &mut Row<W>,
    reach: &mut Row<W>,
) {
    for i in 0..W {
        let signed = if q[i] < 0.0 { -s.quad[i] } else { s.quad[i] };
        let quad = signed * q[i];
        loss[i] = fma(s.lin[i] + quad, q[i], s.head[i]);
        slope[i] = fma(2.0, quad, s.lin[i]);
        bend[i] = signed;
        reach[i] = REACH;
    }
    for line in &s.line[..lay.lines()] {
        for i in 0..W {
            let size = q[i].abs();
            let (phi, rise, bent) = friction(line.re[i] * size, line.rough[i]);
            let visc = line.visc[i];
            loss[i] = fma(visc * phi, q[i], loss[i]);
            slope[i] = fma(visc, phi + rise, slope[i]);
            bend[i] +=
                0.5 * visc * (rise + bent) / if q[i] < 0.0 { min(q[i], -1e-12) } else { max(q[i], 1e-12) };
            reach[i] = min(reach[i], reach_of(phi, rise, bent));
        }
    }
    if lay.has_check() {
        for i in 0..W {
            let y = q[i] * s.valve[i];
            let y2 = y * y;
            let r = fma(y2, y2, 4.0 * DP_SMALL * DP_SMALL).sqrt();
            let h = (0.5 * (y2 + r)).sqrt();
            let open = q[i] > 0.0;
            loss[i] += s.crack[i] + if open { y * h } else { s.shut[i] * q[i] };
            slope[i] += if open { s.valve[i] * (h + 0.5 * y2 * (1.0 + y2 / r) / h) } else { s.shut[i] };
            bend[i] += s.valve[i] * s.valve[i];
            // Near nothing the square is rounded off.
            reach[i] = if open && y2 > 30.0 * DP_SMALL { reach[i] } else { 0.0 };
        }
    }
    for i in 0..W {
        reach[i] *= q[i].abs();
    }
}

/// Loss of parts in series and its slope: expanded about a flow nearby, which is moved here when it is too far. A lane
/// moves its own only. `reach` stretches what is near: a step that is not the last need not be exact.
#[inline(always)]
pub(super) fn series_near<const W: usize>(
    lay: &SeriesLayout,
    s: &Series<W>,
    near: &mut Near<W>,
    reach: f64,
    q: &Row<W>,
    loss: &mut Row<W>,
    slope: &mut Row<W>,
) {
    if lay.lines() == 0 && !lay.has_check() {
        series(lay, s, q, loss, slope);
        return;
    }
    let mut any = false;
    for i in 0..W {
        any |= (q[i] - near.at[i]).abs() > reach * near.reach[i];
    }
    if any {
        let (mut p, mut by, mut bend, mut holds) =
            (Row::<W>::of(0.0), Row::<W>::of(0.0), Row::<W>::of(0.0), Row::<W>::of(0.0));
        expand(lay, s, q, &mut p, &mut by, &mut bend, &mut holds);
        for i in 0..W {
            let far = (q[i] - near.at[i]).abs() > reach * near.reach[i];
            near.loss[i] = if far { p[i] } else { near.loss[i] };
            near.slope[i] = if far { by[i] } else { near.slope[i] };
            near.bend[i] = if far { bend[i] } else { near.bend[i] };
            near.reach[i] = if far { holds[i] } else { near.reach[i] };
            near.at[i] = if far { q[i] } else { near.at[i] };
        }
    }
    for i in 0..W {
        let by = q[i] - near.at[i];
        let bent = near.bend[i] * by;
        loss[i] = fma(near.slope[i] + bent, by, near.loss[i]);
        slope[i] = fma(2.0, bent, near.slope[i]);
    }
}

/// What a pump does at a flow.
pub(super) struct Work<const W: usize> {
    pub rise: Row<W>,
    /// Change of rise with flow.
    pub slope: Row<W>,
    /// Change of rise with inlet pressure.
    pub by_inlet: Row<W>,
    pub current: Row<W>,
}

#[inline(always)]
fn element(t: f64, u: f64, q: f64, drive: f64, r: f64) -> (f64, f64) {
    let drive = max(drive, 0.0);
    let qb = 1.0 - u * r * q;
    let root = (qb * qb + 4.0 * t * r * drive).sqrt();
    let e = 2.0 * drive / (qb + root);
    let turns = e > LEAST_EMF;
    (max(e, LEAST_EMF), if turns { u * r * e / root } else { 0.0 })
}

/// The pump, its motor and wire at a flow and an inlet pressure above vapour pressure.
#[inline(always)]
pub(super) fn pump<const W: usize>(
    regenerative: bool,
    p: &Pump<W>,
    volts: &Row<W>,
    q: &Row<W>,
    margin: &Row<W>,
    out: &mut Work<W>,
) {
    let (mut derating, mut by_margin, mut inner) = (Row::<W>::of(1.0), Row::<W>::of(0.0), *q);
    let mut strained = false;
    for i in 0..W {
        strained |= margin[i] < p.required[i] && p.required[i] > 0.0 && q[i] > 0.0;
    }
    if strained {
        for i in 0..W {
            let f = margin[i] * p.over_required[i];
            // What runs backwards is not derated.
            let enough = margin[i] >= p.required[i] || p.required[i] <= 0.0 || q[i] <= 0.0;
            let least = f <= LEAST_DERATING;
            derating[i] = if enough { 1.0 } else { max(f, LEAST_DERATING) };
            by_margin[i] = if enough || least { 0.0 } else { p.over_required[i] };
            inner[i] = q[i] / derating[i];
        }
    }
    let mut fall = Row::<W>::of(0.0);
    if regenerative {
        let mut q_element = inner;
        for i in 0..W {
            let drive = volts[i] - p.r[i] * p.idle[i];
            let (e, e_q) = element(p.t[i], p.u[i], inner[i], drive, p.r[i]);
            out.rise[i] = (p.a[i] * e - p.b[i] * inner[i]) * e;
            fall[i] = (2.0 * p.a[i] * e - p.b[i] * inner[i]) * e_q - p.b[i] * e;
        }
        // The internal relief: the element falls with flow, so Newton from above stays above the root.
        let mut resting = Row::<W>::of(0.0);
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
            let turning = p.idle[i] + (p.t[i] * e - p.u[i] * qe) * e;
            let stalled = min(turning, max((volts[i] - e) / p.r[i], 0.0));
            out.current[i] = if e > LEAST_EMF { turning } else { stalled };
        }
    } else {
        let mut relieved = false;
        for i in 0..W {
            let drive = fma(p.g[i], volts[i], -p.still[i]) - inner[i];
            out.rise[i] = drive * p.over_stiff[i];
            fall[i] = -p.over_stiff[i];
            relieved |= out.rise[i] > p.relief[i];
        }
        if relieved {
            for i in 0..W {
                let drive = fma(p.g[i], volts[i], -p.still[i]) - inner[i];
                let over = out.rise[i] > p.relief[i];
                let opens = 1.0 / p.relief_slope[i];
                let all = p.stiff[i] + opens;
                out.rise[i] = if over { fma(p.relief[i], opens, drive) / all } else { out.rise[i] };
                fall[i] = if over { -1.0 / all } else { fall[i] };
            }
        }
        for i in 0..W {
            out.current[i] = fma(p.c[i], out.rise[i], p.idle[i]);
        }
    }
    if strained {
        for i in 0..W {
            out.slope[i] = fall[i] / derating[i];
            out.by_inlet[i] = -fall[i] * inner[i] / derating[i] * by_margin[i];
        }
    } else {
        out.slope = fall;
        out.by_inlet = Row::<W>::of(0.0);
    }
}

/// About the flow of a pump against a rise, relief and derating left out.
#[inline(always)]
pub(super) fn against<const W: usize>(
    regenerative: bool,
    p: &Pump<W>,
    volts: &Row<W>,
    rise: &Row<W>,
) -> Row<W> {
    let mut q = Row::<W>::of(1e-5);
    for i in 0..W {
        let drive = volts[i] - p.r[i] * p.idle[i];
        if regenerative {
            for _ in 0..2 {
                let (e, _) = element(p.t[i], p.u[i], q[i], drive, p.r[i]);
                q[i] = (p.a[i] * e - rise[i] / e) / p.b[i];
                q[i] = min(max(q[i], 1e-7), 2e-4);
            }
        } else {
            q[i] = p.g[i] * drive - p.stiff[i] * rise[i];
            q[i] = min(max(q[i], 1e-7), 2e-4);
        }
    }
    q
}

/// Pressure at the end of a pump's leg, and what leads to it.
pub(super) struct LegEnd<const W: usize> {
    pub p: Row<W>,
    pub slope: Row<W>,
    pub inlet: Row<W>,
    /// Change of inlet pressure with flow, negative.
    pub inlet_slope: Row<W>,
    /// Change of rise with inlet pressure: not zero where vapour takes flow.
    pub by_inlet: Row<W>,
}

/// What was computed of a leg nearby.
#[derive(Clone, Debug)]
pub(super) struct NearLeg<const W: usize> {
    before: Near<W>,
    after: Near<W>,
}

impl<const W: usize> NearLeg<W> {
    pub fn nowhere() -> Self {
        Self { before: Near::nowhere(), after: Near::nowhere() }
    }

    pub fn forget(&mut self) {
        self.before.forget();
        self.after.forget();
    }
}

/// A pump's leg at a flow.
#[allow(clippy::too_many_arguments)]
#[inline(always)]
pub(super) fn leg<const W: usize>(
    lay: &LegLayout,
    leg: &Leg<W>,
    near: &mut NearLeg<W>,
    reach: f64,
    vapour: &Row<W>,
    volts: &Row<W>,
    boost: f64,
    q: &Row<W>,
) -> LegEnd<W> {
    let (mut before, mut before_slope) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
    let (mut after, mut after_slope) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
    series_near(&lay.before, &leg.before, &mut near.before, reach, q, &mut before, &mut before_slope);
    series_near(&lay.after, &leg.after, &mut near.after, reach, q, &mut after, &mut after_slope);
    let mut inlet = Row::<W>::of(0.0);
    let mut margin = Row::<W>::of(0.0);
    for i in 0..W {
        inlet[i] = leg.from[i] - before[i];
        margin[i] = inlet[i] - vapour[i];
    }
    let mut work = Work {
        rise: Row::<W>::of(0.0),
        slope: Row::<W>::of(0.0),
        by_inlet: Row::<W>::of(0.0),
        current: Row::<W>::of(0.0),
    };
    pump(lay.regenerative, &leg.pump, volts, q, &margin, &mut work);
    let (mut p, mut slope) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
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
    pub q: Row<W>,
    pub slope: Row<W>,
    pub pulse: Row<W>,
}

/// The injectors at a pressure difference.
#[inline(always)]
pub(super) fn inject<const W: usize>(
    lay: &Layout,
    car: &Car<W>,
    ask: &Ask<W>,
    set: &Setting,
    dp: &Row<W>,
) -> Injected<W> {
    let j = &car.injection;
    let cycle = set.cycle;
    let (mut open, mut open_slope) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
    let mut pulse = ask.pulse;
    if set.running {
        let (dead, dead_slope) = ask.dead_at(lay, dp);
        let mut pulse_slope = Row::<W>::of(0.0);
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
        // Most draws are between not opening in full and not shutting in full.
        let mut unusual = false;
        for i in 0..W {
            let effective = pulse[i] - dead[i];
            open[i] = effective;
            open_slope[i] = pulse_slope[i] - dead_slope[i];
            let usual = cycle - pulse[i] >= dead[i].abs() && effective >= j.short[i] && pulse[i] > 0.0;
            unusual |= !usual;
        }
        if unusual {
            for i in 0..W {
                let short = j.short[i];
                // From not opening to not shutting; late: it shuts ever later before the next pulse.
                let late = dead[i].abs();
                let left = cycle - pulse[i];
                let leaves = left < late;
                let effective = if leaves { cycle - late - dead[i] } else { pulse[i] - dead[i] };
                let time = max(effective, 0.0);
                let x = time * j.over_short[i];
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
                let over_late = 1.0 / max(late, 1e-12);
                let share = 1.0 - left * over_late;
                let at_last_slope = lever * (-late_slope - dead_slope[i]);
                let share_slope = (pulse_slope[i] + left * over_late * late_slope) * over_late;
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
    }
    let (mut q, mut slope) = (Row::<W>::of(0.0), Row::<W>::of(0.0));
    let part = if set.running { 1.0 / cycle } else { 0.0 };
    for i in 0..W {
        let square = fma(dp[i], dp[i], DP_SMALL * DP_SMALL);
        let over_fourth = 1.0 / square.sqrt().sqrt();
        let unit = dp[i] * over_fourth;
        let over = over_fourth * over_fourth;
        let unit_slope = fma(-0.5 * unit * unit, over, 1.0) * over_fourth;
        let full = j.open[i] * part;
        let wide = fma(full, open[i], j.leak[i]);
        q[i] = wide * unit;
        slope[i] = fma(wide, unit_slope, full * open_slope[i] * unit);
    }
    Injected { q, slope, pulse }
}

/// What passes shut injectors at a difference.
#[inline(always)]
pub(super) fn seep(leak: f64, dp: f64) -> f64 {
    let square = dp * dp + DP_SMALL * DP_SMALL;
    leak * dp / square.sqrt().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The exact law at the ends of the reach, over all regimes and roughnesses.
    #[test]
    fn an_expansion_holds_over_its_reach() {
        let (mut worst, mut short) = (0.0_f64, 0);
        for rough in [0.0, 1e-5, 1e-4, 1e-3, 1e-2] {
            for step in 0..4000 {
                let re = 110.0 * (1e4_f64).powf(f64::from(step) / 4000.0);
                let (phi, rise, bent) = friction(re, rough);
                let reach = reach_of(phi, rise, bent);
                short += u32::from(reach < REACH);
                for x in [-reach, reach] {
                    let exact = friction(re * (1.0 + x), rough).0 * (1.0 + x);
                    let near = phi + (phi + rise) * x + 0.5 * (rise + bent) * x * x;
                    worst = worst.max((near / exact - 1.0).abs());
                }
            }
        }
        assert!(short > 0 && worst < 2.5e-6, "{worst:e}, {short}");
    }
}
