//! The sentences: why a verdict is what it is, and what to do next time.

use super::burst_verdict::{BurstVerdict, FrameVerdict};
use super::grouping::FrameGroup;
use super::record::{BurstRecord, CauseShare, FrameRecord, OtherSubject, OutingRecord};
use super::summary::MIN_FRAMES_FOR_RATE;
use super::to_record::FrameParts;
use crate::core::Flag;
use crate::core::verdict::{Cause, Verdict};
use crate::image::Frame;
use crate::report::parts::{Finding, SubjectFound};
use crate::report::wording;

/// Share of the misses from which a cause is worth a finding.
const CAUSE_SHARE: f64 = 0.3;
/// Blur whose range reaches this close to what the settings allow is as sharp as they allow.
const AS_ALLOWED: f64 = 1.05;

/// What to do when the subject is not sure.
const MARK_IT: &str = "Open the folder with `stopwise review`, press s and click the eye.";

/// A blur in a sentence.
fn px(sigma_px: f64) -> String {
    format!("{} px", wording::fixed(sigma_px, 2))
}

/// What a frame's ratio is over.
fn yardstick(burst: &BurstVerdict) -> &'static str {
    match (burst.best_is_soft, burst.frames.len()) {
        (true, _) => "the blur that these settings allow",
        (_, 1) => "the blur that a single frame can be held to",
        _ => "the blur of the burst's sharpest frame",
    }
}

fn ratio_words(judged: &FrameVerdict, burst: &BurstVerdict) -> String {
    judged.ratio.map_or_else(String::new, |r| {
        let shown = wording::plus_minus(r.value, r.std_err);
        format!("{shown} times {}", yardstick(burst))
    })
}

/// Why one frame has its verdict.
pub fn frame_reason(parts: FrameParts<'_>, burst: &BurstVerdict, causes: &[CauseShare]) -> String {
    let FrameParts { judged, allowed, is_best, .. } = parts;
    let first = causes.first().map(|c| c.cause);
    if judged.flags.has(Flag::SubjectLost) {
        return "The subject could not be followed into this frame. Mark it with --subject, or \
                look at the frame."
            .to_owned();
    }
    match (judged.verdict, first) {
        (Verdict::Unclear, Some(Cause::UnderExposed)) => {
            "The subject is too dark to judge. Give more light or open the aperture.".to_owned()
        }
        (Verdict::Unclear, Some(Cause::Clipped)) => {
            "The subject is blown out, so its edges are gone. Give less light or soften it."
                .to_owned()
        }
        (Verdict::Unclear, Some(Cause::Noise)) => {
            "Noise hides whether the subject is sharp. Use more light or a lower ISO.".to_owned()
        }
        (Verdict::Unclear, None) if judged.flags.has(Flag::Resized) => {
            "Sharp at this size, but the file was made smaller after capture: focus can only be \
             judged on the original."
                .to_owned()
        }
        (Verdict::Unclear, None) if !judged.flags.has(Flag::Alone) => {
            format!("The verdict depends on the subject that you meant. {MARK_IT}")
        }
        (Verdict::Unclear, None) => format!(
            "Sharp at this spot, but the spot was guessed and there is no second frame to compare \
             with. {MARK_IT}"
        ),
        (Verdict::Unclear, _) => {
            "Too little structure at the subject to judge. Mark a spot with texture using \
             --subject."
                .to_owned()
        }
        (Verdict::Hit, _) => {
            let lead = if is_best {
                "Sharpest of its burst".to_owned()
            } else {
                ratio_words(judged, burst)
            };
            match allowed {
                Some(a) if first == Some(Cause::Diffraction) => format!(
                    "{lead}. Diffraction at a working f/{} makes {} of the blur that these \
                     settings allow ({}): opening up would show more.",
                    wording::fixed(a.n_eff, 0),
                    wording::per_cent(a.diffraction_share),
                    px(a.sigma_px),
                ),
                Some(a) if as_allowed(judged, a.sigma_px) => {
                    format!("{lead}, as sharp as these settings allow ({}).", px(a.sigma_px))
                }
                Some(a) => format!("{lead}. These settings allow {}.", px(a.sigma_px)),
                None => format!("{lead}."),
            }
        }
        (_, cause) => {
            let lead = ratio_words(judged, burst);
            let tail = match cause {
                Some(Cause::Shake) => movement(judged, "Everything in the frame is smeared"),
                Some(Cause::SubjectMotion) => movement(judged, "Only the subject is smeared"),
                Some(Cause::Ghosted) => ghost(judged),
                _ if burst.best_is_soft => {
                    "No frame of this burst is in focus at the subject.".to_owned()
                }
                Some(Cause::Misfocused) => {
                    "Something else in the frame is sharp: the focus plane missed the subject."
                        .to_owned()
                }
                _ => "Nothing in the frame is sharp and the blur has no direction: the focus \
                      plane missed the whole subject, or movement and defocus add up."
                    .to_owned(),
            };
            if lead.is_empty() { tail } else { format!("{lead}. {tail}") }
        }
    }
}

fn as_allowed(judged: &FrameVerdict, allowed_px: f64) -> bool {
    judged.range.is_some_and(|r| r.low_px <= AS_ALLOWED * allowed_px)
}

fn movement(judged: &FrameVerdict, lead: &str) -> String {
    judged.movement.map_or_else(
        || format!("{lead}."),
        |m| {
            let length = wording::plus_minus(m.smear.length_px, Some(m.smear.length_std_err_px));
            format!("{lead} by {length} px in one direction. Use a shorter shutter time or flash.")
        },
    )
}

fn ghost(judged: &FrameVerdict) -> String {
    let smear = judged.movement.map_or_else(String::new, |m| {
        let length = wording::plus_minus(m.smear.length_px, Some(m.smear.length_std_err_px));
        format!(", smeared by {length} px")
    });
    format!(
        "A fainter image{smear} overlaps the sharp one: flash and ambient light both exposed. Use \
         a shorter shutter time or less ambient light."
    )
}

/// Findings about a burst.
pub fn burst_findings(
    judged: &BurstVerdict,
    frames: &[FrameRecord],
    group: &FrameGroup,
    other: Option<&OtherSubject>,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    let total = frames.len();
    if judged.best_is_soft {
        let sharpest =
            frames.iter().filter_map(|f| f.blur_sigma_px).map(|b| b.value).min_by(f64::total_cmp);
        let allowed = frames.iter().find_map(|f| f.blur_allowed_px);
        let figures = match (sharpest, allowed) {
            (Some(s), Some(a)) => format!(
                " (about {} px of blur; these settings allow {} px)",
                wording::fixed(s, 1),
                wording::fixed(a, 1)
            ),
            _ => String::new(),
        };
        let (what, next) = if judged.is_shaken {
            (
                "Nearly every frame of this burst is smeared: nothing is sharp at the subject",
                "Use a shorter shutter time or flash, or rest your hands.",
            )
        } else {
            (
                "Nothing sharp at the subject in this burst",
                "Rock further through the focus plane, or mark the subject if this is not it.",
            )
        };
        findings.push(Finding { says: format!("{what}{figures}."), next: Some(next.to_owned()) });
    }
    if let Some(finding) = other.and_then(|other| two_subjects(judged, frames, other)) {
        findings.push(finding);
    }
    if judged.found == SubjectFound::None {
        findings.push(Finding {
            says: "No frame shows enough structure to place a subject.".to_owned(),
            next: Some(MARK_IT.to_owned()),
        });
    }
    if !group.timed && total > 1 {
        findings.push(Finding {
            says: "No capture times: frames are in the order of their names.".to_owned(),
            next: None,
        });
    }
    findings
}

/// The two frames that could be the best, each with its place.
fn two_subjects(
    judged: &BurstVerdict,
    frames: &[FrameRecord],
    other: &OtherSubject,
) -> Option<Finding> {
    let best = frames.get(judged.best?)?;
    let at = best.subject?;
    let place = |x: f64, y: f64| {
        format!("{} from the left and {} from the top", wording::per_cent(x), wording::per_cent(y))
    };
    Some(Finding {
        says: format!(
            "Nobody marked the subject. If it is {}, {} is the sharpest; if it is {}, {} is.",
            place(at.x, at.y),
            wording::file_name(&best.path),
            place(other.x, other.y),
            wording::file_name(&other.best),
        ),
        next: Some(MARK_IT.to_owned()),
    })
}

/// Findings about an outing.
pub fn outing_findings(
    outing: &OutingRecord,
    bursts: &[BurstRecord],
    frames: &[FrameRecord],
) -> Vec<Finding> {
    let mut findings = Vec::new();
    if outing.unmarked_bursts > 0 {
        findings.push(Finding {
            says: format!(
                "No subject is marked in {}: it was guessed there, and the verdicts hold for the \
                 guess.",
                wording::count(outing.unmarked_bursts, "burst", "bursts")
            ),
            next: Some(MARK_IT.to_owned()),
        });
    }
    let never: Vec<u32> = bursts.iter().filter(|b| is_soft(b, frames)).map(|b| b.id).collect();
    if !never.is_empty() {
        findings.push(Finding {
            says: format!("Nothing sharp at the subject in {}.", wording::bursts(&never)),
            next: Some("Rock further through the focus plane there.".to_owned()),
        });
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
        let next = match cause {
            Cause::Shake => "A shorter shutter time or flash would save most of them.",
            Cause::SubjectMotion => "Use flash, or a shorter shutter time than the hand needs.",
            Cause::Ghosted => "Shorten the shutter time, so that the flash alone exposes.",
            Cause::Misfocused => "Take more frames per pass through focus, or close the aperture.",
            Cause::Soft => {
                "Take more frames per pass through focus: it passed between two of them."
            }
            _ => continue,
        };
        let among = if never.is_empty() { "" } else { " in the other bursts" };
        findings.push(Finding {
            says: format!("{count} of {} near and missed frames{among}: {}.", short.len(), row.key),
            next: Some(next.to_owned()),
        });
    }
    findings
}

/// Whether nothing in a burst is sharp at its subject.
fn is_soft(burst: &BurstRecord, frames: &[FrameRecord]) -> bool {
    frames.iter().filter(|f| f.burst == burst.id).any(|f| f.flags.has(Flag::BestIsSoft))
}

/// Seconds from the first to the last frame of a burst.
pub fn lasts_s(frames: &[&Frame]) -> Option<f64> {
    let time = |f: &Frame| Some(f.exposure.as_ref()?.taken_at.as_ref()?.value);
    let (first, last) = (time(frames.first()?)?, time(frames.last()?)?);
    Some(last.seconds_since(&first))
}
