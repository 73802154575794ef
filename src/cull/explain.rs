//! Why a verdict is what it is, and what is found of bursts and outings.

use super::burst_verdict::{BurstVerdict, FrameVerdict};
use super::findings::{
    Advice, BlurReason, BurstFinding, OutingFinding, PlaceInFrame, RatioOver, Reason, SettingsNote,
    SmearLength, Yardstick,
};
use super::grouping::FrameGroup;
use super::record::{BurstRecord, CauseShare, FrameRecord, OtherSubject, OutingRecord};
use super::summary::MIN_FRAMES_FOR_RATE;
use super::to_record::FrameParts;
use crate::core::Flag;
use crate::core::verdict::{Cause, Verdict};
use crate::image::Frame;
use crate::report::parts::SubjectFound;

/// Share of the misses from which a cause is worth a finding.
const CAUSE_SHARE: f64 = 0.3;
/// Blur whose range reaches this close to what the settings allow is as sharp as they allow.
const AS_ALLOWED: f64 = 1.05;

/// A frame's blur over its yardstick.
fn ratio_over(judged: &FrameVerdict, burst: &BurstVerdict) -> Option<RatioOver> {
    let over = match (burst.best_is_soft, burst.frames.len()) {
        (true, _) => Yardstick::Settings,
        (_, 1) => Yardstick::SingleFrame,
        _ => Yardstick::SharpestFrame,
    };
    judged.ratio.map(|r| RatioOver { ratio: r.value, std_err: r.std_err, over })
}

/// Why one frame has its verdict.
pub fn frame_reason(parts: FrameParts<'_>, burst: &BurstVerdict, causes: &[CauseShare]) -> Reason {
    let FrameParts { judged, allowed, is_best, .. } = parts;
    let first = causes.first().map(|c| c.cause);
    if judged.verdict == Verdict::Unclear || judged.flags.has(Flag::SubjectLost) {
        return Reason::unclear(judged.flags, first);
    }
    let ratio = ratio_over(judged, burst);
    match (judged.verdict, first) {
        (Verdict::Hit, _) => {
            let settings = match allowed {
                Some(a) if first == Some(Cause::Diffraction) => SettingsNote::Diffraction {
                    working_f_number: a.n_eff,
                    share: a.diffraction_share,
                    allowed_px: a.sigma_px,
                },
                Some(a) if as_allowed(judged, a.sigma_px) => {
                    SettingsNote::Reached { allowed_px: a.sigma_px }
                }
                Some(a) => SettingsNote::Allowed { allowed_px: a.sigma_px },
                None => SettingsNote::Unknown,
            };
            Reason::Hit { is_best, ratio, settings }
        }
        (_, cause) => {
            let by = match cause {
                Some(Cause::Shake) => BlurReason::Shake(smear(judged)),
                Some(Cause::SubjectMotion) => BlurReason::SubjectMotion(smear(judged)),
                Some(Cause::Ghosted) => BlurReason::Ghosted(smear(judged)),
                _ if burst.best_is_soft => BlurReason::BurstIsSoft,
                Some(Cause::Misfocused) => BlurReason::Misfocused,
                _ => BlurReason::NothingSharp,
            };
            Reason::Blurred { ratio, by }
        }
    }
}

fn as_allowed(judged: &FrameVerdict, allowed_px: f64) -> bool {
    judged.range.is_some_and(|r| r.low_px <= AS_ALLOWED * allowed_px)
}

fn smear(judged: &FrameVerdict) -> Option<SmearLength> {
    let smear = judged.movement?.smear;
    Some(SmearLength { px: smear.length_px, std_err_px: smear.length_std_err_px })
}

/// Findings about a burst.
pub fn burst_findings(
    judged: &BurstVerdict,
    frames: &[FrameRecord],
    group: &FrameGroup,
    other: Option<&OtherSubject>,
) -> Vec<BurstFinding> {
    let mut findings = Vec::new();
    if judged.best_is_soft {
        let least =
            frames.iter().filter_map(|f| f.blur_sigma_px).map(|b| b.value).min_by(f64::total_cmp);
        let allowed = frames.iter().find_map(|f| f.attainable_blur_px);
        findings.push(BurstFinding::NothingSharp {
            is_shaken: judged.is_shaken,
            least_and_allowed_px: least.zip(allowed),
        });
    }
    findings.extend(other.and_then(|other| two_subjects(judged, frames, other)));
    if judged.found == SubjectFound::None {
        findings.push(BurstFinding::NoSubject);
    }
    if !group.timed && frames.len() > 1 {
        findings.push(BurstFinding::NoCaptureTimes);
    }
    findings
}

/// The two frames that could be the best, each with its place.
fn two_subjects(
    judged: &BurstVerdict,
    frames: &[FrameRecord],
    other: &OtherSubject,
) -> Option<BurstFinding> {
    let best = frames.get(judged.best?)?;
    let at = best.subject?;
    Some(BurstFinding::TwoSubjects {
        taken: PlaceInFrame { path: best.path.clone(), x: at.x, y: at.y },
        other: PlaceInFrame { path: other.best.clone(), x: other.x, y: other.y },
    })
}

/// Findings about an outing.
pub fn outing_findings(
    outing: &OutingRecord,
    bursts: &[BurstRecord],
    frames: &[FrameRecord],
) -> Vec<OutingFinding> {
    let mut findings = Vec::new();
    if outing.unmarked_bursts > 0 {
        findings.push(OutingFinding::SubjectGuessed { bursts: outing.unmarked_bursts });
    }
    let never: Vec<u32> = bursts.iter().filter(|b| is_soft(b, frames)).map(|b| b.id).collect();
    if !never.is_empty() {
        findings.push(OutingFinding::NothingSharp { bursts: never.clone() });
    }
    if outing.hits.of < MIN_FRAMES_FOR_RATE {
        return findings;
    }
    // What a burst without focus lost is told above.
    let elsewhere = |f: &&FrameRecord| !never.contains(&f.burst);
    let short: Vec<&FrameRecord> = frames
        .iter()
        .filter(|f| matches!(f.verdict, Verdict::Near | Verdict::Miss))
        .filter(elsewhere)
        .collect();
    for row in &outing.by_cause {
        let Ok(cause) = row.key.parse::<Cause>() else { continue };
        let of = |f: &&&FrameRecord| f.causes.first().is_some_and(|c| c.cause == cause);
        let count = short.iter().filter(of).count();
        if short.is_empty() || (count as f64) < CAUSE_SHARE * short.len() as f64 {
            continue;
        }
        if Advice::against(cause).is_some() {
            findings.push(OutingFinding::Lost {
                cause,
                frames: count,
                of: short.len(),
                in_other_bursts: !never.is_empty(),
            });
        }
    }
    findings
}

/// Whether nothing in a burst is sharp at its subject.
fn is_soft(burst: &BurstRecord, frames: &[FrameRecord]) -> bool {
    frames.iter().filter(|f| f.burst == burst.id).any(|f| f.flags.has(Flag::BestIsSoft))
}

/// Seconds from the first to the last frame of a burst.
pub fn duration_s(frames: &[&Frame]) -> Option<f64> {
    let time = |f: &Frame| Some(f.exposure.as_ref()?.taken_at.as_ref()?.value);
    let (first, last) = (time(frames.first()?)?, time(frames.last()?)?);
    Some(last.seconds_since(&first))
}
