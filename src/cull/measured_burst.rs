//! What is measured on a burst as a whole: where its subject is and what lies there.
//! Optics have no part in it, so that it holds whatever becomes known of them.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::subject_boxes::SubjectBoxes;
use crate::sharpness::focus_map::FocusMap;
use crate::tracking::burst_noise::BurstNoise;
use crate::tracking::burst_planes;
use crate::tracking::frame_features::{FrameFeatures, Patch};
use crate::tracking::locate::{BurstPlaces, LocatedSubject, locate};
use crate::tracking::similarity::Similarity;
use crate::tracking::subject_hints::{SubjectHints, SubjectMark};

/// A burst whose subject is found.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LocatedBurst {
    /// The noise of its frames.
    pub noise: BurstNoise,
    /// Their focus maps.
    pub maps: Vec<FocusMap>,
    /// The burst laid over itself.
    pub places: Option<BurstPlaces>,
    /// Where the subject is.
    pub subject: LocatedSubject,
}

/// A burst after its pixels are gone.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct MeasuredBurst {
    /// Where its subject is.
    pub located: LocatedBurst,
    /// What lies there.
    pub subjects: SubjectBoxes,
}

impl LocatedBurst {
    /// Finds the subject of a burst.
    pub fn find(shots: &[&FrameFeatures], hints: &SubjectHints) -> LocatedBurst {
        let noise = BurstNoise::of(shots);
        let maps: Vec<FocusMap> =
            shots.par_iter().zip(&noise.of_frame).map(|(s, n)| s.cells.map(n)).collect();
        let places = places(shots, &noise, hints.mark.is_some());
        let subject = locate(shots, &maps, places.as_ref(), hints);
        LocatedBurst { noise, maps, places, subject }
    }

    /// Measures the subject, with the pixels about it in each frame.
    pub fn measured(self, mark: Option<SubjectMark>, pixels: &[Option<Patch>]) -> MeasuredBurst {
        let positions = &self.subject.positions;
        let subjects = SubjectBoxes::measure(&self.noise, positions, mark, pixels);
        MeasuredBurst { located: self, subjects }
    }
}

impl MeasuredBurst {
    /// Whether there is something of each of `frames` frames.
    pub fn is_of(&self, frames: usize) -> bool {
        let SubjectBoxes { boxes, sparse, lead } = &self.subjects;
        let laid_over = self.located.places.as_ref().is_none_or(|p| {
            p.overlaid.to_frame.len() == frames
                && p.overlaid.middle < frames
                && p.planes.as_ref().is_none_or(|p| p.plane_px.len() == frames)
        });
        laid_over
            && [
                self.located.maps.len(),
                self.located.subject.positions.len(),
                boxes.len(),
                sparse.len(),
            ] == [frames; 4]
            && lead.is_none_or(|lead| lead < frames)
    }
}

/// A burst laid over itself; `None` where nothing would be asked of it.
fn places(shots: &[&FrameFeatures], noise: &BurstNoise, is_marked: bool) -> Option<BurstPlaces> {
    if is_marked && shots.len() < burst_planes::MIN_FRAMES {
        return None;
    }
    let to_frame: Vec<Similarity> =
        (0..shots.len()).into_par_iter().map(|i| burst_planes::overlay(shots, i)).collect();
    BurstPlaces::read(shots, &noise.noise, &to_frame)
}
