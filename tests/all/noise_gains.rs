//! What kernels, demosaicing, sensors and models make of noise: facts sections 5 and 7.

use approx::assert_abs_diff_eq as near;
use approx::assert_relative_eq as close;
use stopwise::core::units::{GREEN, PitchUm};
use stopwise::core::{Plane, Tone};
use stopwise::detail::prediction::{self, Pattern};
use stopwise::noise::sensor::{self, Sensor};
use stopwise::optics::diffraction;
use stopwise::sharpness::laplacian;

use crate::synthetic::{gaussian, white};

/// A plane of one bright sample in the middle, and the sum of squares a measure finds in its
/// response: the gain of white noise by definition.
fn gain(kernel: impl Fn(&Plane) -> f64) -> f64 {
    let mut impulse = Plane::zeros(31, 31, Tone::Linear);
    impulse.data[15 * 31 + 15] = 1.0;
    kernel(&impulse)
}

// The measures of the library, by their response to one sample: Laplacian G1, Tenengrad G11
// (both directions together 12 + 12), Brenner (2), each mean times the pixels it is taken over.
#[test]
fn g1_and_g11_gains_of_the_measures_in_the_library() {
    let interior = 29.0 * 29.0;
    near!(gain(|p| laplacian::laplacian_variance(p).unwrap() * interior), 20.0, epsilon = 1e-9);
    let all = 31.0 * 31.0;
    let mirrored = gain(|p| laplacian::laplacian_variance_mirrored(p).unwrap() * all);
    near!(mirrored, 20.0, epsilon = 1e-9);
    near!(gain(|p| laplacian::tenengrad(p).unwrap() * interior), 24.0, epsilon = 1e-9);
    near!(gain(|p| laplacian::brenner(p).unwrap() * 29.0 * 31.0), 2.0, epsilon = 1e-9);
    // G11, G10, G5 on noise itself: 1024² samples, five standard errors (0.7 %).
    let noise = white(1024, 1024, 3.0, 8);
    close!(laplacian::tenengrad(&noise).unwrap(), 24.0 * 9.0, max_relative = 0.007);
    close!(laplacian::modified_laplacian(&noise).unwrap(), 3.90882 * 3.0, max_relative = 0.007);
    close!(laplacian::immerkaer_sigma(&noise).unwrap(), 3.0, max_relative = 0.007);
    close!(laplacian::laplacian_variance(&noise).unwrap(), 180.0, max_relative = 0.01);
}

// G7, G9: after a Gaussian cut at 4 sigma (which moves the last digits by up to 3e-4).
#[test]
fn g7_and_g9_gains_after_a_gaussian() {
    let blurred = |sigma: f64| {
        let mut impulse = Plane::zeros(61, 61, Tone::Linear);
        impulse.data[30 * 61 + 30] = 1.0;
        gaussian(&impulse, sigma)
    };
    for (sigma, want) in [(1.0, 0.0795939), (2.0, 0.0198944), (3.0, 0.00884194)] {
        let energy: f64 = blurred(sigma).data.iter().map(|k| f64::from(*k).powi(2)).sum();
        close!(energy, want, max_relative = 5e-4);
    }
    for (sigma, want) in
        [(1.0, 0.1118523), (1.5, 0.01187517), (2.0, 0.00226717), (3.0, 0.000209463)]
    {
        let got = laplacian::laplacian_variance(&blurred(sigma)).unwrap() * 59.0 * 59.0;
        close!(got, want, max_relative = 1e-3);
    }
}

/// Bilinear demosaic of an RGGB mosaic, wrapping at the border.
fn demosaic(raw: &Plane) -> [Plane; 3] {
    let (w, h) = (raw.width_px, raw.height_px);
    let at = |x: usize, y: usize, dx: i32, dy: i32| {
        let x = (x as i32 + dx).rem_euclid(w as i32) as usize;
        let y = (y as i32 + dy).rem_euclid(h as i32) as usize;
        raw.data[y * w + x]
    };
    let green = |x: usize, y: usize| {
        if (x + y) % 2 == 1 {
            at(x, y, 0, 0)
        } else {
            0.25 * (at(x, y, -1, 0) + at(x, y, 1, 0) + at(x, y, 0, -1) + at(x, y, 0, 1))
        }
    };
    // Colour with sites at x ≡ px, y ≡ py (mod 2).
    let colour = |x: usize, y: usize, px: usize, py: usize| match (x % 2 == px, y % 2 == py) {
        (true, true) => at(x, y, 0, 0),
        (false, true) => 0.5 * (at(x, y, -1, 0) + at(x, y, 1, 0)),
        (true, false) => 0.5 * (at(x, y, 0, -1) + at(x, y, 0, 1)),
        (false, false) => {
            0.25 * (at(x, y, -1, -1) + at(x, y, 1, -1) + at(x, y, -1, 1) + at(x, y, 1, 1))
        }
    };
    [
        Plane::from_fn(w, h, Tone::Linear, |x, y| colour(x, y, 0, 0)),
        Plane::from_fn(w, h, Tone::Linear, green),
        Plane::from_fn(w, h, Tone::Linear, |x, y| colour(x, y, 1, 1)),
    ]
}

fn correlation(p: &Plane, dx: usize, dy: usize) -> f64 {
    let (mut product, mut energy) = (0.0, 0.0);
    for y in 0..p.height_px - dy {
        for x in 0..p.width_px - dx {
            product += f64::from(p.at(x, y)) * f64::from(p.at(x + dx, y + dy));
            energy += f64::from(p.at(x, y)).powi(2);
        }
    }
    product / energy
}

// Q0-Q4: why noise is never measured on demosaiced data by a high-pass meter.
#[test]
fn q0_to_q4_bilinear_demosaic() {
    let raw = white(1024, 1024, 1.0, 21);
    let [r, g, b] = demosaic(&raw);
    let mix = |cr: f32, cg: f32, cb: f32| {
        let rgb = r.data.iter().zip(&g.data).zip(&b.data);
        Plane { data: rgb.map(|((r, g), b)| cr * r + cg * g + cb * b).collect(), ..raw }
    };
    let (y709, y601) = (mix(0.2126, 0.7152, 0.0722), mix(0.299, 0.587, 0.114));
    // variance, lag (1,0), lag (1,1), Laplacian variance, Immerkær
    let rows: [(&Plane, [f64; 5]); 6] = [
        (&raw, [1.0, 0.0, 0.0, 20.0, 1.0]),
        (&g, [0.625, 0.400, 0.100, 5.125, 0.28840]),
        (&r, [0.5625, 0.6667, 0.4444, 1.625, 0.0625]),
        (&b, [0.5625, 0.6667, 0.4444, 1.625, 0.0625]),
        (&y709, [0.348051, 0.4215, 0.1278, 2.703413, 0.208886]),
        (&y601, [0.272954, 0.4560, 0.1723, 1.932311, 0.175478]),
    ];
    for (i, (plane, want)) in rows.iter().enumerate() {
        let n = plane.data.len() as f64;
        let variance = plane.data.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>() / n;
        let got = [
            variance,
            correlation(plane, 1, 0),
            correlation(plane, 1, 1),
            laplacian::laplacian_variance(plane).unwrap(),
            laplacian::immerkaer_sigma(plane).unwrap(),
        ];
        for (k, (got, want)) in got.iter().zip(want).enumerate() {
            // 2 % on a field of 2048² (facts); the absolute part is for correlations near 0.
            let tolerance = 0.02 * want + 0.004;
            assert!((got - want).abs() < tolerance, "row {i} column {k}: {got} against {want}");
        }
    }
}

// N1-N3: EMVA 1288 release 4 linear.
#[test]
fn n1_to_n3_linear_sensor() {
    let camera = Sensor { gain_dn_e: 0.25, dark_e: 3.0 };
    near!(camera.variance_dn2(8000.0), 500.6458, epsilon = 1e-4);
    near!(camera.variance_dn2(8000.0).sqrt(), 22.3751, epsilon = 1e-4);
    near!(camera.snr(8000.0), 89.385, epsilon = 1e-3);
    near!(20.0 * camera.snr(8000.0).log10(), 39.025, epsilon = 1e-3);
    let low = (200.0, camera.variance_dn2(800.0));
    near!(low.1, 50.645833, epsilon = 1e-6);
    let high = (2000.0, camera.variance_dn2(8000.0));
    near!(Sensor::gain_from_two_points(low, high).unwrap(), 0.25, epsilon = 1e-12);
    assert_eq!(Sensor::gain_from_two_points(low, low), None);
    near!(camera.least_signal_e(), 3.7532, epsilon = 1e-3);
    near!(camera.dynamic_range(15000.0), 3996.6, epsilon = 0.1);
    near!(20.0 * camera.dynamic_range(15000.0).log10(), 72.03, epsilon = 0.01);
}

// N4-N6: Foi 2008; Poisson; Anscombe 1948.
#[test]
fn n4_to_n6_affine_model_shot_noise_and_anscombe() {
    near!(sensor::affine_sigma(5e-4, 1e-5, 0.25).unwrap(), 0.0116190, epsilon = 1e-6);
    near!(sensor::affine_sigma(5e-4, 1e-5, 0.02).unwrap(), 0.0044721, epsilon = 1e-6);
    assert_eq!(sensor::affine_sigma(5e-4, -1e-3, 0.0), None);
    // A gain so high that rounding vanishes, and no dark noise: only light is left.
    let ideal = Sensor { gain_dn_e: 1e6, dark_e: 0.0 };
    near!(ideal.snr(500.0) / ideal.snr(1000.0), 0.5f64.sqrt(), epsilon = 1e-5);
    near!(ideal.snr(250.0) / ideal.snr(1000.0), 0.5, epsilon = 1e-9);
    near!(ideal.snr(8000.0), 89.443, epsilon = 1e-3);
    near!(sensor::anscombe(100.0), 20.03746, epsilon = 1e-5);
}

// I1-I4: ICRU 54, IEC 62220-1.
#[test]
fn i1_to_i4_noise_equivalent_quanta() {
    let pitch = PitchUm(36_000.0 / 8192.0);
    let rows = [
        (pitch, 4.827976e-8, 2.071261e7, 0.533160, 5.88776e6),
        (PitchUm(6.0), 9.0e-8, 1.11111e7, 0.509568, 2.88511e6),
    ];
    for (pitch, nnps, neq0, mtf, neq) in rows {
        let noise = prediction::normalised_noise_mm2(100.0, 5.0, pitch);
        close!(noise, nnps, max_relative = 1e-5);
        close!(prediction::neq_mm2(1.0, noise), neq0, max_relative = 1e-5);
        let got = diffraction::system_mtf(40.0 * pitch.0 / 1000.0, 16.0, pitch, GREEN);
        close!(got, mtf, max_relative = 1e-5);
        close!(prediction::neq_mm2(got, noise), neq, max_relative = 1e-5);
    }
    let shot = prediction::normalised_noise_mm2(1000.0, 1000f64.sqrt(), pitch);
    near!(prediction::neq_mm2(1.0, shot) * (pitch.0 / 1000.0).powi(2), 1000.0, epsilon = 1e-6);
}

// I5-I10: Fellgett & Linfoot 1955, Rose 1948, threshold modulation.
#[test]
fn i5_to_i10_capacity_rose_and_threshold() {
    for (snr, want) in [(1.0, 0.5), (10.0, 1.729716), (100.0, 3.329106)] {
        near!(prediction::bits(snr), want, epsilon = 1e-6);
        near!(prediction::capacity_bits_px(|_| snr), want, epsilon = 1e-6);
    }
    for (sigma, want) in [(0.5, 2.19578), (1.0, 0.70244), (2.0, 0.17564)] {
        let snr = |f: f64| 100.0 * diffraction::mtf_gaussian(f * sigma).powi(2);
        near!(prediction::capacity_bits_px(snr), want, epsilon = 1e-3);
    }
    near!(prediction::pattern_snr(3.0, 900.0, 10.0), 6.36396, epsilon = 1e-5);
    near!(prediction::rose_area_px(0.05, 100.0, 10.0), 100.0, epsilon = 1e-9);
    for (contrast, at) in [(0.5, [91.52, 45.76, 22.88]), (0.2, [72.13, 36.06, 18.03])] {
        for (n, want) in [16.0, 32.0, 64.0].iter().zip(at) {
            let nu = diffraction::nu_at_modulation(0.05 / contrast);
            near!(nu * diffraction::cutoff_cy_mm(*n, GREEN), want, epsilon = 0.01);
        }
    }
}

// I11-I14: matched filter with Rose's threshold.
#[test]
fn i11_to_i14_resolved_frequency_under_noise() {
    let pitch = PitchUm(36_000.0 / 8192.0);
    let rows = [
        (2.0, [0.3896, 0.2171, 0.1147, 0.0780]),
        (5.0, [0.3267, 0.1941, 0.1069, 0.0739]),
        (10.0, [0.2666, 0.1691, 0.0978, 0.0691]),
        (20.0, [0.2000, 0.1377, 0.0853, 0.0621]),
    ];
    for (sigma, want) in rows {
        let pattern = Pattern { contrast: 0.2, mean: 100.0, sigma, cycles: 3.0 };
        for (n, want) in [16.0, 32.0, 64.0, 96.0].iter().zip(want) {
            let got = pattern.resolved_cy_px(*n, pitch, GREEN).unwrap();
            near!(got, want, epsilon = 1e-4);
        }
    }
}
