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
/// some swing as well. At least 0.33 in 16 of 19 simulated bursts that were shaken, at most 0.27 in 17
/// that never reached focus and swing as much in directions that differ.
const SHAKEN_SHARE: f64 = 0.32;
/// How far the directions of these swings differ from frame to frame at least, one standard
/// deviation, degrees: a hand never shakes along one line, but the texture of a subject has one
/// direction in all frames. At least 13.9 in 19 simulated bursts that were shaken, 3 to 9.5 in
/// 5 others whose frames swing together.
const MIN_SHAKEN_SPREAD_DEG: f64 = 11.0;
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
    usual_smear(swings(shots))
}

/// The smear at the middle of a burst's swings, where nearly all of them are large.
fn usual_smear(mut swings: Vec<Swing>) -> Option<Smear> {
    let shares = swings.iter().map(|s| s.share).collect();
    let is_shaken = resting_swing_px2(&swings).is_some_and(|s| s > SHAKEN_PX2)
        && at_share(shares, 0.5).is_some_and(|s| s > SHAKEN_SHARE)
        && spread_deg(&swings) > MIN_SHAKEN_SPREAD_DEG;
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

/// Standard deviation of the directions of swings, degrees: that of the wrapped normal distribution
/// of their mean resultant length (Mardia & Jupp, *Directional Statistics*, 2000, ch. 2).
fn spread_deg(swings: &[Swing]) -> f64 {
    let angle = |s: &Swing| (2.0 * s.direction_deg).to_radians();
    let (c, s) = swings.iter().map(angle).fold((0.0, 0.0), |(c, s), a| (c + a.cos(), s + a.sin()));
    let resultant = (c.hypot(s) / swings.len().max(1) as f64).clamp(f64::MIN_POSITIVE, 1.0);
    (-2.0 * resultant.ln()).sqrt().to_degrees() / 2.0
}

/// Swing of the squared blur with direction that the boxes of a frame show together.
#[derive(Debug, Clone, Copy, Default)]
struct Swing {
    /// px².
    px2: f64,
    /// Over the mean squared blur.
    share: f64,
    /// Direction of the greatest blur, degrees.
    direction_deg: f64,
}

fn swings(shots: &[&FrameFeatures]) -> Vec<Swing> {
    let boxes = |shot: &FrameFeatures| -> Vec<Smear> {
        shot.boxes.iter().filter_map(|b| smear(&b.profile, None)).collect()
    };
    shots.iter().map(|s| common_swing(&boxes(s))).collect()
}

fn common_swing(boxes: &[Smear]) -> Swing {
    if boxes.len() < MIN_BOXES {
        return Swing::default();
    }
    let (mut c, mut s, mut mean, mut total) = (0.0, 0.0, 0.0, 0.0);
    for b in boxes {
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
mod tests;
