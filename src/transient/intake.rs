//! The intake of a build: what fills, through what, and what the engine takes.

use super::from_build::track;
use super::network::{Intake, Plate};
use crate::build::Build;
use crate::error::{Error, Kind, Result};
use crate::part::manifold::Throttle;
use crate::quantity::GaugePressure;
use crate::schedule::Schedule;
use crate::steady::{Operating, Point, point};

/// Whether a build has an intake to follow in a schedule.
pub(super) fn follows(build: &Build, s: &Schedule) -> Result<bool> {
    let Some(opening) = &s.throttle else { return fills(build) };
    throttle(build)?;
    // An engine that runs behind a shut throttle has no air to begin with.
    if opening.at(0.0) <= 0.0 && s.rpm.at(0.0) > 0.0 {
        return Err(Error::new(Kind::Value, "schedule.throttle begins at 0 with the engine running")
            .next("begin with the opening that it idles at (transient::throttle_opening finds it)")
            .at_key("schedule.throttle"));
    }
    Ok(true)
}

/// Whether a build has a volume that fills; what asks for one is refused without.
fn fills(build: &Build) -> Result<bool> {
    let e = build.section("engine");
    let without =
        [("spool_time", "boost builds in no volume"), ("throttle_area", "the throttle fills no volume")];
    match without.into_iter().find(|(key, _)| e.opt(key).is_some()) {
        Some((key, what)) if e.opt("intake_volume").is_none() => Err(Error::new(Kind::Layout, what)
            .next(format!("give engine.intake_volume too, or leave engine.{key} out"))
            .at_key(format!("engine.{key}"))),
        _ => Ok(e.opt("intake_volume").is_some()),
    }
}

/// The intake of a build with the demand of these samples; none where it is not followed.
pub(super) fn intake(build: &Build, s: &Schedule, samples: &[(f64, Point)]) -> Result<Option<Intake>> {
    let e = build.section("engine");
    let Some(volume) = e.opt("intake_volume") else { return Ok(None) };
    let outside = build.section("ambient").si("temperature");
    Ok(Some(Intake {
        volume,
        spool: e.opt("spool_time").unwrap_or(0.0),
        target: s.boost.clone(),
        temperature: track(samples, |p| p.demand.map_or(outside, |d| d.charge_temperature))?,
        pull: track(samples, |p| p.demand.map_or(0.0, |d| d.air / d.manifold))?,
        throttle: match &s.throttle {
            Some(opening) => Some(Plate { law: throttle(build)?, opening: opening.clone() }),
            None => None,
        },
        hoses: vec![],
    }))
}

/// The throttle of a build, and a volume that it fills.
fn throttle(build: &Build) -> Result<Throttle> {
    let e = build.section("engine");
    if e.opt("throttle_area").is_none() {
        return Err(Error::new(Kind::Layout, "the throttle has no area")
            .next("give engine.throttle_area and engine.intake_volume, or leave the throttle out of the schedule")
            .at_key("engine.throttle_area"));
    }
    fills(build)?;
    Ok(Throttle { area: e.si("throttle_area") })
}

/// Opening of the throttle, a share of `engine.throttle_area`, at which an engine that runs at an operating point stands at
/// its manifold pressure, with the charge pipe at a pressure: the inverse of [`Throttle`]'s law.
///
/// # Errors
/// A build without `engine.throttle_area` and `engine.intake_volume`; an engine at rest; a charge pipe no higher than the
/// manifold; a throttle too small for so much air.
pub fn throttle_opening(build: &Build, op: &Operating, pipe: impl Into<GaugePressure>) -> Result<f64> {
    let law = throttle(build)?;
    let p = point(build, op)?;
    let before = p.ambient + pipe.into().pascals();
    let refused = |what: String, next: &str| {
        Err(Error::new(Kind::Value, what).next(next.to_owned()).at_key("engine.throttle_area"))
    };
    let Some(demand) = p.demand else {
        return refused("an engine at rest draws no air through its throttle".to_owned(), "give it a speed");
    };
    let opening = law.opening(demand.air, (before, p.manifold), demand.charge_temperature);
    match opening {
        Some(x) if x <= 1.0 => Ok(x),
        Some(x) => refused(
            format!("so much air asks for {x:.2} of engine.throttle_area"),
            "give a larger throttle, or a higher pressure in the charge pipe",
        ),
        None => refused(
            format!(
                "the charge pipe at {before:.0} Pa stands no higher than the manifold at {:.0} Pa",
                p.manifold
            ),
            "give a higher pressure in the charge pipe",
        ),
    }
}
