//! Figures that the other chart tests draw: the college's hill-climb car (invented numbers), and awkward data.

use railrise::chart::{
    Axis, Bands, Chart, Component, Crossing, Explorable, Figure, GaugeFace, Histogram, InjectionWindow,
    Ladder, Map, Overlay, PassMatrix, PumpCurves, Schematic, Series, Sweep, Symbol, Tornado, Trace, Verdict,
    Vessel,
};

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

pub fn trace() -> Trace {
    let t = steps(0.0, 8.0, 4000);
    let rpm = of(&t, |t| 3000.0 + 480.0 * t);
    let manifold = of(&t, |t| if t < 1.0 { -0.3 } else { 1.4 - 1.7 * (-(t - 1.0) / 0.5).exp() });
    let target = of(&manifold, |p| 3.0 + p);
    let rail: Vec<f64> = target
        .iter()
        .zip(&t)
        .map(|(p, t)| p - if *t > 6.2 { 0.45 * (t - 6.2) } else { 0.03 * (40.0 * t).sin() })
        .collect();
    let lambda = of(&t, |t| 0.80 + if t > 6.2 { 0.055 * (t - 6.2) } else { 0.0 } + 0.004 * (9.0 * t).sin());
    Trace::over_time("One pull: the rail follows the manifold until the pump runs out")
        .subtitle("Hill-climb car of the college (invented numbers), third gear.")
        .channel(Axis::new("engine speed", "rpm"), [Series::new("engine speed", &t, rpm)])
        .channel(
            Axis::new("pressure", "bar gauge"),
            [
                Series::new("rail", &t, rail),
                Series::new("rail wanted", &t, target),
                Series::new("manifold", &t, manifold),
            ],
        )
        .channel(Axis::ratio("lambda"), [Series::new("lambda", &t, lambda)])
        .fail_above(0.824, "target + 3 %")
        .event(1.0, "throttle open")
        .event(6.2, "pump at its end")
}

pub fn overlay() -> Overlay {
    let rpm = steps(2500.0, 7000.0, 40);
    let hinge = |at: f64, slope: f64| of(&rpm, |n| 3.0 - slope * (n - at).max(0.0) / 1000.0);
    Overlay::new("Three repairs side by side", Axis::new("engine speed", "rpm"))
        .channel(Axis::new("differential pressure", "bar"))
        .fail_below(2.85, "base \u{2212} 5 %")
        .channel(Axis::new("pump voltage", "V"))
        .build(
            "as found",
            [
                Series::new("", &rpm, hinge(4300.0, 0.6)),
                Series::new("", &rpm, of(&rpm, |n| 12.4 - 0.0001 * n)),
            ],
        )
        .build(
            "new wiring",
            [
                Series::new("", &rpm, hinge(5600.0, 0.5)),
                Series::new("", &rpm, of(&rpm, |n| 13.5 - 0.00002 * n)),
            ],
        )
        .build(
            "new wiring and second pump",
            [
                Series::new("", &rpm, hinge(9000.0, 0.5)),
                Series::new("", &rpm, of(&rpm, |n| 13.3 - 0.00002 * n)),
            ],
        )
        .with_difference()
}

pub fn pump_curves() -> PumpCurves {
    let p = steps(0.0, 7.0, 36);
    let mut figure = PumpCurves::new(
        "A rating is one point: the same pump at four voltages",
        Axis::new("pressure rise", "bar"),
        Axis::new("flow", "L/h"),
    )
    .subtitle("Pump of the hill-climb car (invented).");
    for volts in [10.0, 12.0, 13.5, 14.4] {
        let flow = of(&p, |p| (19.0 * (volts - 1.6) - 9.5 * p - 1.4 * p * p).max(0.0));
        figure = figure.at_voltage(volts, Series::new("", &p, flow));
    }
    let q = of(&p, |p| 127.0 + 0.4 * p);
    figure
        .demand(Series::new("engine and return need", &p, q))
        .rated(3.0, 185.0, "data sheet: 3 bar, 13.5 V")
        .operating_point(4.9, 99.0, "really runs here: 4.9 bar, 12 V")
}

/// Repeatable numbers spread like a bell (a sum of uniform ones; the figure only counts them).
pub fn draws(count: usize) -> Vec<f64> {
    let mut state = 7u64;
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    (0..count).map(|_| 9.0 + 22.0 * ((0..6).map(|_| next()).sum::<f64>() - 3.0)).collect()
}

pub fn histogram() -> Histogram {
    Histogram::new(
        "How many cars built like this run short at 6500 rpm",
        Axis::new("headroom", "%"),
        draws(2000),
    )
    .fail_below(0.0, "runs short")
    .guide(9.0, "nominal")
    .interval(-19.0, 38.0, "95 % of cars")
}

pub fn tornado() -> Tornado {
    Tornado::new("Measure the wiring first: it moves the headroom most", Axis::new("headroom", "%"), 9.0)
        .subtitle("One input at a time, to the ends of its 90 % range.")
        .input("base pressure", ("2.9 bar", 11.0), ("3.1 bar", 7.1))
        .input("loop resistance of the pump feed", ("30 m\u{3a9}", 16.5), ("140 m\u{3a9}", -9.8))
        .input("filter loading", ("clean", 11.2), ("loaded", 2.4))
        .input("fuel temperature", ("20 \u{b0}C", 9.6), ("58 \u{b0}C", 8.1))
        .input("pump ageing", ("new", 10.1), ("15 % worn", -5.0))
        .input("charging voltage", ("13.4 V", 5.2), ("14.2 V", 12.5))
        .limit(0.0, "runs short")
}

pub fn map() -> Map {
    let rpm = steps(2000.0, 7000.0, 11);
    let boost = steps(0.0, 1.8, 10);
    let values: Vec<Vec<f64>> = boost
        .iter()
        .map(|b| {
            rpm.iter()
                .map(|n| 100.0 * ((158.0 - 19.0 * b) / (127.0 * (n / 6500.0) * (1.0 + b) / 2.4) - 1.0))
                .map(|h| h.min(150.0))
                .collect()
        })
        .collect();
    Map::new(
        "Headroom over the whole range",
        (Axis::new("engine speed", "rpm"), rpm),
        (Axis::new("boost", "bar gauge"), boost),
        Axis::new("headroom", "%"),
        values,
    )
    .contour(0.0, "supply equals demand: to the right and above it runs short")
    .contour(20.0, "20 % to spare, common practice")
}

pub fn gauge() -> GaugeFace {
    GaugeFace::new("Rail gauge, idle, reference hose on", Axis::new("rail pressure", "bar gauge"))
        .scale(0.0, 7.0)
        .expect(2.32, 2.48)
        .reading(2.41)
}

pub fn injection() -> InjectionWindow {
    let angle = steps(-360.0, 360.0, 361);
    let cylinder =
        of(&angle, |a| 1.0 + 68.0 * (-((a - 14.0) / 26.0).powi(2)).exp() + 2.3 * (-(a / 60.0).powi(2)).exp());
    let port = of(&angle, |a| 2.4 + 0.09 * (a / 30.0).sin() * (-((a + 240.0) / 90.0).powi(2)).exp());
    let difference = of(&port, |p| 5.4 - p);
    InjectionWindow::new("A port injector sees the port, not the cylinder")
        .injection(-352.0, -60.0, "injector open, 7.5 ms at 6500 rpm")
        .valve(-356.0, -120.0, "intake valve open")
        .valve(130.0, 356.0, "exhaust valve open")
        .pressures(
            Axis::new("pressure in the cylinder", "bar abs"),
            [Series::new("cylinder", &angle, cylinder)],
        )
        .pressures(Axis::new("pressure in the port", "bar abs"), [Series::new("port", &angle, port)])
        .pressures(
            Axis::new("difference across the injector", "bar"),
            [Series::new("rail less port", &angle, difference)],
        )
        .event(0.0, "firing top dead centre")
}

pub fn schematic() -> Schematic {
    Schematic::new("Return-style circuit with a surge pot, at 6500 rpm and 1.4 bar")
        .place("tank", Vessel::Tank, ["32 \u{b0}C"])
        .place("surge pot", Vessel::Pot, ["1.5 L", "full"])
        .place("rail", Vessel::Rail(4), ["4.40 bar", "127 L/h", "duty 78 %"])
        .leg(
            "tank",
            "surge pot",
            [
                Component::new(Symbol::Strainer, "strainer").value("0.03 bar"),
                Component::new(Symbol::Pump, "lift pump").value("210 L/h"),
            ],
        )
        .leg(
            "surge pot",
            "rail",
            [
                Component::new(Symbol::Pump, "main pump").value("188 L/h").value("13.1 V, 11.4 A"),
                Component::new(Symbol::CheckValve, "check valve").value("0.06 bar"),
                Component::new(Symbol::Filter, "filter").value("0.24 bar"),
                Component::new(Symbol::Hose, "hose").value("0.11 bar"),
                Component::new(Symbol::Gauge, "gauge port").value("4.45 bar"),
            ],
        )
        .leg(
            "rail",
            "surge pot",
            [
                Component::new(Symbol::Regulator, "regulator")
                    .value("61 L/h")
                    .value("3.00 bar set")
                    .reference("manifold, 1.40 bar"),
                Component::new(Symbol::Restriction, "return fitting").value("0.02 bar"),
            ],
        )
        .leg("surge pot", "tank", [Component::new(Symbol::Line, "overflow").value("144 L/h")])
}

pub fn twin() -> Schematic {
    Schematic::new("Twin pumps, twin lanes")
        .place("tank", Vessel::Tank, [])
        .place("tee", Vessel::Junction, [])
        .place("rail", Vessel::Rail(4), ["4.4 bar"])
        .leg(
            "tank",
            "tee",
            [
                Component::new(Symbol::Pump, "pump A").value("95 L/h"),
                Component::new(Symbol::CheckValve, "check A"),
            ],
        )
        .leg(
            "tank",
            "tee",
            [
                Component::new(Symbol::Pump, "pump B").value("93 L/h"),
                Component::new(Symbol::CheckValve, "check B"),
            ],
        )
        .leg(
            "tee",
            "rail",
            [
                Component::new(Symbol::Filter, "filter"),
                Component::new(Symbol::Damper, "damper"),
                Component::new(Symbol::ShutOff, "shut-off"),
            ],
        )
        .leg("tank", "rail", [Component::new(Symbol::Relief, "relief, closed")])
        .leg(
            "rail",
            "tank",
            [
                Component::new(Symbol::Regulator, "regulator").reference("open to air"),
                Component::new(Symbol::Hose, "return hose"),
            ],
        )
}

pub fn bands() -> Bands {
    let rpm = steps(2500.0, 7000.0, 24);
    let middle = of(&rpm, |n| 0.80 + 0.035 * ((n - 5600.0).max(0.0) / 1000.0));
    let shifted = |k: f64| -> Vec<f64> {
        rpm.iter().zip(&middle).map(|(n, m)| m + k * (0.008 + 0.018 * (n / 7000.0).powi(4))).collect()
    };
    let seen = steps(2600.0, 6900.0, 18);
    let measured: Vec<f64> = (0..18)
        .map(|i| {
            0.803
                + 0.012 * f64::from((i * 7) % 5 - 2) / 2.0
                + if i > 13 { 0.018 * f64::from(i - 13) } else { 0.0 }
        })
        .collect();
    Bands::new(
        "Predicted lambda and what the meter said",
        Axis::new("engine speed", "rpm"),
        Axis::ratio("lambda"),
    )
    .band("90 % of cars", &rpm, shifted(-1.65), shifted(1.65))
    .band("half of all cars", &rpm, shifted(-0.67), shifted(0.67))
    .median(Series::new("median", &rpm, middle))
    .points(Series::new("measured, pull 2", &seen, measured))
    .fail_above(0.84, "abort at + 5 %")
}

pub fn matrix() -> PassMatrix {
    use Verdict::{Fail, Pass, Unknown, Warn};
    let criteria = [
        "headroom [%]",
        "lambda at 6500 rpm [-]",
        "differential pressure [bar]",
        "duty [%]",
        "idle error [bar]",
        "inlet margin [kPa]",
        "pot time [s]",
        "feed current [A]",
    ];
    PassMatrix::new("Which repair is enough?", criteria)
        .subtitle("At 6500 rpm and 1.4 bar; 5th percentile over the default tolerances.")
        .option(
            "as found",
            [
                (Fail, "\u{2212}12"),
                (Fail, "0.86"),
                (Fail, "2.61"),
                (Pass, "79"),
                (Pass, "0.04"),
                (Pass, "31"),
                (Unknown, "no pot"),
                (Pass, "10.2"),
            ],
        )
        .option(
            "clean strainer, new filter",
            [
                (Fail, "\u{2212}4"),
                (Warn, "0.82"),
                (Warn, "2.86"),
                (Pass, "80"),
                (Pass, "0.04"),
                (Pass, "38"),
                (Unknown, "no pot"),
                (Pass, "10.4"),
            ],
        )
        .option(
            "new wiring and relay",
            [
                (Warn, "6"),
                (Pass, "0.80"),
                (Pass, "3.00"),
                (Pass, "81"),
                (Pass, "0.05"),
                (Pass, "33"),
                (Unknown, "no pot"),
                (Pass, "11.8"),
            ],
        )
        .option(
            "second pump",
            [
                (Pass, "61"),
                (Pass, "0.80"),
                (Pass, "3.00"),
                (Pass, "81"),
                (Fail, "0.31"),
                (Warn, "11"),
                (Pass, "over 60"),
                (Warn, "19.4"),
            ],
        )
        .option(
            "less boost: 1.1 bar",
            [
                (Pass, "22"),
                (Pass, "0.80"),
                (Pass, "3.00"),
                (Pass, "70"),
                (Pass, "0.04"),
                (Pass, "34"),
                (Unknown, "no pot"),
                (Pass, "10.0"),
            ],
        )
}

pub fn explorable() -> Explorable {
    let boost = steps(0.0, 1.6, 17);
    Explorable::sweep("filter clog", "%", [0.0, 20.0, 40.0, 60.0, 80.0], |clog| {
        let dp = of(&boost, |p| 3.0 - 0.002 * clog * (1.0 + p));
        Sweep::new(
            "A clog after the regulator costs more the harder you drive",
            Axis::new("boost", "bar gauge"),
            Axis::new("differential pressure", "bar"),
        )
        .curve(Series::new("across the injector", &boost, dp))
        .fail_below(2.85, "base \u{2212} 5 %")
        .y_range(2.4, 3.2)
    })
}

/// Every figure with believable numbers, by name.
pub fn believable() -> Vec<(&'static str, Figure)> {
    vec![
        ("sweep", sweep().figure()),
        ("crossing", crossing().figure()),
        ("ladder", ladder().figure()),
        ("trace", trace().figure()),
        ("overlay", overlay().figure()),
        ("pump-curves", pump_curves().figure()),
        ("histogram", histogram().figure()),
        ("tornado", tornado().figure()),
        ("map", map().figure()),
        ("gauge", gauge().figure()),
        ("injection", injection().figure()),
        ("schematic", schematic().figure()),
        ("twin", twin().figure()),
        ("bands", bands().figure()),
        ("matrix", matrix().figure()),
    ]
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

/// Every figure with every awkward row, and with long labels. Drawn once: there are hundreds.
pub fn awkward() -> &'static [(String, Figure)] {
    static ALL: std::sync::OnceLock<Vec<(String, Figure)>> = std::sync::OnceLock::new();
    ALL.get_or_init(draw_awkward)
}

fn draw_awkward() -> Vec<(String, Figure)> {
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
            let mut trace = Trace::new(label, axis());
            for _ in 0..3 {
                trace = trace.channel(axis(), [series(), series(), series()]).fail_above(middle, label);
            }
            for i in 0..7 {
                trace = trace.event(0.3 * f64::from(i), label);
            }
            add("trace", trace.figure());
            add(
                "overlay",
                Overlay::new(label, axis())
                    .channel(axis())
                    .fail_below(middle, label)
                    .channel(axis())
                    .build(label, [series(), series()])
                    .build(label, [series()])
                    .with_difference()
                    .figure(),
            );
            add(
                "pump curves",
                PumpCurves::new(label, axis(), axis())
                    .at_voltage(12.0, series())
                    .at_voltage(f64::NAN, series())
                    .demand(Series::new(label, &x, y.iter().rev().copied().collect::<Vec<_>>()))
                    .operating_point(middle, middle, label)
                    .rated(1.0, middle, label)
                    .figure(),
            );
            add(
                "histogram",
                Histogram::new(label, axis(), &y)
                    .fail_above(middle, label)
                    .interval(middle - 1.0, middle + 1.0, label)
                    .guide(middle, label)
                    .guide(middle * 1.01, label)
                    .figure(),
            );
            let mut tornado = Tornado::new(label, axis(), middle).limit(middle, label).subtitle(label);
            for value in y.iter().take(9) {
                tornado = tornado.input(label, (label, *value), (label, middle));
            }
            add("tornado", tornado.figure());
            let side: Vec<f64> = x.iter().take(14).copied().collect();
            let table: Vec<Vec<f64>> =
                (0..side.len()).map(|i| y.iter().take(14).map(|v| v * (1.0 + i as f64)).collect()).collect();
            add(
                "map",
                Map::new(label, (axis(), &side), (axis(), &side), axis(), &table)
                    .contour(middle, label)
                    .contour(0.0, label)
                    .figure(),
            );
            let low = y.first().copied().unwrap_or(f64::NAN);
            add("gauge", GaugeFace::new(label, axis()).expect(low, middle).reading(low * 1.2).figure());
            add(
                "gauge with scale",
                GaugeFace::new(label, axis()).scale(0.0, 7.0).expect(low, middle).reading(middle).figure(),
            );
            add(
                "injection",
                InjectionWindow::new(label)
                    .injection(low, middle, label)
                    .valve(middle, low, label)
                    .pressures(axis(), [series(), series()])
                    .event(middle, label)
                    .event(low, label)
                    .figure(),
            );
            let part = |symbol| Component::new(symbol, label).value(label).value("1 bar").reference(label);
            add(
                "schematic",
                Schematic::new(label)
                    .place("a", Vessel::Tank, [label, label])
                    .place("b", Vessel::Junction, [label])
                    .place("c", Vessel::Rail(9), [label])
                    .leg("a", "b", [part(Symbol::Pump), part(Symbol::Filter)])
                    .leg("a", "b", [part(Symbol::Pump)])
                    .leg("b", "c", [])
                    .leg("a", "c", [part(Symbol::Regulator)])
                    .leg("c", "a", [part(Symbol::Regulator), part(Symbol::Hose)])
                    .leg("c", "b", [part(Symbol::CheckValve)])
                    .leg("b", "a", [])
                    .leg("b", "nowhere", [])
                    .figure(),
            );
            add(
                "bands",
                Bands::new(label, axis(), axis())
                    .band(label, &x, &y, y.iter().map(|v| v + 1.0))
                    .median(series())
                    .points(series())
                    .fail_above(middle, label)
                    .figure(),
            );
            let many = [label; 12];
            add(
                "matrix",
                PassMatrix::new(label, many)
                    .subtitle(label)
                    .option(label, many.map(|l| (Verdict::Fail, l)))
                    .option("short", [(Verdict::Pass, label)])
                    .option("", [])
                    .figure(),
            );
            add(
                "narrow matrix",
                PassMatrix::new(label, [label]).option(label, [(Verdict::Warn, label)]).figure(),
            );
        }
    }
    all
}
