//! Detail over noise against known information, and what must not move it.

use stopwise::core::{Flag, FlagSet, Plane, Tone};
use stopwise::detail::information::{detail, repaired};
use stopwise::noise::spectrum::{FIRST_RING, NoiseSpectrum, RINGS, Spectrum, ring_cy_px};
use stopwise::optics::diffraction;

use crate::synthetic::{add, detail_of_pair, gaussian, laplacian_variance, pink, white};

/// Texture of five octaves, as foliage has.
fn texture(size: usize, seed: u64, amplitude: f64) -> Plane {
    let mut plane = Plane::from_fn(size, size, Tone::Encoded, |_, _| 120.0);
    for (i, blur) in [0.7, 1.4, 2.8, 5.6, 11.0].into_iter().enumerate() {
        let octave = pink(size, size, 1.0, blur, seed * 10 + i as u64);
        plane = add(&plane, &octave, amplitude * (1.0 + i as f64));
    }
    plane
}

/// Information per pixel of a channel with the power ratio `snr_power` at each radial frequency,
/// cycles per pixel: ½∬log2(1 + S/N) over the plane of frequencies (Fellgett & Linfoot 1955).
fn capacity_bits_px(snr_power: impl Fn(f64) -> f64) -> f64 {
    const CELLS: u32 = 256;
    let at = |i: u32| (f64::from(i) + 0.5) / f64::from(CELLS) * 0.5;
    let sum: f64 = (0..CELLS)
        .flat_map(|y| (0..CELLS).map(move |x| (x, y)))
        .map(|(x, y)| 0.5 * (1.0 + snr_power(at(x).hypot(at(y)))).log2())
        .sum();
    sum / f64::from(CELLS * CELLS)
}

// facts I6: Gaussian-blurred white signal at S/N 100, in bits per pixel.
#[test]
fn detail_is_the_capacity_of_a_known_channel() {
    // The window's own width spreads a steep spectrum (P″/P of the sharper fall, over 6·64²) and
    // rings of pure noise count only upwards: together 1 % at sigma 1, 3 to 4 % at sigma 2.
    for (sigma_px, capacity, bias) in [(1.0, 0.70244, 0.02), (2.0, 0.17564, 0.045)] {
        let signal = gaussian(&white(640, 640, 30.0, 1), sigma_px);
        let frame = add(&signal, &white(640, 640, 3.0, 2), 1.0);
        let found =
            detail(&Spectrum::of(&frame).unwrap(), &NoiseSpectrum::white(3.0, 0.0)).unwrap();
        // The two lowest rings are left out of D; add what they hold.
        let lowest: f64 = capacity_bits_px(|f| {
            let snr = 100.0 * diffraction::mtf_gaussian(f * sigma_px).powi(2);
            if f < ring_cy_px(FIRST_RING) - 0.5 / 64.0 { snr } else { 0.0 }
        });
        let got = found.bits_px.value + lowest;
        assert!((got - capacity).abs() < bias * capacity, "sigma {sigma_px}: {got}");
        let error = found.bits_px.std_err.unwrap();
        assert!(error > 0.0 && error < 0.02 * capacity);
    }
}

#[test]
fn the_resolved_limit_is_where_signal_meets_noise() {
    let sigma_px = 1.0;
    let signal = gaussian(&white(640, 640, 30.0, 1), sigma_px);
    let frame = add(&signal, &white(640, 640, 3.0, 2), 1.0);
    let found = detail(&Spectrum::of(&frame).unwrap(), &NoiseSpectrum::white(3.0, 0.0)).unwrap();
    // 100·exp(−4π²σ²f²) = 1.
    let at = 100f64.ln().sqrt() / (std::f64::consts::TAU * sigma_px);
    approx::assert_abs_diff_eq!(found.resolved_cy_px.unwrap().value, at, epsilon = 0.006);
}

#[test]
fn pure_noise_holds_no_detail() {
    let frame = white(256, 256, 4.0, 5);
    let found = detail(&Spectrum::of(&frame).unwrap(), &NoiseSpectrum::white(4.0, 0.05)).unwrap();
    assert!(found.bits_px.value < 0.03, "{:?}", found.bits_px);
    assert!(found.bits_px.flags.has(Flag::MostlyNoise));
    assert!(found.resolved_cy_px.is_none_or(|f| f.value < 0.1), "{:?}", found.resolved_cy_px);
    let pair = detail_of_pair(&white(256, 256, 4.0, 6), &white(256, 256, 4.0, 7));
    assert!(pair < 0.01, "{pair}");
}

#[test]
fn more_noise_and_more_blur_mean_less_detail_and_a_lower_limit() {
    let scene = texture(320, 1, 4.0);
    let mut last = f64::INFINITY;
    for sigma in [1.0, 2.0, 4.0, 8.0, 16.0] {
        let frame = add(&scene, &white(320, 320, 1.0, 3), sigma);
        let spectrum = Spectrum::of(&frame).unwrap();
        let found = detail(&spectrum, &NoiseSpectrum::white(sigma, 0.0)).unwrap();
        assert!(found.bits_px.value < last, "noise {sigma}");
        last = found.bits_px.value;
    }
    let mut last = f64::INFINITY;
    for blur in [0.5, 1.0, 1.5, 2.0, 3.0] {
        let frame = add(&gaussian(&scene, blur), &white(320, 320, 1.0, 3), 2.0);
        let spectrum = Spectrum::of(&frame).unwrap();
        let found = detail(&spectrum, &NoiseSpectrum::white(2.0, 0.0)).unwrap();
        assert!(found.bits_px.value < last, "blur {blur}");
        last = found.bits_px.value;
    }
}

// The trap "camera sharpening": the plain Laplacian variance more than doubles, D stays.
#[test]
fn sharpening_does_not_make_detail() {
    let scene = gaussian(&texture(320, 2, 5.0), 0.8);
    let pair = [11, 12].map(|seed| add(&scene, &white(320, 320, 1.0, seed), 2.0));
    let sharpened = pair.clone().map(|p| {
        let soft = gaussian(&p, 1.0);
        add(&add(&p, &p, 1.0), &soft, -1.0)
    });
    let plain = detail_of_pair(&pair[0], &pair[1]);
    let sharp = detail_of_pair(&sharpened[0], &sharpened[1]);
    assert!((sharp / plain - 1.0).abs() < 0.03, "{plain} and {sharp}");
    let gain = laplacian_variance(&sharpened[0]) / laplacian_variance(&pair[0]);
    assert!(gain > 2.0, "{gain}");
}

#[test]
fn a_pair_and_a_single_frame_with_the_true_noise_agree() {
    let scene = texture(256, 1, 2.0);
    let frame = |seed| add(&scene, &pink(256, 256, 3.0, 0.8, seed), 1.0);
    let pair = detail_of_pair(&frame(900), &frame(1900));
    let mut noise = NoiseSpectrum::white(3.0, 0.0);
    noise.power = Spectrum::of(&pink(1024, 1024, 3.0, 0.8, 5)).unwrap().power;
    let single = detail(&Spectrum::of(&frame(900)).unwrap(), &noise).unwrap();
    approx::assert_relative_eq!(pair, single.bits_px.value, max_relative = 0.05);
}

// The stated error must be that of repeats of one scene, not far narrower or wider.
#[test]
fn the_stated_error_is_the_scatter_of_repeats() {
    let scene = texture(256, 1, 2.0);
    let repeats: Vec<_> = (0..24)
        .map(|seed| {
            let frame = add(&scene, &white(256, 256, 1.0, 7000 + seed), 8.0);
            let spectrum = Spectrum::of(&frame).unwrap();
            detail(&spectrum, &NoiseSpectrum::white(8.0, 0.0)).unwrap()
        })
        .collect();
    let scatter = |values: Vec<f64>| {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
    };
    let bits = scatter(repeats.iter().map(|d| d.bits_px.value).collect());
    let limit = scatter(repeats.iter().map(|d| d.resolved_cy_px.unwrap().value).collect());
    for d in &repeats {
        // 24 repeats know their scatter to 15 %; the jackknife of 49 tiles its own to 10-15 %.
        assert!((0.7..2.0).contains(&(d.bits_px.std_err.unwrap() / bits)));
        assert!((0.6..2.5).contains(&(d.resolved_cy_px.unwrap().std_err.unwrap() / limit)));
    }
}

#[test]
fn noise_above_the_cutoff_repairs_the_noise_of_a_reduced_frame() {
    // Smoothing lowered the noise in flat places to a third at high frequencies; in the texture
    // it is still white.
    let cutoff = 0.4;
    let mut flat = NoiseSpectrum::white(2.0, 0.1);
    flat.slope = 8.0;
    flat.flags = FlagSet::EMPTY.with(Flag::NoiseReduced);
    flat.power = std::array::from_fn(|r| if ring_cy_px(r) < 0.1 { 4.0 } else { 4.0 / 3.0 });
    let region = Spectrum::of(&white(512, 512, 2.0, 3)).unwrap();
    let fixed = repaired(&flat, &region, cutoff).unwrap();
    for r in FIRST_RING..RINGS {
        let f = ring_cy_px(r);
        if f >= 0.88 * cutoff {
            approx::assert_relative_eq!(fixed.power[r], region.power[r]);
        } else {
            assert!(fixed.power[r] >= flat.power[r] && fixed.power[r] < 2.0 * 4.0);
        }
    }
    let before = detail(&region, &flat).unwrap().bits_px.value;
    let after = detail(&region, &fixed).unwrap().bits_px.value;
    assert!(after < 0.4 * before, "false detail {before} must shrink: {after}");
    assert!(detail(&region, &flat).unwrap().bits_px.flags.has(Flag::NoiseReduced));
    // Gates: noise not reduced; cutoff beyond the pixels.
    assert_eq!(repaired(&NoiseSpectrum::white(2.0, 0.1), &region, cutoff), None);
    assert_eq!(repaired(&flat, &region, 0.6), None);
}

#[test]
fn regions_without_a_tile_and_noise_without_power_are_refused() {
    assert!(Spectrum::of(&Plane::zeros(63, 200, Tone::Encoded)).is_none());
    let one = Spectrum::of(&white(64, 64, 1.0, 1)).unwrap();
    let found = detail(&one, &NoiseSpectrum::white(1.0, 0.0)).unwrap();
    assert_eq!((one.tiles, found.bits_px.std_err), (1, None));
    assert!(detail(&one, &NoiseSpectrum::white(0.0, 0.0)).is_none());
}
