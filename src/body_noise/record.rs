//! The record of `noise`: what a body's noise is at each ISO.
//!
//! Levels are shares of saturation (raw) or of white on the encoded scale (rendered). A value
//! that is missing is `null`, never 0.

use crate::report::header::Header;
use crate::report::value::WithError;
use serde::Serialize;

use super::findings::NoiseFinding;
use crate::report::parts::{FrameSource, SkippedRecord};
use crate::report::sentences;

/// Number of the record's form; raised when a field changes its meaning.
pub const NOISE_SCHEMA: u32 = 2;

/// How a row was come by, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum NoiseMethod {
    /// The difference of two frames of a still scene.
    #[serde(rename = "pair")]
    Pair,
    /// Flat places of one frame.
    #[serde(rename = "single")]
    Single,
    /// From the body's other ISO settings.
    #[serde(rename = "series")]
    Series,
    /// One frame without enough flat places: noise is at most this.
    #[serde(rename = "upper bound")]
    UpperBound,
}

impl NoiseMethod {
    /// The word shown to people.
    pub fn word(self) -> &'static str {
        match self {
            NoiseMethod::Pair => "pair",
            NoiseMethod::Single => "single",
            NoiseMethod::Series => "series",
            NoiseMethod::UpperBound => "upper bound",
        }
    }
}

/// Noise at one level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SigmaAt {
    /// Level, share of saturation above black (raw) or of white (rendered).
    pub level: f64,
    /// Standard deviation, DN of the file (8-bit steps for rendered frames).
    pub sigma_dn: f64,
    /// One standard error of it, DN.
    pub std_err: Option<f64>,
}

/// One point of the photon-transfer curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TransferPoint {
    /// Mean signal above black, DN.
    pub signal_dn: f64,
    /// Standard deviation there, DN.
    pub sigma_dn: f64,
    /// Whether the fit uses it; the others hold texture.
    pub kept: bool,
}

/// Noise at one ISO setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IsoNoise {
    /// ISO; `None` when the files do not tell.
    pub iso: Option<u32>,
    /// What it was measured on.
    pub source: FrameSource,
    /// Frames looked at.
    pub frames: u32,
    /// How it was come by.
    pub method: NoiseMethod,
    /// From black to saturation, DN.
    pub range_dn: Option<f64>,
    /// Gain K, DN per electron.
    pub gain_dn_per_e: Option<WithError>,
    /// Read noise, electrons, rounding taken out.
    pub read_noise_e: Option<WithError>,
    /// Noise at a dark, a middle and a bright level.
    pub sigma_at: Vec<SigmaAt>,
    /// The photon-transfer curve it was read from.
    pub curve: Vec<TransferPoint>,
    /// Whether it is a figure and not only a bound.
    pub trusted: bool,
}

/// Noise of one body.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BodyNoise {
    /// Make and model as written in the files.
    pub body: String,
    /// One row an ISO setting and source, raw before rendered, ISO rising.
    pub isos: Vec<IsoNoise>,
    /// ISO settings from which the sensor reads out with a higher gain of its own.
    pub gain_steps_iso: Vec<u32>,
    /// Findings.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<NoiseFinding>,
}

/// The record of `noise`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NoiseRecord {
    /// Number of the form ([`NOISE_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// What was given to the program.
    pub paths: Vec<String>,
    /// One entry a body.
    pub bodies: Vec<BodyNoise>,
    /// Frames passed over.
    pub skipped: Vec<SkippedRecord>,
}
