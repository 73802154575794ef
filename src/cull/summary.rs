//! Counting an outing: verdicts, hit rate with its interval, and the breakdowns.

use super::record::{BurstRecord, FrameRecord, OutingRecord};
use crate::core::verdict::{Cause, Verdict};
use crate::report::parts::{BreakdownRow, Proportion, SubjectFound};
use crate::report::wording;

/// Judged frames short of which no hit rate is given.
pub const MIN_FRAMES_FOR_RATE: u32 = 20;

/// Whether an outing supports a hit rate: enough judged frames, at subjects that were marked.
pub fn has_rate(outing: &OutingRecord) -> bool {
    outing.hits.of >= MIN_FRAMES_FOR_RATE && outing.unmarked_bursts == 0
}

/// Why an outing has no hit rate, in a few words; `None` when it has one.
pub fn no_rate_because(outing: &OutingRecord) -> Option<String> {
    if has_rate(outing) {
        return None;
    }
    Some(match outing.unmarked_bursts {
        0 => "too few frames for a hit rate".to_owned(),
        n if n == outing.bursts => "no subject is marked, so there is no hit rate".to_owned(),
        n => format!(
            "no hit rate: {} without a marked subject",
            wording::count(n, "burst", "bursts")
        ),
    })
}

/// Counts an outing. The hit rate and the breakdowns are out of the frames that could be judged;
/// `findings` stays empty for the caller to fill.
pub fn outing(paths: Vec<String>, bursts: &[BurstRecord], frames: &[FrameRecord]) -> OutingRecord {
    let called = |call| frames.iter().filter(|f| f.verdict == call).count() as u32;
    let (hits, near, misses) = (called(Verdict::Hit), called(Verdict::Near), called(Verdict::Miss));
    OutingRecord {
        paths,
        frames: frames.len() as u32,
        bursts: bursts.len() as u32,
        unmarked_bursts: bursts.iter().filter(|b| b.subject.found != SubjectFound::Marked).count()
            as u32,
        hits: Proportion::wilson(hits, hits + near + misses),
        near,
        misses,
        unclear: called(Verdict::Unclear),
        by_cause: by_cause(frames),
        by_aperture: hits_by(frames, |f| f.exposure.f_number, wording::f_number),
        by_shutter: hits_by(frames, |f| f.exposure.shutter_s, wording::shutter),
        findings: Vec::new(),
    }
}

/// Near and missed frames by first cause, most frequent first (ties in the order of [`Cause`]).
fn by_cause(frames: &[FrameRecord]) -> Vec<BreakdownRow> {
    let short: Vec<&FrameRecord> =
        frames.iter().filter(|f| matches!(f.verdict, Verdict::Near | Verdict::Miss)).collect();
    let mut counts: std::collections::BTreeMap<Cause, u32> = std::collections::BTreeMap::new();
    for cause in short.iter().filter_map(|f| f.causes.first()) {
        *counts.entry(cause.cause).or_default() += 1;
    }
    let mut rows: Vec<(Cause, u32)> = counts.into_iter().collect();
    rows.sort_by_key(|(cause, n)| (std::cmp::Reverse(*n), *cause));
    rows.into_iter()
        .map(|(cause, n)| BreakdownRow {
            key: cause.word().to_owned(),
            at: None,
            share: Proportion::wilson(n, short.len() as u32),
        })
        .collect()
}

/// Hits among judged frames, grouped by a setting as it is marked, in rising order.
fn hits_by(
    frames: &[FrameRecord],
    setting: impl Fn(&FrameRecord) -> Option<f64>,
    word: impl Fn(f64) -> String,
) -> Vec<BreakdownRow> {
    let mut rows: Vec<(String, f64, u32, u32)> = Vec::new();
    for frame in frames.iter().filter(|f| f.verdict != Verdict::Unclear) {
        let Some(value) = setting(frame).filter(|v| v.is_finite() && *v > 0.0) else { continue };
        let key = word(value);
        let hit = u32::from(frame.verdict == Verdict::Hit);
        match rows.iter_mut().find(|row| row.0 == key) {
            Some(row) => (row.2, row.3) = (row.2 + hit, row.3 + 1),
            None => rows.push((key, value, hit, 1)),
        }
    }
    rows.sort_by(|a, b| a.1.total_cmp(&b.1));
    rows.into_iter()
        .map(|(key, value, hits, of)| BreakdownRow {
            key,
            at: Some(value),
            share: Proportion::wilson(hits, of),
        })
        .collect()
}

/// Places of a burst's frames, best first: the frame called best, then by verdict, then by blur
/// against the best, then by blur; frames without a value come last, ties stay in order of time.
pub fn best_first(best: Option<&str>, frames: &[&FrameRecord]) -> Vec<usize> {
    let value = |m: Option<crate::core::Measured>| m.map_or(f64::INFINITY, |m| m.value);
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|a, b| {
        let (a, b) = (frames[*a], frames[*b]);
        let is_best = |f: &FrameRecord| best == Some(f.path.as_str());
        (is_best(b).cmp(&is_best(a)))
            .then(a.verdict.cmp(&b.verdict))
            .then(value(a.blur_ratio).total_cmp(&value(b.blur_ratio)))
            .then(value(a.blur_sigma_px).total_cmp(&value(b.blur_sigma_px)))
    });
    order
}
