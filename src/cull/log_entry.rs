//! From the record of a run to what the log keeps of its frames.

use rayon::prelude::*;

use super::record::{CullRecord, FrameRecord};
use crate::core::path_text;
use crate::report::value::WithError;
use crate::store::hash::Content;
use crate::store::log::{LoggedFrame, NewOuting, OutingKind, outing_title};

/// An outing for the log. Frames whose file is gone since it was measured are left out.
pub fn outing(record: &CullRecord, kind: OutingKind, subject: Option<String>) -> NewOuting {
    let frames: Vec<LoggedFrame> = record
        .frames
        .par_iter()
        .filter_map(|f| Some(logged_frame(f, Content::of_file(&f.file).ok()?.0.hex())))
        .collect();
    NewOuting {
        kind,
        title: outing_title(&record.outing.paths),
        program_version: record.header.version.to_string(),
        subject,
        frames,
    }
}

fn logged_frame(f: &FrameRecord, content_id: String) -> LoggedFrame {
    let e = &f.exposure;
    let whole = std::path::absolute(&f.file).unwrap_or_else(|_| f.file.clone());
    LoggedFrame {
        path: path_text(&whole),
        content_id,
        taken_at: e.taken_at.clone(),
        source: f.source.word().to_owned(),
        width_px: f.width_px,
        height_px: f.height_px,
        burst: f.burst,
        marked_f_number: e.f_number,
        working_f_number: e.working_f_number.map(|m| m.value),
        shutter_s: e.shutter_s,
        iso: e.iso,
        flash_fired: e.flash_fired,
        focal_mm: e.focal_mm,
        body: e.body.clone(),
        lens: e.lens.clone(),
        rig: e.rig.clone(),
        magnification: e.magnification.map(WithError::from),
        pixel_pitch_um: e.pixel_pitch_um,
        verdict: f.verdict.word().to_owned(),
        causes: f.causes.iter().map(|c| c.cause.word()).collect::<Vec<_>>().join(" "),
        cause_share: f.causes.first().and_then(|c| c.share),
        blur_sigma_px: f.blur_sigma_px.map(WithError::from),
        attainable_blur_px: f.attainable_blur_px,
        blur_ratio: f.blur_ratio.map(WithError::from),
        detail_bits_px: f.detail_bits_px.map(WithError::from),
        noise_sigma_dn: f.noise_sigma_dn.map(WithError::from),
        motion_length_px: f
            .motion
            .map(|m| WithError { value: m.length_px, std_err: m.length_std_err_px }),
        subject_mean_dn: f.subject_mean_dn,
        flags: f.flags.iter().map(|x| x.key()).collect::<Vec<_>>().join(" "),
    }
}
