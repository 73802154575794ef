//! Whether a burst has nothing sharp in any of its frames, whatever its subject is.
//!
//! A subject point that nobody chose cannot tell, and one that is smeared in every frame hardly,
//! but the frames as a whole can.

use super::frame_features::FrameFeatures;
use crate::sharpness::direction::{Smear, smear};
use crate::sharpness::focus_map::{FocusMap, Tile};
use crate::sharpness::subject_blur::{Attainable, allowed_edge_px};

/// Share of a frame's tiles, and their least number, that may be sharper by chance.
const CHANCE_TILES: (f64, usize) = (0.0055, 5);
/// Blur of a frame's sharpest edges over what its settings allow beyond which nothing in it is
/// sharp: 0.2 to 0.9 in 72 simulated bursts that reached focus, 1.3 to 3.3 where the plane lay in
/// front of everything.
const BLURRED_RATIO: f64 = 1.35;
/// The same from which nothing in it is really sharp: at most 0.55 in 163 simulated bursts that
/// reached focus, above in half of 30 that did not.
const DULL_RATIO: f64 = 0.8;
/// A subject nearer than this to the first or last plane is at the edge of the planes, px of blur:
/// all but a few in 163 simulated bursts that reached focus lie deeper.
const EDGE_OF_PLANES_PX: f64 = 0.6;
/// Swing of the squared blur with direction, px², that nearly all frames of a burst show together
/// when the hand shook all the time: a smear of 4 px. At most 0.63 in 71 simulated bursts that
/// were not shaken, at least 0.74 in 10 that were.
const SHAKEN_PX2: f64 = 0.7;
/// Share of the mean squared blur that the swing of the middle frame must reach: a wide defocus has
/// some swing as well. At least 0.55 in 3 simulated bursts that were shaken, at most 0.21 in 3
/// that never reached focus and swing as much.
const SHAKEN_SHARE: f64 = 0.4;
/// Length of a shaken burst's usual smear over what its boxes show together: edges along the smear
/// stay and count most.
const SHAKEN_LONGER: f64 = 1.5;
/// Error of that length for one frame, share.
const SHAKEN_LENGTH_SD: f64 = 0.4;
/// Frames that may show less: the hand rests between two beats.
const RESTING_SHARE: f64 = 0.25;
/// Boxes with a direction that a frame must have.
const MIN_BOXES: usize = 2;
/// Frames from which a burst can be blurred all over, and from which it can be shaken.
const MIN_FRAMES: (usize, usize) = (3, 6);
/// Odds that nothing is sharp in a burst whose frames show no sign of it.
const BASE_ODDS: f64 = 0.03;
/// The ratio of the sharpest edges from which they are a sign, by how much more the odds grow
/// e^1.5 times, and how many times that counts. At most 0.52 in 56 simulated bursts that reached
/// focus, 0.54 to 0.98 in 4 whose focus lay beyond what was seen.
const BLURRED_SIGN: (f64, f64, f64) = (0.5, 0.25, 2.0);
/// The same for the swing that nearly all frames show, px², whose odds grow e times a step: at most
/// 0.49 in those 56, 0.52 to 0.64 in 3 of the 4; hands that shake most of the time reach 1.
const SWING_SIGN: (f64, f64, f64) = (0.4, 0.2, 2.0);
/// Growth of the odds a step, ln: edges, swing.
const SIGN_LN: (f64, f64) = (1.5, 1.0);

/// Whether every frame is blurred all over.
pub fn is_blurred(maps: &[FocusMap], attainable: Option<Attainable>) -> bool {
    maps.len() >= MIN_FRAMES.0
        && sharpest_ratio(maps, attainable).is_some_and(|r| r > BLURRED_RATIO)
}

/// Blur of the sharpest edges of all frames over what the settings allow.
fn sharpest_ratio(maps: &[FocusMap], attainable: Option<Attainable>) -> Option<f64> {
    let finest = maps.iter().filter_map(sharpest_edges_px).min_by(f64::total_cmp);
    finest.map(|px| px / allowed_edge_px(attainable))
}

/// Chance that nothing is sharp in any frame, from how blurred and how smeared all of them are.
pub fn blurred_chance(
    shots: &[&FrameFeatures],
    maps: &[FocusMap],
    attainable: Option<Attainable>,
) -> f64 {
    chance_of(sharpest_ratio(maps, attainable), resting_swing_px2(&swings(shots)))
}

fn chance_of(sharpest_ratio: Option<f64>, swing_px2: Option<f64>) -> f64 {
    let steps = |value: Option<f64>, (from, step, most): (f64, f64, f64)| {
        value.map_or(0.0, |v| ((v - from) / step).clamp(0.0, most))
    };
    let ln =
        SIGN_LN.0 * steps(sharpest_ratio, BLURRED_SIGN) + SIGN_LN.1 * steps(swing_px2, SWING_SIGN);
    let odds = BASE_ODDS * ln.exp();
    odds / (1.0 + odds)
}

/// Whether the whole frames hint that focus missed the subject: nothing in any of them is really
/// sharp, or the subject lies at the edge of the planes or has no contrast of its own
/// (`beyond_px`: how far beyond all planes, px of blur).
pub fn is_missed(
    beyond_px: Option<f64>,
    maps: &[FocusMap],
    attainable: Option<Attainable>,
) -> bool {
    let is_dull = sharpest_ratio(maps, attainable).is_none_or(|ratio| ratio > DULL_RATIO);
    is_dull || beyond_px.is_none_or(|px| px > -EDGE_OF_PLANES_PX)
}

/// Blur of a frame's sharpest edges, px, a few tiles left to chance; `None` where it has fewer.
fn sharpest_edges_px(map: &FocusMap) -> Option<f64> {
    let mut edges: Vec<f32> = map.tiles.iter().filter_map(Tile::sigma_px).collect();
    edges.sort_unstable_by(f32::total_cmp);
    let chance = ((CHANCE_TILES.0 * map.tiles.len() as f64) as usize).max(CHANCE_TILES.1);
    edges.get(chance).map(|px| f64::from(*px))
}

/// Swing that all frames show but those in which a shaking hand rests, px²; `None` with too few.
fn resting_swing_px2(swings: &[Swing]) -> Option<f64> {
    let swings_px2 = swings.iter().map(|s| s.px2).collect();
    at_share(swings_px2, RESTING_SHARE).filter(|_| swings.len() >= MIN_FRAMES.1)
}

/// The value that a share of the others lies below.
fn at_share(mut values: Vec<f64>, share: f64) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    values.get((share * values.len() as f64) as usize).copied()
}

/// The usual smear of a burst in which nearly every frame is smeared, each in one direction; `None`
/// where that is not so. Without a still frame to compare with, no frame's own length can be read.
pub fn shake(shots: &[&FrameFeatures]) -> Option<Smear> {
    let mut swings = swings(shots);
    let shares = swings.iter().map(|s| s.share).collect();
    let is_shaken = resting_swing_px2(&swings).is_some_and(|s| s > SHAKEN_PX2)
        && at_share(shares, 0.5).is_some_and(|s| s > SHAKEN_SHARE);
    swings.sort_by(|a, b| a.px2.total_cmp(&b.px2));
    let middle = swings.get(swings.len() / 2).filter(|_| is_shaken)?;
    let length_px = SHAKEN_LONGER * (24.0 * middle.px2).sqrt();
    Some(Smear {
        mean_px2: middle.px2 / middle.share,
        swing_px2: length_px.powi(2) / 24.0,
        length_px,
        length_std_err_px: SHAKEN_LENGTH_SD * length_px,
        direction_deg: middle.direction_deg,
        z: 1.0 / SHAKEN_LENGTH_SD,
        fraction: middle.share,
    })
}

/// Swing of the squared blur with direction that the boxes of a frame show together.
#[derive(Default)]
struct Swing {
    /// px².
    px2: f64,
    /// Over the mean squared blur.
    share: f64,
    /// Direction of the greatest blur, degrees.
    direction_deg: f64,
}

fn swings(shots: &[&FrameFeatures]) -> Vec<Swing> {
    shots.iter().map(|s| common_swing(s)).collect()
}

fn common_swing(shot: &FrameFeatures) -> Swing {
    let boxes: Vec<_> = shot.boxes.iter().filter_map(|b| smear(&b.profile, None)).collect();
    if boxes.len() < MIN_BOXES {
        return Swing::default();
    }
    let (mut c, mut s, mut mean, mut total) = (0.0, 0.0, 0.0, 0.0);
    for b in &boxes {
        // Sharp boxes tell most.
        let weight = 1.0 / (b.mean_px2.max(0.1) + 1.0);
        let angle = (2.0 * b.direction_deg).to_radians();
        c += weight * b.swing_px2 * angle.cos();
        s += weight * b.swing_px2 * angle.sin();
        mean += weight * b.mean_px2;
        total += weight;
    }
    Swing {
        px2: c.hypot(s) / total,
        share: c.hypot(s) / mean.max(f64::MIN_POSITIVE),
        direction_deg: (s.atan2(c).to_degrees() / 2.0).rem_euclid(180.0),
    }
}

#[cfg(test)]
mod tests {
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
        for (ratio, swing) in [(None, None), (Some(0.5), Some(0.4)), (Some(0.3), Some(0.1))] {
            approx::assert_abs_diff_eq!(chance_of(ratio, swing), calm, epsilon = 1e-12);
        }
        // One step each: odds of e^1.5 and e times the base.
        let odds = |p: f64| p / (1.0 - p) / BASE_ODDS;
        approx::assert_abs_diff_eq!(
            odds(chance_of(Some(0.75), None)),
            1.5f64.exp(),
            epsilon = 1e-9
        );
        approx::assert_abs_diff_eq!(odds(chance_of(None, Some(0.6))), 1f64.exp(), epsilon = 1e-9);
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

    /// A frame of random patches with edges in all directions, blurred over a box.
    fn shot(seed: u64, blur: (usize, usize)) -> FrameFeatures {
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
        let data: Vec<u8> = box_mean(&patches, blur)
            .iter()
            .map(|v| (60.0 + 130.0 * v + 1.5 * rng.normal()) as u8)
            .collect();
        let luma = Luma::U8 { data: &data, channels: 1, width_px: SIDE, height_px: SIDE };
        FrameFeatures::measure(&luma).unwrap()
    }

    #[test]
    fn a_smear_in_nearly_all_frames_is_a_shake_and_a_defocus_is_none() {
        let burst = |blurs: [(usize, usize); 6]| -> Vec<FrameFeatures> {
            blurs.iter().zip(1..).map(|(b, seed)| shot(seed, *b)).collect()
        };
        let shake_of = |shots: &[FrameFeatures]| shake(&shots.iter().collect::<Vec<_>>());
        let told = |shots: &[FrameFeatures]| shake_of(shots).is_some();
        let smeared = burst([(9, 1), (8, 1), (9, 1), (10, 1), (9, 1), (2, 2)]);
        assert!(told(&smeared), "one frame at rest");
        assert!(!told(&smeared[..5]), "too few frames");
        let smear = shake_of(&smeared).unwrap();
        assert!((4.0..16.0).contains(&smear.length_px), "{smear:?}");
        let off = (smear.direction_deg + 90.0).rem_euclid(180.0) - 90.0;
        assert!(off.abs() < 10.0, "{smear:?}");
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
        assert!(is_missed(deep, &[map(&[0.81; 70])], allowing(1.0)));
        assert!(!is_missed(deep, &[map(&[0.79; 70])], allowing(1.0)));
    }

    #[test]
    fn blurred_all_over_is_told_on_either_side_of_the_limit() {
        // Five tiles may be sharp by chance.
        let frame = |px: f32| map(&[[0.4; 5].as_slice(), &[px; 60]].concat());
        let burst = |px: f32| vec![frame(px), frame(3.0), frame(4.0)];
        assert!(is_blurred(&burst(1.37), allowing(1.0)));
        assert!(!is_blurred(&burst(1.33), allowing(1.0)));
        assert!(!is_blurred(&burst(1.37), allowing(1.1)));
        // Without settings half-way sharp edges are taken for possible.
        assert!(is_blurred(&burst(1.25), None) && !is_blurred(&burst(1.2), None));
        // Two frames are no burst, and frames without edges say nothing.
        assert!(!is_blurred(&burst(3.0)[..2], allowing(1.0)));
        assert!(!is_blurred(&[map(&[]), map(&[]), map(&[])], allowing(1.0)));
    }
}
