//! What a perfect lens in focus can pass: diffraction at a round pupil, pixel box, and both.
//!
//! Assumes an aberration-free circular pupil, one wavelength and incoherent light, so real
//! lenses lie at or below these values. Goodman, *Introduction to Fourier Optics*, §6.3-6.4
//! (transfer function); Born & Wolf, *Principles of Optics*, §8.5 (Airy pattern); Boreman, *Modulation Transfer Function*, ch. 1-2 (cascade).
//!
//! `n_eff` is always the working f-number N(1 + m/p), see [`working_f_number`](crate::optics::resolved::working_f_number).

use std::f64::consts::{FRAC_2_PI, PI};

use crate::core::bessel::sinc;
use crate::core::search::bisect;
use crate::core::units::{PitchUm, WavelengthUm};

/// First zero of the Airy pattern, in units of λ·N_eff.
pub const AIRY_RADIUS: f64 = 1.219_669_891;
/// Standard deviation times MTF50 frequency of a Gaussian: √(ln 2 / 2)/π.
pub const GAUSSIAN_F50: f64 = 0.187_390_625;

/// Modulation passed by diffraction at `nu`, the frequency over the cutoff (0 to 1; 0 beyond).
pub fn mtf_diffraction(nu: f64) -> f64 {
    let nu = nu.abs();
    if nu >= 1.0 { 0.0 } else { FRAC_2_PI * (nu.acos() - nu * (1.0 - nu * nu).sqrt()) }
}

/// The frequency over the cutoff at which diffraction passes `modulation` (0 to 1).
pub fn nu_at_modulation(modulation: f64) -> f64 {
    let wanted = modulation.clamp(0.0, 1.0);
    falling_root(1.0, |nu| mtf_diffraction(nu) - wanted)
}

/// Cutoff of diffraction in cycles per pixel.
pub fn cutoff_cy_px(n_eff: f64, pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    pitch.0 / (wavelength.0 * n_eff)
}

/// Diameter of the first dark ring of the Airy pattern on the sensor, micrometres.
pub fn airy_diameter_um(n_eff: f64, wavelength: WavelengthUm) -> f64 {
    2.0 * AIRY_RADIUS * wavelength.0 * n_eff
}

/// Modulation passed by a pixel box or by steady motion; frequency times length, cycles.
pub fn mtf_box(frequency_times_length: f64) -> f64 {
    sinc(frequency_times_length)
}

/// Modulation passed by a Gaussian blur; frequency times standard deviation, cycles.
pub fn mtf_gaussian(frequency_times_sigma: f64) -> f64 {
    (-2.0 * (PI * frequency_times_sigma).powi(2)).exp()
}

/// Standard deviation of the Gaussian with diffraction's MTF50, micrometres on the sensor.
pub fn sigma_diffraction_um(n_eff: f64, wavelength: WavelengthUm) -> f64 {
    GAUSSIAN_F50 / nu_at_modulation(0.5) * wavelength.0 * n_eff
}

/// Gaussian-equivalent blur of a perfect lens in focus at these settings, px: the standard
/// deviation whose MTF50 is that of diffraction and pixel box together.
///
/// The two are independent stages, so they multiply. Demosaicing, sharpening, noise reduction
/// and JPEG are not stages of this kind. No blur measured at the same settings can honestly be
/// smaller.
pub fn sigma_settings_px(n_eff: f64, pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    let cutoff_cy_px = cutoff_cy_px(n_eff, pitch, wavelength);
    let passed = |f: f64| mtf_diffraction(f / cutoff_cy_px) * mtf_box(f);
    GAUSSIAN_F50 / falling_root(1.0, |f| passed(f) - 0.5)
}

/// Root of a function that falls from positive at 0 to negative at `high`, by bisection to the
/// last bit.
pub(crate) fn falling_root(high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (low, high) = bisect((0.0, high), 60, |x| f(x) > 0.0);
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::bessel::jinc;
    use crate::core::units::GREEN;

    // Born & Wolf §8.5: the constants are roots, so find them again.
    #[test]
    fn constants_of_the_airy_pattern_are_its_roots() {
        approx::assert_abs_diff_eq!(
            falling_root(1.5, |x| jinc(PI * x)),
            AIRY_RADIUS,
            epsilon = 1e-8
        );
        approx::assert_abs_diff_eq!(GAUSSIAN_F50, (0.5f64.ln() / -2.0).sqrt() / PI, epsilon = 1e-9);
    }

    #[test]
    fn nothing_passes_beyond_the_cutoff() {
        assert!(mtf_diffraction(1.0) == 0.0 && mtf_diffraction(7.0) == 0.0);
        assert!((mtf_diffraction(0.0) - 1.0).abs() < 1e-15);
    }

    #[test]
    fn the_settings_blur_grows_with_the_f_number_and_ends_at_the_pixel() {
        let sigmas: Vec<f64> = [0.01, 4.0, 8.0, 16.0, 32.0, 64.0]
            .iter()
            .map(|n| sigma_settings_px(*n, PitchUm(4.0), GREEN))
            .collect();
        assert!(sigmas.windows(2).all(|w| w[0] < w[1]), "{sigmas:?}");
        // facts M16: the Gaussian with the MTF50 of a box one pixel wide.
        approx::assert_abs_diff_eq!(sigmas[0], 0.310_582, epsilon = 1e-3);
    }
}
