//! The lens through which all steps see one scene.

use super::{Measuring, StepMeasurement};
use crate::compare::series::aperture_thirds;
use crate::core::units::PitchUm;
use crate::detail::lens_fit::{LensFit, ObservedStep, own_weight};
use crate::noise::spectrum::{FIRST_RING, RINGS};
use crate::optics::resolved::working_f_number;

/// Magnifications that are tried when none is typed.
const TRIED: [f64; 8] = [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0];

impl Measuring<'_> {
    /// Scene and lens, and the working over the marked f-number they were found with.
    pub(super) fn fit(&self, taken: &[StepMeasurement<'_>]) -> Option<(LensFit, f64)> {
        let pitch = PitchUm(self.pitch_um?);
        let first = aperture_thirds(taken.first()?.step.setting.f_number);
        if taken.iter().all(|t| aperture_thirds(t.step.setting.f_number) == first) {
            return None;
        }
        let with = |working_per_marked: f64| {
            let seen: Vec<ObservedStep> =
                taken.iter().map(|t| t.seen(working_per_marked)).collect();
            LensFit::of(&seen, pitch).map(|fit| (fit, working_per_marked))
        };
        match self.working_per_marked {
            Some(working_per_marked) => with(working_per_marked),
            None => {
                // A symmetric lens (pupil ratio 1) is assumed: nothing in the file tells.
                let all = TRIED.into_iter().filter_map(|m| with(working_f_number(1.0, m, 1.0)));
                all.min_by(|a, b| a.0.misfit.total_cmp(&b.0.misfit))
            }
        }
    }
}

impl StepMeasurement<'_> {
    pub(super) fn seen(&self, working_per_marked: f64) -> ObservedStep {
        let f_number = self.step.setting.f_number;
        ObservedStep {
            f_number,
            n_eff: f_number * working_per_marked,
            signal: self.found.signal,
            noise: self.found.noise,
        }
    }

    /// Takes the rings that the noise of a single frame drowns from the scene.
    pub(super) fn repair(&mut self, fit: &LensFit, working_per_marked: f64) {
        let seen = self.seen(working_per_marked);
        self.side.signal = fit.repaired(&seen);
        for r in FIRST_RING..RINGS {
            self.side.signal_err[r] *= own_weight(self.found.snr(r));
        }
    }
}
