//! Where the subject of a burst is in each of its frames: where it was marked, else where the planes
//! of the burst's focus or its sharpest area say, and followed from there.

use serde::{Deserialize, Serialize};

use super::burst_planes::{self, OverlaidBurst};
use super::frame_features::FrameFeatures;
use super::planes::BurstPlanes;
use super::similarity::Similarity;
use super::subject_hints::SubjectHints;
use super::subject_tracking::{self, SubjectPosition};
use super::unmarked_subject::UnmarkedSubject;
use super::whole_frames;
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::focus_map::FocusMap;
use crate::sharpness::subject_blur::Attainable;

/// Most that a guessed place vouches for.
pub const GUESSED_CONFIDENCE: f64 = 0.5;

/// A burst laid over itself, as far as that could be done.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BurstPlaces {
    /// The places of the middle frame in all frames.
    pub overlaid: OverlaidBurst,
    /// The planes of focus through them, where they fit.
    pub planes: Option<BurstPlanes>,
}

impl BurstPlaces {
    /// Lays a burst over itself; `to_frame` holds [`burst_planes::overlay`] of each frame.
    pub fn read(
        shots: &[&FrameFeatures],
        noise: &BandNoise,
        to_frame: &[Similarity],
    ) -> Option<BurstPlaces> {
        let overlaid = OverlaidBurst::read(shots, noise, to_frame)?;
        let planes = overlaid.planes();
        Some(BurstPlaces { overlaid, planes })
    }

    /// Places and planes, where there are planes.
    pub fn fitted(&self) -> Option<(&OverlaidBurst, &BurstPlanes)> {
        Some((&self.overlaid, self.planes.as_ref()?))
    }

    /// Whether a marked subject may lie where focus never came, by the planes and the whole frames;
    /// `None` with too few frames to say.
    pub fn is_missed(
        places: Option<&BurstPlaces>,
        positions: &[Option<SubjectPosition>],
        maps: &[FocusMap],
        attainable: Option<Attainable>,
    ) -> Option<bool> {
        if positions.len() < burst_planes::MIN_FRAMES {
            return None;
        }
        let Some((overlaid, planes)) = places.and_then(BurstPlaces::fitted) else {
            return Some(true);
        };
        let spot = positions[overlaid.middle].map(|p| (p.x_px, p.y_px));
        let beyond_px = spot.and_then(|spot| overlaid.beyond_px(planes, spot));
        Some(whole_frames::is_missed(beyond_px, maps, attainable))
    }
}

/// The subject of a burst.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LocatedSubject {
    /// Where it is in each frame; `None` where it was lost, everywhere when none was found.
    pub positions: Vec<Option<SubjectPosition>>,
    /// Whether a place was found or given.
    pub is_found: bool,
}

/// What the planes say of a subject that is not marked.
pub fn unmarked<'a>(
    shots: &[&FrameFeatures],
    maps: &[FocusMap],
    places: Option<&'a BurstPlaces>,
    hints: &SubjectHints,
    attainable: Option<Attainable>,
) -> Option<UnmarkedSubject<'a>> {
    let fitted = places.and_then(BurstPlaces::fitted).filter(|_| hints.mark.is_none())?;
    let blurred = whole_frames::blurred_chance(shots, maps, attainable);
    Some(UnmarkedSubject::find(fitted, hints, blurred))
}

/// Finds the subject of a burst and follows it through the frames. `maps` are those of its frames.
/// What settings allow does not matter for the place.
pub fn locate(
    shots: &[&FrameFeatures],
    maps: &[FocusMap],
    places: Option<&BurstPlaces>,
    hints: &SubjectHints,
) -> LocatedSubject {
    let mark = hints.mark;
    let spot = unmarked(shots, maps, places, hints, None).map(|u| u.spot).or(hints.recorded);
    let spot = spot.map(|s| (s.frame, s.x_px, s.y_px));
    let sharpest =
        || subject_tracking::track_subject(shots, maps).map(|f| (f.frame, f.x_px, f.y_px));
    let start = mark.map(|m| (m.frame, m.x_px, m.y_px)).or(spot).or_else(sharpest);
    let mut positions = match start {
        Some((frame, x, y)) => subject_tracking::track_template_through(shots, frame, x, y),
        None => vec![None; shots.len()],
    };
    if mark.is_none() {
        positions.iter_mut().flatten().for_each(guess);
    }
    LocatedSubject { positions, is_found: start.is_some() }
}

/// Takes a place for one that nobody chose.
fn guess(position: &mut SubjectPosition) {
    position.confidence = position.confidence.min(GUESSED_CONFIDENCE);
}

#[cfg(test)]
mod tests;
