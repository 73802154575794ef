//! From the record of `clip` to what the log keeps of its frames.

use rayon::prelude::*;

use super::record::{ClipFrameRow, ClipRecord, ClipsRecord};
use crate::core::path_text;
use crate::report::parts::FrameSource;
use crate::report::value::WithError;
use crate::store::hash::Content;
use crate::store::log::{LoggedFrame, NewOuting, OutingKind, outing_title};

/// Frames of clips for the log, one every half second: of frames that follow each other closely
/// the hand is the same, and counting each would make a limit look surer than it is.
const CLIP_EVERY_S: f64 = 0.5;

/// Clips for the log, each as a burst. Clips that are gone since they were measured are left out.
pub fn outing(record: &ClipsRecord) -> NewOuting {
    let frames = record.clips.par_iter().enumerate().flat_map(|(i, clip)| {
        let id = Content::of_file(&clip.source).ok().map(|(content, _)| content.hex());
        let burst = i as u32 + 1;
        id.map_or_else(Vec::new, |id| {
            apart(clip).into_iter().map(|f| clip_frame(clip, f, burst, &id)).collect()
        })
    });
    let paths: Vec<String> = record.clips.iter().map(|c| c.path.clone()).collect();
    NewOuting {
        kind: OutingKind::Clip,
        title: outing_title(&paths),
        program_version: record.header.version.to_string(),
        subject: None,
        frames: frames.collect(),
    }
}

/// The first frame of every half second.
fn apart(clip: &ClipRecord) -> Vec<&ClipFrameRow> {
    let mut last = None;
    let first_of = |f: &&ClipFrameRow| {
        let part = (f.t_s / CLIP_EVERY_S).floor() as i64;
        last.replace(part) != Some(part)
    };
    clip.frames_table.iter().filter(first_of).collect()
}

fn clip_frame(clip: &ClipRecord, f: &ClipFrameRow, burst: u32, clip_id: &str) -> LoggedFrame {
    let s = &clip.settings;
    let whole = std::path::absolute(&clip.source).unwrap_or_else(|_| clip.source.clone());
    let plain = |value: f64| WithError { value, std_err: None };
    // Frames of one file are told apart by their number.
    let id = blake3::hash(format!("{clip_id} frame {}", f.frame).as_bytes());
    LoggedFrame {
        path: path_text(&whole),
        content_id: id.to_hex().to_string(),
        taken_at: clip.taken_at.clone(),
        source: FrameSource::Rendered.word().to_owned(),
        width_px: clip.width_px,
        height_px: clip.height_px,
        burst,
        marked_f_number: s.marked_f_number,
        working_f_number: s.working_f_number,
        shutter_s: s.shutter_s,
        body: clip.camera.clone(),
        rig: s.rig.clone(),
        magnification: s.magnification.map(WithError::from),
        pixel_pitch_um: s.pixel_pitch_um,
        verdict: f.verdict.word().to_owned(),
        causes: f.cause.map_or_else(String::new, |c| c.word().to_owned()),
        blur_sigma_px: f.blur_sigma_px.map(WithError::from),
        attainable_blur_px: clip.attainable_blur_px,
        blur_ratio: f.blur_ratio.map(plain),
        noise_sigma_dn: f.noise_sigma_dn.map(plain),
        motion_length_px: f.smear_px.map(WithError::from),
        flags: f.flags.iter().map(|x| x.key()).collect::<Vec<_>>().join(" "),
        ..LoggedFrame::default()
    }
}
