//! A picture seen along a direction: strips beside one another, each with its profile.

use super::profile::BrightnessProfile;
use crate::core::{Luma, halved};

/// Added to 8-bit values before the logarithm, so that black stays finite and its noise small.
const LIFT_DN: f32 = 8.0;
/// A place of a strip counts when this share of its height lies in the picture.
const MIN_COVERED: f32 = 0.7;

/// Logarithm of a picture's brightness, made smaller by whole factors.
#[derive(Debug, Clone)]
pub(super) struct LogPicture {
    pub width: usize,
    pub height: usize,
    /// Pixels of the picture per sample.
    pub factor: usize,
    data: Vec<f32>,
}

impl LogPicture {
    /// The picture with its longer side at most `side` samples.
    pub fn new(luma: &Luma<'_>, side: usize) -> LogPicture {
        let (w, h) = (luma.width_px(), luma.height_px());
        let factor = w.max(h).div_ceil(side).max(1);
        let (sw, sh) = (w / factor, h / factor);
        let mut row = vec![0i16; sw * factor];
        let mut sums = vec![0i32; sw];
        let mut data = Vec::with_capacity(sw * sh);
        for y in 0..sh {
            sums.fill(0);
            for dy in 0..factor {
                luma.row_eighths(y * factor + dy, 0, &mut row);
                for (sum, part) in sums.iter_mut().zip(row.chunks_exact(factor)) {
                    *sum += part.iter().map(|v| i32::from(*v)).sum::<i32>();
                }
            }
            let scale = 1.0 / (8 * factor * factor) as f32;
            data.extend(sums.iter().map(|s| (*s as f32 * scale + LIFT_DN).ln()));
        }
        LogPicture { width: sw, height: sh, factor, data }
    }

    /// Half as large.
    pub fn halved(&self) -> LogPicture {
        LogPicture {
            width: self.width / 2,
            height: self.height / 2,
            factor: 2 * self.factor,
            data: halved(&self.data, self.width, self.height),
        }
    }

    /// Middle of the picture, samples.
    pub fn centre(&self) -> (f64, f64) {
        ((self.width as f64 - 1.0) / 2.0, (self.height as f64 - 1.0) / 2.0)
    }

    /// Bilinear value; `None` outside.
    fn at(&self, x: f32, y: f32) -> Option<f32> {
        if !(x >= 0.0 && y >= 0.0) {
            return None;
        }
        let (ix, iy) = (x as usize, y as usize);
        if ix + 1 >= self.width || iy + 1 >= self.height {
            return None;
        }
        let (fx, fy) = (x - ix as f32, y - iy as f32);
        let i = iy * self.width + ix;
        let j = i + self.width;
        let top = self.data[i] + fx * (self.data[i + 1] - self.data[i]);
        let low = self.data[j] + fx * (self.data[j + 1] - self.data[j]);
        Some(top + fy * (low - top))
    }
}

/// A strip: where it runs and what is in it.
#[derive(Debug, Clone)]
pub(super) struct Strip {
    /// Distance of its middle line from the middle of the picture, across the ruler, px.
    pub across_px: f64,
    pub profile: BrightnessProfile,
}

/// Strips of a height of `high` samples, one every `step`, along a direction counter-clockwise
/// from the horizontal.
pub(super) fn strips(picture: &LogPicture, angle_deg: f64, high: usize, step: usize) -> Vec<Strip> {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    let (cx, cy) = picture.centre();
    let half_u = (cx * cos).abs() + (cy * sin).abs();
    let half_v = (cx * sin).abs() + (cy * cos).abs();
    let count = ((2.0 * half_v - high as f64) / step as f64).floor().max(0.0) as usize + 1;
    let first_v = -0.5 * (count as f64 - 1.0) * step as f64;
    let length = 2 * half_u as usize + 1;
    let first_u = -0.5 * (length as f64 - 1.0);
    let mut strips = Vec::with_capacity(count);
    let (mut sums, mut seen) = (vec![0f32; length], vec![0u32; length]);
    for i in 0..count {
        let middle = first_v + (i * step) as f64;
        sums.fill(0.0);
        seen.fill(0);
        for k in 0..high {
            let v = middle + k as f64 - 0.5 * (high as f64 - 1.0);
            let (x0, y0) = (cx + v * sin + first_u * cos, cy + v * cos - first_u * sin);
            for (j, (sum, n)) in sums.iter_mut().zip(&mut seen).enumerate() {
                let (x, y) = (x0 + j as f64 * cos, y0 - j as f64 * sin);
                if let Some(value) = picture.at(x as f32, y as f32) {
                    *sum += value;
                    *n += 1;
                }
            }
        }
        let enough = (MIN_COVERED * high as f32).ceil() as u32;
        let Some(from) = seen.iter().position(|n| *n >= enough) else { continue };
        let to = seen.iter().rposition(|n| *n >= enough).unwrap_or(from);
        let data = (from..=to).map(|j| f64::from(sums[j] / seen[j].max(1) as f32)).collect();
        strips.push(Strip {
            across_px: middle,
            profile: BrightnessProfile { first_px: first_u + from as f64, data },
        });
    }
    strips
}
