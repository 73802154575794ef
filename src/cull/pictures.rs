//! The small pictures of a report: the subject at 100 % and the whole frame.

use crate::image::Orientation;
use crate::report::page::Picture;
use crate::tracking::frame_features::Patch;

/// JPEG quality of crops: artefacts must not pass for blur.
pub const CROP_QUALITY: u8 = 90;
/// JPEG quality of small pictures.
pub const THUMB_QUALITY: u8 = 78;
/// Side of the subject crop, px of the picture.
pub const CROP_PX: usize = 320;
/// Brightness of crops is matched by at most this factor.
const MAX_GAIN: f64 = 2.0;

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
    let gain = gain.clamp(1.0 / MAX_GAIN, MAX_GAIN);
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
