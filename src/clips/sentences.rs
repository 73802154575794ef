//! Findings of a clip in sentences.

use super::findings::{ClipAdvice, ClipFinding, UnclearBecause};
use crate::report::sentences::{Medium, Sentences};
use crate::report::wording;
use crate::store::sentences::name_a_rig;

fn seconds(s: f64) -> String {
    format!("{} s", wording::fixed(s, 1))
}

impl Sentences for ClipFinding {
    fn message(&self, medium: Medium) -> String {
        match self {
            ClipFinding::NothingInFocus { length_s } => {
                format!("Nothing of {} is in focus.", seconds(*length_s))
            }
            ClipFinding::InFocus { in_focus_s, length_s, played, stretches } => {
                let played = played.map_or_else(String::new, |(s, fps)| {
                    format!(" ({} played at {} fps)", seconds(s), wording::short(fps))
                });
                format!(
                    "In focus: {} of {}{played}, in {}.",
                    seconds(*in_focus_s),
                    seconds(*length_s),
                    wording::count(*stretches, "stretch", "stretches")
                )
            }
            ClipFinding::BestIsSoft { blur_px } => format!(
                "Even the best frames are soft: blur {} px at the subject.",
                wording::measured(blur_px)
            ),
            ClipFinding::FocusDrift { at_s, rate_px_s, rate_mm_s } => format!(
                "Focus drifts through the subject at {}; blur grows by {} px per second{}. Blur \
                 alone does not show the direction.",
                seconds(*at_s),
                wording::measured(rate_px_s),
                rate_mm_s.map_or_else(String::new, |v| format!(", {} mm/s", wording::number(v)))
            ),
            ClipFinding::Shake { amplitude_px, frequency_hz, crop } => format!(
                "The picture shakes by ±{} px at {} Hz; steadying it would cut off {} of the \
                 frame.",
                wording::number(*amplitude_px),
                wording::measured(frequency_hz),
                wording::per_cent(*crop)
            ),
            ClipFinding::Smear { speed_px_s, shutter_s, is_assumed, smear_px, blur_px, .. } => {
                format!(
                    "A quarter of the frames move by {} px per second or more: at {}{} that is a \
                     smear of {} px on top of {} px of blur.",
                    wording::number(*speed_px_s),
                    wording::shutter(*shutter_s),
                    match (is_assumed, medium) {
                        (false, _) => "",
                        (true, Medium::Terminal) => " (assumed, give --shutter)",
                        (true, _) => " (assumed)",
                    },
                    wording::number(*smear_px),
                    wording::number(*blur_px)
                )
            }
            ClipFinding::OneStopCloser { f_number, closed, in_focus_s, softer } => format!(
                "Closing from {} to {} would make the depth, and the {} in focus, about 1.4 times \
                 as long and the best frames {} softer by diffraction.",
                wording::f_number(*f_number),
                wording::f_number(*closed),
                seconds(*in_focus_s),
                wording::per_cent(softer - 1.0)
            ),
            ClipFinding::KeyFramePulse { ratio } => format!(
                "Noise pulses with the codec's key frames: {} times that of the frames between. \
                 It is the coding, not the light; frames are compared with their own kind.",
                wording::measured(ratio)
            ),
            ClipFinding::Noisy { share } => format!(
                "At the subject {} of the fine contrast of the best frames is noise.",
                wording::per_cent(*share)
            ),
            ClipFinding::Unclear { share, why } => format!(
                "{} of the frames could not be judged: {}.",
                wording::per_cent(*share),
                match why {
                    UnclearBecause::Noise => "noise hides the subject",
                    UnclearBecause::NoTexture => "there is no texture at the subject point",
                    UnclearBecause::SubjectLost => {
                        "the subject left the picture or was lost"
                    }
                }
            ),
            ClipFinding::NoCrop { deliver_px: (w, h), lines_px } => format!(
                "For {w}x{h} there is nothing to crop: the finest lines of even the sharpest \
                 stretch are {} px of the delivered picture wide.",
                wording::number(*lines_px)
            ),
            ClipFinding::Crop { deliver_px: (w, h), times, pixel_for_pixel } => format!(
                "For {w}x{h} the sharpest stretch can be cropped {} times before its finest lines \
                 are coarser than the pixels; pixel for pixel it is {} times.",
                wording::measured(times),
                wording::number(*pixel_for_pixel)
            ),
            ClipFinding::Flicker { share } => {
                format!("Brightness flickers by {} from frame to frame.", wording::per_cent(*share))
            }
            ClipFinding::SeveralRigs { rigs } => format!(
                "The clip matches several rigs equally well ({}), so none was used.",
                rigs.join(", ")
            ),
            ClipFinding::Interlaced => {
                "The clip is interlaced: moving edges are combed and vertical blur is less certain."
                    .to_owned()
            }
            ClipFinding::BrokeOff { why } => {
                format!(
                    "The clip could not be read to the end ({why}). Results cover the part \
                         that was read."
                )
            }
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        self.advice().map(|a| a.sentence(medium))
    }
}

impl ClipAdvice {
    fn sentence(self, medium: Medium) -> String {
        let text = match self {
            ClipAdvice::CheckSubjectPoint => {
                "Check the subject point first; then focus or movement."
            }
            ClipAdvice::RestNearSubject => {
                "Rest the front of the lens or the hand on something near the subject."
            }
            ClipAdvice::SupportLens => {
                "Fast shake comes from muscles or a touched tripod: support the lens, not the \
                 elbow."
            }
            ClipAdvice::UseMonopod => {
                "Slow sway comes from the body: a foot on the ground (monopod) takes most of it."
            }
            ClipAdvice::ShutterAtMost { shutter_s } => {
                return format!("Use {} or shorter.", wording::shutter(shutter_s));
            }
            ClipAdvice::ClosingPays => "Worth it if there is enough light.",
            ClipAdvice::ClosingCosts => "It costs more than it gives.",
            ClipAdvice::HigherBitRate => "A higher bit rate, or all-intra coding, evens it out.",
            ClipAdvice::MoreLight => "One stop more light removes a third of the noise.",
            ClipAdvice::MarkSubject => match medium {
                Medium::Terminal => "Give the subject's place in the first frame with --subject.",
                Medium::Report | Medium::ReviewPage => {
                    "Mark the subject's place in the first frame."
                }
            },
            ClipAdvice::CropWithin => {
                "Crop within that; beyond it a higher magnification when taking gives more than \
                 cropping."
            }
            ClipAdvice::MatchLamps => "Match the shutter to the lamps' mains or dimmer frequency.",
            ClipAdvice::NameRig => return name_a_rig(medium),
            ClipAdvice::RecordProgressive => "Record progressive frames.",
        };
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::Measured;
    use crate::report::sentences::{check, paragraph};

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let m = |value| Measured::new(value, value / 10.0, 40).unwrap();
        let smear = |is_assumed| ClipFinding::Smear {
            speed_px_s: 210.0,
            shutter_s: 0.01,
            is_assumed,
            smear_px: 2.1,
            blur_px: 0.8,
            needed_s: 1.0 / 240.0,
        };
        let shake = |hz| ClipFinding::Shake { amplitude_px: 12.0, frequency_hz: m(hz), crop: 0.07 };
        let closer = |softer| ClipFinding::OneStopCloser {
            f_number: 8.0,
            closed: 11.3,
            in_focus_s: 2.4,
            softer,
        };
        let unclear = |why| ClipFinding::Unclear { share: 0.3, why };
        let in_focus =
            |played| ClipFinding::InFocus { in_focus_s: 2.0, length_s: 9.0, played, stretches: 2 };
        let rigs = vec!["bellows".to_owned(), "macro".to_owned()];
        let deliver_px = (1920, 1080);
        check(&[
            ClipFinding::NothingInFocus { length_s: 9.0 },
            in_focus(None),
            in_focus(Some((8.0, 25.0))),
            ClipFinding::BestIsSoft { blur_px: m(3.0) },
            ClipFinding::FocusDrift { at_s: 2.0, rate_px_s: m(1.5), rate_mm_s: None },
            ClipFinding::FocusDrift { at_s: 2.0, rate_px_s: m(1.5), rate_mm_s: Some(0.4) },
            shake(3.9),
            shake(4.0),
            smear(false),
            smear(true),
            closer(1.19),
            closer(1.2),
            ClipFinding::KeyFramePulse { ratio: m(1.4) },
            ClipFinding::Noisy { share: 0.4 },
            unclear(UnclearBecause::Noise),
            unclear(UnclearBecause::NoTexture),
            unclear(UnclearBecause::SubjectLost),
            ClipFinding::NoCrop { deliver_px, lines_px: 1.6 },
            ClipFinding::Crop { deliver_px, times: m(1.8), pixel_for_pixel: 2.0 },
            ClipFinding::Flicker { share: 0.03 },
            ClipFinding::SeveralRigs { rigs },
            ClipFinding::Interlaced,
            ClipFinding::BrokeOff { why: "no more data".to_owned() },
        ]);
        let text = Medium::ALL.map(|m| paragraph(&smear(true), m));
        assert!(text[0].contains("1/100 s (assumed, give --shutter) that"), "{}", text[0]);
        assert!(text[1].contains("1/100 s (assumed) that") && text[1] == text[2], "{}", text[1]);
        assert!(text[0].ends_with("Use 1/240 s or shorter."));
        let fast = [3.9, 4.0].map(|hz| shake(hz).advice());
        assert_eq!(fast, [Some(ClipAdvice::UseMonopod), Some(ClipAdvice::SupportLens)]);
        let closing = [1.19, 1.2].map(|softer| closer(softer).advice());
        assert_eq!(closing, [Some(ClipAdvice::ClosingPays), Some(ClipAdvice::ClosingCosts)]);
    }
}
