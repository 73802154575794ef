//! Every limit of an expected verdict on both sides.

use super::*;
use crate::core::verdict::BlurBy;
use crate::cull::hand_made::{burst, subject};

#[test]
fn verdicts_are_told_when_likely_and_not_torn() {
    for (chances, expected) in [
        ([0.9, 0.08, 0.02], Verdict::Hit),
        ([0.30, 0.60, 0.10], Verdict::Near),
        ([0.05, 0.20, 0.75], Verdict::Miss),
        // Hit and miss are both possible.
        ([0.70, 0.299 - TORN_CHANCE, TORN_CHANCE + 0.001], Verdict::Unclear),
        ([0.70, 0.301 - TORN_CHANCE, TORN_CHANCE - 0.001], Verdict::Hit),
        ([TORN_CHANCE + 0.001, 0.299 - TORN_CHANCE, 0.70], Verdict::Unclear),
        ([TORN_CHANCE - 0.001, 0.301 - TORN_CHANCE, 0.70], Verdict::Miss),
        // No verdict is likely.
        ([TOLD_CHANCE - 0.01, 0.91 - TOLD_CHANCE, 0.10], Verdict::Unclear),
        ([TOLD_CHANCE + 0.01, 0.89 - TOLD_CHANCE, 0.10], Verdict::Hit),
        ([0.91 - TOLD_CHANCE, TOLD_CHANCE - 0.01, 0.10], Verdict::Unclear),
        ([0.89 - TOLD_CHANCE, TOLD_CHANCE + 0.01, 0.10], Verdict::Near),
        ([0.10, 0.91 - TOLD_CHANCE, TOLD_CHANCE - 0.01], Verdict::Unclear),
        ([0.10, 0.89 - TOLD_CHANCE, TOLD_CHANCE + 0.01], Verdict::Miss),
    ] {
        assert_eq!(likely_verdict(&chances), expected, "{chances:?}");
    }
}

/// Three judged frames whose chances are these; the first is expected to be the best.
fn restated(chances: [[f64; 3]; 3]) -> (BurstVerdict, Option<(usize, f64)>) {
    let mut burst = burst(vec![subject(1.0), subject(1.5), subject(3.0)]);
    burst.reference_px = Some(1.0);
    for frame in &mut burst.frames {
        frame.ratio = Measured::without_error(1.0, 1);
    }
    let frames = chances.map(|chances| Expected { ratio: 1.0, sd_ln: 0.1, chances }).to_vec();
    let found = ExpectedBurst { frames, best: 0, other: Some((1, 3.0)) };
    let other = restate_as(&mut burst, &found, None);
    (burst, other)
}

#[test]
fn the_best_is_named_while_it_is_likely_a_hit_and_hardly_a_miss() {
    let of = |best: [f64; 3]| {
        let (burst, other) = restated([best, [0.9, 0.1, 0.0], [0.0, 0.1, 0.9]]);
        let named = burst.best == Some(0);
        assert_eq!(other, named.then_some((1, 3.0)));
        // Without a best there is nothing to be as sharp as.
        let second = if named { Verdict::Hit } else { Verdict::Unclear };
        assert_eq!(burst.frames[1].verdict, second);
        assert_eq!(burst.frames[2].verdict, Verdict::Miss);
        assert_eq!(burst.frames[0].verdict == Verdict::Hit, named);
        named
    };
    assert!(of([TOLD_CHANCE + 0.01, 0.49 - TORN_CHANCE, TORN_CHANCE]));
    assert!(!of([TOLD_CHANCE - 0.01, 0.51 - TORN_CHANCE, TORN_CHANCE]));
    // More likely a miss than any other frame may be.
    assert!(of([0.60, 0.41 - BEST_TORN_CHANCE, BEST_TORN_CHANCE - 0.01]));
    assert!(!of([0.60, 0.39 - BEST_TORN_CHANCE, BEST_TORN_CHANCE + 0.01]));
}

#[test]
fn frames_that_could_not_be_judged_stay_as_they_are() {
    let mut burst = burst(vec![subject(1.0), subject(1.0)]);
    burst.frames[1].ratio = Measured::without_error(1.0, 1);
    let sure = Expected { ratio: 1.0, sd_ln: 0.1, chances: [0.9, 0.1, 0.0] };
    let found = ExpectedBurst { frames: vec![sure; 2], best: 0, other: Some((1, 3.0)) };
    assert_eq!(restate_as(&mut burst, &found, None), None);
    assert_eq!((burst.best, burst.frames[0].ratio), (None, None));
    assert!(burst.frames.iter().all(|f| f.verdict == Verdict::Unclear));
}

#[test]
fn without_planes_a_verdict_stands_only_where_places_agree() {
    let (least, opposite) = AGREED_CHANCE;
    for (chances, verdict, expected) in [
        ([least + 0.01, 0.10, 0.04], Verdict::Hit, true),
        ([least - 0.01, 0.12, 0.04], Verdict::Hit, false),
        ([0.90, 0.051, opposite - 0.001], Verdict::Hit, true),
        ([0.90, 0.049, opposite + 0.001], Verdict::Hit, false),
        ([0.04, 0.10, least + 0.01], Verdict::Miss, true),
        ([0.04, 0.12, least - 0.01], Verdict::Miss, false),
        ([opposite - 0.001, 0.051, 0.90], Verdict::Miss, true),
        ([opposite + 0.001, 0.049, 0.90], Verdict::Miss, false),
        ([0.07, least + 0.01, 0.07], Verdict::Near, true),
        ([0.08, least - 0.01, 0.08], Verdict::Near, false),
    ] {
        assert_eq!(is_agreed(&chances, verdict), expected, "{chances:?} {verdict:?}");
    }
}

#[test]
fn a_range_moves_with_its_blur_and_stays_above_what_settings_allow() {
    let range = BlurRange { sigma_px: 1.0, low_px: 0.8, high_px: 1.5, by: BlurBy::Burst };
    let attainable = Some(Attainable { sigma_px: 1.7, cutoff_cy_px: 0.4, flash: false });
    let free = moved_to(range, 2.0, 0.0, None);
    approx::assert_abs_diff_eq!(free.low_px, 1.6, epsilon = 1e-9);
    approx::assert_abs_diff_eq!(free.high_px, 3.0, epsilon = 1e-9);
    let held = moved_to(range, 2.0, 0.3, attainable);
    assert!((held.low_px - 1.7).abs() < 1e-9 && held.high_px > 3.0);
}
