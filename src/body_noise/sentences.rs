//! What is found of a body, in sentences.

use super::findings::{NoiseAdvice, NoiseFinding};
use crate::report::sentences::{Medium, Sentences};
use crate::report::wording;

impl Sentences for NoiseFinding {
    fn message(&self, _: Medium) -> String {
        match self {
            NoiseFinding::GainStep { iso } => format!(
                "At ISO {iso} the sensor switches to a second, higher conversion gain: read noise \
                 drops more than amplification explains."
            ),
            NoiseFinding::ReadNoiseFloor { iso, read_noise_e } => format!(
                "From ISO {iso} on, read noise is at its minimum ({} e): a higher ISO does not \
                 make the shadows cleaner.",
                wording::number(*read_noise_e)
            ),
            NoiseFinding::OnlyBounds { isos } => format!(
                "ISO {}: no frame has enough flat areas, so the figure is an upper bound.",
                isos.iter().map(u32::to_string).collect::<Vec<_>>().join(", ")
            ),
            NoiseFinding::OnlyRendered => {
                "Only rendered files: this is the noise left after the camera's tone curve and \
                 noise reduction."
                    .to_owned()
            }
        }
    }

    fn advice_text(&self, _: Medium) -> Option<String> {
        Some(match self.advice() {
            NoiseAdvice::Prefer { iso } => {
                format!("When light is short, ISO {iso} is better than one just below.")
            }
            NoiseAdvice::BrightenAfterwards { iso } => format!(
                "In raw, ISO {iso} brightened afterwards equals a higher ISO and clips later."
            ),
            NoiseAdvice::TakePair => {
                "Take two frames of a still, defocused surface at that ISO with equal settings."
                    .to_owned()
            }
            NoiseAdvice::GiveRaw => "Use raw files for gain and read noise.".to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sentences::{check, paragraph};

    #[test]
    fn every_finding_reads_well_wherever_it_is_shown() {
        let bounds = NoiseFinding::OnlyBounds { isos: vec![800, 1600] };
        assert_eq!(
            paragraph(&bounds, Medium::Report),
            "ISO 800, 1600: no frame has enough flat areas, so the figure is an upper bound. \
             Take two frames of a still, defocused surface at that ISO with equal settings."
        );
        check(&[
            NoiseFinding::GainStep { iso: 400 },
            NoiseFinding::ReadNoiseFloor { iso: 800, read_noise_e: 1.4 },
            bounds,
            NoiseFinding::OnlyRendered,
        ]);
    }
}
