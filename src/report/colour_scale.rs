//! The one colour scale of every map: blur from sharp (light) to soft (dark), even to the eye.
//!
//! A straight line in lightness and a slow turn in hue through OKLCH (Ottosson 2020, "A
//! perceptual color space for image processing"), so that equal steps of the logarithm of blur
//! look equal, also in grey and to people who confuse red and green.

use std::fmt::Write;

use crate::core::tone::encode_srgb;

/// Blur at the light end, px: the sharpest a file can show.
pub const SHARPEST_SIGMA_PX: f64 = 0.5;

/// Blur at the dark end, px: nothing finer than a smear 16 px wide is left.
pub const SOFTEST_SIGMA_PX: f64 = 8.0;

/// Where the legend has its ticks, px.
pub const TICKS_SIGMA_PX: [f64; 5] = [0.5, 1.0, 2.0, 4.0, 8.0];

/// Lightness, chroma and hue (degrees) at the sharp and the soft end. The line stays inside
/// sRGB; a test watches that.
const SHARP_END: [f64; 3] = [0.95, 0.055, 195.0];
const SOFT_END: [f64; 3] = [0.27, 0.115, 292.0];

/// Place on the scale, 0 (sharp) to 1 (soft), of a blur in px.
pub fn place(blur_sigma_px: f64) -> f64 {
    let whole = (SOFTEST_SIGMA_PX / SHARPEST_SIGMA_PX).log2();
    ((blur_sigma_px / SHARPEST_SIGMA_PX).log2() / whole).clamp(0.0, 1.0)
}

/// Colour of a blur in px, 8-bit sRGB.
pub fn colour(blur_sigma_px: f64) -> [u8; 3] {
    colour_at(place(blur_sigma_px))
}

/// Colour at a place on the scale, 0 to 1, 8-bit sRGB.
pub fn colour_at(place: f64) -> [u8; 3] {
    linear_at(place).map(|v| {
        let v = v.clamp(0.0, 1.0);
        (encode_srgb(v) * 255.0).round() as u8
    })
}

/// "#rrggbb".
pub fn hex(rgb: [u8; 3]) -> String {
    let mut text = String::from("#");
    for v in rgb {
        // Writing to a String cannot fail.
        let _ = write!(text, "{v:02x}");
    }
    text
}

/// Linear sRGB at a place on the scale, before clamping.
fn linear_at(place: f64) -> [f64; 3] {
    let t = place.clamp(0.0, 1.0);
    let mix = |i: usize| SHARP_END[i] + (SOFT_END[i] - SHARP_END[i]) * t;
    let (lightness, chroma, hue) = (mix(0), mix(1), mix(2).to_radians());
    let (a, b) = (chroma * hue.cos(), chroma * hue.sin());
    let l = (lightness + 0.396_337_777_4 * a + 0.215_803_757_3 * b).powi(3);
    let m = (lightness - 0.105_561_345_8 * a - 0.063_854_172_8 * b).powi(3);
    let s = (lightness - 0.089_484_177_5 * a - 1.291_485_548_0 * b).powi(3);
    [
        4.076_741_662_1 * l - 3.307_711_591_3 * m + 0.230_969_929_2 * s,
        -1.268_438_004_6 * l + 2.609_757_401_1 * m - 0.341_319_396_5 * s,
        -0.004_196_086_3 * l - 0.703_418_614_7 * m + 1.707_614_701_0 * s,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_stays_inside_srgb() {
        for i in 0..=100 {
            for v in linear_at(f64::from(i) / 100.0) {
                assert!((-0.002..=1.002).contains(&v), "{v} at {i} %");
            }
        }
    }

    /// CIE L* from 8-bit sRGB (IEC 61966-2-1 and CIE 15): a second, independent yardstick.
    fn cie_lightness(rgb: [u8; 3]) -> f64 {
        let lin = rgb.map(|v| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        });
        let y = 0.2126 * lin[0] + 0.7152 * lin[1] + 0.0722 * lin[2];
        if y > 0.008_856 { 116.0 * y.cbrt() - 16.0 } else { 903.3 * y }
    }

    #[test]
    fn lightness_falls_in_even_steps() {
        let steps: Vec<f64> = (0..16)
            .map(|i| {
                let at = |k: i32| cie_lightness(colour_at(f64::from(k) / 16.0));
                at(i) - at(i + 1)
            })
            .collect();
        let mean = steps.iter().sum::<f64>() / 16.0;
        assert!(mean > 3.0, "{steps:?}");
        for step in &steps {
            assert!((step / mean - 1.0).abs() < 0.35, "{steps:?}");
        }
    }

    #[test]
    fn doublings_of_blur_are_equal_steps() {
        let ticks = TICKS_SIGMA_PX.iter().zip([0.0, 0.25, 0.5, 0.75, 1.0]);
        for (blur, want) in ticks.chain([(&0.1, 0.0), (&100.0, 1.0)]) {
            approx::assert_abs_diff_eq!(place(*blur), want, epsilon = 1e-12);
        }
    }
}
