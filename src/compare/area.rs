//! Boxes in a frame: where a region or an edge is wanted, and the pixels that it takes.

use crate::image::PixelBox;

/// Pixels kept round the region for registration and resampling.
pub(super) const MARGIN_PX: usize = 32;
/// Largest box of an edge, px a side.
const MAX_EDGE_PX: usize = 1024;

/// Middle and size, fractions of the file's picture.
pub type RelativeRect = ((f64, f64), (f64, f64));

/// Where a region is wanted: its middle and, when given, its size, fractions of the file's
/// picture.
pub type RegionRequest = Option<((f64, f64), Option<(f64, f64)>)>;

/// A box in a frame, px of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RegionArea {
    /// Left.
    pub x0: usize,
    /// Top.
    pub y0: usize,
    /// Width.
    pub w: usize,
    /// Height.
    pub h: usize,
}

impl RegionArea {
    /// As `image` takes it.
    pub(super) fn px(self) -> PixelBox {
        (self.x0, self.y0, self.w, self.h)
    }
}

/// A box in a frame of that size, whole cells of a mosaic.
pub(super) fn edge_area(((x, y), (bw, bh)): RelativeRect, (w, h): (usize, usize)) -> RegionArea {
    let side = |share: f64, full: usize| {
        let most = MAX_EDGE_PX.min(full) / 2 * 2;
        ((share * full as f64) as usize / 2 * 2).clamp(2, most.max(2))
    };
    let at = |middle: f64, size: usize, full: usize| {
        let start = middle * full as f64 - size as f64 / 2.0;
        start.round().clamp(0.0, (full - size) as f64) as usize / 2 * 2
    };
    let (bw, bh) = (side(bw, w), side(bh, h));
    RegionArea { x0: at(x, bw, w), y0: at(y, bh, h), w: bw, h: bh }
}
