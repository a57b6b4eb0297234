//! Label spreading: no overlap, within bounds, and the nearest such row there is.

use proptest::prelude::*;
use railrise::chart::{needed, spread};

/// The nearest row by the min-max formula of isotonic regression, another route than pooling:
/// `z_i = max over a <= i of min over b >= i of mean(v_a..v_b)`, then clamped.
/// Source: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order Restrictions, 1972, theorem 1.9 (number from memory).
fn nearest(wanted: &[f64], sizes: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));
    let mut offsets = Vec::new();
    let mut end = 0.0;
    for (k, i) in order.iter().enumerate() {
        end += if k > 0 { gap } else { 0.0 };
        offsets.push(end + sizes[*i] / 2.0);
        end += sizes[*i];
    }
    let v: Vec<f64> = order.iter().zip(&offsets).map(|(i, o)| wanted[*i] - o).collect();
    let mean = |a: usize, b: usize| v[a..=b].iter().sum::<f64>() / (b - a + 1) as f64;
    let mut out = vec![0.0; wanted.len()];
    for k in 0..v.len() {
        let z = (0..=k)
            .map(|a| (k..v.len()).map(|b| mean(a, b)).fold(f64::INFINITY, f64::min))
            .fold(f64::NEG_INFINITY, f64::max);
        out[order[k]] = z.clamp(low, high - end) + offsets[k];
    }
    out
}

proptest! {
    #[test]
    fn labels_keep_apart_and_stay_near(
        labels in prop::collection::vec((-50.0..450.0f64, 5.0..30.0f64), 1..11),
        gap in 0.0..6.0f64,
    ) {
        let (wanted, sizes): (Vec<f64>, Vec<f64>) = labels.into_iter().unzip();
        let (low, high) = (0.0, 400.0);
        prop_assume!(needed(&sizes, gap) <= high - low);
        let found = spread(&wanted, &sizes, gap, low, high);
        for i in 0..found.len() {
            prop_assert!(found[i] - sizes[i] / 2.0 >= low - 1e-9);
            prop_assert!(found[i] + sizes[i] / 2.0 <= high + 1e-9);
            for j in 0..i {
                let apart = (found[i] - found[j]).abs();
                prop_assert!(apart >= (sizes[i] + sizes[j]) / 2.0 + gap - 1e-9);
                prop_assert!((wanted[i] - wanted[j]) * (found[i] - found[j]) >= 0.0);
            }
        }
        for (ours, theirs) in found.iter().zip(nearest(&wanted, &sizes, gap, low, high)) {
            prop_assert!((ours - theirs).abs() < 1e-9);
        }
    }
}

#[test]
fn two_labels_at_one_place_part_evenly() {
    assert_eq!(spread(&[100.0, 100.0], &[10.0, 10.0], 2.0, 0.0, 400.0), [94.0, 106.0]);
}

#[test]
fn a_row_that_does_not_fit_is_packed_from_its_low_end() {
    assert_eq!(needed(&[30.0, 30.0], 0.0), 60.0);
    assert_eq!(spread(&[9.0, 8.0], &[30.0, 30.0], 0.0, 0.0, 40.0), [45.0, 15.0]);
}
