//! The best stretch of a wanted length.

use super::verdicts::ClipFrameVerdict;
use crate::clips::record::StretchRecord;
use crate::core::stats::median;
use crate::core::verdict::Verdict;

/// The stretch of `wanted_s` with the most hits, the sharpest among equals; the whole clip when it
/// is shorter. `None` when no frame of it is a hit or near.
pub fn best(
    frames: &[ClipFrameVerdict],
    times_s: &[f64],
    end_s: f64,
    wanted_s: f64,
) -> Option<StretchRecord> {
    // A near counts a little, so that a clip without hits has a best stretch too.
    let worth = |f: &ClipFrameVerdict| match f.verdict {
        Verdict::Hit => 1.0 + 0.1 / f.ratio.unwrap_or(2.0).max(0.5),
        Verdict::Near => 0.05,
        Verdict::Miss | Verdict::Unclear => 0.0,
    };
    let ends = |i: usize| times_s.get(i + 1).copied().unwrap_or(end_s);
    let (mut from, mut sum) = (0, 0.0);
    let mut best: Option<(f64, usize, usize)> = None;
    for (to, f) in frames.iter().enumerate() {
        sum += worth(f);
        while from < to && ends(to) - times_s[from + 1] >= wanted_s - 1e-9 {
            sum -= worth(&frames[from]);
            from += 1;
        }
        if best.is_none_or(|b| sum > b.0 + 1e-9) {
            best = Some((sum, from, to));
        }
    }
    let (sum, from, to) = best?;
    if sum <= 0.0 {
        return None;
    }
    let inside = &frames[from..=to];
    let hits = inside.iter().filter(|f| f.verdict == Verdict::Hit).count();
    let mut blurs: Vec<f64> = inside.iter().filter_map(|f| Some(f.blur?.value)).collect();
    Some(StretchRecord {
        start_s: times_s[from],
        end_s: ends(to),
        hit_share: hits as f64 / inside.len() as f64,
        blur_sigma_px: median(&mut blurs),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::FlagSet;

    fn frames(calls: &[(usize, Verdict)]) -> Vec<ClipFrameVerdict> {
        let frame = |verdict| ClipFrameVerdict {
            verdict,
            cause: None,
            blur: None,
            ratio: Some(1.0),
            energy: None,
            smear: None,
            flags: FlagSet::EMPTY,
        };
        calls.iter().flat_map(|(n, c)| std::iter::repeat_n(*c, *n)).map(frame).collect()
    }

    #[test]
    fn the_stretch_with_most_hits_is_found() {
        let f = frames(&[
            (30, Verdict::Miss),
            (10, Verdict::Hit),
            (10, Verdict::Miss),
            (40, Verdict::Hit),
        ]);
        let times: Vec<f64> = (0..f.len()).map(|i| i as f64 / 10.0).collect();
        let s = best(&f, &times, 9.0, 2.0).unwrap();
        approx::assert_abs_diff_eq!(s.end_s - s.start_s, 2.0, epsilon = 1e-9);
        assert!(s.start_s >= 5.0 && (s.hit_share - 1.0).abs() < 1e-12, "{s:?}");
        let long = best(&f, &times, 9.0, 60.0).unwrap();
        assert!(long.start_s < 1e-9 && (long.end_s - 9.0).abs() < 1e-9);
        assert_eq!(best(&frames(&[(9, Verdict::Miss)]), &times, 0.9, 1.0), None);
    }
}
