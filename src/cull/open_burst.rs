//! A burst kept open while a person looks at it, so that moving the subject point judges it again
//! at once: frames stay measured, and their luma set aside.

use rayon::prelude::*;

use super::burst::{self, BurstReadings};
use super::grouping::{FrameGroup, SplitReason};
use super::job::OutingJob;
use super::measured_frame::{self, KeptPixels, MeasuredFrame, Scout};
use super::read_patches::PixelsAgain;
use super::record::{BurstRecord, FrameRecord, MapRecord};
use super::to_record;
use crate::error::SkipReason;
use crate::image::{self, Frame, Spool, Want};
use crate::sharpness::pyramid::Pyramid;
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
    /// Its record; `id` and `split_reason` are the caller's to set.
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
        let group = FrameGroup {
            frames: (0..files.len()).collect(),
            split_reason: SplitReason::First,
            timed,
        };
        let again = PixelsAgain { files: &files, spools: &self.spools, colour: false };
        let hints = burst::hints(&files, mark);
        let pictures = self.job.pictures;
        let readings = BurstReadings::read(pictures, &self.taken, &hints, &again);
        let (page, judged) =
            burst::page(&self.job, &files, &self.taken, readings, &hints, &group, 1);
        let maps =
            judged.maps.iter().zip(&files).map(|(m, f)| to_record::map_record(m, f)).collect();
        JudgedAgain {
            burst: page.burst,
            frames: page.frames.into_iter().map(|f| f.0).collect(),
            maps,
        }
    }
}
