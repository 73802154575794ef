//! What the simulated lens does to detail: diffraction, defocus and the pixel box as transfer
//! functions, and the blur sigma that follows from them.
//!
//! Assumes an aberration-free round pupil, one wavelength and incoherent light. Defocus and
//! diffraction are not independent stages, so they share one transfer function: after Hopkins
//! 1955 (DOI 10.1098/rspa.1955.0158) in the closed form of facts 3.1, whose largest error
//! against the exact integral is 0.0143. Diffraction after Goodman, Introduction to Fourier
//! Optics, section 6.3.

use std::f64::consts::PI;

use crate::core::search::bisect;
use crate::core::units::GREEN;

/// Frequency times sigma at which a Gaussian's transfer falls to one half (facts M14).
pub const GAUSS_HALF: f64 = 0.187_391;

/// A lens at work: what decides how blurred a point is.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SimulatedLens {
    /// Working f-number.
    pub n_eff: f64,
    /// Magnification, image over object.
    pub magnification: f64,
    /// Pixel pitch, µm.
    pub pitch_um: f64,
}

impl SimulatedLens {
    /// Size of one pixel on the subject, µm.
    pub fn object_um_per_px(&self) -> f64 {
        self.pitch_um / self.magnification
    }

    /// Diffraction cutoff in cycles per pixel.
    pub fn cutoff_cy_px(&self) -> f64 {
        self.pitch_um / (GREEN.0 * self.n_eff)
    }

    /// Defocus of an object `dz_um` away from the focus plane, in waves at the edge of the pupil
    /// (image side m²·dz; facts 3.1).
    pub fn w20(&self, dz_um: f64) -> f64 {
        self.magnification.powi(2) * dz_um / (8.0 * self.n_eff.powi(2) * GREEN.0)
    }

    /// Geometric blur-disc diameter for an object `dz_um` away from the focus plane, px.
    pub fn disc_px(&self, dz_um: f64) -> f64 {
        self.magnification.powi(2) * dz_um.abs() / (self.n_eff * self.pitch_um)
    }

    /// The distance from the focus plane, µm on the subject, whose geometric disc has the sigma
    /// `sigma_px` (a quarter of its diameter).
    pub fn dz_um_for_disc_sigma(&self, sigma_px: f64) -> f64 {
        4.0 * sigma_px * self.n_eff * self.pitch_um / self.magnification.powi(2)
    }

    /// Transfer of diffraction, defocus and pixel box together at `f_cy_px` (signed).
    pub fn transfer(&self, f_cy_px: f64, w20: f64) -> f64 {
        otf_defocus(f_cy_px / self.cutoff_cy_px(), w20) * sinc(f_cy_px)
    }

    /// Gaussian-equivalent blur sigma, px, pixel box included: [`GAUSS_HALF`] over the frequency
    /// at which the transfer first falls to one half.
    pub fn sigma_px(&self, w20: f64) -> f64 {
        GAUSS_HALF / first_half(|f| self.transfer(f, w20), self.cutoff_cy_px().min(1.0))
    }
}

/// Gaussian-equivalent blur sigma in px for an object `dz_um` from the focus plane, pixel box
/// included.
pub fn sigma_true_px(n_eff: f64, dz_um: f64, magnification: f64, pitch_um: f64) -> f64 {
    let lens = SimulatedLens { n_eff, magnification, pitch_um };
    lens.sigma_px(lens.w20(dz_um))
}

/// The frequency at which a falling transfer first reaches one half, searched up to `end`.
pub fn first_half(transfer: impl Fn(f64) -> f64, end: f64) -> f64 {
    // Steps finer than the narrowest lobe of the defocus met here (W20 = 12 falls to one half at
    // 0.7 % of the cutoff).
    const STEPS: usize = 4000;
    let step = end / STEPS as f64;
    let mut low = 0.0;
    for i in 1..=STEPS {
        let f = i as f64 * step;
        if transfer(f) < 0.5 {
            let (low, high) = bisect((low, f), 40, |f| transfer(f) >= 0.5);
            return 0.5 * (low + high);
        }
        low = f;
    }
    end
}

/// Transfer of an aberration-free round pupil at ν = f·λ·N_eff; 0 beyond ν = 1 (facts M1).
pub fn mtf_diffraction(nu: f64) -> f64 {
    let nu = nu.abs();
    if nu >= 1.0 { 0.0 } else { 2.0 / PI * (nu.acos() - nu * (1.0 - nu * nu).sqrt()) }
}

/// Transfer with defocus of `w20` waves (facts 3.1).
pub fn otf_defocus(nu: f64, w20: f64) -> f64 {
    let nu = nu.abs();
    if nu >= 1.0 {
        return 0.0;
    }
    mtf_diffraction(nu) * jinc(8.0 * PI * w20 * nu * (1.0 - nu))
}

/// sin(πx)/(πx): a box, or a linear motion, of length 1.
pub fn sinc(x: f64) -> f64 {
    let t = PI * x;
    if t.abs() < 1e-4 { 1.0 - t * t / 6.0 } else { t.sin() / t }
}

/// 2·J1(x)/x.
fn jinc(x: f64) -> f64 {
    let x = x.abs();
    if x < 1e-3 { 1.0 - x * x / 8.0 } else { 2.0 * bessel_j1(x) / x }
}

/// J1 for x ≥ 0, polynomials 9.4.4 and 9.4.6 of Abramowitz & Stegun (error below 1e-7).
fn bessel_j1(x: f64) -> f64 {
    if x <= 3.0 {
        let t = (x / 3.0).powi(2);
        x * (0.5
            + t * (-0.562_499_85
                + t * (0.210_935_73
                    + t * (-0.039_542_89
                        + t * (0.004_433_19 + t * (-0.000_317_61 + t * 0.000_011_09))))))
    } else {
        let t = 3.0 / x;
        let modulus = 0.797_884_56
            + t * (0.000_001_56
                + t * (0.016_596_67
                    + t * (0.000_171_05
                        + t * (-0.002_495_11 + t * (0.001_136_53 - t * 0.000_200_33)))));
        let phase = x - 2.356_194_49
            + t * (0.124_996_12
                + t * (0.000_056_50
                    + t * (-0.006_378_79
                        + t * (0.000_743_48 + t * (0.000_798_24 - t * 0.000_291_66)))));
        modulus * phase.cos() / x.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;

    // facts M1 (Goodman, section 6.3).
    #[test]
    fn diffraction_matches_the_closed_form() {
        for (nu, want) in
            [(0.1, 0.872889), (0.25, 0.685038), (0.5, 0.391002), (0.75, 0.144294), (0.9, 0.037386)]
        {
            assert_abs_diff_eq!(mtf_diffraction(nu), want, epsilon = 1e-6);
        }
    }

    // facts H1-H4: exact Hopkins integral; tolerance is the error facts 3.1 states for the
    // closed form.
    #[test]
    fn defocus_is_within_the_stated_error_of_the_exact_integral() {
        let nus = [0.1, 0.2, 0.25, 0.3, 0.5, 0.7, 0.9];
        for (w, wants, tol) in [
            (0.25, [0.83886, 0.65858, 0.57590, 0.50157, 0.28747, 0.15249, 0.03603], 0.0054),
            (0.5, [0.74209, 0.43482, 0.31733, 0.22926, 0.08461, 0.07281, 0.03216], 0.0143),
            (1.0, [0.42665, -0.01441, -0.06831, -0.06952, -0.02007, -0.01730, 0.01949], 0.0137),
            (2.0, [-0.08396, 0.04500, 0.02664, -0.00814, -0.00767, -0.00167, -0.00174], 0.0077),
        ] {
            for (nu, want) in nus.iter().zip(wants) {
                assert_abs_diff_eq!(otf_defocus(*nu, w), want, epsilon = tol + 2e-5);
            }
        }
    }

    // facts H5: half-transfer frequencies of the exact integral.
    #[test]
    fn half_transfer_follows_defocus() {
        for (w, want) in
            [(0.0, 0.40397), (0.25, 0.30113), (0.5, 0.17652), (1.0, 0.08948), (3.0, 0.02959)]
        {
            let f = first_half(|nu| otf_defocus(nu, w), 1.0);
            assert!((f / want - 1.0).abs() < 0.025, "W20 {w}: {f}, exact {want}");
        }
    }

    // facts S1, S2 (Boreman, cascade of diffraction and pixel box), tolerance 0.005 lp/mm.
    #[test]
    fn cascade_with_the_pixel_box_matches() {
        for (pitch, rows) in [
            (4.394_531_25, [(8.0, 73.279), (16.0, 42.944), (32.0, 22.555)]),
            (6.0, [(8.0, 64.062), (16.0, 40.797), (32.0, 22.227)]),
        ] {
            for (n, lp_mm) in rows {
                let f = GAUSS_HALF / sigma_true_px(n, 0.0, 1.0, pitch);
                assert_abs_diff_eq!(f * 1000.0 / pitch, lp_mm, epsilon = 0.005);
            }
        }
    }

    // facts M15: a disc alone of diameter b is a Gaussian of 0.265770 b at half transfer.
    #[test]
    fn far_from_focus_the_disc_decides() {
        let lens = SimulatedLens { n_eff: 16.0, magnification: 1.0, pitch_um: 4.4 };
        let dz = lens.dz_um_for_disc_sigma(12.0);
        assert_abs_diff_eq!(lens.disc_px(dz), 48.0, epsilon = 1e-9);
        let sigma = lens.sigma_px(lens.w20(dz));
        assert!((sigma / (0.265_770 * 48.0) - 1.0).abs() < 0.03, "{sigma}");
    }

    // facts H7.
    #[test]
    fn waves_of_a_tenth_of_a_millimetre() {
        let lens = SimulatedLens { n_eff: 16.0, magnification: 1.0, pitch_um: 4.4 };
        assert_abs_diff_eq!(lens.w20(100.0), 0.08878, epsilon = 1e-5);
    }
}
