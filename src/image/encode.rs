//! Small JPEG pictures, for pages.

use serde::{Deserialize, Serialize};

/// JPEG quality of crops: artefacts must not pass for blur.
pub const CROP_QUALITY: u8 = 90;
/// JPEG quality of small pictures.
pub const THUMB_QUALITY: u8 = 78;
/// Side of the subject crop, px of the picture.
pub const CROP_PX: usize = 320;

/// An encoded picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    /// JPEG bytes.
    pub jpeg: Vec<u8>,
    /// Width, px.
    pub width_px: u32,
    /// Height, px.
    pub height_px: u32,
}

/// Encodes `width` × `height` pixels of interleaved RGB, row by row, at a JPEG quality of 1 to
/// 100. `None` when a side is 0 or above 65,535 px, or when there are fewer bytes than pixels.
pub fn encode_jpeg(rgb: &[u8], width: usize, height: usize, quality: u8) -> Option<Picture> {
    let (w, h) = (u16::try_from(width).ok()?, u16::try_from(height).ok()?);
    let mut jpeg = Vec::new();
    let encoder = jpeg_encoder::Encoder::new(&mut jpeg, quality);
    encoder.encode(rgb, w, h, jpeg_encoder::ColorType::Rgb).ok()?;
    Some(Picture { jpeg, width_px: width as u32, height_px: height as u32 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::{FileKind, header_size};

    #[test]
    fn what_is_encoded_is_a_jpeg_of_that_size() {
        let picture = encode_jpeg(&[128; 3 * 20 * 10], 20, 10, CROP_QUALITY).unwrap();
        assert_eq!((picture.width_px, picture.height_px), (20, 10));
        assert_eq!(header_size(&picture.jpeg, FileKind::Jpeg), Ok((20, 10)));
    }

    #[test]
    fn sizes_that_fit_no_jpeg_are_refused() {
        assert_eq!(encode_jpeg(&[], 0, 0, CROP_QUALITY), None);
        assert_eq!(encode_jpeg(&[0; 3 * 65_536], 65_536, 1, CROP_QUALITY), None);
        assert_eq!(encode_jpeg(&[0; 3 * 20 * 10 - 1], 20, 10, CROP_QUALITY), None);
    }
}
