//! Movement in numbers: smear on the picture from movement of subject and hand, slow motion, and
//! what a smear adds to blur.
//!
//! All follow from geometry. A rotation about a point at a distance L from the subject's plane
//! shifts the subject by L·θ and its image by m·L·θ; about the lens centre the image moves by
//! f(1+m)·θ. The rule of one over the focal length knows only the distant subject's f·θ.

/// Longest exposure for a smear of `smear_px` when the picture moves at `speed_px_s`, s.
pub fn shutter_for_s(smear_px: f64, speed_px_s: f64) -> f64 {
    smear_px / speed_px_s
}

/// How many times slower than life a clip of `fps` is when played at `play_fps`.
pub fn slower(fps: f64, play_fps: f64) -> f64 {
    fps / play_fps
}

/// Exposure of half the time between frames, which film makers call a 180° shutter, s.
pub fn half_frame_shutter_s(fps: f64) -> f64 {
    0.5 / fps
}

/// Factor of the Gaussian's width at which its transfer falls to a tenth: finest line over σ.
/// With exp(−2π²σ²f²) = 0.1, a line of half a period is 1/(2f) = σ·√(π²/(2·ln 10)).
fn finest_line_over_sigma() -> f64 {
    (std::f64::consts::PI.powi(2) / (2.0 * std::f64::consts::LN_10)).sqrt()
}

/// Width of the finest line (half a period) that a blur of `sigma_px` leaves a tenth of its
/// contrast, px. A tenth is near what the eye needs at a line (Rayleigh's two points keep about as
/// much); common practice.
pub fn finest_line_px(sigma_px: f64) -> f64 {
    finest_line_over_sigma() * sigma_px
}

/// How far a picture of `width_px` can be cropped (2: half the width) before its finest line is
/// wider than a pixel of a delivered picture of `deliver_width_px`.
pub fn crop_most(sigma_px: f64, width_px: f64, deliver_width_px: f64) -> f64 {
    width_px / (deliver_width_px * finest_line_px(sigma_px))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq as near;

    // facts V8, V10, V11: derived there from geometry.
    #[test]
    fn v8_to_v11_rates_crops_and_shutter() {
        near!(slower(120.0, 25.0), 4.8, epsilon = 1e-12);
        near!(slower(240.0, 30.0), 8.0, epsilon = 1e-12);
        near!(slower(59.94, 23.976), 2.5, epsilon = 1e-12);
        // V10: the same blur is twice as many px of a picture twice as wide.
        near!(
            crop_most(1.0, 3840.0, 1920.0) / crop_most(1.0, 1920.0, 1920.0),
            2.0,
            epsilon = 1e-12
        );
        near!(shutter_for_s(1.0, 500.0), 0.002, epsilon = 1e-15);
        near!(1000.0 * half_frame_shutter_s(59.94), 8.3417, epsilon = 1e-4);
    }

    #[test]
    fn the_finest_line_keeps_a_tenth_of_its_contrast() {
        let sigma = 0.8;
        let f = 1.0 / (2.0 * finest_line_px(sigma));
        let transfer = (-2.0 * (std::f64::consts::PI * sigma * f).powi(2)).exp();
        near!(transfer, 0.1, epsilon = 1e-12);
    }
}
