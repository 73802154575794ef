//! A burst from its measured frames to its verdicts: locate, read, rank, measure movement, decide.

use std::borrow::Borrow;

use rayon::prelude::*;

use super::burst_verdict::BurstVerdict;
use super::evidence::{BurstEvidence, RankedBurst};
use super::movement::movements;
use super::subject_boxes::{Fetch, SubjectBoxes};
use crate::sharpness::focus_map::FocusMap;
use crate::sharpness::subject_blur::Attainable;
use crate::tracking::burst_noise::BurstNoise;
use crate::tracking::burst_planes;
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::locate::{BurstPlaces, locate};
use crate::tracking::similarity::Similarity;
use crate::tracking::subject_hints::SubjectHints;

/// Judges a burst: finds its subject, reads the pixels about it, decides.
///
/// `attainable[i]` is what frame i's settings can give at best, where known. `fetch` returns
/// pixels around a spot.
pub fn judge<S: Borrow<FrameFeatures>>(
    shots: &[S],
    hints: impl Into<SubjectHints>,
    attainable: &[Option<Attainable>],
    fetch: &Fetch<'_>,
) -> BurstVerdict {
    let hints: SubjectHints = hints.into();
    let shots: &[&FrameFeatures] = &shots.iter().map(Borrow::borrow).collect::<Vec<_>>();
    let noise = BurstNoise::of(shots);
    let maps = maps(shots, &noise);
    let of_any = attainable.iter().flatten().next().copied();
    let places = places(shots, &noise, hints.mark.is_some());
    let located = locate(shots, &maps, places.as_ref(), &hints, of_any);
    let subjects = SubjectBoxes::read(shots, &noise, &located.positions, hints.mark, fetch);
    let ranked = RankedBurst::of(BurstEvidence {
        shots,
        noise,
        maps,
        places: places.as_ref(),
        located,
        subjects,
        hints: &hints,
        attainable,
    });
    let moved = ranked
        .to_be_measured()
        .map(|(boxes, sharpest, px)| movements(shots, &boxes, (sharpest, px), ranked.attainable()));
    ranked.decided(moved)
}

/// The focus maps of a burst's frames.
fn maps(shots: &[&FrameFeatures], noise: &BurstNoise) -> Vec<FocusMap> {
    shots.par_iter().zip(&noise.of_frame).map(|(s, n)| s.cells.map(n)).collect()
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
