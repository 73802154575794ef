//! The files of a series: found, put in order and sorted into steps.

use rayon::prelude::*;

use super::CompareJob;
use super::series::{self, StepSeries};
use super::series_frames::SeriesFrames;
use crate::core::path_text;
use crate::core::progress::Progress;
use crate::error::{Error, NotASeries, Result};
use crate::image::{self, FileKind, Frame};
use crate::report::parts::{ExposureRecord, SkippedRecord};
use crate::store::exposure_record::exposure_record;

/// Frames of one step that are measured, at most: more would not make its figures better than
/// the method is, and memory stays bounded.
const MAX_REPEATS: usize = 8;

/// The files of a series.
pub(super) struct SeriesFiles {
    /// In order of time.
    pub(super) list: Vec<Frame>,
    /// Exposure of each.
    pub(super) exposures: Vec<ExposureRecord>,
    /// Their steps.
    pub(super) series: StepSeries,
    /// Files that were skipped.
    pub(super) skipped: Vec<SkippedRecord>,
}

impl SeriesFiles {
    /// Finds the files of a job and the series in them.
    pub(super) fn find(job: &CompareJob) -> Result<SeriesFiles> {
        let found = image::find(&job.paths)?;
        let row = SkippedRecord::new;
        let mut skipped: Vec<SkippedRecord> =
            found.skipped.iter().map(|(p, reason)| row(path_text(p), reason)).collect();
        let headers: Vec<_> = found.items.par_iter().map(image::read_header).collect();
        let mut list: Vec<Frame> = Vec::with_capacity(headers.len());
        for (item, header) in found.items.iter().zip(headers) {
            match header {
                Ok(frame) => list.push(frame),
                Err(reason) => skipped.push(row(item.shown.clone(), &reason)),
            }
        }
        if list.is_empty() {
            return Err(Error::NoFrames { paths: job.paths.clone() });
        }
        image::sort_by_time(&mut list);
        let exposures: Vec<ExposureRecord> =
            list.iter().map(|f| exposure_record(f, &job.typed)).collect();
        alike(&list, &exposures).map_err(Error::Series)?;
        // What a file does not tell is asked for: a rig's one f-number would make one step of a
        // series.
        let told = |(frame, e): (&Frame, &ExposureRecord)| {
            frame.exposure.as_ref()?.f_number.as_ref()?;
            e.f_number
        };
        let marked: Vec<Option<f64>> = list.iter().zip(&exposures).map(told).collect();
        let f_numbers = series::f_numbers(&marked, &job.apertures)?;
        let mut series = series::series(&list, &f_numbers)?;
        for step in &mut series.steps {
            step.frames.truncate(MAX_REPEATS);
        }
        Ok(SeriesFiles { list, exposures, series, skipped })
    }

    /// Keeps the frames that were read in their steps, and the steps that have any.
    pub(super) fn keep_read(&mut self, read: &SeriesFrames, listener: &dyn Progress) -> Result<()> {
        let rows =
            read.bad.iter().map(|(i, why)| SkippedRecord::new(self.list[*i].shown.clone(), why));
        self.skipped.extend(rows);
        for step in &mut self.series.steps {
            step.frames.retain(|i| read.placed[*i].is_some());
        }
        self.series.steps.retain(|s| !s.frames.is_empty());
        if self.series.steps.len() >= 2 {
            return Ok(());
        }
        if listener.stopped() {
            return Err(Error::Stopped);
        }
        let left = read.placed.iter().flatten().count();
        let example = self.skipped.last().map_or_else(String::new, |s| s.path.clone());
        let frames = read.placed.len();
        Err(Error::Series(NotASeries::Subjects { left, frames, example }))
    }
}

/// Whether the frames are of one size, one body and one kind.
fn alike(list: &[Frame], exposures: &[ExposureRecord]) -> std::result::Result<(), NotASeries> {
    let (Some(first), Some(body)) = (list.first(), exposures.first()) else { return Ok(()) };
    for (frame, exposure) in list.iter().zip(exposures) {
        if (frame.kind == FileKind::Raw) != (first.kind == FileKind::Raw) {
            return Err(NotASeries::Kinds);
        }
        if let (Some(a), Some(b)) = (&body.body, &exposure.body)
            && a != b
        {
            return Err(NotASeries::Cameras { first: a.clone(), other: b.clone() });
        }
        let size = |f: &Frame| (f.width_px, f.height_px);
        if size(frame) != size(first) {
            let shown = |f: &Frame| format!("{} x {} px", f.width_px, f.height_px);
            return Err(NotASeries::Sizes { first: shown(first), other: shown(frame) });
        }
    }
    Ok(())
}
