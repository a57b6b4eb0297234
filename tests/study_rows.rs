//! Every row of the statistics reference that the studies can answer, answered by the studies themselves.
use crate::study_fit::nist_digits;
use crate::support::rows::{Answer, Row, hold, rows};
use railrise::spec::distribution::Distribution;
use railrise::spec::special;
use railrise::study::budget::{Budget, Contribution};
use railrise::study::interval::{Interval, clopper_pearson, quantile_ranks, wilks_two_sided, wilson};
use railrise::study::sampling::sobol::Sobol;
use railrise::study::sampling::{Sampling, Source};
use railrise::study::summary::{
    QuantileKind, lag_one_autocorrelation, mean, quantile, shortest_coverage, sorted, standard_deviation,
    symmetric_coverage,
};
use railrise::study::{FunctionModel, Input, Output, Plan};
use std::f64::consts::PI;

/// Draws of the propagations: scrambled Sobol', 16 repeats of 2^16.
const DRAWS: u64 = 1 << 20;

/// Runs a one-output model over its inputs' laws; answers sorted, with mean and deviation.
fn propagate(
    laws: &[(&str, Distribution)],
    correlation: Option<(&str, &str, f64)>,
    f: impl Fn(&[f64]) -> f64 + Sync,
) -> (Vec<f64>, f64, f64) {
    // The t law's quantile is the root of its cumulative law and takes its time.
    let slow = laws.iter().any(|(_, l)| matches!(l, Distribution::StudentT { .. }));
    let inputs = laws.iter().map(|(n, l)| Input::new(*n, "", l.clone())).collect();
    let model = FunctionModel::new(inputs, vec![Output::new("y", "")], |x: &[f64]| Ok(vec![f(x)]));
    let mut plan = Plan::tolerance(&model).draws(if slow { DRAWS / 8 } else { DRAWS }).seed(101);
    if let Some((a, b, r)) = correlation {
        plan = plan.correlate(a, b, r);
    }
    let runs = plan.run(&model).unwrap();
    let y = sorted(runs.output("y").unwrap());
    let (m, s) = (mean(&y), standard_deviation(&y));
    (y, m, s)
}

fn normal(mean: f64, sd: f64) -> Distribution {
    Distribution::Normal { mean, sd }
}

fn rectangular(low: f64, high: f64) -> Distribution {
    Distribution::Uniform { low, high }
}

/// JCGM 101:2008, 9.2: the sum of four inputs.
fn additive(laws: [Distribution; 4]) -> (f64, f64, Interval) {
    let names = ["x1", "x2", "x3", "x4"];
    let named: Vec<(&str, Distribution)> = names.into_iter().zip(laws).collect();
    let (y, m, s) = propagate(&named, None, |x| x.iter().sum());
    (m, s, symmetric_coverage(&y, 0.95))
}

fn unit_rectangular(sd: f64) -> Distribution {
    let half = sd * 3.0_f64.sqrt();
    rectangular(-half, half)
}

/// JCGM 101:2008, 9.3: calibration of a mass standard, in mg.
fn mass_model(x: &[f64]) -> f64 {
    let (m_rc, dm_rc, rho_a, rho_w, rho_r) = (x[0], x[1], x[2], x[3], x[4]);
    (m_rc + dm_rc) * (1.0 + (rho_a - 1.2) * (1.0 / rho_w - 1.0 / rho_r)) - 100_000.0
}

/// JCGM 101:2008, 9.5 and JCGM 100:2008, H.1: an end gauge, in nm.
fn gauge_model(x: &[f64]) -> f64 {
    // Inputs: l_s, d (as three parts), alpha_s, theta_0, Delta, delta alpha, delta theta.
    let d = x[1] + x[2] + x[3];
    x[0] + d - x[0] * (x[7] * (x[5] + x[6]) + x[4] * x[8]) - 50_000_000.0
}

fn gauge_laws() -> Vec<(&'static str, Distribution)> {
    let t = |location, scale, dof| Distribution::StudentT { location, scale, dof };
    vec![
        ("l_s", t(50_000_623.0, 25.0, 18.0)),
        ("D", t(215.0, 6.0, 24.0)),
        ("d1", t(0.0, 4.0, 5.0)),
        ("d2", t(0.0, 7.0, 8.0)),
        ("alpha_s", rectangular(9.5e-6, 13.5e-6)),
        ("theta_0", normal(-0.1, 0.2)),
        ("Delta", Distribution::Arcsine { low: -0.5, high: 0.5 }),
        ("delta alpha", Distribution::CurvilinearTrapezoid { low: -1e-6, high: 1e-6, inexactness: 0.1e-6 }),
        ("delta theta", Distribution::CurvilinearTrapezoid { low: -0.05, high: 0.05, inexactness: 0.025 }),
    ]
}

/// JCGM 100:2008, H.1.6: the same gauge by first order, with the components as given there.
fn gauge_budget() -> Budget {
    let known = f64::INFINITY;
    let inputs = vec![
        Contribution::new("l_s", 50_000_623.0, 25.0, 18.0),
        Contribution::new("d", 215.0, 9.7, 25.6),
        Contribution::new("alpha_s", 11.5e-6, 1.2e-6, known),
        Contribution::new("theta", -0.1, 0.41, known),
        Contribution::new("delta alpha", 0.0, 0.58e-6, 50.0),
        Contribution::new("delta theta", 0.0, 0.029, 2.0),
    ];
    Budget::new(inputs, |x| Ok(x[0] + x[1] - x[0] * (x[4] * x[3] + x[2] * x[5]) - 50_000_000.0)).unwrap()
}

fn loss(row: &Row) -> Answer {
    let (x1, u) = (row.input("x1"), row.input("u"));
    let r = row.input_or("r", 0.0);
    // Pearson's r of the normal inputs; the copula takes rank correlation.
    let rank = 6.0 / PI * (0.5 * r).asin();
    let correlation = (r != 0.0).then_some(("x1", "x2", rank));
    let (y, m, s) = propagate(&[("x1", normal(x1, u)), ("x2", normal(0.0, u))], correlation, |x| {
        x[0] * x[0] + x[1] * x[1]
    });
    let i = shortest_coverage(&y, 0.95);
    let want = row.numbers();
    // The row's relative tolerance for mean and deviation; the ends of a shortest interval are flat minima and carry
    // the noise of a million draws, judged against the width.
    let rel = row.tol_rel.unwrap();
    let width = want[3] - want[2];
    let near = (m / want[0] - 1.0).abs() <= rel
        && (s / want[1] - 1.0).abs() <= rel.max(1e-3)
        && (i.low - want[2]).abs() <= 0.02 * width
        && (i.high - want[3]).abs() <= 0.02 * width;
    Answer::judge(near, format!("got {m:e}, {s:e}, {i:?}; expected {want:?}"))
}

/// First-order and total indices of a model, each within `within` of what is expected.
fn indices(
    laws: Vec<(String, Distribution)>,
    f: impl Fn(&[f64]) -> f64 + Sync,
    first: &[f64],
    total: &[f64],
    moments: (f64, f64),
    within: f64,
) -> Answer {
    let inputs = laws.iter().map(|(n, l)| Input::new(n.clone(), "", l.clone())).collect();
    let model = FunctionModel::new(inputs, vec![Output::new("y", "")], |x: &[f64]| Ok(vec![f(x)]));
    let runs = Plan::sensitivity(&model, 1 << 15).seed(3).run(&model).unwrap();
    let found = runs.indices("y", 0.95).unwrap();
    let mut worst = 0.0_f64;
    for (i, index) in found.indices.iter().enumerate() {
        worst = worst.max((index.first - first[i]).abs()).max((index.total - total[i]).abs());
    }
    let moments_off = (found.mean / moments.0 - 1.0).abs().max((found.variance / moments.1 - 1.0).abs());
    println!("indices: worst off by {worst:.2e}, mean and variance by {moments_off:.1e} of themselves");
    Answer::judge(
        worst <= within && moments_off <= 0.005,
        format!("off by {worst}, moments {moments_off}: {found}"),
    )
}

fn univariate(row: &Row) -> Vec<f64> {
    let pairs = |centre: f64| {
        let mut v = vec![centre];
        (0..500).for_each(|_| v.extend([centre - 0.1, centre + 0.1]));
        v
    };
    match row.part(3) {
        "NumAcc1" => vec![10_000_001.0, 10_000_003.0, 10_000_002.0],
        "NumAcc2" => pairs(1.2),
        "NumAcc3" => pairs(1_000_000.2),
        "NumAcc4" => pairs(10_000_000.2),
        _ => {
            let text = row.inputs["data"].as_str().unwrap().split("x=").nth(1).unwrap();
            text.split_whitespace().map(|t| 299.0 + t.parse::<f64>().unwrap() / 1000.0).collect()
        }
    }
}

fn answer(row: &Row) -> Answer {
    match row.id.as_str() {
        "11.ishigami" => {
            let want = row.numbers();
            let laws = ["x1", "x2", "x3"].map(|n| (n.to_string(), rectangular(-PI, PI))).to_vec();
            let f = |x: &[f64]| x[0].sin() + 7.0 * x[1].sin().powi(2) + 0.1 * x[2].powi(4) * x[0].sin();
            indices(laws, f, &want[2..5], &want[5..8], (want[0], want[1]), 0.005)
        }
        "11.gfunc" => {
            let a = row.input_list("a");
            let laws = (0..a.len()).map(|i| (format!("x{i}"), rectangular(0.0, 1.0))).collect();
            let (first, total) = (row.numbers_of("S"), row.numbers_of("ST"));
            let moments = (1.0, row.numbers_of("var")[0]);
            let f = move |x: &[f64]| {
                x.iter().zip(&a).map(|(x, a)| ((4.0 * x - 2.0).abs() + a) / (1.0 + a)).product::<f64>()
            };
            indices(laws, f, &first, &total, moments, 0.005)
        }
        "11.linear.S" => {
            let (c, s, want) = (row.input_list("c"), row.input_list("s"), row.numbers());
            let laws = s.iter().enumerate().map(|(i, s)| (format!("x{i}"), normal(1.0, *s))).collect();
            let variance: f64 = c.iter().zip(&s).map(|(c, s)| (c * s).powi(2)).sum();
            let f = move |x: &[f64]| x.iter().zip(&c).map(|(x, c)| x * c).sum::<f64>();
            indices(laws, f, &want, &want, (6.0, variance), 0.005)
        }
        "11.s1.add.normal" => {
            let (m, s, i) = additive([0; 4].map(|_| normal(0.0, 1.0)));
            Answer::many([m, s, i.low, i.high])
        }
        "11.s1.add.rect" => {
            let (m, s, i) = additive([0; 4].map(|_| unit_rectangular(1.0)));
            Answer::many([m, s, i.low, i.high])
        }
        "11.s1.add.rect.exact" => {
            let (_, _, i) = additive([0; 4].map(|_| unit_rectangular(1.0)));
            let off = (i.high - row.numbers()[0]).abs();
            Answer::judge(off < 5e-3, format!("a million draws are off by {off}"))
        }
        "11.s1.add.dom" | "11.s1.add.dom.exact" => {
            let laws = [1.0, 1.0, 1.0, 10.0].map(unit_rectangular);
            let (_, s, i) = additive(laws);
            if row.id.ends_with("exact") {
                let off = (i.high - row.numbers()[0]).abs();
                return Answer::judge(off < 5e-3, format!("a million draws are off by {off}"));
            }
            Answer::many([s, i.high])
        }
        "11.s1.mass" | "11.s1.mass.exact" => {
            let laws = [
                ("m_Rc", normal(100_000.0, 0.050)),
                ("dm_Rc", normal(1.234, 0.020)),
                ("rho_a", rectangular(1.1, 1.3)),
                ("rho_w", rectangular(7000.0, 9000.0)),
                ("rho_r", rectangular(7950.0, 8050.0)),
            ];
            let (y, m, s) = propagate(&laws, None, mass_model);
            // The law is symmetric, so the shortest interval is the symmetric one; the published ends carry the noise
            // of a flat minimum, the symmetric ones do not.
            let i = symmetric_coverage(&y, 0.95);
            if row.id.ends_with("exact") {
                let want = row.numbers();
                let near = (m - want[0]).abs() < 2e-5
                    && (s - want[1]).abs() < 2e-5
                    && (i.low - want[2]).abs() < 5e-4
                    && (i.high - want[3]).abs() < 5e-4;
                return Answer::judge(near, format!("got {m}, {s}, {i:?}"));
            }
            Answer::many([m, s, i.low, i.high])
        }
        "11.s1.mass.guf1" => {
            let sd = |half: f64| half / 3.0_f64.sqrt();
            let known = f64::INFINITY;
            let inputs = vec![
                Contribution::new("m_Rc", 100_000.0, 0.050, known),
                Contribution::new("dm_Rc", 1.234, 0.020, known),
                Contribution::new("rho_a", 1.2, sd(0.1), known),
                Contribution::new("rho_w", 8000.0, sd(1000.0), known),
                Contribution::new("rho_r", 8000.0, sd(50.0), known),
            ];
            let b = Budget::new(inputs, |x| Ok(mass_model(x))).unwrap();
            let i = b.expanded(0.95);
            Answer::many([b.combined, i.low, i.high])
        }
        id if id.starts_with("11.s1.loss.") => loss(row),
        "11.s1.gauge" => {
            let (y, m, s) = propagate(&gauge_laws(), None, gauge_model);
            let i = shortest_coverage(&y, 0.99);
            Answer::many([m, s, i.low, i.high])
        }
        "11.gum.h1" => {
            let b = gauge_budget();
            let k = b.coverage_factor(0.99);
            // Published as whole numbers: the uncertainty is rounded before it is expanded, as there.
            Answer::many([b.value, b.combined.round(), b.dof.floor(), k, (b.combined.round() * k).round()])
        }
        "11.gum.h1.d" => {
            let inputs = vec![
                Contribution::new("observations", 215.0, 5.8, 24.0),
                Contribution::new("comparator, random", 0.0, 3.9, 5.0),
                Contribution::new("comparator, systematic", 0.0, 6.7, 8.0),
            ];
            let b = Budget::new(inputs, |x| Ok(x.iter().sum())).unwrap();
            Answer::many([b.combined, b.dof])
        }
        "11.npl.log" => {
            let half = 0.5 / 3.0_f64.sqrt();
            let b = Budget::new(vec![Contribution::new("x", 0.6, half, f64::INFINITY)], |x| Ok(x[0].ln()))
                .unwrap();
            let (_, m, s) = propagate(&[("x", rectangular(0.1, 1.1))], None, |x| x[0].ln());
            Answer::many([b.value, b.combined, m, s])
        }
        "11.ws" => {
            let inputs = vec![
                Contribution::new("a", 0.0, 0.57, 9.0),
                Contribution::new("b", 0.0, 0.25, f64::INFINITY),
            ];
            Answer::one(Budget::new(inputs, |x| Ok(x[0] + x[1])).unwrap().dof)
        }
        "11.newcombe" => {
            let got = [
                wilson(81, 263, 0.95),
                clopper_pearson(81, 263, 0.95),
                wilson(0, 20, 0.95),
                clopper_pearson(0, 20, 0.95),
            ];
            let want: Vec<f64> = row
                .expected
                .as_array()
                .unwrap()
                .iter()
                .flat_map(|p| p.as_array().unwrap())
                .map(|v| v.as_f64().unwrap())
                .collect();
            let got: Vec<f64> = got.iter().flat_map(|i| [i.low, i.high]).collect();
            Answer::Judged(row.check_against(&want, &got))
        }
        "11.wilks2" => {
            let n = |p| wilks_two_sided(p, 0.95).unwrap() as f64;
            let got = [n(0.90), n(0.95), n(0.99)];
            Answer::judge(got.to_vec() == row.numbers(), format!("got {got:?}"))
        }
        "11.quantile.types" => {
            let x = sorted(&row.input_list("x"));
            for (name, kind) in [
                ("weibull", QuantileKind::Weibull),
                ("linear", QuantileKind::Linear),
                ("median_unbiased", QuantileKind::MedianUnbiased),
            ] {
                let got: Vec<f64> = [0.05, 0.25, 0.5, 0.9].iter().map(|p| quantile(&x, *p, kind)).collect();
                if let Err(e) = row.check_against(&row.numbers_of(name), &got) {
                    return Answer::Judged(Err(e));
                }
            }
            Answer::Judged(Ok(()))
        }
        "11.sobol.first16" => {
            let points = Sobol::new(6).unwrap();
            let rows = row.expected.as_array().unwrap();
            let same = rows.iter().enumerate().all(|(i, want)| {
                let want: Vec<f64> = want.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
                want == (0..6).map(|d| points.coordinate(d, i as u64)).collect::<Vec<_>>()
            });
            Answer::judge(same && rows.len() == 16, "points differ")
        }
        "11.sobol.p1000" => {
            let points = Sobol::new(40).unwrap();
            Answer::many([0, 1, 9, 19, 39].map(|d| points.coordinate(d, 1000)).to_vec())
        }
        "11.sobol.balance" => {
            let (n, d) = (row.input("n") as u64, row.input("d") as usize);
            let names: Vec<String> = (0..d).map(|i| format!("x{i}")).collect();
            let source = Source::new(Sampling::Sobol, &names, n, 1, 5).unwrap();
            let mut column = vec![0.0; n as usize];
            let balanced = (0..d).all(|dimension| {
                source.fill(dimension, 0, &mut column);
                let mut shares: Vec<u64> = column.iter().map(|u| (u * n as f64) as u64).collect();
                shares.sort_unstable();
                shares == (0..n).collect::<Vec<_>>()
            });
            Answer::judge(balanced, "a share is empty or holds two points")
        }
        "11.ppf.norm" => {
            Answer::many(row.input_list("p").into_iter().map(special::normal_quantile).collect::<Vec<_>>())
        }
        "11.ppf.t5" => Answer::many(
            row.input_list("p").into_iter().map(|p| special::t_quantile(p, 5.0)).collect::<Vec<_>>(),
        ),
        "11.ppf.chi2_10" => Answer::many(
            row.input_list("p")
                .into_iter()
                .map(|p| special::chi_square_quantile(p, 10.0))
                .collect::<Vec<_>>(),
        ),
        "11.ppf.beta_2_5" => Answer::many(
            row.input_list("p").into_iter().map(|p| special::beta_quantile(p, 2.0, 5.0)).collect::<Vec<_>>(),
        ),
        "11.truncnorm" => {
            let law = Distribution::TruncatedNormal { mean: 0.0, sd: 1.0, low: -2.0, high: 2.0 };
            Answer::one(law.sd().unwrap())
        }
        "11.rss" => {
            let inputs =
                (0..5).map(|i| Contribution::new(format!("t{i}"), 0.0, 1.0, f64::INFINITY)).collect();
            let b = Budget::new(inputs, |x| Ok(x.iter().sum())).unwrap();
            Answer::many([b.combined, b.worst_case])
        }
        _ => match row.kind() {
            "wilson" => interval(wilson(row.input("k") as u64, row.input("n") as u64, 0.95)),
            "cp" => interval(clopper_pearson(row.input("k") as u64, row.input("n") as u64, 0.95)),
            "order" => {
                let text = row.id.strip_prefix("11.order.n").unwrap();
                let (n, p) = text.split_once("_p").unwrap();
                let r = quantile_ranks(n.parse().unwrap(), p.parse().unwrap(), 0.95).unwrap();
                Answer::many([r.low as f64, r.high as f64, r.confidence])
            }
            "nist" if row.part(2) == "nls" => {
                let held = nist_digits(row);
                Answer::judge(held.iter().all(|d| *d >= 6.0), format!("digits {held:?}"))
            }
            "nist" => {
                let y = univariate(row);
                Answer::many([mean(&y), standard_deviation(&y), lag_one_autocorrelation(&y)])
            }
            _ => Answer::judge(false, "not part of this library"),
        },
    }
}

fn interval(i: Interval) -> Answer {
    Answer::many([i.low, i.high])
}

#[test]
fn every_usable_row_holds() {
    let cannot = [
        ("11.halton", "Halton points are not offered: Sobol' points replace them"),
        ("11.mt19937", "this generator is not used: draws come from ChaCha8"),
        ("11.philox", "this generator is not used: draws come from ChaCha8"),
    ];
    let held = hold("11_stats", rows("11_stats"), &cannot, answer);
    assert!(held >= 55, "{held}");
}
