//! Bursts whose subject nobody marked: where the subject is taken to be, and verdicts as they are
//! expected over the depths that could be meant.

use super::burst_planes::OverlaidBurst;
use super::judge::{BurstVerdict, FrameVerdict, SubjectHints};
use super::record::CauseShare;
use super::verdict::is_sharp_elsewhere;
use crate::core::verdict::{Cause, HIT_RATIO, NEAR_RATIO, Verdict};
use crate::core::{Flag, Measured};
use crate::sharpness::subject_blur::{Attainable, BlurRange};
use crate::tracking::frame_chances::{self, Expected, SpotReadings};
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::place_chances::place_chances;
use crate::tracking::planes::BurstPlanes;
use crate::tracking::subject_depth::{PlacedDepth, SubjectDepth, subject_depth};

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
/// Least chance of the likeliest verdict.
const TOLD_CHANCE: f64 = 0.5;
/// Hit and miss both likelier than this: nothing is said.
const TORN_CHANCE: f64 = 0.15;
/// The best frame is still named while its chance of a miss is no more than this: a second one is
/// shown beside it.
const BEST_TORN_CHANCE: f64 = 0.35;
/// Chance that the planes never came to the subject from which that is said.
const UNREACHED_CHANCE: f64 = 0.5;
/// Without planes a verdict stands where this share of the places gives it, and no more than that
/// share the opposite one.
const AGREED_CHANCE: (f64, f64) = (0.85, 0.05);
/// Most that a guessed place vouches for.
pub const GUESSED_CONFIDENCE: f64 = 0.5;

/// A place in one frame, px of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SubjectSpot {
    /// Number of the frame.
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
}

/// What the planes of a burst say of its subject.
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
        (overlaid, planes): &'a (OverlaidBurst, BurstPlanes),
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
            reached if reached < 1.0 - UNREACHED_CHANCE => Some(false),
            reached if reached > 1.0 - TORN_CHANCE => Some(true),
            _ => None,
        }
    }

    /// The place at a depth that most speaks for, in a frame.
    fn spot_at(&self, depth_px: f64, frame: usize) -> SubjectSpot {
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

    /// Puts the verdicts that are expected over all depths in place of those at the one spot.
    /// Frames that could not be judged at the spot stay as they are.
    pub fn restate(&self, burst: &mut BurstVerdict, attainable: Option<Attainable>) {
        let readings = SpotReadings {
            depth_px: self.depth.likely_px,
            ln: burst.frames.iter().map(|f| Some(f.ratio?.value.ln())).collect(),
        };
        let limits = (HIT_RATIO, NEAR_RATIO);
        let reached = self.reached(attainable);
        let (chances, in_focus_px) = ((&*self.depth.chance, &*reached), in_focus_px(attainable));
        let found = frame_chances::expected(self.planes, chances, &readings, in_focus_px, limits);
        let Some(found) = found else { return };
        let judged = |i: usize| readings.ln[i].is_some();
        // Ratios are to the best: it must have been judged, and as a hit.
        let [hit, _, miss] = found.frames[found.best].chances;
        let is_told = judged(found.best) && hit >= TOLD_CHANCE && miss <= BEST_TORN_CHANCE;
        burst.best = is_told.then_some(found.best);
        for (i, (frame, expected)) in burst.frames.iter_mut().zip(&found.frames).enumerate() {
            if frame.ratio.is_none() {
                continue;
            }
            let verdict = match likely_verdict(&expected.chances) {
                _ if burst.best == Some(i) => Verdict::Hit,
                Verdict::Hit if !is_told => Verdict::Unclear,
                verdict => verdict,
            };
            restate_frame(frame, verdict, expected, burst.reference_px, attainable);
            if burst.best == Some(i) {
                frame.ratio = Measured::without_error(1.0, 2);
            }
        }
        burst.other = found
            .other
            .filter(|o| is_told && judged(o.0))
            .map(|(frame, depth_px)| self.spot_at(depth_px, frame));
    }
}

/// Blur of the lens in focus, px.
fn in_focus_px(attainable: Option<Attainable>) -> f64 {
    attainable.map_or(USUAL_IN_FOCUS_PX, |a| a.sigma_px)
}

/// Takes back the verdicts of a burst without planes on whose frames its places do not agree:
/// what is true of the one spot need not be true of the subject that was meant.
pub fn withhold_disputed(burst: &mut BurstVerdict, shots: &[&FrameFeatures], hints: &SubjectHints) {
    let chances = OverlaidBurst::read(shots, &burst.noise).and_then(|overlaid| {
        let count = overlaid.grid.0 * overlaid.grid.1;
        let prior: Vec<f64> = (0..count).map(|t| place_prior(&overlaid, hints, t)).collect();
        let limits = (HIT_RATIO, NEAR_RATIO);
        place_chances(shots.len(), &overlaid.energies, &prior, limits)
    });
    let stands =
        |i: usize, verdict: Verdict| chances.as_ref().is_some_and(|c| is_agreed(&c[i], verdict));
    let best_stands = burst.best.is_some_and(|b| stands(b, Verdict::Hit));
    burst.best = burst.best.filter(|_| best_stands);
    for (i, frame) in burst.frames.iter_mut().enumerate() {
        let verdict = frame.verdict;
        if verdict != Verdict::Unclear
            && !(stands(i, verdict) && (verdict != Verdict::Hit || best_stands))
        {
            frame.verdict = Verdict::Unclear;
            frame.causes.clear();
        }
    }
}

/// Whether nearly all places give a frame this verdict and hardly any the opposite one.
fn is_agreed(&[hit, near, miss]: &[f64; 3], verdict: Verdict) -> bool {
    let (least, opposite) = AGREED_CHANCE;
    match verdict {
        Verdict::Hit => hit >= least && miss <= opposite,
        Verdict::Near => near >= least,
        Verdict::Miss => miss >= least && hit <= opposite,
        Verdict::Unclear => true,
    }
}

/// How likely the subject is at place `t`, up to a factor.
fn place_prior(overlaid: &OverlaidBurst, hints: &SubjectHints, t: usize) -> f64 {
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

/// Says of a burst that is blurred or smeared all over that nothing in it is sharp, where its spot
/// alone shows too little to say so.
pub fn tell_unreached(burst: &mut BurstVerdict) {
    burst.best_is_soft = true;
    for frame in &mut burst.frames {
        frame.flags.raise(Flag::BestIsSoft);
        let too_little = |c: &CauseShare| matches!(c.cause, Cause::Noise | Cause::NoTexture);
        if frame.verdict == Verdict::Unclear && frame.causes.iter().any(too_little) {
            frame.verdict = Verdict::Miss;
            frame.causes = vec![CauseShare { cause: Cause::Soft, share: None }];
        }
    }
}

/// The verdict from its chances.
fn likely_verdict(&[hit, near, miss]: &[f64; 3]) -> Verdict {
    if hit.min(miss) > TORN_CHANCE || hit.max(near).max(miss) < TOLD_CHANCE {
        Verdict::Unclear
    } else if hit >= near && hit >= miss {
        Verdict::Hit
    } else if near >= miss {
        Verdict::Near
    } else {
        Verdict::Miss
    }
}

fn restate_frame(
    frame: &mut FrameVerdict,
    verdict: Verdict,
    expected: &Expected,
    reference_px: Option<f64>,
    attainable: Option<Attainable>,
) {
    frame.ratio = Measured::new(expected.ratio, expected.ratio * expected.sd_ln, 2);
    if let (Some(range), Some(reference)) = (frame.range, reference_px) {
        let range = moved_to(range, reference * expected.ratio, expected.sd_ln, attainable);
        frame.range = Some(range);
        let std_err = (range.high_px - range.low_px) / 2.0;
        let flags = frame.judged_px.map(|m| m.flags);
        frame.judged_px = Measured::new(range.sigma_px, std_err, 2)
            .map(|m| flags.map_or(m, |flags| m.flagged(flags)));
    }
    match verdict {
        Verdict::Hit | Verdict::Unclear => frame.causes.clear(),
        Verdict::Near | Verdict::Miss if frame.causes.is_empty() => {
            let elsewhere = is_sharp_elsewhere(frame);
            let cause = if elsewhere { Cause::Misfocused } else { Cause::Soft };
            frame.causes = vec![CauseShare { cause, share: Some(1.0) }];
        }
        Verdict::Near | Verdict::Miss => {}
    }
    if verdict == Verdict::Hit {
        frame.movement = None;
    }
    frame.verdict = verdict;
}

/// A range about another blur, wider by an error of ln, never below what the settings allow.
fn moved_to(
    range: BlurRange,
    sigma_px: f64,
    sd_ln: f64,
    attainable: Option<Attainable>,
) -> BlurRange {
    let allowed = attainable.map_or(0.0, |a| a.sigma_px);
    let down = (range.sigma_px / range.low_px).ln().hypot(sd_ln);
    let up = (range.high_px / range.sigma_px).ln().hypot(sd_ln);
    let low_px = (sigma_px * (-down).exp()).max(allowed);
    let high_px = (sigma_px * up.exp()).max(low_px);
    BlurRange { sigma_px: sigma_px.clamp(low_px, high_px), low_px, high_px, by: range.by }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn verdicts_are_told_when_likely_and_not_torn() {
        for (chances, expected) in [
            ([0.9, 0.08, 0.02], Verdict::Hit),
            ([0.30, 0.60, 0.10], Verdict::Near),
            ([0.05, 0.20, 0.75], Verdict::Miss),
            // Hit and miss are both possible.
            ([0.70, 0.14, 0.16], Verdict::Unclear),
            ([0.70, 0.16, 0.14], Verdict::Hit),
            // No verdict is likely.
            ([0.45, 0.45, 0.10], Verdict::Unclear),
        ] {
            assert_eq!(likely_verdict(&chances), expected, "{chances:?}");
        }
    }

    #[test]
    fn without_planes_a_verdict_stands_only_where_places_agree() {
        for (chances, verdict, expected) in [
            ([0.86, 0.10, 0.04], Verdict::Hit, true),
            ([0.84, 0.12, 0.04], Verdict::Hit, false),
            ([0.86, 0.08, 0.06], Verdict::Hit, false),
            ([0.04, 0.10, 0.86], Verdict::Miss, true),
            ([0.06, 0.08, 0.86], Verdict::Miss, false),
            ([0.07, 0.86, 0.07], Verdict::Near, true),
            ([0.08, 0.84, 0.08], Verdict::Near, false),
        ] {
            assert_eq!(is_agreed(&chances, verdict), expected, "{chances:?} {verdict:?}");
        }
    }

    #[test]
    fn a_range_moves_with_its_blur_and_stays_above_what_settings_allow() {
        use crate::core::verdict::BlurBy;
        let range = BlurRange { sigma_px: 1.0, low_px: 0.8, high_px: 1.5, by: BlurBy::Burst };
        let attainable = Some(Attainable { sigma_px: 1.7, cutoff_cy_px: 0.4, flash: false });
        let free = moved_to(range, 2.0, 0.0, None);
        approx::assert_abs_diff_eq!(free.low_px, 1.6, epsilon = 1e-9);
        approx::assert_abs_diff_eq!(free.high_px, 3.0, epsilon = 1e-9);
        let held = moved_to(range, 2.0, 0.3, attainable);
        assert!((held.low_px - 1.7).abs() < 1e-9 && held.high_px > 3.0);
    }
}
