//! The records of `cull` and `inspect`. JSON is the record itself; every other rendering reads the
//! same fields and does no arithmetic of its own.
//!
//! Positions are fractions of the upright picture (0..1 from the left and from the top). A value
//! that is missing is `null`, never 0.

use serde::{Deserialize, Serialize};

use super::findings::{BurstFinding, OutingFinding, Reason};
use super::sentences;
use crate::core::verdict::{BlurBy, Cause, Verdict};
use crate::core::{FlagSet, Measured};
use crate::error::{Error, Result};
use crate::report::header::Header;
use crate::report::parts::{
    BreakdownRow, ExposureRecord, FrameSource, NoiseAt, Proportion, SkippedRecord, SpectrumPoint,
    SubjectFound,
};

/// Number of the record's form; raised when a field changes its meaning.
pub const CULL_SCHEMA: u32 = 3;

/// One cause with its share of the loss (variance of blur it explains, 0..1).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CauseShare {
    /// The cause.
    pub cause: Cause,
    /// Its share of the loss against the best that these settings can give; `None` when it
    /// cannot be put in numbers.
    pub share: Option<f64>,
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
    #[serde(flatten, with = "sentences::reason_in_record")]
    pub because: Reason,
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
    /// Sharpest blur that these settings can give, px; `because` names what sets it.
    #[serde(alias = "blur_allowed_px")]
    pub attainable_blur_px: Option<f64>,
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
    #[serde(alias = "cut_by")]
    pub split_reason: String,
    /// Seconds from the first frame to the last, when the times are known.
    #[serde(alias = "lasts_s")]
    pub duration_s: Option<f64>,
    /// Findings about the burst.
    #[serde(with = "sentences::findings_in_record")]
    pub findings: Vec<BurstFinding>,
}

/// Summary of an outing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    #[serde(alias = "cannot_say")]
    pub unclear: u32,
    /// Near and missed frames by their first cause.
    pub by_cause: Vec<BreakdownRow>,
    /// Hits by marked aperture.
    pub by_aperture: Vec<BreakdownRow>,
    /// Hits by shutter time.
    pub by_shutter: Vec<BreakdownRow>,
    /// Findings about the outing.
    #[serde(with = "sentences::findings_in_record")]
    pub findings: Vec<OutingFinding>,
}

/// The record of `cull`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CullRecord {
    /// Number of the form ([`CULL_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// Summary.
    pub outing: OutingRecord,
    /// Bursts in order of time.
    pub bursts: Vec<BurstRecord>,
    /// Frames in order of time.
    pub frames: Vec<FrameRecord>,
    /// Frames passed over.
    pub skipped: Vec<SkippedRecord>,
}

impl CullRecord {
    /// Reads a record that `cull --json` wrote. Earlier forms lack fields that are optional since.
    ///
    /// # Errors
    /// [`Error::NoCullRecord`] when the text is none, or one of a newer program.
    pub fn read(text: &str) -> Result<CullRecord> {
        let no_record = |e: serde_json::Error| Error::NoCullRecord(e.to_string());
        // The kind of the file, and its form, are named before a field that is missing.
        let header: Header = serde_json::from_str(text).map_err(no_record)?;
        header.check(CULL_SCHEMA).map_err(Error::NoCullRecord)?;
        let mut record: CullRecord = serde_json::from_str(text).map_err(no_record)?;
        for frame in &mut record.frames {
            let first = frame.causes.first().map(|c| c.cause);
            frame.because.recover(frame.flags, frame.verdict, first);
        }
        // Words of earlier forms.
        for row in &mut record.outing.by_cause {
            if let Ok(cause) = row.key.parse::<Cause>() {
                row.key = cause.word().to_owned();
            }
        }
        Ok(record)
    }
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

/// The record of `inspect`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InspectRecord {
    /// Number of the form ([`CULL_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// The frame.
    pub frame: FrameRecord,
    /// Its map.
    pub map: MapRecord,
    /// Its noise by tone.
    pub noise: Vec<NoiseAt>,
    /// Radial spectrum at the subject.
    pub spectrum: Vec<SpectrumPoint>,
    /// Highest frequency still above noise at the subject, cycles per pixel.
    pub resolved_cy_px: Option<Measured>,
}
