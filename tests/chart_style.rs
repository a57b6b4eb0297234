//! Colours: apart for every kind of colour sight, dark enough, and a map scale that is even to the eye.

use railrise::chart::style::{
    COLOURS, FAIL, FAIL_GROUND, INK, PAPER, PASS, PASS_GROUND, SOFT, TEXT_COLOURS, WARN, WARN_GROUND, look,
    ramp, text_width, wrap,
};

type Rgb = [f64; 3];

fn linear(colour: &str) -> Rgb {
    let part = |at: usize| {
        let code = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).expect("a colour")) / 255.0;
        // sRGB, IEC 61966-2-1.
        if code <= 0.04045 { code / 12.92 } else { ((code + 0.055) / 1.055).powf(2.4) }
    };
    [part(1), part(3), part(5)]
}

/// Colour sight as linear maps of linear sRGB: Machado, Oliveira and Fernandes, "A physiologically-based model
/// for simulation of color vision deficiency", IEEE TVCG 15 (2009), table of severity 1.0.
const SIGHTS: [(&str, [Rgb; 3]); 4] = [
    ("full", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    (
        "protanopia",
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    ),
    (
        "deuteranopia",
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    ),
    (
        "tritanopia",
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    ),
];

fn seen(colour: Rgb, sight: &[Rgb; 3]) -> Rgb {
    sight.map(|row| row.iter().zip(colour).map(|(a, b)| a * b).sum::<f64>().clamp(0.0, 1.0))
}

/// CIELAB under D65 (CIE 15; sRGB primaries by IEC 61966-2-1).
fn lab([r, g, b]: Rgb) -> Rgb {
    let x = (0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b) / 0.950_47;
    let y = 0.212_672_9 * r + 0.715_152_2 * g + 0.072_175_0 * b;
    let z = (0.019_333_9 * r + 0.119_192_0 * g + 0.950_304_1 * b) / 1.088_83;
    let f = |t: f64| {
        if t > 216.0 / 24_389.0 { t.cbrt() } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 }
    };
    [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
}

fn distance(a: Rgb, b: Rgb) -> f64 {
    a.iter().zip(b).map(|(p, q)| (p - q).powi(2)).sum::<f64>().sqrt()
}

/// WCAG 2.1, "contrast ratio".
fn contrast(a: &str, b: &str) -> f64 {
    let light = |c: &str| {
        let [r, g, b] = linear(c);
        0.2126 * r + 0.7152 * g + 0.0722 * b + 0.05
    };
    let (a, b) = (light(a), light(b));
    a.max(b) / a.min(b)
}

#[test]
fn series_colours_stay_apart_in_every_kind_of_colour_sight() {
    for (name, sight) in &SIGHTS {
        for (i, a) in COLOURS.iter().enumerate() {
            for b in &COLOURS[i + 1..] {
                let apart = distance(lab(seen(linear(a), sight)), lab(seen(linear(b), sight)));
                assert!(apart > 22.0, "{a} and {b} in {name}: {apart}");
            }
        }
    }
}

#[test]
fn lines_and_words_stand_out_from_paper() {
    for colour in COLOURS {
        assert!(contrast(colour, PAPER) >= 3.0, "{colour}");
    }
    for colour in TEXT_COLOURS.iter().chain([&INK, &SOFT, &FAIL, &WARN, &PASS]) {
        assert!(contrast(colour, PAPER) >= 4.5, "{colour}");
    }
    for (ink, ground) in [(FAIL, FAIL_GROUND), (WARN, WARN_GROUND), (PASS, PASS_GROUND), (INK, FAIL_GROUND)] {
        assert!(contrast(ink, ground) >= 4.5, "{ink} on {ground}");
    }
}

#[test]
fn grey_print_tells_series_apart_by_dash_or_marker() {
    for i in 0..42 {
        for j in 0..i {
            let (a, b) = (look(i), look(j));
            assert!(a.dash != b.dash || a.marker != b.marker, "{i} and {j}");
        }
    }
    for i in 1..6 {
        assert_ne!(look(i).dash, look(i - 1).dash);
    }
}

#[test]
fn map_scale_is_even_to_the_eye_and_rises_in_grey() {
    let points: Vec<Rgb> = (0..=40)
        .map(|i| {
            let (r, g, b) = ramp(f64::from(i) / 40.0);
            lab(linear(&format!("#{r:02x}{g:02x}{b:02x}")))
        })
        .collect();
    let steps: Vec<f64> = points.windows(2).map(|p| distance(p[0], p[1])).collect();
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    for (pair, step) in points.windows(2).zip(&steps) {
        assert!(pair[1][0] > pair[0][0], "lightness falls");
        assert!((0.4..1.9).contains(&(step / mean)), "a step of {step} where {mean} is usual");
    }
    assert!(points[40][0] - points[0][0] > 65.0);
    assert_eq!(ramp(-3.0), ramp(0.0));
    assert_eq!(ramp(f64::NAN), ramp(0.0));
    assert_eq!(ramp(7.0), ramp(1.0));
}

#[test]
fn words_on_the_map_scale_can_be_read() {
    for i in 0..=100 {
        let share = f64::from(i) / 100.0;
        let (r, g, b) = ramp(share);
        let ratio = contrast(railrise::chart::style::ink_on(share), &format!("#{r:02x}{g:02x}{b:02x}"));
        assert!(ratio >= 4.5, "{share}: {ratio}");
    }
}

#[test]
fn wrapping_keeps_lines_within_their_width_and_units_with_their_numbers() {
    let text = "the rail reads 4.40 bar with the hose on and 3.00 bar with it off, differential pressure [bar gauge]";
    for width in [60.0, 90.0, 140.0, 300.0] {
        let lines = wrap(text, 14.0, false, width, 40);
        for line in &lines {
            assert!(text_width(line, 14.0, false) <= width, "{line}");
        }
        let squeeze = |s: &str| s.replace(' ', "");
        assert_eq!(squeeze(&lines.concat()), squeeze(text));
        if width >= 90.0 {
            assert!(lines.iter().any(|line| line.contains("4.40 bar")), "{lines:?}");
            assert!(lines.iter().any(|line| line.contains("[bar gauge]")), "{lines:?}");
        }
    }
    let cut = wrap(text, 14.0, false, 90.0, 2);
    assert_eq!(cut.len(), 2);
    assert!(cut[1].ends_with('\u{2026}'));
}
