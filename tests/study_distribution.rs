//! Laws: quantiles, cumulative functions and moments against each other and against outside values.
use railrise::spec::distribution::Distribution;
use railrise::spec::special;

fn laws() -> Vec<Distribution> {
    vec![
        Distribution::Normal { mean: 13.8, sd: 0.25 },
        Distribution::TruncatedNormal { mean: 1.0, sd: 0.03, low: 0.91, high: 1.09 },
        Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, low: 3.0, high: 5.0 },
        Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, low: -7.0, high: -4.0 },
        Distribution::Uniform { low: -2.0, high: 5.0 },
        Distribution::Triangular { low: 0.0, mode: 3.0, high: 15.0 },
        Distribution::Triangular { low: 0.0, mode: 0.0, high: 2.0 },
        Distribution::Triangular { low: 0.0, mode: 2.0, high: 2.0 },
        Distribution::Lognormal { median: 0.06, sigma_ln: 0.5 },
        Distribution::StudentT { location: 2.0, scale: 3.0, dof: 5.0 },
        Distribution::Arcsine { low: -0.5, high: 0.5 },
        Distribution::CurvilinearTrapezoid { low: -0.05, high: 0.05, inexactness: 0.025 },
        Distribution::CurvilinearTrapezoid { low: -1.0, high: 1.0, inexactness: 1.0 },
    ]
}

#[test]
fn quantile_and_cumulative_law_undo_each_other() {
    for law in laws() {
        for i in 1..200 {
            let p = f64::from(i) / 200.0;
            let x = law.quantile(p).unwrap();
            let back = law.cdf(x).unwrap();
            assert!((back - p).abs() < 2e-11, "{law:?} at {p}: {back}");
        }
        // The arcsine law has an infinite density at its ends: there a last digit of x moves the probability.
        for p in [1e-9, 1e-6].into_iter().filter(|_| law.name() != "arcsine") {
            let back = law.cdf(law.quantile(p).unwrap()).unwrap();
            assert!((back / p - 1.0).abs() < 1e-5, "{law:?} at {p}: {back}");
        }
    }
}

#[test]
fn moments_equal_the_integral_of_the_quantile() {
    // Mean = integral of the quantile over probability; midpoint rule, 2^20 cells.
    let n = 1 << 20;
    for law in laws() {
        let quantile = law.prepare().unwrap();
        let (mut mean, mut square) = (0.0, 0.0);
        let middle = law.median().unwrap();
        for i in 0..n {
            let d = quantile.at((f64::from(i) + 0.5) / f64::from(n)) - middle;
            mean += d / f64::from(n);
            square += d * d / f64::from(n);
        }
        let sd = (square - mean * mean).sqrt();
        let want = law.sd().unwrap();
        // Tails beyond the outermost cell are missed; heaviest for t with 5 degrees of freedom.
        assert!((mean + middle - law.mean().unwrap()).abs() < 2e-5 * want, "{law:?}");
        assert!((sd / want - 1.0).abs() < 5e-4, "{law:?}: {sd} against {want}");
    }
}

#[test]
fn normal_quantile_keeps_its_digits_in_the_far_tail() {
    // scipy 1.17.1 special.ndtri at 1e-10, 1e-50 and 1e-300.
    for (p, want) in [(1e-10, -6.361340902404056), (1e-50, -14.933337534788487), (1e-300, -37.0470962993612)]
    {
        let got = special::normal_quantile(p);
        assert!((got / want - 1.0).abs() < 1e-12, "{p}: {got}");
    }
}

#[test]
fn lists_are_replayed_with_their_weights() {
    let law = Distribution::Discrete { values: vec![3.0, 1.0, 2.0], weights: vec![2.0, 1.0, 1.0] };
    let q = law.prepare().unwrap();
    assert_eq!([0.0, 0.2, 0.25, 0.26, 0.5, 0.51, 1.0].map(|p| q.at(p)), [1.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0]);
    assert_eq!(law.mean().unwrap(), 2.25);
    assert_eq!(law.cdf(2.0).unwrap(), 0.5);
    let sample = Distribution::Empirical { values: vec![4.0, 2.0, 8.0, 6.0] };
    let q = sample.prepare().unwrap();
    assert_eq!([0.1, 0.25, 0.3, 0.9].map(|p| q.at(p)), [2.0, 2.0, 4.0, 8.0]);
    assert_eq!((sample.mean().unwrap(), sample.sd().unwrap()), (5.0, 5.0_f64.sqrt()));
}

#[test]
fn senseless_laws_are_refused_with_their_values() {
    for (law, part) in [
        (Distribution::Normal { mean: 1.0, sd: 0.0 }, "sd is 0"),
        (Distribution::Uniform { low: 2.0, high: 1.0 }, "low is 2 and high is 1"),
        (Distribution::Triangular { low: 0.0, mode: 3.0, high: 2.0 }, "mode 3 lies outside 0..2"),
        (Distribution::Lognormal { median: -1.0, sigma_ln: 0.5 }, "median is -1"),
        (Distribution::Discrete { values: vec![1.0], weights: vec![] }, "1 values but 0 weights"),
        (Distribution::Empirical { values: vec![1.0, f64::NAN] }, "value 2 of the list is NaN"),
        (
            Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, low: 90.0, high: 91.0 },
            "90 standard deviations",
        ),
        (
            Distribution::CurvilinearTrapezoid { low: 0.0, high: 1.0, inexactness: 0.6 },
            "more than half the width",
        ),
    ] {
        let message = law.check().unwrap_err().to_string();
        assert!(message.contains(part), "{message}");
        assert!(law.quantile(0.5).is_err() && law.mean().is_err() && law.cdf(0.0).is_err());
    }
}

#[test]
fn a_change_of_unit_moves_every_quantile_alike() {
    for law in laws() {
        let offset = if matches!(law, Distribution::Lognormal { .. }) { 0.0 } else { 273.15 };
        let moved = law.rescaled(2.5, offset).unwrap();
        for p in [0.01, 0.3, 0.5, 0.99] {
            let want = 2.5 * law.quantile(p).unwrap() + offset;
            let got = moved.quantile(p).unwrap();
            assert!((got - want).abs() < 1e-9 * want.abs().max(1.0), "{law:?} at {p}: {got} against {want}");
        }
    }
    assert!(Distribution::Lognormal { median: 1.0, sigma_ln: 0.1 }.rescaled(1.0, 1.0).is_err());
}

#[test]
fn laws_survive_being_written_and_read() {
    for law in laws() {
        let text = serde_json::to_string(&law).unwrap();
        assert_eq!(serde_json::from_str::<Distribution>(&text).unwrap(), law, "{text}");
    }
    assert!(serde_json::from_str::<Distribution>(r#"{"law":"normal","mean":1,"sd":1,"sigma":2}"#).is_err());
}
