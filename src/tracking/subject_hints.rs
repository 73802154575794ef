//! What is known of a burst's subject before its frames are looked at.

use crate::sharpness::focus_map::TILE_PX;
use crate::sharpness::subject::BOX_RANGE_PX;

/// A point marked by the user.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubjectMark {
    /// Frame in which it is marked.
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
    /// Side of the box in which the subject is measured, px; the usual one when `None`.
    pub box_px: Option<usize>,
}

/// Side of the box for a subject of a width and height, px.
pub fn box_for(width_px: f64, height_px: f64) -> usize {
    let side = (width_px.max(height_px) / TILE_PX as f64).round() as usize * TILE_PX;
    side.clamp(*BOX_RANGE_PX.start(), *BOX_RANGE_PX.end())
}

/// A place in one frame, px of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubjectSpot {
    /// Number of the frame.
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
}

/// What is known of a burst's subject before its frames are judged.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SubjectHints {
    /// The user's mark.
    pub mark: Option<SubjectMark>,
    /// The place that the camera recorded.
    pub recorded: Option<SubjectSpot>,
}

impl From<Option<SubjectMark>> for SubjectHints {
    fn from(mark: Option<SubjectMark>) -> SubjectHints {
        SubjectHints { mark, ..SubjectHints::default() }
    }
}
