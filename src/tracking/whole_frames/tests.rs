//! Every limit of what whole frames say on both sides.

use super::*;
use crate::core::Luma;
use crate::core::random::SplitMix64;

fn map(blurs: &[f32]) -> FocusMap {
    let tiles: Vec<Tile> =
        blurs.iter().map(|b| Tile::Blur { sigma_px: *b, std_err_px: 0.1 }).collect();
    let lap_var = vec![1.0; tiles.len()];
    FocusMap { cols: blurs.len(), rows: 1, corrected_tiles: tiles.clone(), tiles, lap_var }
}

fn allowing(sigma_px: f64) -> Option<Attainable> {
    Some(Attainable { sigma_px, cutoff_cy_px: 0.4, flash: false })
}

#[test]
fn chances_grow_with_blur_and_swing_and_stay_small_without_a_sign() {
    let calm = BASE_ODDS / (1.0 + BASE_ODDS);
    let (of_blur, of_swing) = (BLURRED_SIGN, SWING_SIGN);
    for (ratio, swing) in
        [(None, None), (Some(of_blur.0), Some(of_swing.0)), (Some(0.3), Some(0.1))]
    {
        approx::assert_abs_diff_eq!(chance_of(ratio, swing), calm, epsilon = 1e-12);
    }
    let ln = |ratio, swing| {
        let p: f64 = chance_of(ratio, swing);
        (p / (1.0 - p) / BASE_ODDS).ln()
    };
    // One step of each, half a step, and no more than the most.
    for steps in [0.5, 1.0] {
        let blurred = ln(Some(of_blur.0 + steps * of_blur.1), None);
        approx::assert_abs_diff_eq!(blurred, steps * SIGN_LN.0, epsilon = 1e-9);
        let swung = ln(None, Some(of_swing.0 + steps * of_swing.1));
        approx::assert_abs_diff_eq!(swung, steps * SIGN_LN.1, epsilon = 1e-9);
    }
    let most = of_blur.2 * SIGN_LN.0 + of_swing.2 * SIGN_LN.1;
    approx::assert_abs_diff_eq!(ln(Some(9.0), Some(9.0)), most, epsilon = 1e-9);
    assert!(chance_of(Some(9.0), Some(9.0)) < 0.85);
}

const SIDE: usize = 640;
const FLAT_FROM: usize = 512;

/// Means over boxes of pixels.
fn box_mean(values: &[f64], (width, height): (usize, usize)) -> Vec<f64> {
    (0..SIDE * SIDE)
        .map(|i| {
            let (x, y) = (i % SIDE, i / SIDE);
            let sum: f64 = (0..height)
                .flat_map(|dy| (0..width).map(move |dx| (x + dx, y + dy)))
                .map(|(x, y)| values[(y % SIDE) * SIDE + x % SIDE])
                .sum();
            sum / (width * height) as f64
        })
        .collect()
}

/// Means over boxes of pixels that rise by `slope` px per column.
fn slanted_mean(values: &[f64], (width, height): (usize, usize), slope: f64) -> Vec<f64> {
    let rise = |dx: usize| (slope * dx as f64).round().rem_euclid(SIDE as f64) as usize;
    (0..SIDE * SIDE)
        .map(|i| {
            let (x, y) = (i % SIDE, i / SIDE);
            let at = |(dx, dy): (usize, usize)| {
                values[(y + dy + rise(dx)) % SIDE * SIDE + (x + dx) % SIDE]
            };
            let boxed = (0..height).flat_map(|dy| (0..width).map(move |dx| (dx, dy)));
            boxed.map(at).sum::<f64>() / (width * height) as f64
        })
        .collect()
}

/// A frame of random patches with edges in all directions, blurred over a box that rises by `slope`.
fn shot(seed: u64, blur: (usize, usize), slope: f64) -> FrameFeatures {
    let mut rng = SplitMix64::new(seed);
    let random: Vec<f64> = (0..SIDE * SIDE).map(|_| rng.uniform()).collect();
    let mut patches = box_mean(&box_mean(&random, (9, 9)), (5, 5));
    patches.iter_mut().for_each(|v| *v = f64::from(u8::from(*v > 0.5)));
    // A flat border shows the noise.
    for (i, v) in patches.iter_mut().enumerate() {
        if i % SIDE >= FLAT_FROM {
            *v = 0.5;
        }
    }
    let data: Vec<u8> = slanted_mean(&patches, blur, slope)
        .iter()
        .map(|v| (60.0 + 130.0 * v + 1.5 * rng.normal()) as u8)
        .collect();
    let luma = Luma::U8 { data: &data, channels: 1, width_px: SIDE, height_px: SIDE };
    FrameFeatures::measure(&luma).unwrap()
}

#[test]
fn a_smear_in_nearly_all_frames_is_a_shake_and_a_defocus_is_none() {
    // A hand shakes to either side of one direction.
    let burst = |blurs: [(usize, usize); 6]| -> Vec<FrameFeatures> {
        let slopes = [0.4, -0.4].into_iter().cycle();
        let slope = |(w, h): (usize, usize), slope: f64| if w == h { 0.0 } else { slope };
        blurs
            .iter()
            .zip(1..)
            .zip(slopes)
            .map(|((b, seed), s)| shot(seed, *b, slope(*b, s)))
            .collect()
    };
    let shake_of = |shots: &[FrameFeatures]| shake(&shots.iter().collect::<Vec<_>>());
    let told = |shots: &[FrameFeatures]| shake_of(shots).is_some();
    let smeared = burst([(9, 1), (8, 1), (9, 1), (10, 1), (9, 1), (2, 2)]);
    assert!(told(&smeared), "one frame at rest");
    assert!(!told(&smeared[..5]), "too few frames");
    let smear = shake_of(&smeared).unwrap();
    assert!((4.0..16.0).contains(&smear.length_px), "{smear:?}");
    let off = (smear.direction_deg + 90.0).rem_euclid(180.0) - 90.0;
    assert!(off.abs() < 35.0, "{smear:?}");
    assert!(!told(&burst([(6, 6); 6])), "defocus");
    assert!(!told(&burst([(9, 1), (2, 2), (3, 3), (2, 2), (9, 1), (2, 2)])), "a few smears");
}

#[test]
fn a_subject_at_the_edge_of_the_planes_or_in_a_dull_frame_may_be_missed() {
    let sharp = [map(&[0.5; 70])];
    let deep = Some(-EDGE_OF_PLANES_PX - 0.01);
    assert!(!is_missed(deep, &sharp, allowing(1.0)));
    assert!(is_missed(Some(-EDGE_OF_PLANES_PX + 0.01), &sharp, allowing(1.0)));
    assert!(is_missed(None, &sharp, allowing(1.0)), "no contrast of its own");
    assert!(is_missed(deep, &[map(&[DULL_RATIO as f32 + 0.01; 70])], allowing(1.0)));
    assert!(!is_missed(deep, &[map(&[DULL_RATIO as f32 - 0.01; 70])], allowing(1.0)));
    assert!(is_missed(deep, &[map(&[])], allowing(1.0)), "no edges at all");
}

#[test]
fn blurred_all_over_is_told_on_either_side_of_the_limit() {
    let limit = BLURRED_RATIO as f32;
    let frame = |px: f32| map(&[[0.4; CHANCE_TILES.1].as_slice(), &[px; 60]].concat());
    let burst = |px: f32| vec![frame(px), frame(3.0), frame(4.0)];
    assert!(is_blurred(&burst(limit + 0.01), allowing(1.0)));
    assert!(!is_blurred(&burst(limit - 0.01), allowing(1.0)));
    assert!(!is_blurred(&burst(limit + 0.01), allowing(1.1)));
    // Without settings half-way sharp edges are taken for possible.
    assert!(is_blurred(&burst(1.25), None) && !is_blurred(&burst(1.2), None));
    // Fewer frames are no burst, and frames without edges say nothing.
    assert!(is_blurred(&burst(3.0)[..MIN_FRAMES.0], allowing(1.0)));
    assert!(!is_blurred(&burst(3.0)[..MIN_FRAMES.0 - 1], allowing(1.0)));
    assert!(!is_blurred(&[map(&[]), map(&[]), map(&[])], allowing(1.0)));
}

#[test]
fn some_tiles_may_be_sharp_by_chance_and_more_in_a_large_frame() {
    let seen = |sharp: usize, tiles: usize| {
        let blurs = [vec![0.4; sharp], vec![3.0; tiles - sharp]].concat();
        sharpest_edges_px(&map(&blurs)).is_some_and(|px| px < 1.0)
    };
    assert!(!seen(CHANCE_TILES.1, 70) && seen(CHANCE_TILES.1 + 1, 70));
    let tiles = 4000;
    let by_chance = (CHANCE_TILES.0 * tiles as f64) as usize;
    assert!(by_chance > 2 * CHANCE_TILES.1);
    assert!(!seen(by_chance, tiles) && seen(by_chance + 1, tiles));
}

/// Swings of a burst that is shaken by a little, to either side of one direction.
fn shaken(frames: usize) -> Vec<Swing> {
    swinging(frames, 15.0)
}

/// The same with every other frame this far to either side.
fn swinging(frames: usize, aside_deg: f64) -> Vec<Swing> {
    let (px2, share) = (SHAKEN_PX2 + 0.01, SHAKEN_SHARE + 0.01);
    let side = |i: usize| if i.is_multiple_of(2) { aside_deg } else { -aside_deg };
    (0..frames).map(|i| Swing { px2, share, direction_deg: 40.0 + side(i) }).collect()
}

#[test]
fn a_shaken_burst_swings_far_enough_in_nearly_all_of_enough_frames() {
    let usual = shaken(1)[0];
    let of = |swing: Swing| {
        let turned = |s: Swing| Swing { direction_deg: s.direction_deg, ..swing };
        usual_smear(shaken(MIN_FRAMES.1).into_iter().map(turned).collect()).is_some()
    };
    assert!(of(usual));
    assert!(!of(Swing { px2: SHAKEN_PX2 - 0.01, ..usual }));
    assert!(!of(Swing { share: SHAKEN_SHARE - 0.01, ..usual }));
    assert!(usual_smear(shaken(MIN_FRAMES.1 - 1)).is_none());
    // Frames in which the hand rests.
    let with_resting = |resting: usize| {
        let mut swings = shaken(100);
        swings[..resting].fill(Swing { px2: 0.0, ..usual });
        usual_smear(swings).is_some()
    };
    let most = (RESTING_SHARE * 100.0) as usize;
    assert!(with_resting(most) && !with_resting(most + 1));
}

/// What has one direction in every frame is the subject's texture.
#[test]
fn a_hand_does_not_shake_along_one_line() {
    let of = |aside_deg| usual_smear(swinging(8, aside_deg)).is_some();
    assert!(of(MIN_SHAKEN_SPREAD_DEG) && !of(MIN_SHAKEN_SPREAD_DEG - 0.5));
    let spread = |aside_deg| spread_deg(&swinging(8, aside_deg));
    // sqrt(-2 ln cos 2a) / 2.
    approx::assert_abs_diff_eq!(spread(15.0), 15.365, epsilon = 0.001);
    approx::assert_abs_diff_eq!(spread(0.0), 0.0, epsilon = 1e-6);
    assert!(spread(45.0) > 100.0, "no common direction");
}

#[test]
fn the_usual_smear_is_longer_than_its_boxes_show_and_as_uncertain_as_said() {
    let smear = usual_smear(shaken(9)).unwrap();
    let shown_px = (24.0 * (SHAKEN_PX2 + 0.01)).sqrt();
    assert!((smear.length_px - SHAKEN_LONGER * shown_px).abs() < 1e-9, "{smear:?}");
    assert!((smear.length_std_err_px - SHAKEN_LENGTH_SD * smear.length_px).abs() < 1e-9);
    assert!((smear.z * SHAKEN_LENGTH_SD - 1.0).abs() < 1e-9, "{smear:?}");
    assert!((smear.direction_deg - 55.0).abs() < 1e-9 && smear.fraction > SHAKEN_SHARE);
}

#[test]
fn a_frame_swings_with_enough_boxes_that_agree() {
    let smear = |direction_deg| Smear {
        mean_px2: 3.0,
        swing_px2: 2.0,
        length_px: 48f64.sqrt(),
        length_std_err_px: 0.5,
        direction_deg,
        z: 9.0,
        fraction: 2.0 / 3.0,
    };
    let alike = common_swing(&[smear(40.0); MIN_BOXES]);
    assert!((alike.px2 - 2.0).abs() < 1e-9 && (alike.direction_deg - 40.0).abs() < 1e-9);
    assert!((alike.share - 2.0 / 3.0).abs() < 1e-9, "{alike:?}");
    assert!(common_swing(&[smear(40.0); MIN_BOXES - 1]).px2.abs() < 1e-12);
    assert!(common_swing(&[smear(40.0), smear(130.0)]).px2 < 1e-9, "one across the other");
}
