//! What the log holds: outings, their frames, and what was measured of a body's noise.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::report::value::WithError;

/// What the frames of an outing are, so that tests and clips do not mix with the field.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum OutingKind {
    /// Stills of living subjects.
    Field,
    /// Frames taken to measure the equipment.
    Test,
    /// Frames of clips.
    Clip,
}

impl OutingKind {
    /// The word in the database and for people.
    pub fn word(self) -> &'static str {
        match self {
            OutingKind::Field => "field",
            OutingKind::Test => "test",
            OutingKind::Clip => "clip",
        }
    }

    /// From its word.
    pub fn from_word(word: &str) -> Option<OutingKind> {
        [OutingKind::Field, OutingKind::Test, OutingKind::Clip]
            .into_iter()
            .find(|k| k.word() == word)
    }
}

/// One frame as logged. A value that was not measured or not known is `None`; so is one that an
/// earlier version did not log.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct LoggedFrame {
    /// Where it was when it was measured.
    pub path: String,
    /// What its bytes are, as 64 hexadecimal digits (BLAKE3 of the file).
    pub content_id: String,
    /// When it was taken, local time as recorded.
    pub taken_at: Option<String>,
    /// "raw" or "rendered".
    pub source: String,
    /// Width of the upright picture, px.
    pub width_px: u32,
    /// Height of the upright picture, px.
    pub height_px: u32,
    /// Number of its burst within the outing, from 1.
    pub burst: u32,
    /// Marked f-number.
    pub marked_f_number: Option<f64>,
    /// Working f-number.
    pub working_f_number: Option<f64>,
    /// Exposure time, s.
    pub shutter_s: Option<f64>,
    /// ISO.
    pub iso: Option<u32>,
    /// Whether a flash fired.
    pub flash_fired: Option<bool>,
    /// Focal length, mm.
    pub focal_mm: Option<f64>,
    /// Body.
    pub body: Option<String>,
    /// Lens.
    pub lens: Option<String>,
    /// Name of the rig.
    pub rig: Option<String>,
    /// Magnification.
    pub magnification: Option<WithError>,
    /// Pixel pitch, µm.
    pub pixel_pitch_um: Option<f64>,
    /// The verdict's word.
    pub verdict: String,
    /// Words of the causes, largest first, separated by spaces.
    pub causes: String,
    /// Share of the loss that the first cause explains, 0..1.
    pub cause_share: Option<f64>,
    /// Blur at the subject, px.
    pub blur_sigma_px: Option<WithError>,
    /// Blur that the settings allow, px.
    pub attainable_blur_px: Option<f64>,
    /// Blur over the burst's best.
    pub blur_ratio: Option<WithError>,
    /// Detail at the subject, bits a pixel.
    pub detail_bits_px: Option<WithError>,
    /// Noise, 8-bit steps.
    pub noise_sigma_dn: Option<WithError>,
    /// Length of the smear of movement, px.
    pub motion_length_px: Option<WithError>,
    /// Brightness at the subject, 8-bit steps.
    pub subject_mean_dn: Option<f64>,
    /// Keys of the frame's cautions, separated by spaces.
    pub flags: String,
}

/// An outing without its frames.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outing {
    /// Number in this log; another log may give another one.
    pub id: i64,
    /// What the outing is, in any log: made from its kind and its frames' contents.
    pub uid: String,
    /// What its frames are.
    pub kind: OutingKind,
    /// What was given to the program, shortened to names.
    pub title: String,
    /// When it was logged, UTC.
    pub logged_at: String,
    /// Version of the program that measured it.
    pub program_version: String,
    /// What it is of, as the shooter said.
    pub subject: Option<String>,
    /// Rig that the shooter set for the whole outing, in place of what the frames say.
    pub rig: Option<String>,
    /// Whether the shooter wants it left out of charts and plans.
    pub excluded: bool,
    /// When a person last corrected it, UTC.
    pub corrected_at: Option<String>,
    /// Frames logged.
    #[serde(rename = "frame_count")]
    pub frames: u32,
    /// Frames called hit.
    #[serde(rename = "hit_count")]
    pub hits: u32,
    /// Capture time of its earliest frame.
    pub first_taken_at: Option<String>,
}

/// An outing about to be logged.
#[derive(Debug, Clone, PartialEq)]
pub struct NewOuting {
    /// What its frames are.
    pub kind: OutingKind,
    /// What was given to the program, shortened to names.
    pub title: String,
    /// Version of the program.
    pub program_version: String,
    /// What it is of.
    pub subject: Option<String>,
    /// The frames in order.
    pub frames: Vec<LoggedFrame>,
}

/// Noise of a body at one level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LoggedSigma {
    /// Level, share of saturation above black (raw) or of white (rendered).
    pub level: f64,
    /// Standard deviation, DN of the file.
    pub sigma_dn: f64,
    /// One standard error, DN.
    pub std_err_dn: Option<f64>,
}

/// Noise of a body at one ISO setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LoggedNoise {
    /// When it was logged, UTC; set by the log.
    pub logged_at: String,
    /// The body.
    pub body: String,
    /// ISO.
    pub iso: Option<u32>,
    /// "raw" or "rendered".
    pub source: String,
    /// Frames looked at.
    pub frames: u32,
    /// How it was come by: "pair", "single", "series" or "upper bound".
    pub method: String,
    /// From black to saturation, DN.
    pub range_dn: Option<f64>,
    /// Gain, DN per electron.
    pub gain_dn_per_e: Option<WithError>,
    /// Read noise, electrons.
    pub read_noise_e: Option<WithError>,
    /// Noise by level.
    pub sigma_at: Vec<LoggedSigma>,
    /// Whether it is a figure and not only a bound.
    pub trusted: bool,
}

/// What a person changes on an outing. `None` leaves a thing as it is; an empty text takes it
/// away.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Correction {
    /// What the outing is of.
    pub subject: Option<String>,
    /// Rig of the whole outing.
    pub rig: Option<String>,
    /// What its frames are.
    pub kind: Option<OutingKind>,
    /// Whether it is left out of charts and plans.
    pub excluded: Option<bool>,
}

/// The title of an outing: the last parts of the paths that were given. Whole paths are in the frames.
pub fn outing_title(paths: &[String]) -> String {
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
            let more = paths.len().saturating_sub(3);
            format!("{}, {}, {} and {more} more", name(first), name(second), name(third))
        }
        _ => paths.iter().map(name).collect::<Vec<_>>().join(", "),
    }
}
