//! A series of frames of one still subject: what each step shows and what it cost.
//!
//! Every frame is opened once and its pixels let go: only the region with a margin is kept. The
//! reference, the step with the least noise and the widest aperture, is opened first, since the
//! region is placed in it.

mod area;
pub mod attribution;
pub mod columns;
mod edge_chart;
mod edges;
pub mod findings;
mod ladder;
pub mod page;
pub mod record;
mod region;
mod sentences;
pub mod series;
mod series_files;
mod series_frames;
mod single_frame_noise;
mod steps;
pub mod terminal;
#[cfg(test)]
mod tests;

use std::path::PathBuf;

use crate::compare::record::{
    COMPARE_SCHEMA, ComparePictures, CompareRecord, EdgeAtRecord, RegionRecord,
};
use crate::core::path_text;
use crate::core::progress::Progress;
use crate::error::{Error, NotASeries, Result};
use crate::image::{FileKind, Orientation};
use crate::report::header::Header;
use crate::report::parts::FrameSource;
use crate::store::equipment;
use crate::store::overrides::UserOverrides;
use area::RegionArea;
pub use area::{RegionRequest, RelativeRect};
use region::MIN_REGION_PX;
use series_files::SeriesFiles;
use series_frames::{RegisteredFrame, SeriesFrames};
use steps::StepResults;

/// What is to be done with a series.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CompareJob {
    /// Files and folders.
    pub paths: Vec<PathBuf>,
    /// Middle of the region, fractions of the upright picture, and its size when given.
    pub region: RegionRequest,
    /// A straight edge to measure: middle and size, fractions of the upright picture.
    pub edge: Option<RelativeRect>,
    /// Marked f-numbers, for lenses that do not tell theirs.
    pub apertures: Vec<f64>,
    /// Depth on the subject that has to be sharp, mm.
    pub depth_mm: Option<f64>,
    /// Other values typed by the user.
    pub typed: UserOverrides,
    /// Whether pictures for a page are wanted.
    pub pictures: bool,
}

/// Works through a series. Returns the record and the pictures of its page.
///
/// # Errors
/// A path that does not exist, nothing to measure, or frames that make no series
/// ([`NotASeries`]).
pub fn compare(
    job: &CompareJob,
    listener: &dyn Progress,
) -> Result<(CompareRecord, ComparePictures)> {
    let mut files = SeriesFiles::find(job)?;
    let mut read = SeriesFrames::read(job, &files.list, &files.series, listener)?;
    files.keep_read(&read, listener)?;
    read.register_repeats(&files.series);
    let keep = read.unclipped();
    if !keep.iter().any(|k| *k) {
        return Err(Error::Series(NotASeries::NothingThere { least_px: MIN_REGION_PX }));
    }
    let reference = &files.list[read.reference_at];
    let exposure = &files.exposures[read.reference_at];
    let measured = steps::Measuring {
        job,
        list: &files.list,
        series: &files.series,
        placed: &read.placed,
        keep: &keep,
        raw: reference.kind == FileKind::Raw,
        pitch_um: exposure.pixel_pitch_um,
        magnification: exposure.magnification,
        working_per_marked: equipment::settings(reference, &job.typed)
            .optics
            .working_per_marked()
            .map(|m| m.value),
    };
    let result = measured.all();
    let noise_reduced = result.noise_reduced;
    let turn = reference.orientation();
    let crops = if job.pictures { measured.crops(turn) } else { Vec::new() };
    let mut record = record(job, &files, &read, result);
    record.findings = findings::all(&record, &files.series, job, noise_reduced);
    record.skipped = files.skipped;
    Ok((record, ComparePictures { crops }))
}

/// The record without its findings and without the files that were skipped.
fn record(
    job: &CompareJob,
    files: &SeriesFiles,
    read: &SeriesFrames,
    result: StepResults,
) -> CompareRecord {
    let frame = &files.list[read.reference_at];
    let exposure = &files.exposures[read.reference_at];
    let turn = frame.orientation();
    let r = read.reference.region;
    let (x, y, w, h) = upright(r, read.reference.size, turn);
    let (width_px, height_px) = turn.upright_size(r.w as u32, r.h as u32);
    let region = RegionRecord { x, y, w, h, width_px, height_px, given: job.region.is_some() };
    let edge = read.reference.edge.map(|(e, given)| {
        let (x, y, w, h) = upright(e, read.reference.size, turn);
        EdgeAtRecord { x, y, w, h, given }
    });
    let is_raw = frame.kind == FileKind::Raw;
    CompareRecord {
        header: Header::new(COMPARE_SCHEMA),
        paths: job.paths.iter().map(|p| path_text(p)).collect(),
        axis: files.series.axis,
        protocol: result.protocol,
        source: if is_raw { FrameSource::Raw } else { FrameSource::Rendered },
        body: exposure.body.clone(),
        rig: exposure.rig.clone(),
        magnification: exposure.magnification.map(|m| m.value),
        magnification_std_err: exposure.magnification.and_then(|m| m.std_err),
        pixel_pitch_um: exposure.pixel_pitch_um,
        region,
        edge,
        moved: read.moved(),
        best_step: result.best_step,
        best_aperture: result.best_aperture,
        best_for_depth: result.best_for_depth,
        steps: result.steps,
        attributions: result.attributions,
        findings: Vec::new(),
        refused: result.refused,
        skipped: Vec::new(),
    }
}

/// Middle and size of a box in the upright picture, fractions of it.
fn upright(area: RegionArea, size: (usize, usize), turn: Orientation) -> (f64, f64, f64, f64) {
    let size = (size.0 as f64, size.1 as f64);
    let x = (area.x0 as f64 + area.w as f64 / 2.0) / size.0;
    let y = (area.y0 as f64 + area.h as f64 / 2.0) / size.1;
    let (x, y) = turn.to_upright(x, y);
    let (w, h) = turn.upright_size(area.w as f64 / size.0, area.h as f64 / size.1);
    (x, y, w, h)
}
