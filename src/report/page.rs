//! What a report page shows beside the record: encoded pictures and maps, ready to be written.

use super::record::{BurstRecord, FrameRecord, MapRecord};
use crate::clips::record::ClipRecord;

/// An encoded picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// JPEG bytes.
    pub jpeg: Vec<u8>,
    /// Width, px.
    pub width_px: u32,
    /// Height, px.
    pub height_px: u32,
}

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

/// A picture of a clip at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipPicture {
    /// Time, s.
    pub t_s: f64,
    /// The picture.
    pub picture: Picture,
}

/// One clip as a section of the page of `clip`.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipPage {
    /// Its record.
    pub clip: ClipRecord,
    /// The subject at 100 % in the best frames of its stretches, in order of time.
    pub crops: Vec<ClipPicture>,
    /// Small grey pictures along it.
    pub thumbs: Vec<ClipPicture>,
}
