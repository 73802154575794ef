//! The record of `clip`: what is worth keeping of each clip, frame by frame and span by span.
//!
//! Places are fractions of the upright picture, movements px of it. A value that is missing is
//! `null`, never 0.

use super::findings::ClipFinding;
use crate::report::header::Header;
use std::path::PathBuf;

use serde::Serialize;

use crate::core::verdict::{Cause, Verdict};
use crate::core::{FlagSet, Measured};
use crate::report::parts::{SkippedRecord, SubjectFound};
use crate::report::sentences;

/// Number of the record's form; raised when a field changes its meaning.
pub const CLIP_SCHEMA: u32 = 2;

/// What a stretch of a clip is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum SpanVerdict {
    /// As sharp at the subject as this clip gets.
    #[serde(rename = "in focus")]
    InFocus,
    /// A little short of it.
    #[serde(rename = "near")]
    Near,
    /// Not sharp at the subject.
    #[serde(rename = "out")]
    Out,
    /// The subject is lost, or nothing there can be judged.
    #[serde(rename = "unclear")]
    Unclear,
}

impl SpanVerdict {
    /// The word shown to people.
    pub fn word(self) -> &'static str {
        match self {
            SpanVerdict::InFocus => "in focus",
            SpanVerdict::Near => "near",
            SpanVerdict::Out => "out",
            SpanVerdict::Unclear => "unclear",
        }
    }
}

/// Unsteadiness over some time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ShakeRecord {
    /// Root mean square of the distance from the slow drift, px.
    pub rms_px: f64,
    /// Speed of the slow drift, px a second.
    pub drift_px_s: f64,
    /// Amplitude of the strongest rhythm (half its swing), px; `None` when there is none.
    pub amplitude_px: Option<Measured>,
    /// Its frequency, Hz; the error is half the resolution.
    pub frequency_hz: Option<Measured>,
    /// Share of width or height that steadying would cut off, the larger of both.
    pub stabilise_crop: f64,
}

/// A stretch of a clip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpanRecord {
    /// Time of its first frame, s.
    pub start_s: f64,
    /// End of its last frame, s.
    pub end_s: f64,
    /// Frames in it.
    pub frames: u32,
    /// Its length when played at the rate that was asked for, s.
    pub play_s: Option<f64>,
    /// What it is.
    pub verdict: SpanVerdict,
    /// What cost the most in it, when it is not in focus.
    pub cause: Option<Cause>,
    /// Blur at the subject, median over the span, px.
    pub blur_sigma_px: Option<Measured>,
    /// Root mean square of the distance from the slow drift, px.
    pub steadiness_px: Option<f64>,
    /// The unsteadiness in full.
    pub shake: Option<ShakeRecord>,
    /// How far it can be cropped (2: half the width) before the finest detail is coarser than the
    /// delivered picture's pixels; below 1 it is coarser already.
    pub crop_max: Option<Measured>,
    /// Time of its best frame, s.
    pub best_frame_s: Option<f64>,
    /// Times of its best frames, best first, s.
    pub best_frames_s: Vec<f64>,
}

/// The best stretch of a wanted length.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StretchRecord {
    /// Start, s.
    pub start_s: f64,
    /// End, s.
    pub end_s: f64,
    /// Share of its frames that are hits.
    pub hit_share: f64,
    /// Blur at the subject, median, px.
    pub blur_sigma_px: Option<f64>,
}

/// Noise of the frames of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TypeNoise {
    /// I, P or B.
    pub frame_type: &'static str,
    /// Frames of that kind.
    pub frames: u32,
    /// Noise in flat places, median over them, 8-bit steps.
    pub sigma_dn: Measured,
}

/// How the focus plane went through the subject.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FocusDrift {
    /// When it was at the subject, s.
    pub at_s: f64,
    /// Growth of the blur of defocus on both sides, px a second.
    pub rate_px_s: Measured,
    /// Speed of the plane along the line of sight, mm a second, where the settings are known.
    /// Towards or away cannot be told from blur alone.
    pub rate_mm_s: Option<f64>,
}

/// How a clip was taken, as far as it was typed or its rig says.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct ClipSettings {
    /// Name of the rig.
    pub rig: Option<String>,
    /// Marked f-number.
    pub marked_f_number: Option<f64>,
    /// Working f-number.
    pub working_f_number: Option<f64>,
    /// Magnification on the sensor.
    pub magnification: Option<Measured>,
    /// Distance on the sensor between pixels of the clip, µm.
    pub pixel_pitch_um: Option<f64>,
    /// Exposure of a frame, s.
    pub shutter_s: Option<f64>,
}

/// The subject of a clip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ClipSubject {
    /// How it was found.
    pub found: SubjectFound,
    /// Where in the first frame in which it was seen.
    pub x: Option<f64>,
    /// See `x`.
    pub y: Option<f64>,
    /// Side of the box that is measured, px.
    pub box_px: u32,
}

/// One frame of a clip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClipFrameRow {
    /// Number, from 0.
    pub frame: u32,
    /// Time, s.
    pub t_s: f64,
    /// How it was coded: I, P or B.
    pub frame_type: &'static str,
    /// What it is.
    pub verdict: Verdict,
    /// What cost the most.
    pub cause: Option<Cause>,
    /// Blur at the subject, px.
    pub blur_sigma_px: Option<Measured>,
    /// Blur that the verdict goes by over that of the clip's best frames.
    pub blur_ratio: Option<f64>,
    /// Movement of the picture at the subject since the frame before, px.
    pub motion_px: Option<f64>,
    /// The same on the subject, µm, where the size of a pixel there is known.
    pub motion_um: Option<f64>,
    /// Rotation of the picture since the frame before, degrees, counter-clockwise.
    pub rotation_deg: Option<f64>,
    /// Length of the smear at the subject, px.
    pub smear_px: Option<Measured>,
    /// Noise in flat places, 8-bit steps.
    pub noise_sigma_dn: Option<f64>,
    /// Mean brightness of the frame, 8-bit steps.
    pub mean_dn: f64,
    /// Where the subject is, from the left.
    pub subject_x: Option<f64>,
    /// Where the subject is, from the top.
    pub subject_y: Option<f64>,
    /// What makes the numbers shaky.
    pub flags: FlagSet,
}

/// One clip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClipRecord {
    /// The file.
    pub path: String,
    /// The file itself, for lists that other programs open.
    #[serde(skip)]
    pub source: PathBuf,
    /// Frames a second, over the frames that were read.
    pub fps: f64,
    /// Whether frames come at uneven times.
    pub variable_rate: bool,
    /// Frames read.
    pub frames: u32,
    /// Width of the upright picture, px.
    pub width_px: u32,
    /// Height of the upright picture, px.
    pub height_px: u32,
    /// Length, s.
    pub length_s: f64,
    /// Frame rate at which it will be played.
    pub play_fps: Option<f64>,
    /// Times slower than life it then is.
    pub slower: Option<f64>,
    /// Codec.
    pub codec: String,
    /// Bits a sample.
    pub bits: u32,
    /// `limited` (black 16, white 235 of 255) or `full`.
    pub range: &'static str,
    /// Whether frames are made of two fields.
    pub interlaced: bool,
    /// When it was taken, as written in it.
    pub taken_at: Option<String>,
    /// Camera, as written in it.
    pub camera: Option<String>,
    /// How it was taken.
    pub settings: ClipSettings,
    /// Why it could not be read to its end.
    pub broke_off: Option<String>,
    /// The subject.
    pub subject: ClipSubject,
    /// Blur of the best frames, px.
    pub best_blur_sigma_px: Option<Measured>,
    /// Blur that the settings can give at best, px, where they are known.
    pub attainable_blur_px: Option<f64>,
    /// Noise by kind of frame.
    pub noise: Vec<TypeNoise>,
    /// Noise of frames coded on their own over that of the others, where the codec makes it pulse.
    pub key_frame_pulse: Option<Measured>,
    /// Flicker: standard deviation of brightness from frame to frame over the mean.
    pub flicker: Option<f64>,
    /// Unsteadiness of the whole clip.
    pub shake: Option<ShakeRecord>,
    /// How the focus plane went through the subject, when it did.
    pub focus_drift: Option<FocusDrift>,
    /// Width and height it will be delivered at.
    pub deliver_px: Option<(u32, u32)>,
    /// The stretches, in order, without gaps.
    pub spans: Vec<SpanRecord>,
    /// The best stretch of the length asked for.
    pub best_stretch: Option<StretchRecord>,
    /// Every frame.
    pub frames_table: Vec<ClipFrameRow>,
    /// Sentences with their numbers.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<ClipFinding>,
}

impl ClipRecord {
    /// Seconds in focus.
    pub fn in_focus_s(&self) -> f64 {
        let spans = self.spans.iter().filter(|s| s.verdict == SpanVerdict::InFocus);
        spans.map(|s| s.end_s - s.start_s).sum()
    }
}

/// The record of `clip`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClipsRecord {
    /// Number of the form ([`CLIP_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// The clips, in the order they were found.
    pub clips: Vec<ClipRecord>,
    /// Files passed over.
    pub skipped: Vec<SkippedRecord>,
}
