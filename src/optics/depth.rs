//! Depth of field, always together with the blur it tolerates, and the working f-number that
//! serves a wanted depth best.
//!
//! Geometric form: close-up limit of the thin lens (the exact form differs by less than 0.01 %
//! from 1:1 on). Wave form: quarter-wave tolerance, Born & Wolf §8.8. Sum form: Inoué &
//! Oldenbourg. Visual form: Berek. A one-pixel blur disc means nothing once diffraction is
//! several pixels wide, so quote both forms.

use super::defocus::{mtf50_defocused_cy_mm, otf_defocus_exact, w20_waves};
use super::diffraction::cutoff_cy_mm;
use crate::core::units::WavelengthUm;

/// What a depth of field calls "still sharp".
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tolerance {
    /// Geometric blur disc of this diameter on the sensor, micrometres.
    BlurDiscUm(f64),
    /// This path difference at the rim of the pupil, waves.
    PathWaves(f64),
    /// A quarter wave plus this resolvable distance on the sensor, micrometres.
    QuarterWavePlusUm(f64),
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

/// Wave-optical depth plus the geometric one of the smallest distance the sensor resolves:
/// λ/NA² + e/(m·NA) with NA on the subject side (in air).
pub fn wave_plus_detector(
    resolvable_um: f64,
    numerical_aperture: f64,
    magnification: f64,
    wavelength: WavelengthUm,
) -> Depth {
    let na = numerical_aperture;
    Depth {
        depth_mm: (wavelength.0 / (na * na) + resolvable_um / (magnification * na)) / 1000.0,
        tolerance: Tolerance::QuarterWavePlusUm(resolvable_um),
    }
}

/// Visual depth of field through a microscope (Berek): λ/(2NA²) + 340 µm/(NA·M), millimetres.
/// Its tolerance is the eye's at total magnification `visual_magnification`.
pub fn berek_mm(
    numerical_aperture: f64,
    visual_magnification: f64,
    wavelength: WavelengthUm,
) -> f64 {
    /// The eye's share in Berek's formula, micrometres.
    const EYE_UM: f64 = 340.0;
    let na = numerical_aperture;
    (wavelength.0 / (2.0 * na * na) + EYE_UM / (na * visual_magnification)) / 1000.0
}

/// Numerical aperture on the subject side for a working f-number and magnification.
pub fn numerical_aperture(n_eff: f64, magnification: f64) -> f64 {
    magnification / (2.0 * n_eff)
}

/// Distances in front of and behind the focus plane within which the blur disc stays below
/// `blur_disc_mm`, millimetres: exact thin lens of focal length `focal_mm` and marked f-number.
///
/// `None` for the far side when it reaches infinity.
pub fn thin_lens_near_far_mm(
    focal_mm: f64,
    n_marked: f64,
    blur_disc_mm: f64,
    magnification: f64,
) -> (f64, Option<f64>) {
    let pupil_mm = focal_mm / n_marked;
    let subject_mm = focal_mm * (1.0 + 1.0 / magnification);
    let image_mm = focal_mm * (1.0 + magnification);
    let distance = |k: f64| 1.0 / (1.0 / focal_mm - k / image_mm);
    let near = subject_mm - distance(1.0 - blur_disc_mm / pupil_mm);
    let far = distance(1.0 + blur_disc_mm / pupil_mm);
    (near, (far > 0.0 && far.is_finite()).then_some(far - subject_mm))
}

/// Image-side half depth, µm, that belongs to a total subject depth: m²·T/2.
pub fn image_half_depth_um(subject_depth_mm: f64, magnification: f64) -> f64 {
    0.5 * magnification * magnification * subject_depth_mm * 1000.0
}

/// Working f-number that makes a blur spot of diffraction and defocus smallest at the ends of a
/// depth: √(375·D), D the image-side total depth in mm (Hansma 1996).
///
/// Its spot of N_eff/750 mm for diffraction assumes a viewed print; prefer
/// [`best_n_eff`], which rests on modulation alone.
pub fn best_n_eff_by_spot(subject_depth_mm: f64, magnification: f64) -> f64 {
    (375.0 * magnification * magnification * subject_depth_mm).sqrt()
}

/// Diameter of Hansma's smallest spot on the sensor at that f-number, micrometres.
pub fn smallest_spot_um(n_eff: f64) -> f64 {
    std::f64::consts::SQRT_2 * n_eff / 750.0 * 1000.0
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

/// MTF50 at the ends of a depth at that best working f-number, cycles per millimetre.
pub fn best_mtf50_cy_mm(defocus_um: f64, wavelength: WavelengthUm) -> f64 {
    mtf50_defocused_cy_mm(defocus_um, best_n_eff(defocus_um, wavelength), wavelength)
}

/// Working f-number with the highest modulation at one frequency on the sensor at the ends of a
/// depth, and that modulation.
pub fn best_n_eff_at(
    frequency_cy_mm: f64,
    defocus_um: f64,
    wavelength: WavelengthUm,
) -> (f64, f64) {
    let modulation = |n_eff: f64| {
        otf_defocus_exact(
            frequency_cy_mm / cutoff_cy_mm(n_eff, wavelength),
            w20_waves(defocus_um, n_eff, wavelength),
        )
    };
    // Wide open the curve ripples round 0; the main hump lies near the MTF50 optimum, so start
    // from the best of a fine ladder and refine it by golden section.
    let widest = 0.5 * best_n_eff(defocus_um, wavelength);
    let closed = cutoff_cy_mm(1.0, wavelength) / frequency_cy_mm;
    let rungs = 200;
    let rung = |i: i32| widest * (closed / widest).powf(f64::from(i) / f64::from(rungs));
    let best = (0..=rungs)
        .max_by(|a, b| modulation(rung(*a)).total_cmp(&modulation(rung(*b))))
        .unwrap_or(0);
    let (mut low, mut high) = (rung(best - 1), rung(best + 1));
    let golden = 0.5 * (5.0f64.sqrt() - 1.0);
    for _ in 0..40 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if modulation(a) > modulation(b) {
            high = b;
        } else {
            low = a;
        }
    }
    let n_eff = 0.5 * (low + high);
    (n_eff, modulation(n_eff))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::units::GREEN;

    #[test]
    fn the_factor_of_the_best_aperture_is_the_maximum() {
        let at =
            |factor: f64| mtf50_defocused_cy_mm(500.0, factor * (500.0f64 / 0.55).sqrt(), GREEN);
        let best = (6000..8500)
            .map(|i| f64::from(i) / 10000.0)
            .max_by(|a, b| at(*a).total_cmp(&at(*b)))
            .unwrap();
        approx::assert_abs_diff_eq!(best, BEST_N_EFF, epsilon = 5e-4);
    }

    #[test]
    fn the_far_side_can_reach_infinity() {
        assert!(thin_lens_near_far_mm(50.0, 8.0, 0.03, 0.001).1.is_none());
        assert!(thin_lens_near_far_mm(50.0, 8.0, 0.03, 1.0).1.is_some());
    }
}
