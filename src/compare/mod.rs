//! A series of frames of one still subject: what each step shows and what it cost.
//!
//! Every frame is read once and its pixels let go: only the region with a margin is kept. The
//! reference, the step with the least noise and the widest aperture, is read first, since the
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
mod single_frame_noise;
mod steps;
pub mod terminal;

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::compare::record::{
    COMPARE_SCHEMA, ComparePictures, CompareRecord, EdgeAtRecord, MovedRecord, RegionRecord,
};
use crate::compare::series::StepSeries;
use crate::core::progress::{Progress, ProgressStep};
use crate::core::{Plane, path_text};
use crate::error::{Error, NotASeries, Result, SkipReason};
use crate::image::{self, FileKind, Frame};
use crate::noise::spectrum::{Spectrum, TILE_PX};
use crate::report::header::Header;
use crate::report::parts::{ExposureRecord, FrameSource, SkippedRecord};
use crate::store::equipment;
use crate::store::exposure_record::exposure_record;
use crate::store::overrides::UserOverrides;
use crate::tracking::registration::{RegisteredMotion, register, resampled};
use area::MARGIN_PX;
pub use area::{RegionRequest, RelativeRect};
use region::{MIN_REGION_PX, RegionCrop, RegionKeeps, RegionReference};

/// Frames of one step that are measured, at most: more would not make its figures better than
/// the method is, and memory stays bounded.
const MAX_REPEATS: usize = 8;
/// Correlation of registered regions below which they show different things: f/22 at high
/// magnification and ISO against a sharp frame still gives 0.5.
const SAME_SUBJECT: f64 = 0.3;
/// Share of a tile's pixels that may be clipped in any frame.
const CLIPPED_SHARE: f64 = 0.005;
/// Raw samples above this share of saturation count as clipped.
const RAW_CLIPPED: f32 = 0.95;
/// Rendered samples outside this range count as clipped, DN.
const RENDERED_CLIPPED: (f32, f32) = (2.0, 251.0);

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

/// One frame, registered.
struct RegisteredFrame {
    look: RegionCrop,
    /// The region on the reference's grid, without margin.
    plane: Plane,
    motion: RegisteredMotion,
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
    // What a file does not tell is asked for: a rig's one f-number would make one step of a series.
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

    let read = read(job, &list, &series, listener)?;
    skipped.extend(read.bad.iter().map(|(i, reason)| row(list[*i].shown.clone(), reason)));
    let (reference, reference_at) = (read.reference, read.reference_at);
    let mut placed = read.placed;
    let total = placed.len();
    for step in &mut series.steps {
        step.frames.retain(|i| placed[*i].is_some());
    }
    series.steps.retain(|s| !s.frames.is_empty());
    if series.steps.len() < 2 {
        if listener.stopped() {
            return Err(Error::Stopped);
        }
        let left = placed.iter().flatten().count();
        let example = skipped.last().map_or_else(String::new, |s| s.path.clone());
        return Err(Error::Series(NotASeries::Subjects { left, frames: total, example }));
    }
    repeats_registered(&series, &mut placed);
    let keep = unclipped(&placed, &reference);
    if !keep.iter().any(|k| *k) {
        return Err(Error::Series(NotASeries::NothingThere { least_px: MIN_REGION_PX }));
    }
    let raw = list[reference_at].kind == FileKind::Raw;
    let exposure = &exposures[reference_at];
    let size = (reference.size.0 as f64, reference.size.1 as f64);
    let r = reference.region;
    let turn = list[reference_at].orientation();
    let middle =
        ((r.x0 as f64 + r.w as f64 / 2.0) / size.0, (r.y0 as f64 + r.h as f64 / 2.0) / size.1);
    let (x, y) = turn.to_upright(middle.0, middle.1);
    let (w, h) = turn.upright_size(r.w as f64 / size.0, r.h as f64 / size.1);
    let (width_px, height_px) = turn.upright_size(r.w as u32, r.h as u32);
    let region = RegionRecord { x, y, w, h, width_px, height_px, given: job.region.is_some() };
    let edge = reference.edge.map(|(e, given)| {
        let middle =
            ((e.x0 as f64 + e.w as f64 / 2.0) / size.0, (e.y0 as f64 + e.h as f64 / 2.0) / size.1);
        let (x, y) = turn.to_upright(middle.0, middle.1);
        let (w, h) = turn.upright_size(e.w as f64 / size.0, e.h as f64 / size.1);
        EdgeAtRecord { x, y, w, h, given }
    });
    let moved = moved(&placed);
    let measured = steps::Measuring {
        job,
        list: &list,
        series: &series,
        placed: &placed,
        keep: &keep,
        raw,
        pitch_um: exposure.pixel_pitch_um,
        magnification: exposure.magnification,
        working_per_marked: equipment::settings(&list[reference_at], &job.typed)
            .optics
            .working_per_marked()
            .map(|m| m.value),
    };
    let result = measured.all();
    let mut record = CompareRecord {
        header: Header::new(COMPARE_SCHEMA),
        paths: job.paths.iter().map(|p| path_text(p)).collect(),
        axis: series.axis,
        protocol: result.protocol,
        source: if raw { FrameSource::Raw } else { FrameSource::Rendered },
        body: exposure.body.clone(),
        rig: exposure.rig.clone(),
        magnification: exposure.magnification.map(|m| m.value),
        magnification_std_err: exposure.magnification.and_then(|m| m.std_err),
        pixel_pitch_um: exposure.pixel_pitch_um,
        region,
        edge,
        moved,
        best_step: result.best_step,
        best_aperture: result.best_aperture,
        best_for_depth: result.best_for_depth,
        steps: result.steps,
        attributions: result.attributions,
        findings: Vec::new(),
        refused: result.refused,
        skipped,
    };
    record.findings = findings::all(&record, &series, job, result.noise_reduced);
    let crops = if job.pictures { measured.crops(turn) } else { Vec::new() };
    Ok((record, ComparePictures { crops }))
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

/// Everything read.
struct Read {
    reference: RegionReference,
    reference_at: usize,
    placed: Vec<Option<RegisteredFrame>>,
    bad: Vec<(usize, SkipReason)>,
}

fn read(
    job: &CompareJob,
    list: &[Frame],
    series: &StepSeries,
    listener: &dyn Progress,
) -> Result<Read> {
    // Least noise first, then the widest aperture: it shows most to register by, and where focus
    // is.
    let mut order: Vec<&series::SeriesStep> = series.steps.iter().collect();
    order.sort_by(|a, b| {
        let key = |s: &series::SeriesStep| (s.setting.iso.unwrap_or(0), s.setting.f_number);
        let (x, y) = (key(a), key(b));
        x.0.cmp(&y.0).then(x.1.total_cmp(&y.1))
    });
    // The noise of each step's first frame on its own: all there is of a single frame, and what
    // tells noise from false detail in frames that moved.
    let keeps = |i: usize| {
        let first = series.steps.iter().any(|s| s.frames.first() == Some(&i));
        RegionKeeps { noise: first, colour: first && job.pictures }
    };
    let total: usize = series.steps.iter().map(|s| s.frames.len()).sum();
    let mut bad: Vec<(usize, SkipReason)> = Vec::new();
    let mut first: Option<(usize, RegionReference)> = None;
    for i in order.iter().flat_map(|s| s.frames.iter().copied()) {
        let turn = list[i].orientation();
        let wanted = job
            .region
            .map(|((x, y), size)| (turn.to_file(x, y), size.map(|(w, h)| turn.upright_size(w, h))));
        let edge = job.edge.map(|((x, y), (w, h))| (turn.to_file(x, y), turn.upright_size(w, h)));
        match region::reference(&list[i], wanted, edge, keeps(i)) {
            Ok(Some(reference)) => {
                first = Some((i, reference));
                break;
            }
            Ok(None) => {
                let least_px = MIN_REGION_PX;
                return Err(Error::Series(NotASeries::NothingThere { least_px }));
            }
            Err(reason) => bad.push((i, reason)),
        }
    }
    let Some((reference_at, reference)) = first else {
        return Err(match bad.into_iter().next() {
            Some((i, reason)) => Error::Unusable { path: list[i].path.clone(), reason },
            None => Error::NoFrames { paths: job.paths.clone() },
        });
    };
    let done = AtomicUsize::new(1);
    listener.progress(ProgressStep { done: 1, total });
    let others: Vec<usize> = series
        .steps
        .iter()
        .flat_map(|s| s.frames.iter().copied())
        .filter(|i| *i != reference_at && bad.iter().all(|b| b.0 != *i))
        .collect();
    let looked: Vec<(usize, std::result::Result<RegisteredFrame, SkipReason>)> = others
        .par_iter()
        .filter(|_| !listener.stopped())
        .map(|i| {
            let placed = region::look(&list[*i], &reference, keeps(*i))
                .and_then(|look| place(look, &reference, &list[reference_at].shown));
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            listener.progress(ProgressStep { done, total });
            (*i, placed)
        })
        .collect();
    let mut placed: Vec<Option<RegisteredFrame>> = list.iter().map(|_| None).collect();
    for (i, result) in looked {
        match result {
            Ok(p) => placed[i] = Some(p),
            Err(reason) => bad.push((i, reason)),
        }
    }
    let own = reference.look.clone();
    let plane = resampled(&own.plane, &RegisteredMotion::NONE, MARGIN_PX);
    placed[reference_at] =
        Some(RegisteredFrame { look: own, plane, motion: RegisteredMotion::NONE });
    Ok(Read { reference, reference_at, placed, bad })
}

/// Registers a frame's region on the reference's.
fn place(
    look: RegionCrop,
    reference: &RegionReference,
    name: &str,
) -> std::result::Result<RegisteredFrame, SkipReason> {
    let other = || SkipReason::OtherSubject(name.to_owned());
    let found = register(&reference.look.plane, &look.plane)
        .filter(|r| r.correlation >= SAME_SUBJECT)
        .ok_or_else(other)?;
    // The taps of the resampling must not reach beyond the margin.
    if found.motion.most_px(reference.region.w, reference.region.h) > MARGIN_PX as f64 - 10.0 {
        return Err(SkipReason::MovedAway);
    }
    let plane = resampled(&look.plane, &found.motion, MARGIN_PX);
    Ok(RegisteredFrame { look, plane, motion: found.motion })
}

/// Registers the repeats of each step on its first frame: of one blur and one noise, they are
/// more alike than any is to the reference.
fn repeats_registered(series: &StepSeries, placed: &mut [Option<RegisteredFrame>]) {
    for step in &series.steps {
        let Some((first, repeats)) = step.frames.split_first() else { continue };
        let Some(plane) = placed[*first].as_ref().map(|p| p.plane.clone()) else { continue };
        let updates: Vec<(usize, RegisteredFrame)> = repeats
            .par_iter()
            .filter_map(|i| {
                let own = placed[*i].as_ref()?;
                let left = register(&plane, &own.plane)?.motion;
                let m = own.motion;
                // Both are small: they add.
                let motion = RegisteredMotion {
                    dx_px: m.dx_px + left.dx_px,
                    dy_px: m.dy_px + left.dy_px,
                    turn_rad: m.turn_rad + left.turn_rad,
                    scale: m.scale * left.scale,
                };
                let far = left.most_px(plane.width_px, plane.height_px);
                (far > 0.5 * crate::tracking::registration::STILL_PX && far < 1.0).then(|| {
                    let plane = resampled(&own.look.plane, &motion, MARGIN_PX);
                    (*i, RegisteredFrame { look: own.look.clone(), plane, motion })
                })
            })
            .collect();
        for (i, update) in updates {
            placed[i] = Some(update);
        }
    }
}

/// Which tiles of the region are clipped in no frame.
fn unclipped(placed: &[Option<RegisteredFrame>], reference: &RegionReference) -> Vec<bool> {
    let (w, h) = (reference.region.w, reference.region.h);
    let corners = Spectrum::tile_corners(w, h);
    let mut keep = vec![true; corners.len()];
    for plane in placed.iter().flatten().map(|p| &p.plane) {
        let (low, high) = match plane.tone {
            crate::core::Tone::Linear => (f32::NEG_INFINITY, RAW_CLIPPED),
            _ => RENDERED_CLIPPED,
        };
        for ((x0, y0), keep) in corners.iter().zip(&mut keep) {
            let clipped: usize = (*y0..y0 + TILE_PX)
                .map(|y| {
                    let row = &plane.row(y)[*x0..x0 + TILE_PX];
                    row.iter().filter(|v| **v < low || **v > high).count()
                })
                .sum();
            *keep &= clipped as f64 <= CLIPPED_SHARE * (TILE_PX * TILE_PX) as f64;
        }
    }
    keep
}

fn moved(placed: &[Option<RegisteredFrame>]) -> MovedRecord {
    let mut moved = MovedRecord { shift_px: 0.0, turn_deg: 0.0, scale: 0.0 };
    // The reference is among them: where the others were cut counts as their movement, too.
    let at =
        placed.iter().flatten().find(|p| p.motion == RegisteredMotion::NONE).map(|p| p.look.cut_at);
    for p in placed.iter().flatten() {
        let cut = at.map_or((0.0, 0.0), |(x, y)| {
            (p.look.cut_at.0 as f64 - x as f64, p.look.cut_at.1 as f64 - y as f64)
        });
        let shift = (p.motion.dx_px + cut.0).hypot(p.motion.dy_px + cut.1);
        moved.shift_px = moved.shift_px.max(shift);
        moved.turn_deg = moved.turn_deg.max(p.motion.turn_rad.to_degrees().abs());
        moved.scale = moved.scale.max((p.motion.scale - 1.0).abs());
    }
    moved
}
