//! What a run over an outing is asked to do.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::store::overrides::UserOverrides;
use crate::tracking::subject_hints::box_for;

/// What is to be done with an outing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OutingJob {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// The subject as fractions of the upright picture, in the first frame of every burst.
    pub subject: Option<(f64, f64)>,
    /// Subjects marked in single frames, by path as shown or by file name: fractions of the
    /// upright picture. The first marked frame of a burst places the burst's subject.
    pub marks: BTreeMap<String, (f64, f64)>,
    /// Width and height of the subject as fractions of the upright picture, when given.
    pub subject_size: Option<(f64, f64)>,
    /// Values typed by the user.
    pub typed: UserOverrides,
    /// Whether pictures for a report are wanted.
    pub pictures: bool,
}

impl OutingJob {
    /// Side of the subject's box in a frame of an upright size, px, when the user gave one.
    pub fn box_px(&self, (width_px, height_px): (u32, u32)) -> Option<usize> {
        let (w, h) = self.subject_size?;
        Some(box_for(w * f64::from(width_px), h * f64::from(height_px)))
    }
}
