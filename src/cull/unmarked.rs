//! Verdicts of bursts whose subject nobody marked, as they are expected over the depths that could be
//! meant, and of bursts in which nothing is sharp.

use super::burst_verdict::{BurstVerdict, FrameVerdict};
use super::elsewhere::is_sharp_elsewhere;
use super::record::CauseShare;
use crate::core::verdict::{Cause, HIT_RATIO, NEAR_RATIO, Verdict};
use crate::core::{Flag, Measured};
use crate::sharpness::subject_blur::{Attainable, BlurRange};
use crate::tracking::burst_planes::OverlaidBurst;
use crate::tracking::frame_chances::{Expected, ExpectedBurst};
use crate::tracking::place_chances::place_chances;
use crate::tracking::subject_hints::SubjectHints;
use crate::tracking::unmarked_subject::{UnmarkedSubject, place_prior};

/// Least chance of the likeliest verdict.
const TOLD_CHANCE: f64 = 0.5;
/// Hit and miss both likelier than this: nothing is said.
const TORN_CHANCE: f64 = 0.15;
/// The best frame is still named while its chance of a miss is no more than this: a second one is
/// shown beside it.
const BEST_TORN_CHANCE: f64 = 0.35;
/// Without planes a verdict stands where this share of the places gives it, and no more than that
/// share the opposite one.
const AGREED_CHANCE: (f64, f64) = (0.85, 0.05);

/// Puts the verdicts that are expected over all depths in place of those at the one spot.
/// Frames that could not be judged at the spot stay as they are.
pub fn restate(
    burst: &mut BurstVerdict,
    subject: &UnmarkedSubject<'_>,
    attainable: Option<Attainable>,
) {
    let ratios_ln: Vec<Option<f64>> =
        burst.frames.iter().map(|f| Some(f.ratio?.value.ln())).collect();
    let Some(found) = subject.expected(ratios_ln, attainable) else { return };
    let other = restate_as(burst, &found, attainable);
    burst.other = other.map(|(frame, depth_px)| subject.spot_at(depth_px, frame));
}

/// Puts in what is expected; the frame that could be best instead, with its subject's depth, px of
/// blur.
fn restate_as(
    burst: &mut BurstVerdict,
    found: &ExpectedBurst,
    attainable: Option<Attainable>,
) -> Option<(usize, f64)> {
    let is_judged: Vec<bool> = burst.frames.iter().map(|f| f.ratio.is_some()).collect();
    // Ratios are to the best: it must have been judged, and as a hit.
    let [hit, _, miss] = found.frames[found.best].chances;
    let is_told = is_judged[found.best] && hit >= TOLD_CHANCE && miss <= BEST_TORN_CHANCE;
    burst.best = is_told.then_some(found.best);
    for (i, (frame, expected)) in burst.frames.iter_mut().zip(&found.frames).enumerate() {
        if !is_judged[i] {
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
    found.other.filter(|o| is_told && is_judged[o.0])
}

/// Takes back the verdicts of a burst without planes on whose frames its places do not agree:
/// what is true of the one spot need not be true of the subject that was meant.
pub fn withhold_disputed(
    burst: &mut BurstVerdict,
    overlaid: Option<&OverlaidBurst>,
    hints: &SubjectHints,
) {
    let frames = burst.frames.len();
    let chances = overlaid.and_then(|overlaid| {
        let count = overlaid.grid.0 * overlaid.grid.1;
        let prior: Vec<f64> = (0..count).map(|t| place_prior(overlaid, hints, t)).collect();
        let limits = (HIT_RATIO, NEAR_RATIO);
        place_chances(frames, &overlaid.energies, &prior, limits)
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

/// Gives a burst that was shaken all the time its cause: what else was lost in a frame cannot be
/// told from a smear that no frame is free of.
pub fn tell_shaken(burst: &mut BurstVerdict) {
    let lost = |f: &&mut FrameVerdict| matches!(f.verdict, Verdict::Near | Verdict::Miss);
    for frame in burst.frames.iter_mut().filter(lost) {
        frame.causes = vec![CauseShare { cause: Cause::Shake, share: None }];
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
mod tests;
