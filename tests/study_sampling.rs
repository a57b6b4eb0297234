//! Draws: published points, frozen values, stratification, correlation.
use crate::support::rows::row;
use nalgebra::DMatrix;
use railrise::study::sampling::correlation::{Copula, iman_conover, normal_from_rank, spearman};
use railrise::study::sampling::sobol::Sobol;
use railrise::study::sampling::{Sampling, Source};

fn names(k: usize) -> Vec<String> {
    (0..k).map(|i| format!("x{i}")).collect()
}

fn column(source: &Source, dimension: usize) -> Vec<f64> {
    let mut out = vec![0.0; source.draws() as usize];
    source.fill(dimension, 0, &mut out);
    out
}

const ALL: [Sampling; 3] = [Sampling::Plain, Sampling::LatinHypercube, Sampling::Sobol];

#[test]
fn every_share_of_every_input_holds_one_sobol_point() {
    let balance = row("11_stats", "11.sobol.balance");
    let (n, d) = (balance.input("n") as u64, balance.input("d") as u64);
    let plain = Sobol::new(d as usize).unwrap();
    let scrambled = Source::new(Sampling::Sobol, &names(d as usize), n, 3, 11).unwrap();
    for dimension in 0..d as usize {
        let unscrambled: Vec<f64> = (0..n).map(|i| plain.coordinate(dimension, i)).collect();
        let drawn = column(&scrambled, dimension);
        for block in std::iter::once(&unscrambled[..]).chain(drawn.chunks(n as usize)) {
            let mut seen = vec![false; n as usize];
            for u in block {
                let share = (u * n as f64) as usize;
                assert!(!seen[share], "dimension {dimension}");
                seen[share] = true;
            }
        }
    }
}

#[test]
fn scrambled_pairs_keep_their_two_dimensional_balance() {
    // Dimensions 1 and 2 form a (0, 2)-sequence in base 2 (I. M. Sobol', 1967): each elementary
    // rectangle of area 1/256 holds one of the first 256 points. Nested scrambling must keep that.
    let source = Source::new(Sampling::Sobol, &names(2), 256, 4, 3).unwrap();
    let (x, y) = (column(&source, 0), column(&source, 1));
    for (x, y) in x.chunks(256).zip(y.chunks(256)) {
        for split in 0..=8 {
            let (a, b) = (f64::from(1 << split), f64::from(1 << (8 - split)));
            let mut seen = std::collections::HashSet::new();
            for (u, v) in x.iter().zip(y) {
                assert!(seen.insert(((u * a) as u32, (v * b) as u32)), "split {split}");
            }
        }
    }
}

#[test]
fn latin_hypercubes_use_every_share_once() {
    // Both ways of keeping the permutation: shuffled tables, and the keyed one above 2^22 numbers.
    for (n, repeats, k) in [(1000_u64, 3_u64, 4), (1_500_001, 1, 3)] {
        let source = Source::new(Sampling::LatinHypercube, &names(k), n, repeats, 5).unwrap();
        let mut firsts = Vec::new();
        for dimension in 0..k {
            let drawn = column(&source, dimension);
            for block in drawn.chunks(n as usize) {
                let mut seen = vec![false; n as usize];
                for u in block {
                    let share = (u * n as f64) as usize;
                    assert!(!seen[share]);
                    seen[share] = true;
                }
                firsts.push(block[..4].to_vec());
            }
        }
        firsts.sort_by(|a, b| a[0].total_cmp(&b[0]));
        assert!(firsts.windows(2).all(|w| w[0] != w[1]), "permutations repeat");
    }
}

#[test]
fn columns_look_independent_and_uniform() {
    for sampling in ALL {
        let n = 4096;
        let source = Source::new(sampling, &names(12), n, 1, 77).unwrap();
        let columns: Vec<Vec<f64>> = (0..12).map(|d| column(&source, d)).collect();
        for (i, a) in columns.iter().enumerate() {
            let mean = a.iter().sum::<f64>() / n as f64;
            let square = a.iter().map(|u| u * u).sum::<f64>() / n as f64;
            // Five standard errors of plain draws: sd 1/sqrt(12) for u, sqrt(4/45) for u^2.
            assert!((mean - 0.5).abs() < 5.0 * 0.2887 / 64.0, "{sampling} {i}: {mean}");
            assert!((square - 1.0 / 3.0).abs() < 5.0 * 0.2981 / 64.0, "{sampling} {i}: {square}");
            for b in &columns[..i] {
                assert!(spearman(a, b).abs() < 5.0 / 64.0, "{sampling}");
            }
        }
    }
}

#[test]
fn draws_are_frozen() {
    // Value stability: seed 2026, inputs "volts" and "ohms", two repeats of 8. A change here changes every
    // stored study and needs a new version.
    let names = ["volts".to_string(), "ohms".to_string()];
    for (sampling, want) in ALL.iter().zip(FROZEN) {
        let source = Source::new(*sampling, &names, 8, 2, 2026).unwrap();
        for (dimension, want) in want.iter().enumerate() {
            let drawn = column(&source, dimension);
            let got = [drawn[0], drawn[1], drawn[7], drawn[8], drawn[15]];
            assert_eq!(got.map(f64::to_bits), want.map(f64::to_bits), "{sampling} {dimension}: {got:?}");
        }
    }
}

const FROZEN: [[[f64; 5]; 2]; 3] = [
    [
        [0.9421447329100648, 0.9237901383687829, 0.5071835303152535, 0.19206932655732134, 0.6849947586979465],
        [
            0.004105470222730223,
            0.2922435685175898,
            0.9785435464521278,
            0.3504971305046717,
            0.15149953323089116,
        ],
    ],
    [
        [0.9927680916137581, 0.24047376729609787, 0.5633979412894067, 0.7740086658196652, 0.4606243448372433],
        [0.5005131837778413, 0.03653044606469873, 0.997317943306516, 0.418812141313084, 0.1439374416538614],
    ],
    [
        [
            0.019844752711766334,
            0.8854331386844828,
            0.14414344346426156,
            0.5233002639049423,
            0.7194597603354896,
        ],
        [0.5872237566640867, 0.401419622690394, 0.3574727010483688, 0.06029586101206286, 0.8633192648319744],
    ],
];

#[test]
fn any_slice_of_draws_equals_the_whole() {
    for sampling in ALL {
        let source = Source::new(sampling, &names(3), 100, 4, 9).unwrap();
        let whole = column(&source, 2);
        for (start, len) in [(0, 1), (37, 200), (99, 2), (399, 1), (128, 17)] {
            let mut part = vec![0.0; len];
            source.fill(2, start as u64, &mut part);
            assert_eq!(part, whole[start..start + len], "{sampling} {start}");
        }
    }
}

#[test]
fn streams_follow_the_name_not_the_place() {
    for sampling in [Sampling::Plain, Sampling::LatinHypercube] {
        let one = Source::new(sampling, &names(3), 50, 1, 9).unwrap();
        let other = Source::new(sampling, &["new".into(), "x2".into()], 50, 1, 9).unwrap();
        assert_eq!(column(&one, 2), column(&other, 1));
        assert_ne!(column(&one, 1), column(&other, 0));
    }
}

#[test]
fn scrambling_makes_the_error_fall_faster_than_plain_draws() {
    // Mean of prod(1 + (u - 1/2)) over 4 inputs is exactly 1. scipy 1.17.1 (qmc.Sobol, scramble=True,
    // bits=52), 40 repeats: root mean square 4.13e-3 at 64 points and 2.05e-5 at 4096, that is N^-1.28;
    // plain draws follow N^-1/2 (Owen, Annals of Statistics 25 (1997) 1541).
    let rms = |sampling, n: u64| {
        let repeats = 40;
        let source = Source::new(sampling, &names(4), n, repeats, 123).unwrap();
        let columns: Vec<Vec<f64>> = (0..4).map(|d| column(&source, d)).collect();
        let mut square = 0.0;
        for r in 0..repeats as usize {
            let mean = (0..n as usize)
                .map(|i| columns.iter().map(|c| 0.5 + c[r * n as usize + i]).product::<f64>())
                .sum::<f64>()
                / n as f64;
            square += (mean - 1.0) * (mean - 1.0) / repeats as f64;
        }
        square.sqrt()
    };
    let slope = |sampling| (rms(sampling, 4096) / rms(sampling, 64)).log2() / 6.0;
    let (sobol, plain) = (slope(Sampling::Sobol), slope(Sampling::Plain));
    println!("error falls as N^{sobol:.2} (scrambled Sobol') and N^{plain:.2} (plain)");
    assert!(rms(Sampling::Sobol, 4096) < 1.3 * 2.05e-5);
    assert!(sobol < -1.15 && (plain + 0.5).abs() < 0.15);
}

#[test]
fn flips_of_sister_branches_are_independent() {
    // In a nested uniform scramble the second digit's flip under a first digit 0 is independent of that
    // under 1, and so on down: four equally likely pairs, at every level of the tree.
    for level in [0_u64, 1, 3, 7, 8, 12, 20] {
        let mut counts = [0_u32; 4];
        for key in 0..4000 {
            let scrambler = railrise::study::sampling::owen::Scrambler::new(key * 2654435761 + 1);
            // Two branches that differ in the digit before the one looked at (or two keys at the root).
            let digit = |x: u64| (scrambler.scramble(x) >> (63 - level)) & 1;
            let sister = if level == 0 { 0 } else { 1 << (level - 1) };
            counts[(digit(0) * 2 + digit(sister)) as usize] += 1;
        }
        if level == 0 {
            assert_eq!(counts[1] + counts[2], 0);
            continue;
        }
        // Chi-square with 3 degrees of freedom, 99.99 % point 21.1 (scipy 1.17.1).
        let chi: f64 = counts.iter().map(|&c| (f64::from(c) - 1000.0).powi(2) / 1000.0).sum();
        assert!(chi < 21.1, "level {level}: {counts:?}");
    }
}

#[test]
fn the_copula_gives_the_asked_rank_correlation() {
    let source = Source::new(Sampling::Sobol, &names(4), 1 << 14, 1, 4).unwrap();
    let mut columns: Vec<Vec<f64>> = (0..4).map(|d| column(&source, d)).collect();
    let copula = Copula::new(&names(4), &[(0, 2, 0.7), (2, 3, -0.5), (0, 3, -0.2)]).unwrap();
    let untouched = columns[1].clone();
    copula.apply(&mut columns.iter_mut().map(|c| c.as_mut_slice()).collect::<Vec<_>>());
    // Spearman's coefficient of a normal copula is (6/pi) asin(r/2) exactly; 2^14 Sobol' points.
    for (a, b, want) in [(0, 2, 0.7), (2, 3, -0.5), (0, 3, -0.2), (0, 1, 0.0)] {
        let got = spearman(&columns[a], &columns[b]);
        assert!((got - want).abs() < 0.01, "{a} {b}: {got}");
    }
    assert_eq!(untouched, columns[1]);
    for c in &columns {
        assert!((c.iter().sum::<f64>() / c.len() as f64 - 0.5).abs() < 1e-3);
    }
    assert!((normal_from_rank(0.5) - 0.517638090205041).abs() < 1e-14); // 2 sin(15 degrees)
}

#[test]
fn impossible_correlations_are_refused_by_name() {
    let error = Copula::new(&names(3), &[(0, 1, 0.9), (1, 2, 0.9), (0, 2, -0.9)]).unwrap_err();
    assert!(error.to_string().contains("'x2'"), "{error}");
    assert!(Copula::new(&names(2), &[(0, 1, 1.0)]).is_err());
}

#[test]
fn reordering_gives_the_asked_rank_correlation_and_keeps_the_values() {
    let source = Source::new(Sampling::LatinHypercube, &names(3), 1000, 1, 21).unwrap();
    let mut columns: Vec<Vec<f64>> = (0..3).map(|d| column(&source, d)).collect();
    let before = columns.clone();
    let target = DMatrix::from_row_slice(3, 3, &[1.0, 0.8, 0.0, 0.8, 1.0, -0.3, 0.0, -0.3, 1.0]);
    iman_conover(&mut columns, &target, 1).unwrap();
    for (i, j) in [(0, 1), (0, 2), (1, 2)] {
        // Iman and Conover report agreement to about 0.02..0.05; scores' correlation is matched exactly, ranks nearly.
        assert!((spearman(&columns[i], &columns[j]) - target[(i, j)]).abs() < 0.03);
    }
    for (a, b) in before.iter().zip(&columns) {
        let (mut a, mut b) = (a.clone(), b.clone());
        a.sort_by(f64::total_cmp);
        b.sort_by(f64::total_cmp);
        assert_eq!(a, b);
    }
}
