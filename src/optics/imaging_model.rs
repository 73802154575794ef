//! What a setting can show: detail and the finest line of a subject, from optics, pixels, noise
//! and movement.
//!
//! The subject's contrast is a power spectrum K/f² (equal variance in every octave, so K means
//! the same at every magnification and pixel pitch; Field, JOSA A 4:2379, 1987, DOI
//! 10.1364/JOSAA.4.002379). The lens passes diffraction with defocus ([`super::defocus`]) and a
//! Gaussian of aberration that shrinks as the aperture closes; the pixel is a box, movement
//! another, along its own direction. Noise is white: light's own and the reading's. Then
//!
//! SNR(f) = K·H(f)²/(f²·v), D = ∫ log2(1 + SNR)·π f df, finest line = half a period at SNR = 1,
//!
//! the same D and the same crossing that [`crate::detail::information`] measures (Fellgett & Linfoot 1955, DOI
//! 10.1098/rsta.1955.0001). Assumes a lens at its best in the middle of the picture; valid where
//! the picture is neither sharpened nor smoothed by the camera.

use super::defocus::w20_waves;
use super::diffraction::{mtf_box, mtf_diffraction, mtf_gaussian};
use crate::core::bessel::jinc;
use crate::core::units::WavelengthUm;

/// Lowest frequency that counts, cycles per pixel: where [`crate::detail::information`] begins.
pub const LOWEST_CY_PX: f64 = 1.5 / 64.0;
/// Highest frequency of a picture, cycles per pixel.
pub const HIGHEST_CY_PX: f64 = 0.5;
/// Steps of the integral; twice as many move D by less than 0.1 %.
const STEPS: usize = 96;
/// Keeps the logarithm finite where nothing is left.
const MIN_SNR: f64 = 1e-9;

/// A camera, its lens and the subject's contrast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ImagingSystem {
    /// Pixel pitch, µm.
    pub pitch_um: f64,
    /// Wavelength that counts.
    pub wavelength: WavelengthUm,
    /// Aberration: σ of its blur on the sensor times the working f-number, µm.
    pub aberration_um: f64,
    /// K: power of the subject's contrast, times frequency squared.
    pub contrast_power: f64,
    /// Light's own noise at ISO 100: variance over the squared mean.
    pub shot: f64,
    /// Noise of reading at ISO 100: variance over the squared mean; grows with ISO squared.
    pub read: f64,
}

/// One way to take a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CaptureSettings {
    /// Working f-number.
    pub n_eff: f64,
    /// ISO.
    pub iso: f64,
    /// Distance from the focus, image side, µm.
    pub defocus_um: f64,
    /// Length of the smear of movement, px.
    pub smear_px: f64,
    /// σ of whatever else softens this one picture, px.
    pub soft_px: f64,
}

/// What the setting shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PredictedDetail {
    /// Detail D, bits per pixel, up to the frequency asked for.
    pub detail_bits_px: f64,
    /// Frequency at which signal and noise are equal, cycles per pixel, at most the frequency
    /// asked for; `None` when nothing stands above the noise.
    pub resolved_cy_px: Option<f64>,
}

/// Modulation at the steps of the integral up to a frequency, with nothing moving.
#[derive(Debug, Clone, PartialEq)]
pub struct StillModulations {
    up_to_cy_px: f64,
    at_step: [f64; STEPS],
}

/// Width of a step of the integral, cycles per pixel.
fn step_cy_px(up_to_cy_px: f64) -> f64 {
    (up_to_cy_px - LOWEST_CY_PX) / STEPS as f64
}

/// Frequency in the middle of step `i`.
fn step_at(i: usize, step: f64) -> f64 {
    LOWEST_CY_PX + (i as f64 + 0.5) * step
}

/// What can be taken away in thought, to see what it costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Loss {
    /// Diffraction at the aperture.
    Diffraction,
    /// Distance from the focus plane.
    Depth,
    /// Noise above that of ISO 100.
    Noise,
    /// Movement of the subject.
    SubjectMotion,
    /// Aberrations of the lens.
    Lens,
    /// The size of the pixels.
    Pixels,
}

/// Every loss.
pub const LOSSES: [Loss; 6] =
    [Loss::Diffraction, Loss::Depth, Loss::Noise, Loss::SubjectMotion, Loss::Lens, Loss::Pixels];

/// K of a subject whose contrast varies by `rms` (standard deviation over mean) in each octave:
/// rms²/(2π ln 2).
pub fn contrast_power(rms_per_octave: f64) -> f64 {
    rms_per_octave * rms_per_octave / (std::f64::consts::TAU * std::f64::consts::LN_2)
}

impl ImagingSystem {
    /// Variance of noise over the squared mean at an ISO.
    pub fn noise_power(&self, iso: f64) -> f64 {
        let gain = iso / 100.0;
        self.shot * gain + self.read * gain * gain
    }

    /// Modulation that arrives at a frequency in cycles per pixel, without one of the losses.
    pub fn modulation(&self, f_cy_px: f64, at: &CaptureSettings, without: Option<Loss>) -> f64 {
        let off = |loss| without == Some(loss);
        let nu = f_cy_px * self.wavelength.0 * at.n_eff / self.pitch_um;
        let w20 = if off(Loss::Depth) {
            0.0
        } else {
            w20_waves(at.defocus_um, at.n_eff, self.wavelength)
        };
        let eight_pi = 8.0 * std::f64::consts::PI;
        let mut mtf = if off(Loss::Diffraction) {
            jinc(eight_pi * w20 * nu)
        } else if nu >= 1.0 {
            0.0
        } else {
            mtf_diffraction(nu) * jinc(eight_pi * w20 * nu * (1.0 - nu))
        };
        if !off(Loss::Lens) {
            mtf *= mtf_gaussian(f_cy_px * self.aberration_um / at.n_eff / self.pitch_um);
        }
        if !off(Loss::Pixels) {
            mtf *= mtf_box(f_cy_px);
        }
        if !off(Loss::SubjectMotion) {
            mtf *= mtf_box(f_cy_px * at.smear_px);
        }
        if at.soft_px > 0.0 {
            mtf *= mtf_gaussian(f_cy_px * at.soft_px);
        }
        mtf
    }

    /// What a setting shows up to a frequency (cycles per pixel), without one of the losses.
    pub fn shows(
        &self,
        at: &CaptureSettings,
        up_to_cy_px: f64,
        without: Option<Loss>,
    ) -> PredictedDetail {
        let iso = if without == Some(Loss::Noise) { 100.0 } else { at.iso };
        self.detail_through(iso, up_to_cy_px, |_, f| self.modulation(f, at, without))
    }

    /// Modulation of a setting at every step of [`ImagingSystem::shows`], as if nothing moved and
    /// nothing else softened it: shared by all exposures at its aperture.
    pub fn still_modulations(
        &self,
        at: &CaptureSettings,
        up_to_cy_px: f64,
        without: Option<Loss>,
    ) -> StillModulations {
        let still = CaptureSettings { smear_px: 0.0, soft_px: 0.0, ..*at };
        let step = step_cy_px(up_to_cy_px);
        let at_step = std::array::from_fn(|i| self.modulation(step_at(i, step), &still, without));
        StillModulations { up_to_cy_px, at_step }
    }

    /// What an exposure shows through these modulations.
    pub fn shows_through(
        &self,
        still: &StillModulations,
        iso: f64,
        smear_px: f64,
    ) -> PredictedDetail {
        let moved = |i: usize, f: f64| still.at_step[i] * mtf_box(f * smear_px);
        self.detail_through(iso, still.up_to_cy_px, moved)
    }

    /// The integral and the crossing, for the modulation at each step and its frequency.
    fn detail_through(
        &self,
        iso: f64,
        up_to_cy_px: f64,
        modulation: impl Fn(usize, f64) -> f64,
    ) -> PredictedDetail {
        let noise = self.noise_power(iso);
        let step = step_cy_px(up_to_cy_px);
        let mut bits = 0.0;
        let mut before: Option<(f64, f64)> = None;
        let mut resolved = None;
        let mut lost = false;
        for i in 0..STEPS {
            let f = step_at(i, step);
            let mtf = modulation(i, f);
            let snr = self.contrast_power * mtf * mtf / (f * f * noise);
            bits += (1.0 + snr).log2() * std::f64::consts::PI * f * step;
            if !lost {
                let ln = snr.max(MIN_SNR).ln();
                // Beyond a zero contrast is reversed: what shows there is no line of the subject.
                let share = |ln0: f64| if ln < 0.0 { ln0 / (ln0 - ln) } else { 0.5 };
                if ln < 0.0 || mtf <= 0.0 {
                    lost = true;
                    resolved = before.map(|(f0, ln0)| f0 + (f - f0) * share(ln0));
                }
                before = Some((f, ln));
            }
        }
        if !lost {
            resolved = Some(up_to_cy_px);
        }
        PredictedDetail { detail_bits_px: bits, resolved_cy_px: resolved }
    }

    /// Gaussian-equivalent blur in focus, px: diffraction, pixel, aberration and movement in
    /// quadrature (within 4 % of the exact cascade, facts S5).
    pub fn blur_sigma_px(&self, at: &CaptureSettings) -> f64 {
        /// σ of the Gaussian with diffraction's MTF50, over λ·N_eff.
        const DIFFRACTION: f64 = 0.463_868;
        /// σ of the Gaussian with the MTF50 of a box, over its width.
        const BOX: f64 = 0.310_582;
        let parts = [
            DIFFRACTION * self.wavelength.0 * at.n_eff / self.pitch_um,
            BOX,
            self.aberration_um / at.n_eff / self.pitch_um,
            BOX * at.smear_px,
        ];
        parts.iter().map(|p| p * p).sum::<f64>().sqrt()
    }

    /// The finest line on the subject, µm, for a resolved frequency.
    pub fn finest_um(&self, resolved_cy_px: f64, magnification: f64) -> f64 {
        self.pitch_um / (2.0 * resolved_cy_px * magnification)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::units::GREEN;

    fn kit() -> ImagingSystem {
        ImagingSystem {
            pitch_um: 6.0,
            wavelength: GREEN,
            aberration_um: 0.0,
            contrast_power: contrast_power(0.1),
            shot: 1e-4,
            read: 1e-8,
        }
    }

    fn at(n_eff: f64, iso: f64) -> CaptureSettings {
        CaptureSettings { n_eff, iso, defocus_um: 0.0, smear_px: 0.0, soft_px: 0.0 }
    }

    // The variance of K/f² between f and 2f is K·2π·ln 2 whatever f is.
    #[test]
    fn an_octave_holds_the_contrast_it_was_given() {
        let k = contrast_power(0.1);
        let n = 20_000;
        let sum: f64 = (0..n)
            .map(|i| {
                let f = 0.1 + 0.1 * (f64::from(i) + 0.5) / f64::from(n);
                k / (f * f) * std::f64::consts::TAU * f * 0.1 / f64::from(n)
            })
            .sum();
        approx::assert_abs_diff_eq!(sum.sqrt(), 0.1, epsilon = 1e-6);
    }

    // Facts I6 with the white spectrum and disc replaced: the closed form for SNR = c/f² with a
    // perfect lens, ∫ log2(1 + c/f²) π f df = π/2 [f² ln(1+c/f²) + c ln(f²+c)]/ln 2.
    #[test]
    fn detail_without_any_blur_is_the_closed_form() {
        let mut k = kit();
        k.wavelength = crate::core::units::WavelengthUm(1e-9);
        let shown = {
            // The pixel box cannot be switched off together with diffraction: ask without it.
            k.shows(&at(8.0, 100.0), 0.5, Some(Loss::Pixels))
        };
        let c = k.contrast_power / k.noise_power(100.0);
        let integral = |f: f64| {
            let f2 = f * f;
            0.5 * std::f64::consts::PI * (f2 * (1.0 + c / f2).ln() + c * (f2 + c).ln())
                / std::f64::consts::LN_2
        };
        let want = integral(0.5) - integral(LOWEST_CY_PX);
        approx::assert_relative_eq!(shown.detail_bits_px, want, max_relative = 1e-3);
    }

    #[test]
    fn the_integral_has_enough_steps() {
        let k = kit();
        let s = CaptureSettings {
            n_eff: 22.0,
            iso: 400.0,
            defocus_um: 500.0,
            smear_px: 2.0,
            soft_px: 0.0,
        };
        let fine: f64 = (0..4096)
            .map(|i| {
                let step = (0.5 - LOWEST_CY_PX) / 4096.0;
                let f = LOWEST_CY_PX + (f64::from(i) + 0.5) * step;
                let mtf = k.modulation(f, &s, None);
                (1.0 + k.contrast_power * mtf * mtf / (f * f * k.noise_power(400.0))).log2()
                    * std::f64::consts::PI
                    * f
                    * step
            })
            .sum();
        let got = k.shows(&s, 0.5, None).detail_bits_px;
        approx::assert_relative_eq!(got, fine, max_relative = 2e-3);
    }

    // Exposures at one aperture share what passes it, to the last bit.
    #[test]
    fn still_modulations_show_the_same() {
        let k = ImagingSystem { aberration_um: 20.0, ..kit() };
        let losses = LOSSES.map(Some).into_iter().filter(|l| *l != Some(Loss::SubjectMotion));
        for without in losses.chain([None]) {
            let s = CaptureSettings {
                n_eff: 16.0,
                iso: 800.0,
                defocus_um: 700.0,
                smear_px: 1.7,
                soft_px: 0.0,
            };
            let iso = if without == Some(Loss::Noise) { 100.0 } else { 800.0 };
            let through = k.shows_through(&k.still_modulations(&s, 0.4, without), iso, 1.7);
            assert_eq!(through, k.shows(&s, 0.4, without), "{without:?}");
        }
    }

    #[test]
    fn every_loss_costs_detail_and_none_gives_any() {
        let mut k = kit();
        k.aberration_um = 20.0;
        let s = CaptureSettings {
            n_eff: 22.0,
            iso: 800.0,
            defocus_um: 300.0,
            smear_px: 1.5,
            soft_px: 0.0,
        };
        let whole = k.shows(&s, 0.5, None).detail_bits_px;
        for loss in LOSSES {
            let without = k.shows(&s, 0.5, Some(loss)).detail_bits_px;
            assert!(without > whole, "{loss:?}: {without} after {whole}");
        }
    }

    #[test]
    fn closing_and_raising_the_iso_both_cost() {
        let k = kit();
        let d = |n, iso| k.shows(&at(n, iso), 0.5, None).detail_bits_px;
        assert!(d(16.0, 100.0) > d(32.0, 100.0) && d(16.0, 100.0) > d(16.0, 1600.0));
        let black = ImagingSystem { contrast_power: 1e-12, ..k };
        assert_eq!(black.shows(&at(16.0, 100.0), 0.5, None).resolved_cy_px, None);
        // Facts S2: a perfect lens at working f/8 passes 35 % at the pixel limit, so with little
        // noise the pixel is the end.
        let bright = ImagingSystem { shot: 1e-9, read: 0.0, ..k };
        assert_eq!(bright.shows(&at(8.0, 100.0), 0.5, None).resolved_cy_px, Some(0.5));
    }

    // The same in quadrature as the exact cascade of diffraction and pixel, S5: +4.1, 1.4, 0.4 %.
    #[test]
    fn blur_in_quadrature_is_close_to_the_cascade() {
        let k = ImagingSystem { pitch_um: 36_000.0 / 8192.0, ..kit() };
        for (n, share) in [(8.0, 0.045), (16.0, 0.016), (32.0, 0.006)] {
            let exact = crate::optics::diffraction::sigma_settings_px(
                n,
                crate::core::units::PitchUm(k.pitch_um),
                GREEN,
            );
            approx::assert_relative_eq!(
                k.blur_sigma_px(&at(n, 100.0)),
                exact,
                max_relative = share
            );
        }
    }
}
