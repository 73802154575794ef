//! Movement in numbers: smear on the picture from movement of subject and hand, slow motion, and
//! what a smear adds to blur.
//!
//! All follow from geometry. A rotation about a point at a distance L from the subject's plane
//! shifts the subject by L·θ and its image by m·L·θ; about the lens centre the image moves by
//! f(1+m)·θ. The rule of one over the focal length knows only the distant subject's f·θ.

/// Smear on the picture of a subject that moves at `speed_mm_s`, px.
pub fn smear_px(speed_mm_s: f64, shutter_s: f64, magnification: f64, pitch_um: f64) -> f64 {
    speed_mm_s * shutter_s * magnification * 1000.0 / pitch_um
}

/// Longest exposure for a smear of `smear_px` when the picture moves at `speed_px_s`, s.
pub fn shutter_for_s(smear_px: f64, speed_px_s: f64) -> f64 {
    smear_px / speed_px_s
}

/// Shift of the image by a rotation about the lens centre, mm.
pub fn shift_by_lens_turn_mm(focal_mm: f64, magnification: f64, angle_rad: f64) -> f64 {
    focal_mm * (1.0 + magnification) * angle_rad
}

/// Shift of the image by a rotation about a point `lever_mm` from the subject's plane, mm.
pub fn shift_by_lever_mm(lever_mm: f64, magnification: f64, angle_rad: f64) -> f64 {
    lever_mm * magnification * angle_rad
}

/// How many times slower than life a clip of `fps` is when played at `play_fps`.
pub fn slower(fps: f64, play_fps: f64) -> f64 {
    fps / play_fps
}

/// Exposure of half the time between frames, which film makers call a 180° shutter, s.
pub fn half_frame_shutter_s(fps: f64) -> f64 {
    0.5 / fps
}

/// Crop of a readout of `used_px` out of `full_px`, pixel by pixel.
pub fn readout_crop(full_px: f64, used_px: f64) -> f64 {
    full_px / used_px
}

/// Standard deviation of an even smear, px.
pub fn smear_sigma_px(smear_px: f64) -> f64 {
    smear_px / 12f64.sqrt()
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

    // facts 8, V1-V14: derived there from geometry.
    #[test]
    fn v1_to_v3_smear_of_a_moving_subject() {
        near!(smear_px(10.0, 1.0 / 200.0, 1.0, 4.394_53), 11.3778, epsilon = 1e-4);
        near!(smear_px(1.0, 1.0 / 200.0, 2.0, 4.394_53), 2.2756, epsilon = 1e-4);
        near!(smear_px(10.0, 1.0 / 1000.0, 2.0, 4.394_53), 4.5511, epsilon = 1e-4);
        near!(smear_px(1.0, 1.0 / 250.0, 5.0, 4.394_53), 4.5511, epsilon = 1e-4);
        near!(smear_px(5.0, 1e-4, 3.0, 6.0), 0.25, epsilon = 1e-12);
        near!(shutter_for_s(1.0, 500.0), 0.002, epsilon = 1e-15);
    }

    #[test]
    fn v4_to_v7_shifts_by_turning_and_by_moving() {
        for (m, want) in [(0.0, 0.1), (1.0, 0.2), (2.0, 0.3), (5.0, 0.6)] {
            near!(shift_by_lens_turn_mm(100.0, m, 1e-3), want, epsilon = 1e-12);
        }
        let turn = |m: f64, lever: f64, t: f64| shift_by_lever_mm(lever, m, 0.03 * t);
        near!(turn(1.0, 400.0, 0.01), 0.12, epsilon = 1e-9);
        // Against the distant subject's f·θ: 100 mm · 0.03 rad/s · 1/100 s.
        near!(turn(1.0, 400.0, 0.01) / (100.0 * 0.03 * 0.01), 4.0, epsilon = 1e-9);
        near!(turn(1.0, 400.0, 0.01) * 1000.0 / 4.394_53, 27.3, epsilon = 0.1);
        near!(turn(2.0, 350.0, 0.01), 0.21, epsilon = 1e-4);
        near!(turn(5.0, 300.0, 1.0 / 65.0), 0.6923, epsilon = 1e-4);
        near!(turn(5.0, 300.0, 1.0 / 65.0) / (65.0 * 0.03 / 65.0), 23.08, epsilon = 0.01);
        // A pitch of 1000 µm makes px of mm.
        near!(smear_px(5.0, 0.01, 1.0, 1000.0), 0.05, epsilon = 1e-12);
        near!(smear_px(5.0, 0.01, 5.0, 1000.0), 0.25, epsilon = 1e-12);
    }

    #[test]
    fn v8_to_v11_rates_crops_and_shutter() {
        near!(slower(120.0, 25.0), 4.8, epsilon = 1e-12);
        near!(slower(240.0, 30.0), 8.0, epsilon = 1e-12);
        near!(slower(59.94, 23.976), 2.5, epsilon = 1e-12);
        near!(readout_crop(6000.0, 3840.0), 1.5625, epsilon = 1e-4);
        near!(readout_crop(8192.0, 3840.0), 2.1333, epsilon = 1e-4);
        // V10: the same blur is twice as many px of a picture twice as wide.
        near!(
            crop_most(1.0, 3840.0, 1920.0) / crop_most(1.0, 1920.0, 1920.0),
            2.0,
            epsilon = 1e-12
        );
        near!(1000.0 * half_frame_shutter_s(59.94), 8.3417, epsilon = 1e-4);
    }

    #[test]
    fn v14_an_even_smear_as_a_standard_deviation() {
        near!(smear_sigma_px(1.0), 0.288_675, epsilon = 1e-6);
    }

    #[test]
    fn the_finest_line_keeps_a_tenth_of_its_contrast() {
        let sigma = 0.8;
        let f = 1.0 / (2.0 * finest_line_px(sigma));
        let transfer = (-2.0 * (std::f64::consts::PI * sigma * f).powi(2)).exp();
        near!(transfer, 0.1, epsilon = 1e-12);
    }
}
