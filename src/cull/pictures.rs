//! The small pictures of a report: the subject at 100 % and the whole frame.

use crate::image::{CROP_QUALITY, Orientation, Picture, encode_jpeg};
use crate::tracking::frame_features::Patch;

/// Brightness of crops is matched by at most this factor.
const MAX_GAIN: f64 = 2.0;

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
    encode_jpeg(&rgb, w, h, CROP_QUALITY)
}
