//! What to know of a scale, in sentences.

use super::findings::{ScaleAdvice, ScaleFinding};
use crate::report::sentences::{Medium, Sentences};
use crate::report::wording;

fn changes(change: f64, way: &str) -> String {
    format!(
        "The scale changes by {} % {way} the ruler: the ruler was tilted, or the lens distorts. \
         The scale given applies to the centre; its error covers the change.",
        wording::fixed(100.0 * change.abs(), 1)
    )
}

impl Sentences for ScaleFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            ScaleFinding::TicksAssumed { ticks_mm } => format!(
                "The closest ticks are assumed to be {} mm apart.",
                wording::short(*ticks_mm)
            ),
            ScaleFinding::MaybeHalfMillimetres => {
                "Every second tick is longer, as on a ruler with half millimetres.".to_owned()
            }
            ScaleFinding::ChangesAlong { change } => changes(*change, "along"),
            ScaleFinding::ChangesAcross { change } => changes(*change, "across"),
            ScaleFinding::NoPixelPitch => {
                "The pixel pitch is missing, so magnification and depths are not given.".to_owned()
            }
            ScaleFinding::RigIncomplete(_) => {
                "The rig is incomplete: its working f-numbers are unknown.".to_owned()
            }
            ScaleFinding::PupilRatioAssumed => {
                "The lens is assumed to be symmetric (pupil ratio 1); another ratio changes the \
                 working f-numbers."
                    .to_owned()
            }
            ScaleFinding::BareLens => {
                "The table applies to a lens without close-up lenses or teleconverter.".to_owned()
            }
        }
    }

    fn advice_text(&self, medium: Medium) -> Option<String> {
        let is_terminal = medium == Medium::Terminal;
        let text = match (self.advice(), is_terminal) {
            (ScaleAdvice::GiveTicks, true) => "Give --ticks if they are not.",
            (ScaleAdvice::GiveTicks, false) => "Give their distance if they are not.",
            (ScaleAdvice::GiveHalfTicks, true) => "If this is one, run again with --ticks 0.5.",
            (ScaleAdvice::GiveHalfTicks, false) => {
                "If this is one, measure again with ticks 0.5 mm apart."
            }
            (ScaleAdvice::LayFlat, _) => "Lay the ruler flat for a better one.",
            (ScaleAdvice::GivePixelPitch, true) => "Give it with --pitch.",
            (ScaleAdvice::GivePixelPitch, false) => "Give the pixel pitch.",
            (ScaleAdvice::CompleteRig(lack), _) => lack.advice_text(),
            (ScaleAdvice::GivePupilRatio, true) => "Give it with --pupil-ratio if it is known.",
            (ScaleAdvice::GivePupilRatio, false) => "Give the pupil ratio if it is known.",
            (ScaleAdvice::NameRig, true) => "Name a rig that has them with --save.",
            (ScaleAdvice::NameRig, false) => "Name a rig that has them.",
        };
        Some(text.to_owned())
    }
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
        let lead = "The closest ticks are assumed to be 1 mm apart";
        assert_eq!(ticks[0], format!("{lead}. Give --ticks if they are not."));
        assert_eq!(ticks[1], format!("{lead}. Give their distance if they are not."));
        assert_eq!(ticks[1], ticks[2]);
        let change = says(ScaleFinding::ChangesAcross { change: -0.02 });
        assert!(change[0].starts_with("The scale changes by 2.0 % across"));
    }
}
