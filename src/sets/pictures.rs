//! The small pictures of a report: the subject at 100 % and the whole frame.

use super::shot::Patch;
use crate::base::Luma;
use crate::frames::Orientation;
use crate::report::page::Picture;

/// JPEG quality of crops: artefacts must not pass for blur.
pub const CROP_QUALITY: u8 = 90;
/// JPEG quality of small pictures.
pub const THUMB_QUALITY: u8 = 78;
/// Side of the subject crop, px of the picture.
pub const CROP_PX: usize = 320;
/// Brightness of crops is matched by at most this factor.
const GAIN_MOST: f64 = 2.0;

/// Encodes RGB bytes; `None` when the encoder refuses.
pub fn jpeg(rgb: &[u8], width: usize, height: usize, quality: u8) -> Option<Picture> {
    let (w, h) = (u16::try_from(width).ok()?, u16::try_from(height).ok()?);
    let mut jpeg = Vec::new();
    let encoder = jpeg_encoder::Encoder::new(&mut jpeg, quality);
    encoder.encode(rgb, w, h, jpeg_encoder::ColorType::Rgb).ok()?;
    Some(Picture { jpeg, width_px: width as u32, height_px: height as u32 })
}

/// The subject at 100 %, upright, its brightness multiplied by `gain`.
pub fn crop(patch: &Patch, turn: Orientation, gain: f64) -> Option<Picture> {
    let gain = gain.clamp(1.0 / GAIN_MOST, GAIN_MOST);
    let scaled = |v: u8| (f64::from(v) * gain).round().clamp(0.0, 255.0) as u8;
    let rgb: Vec<u8> = if patch.rgb.is_empty() {
        let plane = patch.plane();
        plane.to_luma().into_iter().flat_map(|v| [scaled(v); 3]).collect()
    } else {
        patch.rgb.iter().map(|v| scaled(*v)).collect()
    };
    let (rgb, w, h) = turn.turn_rgb(&rgb, patch.width_px, patch.height_px);
    jpeg(&rgb, w, h, CROP_QUALITY)
}

/// Variance of the 4-neighbour Laplacian over every `step`-th row, squared 8-bit steps.
pub fn plain_lap_var(luma: &Luma<'_>, step: usize) -> f64 {
    let (w, h) = (luma.width_px(), luma.height_px());
    let mut rows = [vec![0i16; w], vec![0i16; w], vec![0i16; w]];
    let (mut sum, mut squares, mut n) = (0f64, 0f64, 0f64);
    for y in (1..h.saturating_sub(1)).step_by(step.max(1)) {
        for (k, row) in rows.iter_mut().enumerate() {
            luma.row_eighths(y + k - 1, 0, row);
        }
        let [up, here, down] = &rows;
        let (mut s, mut q) = (0i64, 0i64);
        for x in 1..w - 1 {
            let l = i64::from(here[x - 1] + here[x + 1] + up[x] + down[x] - 4 * here[x]);
            s += l;
            q += l * l;
        }
        sum += s as f64 / 8.0;
        squares += q as f64 / 64.0;
        n += (w - 2) as f64;
    }
    if n > 0.0 { squares / n - (sum / n).powi(2) } else { 0.0 }
}
