//! The noise of a body at each ISO, from whatever frames of it there are.
//!
//! Frames are grouped by body, source and ISO. Two raw frames taken one after the other with the
//! same settings are tried as a pair first; what is no still pair is measured frame by frame.
//! Rendered frames give the noise of the rendering only: the camera's tone curve and noise
//! reduction are in it, so no gain and no electrons can be had from them.

pub mod columns;
pub mod findings;
pub mod log_entry;
pub mod page;
pub mod record;
mod sentences;
pub mod terminal;
#[cfg(all(test, feature = "raw"))]
mod tests;
mod transfer_chart;

use std::collections::BTreeMap;
use std::path::PathBuf;

use rayon::prelude::*;

use crate::body_noise::record::{
    BodyNoise, IsoNoise, NOISE_SCHEMA, NoiseMethod, NoiseRecord, SigmaAt, TransferPoint,
};
use crate::core::progress::{Progress, ProgressStep};
use crate::core::{path_text, stats};
use crate::error::{Error, Result, SkipReason};
use crate::image::{self, FileKind, Frame, Want};
use crate::noise::raw::{
    IsoModel, ROUNDING_DN2, RawMethod, RawNoise, raw_noise, raw_noise_of_pair,
};
use crate::noise::rendered::{RenderedNoise, rendered_noise};
use crate::report::header::Header;
use crate::report::parts::{FrameSource, SkippedRecord};
use crate::report::value::WithError;
use crate::store::exposure_record::exposure_record;
use crate::store::overrides::UserOverrides;

/// Levels at which raw noise is quoted, shares of saturation: shadow, middle grey of a frame with
/// a stop of headroom, light.
pub const RAW_LEVELS: [f64; 3] = [0.02, 0.1, 0.4];
/// Levels at which rendered noise is quoted, shares of white on the encoded scale.
pub const RENDERED_LEVELS: [f64; 3] = [0.2, 0.46, 0.75];
/// Frames of one ISO that are measured, at most: more would not make the figure better than the
/// method is.
const MAX_FRAMES: usize = 12;
/// Variance at black from one frame is off by this much of itself (measured: 0.5 to 1.7 times).
const SINGLE_BLACK_REL_ERR: f64 = 0.5;
/// The series is believed when it gives each trusted setting's own figure within this share.
const SERIES_AGREES: f64 = 0.08;
/// Settings from which a series can be fitted.
const MIN_SERIES: usize = 3;
/// Rendered tones within this many 8-bit steps stand for a level.
const TONE_REACH_DN: f64 = 20.0;
/// What a body without a name is called.
pub const NAMELESS: &str = "unknown body";

/// Measures the noise of the bodies whose frames lie below `paths`. Returns the record and
/// whether the run was interrupted.
///
/// # Errors
/// A path that does not exist, or nothing to measure.
pub fn body_noise(paths: &[PathBuf], listener: &dyn Progress) -> Result<(NoiseRecord, bool)> {
    let found = image::find(paths)?;
    let row = SkippedRecord::new;
    let mut skipped: Vec<SkippedRecord> =
        found.skipped.iter().map(|(p, reason)| row(path_text(p), reason)).collect();
    let headers: Vec<_> = found.items.par_iter().map(image::read_header).collect();
    let mut groups: BTreeMap<Key, Vec<Frame>> = BTreeMap::new();
    for (item, header) in found.items.iter().zip(headers) {
        match header {
            Ok(frame) => groups.entry(Key::of(&frame)).or_default().push(frame),
            Err(reason) => skipped.push(row(item.shown.clone(), &reason)),
        }
    }
    if groups.is_empty() && skipped.is_empty() {
        return Err(Error::NoFrames { paths: paths.to_vec() });
    }
    let groups: Vec<(Key, Vec<Frame>)> =
        groups.into_iter().map(|(key, frames)| (key, spread(frames))).collect();
    let run = NoiseRun {
        listener,
        total: groups.iter().map(|g| g.1.len()).sum(),
        done: std::sync::atomic::AtomicUsize::new(0),
    };
    let measured: Vec<(IsoSetting, Vec<(String, SkipReason)>)> =
        groups.par_iter().map(|(key, frames)| run.setting(key, frames)).collect();
    let mut bodies: BTreeMap<String, Vec<IsoSetting>> = BTreeMap::new();
    for ((key, _), (setting, bad)) in groups.into_iter().zip(measured) {
        skipped.extend(bad.iter().map(|(path, reason)| row(path.clone(), reason)));
        // A setting none of whose frames could be used is told by what was skipped.
        if setting.frames > 0 {
            bodies.entry(key.body).or_default().push(setting);
        }
    }
    let bodies = bodies.into_iter().map(|(body, settings)| body_record(body, &settings)).collect();
    let record = NoiseRecord {
        header: Header::new(NOISE_SCHEMA),
        paths: paths.iter().map(|p| path_text(p)).collect(),
        bodies,
        skipped,
    };
    Ok((record, listener.stopped()))
}

/// What frames must share to be measured together; sorts as the rows do.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    body: String,
    rendered: bool,
    iso: Option<u32>,
}

impl Key {
    fn of(frame: &Frame) -> Key {
        let exposure = exposure_record(frame, &UserOverrides::default());
        Key {
            body: exposure.body.unwrap_or_else(|| NAMELESS.to_owned()),
            rendered: frame.kind != FileKind::Raw,
            iso: exposure.iso,
        }
    }
}

/// At most [`MAX_FRAMES`], spread over the whole, in pairs of neighbours.
fn spread(frames: Vec<Frame>) -> Vec<Frame> {
    if frames.len() <= MAX_FRAMES {
        return frames;
    }
    let pairs = MAX_FRAMES / 2;
    let wanted: Vec<usize> = (0..pairs)
        .flat_map(|k| {
            let first = k * (frames.len() - 2) / (pairs - 1);
            [first, first + 1]
        })
        .collect();
    let picked = |(i, frame)| wanted.contains(&i).then_some(frame);
    frames.into_iter().enumerate().filter_map(picked).collect()
}

/// What was measured of one body at one ISO.
struct IsoSetting {
    key: Key,
    frames: u32,
    raw: Vec<RawNoise>,
    range_dn: Option<f64>,
    rendered: Vec<RenderedNoise>,
}

struct NoiseRun<'a> {
    listener: &'a dyn Progress,
    total: usize,
    done: std::sync::atomic::AtomicUsize,
}

impl NoiseRun<'_> {
    fn setting(&self, key: &Key, frames: &[Frame]) -> (IsoSetting, Vec<(String, SkipReason)>) {
        let mut setting = IsoSetting {
            key: key.clone(),
            frames: 0,
            raw: Vec::new(),
            range_dn: None,
            rendered: Vec::new(),
        };
        let mut bad = Vec::new();
        if key.rendered {
            for frame in frames {
                if self.listener.stopped() {
                    break;
                }
                match image::load_held(frame, Want::Luma, Vec::new()) {
                    Ok((decoded, _held)) => {
                        setting.frames += 1;
                        setting.rendered.extend(rendered_noise(&decoded.luma()));
                    }
                    Err(reason) => bad.push((frame.shown.clone(), reason)),
                }
                self.told();
            }
        } else {
            self.raw_setting(frames, &mut setting, &mut bad);
        }
        (setting, bad)
    }

    fn raw_setting(
        &self,
        frames: &[Frame],
        setting: &mut IsoSetting,
        bad: &mut Vec<(String, SkipReason)>,
    ) {
        // The frame before with the memory that it takes, until it is known whether this one is its
        // partner.
        let mut before: Option<(&Frame, [crate::core::Plane; 4], image::Held)> = None;
        for frame in frames {
            if self.listener.stopped() {
                break;
            }
            match image::open(frame, Want::Luma, Vec::new()) {
                Ok((opened, mut held)) => {
                    let Some(raw) = opened.raw() else { continue };
                    setting.frames += 1;
                    let black = raw.black_dn.iter().sum::<f32>() / 4.0;
                    setting.range_dn = Some(f64::from(raw.white_dn - black));
                    let planes = raw.planes();
                    drop(opened);
                    held.shrink(planes.iter().map(|p| size_of_val(&p.data[..]) as u64).sum());
                    let pair = before
                        .as_ref()
                        .filter(|(earlier, ..)| same_settings(earlier, frame))
                        .and_then(|(_, earlier, _)| raw_noise_of_pair(earlier, &planes));
                    match pair {
                        Some(pair) => {
                            setting.raw.push(pair);
                            before = None;
                        }
                        None => {
                            let alone = before.replace((frame, planes, held));
                            setting.raw.extend(alone.and_then(|(_, p, _)| raw_noise(&p)));
                        }
                    }
                }
                Err(reason) => bad.push((frame.shown.clone(), reason)),
            }
            self.told();
        }
        setting.raw.extend(before.and_then(|(_, p, _)| raw_noise(&p)));
        // A pair says more than any number of single frames.
        if setting.raw.iter().any(|n| n.method == RawMethod::Pair) {
            setting.raw.retain(|n| n.method == RawMethod::Pair);
        }
    }

    fn told(&self) {
        let done = self.done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
        self.listener.progress(ProgressStep { done, total: self.total });
    }
}

/// Whether two frames got the same light, as far as the files tell.
fn same_settings(a: &Frame, b: &Frame) -> bool {
    let of = |f: &Frame| exposure_record(f, &UserOverrides::default());
    let (a, b) = (of(a), of(b));
    let same = |x: Option<f64>, y: Option<f64>| match (x, y) {
        (Some(x), Some(y)) => (x / y - 1.0).abs() < 1e-3,
        (x, y) => x.is_none() == y.is_none(),
    };
    same(a.shutter_s, b.shutter_s) && same(a.f_number, b.f_number)
}

/// The noise that stands for a setting: the middle one of those trusted, else the lowest bound.
fn middle(found: &[RawNoise]) -> Option<&RawNoise> {
    let at = |n: &RawNoise| n.a * RAW_LEVELS[1] + n.b;
    let mut trusted: Vec<&RawNoise> = found.iter().filter(|n| n.is_trusted()).collect();
    if trusted.is_empty() {
        return found.iter().min_by(|a, b| at(a).total_cmp(&at(b)));
    }
    trusted.sort_by(|a, b| at(a).total_cmp(&at(b)));
    trusted.get((trusted.len() - 1) / 2).copied()
}

fn body_record(body: String, settings: &[IsoSetting]) -> BodyNoise {
    let series = series(settings);
    let isos: Vec<IsoNoise> = settings
        .iter()
        .filter_map(|s| if s.key.rendered { rendered_row(s) } else { raw_row(s, series.as_ref()) })
        .collect();
    let gain_steps_iso = findings::gain_steps(&isos);
    let findings = findings::all(&isos, &gain_steps_iso);
    BodyNoise { body, isos, gain_steps_iso, findings }
}

/// The model of all ISO settings, when it fits those that are trusted.
fn series(settings: &[IsoSetting]) -> Option<IsoModel> {
    let known: Vec<(f64, &RawNoise)> = settings
        .iter()
        .filter_map(|s| Some((f64::from(s.key.iso?), middle(&s.raw)?)))
        .filter(|(_, n)| n.is_trusted())
        .collect();
    if known.len() < MIN_SERIES {
        return None;
    }
    let model = IsoModel::fit(&known)?;
    let agrees = known.iter().all(|(iso, noise)| {
        RAW_LEVELS.iter().all(|level| {
            let own = noise.sigma_at(*level).map(|m| m.value);
            model
                .sigma_at(*iso, *level)
                .zip(own)
                .is_some_and(|(m, o)| (m / o - 1.0).abs() < SERIES_AGREES)
        })
    });
    agrees.then_some(model)
}

fn raw_row(setting: &IsoSetting, series: Option<&IsoModel>) -> Option<IsoNoise> {
    let own = middle(&setting.raw)?;
    let range = setting.range_dn?;
    let borrowed = series.zip(setting.key.iso).map(|(model, iso)| {
        let g = f64::from(iso) / 100.0;
        let (a, b) = (model.a0 * g, model.c0 + model.c1 * g * g);
        RawNoise { a, b, ..own.clone() }
    });
    let (noise, method) = match (own.is_trusted(), borrowed) {
        // A bound stands when the series lies above it.
        (false, Some(b)) if b.a * RAW_LEVELS[1] + b.b < own.a * RAW_LEVELS[1] + own.b => {
            (b, NoiseMethod::Series)
        }
        (false, _) => (own.clone(), NoiseMethod::UpperBound),
        (true, _) => (own.clone(), method_of(own)),
    };
    let trusted = method != NoiseMethod::UpperBound;
    let rel_err = |covariance: f64, value: f64| covariance.max(0.0).sqrt() / value;
    let gain = (trusted && noise.a > 0.0).then(|| WithError {
        value: noise.a * range,
        std_err: (method != NoiseMethod::Series)
            .then(|| noise.a * range * rel_err(noise.covariance[0][0], noise.a)),
    });
    let read = gain.and_then(|gain| {
        let dark_dn2 = noise.b * range * range - ROUNDING_DN2;
        let value = (dark_dn2 > 0.0).then(|| dark_dn2.sqrt() / gain.value)?;
        let counted = rel_err(noise.covariance[1][1], noise.b);
        let rel = match method {
            NoiseMethod::Pair => counted,
            _ => counted.hypot(SINGLE_BLACK_REL_ERR),
        };
        Some(WithError { value, std_err: Some(0.5 * rel * value) })
    });
    let sigma_at = RAW_LEVELS
        .iter()
        .filter_map(|level| {
            let m = noise.sigma_at(*level)?;
            Some(SigmaAt {
                level: *level,
                sigma_dn: m.value * range,
                std_err: m.std_err.filter(|_| trusted).map(|e| e * range),
            })
        })
        .collect();
    let curve = own
        .points
        .iter()
        .map(|p| TransferPoint {
            signal_dn: p.level * range,
            sigma_dn: p.variance.max(0.0).sqrt() * range,
            kept: p.kept,
        })
        .collect();
    Some(IsoNoise {
        iso: setting.key.iso,
        source: FrameSource::Raw,
        frames: setting.frames,
        method,
        range_dn: Some(range),
        gain_dn_per_e: gain,
        read_noise_e: read,
        sigma_at,
        curve,
        trusted,
    })
}

fn method_of(noise: &RawNoise) -> NoiseMethod {
    match noise.method {
        RawMethod::Pair => NoiseMethod::Pair,
        RawMethod::Single => NoiseMethod::Single,
        RawMethod::UpperBound => NoiseMethod::UpperBound,
    }
}

fn rendered_row(setting: &IsoSetting) -> Option<IsoNoise> {
    use crate::core::Flag;
    let bound = |n: &RenderedNoise| n.flags.has(Flag::AllTexture);
    let any_trusted = setting.rendered.iter().any(|n| !bound(n));
    let used: Vec<&RenderedNoise> =
        setting.rendered.iter().filter(|n| !any_trusted || !bound(n)).collect();
    if used.is_empty() {
        return None;
    }
    let sigma_at = RENDERED_LEVELS
        .iter()
        .filter_map(|level| {
            let tone = 255.0 * level;
            let covering = used.iter().filter(|n| {
                let ends = n.levels.first().zip(n.levels.last());
                ends.is_some_and(|(dark, bright)| {
                    dark.mean_dn < tone + TONE_REACH_DN && bright.mean_dn > tone - TONE_REACH_DN
                })
            });
            let mut sigmas: Vec<f64> =
                covering.filter_map(|n| Some(n.variance_at(tone)?.sqrt())).collect();
            let sigma_dn = stats::median(&mut sigmas)?;
            let rel = used
                .iter()
                .flat_map(|n| &n.levels)
                .filter_map(|l| Some(l.sigma_dn.std_err? / l.sigma_dn.value));
            let rel = rel.fold(0.0, f64::max);
            Some(SigmaAt {
                level: *level,
                sigma_dn,
                std_err: (any_trusted && rel > 0.0).then_some(rel * sigma_dn),
            })
        })
        .collect();
    Some(IsoNoise {
        iso: setting.key.iso,
        source: FrameSource::Rendered,
        frames: setting.frames,
        method: if any_trusted { NoiseMethod::Single } else { NoiseMethod::UpperBound },
        range_dn: None,
        gain_dn_per_e: None,
        read_noise_e: None,
        sigma_at,
        curve: Vec::new(),
        trusted: any_trusted,
    })
}
