//! The pixels about a burst's subject: what of them is at hand is taken, and a frame where they
//! are not is decoded again, here and nowhere else.

use rayon::prelude::*;

use super::measured_frame::{self, MeasuredFrame};
use super::to_record::DETAIL_PX;
use crate::image::{self, CROP_PX, Frame, Spool, SpooledSamples, Want};
use crate::sharpness::subject::REACH_PX;
use crate::tracking::frame_features::{Patch, PatchLuma, patch_corner};
use crate::tracking::subject_tracking::SubjectPosition;

/// Side of the patch about a subject: what measuring needs and a margin for the picture, px.
pub const PATCH_PX: usize = 448;

/// Squares about the subject, one per frame; `None` where the subject was lost or the frame cannot
/// be read any more.
#[derive(Debug, Default)]
pub struct BurstPatches {
    /// In which the subject is measured.
    pub subject: Vec<Option<Patch>>,
    /// In which detail is measured.
    pub detail: Vec<Option<Patch>>,
    /// What is shown; nowhere, unless pictures are wanted.
    pub crop: Vec<Option<Patch>>,
}

/// Where pixels come from that are not at hand.
#[derive(Debug, Clone, Copy)]
pub struct PixelsAgain<'a> {
    /// The frames' files.
    pub files: &'a [&'a Frame],
    /// What was set aside of each frame; may be empty.
    pub spools: &'a [Option<Spool>],
    /// Whether colour is wanted.
    pub colour: bool,
}

impl BurstPatches {
    /// Reads the squares about the subject. `taken` are the frames as measured, `crops` says
    /// whether pictures are wanted.
    pub fn read(
        taken: &[MeasuredFrame],
        positions: &[Option<SubjectPosition>],
        crops: bool,
        again: &PixelsAgain<'_>,
    ) -> BurstPatches {
        let sides = [Some(2 * REACH_PX), Some(DETAIL_PX), crops.then_some(CROP_PX)];
        let read: Vec<[Option<Patch>; 3]> = taken
            .par_iter()
            .zip(positions)
            .enumerate()
            .map(|(i, (frame, position))| {
                let at = position.map(|p| (p.x_px, p.y_px));
                let size = (frame.shot.width_px, frame.shot.height_px);
                at.map_or_else(Default::default, |at| {
                    squares(frame, at, sides, || again.about(i, at, size))
                })
            })
            .collect();
        let mut patches = BurstPatches::default();
        for [subject, detail, crop] in read {
            patches.subject.push(subject);
            patches.detail.push(detail);
            patches.crop.push(crop);
        }
        patches
    }
}

/// The squares of some sides about a place, from the patches at hand, else from one more.
fn squares(
    frame: &MeasuredFrame,
    (x, y): (f64, f64),
    sides: [Option<usize>; 3],
    again: impl FnOnce() -> Option<Patch>,
) -> [Option<Patch>; 3] {
    let size = (frame.shot.width_px, frame.shot.height_px);
    let corner = |side| patch_corner(x, y, side, size);
    let at_hand = sides.map(|side| frame.at_hand(corner(side?), side?));
    let is_missing =
        |(found, side): (&Option<Patch>, Option<usize>)| found.is_none() && side.is_some();
    if !at_hand.iter().zip(sides).any(is_missing) {
        return at_hand;
    }
    let more = again();
    let mut sides = sides.into_iter();
    at_hand.map(|found| {
        let side = sides.next().flatten()?;
        found.or_else(|| more.as_ref()?.part(corner(side).0, corner(side).1, side, size))
    })
}

impl PixelsAgain<'_> {
    /// The surroundings of a spot: from what was set aside, else decoded again.
    fn about(&self, i: usize, (x, y): (f64, f64), size: (usize, usize)) -> Option<Patch> {
        self.set_aside(i, patch_corner(x, y, PATCH_PX, size)).or_else(|| {
            let want = if self.colour { Want::Colour } else { Want::Luma };
            let decoded = image::load(self.files[i], want).ok()?;
            Some(measured_frame::cut(&decoded, x, y, self.colour))
        })
    }

    fn set_aside(&self, i: usize, (x0, y0): (usize, usize)) -> Option<Patch> {
        let spool = self.spools.get(i)?.as_ref()?;
        let (samples, width_px, height_px) = spool.part(x0, y0, PATCH_PX, PATCH_PX).ok()?;
        let luma = match samples {
            SpooledSamples::U8(data) => PatchLuma::U8(data),
            SpooledSamples::U16(data) => PatchLuma::U16(data),
        };
        Some(Patch { x0, y0, width_px, height_px, luma, rgb: Vec::new() })
    }
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;
    use crate::core::Luma;
    use crate::core::random::SplitMix64;
    use crate::tracking::frame_features::FrameFeatures;

    const SIDE: usize = 640;

    fn samples() -> Vec<u8> {
        let mut rng = SplitMix64::new(7);
        (0..SIDE * SIDE).map(|_| (255.0 * rng.uniform()) as u8).collect()
    }

    fn luma(data: &[u8]) -> Luma<'_> {
        Luma::U8 { data, channels: 1, width_px: SIDE, height_px: SIDE }
    }

    fn about(luma: &Luma<'_>, (x, y): (f64, f64), side: usize) -> Patch {
        let (x0, y0) = patch_corner(x, y, side, (SIDE, SIDE));
        Patch::cut(luma, x0, y0, side, side)
    }

    #[test]
    fn a_frame_is_read_again_once_at_most_and_all_squares_are_those_of_the_frame() {
        let data = samples();
        let luma = luma(&data);
        let sides = [Some(2 * REACH_PX), Some(DETAIL_PX), Some(CROP_PX)];
        let shot = FrameFeatures::measure(&luma).unwrap();
        let mut frame =
            MeasuredFrame { shot, plain_lap_var: 1.0, thumb: None, patches: Vec::new() };
        for at in [(300.0, 333.3), (2.0, 5.0), (638.9, 639.0), (226.5, 511.0)] {
            let expected = sides.map(|side| Some(about(&luma, at, side.unwrap())));
            let asked = Cell::new(0);
            let again = || {
                asked.set(asked.get() + 1);
                Some(about(&luma, at, PATCH_PX))
            };
            // Nothing at hand, all of it, and too little for the picture.
            for (side, times, times_without_crop) in [(0, 1, 1), (PATCH_PX, 0, 0), (256, 1, 0)] {
                frame.patches = (side > 0).then(|| about(&luma, at, side)).into_iter().collect();
                asked.set(0);
                assert_eq!(squares(&frame, at, sides, again), expected, "{at:?} {side}");
                assert_eq!(asked.get(), times, "{at:?} {side}");
                let unseen = [sides[0], sides[1], None];
                asked.set(0);
                let got = squares(&frame, at, unseen, again);
                assert_eq!(got[..2], expected[..2]);
                assert_eq!((got[2].as_ref(), asked.get()), (None, times_without_crop));
            }
            // A frame that cannot be read any more keeps what is at hand.
            frame.patches = vec![about(&luma, at, 256)];
            let got = squares(&frame, at, sides, || None);
            assert_eq!((&got[..2], &got[2]), (&expected[..2], &None));
        }
    }
}
