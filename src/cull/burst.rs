//! One burst: what is read from its pixels, and from that its record and its page.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::burst_verdict::BurstVerdict;
use super::decide;
use super::explain;
use super::grouping::FrameGroup;
use super::job::OutingJob;
use super::judge::judge_measured;
use super::measured_burst::{LocatedBurst, MeasuredBurst};
use super::measured_frame::MeasuredFrame;
use super::page_data::{BurstPage, FramePictures};
use super::pictures;
use super::read_patches::{BurstPatches, PixelsAgain};
use super::record::{BurstRecord, BurstSubject, FrameRecord, OtherSubject};
use super::to_record::{self, FrameParts, SettingsBlur};
use crate::core::Measured;
use crate::core::stats::median;
use crate::image::{Frame, Picture};
use crate::tracking::frame_features::{FrameFeatures, Patch};
use crate::tracking::subject_hints::{SubjectHints, SubjectMark, SubjectSpot};

/// A mark in frame `frame` of a burst: from fractions of the upright picture to px of the file.
pub fn mark(job: &OutingJob, file: &Frame, frame: usize, (x, y): (f64, f64)) -> SubjectMark {
    let (fx, fy) = file.orientation().to_file(x, y);
    SubjectMark {
        frame,
        x_px: fx * f64::from(file.width_px),
        y_px: fy * f64::from(file.height_px),
        box_px: job.box_px(file.upright_size()),
    }
}

/// The place of the subject that the camera recorded in one file, px of the file.
pub fn recorded_spot(file: &Frame) -> Option<(f64, f64)> {
    let (x, y) = file.exposure.as_ref()?.subject_at.as_ref()?.value;
    Some((x * f64::from(file.width_px), y * f64::from(file.height_px)))
}

/// What is known of a burst's subject: its mark and what the cameras recorded.
pub fn hints(files: &[&Frame], mark: Option<SubjectMark>) -> SubjectHints {
    let recorded = files.iter().enumerate().find_map(|(frame, file)| {
        let (x_px, y_px) = recorded_spot(file)?;
        Some(SubjectSpot { frame, x_px, y_px })
    });
    SubjectHints { mark, recorded }
}

/// All that is read from the pixels of a burst beside what each frame tells by itself.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BurstReadings {
    /// What was measured.
    measured: MeasuredBurst,
    /// Detail at the subject in each frame, bits per pixel.
    detail_bits_px: Vec<Option<Measured>>,
    /// The subject in each frame; nowhere, unless pictures were wanted.
    crops: Vec<Option<Picture>>,
}

impl BurstReadings {
    /// Reads a burst, from what was measured on its frames, in order of time; pixels that are not
    /// at hand come from `again`.
    pub fn read(
        with_pictures: bool,
        taken: &[MeasuredFrame],
        hints: &SubjectHints,
        again: &PixelsAgain<'_>,
    ) -> BurstReadings {
        let shots: Vec<&FrameFeatures> = taken.iter().map(|t| &t.shot).collect();
        let located = LocatedBurst::find(&shots, hints);
        let patches = BurstPatches::read(taken, &located.subject.positions, with_pictures, again);
        let measured = located.measured(hints.mark, &patches.subject);
        let detail_of = |(shot, patch): (&&FrameFeatures, &Option<Patch>)| {
            Some(to_record::subject_detail(shot, patch.as_ref()?)?.0.bits_px)
        };
        let detail_bits_px = shots.par_iter().zip(&patches.detail).map(detail_of).collect();
        let mean = |i: usize| measured.subjects.boxes[i].as_ref().map(|s| s.mean_dn);
        let middle = median(&mut (0..taken.len()).filter_map(mean).collect::<Vec<f64>>());
        let crop = |(i, patch): (usize, &Option<Patch>)| {
            let gain = middle.zip(mean(i)).map_or(1.0, |(m, own)| m / own.max(1.0));
            pictures::crop(patch.as_ref()?, again.files[i].orientation(), gain)
        };
        let crops = patches.crop.par_iter().enumerate().map(crop).collect();
        BurstReadings { measured, detail_bits_px, crops }
    }

    /// Whether there is something of each of `frames` frames.
    pub fn is_of(&self, frames: usize) -> bool {
        self.measured.is_of(frames) && [self.detail_bits_px.len(), self.crops.len()] == [frames; 2]
    }
}

/// Judges a burst that was read, and turns it into its record and its page. No pixels are read:
/// `taken` may have been kept and `readings` too.
pub fn page(
    job: &OutingJob,
    files: &[&Frame],
    taken: &[MeasuredFrame],
    readings: BurstReadings,
    hints: &SubjectHints,
    group: &FrameGroup,
    id: u32,
) -> (BurstPage, BurstVerdict) {
    let BurstReadings { measured, detail_bits_px, crops } = readings;
    let allowed: Vec<Option<SettingsBlur>> =
        files.iter().map(|f| to_record::allowed(f, &job.typed)).collect();
    let attainable: Vec<_> =
        allowed.iter().zip(files).map(|(a, f)| a.map(|a| a.attainable(f))).collect();
    let shots: Vec<&FrameFeatures> = taken.iter().map(|t| &t.shot).collect();
    let mut judged = judge_measured(&shots, measured, hints, &attainable);
    let small: Vec<bool> = files.iter().map(|f| to_record::made_small(f)).collect();
    decide::withhold_hits(&mut judged, &small);
    let rows: Vec<FrameRecord> = (0..files.len())
        .into_par_iter()
        .map(|i| {
            let parts = FrameParts {
                frame: files[i],
                taken: &taken[i],
                judged: &judged.frames[i],
                allowed: allowed[i],
                detail_bits_px: detail_bits_px[i],
                is_best: judged.best == Some(i),
            };
            to_record::frame_row(parts, &judged, id, &job.typed)
        })
        .collect();
    let pictures: Vec<FramePictures> = if job.pictures {
        let of = |(i, crop): (usize, Option<Picture>)| FramePictures {
            crop,
            crop_scale: 1.0,
            thumb: taken[i].thumb.clone(),
            map: Some(to_record::map_record(&judged.maps[i], files[i])),
        };
        crops.into_par_iter().enumerate().map(of).collect()
    } else {
        vec![FramePictures::NONE; files.len()]
    };
    let other = judged.other.map(|spot| {
        let file = files[spot.frame];
        let (w, h) = (f64::from(file.width_px), f64::from(file.height_px));
        let (x, y) = file.orientation().to_upright(spot.x_px / w, spot.y_px / h);
        OtherSubject { best: file.shown.clone(), x, y }
    });
    let findings = explain::burst_findings(&judged, &rows, group, other.as_ref());
    let burst = BurstRecord {
        id,
        frames: files.iter().map(|f| f.shown.clone()).collect(),
        best: judged.best.map(|b| files[b].shown.clone()),
        other,
        subject: BurstSubject { found: judged.found, confidence: None },
        split_reason: group.split_reason.words(group.timed).to_owned(),
        duration_s: explain::duration_s(files),
        findings,
    };
    (BurstPage { burst, frames: rows.into_iter().zip(pictures).collect() }, judged)
}
