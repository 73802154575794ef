//! Parts that the records of several commands share.

use serde::{Deserialize, Serialize};

use super::sentences::skip_advice;
use crate::core::{Measured, stats};
use crate::error::SkipReason;

/// A frame passed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SkippedRecord {
    /// The file.
    pub path: String,
    /// Why.
    pub reason: String,
    /// What to do about it, in the words of the terminal; pages leave it out.
    #[serde(default)]
    pub advice: Option<String>,
}

impl SkippedRecord {
    /// A frame or clip that was skipped.
    pub fn new(path: String, reason: &SkipReason) -> SkippedRecord {
        SkippedRecord { advice: skip_advice(reason), ..Self::with_reason(path, reason.to_string()) }
    }

    /// A file that was skipped for a reason without advice.
    pub fn with_reason(path: String, reason: String) -> SkippedRecord {
        SkippedRecord { path, reason, advice: None }
    }

    /// Reason and advice for the terminal.
    pub fn in_terminal(&self) -> String {
        match &self.advice {
            Some(advice) => format!("{}: {advice}", self.reason),
            None => self.reason.clone(),
        }
    }
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

impl FrameSource {
    /// The word in records and in the log.
    pub fn word(self) -> &'static str {
        match self {
            FrameSource::Raw => "raw",
            FrameSource::Rendered => "rendered",
        }
    }
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

/// A share with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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

impl Proportion {
    /// `count` of `of` with the 95 % Wilson score interval ([`stats::wilson`]).
    pub fn wilson(count: u32, of: u32) -> Proportion {
        let count = count.min(of);
        let (low, high) = stats::wilson(count, of).unzip();
        Proportion { count, of, low, high }
    }
}

/// One row of a breakdown (an aperture, a shutter time, a cause).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BreakdownRow {
    /// What the row is about, as shown ("f/8", "1/200 s", "misfocused").
    pub key: String,
    /// Where it stands on its axis (marked f-number, or exposure time in s); `None` when the row
    /// has no place on an axis.
    pub at: Option<f64>,
    /// Frames of that kind and how many of them are what the table counts.
    pub share: Proportion,
}

/// One point of a spectrum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpectrumPoint {
    /// Frequency, cycles per pixel.
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_within_its_number_and_has_its_interval() {
        let share = Proportion::wilson(9, 7);
        let (low, high) = stats::wilson(7, 7).unwrap();
        assert_eq!((share.count, share.of), (7, 7));
        assert_eq!((share.low, share.high), (Some(low), Some(high)));
        let none = Proportion::wilson(0, 0);
        assert_eq!((none.low, none.high), (None, None));
    }
}
