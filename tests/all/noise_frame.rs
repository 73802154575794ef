//! Noise of one rendered frame against simulated truth: white and smoothed noise, flat and
//! textured scenes.

use stopwise::core::{Flag, Luma, Plane, Tone};
use stopwise::noise::rendered::{RenderedNoise, rendered_noise};
use stopwise::noise::spectrum::{Spectrum, ring_cy_px};

use crate::synthetic::{add, immerkaer_sigma, pink, white};

const WIDTH: usize = 1024;
const HEIGHT: usize = 768;
/// Deviation of rounding to whole steps, DN.
const ROUNDING: f64 = 0.288_675;

/// A slow gradient, with coarse texture over the upper `textured` share of the frame.
fn scene(textured: f64) -> Plane {
    let texture = pink(WIDTH, HEIGHT, 14.0, 1.2, 77);
    Plane::from_fn(WIDTH, HEIGHT, Tone::Encoded, |x, y| {
        let (fx, fy) = (x as f32, y as f32);
        let ground = 60.0 + 120.0 * fx / WIDTH as f32 + 10.0 * (fy / 200.0).sin();
        let amount = 0.4 + 0.6 * ((fx / 97.0).sin() * (fy / 71.0).cos()).abs();
        let inside = (y as f64) < textured * HEIGHT as f64;
        ground + if inside { amount * texture.at(x, y) } else { 0.0 }
    })
}

fn measure(frame: &Plane) -> Option<RenderedNoise> {
    let data = frame.to_luma();
    rendered_noise(&Luma::U8 {
        data: &data,
        channels: 1,
        width_px: frame.width_px,
        height_px: frame.height_px,
    })
}

/// Standard deviation over the whole frame, each tone by its share, DN.
fn sigma_frame_dn(noise: &RenderedNoise) -> f64 {
    noise.power_through(|_| 1.0).sqrt()
}

fn ratio(textured: f64, noise: &Plane, sigma: f64) -> (f64, RenderedNoise) {
    let found = measure(&add(&scene(textured), noise, 1.0)).unwrap();
    (sigma_frame_dn(&found) / sigma.hypot(ROUNDING), found)
}

#[test]
fn white_noise_is_found_on_flat_and_on_mostly_textured_frames() {
    for (i, sigma) in [0.5, 1.0, 2.0, 5.0, 10.0].into_iter().enumerate() {
        let noise = white(WIDTH, HEIGHT, sigma, 100 + i as u64);
        for (textured, tolerance) in [(0.0, 0.03), (0.5, 0.05), (0.8, 0.10)] {
            let (ratio, found) = ratio(textured, &noise, sigma);
            assert!((ratio - 1.0).abs() < tolerance, "sigma {sigma} {textured}: {ratio}");
            assert!(found.r0 < 1.3 && !found.flags.has(Flag::NoiseReduced));
            let grey = found.sigma_dn.unwrap();
            let truth = sigma.hypot(ROUNDING);
            assert!((grey.value - truth).abs() < 2.0 * grey.std_err.unwrap());
        }
    }
}

#[test]
fn smoothed_noise_is_found_where_high_pass_meters_see_a_tenth() {
    for (blur, sigma) in [(0.8, 2.0), (1.2, 2.0), (1.2, 4.0)] {
        let noise = pink(WIDTH, HEIGHT, sigma, blur, 9);
        let blind = immerkaer_sigma(&noise);
        assert!(blind < 0.25 * sigma, "the trap: {blind} of {sigma}");
        for textured in [0.0, 0.5, 0.8] {
            let (ratio, found) = ratio(textured, &noise, sigma);
            // The correction for choosing the quietest is capped, so very pink noise reads low.
            assert!((0.80..1.12).contains(&ratio), "blur {blur} sigma {sigma}: {ratio}");
            assert!(found.flags.has(Flag::NoiseReduced));
        }
    }
}

#[test]
fn the_spectrum_follows_that_of_the_noise() {
    let noise = pink(WIDTH, HEIGHT, 4.0, 0.6, 31);
    let truth = Spectrum::of(&noise).unwrap();
    let (_, found) = ratio(0.5, &noise, 4.0);
    let spectrum = found.spectrum_at(118.0).unwrap();
    for ring in [5, 10, 15, 20, 25] {
        let share = spectrum.power[ring] / (truth.power[ring] + ROUNDING * ROUNDING);
        assert!((0.75..1.25).contains(&share), "at {}: {share}", ring_cy_px(ring));
    }
    // White noise after a Gaussian of 1 px keeps 1/4π of its variance (facts G7).
    let (_, flat) = ratio(0.0, &white(WIDTH, HEIGHT, 4.0, 5), 4.0);
    let left = flat.power_through(stopwise::optics::diffraction::mtf_gaussian);
    approx::assert_relative_eq!(left / flat.power_through(|_| 1.0), 0.0795939, max_relative = 0.08);
}

#[test]
fn noise_that_grows_with_the_tone_is_told_apart_by_tone() {
    let unit = white(WIDTH, HEIGHT, 1.0, 12);
    let ground = scene(0.3);
    let sigma_at = |tone: f64| 1.0 + tone / 60.0;
    let mut frame = ground.clone();
    for (v, n) in frame.data.iter_mut().zip(&unit.data) {
        *v += (sigma_at(f64::from(*v)) * f64::from(*n)) as f32;
    }
    let found = measure(&frame).unwrap();
    assert_eq!(found.levels.len(), 8);
    for level in &found.levels {
        let ratio = level.sigma_dn.value / sigma_at(level.mean_dn).hypot(ROUNDING);
        assert!((ratio - 1.0).abs() < 0.10, "at {}: {ratio}", level.mean_dn);
    }
}

#[test]
fn a_frame_without_flat_places_says_so() {
    // Strong texture everywhere: grass-like amplitude.
    let texture = pink(WIDTH, HEIGHT, 30.0, 1.0, 4);
    let (ratio, found) = ratio(0.0, &add(&texture, &white(WIDTH, HEIGHT, 1.0, 2), 1.0), 1.0);
    assert!(ratio > 5.0, "the trap: {ratio}");
    assert!(found.flags.has(Flag::AllTexture));
    assert!(found.levels.iter().all(|l| l.sigma_dn.flags.has(Flag::AllTexture)));
    // Fewer flat tiles than are chosen.
    let noise = white(WIDTH, HEIGHT, 1.0, 3);
    let found = measure(&add(&scene(0.97), &noise, 1.0)).unwrap();
    assert!(found.flags.has(Flag::AllTexture));
    // And the flag stays down where a fifth is flat.
    let found = measure(&add(&scene(0.8), &noise, 1.0)).unwrap();
    assert!(!found.flags.has(Flag::AllTexture));
}

#[test]
fn painted_clipped_and_tiny_frames_have_no_noise_to_measure() {
    for level in [0.0, 128.0, 255.0] {
        assert_eq!(measure(&Plane::from_fn(256, 256, Tone::Encoded, |_, _| level)), None);
    }
    assert_eq!(measure(&white(15, 300, 3.0, 1)), None);
    assert_eq!(measure(&Plane::zeros(0, 0, Tone::Encoded)), None);
    // Bright sky only: no figure at mid grey.
    let bright =
        add(&Plane::from_fn(512, 512, Tone::Encoded, |_, _| 220.0), &white(512, 512, 2.0, 1), 1.0);
    let found = measure(&bright).unwrap();
    assert!(found.sigma_dn.is_none() && !found.levels.is_empty());
}

// How many tiles are looked at is tried beside the sampler.
#[test]
fn a_sample_of_a_large_frame_gives_its_noise() {
    let (width, height) = (3000, 2000);
    let noise = white(width, height, 3.0, 40);
    let frame = Plane::from_fn(width, height, Tone::Encoded, |x, y| {
        let busy = (x / 300 + y / 200) % 2 == 0;
        100.0 + noise.at(x, y) + if busy { 40.0 * ((x * 7 + y * 13) as f32).sin() } else { 0.0 }
    });
    let whole = sigma_frame_dn(&measure(&frame).unwrap());
    approx::assert_relative_eq!(whole, 3f64.hypot(ROUNDING), max_relative = 0.03);
}

#[test]
fn interleaved_and_16_bit_samples_give_the_same_noise() {
    let frame = add(&scene(0.3), &white(WIDTH, HEIGHT, 2.0, 6), 1.0);
    let grey = frame.to_luma();
    let colour: Vec<u8> = grey.iter().flat_map(|v| [*v, 7, 200]).collect();
    let deep: Vec<u16> = grey.iter().map(|v| u16::from(*v) * 257).collect();
    let expected = measure(&frame).unwrap();
    let of_colour = rendered_noise(&Luma::U8 {
        data: &colour,
        channels: 3,
        width_px: WIDTH,
        height_px: HEIGHT,
    });
    let of_deep = rendered_noise(&Luma::U16 { data: &deep, width_px: WIDTH, height_px: HEIGHT });
    assert_eq!(of_colour.unwrap(), expected);
    assert_eq!(of_deep.unwrap(), expected);
}
