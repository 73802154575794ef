//! A burst from what was measured to its verdicts: rank, measure movement, decide. No pixels are
//! read.

use std::borrow::Borrow;

use super::burst_verdict::BurstVerdict;
use super::evidence::{BurstEvidence, RankedBurst};
use super::measured_burst::{LocatedBurst, MeasuredBurst};
use super::movement::{movements, shaken_movements};
use crate::core::Luma;
use crate::sharpness::subject::REACH_PX;
use crate::sharpness::subject_blur::Attainable;
use crate::tracking::frame_features::{FrameFeatures, Patch, patch_corner};
use crate::tracking::locate;
use crate::tracking::subject_hints::SubjectHints;
use crate::tracking::subject_tracking::SubjectPosition;

/// Measures and judges a burst: finds its subject, reads the pixels about it, decides.
///
/// `attainable[i]` is what frame i's settings can give at best, where known. `pixels`
/// are those of all frames.
pub fn judge<S: Borrow<FrameFeatures>>(
    shots: &[S],
    hints: impl Into<SubjectHints>,
    attainable: &[Option<Attainable>],
    pixels: &[Luma<'_>],
) -> BurstVerdict {
    let hints: SubjectHints = hints.into();
    let shots: &[&FrameFeatures] = &shots.iter().map(Borrow::borrow).collect::<Vec<_>>();
    let located = LocatedBurst::find(shots, &hints);
    let about = |(luma, position): (&Luma<'_>, &Option<SubjectPosition>)| {
        let (side, size) = (2 * REACH_PX, (luma.width_px(), luma.height_px()));
        let (x0, y0) = patch_corner((*position)?.x_px, (*position)?.y_px, side, size);
        Some(Patch::cut(luma, x0, y0, side, side))
    };
    let patches: Vec<_> = pixels.iter().zip(&located.subject.positions).map(about).collect();
    let measured = located.measured(hints.mark, &patches);
    judge_measured(shots, measured, &hints, attainable)
}

/// Judges a burst that is measured; as [`judge`]. The tiles and patterns of `shots` are not asked.
pub fn judge_measured(
    shots: &[&FrameFeatures],
    measured: MeasuredBurst,
    hints: &SubjectHints,
    attainable: &[Option<Attainable>],
) -> BurstVerdict {
    let MeasuredBurst { located, subjects } = measured;
    let LocatedBurst { noise, maps, places, subject: located } = located;
    let of_any = attainable.iter().flatten().next().copied();
    let unmarked = locate::unmarked(shots, &maps, places.as_ref(), hints, of_any);
    let ranked = RankedBurst::of(BurstEvidence {
        shots,
        noise,
        maps,
        places: places.as_ref(),
        located,
        unmarked,
        subjects,
        hints,
        attainable,
    });
    let moved = ranked.to_be_measured().map(|(boxes, sharpest, px)| match ranked.shake() {
        Some(usual) => shaken_movements(&boxes, (sharpest, px), usual),
        None => movements(shots, &boxes, (sharpest, px), ranked.attainable()),
    });
    ranked.decided(moved)
}
