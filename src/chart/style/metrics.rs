//! How wide a text will be, so that nothing has to be guessed when labels are placed.
//!
//! Widths are those of DejaVu Sans 2.37 (table `hmtx`, free licence), one of the widest faces in common
//! use. The figures ask for narrower faces first, so a label is never wider than assumed here.

/// Advance widths of U+0020..=U+007E, regular face, thousandths of an em.
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636,
    636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295,
    295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838,
    500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521,
    392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];
/// Advance widths of U+0020..=U+007E, bold face, thousandths of an em.
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696, 696, 696,
    696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683, 683, 821, 837, 372,
    372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771, 724, 725, 457, 365, 457, 838,
    500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665, 343, 1042, 712, 687, 716, 716, 493, 595,
    478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];
/// Advance widths of U+00A0..=U+00FF, the wider of both faces, thousandths of an em.
const LATIN: [u16; 96] = [
    348, 456, 696, 696, 636, 696, 365, 500, 500, 1000, 564, 646, 838, 415, 1000, 500, 500, 838, 438, 438,
    500, 736, 636, 380, 500, 438, 564, 646, 1035, 1035, 1035, 580, 774, 774, 774, 774, 774, 774, 1085, 734,
    683, 683, 683, 683, 372, 372, 372, 372, 838, 837, 850, 850, 850, 850, 850, 838, 850, 812, 812, 812, 812,
    724, 738, 719, 675, 675, 675, 675, 675, 675, 1048, 593, 678, 678, 678, 678, 343, 343, 343, 343, 687, 712,
    687, 687, 687, 687, 687, 838, 687, 712, 712, 712, 712, 652, 716, 652,
];
/// Advance widths of U+0391..=U+03C9, the wider of both faces, thousandths of an em.
const GREEK: [u16; 57] = [
    774, 762, 637, 774, 683, 725, 837, 850, 372, 775, 774, 995, 837, 632, 850, 837, 733, 0, 683, 682, 724,
    850, 771, 850, 850, 372, 724, 687, 557, 712, 390, 675, 687, 716, 681, 687, 557, 591, 712, 687, 390, 710,
    633, 736, 681, 591, 687, 791, 716, 593, 779, 638, 675, 782, 645, 794, 869,
];
/// Advance widths of signs outside those blocks, the wider of both faces, thousandths of an em.
const SIGNS: [(char, u16); 26] = [
    ('\u{2013}', 500),
    ('\u{2014}', 1000),
    ('\u{2018}', 380),
    ('\u{2019}', 380),
    ('\u{201c}', 657),
    ('\u{201d}', 657),
    ('\u{2026}', 1000),
    ('\u{2022}', 639),
    ('\u{2212}', 838),
    ('\u{2264}', 838),
    ('\u{2265}', 838),
    ('\u{2260}', 838),
    ('\u{2248}', 838),
    ('\u{2192}', 838),
    ('\u{221a}', 667),
    ('\u{2070}', 438),
    ('\u{2074}', 438),
    ('\u{2075}', 438),
    ('\u{2076}', 438),
    ('\u{2077}', 438),
    ('\u{2078}', 438),
    ('\u{2079}', 438),
    ('\u{207b}', 528),
    ('\u{2713}', 838),
    ('\u{2717}', 838),
    ('\u{2032}', 264),
];

/// Width of a sign that no table here knows: a full em, as wide as an ideograph.
const UNKNOWN: u16 = 1000;

fn advance(sign: char, bold: bool) -> u16 {
    let code = sign as usize;
    match code {
        0x20..=0x7E if bold => BOLD[code - 0x20],
        0x20..=0x7E => REGULAR[code - 0x20],
        0xA0..=0xFF => LATIN[code - 0xA0],
        0x391..=0x3C9 => GREEK[code - 0x391],
        _ => SIGNS.iter().find(|(known, _)| *known == sign).map_or(UNKNOWN, |(_, width)| *width),
    }
}

/// Width of a line of text.
///
/// `w = size / 1000 * sum(advance)`, with `size` the font size and `w` the width, both in units of the
/// figure. Holds for left-to-right text without ligatures; a sign outside the tables counts as one em.
///
/// Source: `hmtx` table of DejaVu Sans 2.37.
pub fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    let thousandths: f64 = text.chars().map(|sign| f64::from(advance(sign, bold))).sum();
    size * thousandths / 1000.0
}

/// Height of a line above its baseline, as a share of the font size (capitals and accents).
pub const ASCENT: f64 = 0.80;
/// Depth of a line below its baseline, as a share of the font size.
pub const DESCENT: f64 = 0.22;
/// Distance between baselines, as a share of the font size.
pub const LEADING: f64 = 1.22;

/// Breaks a text into lines no wider than `width`, at most `lines` of them; what is left over ends in an
/// ellipsis. A word that is too long alone is broken between letters.
pub fn wrap(text: &str, size: f64, bold: bool, width: f64, lines: usize) -> Vec<String> {
    let fits = |part: &str| text_width(part, size, bold) <= width;
    let mut done: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in units(text, &fits) {
        let word = word.as_str();
        let longer = if line.is_empty() { word.to_string() } else { format!("{line} {word}") };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            done.push(std::mem::take(&mut line));
        }
        for sign in word.chars() {
            let next = format!("{line}{sign}");
            if !line.is_empty() && !fits(&next) {
                done.push(std::mem::take(&mut line));
            }
            line.push(sign);
        }
    }
    if !line.is_empty() {
        done.push(line);
    }
    if done.len() > lines {
        done.truncate(lines);
        if let Some(last) = done.last_mut() {
            while !last.is_empty() && !fits(&format!("{last}\u{2026}")) {
                last.pop();
            }
            last.push('\u{2026}');
        }
    }
    done
}

/// Words, with what belongs together kept in one piece where it fits: a number and its unit, and a unit in
/// square brackets.
fn units(text: &str, fits: &impl Fn(&str) -> bool) -> Vec<String> {
    let number = |word: &str| word.replace('\u{2212}', "-").parse::<f64>().is_ok();
    let mut joined: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        if let Some(last) = joined.last_mut() {
            let tail = last.rsplit(' ').next().unwrap_or("");
            let bracket = last.rfind('[').is_some_and(|at| !last[at..].contains(']'));
            let unit = number(tail) && word.chars().count() <= 5;
            let together = format!("{last} {word}");
            if (bracket || unit) && fits(&together) {
                *last = together;
                continue;
            }
        }
        joined.push(word.to_string());
    }
    joined
}
