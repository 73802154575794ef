//! What is found of a clip, and what can be done about it: numbers, no sentences. Those are in
//! `sentences.rs`.

use super::ClipExposure;
use super::verdicts::ClipVerdict;
use crate::clips::record::{ClipRecord, SpanVerdict};
use crate::core::Measured;
use crate::core::stats::quantile;
use crate::core::units::PitchUm;
use crate::core::verdict::{Cause, Verdict};
use crate::optics::{diffraction, movement};
use serde::Serialize;

/// Smear over the best blur from which the exposure is too long.
const SMEARED: f64 = 1.5;
/// Share of frames that decides what movement is usual.
const USUAL: f64 = 0.75;
/// Noise share at the best frames from which more light is worth it.
const NOISY: f64 = 0.3;
/// Flicker worth telling: what a meter's tenth of a stop would be.
const FLICKER: f64 = 0.02;
/// A crop by steadying worth telling.
const STEADYING: f64 = 0.02;
/// Share of a loss to a cause worth telling.
const CAUSE_SHARE: f64 = 0.1;

/// Shake from this frequency on comes from muscles, not from the body's sway, Hz.
const FAST_SHAKE_HZ: f64 = 4.0;
/// Loss of sharpness by closing one stop up to which the depth is worth it.
const CLOSING_PAYS: f64 = 1.2;

/// What is found of a clip.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "key", content = "values", rename_all = "kebab-case")]
pub enum ClipFinding {
    /// No stretch is in focus.
    NothingInFocus {
        /// Length of the clip, s.
        length_s: f64,
    },
    /// Stretches in focus.
    InFocus {
        /// Their length together, s.
        in_focus_s: f64,
        /// Length of the clip, s.
        length_s: f64,
        /// Length when played at another rate, s, and that rate, frames per second.
        played: Option<(f64, f64)>,
        /// Number of stretches.
        stretches: u32,
    },
    /// Even the best frames are soft.
    BestIsSoft {
        /// Their blur, px.
        blur_px: Measured,
    },
    /// Focus drifts through the subject.
    FocusDrift {
        /// When the focus plane is at the subject, s.
        at_s: f64,
        /// Growth of the blur, px per second.
        rate_px_s: Measured,
        /// Movement of the focus plane, mm per second.
        rate_mm_s: Option<f64>,
    },
    /// The picture shakes.
    Shake {
        /// Amplitude, px.
        amplitude_px: f64,
        /// Frequency, Hz.
        frequency_hz: Measured,
        /// Share of the frame that steadying would cut off.
        crop: f64,
    },
    /// A quarter of the frames is smeared.
    Smear {
        /// Speed of the picture that a quarter of the frames exceeds, px per second.
        speed_px_s: f64,
        /// Shutter time, s.
        shutter_s: f64,
        /// Whether the shutter time was assumed.
        is_assumed: bool,
        /// Smear at that speed, px.
        smear_px: f64,
        /// Blur of the best frames, px.
        blur_px: f64,
        /// Shutter time that would do, s.
        needed_s: f64,
    },
    /// What one stop less of aperture would do to a clip with a drift of focus.
    OneStopCloser {
        /// Marked f-number.
        f_number: f64,
        /// Marked f-number one stop closer.
        closed: f64,
        /// Time in focus, s.
        in_focus_s: f64,
        /// Blur of the best frames then over that of now.
        softer: f64,
    },
    /// Noise rises and falls with the key frames.
    KeyFramePulse {
        /// Noise of key frames over that of the others.
        ratio: Measured,
    },
    /// Noise makes much of the fine contrast of the best frames.
    Noisy {
        /// Its share, 0..1.
        share: f64,
    },
    /// Frames could not be judged.
    Unclear {
        /// Their share.
        share: f64,
        /// Why.
        why: UnclearBecause,
    },
    /// The finest lines of the sharpest stretch are coarser than the delivered pixels.
    NoCrop {
        /// Delivered width and height, px.
        deliver_px: (u32, u32),
        /// Width of the finest lines, delivered px.
        lines_px: f64,
    },
    /// The sharpest stretch can be cropped.
    Crop {
        /// Delivered width and height, px.
        deliver_px: (u32, u32),
        /// How many times before the finest lines are coarser than the pixels.
        times: Measured,
        /// How many times at one pixel for one.
        pixel_for_pixel: f64,
    },
    /// Brightness flickers.
    Flicker {
        /// Standard deviation over the mean.
        share: f64,
    },
    /// The clip fits several rigs.
    SeveralRigs {
        /// Their names.
        rigs: Vec<String>,
    },
    /// Frames are made of two fields.
    Interlaced,
    /// The clip could not be read to its end.
    BrokeOff {
        /// Why.
        why: String,
    },
}

/// Why frames of a clip could not be judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum UnclearBecause {
    /// Noise.
    Noise,
    /// Too little texture at the subject.
    NoTexture,
    /// The subject was lost.
    SubjectLost,
}

/// What can be done about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClipAdvice {
    /// Check the subject point, then focus and movement.
    CheckSubjectPoint,
    /// Rest the lens or the hand near the subject.
    RestNearSubject,
    /// Support the lens.
    SupportLens,
    /// Put a foot on the ground.
    UseMonopod,
    /// A shorter shutter time.
    ShutterAtMost {
        /// Longest time, s.
        shutter_s: f64,
    },
    /// Closing the aperture pays where there is light.
    ClosingPays,
    /// Closing the aperture costs more than it gives.
    ClosingCosts,
    /// A higher bit rate.
    HigherBitRate,
    /// One stop more light.
    MoreLight,
    /// Mark the subject in the first frame.
    MarkSubject,
    /// Crop no further than that.
    CropWithin,
    /// Match the shutter to the lamps.
    MatchLamps,
    /// Name the rig.
    NameRig,
    /// Record progressive frames.
    RecordProgressive,
}

impl ClipFinding {
    /// What to do about it.
    pub fn advice(&self) -> Option<ClipAdvice> {
        match self {
            ClipFinding::NothingInFocus { .. }
            | ClipFinding::InFocus { .. }
            | ClipFinding::NoCrop { .. }
            | ClipFinding::BrokeOff { .. } => None,
            ClipFinding::BestIsSoft { .. } => Some(ClipAdvice::CheckSubjectPoint),
            ClipFinding::FocusDrift { .. } => Some(ClipAdvice::RestNearSubject),
            ClipFinding::Shake { frequency_hz, .. } if frequency_hz.value >= FAST_SHAKE_HZ => {
                Some(ClipAdvice::SupportLens)
            }
            ClipFinding::Shake { .. } => Some(ClipAdvice::UseMonopod),
            ClipFinding::Smear { needed_s, .. } => {
                Some(ClipAdvice::ShutterAtMost { shutter_s: *needed_s })
            }
            ClipFinding::OneStopCloser { softer, .. } if *softer < CLOSING_PAYS => {
                Some(ClipAdvice::ClosingPays)
            }
            ClipFinding::OneStopCloser { .. } => Some(ClipAdvice::ClosingCosts),
            ClipFinding::KeyFramePulse { .. } => Some(ClipAdvice::HigherBitRate),
            ClipFinding::Noisy { .. } => Some(ClipAdvice::MoreLight),
            ClipFinding::Unclear { .. } => Some(ClipAdvice::MarkSubject),
            ClipFinding::Crop { .. } => Some(ClipAdvice::CropWithin),
            ClipFinding::Flicker { .. } => Some(ClipAdvice::MatchLamps),
            ClipFinding::SeveralRigs { .. } => Some(ClipAdvice::NameRig),
            ClipFinding::Interlaced => Some(ClipAdvice::RecordProgressive),
        }
    }
}

/// The findings of a clip.
pub(super) fn findings(
    taken: &ClipExposure,
    clip: &ClipRecord,
    judged: &ClipVerdict,
    speeds_px_s: &[Option<f64>],
) -> Vec<ClipFinding> {
    let mut all = vec![in_focus(clip)];
    all.extend(soft(clip, judged));
    all.extend(drift(clip));
    all.extend(shaken(clip));
    all.extend(shutter(taken, clip, judged, speeds_px_s));
    all.extend(aperture(taken, clip));
    all.extend(noise(clip, judged));
    all.extend(unclear(clip));
    all.extend(delivery(clip));
    let flicker = clip.flicker.filter(|f| *f > FLICKER);
    all.extend(flicker.map(|share| ClipFinding::Flicker { share }));
    if !taken.undecided.is_empty() {
        all.push(ClipFinding::SeveralRigs { rigs: taken.undecided.clone() });
    }
    if clip.interlaced {
        all.push(ClipFinding::Interlaced);
    }
    all.extend(clip.broke_off.clone().map(|why| ClipFinding::BrokeOff { why }));
    all
}

fn in_focus(clip: &ClipRecord) -> ClipFinding {
    let spans: Vec<_> = clip.spans.iter().filter(|s| s.verdict == SpanVerdict::InFocus).collect();
    if spans.is_empty() {
        return ClipFinding::NothingInFocus { length_s: clip.length_s };
    }
    let frames: u32 = spans.iter().map(|s| s.frames).sum();
    ClipFinding::InFocus {
        in_focus_s: clip.in_focus_s(),
        length_s: clip.length_s,
        played: clip.play_fps.map(|fps| (f64::from(frames) / fps, fps)),
        stretches: spans.len() as u32,
    }
}

fn soft(clip: &ClipRecord, judged: &ClipVerdict) -> Option<ClipFinding> {
    let blur_px = clip.best_blur_sigma_px.filter(|_| judged.best_is_soft)?;
    Some(ClipFinding::BestIsSoft { blur_px })
}

fn drift(clip: &ClipRecord) -> Option<ClipFinding> {
    let d = clip.focus_drift?;
    let (at_s, rate_px_s, rate_mm_s) = (d.at_s, d.rate_px_s, d.rate_mm_s);
    Some(ClipFinding::FocusDrift { at_s, rate_px_s, rate_mm_s })
}

fn shaken(clip: &ClipRecord) -> Option<ClipFinding> {
    let s = clip.shake?;
    let (amplitude, frequency_hz) = (s.amplitude_px?, s.frequency_hz?);
    (s.stabilise_crop >= STEADYING).then_some(ClipFinding::Shake {
        amplitude_px: amplitude.value,
        frequency_hz,
        crop: s.stabilise_crop,
    })
}

fn shutter(
    taken: &ClipExposure,
    clip: &ClipRecord,
    judged: &ClipVerdict,
    speeds: &[Option<f64>],
) -> Option<ClipFinding> {
    let best = judged.best_px?.value;
    let mut known: Vec<f64> = speeds.iter().flatten().copied().collect();
    let speed = quantile(&mut known, USUAL)?;
    let shutter_s = taken.shutter_s.unwrap_or_else(|| movement::half_frame_shutter_s(clip.fps));
    let smear = speed * shutter_s;
    // Too long when the smear widens the best blur by half.
    let limit = best * (12.0 * (SMEARED * SMEARED - 1.0)).sqrt();
    (smear > limit).then(|| ClipFinding::Smear {
        speed_px_s: speed,
        shutter_s,
        is_assumed: taken.shutter_s.is_none(),
        smear_px: smear,
        blur_px: best,
        needed_s: movement::shutter_for_s(limit, speed),
    })
}

fn aperture(taken: &ClipExposure, clip: &ClipRecord) -> Option<ClipFinding> {
    let (n, n_eff, pitch) = (taken.f_number()?, taken.n_eff()?, taken.pixel_pitch_um()?);
    clip.focus_drift?;
    let wavelength = taken.settings.wavelength;
    let sigma = |n_eff: f64| diffraction::sigma_settings_px(n_eff, PitchUm(pitch), wavelength);
    let (now, then) = (sigma(n_eff), sigma(n_eff * 2f64.sqrt()));
    let best = clip.best_blur_sigma_px?.value;
    Some(ClipFinding::OneStopCloser {
        f_number: n,
        closed: n * 2f64.sqrt(),
        in_focus_s: clip.in_focus_s(),
        // What diffraction adds, on top of what is measured now.
        softer: (best * best + then * then - now * now).sqrt() / best,
    })
}

fn noise(clip: &ClipRecord, judged: &ClipVerdict) -> Option<ClipFinding> {
    if let Some(ratio) = clip.key_frame_pulse {
        return Some(ClipFinding::KeyFramePulse { ratio });
    }
    let share = judged.noise_share.filter(|s| *s > NOISY)?;
    Some(ClipFinding::Noisy { share: share.min(1.0) })
}

fn unclear(clip: &ClipRecord) -> Option<ClipFinding> {
    let n = clip.frames_table.iter().filter(|f| f.verdict == Verdict::Unclear).count();
    let share = n as f64 / clip.frames_table.len().max(1) as f64;
    if share < CAUSE_SHARE {
        return None;
    }
    let any = |cause: Cause| clip.frames_table.iter().any(|f| f.cause == Some(cause));
    let why = if any(Cause::Noise) {
        UnclearBecause::Noise
    } else if any(Cause::NoTexture) {
        UnclearBecause::NoTexture
    } else {
        UnclearBecause::SubjectLost
    };
    Some(ClipFinding::Unclear { share, why })
}

fn delivery(clip: &ClipRecord) -> Option<ClipFinding> {
    let deliver_px = clip.deliver_px?;
    let crops = clip.spans.iter().filter(|s| s.verdict == SpanVerdict::InFocus);
    let most = crops.filter_map(|s| s.crop_max).max_by(|a, b| a.value.total_cmp(&b.value))?;
    if most.value < 1.0 {
        return Some(ClipFinding::NoCrop { deliver_px, lines_px: 1.0 / most.value });
    }
    let (width_px, height_px) = deliver_px;
    let pixel_for_pixel =
        f64::from(clip.width_px.max(clip.height_px)) / f64::from(width_px.max(height_px));
    Some(ClipFinding::Crop { deliver_px, times: most, pixel_for_pixel })
}
