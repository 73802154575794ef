//! The record of `scale`: the scale of one frame from the ruler in it.

use crate::report::header::Header;
use serde::Serialize;

use super::findings::ScaleFinding;
use crate::core::Known;
use crate::report::sentences;
use crate::report::value::WithError;

/// Number of the record's form; raised when a field changes its meaning.
pub const SCALE_SCHEMA: u32 = 2;

/// A blur disc of this share of the picture's diagonal counts as sharp in the depth table: 0.03 mm
/// on 36 x 24 mm. Common practice, no source.
pub const BLUR_DISC_PER_DIAGONAL: f64 = 1.0 / 1442.0;

/// Depth and working f-number at one marked aperture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DepthAt {
    /// F-number as marked.
    pub marked_f_number: f64,
    /// F-number that light and diffraction go by.
    pub working_f_number: f64,
    /// Total depth within the blur disc of [`ScaleRecord::blur_disc_um`], mm on the subject.
    pub depth_blur_disc_mm: f64,
    /// Total depth within a quarter wave at 0.55 µm, mm on the subject.
    pub depth_quarter_wave_mm: f64,
    /// Diameter of the Airy disc on the subject, µm.
    pub airy_diameter_um: f64,
}

/// A tick as a line, fractions of the upright picture from the left and the top.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TickLine {
    /// One end.
    pub from: (f64, f64),
    /// The other.
    pub to: (f64, f64),
}

/// The record of `scale`.
///
/// When there is no scale, `refused` says why and every measured field is `None`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScaleRecord {
    /// Number of the form ([`SCALE_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// The frame.
    pub path: String,
    /// Width of the upright picture, px.
    pub width_px: u32,
    /// Height of the upright picture, px.
    pub height_px: u32,
    /// Why there is no scale.
    pub refused: Option<String>,
    /// Distance of the closest ticks, mm.
    pub ticks_mm: Known<f64>,
    /// Ticks found.
    pub ticks: Option<u32>,
    /// Distance of neighbouring ticks by their places, px.
    pub period_px: Option<WithError>,
    /// The same by the spectrum, px.
    pub period_by_spectrum_px: Option<f64>,
    /// Size of a pixel on the subject in the middle of the frame, µm. Its error, and that of all that
    /// follows from it, holds 0.1 % for how well rulers are made.
    pub object_um_per_px: Option<WithError>,
    /// Direction of the ruler, counter-clockwise from the horizontal of the upright picture, 0 to
    /// 180.
    pub angle_deg: Option<f64>,
    /// Relative change of scale over the frame along the ruler, where one is seen.
    pub change_along: Option<f64>,
    /// Relative change of scale over the frame across the ruler, where one is seen.
    pub change_across: Option<f64>,
    /// Width of the field, mm.
    pub field_width_mm: Option<WithError>,
    /// Height of the field, mm.
    pub field_height_mm: Option<WithError>,
    /// Pixel pitch of the file, µm.
    pub pixel_pitch_um: Option<Known<f64>>,
    /// Magnification on the sensor (1 is life size).
    pub magnification: Option<WithError>,
    /// Pupil ratio, exit over entrance pupil.
    pub pupil_ratio: Known<f64>,
    /// Diameter of the blur disc that counts as sharp in `depths`, µm on the sensor.
    pub blur_disc_um: Option<f64>,
    /// Working f-number and depth by marked aperture.
    pub depths: Vec<DepthAt>,
    /// What to know about it.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<ScaleFinding>,
    /// The ticks.
    pub tick_lines: Vec<TickLine>,
}

/// What the page shows beside the record: brightness across the ticks.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ScaleProfile {
    /// (px along the ruler from the middle of the picture, brightness as share of its mean).
    pub points: Vec<(f64, f64)>,
    /// Where the ticks lie, px.
    pub ticks_px: Vec<f64>,
}
