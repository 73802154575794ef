//! From linear light to 8-bit values, the long way: electrons and their noise behind a colour
//! mosaic, demosaic, colour, noise reduction, tone curve, sharpening.
//!
//! Demosaic after Malvar, He & Cutler 2004 (DOI 10.1109/ICASSP.2004.1326587).

use rayon::prelude::*;

use crate::simulator::camera::LinearFrame;
use crate::simulator::encode::{RenderedPicture, row_random, srgb_encoded};

/// A sensor and the noise of its reading.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SimulatedSensor {
    /// Electrons at full scale at ISO 100.
    pub full_scale_e: f64,
    /// Read noise that is there before amplification, electrons.
    pub read_e: f64,
    /// Read noise added after amplification, electrons at ISO 100.
    pub late_read_e: f64,
}

impl SimulatedSensor {
    /// A sensor of ordinary quality with pixels of about 6 µm.
    pub const ORDINARY: SimulatedSensor =
        SimulatedSensor { full_scale_e: 60_000.0, read_e: 2.4, late_read_e: 9.0 };

    /// Electrons at full scale.
    pub fn full_scale_at(&self, iso: f64) -> f64 {
        self.full_scale_e * 100.0 / iso
    }

    /// Read noise, electrons.
    pub fn read_at(&self, iso: f64) -> f64 {
        self.read_e.hypot(self.late_read_e * 100.0 / iso)
    }

    /// Noise (standard deviation, share of full scale) at a level (share of full scale).
    pub fn noise_at(&self, iso: f64, level: f64) -> f64 {
        let full = self.full_scale_at(iso);
        (level.max(0.0) * full + self.read_at(iso).powi(2)).sqrt() / full
    }
}

/// How raw values become a picture.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SimulatedRendering {
    /// ISO setting.
    pub iso: f64,
    /// Share of full scale that a white sheet gives.
    pub exposure: f32,
    /// Strength of noise reduction: range of the averaging, in noise sigmas (0: none).
    pub noise_reduction: f32,
    /// Radius (Gaussian sigma) of the unsharp mask, px.
    pub sharpen_px: f32,
    /// Amount of the unsharp mask (0: none).
    pub sharpen: f32,
    /// Contrast added to the tone curve, 0..1.
    pub contrast: f32,
}

/// Response of the red, green and blue filters to white light.
pub(super) const RESPONSE: [f32; 3] = [0.53, 1.0, 0.64];
/// From the sensor's colours to the picture's; rows sum to 1, so that grey stays grey.
pub(super) const COLOUR: [[f32; 3]; 3] =
    [[1.20, -0.15, -0.05], [-0.09, 1.20, -0.11], [-0.01, -0.19, 1.20]];

/// Takes the light of a colour frame through the sensor and the rendering. Grey frames are taken
/// as light of equal colours. Seeded by row, so threads do not show.
pub fn developed(
    light: &LinearFrame,
    sensor: &SimulatedSensor,
    rendering: &SimulatedRendering,
    seed: u64,
) -> RenderedPicture {
    let (w, h) = (light.width_px, light.height_px);
    let raw = mosaic(light, sensor, rendering, seed);
    let mut rgb = demosaiced(&raw, w, h);
    colour(&mut rgb);
    if rendering.noise_reduction > 0.0 {
        rgb = quietened(&rgb, w, h, sensor, rendering);
    }
    tone(&mut rgb, rendering.contrast);
    if rendering.sharpen > 0.0 {
        sharpen(&mut rgb, w, h, rendering.sharpen_px, rendering.sharpen);
    }
    let data = rgb.iter().map(|v| (255.0 * v).round().clamp(0.0, 255.0) as u8).collect();
    RenderedPicture { width_px: w, height_px: h, channels: 3, data }
}

/// Colour of the filter at a place: RGGB.
fn filter(x: usize, y: usize) -> usize {
    (x & 1) + (y & 1)
}

/// Raw values, white-balanced, 1 = full scale of green.
pub(super) fn mosaic(
    light: &LinearFrame,
    sensor: &SimulatedSensor,
    rendering: &SimulatedRendering,
    seed: u64,
) -> Vec<f32> {
    let (w, ch) = (light.width_px, light.channels);
    let full = sensor.full_scale_at(rendering.iso);
    let read_square = sensor.read_at(rendering.iso).powi(2);
    let mut raw = vec![0.0f32; w * light.height_px];
    raw.par_chunks_exact_mut(w).enumerate().for_each(|(y, row)| {
        let mut rng = row_random(seed, y);
        let from = &light.data[y * w * ch..(y + 1) * w * ch];
        for (x, out) in row.iter_mut().enumerate() {
            let c = filter(x, y);
            let seen = from[x * ch + c.min(ch - 1)] * rendering.exposure * RESPONSE[c];
            let mean = f64::from(seen) * full;
            // Shot noise is Poisson; above some tens of electrons a normal is as good.
            let electrons = mean + (mean + read_square).sqrt() * rng.normal();
            *out = (electrons / full).min(1.0) as f32 / RESPONSE[c];
        }
    });
    raw
}

/// Gradient-corrected linear demosaic. The two outermost pixels repeat their neighbours.
fn demosaiced(raw: &[f32], w: usize, h: usize) -> Vec<f32> {
    let mut rgb = vec![0.0f32; w * h * 3];
    rgb.par_chunks_exact_mut(w * 3).enumerate().for_each(|(y, row)| {
        let yc = y.clamp(2, h.max(5) - 3);
        // A clamped row keeps the phase of the mosaic.
        let yc = if (yc ^ y) & 1 == 1 { if yc > y { yc + 1 } else { yc - 1 } } else { yc };
        let line = |dy: isize| {
            let r = yc.saturating_add_signed(dy).min(h - 1);
            &raw[r * w..(r + 1) * w]
        };
        let rows = [line(-2), line(-1), line(0), line(1), line(2)];
        for (x, out) in row.chunks_exact_mut(3).enumerate() {
            let xc = x.clamp(2, w.max(5) - 3);
            let xc = if (xc ^ x) & 1 == 1 { if xc > x { xc + 1 } else { xc - 1 } } else { xc };
            let xc = xc.clamp(2, w.max(5) - 3);
            let at = |dx: isize, dy: isize| {
                rows[(dy + 2) as usize][xc.saturating_add_signed(dx).min(w - 1)]
            };
            let p = at(0, 0);
            let cross = at(-1, 0) + at(1, 0) + at(0, -1) + at(0, 1);
            let far_x = at(-2, 0) + at(2, 0);
            let far_y = at(0, -2) + at(0, 2);
            let corners = at(-1, -1) + at(1, -1) + at(-1, 1) + at(1, 1);
            match filter(xc, yc) {
                1 => {
                    let flat = at(-1, 0) + at(1, 0);
                    let tall = at(0, -1) + at(0, 1);
                    let along_x = (5.0 * p + 4.0 * flat - corners - far_x + 0.5 * far_y) / 8.0;
                    let along_y = (5.0 * p + 4.0 * tall - corners - far_y + 0.5 * far_x) / 8.0;
                    // Red neighbours lie to the sides on even rows, above and below on odd ones.
                    let (red, blue) =
                        if yc & 1 == 0 { (along_x, along_y) } else { (along_y, along_x) };
                    out.copy_from_slice(&[red, p, blue]);
                }
                own => {
                    let green = (4.0 * p + 2.0 * cross - far_x - far_y) / 8.0;
                    let other = (6.0 * p + 2.0 * corners - 1.5 * (far_x + far_y)) / 8.0;
                    out.copy_from_slice(&if own == 0 {
                        [p, green, other]
                    } else {
                        [other, green, p]
                    });
                }
            }
        }
    });
    rgb
}

fn colour(rgb: &mut [f32]) {
    rgb.par_chunks_mut(3 * 4096).for_each(|part| {
        for p in part.chunks_exact_mut(3) {
            // Clipped light is white whatever the colour.
            let v = [p[0].min(1.0), p[1].min(1.0), p[2].min(1.0)];
            for (o, m) in p.iter_mut().zip(&COLOUR) {
                *o = m[0] * v[0] + m[1] * v[1] + m[2] * v[2];
            }
        }
    });
}

/// Averages each pixel with neighbours that differ by little (5x5), more in colour than in
/// brightness: edges stay, fine faint detail goes.
fn quietened(
    rgb: &[f32],
    w: usize,
    h: usize,
    sensor: &SimulatedSensor,
    rendering: &SimulatedRendering,
) -> Vec<f32> {
    const REACH: isize = 2;
    let luma = |p: &[f32]| 0.25 * p[0] + 0.5 * p[1] + 0.25 * p[2];
    let grey: Vec<f32> = rgb.par_chunks_exact(3).map(luma).collect();
    let mut out = vec![0.0f32; rgb.len()];
    out.par_chunks_exact_mut(w * 3).enumerate().for_each(|(y, row)| {
        for (x, o) in row.chunks_exact_mut(3).enumerate() {
            let middle = grey[y * w + x];
            let noise = sensor.noise_at(rendering.iso, f64::from(middle)) as f32;
            let range = 1.0 / (rendering.noise_reduction * noise).powi(2).max(1e-12);
            let (mut sum, mut light, mut total) = ([0.0f32; 3], 0.0f32, 0.0f32);
            for dy in -REACH..=REACH {
                let r = (y as isize + dy).clamp(0, h as isize - 1) as usize * w;
                for dx in -REACH..=REACH {
                    let at = r + (x as isize + dx).clamp(0, w as isize - 1) as usize;
                    let d = grey[at] - middle;
                    let weight = 1.0 / (1.0 + d * d * range * (1.0 + d * d * range));
                    light += weight * grey[at];
                    total += weight;
                    let p = &rgb[3 * at..3 * at + 3];
                    for c in 0..3 {
                        sum[c] += weight * (p[c] - grey[at]);
                    }
                }
            }
            for c in 0..3 {
                o[c] = (light + sum[c]) / total;
            }
        }
    });
    out
}

/// sRGB with an S-curve mixed in.
fn tone(rgb: &mut [f32], contrast: f32) {
    const STEPS: usize = 65_536;
    let table: Vec<f32> = (0..=STEPS)
        .map(|i| {
            let v = srgb_encoded(i as f32 / STEPS as f32);
            v + contrast * (v * v * (3.0 - 2.0 * v) - v)
        })
        .collect();
    rgb.par_iter_mut().for_each(|v| {
        let x = v.clamp(0.0, 0.999_99) * STEPS as f32;
        let i = x as usize;
        *v = table[i] + (table[i + 1] - table[i]) * (x - i as f32);
    });
}

/// Unsharp mask on brightness: adds the difference to a Gaussian blur of it.
pub(super) fn sharpen(rgb: &mut [f32], w: usize, h: usize, sigma_px: f32, amount: f32) {
    let grey: Vec<f32> =
        rgb.par_chunks_exact(3).map(|p| 0.299 * p[0] + 0.587 * p[1] + 0.114 * p[2]).collect();
    let reach = (3.0 * sigma_px).ceil() as isize;
    let mut kernel: Vec<f32> =
        (-reach..=reach).map(|k| (-(k as f32 / sigma_px).powi(2) / 2.0).exp()).collect();
    let total: f32 = kernel.iter().sum();
    kernel.iter_mut().for_each(|k| *k /= total);
    let mut across = vec![0.0f32; w * h];
    across.par_chunks_exact_mut(w).enumerate().for_each(|(y, row)| {
        let from = &grey[y * w..(y + 1) * w];
        for (x, o) in row.iter_mut().enumerate() {
            for (k, weight) in kernel.iter().enumerate() {
                let i = (x as isize + k as isize - reach).clamp(0, w as isize - 1) as usize;
                *o += weight * from[i];
            }
        }
    });
    rgb.par_chunks_exact_mut(w * 3).enumerate().for_each(|(y, row)| {
        let mut blurred = vec![0.0f32; w];
        for (k, weight) in kernel.iter().enumerate() {
            let r = (y as isize + k as isize - reach).clamp(0, h as isize - 1) as usize;
            for (b, v) in blurred.iter_mut().zip(&across[r * w..(r + 1) * w]) {
                *b += weight * v;
            }
        }
        for (x, p) in row.chunks_exact_mut(3).enumerate() {
            let more = amount * (grey[y * w + x] - blurred[x]);
            for v in p {
                *v += more;
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(light: f32) -> LinearFrame {
        LinearFrame { width_px: 128, height_px: 128, channels: 3, data: vec![light; 128 * 128 * 3] }
    }

    // Poisson statistics: variance of the electrons is their mean plus the square of the read
    // noise; 5 % is four standard errors of a variance from 8192 samples (1.6 % each) less 1.
    #[test]
    fn raw_noise_is_shot_and_read_noise() {
        let rendering = SimulatedRendering {
            iso: 1600.0,
            exposure: 0.8,
            noise_reduction: 0.0,
            sharpen_px: 1.0,
            sharpen: 0.0,
            contrast: 0.0,
        };
        let raw = mosaic(&flat(0.25), &SimulatedSensor::ORDINARY, &rendering, 7);
        let greens: Vec<f64> = (0..128 * 128)
            .filter(|i| filter(i % 128, i / 128) == 1)
            .map(|i| f64::from(raw[i]))
            .collect();
        let n = greens.len() as f64;
        let mean = greens.iter().sum::<f64>() / n;
        let var = greens.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n;
        let want = SimulatedSensor::ORDINARY.noise_at(1600.0, 0.2).powi(2);
        approx::assert_abs_diff_eq!(mean, 0.2, epsilon = 0.001);
        assert!((var / want - 1.0).abs() < 0.065, "{var} against {want}");
    }

    #[test]
    fn grey_stays_grey_and_edges_of_the_frame_are_filled() {
        let quiet = SimulatedSensor { full_scale_e: 1e12, read_e: 0.0, late_read_e: 0.0 };
        let rendering = SimulatedRendering {
            iso: 100.0,
            exposure: 0.9,
            noise_reduction: 0.0,
            sharpen_px: 1.0,
            sharpen: 0.5,
            contrast: 0.3,
        };
        let picture = developed(&flat(0.3), &quiet, &rendering, 1);
        let first = picture.data[0];
        assert!(first > 90 && first < 200);
        assert!(picture.data.iter().all(|v| v.abs_diff(first) <= 1));
    }
}
