//! What the page of `clip` shows beside the record: encoded pictures.

use super::record::ClipRecord;
use crate::image::Picture;

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
