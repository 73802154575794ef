//! Pictures for tests: files of testdata, seeded noise, Gaussian blur; and the plain measures that
//! ours are compared with.

use std::path::Path;

use stopwise::core::random::SplitMix64;
use stopwise::core::{Plane, Tone};
use stopwise::detail::information::detail;
use stopwise::noise::spectrum::{NoiseSpectrum, Spectrum, TILE_PX};

/// A grey picture of testdata, 0 to 255.
pub fn picture(name: &str) -> Plane {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata").join(name);
    let grey = image::open(path).unwrap().to_luma8();
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    Plane::from_fn(width, height, Tone::Encoded, |x, y| f32::from(grey.as_raw()[y * width + x]))
}

/// White normal noise in row-major order.
pub fn white(width_px: usize, height_px: usize, sigma: f64, seed: u64) -> Plane {
    let mut random = SplitMix64::new(seed);
    Plane::from_fn(width_px, height_px, Tone::Encoded, |_, _| (sigma * random.normal()) as f32)
}

/// Noise blurred by a Gaussian and scaled back to `sigma`.
pub fn pink(width_px: usize, height_px: usize, sigma: f64, blur_px: f64, seed: u64) -> Plane {
    let mut plane = gaussian(&white(width_px, height_px, 1.0, seed), blur_px);
    let energy: f64 = plane.data.iter().map(|v| f64::from(*v).powi(2)).sum();
    let scale = sigma / (energy / plane.data.len() as f64).sqrt();
    plane.data.iter_mut().for_each(|v| *v = (f64::from(*v) * scale) as f32);
    plane
}

/// Sum of two planes, the second scaled.
pub fn add(a: &Plane, b: &Plane, scale: f64) -> Plane {
    let sum = |(a, b): (&f32, &f32)| (f64::from(*a) + scale * f64::from(*b)) as f32;
    Plane { data: a.data.iter().zip(&b.data).map(sum).collect(), ..*a }
}

/// Gaussian blur as scipy.ndimage does it: half-sample mirrored border, cut at 4 sigma.
pub fn gaussian(plane: &Plane, sigma_px: f64) -> Plane {
    let radius = (4.0 * sigma_px + 0.5) as i64;
    let mut kernel: Vec<f64> =
        (-radius..=radius).map(|i| (-0.5 * (i as f64 / sigma_px).powi(2)).exp()).collect();
    let total: f64 = kernel.iter().sum();
    kernel.iter_mut().for_each(|k| *k /= total);
    let once = along_rows(&plane.data, plane.width_px, &kernel);
    let turned = transpose(&once, plane.width_px, plane.height_px);
    let twice = along_rows(&turned, plane.height_px, &kernel);
    Plane { data: transpose(&twice, plane.height_px, plane.width_px), ..*plane }
}

/// Variance of the 4-neighbour Laplacian over the inner samples: the plain score that noise fools.
pub fn laplacian_variance(plane: &Plane) -> f64 {
    let values: Vec<f64> =
        interior(plane).map(|n| 4.0 * n[4] - n[1] - n[3] - n[5] - n[7]).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64 - mean * mean
}

/// Standard deviation of noise by one high-pass filter (Immerkær, CVIU 64:300, 1996, DOI
/// 10.1006/cviu.1996.0060): blind to noise that was smoothed.
pub fn immerkaer_sigma(plane: &Plane) -> f64 {
    let absolute: Vec<f64> = interior(plane)
        .map(|n| {
            let (corners, sides) = (n[0] + n[2] + n[6] + n[8], n[1] + n[3] + n[5] + n[7]);
            (corners - 2.0 * sides + 4.0 * n[4]).abs()
        })
        .collect();
    let mean = absolute.iter().sum::<f64>() / absolute.len() as f64;
    std::f64::consts::FRAC_PI_2.sqrt() / 6.0 * mean
}

/// The 3 x 3 neighbourhoods of all inner samples, row by row.
fn interior(plane: &Plane) -> impl Iterator<Item = [f64; 9]> {
    let (w, h) = (plane.width_px, plane.height_px);
    let rows = |y: usize| [plane.row(y - 1), plane.row(y), plane.row(y + 1)];
    (1..h - 1).flat_map(move |y| {
        let rows = rows(y);
        (1..w - 1).map(move |x| std::array::from_fn(|i| f64::from(rows[i / 3][x - 1 + i % 3])))
    })
}

/// Detail of one frame, bits per pixel, from two of a still scene: signal from their mean, noise
/// from their difference.
pub fn detail_of_pair(a: &Plane, b: &Plane) -> f64 {
    let both = |f: &dyn Fn(f32, f32) -> f32| {
        let data = a.data.iter().zip(&b.data).map(|(a, b)| f(*a, *b)).collect();
        Spectrum::of(&Plane { data, ..*a }).unwrap()
    };
    let mean = both(&|a, b| 0.5 * (a + b));
    // The difference over √2 holds the noise of one frame, over 2 that of the mean.
    let mut noise = NoiseSpectrum::white(1.0, 0.0);
    noise.power = both(&|a, b| 0.5 * (a - b)).power;
    let of_mean = detail(&mean, &noise).unwrap();
    let area = (TILE_PX * TILE_PX) as f64;
    of_mean.snr.iter().zip(&mean.count).map(|(s, c)| (1.0 + 0.5 * s).log2() * c / area).sum()
}

fn along_rows(data: &[f32], width: usize, kernel: &[f64]) -> Vec<f32> {
    let radius = kernel.len() as i64 / 2;
    let mirror = |i: i64| {
        let period = 2 * width as i64;
        let i = i.rem_euclid(period);
        i.min(period - 1 - i) as usize
    };
    let mut out = Vec::with_capacity(data.len());
    for row in data.chunks_exact(width) {
        let padded: Vec<f64> =
            (-radius..width as i64 + radius).map(|i| f64::from(row[mirror(i)])).collect();
        out.extend(
            padded
                .windows(kernel.len())
                .map(|w| w.iter().zip(kernel).map(|(v, k)| v * k).sum::<f64>() as f32),
        );
    }
    out
}

fn transpose(data: &[f32], width: usize, height: usize) -> Vec<f32> {
    (0..width).flat_map(|x| (0..height).map(move |y| data[y * width + x])).collect()
}
