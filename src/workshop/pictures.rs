//! Pump curves, a ladder of volts, a map over speed and boost, a supply that a slider moves.

use super::measure::{AngularVelocity, Power, VolumeRate};
use super::run::{shown, title};
use super::{Car, Reading, Run, figures::supply_and_demand, stop};
use crate::chart::{Axis, Explorable, Ladder, Map, PumpCurves, Series};
use crate::quantity::{Amount, Dim, Shown, pa, rad_per_s};
use crate::steady::Operating;

/// A pump's curves at some voltages (at its terminals), its data sheet's points, what the engine asks for, and
/// where the pump runs at this reading.
///
/// # Panics
/// When there is no such pump, or it does not run here.
#[must_use]
pub fn pump_curves(reading: &Reading, pump: &str, voltages: &[f64]) -> PumpCurves {
    let p = reading.point();
    let names: Vec<&str> = p.pumps.iter().filter(|x| x.on).map(|x| x.name.as_str()).collect();
    let (Some(at), Some(law)) =
        (p.pumps.iter().find(|x| x.on && x.name == pump), reading.build().pump_law(pump))
    else {
        stop(format!("no pump \"{pump}\" runs here\n  the running pumps are: {}", names.join(", ")))
    };
    let rows = law.rows();
    let Some(part) = reading.build().part(pump) else { stop("the pump is no part of the build") };
    let own = law.pump.with_values(&part.values, rows[0]);
    let top = rows.iter().map(|r| r.pressure).fold(at.running.rise, f64::max) + 1e5;
    let mut chart = PumpCurves::new(
        "A rating is one point on one curve",
        Axis::new("pressure rise of the pump", "bar"),
        Axis::new("flow", "L/h"),
    )
    .subtitle(&format!("{pump} of {}, worn and warm as it is there: voltage at its terminals", p.build));
    let points = |volts: f64| {
        let x: Vec<f64> = (0..=40).map(|i| top * f64::from(i) / 40.0).collect();
        let y: Vec<f64> =
            x.iter().map(|r| own.flow_at(*r, volts, 0.0, p.viscosity).max(0.0) * 3.6e6).collect();
        Series::new("", x.iter().map(|r| r / 1e5).collect::<Vec<_>>(), y)
    };
    for v in voltages {
        chart = chart.at_voltage(*v, points(*v));
    }
    if p.demand.is_some() {
        let asked = reading.asked_flow().quantity().value * 3.6e6;
        chart = chart.demand(Series::new("engine asks for", [0.0, top / 1e5], [asked, asked]));
    }
    let best = rows.iter().copied().max_by(|a, b| a.flow.total_cmp(&b.flow));
    if let Some(r) = best {
        // The sheet's own curve: without it the rated point would lie beside every curve of a worn, warm pump.
        let sheet = &law.pump;
        let x: Vec<f64> = (0..=40).map(|i| top * f64::from(i) / 40.0).collect();
        let y: Vec<f64> = x
            .iter()
            .map(|rise| sheet.flow_at(*rise, r.volts, 0.0, sheet.rated_viscosity).max(0.0) * 3.6e6)
            .collect();
        let x: Vec<f64> = x.iter().map(|rise| rise / 1e5).collect();
        chart = chart.at_voltage(r.volts, Series::new("new, as on its sheet", x, y));
        chart = chart.rated(r.pressure / 1e5, r.flow * 3.6e6, &format!("data sheet, {:.1} V", r.volts));
    }
    chart.operating_point(
        at.running.rise / 1e5,
        at.flow * 3.6e6,
        &format!("runs here, {:.1} V", at.running.volts),
    )
}

/// Where each volt goes, from the supply to the pump's terminals.
///
/// # Panics
/// When there is no such pump, or it does not run here.
#[must_use]
pub fn volt_ladder(reading: &Reading, pump: &str) -> Ladder {
    let p = reading.point();
    let Some(x) = p.pumps.iter().find(|x| x.on && x.name == pump) else {
        stop(format!("no pump \"{pump}\" runs here"))
    };
    // From a whole volt well below what arrives: the losses are what the picture is about.
    let foot = (x.running.volts - 0.6).floor().max(0.0);
    Ladder::new("Where each volt goes", Axis::new("voltage", "V"))
        .subtitle(&p.build)
        .starting_at(foot)
        .level("supply", p.supply)
        .loss("feed side", x.feed_drop)
        .loss("return side", x.return_drop)
        .level("at the pump", x.running.volts)
}

/// One figure of a car over engine speed and boost.
///
/// # Panics
/// When there is no such figure, or a corner of the map lies outside what the build knows.
#[must_use]
pub fn speed_boost_map(car: &Car, figure: &str) -> Map {
    let speeds: Vec<f64> = (1..=7).map(|i| 1000.0 * f64::from(i)).collect();
    let boosts: Vec<f64> = (-3..=7).map(|i| f64::from(i) / 5.0).collect();
    let limit = rad_per_s(car.build().section("engine").si("rev_limit"));
    let top = limit.in_unit("rpm").map_or(f64::INFINITY, |x| x.number) + 1.0;
    let speeds: Vec<f64> = speeds.into_iter().filter(|n| *n <= top).collect();
    let mut axis = Axis::ratio(figure);
    let mut rows = Vec::new();
    for b in &boosts {
        let mut row = Vec::new();
        for n in &speeds {
            let r = car.ask(Operating::at(crate::quantity::rpm(*n), pa(b * 1e5)));
            let a = r.value(figure);
            if a.dim != Dim::Ratio {
                axis = Axis::new(figure, a.dim.shown_in().symbol);
            }
            if super::run::is_share(figure) {
                axis = Axis::new(figure, "%");
            }
            row.push(if super::run::is_share(figure) { 100.0 * shown(a) } else { shown(a) });
        }
        rows.push(row);
    }
    Map::new(
        &format!("{} over speed and boost", title(figure)),
        (Axis::new("engine speed", "rpm"), speeds),
        (Axis::new("boost, gauge", "bar"), boosts),
        axis,
        rows,
    )
    .subtitle(car.name())
}

/// What supply and demand do along the full-load pull while one value of the build is moved by a slider.
///
/// # Panics
/// On an unknown key or a value out of range, or when the build has no boost rows.
#[must_use]
pub fn slide_supply_and_demand(
    car: &Car,
    path: &str,
    values: &[&str],
    from: AngularVelocity,
    to: AngularVelocity,
) -> Explorable {
    let runs: Vec<Run> = values.iter().map(|v| car.with(path, v).pull(from, to)).collect();
    let figures: Vec<_> = runs.iter().map(supply_and_demand).collect();
    let most = runs
        .iter()
        .flat_map(|r| r.readings())
        .flat_map(|r| [r.asked_flow().quantity().value, r.limits().capacity])
        .fold(0.0, f64::max)
        * 3.6e6;
    let top = (most / 20.0).ceil() * 20.0;
    // One scale over all frames, also below: else a small change is drawn as large as a large one.
    let ends = |figure: &str, step: f64| {
        let all = runs.iter().flat_map(|r| r.series(figure).y).filter(|y| y.is_finite());
        let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(y), h.max(y)));
        ((low / step).floor() * step, (high / step).ceil() * step)
    };
    let (pressures, lambdas) = (ends("differential pressure", 0.25), ends("lambda", 0.05));
    let mut out = Explorable::new(&super::run::called(path), "");
    for (v, f) in values.iter().zip(figures) {
        let f = f.flow_range(0.0, top);
        let f = f.effect_range(0, pressures.0, pressures.1).effect_range(1, lambdas.0, lambdas.1);
        out = out.frame(*v, &f);
    }
    out
}

/// A slider over the boost: for each value, where each bar of pressure goes at one speed.
#[must_use]
pub fn slide_boost(car: &Car, speed: AngularVelocity, boosts: &[f64]) -> Explorable {
    Explorable::sweep("boost", "bar", boosts.iter().copied(), |b| {
        super::figures::ladder(&car.ask(Operating::at(speed.quantity(), pa(b * 1e5))))
    })
}

/// The straight line through nothing that meets a run at a place on its axis: what "in proportion" would mean.
///
/// # Panics
/// When the place is not of the run's axis, or the run has no such figure.
#[must_use]
pub fn in_proportion(run: &Run, figure: &str, place: impl Shown) -> Series {
    let a = place.amount();
    let there = shown(run.at(a).value(figure));
    let here = run.series(figure);
    let at = a.shown().number;
    let y: Vec<f64> = here.x.iter().map(|x| there * x / at).collect();
    Series::new("in proportion", here.x, y)
}

/// Fuel that a crank power takes, by the build's consumption, as a volume at the fuel's temperature.
///
/// # Panics
/// As [`Car::ask`].
#[must_use]
pub fn fuel_for_power(car: &Car, power: Power) -> VolumeRate {
    let bsfc = car.build().section("engine").si("bsfc");
    let density = car.ask(Operating::engine_off()).point().density;
    VolumeRate::from(crate::quantity::m3_per_s(power.quantity().value * bsfc / density))
}

/// One quantity over another of its kind, as a pure number.
///
/// # Panics
/// When they are of different kinds.
#[must_use]
pub fn ratio_of(a: impl Shown, b: impl Shown) -> super::measure::Ratio {
    let (a, b): (Amount, Amount) = (a.amount(), b.amount());
    if a.dim != b.dim {
        stop(format!("{} cannot be compared with {}", a.dim.with_article(), b.dim.with_article()));
    }
    super::measure::ratio(a.si / b.si)
}
