//! What is found of frames, bursts and outings, and what can be done about it: numbers and names,
//! no sentences. Those are in `sentences.rs`.

use serde::{Deserialize, Serialize};

use crate::core::verdict::{Cause, Verdict};
use crate::core::{Flag, FlagSet};
use crate::store::equipment::EquipmentFinding;

/// Why a frame has its verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum Reason {
    /// The subject was not found again in this frame.
    SubjectLost,
    /// The subject is too dark.
    TooDark,
    /// The subject is clipped.
    BlownOut,
    /// Noise hides how sharp the subject is.
    NoiseHides,
    /// It is sharp, but the file is not at its size of capture.
    Resized,
    /// Other subjects would give other verdicts.
    SubjectUnsure,
    /// It is sharp at a guessed place, and there is no second frame.
    GuessedAlone,
    /// Too little texture at the subject.
    NoTexture,
    /// Sharp.
    Hit {
        /// Whether it is the best of its burst.
        is_best: bool,
        /// Blur over the yardstick.
        ratio: Option<RatioOver>,
        /// What the settings allow.
        settings: SettingsNote,
    },
    /// Near or a miss.
    Blurred {
        /// Blur over the yardstick.
        ratio: Option<RatioOver>,
        /// What blurred it.
        by: BlurReason,
    },
    /// Words of a record that was read from a file.
    AsRead(String),
}

impl Reason {
    /// Why a frame could not be judged.
    pub fn unclear(flags: FlagSet, first: Option<Cause>) -> Reason {
        match first {
            _ if flags.has(Flag::SubjectLost) => Reason::SubjectLost,
            Some(Cause::UnderExposed) => Reason::TooDark,
            Some(Cause::Clipped) => Reason::BlownOut,
            Some(Cause::Noise) => Reason::NoiseHides,
            Some(_) => Reason::NoTexture,
            None if flags.has(Flag::Resized) => Reason::Resized,
            None if flags.has(Flag::Alone) => Reason::GuessedAlone,
            None => Reason::SubjectUnsure,
        }
    }

    /// For a record of an earlier form, which holds the sentence alone: finds from the rest of the
    /// frame the reasons whose words depend on where they are shown.
    pub fn recover(&mut self, flags: FlagSet, verdict: Verdict, first: Option<Cause>) {
        let is_text = matches!(self, Reason::AsRead(_));
        if is_text && (verdict == Verdict::Unclear || flags.has(Flag::SubjectLost)) {
            *self = Reason::unclear(flags, first);
        }
    }
}

/// A blur over another one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RatioOver {
    /// The ratio.
    pub ratio: f64,
    /// One standard error of it.
    pub std_err: Option<f64>,
    /// What it is over.
    pub over: Yardstick,
}

/// The blur that others are held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Yardstick {
    /// What the settings allow: no frame of the burst is sharp.
    Settings,
    /// What a frame without neighbours can be held to.
    SingleFrame,
    /// The burst's sharpest frame.
    SharpestFrame,
}

/// The blur of a sharp frame beside what its settings allow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum SettingsNote {
    /// F-number or pixel pitch are not known.
    Unknown,
    /// Diffraction makes most of what the settings allow.
    Diffraction {
        /// Working f-number.
        working_f_number: f64,
        /// Share of the allowed blur squared, 0..1.
        share: f64,
        /// Allowed blur, px.
        allowed_px: f64,
    },
    /// As sharp as the settings allow.
    Reached {
        /// Allowed blur, px.
        allowed_px: f64,
    },
    /// The settings allow less blur.
    Allowed {
        /// Allowed blur, px.
        allowed_px: f64,
    },
}

/// What blurred a frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum BlurReason {
    /// The whole frame is smeared.
    Shake(Option<SmearLength>),
    /// The subject is smeared.
    SubjectMotion(Option<SmearLength>),
    /// A smeared image lies over a sharp one.
    Ghosted(Option<SmearLength>),
    /// No frame of the burst is in focus at the subject.
    BurstIsSoft,
    /// Something else in the frame is sharp.
    Misfocused,
    /// Nothing in the frame is sharp.
    NothingSharp,
}

/// Length of a smear.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SmearLength {
    /// Length, px.
    pub px: f64,
    /// One standard error of it, px.
    pub std_err_px: f64,
}

/// What is found of a burst.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum BurstFinding {
    /// No frame is sharp at the subject.
    NothingSharp {
        /// Whether nearly every frame is smeared.
        is_shaken: bool,
        /// Least blur and what the settings allow, px.
        least_and_allowed_px: Option<(f64, f64)>,
    },
    /// Two places could be the subject, and each has another best frame.
    TwoSubjects {
        /// The one that was taken.
        taken: PlaceInFrame,
        /// The other.
        other: PlaceInFrame,
    },
    /// No frame has enough texture to find a subject.
    NoSubject,
    /// Frames carry no capture times.
    NoCaptureTimes,
    /// Words of a record that was read from a file.
    AsRead(FindingAsRead),
}

/// A place in the frame that is best there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlaceInFrame {
    /// Path of the frame.
    pub path: String,
    /// From the left, fraction of the upright picture.
    pub x: f64,
    /// From the top, fraction of the upright picture.
    pub y: f64,
}

/// What is found of an outing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum OutingFinding {
    /// Subjects were guessed.
    SubjectGuessed {
        /// Bursts without a mark.
        bursts: u32,
    },
    /// Bursts of which no frame is sharp at the subject.
    NothingSharp {
        /// Their numbers.
        bursts: Vec<u32>,
    },
    /// A cause of many near and missed frames.
    Lost {
        /// The cause.
        cause: Cause,
        /// Near and missed frames with that first cause.
        frames: usize,
        /// Near and missed frames.
        of: usize,
        /// Whether bursts without a sharp frame are left out of both.
        in_other_bursts: bool,
    },
    /// Rigs and frames do not say enough of each other.
    Equipment(EquipmentFinding),
    /// The record contradicts itself.
    Contradiction(String),
    /// Words of a record that was read from a file.
    AsRead(FindingAsRead),
}

/// A finding of a record that was read from a file, in its words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FindingAsRead {
    /// What was found; earlier forms call it `says`.
    #[serde(alias = "says")]
    pub message: String,
    /// What to do about it; earlier forms call it `next`.
    #[serde(alias = "next")]
    pub advice: Option<String>,
}

/// What a photographer can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Advice {
    /// Mark the subject.
    MarkSubject,
    /// Hold the camera still.
    ShortenOrSupport,
    /// Swing further through focus, or mark another subject.
    FocusFurtherOrMark,
    /// Swing further through focus.
    FocusFurther,
    /// A shorter shutter time against shake.
    AgainstShake,
    /// A shorter shutter time against a moving subject.
    AgainstSubjectMotion,
    /// A shorter shutter time against ambient light beside the flash.
    AgainstGhosts,
    /// More frames through focus, or more depth.
    AgainstMisfocus,
    /// More frames through focus.
    AgainstSoftness,
    /// Report the fault.
    ReportFault,
}

impl From<FindingAsRead> for BurstFinding {
    fn from(read: FindingAsRead) -> Self {
        BurstFinding::AsRead(read)
    }
}

impl From<FindingAsRead> for OutingFinding {
    fn from(read: FindingAsRead) -> Self {
        OutingFinding::AsRead(read)
    }
}

impl BurstFinding {
    /// What to do about it; what a file says in words has none here.
    pub fn advice(&self) -> Option<Advice> {
        match self {
            BurstFinding::NothingSharp { is_shaken: true, .. } => Some(Advice::ShortenOrSupport),
            BurstFinding::NothingSharp { is_shaken: false, .. } => Some(Advice::FocusFurtherOrMark),
            BurstFinding::TwoSubjects { .. } | BurstFinding::NoSubject => Some(Advice::MarkSubject),
            BurstFinding::NoCaptureTimes | BurstFinding::AsRead(_) => None,
        }
    }
}

impl OutingFinding {
    /// What to do about it; rigs, and what a file says in words, have none here.
    pub fn advice(&self) -> Option<Advice> {
        match self {
            OutingFinding::SubjectGuessed { .. } => Some(Advice::MarkSubject),
            OutingFinding::NothingSharp { .. } => Some(Advice::FocusFurther),
            OutingFinding::Lost { cause, .. } => Advice::against(*cause),
            OutingFinding::Contradiction(_) => Some(Advice::ReportFault),
            OutingFinding::Equipment(_) | OutingFinding::AsRead(_) => None,
        }
    }
}

impl Advice {
    /// What helps against a cause; `None` where nothing does as a rule.
    pub fn against(cause: Cause) -> Option<Advice> {
        match cause {
            Cause::Shake => Some(Advice::AgainstShake),
            Cause::SubjectMotion => Some(Advice::AgainstSubjectMotion),
            Cause::Ghosted => Some(Advice::AgainstGhosts),
            Cause::Misfocused => Some(Advice::AgainstMisfocus),
            Cause::Soft => Some(Advice::AgainstSoftness),
            Cause::Noise
            | Cause::Diffraction
            | Cause::UnderExposed
            | Cause::Clipped
            | Cause::NoTexture => None,
        }
    }
}
