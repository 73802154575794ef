//! The record of `plan`: settings for next time, best first, and what they rest on.
//!
//! Everything the numbers were worked out from is in the record, so that a page can work them
//! out again for another depth, light or magnification. A value that is missing is `null`.

use super::findings::{FirstReason, ModelBasis, PlanFinding};
use crate::report::header::Header;
use crate::report::sentences;
use serde::Serialize;

/// Number of the record's form; raised when a field changes its meaning.
pub const PLAN_SCHEMA: u32 = 2;

/// Whose limits were used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum ModelKind {
    /// Fitted to the shooter's own frames.
    Own,
    /// Optics and typical numbers.
    Typical,
}

/// Where the light comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum LightKind {
    /// What is there.
    Ambient,
    /// A flash, in the dark but for it.
    Flash,
    /// A lamp.
    Lamp,
}

/// What was asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanWish {
    /// Depth on the subject that is to be sharp, mm.
    pub depth_mm: f64,
    /// Magnification.
    pub magnification: f64,
    /// The kind of light.
    pub light: LightKind,
    /// Its level in Ev at ISO 100; for a flash `null`.
    pub light_ev: Option<f64>,
    /// Whether that level was typed.
    pub light_typed: bool,
    /// Exposure time that was asked for, s.
    pub shutter_s: Option<f64>,
    /// Speed of the subject, mm/s.
    pub motion_mm_s: f64,
    /// Width at which the picture will be used, px.
    pub output_width_px: Option<u32>,
    /// Whether it will be cropped, so that every pixel counts.
    pub crop: bool,
    /// Frame rate for video, frames a second.
    pub video_fps: Option<f64>,
    /// Frame rate at which it will be shown.
    pub play_fps: f64,
}

/// The numbers of the model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanParameters {
    /// Pixel pitch, µm.
    pub pitch_um: f64,
    /// Width of the frame, px.
    pub frame_width_px: u32,
    /// Exit over entrance pupil.
    pub pupil_ratio: f64,
    /// Wavelength, µm.
    pub wavelength_um: f64,
    /// Aberration blur σ on the sensor times the working f-number, µm.
    pub aberration_um: f64,
    /// Power of the subject's contrast times frequency squared.
    pub contrast_power: f64,
    /// Light's own noise at ISO 100, variance over squared mean in the middle tones.
    pub shot: f64,
    /// Noise of reading at ISO 100, the same.
    pub read: f64,
    /// Speed of the hand along each direction, standard deviation on the subject, mm/s.
    pub hand_mm_s: f64,
    /// Distance of the focus plane from the subject, standard deviation, mm.
    pub focus_spread_mm: f64,
    /// Frames of a burst: settings are ranked by the chance that it holds a hit.
    pub burst_frames: u32,
    /// Blur over the best that still is a hit.
    pub hit_ratio: f64,
    /// Working f-number that full flash exposes at ISO 100.
    pub flash_full_n_eff: f64,
    /// Flash: share of full power and how long it shines (t0.1, s).
    pub flash_s: Vec<(f64, f64)>,
    /// Shutter set with flash, s.
    pub flash_shutter_s: f64,
    /// Marked f-numbers that are tried.
    pub f_numbers: Vec<f64>,
    /// ISO settings that are tried.
    pub isos: Vec<u32>,
    /// ISO settings that a given shutter can lead to.
    pub fine_isos: Vec<u32>,
    /// Shutter times that can be set, s.
    pub shutters_s: Vec<f64>,
}

/// One setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanSetting {
    /// Marked f-number.
    pub f_number: f64,
    /// Working f-number.
    pub working_f_number: f64,
    /// ISO.
    pub iso: u32,
    /// Exposure time to set, s.
    pub shutter_s: f64,
    /// How long the light falls: the exposure time, or the flash's.
    pub light_s: f64,
    /// Finest line above noise at the focus plane, µm on the subject.
    pub finest_um_plane: Option<f64>,
    /// The same at the ends of the depth.
    pub finest_um_depth_end: Option<f64>,
    /// One standard error of both, as a share of them; `null` for typical numbers, which have
    /// none.
    pub finest_rel_std_err: Option<f64>,
    /// Detail at the ends of the depth, bits per pixel, as far as the output can show it.
    pub detail_bits_px_depth_end: f64,
    /// Noise of one pixel in the middle tones, share of the mean.
    pub noise_share: f64,
    /// Smear of the subject's own movement, px.
    pub smear_px: f64,
    /// Chance that a frame is a hit.
    pub hit_chance: f64,
    /// Frames that hold a hit with 90 % chance.
    pub frames_for_a_hit: Option<u32>,
    /// What costs the most of what is ranked.
    pub dominant_loss: &'static str,
    /// How far the picture can be cropped before its finest line is wider than a pixel of the
    /// output; below 1 not even the whole frame is that fine.
    pub crop_factor: Option<f64>,
}

/// One way to take the video.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VideoSetting {
    /// What is read and what is written.
    pub readout: &'static str,
    /// Width of the clip, px.
    pub width_px: u32,
    /// Frames a second.
    pub fps: f64,
    /// Exposure time of a frame, s.
    pub shutter_s: f64,
    /// Frames a second taken over shown.
    pub slow_motion: f64,
    /// How much larger the subject stands in the picture than with the whole sensor.
    pub picture_scale: f64,
    /// Marked f-number.
    pub f_number: f64,
    /// ISO.
    pub iso: u32,
    /// Noise of one pixel of the clip, share of the mean.
    pub noise_share: f64,
    /// Movement of hand and subject in one frame, px of the clip.
    pub smear_px: f64,
    /// Finest line at the focus plane when nothing moves, µm on the subject.
    pub finest_um_plane: Option<f64>,
    /// The same at the ends of the depth.
    pub finest_um_depth_end: Option<f64>,
}

/// The record of `plan`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanRecord {
    /// Number of the form ([`PLAN_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// The rig, when one was named.
    pub rig: Option<String>,
    /// What was asked for.
    pub wish: PlanWish,
    /// Whose limits were used.
    pub model: ModelKind,
    /// The same with its numbers.
    #[serde(serialize_with = "sentences::serialize_one")]
    pub model_basis: ModelBasis,
    /// The numbers of the model.
    pub parameters: PlanParameters,
    /// Settings, best first; one an aperture, each with its best ISO and shutter.
    pub settings: Vec<PlanSetting>,
    /// Why the first is first.
    #[serde(serialize_with = "sentences::serialize_optional")]
    pub first_because: Option<FirstReason>,
    /// Video, when asked for.
    pub video: Vec<VideoSetting>,
    /// What should be kept in mind.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<PlanFinding>,
}
