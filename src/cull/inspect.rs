//! Everything measured on one frame.

pub mod page;

use std::path::PathBuf;
use std::slice::from_ref;

use super::decide;
use super::job::OutingJob;
use super::judge::judge_measured;
use super::measured_burst::LocatedBurst;
use super::measured_frame::{self, KeptPixels, Scout, Workspace};
use super::page_data::FramePictures;
use super::pictures;
use super::read_patches::{BurstPatches, PixelsAgain};
use super::record::{CULL_SCHEMA, InspectRecord};
use super::to_record::{self, FrameParts};
use crate::core::Measured;
use crate::error::{Error, Result, SkipReason};
use crate::image;
use crate::noise::spectrum::{RINGS, ring_cy_px};
use crate::report::header::Header;
use crate::report::parts::{NoiseAt, SpectrumPoint};
use crate::tracking::subject_hints::{SubjectHints, SubjectMark};

/// Longest side of the picture on the page, px.
const PICTURE_PX: usize = 1400;

/// Inspects the first frame of a job.
///
/// # Errors
/// A path that does not exist, or a frame that cannot be used.
pub fn inspect(job: &OutingJob) -> Result<(InspectRecord, FramePictures)> {
    let asked = job.paths.first().cloned().unwrap_or_else(|| PathBuf::from("."));
    let unusable = |reason: SkipReason| Error::Unusable { path: asked.clone(), reason };
    let found = image::find(&job.paths)?;
    let Some(item) = found.items.first() else {
        let reason = found.skipped.first().map(|s| s.1.clone());
        return Err(match reason {
            Some(reason) => unusable(reason),
            None => Error::NoFrames { paths: job.paths.clone() },
        });
    };
    let frame = image::read_header(item).map_err(unusable)?;
    let keep = KeptPixels {
        thumb_px: if job.pictures { PICTURE_PX } else { 0 },
        colour: true,
        mark: job.subject.map(|(x, y)| frame.orientation().to_file(x, y)),
    };
    let taken =
        measured_frame::take(&frame, keep, &Scout::default(), true, &mut Workspace::default())
            .map_err(unusable)?;
    let size = (taken.shot.width_px, taken.shot.height_px);
    let mark = keep.mark.map(|(x, y)| SubjectMark {
        frame: 0,
        x_px: x * size.0 as f64,
        y_px: y * size.1 as f64,
        box_px: job.box_px(frame.upright_size()),
    });
    let allowed = to_record::allowed(&frame, &job.typed);
    let shots = [&taken.shot];
    let hints = SubjectHints::from(mark);
    let located = LocatedBurst::find(&shots, &hints);
    let again = PixelsAgain { files: &[&frame], spools: &[], colour: true };
    let positions = &located.subject.positions;
    let patches = BurstPatches::read(from_ref(&taken), positions, job.pictures, &again);
    let read = located.measured(mark, &patches.subject);
    let mut judged = judge_measured(&shots, read, &hints, &[allowed.map(|a| a.attainable(&frame))]);
    decide::withhold_hits(&mut judged, &[to_record::made_small(&frame)]);
    let detail = patches.detail.first().and_then(Option::as_ref);
    let measured = detail.and_then(|patch| to_record::subject_detail(&taken.shot, patch));
    let parts = FrameParts {
        frame: &frame,
        taken: &taken,
        judged: &judged.frames[0],
        allowed,
        detail_bits_px: measured.as_ref().map(|m| m.0.bits_px),
        is_best: false,
    };
    let row = to_record::frame_row(parts, &judged, 1, &job.typed);
    let map = to_record::map_record(&judged.maps[0], &frame);
    let noise = taken
        .shot
        .rendered_noise
        .iter()
        .flat_map(|n| &n.levels)
        .map(|l| NoiseAt { level_dn: l.mean_dn, sigma_dn: l.sigma_dn });
    let spectrum = measured.as_ref().map_or_else(Vec::new, |(_, spectrum)| {
        let model = taken
            .shot
            .rendered_noise
            .as_ref()
            .and_then(|n| n.spectrum_at(row.subject_mean_dn.unwrap_or(128.0)));
        (1..RINGS)
            .filter_map(|ring| {
                let noise = model.as_ref()?.power[ring];
                Some(SpectrumPoint { cy_px: ring_cy_px(ring), power: spectrum.power[ring], noise })
            })
            .collect()
    });
    let resolved: Option<Measured> = measured.as_ref().and_then(|(d, _)| d.resolved_cy_px);
    let crop = patches.crop.first().and_then(Option::as_ref);
    let crop = crop.and_then(|patch| pictures::crop(patch, frame.orientation(), 1.0));
    let pictures =
        FramePictures { crop, crop_scale: 1.0, thumb: taken.thumb.clone(), map: Some(map.clone()) };
    let record = InspectRecord {
        header: Header::new(CULL_SCHEMA),
        frame: row,
        map,
        noise: noise.collect(),
        spectrum,
        resolved_cy_px: resolved,
    };
    Ok((record, pictures))
}
