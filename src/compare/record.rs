//! The record of `compare`: what each step of a series shows, and what closing the aperture or
//! raising the ISO cost.
//!
//! Positions are fractions of the upright picture. A value that is missing is `null`, never 0.

use crate::report::header::Header;
use serde::Serialize;

use crate::compare::findings::CompareFinding;
use crate::core::Measured;
use crate::image::Picture;
use crate::report::parts::{FrameSource, SkippedRecord, SpectrumPoint};
use crate::report::sentences;

/// Number of the record's form; raised when a field changes its meaning.
pub const COMPARE_SCHEMA: u32 = 2;

/// What changes from step to step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum StepAxis {
    /// The aperture; ISO, shutter or flash make up for it.
    Aperture,
    /// The ISO at one aperture.
    Iso,
    /// The shutter alone.
    Shutter,
    /// Several things without order.
    Mixed,
    /// Two apertures, each at the same two ISO settings.
    #[serde(rename = "four corners")]
    FourCorners,
}

impl StepAxis {
    /// The word shown to people.
    pub fn word(self) -> &'static str {
        match self {
            StepAxis::Aperture => "aperture",
            StepAxis::Iso => "ISO",
            StepAxis::Shutter => "shutter",
            StepAxis::Mixed => "mixed",
            StepAxis::FourCorners => "four corners",
        }
    }
}

/// How optics and noise were told apart, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Protocol {
    /// Both apertures at both ISO settings: measured, no model.
    #[serde(rename = "four corners")]
    FourCorners,
    /// Two or more frames a step.
    #[serde(rename = "repeats")]
    Repeats,
    /// One raw frame a step, with the noise of the sensor and a lens of one blur.
    #[serde(rename = "single raw frames")]
    RawSingles,
    /// One rendered frame a step.
    #[serde(rename = "single rendered frames")]
    RenderedSingles,
}

impl Protocol {
    /// The words shown to people.
    pub fn words(self) -> &'static str {
        match self {
            Protocol::FourCorners => "four corners",
            Protocol::Repeats => "repeats",
            Protocol::RawSingles => "single raw frames",
            Protocol::RenderedSingles => "single rendered frames",
        }
    }
}

/// Which of the two cost more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum CostMore {
    /// The aperture.
    #[serde(rename = "optics")]
    Optics,
    /// The noise.
    #[serde(rename = "noise")]
    Noise,
    /// Their shares are within 8 % of a half.
    #[serde(rename = "about equal")]
    AboutEqual,
    /// The interval holds both answers.
    #[serde(rename = "cannot separate")]
    CannotSeparate,
    /// Nothing was lost, within the error.
    #[serde(rename = "nothing lost")]
    NothingLost,
}

/// Two steps, and what going from one to the other cost.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AttributionRecord {
    /// Step it starts from, its place in `steps` from 0.
    pub from: usize,
    /// Step it leads to.
    pub to: usize,
    /// How it was measured.
    pub protocol: Protocol,
    /// Change of detail, bits per pixel: negative is a loss.
    pub total: f64,
    /// One standard error of it.
    pub total_std_err: Option<f64>,
    /// The part of the aperture (diffraction, aberrations, focus).
    pub optics: f64,
    /// The part of the noise. `optics` and `noise` add up to `total`.
    pub noise: f64,
    /// Lower end of the 90 % interval of `optics`; that of `noise` is as wide.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Which cost more.
    pub cost_more: CostMore,
    /// The same in words.
    pub message: String,
}

/// One point of an edge's response.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgePoint {
    /// Frequency across the edge, cycles per pixel.
    pub cy_px: f64,
    /// Modulation, 1 at frequency 0.
    pub modulation: f64,
}

/// The response of the straight edge at one step; not for living subjects.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeRecord {
    /// Frequency at which modulation is half, cycles per pixel.
    pub mtf50_cy_px: Option<Measured>,
    /// Frequency at which modulation is a tenth.
    pub mtf10_cy_px: Option<Measured>,
    /// Slant against the nearer of rows and columns, degrees.
    pub slant_deg: Option<f64>,
    /// Modulation over frequency.
    pub curve: Vec<EdgePoint>,
    /// Why there is no response here.
    pub refused: Option<String>,
}

/// Where the edge lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgeAtRecord {
    /// Middle, from the left, in the reference frame.
    pub x: f64,
    /// Middle, from the top.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
    /// Whether the user gave it; it was found otherwise.
    pub given: bool,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepRecord {
    /// Marked f-number.
    pub f_number: f64,
    /// Working f-number, when the magnification is known.
    pub working_f_number: Option<f64>,
    /// ISO.
    pub iso: Option<u32>,
    /// Exposure time, s.
    pub shutter_s: Option<f64>,
    /// Frames measured.
    pub frames: u32,
    /// Their files.
    pub paths: Vec<String>,
    /// Detail D, bits per pixel.
    pub detail_bits_px: Option<Measured>,
    /// Detail of each repeat under the step's noise, bits per pixel; empty for one frame.
    pub repeats_bits_px: Vec<f64>,
    /// What a lens without a fault would show here, in focus, under this noise, bits per pixel.
    pub bound_bits_px: Option<f64>,
    /// Frequency at which signal and noise are equal, cycles per pixel.
    pub resolved_cy_px: Option<Measured>,
    /// The same, line pairs per millimetre on the sensor.
    pub resolved_lp_mm: Option<Measured>,
    /// Finest line on the subject that stands above the noise, micrometres.
    pub finest_um: Option<Measured>,
    /// Noise, standard deviation, DN: 8-bit steps of rendered frames, steps of the file of raw.
    pub noise_sigma_dn: Option<f64>,
    /// Blur at edges in the sharper quarter of the region, px.
    pub blur_sigma_px: Option<Measured>,
    /// Share of the judged tiles round the region that are as sharp as the best step's.
    pub sharp_area: Option<f64>,
    /// Share of the blur squared that diffraction makes here, 0 to 1.
    pub diffraction_share: Option<f64>,
    /// Response of the straight edge, when there is one.
    pub edge: Option<EdgeRecord>,
    /// Brightness of the region against the first step, stops.
    pub light_stops: Option<f64>,
    /// Signal (`power`) and noise per ring.
    pub spectrum: Vec<SpectrumPoint>,
}

/// The part of the picture that was measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RegionRecord {
    /// Middle, from the left, in the reference frame.
    pub x: f64,
    /// Middle, from the top.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
    /// Width, px.
    pub width_px: u32,
    /// Height, px.
    pub height_px: u32,
    /// Whether the user gave it.
    pub given: bool,
}

/// How far frames moved against the reference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MovedRecord {
    /// Greatest shift, px.
    pub shift_px: f64,
    /// Greatest turn, degrees.
    pub turn_deg: f64,
    /// Greatest change of scale, share.
    pub scale: f64,
}

/// An aperture that serves best.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BestAperture {
    /// Marked f-number.
    pub f_number: f64,
    /// Working f-number, when the magnification is known.
    pub working_f_number: Option<f64>,
    /// Whether it lies within the series, not at its end.
    pub interior: bool,
    /// Depth it has to serve, mm; `None` for the plane of focus.
    pub depth_mm: Option<f64>,
}

/// The record of `compare`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CompareRecord {
    /// Number of the form ([`COMPARE_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// What was given to the program.
    pub paths: Vec<String>,
    /// What changes.
    pub axis: StepAxis,
    /// How optics and noise were told apart; `None` when they could not be.
    pub protocol: Option<Protocol>,
    /// What it was measured on.
    pub source: FrameSource,
    /// Body as recorded.
    pub body: Option<String>,
    /// Rig that the frames were taken with, when one is known.
    pub rig: Option<String>,
    /// Magnification, typed or the rig's.
    pub magnification: Option<f64>,
    /// One standard error of it.
    pub magnification_std_err: Option<f64>,
    /// Pixel pitch, µm.
    pub pixel_pitch_um: Option<f64>,
    /// Where it was measured.
    pub region: RegionRecord,
    /// The straight edge that was measured beside it: given, or found in the region.
    pub edge: Option<EdgeAtRecord>,
    /// How far frames moved.
    pub moved: MovedRecord,
    /// Steps in order of the axis.
    pub steps: Vec<StepRecord>,
    /// From each step to the next, then from the best step to every other.
    pub attributions: Vec<AttributionRecord>,
    /// The step with the most detail, its place in `steps` from 0.
    pub best_step: Option<usize>,
    /// The aperture with the most detail as taken, between the steps.
    pub best_aperture: Option<BestAperture>,
    /// The aperture for the depth asked for.
    pub best_for_depth: Option<BestAperture>,
    /// What was found, in words.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<CompareFinding>,
    /// Why optics and noise were not told apart; `None` when they were.
    pub refused: Option<String>,
    /// Frames passed over.
    pub skipped: Vec<SkippedRecord>,
}

/// Pictures for the page: one a step, registered, at 100 % and equal brightness.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ComparePictures {
    /// One a step.
    pub crops: Vec<Option<Picture>>,
}

/// "f/8 · ISO 400": a step's name.
pub fn step_name(step: &StepRecord, axis: StepAxis) -> String {
    use crate::report::wording;
    let mut parts = vec![wording::f_number(step.f_number)];
    match (axis, step.shutter_s) {
        (StepAxis::Shutter, Some(s)) => parts.push(wording::shutter(s)),
        _ => parts.extend(step.iso.map(|iso| format!("ISO {iso}"))),
    }
    parts.join(" ")
}
