//! Figures drawn from runs and readings.

use super::{Reading, Run, run::shown, run::title, stop};
use crate::chart::{Axis, Crossing, Ladder, Series, Sweep};
use crate::steady::LegState;

/// One figure of several runs in one picture: `compare("lambda", &[&fixed, &one_to_one])`.
///
/// # Panics
/// When the runs go along different axes or have no such figure.
#[must_use]
pub fn compare(figure: &str, runs: &[&Run]) -> Sweep {
    let Some(first) = runs.first() else {
        stop("there is no run to draw\n  give at least one, such as compare(\"lambda\", &[&run])")
    };
    let x = first.axis();
    let mut chart = Sweep::new(
        &format!("{} over {}", title(figure), x.name.split(',').next().unwrap_or_default()),
        x.clone(),
        first.axis_of(figure),
    );
    for r in runs {
        if r.axis().title() != x.title() {
            stop(format!(
                "the run \"{}\" goes along {}, the first one along {}\n  draw runs along the same axis together",
                r.name(),
                r.axis().title(),
                x.title()
            ));
        }
        chart = chart.curve(r.series(figure));
    }
    chart
}

/// Where each bar of pressure goes, from the pump to the difference across the injectors.
///
/// # Panics
/// When the circuit has no running pump or no injectors.
#[must_use]
pub fn ladder(reading: &Reading) -> Ladder {
    let p = reading.point();
    let Some(pump) = p.pumps.iter().find(|x| x.on) else {
        stop("no pump runs here, so there is no pressure to follow")
    };
    let bar = |pa: f64| pa / 1e5;
    let mut chart =
        Ladder::new("Where each bar of pressure goes", Axis::new("pressure above ambient", "bar"))
            .subtitle(&p.build);
    let Some(leg) = p.legs.iter().find(|l| l.parts.iter().any(|x| x.name == pump.name)) else {
        stop("the pump stands in no leg")
    };
    let at = leg.parts.iter().position(|x| x.name == pump.name).unwrap_or(0);
    let outlet = leg.parts[at].inlet + pump.running.rise - p.ambient;
    chart = chart.level("pump outlet", bar(outlet));
    let mut end = leg.to.clone();
    for part in &leg.parts[at + 1..] {
        chart = chart.loss(&part.name, bar(part.drop));
    }
    // On to the rail, leg by leg.
    while Some(&end) != p.rail.as_ref() {
        let tees_off = |l: &&LegState| {
            l.from == end && p.regulators.iter().any(|r| l.parts.iter().any(|x| x.name == r.name))
        };
        if p.legs.iter().any(|l| tees_off(&l))
            && let Some(there) = p.junctions.get(&end)
        {
            chart = chart.level("at the regulator", bar(there - p.ambient));
        }
        let Some(next) = p.legs.iter().find(|l| {
            l.from == end
                && l.flow > 0.0
                && !p.regulators.iter().any(|r| l.parts.iter().any(|x| x.name == r.name))
        }) else {
            break;
        };
        for part in &next.parts {
            chart = chart.loss(&part.name, bar(part.drop));
        }
        end = next.to.clone();
    }
    chart = chart.level("rail", bar(reading.rail_pressure().pascals()));
    let boost = bar(p.manifold - p.ambient);
    chart = if boost >= 0.0 { chart.loss("manifold", boost) } else { chart.gain("manifold vacuum", -boost) };
    chart.level("left across the injectors", bar(reading.difference().quantity().value))
}

/// What the supply can bring and what the engine asks for along a pull, with what lambda makes of it.
///
/// # Panics
/// When the run has no demand.
#[must_use]
pub fn supply_and_demand(run: &Run) -> Crossing {
    let mut supply = Vec::new();
    for r in run.readings() {
        supply.push(r.limits().capacity * 3.6e6);
    }
    let asked = run.series("asked flow");
    let target = run.readings().first().map_or(f64::NAN, |r| shown(r.value("target lambda")));
    // The car stands in the subtitle, the figure on the axis: the line needs no third name.
    let alone = |figure: &str| Series { label: figure.to_owned(), ..run.series(figure) };
    Crossing::new(
        "What the supply can bring, and what the engine asks for",
        run.axis(),
        Axis::new("fuel flow", "L/h"),
    )
    .subtitle(run.name())
    .supply(Series::new("supply at the held pressure", asked.x.clone(), supply))
    .demand(Series::new("engine asks for", asked.x.clone(), asked.y.clone()))
    .effect(Axis::new("differential pressure", "bar"), alone("differential pressure"))
    .effect_with_limit(Axis::ratio("lambda"), alone("lambda"), target * 1.03, "3 % above target")
}
