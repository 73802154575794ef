//! What a clip's numbers come to, in sentences, each with what to do.

use super::ClipExposure;
use super::verdicts::ClipVerdict;
use crate::clips::record::{ClipRecord, SpanVerdict};
use crate::core::stats::quantile;
use crate::core::units::PitchUm;
use crate::core::verdict::{Cause, Verdict};
use crate::optics::{diffraction, movement};
use crate::report::parts::Finding;
use crate::report::wording;

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

fn say(says: String, next: Option<&str>) -> Finding {
    Finding { says, next: next.map(str::to_owned) }
}

/// The findings of a clip.
pub(super) fn findings(
    taken: &ClipExposure,
    clip: &ClipRecord,
    judged: &ClipVerdict,
    speeds_px_s: &[Option<f64>],
) -> Vec<Finding> {
    let mut all = vec![keep(clip)];
    all.extend(soft(clip, judged));
    all.extend(drift(clip));
    all.extend(shaken(clip));
    all.extend(shutter(taken, clip, judged, speeds_px_s));
    all.extend(aperture(taken, clip));
    all.extend(noise(clip, judged));
    all.extend(lost(clip));
    all.extend(delivery(clip));
    if let Some(f) = clip.flicker.filter(|f| *f > FLICKER) {
        let says = format!("Brightness flickers by {} from frame to frame.", wording::per_cent(f));
        all.push(say(says, Some("Match the shutter to the lamps' mains or dimmer frequency.")));
    }
    if !taken.undecided.is_empty() {
        let says = format!(
            "The clip fits several rigs equally well ({}): none was used.",
            taken.undecided.join(", ")
        );
        all.push(say(says, Some("Name one with --rig.")));
    }
    if clip.interlaced {
        let says = "The frames are made of two fields taken at different times: what moves is \
                    combed, and blur across lines is told less surely."
            .to_owned();
        all.push(say(says, Some("Record progressive frames.")));
    }
    if let Some(why) = &clip.broke_off {
        let says = format!("The clip could not be read to its end: {why}. What was read is told.");
        all.push(say(says, None));
    }
    all
}

fn seconds(s: f64) -> String {
    format!("{} s", wording::fixed(s, 1))
}

fn keep(clip: &ClipRecord) -> Finding {
    let spans: Vec<_> = clip.spans.iter().filter(|s| s.verdict == SpanVerdict::InFocus).collect();
    if spans.is_empty() {
        return say(format!("Nothing of {} is in focus.", seconds(clip.length_s)), None);
    }
    let played = clip.play_fps.map_or(String::new(), |p| {
        let frames: u32 = spans.iter().map(|s| s.frames).sum();
        format!(" ({} played at {} fps)", seconds(f64::from(frames) / p), wording::short(p))
    });
    let n = spans.len() as u32;
    says_plain(format!(
        "In focus: {} of {}{played}, in {}.",
        seconds(clip.in_focus_s()),
        seconds(clip.length_s),
        wording::count(n, "stretch", "stretches")
    ))
}

fn says_plain(says: String) -> Finding {
    Finding { says, next: None }
}

fn soft(clip: &ClipRecord, judged: &ClipVerdict) -> Option<Finding> {
    let best = clip.best_blur_sigma_px.filter(|_| judged.best_is_soft)?;
    let says = format!(
        "Even the best frames are soft: blur {} px at the subject.",
        wording::measured(&best)
    );
    Some(say(says, Some("Check the subject point first; then focus or movement.")))
}

fn drift(clip: &ClipRecord) -> Option<Finding> {
    let d = clip.focus_drift?;
    let mm = d.rate_mm_s.map_or(String::new(), |v| format!(", {} mm/s", wording::number(v)));
    let says = format!(
        "The focus plane went through the subject at {}: blur of defocus grows by {} px a \
         second{mm}; towards or away cannot be told from blur.",
        seconds(d.at_s),
        wording::measured(&d.rate_px_s)
    );
    Some(say(says, Some("Rest the front of the lens or the hand on something near the subject.")))
}

fn shaken(clip: &ClipRecord) -> Option<Finding> {
    let s = clip.shake?;
    let (amplitude, frequency) = (s.amplitude_px?, s.frequency_hz?);
    if s.stabilise_crop < STEADYING {
        return None;
    }
    let says = format!(
        "The picture shakes by ±{} px at {} Hz; steadying it would cut off {} of the frame.",
        wording::number(amplitude.value),
        wording::measured(&frequency),
        wording::per_cent(s.stabilise_crop)
    );
    let next = if frequency.value >= 4.0 {
        "Fast shake comes from muscles or a touched tripod: support the lens, not the elbow."
    } else {
        "Slow sway comes from the body: a foot on the ground (monopod) takes most of it."
    };
    Some(say(says, Some(next)))
}

fn shutter(
    taken: &ClipExposure,
    clip: &ClipRecord,
    judged: &ClipVerdict,
    speeds: &[Option<f64>],
) -> Option<Finding> {
    let best = judged.best_px?.value;
    let mut known: Vec<f64> = speeds.iter().flatten().copied().collect();
    let speed = quantile(&mut known, USUAL)?;
    let (shutter_s, assumed) = match taken.shutter_s {
        Some(s) => (s, ""),
        None => (movement::half_frame_shutter_s(clip.fps), " (assumed, give --shutter)"),
    };
    let smear = speed * shutter_s;
    // Too long when the smear widens the best blur by half.
    let limit = best * (12.0 * (SMEARED * SMEARED - 1.0)).sqrt();
    if smear <= limit {
        return None;
    }
    let says = format!(
        "In a quarter of the frames the picture moves by {} px a second or more: at {}{assumed} \
         that is a smear of {} px over a blur of {} px.",
        wording::number(speed),
        wording::shutter(shutter_s),
        wording::number(smear),
        wording::number(best)
    );
    let needed = movement::shutter_for_s(limit, speed);
    Some(Finding { says, next: Some(format!("Use {} or shorter.", wording::shutter(needed))) })
}

fn aperture(taken: &ClipExposure, clip: &ClipRecord) -> Option<Finding> {
    let (n, n_eff, pitch) = (taken.f_number()?, taken.n_eff()?, taken.pixel_pitch_um()?);
    clip.focus_drift?;
    let wavelength = taken.settings.wavelength;
    let sigma = |n_eff: f64| diffraction::sigma_settings_px(n_eff, PitchUm(pitch), wavelength);
    let closed = n * 2f64.sqrt();
    let (now, then) = (sigma(n_eff), sigma(n_eff * 2f64.sqrt()));
    let best = clip.best_blur_sigma_px?.value;
    // What diffraction adds, on top of what is measured now.
    let worse = (best * best + then * then - now * now).sqrt() / best;
    let in_focus = clip.in_focus_s();
    let says = format!(
        "Closing from {} to {} would make the depth, and the {} in focus, about 1.4 times as \
         long and the best frames {} softer by diffraction.",
        wording::f_number(n),
        wording::f_number(closed),
        seconds(in_focus),
        wording::per_cent(worse - 1.0)
    );
    let next =
        if worse < 1.2 { "Worth it where there is light." } else { "It costs more than it gives." };
    Some(say(says, Some(next)))
}

fn noise(clip: &ClipRecord, judged: &ClipVerdict) -> Option<Finding> {
    if let Some(p) = clip.key_frame_pulse {
        let says = format!(
            "Noise pulses with the codec's key frames: {} times that of the frames between. \
             It is the coding, not the light; frames are compared with their own kind.",
            wording::measured(&p)
        );
        return Some(say(says, Some("A higher bit rate, or all-intra coding, evens it out.")));
    }
    let share = judged.noise_share.filter(|s| *s > NOISY)?;
    let says = format!(
        "At the subject {} of the fine contrast of the best frames is noise.",
        wording::per_cent(share.min(1.0))
    );
    Some(say(says, Some("One stop more light takes a third of the noise off.")))
}

fn lost(clip: &ClipRecord) -> Option<Finding> {
    let n = clip.frames_table.iter().filter(|f| f.verdict == Verdict::Unclear).count();
    let share = n as f64 / clip.frames_table.len().max(1) as f64;
    if share < CAUSE_SHARE {
        return None;
    }
    let noise = clip.frames_table.iter().any(|f| f.cause == Some(Cause::Noise));
    let why = if noise {
        "noise hides what is there"
    } else if clip.frames_table.iter().any(|f| f.cause == Some(Cause::NoTexture)) {
        "there is nothing to judge at the subject point"
    } else {
        "the subject left the picture or could not be followed"
    };
    let says = format!("Of {} of the frames nothing can be said: {why}.", wording::per_cent(share));
    Some(say(says, Some("Give the subject's place in the first frame with --subject.")))
}

fn delivery(clip: &ClipRecord) -> Option<Finding> {
    let (w, h) = clip.deliver_px?;
    let crops = clip.spans.iter().filter(|s| s.verdict == SpanVerdict::InFocus);
    let most = crops.filter_map(|s| s.crop_max).max_by(|a, b| a.value.total_cmp(&b.value))?;
    let plain = f64::from(clip.width_px.max(clip.height_px)) / f64::from(w.max(h));
    let says = if most.value < 1.0 {
        format!(
            "For {w}x{h} there is nothing to crop: the finest lines of even the sharpest stretch \
             are {} px of the delivered picture wide.",
            wording::number(1.0 / most.value)
        )
    } else {
        format!(
            "For {w}x{h} the sharpest stretch can be cropped {} times before its finest lines \
             are coarser than the pixels; pixel for pixel it is {} times.",
            wording::measured(&most),
            wording::number(plain)
        )
    };
    let next = (most.value >= 1.0).then_some(
        "Crop within that; beyond it a higher magnification when taking gives more than cropping.",
    );
    Some(say(says, next))
}
