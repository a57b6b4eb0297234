//! Rare failure: closed forms, a nonlinear problem of the literature, and coverage of the intervals.
use railrise::spec::distribution::Distribution;
use railrise::spec::special::normal_cdf;
use railrise::study::reliability::subset::{self, subset};
use railrise::study::reliability::{
    LimitState, Margin, ModelMargin, cross_check,
    form::{Options, form},
    importance::around,
};
use railrise::study::{Criterion, Failure, FunctionModel, Input, Output, Plan, Question};

/// A flat limit at distance beta, slanted over ten scores: P = Phi(-beta) exactly.
fn flat(beta: f64) -> Margin<impl Fn(&[f64]) -> f64 + Sync> {
    Margin::new(10, move |u: &[f64]| beta - u.iter().sum::<f64>() / 10.0_f64.sqrt())
}

#[test]
fn a_flat_limit_at_4_75_is_met_by_both_methods() {
    let truth = normal_cdf(-4.75); // 1.017e-6, scipy 1.17.1 norm.cdf(-4.75) = 1.0170832425687034e-06
    assert!((truth / 1.0170832425687034e-06 - 1.0).abs() < 1e-12);
    let limit = flat(4.75);
    let check = cross_check(&limit, 20_000, 2026, 0.95).unwrap();
    println!("{check}");
    let (first, around) = (check.form.unwrap(), check.importance.unwrap());
    assert!((first.beta - 4.75).abs() < 1e-6 && (first.chance / truth - 1.0).abs() < 1e-5);
    assert_eq!(check.agree, Some(true));
    assert!(around.interval.contains(truth) && check.subset.interval.contains(truth));
    assert!(around.cov < 0.03 && check.subset.cov < 0.3);
}

#[test]
fn the_curved_limit_of_the_literature_is_met_by_both_methods() {
    // Limit with a design point on a strongly curved side: g = beta - u2 - kappa u1^2 (the parabolic limit of A. Der Kiureghian,
    // H. Z. Lin, S. J. Hwang, J. Eng. Mech. 113 (1987) 1208, with beta 3.5 and kappa -0.1 so that failure curls away).
    // P = E[Phi(-(beta + 0.1 u1^2))] over the normal u1: scipy 1.17.1 integrate.quad.
    let limit = Margin::new(2, |u: &[f64]| 3.5 - u[1] + 0.1 * u[0] * u[0]);
    let check = cross_check(&limit, 40_000, 7, 0.95).unwrap();
    println!("{check}");
    let (first, around) = (check.form.unwrap(), check.importance.unwrap());
    assert!((first.beta - 3.5).abs() < 1e-5);
    assert_eq!(check.agree, Some(true));
    assert!(around.interval.contains(PARABOLA) && check.subset.interval.contains(PARABOLA));
    // First order is wrong by its curvature here, and the sampled methods see it.
    assert!(first.chance / PARABOLA > 1.2);
}

#[test]
fn two_ways_to_fail_are_found_by_subset_simulation() {
    // Series system of four limits (S. Waarts, thesis, TU Delft 2000; used by B. Echard, N. Gayton, M. Lemaire,
    // Structural Safety 33 (2011) 145-154, where plain draws give 4.416e-3 with k = 6 and a c.o.v. of 0.015).
    let limit = Margin::new(2, |u: &[f64]| {
        let (a, b) = (u[0], u[1]);
        let r = 2.0_f64.sqrt();
        let curved = 3.0 + 0.1 * (a - b).powi(2);
        (curved - (a + b) / r).min(curved + (a + b) / r).min(a - b + 6.0 / r).min(b - a + 6.0 / r)
    });
    let options = subset::Options { per_level: 4000, ..subset::Options::default() };
    let found = subset(&limit, &options, 3, 0.95).unwrap();
    println!("{} (own integration {SERIES:.6e})", found.result);
    assert!(found.result.interval.contains(SERIES));
    assert!((SERIES / 4.416e-3 - 1.0).abs() < 0.03); // within two of the published c.o.v.
    // Around one of the four points only a part is seen: what cross_check is for.
    let one = around(
        &limit,
        &form(
            &Margin::new(2, |u: &[f64]| 3.0 + 0.1 * (u[0] - u[1]).powi(2) - (u[0] + u[1]) / 2.0_f64.sqrt()),
            &Options::default(),
        )
        .unwrap()
        .design_point,
        20_000,
        1,
        0.95,
    )
    .unwrap();
    assert!(one.chance < 0.9 * SERIES);
}

/// scipy 1.17.1 integrate.quad of phi(a) Phi(-(3.5 + 0.1 a^2)).
const PARABOLA: f64 = 0.0001750442913914496;
/// scipy 1.17.1: in axes turned by 45 degrees |p| > 3 + 0.2 q^2 or |q| > 3, by integrate.quad.
const SERIES: f64 = 0.004457331490626488;

#[test]
fn intervals_of_rare_chances_cover() {
    let limit = flat(3.5);
    let truth = normal_cdf(-3.5);
    let centre = form(&limit, &Options::default()).unwrap().design_point;
    let trials = 1500;
    let held = (0..trials)
        .filter(|s| around(&limit, &centre, 2000, *s, 0.95).unwrap().interval.contains(truth))
        .count();
    let importance = held as f64 / trials as f64;
    let trials = 800;
    let options = subset::Options { per_level: 500, repeats: 8, ..subset::Options::default() };
    let (mut held, mut mean, mut spread, mut foreseen) = (0, 0.0, 0.0, 0.0);
    for s in 0..trials {
        let found = subset(&limit, &options, s, 0.95).unwrap();
        held += u32::from(found.result.interval.contains(truth));
        mean += found.result.chance / trials as f64;
        spread += (found.result.chance / truth - 1.0).powi(2) / trials as f64;
        foreseen += 0.5 * (found.cov_of_one.0 + found.cov_of_one.1) / trials as f64;
    }
    let subset_cover = f64::from(held) / trials as f64;
    let one = (8.0 * spread).sqrt();
    let deep = flat(4.75);
    let options = subset::Options { per_level: 1000, ..subset::Options::default() };
    let held = (0..600)
        .filter(|s| subset(&deep, &options, *s, 0.95).unwrap().result.interval.contains(normal_cdf(-4.75)))
        .count();
    println!("subset simulation at 4.75 covers {:.4}", held as f64 / 600.0);
    assert!((0.935..=0.965).contains(&(held as f64 / 600.0)), "{held} of 600");
    println!(
        "importance sampling covers {importance:.4}, subset simulation {subset_cover:.4}; mean over truth {:.3}; c.o.v. of one repeat {one:.3}, foreseen {foreseen:.3}",
        mean / truth
    );
    assert!((0.935..=0.965).contains(&importance), "{importance}");
    assert!((0.935..=0.965).contains(&subset_cover), "{subset_cover}");
    assert!((mean / truth - 1.0).abs() < 0.03, "{}", mean / truth);
    assert!((0.7..1.4).contains(&(foreseen / one)), "{foreseen} {one}");
}

#[test]
fn a_model_fails_as_rarely_through_its_own_laws() {
    // Margin 60 - 12 A x R over normal current and lognormal resistance has no closed form, but ln V does when the current is
    // lognormal too: ln V normal with the variances added.
    let model = FunctionModel::new(
        vec![
            Input::new("current", "A", Distribution::Lognormal { median: 12.0, sigma_ln: 0.05 }),
            Input::new("supply", "V", Distribution::Fixed { value: 13.8 }),
            Input::new("loop resistance", "ohm", Distribution::Lognormal { median: 0.060, sigma_ln: 0.5 }),
        ],
        vec![Output::new("drop", "V")],
        |x: &[f64]| Ok(vec![x[0] * x[2]]),
    );
    let criterion = Criterion::above("drop", "drop", 7.0);
    let limit = ModelMargin::new(&model, &criterion).unwrap();
    let truth = normal_cdf(-((7.0_f64 / 0.72).ln() / (0.05_f64.powi(2) + 0.25).sqrt()));
    let check = cross_check(&limit, 10_000, 9, 0.95).unwrap();
    println!("{check}; truth {truth:.3e}");
    let (first, around) = (check.form.unwrap(), check.importance.unwrap());
    assert!(around.interval.contains(truth) && check.subset.interval.contains(truth));
    // The direction cosines name the lever: nearly all of it is the resistance.
    assert_eq!(
        limit.uncertain().iter().map(|i| i.name.as_str()).collect::<Vec<_>>(),
        ["current", "loop resistance"]
    );
    assert!(first.cosines[1] > 0.99);
    let x = limit.inputs_at(&first.design_point);
    assert!((x[0] * x[2] - 7.0).abs() < 1e-3 && x[1] == 13.8);
    // Rank correlation rho between two lognormals: Pearson's r of the logs is 2 sin(pi rho / 6).
    let linked = ModelMargin::correlated(&model, &criterion, &[("current", "loop resistance", 0.5)]).unwrap();
    let r = 2.0 * (std::f64::consts::PI / 12.0).sin();
    let sd = (0.05_f64.powi(2) + 0.25 + 2.0 * r * 0.05 * 0.5).sqrt();
    let found = form(&linked, &Options::default()).unwrap();
    assert!((found.beta - (7.0_f64 / 0.72).ln() / sd).abs() < 1e-5);
}

#[test]
fn runs_without_an_answer_are_counted() {
    struct Broken;
    impl LimitState for Broken {
        fn dimensions(&self) -> usize {
            2
        }
        fn margin(&self, u: &[f64]) -> Result<f64, Failure> {
            if u[1] > 2.0 { Err(Failure::new("no operating point", "")) } else { Ok(3.0 - u[0]) }
        }
    }
    let found = subset(&Broken, &subset::Options::default(), 1, 0.95).unwrap();
    assert!(found.result.without_answer > 0);
    let around = around(&Broken, &[3.0, 0.0], 5000, 1, 0.95).unwrap();
    // P(u1 > 3) plus what is counted on the safe side: runs with u2 > 2 that the centre sees.
    assert!(around.without_answer > 50 && around.chance > normal_cdf(-3.0));
}

#[test]
fn hopeless_limits_say_so() {
    let flat_everywhere = Margin::new(2, |_: &[f64]| 1.0);
    let error = form(&flat_everywhere, &Options::default()).unwrap_err().to_string();
    assert!(error.contains("no input moves the margin"), "{error}");
    assert!(subset(&flat_everywhere, &subset::Options::default(), 1, 0.95).is_err());
    let never = Margin::new(2, |u: &[f64]| 100.0 - u[0]);
    let error =
        subset(&never, &subset::Options { max_levels: 4, repeats: 1, ..subset::Options::default() }, 1, 0.95)
            .unwrap_err();
    assert!(error.to_string().contains("4 levels did not reach failure"), "{error}");
}

#[test]
fn rare_chances_do_not_depend_on_threads() {
    let limit = flat(4.0);
    let on = |threads| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| cross_check(&limit, 4000, 5, 0.95).unwrap())
    };
    let (one, two) = (on(1), on(2));
    assert_eq!(one.importance, two.importance);
    assert_eq!(one.subset, two.subset);
}

#[test]
fn full_injectors_of_the_demo_car_are_one_in_a_million_by_two_methods() {
    use railrise::build::Build;
    use railrise::study::of_build::BuildModel;
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/datasets/hill-climb-car/cure-second-pump.toml");
    let build = railrise::study::defaults::with_spreads_by_grade(&Build::read(file).unwrap()).unwrap().0;
    let model = BuildModel::full_load(&build, &[railrise::quantity::rpm(6500.0).value]).unwrap();
    let full = |duty: f64| Criterion::above("injectors full", "duty", duty);
    let check =
        |duty: f64| cross_check(&ModelMargin::new(&model, &full(duty)).unwrap(), 4000, 5, 0.95).unwrap();

    // Where a plain study can still count, it is the outside check: a million cars, drawn and run one by one.
    let seen = check(0.885);
    let question = Question { criteria: vec![full(0.885)], ..Question::default() };
    let runs = Plan::tolerance(&model).draws(1 << 20).seed(11).run(&model).unwrap();
    let plain = runs.findings(&question).unwrap().chances[0].clone();
    println!("{seen}\nplain: {} of {}", plain.failing, plain.of);
    assert!(plain.failing >= 10, "{}", plain.failing);
    let counted = plain.chance.interval.unwrap();
    for c in [seen.importance.unwrap(), seen.subset] {
        assert!(c.interval.low < counted.high && counted.low < c.interval.high, "{c} against {counted:?}");
    }

    let rare = check(0.897);
    println!("{rare}");
    assert_eq!(rare.agree, Some(true));
    assert!((1e-7..1e-5).contains(&rare.subset.chance), "{}", rare.subset.chance);
    // First order is several times too large here: a start, no proof.
    assert!(rare.form.unwrap().chance > 2.0 * rare.subset.interval.high);
}

#[test]
fn a_margin_with_a_kink_still_has_its_two_methods() {
    // g = 4 - max(u1, u2): the nearest points of failure are two, the search for one has a kink on the way from the middle.
    // P = 1 - Phi(4)^2.
    let limit = Margin::new(2, |u: &[f64]| 4.0 - u[0].max(u[1]));
    let check = cross_check(&limit, 4000, 3, 0.95).unwrap();
    let truth = 1.0 - normal_cdf(4.0).powi(2);
    assert!(check.subset.interval.contains(truth), "{check}; truth {truth}");
    // Half of it lies around either point, or all of it around the kink.
    let around = check.importance.unwrap();
    assert!(around.chance > 0.45 * truth && around.chance < 1.1 * truth, "{around}; truth {truth}");
    // A limit that nothing reaches: one method, and it says why.
    let never = Margin::new(2, |u: &[f64]| 300.0 - u[0]);
    let found = railrise::study::reliability::form::search(&never, &Options::default());
    assert!(found.near.is_none() && found.form.unwrap_err().contains("spreads from the middle"));
}
