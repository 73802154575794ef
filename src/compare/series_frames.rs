//! The frames of a series: each opened once, its region registered on the reference's.

use std::result::Result as StdResult;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::CompareJob;
use super::area::MARGIN_PX;
use super::record::MovedRecord;
use super::region::{self, MIN_REGION_PX, RegionCrop, RegionKeeps, RegionReference};
use super::series::{SeriesStep, StepSeries};
use crate::core::progress::{Progress, ProgressStep};
use crate::core::{Plane, Tone};
use crate::error::{Error, NotASeries, Result, SkipReason};
use crate::image::Frame;
use crate::noise::spectrum::{Spectrum, TILE_PX};
use crate::tracking::registration::{RegisteredMotion, STILL_PX, register, resampled};

/// Correlation of registered regions below which they show different things: f/22 at high
/// magnification and ISO against a sharp frame still gives 0.5.
const SAME_SUBJECT: f64 = 0.3;
/// Share of a tile's pixels that may be clipped in any frame.
const CLIPPED_SHARE: f64 = 0.005;
/// Raw samples above this share of saturation count as clipped.
const RAW_CLIPPED: f32 = 0.95;
/// Rendered samples outside this range count as clipped, DN.
const RENDERED_CLIPPED: (f32, f32) = (2.0, 251.0);

/// One frame, registered.
pub(super) struct RegisteredFrame {
    pub(super) look: RegionCrop,
    /// The region on the reference's grid, without margin.
    pub(super) plane: Plane,
    pub(super) motion: RegisteredMotion,
}

/// Everything that was read of a series.
pub(super) struct SeriesFrames {
    /// The frame that the others are registered on, and its place in the list.
    pub(super) reference: RegionReference,
    pub(super) reference_at: usize,
    /// By place in the list; frames that no step has are absent.
    pub(super) placed: Vec<Option<RegisteredFrame>>,
    /// Frames that could not be used, and why.
    pub(super) bad: Vec<(usize, SkipReason)>,
}

/// A series while its frames are read.
struct SeriesReader<'a> {
    job: &'a CompareJob,
    list: &'a [Frame],
    series: &'a StepSeries,
}

impl SeriesReader<'_> {
    /// The noise of each step's first frame on its own: all there is of a single frame, and what
    /// tells noise from false detail in frames that moved.
    fn keeps(&self, i: usize) -> RegionKeeps {
        let first = self.series.steps.iter().any(|s| s.frames.first() == Some(&i));
        RegionKeeps { noise: first, colour: first && self.job.pictures }
    }

    /// Frames in the order in which they are tried as the reference: least noise first, then the
    /// widest aperture, which shows most to register by, and where focus is.
    fn by_noise(&self) -> Vec<usize> {
        let mut order: Vec<&SeriesStep> = self.series.steps.iter().collect();
        order.sort_by(|a, b| {
            let key = |s: &SeriesStep| (s.setting.iso.unwrap_or(0), s.setting.f_number);
            let (x, y) = (key(a), key(b));
            x.0.cmp(&y.0).then(x.1.total_cmp(&y.1))
        });
        order.iter().flat_map(|s| s.frames.iter().copied()).collect()
    }

    /// The reference with its place in the list; frames that cannot be read go to `bad`.
    fn reference(&self, bad: &mut Vec<(usize, SkipReason)>) -> Result<(usize, RegionReference)> {
        let job = self.job;
        for i in self.by_noise() {
            let turn = self.list[i].orientation();
            let wanted = job.region.map(|((x, y), size)| {
                (turn.to_file(x, y), size.map(|(w, h)| turn.upright_size(w, h)))
            });
            let edge =
                job.edge.map(|((x, y), (w, h))| (turn.to_file(x, y), turn.upright_size(w, h)));
            match region::reference(&self.list[i], wanted, edge, self.keeps(i)) {
                Ok(Some(reference)) => return Ok((i, reference)),
                Ok(None) => {
                    let least_px = MIN_REGION_PX;
                    return Err(Error::Series(NotASeries::NothingThere { least_px }));
                }
                Err(reason) => bad.push((i, reason)),
            }
        }
        Err(match bad.first() {
            Some((i, reason)) => {
                Error::Unusable { path: self.list[*i].path.clone(), reason: reason.clone() }
            }
            None => Error::NoFrames { paths: job.paths.clone() },
        })
    }
}

impl SeriesFrames {
    /// Reads the frames of a series, the reference first.
    pub(super) fn read(
        job: &CompareJob,
        list: &[Frame],
        series: &StepSeries,
        listener: &dyn Progress,
    ) -> Result<SeriesFrames> {
        let reader = SeriesReader { job, list, series };
        let mut bad: Vec<(usize, SkipReason)> = Vec::new();
        let (reference_at, reference) = reader.reference(&mut bad)?;
        let total: usize = series.steps.iter().map(|s| s.frames.len()).sum();
        let done = AtomicUsize::new(1);
        listener.progress(ProgressStep { done: 1, total });
        let others: Vec<usize> = series
            .steps
            .iter()
            .flat_map(|s| s.frames.iter().copied())
            .filter(|i| *i != reference_at && bad.iter().all(|b| b.0 != *i))
            .collect();
        let looked: Vec<(usize, StdResult<RegisteredFrame, SkipReason>)> = others
            .par_iter()
            .filter(|_| !listener.stopped())
            .map(|i| {
                let placed = region::look(&list[*i], &reference, reader.keeps(*i))
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
        Ok(SeriesFrames { reference, reference_at, placed, bad })
    }

    /// Registers the repeats of each step on its first frame: of one blur and one noise, they are
    /// more alike than any is to the reference.
    pub(super) fn register_repeats(&mut self, series: &StepSeries) {
        for step in &series.steps {
            let Some((first, repeats)) = step.frames.split_first() else { continue };
            let Some(plane) = self.placed[*first].as_ref().map(|p| p.plane.clone()) else {
                continue;
            };
            let updates: Vec<(usize, RegisteredFrame)> = repeats
                .par_iter()
                .filter_map(|i| {
                    let own = self.placed[*i].as_ref()?;
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
                    (far > 0.5 * STILL_PX && far < 1.0).then(|| {
                        let plane = resampled(&own.look.plane, &motion, MARGIN_PX);
                        (*i, RegisteredFrame { look: own.look.clone(), plane, motion })
                    })
                })
                .collect();
            for (i, update) in updates {
                self.placed[i] = Some(update);
            }
        }
    }

    /// Which tiles of the region are clipped in no frame.
    pub(super) fn unclipped(&self) -> Vec<bool> {
        let (w, h) = (self.reference.region.w, self.reference.region.h);
        let corners = Spectrum::tile_corners(w, h);
        let mut keep = vec![true; corners.len()];
        for plane in self.placed.iter().flatten().map(|p| &p.plane) {
            let (low, high) = match plane.tone {
                Tone::Linear => (f32::NEG_INFINITY, RAW_CLIPPED),
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

    /// How far the frames moved against the reference, at most.
    pub(super) fn moved(&self) -> MovedRecord {
        let mut moved = MovedRecord { shift_px: 0.0, turn_deg: 0.0, scale: 0.0 };
        // The reference is among them: where the others were cut counts as their movement, too.
        let at = self
            .placed
            .iter()
            .flatten()
            .find(|p| p.motion == RegisteredMotion::NONE)
            .map(|p| p.look.cut_at);
        for p in self.placed.iter().flatten() {
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
}

/// Registers a frame's region on the reference's.
fn place(
    look: RegionCrop,
    reference: &RegionReference,
    name: &str,
) -> StdResult<RegisteredFrame, SkipReason> {
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
