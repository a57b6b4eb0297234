//! A colour scale for maps: equal steps of the value are equal steps to the eye.

/// The colour at `share` of the scale, as red, green and blue.
///
/// `L = 0.30 + 0.66 s`, hue falling from 285 to 95 degrees, chroma `0.145 sin(pi (0.15 + 0.8 s))`,
/// in OKLab (Ottosson 2020, "A perceptual color space for image processing").
///
/// `s` (share, `0..=1`, no unit): 0 is dark blue, 1 is pale yellow. Outside the range, and for a value
/// that is not a number, the nearest end is taken. Lightness rises strictly, so grey print keeps the
/// order of the values.
pub fn ramp(share: f64) -> (u8, u8, u8) {
    let s = if share.is_nan() { 0.0 } else { share.clamp(0.0, 1.0) };
    let lightness = 0.30 + 0.66 * s;
    let hue = (285.0 - 190.0 * s).to_radians();
    let mut chroma = 0.145 * (std::f64::consts::PI * (0.15 + 0.80 * s)).sin();
    // Pull the colour towards grey until a screen can show it: lightness is what carries the value.
    loop {
        let linear = oklab_to_linear(lightness, chroma * hue.cos(), chroma * hue.sin());
        let shown = linear.iter().all(|part| (-1e-6..=1.0 + 1e-6).contains(part));
        if shown || chroma < 1e-4 {
            let [r, g, b] = linear.map(encode);
            return (r, g, b);
        }
        chroma *= 0.96;
    }
}

/// Ink that can be read on [`ramp`] at the same share: white or black, whichever stands out more.
pub fn ink_on(share: f64) -> super::Colour {
    let (r, g, b) = ramp(share);
    let linear = |code: u8| {
        let c = f64::from(code) / 255.0;
        if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    };
    let light = 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
    // Contrast with white equals contrast with black where (1.05) / (L + 0.05) = (L + 0.05) / 0.05.
    if light < (1.05f64 * 0.05).sqrt() - 0.05 { "#ffffff" } else { "#000000" }
}

fn oklab_to_linear(l: f64, a: f64, b: f64) -> [f64; 3] {
    // Matrices as published by Ottosson (2020).
    let long = (l + 0.396_337_777_4 * a + 0.215_803_757_3 * b).powi(3);
    let medium = (l - 0.105_561_345_8 * a - 0.063_854_172_8 * b).powi(3);
    let short = (l - 0.089_484_177_5 * a - 1.291_485_548_0 * b).powi(3);
    [
        4.076_741_662_1 * long - 3.307_711_591_3 * medium + 0.230_969_929_2 * short,
        -1.268_438_004_6 * long + 2.609_757_401_1 * medium - 0.341_319_396_5 * short,
        -0.004_196_086_3 * long - 0.703_418_614_7 * medium + 1.707_614_701_0 * short,
    ]
}

fn encode(linear: f64) -> u8 {
    let c = linear.clamp(0.0, 1.0);
    let coded = if c <= 0.003_130_8 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 };
    (255.0 * coded).round() as u8
}
