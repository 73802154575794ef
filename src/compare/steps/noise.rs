//! Signal and noise of each step.

use super::{Measuring, StepMeasurement, mean};
use crate::compare::RegisteredFrame;
use crate::compare::area::MARGIN_PX;
use crate::compare::attribution::Side;
use crate::compare::region::SingleFrameNoise;
use crate::compare::series::SeriesStep;
use crate::compare::single_frame_noise;
use crate::core::{Flag, Plane};
use crate::noise::jpeg::JpegNoiseModel;
use crate::noise::raw::{IsoModel, RawNoise};
use crate::noise::signal_noise::{RingPowers, SignalNoise};
use crate::noise::spectrum::{NoiseSpectrum, REDUCED_SLOPE};

/// A difference of moved frames above their own noise by this much holds false detail.
const ABOVE_RAW: f64 = 1.1;
/// Movement from which false detail changes, px: registration through blur and noise is not surer.
const MOVED_PX: f64 = 0.2;
/// ISO settings from which the noise of the body is a line over them.
const MIN_ISO_SETTINGS: usize = 3;

impl Measuring<'_> {
    /// The noise of the body over its ISO settings, from the single raw frames.
    pub(super) fn iso_model(&self) -> Option<IsoModel> {
        let known: Vec<(f64, &RawNoise)> = self
            .series
            .steps
            .iter()
            .filter_map(|s| {
                let placed = self.placed[*s.frames.first()?].as_ref()?;
                match &placed.look.alone {
                    Some(SingleFrameNoise::Raw(noise, _)) if noise.is_trusted() => {
                        Some((f64::from(s.setting.iso?), noise))
                    }
                    _ => None,
                }
            })
            .collect();
        over_iso(&known)
    }

    pub(super) fn taken<'s>(
        &self,
        step: &'s SeriesStep,
        model: Option<&IsoModel>,
    ) -> Option<StepMeasurement<'s>> {
        let placed: Vec<&RegisteredFrame> =
            step.frames.iter().filter_map(|i| self.placed[*i].as_ref()).collect();
        let planes: Vec<&Plane> = placed.iter().map(|p| &p.plane).collect();
        let mean = planes.iter().map(|p| mean(p)).sum::<f64>() / planes.len() as f64;
        let own = || self.own_noise(step, placed.first()?, model, mean);
        let moved = placed.iter().any(|p| {
            let (w, h) = (p.plane.width_px, p.plane.height_px);
            has_moved(p.motion.most_px(w, h)) || p.look.cut_at != placed[0].look.cut_at
        });
        let (found, reduced, aliased) = if planes.len() > 1 {
            let found = SignalNoise::of_repeats(&planes, self.keep)?;
            let reduced = !self.raw && found.noise_slope() > REDUCED_SLOPE;
            // Of raw noise the shape is known; that of a rendered frame's flat places is not the
            // one of its textures.
            let split = own()
                .filter(|_| moved && self.raw)
                .and_then(|shape| split_moved(&planes, self.keep, &shape.power));
            let (found, aliased) = split.unwrap_or((found, false));
            (found, reduced, aliased)
        } else {
            let noise = own()?;
            let reduced = noise.flags.has(Flag::NoiseReduced);
            (SignalNoise::of_single(planes.first()?, &noise, self.keep)?, reduced, false)
        };
        let side = Side::of(&found);
        let compressed = placed[0].look.luma_steps.as_ref().and_then(|steps| {
            let (x, y) = placed[0].look.cut_at;
            JpegNoiseModel::of(&planes, (x + MARGIN_PX, y + MARGIN_PX), steps)
        });
        Some(StepMeasurement {
            step,
            found,
            side,
            compressed,
            gain: 1.0,
            mean,
            reduced,
            moved,
            aliased,
        })
    }

    /// Lowers the noise of single raw frames to what their own power allows. Shot noise grows with
    /// the ISO as the gain does, so what the most closed aperture shows of its noise beyond the
    /// cutoff holds for the body at every ISO.
    pub(super) fn bounded(&self, taken: &mut [StepMeasurement<'_>]) {
        // Variance over gain and level, as taken and as bounded.
        let per_gain = |t: &StepMeasurement<'_>| {
            let iso = t.step.setting.iso.map(f64::from)?;
            Some(t.found.noise_sigma().powi(2) / (t.mean * iso))
        };
        let singles = || taken.iter().filter(|t| t.found.frames < 2);
        let least = singles()
            .filter_map(|t| Some(per_gain(t)? * t.found.noise_bound().min(1.0)))
            .reduce(f64::min);
        let Some(least) = least else { return };
        for t in taken.iter_mut().filter(|t| t.found.frames < 2) {
            if let Some(own) = per_gain(t) {
                t.found =
                    t.found.with_noise_scaled((least / own).min(t.found.noise_bound()).min(1.0));
            }
        }
    }

    /// Noise of a step's first frame, from that frame alone.
    fn own_noise(
        &self,
        step: &SeriesStep,
        placed: &RegisteredFrame,
        model: Option<&IsoModel>,
        mean: f64,
    ) -> Option<NoiseSpectrum> {
        match placed.look.alone.as_ref()? {
            SingleFrameNoise::Raw(own, region) => {
                let iso = step.setting.iso.map(f64::from);
                let noise = match (model, iso) {
                    (Some(m), Some(iso)) => {
                        let g = iso / 100.0;
                        let (a, b) = (m.a0 * g, m.c0 + m.c1 * g * g);
                        RawNoise { a, b, ..own.clone() }
                    }
                    _ => own.clone(),
                };
                single_frame_noise::noise_spectrum(region, &noise, MARGIN_PX, self.keep)
            }
            SingleFrameNoise::Rendered(noise) => noise.spectrum_at(mean),
        }
    }
}

/// The noise of a body over its ISO settings, from trusted single frames, (ISO, noise).
fn over_iso(known: &[(f64, &RawNoise)]) -> Option<IsoModel> {
    if known.len() < MIN_ISO_SETTINGS { None } else { IsoModel::fit(known) }
}

/// Whether repeats moved far enough against each other for their false detail to change.
fn has_moved(most_px: f64) -> bool {
    most_px > MOVED_PX
}

/// Signal and noise of raw repeats that moved, by the shape of their noise; whether false detail was
/// found in it.
fn split_moved(
    planes: &[&Plane],
    keep: &[bool],
    shape: &RingPowers,
) -> Option<(SignalNoise, bool)> {
    SignalNoise::of_moved_repeats(planes, keep, shape, ABOVE_RAW)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::Tone;
    use crate::core::random::SplitMix64;
    use crate::noise::raw::RawMethod;

    #[test]
    fn a_body_is_known_from_enough_settings_on() {
        let of = |gain: f64| RawNoise {
            a: 1e-4 * gain,
            b: 1e-6 * (1.0 + gain * gain),
            covariance: [[0.0; 2]; 2],
            points: Vec::new(),
            tiles: 100,
            method: RawMethod::Single,
        };
        let noises: Vec<RawNoise> = (0..MIN_ISO_SETTINGS).map(|k| of(f64::from(1 << k))).collect();
        let known: Vec<(f64, &RawNoise)> =
            noises.iter().enumerate().map(|(k, n)| (100.0 * f64::from(1 << k), n)).collect();
        let model = over_iso(&known).unwrap();
        assert!((model.a0 / 1e-4 - 1.0).abs() < 1e-6, "{model:?}");
        assert_eq!(over_iso(&known[..MIN_ISO_SETTINGS - 1]), None);
    }

    #[test]
    fn false_detail_is_what_stands_above_the_shape_of_the_noise_in_repeats_that_moved() {
        assert!(has_moved(MOVED_PX + 0.001) && !has_moved(MOVED_PX - 0.001));
        let plane = |seed| {
            let mut random = SplitMix64::new(seed);
            Plane::from_fn(256, 256, Tone::Linear, |_, _| (100.0 + 3.0 * random.normal()) as f32)
        };
        let (a, b) = (plane(1), plane(2));
        let keep = [true; 64];
        let noise = SignalNoise::of_repeats(&[&a, &b], &keep).unwrap().noise;
        // The shape is the noise itself but in one ring, above which it stands by so much.
        let split = |above: f64| {
            let mut shape = noise;
            shape[20] /= above;
            let (found, is_aliased) = split_moved(&[&a, &b], &keep, &shape).unwrap();
            assert_eq!((found.noise[20] - noise[20]).abs() > 1e-9 * noise[20], is_aliased);
            is_aliased
        };
        assert!(split(ABOVE_RAW + 0.01) && !split(ABOVE_RAW - 0.01));
    }
}
