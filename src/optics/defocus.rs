//! Defocus together with diffraction.
//!
//! Assumes the same perfect round pupil as [`super::diffraction`], moved out of focus. The two
//! are not independent stages: multiplying their separate curves is wrong by up to 0.22 in
//! modulation near focus. Hopkins, Proc. R. Soc. A 231:91 (1955), DOI 10.1098/rspa.1955.0158;
//! Stokseth, JOSA 59:1314 (1969), DOI 10.1364/JOSA.59.001314.

use std::f64::consts::PI;

use super::diffraction::mtf_diffraction;
use crate::core::bessel::jinc;
use crate::core::units::WavelengthUm;

/// Path difference at the rim of the pupil, in waves, for a one-sided defocus on the image side.
///
/// On the subject side multiply the distance from the focus plane by m² first.
pub fn w20_waves(defocus_um: f64, n_eff: f64, wavelength: WavelengthUm) -> f64 {
    defocus_um / (8.0 * n_eff * n_eff * wavelength.0)
}

/// Diameter of the geometric blur disc on the sensor, µm, for a one-sided image-side defocus.
pub fn blur_disc_um(defocus_um: f64, n_eff: f64) -> f64 {
    defocus_um / n_eff
}

/// Transfer function of the defocused pupil, close approximation: diffraction times
/// 2·J1(X)/X with X = 8π·W20·ν(1 − ν). Within 0.015 of the exact integral.
pub fn otf_defocus(nu: f64, w20: f64) -> f64 {
    let nu = nu.abs();
    if nu >= 1.0 {
        return 0.0;
    }
    mtf_diffraction(nu) * jinc(8.0 * PI * w20 * nu * (1.0 - nu))
}

/// The exact integral, which the approximations here are held against.
#[cfg(test)]
pub(crate) mod exact {
    use std::f64::consts::{FRAC_PI_2, PI};

    use super::super::diffraction::falling_root;
    use super::w20_waves;
    use crate::core::units::WavelengthUm;

    /// Transfer function of the defocused pupil, exact: Hopkins' integral. Negative where contrast
    /// is reversed.
    ///
    /// `nu` is the frequency over the diffraction cutoff, `w20` the path difference in waves.
    pub fn otf(nu: f64, w20: f64) -> f64 {
        let nu = nu.abs();
        if nu >= 1.0 {
            return 0.0;
        }
        // x + ν = sin t removes the root at the end of the range, so Simpson's rule converges fast.
        let from = nu.asin();
        let panels = 128 + 2 * (32.0 * w20.abs() * nu).ceil() as usize;
        let step = (FRAC_PI_2 - from) / panels as f64;
        let value = |i: usize| {
            let t = from + step * i as f64;
            t.cos().powi(2) * (8.0 * PI * w20 * nu * (t.sin() - nu)).cos()
        };
        let inner: f64 =
            (1..panels).map(|i| if i % 2 == 1 { 4.0 * value(i) } else { 2.0 * value(i) }).sum();
        4.0 / PI * step / 3.0 * (value(0) + inner + value(panels))
    }

    /// First frequency over the cutoff at which half the modulation is left, exact integral.
    fn nu50(w20: f64) -> f64 {
        // Out of focus the curve starts like a disc's and meets one half near 0.0881/W20; steps a
        // tenth of that cannot jump over the first crossing.
        let step = 0.01 / (1.0 + w20.abs());
        let mut high = step;
        while high < 1.0 && otf(high, w20) > 0.5 {
            high += step;
        }
        let low = high - step;
        low + falling_root(step, |d| otf(low + d, w20) - 0.5)
    }

    /// Frequency on the sensor at which half the modulation is left, cycles per millimetre, for a
    /// one-sided image-side defocus.
    pub fn mtf50_cy_mm(defocus_um: f64, n_eff: f64, wavelength: WavelengthUm) -> f64 {
        nu50(w20_waves(defocus_um, n_eff, wavelength)) * 1000.0 / (wavelength.0 * n_eff)
    }

    #[test]
    fn hopkins_table_is_met() {
        // facts H0-H4: Hopkins 1955, integral recomputed.
        let nu = [0.1, 0.2, 0.25, 0.3, 0.5, 0.7, 0.9];
        let rows = [
            (0.0, [0.87289, 0.74706, 0.68504, 0.62384, 0.39100, 0.18812, 0.03739]),
            (0.25, [0.83886, 0.65858, 0.57590, 0.50157, 0.28747, 0.15249, 0.03603]),
            (0.5, [0.74209, 0.43482, 0.31733, 0.22926, 0.08461, 0.07281, 0.03216]),
            (1.0, [0.42665, -0.01441, -0.06831, -0.06952, -0.02007, -0.01730, 0.01949]),
            (2.0, [-0.08396, 0.04500, 0.02664, -0.00814, -0.00767, -0.00167, -0.00174]),
        ];
        for (w20, want) in rows {
            for i in 0..nu.len() {
                approx::assert_abs_diff_eq!(otf(nu[i], w20), want[i], epsilon = 1e-5);
                // The approximation's own bound over these values.
                approx::assert_abs_diff_eq!(
                    crate::optics::defocus::otf_defocus(nu[i], w20),
                    want[i],
                    epsilon = 0.0144
                );
            }
        }
        // facts H5: half modulation.
        for (w20, want) in [(0.0, 0.40397), (0.25, 0.30113), (0.5, 0.17652), (1.0, 0.08948)] {
            approx::assert_abs_diff_eq!(nu50(w20), want, epsilon = 2e-5);
        }
        // facts H8: contrast is first reversed at a path difference of 0.64 to 0.66 waves.
        let lowest =
            |w20: f64| (1..1000).map(|i| otf(f64::from(i) / 1000.0, w20)).fold(1.0, f64::min);
        assert!(lowest(0.64) > -1e-5, "no reversal yet: {}", lowest(0.64));
        approx::assert_abs_diff_eq!(lowest(0.66), -0.0080, epsilon = 5e-4);
    }

    #[test]
    fn more_panels_do_not_move_the_exact_value() {
        // A far defocus at a middling frequency is the hardest integrand.
        let coarse = otf(0.5, 20.0);
        let fine: f64 = {
            let n = 20000;
            let step = (FRAC_PI_2 - 0.5f64.asin()) / f64::from(n);
            (0..n)
                .map(|i| {
                    let t = 0.5f64.asin() + step * (f64::from(i) + 0.5);
                    t.cos().powi(2) * (8.0 * PI * 20.0 * 0.5 * (t.sin() - 0.5)).cos()
                })
                .sum::<f64>()
                * step
                * 4.0
                / PI
        };
        approx::assert_abs_diff_eq!(coarse, fine, epsilon = 1e-6);
    }
}

#[cfg(test)]
mod tests {
    use super::exact::otf;
    use super::*;

    #[test]
    fn in_focus_it_is_diffraction() {
        for nu in [0.0, 0.1, 0.5, 0.9, 0.999] {
            approx::assert_abs_diff_eq!(otf(nu, 0.0), mtf_diffraction(nu), epsilon = 1e-9);
        }
    }

    // facts section 3.1, recomputed there from Hopkins' integral: largest errors of the
    // approximation.
    #[test]
    fn the_approximation_stays_within_its_stated_error() {
        for (w20, largest) in [(0.25, 0.0054), (0.5, 0.0143), (1.0, 0.0137), (2.0, 0.0077)] {
            let worst = (0..1000)
                .map(|i| f64::from(i) / 1000.0)
                .map(|nu| (otf_defocus(nu, w20) - otf(nu, w20)).abs())
                .fold(0.0, f64::max);
            approx::assert_abs_diff_eq!(worst, largest, epsilon = 1e-4);
        }
    }
}
