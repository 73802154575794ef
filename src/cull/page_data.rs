//! What a page shows beside the record of a burst: encoded pictures and maps.

use super::record::{BurstRecord, FrameRecord, MapRecord};
use crate::image::Picture;

/// The pictures of one frame, upright.
#[derive(Debug, Clone, PartialEq)]
pub struct FramePictures {
    /// The surroundings of the subject at 100 %, brightness matched to the burst; `None` when
    /// the subject was lost.
    pub crop: Option<Picture>,
    /// Pixels of the picture per pixel of the crop (1.0: at 100 %).
    pub crop_scale: f64,
    /// The whole frame, small.
    pub thumb: Option<Picture>,
    /// The tile map, for the overlay.
    pub map: Option<MapRecord>,
}

impl FramePictures {
    /// No pictures.
    pub const NONE: FramePictures =
        FramePictures { crop: None, crop_scale: 1.0, thumb: None, map: None };
}

/// One burst as a section of the report.
#[derive(Debug, Clone, PartialEq)]
pub struct BurstPage {
    /// The burst's record.
    pub burst: BurstRecord,
    /// Its frames in order of time, with their pictures.
    pub frames: Vec<(FrameRecord, FramePictures)>,
}
