//! One burst whose frames were measured: judged, and turned into its record and its page.

use rayon::prelude::*;

use super::burst_verdict::BurstVerdict;
use super::decide;
use super::explain;
use super::grouping::FrameGroup;
use super::judge::judge;
use super::measured_frame::MeasuredFrame;
use super::outing::OutingJob;
use super::page_data::{BurstPage, FramePictures};
use super::pictures;
use super::record::{BurstRecord, BurstSubject, FrameRecord, OtherSubject};
use super::subject_boxes::Fetch;
use super::to_record::{self, DETAIL_PX, FrameParts, SettingsBlur};
use crate::image::{CROP_PX, Frame};
use crate::tracking::frame_features::{FrameFeatures, patch_corner};
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

/// What is known of a burst's subject: its mark and what the cameras recorded.
pub fn hints(files: &[&Frame], mark: Option<SubjectMark>) -> SubjectHints {
    let recorded = files.iter().enumerate().find_map(|(frame, file)| {
        let (x, y) = file.exposure.as_ref()?.subject_at.as_ref()?.value;
        let (x_px, y_px) = (x * f64::from(file.width_px), y * f64::from(file.height_px));
        Some(SubjectSpot { frame, x_px, y_px })
    });
    SubjectHints { mark, recorded }
}

/// Judges a burst, from what was measured on its frames, in order of time.
///
/// `read` gives pixels that are not at hand: frame, left, top, side; they are kept.
pub fn page(
    job: &OutingJob,
    files: &[&Frame],
    taken: &[MeasuredFrame],
    hints: SubjectHints,
    read: &Fetch<'_>,
    group: &FrameGroup,
    id: u32,
) -> (BurstPage, BurstVerdict) {
    let allowed: Vec<Option<SettingsBlur>> =
        files.iter().map(|f| to_record::allowed(f, &job.typed)).collect();
    let attainable: Vec<_> =
        allowed.iter().zip(files).map(|(a, f)| a.map(|a| a.attainable(f))).collect();
    let fetch = |i: usize, x0: usize, y0: usize, side: usize| {
        taken[i].at_hand(x0, y0, side).or_else(|| {
            taken[i].put(read(i, x0, y0, side)?);
            taken[i].at_hand(x0, y0, side)
        })
    };
    let shots: Vec<&FrameFeatures> = taken.iter().map(|t| &t.shot).collect();
    let mut judged = judge(&shots, hints, &attainable, &fetch);
    let small: Vec<bool> = files.iter().map(|f| to_record::made_small(f)).collect();
    decide::withhold_hits(&mut judged, &small);
    let rows: Vec<FrameRecord> = (0..files.len())
        .into_par_iter()
        .map(|i| {
            let place = judged.frames[i].place.map(|p| (p.x_px, p.y_px));
            // Which surroundings are at hand hangs on which frame was read first: what the
            // record or the page shows is made sure of.
            for side in [DETAIL_PX, CROP_PX] {
                if let Some((x, y)) = place {
                    let size = (taken[i].shot.width_px, taken[i].shot.height_px);
                    let (x0, y0) = patch_corner(x, y, side, size);
                    let _ = fetch(i, x0, y0, side);
                }
            }
            let detail = place.and_then(|p| to_record::subject_detail(&taken[i], p)).map(|d| d.0);
            let parts = FrameParts {
                frame: files[i],
                taken: &taken[i],
                judged: &judged.frames[i],
                allowed: allowed[i],
                detail,
                is_best: judged.best == Some(i),
            };
            to_record::frame_row(parts, &judged, id, &job.typed)
        })
        .collect();
    let pictures: Vec<FramePictures> = if job.pictures {
        (0..files.len())
            .into_par_iter()
            .map(|i| frame_pictures(files[i], &taken[i], &judged, i))
            .collect()
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
        cut_by: group.cut_by.words(group.timed).to_owned(),
        lasts_s: explain::lasts_s(files),
        findings,
    };
    (BurstPage { burst, frames: rows.into_iter().zip(pictures).collect() }, judged)
}

fn frame_pictures(
    file: &Frame,
    taken: &MeasuredFrame,
    judged: &BurstVerdict,
    i: usize,
) -> FramePictures {
    let size = (taken.shot.width_px, taken.shot.height_px);
    let mut means: Vec<f64> =
        judged.frames.iter().filter_map(|f| Some(f.subject.as_ref()?.mean_dn)).collect();
    let middle = crate::core::stats::median(&mut means);
    let crop = judged.frames[i].place.and_then(|p| {
        let (x0, y0) = patch_corner(p.x_px, p.y_px, CROP_PX, size);
        let patch = taken.at_hand(x0, y0, CROP_PX)?;
        let own = judged.frames[i].subject.as_ref().map(|s| s.mean_dn.max(1.0));
        let gain = middle.zip(own).map_or(1.0, |(m, o)| m / o);
        pictures::crop(&patch, file.orientation(), gain)
    });
    FramePictures {
        crop,
        crop_scale: 1.0,
        thumb: taken.thumb.clone(),
        map: Some(to_record::map_record(&judged.maps[i], file)),
    }
}
