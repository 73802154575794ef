//! A frame as it was opened: a picture, or the mosaic of a raw file, which each command develops as
//! far as it needs.

use super::raw::RawFrame;
use super::still::{Decoded, Want, decoded_raw, developed};
use crate::core::{Luma, Plane};

/// An opened frame, in the orientation of the file.
#[derive(Debug, Clone, PartialEq)]
pub enum OpenedFrame {
    /// A rendered picture.
    Rendered(Decoded),
    /// The mosaic of a raw file.
    Raw(Box<RawFrame>),
}

/// A box inside a frame, px: left, top, width, height.
pub type PixelBox = (usize, usize, usize, usize);

impl OpenedFrame {
    /// Width and height, px.
    pub fn size(&self) -> (usize, usize) {
        match self {
            OpenedFrame::Rendered(d) => (d.width_px as usize, d.height_px as usize),
            OpenedFrame::Raw(r) => (r.width_px, r.height_px),
        }
    }

    /// The mosaic of a raw file.
    pub fn raw(&self) -> Option<&RawFrame> {
        match self {
            OpenedFrame::Rendered(_) => None,
            OpenedFrame::Raw(raw) => Some(raw),
        }
    }

    /// The picture: a raw frame is developed as wanted, in pixels of its full mosaic.
    pub fn developed(self, want: Want) -> Decoded {
        match self {
            OpenedFrame::Rendered(decoded) => decoded,
            OpenedFrame::Raw(raw) => decoded_raw(&raw, want),
        }
    }

    /// Luma of a part that detail is measured on: linear of raw, encoded of rendered frames.
    pub fn detail_plane(&self, (x0, y0, w, h): PixelBox) -> Plane {
        match self {
            OpenedFrame::Rendered(d) => d.luma().cut(x0, y0, w, h),
            OpenedFrame::Raw(r) => r.cut(x0, y0, w, h).linear_luma(),
        }
    }

    /// Interleaved 8-bit RGB of a part with its width and height. In a raw frame the part begins
    /// with a whole cell of the mosaic.
    pub fn rgb_crop(&self, (x0, y0, w, h): PixelBox) -> (Vec<u8>, usize, usize) {
        match self {
            OpenedFrame::Rendered(d) => d.rgb_crop(x0, y0, w, h),
            OpenedFrame::Raw(r) => developed(&r.cut(x0, y0, w, h)).rgb_crop(0, 0, w, h),
        }
    }

    /// The whole picture as interleaved 8-bit RGB with its longer side at most `side`, its width
    /// and height, and the pixels of the frame per sample.
    pub fn rgb_small(&self, side: usize) -> (Vec<u8>, usize, usize, f64) {
        let (w, h) = self.size();
        match self {
            OpenedFrame::Rendered(d) => {
                let (rgb, small_w, small_h) = d.rgb_small(side);
                (rgb, small_w, small_h, w as f64 / small_w as f64)
            }
            OpenedFrame::Raw(r) => {
                let (rgb, small_w, small_h) = r.quick_rgb(side);
                // Whole cells are averaged; the rest at the border is left out.
                let cells = (w / 2).max(h / 2).div_ceil(side).max(1);
                (rgb, small_w, small_h, 2.0 * cells as f64)
            }
        }
    }

    /// Measures the encoded luma of a part, as the focus measures read it.
    pub fn with_luma<T>(
        &self,
        (x0, y0, w, h): PixelBox,
        measure: impl FnOnce(&Luma<'_>) -> T,
    ) -> T {
        match self {
            OpenedFrame::Rendered(d) if (w, h) == self.size() => measure(&d.luma()),
            OpenedFrame::Rendered(d) => {
                let data = d.luma().cut(x0, y0, w, h).to_luma();
                measure(&Luma::U8 { data: &data, channels: 1, width_px: w, height_px: h })
            }
            OpenedFrame::Raw(r) => {
                let part = r.cut(x0, y0, w, h);
                let data = part.luma16();
                let (width_px, height_px) = (part.width_px, part.height_px);
                measure(&Luma::U16 { data: &data, width_px, height_px })
            }
        }
    }
}
