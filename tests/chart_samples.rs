//! Figures that the other chart tests draw: the college's hill-climb car (invented numbers), and awkward data.

use railrise::chart::{Axis, Chart, Crossing, Figure, Ladder, Series, Sweep};

/// Evenly spaced numbers, ends included.
pub fn steps(low: f64, high: f64, count: usize) -> Vec<f64> {
    (0..count).map(|i| low + (high - low) * i as f64 / (count - 1) as f64).collect()
}

fn of(x: &[f64], law: impl Fn(f64) -> f64) -> Vec<f64> {
    x.iter().map(|x| law(*x)).collect()
}

pub fn sweep() -> Sweep {
    let boost = steps(-0.7, 1.6, 60);
    Sweep::new(
        "Rising boost eats the pressure difference unless the rail follows it",
        Axis::new("boost", "bar gauge"),
        Axis::new("differential pressure at the injector", "bar"),
    )
    .subtitle("Hill-climb car of the college (invented numbers), 3.0 bar base.")
    .curve(Series::new("1:1 reference", &boost, of(&boost, |_| 3.0)))
    .curve(Series::new("fixed rail", &boost, of(&boost, |p| 3.0 - p)))
    .curve(Series::new(
        "1:1 reference, filter after the regulator",
        &boost,
        of(&boost, |p| 2.97 - 0.04 * (p + 0.7).powi(2)),
    ))
    .fail_below(2.85, "base \u{2212} 5 %")
    .mark(0.15, 2.85, "fixed rail leaves the band at 0.15 bar")
    .at(0.7, "0.7 bar now")
    .at(1.4, "1.4 bar wanted")
}

pub fn crossing() -> Crossing {
    let rpm = steps(2500.0, 7000.0, 46);
    let supply = of(&rpm, |n| 128.0 - 0.0022 * (n - 2500.0));
    let demand = of(&rpm, |n| 127.0 * (n / 6500.0).powf(1.05));
    let dp: Vec<f64> =
        supply.iter().zip(&demand).map(|(s, d)| if s >= d { 3.0 } else { 3.0 * (s / d).powi(2) }).collect();
    let lambda = of(&dp, |dp| 0.80 * (3.0 / dp).sqrt());
    Crossing::new(
        "Where the fuel runs out: supply meets demand at 1.4 bar boost",
        Axis::new("engine speed", "rpm"),
        Axis::new("fuel flow", "L/h"),
    )
    .supply(Series::new("supply at the rail", &rpm, supply))
    .demand(Series::new("engine demand", &rpm, demand))
    .effect(Axis::new("differential pressure", "bar"), Series::new("across the injector", &rpm, dp))
    .effect_with_limit(Axis::ratio("lambda"), Series::new("lambda", &rpm, lambda), 0.824, "target + 3 %")
}

pub fn ladder() -> Ladder {
    Ladder::new(
        "Where each bar goes at 6500 rpm and 1.4 bar boost",
        Axis::new("pressure above atmosphere", "bar"),
    )
    .level("pump outlet", 4.86)
    .loss("check valve", 0.06)
    .loss("feed line to the filter", 0.11)
    .loss("filter, partly loaded", 0.24)
    .loss("line to the rail", 0.05)
    .level("rail", 4.40)
    .loss("manifold (boost) pushes back", 1.40)
    .level("difference across the injector", 3.00)
    .target(3.0, "base pressure as set")
}

/// Every figure with believable numbers, by name.
pub fn believable() -> Vec<(&'static str, Figure)> {
    vec![("sweep", sweep().figure()), ("crossing", crossing().figure()), ("ladder", ladder().figure())]
}

/// Rows of numbers that break careless plotting.
pub fn awkward_rows() -> Vec<(&'static str, Vec<f64>, Vec<f64>)> {
    let x = steps(0.0, 10.0, 11);
    vec![
        ("nothing", vec![], vec![]),
        ("one point", vec![3.0], vec![-2.0]),
        ("one point at zero", vec![0.0], vec![0.0]),
        ("all equal", x.clone(), vec![4.2; 11]),
        ("equal abscissae", vec![5.0; 11], x.clone()),
        ("gaps", x.clone(), (0..11).map(|i| if i % 3 == 1 { f64::NAN } else { f64::from(i) }).collect()),
        ("only gaps", x.clone(), vec![f64::NAN; 11]),
        ("infinite", x.clone(), (0..11).map(|i| if i == 5 { f64::INFINITY } else { f64::from(i) }).collect()),
        ("negative", x.clone(), (0..11).map(|i| -1e-3 * f64::from(i) - 5.0).collect()),
        ("huge", x.clone(), (0..11).map(|i| 3.7e12 * f64::from(i * i)).collect()),
        ("tiny", x.clone(), (0..11).map(|i| 2.0e-9 * f64::from(i)).collect()),
        ("far from zero", x.clone(), (0..11).map(|i| 101_325.0 + 0.001 * f64::from(i)).collect()),
        ("backwards", x.iter().rev().copied().collect(), x.clone()),
        ("beyond drawing", x.clone(), (0..11).map(|i| if i == 3 { 1e300 } else { 1.0 }).collect()),
        ("long", steps(0.0, 1e4, 5000), (0..5000).map(|i| f64::from(i % 97)).collect()),
    ]
}

pub const LONG: &str = "A label that a worried apprentice wrote on a Friday afternoon, with every condition of the test in it and <angle brackets> & an ampersand";

/// Every figure with every awkward row, and with long labels.
pub fn awkward() -> Vec<(String, Figure)> {
    let mut all: Vec<(String, Figure)> = Vec::new();
    for (name, x, y) in awkward_rows() {
        for label in [
            "short",
            LONG,
            "Donaudampfschifffahrtselektrizitaetenhauptbetriebswerkbauunterbeamtengesellschaft",
        ] {
            let series = || Series::new(label, &x, &y);
            let middle = y.get(y.len() / 2).copied().unwrap_or(f64::NAN);
            let mut add = |kind: &str, figure: Figure| all.push((format!("{kind}, {name}, {label}"), figure));
            let axis = || Axis::new(label, "bar");
            let mut sweep = Sweep::new(label, axis(), axis()).subtitle(label);
            for _ in 0..9 {
                sweep = sweep.curve(series());
            }
            for i in 0..5 {
                sweep = sweep.mark(3.0, middle, label).at(f64::from(i), label);
            }
            add("sweep", sweep.fail_below(middle, label).fail_above(middle, label).figure());
            add(
                "crossing",
                Crossing::new(label, axis(), axis())
                    .supply(series())
                    .demand(Series::new(label, &x, y.iter().rev().copied().collect::<Vec<_>>()))
                    .effect_with_limit(axis(), series(), middle, label)
                    .figure(),
            );
            let mut ladder = Ladder::new(label, axis()).target(middle, label);
            for value in y.iter().take(12) {
                ladder = ladder.level(label, *value).loss(label, *value).gain(label, 0.1);
            }
            add("ladder", ladder.figure());
        }
    }
    all
}
