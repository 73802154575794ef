//! Noise of the region in a raw frame that stands alone.
//!
//! The variance of the sensor at each tone (see [`crate::noise::raw`]) is put, as chance,
//! on the region's own tones, and goes through the same interpolation as the frame: what comes
//! out is the noise in the plane that detail is measured on, with its spectrum.

use crate::core::random::SplitMix64;
use crate::core::{FlagSet, Plane};
use crate::image::raw::RawFrame;
use crate::noise::raw::RawNoise;
use crate::noise::spectrum::{NoiseSpectrum, RINGS, Spectrum};

/// The chance is drawn from here, so that results repeat.
const SEED: u64 = 0x006e_6f69_7365;
/// How well the variance of a sensor is known from one frame (measured: σ within 1.3 to 3 %).
const REL_ERR: f64 = 0.04;
/// Neighbours of the same colour on each side over which tones are averaged.
const REACH: usize = 2;

/// Noise spectrum of the interpolated region inside a margin; `None` when no tile is kept.
pub fn noise_spectrum(
    region: &RawFrame,
    noise: &RawNoise,
    margin_px: usize,
    keep: &[bool],
) -> Option<NoiseSpectrum> {
    let level = evened(region);
    let mut random = SplitMix64::new(SEED);
    let (w, white) = (region.width_px, region.white_dn);
    let mut quiet = region.clone();
    let mut noisy = region.clone();
    for (i, dn) in level.iter().enumerate() {
        let black = region.black_dn[(i % w) % 2 + 2 * ((i / w) % 2)];
        let range = f64::from(white - black);
        let x = (f64::from(dn - black) / range).max(0.0);
        let sigma_dn = (noise.a * x + noise.b).max(0.0).sqrt() * range;
        let at = |v: f64| v.round().clamp(0.0, f64::from(u16::MAX)) as u16;
        quiet.mosaic[i] = at(f64::from(*dn));
        noisy.mosaic[i] = at(f64::from(*dn) + sigma_dn * random.normal());
    }
    let (mut plane, quiet) = (noisy.linear_luma(), quiet.linear_luma());
    plane.data.iter_mut().zip(&quiet.data).for_each(|(a, b)| *a -= b);
    let inner = |side: usize| side.saturating_sub(2 * margin_px);
    let plane: Plane = plane.cut(margin_px, margin_px, inner(w), inner(region.height_px));
    let spectrum = Spectrum::of_tiles(&plane, keep)?;
    let mean = |r: std::ops::Range<usize>| {
        let n = r.len() as f64;
        spectrum.power[r].iter().sum::<f64>() / n
    };
    Some(NoiseSpectrum {
        power: spectrum.power,
        rel_err: 2.0 * REL_ERR,
        slope: mean(2..8) / mean(20..28.min(RINGS)),
        flags: FlagSet::EMPTY,
    })
}

/// The mosaic with each sample the mean of its neighbours of the same colour, DN.
fn evened(raw: &RawFrame) -> Vec<f32> {
    let (w, h) = (raw.width_px, raw.height_px);
    let pass = |data: &[f32], n: usize, at: &dyn Fn(usize, usize) -> usize, lines: usize| {
        let mut out = vec![0.0f32; data.len()];
        for line in 0..lines {
            for i in 0..n {
                let (mut sum, mut count) = (0.0, 0.0);
                for k in 0..=2 * REACH {
                    let j = i as isize + 2 * (k as isize - REACH as isize);
                    if (0..n as isize).contains(&j) {
                        sum += data[at(line, j as usize)];
                        count += 1.0;
                    }
                }
                out[at(line, i)] = sum / count;
            }
        }
        out
    };
    let data: Vec<f32> = raw.mosaic.iter().map(|v| f32::from(*v)).collect();
    let rows = pass(&data, w, &|line, i| line * w + i, h);
    pass(&rows, h, &|line, i| i * w + line, w)
}
