//! From registered regions to the steps of the record and what going between them cost.

use rayon::prelude::*;

use super::area::MARGIN_PX;
use super::region::SingleFrameNoise;
use super::{CompareJob, RegisteredFrame, edges, single_frame_noise};
use crate::compare::attribution::{
    Attribution, AttributionKind, Side, between, method_error, of_four,
};
use crate::compare::record::{
    AttributionRecord, BestAperture, EdgeRecord, Protocol, StepAxis, StepRecord,
};
use crate::compare::series::{SAME_LIGHT_STOPS, SeriesStep, StepSeries, aperture_thirds};
use crate::core::tone::{decode_srgb, encode_srgb};
use crate::core::units::{GREEN, PitchUm};
use crate::core::{Flag, Measured, Plane, Tone};
use crate::detail::information::{RESOLVED_SNR, crossing_cy_px};
use crate::detail::lens_fit::{LensFit, ObservedStep, own_weight};
use crate::image::{CROP_QUALITY, Frame, Orientation, Picture, encode_jpeg};
use crate::noise::jpeg::{JpegNoiseModel, NoiseTransfer};
use crate::noise::raw::{IsoModel, RawNoise};
use crate::noise::signal_noise::{RingPowers, SignalNoise, bits_px, propagated};
use crate::noise::spectrum::{
    FIRST_RING, NoiseSpectrum, REDUCED_SLOPE, RINGS, TILE_PX, ring_cy_px,
};
use crate::optics::diffraction::sigma_diffraction_um;
use crate::optics::diffraction::sigma_settings_px;
use crate::optics::resolved::working_f_number;
use crate::report::parts::SpectrumPoint;
use crate::tracking::registration::resampled;

/// A tile is as sharp as the best step's up to this many times its blur (the limit of a hit).
const SHARP_RATIO: f64 = crate::core::verdict::HIT_RATIO;
/// Magnifications that are tried when none is typed.
const TRIED: [f64; 8] = [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0];
/// A difference of moved frames above their own noise by this much holds false detail.
const ABOVE_RAW: f64 = 1.1;
/// Movement from which false detail changes, px: registration through blur and noise is not surer.
const MOVED_PX: f64 = 0.2;
/// Mean brightness of raw crops, share of white before the curve.
const CROP_LEVEL: f64 = 0.2;
/// Reach of the fit about the best aperture, stops.
const BEST_REACH_STOPS: f64 = 1.3;

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
            refused,
            best_step,
            best_aperture,
            best_for_depth,
            noise_reduced,
        }
    }

    /// The noise of the body over its ISO settings, from the single raw frames.
    fn iso_model(&self) -> Option<IsoModel> {
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
        if known.len() < 3 { None } else { IsoModel::fit(&known) }
    }

    fn taken<'s>(
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
            p.motion.most_px(w, h) > MOVED_PX || p.look.cut_at != placed[0].look.cut_at
        });
        let (found, reduced, aliased) = if planes.len() > 1 {
            let found = SignalNoise::of_repeats(&planes, self.keep)?;
            let reduced = !self.raw && found.noise_slope() > REDUCED_SLOPE;
            // Of raw noise the shape is known; that of a rendered frame's flat places is not the
            // one of its textures.
            let split = own().filter(|_| moved && self.raw).and_then(|shape| {
                SignalNoise::of_moved_repeats(&planes, self.keep, &shape.power, ABOVE_RAW)
            });
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
    fn bounded(&self, taken: &mut [StepMeasurement<'_>]) {
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

    /// Scene and lens, and the working over the marked f-number they were found with.
    fn fit(&self, taken: &[StepMeasurement<'_>]) -> Option<(LensFit, f64)> {
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

    /// Why optics and noise cannot be told apart, if they cannot.
    fn refused(&self, taken: &[StepMeasurement<'_>], has_fit: bool) -> Option<String> {
        let singles = taken.iter().any(|t| t.found.frames < 2);
        if !singles {
            return None;
        }
        if !self.raw && taken.iter().any(|t| t.reduced) {
            return Some(
                "single frames with the camera's noise reduction in them: what it smoothed away \
                 cannot be told from what the lens did not pass"
                    .to_owned(),
            );
        }
        let apertures = taken.windows(2).any(|w| {
            let thirds = |t: &StepMeasurement<'_>| aperture_thirds(t.step.setting.f_number);
            thirds(&w[0]) != thirds(&w[1])
        });
        if apertures && self.pitch_um.is_none() {
            return Some(
                "single frames need the pixel pitch, and the files do not tell it".to_owned(),
            );
        }
        (apertures && !has_fit).then(|| "nothing in the region stands above the noise".to_owned())
    }

    fn records(
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
        let sharp = tiles.iter().filter(|v| f64::from(**v) <= SHARP_RATIO * best).count();
        (!tiles.is_empty()).then(|| sharp as f64 / tiles.len() as f64)
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

    fn attributions(
        &self,
        taken: &[StepMeasurement<'_>],
        steps: &[StepRecord],
        best: usize,
    ) -> Vec<AttributionRecord> {
        let next = (1..taken.len()).map(|i| (i - 1, i));
        let from_best = (0..taken.len()).filter(|i| *i != best).map(|i| (best, i));
        let mut pairs: Vec<(usize, usize)> = next.collect();
        if self.series.axis == StepAxis::FourCorners {
            // Sorted by aperture, then ISO: the diagonal is what the series was taken for.
            pairs = vec![(0, 3)];
        }
        for pair in from_best {
            if !pairs.contains(&pair) {
                pairs.push(pair);
            }
        }
        pairs
            .into_iter()
            .map(|(from, to)| {
                let (a, protocol) = self.one(taken, from, to);
                let mut record = AttributionRecord {
                    from,
                    to,
                    protocol,
                    total: a.total,
                    total_std_err: a.total_std_err,
                    optics: a.optics,
                    noise: a.noise,
                    low: a.optics - a.half,
                    high: a.optics + a.half,
                    cost_more: a.cost_more,
                    says: String::new(),
                };
                record.says = super::sentences::attribution(&record, steps, self.series.axis);
                record
            })
            .collect()
    }

    /// By the best protocol that the frames allow.
    fn one(
        &self,
        taken: &[StepMeasurement<'_>],
        from: usize,
        to: usize,
    ) -> (Attribution, Protocol) {
        let (a, b) = (&taken[from], &taken[to]);
        let all_repeated = |list: &[&StepMeasurement<'_>]| list.iter().all(|t| t.found.frames > 1);
        let thirds = |t: &StepMeasurement<'_>| aperture_thirds(t.step.setting.f_number);
        let iso = |t: &StepMeasurement<'_>| t.step.setting.iso;
        let corner = |aperture: &StepMeasurement<'_>, noise: &StepMeasurement<'_>| {
            taken.iter().find(|t| {
                let light = (t.mean / a.mean).log2().abs();
                thirds(t) == thirds(aperture) && iso(t) == iso(noise) && light < SAME_LIGHT_STOPS
            })
        };
        if thirds(a) != thirds(b)
            && iso(a).is_some()
            && iso(a) != iso(b)
            && let (Some(first), Some(second)) = (corner(b, a), corner(a, b))
            && all_repeated(&[a, b, first, second])
        {
            let k = method_error(Protocol::FourCorners, AttributionKind::default());
            let found = of_four(&a.side, &first.side, &second.side, &b.side, k);
            return (found, Protocol::FourCorners);
        }
        let protocol = if all_repeated(&[a, b]) {
            Protocol::Repeats
        } else if self.raw {
            Protocol::RawSingles
        } else {
            Protocol::RenderedSingles
        };
        let kind = AttributionKind {
            raw: self.raw,
            compressed: a.compressed.is_some() && b.compressed.is_some(),
            noise_reduced: a.reduced || b.reduced,
            moved: a.moved || b.moved,
        };
        let k = method_error(protocol, kind);
        let crossings = match (&a.compressed, &b.compressed) {
            (Some(x), Some(y)) => [(b, y.under(x)), (a, x.under(y))].map(|(optics, mut c)| {
                c.signal_more.iter_mut().for_each(|v| *v *= optics.gain * optics.gain);
                c
            }),
            _ => [NoiseTransfer::NONE; 2],
        };
        (between(&a.side, &b.side, &crossings, k), protocol)
    }

    /// The aperture of most detail, by a parabola in stops about the best step.
    fn best_aperture(&self, steps: &[StepRecord]) -> Option<BestAperture> {
        if !matches!(self.series.axis, StepAxis::Aperture) {
            return None;
        }
        let points: Vec<(f64, f64)> = steps
            .iter()
            .filter_map(|s| Some((2.0 * s.f_number.log2(), s.detail_bits_px?.value)))
            .collect();
        let top = points.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let at = points.iter().position(|p| *p == top)?;
        let made = |stops: f64, interior: bool| {
            let f_number = (stops / 2.0).exp2();
            let working = self.working_per_marked.map(|b| f_number * b);
            BestAperture { f_number, working_f_number: working, interior, depth_mm: None }
        };
        if at == 0 || at + 1 == points.len() {
            return Some(made(top.0, false));
        }
        let mut rows: Vec<([f64; 3], f64, f64)> = points
            .iter()
            .filter(|p| (p.0 - top.0).abs() <= BEST_REACH_STOPS)
            .map(|p| {
                let x = p.0 - top.0;
                ([1.0, x, x * x], p.1, 1.0)
            })
            .collect();
        if rows.len() < 3 {
            rows = points[at - 1..=at + 1]
                .iter()
                .map(|p| ([1.0, p.0 - top.0, (p.0 - top.0).powi(2)], p.1, 1.0))
                .collect();
        }
        let [_, slope, bend] = crate::core::stats::least_squares(&rows)?.beta;
        let (left, right) = (points[at - 1].0 - top.0, points[at + 1].0 - top.0);
        let x = if bend < 0.0 { (-slope / (2.0 * bend)).clamp(left, right) } else { 0.0 };
        Some(made(top.0 + x, true))
    }

    /// The aperture whose ends of the depth asked for keep most detail, under each aperture's
    /// own noise.
    fn best_for_depth(
        &self,
        taken: &[StepMeasurement<'_>],
        fit: Option<&LensFit>,
    ) -> Option<BestAperture> {
        let (depth_mm, m) = (self.job.depth_mm?, self.magnification?.value);
        let working_per_marked = self.working_per_marked?;
        let defocus_um = crate::optics::depth::image_half_depth_um(depth_mm, m);
        let made = |f_number: f64, interior: bool| BestAperture {
            f_number,
            working_f_number: Some(f_number * working_per_marked),
            interior,
            depth_mm: Some(depth_mm),
        };
        let Some(fit) = fit.filter(|_| self.series.axis == StepAxis::Aperture) else {
            let n_eff = crate::optics::depth::best_n_eff(defocus_um, GREEN);
            return Some(made(n_eff / working_per_marked, true));
        };
        let noise_at = |stops: f64| -> RingPowers {
            std::array::from_fn(|r| {
                let table: Vec<(f64, f64)> = taken
                    .iter()
                    .map(|t| (2.0 * t.step.setting.f_number.log2(), t.side.noise[r].ln()))
                    .collect();
                crate::core::stats::interpolate(&table, stops).map_or(f64::NAN, f64::exp)
            })
        };
        let ends = taken.first().zip(taken.last())?;
        let range = [ends.0, ends.1].map(|t| 2.0 * t.step.setting.f_number.log2());
        let cells = ((range[1] - range[0]) * 12.0).round() as u32;
        let at = |i: u32| range[0] + (range[1] - range[0]) * f64::from(i) / f64::from(cells.max(1));
        let bits = |i: u32| {
            let f_number = (at(i) / 2.0).exp2();
            let signal = fit.signal_defocused(f_number, f_number * working_per_marked, defocus_um);
            bits_px(&signal, &noise_at(at(i)), &taken[0].side.count)
        };
        let best = (0..=cells).max_by(|a, b| bits(*a).total_cmp(&bits(*b)))?;
        Some(made((at(best) / 2.0).exp2(), best > 0 && best < cells))
    }

    /// The middle of the region at each step, registered, at 100 % and equal brightness.
    pub(super) fn crops(&self, turn: Orientation) -> Vec<Option<Picture>> {
        let firsts: Vec<Option<&RegisteredFrame>> =
            self.series.steps.iter().map(|s| self.placed[*s.frames.first()?].as_ref()).collect();
        let Some(wanted) = firsts.iter().flatten().next().map(|p| mean(&p.plane)) else {
            return Vec::new();
        };
        firsts
            .into_par_iter()
            .map(|placed| {
                let placed = placed?;
                let own = mean(&placed.plane);
                // Light is matched in raw frames, tones in rendered ones.
                let tone = |v: f32| -> u8 {
                    let v = f64::from(v);
                    let dn = match placed.plane.tone {
                        Tone::Linear => {
                            let light = decode_srgb((v / 255.0).clamp(0.0, 1.0)) * CROP_LEVEL / own;
                            255.0 * encode_srgb(light.clamp(0.0, 1.0))
                        }
                        _ => v * wanted / own,
                    };
                    dn.round().clamp(0.0, 255.0) as u8
                };
                let planes = placed.look.colour.as_ref()?;
                let [r, g, b] = planes.each_ref().map(|p| resampled(p, &placed.motion, MARGIN_PX));
                let rgb: Vec<u8> = (0..g.data.len())
                    .flat_map(|i| [r.data[i], g.data[i], b.data[i]].map(tone))
                    .collect();
                let (rgb, w, h) = turn.turn_rgb(&rgb, g.width_px, g.height_px);
                encode_jpeg(&rgb, w, h, CROP_QUALITY)
            })
            .collect()
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

impl StepMeasurement<'_> {
    fn seen(&self, working_per_marked: f64) -> ObservedStep {
        let f_number = self.step.setting.f_number;
        ObservedStep {
            f_number,
            n_eff: f_number * working_per_marked,
            signal: self.found.signal,
            noise: self.found.noise,
        }
    }

    /// Takes the rings that the noise of a single frame drowns from the scene.
    fn repair(&mut self, fit: &LensFit, working_per_marked: f64) {
        let seen = self.seen(working_per_marked);
        self.side.signal = fit.repaired(&seen);
        for r in FIRST_RING..RINGS {
            self.side.signal_err[r] *= own_weight(self.found.snr(r));
        }
    }

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

fn mean(plane: &Plane) -> f64 {
    plane.data.iter().map(|v| f64::from(*v)).sum::<f64>() / plane.data.len().max(1) as f64
}

fn scaled(m: Measured, by: f64) -> Option<Measured> {
    let value = m.value * by;
    value.is_finite().then(|| Measured { value, std_err: m.std_err.map(|e| e * by), ..m })
}
