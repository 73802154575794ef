//! What JPEG does to noise, and that the frame's noise is still found: facts J1-J3 (measured there
//! with libjpeg-turbo; encoder dependent).

use jpeg_encoder::{ColorType, Encoder};
use stopwise::core::{Luma, Plane, Tone};
use stopwise::noise::rendered::rendered_noise;

use crate::synthetic::{add, immerkaer_sigma, laplacian_variance, white};

const SIDE: usize = 1024;

fn through_jpeg(plane: &Plane, quality: u8) -> Vec<u8> {
    let mut file = Vec::new();
    let (width, height) = (plane.width_px as u16, plane.height_px as u16);
    Encoder::new(&mut file, quality)
        .encode(&plane.to_luma(), width, height, ColorType::Luma)
        .unwrap();
    image::load_from_memory(&file).unwrap().to_luma8().into_raw()
}

fn deviation(samples: &[u8]) -> f64 {
    let n = samples.len() as f64;
    let mean = samples.iter().map(|v| f64::from(*v)).sum::<f64>() / n;
    (samples.iter().map(|v| (f64::from(*v) - mean).powi(2)).sum::<f64>() / n).sqrt()
}

#[test]
fn j1_to_j3_jpeg_hides_fine_noise_but_not_from_the_band_spectrum() {
    // noise before, quality, then after: deviation, Immerkær, Laplacian variance
    let rows = [
        (1.0, 95, [0.816, 0.369, 6.09]),
        (2.0, 95, [1.977, 1.286, 60.30]),
        (2.0, 90, [1.487, 0.511, 17.77]),
        (4.0, 95, [4.390, 4.552, 410.4]),
        (4.0, 90, [3.834, 2.382, 222.8]),
        (4.0, 85, [3.198, 1.170, 102.7]),
        (4.0, 75, [2.680, 0.655, 45.1]),
    ];
    let grey = Plane::from_fn(SIDE, SIDE, Tone::Encoded, |_, _| 128.0);
    for (sigma, quality, want) in rows {
        let samples = through_jpeg(&add(&grey, &white(SIDE, SIDE, sigma, 11), 1.0), quality);
        let plane =
            Plane::from_fn(SIDE, SIDE, Tone::Encoded, |x, y| f32::from(samples[y * SIDE + x]));
        let truth = deviation(&samples);
        let got = [truth, immerkaer_sigma(&plane), laplacian_variance(&plane)];
        for (k, (got, want)) in got.iter().zip(want).enumerate() {
            let off = (got / want - 1.0).abs();
            assert!(off < 0.05, "{sigma} DN q{quality} column {k}: {got} against {want}");
        }
        let luma = Luma::U8 { data: &samples, channels: 1, width_px: SIDE, height_px: SIDE };
        let ratio = rendered_noise(&luma).unwrap().power_through(|_| 1.0).sqrt() / truth;
        assert!((0.88..1.08).contains(&ratio), "{sigma} DN q{quality}: {ratio}");
    }
}
