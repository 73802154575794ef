//! The record of each step.

use super::{Measuring, StepMeasurement};
use crate::compare::edges;
use crate::compare::record::{EdgeRecord, StepRecord};
use crate::core::tone::decode_srgb;
use crate::core::units::{GREEN, PitchUm};
use crate::core::{Flag, Measured};
use crate::detail::information::{RESOLVED_SNR, crossing_cy_px};
use crate::detail::lens_fit::LensFit;
use crate::noise::signal_noise::{RingPowers, SignalNoise, bits_px, propagated};
use crate::noise::spectrum::{FIRST_RING, NoiseSpectrum, RINGS, TILE_PX, ring_cy_px};
use crate::optics::diffraction::{sigma_diffraction_um, sigma_settings_px};
use crate::report::parts::SpectrumPoint;

/// A tile is as sharp as the best step's up to this many times its blur (the limit of a hit).
const SHARP_RATIO: f64 = crate::core::verdict::HIT_RATIO;

impl Measuring<'_> {
    pub(super) fn records(
        &self,
        taken: &[StepMeasurement<'_>],
        fit: Option<&(LensFit, f64)>,
    ) -> Vec<StepRecord> {
        let blurs: Vec<Option<Measured>> = taken.iter().map(|t| self.blur(t)).collect();
        let best_blur = blurs.iter().flatten().map(|m| m.value).reduce(f64::min);
        taken
            .iter()
            .zip(blurs)
            .map(|(t, blur)| {
                let s = &t.step.setting;
                let m = self.magnification;
                let working = self.working_per_marked.map(|b| s.f_number * b);
                let pitch = self.pitch_um;
                let resolved = t.resolved();
                let per = |by: f64| resolved.and_then(|r| scaled(r, by));
                let finest = pitch.zip(m).zip(resolved).and_then(|((pitch, m), r)| {
                    let value = pitch / (2.0 * r.value * m.value);
                    let of_m = m.std_err.unwrap_or(0.0) / m.value;
                    let std_err = r.std_err.map(|e| value * (e / r.value).hypot(of_m));
                    Some(Measured { value, std_err, ..r }).filter(|m| m.value.is_finite())
                });
                let share = working.zip(pitch).map(|(n, pitch)| {
                    let own = sigma_diffraction_um(n, GREEN) / pitch;
                    (own / sigma_settings_px(n, PitchUm(pitch), GREEN)).powi(2).min(1.0)
                });
                let bound = fit.map(|(fit, working_per_marked)| {
                    let signal = fit.faultless(s.f_number, s.f_number * working_per_marked);
                    bits_px(&signal, &t.side.noise, &t.side.count)
                });
                let to_dn = if self.raw {
                    self.placed[t.step.frames[0]].as_ref().and_then(|p| p.look.range_dn)
                } else {
                    Some(1.0)
                };
                StepRecord {
                    f_number: s.f_number,
                    working_f_number: working,
                    iso: s.iso,
                    shutter_s: s.shutter_s,
                    frames: t.found.frames,
                    paths: t.step.frames.iter().map(|i| self.list[*i].shown.clone()).collect(),
                    detail_bits_px: t.detail(),
                    repeats_bits_px: self.repeats(t),
                    bound_bits_px: bound.filter(|b| b.is_finite()),
                    resolved_cy_px: resolved,
                    resolved_lp_mm: pitch.and_then(|p| per(1000.0 / p)),
                    finest_um: finest,
                    noise_sigma_dn: to_dn.map(|k| t.found.noise_sigma() / t.gain * k),
                    blur_sigma_px: blur,
                    sharp_area: best_blur.and_then(|b| self.sharp_area(t, b)),
                    diffraction_share: share,
                    edge: self.edge(t),
                    light_stops: self.light(t, &taken[0]),
                    spectrum: (FIRST_RING..RINGS)
                        .map(|r| SpectrumPoint {
                            cy_px: ring_cy_px(r),
                            power: t.side.signal[r] + t.side.noise[r],
                            noise: t.side.noise[r],
                        })
                        .collect(),
                }
            })
            .collect()
    }

    fn edge(&self, t: &StepMeasurement<'_>) -> Option<EdgeRecord> {
        let frames: Vec<_> = t
            .step
            .frames
            .iter()
            .filter_map(|i| self.placed[*i].as_ref()?.look.edge.as_ref())
            .collect();
        edges::of_step(&frames)
    }

    /// Blur in the sharper quarter of the region's tiles.
    fn blur(&self, t: &StepMeasurement<'_>) -> Option<Measured> {
        let mut tiles: Vec<f64> = t
            .step
            .frames
            .iter()
            .filter_map(|i| self.placed[*i].as_ref())
            .flat_map(|p| p.look.region_blur_px.iter().map(|v| f64::from(*v)))
            .collect();
        let n = tiles.len();
        let value = crate::core::stats::quantile(&mut tiles, 0.25)?;
        let spread = crate::core::stats::mad_sigma(&mut tiles)?;
        // Standard error of a quartile of a normal: 1.36 of that of the mean.
        Measured::new(value, 1.36 * spread / (n as f64).sqrt(), n as u32)
    }

    fn sharp_area(&self, t: &StepMeasurement<'_>, best: f64) -> Option<f64> {
        let tiles: Vec<f32> = t
            .step
            .frames
            .iter()
            .filter_map(|i| self.placed[*i].as_ref())
            .flat_map(|p| p.look.window_blur_px.iter().copied())
            .collect();
        sharp_share(&tiles, best)
    }

    /// Each repeat's own detail, their mean put on the step's.
    fn repeats(&self, t: &StepMeasurement<'_>) -> Vec<f64> {
        if t.found.frames < 2 {
            return Vec::new();
        }
        let noise = NoiseSpectrum {
            power: t.found.noise.map(|n| n / (t.gain * t.gain)),
            ..NoiseSpectrum::white(1.0, 0.0)
        };
        let own: Vec<f64> = t
            .step
            .frames
            .iter()
            .filter_map(|i| {
                let plane = &self.placed[*i].as_ref()?.plane;
                Some(SignalNoise::of_single(plane, &noise, self.keep)?.bits_px())
            })
            .collect();
        let mean = own.iter().sum::<f64>() / own.len().max(1) as f64;
        let whole = t.found.bits_px();
        own.iter().map(|v| v - mean + whole).collect()
    }

    /// Light of a step against the first, stops.
    fn light(&self, t: &StepMeasurement<'_>, first: &StepMeasurement<'_>) -> Option<f64> {
        let linear = |mean: f64| if self.raw { mean } else { decode_srgb(mean / 255.0) };
        let stops = (linear(t.mean) / linear(first.mean)).log2();
        stops.is_finite().then_some(stops)
    }
}

impl StepMeasurement<'_> {
    fn detail(&self) -> Option<Measured> {
        let side = &self.side;
        let bits = |r: &[RingPowers]| bits_px(&r[0], &r[1], &side.count);
        let rings = [side.signal, side.noise];
        let error = propagated(&rings, &[side.signal_err, side.noise_err], bits);
        let mut m = Measured::new(bits(&rings), error, self.found.tiles)?;
        if self.reduced && self.found.frames < 2 {
            m.flags.raise(Flag::NoiseReduced);
        }
        if self.aliased {
            m.flags.raise(Flag::Aliased);
        }
        Some(m)
    }

    fn resolved(&self) -> Option<Measured> {
        let crossing = |r: &[RingPowers]| {
            let snr: RingPowers =
                std::array::from_fn(|i| if i < FIRST_RING { 0.0 } else { r[0][i] / r[1][i] });
            crossing_cy_px(&snr, RESOLVED_SNR)
        };
        let side = &self.side;
        let rings = [side.signal, side.noise];
        let value = crossing(&rings)?;
        let error = propagated(&rings, &[side.signal_err, side.noise_err], |r| {
            crossing(r).unwrap_or(value)
        });
        // A third of a ring: what reading between rings adds.
        Measured::new(value, error.hypot(0.3 / TILE_PX as f64), self.found.tiles)
    }
}

/// Share of tiles that are as sharp as the best step's; `None` without tiles.
fn sharp_share(tiles_px: &[f32], best_px: f64) -> Option<f64> {
    let sharp = tiles_px.iter().filter(|v| f64::from(**v) <= SHARP_RATIO * best_px).count();
    (!tiles_px.is_empty()).then(|| sharp as f64 / tiles_px.len() as f64)
}

fn scaled(m: Measured, by: f64) -> Option<Measured> {
    let value = m.value * by;
    value.is_finite().then(|| Measured { value, std_err: m.std_err.map(|e| e * by), ..m })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tile_is_sharp_up_to_the_ratio_of_a_hit() {
        let limit = SHARP_RATIO as f32 * 2.0;
        let share = sharp_share(&[2.0, limit - 0.01, limit + 0.01, 9.0], 2.0);
        assert_eq!((share, sharp_share(&[], 2.0)), (Some(0.5), None));
    }
}
