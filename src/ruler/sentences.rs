//! What to know of a scale, in sentences. Records hold each with its advice as one text.

use serde::Serializer;

use super::findings::{ScaleAdvice, ScaleFinding};
use crate::report::sentences::{Medium, Sentences, paragraphs};
use crate::report::wording;

fn changes(change: f64, way: &str) -> String {
    format!(
        "The scale changes by {} % over the frame {way} the ruler: it lay at an angle to the \
         sensor, or the lens bends straight lines. The scale given is that of the middle of the \
         frame; its error covers the change.",
        wording::fixed(100.0 * change.abs(), 1)
    )
}

impl Sentences for ScaleFinding {
    fn message(&self, medium: Medium) -> String {
        // On the terminal, advice that names an option ends the sentence.
        let end = |message: &str, mark: &str| match medium {
            Medium::Terminal => format!("{message}{mark}"),
            Medium::Report | Medium::ReviewPage => format!("{message}."),
        };
        match self {
            ScaleFinding::TicksAssumed { ticks_mm } => end(
                &format!(
                    "The closest ticks are taken to be {} mm apart",
                    wording::short(*ticks_mm)
                ),
                ":",
            ),
            ScaleFinding::MaybeHalfMillimetres => {
                end("Every second tick is longer, as on a ruler with half millimetres", ":")
            }
            ScaleFinding::ChangesAlong { change } => changes(*change, "along"),
            ScaleFinding::ChangesAcross { change } => changes(*change, "across"),
            ScaleFinding::NoPixelPitch => {
                end("The file does not say how far apart the sensor's pixels are", ":")
            }
            ScaleFinding::RigIncomplete(_) => {
                "The rig says too little for working f-numbers.".to_owned()
            }
            ScaleFinding::PupilRatioAssumed => end(
                "The lens is taken to be symmetric (pupil ratio 1): with another ratio the \
                 working f-numbers differ",
                ";",
            ),
            ScaleFinding::BareLens => end(
                "The table holds for a lens with nothing in front of it and no teleconverter \
                 behind",
                ";",
            ),
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        let is_terminal = medium == Medium::Terminal;
        let text = match (self.advice(), is_terminal) {
            (ScaleAdvice::GiveTicks, true) => "give --ticks when they are not.",
            (ScaleAdvice::GiveTicks, false) => "Give their distance when they are not.",
            (ScaleAdvice::GiveHalfTicks, true) => "if this is one, run again with --ticks 0.5.",
            (ScaleAdvice::GiveHalfTicks, false) => {
                "If this is one, measure again with ticks 0.5 mm apart."
            }
            (ScaleAdvice::LayFlat, _) => "Lay the ruler flat for a better one.",
            (ScaleAdvice::GivePixelPitch, true) => {
                "give --pitch for the magnification and the table of depths."
            }
            (ScaleAdvice::GivePixelPitch, false) => {
                "Give the pixel pitch for the magnification and the table of depths."
            }
            (ScaleAdvice::CompleteRig(lack), _) => lack.advice_text(),
            (ScaleAdvice::GivePupilRatio, true) => "give --pupil.",
            (ScaleAdvice::GivePupilRatio, false) => "Give the pupil ratio if it is known.",
            (ScaleAdvice::NameRig, true) => "name a rig with --save for one that has.",
            (ScaleAdvice::NameRig, false) => "Name a rig for one that has.",
        };
        Some(text.to_owned())
    }
}

/// Writes findings into a record, each as one text in the words of the terminal.
///
/// # Errors
/// Those of the serializer.
pub(super) fn serialize<S: Serializer>(
    findings: &[ScaleFinding],
    serializer: S,
) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(paragraphs(findings, Medium::Terminal))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sentences::{check, paragraph};
    use crate::store::equipment::RigLack;

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        check(&[
            ScaleFinding::TicksAssumed { ticks_mm: 1.0 },
            ScaleFinding::MaybeHalfMillimetres,
            ScaleFinding::ChangesAlong { change: 0.02 },
            ScaleFinding::ChangesAcross { change: -0.02 },
            ScaleFinding::NoPixelPitch,
            ScaleFinding::RigIncomplete(RigLack::FocalLength),
            ScaleFinding::PupilRatioAssumed,
            ScaleFinding::BareLens,
        ]);
        let says = |f: ScaleFinding| Medium::ALL.map(|m| paragraph(&f, m));
        let ticks = says(ScaleFinding::TicksAssumed { ticks_mm: 1.0 });
        let lead = "The closest ticks are taken to be 1 mm apart";
        assert_eq!(ticks[0], format!("{lead}: give --ticks when they are not."));
        assert_eq!(ticks[1], format!("{lead}. Give their distance when they are not."));
        assert_eq!(ticks[1], ticks[2]);
        let change = says(ScaleFinding::ChangesAcross { change: -0.02 });
        assert!(change[0].starts_with("The scale changes by 2.0 % over the frame across"));
    }
}
