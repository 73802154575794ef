//! What a setting should resolve under noise, by the model of a perfect lens and white noise.
//!
//! Noise-equivalent quanta: ICRU Report 54 (1996), IEC 62220-1. Capacity: Fellgett & Linfoot
//! (1955), DOI 10.1098/rsta.1955.0001. Threshold of 5 for seeing: Rose, JOSA 38:196 (1948), DOI
//! 10.1364/JOSA.38.000196. A model to plan with; frames are judged by [`super::information`].

use crate::core::units::{PitchUm, WavelengthUm};
use crate::optics::diffraction::{cutoff_cy_px, system_mtf};

/// Signal-to-noise ratio at which a pattern is seen (Rose).
pub const ROSE: f64 = 5.0;

/// Noise power of white noise over the squared mean, mm².
pub fn normalised_noise_mm2(mean: f64, sigma: f64, pitch: PitchUm) -> f64 {
    (sigma / mean * pitch.0 / 1000.0).powi(2)
}

/// Noise-equivalent quanta at a modulation transfer of `mtf`, per mm².
pub fn neq_mm2(mtf: f64, normalised_noise_mm2: f64) -> f64 {
    mtf * mtf / normalised_noise_mm2
}

/// Information of one independent sample at a power ratio S/N, bits.
pub fn bits(snr_power: f64) -> f64 {
    0.5 * (1.0 + snr_power).log2()
}

/// Information per pixel when the power ratio at each radial frequency (cycles per pixel) is
/// `snr_power`: ½∬log2(1 + S/N) over the whole plane of frequencies, bits per pixel.
pub fn capacity_bits_px(snr_power: impl Fn(f64) -> f64) -> f64 {
    const CELLS: u32 = 256;
    let at = |i: u32| (f64::from(i) + 0.5) / f64::from(CELLS) * 0.5;
    let sum: f64 = (0..CELLS)
        .flat_map(|y| (0..CELLS).map(move |x| (x, y)))
        .map(|(x, y)| bits(snr_power(at(x).hypot(at(y)))))
        .sum();
    sum / f64::from(CELLS * CELLS)
}

/// Signal-to-noise ratio of a sine pattern of amplitude `amplitude` over `area_px` pixels, seen
/// through a matched filter in white noise.
pub fn pattern_snr(amplitude: f64, area_px: f64, sigma: f64) -> f64 {
    amplitude * (0.5 * area_px).sqrt() / sigma
}

/// Pixels a patch of contrast `contrast` needs to be seen (Rose).
pub fn rose_area_px(contrast: f64, mean: f64, sigma: f64) -> f64 {
    (ROSE * sigma / (contrast * mean)).powi(2)
}

/// A pattern to be seen: its contrast, the mean level, the noise there, and its extent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pattern {
    /// Contrast (modulation) on the subject, 0 to 1.
    pub contrast: f64,
    /// Mean level, in the unit of `sigma`.
    pub mean: f64,
    /// White noise, in the unit of `mean`.
    pub sigma: f64,
    /// Cycles across and down the patch.
    pub cycles: f64,
}

impl Pattern {
    /// Highest frequency at which the pattern is seen through diffraction and pixel box, cycles
    /// per pixel, at most 0.5; `None` when it is not seen at any.
    pub fn resolved_cy_px(
        &self,
        n_eff: f64,
        pitch: PitchUm,
        wavelength: WavelengthUm,
    ) -> Option<f64> {
        let snr = |f: f64| {
            let amplitude = self.contrast * self.mean * system_mtf(f, n_eff, pitch, wavelength);
            pattern_snr(amplitude, (self.cycles / f).powi(2), self.sigma)
        };
        // Area and modulation both shrink as the frequency rises, so the ratio falls all the way.
        let mut low = 1e-6;
        let mut high = cutoff_cy_px(n_eff, pitch, wavelength).min(0.5);
        if snr(low) < ROSE {
            return None;
        }
        if snr(high) >= ROSE {
            return Some(high);
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if snr(middle) >= ROSE {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(0.5 * (low + high))
    }
}
