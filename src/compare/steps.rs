//! From registered regions to the steps of the record and what going between them cost.

mod best_aperture;
mod costs;
mod crops;
mod lens;
mod noise;
mod records;

use rayon::prelude::*;

use super::{CompareJob, RegisteredFrame};
use crate::compare::attribution::Side;
use crate::compare::record::{AttributionRecord, BestAperture, Protocol, StepRecord};
use crate::compare::series::{SeriesStep, StepSeries, aperture_thirds};
use crate::core::{Measured, Plane};
use crate::image::Frame;
use crate::noise::jpeg::JpegNoiseModel;
use crate::noise::signal_noise::SignalNoise;

/// What is measured from.
pub(super) struct Measuring<'a> {
    pub job: &'a CompareJob,
    pub list: &'a [Frame],
    pub series: &'a StepSeries,
    pub placed: &'a [Option<RegisteredFrame>],
    pub keep: &'a [bool],
    pub raw: bool,
    pub pitch_um: Option<f64>,
    /// Magnification, when it was typed or the rig tells.
    pub magnification: Option<Measured>,
    /// Working over marked f-number, when it is known.
    pub working_per_marked: Option<f64>,
}

/// What came out.
pub(super) struct StepResults {
    pub steps: Vec<StepRecord>,
    pub attributions: Vec<AttributionRecord>,
    pub protocol: Option<Protocol>,
    pub refused: Option<String>,
    pub best_step: Option<usize>,
    pub best_aperture: Option<BestAperture>,
    pub best_for_depth: Option<BestAperture>,
    pub noise_reduced: bool,
}

/// One step, measured.
struct StepMeasurement<'a> {
    step: &'a SeriesStep,
    found: SignalNoise,
    /// Signal and noise as they are used across steps.
    side: Side,
    /// What compression made of it, when its frames are JPEGs.
    compressed: Option<JpegNoiseModel>,
    /// Brightness against the first step.
    gain: f64,
    mean: f64,
    reduced: bool,
    /// Whether its frames moved against each other.
    moved: bool,
    /// Whether false detail was told from noise.
    aliased: bool,
}

impl Measuring<'_> {
    pub(super) fn all(&self) -> StepResults {
        let model = self.iso_model();
        let mut taken: Vec<StepMeasurement<'_>> = self
            .series
            .steps
            .par_iter()
            .map(|step| self.taken(step, model.as_ref()))
            .collect::<Vec<_>>()
            .into_iter()
            .flatten()
            .collect();
        if self.raw {
            self.bounded(&mut taken);
        }
        let Some(bright) = taken.first().map(|t| t.mean) else { return StepResults::nothing() };
        for t in &mut taken {
            t.gain = bright / t.mean;
            t.found.scale(t.gain);
            t.side = Side::of(&t.found);
        }
        let fit = self.fit(&taken);
        let singles = taken.iter().any(|t| t.found.frames < 2);
        let noise_reduced = taken.iter().any(|t| t.reduced);
        let refused = self.refused(&taken, fit.is_some());
        if let (Some((fit, working_per_marked)), true) = (&fit, singles) {
            for t in taken.iter_mut().filter(|t| t.found.frames < 2) {
                t.repair(fit, *working_per_marked);
            }
        }
        let steps: Vec<StepRecord> = self.records(&taken, fit.as_ref());
        let value = |s: &StepRecord| s.detail_bits_px.map(|m| m.value);
        let best_step = (0..steps.len())
            .filter(|i| value(&steps[*i]).is_some())
            .max_by(|a, b| {
                value(&steps[*a])
                    .partial_cmp(&value(&steps[*b]))
                    .unwrap_or(std::cmp::Ordering::Equal)
            })
            .filter(|_| refused.is_none());
        let attributions = match (&refused, best_step) {
            (None, Some(best)) => self.attributions(&taken, &steps, best),
            _ => Vec::new(),
        };
        let protocol = attributions.iter().map(|a| a.protocol).max();
        let best_aperture = if refused.is_none() { self.best_aperture(&steps) } else { None };
        let best_for_depth = self.best_for_depth(&taken, fit.as_ref().map(|f| &f.0));
        StepResults {
            steps,
            attributions,
            protocol,
            refused: refused.map(|r| r.words().to_owned()),
            best_step,
            best_aperture,
            best_for_depth,
            noise_reduced,
        }
    }

    /// Why optics and noise cannot be told apart, if they cannot.
    fn refused(&self, taken: &[StepMeasurement<'_>], has_fit: bool) -> Option<Refusal> {
        let steps: Vec<StepFacts> = taken
            .iter()
            .map(|t| StepFacts {
                is_single: t.found.frames < 2,
                is_reduced: t.reduced,
                aperture_thirds: aperture_thirds(t.step.setting.f_number),
            })
            .collect();
        Refusal::of(&steps, self.raw, self.pitch_um.is_some(), has_fit)
    }
}

impl StepResults {
    fn nothing() -> StepResults {
        StepResults {
            steps: Vec::new(),
            attributions: Vec::new(),
            protocol: None,
            refused: Some("nothing could be measured in the region".to_owned()),
            best_step: None,
            best_aperture: None,
            best_for_depth: None,
            noise_reduced: false,
        }
    }
}

/// What of a step decides whether optics and noise can be told apart.
#[derive(Debug, Clone, Copy)]
struct StepFacts {
    /// Whether it is one frame.
    is_single: bool,
    /// Whether the camera smoothed its noise.
    is_reduced: bool,
    aperture_thirds: i64,
}

/// Why optics and noise cannot be told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Refusal {
    NoiseReduced,
    NoPitch,
    NothingSeen,
}

impl Refusal {
    fn of(steps: &[StepFacts], raw: bool, has_pitch: bool, has_fit: bool) -> Option<Refusal> {
        if steps.iter().all(|s| !s.is_single) {
            return None;
        }
        if !raw && steps.iter().any(|s| s.is_reduced) {
            return Some(Refusal::NoiseReduced);
        }
        let changes = steps.windows(2).any(|w| w[0].aperture_thirds != w[1].aperture_thirds);
        if changes && !has_pitch {
            return Some(Refusal::NoPitch);
        }
        (changes && !has_fit).then_some(Refusal::NothingSeen)
    }

    fn words(self) -> &'static str {
        match self {
            Refusal::NoiseReduced => {
                "single frames with in-camera noise reduction, which cannot be separated from \
                 lens blur"
            }
            Refusal::NoPitch => {
                "single frames need the pixel pitch, which is missing from the \
                                 files"
            }
            Refusal::NothingSeen => "nothing in the region is above the noise",
        }
    }
}

fn mean(plane: &Plane) -> f64 {
    plane.data.iter().map(|v| f64::from(*v)).sum::<f64>() / plane.data.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn optics_and_noise_of_single_frames_are_told_apart_only_with_all_that_needs() {
        let step =
            |aperture_thirds| StepFacts { is_single: true, is_reduced: false, aperture_thirds };
        let series = [step(18), step(24)];
        let reduced = [step(18), StepFacts { is_reduced: true, ..step(24) }];
        let one_aperture = [step(18); 2];
        let repeated = reduced.map(|s| StepFacts { is_single: false, ..s });
        let half = [repeated[0], step(24)];
        for (steps, raw, has_pitch, has_fit, refusal) in [
            (series, true, true, true, None),
            (series, false, true, true, None),
            (reduced, false, true, true, Some(Refusal::NoiseReduced)),
            // A raw frame has none.
            (reduced, true, true, true, None),
            (series, true, false, true, Some(Refusal::NoPitch)),
            (series, true, true, false, Some(Refusal::NothingSeen)),
            (series, true, false, false, Some(Refusal::NoPitch)),
            // At one aperture the lens is the same.
            (one_aperture, true, false, false, None),
            // Repeats need none of it; one single step does.
            (repeated, false, false, false, None),
            (half, false, false, false, Some(Refusal::NoPitch)),
        ] {
            let found = Refusal::of(&steps, raw, has_pitch, has_fit);
            assert_eq!(found, refusal, "{steps:?} {raw} {has_pitch} {has_fit}");
        }
    }
}
