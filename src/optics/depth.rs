//! Depth of field, always together with the blur it tolerates, and the working f-number that
//! serves a wanted depth best.
//!
//! Geometric form: close-up limit of the thin lens (the exact form differs by less than 0.01 %
//! from 1:1 on). Wave form: quarter-wave tolerance, Born & Wolf §8.8. A one-pixel blur disc means
//! nothing once diffraction is several pixels wide, so quote both forms.

use crate::core::units::WavelengthUm;

/// What a depth of field calls "still sharp".
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tolerance {
    /// Geometric blur disc of this diameter on the sensor, micrometres.
    BlurDiscUm(f64),
    /// This path difference at the rim of the pupil, waves.
    PathWaves(f64),
}

/// A depth of field and the tolerance it stands on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// Total depth on the subject, millimetres.
    pub depth_mm: f64,
    /// What counts as sharp.
    pub tolerance: Tolerance,
}

/// Geometric depth of field: 2·c·N_eff/m².
pub fn geometric(blur_disc_um: f64, n_eff: f64, magnification: f64) -> Depth {
    Depth {
        depth_mm: 2.0 * blur_disc_um * n_eff / (magnification * magnification) / 1000.0,
        tolerance: Tolerance::BlurDiscUm(blur_disc_um),
    }
}

/// Wave-optical depth of field at a quarter wave: 4·λ·N_eff²/m².
pub fn wave(n_eff: f64, magnification: f64, wavelength: WavelengthUm) -> Depth {
    Depth {
        depth_mm: 4.0 * wavelength.0 * (n_eff / magnification).powi(2) / 1000.0,
        tolerance: Tolerance::PathWaves(0.25),
    }
}

/// Image-side half depth, µm, that belongs to a total subject depth: m²·T/2.
pub fn image_half_depth_um(subject_depth_mm: f64, magnification: f64) -> f64 {
    0.5 * magnification * magnification * subject_depth_mm * 1000.0
}

/// Factor of [`best_n_eff`]: the maximum of the exact MTF50 at the ends of the depth.
const BEST_N_EFF: f64 = 0.726_48;

/// Working f-number with the highest MTF50 at the ends of a depth: 0.72648·√(Δz/λ), Δz the
/// one-sided image-side defocus (exact Hopkins integral).
///
/// Judge a depth by its ends: its mean would let the ends go soft. The optimum is flat, and
/// light paid for by ISO wants 7-12 % less.
pub fn best_n_eff(defocus_um: f64, wavelength: WavelengthUm) -> f64 {
    BEST_N_EFF * (defocus_um / wavelength.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::defocus::exact::mtf50_cy_mm;
    use super::*;
    use crate::core::units::GREEN;

    #[test]
    fn the_factor_of_the_best_aperture_is_the_maximum() {
        let at = |factor: f64| mtf50_cy_mm(500.0, factor * (500.0f64 / 0.55).sqrt(), GREEN);
        let best = (6000..8500)
            .map(|i| f64::from(i) / 10000.0)
            .max_by(|a, b| at(*a).total_cmp(&at(*b)))
            .unwrap();
        approx::assert_abs_diff_eq!(best, BEST_N_EFF, epsilon = 5e-4);
    }
}
