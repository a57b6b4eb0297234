//! Which input matters, what measuring is worth, options on common draws, this car against every car, sweeps.
use railrise::spec::distribution::Distribution;
use railrise::spec::special::normal_cdf;
use railrise::study::compare::Options;
use railrise::study::sweep::{Swept, evenly};
use railrise::study::tornado::Tornado;
use railrise::study::{
    Control, Criterion, Failure, FunctionModel, Input, Model, Output, Plan, Question, Sampling,
};

fn normal(name: &str, mean: f64, sd: f64) -> Input {
    Input::new(name, "", Distribution::Normal { mean, sd })
}

fn one(inputs: Vec<Input>, f: impl Fn(&[f64]) -> f64 + Sync) -> impl Model {
    FunctionModel::new(inputs, vec![Output::new("y", "")], move |x: &[f64]| Ok(vec![f(x)]))
}

#[test]
fn a_group_takes_the_share_of_its_members_and_their_correlation() {
    // y = x1 + x2 + 2 x3, x1 and x2 normal with product-moment correlation r: V = 2 + 2 r + 4.
    let inputs = vec![normal("x1", 0.0, 1.0), normal("x2", 0.0, 1.0), normal("x3", 0.0, 1.0)];
    let model = one(inputs, |x| x[0] + x[1] + 2.0 * x[2]);
    let rank = 0.5;
    let r = 2.0 * (std::f64::consts::PI * rank / 6.0).sin();
    let plan = Plan::sensitivity(&model, 1 << 14).correlate("x1", "x2", rank).group("pair", &["x1", "x2"]);
    let found = plan.run(&model).unwrap().indices("y", 0.95).unwrap();
    let pair = found.indices.iter().find(|i| i.name == "pair").unwrap();
    let truth = (2.0 + 2.0 * r) / (6.0 + 2.0 * r);
    assert!((pair.first - truth).abs() < 0.01 && (pair.total - truth).abs() < 0.01, "{found}");
    assert_eq!(found.indices.len(), 2);
}

#[test]
fn rows_without_an_answer_are_left_out_and_counted() {
    let inputs = vec![normal("x1", 0.0, 1.0), normal("x2", 0.0, 1.0)];
    let model = FunctionModel::new(inputs, vec![Output::new("y", "")], |x: &[f64]| {
        if x[0] > 2.5 { Err(Failure::new("too far", "")) } else { Ok(vec![x[0] + x[1]]) }
    });
    let runs = Plan::sensitivity(&model, 4096).run(&model).unwrap();
    let found = runs.indices("y", 0.95).unwrap();
    assert_eq!(found.rows + found.rows_without_answer, 4096);
    // A and B both draw x1: about 2 * 0.62 % of rows.
    assert!((30..80).contains(&found.rows_without_answer), "{}", found.rows_without_answer);
    let flat = one(vec![normal("x1", 0.0, 1.0)], |_| 3.0);
    let error = Plan::sensitivity(&flat, 64).run(&flat).unwrap().indices("y", 0.95).unwrap_err();
    assert!(error.to_string().contains("does not vary"), "{error}");
}

#[test]
fn the_tornado_of_a_line_is_its_slopes_times_its_spreads() {
    let inputs = vec![
        normal("small", 1.0, 1.0),
        normal("large", 0.0, 2.0),
        Input::new("fixed", "", Distribution::Fixed { value: 7.0 }),
    ];
    let model = one(inputs, |x| x[0] - 3.0 * x[1] + x[2]);
    let t = &Tornado::run(&model, 0.05, 0.95).unwrap()[0];
    assert_eq!(t.middle, 8.0);
    assert_eq!(t.swings.iter().map(|s| s.input.as_str()).collect::<Vec<_>>(), ["large", "small"]);
    let z = 1.6448536269514722; // scipy 1.17.1 norm.ppf(0.95)
    assert!((t.swings[0].width() - 12.0 * z).abs() < 1e-12);
    assert!(t.swings[0].answers.0 > t.swings[0].answers.1);
}

#[test]
fn where_it_fails_the_lever_stands_first_with_the_size_theory_gives() {
    // y = 2 a + b with unit normals, failing above c = 2: E[a | fail] = (2/sqrt 5) E[z | z > c/sqrt 5].
    let model = one(vec![normal("a", 0.0, 1.0), normal("b", 0.0, 1.0), normal("idle", 0.0, 1.0)], |x| {
        2.0 * x[0] + x[1]
    });
    let runs = Plan::tolerance(&model).sampling(Sampling::Plain).draws(200_000).run(&model).unwrap();
    let found = runs.contrast(&Criterion::above("high", "y", 2.0), 0.95).unwrap();
    assert_eq!(found.inputs.iter().map(|i| i.input.as_str()).collect::<Vec<_>>(), ["a", "b", "idle"]);
    let t = 2.0 / 5.0_f64.sqrt();
    let pdf = (-0.5 * t * t).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let failing = 2.0 / 5.0_f64.sqrt() * pdf / normal_cdf(-t);
    let passing = -2.0 / 5.0_f64.sqrt() * pdf / normal_cdf(t);
    assert!((found.inputs[0].failing - failing).abs() < 0.01, "{} {failing}", found.inputs[0].failing);
    assert!((found.inputs[0].passing - passing).abs() < 0.01);
    assert!(found.inputs[2].interval.contains(0.0));
    assert_eq!(found.failing + found.passing, 200_000);
}

#[test]
fn measuring_the_lever_is_worth_what_the_law_of_total_variance_says() {
    let model = one(vec![normal("a", 0.0, 1.0), normal("b", 0.0, 1.0), normal("idle", 0.0, 1.0)], |x| {
        3.0 * x[0] + x[1]
    });
    let criterion = Criterion::above("high", "y", 3.0);
    let runs = Plan::tolerance(&model).draws(1 << 17).seed(5).run(&model).unwrap();
    let worth = runs.worth_of_measuring(&criterion, 0.95).unwrap();
    assert_eq!(worth.iter().map(|w| w.input.as_str()).take(2).collect::<Vec<_>>(), ["a", "b"]);
    // Var(E[fail | a]) / Var(fail) by the midpoint rule over a: E[fail | a] = Phi(3 a - 3).
    let n = 200_000;
    let p = |i: u32| {
        let a = railrise::spec::special::normal_quantile((f64::from(i) + 0.5) / f64::from(n));
        normal_cdf(3.0 * a - 3.0)
    };
    let mean = (0..n).map(p).sum::<f64>() / f64::from(n);
    let square = (0..n).map(|i| p(i).powi(2)).sum::<f64>() / f64::from(n);
    let truth = (square - mean * mean) / (mean * (1.0 - mean));
    // Twenty ranges see a little less than the value itself would tell.
    assert!(
        worth[0].variance_drop < truth + 0.01 && worth[0].variance_drop > truth - 0.06,
        "{} {truth}",
        worth[0].variance_drop
    );
    assert!(worth[2].variance_drop.abs() < 0.005, "{}", worth[2].variance_drop);
    assert!(worth[0].chance_if_acted < 0.3 * worth[0].chance && worth[0].share_acted < 0.4);
    // An idle input gains nothing: the split keeps chance finds out.
    assert!((worth[2].chance_if_acted / worth[2].chance - 1.0).abs() < 0.05);
    // "Measure it, and at or below 0.5 it is ...": the same integral over a <= 0.5.
    let low = runs.chance_if(&criterion, "a", f64::NEG_INFINITY, 0.5, 0.95).unwrap();
    let share = normal_cdf(0.5);
    let truth = (0..n).filter(|i| (f64::from(*i) + 0.5) / f64::from(n) < share).map(p).sum::<f64>()
        / f64::from(n)
        / share;
    assert!(low.interval.contains(truth), "{low:?} {truth}");
}

#[test]
fn options_on_common_draws_have_a_narrow_difference() {
    // Old: resistance lognormal; new: a further input and 10 % less resistance. Common draws make the difference sharp.
    let old = one(vec![normal("volts", 13.8, 0.25), normal("flow", 1.0, 0.03)], |x| x[0] * x[1]);
    let new =
        one(vec![normal("extra", 0.0, 0.01), normal("flow", 1.0, 0.03), normal("volts", 13.8, 0.25)], |x| {
            1.01 * x[2] * x[1] + x[0]
        });
    let question = Question { criteria: vec![Criterion::below("short", "y", 13.2)], ..Question::default() };
    for sampling in [Sampling::Plain, Sampling::LatinHypercube, Sampling::Sobol] {
        let options =
            Options::new(&[("as it is", &old), ("new", &new)], |p| p.sampling(sampling).draws(8192).seed(3))
                .unwrap();
        let runs = options.run(&Control::default()).unwrap();
        // The same draws whatever the order of the inputs.
        let (a, b) = (runs.of("as it is").unwrap(), runs.of("new").unwrap());
        assert_eq!(a.inputs(0, 50).unwrap()[0], b.inputs(0, 50).unwrap()[2]);
        let found = runs.compare(&question).unwrap();
        let mean = &found.means[0].difference;
        // E[0.01 volts flow] = 0.138 exactly.
        assert!(mean.interval.unwrap().contains(0.138), "{sampling}: {mean}");
        assert!(mean.interval.unwrap().half_width() < 0.001);
        let d = found.chances[1].difference.as_ref().unwrap();
        let (p_old, p_new) = (found.chances[0].chance.chance.value, found.chances[1].chance.chance.value);
        assert!((d.value - (p_new - p_old)).abs() < 1e-12 && d.interval.unwrap().high < 0.0);
        // Independent samples of this size would give at least this half width (two binomials).
        let apart = 1.96 * ((p_old * (1.0 - p_old) + p_new * (1.0 - p_new)) / 8192.0).sqrt();
        assert!(
            d.interval.unwrap().half_width() < 0.75 * apart,
            "{sampling}: {} {apart}",
            d.interval.unwrap().half_width()
        );
    }
}

#[test]
fn one_car_and_every_car_are_kept_apart() {
    // y = k + s: k (not known yet) and s (part spread) unit normals; fails above 1. Chance of a car with k: Phi(k - 1).
    let model = one(vec![normal("k", 0.0, 1.0).not_known_yet(), normal("s", 0.0, 1.0)], |x| x[0] + x[1]);
    let runs = Plan::nested(&model, 512, 512).seed(4).run(&model).unwrap();
    let found = runs.car_by_car(&Criterion::above("high", "y", 1.0), 0.90).unwrap();
    let overall = normal_cdf(-1.0 / 2.0_f64.sqrt());
    assert!((found.overall - overall).abs() < 0.01, "{}", found.overall);
    let z = 1.6448536269514722;
    assert!(
        (found.band.low - normal_cdf(-z - 1.0)).abs() < 0.01
            && (found.band.high - normal_cdf(z - 1.0)).abs() < 0.03,
        "{:?}",
        found.band
    );
    // Var(Phi(K - 1)) = P(two cars' draws both fail | same K) - P^2, by the midpoint rule.
    let n = 100_000;
    let square = (0..n)
        .map(|i| {
            normal_cdf(railrise::spec::special::normal_quantile((f64::from(i) + 0.5) / f64::from(n)) - 1.0)
                .powi(2)
        })
        .sum::<f64>()
        / f64::from(n);
    let share = (square - overall * overall) / (overall * (1.0 - overall));
    assert!((found.knowledge_share - share).abs() < 0.03, "{} {share}", found.knowledge_share);
    assert_eq!(found.chances.len(), 512);
}

#[test]
fn a_sweep_is_read_by_name_and_value() {
    let inputs = vec![
        Input::new("rpm", "rpm", Distribution::Uniform { low: 1000.0, high: 7000.0 }),
        Input::new("boost", "bar", Distribution::Fixed { value: 0.7 }),
        normal("wear", 0.1, 0.02),
    ];
    let outputs = vec![Output::new("demand", "L/h"), Output::new("left", "L/h")];
    let model = FunctionModel::new(inputs, outputs, |x: &[f64]| {
        let demand = x[0] / 100.0 * (1.0 + x[1]);
        if demand > 160.0 {
            return Err(Failure::new("off the map", format!("{demand} L/h")));
        }
        Ok(vec![demand, 120.0 * (1.0 - x[2]) - demand])
    });
    let swept = Swept::grid(
        &model,
        &[("rpm", evenly(1000.0, 7000.0, 13)), ("boost", vec![0.0, 0.7, 1.4])],
        &Control::default(),
    )
    .unwrap();
    assert_eq!(swept.output("demand").unwrap().shape(), [13, 3]);
    assert_eq!(swept.axis("rpm").unwrap().unit, "rpm");
    let line = swept.at("boost", 0.7).unwrap();
    let (x, y) = line.line("demand").unwrap();
    assert_eq!((x[4], y[4]), (3000.0, 51.0));
    // 120 * 0.9 = 108 = rpm / 100 * 1.7 at 6352.94 rpm, worked by hand.
    assert!((line.crossings("left", 0.0).unwrap()[0] - 10_800.0 / 1.7).abs() < 1e-9);
    assert!(swept.at("boost", 0.8).unwrap_err().to_string().contains("0.7 and 1.4"));
    assert!(swept.line("demand").unwrap_err().to_string().contains("rpm, boost"));
    assert!(swept.at("bost", 0.7).unwrap_err().to_string().contains("rpm, boost"));
    // Points without an answer are marked and explained.
    let top = swept.at("boost", 1.4).unwrap().at("rpm", 7000.0).unwrap();
    assert!(top.output("demand").unwrap().iter().all(|v| v.is_nan()));
    assert_eq!(swept.reasons()[0].reason, "off the map");
}
