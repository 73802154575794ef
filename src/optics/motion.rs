//! Movement on the sensor: of the subject, of the hand, of video; and the chance that a hand is
//! still enough and close enough.
//!
//! Geometry only (facts section 8). A hand that shifts with a normal speed in both directions of
//! the picture has a speed after Rayleigh; the distance of the focus plane from the subject is
//! taken as normal. Both are models for planning, not measurements.

use statrs::function::erf::erf;

/// σ of the Gaussian with a disc's MTF50, over its diameter.
const SIGMA_PER_DISC: f64 = 0.265_770;

/// Length of a smear on the sensor, px: speed·time·magnification/pitch.
pub fn smear_px(speed_mm_s: f64, time_s: f64, magnification: f64, pitch_um: f64) -> f64 {
    speed_mm_s * time_s * magnification / pitch_um * 1000.0
}

/// Slow motion: frames a second taken over frames a second shown.
pub fn slow_motion(taken_fps: f64, shown_fps: f64) -> f64 {
    taken_fps / shown_fps
}

/// How much larger the picture stands when only `used_px` of `sensor_px` pixels across are read,
/// pixel for pixel.
pub fn readout_crop(sensor_px: f64, used_px: f64) -> f64 {
    sensor_px / used_px
}

/// Exposure time of a video frame for a shutter angle, s.
pub fn shutter_of_angle_s(angle_deg: f64, fps: f64) -> f64 {
    angle_deg / 360.0 / fps
}

/// Longest smear, px, that leaves a blur of `sigma_px` within `ratio` of itself.
pub fn smear_allowed_px(sigma_px: f64, ratio: f64) -> f64 {
    12f64.sqrt() * sigma_px * (ratio * ratio - 1.0).sqrt()
}

/// How far the subject may lie from the focus plane, mm on its side, before a blur of `sigma_px`
/// grows beyond `ratio` of itself.
pub fn distance_allowed_mm(
    sigma_px: f64,
    ratio: f64,
    n_eff: f64,
    magnification: f64,
    pitch_um: f64,
) -> f64 {
    let disc_um = sigma_px * (ratio * ratio - 1.0).sqrt() / SIGMA_PER_DISC * pitch_um;
    disc_um * n_eff / (magnification * magnification) / 1000.0
}

/// Chance that a hand whose speed along each direction of the picture has the standard deviation
/// `speed_mm_s` (on the subject) smears at most `allowed_px`.
pub fn chance_still(
    speed_mm_s: f64,
    time_s: f64,
    magnification: f64,
    pitch_um: f64,
    allowed_px: f64,
) -> f64 {
    let scale = smear_px(speed_mm_s, time_s, magnification, pitch_um);
    if scale <= 0.0 {
        return 1.0;
    }
    1.0 - (-0.5 * (allowed_px / scale).powi(2)).exp()
}

/// Chance that a normal distance of standard deviation `spread_mm` is within ±`allowed_mm`.
pub fn chance_on_plane(spread_mm: f64, allowed_mm: f64) -> f64 {
    if spread_mm <= 0.0 {
        return 1.0;
    }
    erf(allowed_mm / (spread_mm * std::f64::consts::SQRT_2))
}

/// Chance that at least one of some frames is a hit.
pub fn chance_in_burst(chance: f64, frames: u32) -> f64 {
    1.0 - (1.0 - chance).powf(f64::from(frames))
}

/// Frames that hold at least one hit with 90 % chance.
pub fn frames_for_a_hit(chance: f64) -> Option<u32> {
    if chance <= 0.0 {
        return None;
    }
    if chance >= 0.9 {
        return Some(1);
    }
    let n = (0.1f64.ln() / (1.0 - chance).ln() - 1e-9).ceil();
    (n < 100_000.0).then_some(n as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_allowed_is_what_reaches_the_ratio() {
        let (sigma, ratio) = (1.2f64, 1.3f64);
        let with = sigma.hypot(smear_allowed_px(sigma, ratio) / 12f64.sqrt());
        approx::assert_relative_eq!(with, ratio * sigma, max_relative = 1e-12);
        let mm = distance_allowed_mm(sigma, ratio, 22.0, 2.0, 5.0);
        // Back through the disc: Δz = m²·z, disc = Δz/N.
        let disc_px = 4.0 * mm * 1000.0 / 22.0 / 5.0;
        let with = sigma.hypot(SIGMA_PER_DISC * disc_px);
        approx::assert_relative_eq!(with, ratio * sigma, max_relative = 1e-12);
    }

    #[test]
    fn chances_run_from_none_to_all() {
        assert!(chance_still(5.0, 0.0, 2.0, 6.0, 1.0) > 1.0 - 1e-12);
        assert!(chance_still(5.0, 1.0, 2.0, 6.0, 1.0) < 1e-3);
        // One standard deviation of a normal: 68.27 %.
        approx::assert_abs_diff_eq!(chance_on_plane(0.7, 0.7), 0.682_689_5, epsilon = 1e-6);
        approx::assert_abs_diff_eq!(chance_in_burst(0.5, 3), 0.875, epsilon = 1e-12);
        assert_eq!(frames_for_a_hit(0.5), Some(4));
        assert_eq!(frames_for_a_hit(0.95), Some(1));
        assert_eq!(frames_for_a_hit(0.0), None);
    }
}
