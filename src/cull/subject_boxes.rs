//! What the pixels about a burst's subject hold.

use serde::{Deserialize, Serialize};

use rayon::prelude::*;

use crate::core::Flag;
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::subject::{BOX_PX, SubjectBox, SubjectSums};
use crate::sharpness::subject_blur::ENERGY_SEEN;
use crate::tracking::burst_noise::BurstNoise;
use crate::tracking::frame_features::Patch;
use crate::tracking::subject_hints::SubjectMark;
use crate::tracking::subject_tracking::SubjectPosition;

/// Dense energy must exceed this many standard errors of the energy to count as seen; it is less
/// certain than the energy itself.
const DENSE_SEEN: f64 = 5.0;
/// Energy over dense energy, against the burst's usual, from which a frame's is sparse: hairs
/// across soft eyes reach 10 to 40, noise and pose alone 2.5.
const SPARSE_RATIO: f64 = 4.0;
/// Dense energy below this share of the burst's most leaves room for something sparse: glints that
/// are in focus outshine their surroundings as a hair across soft ones does, but those are sharp as well.
const SPARSE_DENSE: f64 = 0.5;
/// Dense energy below this share of the energy is no even texture (simulated subjects: 0.2-0.8).
const SPARSE_SHARE: f64 = 0.1;
/// Share of clipped pixels in the subject box from which nothing is said.
pub const MAX_CLIPPED: f64 = 0.5;
/// What the boxes about the subject hold.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct SubjectBoxes {
    /// Of each frame; `None` where the subject was lost.
    pub boxes: Vec<Option<SubjectBox>>,
    /// In which frames something sparse was taken out of the energy.
    pub sparse: Vec<bool>,
    /// The frame with most energy.
    pub lead: Option<usize>,
}

impl SubjectBoxes {
    /// Measures the pixels about the subject in every frame, as far about it as [`SubjectSums`] wants to see.
    pub fn measure(
        noise: &BurstNoise,
        positions: &[Option<SubjectPosition>],
        mark: Option<SubjectMark>,
        patches: &[Option<Patch>],
    ) -> SubjectBoxes {
        let box_px = mark.and_then(|m| m.box_px).unwrap_or(BOX_PX);
        let read = |(i, position): (usize, &Option<SubjectPosition>)| {
            subject_box((*position)?, patches[i].as_ref()?, (&noise.of_frame[i], box_px))
        };
        let mut boxes: Vec<Option<SubjectBox>> =
            positions.par_iter().enumerate().map(read).collect();
        let sparse = without_sparse(&mut boxes);
        let lead = lead(&boxes);
        SubjectBoxes { boxes, sparse, lead }
    }
}

fn subject_box(
    place: SubjectPosition,
    patch: &Patch,
    (noise, box_px): (&BandNoise, usize),
) -> Option<SubjectBox> {
    let (x, y) = (place.x_px - patch.x0 as f64, place.y_px - patch.y0 as f64);
    Some(SubjectSums::measure_box(&patch.luma(), x, y, box_px)?.under(noise))
}

/// The frame with most energy, of those whose subject is seen and not clipped.
fn lead(boxes: &[Option<SubjectBox>]) -> Option<usize> {
    boxes
        .iter()
        .enumerate()
        .filter_map(|(i, b)| Some((i, b.as_ref()?)))
        .filter(|(_, b)| b.energy > ENERGY_SEEN * b.energy_std_err && b.clipped < MAX_CLIPPED)
        .max_by(|a, b| a.1.energy.total_cmp(&b.1.energy).then(b.0.cmp(&a.0)))
        .map(|(i, _)| i)
}

/// Takes out of the ranking energies what hairs, specks or rims lying across the subject add to
/// them, and says in which frames that was done.
///
/// Energy over dense energy depends on the subject's texture, hardly on its blur (in simulated
/// bursts it stays within 2.5 of the usual): a frame where it is much larger owes its
/// energy to something sparse. A burst without even texture anywhere has nothing to compare with:
/// its sparse frames are flagged, no more.
fn without_sparse(boxes: &mut [Option<SubjectBox>]) -> Vec<bool> {
    let usable = |b: &&SubjectBox| b.clipped < MAX_CLIPPED;
    let even = |b: &&SubjectBox| {
        b.dense_energy > (DENSE_SEEN * b.energy_std_err).max(SPARSE_SHARE * b.energy)
    };
    let mut ratios: Vec<(f64, f64)> = boxes
        .iter()
        .flatten()
        .filter(usable)
        .filter(even)
        .map(|b| (b.energy / b.dense_energy, b.dense_energy))
        .collect();
    ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
    let middle = ratios.get(ratios.len().saturating_sub(1) / 2).map(|r| r.0);
    let best = ratios.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|r| r.0);
    let usual = middle.zip(best).map(|(m, b)| m.min(b));
    let most_dense = ratios.iter().map(|r| r.1).fold(0.0, f64::max);
    boxes
        .iter_mut()
        .map(|b| {
            let Some(b) = b.as_mut().filter(|b| b.energy > ENERGY_SEEN * b.energy_std_err) else {
                return false;
            };
            let most = b.dense_energy.max(0.0) + ENERGY_SEEN * b.energy_std_err;
            let Some(usual) = usual else {
                if most < SPARSE_SHARE * b.energy {
                    b.flags.raise(Flag::Sparse);
                }
                return false;
            };
            let sparse = b.energy > SPARSE_RATIO * usual * most && most < SPARSE_DENSE * most_dense;
            if sparse {
                b.energy = usual * b.dense_energy;
                b.flags.raise(Flag::Sparse);
            }
            sparse
        })
        .collect()
}

#[cfg(test)]
mod tests;
