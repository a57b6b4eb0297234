//! Ranges, round ticks and how numbers are written.

/// Magnitudes above this cannot be drawn: their differences overflow.
const LARGEST: f64 = 1e150;

/// A number that can be drawn.
pub(crate) fn drawable(value: f64) -> bool {
    value.is_finite() && value.abs() <= LARGEST
}

/// Smallest and largest drawable value.
pub(crate) fn extent(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    values.into_iter().filter(|value| drawable(*value)).fold(None, |seen, value| match seen {
        None => Some((value, value)),
        Some((low, high)) => Some((f64::min(low, value), f64::max(high, value))),
    })
}

/// A range with some width around `extent`; equal values get room on both sides.
pub(crate) fn opened(extent: Option<(f64, f64)>) -> (f64, f64) {
    match extent {
        None => (0.0, 1.0),
        Some((low, high)) if high - low <= 1e-12 * low.abs().max(high.abs()) => {
            let room = if low == 0.0 { 1.0 } else { 0.1 * low.abs() };
            (low - room, high + room)
        }
        Some(range) => range,
    }
}

/// [`opened`], then some air, then out to round numbers. Never crosses zero only for the sake of air.
pub(crate) fn rounded(extent: Option<(f64, f64)>, want: usize) -> (f64, f64) {
    let ticks = rounded_ticks(extent, want);
    (ticks.0, ticks.1)
}

/// [`rounded`] with the ticks that its ends belong to.
pub(crate) fn rounded_ticks(extent: Option<(f64, f64)>, want: usize) -> (f64, f64, Ticks) {
    let (low, high) = opened(extent);
    let air = 0.04 * (high - low);
    let mut bottom = low - air;
    let mut top = high + air;
    if low >= 0.0 && bottom < 0.0 {
        bottom = 0.0;
    }
    if high <= 0.0 && top > 0.0 {
        top = 0.0;
    }
    let step = step(bottom, top, want);
    let (bottom, top) = ((bottom / step + 1e-9).floor() * step, (top / step - 1e-9).ceil() * step);
    (bottom, top, ticks_by(bottom, top, step))
}

/// A round step (1, 2, 2.5 or 5 times a power of ten) that gives about `want` ticks.
fn step(low: f64, high: f64, want: usize) -> f64 {
    let raw = (high - low) / want.max(1) as f64;
    let power = 10f64.powf(raw.log10().floor());
    let lead = raw / power;
    let round = match lead {
        l if l <= 1.0 + 1e-9 => 1.0,
        l if l <= 2.0 + 1e-9 => 2.0,
        l if l <= 2.5 + 1e-9 => 2.5,
        l if l <= 5.0 + 1e-9 => 5.0,
        _ => 10.0,
    };
    round * power
}

/// Ticks of an axis.
#[derive(Clone, Debug)]
pub(crate) struct Ticks {
    pub(crate) at: Vec<f64>,
    pub(crate) labels: Vec<String>,
    /// Power of ten that was taken out of the labels and belongs in the axis title; 0 for none.
    pub(crate) power: i32,
}

pub(crate) fn ticks(low: f64, high: f64, want: usize) -> Ticks {
    ticks_by(low, high, step(low, high, want))
}

pub(crate) fn ticks_by(low: f64, high: f64, step: f64) -> Ticks {
    let first = (low / step - 1e-9).ceil();
    let last = (high / step + 1e-9).floor();
    let count = (last - first).clamp(0.0, 200.0) as usize;
    let at: Vec<f64> = (0..=count).map(|i| (first + i as f64) * step).collect();
    let largest = low.abs().max(high.abs());
    let magnitude = if largest > 0.0 { largest.log10().floor() as i32 } else { 0 };
    let power = if magnitude >= 5 || magnitude <= -4 { magnitude.div_euclid(3) * 3 } else { 0 };
    let unit = 10f64.powi(power);
    let scaled = step / unit;
    let mut decimals = 0;
    while decimals < 9
        && (scaled * 10f64.powi(decimals)).fract().abs() > 1e-6
        && (1.0 - (scaled * 10f64.powi(decimals)).fract().abs()) > 1e-6
    {
        decimals += 1;
    }
    let labels = at.iter().map(|value| signed(format!("{:.*}", decimals as usize, value / unit))).collect();
    Ticks { at, labels, power }
}

/// A typographic minus, and no minus zero.
pub(crate) fn signed(text: String) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_string(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A power of ten in print: `10⁶`.
pub(crate) fn power_of_ten(power: i32) -> String {
    const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let mut text = String::from("10");
    for digit in power.to_string().chars() {
        text.push(match digit.to_digit(10) {
            Some(d) => RAISED[d as usize],
            None => '⁻',
        });
    }
    text
}

/// A number with about `digits` figures that matter, without trailing zeros, for text and tables.
pub(crate) fn figures(value: f64, digits: usize) -> String {
    if value.is_nan() {
        return String::from("no value");
    }
    if value.is_infinite() {
        return String::from(if value > 0.0 { "infinite" } else { "-infinite" });
    }
    if value == 0.0 {
        return String::from("0");
    }
    let magnitude = value.abs().log10().floor() as i32;
    if !(-4..7).contains(&magnitude) {
        let text = format!("{value:.*e}", digits.saturating_sub(1));
        return match text.split_once('e') {
            Some((lead, power)) if lead.contains('.') => {
                format!("{}e{power}", lead.trim_end_matches('0').trim_end_matches('.'))
            }
            _ => text,
        };
    }
    let decimals = (digits as i32 - 1 - magnitude).max(0) as usize;
    let text = format!("{value:.decimals$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text };
    if text == "-0" { String::from("0") } else { text }
}

/// [`figures`] with a typographic minus, for drawing.
pub(crate) fn printed(value: f64, digits: usize) -> String {
    let text = figures(value, digits);
    if value.is_finite() { signed(text) } else { text }
}

/// A number with as many decimals as give the largest of its family three figures, so that a column of
/// them lines up.
pub(crate) fn alike(value: f64, largest: f64) -> String {
    let magnitude = if largest > 0.0 { largest.log10().floor() as i32 } else { 0 };
    if !(-3..=6).contains(&magnitude) {
        return printed(value, 3);
    }
    signed(format!("{value:.*}", (2 - magnitude).max(0) as usize))
}
