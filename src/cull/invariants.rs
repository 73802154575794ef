//! What must hold in every record of `cull`, whatever was measured: nothing in it contradicts
//! anything else. Checked before a record is written, and by tests and benches.

use std::path::Path;

use super::record::{BurstRecord, CullRecord, FrameRecord};
use super::summary;
use crate::core::Flag;
use crate::core::verdict::{Cause, Verdict};
use crate::report::parts::SubjectFound;

/// Rounding that two ways to the same number may differ by.
const ROUNDING: f64 = 1e-6;

/// Every contradiction in a record, one sentence each; empty when there is none.
pub fn contradictions(record: &CullRecord) -> Vec<String> {
    let mut found = Vec::new();
    for burst in &record.bursts {
        let frames: Vec<&FrameRecord> =
            record.frames.iter().filter(|f| f.burst == burst.id).collect();
        in_burst(burst, &frames, &mut found);
    }
    for frame in &record.frames {
        in_frame(frame, &mut found);
    }
    in_outing(record, &mut found);
    found
}

fn in_burst(burst: &BurstRecord, frames: &[&FrameRecord], found: &mut Vec<String>) {
    let mut say = |what: &str| found.push(format!("burst {}: {what}", burst.id));
    let names: Vec<&str> = frames.iter().map(|f| f.path.as_str()).collect();
    if names != burst.frames.iter().map(String::as_str).collect::<Vec<_>>() {
        say("its list of frames differs from the frames that name it");
    }
    let has_hit = frames.iter().any(|f| f.verdict == Verdict::Hit);
    let best = burst.best.as_deref().map(|b| frames.iter().find(|f| f.path == b));
    match best {
        None if has_hit && frames.len() > 1 => say("it has hits but no best frame"),
        Some(None) => say("its best frame is not among its frames"),
        Some(Some(b)) => {
            if b.verdict != Verdict::Hit {
                say("its best frame is no hit");
            }
            if b.blur_ratio.is_none_or(|r| (r.value - 1.0).abs() > ROUNDING) {
                say("its best frame's ratio is not 1");
            }
            if frames.iter().filter_map(|f| f.blur_ratio).any(|r| r.value < 1.0 - ROUNDING) {
                say("a frame has a smaller ratio than the best");
            }
        }
        None => {}
    }
    let soft = frames.iter().any(|f| f.flags.has(Flag::BestIsSoft));
    if soft && has_hit {
        say("nothing in it is sharp, yet it has a hit");
    }
    let guessed = burst.subject.found != SubjectFound::Marked;
    if let Some(other) = &burst.other {
        if !guessed {
            say("its subject was marked, yet another place is offered");
        }
        if burst.best.as_ref().is_none_or(|b| *b == other.best) {
            say("the frame of its other place is not a second one");
        }
        if frames.iter().all(|f| f.path != other.best) {
            say("the frame of its other place is not among its frames");
        }
        if [other.x, other.y].iter().any(|v| !(0.0..=1.0).contains(v)) {
            say("its other place lies outside the picture");
        }
    }
    if guessed && burst.subject.confidence.is_some_and(|c| c >= 1.0) {
        say("its subject was guessed, yet it is certain");
    }
    if guessed && frames.iter().filter_map(|f| f.subject).any(|s| s.confidence >= 1.0) {
        say("its subject was guessed, yet a place is certain");
    }
    let folder = |f: &&&FrameRecord| Path::new(&f.path).parent().map(Path::to_path_buf);
    if frames.iter().any(|f| folder(&f) != frames.first().and_then(|f| folder(&f))) {
        say("its frames come from several folders");
    }
}

fn in_frame(frame: &FrameRecord, found: &mut Vec<String>) {
    let mut say = |what: &str| found.push(format!("{}: {what}", frame.path));
    let share = |i: usize| frame.causes.get(i).and_then(|c| c.share);
    if (1..frame.causes.len()).any(|i| share(i) > share(i - 1)) {
        say("its first cause has not the largest share");
    }
    let loss = |c: Cause| !matches!(c, Cause::Diffraction);
    if frame.verdict == Verdict::Hit && frame.causes.iter().any(|c| loss(c.cause)) {
        say("it is a hit with a cause of loss");
    }
    if matches!(frame.verdict, Verdict::Near | Verdict::Miss) && frame.causes.is_empty() {
        say("it fell short without a cause");
    }
    let blur = frame.blur_sigma_px.map(|b| b.value);
    if let (Some(blur), Some(low), Some(high)) = (blur, frame.blur_low_px, frame.blur_high_px) {
        if !(low - ROUNDING..=high + ROUNDING).contains(&blur) {
            say("its blur lies outside its range");
        }
        if frame.attainable_blur_px.is_some_and(|a| low < a - ROUNDING) {
            say("its range reaches below what its settings allow");
        }
    }
    if frame.verdict == Verdict::Hit && frame.flags.has(Flag::Resized) {
        say("it was made smaller, yet it is a hit");
    }
    if frame.verdict == Verdict::Hit
        && frame.flags.has(Flag::Alone)
        && frame.flags.has(Flag::SubjectGuessed)
    {
        say("it is alone with a guessed subject, yet it is a hit");
    }
}

fn in_outing(record: &CullRecord, found: &mut Vec<String>) {
    let outing = &record.outing;
    let count = |verdict| record.frames.iter().filter(|f| f.verdict == verdict).count() as u32;
    if (outing.hits.count, outing.near, outing.misses, outing.unclear)
        != (
            count(Verdict::Hit),
            count(Verdict::Near),
            count(Verdict::Miss),
            count(Verdict::Unclear),
        )
    {
        found.push("the outing's counts differ from its frames".to_owned());
    }
    let causes: u32 = outing.by_cause.iter().map(|c| c.share.count).sum();
    if causes > outing.near + outing.misses {
        found.push("more causes than near and missed frames".to_owned());
    }
    if summary::has_rate(outing)
        && record.bursts.iter().any(|b| b.subject.found != SubjectFound::Marked)
    {
        found.push("a hit rate is given though subjects were guessed".to_owned());
    }
}
