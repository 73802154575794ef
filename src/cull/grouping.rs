//! Which frames belong to one burst, before any pixel is read.
//!
//! Frames in order of time ([`sort_by_time`](crate::image::sort_by_time)) are cut where the
//! pause is long for this hand, where the settings jump, or where the picture is another size.
//! Content has its say later, when the pixels are known ([`content_breaks`]).

use rayon::prelude::*;

use crate::image::Frame;
use crate::tracking::frame_features::FrameFeatures;
use crate::tracking::template::{TemplateMatch, whole_shift};

/// A pause longer than this starts a new burst, s.
const GAP_S: f64 = 2.0;
/// A pause this many times the median of the pauses about it starts a new burst.
const GAP_RATIO: f64 = 3.0;
/// A pause longer than this always does, s: a slow hand, or a rail moved step by step, still
/// takes a frame every few seconds.
const MAX_GAP_S: f64 = 20.0;
/// Pauses on each side of one that the median is taken of.
const ABOUT: usize = 4;
/// A change of exposure time or ISO by more than this within a burst is another burst, stops.
const SETTING_STOPS: f64 = 1.5;
/// A change of aperture by more than this is another burst, stops.
const APERTURE_STOPS: f64 = 0.2;
/// Pixels kept of a burst at most, Mpx: memory is bounded by cutting longer bursts.
const BURST_MPX: f64 = 1000.0;
/// Frames kept of a burst at most.
const BURST_FRAMES: usize = 100;
/// Correlation of whole frames below which two neighbours do not show the same subject.
const SAME_CONTENT: f32 = 0.25;

/// Why a burst starts where it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SplitReason {
    /// It is the first.
    First,
    /// A pause.
    Time,
    /// A jump of the settings.
    Settings,
    /// Another picture size or orientation.
    Size,
    /// Another folder.
    Folder,
    /// Other content.
    Content,
    /// The burst before it was full.
    Length,
}

impl SplitReason {
    /// The reason in words; `timed` is false where no capture times were known.
    pub fn words(self, timed: bool) -> &'static str {
        match (self, timed) {
            (SplitReason::First, true) => "first of the outing",
            (SplitReason::First, false) => {
                "first of the outing (order of file names: no capture times)"
            }
            (SplitReason::Time, _) => "pause before it",
            (SplitReason::Settings, _) => "settings changed",
            (SplitReason::Size, _) => "another picture size",
            (SplitReason::Folder, _) => "another folder",
            (SplitReason::Content, true) => "another subject",
            (SplitReason::Content, false) => {
                "another subject (order of file names: no capture times)"
            }
            (SplitReason::Length, _) => "a long burst cut in parts",
        }
    }
}

/// Frames of one burst, as indices into the list given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameGroup {
    /// The frames in order.
    pub frames: Vec<usize>,
    /// Why it starts here.
    pub split_reason: SplitReason,
    /// Whether all capture times are known.
    pub timed: bool,
}

/// Seconds between two frames, when both times are known.
fn pause_s(a: &Frame, b: &Frame) -> Option<f64> {
    let time = |f: &Frame| Some(f.exposure.as_ref()?.taken_at.as_ref()?.value);
    Some(time(b)?.seconds_since(&time(a)?))
}

fn stops(a: Option<f64>, b: Option<f64>, per_stop: f64) -> f64 {
    match (a, b) {
        (Some(a), Some(b)) if a > 0.0 && b > 0.0 => (per_stop * (b / a).log2()).abs(),
        _ => 0.0,
    }
}

fn settings_jump(a: &Frame, b: &Frame) -> bool {
    let (Some(a), Some(b)) = (&a.exposure, &b.exposure) else { return false };
    let of = |k: &Option<crate::core::Known<f64>>| k.as_ref().map(|k| k.value);
    stops(of(&a.f_number), of(&b.f_number), 2.0) > APERTURE_STOPS
        || stops(of(&a.exposure_time_s), of(&b.exposure_time_s), 1.0) > SETTING_STOPS
        || stops(of(&a.iso), of(&b.iso), 1.0) > SETTING_STOPS
        || a.body.model != b.body.model
        || a.body.serial != b.body.serial
}

/// Cuts ordered frames into bursts by time, settings, size and length.
pub fn groups(frames: &[Frame]) -> Vec<FrameGroup> {
    let mut groups: Vec<FrameGroup> = Vec::new();
    let pauses: Vec<Option<f64>> = frames.windows(2).map(|w| pause_s(&w[0], &w[1])).collect();
    let mut mpx = 0.0;
    for (i, frame) in frames.iter().enumerate() {
        let own_mpx = f64::from(frame.width_px) * f64::from(frame.height_px) / 1e6;
        let timed = frame.exposure.as_ref().is_some_and(|e| e.taken_at.is_some());
        let cut = match i.checked_sub(1).map(|p| &frames[p]) {
            None => Some(SplitReason::First),
            Some(before) => {
                let pause = pauses[i - 1];
                let size = |f: &Frame| (f.width_px, f.height_px, f.orientation());
                let in_burst = groups.last().map_or(0, |g| g.frames.len());
                if before.path.parent() != frame.path.parent() {
                    Some(SplitReason::Folder)
                } else if size(before) != size(frame) {
                    Some(SplitReason::Size)
                } else if pause.is_some_and(|p| p > longest_pause(&pauses, i - 1)) {
                    Some(SplitReason::Time)
                } else if settings_jump(before, frame) {
                    Some(SplitReason::Settings)
                } else if in_burst >= BURST_FRAMES || mpx + own_mpx > BURST_MPX {
                    Some(SplitReason::Length)
                } else {
                    None
                }
            }
        };
        match (cut, groups.last_mut()) {
            (None, Some(group)) => {
                group.frames.push(i);
                group.timed &= timed;
                mpx += own_mpx;
            }
            (cut, _) => {
                groups.push(FrameGroup {
                    frames: vec![i],
                    split_reason: cut.unwrap_or(SplitReason::First),
                    timed,
                });
                mpx = own_mpx;
            }
        }
    }
    groups
}

/// The longest pause at a place that still belongs to a burst, s.
fn longest_pause(pauses: &[Option<f64>], at: usize) -> f64 {
    let about = at.saturating_sub(ABOUT)..(at + ABOUT + 1).min(pauses.len());
    // The pause itself is left out: it must be long against the others.
    let mut others: Vec<f64> =
        about.filter(|i| *i != at).filter_map(|i| pauses[i]).filter(|p| *p <= MAX_GAP_S).collect();
    crate::core::stats::median(&mut others)
        .map_or(GAP_S, |m| (GAP_RATIO * m).clamp(GAP_S, MAX_GAP_S))
}

/// Places within a burst before which the content changes.
pub fn content_breaks(shots: &[&FrameFeatures]) -> Vec<usize> {
    (1..shots.len())
        .into_par_iter()
        .filter(|i| {
            let (a, b) = (&shots[i - 1].patterns[2], &shots[*i].patterns[2]);
            whole_shift(a, b).is_some_and(|m| is_other_content(&m))
        })
        .collect()
}

fn is_other_content(found: &TemplateMatch) -> bool {
    found.peak < SAME_CONTENT
}

#[cfg(test)]
mod tests;
