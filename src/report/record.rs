//! The records: one serde type per command. JSON is the record itself; every other rendering
//! reads the same fields and does no arithmetic of its own.
//!
//! Positions are fractions of the upright picture (0..1 from the left and from the top). A value
//! that is missing is `null`, never 0.

use serde::{Deserialize, Serialize};

use crate::core::verdict::{BlurBy, Cause, Verdict};
use crate::core::{FlagSet, Measured};

/// Number of the record's form; raised when a field changes its meaning.
pub const SCHEMA: u32 = 2;

/// One cause with its share of the loss (variance of blur it explains, 0..1).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CauseShare {
    /// The cause.
    pub cause: Cause,
    /// Its share of the loss against the best that these settings can give; `None` when it
    /// cannot be put in numbers.
    pub share: Option<f64>,
}

/// What kind of file a frame was measured on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FrameSource {
    /// The camera's raw file.
    Raw,
    /// A rendered picture.
    Rendered,
}

/// Where the subject point of a burst came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SubjectFound {
    /// Given by the user.
    Marked,
    /// Found from the burst itself.
    Automatic,
    /// Not found.
    None,
}

/// The subject point in one frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SubjectAt {
    /// From the left, fraction of the upright picture.
    pub x: f64,
    /// From the top, fraction of the upright picture.
    pub y: f64,
    /// 0..1: how sure it is that this is the same spot.
    pub confidence: f64,
}

/// The sharpest place of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Sharpest {
    /// From the left, fraction of the upright picture.
    pub x: f64,
    /// From the top, fraction of the upright picture.
    pub y: f64,
    /// Blur there.
    pub blur_sigma_px: Measured,
}

/// Movement found at the subject.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MotionRecord {
    /// Length of the smear, px of the picture.
    pub length_px: f64,
    /// One standard error of the length, px.
    pub length_std_err_px: Option<f64>,
    /// Direction, degrees from the horizontal of the upright picture, 0..180, counter-clockwise.
    pub direction_deg: f64,
}

/// Exposure as recorded, flattened for the record; `None` is unknown.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ExposureRecord {
    /// Marked f-number.
    pub f_number: Option<f64>,
    /// Exposure time, s.
    pub shutter_s: Option<f64>,
    /// ISO sensitivity.
    pub iso: Option<u32>,
    /// Whether the camera saw a flash fire (a flash it does not know may have fired anyway).
    pub flash_fired: Option<bool>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Exposure bias, Ev.
    pub exposure_bias_ev: Option<f64>,
    /// When it was taken: local time, with offset when the camera wrote one.
    pub taken_at: Option<String>,
    /// Body, make and model.
    pub body: Option<String>,
    /// Lens, as recorded.
    pub lens: Option<String>,
    /// Pixel pitch of this file, micrometres.
    pub pixel_pitch_um: Option<f64>,
    /// Name of the rig that the frame was taken with.
    pub rig: Option<String>,
    /// Magnification on the sensor.
    pub magnification: Option<Measured>,
    /// Working f-number: what light and diffraction go by.
    pub working_f_number: Option<Measured>,
    /// Size of a pixel of this file on the subject, µm.
    pub object_um_per_px: Option<Measured>,
    /// Where the values came from, by field name, for those that did not come from the file.
    #[serde(default, skip_serializing_if = "std::collections::BTreeMap::is_empty")]
    pub from: std::collections::BTreeMap<String, crate::core::ValueSource>,
}

/// The verdict repeated at the size where the picture will be used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AtOutput {
    /// Width of the picture where it is used, px.
    pub output_width_px: u32,
    /// The verdict at that size.
    pub verdict: Verdict,
    /// Blur at the subject in pixels of that size.
    pub blur_sigma_px: Option<Measured>,
}

/// Everything measured on one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameRecord {
    /// Path as found, relative to what was asked for where possible.
    pub path: String,
    /// The file that was measured, as it can be opened from here.
    #[serde(skip)]
    pub file: std::path::PathBuf,
    /// Path of the raw file or JPEG taken with it, if there is one.
    pub partner: Option<String>,
    /// What the numbers were measured on.
    pub source: FrameSource,
    /// Number of the burst it belongs to (from 1).
    pub burst: u32,
    /// Width of the upright picture, px.
    pub width_px: u32,
    /// Height of the upright picture, px.
    pub height_px: u32,
    /// Exposure data.
    pub exposure: ExposureRecord,
    /// The verdict.
    pub verdict: Verdict,
    /// What cost the sharpness, largest first.
    pub causes: Vec<CauseShare>,
    /// One sentence: why this verdict, and what to do.
    pub because: String,
    /// Where the subject is.
    pub subject: Option<SubjectAt>,
    /// Blur at the subject, px (Gaussian-equivalent standard deviation).
    pub blur_sigma_px: Option<Measured>,
    /// Lower end of the range that holds the blur with 68 % probability, px; never below what the
    /// settings allow.
    #[serde(default)]
    pub blur_low_px: Option<f64>,
    /// Upper end of that range, px.
    #[serde(default)]
    pub blur_high_px: Option<f64>,
    /// What the blur was read from.
    #[serde(default)]
    pub blur_by: Option<BlurBy>,
    /// Blur that these settings can give at best, px, and what sets it is told in `because`.
    pub blur_allowed_px: Option<f64>,
    /// Blur at the subject over the burst's best, with its error; the number the verdict is
    /// judged by.
    pub blur_ratio: Option<Measured>,
    /// Ranking energy at the subject (noise-corrected level-1 Laplacian energy over mean luma
    /// squared, times 1e6).
    pub focus: Option<Measured>,
    /// Noise, standard deviation in 8-bit steps, at the frame's middle tones.
    pub noise_sigma_dn: Option<Measured>,
    /// Detail at the subject, bits a pixel.
    pub detail_bits_px: Option<Measured>,
    /// Movement at the subject.
    pub motion: Option<MotionRecord>,
    /// The sharpest place of the frame.
    pub sharpest: Option<Sharpest>,
    /// Share of the frame's judged tiles that are sharp (blur within the hit limit), 0..1.
    pub sharp_area: Option<f64>,
    /// Variance of the plain 4-neighbour Laplacian over the whole frame, for comparison only.
    pub whole_frame_lap_var: Option<f64>,
    /// Mean luma at the subject, 8-bit steps.
    pub subject_mean_dn: Option<f64>,
    /// The verdict at the output size, when one was asked for.
    pub at_output: Option<AtOutput>,
    /// What makes the numbers shaky.
    pub flags: FlagSet,
}

/// The subject of a burst.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BurstSubject {
    /// Where it came from.
    pub found: SubjectFound,
    /// 0..1: how sure an automatic subject is; absent unless it is known how often such a figure
    /// comes true.
    pub confidence: Option<f64>,
}

/// Another place that could be the subject of a burst, and the frame that is best there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OtherSubject {
    /// Path of the frame.
    pub best: String,
    /// The place in it, from the left, fraction of the upright picture.
    pub x: f64,
    /// The place in it, from the top, fraction of the upright picture.
    pub y: f64,
}

/// One burst.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BurstRecord {
    /// Number, from 1.
    pub id: u32,
    /// Paths in order of time.
    pub frames: Vec<String>,
    /// The frame called best; `None` when none can be.
    pub best: Option<String>,
    /// Without a mark: the frame and the place that could be meant instead of the best.
    #[serde(default)]
    pub other: Option<OtherSubject>,
    /// The subject.
    pub subject: BurstSubject,
    /// Why the burst was cut where it was (time gap, settings, content, file order).
    pub cut_by: String,
    /// Seconds from the first frame to the last, when the times are known.
    pub lasts_s: Option<f64>,
    /// Findings about the burst.
    pub findings: Vec<Finding>,
}

/// One sentence with its number and what to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// The sentence.
    pub says: String,
    /// What to do about it, if anything.
    pub next: Option<String>,
}

/// A share with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Proportion {
    /// How many.
    pub count: u32,
    /// Out of how many.
    pub of: u32,
    /// Lower end of the 95 % Wilson interval; `None` when `of` is 0.
    pub low: Option<f64>,
    /// Upper end of the 95 % Wilson interval; `None` when `of` is 0.
    pub high: Option<f64>,
}

/// One row of a breakdown (an aperture, a shutter time, a cause).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BreakdownRow {
    /// What the row is about, as shown ("f/8", "1/200 s", "plane-off").
    pub key: String,
    /// Where it stands on its axis (marked f-number, or exposure time in s); `None` when the row
    /// has no place on an axis.
    pub at: Option<f64>,
    /// Frames of that kind and how many of them are what the table counts.
    pub share: Proportion,
}

/// Summary of an outing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutingRecord {
    /// What was given to the program.
    pub paths: Vec<String>,
    /// Frames measured.
    pub frames: u32,
    /// Bursts.
    pub bursts: u32,
    /// Bursts without a marked subject.
    pub unmarked_bursts: u32,
    /// Frames by verdict.
    pub hits: Proportion,
    /// Frames called near.
    pub near: u32,
    /// Frames called miss.
    pub misses: u32,
    /// Frames that could not be judged.
    pub cannot_say: u32,
    /// Near and missed frames by their first cause.
    pub by_cause: Vec<BreakdownRow>,
    /// Hits by marked aperture.
    pub by_aperture: Vec<BreakdownRow>,
    /// Hits by shutter time.
    pub by_shutter: Vec<BreakdownRow>,
    /// Findings about the outing.
    pub findings: Vec<Finding>,
}

/// A frame passed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SkippedRecord {
    /// The file.
    pub path: String,
    /// Why.
    pub reason: String,
}

/// The record of `cull`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CullRecord {
    /// [`SCHEMA`].
    pub schema: u32,
    /// Name of this program.
    pub program: &'static str,
    /// Version of this program.
    pub version: &'static str,
    /// Summary.
    pub outing: OutingRecord,
    /// Bursts in order of time.
    pub bursts: Vec<BurstRecord>,
    /// Frames in order of time.
    pub frames: Vec<FrameRecord>,
    /// Frames passed over.
    pub skipped: Vec<SkippedRecord>,
}

/// The tile map of one frame, upright, row-major; `None` where there is no value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapRecord {
    /// Side of a tile, px.
    pub tile_px: u32,
    /// Tiles across.
    pub cols: u32,
    /// Tiles down.
    pub rows: u32,
    /// Blur in each tile, px.
    pub blur_sigma_px: Vec<Option<f32>>,
    /// One standard error of it, px.
    pub blur_std_err_px: Vec<Option<f32>>,
    /// Noise-corrected Laplacian variance at the 2-px scale over the mean squared, times 1e6.
    pub lap_var: Vec<Option<f32>>,
}

/// One point of a spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpectrumPoint {
    /// Frequency, cycles a pixel.
    pub cy_px: f64,
    /// Power density of picture plus noise, squared 8-bit steps.
    pub power: f64,
    /// Power density of the noise.
    pub noise: f64,
}

/// The noise of one frame at one tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct NoiseAt {
    /// Mean luma, 8-bit steps.
    pub level_dn: f64,
    /// Noise there, standard deviation in 8-bit steps.
    pub sigma_dn: Measured,
}

/// The record of `inspect`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InspectRecord {
    /// [`SCHEMA`].
    pub schema: u32,
    /// Name of this program.
    pub program: &'static str,
    /// Version of this program.
    pub version: &'static str,
    /// The frame.
    pub frame: FrameRecord,
    /// Its map.
    pub map: MapRecord,
    /// Its noise by tone.
    pub noise: Vec<NoiseAt>,
    /// Radial spectrum at the subject.
    pub spectrum: Vec<SpectrumPoint>,
    /// Highest frequency still above noise at the subject, cycles a pixel.
    pub resolved_cy_px: Option<Measured>,
}
