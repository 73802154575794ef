//! Hit rates over the season, and why the others missed. Frames that could not be judged are not
//! counted, nor are tests: they are taken to be sharp.

use std::collections::BTreeMap;

use super::entry::{LimitFrame, MagnificationGroup};
use crate::core::verdict::Cause;
use crate::report::parts::{BreakdownRow, Proportion};
use crate::report::wording;

/// Whether a frame counts in the season.
fn in_season(e: &LimitFrame) -> bool {
    e.judged() && !e.test
}

fn rows<K: Ord>(
    entries: impl Iterator<Item = (K, bool)>,
    name: impl Fn(&K) -> (String, Option<f64>),
) -> Vec<BreakdownRow> {
    let mut counts: BTreeMap<K, (u32, u32)> = BTreeMap::new();
    for (key, hit) in entries {
        let count = counts.entry(key).or_default();
        count.0 += u32::from(hit);
        count.1 += 1;
    }
    counts
        .into_iter()
        .map(|(key, (hits, of))| {
            let (word, at) = name(&key);
            BreakdownRow { key: word, at, share: Proportion::wilson(hits, of) }
        })
        .collect()
}

/// By working f-number, whole stops.
pub fn by_aperture(entries: &[LimitFrame]) -> Vec<BreakdownRow> {
    let placed = entries.iter().filter(|e| in_season(e)).filter_map(|e| {
        let n = e.working_f_number.filter(|n| n.is_finite() && (0.5..=1000.0).contains(n))?;
        Some(((2.0 * n.log2()).round() as i32, e.hit()))
    });
    rows(placed, |stop| {
        let n = (0.5 * f64::from(*stop)).exp2();
        (format!("working {}", wording::f_number(n)), Some(n))
    })
}

/// By magnification.
pub fn by_magnification(
    entries: &[LimitFrame],
    groups: &[MagnificationGroup],
) -> Vec<BreakdownRow> {
    let mut sorted: Vec<&MagnificationGroup> = groups.iter().collect();
    sorted.sort_by(|a, b| a.magnification.total_cmp(&b.magnification));
    sorted
        .into_iter()
        .filter_map(|g| {
            let judged = g.members.iter().map(|i| &entries[*i]).filter(|e| in_season(e));
            let (hits, of) = judged.fold((0, 0), |(h, n), e| (h + u32::from(e.hit()), n + 1));
            (of > 0).then(|| BreakdownRow {
                key: format!("{}×", wording::number(g.magnification)),
                at: Some(g.magnification),
                share: Proportion::wilson(hits, of),
            })
        })
        .collect()
}

/// By outing, in the order they come in.
pub fn by_outing(entries: &[LimitFrame], titles: &BTreeMap<i64, String>) -> Vec<BreakdownRow> {
    let mut order: Vec<i64> = Vec::new();
    let mut place: BTreeMap<i64, usize> = BTreeMap::new();
    for e in entries {
        place.entry(e.outing).or_insert_with(|| {
            order.push(e.outing);
            order.len() - 1
        });
    }
    let judged = entries.iter().filter(|e| in_season(e)).map(|e| (place[&e.outing], e.hit()));
    rows(judged, |at| {
        let id = order[*at];
        let title = titles.get(&id).filter(|t| !t.is_empty());
        (title.cloned().unwrap_or_else(|| format!("outing {id}")), None)
    })
}

/// First causes of near frames and misses, most first.
pub fn causes(entries: &[LimitFrame]) -> Vec<BreakdownRow> {
    let mut counts: BTreeMap<&str, u32> = BTreeMap::new();
    let mut all = 0;
    for e in entries.iter().filter(|e| in_season(e) && !e.hit()) {
        all += 1;
        *counts.entry(e.cause.map_or("no cause found", Cause::word)).or_default() += 1;
    }
    let mut rows: Vec<BreakdownRow> = counts
        .into_iter()
        .map(|(cause, n)| BreakdownRow {
            key: cause.to_owned(),
            at: None,
            share: Proportion::wilson(n, all),
        })
        .collect();
    rows.sort_by(|a, b| b.share.count.cmp(&a.share.count).then(a.key.cmp(&b.key)));
    rows
}
