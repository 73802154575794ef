//! From what was watched to the record of a clip.

use super::cut::{ClipStretches, cut};
use super::meter::FrameObservation;
use super::verdicts::{ClipVerdict, judge};
use super::{ClipExposure, ClipJob, ClipMeasurement, findings, stretch};
use crate::clips::record::{
    ClipFrameRow, ClipRecord, ClipSettings, ClipSubject, FocusDrift, ShakeRecord, SpanRecord,
    SpanVerdict, TypeNoise,
};
use crate::core::stats::{least_squares, median};
use crate::core::verdict::{Cause, Verdict};
use crate::core::{Flag, Measured};
use crate::image::Orientation;
use crate::image::clip::FrameType;
use crate::optics::movement;
use crate::report::parts::SubjectFound;
use crate::tracking::shake::{Shake, TimedPosition, shake};

/// Gaps that differ by more than this share are uneven.
const UNEVEN: f64 = 0.02;
/// Longest stretch in which one rhythm is looked for, s.
const RHYTHM_S: f64 = 6.0;
/// Frames of a kind from which its noise is told.
const MIN_TYPE: usize = 2;
/// Noise of key frames over the others' from which it pulses, and in standard errors.
const PULSE: (f64, f64) = (1.15, 3.0);
/// Best frames named for each stretch.
const BEST_NAMED: usize = 3;
/// Apart in time at least, s.
const BEST_APART_S: f64 = 0.3;
/// Defocus must reach this many times the best blur on the way for a drift to be told.
const DRIFT_SEEN: f64 = 2.0;
/// A drift is told when its rate is this many of its errors.
const DRIFT_SURE: f64 = 5.0;
/// Frames that may be missing from what the header promises: a share, and so many.
const ENDED_SHARE: f64 = 0.02;
/// See [`ENDED_SHARE`].
const ENDED_FRAMES: f64 = 2.0;
/// Method scatter of blur, as a share.
const BLUR_SCATTER: f64 = 0.1;

/// The record of a clip.
pub(super) fn record(job: &ClipJob, watched: &ClipMeasurement, shown: &str) -> ClipRecord {
    let ClipMeasurement { info, taken, seen, samples, .. } = watched;
    let times: Vec<f64> = seen.iter().map(|s| s.t_s).collect();
    let mut gaps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).filter(|g| *g > 0.0).collect();
    let usual_gap = median(&mut gaps).or(info.fps.map(|f| 1.0 / f)).unwrap_or(0.04);
    let uneven = gaps.iter().filter(|g| (*g / usual_gap - 1.0).abs() > UNEVEN).count();
    let end_s = times.last().copied().unwrap_or(0.0) + usual_gap;
    let length_s = end_s - times.first().copied().unwrap_or(0.0);
    let fps = seen.len() as f64 / length_s;
    let speeds = speeds_px_s(seen, &times);
    let smears: Vec<Option<f64>> =
        speeds.iter().map(|v| Some(v.as_ref()? * taken.shutter_s?)).collect();
    let judged = judge(seen, samples, taken.allowed_px(), &smears);
    let turn = info.orientation;
    let size = (f64::from(info.width_px), f64::from(info.height_px));
    let frames_table: Vec<ClipFrameRow> =
        (0..seen.len()).map(|i| row(taken, seen, &judged, i, turn, size)).collect();
    let cuts = cut(&judged.frames, &times, end_s);
    let (width_px, height_px) = info.upright_size();
    let track = |from: usize, to: usize| places(&seen[from..to]);
    let end = |i: usize| times.get(i).copied().unwrap_or(end_s);
    let spans = cuts.iter().map(|c| {
        let ends = (end(c.from), end(c.to));
        span(job, c, ends, &judged, &times, &track(c.from, c.to), (width_px, height_px))
    });
    let spans: Vec<SpanRecord> = spans.collect();
    let noise = noise_by_type(seen);
    let first = seen.iter().find_map(|s| s.place);
    let upright = first.map(|(x, y)| turn.to_upright(x / size.0, y / size.1));
    let broke_off = broke_off(watched);
    let mut clip = ClipRecord {
        path: shown.to_owned(),
        source: info.path.clone(),
        fps,
        variable_rate: uneven * 20 > gaps.len(),
        frames: seen.len() as u32,
        width_px,
        height_px,
        length_s,
        play_fps: job.play_fps,
        slower: job.play_fps.map(|p| movement::slower(fps, p)),
        codec: info.codec.clone(),
        bits: info.bits,
        range: if info.limited_range { "limited" } else { "full" },
        interlaced: info.interlaced || seen.iter().any(|s| s.interlaced),
        taken_at: info.taken_at.clone(),
        camera: info.camera(),
        settings: settings(taken),
        broke_off,
        subject: ClipSubject {
            found: if first.is_some() { watched.found } else { SubjectFound::None },
            x: upright.map(|p| p.0),
            y: upright.map(|p| p.1),
            box_px: watched.box_px as u32,
        },
        best_blur_sigma_px: judged.best_px,
        attainable_blur_px: taken.allowed_px(),
        key_frame_pulse: pulse(&noise),
        noise,
        flicker: flicker(seen),
        shake: worst_shake(seen, &times, (width_px, height_px)),
        focus_drift: focus_drift(taken, &judged, &times),
        deliver_px: job.deliver_px,
        spans,
        best_stretch: job.stretch_s.and_then(|s| stretch::best(&judged.frames, &times, end_s, s)),
        frames_table,
        findings: Vec::new(),
    };
    clip.findings = findings::findings(taken, &clip, &judged, &speeds);
    clip
}

/// Why a clip could not be read to its end. Complaints of ffmpeg alone are none: many clips that
/// decode in full earn some.
fn broke_off(watched: &ClipMeasurement) -> Option<String> {
    let Some(ending) = &watched.ending else { return Some("stopped by the user".to_owned()) };
    let read = watched.seen.len();
    let expected = watched.info.duration_s.zip(watched.info.fps).map(|(d, f)| d * f);
    let short = expected.filter(|n| (read as f64) < n * (1.0 - ENDED_SHARE) - ENDED_FRAMES);
    let said = ending.complaints.first().map_or("ffmpeg ended early", String::as_str);
    match short {
        Some(n) if !ending.by_itself || !ending.complaints.is_empty() => {
            Some(format!("only {read} of about {n:.0} frames could be read: {said}"))
        }
        _ if !ending.by_itself => Some(said.to_owned()),
        _ => None,
    }
}

/// Where what is followed is: the subject, or the whole picture where nothing is marked or found.
fn at(s: &FrameObservation) -> Option<(f64, f64)> {
    s.place.or(s.whole)
}

/// A track for shake: the subject where it is seen throughout, else the whole.
fn places(seen: &[FrameObservation]) -> Vec<TimedPosition> {
    let get: fn(&FrameObservation) -> Option<(f64, f64)> =
        if seen.iter().all(|s| s.place.is_some()) { |s| s.place } else { |s| s.whole };
    let place = |s: &FrameObservation| {
        let (x_px, y_px) = get(s)?;
        Some(TimedPosition { t_s: s.t_s, x_px, y_px })
    };
    seen.iter().filter_map(place).collect()
}

/// Movement at the subject between two frames, px of the file.
fn step_px(a: &FrameObservation, b: &FrameObservation) -> Option<(f64, f64)> {
    let (p, q) = match (a.place, b.place) {
        (Some(p), Some(q)) => (p, q),
        _ => (a.whole?, b.whole?),
    };
    Some((q.0 - p.0, q.1 - p.1))
}

/// Speed of the picture at the subject in each frame, from the places before and after, px/s.
fn speeds_px_s(seen: &[FrameObservation], times: &[f64]) -> Vec<Option<f64>> {
    let n = seen.len();
    (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
            let gap = times[b] - times[a];
            let (dx, dy) = step_px(&seen[a], &seen[b]).filter(|_| gap > 0.0)?;
            at(&seen[i])?;
            Some(dx.hypot(dy) / gap)
        })
        .collect()
}

fn settings(taken: &ClipExposure) -> ClipSettings {
    ClipSettings {
        rig: taken.settings.rig.clone(),
        marked_f_number: taken.f_number(),
        working_f_number: taken.n_eff(),
        magnification: taken.settings.optics.magnification,
        pixel_pitch_um: taken.pixel_pitch_um(),
        shutter_s: taken.shutter_s,
    }
}

fn row(
    taken: &ClipExposure,
    seen: &[FrameObservation],
    judged: &ClipVerdict,
    i: usize,
    turn: Orientation,
    size: (f64, f64),
) -> ClipFrameRow {
    let (s, f) = (&seen[i], &judged.frames[i]);
    let before = i.checked_sub(1).map(|j| &seen[j]);
    let motion_px = before.and_then(|b| step_px(b, s)).map(|(x, y)| x.hypot(y));
    let place = s.place.map(|(x, y)| turn.to_upright(x / size.0, y / size.1));
    let turned = before
        .filter(|b| b.whole.is_some() && s.whole.is_some())
        .map(|b| -(s.rotation_rad - b.rotation_rad).to_degrees());
    let mut flags = f.flags;
    if s.place_by_whole {
        flags.raise(Flag::SubjectGuessed);
    }
    ClipFrameRow {
        frame: i as u32,
        t_s: s.t_s,
        frame_type: s.frame_type.letter(),
        verdict: f.verdict,
        cause: f.cause,
        blur_sigma_px: f.blur,
        blur_ratio: f.ratio,
        motion_px,
        motion_um: motion_px.zip(taken.object_um_per_px()).map(|(p, um)| p * um),
        rotation_deg: turned,
        smear_px: f
            .smear
            .filter(crate::sharpness::direction::Smear::is_movement)
            .and_then(|m| Measured::new(m.length_px, m.length_std_err_px, 1)),
        noise_sigma_dn: s.noise_sigma_dn,
        mean_dn: s.mean_dn,
        subject_x: place.map(|p| p.0),
        subject_y: place.map(|p| p.1),
        flags,
    }
}

fn span(
    job: &ClipJob,
    c: &ClipStretches,
    (start_s, end_s): (f64, f64),
    judged: &ClipVerdict,
    times: &[f64],
    track: &[TimedPosition],
    size: (u32, u32),
) -> SpanRecord {
    let frames = &judged.frames[c.from..c.to];
    let mut blurs: Vec<f64> = frames.iter().filter_map(|f| Some(f.blur?.value)).collect();
    let n = blurs.len();
    let blur = median(&mut blurs).and_then(|m| {
        let spread = blurs.iter().map(|b| (b - m).powi(2)).sum::<f64>() / n as f64;
        Measured::new(m, (spread / n as f64).sqrt().hypot(BLUR_SCATTER * m), n as u32)
    });
    let shaken = strongest(track);
    let play = job.play_fps.map(|p| frames.len() as f64 / p);
    let best = match c.verdict {
        SpanVerdict::Unclear => Vec::new(),
        _ => best_frames(judged, times, c),
    };
    // Long side to long side: a clip held upright is delivered so.
    let crop_max = job.deliver_px.zip(blur).and_then(|((w, h), b)| {
        let (long, wanted) = (size.0.max(size.1), w.max(h));
        let most = movement::crop_most(b.value, f64::from(long), f64::from(wanted));
        Measured::new(most, most * b.std_err? / b.value, b.n)
    });
    SpanRecord {
        start_s,
        end_s,
        frames: frames.len() as u32,
        play_s: play,
        verdict: c.verdict,
        cause: main_cause(frames.iter().filter_map(|f| f.cause))
            .filter(|_| c.verdict != SpanVerdict::InFocus),
        blur_sigma_px: blur,
        steadiness_px: shaken.map(|s| s.rms_px),
        shake: shaken.map(|s| shake_record(&s, size)),
        crop_max,
        best_frame_s: best.first().copied(),
        best_frames_s: best,
    }
}

/// The cause named most often; the first named among equals.
fn main_cause(causes: impl Iterator<Item = Cause>) -> Option<Cause> {
    let mut counts: Vec<(Cause, u32)> = Vec::new();
    for cause in causes {
        match counts.iter_mut().find(|c| c.0 == cause) {
            Some(c) => c.1 += 1,
            None => counts.push((cause, 1)),
        }
    }
    let most = counts.iter().map(|c| c.1).max()?;
    counts.iter().find(|c| c.1 == most).map(|c| c.0)
}

/// The sharpest frames of a stretch, apart from each other, best first.
fn best_frames(judged: &ClipVerdict, times: &[f64], c: &ClipStretches) -> Vec<f64> {
    let mut order: Vec<usize> =
        (c.from..c.to).filter(|i| judged.frames[*i].ratio.is_some()).collect();
    let ratio = |i: usize| judged.frames[i].ratio.unwrap_or(f64::MAX);
    order.sort_by(|a, b| ratio(*a).total_cmp(&ratio(*b)).then(a.cmp(b)));
    let mut best: Vec<f64> = Vec::new();
    for i in order {
        if best.len() < BEST_NAMED && best.iter().all(|t| (t - times[i]).abs() >= BEST_APART_S) {
            best.push(times[i]);
        }
    }
    best
}

/// The shake of the part of a track, of at most [`RHYTHM_S`], that shakes most.
fn strongest(track: &[TimedPosition]) -> Option<Shake> {
    let mut most: Option<Shake> = None;
    let mut from = 0;
    while from < track.len() {
        let end_s = track[from].t_s + RHYTHM_S;
        let to = from + track[from..].partition_point(|p| p.t_s < end_s);
        // A rest too short for a rhythm belongs to the part before it.
        let rest = track.len() - to;
        let to = if rest * 3 < to - from { track.len() } else { to };
        if let Some(s) = shake(&track[from..to])
            && most.is_none_or(|m| s.rms_px > m.rms_px)
        {
            most = Some(s);
        }
        from = to;
    }
    most
}

fn worst_shake(seen: &[FrameObservation], times: &[f64], size: (u32, u32)) -> Option<ShakeRecord> {
    // Runs in which the picture could be followed.
    let mut most: Option<Shake> = None;
    let mut from = 0;
    while from < times.len() {
        let run = seen[from..].iter().take_while(|s| at(s).is_some()).count();
        if let Some(s) = strongest(&places(&seen[from..from + run]))
            && most.is_none_or(|m| s.rms_px > m.rms_px)
        {
            most = Some(s);
        }
        from += run.max(1);
    }
    most.map(|s| shake_record(&s, size))
}

fn shake_record(s: &Shake, (width, height): (u32, u32)) -> ShakeRecord {
    let share = |px: f64, side: u32| 2.0 * px / f64::from(side);
    ShakeRecord {
        rms_px: s.rms_px,
        drift_px_s: s.drift_px_s,
        amplitude_px: s
            .rhythm
            .and_then(|r| Measured::new(r.amplitude_px, r.amplitude_std_err_px, 1)),
        frequency_hz: s
            .rhythm
            .and_then(|r| Measured::new(r.frequency_hz, r.resolution_hz / 2.0, 1)),
        stabilise_crop: share(s.furthest_px.0, width).max(share(s.furthest_px.1, height)).min(1.0),
    }
}

fn noise_by_type(seen: &[FrameObservation]) -> Vec<TypeNoise> {
    let kinds = [FrameType::I, FrameType::P, FrameType::B, FrameType::Other];
    let of = |kind: FrameType| {
        let mut sigmas: Vec<f64> =
            seen.iter().filter(|s| s.frame_type == kind).filter_map(|s| s.noise_sigma_dn).collect();
        let n = sigmas.len();
        let middle = median(&mut sigmas).filter(|_| n >= MIN_TYPE)?;
        let spread = sigmas.iter().map(|s| (s - middle).powi(2)).sum::<f64>() / n as f64;
        Some(TypeNoise {
            frame_type: kind.letter(),
            frames: n as u32,
            sigma_dn: Measured::new(middle, (spread / n as f64).sqrt(), n as u32)?,
        })
    };
    kinds.into_iter().filter_map(of).collect()
}

/// Noise of frames coded on their own over that of the rest, when it stands out.
fn pulse(noise: &[TypeNoise]) -> Option<Measured> {
    let own = noise.iter().find(|n| n.frame_type == "I")?;
    let rest: Vec<&TypeNoise> = noise.iter().filter(|n| n.frame_type != "I").collect();
    let frames: u32 = rest.iter().map(|n| n.frames).sum();
    if frames == 0 {
        return None;
    }
    let weighted = |get: fn(&TypeNoise) -> f64| {
        rest.iter().map(|n| get(n) * f64::from(n.frames)).sum::<f64>() / f64::from(frames)
    };
    let (level, error) =
        (weighted(|n| n.sigma_dn.value), weighted(|n| n.sigma_dn.std_err.unwrap_or(0.0)));
    let ratio = own.sigma_dn.value / level;
    let std_err = ratio * (own.sigma_dn.std_err? / own.sigma_dn.value).hypot(error / level);
    let sure = ratio > PULSE.0 && (ratio - 1.0) > PULSE.1 * std_err;
    Measured::new(ratio, std_err, own.frames).filter(|_| sure)
}

/// Standard deviation of brightness from frame to frame (differences, over √2) over the mean.
fn flicker(seen: &[FrameObservation]) -> Option<f64> {
    let n = seen.len().checked_sub(1).filter(|n| *n > 0)? as f64;
    let squares: f64 = seen.windows(2).map(|w| (w[1].mean_dn - w[0].mean_dn).powi(2)).sum();
    let mean = seen.iter().map(|s| s.mean_dn).sum::<f64>() / seen.len() as f64;
    (mean > 1.0).then(|| (squares / n / 2.0).sqrt() / mean)
}

/// The passage of the focus plane through the subject: defocus grows evenly on both sides of the
/// moment when it is there, so the blur that defocus alone adds is |t − t0|·rate.
fn focus_drift(taken: &ClipExposure, judged: &ClipVerdict, times: &[f64]) -> Option<FocusDrift> {
    let best = judged.best_px?.value;
    let points: Vec<(f64, f64)> = judged
        .frames
        .iter()
        .zip(times)
        .filter_map(|(f, t)| {
            let x = f.ratio? * judged.reference_px?;
            Some((*t, (x * x - best * best).max(0.0).sqrt()))
        })
        .collect();
    let widest = points.iter().map(|p| p.1).fold(0.0, f64::max);
    if points.len() < 12 || widest < DRIFT_SEEN * best {
        return None;
    }
    // Beyond the range in which blur is told, growth flattens out.
    let told = (0.8 * widest).max(DRIFT_SEEN * best).min(6.0);
    let within: Vec<&(f64, f64)> = points.iter().filter(|p| p.1 <= told).collect();
    let (first, last) = (points.first()?.0, points.last()?.0);
    let mut fitted: Option<(f64, f64, f64, f64)> = None;
    for k in 0..=200 {
        let t0 = first + (last - first) * f64::from(k) / 200.0;
        let rows: Vec<([f64; 1], f64, f64)> =
            within.iter().map(|p| ([(p.0 - t0).abs()], p.1, 1.0)).collect();
        let Some(fit) = least_squares(&rows) else { continue };
        if fitted.is_none_or(|f| fit.chi_square < f.3) {
            let spread = fit.chi_square / (rows.len() as f64 - 2.0).max(1.0);
            let std_err = (spread * fit.covariance[0][0]).sqrt();
            fitted = Some((t0, fit.beta[0], std_err, fit.chi_square));
        }
    }
    let (at_s, rate, std_err, left) = fitted?;
    let total: f64 = within.iter().map(|p| p.1 * p.1).sum();
    let hits = judged.frames.iter().any(|f| f.verdict == Verdict::Hit);
    if !hits || rate < DRIFT_SURE * std_err || left > 0.25 * total {
        return None;
    }
    // A disc of diameter d has the width d/4; d = m²·dz/(N_eff·pitch).
    let mm_s = taken
        .n_eff()
        .zip(taken.pixel_pitch_um())
        .zip(taken.magnification())
        .map(|((n, p), m)| 4.0 * rate * n * p / (m * m) / 1000.0);
    Some(FocusDrift {
        at_s,
        rate_px_s: Measured::new(rate, std_err, within.len() as u32)?,
        rate_mm_s: mm_s,
    })
}
