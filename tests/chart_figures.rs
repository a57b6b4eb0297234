//! What figures say about their data: crossings, counts, notes, tables, ranges.

use crate::chart_samples::{self as samples, awkward, believable};
use ndarray::{Array1, array};
use railrise::chart::{
    Axis, Chart, Crossing, Explorable, GaugeFace, Histogram, Ladder, Map, Schematic, Series, Sweep, Tornado,
    Trace, Vessel,
};

fn bar(name: &str) -> Axis {
    Axis::new(name, "bar")
}

#[test]
fn rows_come_as_vectors_slices_arrays_and_views() {
    let x = array![0.0, 1.0, 2.0];
    let from_views = Series::new("a", &x, x.mapv(|v| 2.0 * v));
    assert_eq!(from_views, Series::new("a", [0.0, 1.0, 2.0], vec![0.0, 2.0, 4.0]));
    assert_eq!(from_views, Series::new("a", x.view(), (0..3).map(|i| f64::from(i) * 2.0)));
    assert_eq!(from_views.at(0.5), Some(1.0));
    assert_eq!(from_views.at(2.5), None);
}

#[test]
fn the_hinge_is_where_the_straight_lines_cross() {
    let rpm = Array1::linspace(2000.0, 7000.0, 11);
    let figure = Crossing::new("t", Axis::new("engine speed", "rpm"), Axis::new("flow", "L/h"))
        .supply(Series::new("supply", &rpm, rpm.mapv(|_| 100.0)))
        .demand(Series::new("demand", &rpm, rpm.mapv(|n| n / 50.0)));
    let hinges = figure.hinges();
    assert_eq!(hinges.len(), 1);
    // By hand: n / 50 = 100 at n = 5000.
    assert!((hinges[0].x - 5000.0).abs() < 1e-9 && (hinges[0].flow - 100.0).abs() < 1e-9);
    assert!(hinges[0].runs_short);
    let drawn = figure.figure();
    assert!(drawn.description.contains("Supply falls below demand at 5000 rpm, where both are 100 L/h."));
    assert!(drawn.svg().contains("hinge: 5000 rpm, 100 L/h"));
    let (at, least) = figure.least_headroom().expect("headroom");
    assert!((at - 7000.0).abs() < 1e-9 && (least - (100.0 / 140.0 - 1.0)).abs() < 1e-12);
}

#[test]
fn no_hinge_is_said_and_not_drawn() {
    let x = [1.0, 2.0, 3.0];
    let figure = Crossing::new("t", Axis::new("n", "rpm"), Axis::new("q", "L/h"))
        .supply(Series::new("supply", x, [120.0, 120.0, 120.0]))
        .demand(Series::new("demand", x, [50.0, 80.0, 100.0]));
    assert!(figure.hinges().is_empty());
    assert!(figure.figure().description.contains("least headroom is 20 % at 3 rpm"));
    assert!(!figure.svg().contains("hinge"));
    assert!(figure.svg().contains("Supply stays above demand"));
}

#[test]
fn touching_is_not_a_hinge_and_recovery_is_told_apart() {
    let x = [0.0, 1.0, 2.0, 3.0, 4.0];
    let axes = || (Axis::new("n", "rpm"), Axis::new("q", "L/h"));
    let flat = || Series::new("demand", x, [5.0; 5]);
    let touch = Crossing::new("t", axes().0, axes().1)
        .supply(Series::new("supply", x, [7.0, 6.0, 5.0, 6.0, 7.0]))
        .demand(flat());
    assert!(touch.hinges().is_empty());
    let dip = Crossing::new("t", axes().0, axes().1)
        .supply(Series::new("supply", x, [7.0, 6.0, 4.0, 6.0, 7.0]))
        .demand(flat());
    let kinds: Vec<(f64, bool)> = dip.hinges().iter().map(|h| (h.x, h.runs_short)).collect();
    assert_eq!(kinds, [(1.5, true), (2.5, false)]);
}

#[test]
fn a_level_below_the_zero_of_a_gauge_is_drawn() {
    let svg = Ladder::new("t", bar("p")).level("inlet", -0.3).gain("pump", 3.7).svg();
    let texts = svg.split("</text>").filter_map(|t| t.rsplit_once('>').map(|(_, text)| text));
    // The rung's own number, and a tick of the axis that reaches there.
    let below: Vec<&str> = texts.filter(|t| t.starts_with('−')).collect();
    assert!(below.contains(&"−0.30") && below.len() > 1, "{below:?}");
}

#[test]
fn what_a_ladder_prints_can_be_added_up_by_hand() {
    // Rounded one by one, 3.424 - 0.054 - 0.104 - 0.224 would read 3.42 - 0.05 - 0.10 - 0.22 = 3.05, beside 3.04.
    let mut seen = 0;
    for n in 0..200 {
        let losses = [0.054, 0.104, 0.224].map(|l| l + 0.0013 * f64::from(n));
        let end = 3.424 - losses.iter().sum::<f64>();
        let mut ladder = Ladder::new("t", bar("p")).level("pump outlet", 3.424);
        for loss in losses {
            ladder = ladder.loss("part", loss);
        }
        let svg = ladder.level("rail", end).svg();
        let two_decimals = |t: &&str| t.rsplit_once('.').is_some_and(|(_, d)| d.len() == 2);
        let printed: Vec<f64> = svg
            .split("</text>")
            .filter_map(|t| t.rsplit_once('>').map(|(_, text)| text))
            .filter(two_decimals)
            .filter_map(|t| t.replace('−', "-").parse().ok())
            .collect();
        if let [first, changes @ .., last] = &printed[..]
            && changes.len() == 3
        {
            seen += 1;
            assert!((first + changes.iter().sum::<f64>() - last).abs() < 1e-9, "{printed:?}");
            assert!(changes.iter().zip(losses).all(|(c, l)| (c + l).abs() < 0.0101), "{printed:?}");
        }
    }
    assert!(seen > 150, "{seen}");
    // Where the losses are small beside what is there, they keep two figures.
    let volts = Ladder::new("t", Axis::new("voltage", "V")).starting_at(12.0);
    let svg =
        volts.level("supply", 13.79).loss("feed", 0.551).loss("return", 0.159).level("pump", 13.08).svg();
    assert!(["−0.55", "−0.16", "13.79", "13.08"].iter().all(|t| svg.contains(t)), "{svg}");
}

#[test]
fn one_long_bar_of_a_tornado_does_not_squeeze_the_others() {
    let base = || Tornado::new("t", Axis::new("headroom", "%"), 0.4).limit(0.0, "supply short");
    let others = |t: Tornado| t.input("b", ("1", -3.0), ("2", 3.0)).input("c", ("1", -2.0), ("2", 2.0));
    let cut = others(base().input("long", ("0 %", -95.0), ("1 %", 4.0))).svg();
    assert!(cut.contains("0 %: −95 %"), "the bar says how far it goes");
    let whole = others(base().input("long", ("0 %", -6.0), ("1 %", 4.0))).svg();
    assert!(!whole.contains("0 %: "));
}

#[test]
fn a_ladder_names_pressure_that_is_not_accounted_for() {
    let sound = Ladder::new("t", bar("p")).level("pump", 5.0).loss("line", 0.5).level("rail", 4.5);
    assert!(sound.figure().notes.is_empty());
    let leaky = Ladder::new("t", bar("p")).level("pump", 5.0).loss("line", 0.5).level("rail", 4.2);
    assert_eq!(leaky.figure().notes, ["rail: \u{2212}0.3 bar are not accounted for by the rungs above it."]);
}

#[test]
fn histogram_counts_every_draw_once_and_splits_at_the_line() {
    let draws = samples::draws(2000);
    let figure = Histogram::new("t", Axis::new("headroom", "%"), &draws).fail_below(0.0, "runs short");
    let bins = figure.bins();
    assert_eq!(bins.iter().map(|b| b.2).sum::<usize>(), 2000);
    assert!((8..=49).contains(&bins.len()));
    assert!(bins.iter().any(|b| b.0.abs() < 1e-9), "no edge on the pass line");
    let below = draws.iter().filter(|d| **d < 0.0).count();
    assert_eq!(figure.failing(), (below, 2000));
    let in_bins: usize = bins.iter().filter(|b| b.1 < 1e-9).map(|b| b.2).sum();
    assert_eq!(in_bins, below);
    let flat = Histogram::new("t", bar("p"), [2.0; 7]);
    assert_eq!(flat.bins().len(), 1);
    assert_eq!(flat.bins()[0].2, 7);
    let edge = Histogram::new("t", bar("p"), [1.0, 2.0, 3.0, f64::NAN]).fail_above(2.0, "limit");
    // On the line passes; no value counts as failing.
    assert_eq!(edge.failing(), (2, 4));
    assert!(edge.figure().notes[0].contains("1 of 4 draws"));
}

#[test]
fn contours_of_a_plane_are_where_algebra_puts_them() {
    // z = x + 2 y: the line z = 4 crosses y = 0.5 at x = 3; values of a plane are exact on straight cell edges.
    let x = [0.0, 1.0, 2.0, 3.0, 4.0];
    let y = [0.0, 1.0, 2.0];
    let z: Vec<Vec<f64>> = y.iter().map(|y| x.iter().map(|x| x + 2.0 * y).collect()).collect();
    let figure = Map::new("t", (bar("x"), x), (bar("y"), y), bar("z"), &z).contour(4.0, "four").figure();
    let svg = figure.svg();
    let document = roxmltree::Document::parse(&svg).expect("well-formed");
    let line = document
        .descendants()
        .find(|n| n.has_tag_name("polyline") && n.attribute("stroke-width") == Some("22"))
        .expect("the contour");
    let panel = line.ancestors().find(|n| n.has_tag_name("svg")).expect("panel");
    let size: Vec<f64> =
        panel.attribute("viewBox").expect("viewBox").split(' ').map(|v| v.parse().expect("number")).collect();
    let points = line.attribute("points").expect("points");
    // From the foot of the map to its left edge, nodes (4, 0) and (0, 2).
    let mut ends = Vec::new();
    for point in points.split_whitespace() {
        let (px, py) = point.split_once(',').expect("pair");
        let (px, py): (f64, f64) = (px.parse().expect("x"), py.parse().expect("y"));
        // Cells reach half a step beyond the nodes: x from -0.5 to 4.5, y from -0.5 to 2.5.
        let x = -0.5 + 5.0 * px / size[2];
        let y = 2.5 - 3.0 * py / size[3];
        assert!((x + 2.0 * y - 4.0).abs() < 0.01, "({x}, {y})");
        ends.push(x);
    }
    let (low, high) = (ends.iter().copied().fold(9.0, f64::min), ends.iter().copied().fold(-9.0, f64::max));
    assert!(low.abs() < 0.01 && (high - 4.0).abs() < 0.01, "{ends:?}");
    assert!(figure.description.contains("Lowest 0 bar at 0 bar, 0 bar; highest 8 bar at 4 bar, 2 bar."));
}

#[test]
fn a_map_sorts_its_axes_and_says_so() {
    let map =
        Map::new("t", (bar("x"), [2.0, 1.0]), (bar("y"), [0.0, 1.0]), bar("z"), [[20.0, 10.0], [21.0, 11.0]]);
    let figure = map.figure();
    assert_eq!(figure.table.headings[1..], ["1", "2"]);
    assert!(figure.csv().contains("0,10,20"));
    assert_eq!(figure.notes.len(), 1);
}

#[test]
fn a_gauge_tells_inside_from_outside_and_off_the_scale() {
    let face = || GaugeFace::new("t", bar("rail")).scale(0.0, 7.0).expect(2.9, 3.1);
    assert_eq!(face().inside(), None);
    assert_eq!(face().reading(3.1).inside(), Some(true));
    assert_eq!(face().reading(3.2).inside(), Some(false));
    assert!(face().reading(3.2).svg().contains("outside the band"));
    assert!(face().reading(8.0).figure().notes[0].contains("off the scale"));
}

#[test]
fn gaps_and_lengths_that_differ_are_told() {
    let chart = Sweep::new("t", bar("x"), bar("y"))
        .curve(Series::new("short", [1.0, 2.0, 3.0], [1.0, 2.0]))
        .curve(Series::new("gap", [1.0, 2.0, 3.0], [1.0, f64::NAN, 3.0]));
    let notes = chart.figure().notes.join("\n");
    assert!(notes.contains("\u{201c}short\u{201d}: 3 abscissae but 2 ordinates"), "{notes}");
    assert!(notes.contains("\u{201c}gap\u{201d}: 1 of 3 points"), "{notes}");
    let empty = Sweep::new("t", bar("x"), bar("y")).curve(Series::new("none", [f64::NAN], [1.0]));
    assert!(empty.figure().notes[0].contains("no number to draw"));
}

#[test]
fn what_lies_outside_a_fixed_range_is_told_not_drawn() {
    let chart = || Sweep::new("t", bar("x"), bar("y")).curve(Series::new("c", [0.0, 1.0], [1.0, 2.0]));
    let all = |chart: Sweep| chart.fail_above(5.0, "relief").mark(0.5, 1.5, "middle");
    assert!(all(chart()).svg().contains("relief"));
    assert!(all(chart()).figure().notes.is_empty());
    let cut = all(chart()).y_range(1.6, 3.0);
    assert!(!cut.svg().contains(">relief<") && !cut.svg().contains(">middle<"));
    let notes = cut.figure().notes.join(" ");
    assert!(notes.contains("relief, 5 bar") && notes.contains("middle, 1.5 bar"), "{notes}");
}

#[test]
fn a_thinned_curve_stays_on_the_law_it_draws() {
    let t = samples::steps(0.0, 10.0, 20_000);
    let law = |t: f64| 3.0 + (1.7 * t).sin();
    let svg = Sweep::new("t", Axis::new("time", "s"), bar("p"))
        .x_range(0.0, 10.0)
        .y_range(1.0, 5.0)
        .curve(Series::new("wave", &t, t.iter().map(|t| law(*t))))
        .svg();
    let document = roxmltree::Document::parse(&svg).expect("well-formed");
    let line = document
        .descendants()
        .filter(|n| n.has_tag_name("polyline"))
        .max_by_key(|n| n.attribute("points").map_or(0, str::len))
        .expect("a line");
    let panel = line.ancestors().find(|n| n.has_tag_name("svg")).expect("panel");
    let size: Vec<f64> =
        panel.attribute("viewBox").expect("viewBox").split(' ').map(|v| v.parse().expect("number")).collect();
    let points: Vec<(f64, f64)> = line
        .attribute("points")
        .expect("points")
        .split_whitespace()
        .map(|p| p.split_once(',').expect("pair"))
        .map(|(x, y)| (x.parse::<f64>().expect("x"), y.parse::<f64>().expect("y")))
        .collect();
    assert!((40..1200).contains(&points.len()), "{} points", points.len());
    // In tenths of a unit, square to the line: 0.8 by thinning, up to 0.7 by rounding both coordinates.
    for pair in points.windows(2) {
        let (dx, dy) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        for share in [0.0, 0.25, 0.5, 0.75] {
            let (x, y) = (pair[0].0 + share * dx, pair[0].1 + share * dy);
            let above = y - (5.0 - law(10.0 * x / size[2])) / 4.0 * size[3];
            let square = above.abs() * dx / dx.hypot(dy);
            assert!(square < 2.0, "at {x}: {square}");
        }
    }
}

#[test]
fn a_spike_in_a_long_trace_is_still_drawn() {
    let t = samples::steps(0.0, 10.0, 100_000);
    let mut p = vec![3.0; t.len()];
    p[61_234] = 9.0;
    let svg = Trace::over_time("t").channel(bar("rail"), [Series::new("rail", &t, &p)]).svg();
    assert!(svg.len() < 120_000, "{} bytes", svg.len());
    let document = roxmltree::Document::parse(&svg).expect("well-formed");
    let line = document
        .descendants()
        .filter(|n| n.has_tag_name("polyline"))
        .max_by_key(|n| n.attribute("points").map_or(0, str::len))
        .expect("a line");
    let ys: Vec<i32> = line
        .attribute("points")
        .expect("points")
        .split_whitespace()
        .map(|p| p.split_once(',').expect("pair").1.parse().expect("number"))
        .collect();
    let (top, foot) = (ys.iter().min().expect("top"), ys.iter().max().expect("foot"));
    assert!(foot - top > 300, "the spike is gone");
}

#[test]
fn tables_hold_every_number_and_csv_reads_back() {
    let x = samples::steps(0.0, 1.0, 301);
    let y: Vec<f64> = x.iter().map(|x| x / 3.0).collect();
    let figure =
        Sweep::new("t", bar("x, from \"zero\""), bar("y")).curve(Series::new("third", &x, &y)).figure();
    let csv = figure.csv();
    let mut lines = csv.split("\r\n");
    assert_eq!(lines.next(), Some("\"x, from \"\"zero\"\" [bar]\",third [bar]"));
    for (row, line) in lines.take(301).enumerate() {
        let (a, b) = line.split_once(',').expect("two columns");
        assert_eq!(a.parse::<f64>().expect("x").to_bits(), x[row].to_bits());
        assert_eq!(b.parse::<f64>().expect("y").to_bits(), y[row].to_bits());
    }
    assert!(figure.table().contains("120 of 301 rows"));
    assert!(figure.plain().contains("(24 of 301 rows)"));
}

#[test]
fn series_over_different_places_share_a_table() {
    let figure = Sweep::new("t", bar("x"), bar("y"))
        .curve(Series::new("a", [1.0, 2.0], [10.0, 20.0]))
        .curve(Series::new("b", [2.0, 3.0], [5.0, 6.0]))
        .figure();
    assert_eq!(figure.csv(), "x [bar],a [bar],b [bar]\r\n1,10,\r\n2,20,5\r\n3,,6\r\n");
}

#[test]
fn axes_carry_units_even_when_names_are_cut() {
    for (name, figure) in believable() {
        let svg = figure.svg();
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        let texts: Vec<&str> =
            document.descendants().filter(|n| n.has_tag_name("text")).filter_map(|n| n.text()).collect();
        let units = texts.iter().filter(|t| t.contains('[') && t.contains(']')).count();
        let wanted = match name {
            // Circuits have no axes; values in them carry their own unit.
            "schematic" | "twin" => 0,
            "ladder" | "tornado" | "gauge" => 1,
            _ => 2,
        };
        assert!(units >= wanted, "{name}: {texts:?}");
    }
    for (name, figure) in awkward() {
        let drawn_axes =
            ["sweep", "crossing", "ladder", "trace", "tornado", "map", "bands", "histogram", "gauge"];
        if drawn_axes.iter().any(|kind| name.starts_with(kind)) {
            assert!(figure.svg().contains("bar]</text>"), "{name}: the unit was cut off");
        }
    }
}

#[test]
fn drawing_is_deterministic_and_copies_with_other_data_have_other_identifiers() {
    let again = believable();
    for ((name, figure), (_, other)) in believable().iter().zip(&again) {
        assert_eq!(figure, other, "{name}");
    }
    let ids = |svg: String| -> Vec<String> {
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        document.descendants().filter_map(|n| n.attribute("id").map(str::to_string)).collect()
    };
    let mut all: Vec<String> = again.iter().flat_map(|(_, figure)| ids(figure.svg())).collect();
    all.extend(samples::explorable().frames().flat_map(|(_, figure)| ids(figure.svg())));
    let count = all.len();
    all.sort();
    all.dedup();
    assert_eq!(all.len(), count);
}

#[test]
fn an_explorable_holds_each_frame_once_and_needs_nothing_from_outside() {
    let explorable = samples::explorable();
    let html = explorable.html();
    assert_eq!(html.matches("<svg xmlns").count(), 5);
    assert_eq!(html.matches("data-slot=").count(), 5 + 1, "five slots, and the script that looks for one");
    for outside in ["http:", "https:", "//cdn", "<link", "@import", "<script"] {
        let own = html.replace("http://www.w3.org/2000/svg", "");
        assert!(!own.contains(outside), "{outside}");
    }
    assert!(html.contains("aria-valuetext=\"0 %\""));
    assert!(explorable.plain().starts_with("filter clog: 0 % (frames: 0, 20, 40, 60, 80 %)"));
    assert!(Explorable::new("boost", "bar").html().contains("holds no frame"));
    let printed: Vec<&str> =
        html.split("data-slot=").filter(|s| s[..60.min(s.len())].contains("data-print")).collect();
    assert_eq!(printed.len(), 3, "first, middle and last go on paper");
    let late = samples::explorable().start_at(99);
    assert!(late.html().contains("aria-valuetext=\"80 %\""));
}

#[test]
fn a_leg_to_an_unknown_place_is_told() {
    let figure = Schematic::new("t").place("tank", Vessel::Tank, []).leg("tank", "rail", []).figure();
    assert!(figure.notes[0].contains("\u{201c}tank\u{201d} to \u{201c}rail\u{201d} is not drawn"));
}

#[test]
fn words_name_what_the_picture_shows() {
    let all = believable();
    let says = |name: &str, words: &str| {
        let figure = &all.iter().find(|(n, _)| *n == name).expect("figure").1;
        assert!(figure.description.contains(words), "{name}: {}", figure.description);
        assert!(figure.plain().contains(words));
    };
    says("sweep", "fixed rail passes 2.85 (base \u{2212} 5 %) at 0.15 bar gauge.");
    says("ladder", "filter, partly loaded takes 0.24 bar.");
    says("trace", "lambda passes 0.824 (target + 3 %) at");
    says(
        "tornado",
        "loop resistance of the pump feed: 30 m\u{3a9} gives 16.5 %, 140 m\u{3a9} gives \u{2212}9.8 %.",
    );
    says("gauge", "inside the band");
    says("injection", "intake valve open: open from \u{2212}356 deg to \u{2212}120 deg.");
    says("schematic", "From surge pot to rail: main pump, 188 L/h");
    says(
        "matrix",
        "second pump \u{2013} fail: idle error [bar]; warn: inlet margin [kPa], feed current [A].",
    );
    says("pump-curves", "At 12 V pump and demand meet at");
    says("bands", "of 18 points lie outside the widest band.");
    says("map", "nodes lie below 0 % (supply equals demand");
}
