//! Whether a burst has nothing sharp in any of its frames, whatever its subject is.
//!
//! A subject point that nobody chose cannot tell, and one that is smeared in every frame hardly,
//! but the frames as a whole can.

use super::judge::{BurstJudged, Movement};
use super::shot::Shot;
use super::subject_blur::Attainable;
use crate::measure::direction::{Smear, smear};
use crate::measure::focus_map::{FocusMap, Tile};
use crate::report::record::{Call, Cause, CauseShare};

/// Share of a frame's tiles, and their least number, that may be sharper by chance.
const CHANCE_TILES: (f64, usize) = (0.0055, 5);
/// Blur of a frame's sharpest edges over what its settings allow beyond which nothing in it is
/// sharp: 0.2 to 0.9 in 72 simulated bursts that reached focus, 1.3 to 3.3 where the plane lay in
/// front of everything.
const BLURRED_RATIO: f64 = 1.35;
/// Least blur, px, that settings are taken to allow: edges in a rendered file are no sharper.
const MIN_ALLOWED_PX: f64 = 0.9;
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

/// Whether every frame is blurred all over.
pub fn is_blurred(maps: &[FocusMap], attainable: Option<Attainable>) -> bool {
    let allowed = attainable.map_or(0.0, |a| a.sigma_px).max(MIN_ALLOWED_PX);
    let finest = maps.iter().filter_map(sharpest_edges_px).min_by(f64::total_cmp);
    maps.len() >= MIN_FRAMES.0 && finest.is_some_and(|px| px > BLURRED_RATIO * allowed)
}

/// Blur of a frame's sharpest edges, px, a few tiles left to chance; `None` where it has fewer.
fn sharpest_edges_px(map: &FocusMap) -> Option<f64> {
    let mut edges: Vec<f32> = map.tiles.iter().filter_map(Tile::sigma_px).collect();
    edges.sort_unstable_by(f32::total_cmp);
    let chance = ((CHANCE_TILES.0 * map.tiles.len() as f64) as usize).max(CHANCE_TILES.1);
    edges.get(chance).map(|px| f64::from(*px))
}

/// Whether nearly every frame is smeared, each in one direction.
pub fn is_shaken(shots: &[&Shot]) -> bool {
    let swings: Vec<Swing> = shots.iter().map(|s| common_swing(s)).collect();
    let at = |share: f64, mut values: Vec<f64>| {
        values.sort_unstable_by(f64::total_cmp);
        values.get((share * values.len() as f64) as usize).copied().unwrap_or(0.0)
    };
    shots.len() >= MIN_FRAMES.1
        && at(RESTING_SHARE, swings.iter().map(|s| s.px2).collect()) > SHAKEN_PX2
        && at(0.5, swings.iter().map(|s| s.share).collect()) > SHAKEN_SHARE
}

/// Gives a burst that was shaken all the time its cause: what else was lost in a frame cannot be
/// told from a smear that no frame is free of.
pub fn tell_shaken(burst: &mut BurstJudged) {
    for frame in &mut burst.frames {
        if !matches!(frame.call, Call::Near | Call::Miss) {
            continue;
        }
        frame.causes = vec![CauseShare { cause: Cause::Shake, share: None }];
    }
}

/// The usual smear of a shaken burst. Without a still frame to compare with, no frame's own length
/// can be read; `None` where the boxes show none.
pub fn burst_smear(shots: &[&Shot]) -> Option<Movement> {
    let mut swings: Vec<Swing> = shots.iter().map(|s| common_swing(s)).collect();
    swings.sort_by(|a, b| a.px2.total_cmp(&b.px2));
    let middle = swings.get(swings.len() / 2).filter(|s| s.px2 > 0.0)?;
    let length_px = SHAKEN_LONGER * (24.0 * middle.px2).sqrt();
    Some(Movement {
        smear: Smear {
            mean_px2: middle.px2 / middle.share,
            swing_px2: length_px.powi(2) / 24.0,
            length_px,
            length_std_err_px: SHAKEN_LENGTH_SD * length_px,
            direction_deg: middle.direction_deg,
            z: 1.0 / SHAKEN_LENGTH_SD,
            fraction: middle.share,
        },
        whole_frame: true,
        share: 1.0,
        explained: 1.0,
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

fn common_swing(shot: &Shot) -> Swing {
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

    fn map(blurs: &[f32]) -> FocusMap {
        let tiles: Vec<Tile> =
            blurs.iter().map(|b| Tile::Blur { sigma_px: *b, std_err_px: 0.1 }).collect();
        let lap_var = vec![1.0; tiles.len()];
        FocusMap { cols: blurs.len(), rows: 1, told: tiles.clone(), tiles, lap_var }
    }

    fn allowing(sigma_px: f64) -> Option<Attainable> {
        Some(Attainable { sigma_px, cutoff_cy_px: 0.4, flash: false })
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
