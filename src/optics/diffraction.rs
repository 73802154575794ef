//! What a perfect lens in focus can pass: diffraction at a round pupil, pixel box, and both.
//!
//! Assumes an aberration-free circular pupil, one wavelength and incoherent light, so real
//! lenses lie at or below these values. Goodman, *Introduction to Fourier Optics*, §6.3-6.4
//! (transfer function); Born & Wolf, *Principles of Optics*, §8.5-8.6 (Airy pattern, Sparrow's
//! limit); Boreman, *Modulation Transfer Function*, ch. 1-2 (cascade).
//!
//! `n_eff` is always the working f-number N(1 + m/p), see [`crate::core::units::Aperture`].

use std::f64::consts::{FRAC_2_PI, PI};

use crate::core::bessel::{jinc, sinc};
use crate::core::units::{PitchUm, WavelengthUm};

/// First zero of the Airy pattern, in units of λ·N_eff.
pub const AIRY_RADIUS: f64 = 1.219_669_891;
/// Full width at half maximum of the Airy pattern, in units of λ·N_eff.
pub const AIRY_FWHM: f64 = 1.028_993_969;
/// Sparrow's limit (two points just merge), in units of λ·N_eff.
pub const SPARROW: f64 = 0.947_163;
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

/// Cutoff of diffraction on the sensor, cycles per millimetre.
pub fn cutoff_cy_mm(n_eff: f64, wavelength: WavelengthUm) -> f64 {
    1000.0 / (wavelength.0 * n_eff)
}

/// Cutoff of diffraction in cycles per pixel.
pub fn cutoff_cy_px(n_eff: f64, pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    pitch.0 / (wavelength.0 * n_eff)
}

/// Frequency on the sensor at which diffraction alone leaves half the modulation, cycles per
/// millimetre.
pub fn mtf50_cy_mm(n_eff: f64, wavelength: WavelengthUm) -> f64 {
    nu_at_modulation(0.5) * cutoff_cy_mm(n_eff, wavelength)
}

/// Diameter of the first dark ring of the Airy pattern on the sensor, micrometres.
pub fn airy_diameter_um(n_eff: f64, wavelength: WavelengthUm) -> f64 {
    2.0 * AIRY_RADIUS * wavelength.0 * n_eff
}

/// Sparrow's limit on the sensor, micrometres.
pub fn sparrow_um(n_eff: f64, wavelength: WavelengthUm) -> f64 {
    SPARROW * wavelength.0 * n_eff
}

/// Working f-number at which the diffraction cutoff reaches the pixel limit (0.5 cycles per
/// pixel).
pub fn n_eff_cutoff_at_nyquist(pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    2.0 * pitch.0 / wavelength.0
}

/// Working f-number at which the Airy diameter covers two pixels.
pub fn n_eff_airy_two_px(pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    pitch.0 / (AIRY_RADIUS * wavelength.0)
}

/// Modulation passed by a uniform blur disc; frequency times diameter, cycles.
pub fn mtf_disc(frequency_times_diameter: f64) -> f64 {
    jinc(PI * frequency_times_diameter)
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

/// Standard deviation of the Gaussian with the MTF50 of a disc of the given diameter (same
/// unit).
pub fn sigma_disc(diameter: f64) -> f64 {
    GAUSSIAN_F50 / falling_root(AIRY_RADIUS, |x| mtf_disc(x) - 0.5) * diameter
}

/// Standard deviation of the Gaussian with the MTF50 of a box of the given width (same unit).
pub fn sigma_box(width: f64) -> f64 {
    GAUSSIAN_F50 / falling_root(1.0, |x| mtf_box(x) - 0.5) * width
}

/// Modulation of diffraction and pixel box together at a frequency in cycles per pixel.
///
/// The two are independent stages, so they multiply. Demosaicing, sharpening, noise reduction
/// and JPEG are not stages of this kind.
pub fn system_mtf(
    frequency_cy_px: f64,
    n_eff: f64,
    pitch: PitchUm,
    wavelength: WavelengthUm,
) -> f64 {
    mtf_diffraction(frequency_cy_px / cutoff_cy_px(n_eff, pitch, wavelength))
        * mtf_box(frequency_cy_px)
}

/// MTF50 of diffraction and pixel box together, cycles per pixel.
pub fn system_mtf50_cy_px(n_eff: f64, pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    falling_root(1.0, |f| system_mtf(f, n_eff, pitch, wavelength) - 0.5)
}

/// Gaussian-equivalent blur of a perfect lens in focus at these settings, px: the standard
/// deviation whose MTF50 is that of diffraction and pixel box together.
///
/// No blur measured at the same settings can honestly be smaller.
pub fn sigma_settings_px(n_eff: f64, pitch: PitchUm, wavelength: WavelengthUm) -> f64 {
    GAUSSIAN_F50 / system_mtf50_cy_px(n_eff, pitch, wavelength)
}

/// Root of a function that falls from positive at 0 to negative at `high`, by bisection to the
/// last bit.
pub(crate) fn falling_root(high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, high);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if f(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::units::GREEN;

    // Born & Wolf §8.5-8.6: the constants are roots, so find them again.
    #[test]
    fn constants_of_the_airy_pattern_are_its_roots() {
        let intensity = |x: f64| jinc(PI * x).powi(2);
        approx::assert_abs_diff_eq!(
            falling_root(1.5, |x| jinc(PI * x)),
            AIRY_RADIUS,
            epsilon = 1e-8
        );
        let half = falling_root(1.0, |x| intensity(x) - 0.5);
        approx::assert_abs_diff_eq!(2.0 * half, AIRY_FWHM, epsilon = 1e-8);
        // Sparrow: the second derivative of two added patterns vanishes half way.
        let h = 1e-3;
        let bend = |d: f64| {
            let x = d / 2.0;
            intensity(x + h) - 2.0 * intensity(x) + intensity(x - h)
        };
        approx::assert_abs_diff_eq!(falling_root(1.2, |d| -bend(d)), SPARROW, epsilon = 2e-5);
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
        approx::assert_abs_diff_eq!(sigmas[0], sigma_box(1.0), epsilon = 1e-3);
    }
}
