//! Readings made from the model itself, and what must come back.

use super::*;

/// A reading of an ordinary scene, raised by `raise` in ln and with a pattern's peak, seen at
/// one blur of the grid.
fn reading(family: &TransferFamily, blur: usize, raise: f64, noise: f64) -> FrameSpectrum {
    let model = Model::new(family);
    let mean_dn = 120.0f64;
    let peak = |r: usize| if (5..=7).contains(&r) { 2.0 } else { 0.0 };
    let power = std::array::from_fn(|r| {
        let scene = model.mean[r] + raise + peak(r);
        (scene + family.ln_power[blur][r]).exp() * mean_dn * mean_dn + noise
    });
    FrameSpectrum {
        rings: RingSpectrum { geometric: power, arithmetic: power, mean_dn },
        noise: [noise; RING_COUNT],
        noise_sd: 0.2,
    }
}

#[test]
fn weights_are_added_and_what_leaves_nothing_is_ignored() {
    let even = Posterior { weight: [1.0 / GRID as f64; GRID] };
    let limit_px = grid_px()[GRID / 2];
    let fine = even.reweighted(|ln| if ln > limit_px.ln() { f64::NEG_INFINITY } else { 0.0 });
    assert!(fine.above(limit_px) < 1e-12);
    assert!((fine.weight.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    assert!(even.reweighted(|ln| -3.0 * ln).sigma_px() < even.sigma_px());
    assert_eq!(even.reweighted(|_| f64::NEG_INFINITY), even);
}

fn nearest(sigma_px: f64) -> usize {
    let grid = grid_px();
    let off = |i: usize| (grid[i] / sigma_px).ln().abs();
    (0..GRID).min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap()
}

fn blur_of(reading: FrameSpectrum, family: &TransferFamily, pattern: bool) -> Posterior {
    anchor_blur(&[Some(reading)], family, pattern).unwrap().blur
}

#[test]
fn a_pattern_alone_tells_in_focus_from_far_out_of_it() {
    let family = TransferFamily::new(Some(0.55));
    let sharp = reading(&family, nearest(1.0), 0.0, 2.0);
    let soft = reading(&family, nearest(5.0), 0.0, 2.0);
    let one = |r: FrameSpectrum| blur_of(r, &family, true);
    assert!(one(sharp).above(2.0) < 0.1, "{}", one(sharp).sigma_px());
    assert!(one(soft).above(2.0) > 0.7, "{}", one(soft).sigma_px());
}

#[test]
fn ratios_do_not_depend_on_what_the_scene_is_made_of() {
    let family = TransferFamily::new(Some(0.55));
    let truth = [1.0f64, 1.4, 2.0, 4.0];
    for raise in [-1.5, 0.0, 1.5] {
        let readings = truth.map(|s| Some(reading(&family, nearest(s), raise, 2.0)));
        let at = anchor_blur(&readings, &family, false).unwrap();
        assert_eq!(at.anchor, 0);
        let found = burst_ratios(&readings, &family, false, &at).unwrap();
        for (s, ratio) in truth.iter().zip(&found.ratios) {
            let ratio = ratio.unwrap();
            let expected = (grid_px()[nearest(*s)] / grid_px()[nearest(1.0)]).ln();
            assert!((ratio.ln - expected).abs() < 0.15, "{raise} {s}: {ratio:?}");
            assert!(ratio.sd_ln < 0.25, "{raise} {s}: {ratio:?}");
        }
    }
}

#[test]
fn noise_taken_too_low_in_all_rings_is_not_taken_for_detail() {
    let family = TransferFamily::new(Some(0.55));
    let mut soft = reading(&family, nearest(5.0), -1.0, 2.6);
    soft.noise = [2.0; RING_COUNT];
    let found = blur_of(soft, &family, false);
    assert!(found.above(2.0) > 0.6, "{}", found.sigma_px());
}

/// The frames of a burst share their noise: what it was taken wrong by in one it was in all.
#[test]
fn noise_taken_wrong_in_all_frames_alike_leaves_their_ratios() {
    let family = TransferFamily::new(Some(0.55));
    let truth = [1.5f64, 2.0, 3.0];
    let of = |taken_for: f64, noise_sd: f64| -> Vec<BlurRatio> {
        let readings = truth.map(|s| {
            let seen = reading(&family, nearest(s), -1.0, 2.6);
            Some(FrameSpectrum { noise: [taken_for; RING_COUNT], noise_sd, ..seen })
        });
        let at = anchor_blur(&readings, &family, false).unwrap();
        let found = burst_ratios(&readings, &family, false, &at).unwrap();
        found.ratios.into_iter().flatten().collect()
    };
    let (low, right) = (of(2.1, 0.2), of(2.6, 0.2));
    for ((low, right), s) in low.iter().zip(&right).zip(truth) {
        assert!((low.ln - right.ln).abs() < 0.12, "{s}: {low:?} for {right:?}");
    }
    // More doubt of what all share hardly widens what they are told of each other.
    let doubted = of(2.6, 0.4);
    assert!(doubted[2].sd_ln < right[2].sd_ln + 0.05, "{doubted:?} {right:?}");
}

#[test]
fn the_range_holds_its_share_and_stays_within_the_lens() {
    let family = TransferFamily::new(Some(0.55));
    let own = blur_of(reading(&family, nearest(1.3), 0.0, 2.0), &family, true);
    let own = own.widened(0.13, &family);
    let (low, high) = own.range_px(0.68);
    let inside = own.above(low) - own.above(high);
    assert!((0.6..0.85).contains(&inside), "{low} to {high}: {inside}");
    assert!(low >= 0.93 * family.in_focus_px.unwrap());
    assert!(own.quantile_px(0.5) >= low && own.quantile_px(0.5) <= high);
}

#[test]
fn no_reading_no_blur() {
    let family = TransferFamily::new(None);
    assert_eq!(anchor_blur(&[None, None], &family, false), None);
    let one = [None, Some(reading(&family, nearest(1.3), 0.0, 2.0))];
    let at = anchor_blur(&one, &family, false).unwrap();
    let found = burst_ratios(&one, &family, false, &at).unwrap();
    assert_eq!((at.anchor, found.ratios[0]), (1, None));
    // An anchor without a reading is none.
    assert_eq!(burst_ratios(&[None, None], &family, false, &at), None);
}
