//! A burst kept open while a person looks at it, so that moving the subject point judges it again
//! at once: frames stay measured, and their luma set aside.

use rayon::prelude::*;

use super::burst;
use super::grouping::{FrameGroup, SplitReason};
use super::measured_frame::{self, KeptPixels, MeasuredFrame, Scout};
use super::outing::OutingJob;
use super::record::{BurstRecord, FrameRecord, MapRecord};
use super::to_record;
use crate::error::SkipReason;
use crate::image::{self, Frame, Spool, SpooledSamples, Want};
use crate::sharpness::pyramid::Pyramid;
use crate::tracking::frame_features::{FrameFeatures, Patch, PatchLuma, patch_corner};
use crate::tracking::subject_hints::SubjectMark;

/// Luma set aside for one burst at most, bytes; frames beyond are decoded again when needed.
const MAX_SPOOL: usize = 2 << 30;

/// A burst that is open.
#[derive(Debug)]
pub struct OpenBurst {
    job: OutingJob,
    files: Vec<Frame>,
    taken: Vec<MeasuredFrame>,
    spools: Vec<Option<Spool>>,
}

/// A burst judged again.
#[derive(Debug, Clone)]
pub struct JudgedAgain {
    /// Its record; `id` and `cut_by` are the caller's to set.
    pub burst: BurstRecord,
    /// Its frames, in order.
    pub frames: Vec<FrameRecord>,
    /// Their maps.
    pub maps: Vec<MapRecord>,
}

impl OpenBurst {
    /// Decodes and measures the frames of a burst, in order of time.
    ///
    /// # Errors
    /// The first frame that cannot be read any more, by its number, and why.
    pub fn read(job: OutingJob, files: Vec<Frame>) -> Result<OpenBurst, (usize, SkipReason)> {
        let keep = KeptPixels { thumb_px: 0, colour: false, mark: None };
        let scout = Scout::default();
        let room = |i: usize| {
            let bytes = |f: &Frame| 2 * f.width_px as usize * f.height_px as usize;
            files[..=i].iter().map(bytes).sum::<usize>() <= MAX_SPOOL
        };
        let read: Vec<_> = files
            .par_iter()
            .enumerate()
            .map_init(Pyramid::default, |pyramid, (i, file)| {
                let decoded = image::load(file, Want::Luma).map_err(|e| (i, e))?;
                let small =
                    SkipReason::TooSmall { width_px: file.width_px, height_px: file.height_px };
                let taken = measured_frame::of(file, &decoded, keep, &scout, i == 0, pyramid)
                    .ok_or((i, small))?;
                let spool = room(i).then(|| Spool::of(&decoded.luma()).ok()).flatten();
                Ok((taken, spool))
            })
            .collect::<Result<_, _>>()?;
        let (taken, spools) = read.into_iter().unzip();
        Ok(OpenBurst { job, files, taken, spools })
    }

    /// Judges the burst with the subject marked in one frame (its number in the burst; fractions
    /// of the upright picture), or found by the program.
    pub fn judged(&self, mark: Option<(usize, (f64, f64))>) -> JudgedAgain {
        let files: Vec<&Frame> = self.files.iter().collect();
        let mark: Option<SubjectMark> = mark
            .filter(|(i, _)| *i < files.len())
            .map(|(i, at)| burst::mark(&self.job, files[i], i, at));
        let timed = files.iter().all(|f| f.exposure.as_ref().is_some_and(|e| e.taken_at.is_some()));
        let group =
            FrameGroup { frames: (0..files.len()).collect(), cut_by: SplitReason::First, timed };
        let read = |i: usize, x0: usize, y0: usize, side: usize| self.pixels(i, x0, y0, side);
        let hints = burst::hints(&files, mark);
        let (page, judged) = burst::page(&self.job, &files, &self.taken, hints, &read, &group, 1);
        let maps =
            judged.maps.iter().zip(&files).map(|(m, f)| to_record::map_record(m, f)).collect();
        JudgedAgain {
            burst: page.burst,
            frames: page.frames.into_iter().map(|f| f.0).collect(),
            maps,
        }
    }

    /// The surroundings of a square: from what was set aside, else decoded again.
    fn pixels(&self, i: usize, x0: usize, y0: usize, side: usize) -> Option<Patch> {
        let centre = ((x0 + side / 2) as f64, (y0 + side / 2) as f64);
        if let Some(spool) = &self.spools[i] {
            let shot: &FrameFeatures = &self.taken[i].shot;
            let size = (shot.width_px, shot.height_px);
            let patch = super::subject_boxes::PATCH_PX;
            let (x0, y0) = patch_corner(centre.0, centre.1, patch, size);
            if let Ok((samples, width_px, height_px)) = spool.part(x0, y0, patch, patch) {
                let luma = match samples {
                    SpooledSamples::U8(data) => PatchLuma::U8(data),
                    SpooledSamples::U16(data) => PatchLuma::U16(data),
                };
                return Some(Patch { x0, y0, width_px, height_px, luma, rgb: Vec::new() });
            }
        }
        let decoded = image::load(&self.files[i], Want::Luma).ok()?;
        Some(measured_frame::cut(&decoded, centre.0, centre.1, false))
    }
}
