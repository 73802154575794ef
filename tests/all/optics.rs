//! Optics against published and recomputed values: facts sections 2 and 3.

use approx::assert_abs_diff_eq as near;
use stopwise::core::units::{GREEN, PitchUm};
use stopwise::optics::resolved::working_f_number;
use stopwise::optics::{closeup, defocus, depth, diffraction};

const PITCH: PitchUm = PitchUm(36_000.0 / 8192.0);
const PITCH_6: PitchUm = PitchUm(6.0);
const PITCH_SMALL: PitchUm = PitchUm(17_300.0 / 5184.0);
const MAGNIFICATIONS: [f64; 4] = [1.0, 2.0, 3.0, 5.0];

fn working(n: f64, m: f64, p: f64) -> f64 {
    working_f_number(n, m, p)
}

// M1-M3: Goodman §6.4.
#[test]
fn m1_to_m3_diffraction_curve() {
    let table =
        [(0.1, 0.872889), (0.25, 0.685038), (0.5, 0.391002), (0.75, 0.144294), (0.9, 0.037386)];
    for (nu, want) in table {
        near!(diffraction::mtf_diffraction(nu), want, epsilon = 1e-6);
    }
    for (level, nu) in [(0.5, 0.403973), (0.3, 0.585137), (0.2, 0.687049), (0.1, 0.805384)] {
        near!(diffraction::nu_at_modulation(level), nu, epsilon = 1e-6);
    }
    near!(diffraction::mtf_diffraction(1.0 / diffraction::AIRY_RADIUS), 0.08923, epsilon = 1e-5);
    near!(diffraction::nu_at_modulation(0.09), 0.818845, epsilon = 1e-5);
}

/// Cutoff in cycles per millimetre: that for a pitch of a millimetre.
fn cutoff_cy_mm(n_eff: f64) -> f64 {
    diffraction::cutoff_cy_px(n_eff, PitchUm(1000.0), GREEN)
}

// M4-M6: the same curve on the sensor, 0.55 µm.
#[test]
fn m4_to_m6_frequencies_on_the_sensor() {
    let n = [8.0, 16.0, 32.0, 66.0, 96.0];
    let cutoff = [227.27, 113.64, 56.818, 27.548, 18.939];
    let mtf50 = [91.812, 45.906, 22.953, 11.129, 7.651];
    let mtf10 = [183.04, 91.521, 45.760, 22.187, 15.253];
    for i in 0..5 {
        near!(cutoff_cy_mm(n[i]), cutoff[i], epsilon = 0.01);
        near!(diffraction::nu_at_modulation(0.5) * cutoff_cy_mm(n[i]), mtf50[i], epsilon = 0.001);
        near!(diffraction::nu_at_modulation(0.1) * cutoff_cy_mm(n[i]), mtf10[i], epsilon = 0.01);
    }
}

// M7-M10: Airy pattern, Born & Wolf §8.5.
#[test]
fn m7_to_m10_airy_pattern() {
    for (n, want) in [(16.0, 21.466), (32.0, 42.932), (48.0, 64.40), (96.0, 128.80)] {
        near!(diffraction::airy_diameter_um(n, GREEN), want, epsilon = 0.01);
    }
    for (m, want) in MAGNIFICATIONS.iter().zip([21.466, 16.100, 14.311, 12.880]) {
        let on_subject = diffraction::airy_diameter_um(working(8.0, *m, 1.0), GREEN) / m;
        near!(on_subject, want, epsilon = 0.001);
    }
    let pitches = [PITCH, PITCH_6, PITCH_SMALL];
    for (pitch, want) in pitches.iter().zip([15.98, 21.82, 12.13]) {
        near!(diffraction::cutoff_cy_px(want, *pitch, GREEN), 0.5, epsilon = 4e-4);
    }
    for (pitch, want) in pitches.iter().zip([6.551, 8.944, 4.975]) {
        near!(diffraction::airy_diameter_um(want, GREEN), 2.0 * pitch.0, epsilon = 0.0014);
    }
}

// M13-M16: box, motion, Gaussian and its equivalent; Boreman ch. 1-2.
#[test]
fn m13_to_m16_other_stages_and_the_gaussian_equivalent() {
    near!(diffraction::mtf_box(0.603355), 0.5, epsilon = 1e-6);
    near!(diffraction::mtf_box(0.5), std::f64::consts::FRAC_2_PI, epsilon = 1e-6);
    near!(diffraction::mtf_box(0.25 * 2.0), std::f64::consts::FRAC_2_PI, epsilon = 1e-6);
    near!(diffraction::mtf_box(0.301677 * 2.0), 0.5, epsilon = 1e-6);
    near!(diffraction::GAUSSIAN_F50, 0.187391, epsilon = 1e-6);
    near!(diffraction::mtf_gaussian(diffraction::GAUSSIAN_F50), 0.5, epsilon = 1e-8);
    // The tolerance is on the frequency: a step of 1e-6 there must cross 10 %.
    assert!(diffraction::mtf_gaussian(0.341540) > 0.1 && diffraction::mtf_gaussian(0.341542) < 0.1);
    near!(diffraction::sigma_diffraction_um(10.0, GREEN), 0.463868 * 5.5, epsilon = 1e-4);
}

// S1-S3: diffraction times pixel box.
#[test]
fn s1_to_s3_cascade_with_the_pixel() {
    let n = [8.0, 16.0, 32.0, 64.0, 96.0];
    let rows = [
        (PITCH, [73.279, 42.944, 22.555, 11.426, 7.636], [0.3220, 0.1887, 0.0991, 0.0502, 0.0336]),
        (
            PITCH_6,
            [64.062, 40.797, 22.227, 11.382, 7.623],
            [0.3844, 0.2448, 0.1334, 0.0683, 0.0457],
        ),
        (
            PITCH_SMALL,
            [79.634, 44.128, 22.721, 11.447, 7.642],
            [0.2657, 0.1473, 0.0758, 0.0382, 0.0255],
        ),
    ];
    for (pitch, cy_mm, cy_px) in rows {
        for i in 0..5 {
            let f50 = 0.187_390_6 / diffraction::sigma_settings_px(n[i], pitch, GREEN);
            near!(f50 / pitch.0 * 1000.0, cy_mm[i], epsilon = 0.005);
            near!(f50, cy_px[i], epsilon = 6e-5);
        }
    }
}

// S4-S6: Nyquist modulation; Gaussians in quadrature.
#[test]
fn s4_to_s6_nyquist_and_quadrature() {
    for (n, pitch, want) in [(8.0, PITCH, 0.2485), (8.0, PITCH_6, 0.3462), (11.0, PITCH_6, 0.2460)]
    {
        let nu = 0.5 / diffraction::cutoff_cy_px(n, pitch, GREEN);
        let both = diffraction::mtf_diffraction(nu) * diffraction::mtf_box(0.5);
        near!(both, want, epsilon = 5e-5);
    }
    for (n, want) in [(8.0, 76.32), (16.0, 43.54), (32.0, 22.64)] {
        // A box as wide as the pitch has the MTF50 of a Gaussian of 0.310582 of it (M16).
        let sigma_um = diffraction::sigma_diffraction_um(n, GREEN).hypot(0.310_582 * PITCH.0);
        near!(diffraction::GAUSSIAN_F50 / sigma_um * 1000.0, want, epsilon = 0.05);
    }
    let sigma = 0.5f64.hypot(0.8);
    near!(sigma, 0.94340, epsilon = 1e-5);
    near!(diffraction::GAUSSIAN_F50 / sigma, 0.198633, epsilon = 1e-6);
}

// H6, H7: path difference and disc of a defocus.
#[test]
fn h6_and_h7_path_difference_and_disc() {
    near!(defocus::w20_waves(100.0, 16.0, GREEN), 0.08878, epsilon = 1e-5);
    near!(defocus::blur_disc_um(100.0, 16.0), 6.25, epsilon = 1e-9);
}

// O6: exact Hopkins integral.
#[test]
fn o6_best_aperture_by_modulation() {
    for (defocus_um, n_eff) in [(250.0, 15.49), (500.0, 21.90), (1000.0, 30.98), (2000.0, 43.81)] {
        near!(depth::best_n_eff(defocus_um, GREEN), n_eff, epsilon = 0.05);
    }
}

// D1-D5, D8: geometric depth.
#[test]
fn d1_to_d5_and_d8_geometric_depth() {
    let rows = [
        (30.0, 8.0, [0.9600, 0.3600, 0.2133, 0.1152]),
        (30.0, 16.0, [1.9200, 0.7200, 0.4267, 0.2304]),
        (20.0, 11.0, [0.8800, 0.3300, 0.1956, 0.1056]),
        (5.0, 8.0, [0.1600, 0.0600, 0.0356, 0.0192]),
    ];
    for (blur_um, n, want) in rows {
        for (m, want) in MAGNIFICATIONS.iter().zip(want) {
            let got = depth::geometric(blur_um, working(n, *m, 1.0), *m);
            near!(got.depth_mm, want, epsilon = 5e-5);
            assert_eq!(got.tolerance, depth::Tolerance::BlurDiscUm(blur_um));
        }
    }
    for (n, want) in [(4.0, 0.0384), (5.6, 0.0538), (22.0, 0.2112)] {
        let got = depth::geometric(20.0, working(n, 5.0, 1.0), 5.0);
        near!(got.depth_mm, want, epsilon = 5e-5);
    }
    near!(depth::geometric(30.0, working(8.0, 2.0, 0.5), 2.0).depth_mm, 0.6, epsilon = 1e-12);
}

// D9-D11: quarter wave (Born & Wolf §8.8).
#[test]
fn d9_to_d11_wave_depth() {
    let rows = [
        (1.0, 8.0, 0.5632),
        (2.0, 8.0, 0.3168),
        (3.0, 8.0, 0.2503),
        (5.0, 8.0, 0.2028),
        (1.0, 16.0, 2.2528),
        (2.0, 11.0, 0.59895), // 4·0.55·33²/2², printed as 0.5989
        (5.0, 16.0, 0.8110),
        (5.0, 5.6, 0.0993),
    ];
    for (m, n, want) in rows {
        let n_eff = working(n, m, 1.0);
        let got = depth::wave(n_eff, m, GREEN);
        near!(got.depth_mm, want, epsilon = 5e-5);
        assert_eq!(got.tolerance, depth::Tolerance::PathWaves(0.25));
        // Its ends lie a quarter wave off.
        let end_um = depth::image_half_depth_um(got.depth_mm, m);
        near!(defocus::w20_waves(end_um, n_eff, GREEN), 0.25, epsilon = 1e-9);
    }
}

// C1-C10: working f-number, Kingslake.
#[test]
fn c1_to_c10_working_f_number() {
    let symmetric = [
        (4.0, [8.0, 12.0, 16.0, 24.0]),
        (5.6, [11.2, 16.8, 22.4, 33.6]),
        (8.0, [16.0, 24.0, 32.0, 48.0]),
        (11.0, [22.0, 33.0, 44.0, 66.0]),
        (16.0, [32.0, 48.0, 64.0, 96.0]),
        (22.0, [44.0, 66.0, 88.0, 132.0]),
    ];
    for (n, want) in symmetric {
        for (m, want) in MAGNIFICATIONS.iter().zip(want) {
            near!(working(n, *m, 1.0), want, epsilon = 1e-9);
        }
    }
    let pupils = [
        (0.5, [24.0, 40.0, 56.0, 88.0], 5e-5),
        (1.4, [13.714, 19.429, 25.143, 36.571], 5e-4),
        (2.0, [12.0, 16.0, 20.0, 28.0], 5e-5),
    ];
    for (p, n_eff, tolerance) in pupils {
        for i in 0..4 {
            near!(working(8.0, MAGNIFICATIONS[i], p), n_eff[i], epsilon = tolerance);
        }
    }
}

// C11-C18, C20: thin-lens algebra.
#[test]
fn c11_to_c18_and_c20_magnification() {
    for (extension, focal, want) in [(25.0, 50.0, 0.5), (36.0, 50.0, 0.72), (100.0, 100.0, 1.0)] {
        near!(closeup::magnification_from_extension(extension, focal), want, epsilon = 1e-12);
    }
    for (dioptres, m) in [(5.0, 2.0), (8.0, 2.6), (10.0, 3.0)] {
        near!(closeup::magnification_with_close_up(1.0, 100.0, dioptres), m, epsilon = 1e-9);
    }
    near!(closeup::magnification_with_close_up(1.0, 60.0, 10.0), 2.2, epsilon = 1e-12);
    near!(closeup::magnification_with_close_up(2.0, 90.0, 5.0), 3.35, epsilon = 1e-12);
    near!(closeup::magnification_with_close_up(0.0, 200.0, 5.0), 1.0, epsilon = 1e-12);
    near!(closeup::magnification_with_close_up(0.0, 70.0, 10.0), 0.7, epsilon = 1e-12);
    // C18: the close-up lens leaves the working f-number alone.
    let (f, n, m0) = (100.0, 8.0, 1.0);
    let m = closeup::magnification_with_close_up(m0, f, 5.0);
    let both = 1.0 / (1.0 / f + 1.0 / closeup::close_up_focal_mm(5.0));
    near!(both / (f / n) * (1.0 + m), working(n, m0, 1.0), epsilon = 1e-9);
    for (m, want) in MAGNIFICATIONS.iter().zip([4.3945, 2.1973, 1.4648, 0.8789]) {
        near!(closeup::object_um_per_px(PITCH.0, *m), want, epsilon = 1e-4);
    }
}
