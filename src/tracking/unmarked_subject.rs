//! The subject of a burst that nobody marked: the depths that could be meant, by the planes of the
//! burst's focus, and its likeliest place.

use super::burst_planes::OverlaidBurst;
use super::frame_chances::{self, ExpectedBurst, SpotReadings};
use super::planes::BurstPlanes;
use super::subject_depth::{PlacedDepth, SubjectDepth, subject_depth};
use super::subject_hints::{SubjectHints, SubjectSpot};
use crate::core::verdict::{HIT_RATIO, NEAR_RATIO};
use crate::sharpness::subject_blur::Attainable;

/// Width of the prior of the subject's place about the middle of the frames, share of the width.
const PLACE_SD: f64 = 0.25;
/// The same about a place that the camera recorded.
const RECORDED_SD: f64 = 0.03;
/// Depths that differ by this are one place's, px of blur.
const SAME_DEPTH_PX: f64 = 0.5;
/// Share of the structure that the planes must pass before something can lie beyond them: where
/// everything has one depth, nothing tells how far it is. At least 0.51 in the 6 bursts above.
const MIN_FOCUSED_SHARE: f64 = 0.4;
/// Blur of the lens in focus where the settings do not give it, px.
const USUAL_IN_FOCUS_PX: f64 = 0.9;
/// Chance that the planes never came to the subject from which that is said, and the one below which
/// it is ruled out.
const UNREACHED_CHANCE: (f64, f64) = (0.5, 0.15);

/// Where the subject of a burst is and at what depths it could be, by the planes of its focus.
#[derive(Debug, Clone)]
pub struct UnmarkedSubject<'a> {
    overlaid: &'a OverlaidBurst,
    planes: &'a BurstPlanes,
    depth: SubjectDepth,
    /// Chance that nothing is sharp anywhere, whatever the depth.
    blurred: f64,
    /// The likeliest place, in the frame whose plane is nearest to it.
    pub spot: SubjectSpot,
}

impl<'a> UnmarkedSubject<'a> {
    /// Finds the subject of a burst by its planes. `blurred` is the chance that nothing in it is
    /// sharp, from its frames as a whole.
    pub fn find(
        (overlaid, planes): (&'a OverlaidBurst, &'a BurstPlanes),
        hints: &SubjectHints,
        blurred: f64,
    ) -> UnmarkedSubject<'a> {
        let scale: Vec<f64> = overlaid.to_frame.iter().map(|s| s.scale()).collect();
        let placed: Vec<PlacedDepth> = planes
            .places
            .iter()
            .map(|p| {
                let (x, y) = overlaid.place_centre(p.index);
                PlacedDepth {
                    x: x / overlaid.size_px.0,
                    y: y / overlaid.size_px.0,
                    prior: place_prior(overlaid, hints, p.index),
                }
            })
            .collect();
        let depth = subject_depth(planes, &scale, &placed);
        let off =
            |i: usize| (planes.plane_px[i] - depth.likely_px).powi(2) + planes.shared_px[i].powi(2);
        let frames = 0..planes.plane_px.len();
        let sharpest = frames.min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap_or(0);
        let spot = SubjectSpot { frame: sharpest, x_px: 0.0, y_px: 0.0 };
        let mut found = UnmarkedSubject { overlaid, planes, depth, blurred, spot };
        found.spot = found.spot_at(found.depth.likely_px, sharpest);
        found
    }

    /// Chance at each depth that some frame of the burst is sharp at a subject there.
    fn reached(&self, attainable: Option<Attainable>) -> Vec<f64> {
        let unreached = frame_chances::unreached(self.planes, in_focus_px(attainable));
        // Where everything has one depth, planes do not tell how far off it is.
        let told = if self.depth.focused_share < MIN_FOCUSED_SHARE { 0.0 } else { 1.0 };
        unreached.iter().map(|u| (1.0 - told * u) * (1.0 - self.blurred)).collect()
    }

    /// Whether the burst came to its subject; `None` when either could be.
    pub fn is_reached(&self, attainable: Option<Attainable>) -> Option<bool> {
        let reached = self.reached(attainable);
        match self.depth.chance.iter().zip(&reached).map(|(c, r)| c * r).sum::<f64>() {
            reached if reached < 1.0 - UNREACHED_CHANCE.0 => Some(false),
            reached if reached > 1.0 - UNREACHED_CHANCE.1 => Some(true),
            _ => None,
        }
    }

    /// The place at a depth that most speaks for, in a frame.
    pub fn spot_at(&self, depth_px: f64, frame: usize) -> SubjectSpot {
        let (cols, rows) = self.overlaid.grid;
        let mut weight = vec![0f64; cols * rows];
        for (place, w) in self.planes.places.iter().zip(&self.depth.weight) {
            let off = (place.depth_px - depth_px) / SAME_DEPTH_PX;
            weight[place.index] = w * (-0.5 * off * off).exp();
        }
        let about = |t: usize| {
            let (c, r) = (t % cols, t / cols);
            let near = |v: usize, most: usize| v.saturating_sub(1)..(v + 2).min(most);
            near(r, rows)
                .flat_map(|y| near(c, cols).map(move |x| y * cols + x))
                .map(|t| weight[t])
                .sum::<f64>()
        };
        let sums: Vec<f64> = (0..cols * rows).map(about).collect();
        let top = (0..sums.len()).max_by(|a, b| sums[*a].total_cmp(&sums[*b]).then(b.cmp(a)));
        let (x, y) = self.overlaid.place_in(top.unwrap_or(0), frame);
        let (w, h) = self.overlaid.size_px;
        SubjectSpot { frame, x_px: x.clamp(0.0, w - 1.0), y_px: y.clamp(0.0, h - 1.0) }
    }

    /// What is expected of every frame over all depths, from ratios of blur read at the spot.
    pub fn expected(
        &self,
        ratios_ln: Vec<Option<f64>>,
        attainable: Option<Attainable>,
    ) -> Option<ExpectedBurst> {
        let readings = SpotReadings { depth_px: self.depth.likely_px, ln: ratios_ln };
        let reached = self.reached(attainable);
        let chances = (&*self.depth.chance, &*reached);
        let limits = (HIT_RATIO, NEAR_RATIO);
        frame_chances::expected(self.planes, chances, &readings, in_focus_px(attainable), limits)
    }
}

/// Blur of the lens in focus, px.
fn in_focus_px(attainable: Option<Attainable>) -> f64 {
    attainable.map_or(USUAL_IN_FOCUS_PX, |a| a.sigma_px)
}

/// How likely the subject is at place `t`, up to a factor.
pub fn place_prior(overlaid: &OverlaidBurst, hints: &SubjectHints, t: usize) -> f64 {
    let (w, h) = overlaid.size_px;
    let (off2, sd) = match hints.recorded {
        Some(spot) => {
            let (x, y) = overlaid.place_in(t, spot.frame);
            let off = (x - spot.x_px).hypot(y - spot.y_px) / w;
            (off * off, RECORDED_SD)
        }
        None => (overlaid.mean_off2(t, (w / 2.0, h / 2.0)), PLACE_SD),
    };
    (-0.5 * off2 / (sd * sd)).exp()
}

#[cfg(test)]
mod tests;
