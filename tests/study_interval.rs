//! Intervals: published values, and coverage found by simulation.
use railrise::spec::distribution::Distribution;
use railrise::study::interval::*;
use railrise::study::sampling::{Sampling, Source};
use railrise::study::summary::{QuantileKind, quantile, sorted};
use railrise::study::{Criterion, FunctionModel, Input, Output, Plan, Question};

/// Uniforms of one stream of the plain source.
fn uniforms(seed: u64, n: usize) -> Vec<f64> {
    let source = Source::new(Sampling::Plain, &["u".into()], n as u64, 1, seed).unwrap();
    let mut u = vec![0.0; n];
    source.fill(0, 0, &mut u);
    u
}

/// Share of trials whose interval holds the truth.
fn coverage(trials: u64, holds: impl Fn(u64) -> bool) -> f64 {
    (0..trials).filter(|t| holds(*t)).count() as f64 / trials as f64
}

/// Nominal 95 % must cover 93.5 to 96.5 %.
#[track_caller]
fn about_95(what: &str, found: f64) {
    println!("{what}: nominal 95 % covers {:.2} %", 100.0 * found);
    assert!((0.935..=0.965).contains(&found), "{what}: {found}");
}

#[test]
fn wilks_numbers_are_the_published_ones() {
    // S. S. Wilks 1941; the nuclear-safety numbers 59 and 93 (95 %/95 %), 299 and 473 (99 %/95 %), and 181 for
    // one-sided 95 %/99.99 % recomputed from 1 - 0.95^n >= 0.9999.
    assert_eq!(wilks_one_sided(0.95, 0.95), Some(59));
    assert_eq!(wilks_two_sided(0.95, 0.95), Some(93));
    assert_eq!(wilks_one_sided(0.99, 0.95), Some(299));
    assert_eq!(wilks_two_sided(0.99, 0.95), Some(473));
    assert_eq!(wilks_one_sided(0.95, 0.9999), Some(180));
    assert_eq!(wilks_one_sided(1.0, 0.95), None);
}

#[test]
fn binomial_sums_are_scipys() {
    // scipy 1.17.1 stats.binom.cdf.
    for (j, n, p, want) in BINOMIAL {
        let got = binomial_cdf(j, n, p);
        assert!((got / want - 1.0).abs() < 1e-10, "{j} of {n} at {p}: {got:e} against {want:e}");
    }
    assert_eq!(binomial_cdf(-1, 10, 0.5), 0.0);
    assert_eq!(binomial_cdf(10, 10, 0.5), 1.0);
}

const BINOMIAL: [(i64, u64, f64, f64); 8] = [
    (5, 100, 0.1, 0.05757688648703396),
    (0, 59, 0.05, 0.04849452524942322),
    (499000, 1000000, 0.5, 0.0228041499326948),
    (9990500, 10000000, 0.999, 0.9999997772959536),
    (100, 10000000, 1e-05, 0.5265621985303305),
    (60, 10000000, 1e-05, 1.081132405667521e-05),
    (183, 200, 0.95, 0.023799459747172885),
    (2, 1000, 0.01, 0.00267943199379151),
];

#[test]
fn the_least_sample_for_a_quantile_interval_is_least() {
    for p in [0.01, 0.05, 0.5, 0.95, 0.999] {
        let n = least_draws_for_quantile(p, 0.95).unwrap();
        assert!(quantile_ranks(n, p, 0.95).is_some() && quantile_ranks(n - 1, p, 0.95).is_none(), "{p} {n}");
        // By definition both extremes are needed: p^n and (1-p)^n at most 2.5 %.
        let miss = |n: u64| p.powf(n as f64).max((1.0 - p).powf(n as f64));
        assert!(miss(n) <= 0.025 && miss(n - 1) > 0.025);
    }
}

#[test]
fn wilson_and_clopper_pearson_cover() {
    for (n, p) in [(400_u64, 0.1), (2000, 0.02), (1000, 0.5)] {
        let count = |t: u64| uniforms(t + 7000, n as usize).iter().filter(|u| **u < p).count() as u64;
        about_95(&format!("Wilson, n {n}, p {p}"), coverage(6000, |t| wilson(count(t), n, 0.95).contains(p)));
    }
    // Never short of its confidence; close to it for large counts (here 800 expected).
    let (n, p) = (4000_u64, 0.2);
    let count = |t: u64| uniforms(t + 91, n as usize).iter().filter(|u| **u < p).count() as u64;
    about_95(
        "Clopper-Pearson, n 4000, p 0.2",
        coverage(6000, |t| clopper_pearson(count(t), n, 0.95).contains(p)),
    );
}

#[test]
fn clopper_pearson_never_falls_short() {
    // Exact coverage, summed over the binomial law: at least 95 % at every p.
    for n in [20_u64, 100] {
        let intervals: Vec<Interval> = (0..=n).map(|k| clopper_pearson(k, n, 0.95)).collect();
        for i in 1..100 {
            let p = f64::from(i) / 100.0;
            let covered: f64 = (0..=n)
                .filter(|&k| intervals[k as usize].contains(p))
                .map(|k| binomial_cdf(k as i64, n, p) - binomial_cdf(k as i64 - 1, n, p))
                .sum();
            assert!(covered >= 0.95 - 1e-9, "n {n}, p {p}: {covered}");
        }
    }
}

#[test]
fn order_statistics_cover() {
    for (n, p) in [(1000_usize, 0.05), (1000, 0.5), (2000, 0.95)] {
        let r = quantile_ranks(n as u64, p, 0.95).unwrap();
        // Uniform draws: the true quantile at p is p; distribution-free, so any law would do.
        let found = coverage(6000, |t| {
            let s = sorted(&uniforms(t + 31, n));
            s[r.low as usize - 1] <= p && p <= s[r.high as usize - 1]
        });
        about_95(&format!("order statistics, n {n}, p {p} (exact {:.4})", r.confidence), found);
    }
}

#[test]
fn paired_differences_cover() {
    // Two options fail together in 8 %, the first alone in 5 %, the second alone in 3 %: true difference 2 %.
    let n = 1000;
    let found = coverage(6000, |t| {
        let u = uniforms(t + 5, n);
        let count = |a: f64, b: f64| u.iter().filter(|u| (a..b).contains(*u)).count() as u64;
        paired_difference(count(0.08, 0.13), count(0.13, 0.16), n as u64, 0.95).contains(0.02)
    });
    about_95("difference of paired chances", found);
}

#[test]
fn means_of_repeats_cover() {
    let found = coverage(10_000, |t| {
        let u = uniforms(t, 16 * 12);
        // Sums of twelve uniforms: close to normal with mean 6.
        let repeats: Vec<f64> = u.chunks(12).map(|c| c.iter().sum()).collect();
        of_mean(&repeats, 0.95).contains(6.0)
    });
    about_95("mean of 16 repeats", found);
}

#[test]
fn intervals_of_stratified_studies_cover() {
    // y = sum of four normals (sd 1, 2, 3, 4): chance of y > 9 is 1 - Phi(9/sqrt 30), 95 % point 1.6448536 sqrt 30.
    let inputs: Vec<Input> = (1..=4)
        .map(|i| Input::new(format!("x{i}"), "", Distribution::Normal { mean: 0.0, sd: f64::from(i) }))
        .collect();
    let model =
        FunctionModel::new(inputs, vec![Output::new("y", "")], |x: &[f64]| Ok(vec![x.iter().sum::<f64>()]));
    let sd = 30.0_f64.sqrt();
    let truth = 1.0 - railrise::spec::special::normal_cdf(9.0 / sd);
    let question = Question { criteria: vec![Criterion::above("high", "y", 9.0)], ..Question::default() };
    for sampling in [Sampling::Sobol, Sampling::LatinHypercube, Sampling::Plain] {
        let (mut chance, mut mean, mut point) = (0, 0, 0);
        let trials = 2500;
        for seed in 0..trials {
            let plan = Plan::tolerance(&model).sampling(sampling).draws(4096).seed(seed);
            let f = plan.run(&model).unwrap().findings(&question).unwrap();
            chance += u32::from(f.chances[0].chance.interval.unwrap().contains(truth));
            mean += u32::from(f.outputs[0].mean.interval.unwrap().contains(0.0));
            point +=
                u32::from(f.outputs[0].percentiles[2].1.interval.unwrap().contains(1.6448536269514722 * sd));
        }
        for (what, n) in [("chance", chance), ("mean", mean), ("95 % point", point)] {
            about_95(&format!("{sampling}: {what}"), f64::from(n) / trials as f64);
        }
    }
}

#[test]
fn bootstrap_intervals_of_indices_cover() {
    // y = x1 + 2 x2 + x1 x2 with standard normal inputs: V = 1 + 4 + 1; S = 1/6, 4/6; T = 2/6, 5/6 by hand.
    let inputs =
        ["x1", "x2"].map(|n| Input::new(n, "", Distribution::Normal { mean: 0.0, sd: 1.0 })).to_vec();
    let model = FunctionModel::new(inputs, vec![Output::new("y", "")], |x: &[f64]| {
        Ok(vec![x[0] + 2.0 * x[1] + x[0] * x[1]])
    });
    let truth = [1.0 / 6.0, 4.0 / 6.0, 2.0 / 6.0, 5.0 / 6.0];
    let trials = 1000;
    let mut held = [0; 4];
    for seed in 0..trials {
        let plan = Plan::sensitivity(&model, 1000).sampling(Sampling::Plain).seed(seed);
        let found = plan.run(&model).unwrap().indices("y", 0.95).unwrap();
        let [a, b] = &found.indices[..] else { panic!("two inputs") };
        for (h, (i, t)) in held
            .iter_mut()
            .zip([a.first_interval, b.first_interval, a.total_interval, b.total_interval].iter().zip(truth))
        {
            *h += u32::from(i.contains(t));
        }
    }
    for (h, what) in held.iter().zip(["first 1", "first 2", "total 1", "total 2"]) {
        about_95(&format!("bootstrap, {what}"), f64::from(*h) / trials as f64);
    }
}

#[test]
fn quantiles_of_small_samples_are_about_median_unbiased() {
    // Hyndman and Fan's type 8: the median of its error is near zero whatever the law. 11 draws, 80 % point.
    let above = coverage(20_000, |t| quantile(&sorted(&uniforms(t, 11)), 0.8, QuantileKind::default()) > 0.8);
    assert!((above - 0.5).abs() < 0.02, "{above}");
}
