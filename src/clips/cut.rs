//! From frames to stretches: in focus, near, out, unclear.
//!
//! Ratios come along a smooth course. A stretch ends where the bound is crossed, but not where it
//! is only touched: what stays within [`LEAVE`] of it between two stretches of the better kind
//! belongs to them (hysteresis that leaves the ends of stretches where they are). Stretches too
//! short to be used are given to their neighbours.

use super::verdicts::ClipFrameVerdict;
use crate::clips::record::SpanVerdict;
use crate::core::verdict::{HIT_RATIO, NEAR_RATIO, Verdict, grade};

/// A bound is crossed only when it is exceeded by this factor (common practice, no source).
const LEAVE: f64 = 1.06;
/// Stretches shorter than this are given to a neighbour, s.
pub const SHORTEST_S: f64 = 0.2;

/// A stretch as frame numbers, the end not included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClipStretches {
    /// First frame.
    pub from: usize,
    /// Frame after the last.
    pub to: usize,
    /// What it is.
    pub verdict: SpanVerdict,
}

/// Cuts a clip of frames at `times_s`, the last of which lasts `last_s`.
pub fn cut(frames: &[ClipFrameVerdict], times_s: &[f64], last_s: f64) -> Vec<ClipStretches> {
    let mut states: Vec<SpanVerdict> = frames.iter().map(state).collect();
    bridge(&mut states, frames, SpanVerdict::Near, NEAR_RATIO);
    bridge(&mut states, frames, SpanVerdict::InFocus, HIT_RATIO);
    let mut cuts: Vec<ClipStretches> = Vec::new();
    for (i, verdict) in states.into_iter().enumerate() {
        match cuts.last_mut() {
            Some(c) if c.verdict == verdict => c.to = i + 1,
            _ => cuts.push(ClipStretches { from: i, to: i + 1, verdict }),
        }
    }
    let end = |i: usize| times_s.get(i).copied().unwrap_or(last_s);
    merged(cuts, |c| end(c.to) - end(c.from))
}

fn state(frame: &ClipFrameVerdict) -> SpanVerdict {
    match frame.ratio {
        Some(_) if frame.verdict == Verdict::Unclear => SpanVerdict::Unclear,
        None => SpanVerdict::Unclear,
        Some(ratio) => match grade(ratio) {
            Verdict::Hit => SpanVerdict::InFocus,
            Verdict::Near => SpanVerdict::Near,
            Verdict::Miss | Verdict::Unclear => SpanVerdict::Out,
        },
    }
}

/// Raises frames that only touch a bound, between two frames within it, to what is within it.
fn bridge(states: &mut [SpanVerdict], frames: &[ClipFrameVerdict], to: SpanVerdict, bound: f64) {
    let within = |s: SpanVerdict| {
        s == SpanVerdict::InFocus || s == SpanVerdict::Near && to == SpanVerdict::Near
    };
    let touches = |f: &ClipFrameVerdict| {
        f.verdict != Verdict::Unclear && f.ratio.is_some_and(|r| r <= bound * LEAVE)
    };
    let mut left: Option<usize> = None;
    for i in 0..states.len() {
        if within(states[i]) {
            if let Some(left) = left {
                states[left + 1..i].iter_mut().for_each(|s| *s = to);
            }
            left = Some(i);
        } else if !touches(&frames[i]) {
            left = None;
        }
    }
}

/// Gives the shortest stretch to the neighbour that is most like it, until all are long enough.
fn merged(
    mut cuts: Vec<ClipStretches>,
    length_s: impl Fn(&ClipStretches) -> f64,
) -> Vec<ClipStretches> {
    let rank = |v: SpanVerdict| match v {
        SpanVerdict::InFocus => 0i32,
        SpanVerdict::Near => 1,
        SpanVerdict::Out => 2,
        SpanVerdict::Unclear => 3,
    };
    while cuts.len() > 1 {
        let shortest =
            (0..cuts.len()).min_by(|a, b| length_s(&cuts[*a]).total_cmp(&length_s(&cuts[*b])));
        let Some(i) = shortest.filter(|i| length_s(&cuts[*i]) < SHORTEST_S) else { break };
        let unlike = |j: usize| (rank(cuts[j].verdict) - rank(cuts[i].verdict)).abs();
        let j = match (i.checked_sub(1), (i + 1 < cuts.len()).then_some(i + 1)) {
            (Some(a), Some(b)) => {
                let longer = if length_s(&cuts[a]) >= length_s(&cuts[b]) { a } else { b };
                match unlike(a).cmp(&unlike(b)) {
                    std::cmp::Ordering::Less => a,
                    std::cmp::Ordering::Greater => b,
                    std::cmp::Ordering::Equal => longer,
                }
            }
            (Some(a), None) => a,
            (None, Some(b)) => b,
            (None, None) => break,
        };
        let verdict = cuts[j].verdict;
        let (low, high) = (i.min(j), i.max(j));
        let joined = ClipStretches { from: cuts[low].from, to: cuts[high].to, verdict };
        cuts.splice(low..=high, [joined]);
        // The other neighbour may be of the same kind.
        let mut at = 1;
        while at < cuts.len() {
            if cuts[at].verdict == cuts[at - 1].verdict {
                cuts[at - 1].to = cuts[at].to;
                cuts.remove(at);
            } else {
                at += 1;
            }
        }
    }
    cuts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::FlagSet;

    fn clip(ratios: &[Option<f64>]) -> (Vec<ClipFrameVerdict>, Vec<f64>) {
        let frame = |r: &Option<f64>| ClipFrameVerdict {
            verdict: r.map_or(Verdict::Unclear, |r| {
                if r <= HIT_RATIO { Verdict::Hit } else { Verdict::Miss }
            }),
            cause: None,
            blur: None,
            ratio: *r,
            energy: None,
            smear: None,
            flags: FlagSet::EMPTY,
        };
        (ratios.iter().map(frame).collect(), (0..ratios.len()).map(|i| i as f64 / 25.0).collect())
    }

    fn cuts(ratios: &[Option<f64>]) -> Vec<(usize, usize, SpanVerdict)> {
        let (frames, times) = clip(ratios);
        let last = times.len() as f64 / 25.0;
        cut(&frames, &times, last).iter().map(|c| (c.from, c.to, c.verdict)).collect()
    }

    fn run(parts: &[(usize, Option<f64>)]) -> Vec<Option<f64>> {
        parts.iter().flat_map(|(n, r)| std::iter::repeat_n(*r, *n)).collect()
    }

    #[test]
    fn stretches_follow_the_ratios_and_cover_the_clip() {
        let got = cuts(&run(&[(20, Some(3.0)), (20, Some(1.0)), (20, None), (20, Some(1.7))]));
        assert_eq!(
            got,
            [
                (0, 20, SpanVerdict::Out),
                (20, 40, SpanVerdict::InFocus),
                (40, 60, SpanVerdict::Unclear),
                (60, 80, SpanVerdict::Near)
            ]
        );
    }

    #[test]
    fn a_bound_that_is_touched_is_not_crossed_and_ends_stay_where_they_are() {
        let touched = |ratio: f64| run(&[(20, Some(1.0)), (10, Some(ratio)), (20, Some(1.0))]);
        let inside = HIT_RATIO * (LEAVE - 0.01);
        assert_eq!(cuts(&touched(inside)), [(0, 50, SpanVerdict::InFocus)]);
        assert_eq!(cuts(&touched(HIT_RATIO * (LEAVE + 0.01))).len(), 3);
        // At the end of a stretch the same ratio is outside.
        let end = cuts(&run(&[(20, Some(1.0)), (20, Some(inside))]));
        assert_eq!(end, [(0, 20, SpanVerdict::InFocus), (20, 40, SpanVerdict::Near)]);
        // Nothing is bridged over frames that cannot be judged.
        let gap = run(&[(20, Some(1.0)), (10, None), (20, Some(1.0))]);
        assert_eq!(cuts(&gap).len(), 3);
    }

    #[test]
    fn short_stretches_go_to_the_neighbour_most_like_them() {
        let got = cuts(&run(&[(20, Some(1.0)), (4, Some(1.7)), (20, Some(3.0))]));
        assert_eq!(got.len(), 2, "{got:?}");
        let blip = cuts(&run(&[(20, Some(1.0)), (3, Some(3.0)), (20, Some(1.0))]));
        assert_eq!(blip, [(0, 43, SpanVerdict::InFocus)]);
        // One frame of this length between two of a second.
        let stays = |length_s: f64| {
            let (frames, _) = clip(&[Some(1.0), Some(3.0), Some(1.0)]);
            cut(&frames, &[0.0, 1.0, 1.0 + length_s], 2.0 + length_s).len() == 3
        };
        assert!(stays(SHORTEST_S + 0.001) && !stays(SHORTEST_S - 0.001));
    }
}
