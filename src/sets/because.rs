//! The sentences: why a verdict is what it is, and what to do next time.

use super::grouping::Group;
use super::judge::{BurstJudged, Judged};
use super::rows::FrameParts;
use crate::base::Flag;
use crate::frames::Frame;
use crate::report::record::{
    Call, Cause, CauseShare, Finding, FrameRecord, OutingRecord, SubjectFound,
};
use crate::report::wording;

/// Frames short of which nothing is said about an outing's hit rate.
const FRAMES_TO_SPEAK: u32 = 10;
/// Share of the misses from which a cause is worth a finding.
const CAUSE_SHARE: f64 = 0.3;
/// An automatic subject less sure than this is worth a mark by the user.
const UNSURE: f64 = 0.15;

/// What to do when the subject is not sure.
const MARK_IT: &str = "Mark it: --subject X,Y, or a line a burst in a file for --subjects.";

/// A blur as told in a sentence.
fn px(sigma_px: f64) -> String {
    format!("{} px", wording::fixed(sigma_px, 2))
}

fn ratio_words(judged: &Judged, reference_px: Option<f64>) -> String {
    judged.ratio.map_or_else(String::new, |r| {
        let shown = wording::plus_minus(r.value, r.std_err);
        let reference = reference_px.map_or_else(String::new, |r| format!(" ({})", px(r)));
        format!("{shown} times the blur that counts as best here{reference}")
    })
}

/// Why one frame has its verdict.
pub fn frame(parts: FrameParts<'_>, burst: &BurstJudged, causes: &[CauseShare]) -> String {
    let FrameParts { judged, allowed, is_best, .. } = parts;
    let first = causes.first().map(|c| c.cause);
    if judged.flags.has(Flag::SubjectLost) {
        return "The subject could not be followed into this frame. Mark it with --subject, or \
                look at the frame."
            .to_owned();
    }
    match (judged.call, first) {
        (Call::CannotSay, Some(Cause::UnderExposed)) => {
            "The subject is too dark to judge. Give more light or open the aperture.".to_owned()
        }
        (Call::CannotSay, Some(Cause::Clipped)) => {
            "The subject is blown out, so its edges are gone. Give less light or soften it."
                .to_owned()
        }
        (Call::CannotSay, Some(Cause::Noise)) => {
            "Noise hides whether the subject is sharp. More light or a lower ISO would tell."
                .to_owned()
        }
        (Call::CannotSay, _) => {
            "Too little structure at the subject to judge. Mark a spot with texture using \
             --subject."
                .to_owned()
        }
        (Call::Hit, _) => {
            let lead = if is_best {
                "Sharpest of its burst".to_owned()
            } else {
                ratio_words(judged, burst.reference_px)
            };
            match allowed {
                Some(a) if first == Some(Cause::Diffraction) => format!(
                    "{lead}. Diffraction at a working f/{} makes {} of the blur that these \
                     settings allow ({}): opening up would show more.",
                    wording::fixed(a.n_eff, 0),
                    wording::per_cent(a.diffraction_share),
                    px(a.sigma_px),
                ),
                Some(a) => format!(
                    "{lead}. These settings allow {}{}.",
                    px(a.sigma_px),
                    if a.assumed { " if the subject was taken at life size" } else { "" }
                ),
                None => format!("{lead}."),
            }
        }
        (_, cause) => {
            let lead = ratio_words(judged, burst.reference_px);
            let tail = match cause {
                Some(Cause::Shake) => movement(judged, "Everything in the frame is smeared"),
                Some(Cause::SubjectMotion) => movement(judged, "Only the subject is smeared"),
                Some(Cause::PlaneOff) => {
                    "Something else in the frame is sharp: the focus plane missed the subject."
                        .to_owned()
                }
                Some(Cause::Ghosted) => {
                    "A second, fainter image lies beside the first: flash and daylight both \
                     exposed. Use a shorter shutter time or less daylight."
                        .to_owned()
                }
                _ if burst.best_is_soft => {
                    "No frame of this burst is as sharp at the subject as its settings allow."
                        .to_owned()
                }
                _ => "Nothing in the frame is sharp and no direction stands out: the focus plane \
                      lay off everything, or the blur is movement and defocus together."
                    .to_owned(),
            };
            format!("{lead}. {tail}")
        }
    }
}

fn movement(judged: &Judged, lead: &str) -> String {
    judged.movement.map_or_else(
        || format!("{lead}."),
        |m| {
            let length = wording::plus_minus(m.smear.length_px, Some(m.smear.length_std_err_px));
            format!("{lead} by {length} px in one direction. Use a shorter shutter time or flash.")
        },
    )
}

/// Findings about a burst.
pub fn burst(judged: &BurstJudged, frames: &[FrameRecord], group: &Group) -> Vec<Finding> {
    let mut findings = Vec::new();
    let total = frames.len();
    if judged.best_is_soft {
        findings.push(Finding {
            says: "Even the sharpest frame is softer at the subject than these settings allow."
                .to_owned(),
            next: Some(
                "Rock further through the focus plane, or mark the subject if this is not it."
                    .to_owned(),
            ),
        });
    }
    if judged.found == SubjectFound::Automatic
        && judged.confidence.is_some_and(|c| c < UNSURE)
        && total > 1
    {
        findings.push(Finding {
            says: "Where the subject is was guessed from the burst, and other places are nearly \
                   as likely."
                .to_owned(),
            next: Some(MARK_IT.to_owned()),
        });
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

/// Findings about an outing.
pub fn outing(outing: &OutingRecord) -> Vec<Finding> {
    let mut findings = Vec::new();
    let judged = outing.hits.of;
    if judged < FRAMES_TO_SPEAK {
        if judged > 0 {
            findings.push(Finding {
                says: format!(
                    "Only {} judged: too few to speak of a hit rate.",
                    wording::count(judged, "frame", "frames")
                ),
                next: None,
            });
        }
        return findings;
    }
    for row in &outing.by_cause {
        if row.share.of == 0 || f64::from(row.share.count) < CAUSE_SHARE * f64::from(row.share.of) {
            continue;
        }
        let next = match row.key.as_str() {
            "shake" => "A shorter shutter time or flash would save most of them.",
            "subject-motion" => "Flash, or a shorter shutter time than the hand needs.",
            "plane-off" => {
                "More frames a burst, or a smaller aperture where diffraction leaves room."
            }
            "soft" => "Rock further through the focus plane: it never reached the subject.",
            _ => continue,
        };
        findings.push(Finding {
            says: format!(
                "{} of {} near and missed frames: {}.",
                row.share.count, row.share.of, row.key
            ),
            next: Some(next.to_owned()),
        });
    }
    findings
}

/// Seconds from the first to the last frame of a burst.
pub fn lasts_s(frames: &[&Frame]) -> Option<f64> {
    let time = |f: &Frame| Some(f.exposure.as_ref()?.taken_at.as_ref()?.value);
    let (first, last) = (time(frames.first()?)?, time(frames.last()?)?);
    Some(last.seconds_since(&first))
}
