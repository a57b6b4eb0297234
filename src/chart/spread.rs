//! Labels in a row: each as near as can be to where it belongs, none over another.

/// Where to put labels of given sizes so that none overlaps its neighbour.
///
/// Minimises `sum((c_i - w_i)^2)` subject to `c_(i+1) - c_i >= (s_i + s_(i+1))/2 + gap` and
/// `low + s_i/2 <= c_i <= high - s_i/2`.
///
/// - `wanted` (`w`): the centre each label would like; `sizes` (`s`): its extent along the row;
///   `gap`: free space between neighbours; `low`, `high`: the ends of the row; all in one unit of length.
/// - returns `c`, the centres, in the order given.
///
/// Valid for finite numbers and sizes of zero or more; the order of the wanted places is kept, equal
/// places keep the order given. When the labels do not fit between the ends, they are packed from `low`
/// and run over `high`: ask [`needed`] first.
///
/// The offsets of the packed row turn this into isotonic regression, solved exactly by pooling adjacent
/// violators (Barlow, Bartholomew, Bremner and Brunk 1972); bounds are then a clamp.
pub fn spread(wanted: &[f64], sizes: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    let count = wanted.len().min(sizes.len());
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));

    // Offset of each label's centre in a row packed without free space.
    let mut offsets = Vec::with_capacity(count);
    let mut end = 0.0;
    for (place, &label) in order.iter().enumerate() {
        if place > 0 {
            end += gap;
        }
        offsets.push(end + sizes[label] / 2.0);
        end += sizes[label];
    }
    let slack = (high - low - end).max(0.0);

    // Pools of labels that touch: (sum of starts, members).
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (place, &label) in order.iter().enumerate() {
        let mut pool = (wanted[label] - offsets[place], 1);
        while let Some(&(sum, members)) = pools.last() {
            if sum / members as f64 <= pool.0 / pool.1 as f64 {
                break;
            }
            pool = (sum + pool.0, members + pool.1);
            pools.pop();
        }
        pools.push(pool);
    }

    let mut centres = vec![0.0; count];
    let mut place = 0;
    for (sum, members) in pools {
        let start = (sum / members as f64).clamp(low, low + slack);
        for _ in 0..members {
            centres[order[place]] = start + offsets[place];
            place += 1;
        }
    }
    centres
}

/// The room a row of labels takes when packed: `sum(s_i) + (n - 1) gap`, in the unit of `sizes`; zero
/// for no labels.
pub fn needed(sizes: &[f64], gap: f64) -> f64 {
    sizes.iter().sum::<f64>() + gap * sizes.len().saturating_sub(1) as f64
}
