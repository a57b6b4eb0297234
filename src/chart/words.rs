//! Sentences that say what a figure shows.

use super::data::{Axis, Series};
use super::scale::printed;

/// One sentence on a series: where it starts and ends, and how far it swings between.
pub(crate) fn course(series: &Series, x: &Axis, y: &Axis) -> String {
    let points: Vec<(f64, f64)> = series.runs().into_iter().flatten().collect();
    let name = &series.label;
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return format!("{name}: no finite value.");
    };
    if points.len() == 1 {
        return format!("{name}: one point, {} at {}.", y.value(first.1), x.value(first.0));
    }
    let low = points.iter().fold(*first, |a, b| if b.1 < a.1 { *b } else { a });
    let high = points.iter().fold(*first, |a, b| if b.1 > a.1 { *b } else { a });
    if low.1 == high.1 {
        return format!(
            "{name}: {} throughout, from {} to {}.",
            y.value(low.1),
            x.value(first.0),
            x.value(last.0)
        );
    }
    let mut text = format!(
        "{name}: from {} at {} to {} at {}",
        y.value(first.1),
        x.value(first.0),
        y.value(last.1),
        x.value(last.0)
    );
    if low.1 < first.1.min(last.1) {
        text += &format!(", lowest {} at {}", y.value(low.1), x.value(low.0));
    }
    if high.1 > first.1.max(last.1) {
        text += &format!(", highest {} at {}", y.value(high.1), x.value(high.0));
    }
    text.push('.');
    text
}

/// Where a series passes a limit.
pub(crate) fn passes(series: &Series, limit: f64, label: &str, x: &Axis) -> Option<String> {
    let flat = Series::new(label, series.x.clone(), vec![limit; series.x.len()]);
    let places: Vec<String> = series.meets(&flat).iter().map(|(at, _)| x.value(*at)).collect();
    match places.len() {
        0 => None,
        1..=3 => Some(format!(
            "{} passes {} ({label}) at {}.",
            series.label,
            printed(limit, 4),
            places.join(" and ")
        )),
        many => Some(format!(
            "{} passes {} ({label}) {many} times, first at {}.",
            series.label,
            printed(limit, 4),
            places[0]
        )),
    }
}
