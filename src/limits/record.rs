//! The record of `chart`: a rig's limits at one magnification, as far as its own frames show them.
//!
//! A value that is missing is `null`, never 0.

use crate::report::header::Header;
use serde::Serialize;

use super::findings::LimitFinding;
use crate::core::stats::Z95;
use crate::core::verdict::Verdict;
use crate::report::parts::{BreakdownRow, Proportion};
use crate::report::sentences;
use crate::report::value::WithError;

/// Number of the record's form; raised when a field changes its meaning.
pub const CHART_SCHEMA: u32 = 2;

/// The fitted numbers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChartModel {
    /// ln of the subject's contrast power over light's own noise at ISO 100.
    pub ln_contrast_over_noise: WithError,
    /// Aberration blur σ on the sensor times the working f-number, µm.
    pub aberration_um: WithError,
    /// ln of the noise of reading over light's own at ISO 100.
    pub ln_read_over_shot: WithError,
    /// Detail of frames from the field over that of tests at the same setting; `null` unless both
    /// kinds were there.
    pub field_over_test: Option<WithError>,
    /// Scatter of single frames about the model, share of the detail.
    pub scatter: f64,
    /// Pixel pitch, µm.
    pub pitch_um: f64,
    /// Wavelength, µm.
    pub wavelength_um: f64,
}

/// Whether an ISO is whole stops from 100, as every camera can be set.
pub fn whole_iso_stop(iso: f64) -> bool {
    let stops = (iso / 100.0).log2();
    (stops - stops.round()).abs() < 0.01 && stops > -0.5
}

/// One place of the field of detail.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GridCell {
    /// Working f-number.
    pub working_f_number: f64,
    /// ISO.
    pub iso: f64,
    /// Finest line above noise, µm on the subject; `null` when no line is.
    pub finest_um: Option<f64>,
    /// Detail, bits per pixel.
    pub detail_bits_px: f64,
    /// One standard error of the detail, bits per pixel.
    pub std_err: f64,
    /// One standard error of the finest line, µm.
    pub finest_std_err_um: Option<f64>,
}

/// Where a stop costs as much as the ISO that pays for it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BreakEven {
    /// ISO.
    pub iso: f64,
    /// Working f-number.
    pub working_f_number: f64,
    /// One standard error, stops.
    pub std_err_stops: f64,
}

/// The best place along a line of equal exposure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BestPoint {
    /// Exposure as stops of light: log2(N²·100/ISO); the same all along the line.
    pub exposure_stops: f64,
    /// Working f-number.
    pub working_f_number: f64,
    /// ISO.
    pub iso: f64,
    /// Detail there, bits per pixel.
    pub detail_bits_px: f64,
    /// Whether the line goes on beyond what the data support on that side: the best may lie
    /// further.
    pub at_end: bool,
}

/// A working f-number and the marked one that gives it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FNumberPair {
    /// Working.
    pub working_f_number: f64,
    /// Marked.
    pub marked_f_number: f64,
}

/// One frame of the shooter's.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dot {
    /// Working f-number.
    pub working_f_number: f64,
    /// ISO.
    pub iso: f64,
    /// Detail, bits per pixel.
    pub detail_bits_px: f64,
    /// Its verdict.
    pub verdict: Verdict,
    /// Whether it is from the field.
    pub field: bool,
    /// Whether the fit uses it.
    pub used: bool,
}

/// Why there is no limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum HandState {
    /// A limit.
    Fitted,
    /// A trend, but the frames leave its limit open by more than a limit is good for.
    Wide,
    /// Too few frames.
    TooFew,
    /// Every frame held still.
    AllStill,
    /// No frame held still.
    NoneStill,
    /// Still on one side, not on the other: the limit lies between.
    Separated,
    /// Slower shutters do not do worse in these frames.
    NoTrend,
}

/// Frames at one shutter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HandRow {
    /// Shutter, whole stops, s.
    pub shutter_s: f64,
    /// Frames that held still, of those that moved or hit.
    pub still: Proportion,
    /// Median smear of the frames in which movement was found, µm on the subject.
    pub shake_um: Option<f64>,
    /// Its standard error, from [`MIN_FOR_ERROR`] frames on.
    pub shake_std_err_um: Option<f64>,
    /// How many those are.
    pub shaken: u32,
}

/// Frames from which a median has an error: the spread of fewer says little.
pub const MIN_FOR_ERROR: u32 = 5;

/// What a limit of the hand is to be good for, stops; the models behind it are no better.
pub const GOOD_FOR_STOPS: f64 = 1.0 / 3.0;

/// A shutter at which half the frames hold still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HandLimit {
    /// The shutter, s.
    pub half_hit_shutter_s: f64,
    /// Lower end of its 95 % interval, s.
    pub low: f64,
    /// Upper end, s.
    pub high: f64,
    /// Frames.
    pub n: u32,
}

impl HandLimit {
    /// Whether its error leaves it good for what limits are used for, [`GOOD_FOR_STOPS`]: of 171
    /// simulated shooters whose limit was, 95 % were within that of the truth; of 26 others, 69 %.
    pub fn is_good(&self) -> bool {
        self.std_err_stops() <= GOOD_FOR_STOPS
    }

    /// Standard error, stops.
    pub fn std_err_stops(&self) -> f64 {
        (self.high / self.low).log2() / (2.0 * Z95)
    }

    /// Whether another limit is too far from this one for chance (5 %, errors independent), and
    /// by more than limits are good for.
    pub fn contradicts(&self, other: &HandLimit) -> bool {
        let apart = (self.half_hit_shutter_s / other.half_hit_shutter_s).log2().abs();
        let chance = Z95 * self.std_err_stops().hypot(other.std_err_stops());
        apart > chance.max(GOOD_FOR_STOPS)
    }
}

/// The limit that the lengths of smears give.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SmearLimit {
    /// The limit; its frames are all that were judged, moved or not.
    #[serde(flatten)]
    pub limit: HandLimit,
    /// Frames whose smear was long enough to be counted with its length.
    pub seen: u32,
    /// Speed that half the frames stay below, mm/s on the subject.
    pub speed_mm_s: WithError,
    /// How alike the speeds are: Weibull's shape, 2 for a hand that is equally steady at all
    /// times.
    pub shape: f64,
}

/// How still the hand is at one magnification, with or without flash.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Handheld {
    /// Middle magnification of the frames.
    pub magnification: f64,
    /// Whether a flash fired.
    pub flash: bool,
    /// What became of the fit.
    pub state: HandState,
    /// Shutter at which half the frames hold still, s: by verdicts and smears together where they
    /// agree, else by the verdicts alone.
    pub half_hit_shutter_s: Option<f64>,
    /// Lower end of its 95 % interval, s.
    pub low: Option<f64>,
    /// Upper end, s.
    pub high: Option<f64>,
    /// Chance per stop: slope of the logit over log2 of the shutter speed.
    pub slope_per_stop: Option<WithError>,
    /// The limit by the verdicts alone, from the logistic fit.
    pub by_verdicts: Option<HandLimit>,
    /// The limit by the lengths of smears.
    pub by_smears: Option<SmearLimit>,
    /// Frames that hit or moved.
    pub n: u32,
    /// By shutter, fastest first.
    pub rows: Vec<HandRow>,
    /// The fitted chance with its 95 % band: shutter, chance, low, high.
    pub curve: Vec<(f64, f64, f64, f64)>,
}

/// What to shoot next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShootNext {
    /// Working f-number.
    pub working_f_number: f64,
    /// The same as marked at this magnification.
    pub marked_f_number: f64,
    /// ISO settings.
    pub isos: Vec<u32>,
}

/// The record of `chart`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChartRecord {
    /// Number of the form ([`CHART_SCHEMA`]), program and version.
    #[serde(flatten)]
    pub header: Header,
    /// Name of the rig.
    pub rig: Option<String>,
    /// Middle magnification of the frames.
    pub magnification: Option<f64>,
    /// The marked f-numbers of the chart's axis; empty where they are not known.
    pub marked_axis: Vec<FNumberPair>,
    /// The fitted numbers; `null` when the frames allow none.
    pub model: Option<ChartModel>,
    /// Detail by working f-number and ISO, only where frames support it.
    pub grid: Vec<GridCell>,
    /// Where a stop costs as much as the ISO that pays for it.
    pub break_even: Vec<BreakEven>,
    /// The best place along lines of equal exposure.
    pub best: Vec<BestPoint>,
    /// The hand at this magnification without flash.
    pub handheld: Option<Handheld>,
    /// The hand at every magnification, with and without flash.
    pub hands: Vec<Handheld>,
    /// The hand in clips, by the frames of clips alone.
    pub clip_hands: Vec<Handheld>,
    /// Frames of clips of the rig, one every half second; they count nowhere but there.
    pub clip_frames: u32,
    /// Hit rate by working f-number, in whole stops.
    pub by_aperture: Vec<BreakdownRow>,
    /// Hit rate by magnification.
    pub by_magnification: Vec<BreakdownRow>,
    /// Hit rate by outing.
    pub by_outing: Vec<BreakdownRow>,
    /// First causes of what missed.
    pub causes: Vec<BreakdownRow>,
    /// Frames of the rig.
    pub frames: u32,
    /// Frames that the fit uses.
    pub frames_used: u32,
    /// Of those, from tests.
    pub test_frames_used: u32,
    /// The frames as dots: evenly drawn from all when there are many.
    pub dots: Vec<Dot>,
    /// What to shoot next.
    pub next: Vec<ShootNext>,
    /// Frames that people decided on: their word counts here, not the verdict.
    pub decided: u32,
    /// Of those, frames whose verdict was another.
    pub overruled: u32,
    /// Findings.
    #[serde(serialize_with = "sentences::serialize")]
    pub findings: Vec<LimitFinding>,
}
