//! From linear light to 8-bit values, the short way: exposure, tone curve, white noise.

use rayon::prelude::*;

use crate::core::random::SplitMix64;
use crate::core::{Plane, Tone};
use crate::simulator::camera::LinearFrame;

/// 8-bit samples of a frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RenderedPicture {
    /// Width, px.
    pub width_px: usize,
    /// Height, px.
    pub height_px: usize,
    /// 1 (luma) or 3 (RGB, interleaved).
    pub channels: usize,
    /// Samples, row-major.
    pub data: Vec<u8>,
}

impl RenderedPicture {
    /// 8-bit luma (Rec. 601 weights, as in JPEG files).
    pub fn luma(&self) -> Vec<u8> {
        if self.channels == 1 {
            return self.data.clone();
        }
        self.data
            .chunks_exact(3)
            .map(|p| {
                let sum = 299 * u32::from(p[0]) + 587 * u32::from(p[1]) + 114 * u32::from(p[2]);
                ((sum + 500) / 1000) as u8
            })
            .collect()
    }

    /// Luma as a float plane on the 8-bit scale.
    pub fn luma_plane(&self) -> Plane {
        Plane {
            data: self.luma().into_iter().map(f32::from).collect(),
            ..Plane::zeros(self.width_px, self.height_px, Tone::Encoded)
        }
    }

    /// Interleaved RGB, grey repeated.
    pub fn rgb(&self) -> Vec<u8> {
        if self.channels == 3 {
            return self.data.clone();
        }
        self.data.iter().flat_map(|v| [*v, *v, *v]).collect()
    }
}

/// The tone curve of IEC 61966-2-1 (sRGB), 0..1 to 0..1: in single precision, in which a frame's
/// light is drawn, and apart from the curve that the measuring undoes.
pub fn srgb_encoded(linear: f32) -> f32 {
    let v = linear.clamp(0.0, 1.0);
    if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 }
}

/// Encodes light times `exposure` by the sRGB curve, then adds white Gaussian noise of
/// `noise_dn` 8-bit steps to each sample. Seeded by row, so threads do not show.
pub fn encoded(light: &LinearFrame, exposure: f32, noise_dn: f64, seed: u64) -> RenderedPicture {
    let row_len = light.width_px * light.channels;
    let table: Vec<f32> =
        (0..=TABLE).map(|i| 255.0 * srgb_encoded(i as f32 / TABLE as f32)).collect();
    let mut data = vec![0u8; light.data.len()];
    data.par_chunks_exact_mut(row_len)
        .zip(light.data.par_chunks_exact(row_len))
        .enumerate()
        .for_each(|(y, (out, row))| {
            let mut rng = row_random(seed, y);
            for (o, v) in out.iter_mut().zip(row) {
                let x = (v * exposure).clamp(0.0, 0.999_99) * TABLE as f32;
                let i = x as usize;
                let mut dn = f64::from(table[i] + (table[i + 1] - table[i]) * (x - i as f32));
                if noise_dn > 0.0 {
                    dn += noise_dn * rng.normal();
                }
                *o = dn.round().clamp(0.0, 255.0) as u8;
            }
        });
    RenderedPicture {
        width_px: light.width_px,
        height_px: light.height_px,
        channels: light.channels,
        data,
    }
}

/// Entries of the tone table: steps below a tenth of an 8-bit step everywhere.
const TABLE: usize = 65_536;

/// The generator of one row.
pub(super) fn row_random(seed: u64, row: usize) -> SplitMix64 {
    // One word is drawn so that neighbouring rows do not start from neighbouring states.
    let mut mixed = SplitMix64::new(seed ^ (row as u64).wrapping_mul(0xD6E8_FEB8_6659_FD93));
    SplitMix64::new(mixed.next_u64())
}
