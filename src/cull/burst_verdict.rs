//! A burst and its frames after they are judged.

use super::record::CauseShare;
use crate::core::verdict::Verdict;
use crate::core::{FlagSet, Measured};
use crate::report::parts::SubjectFound;
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::direction::Smear;
use crate::sharpness::focus_map::FocusMap;
use crate::sharpness::subject::SubjectBox;
use crate::sharpness::subject_blur::{BlurRange, Reached, SubjectBlur};
use crate::tracking::subject_hints::SubjectSpot;
use crate::tracking::subject_tracking::SubjectPosition;

/// One frame after its burst is judged.
#[derive(Debug, Clone)]
pub struct FrameVerdict {
    /// Where the subject is.
    pub place: Option<SubjectPosition>,
    /// What its box holds.
    pub subject: Option<SubjectBox>,
    /// Blur by which the verdict is made, px, with movement.
    pub judged_px: Option<Measured>,
    /// The same with the range that holds 68 % of the probability.
    pub range: Option<BlurRange>,
    /// Blur over the reference.
    pub ratio: Option<Measured>,
    /// Movement, when found.
    pub movement: Option<Movement>,
    /// The verdict.
    pub verdict: Verdict,
    /// What cost the rest, largest first.
    pub causes: Vec<CauseShare>,
    /// Sharpest area: centre in px of the file and blur.
    pub sharpest: Option<(f64, f64, Measured)>,
    /// Share of tiles with a value whose blur is within the hit limit.
    pub sharp_area: Option<f64>,
    /// Number of 64-px tiles in the largest connected sharp area.
    pub sharp_cluster: usize,
    /// Area that lies in the plane of the frame's focus, px², where the burst's planes are known.
    pub in_plane_px2: Option<f64>,
    /// Flags.
    pub flags: FlagSet,
}

impl FrameVerdict {
    /// A frame that nothing is decided on yet.
    pub fn unjudged(subject: Option<SubjectBox>) -> FrameVerdict {
        FrameVerdict {
            place: None,
            subject,
            judged_px: None,
            range: None,
            ratio: None,
            movement: None,
            verdict: Verdict::Unclear,
            causes: Vec::new(),
            sharpest: None,
            sharp_area: None,
            sharp_cluster: 0,
            in_plane_px2: None,
            flags: FlagSet::EMPTY,
        }
    }
}

/// Movement found in a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement {
    /// The fit.
    pub smear: Smear,
    /// Whether the whole frame moved (else only the subject).
    pub whole_frame: bool,
    /// Share of the light that is smeared, 0..1: below 1 a sharp picture lies under the smear.
    pub share: f64,
    /// Share of the directional scatter that it explains, 0..1.
    pub explained: f64,
}

impl Movement {
    /// A smear of the whole frame in all frames of a burst.
    pub fn of_all(smear: Smear) -> Movement {
        Movement { smear, whole_frame: true, share: 1.0, explained: 1.0 }
    }
}

/// A judged burst.
#[derive(Debug, Clone)]
pub struct BurstVerdict {
    /// Its frames, in the order given.
    pub frames: Vec<FrameVerdict>,
    /// The best frame.
    pub best: Option<usize>,
    /// How the subject was found.
    pub found: SubjectFound,
    /// The noise model of the burst.
    pub noise: BandNoise,
    /// Whether any frame showed its noise.
    pub noise_seen: bool,
    /// Maps under that model.
    pub maps: Vec<FocusMap>,
    /// The blur that verdicts are relative to, px.
    pub reference_px: Option<f64>,
    /// Whether even the sharpest frame is soft.
    pub best_is_soft: bool,
    /// Whether nearly every frame is smeared.
    pub is_shaken: bool,
    /// Whether the burst reached focus at its subject.
    pub reached: Reached,
    /// Blur from the ring spectra, where the subject's could be read.
    pub blur: Option<SubjectBlur>,
    /// Without a mark: the frame and the place that could be meant instead of the best.
    pub other: Option<SubjectSpot>,
}
