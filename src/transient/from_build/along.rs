//! A schedule as operating points, close enough for straight lines between them.

use crate::build::Build;
use crate::error::{Error, Kind, Result};
use crate::quantity::{Amount, Dim, GaugePressure, kelvin, rpm, volts};
use crate::schedule::{Schedule, Track};
use crate::steady::{NEAR_VACUUM, Operating, Point, point};
use crate::transient::engine_gas;
use crate::transient::options::Options;

/// Fewest samples of a changing stretch.
const PIECES: u32 = 24;

pub(super) fn check(s: &Schedule, o: &Options) -> Result<()> {
    let bad = |key: &str, v: f64, next: &str| {
        Err(Error::new(Kind::Value, format!("{key} is {v}")).next(next.to_owned()).at_key(key))
    };
    if !(s.seconds > 0.0 && s.seconds.is_finite()) {
        return bad("schedule.seconds", s.seconds, "give a run a length above zero");
    }
    for (key, v) in [
        ("tolerance", o.tolerance),
        ("sample", o.sample),
        ("lump", o.lump),
        ("reach", o.reach),
        ("rail_volume", o.rail_volume),
        ("junction_volume", o.junction_volume),
        ("return_chamber", o.return_chamber),
    ] {
        if !(v > 0.0 && v.is_finite()) {
            return bad(&format!("options.{key}"), v, "give a value above zero");
        }
    }
    for (key, v) in [
        ("damper", o.damper),
        ("wall_loss", o.wall_loss),
        ("closing_delay", o.closing_delay),
        ("warm_up", o.warm_up),
    ] {
        if !(v >= 0.0 && v.is_finite()) {
            return bad(&format!("options.{key}"), v, "give zero or more");
        }
    }
    if !o.injection_begins.is_finite() {
        return bad("options.injection_begins", o.injection_begins, "give an angle");
    }
    let named = [
        ("schedule.rpm", Some(&s.rpm)),
        ("schedule.boost", Some(&s.boost)),
        ("schedule.throttle", s.throttle.as_ref()),
        ("schedule.supply", s.supply.as_ref()),
        ("schedule.power", Some(&s.power)),
        ("schedule.reference", s.reference.as_ref()),
        ("schedule.fuel_temperature", s.fuel_temperature.as_ref()),
    ];
    for (key, track) in named {
        if let Some(v) = track.and_then(|t| t.values().iter().find(|v| !v.is_finite())) {
            return bad(key, *v, "give finite values, at finite times from 0 on that never run backward");
        }
    }
    if let Some(v) = s.throttle.as_ref().and_then(|x| x.values().iter().find(|v| !(0.0..=1.0).contains(*v))) {
        return bad("schedule.throttle", *v, "give an opening of 0 to 1, a share of engine.throttle_area");
    }
    let limit = engine_gas::RPM_LIMIT;
    match s.rpm.values().iter().find(|v| !(0.0..=limit).contains(*v)) {
        Some(v) => bad("schedule.rpm", *v, &format!("give 0 to {limit} rev/min")),
        None => Ok(()),
    }
}

/// The operating point at one instant of a schedule, just before or at it.
fn operating(s: &Schedule, t: f64, before: bool) -> Operating {
    let at = |track: &Track| if before { track.before(t) } else { track.at(t) };
    let mut op = Operating::at(rpm(at(&s.rpm)), GaugePressure::from_pascals(at(&s.boost)));
    if let Some(v) = &s.supply {
        op = op.with_supply(volts(at(v)));
    }
    if let Some(r) = &s.reference {
        op = op.with_air_on_the_reference(crate::quantity::pa(at(r)));
    }
    if let Some(f) = &s.fuel_temperature {
        op = op.with_fuel_at(kelvin(f.at(0.0)));
    }
    op
}

/// Operating points along the schedule, close enough for straight lines between them. Where its boost is a course that was
/// found from what is `asked` for, [`PIECES`] are shared out over each interval of that.
pub(in crate::transient) fn samples(
    build: &Build,
    s: &Schedule,
    asked: Option<&Schedule>,
) -> Result<Vec<(f64, Point)>> {
    let corners = s.corners();
    let whole = asked.map(Schedule::corners);
    let ambient = build.section("ambient").si("pressure");
    let mut out: Vec<(f64, Point)> = Vec::new();
    for pair in corners.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let optional = [&s.supply, &s.reference];
        let tracks = [&s.rpm, &s.boost].into_iter().chain(optional.into_iter().flatten());
        let moves = tracks.into_iter().any(|t| t.at(a) != t.before(b));
        let around = whole.iter().flat_map(|w| w.windows(2)).find(|w| w[0] <= a && b <= w[1]);
        let part = around.map_or(1.0, |w| (b - a) / (w[1] - w[0]));
        let pieces = if moves { (f64::from(PIECES) * part).ceil() as u32 } else { 1 };
        for k in 0..=pieces {
            let t = if k == pieces { b } else { a + (b - a) * f64::from(k) / f64::from(pieces) };
            let op = operating(s, t, k == pieces);
            // A course of its own does not jump: where nothing else does, one point stands for both sides.
            if k == 0 && asked.is_some() && a > 0.0 && op == operating(s, t, true) {
                continue;
            }
            if op.speed > 0.0 && ambient + op.boost < NEAR_VACUUM {
                let manifold = Amount::new(ambient + op.boost, Dim::Pressure).absolute();
                let what = format!("schedule.boost asks for a manifold at {manifold} at {t} s, near vacuum");
                let least = Amount::new(NEAR_VACUUM, Dim::Pressure).absolute();
                return Err(Error::new(Kind::Range, what)
                    .next(format!("ask for {least} or more: a vacuum is a boost below zero"))
                    .at_key("schedule.boost"));
            }
            out.push((t, point(build, &op)?));
        }
    }
    Ok(out)
}

/// A track of one number of the samples.
pub(in crate::transient) fn track(samples: &[(f64, Point)], of: impl Fn(&Point) -> f64) -> Result<Track> {
    let points: Vec<(f64, f64)> = samples.iter().map(|(t, p)| (*t, of(p))).collect();
    let constant = points.iter().all(|p| p.1 == points[0].1);
    if constant {
        return Ok(Track::constant(points[0].1));
    }
    Track::new(&points).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule"))
}

/// What a port feels beside the manifold, gauge, as the boost goes: one law with boost and one without.
pub(super) fn beside(boost: &Track, of: impl Fn(f64, bool) -> f64) -> Result<Track> {
    let (t, v) = (boost.times(), boost.values());
    if v.len() == 1 {
        return Ok(Track::constant(of(v[0], v[0] > 0.0)));
    }
    let mut points = Vec::new();
    for k in 1..t.len() {
        let (a, b) = ((t[k - 1], v[k - 1]), (t[k], v[k]));
        let mut ends = vec![a, b];
        if a.1 * b.1 < 0.0 {
            ends.insert(1, (a.0 + (b.0 - a.0) * a.1 / (a.1 - b.1), 0.0));
        }
        for w in ends.windows(2) {
            let boosted = w[0].1.max(w[1].1) > 0.0;
            points.extend(w.iter().map(|(t, p)| (*t, of(*p, boosted))));
        }
    }
    points.dedup();
    Track::new(&points).map_err(|e| Error::new(Kind::Value, e.to_string()).at_key("schedule.boost"))
}
