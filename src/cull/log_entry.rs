//! From the records of a run to what the log keeps.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::record::{CullRecord, FrameRecord};
use crate::body_noise::record::NoiseRecord;
use crate::clips::record::{ClipFrameRow, ClipRecord, ClipsRecord};
use crate::core::path_text;
use crate::report::parts::FrameSource;
use crate::report::value::WithError;
use crate::store::hash::Content;
use crate::store::log::{LoggedFrame, LoggedNoise, LoggedSigma, NewOuting, OutingKind};

/// What a file's bytes are, as the log keeps it; `None` when it cannot be read.
fn content_id(path: &Path) -> Option<String> {
    Content::of_file(path).ok().map(|(content, _)| content.hex())
}

/// An outing for the log. Frames whose file is gone since it was measured are left out.
pub fn outing(record: &CullRecord, kind: OutingKind, subject: Option<String>) -> NewOuting {
    let frames: Vec<LoggedFrame> = record
        .frames
        .par_iter()
        .filter_map(|f| Some(logged_frame(f, content_id(&f.file)?)))
        .collect();
    NewOuting {
        kind,
        title: title(&record.outing.paths),
        program_version: record.header.version.to_string(),
        subject,
        frames,
    }
}

/// Frames of clips for the log, one every half second: of frames that follow each other closely
/// the hand is the same, and counting each would make a limit look surer than it is.
const CLIP_EVERY_S: f64 = 0.5;

/// Clips for the log, each as a burst. Clips that are gone since they were measured are left out.
pub fn clips(record: &ClipsRecord) -> NewOuting {
    let frames = record.clips.par_iter().enumerate().flat_map(|(i, clip)| {
        let id = content_id(&clip.source);
        let burst = i as u32 + 1;
        id.map_or_else(Vec::new, |id| {
            apart(clip).into_iter().map(|f| clip_frame(clip, f, burst, &id)).collect()
        })
    });
    let paths: Vec<String> = record.clips.iter().map(|c| c.path.clone()).collect();
    NewOuting {
        kind: OutingKind::Clip,
        title: title(&paths),
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
        source: source(FrameSource::Rendered).to_owned(),
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
        blur_allowed_px: clip.blur_allowed_px,
        blur_ratio: f.blur_ratio.map(plain),
        noise_sigma_dn: f.noise_sigma_dn.map(plain),
        motion_length_px: f.smear_px.map(WithError::from),
        flags: f.flags.iter().map(|x| x.key()).collect::<Vec<_>>().join(" "),
        ..LoggedFrame::default()
    }
}

/// What the rows of a body's noise are in the log.
pub fn noise(record: &NoiseRecord) -> Vec<LoggedNoise> {
    let rows = record.bodies.iter().flat_map(|b| b.isos.iter().map(move |i| (b, i)));
    rows.map(|(b, i)| LoggedNoise {
        logged_at: String::new(),
        body: b.body.clone(),
        iso: i.iso,
        source: source(i.source).to_owned(),
        frames: i.frames,
        method: i.method.word().to_owned(),
        range_dn: i.range_dn,
        gain_dn_per_e: i.gain_dn_per_e,
        read_noise_e: i.read_noise_e,
        sigma_at: i
            .sigma_at
            .iter()
            .map(|s| LoggedSigma { level: s.level, sigma_dn: s.sigma_dn, std_err_dn: s.std_err })
            .collect(),
        trusted: i.trusted,
    })
    .collect()
}

/// The last parts of what was given: names tell outings apart, whole paths are in the frames.
fn title(paths: &[String]) -> String {
    let name = |p: &String| {
        let whole = PathBuf::from(p);
        // "." and ".." name no folder.
        let named = whole.file_name().map(|n| n.to_string_lossy().into_owned());
        named
            .or_else(|| Some(whole.canonicalize().ok()?.file_name()?.to_string_lossy().into()))
            .unwrap_or_else(|| p.clone())
    };
    match paths {
        [first, second, third, _, ..] => {
            let more = paths.len() - 3;
            format!("{}, {}, {} and {more} more", name(first), name(second), name(third))
        }
        _ => paths.iter().map(name).collect::<Vec<_>>().join(", "),
    }
}

fn source(source: FrameSource) -> &'static str {
    match source {
        FrameSource::Raw => "raw",
        FrameSource::Rendered => "rendered",
    }
}

fn logged_frame(f: &FrameRecord, content_id: String) -> LoggedFrame {
    let e = &f.exposure;
    let whole = std::path::absolute(&f.file).unwrap_or_else(|_| f.file.clone());
    LoggedFrame {
        path: path_text(&whole),
        content_id,
        taken_at: e.taken_at.clone(),
        source: source(f.source).to_owned(),
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
        blur_allowed_px: f.blur_allowed_px,
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
