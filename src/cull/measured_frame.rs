//! One frame, decoded once: what is measured, and which of its pixels are kept until its burst
//! is judged.

use serde::{Deserialize, Serialize};

use std::sync::{Mutex, OnceLock};

use super::read_patches::PATCH_PX;
use crate::error::SkipReason;
use crate::image::{self, Decoded, Frame, Picture, THUMB_QUALITY, Want, encode_jpeg};
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::laplacian::plain_lap_var;
use crate::sharpness::pyramid::Pyramid;
use crate::tracking::burst_noise::UNSEEN_SIGMA_DN;
use crate::tracking::frame_features::{FrameFeatures, Patch, patch_corner};
use crate::tracking::subject_tracking;
use crate::tracking::template::{self, TrackingTemplate};

/// Spots of a burst whose surroundings are kept in every frame, at most.
const MAX_SPOTS: usize = 6;
/// Own spots that a frame proposes.
const SPOTS_OWN: usize = 2;
/// Spots nearer than this are one, px.
const SPOT_APART_PX: f64 = 96.0;
/// Rows between those that the plain Laplacian variance looks at.
const PLAIN_ROW_STEP: usize = 8;

/// A frame after its pixels are gone.
#[derive(Debug, Serialize, Deserialize)]
pub struct MeasuredFrame {
    /// What was measured.
    pub shot: FrameFeatures,
    /// Variance of the plain Laplacian over every eighth row, for comparison.
    pub plain_lap_var: f64,
    /// Small picture, upright.
    pub thumb: Option<Picture>,
    /// Surroundings of likely subject points, which are not written down.
    #[serde(skip)]
    pub patches: Vec<Patch>,
}

/// What the frames of one burst tell each other while they are being read, so that the pixels
/// around the subject are mostly at hand when it is found. It never changes a result: pixels that
/// are not at hand are read again.
#[derive(Debug, Default)]
pub struct Scout {
    /// Patterns of the frame that came first.
    reference: OnceLock<[TrackingTemplate; 3]>,
    /// Likely spots, px of that frame, with their weight.
    spots: Mutex<Vec<(f64, f64, f32)>>,
}

/// What is wanted of a frame beside its measurements.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KeptPixels {
    /// Longest side of the small picture, px; 0 for none.
    pub thumb_px: usize,
    /// Whether colour is wanted around the subject.
    pub colour: bool,
    /// A marked subject: place as fractions of the file.
    pub mark: Option<(f64, f64)>,
}

/// Memory that a worker uses for one frame after the other: fresh memory costs time.
#[derive(Debug, Default)]
pub struct Workspace {
    /// Decoded samples.
    samples: Vec<u8>,
    /// Levels.
    pyramid: Pyramid,
}

/// Decodes and measures a frame.
///
/// `first` says that this is the burst's first frame, to which a mark refers.
///
/// # Errors
/// [`SkipReason`] when the file cannot be decoded.
pub fn take(
    frame: &Frame,
    keep: KeptPixels,
    scout: &Scout,
    first: bool,
    space: &mut Workspace,
) -> Result<MeasuredFrame, SkipReason> {
    let want = if keep.colour { Want::Colour } else { Want::Luma };
    // Its memory is held until the frame is measured.
    let (decoded, _held) = image::load_held(frame, want, std::mem::take(&mut space.samples))?;
    let taken = of(frame, &decoded, keep, scout, first, &mut space.pyramid);
    space.samples = decoded.into_buffer();
    taken.ok_or(SkipReason::TooSmall { width_px: frame.width_px, height_px: frame.height_px })
}

/// Measures a decoded frame; as [`take`]. `None` when it is smaller than 64 px on a side.
pub fn of(
    frame: &Frame,
    decoded: &Decoded,
    keep: KeptPixels,
    scout: &Scout,
    first: bool,
    pyramid: &mut Pyramid,
) -> Option<MeasuredFrame> {
    let luma = decoded.luma();
    let shot = FrameFeatures::measure_in(&luma, pyramid)?;
    let spots = spots(&shot, keep, scout, first);
    let patches = spots.iter().map(|(x, y)| cut(decoded, *x, *y, keep.colour)).collect();
    let thumb = (keep.thumb_px > 0)
        .then(|| {
            let (rgb, w, h) = decoded.rgb_small(keep.thumb_px);
            let (rgb, w, h) = frame.orientation().turn_rgb(&rgb, w, h);
            encode_jpeg(&rgb, w, h, THUMB_QUALITY)
        })
        .flatten();
    let plain_lap_var = plain_lap_var(&luma, PLAIN_ROW_STEP);
    Some(MeasuredFrame { shot, plain_lap_var, thumb, patches })
}

/// The surroundings of a spot.
pub fn cut(decoded: &Decoded, x: f64, y: f64, colour: bool) -> Patch {
    let luma = decoded.luma();
    let size = (luma.width_px(), luma.height_px());
    let (x0, y0) = patch_corner(x, y, PATCH_PX, size);
    let mut patch = Patch::cut(&luma, x0, y0, PATCH_PX, PATCH_PX);
    if colour {
        patch.rgb = decoded.rgb_crop(x0, y0, patch.width_px, patch.height_px).0;
    }
    patch
}

/// Likely subject points of this frame, px of the file.
fn spots(shot: &FrameFeatures, keep: KeptPixels, scout: &Scout, first: bool) -> Vec<(f64, f64)> {
    let size = (shot.width_px as f64, shot.height_px as f64);
    if let Some((fx, fy)) = keep.mark {
        let start = (fx * size.0, fy * size.1);
        if first {
            let _ = scout.reference.set(shot.patterns.clone());
            return vec![start];
        }
        let Some(reference) = scout.reference.get() else { return vec![start] };
        if reference[0].width != shot.patterns[0].width {
            return Vec::new();
        }
        let from = (&reference[0], &reference[1]);
        let to = (&shot.patterns[0], &shot.patterns[1]);
        let found = template::track_template(from, to, start, start);
        return found.map(|m| (m.x_px, m.y_px)).into_iter().collect();
    }
    let reference = scout.reference.get_or_init(|| shot.patterns.clone());
    let shift = if reference[2].width == shot.patterns[2].width
        && reference[2].height == shot.patterns[2].height
    {
        template::whole_shift(&reference[2], &shot.patterns[2])
            .filter(|m| m.peak > template::WHOLE_FOUND)
            .map_or((0.0, 0.0), |m| (m.x_px, m.y_px))
    } else {
        (0.0, 0.0)
    };
    let model = shot.noise.unwrap_or_else(|| BandNoise::white(UNSEEN_SIGMA_DN));
    let own = subject_tracking::peaks(&shot.cells.map(&model), size.0, SPOTS_OWN);
    let mut known = scout.spots.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    for (x, y, weight) in own {
        let (x, y) = (x - shift.0, y - shift.1);
        let near = |s: &&mut (f64, f64, f32)| (s.0 - x).hypot(s.1 - y) < SPOT_APART_PX;
        match known.iter_mut().find(near) {
            Some(s) => {
                let total = s.2 + weight;
                let k = f64::from(weight / total);
                *s = (s.0 + k * (x - s.0), s.1 + k * (y - s.1), total);
            }
            None => known.push((x, y, weight)),
        }
    }
    known.sort_by(|a, b| b.2.total_cmp(&a.2));
    known.truncate(2 * MAX_SPOTS);
    known
        .iter()
        .take(MAX_SPOTS)
        .map(|(x, y, _)| (x + shift.0, y + shift.1))
        .filter(|(x, y)| (0.0..size.0).contains(x) && (0.0..size.1).contains(y))
        .collect()
}

impl MeasuredFrame {
    /// The square of a side at a corner out of the patches at hand.
    pub fn at_hand(&self, (x0, y0): (usize, usize), side: usize) -> Option<Patch> {
        let size = (self.shot.width_px, self.shot.height_px);
        self.patches.iter().find_map(|p| p.part(x0, y0, side, size))
    }
}
