//! Reasons and findings of `cull` in sentences.

use serde::de::{DeserializeOwned, Error as _};
use serde::ser::SerializeMap;
use serde::{Deserialize, Deserializer, Serializer};

use super::findings::{
    Advice, BlurReason, BurstFinding, FindingAsRead, OutingFinding, PlaceInFrame, RatioOver,
    Reason, SettingsNote, SmearLength, Yardstick,
};
use crate::report::sentences::{self, Medium, Sentences};
use crate::report::wording;

/// A blur in a sentence.
fn px(sigma_px: f64) -> String {
    format!("{} px", wording::fixed(sigma_px, 2))
}

impl RatioOver {
    fn words(self) -> String {
        let over = match self.over {
            Yardstick::Settings => "the sharpest that these settings allow",
            Yardstick::SingleFrame => "the sharpest that a single frame can be judged against",
            Yardstick::SharpestFrame => "the burst's sharpest frame",
        };
        format!("Blur is {} times that of {over}", wording::plus_minus(self.ratio, self.std_err))
    }
}

impl SmearLength {
    fn words(self) -> String {
        format!("{} px", wording::plus_minus(self.px, Some(self.std_err_px)))
    }
}

impl Reason {
    /// Why a frame has its verdict, and what to do.
    pub fn sentence(&self, medium: Medium) -> String {
        match self {
            Reason::SubjectLost => format!(
                "The subject was lost in this frame. {}, or look at the frame.",
                match medium {
                    Medium::Terminal => "Mark it with --subject",
                    Medium::Report => "Mark it",
                    Medium::ReviewPage => "Press s and click it",
                }
            ),
            Reason::TooDark => {
                "The subject is too dark to judge. Give more light or open the aperture.".to_owned()
            }
            Reason::BlownOut => {
                "The subject is blown out, so its edges are gone. Give less light or soften it."
                    .to_owned()
            }
            Reason::NoiseHides => {
                "Noise hides whether the subject is sharp. Use more light or a lower ISO."
                    .to_owned()
            }
            Reason::Resized => {
                "Sharp at this size, but the file was made smaller after capture: focus can only \
                 be judged on the original."
                    .to_owned()
            }
            Reason::SubjectUnsure => format!(
                "The verdict depends on the subject that you meant. {}",
                Advice::MarkSubject.sentence(medium)
            ),
            Reason::GuessedAlone => format!(
                "Sharp at this spot, but the spot was guessed and there is no second frame to \
                 compare with. {}",
                Advice::MarkSubject.sentence(medium)
            ),
            Reason::NoTexture => format!(
                "Too little texture at the subject. {}.",
                match medium {
                    Medium::Terminal => "Mark a spot with texture using --subject",
                    Medium::Report => "Mark a spot with texture",
                    Medium::ReviewPage => "Press s and click a spot with texture",
                }
            ),
            Reason::Hit { is_best, ratio, settings } => {
                let lead = match is_best {
                    true => "Sharpest of its burst".to_owned(),
                    false => ratio.map_or_else(String::new, RatioOver::words),
                };
                format!("{lead}{}", settings.tail())
            }
            Reason::Blurred { ratio, by } => match ratio {
                Some(ratio) => format!("{}. {}", ratio.words(), by.sentence()),
                None => by.sentence(),
            },
            Reason::AsRead(words) => words.clone(),
        }
    }
}

impl SettingsNote {
    fn tail(self) -> String {
        match self {
            SettingsNote::Unknown => ".".to_owned(),
            SettingsNote::Diffraction { working_f_number, share, allowed_px } => format!(
                ". Diffraction at a working f/{} makes {} of the blur that these settings allow \
                 ({}): opening up would show more.",
                wording::fixed(working_f_number, 0),
                wording::per_cent(share),
                px(allowed_px),
            ),
            SettingsNote::Reached { allowed_px } => {
                format!(", as sharp as these settings allow ({}).", px(allowed_px))
            }
            SettingsNote::Allowed { allowed_px } => {
                format!(". These settings allow {}.", px(allowed_px))
            }
        }
    }
}

impl BlurReason {
    fn sentence(self) -> String {
        let smeared = |what: &str, by: Option<SmearLength>| match by {
            None => format!("{what}."),
            Some(by) => format!(
                "{what} by {} in one direction. Use a shorter shutter time or flash.",
                by.words()
            ),
        };
        match self {
            BlurReason::Shake(by) => smeared("Everything in the frame is smeared", by),
            BlurReason::SubjectMotion(by) => smeared("Only the subject is smeared", by),
            BlurReason::Ghosted(by) => format!(
                "A fainter image{} overlaps the sharp one: flash and ambient light both exposed. \
                 Use a shorter shutter time or less ambient light.",
                by.map_or_else(String::new, |by| format!(", smeared by {}", by.words()))
            ),
            BlurReason::BurstIsSoft => {
                "No frame of this burst is in focus at the subject.".to_owned()
            }
            BlurReason::Misfocused => {
                "Something else in the frame is sharp: the focus plane missed the subject."
                    .to_owned()
            }
            BlurReason::NothingSharp => {
                "Nothing in the frame is sharp and the blur has no direction: the focus plane \
                 missed the whole subject, or movement and defocus add up."
                    .to_owned()
            }
        }
    }
}

impl Advice {
    /// The advice where it is read.
    pub fn sentence(self, medium: Medium) -> &'static str {
        match self {
            Advice::MarkSubject => match medium {
                Medium::Terminal => {
                    "Open the folder with `stopwise review`, press s and click the eye."
                }
                Medium::Report => "Open the folder with `stopwise review` and mark the eye.",
                Medium::ReviewPage => "Press s and click the eye.",
            },
            Advice::ShortenOrSupport => "Use a shorter shutter time or flash, or rest your hands.",
            Advice::FocusFurtherOrMark => match medium {
                Medium::Terminal | Medium::Report => {
                    "Rock further through the focus plane, or mark the subject if this is not it."
                }
                Medium::ReviewPage => {
                    "Rock further through the focus plane, or press s and click the subject if \
                     this is not it."
                }
            },
            Advice::FocusFurther => "Rock further through the focus plane there.",
            Advice::AgainstShake => "A shorter shutter time or flash would save most of them.",
            Advice::AgainstSubjectMotion => {
                "Use flash, or a shorter shutter time than the hand needs."
            }
            Advice::AgainstGhosts => "Shorten the shutter time, so that the flash alone exposes.",
            Advice::AgainstMisfocus => {
                "Take more frames per pass through focus, or close the aperture."
            }
            Advice::AgainstSoftness => {
                "Take more frames per pass through focus: it passed between two of them."
            }
            Advice::ReportFault => "Please report it, with these frames if you can.",
        }
    }
}

impl FindingAsRead {
    /// Its advice: a file's words may name an option, so that pages leave them out.
    fn advice(&self, medium: Medium) -> Option<String> {
        self.advice.clone().filter(|_| medium == Medium::Terminal)
    }
}

impl PlaceInFrame {
    fn words(&self) -> String {
        format!(
            "{} from the left and {} from the top",
            wording::per_cent(self.x),
            wording::per_cent(self.y)
        )
    }
}

impl Sentences for BurstFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            BurstFinding::NothingSharp { is_shaken, least_and_allowed_px } => {
                let what = if *is_shaken {
                    "Nearly every frame of this burst is smeared: nothing is sharp at the subject"
                } else {
                    "Nothing sharp at the subject in this burst"
                };
                let figures =
                    least_and_allowed_px.map_or_else(String::new, |(least_px, allowed_px)| {
                        format!(
                            " (about {} px of blur; these settings allow {} px)",
                            wording::fixed(least_px, 1),
                            wording::fixed(allowed_px, 1)
                        )
                    });
                format!("{what}{figures}.")
            }
            BurstFinding::TwoSubjects { taken, other } => format!(
                "The subject is not marked. If it is {}, {} is the sharpest; if it is {}, {} is.",
                taken.words(),
                wording::file_name(&taken.path),
                other.words(),
                wording::file_name(&other.path),
            ),
            BurstFinding::NoSubject => "No frame has enough texture to find a subject.".to_owned(),
            BurstFinding::NoCaptureTimes => {
                "No capture times: frames are in the order of their names.".to_owned()
            }
            BurstFinding::AsRead(words) => words.message.clone(),
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        match self {
            BurstFinding::AsRead(words) => words.advice(medium),
            _ => self.advice().map(|a| a.sentence(medium).to_owned()),
        }
    }
}

impl Sentences for OutingFinding {
    fn message(&self, medium: Medium) -> String {
        match self {
            OutingFinding::SubjectGuessed { bursts } => format!(
                "The subject was guessed in {}; the verdicts apply to the guess.",
                wording::count(*bursts, "burst", "bursts")
            ),
            OutingFinding::NothingSharp { bursts } => {
                format!("Nothing sharp at the subject in {}.", wording::bursts(bursts))
            }
            OutingFinding::Lost { cause, frames, of, in_other_bursts } => format!(
                "{frames} of {of} near and missed frames{}: {}.",
                if *in_other_bursts { " in the other bursts" } else { "" },
                cause.word()
            ),
            OutingFinding::Equipment(finding) => finding.message(medium),
            OutingFinding::Contradiction(what) => {
                format!("Internal inconsistency: {what}.")
            }
            OutingFinding::AsRead(words) => words.message.clone(),
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        match self {
            OutingFinding::AsRead(words) => words.advice(medium),
            OutingFinding::Equipment(finding) => finding.advice_text(medium),
            _ => self.advice().map(|a| a.sentence(medium).to_owned()),
        }
    }
}

/// A frame's reason in a record: its sentence for the terminal as `because`, itself as `reason`.
pub mod reason_in_record {
    use super::*;

    #[derive(Deserialize)]
    struct ReadReason {
        because: String,
        #[serde(default)]
        reason: serde_json::Value,
    }

    /// Writes both fields.
    ///
    /// # Errors
    /// Those of the serializer.
    pub fn serialize<S: Serializer>(reason: &Reason, serializer: S) -> Result<S::Ok, S::Error> {
        let mut fields = serializer.serialize_map(Some(2))?;
        fields.serialize_entry("because", &reason.sentence(Medium::Terminal))?;
        fields.serialize_entry("reason", reason)?;
        fields.end()
    }

    /// Reads the reason, or the sentence where a record has no reason that is known here.
    ///
    /// # Errors
    /// When there is no sentence.
    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Reason, D::Error> {
        let ReadReason { because, reason } = ReadReason::deserialize(deserializer)?;
        Ok(Reason::deserialize(reason).unwrap_or(Reason::AsRead(because)))
    }
}

/// Findings in a record.
pub mod findings_in_record {
    use super::*;
    pub use sentences::serialize;

    /// Reads findings; one that is not known here, or of an earlier form, in its words.
    ///
    /// # Errors
    /// Anything but a list of findings.
    pub fn deserialize<'de, F, D>(deserializer: D) -> Result<Vec<F>, D::Error>
    where
        F: DeserializeOwned + From<FindingAsRead>,
        D: Deserializer<'de>,
    {
        let read = Vec::<serde_json::Value>::deserialize(deserializer)?;
        read.into_iter()
            .map(|one| match F::deserialize(&one) {
                Ok(finding) => Ok(finding),
                Err(_) => FindingAsRead::deserialize(one).map(F::from).map_err(D::Error::custom),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::verdict::{Cause, Verdict};
    use crate::core::{Flag, FlagSet};
    use crate::report::sentences::{check, paragraph};
    use crate::store::equipment::{EquipmentFinding, RigLack};

    /// Reasons are checked as findings without advice.
    struct ReasonAlone(Reason);

    impl Sentences for ReasonAlone {
        fn message(&self, medium: Medium) -> String {
            self.0.sentence(medium)
        }

        fn advice_text(&self, _: Medium) -> Option<String> {
            None
        }
    }

    #[test]
    fn every_reason_reads_well_wherever_it_is_shown() {
        let over = |over| Some(RatioOver { ratio: 1.92, std_err: Some(0.08), over });
        let smear = Some(SmearLength { px: 4.2, std_err_px: 0.3 });
        let hit = |is_best, settings| Reason::Hit {
            is_best,
            ratio: over(Yardstick::SharpestFrame),
            settings,
        };
        let blurred = |ratio, by| Reason::Blurred { ratio, by };
        let diffraction =
            SettingsNote::Diffraction { working_f_number: 32.0, share: 0.8, allowed_px: 2.1 };
        let all = [
            Reason::SubjectLost,
            Reason::TooDark,
            Reason::BlownOut,
            Reason::NoiseHides,
            Reason::Resized,
            Reason::SubjectUnsure,
            Reason::GuessedAlone,
            Reason::NoTexture,
            hit(true, SettingsNote::Unknown),
            hit(false, diffraction),
            hit(true, SettingsNote::Reached { allowed_px: 0.86 }),
            hit(false, SettingsNote::Allowed { allowed_px: 0.86 }),
            blurred(over(Yardstick::Settings), BlurReason::BurstIsSoft),
            blurred(over(Yardstick::SingleFrame), BlurReason::NothingSharp),
            blurred(over(Yardstick::SharpestFrame), BlurReason::Misfocused),
            blurred(None, BlurReason::Shake(None)),
            blurred(None, BlurReason::Shake(smear)),
            blurred(None, BlurReason::SubjectMotion(smear)),
            blurred(None, BlurReason::Ghosted(None)),
            blurred(None, BlurReason::Ghosted(smear)),
            Reason::AsRead("Sharpest of its burst.".to_owned()),
        ];
        check(&all.map(ReasonAlone));
        let lost = Medium::ALL.map(|m| Reason::SubjectLost.sentence(m));
        assert!(lost[0].ends_with("Mark it with --subject, or look at the frame."));
        assert!(lost[1].ends_with("Mark it, or look at the frame."));
        assert!(lost[2].ends_with("Press s and click it, or look at the frame."));
    }

    #[test]
    fn a_reason_read_from_a_file_names_no_option_on_a_page() {
        let lost = FlagSet::EMPTY.with(Flag::SubjectLost);
        let read = |flags, verdict, first| {
            let mut reason = Reason::AsRead("Mark it with --subject.".to_owned());
            reason.recover(flags, verdict, first);
            reason
        };
        assert_eq!(read(lost, Verdict::Unclear, Some(Cause::NoTexture)), Reason::SubjectLost);
        let none = FlagSet::EMPTY;
        for (first, want) in [
            (Some(Cause::UnderExposed), Reason::TooDark),
            (Some(Cause::Clipped), Reason::BlownOut),
            (Some(Cause::Noise), Reason::NoiseHides),
            (Some(Cause::NoTexture), Reason::NoTexture),
            (Some(Cause::Soft), Reason::NoTexture),
            (None, Reason::SubjectUnsure),
        ] {
            assert_eq!(read(none, Verdict::Unclear, first), want);
        }
        assert_eq!(read(none.with(Flag::Alone), Verdict::Unclear, None), Reason::GuessedAlone);
        assert_eq!(read(none.with(Flag::Resized), Verdict::Unclear, None), Reason::Resized);
        let kept = read(none, Verdict::Miss, Some(Cause::Shake));
        assert_eq!(kept, Reason::AsRead("Mark it with --subject.".to_owned()));
    }

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let place = |path: &str| PlaceInFrame { path: path.to_owned(), x: 0.5, y: 0.25 };
        let soft = |is_shaken, least_and_allowed_px| BurstFinding::NothingSharp {
            is_shaken,
            least_and_allowed_px,
        };
        let read = FindingAsRead {
            message: "No subject is marked.".to_owned(),
            advice: Some("Mark it with --subject.".to_owned()),
        };
        check(&[
            soft(true, None),
            soft(false, Some((3.1, 0.9))),
            BurstFinding::TwoSubjects { taken: place("a.jpg"), other: place("b.jpg") },
            BurstFinding::NoSubject,
            BurstFinding::NoCaptureTimes,
            BurstFinding::AsRead(read.clone()),
        ]);
        let mut of_outing = vec![
            OutingFinding::SubjectGuessed { bursts: 3 },
            OutingFinding::NothingSharp { bursts: vec![2, 5] },
            OutingFinding::Equipment(EquipmentFinding::SeveralRigs {
                frames: 2,
                rigs: vec!["bellows".to_owned(), "macro".to_owned()],
            }),
            OutingFinding::Equipment(EquipmentFinding::RigIncomplete {
                rig: "macro".to_owned(),
                lack: RigLack::FocalLength,
            }),
            OutingFinding::Contradiction("burst 1: its best frame is no hit".to_owned()),
            OutingFinding::AsRead(read.clone()),
        ];
        for cause in Cause::ALL {
            let in_other_bursts = cause == Cause::Shake;
            of_outing.push(OutingFinding::Lost { cause, frames: 4, of: 9, in_other_bursts });
        }
        check(&of_outing);
        assert_eq!(
            Medium::ALL.map(|m| paragraph(&BurstFinding::NoSubject, m)),
            [
                "No frame has enough texture to find a subject. Open the folder with \
                 `stopwise review`, press s and click the eye.",
                "No frame has enough texture to find a subject. Open the folder with \
                 `stopwise review` and mark the eye.",
                "No frame has enough texture to find a subject. Press s and click the eye.",
            ]
        );
    }
}
