//! Every limit of a subject that nobody marked on both sides.

use super::*;
use crate::tracking::planes::{DEPTHS, PlaceDepth, PlaceEnergies, depth_px};
use crate::tracking::similarity::Similarity;

/// 16 by 10 places of frames that did not move.
fn overlaid() -> OverlaidBurst {
    OverlaidBurst {
        middle: 0,
        size_px: (1600.0, 1000.0),
        grid: (16, 10),
        place_px: 100.0,
        to_frame: vec![Similarity::IDENTITY; 3],
        energies: PlaceEnergies::default(),
    }
}

/// Planes that pass the depths from -1 to 1 px, and places of these depths.
fn planes(places: &[(usize, f64)]) -> BurstPlanes {
    let place = |&(index, depth_px): &(usize, f64)| PlaceDepth {
        index,
        ln_likelihood: vec![0.0; DEPTHS],
        ln_energy: 0.0,
        depth_px,
    };
    BurstPlanes {
        plane_px: vec![-1.0, 0.0, 1.0],
        shared_px: vec![0.0; 3],
        places: places.iter().map(place).collect(),
        fit: 0.0,
    }
}

/// The number of the depth next to this one.
fn nearest(px: f64) -> usize {
    let off = |g: &usize| (depth_px(*g) - px).abs();
    (0..DEPTHS).min_by(|a, b| off(a).total_cmp(&off(b))).unwrap()
}

/// A subject surely at a depth, with this share of the structure passed by the planes.
fn at_depth(px: f64, focused_share: f64, weight: Vec<f64>) -> SubjectDepth {
    let mut chance = vec![0.0; DEPTHS];
    chance[nearest(px)] = 1.0;
    SubjectDepth { chance, likely_px: depth_px(nearest(px)), focused_share, weight }
}

const SPOT: SubjectSpot = SubjectSpot { frame: 0, x_px: 0.0, y_px: 0.0 };

fn reached(depth: SubjectDepth, blurred: f64) -> Option<bool> {
    let (overlaid, planes) = (overlaid(), planes(&[]));
    let subject =
        UnmarkedSubject { overlaid: &overlaid, planes: &planes, depth, blurred, spot: SPOT };
    subject.is_reached(None)
}

#[test]
fn a_burst_is_told_to_have_come_to_its_subject_where_that_is_likely_enough() {
    let among = |blurred| reached(at_depth(0.0, 1.0, vec![]), blurred);
    let (from, ruled_out) = UNREACHED_CHANCE;
    assert_eq!(among(from + 0.001), Some(false));
    assert_eq!([from - 0.001, ruled_out + 0.001].map(among), [None; 2]);
    assert_eq!(among(ruled_out - 0.001), Some(true));
}

#[test]
fn nothing_is_known_beyond_the_planes_where_everything_has_one_depth() {
    let beyond = |share| reached(at_depth(6.0, share, vec![]), 0.0);
    assert_eq!(beyond(MIN_FOCUSED_SHARE), Some(false));
    assert_eq!(beyond(MIN_FOCUSED_SHARE - 0.01), Some(true));
}

#[test]
fn a_lens_that_nobody_knows_has_the_usual_blur_in_focus() {
    let given = Attainable { sigma_px: 1.7, cutoff_cy_px: 0.3, flash: false };
    assert!((in_focus_px(Some(given)) - 1.7).abs() < 1e-12);
    assert!((in_focus_px(None) - USUAL_IN_FOCUS_PX).abs() < 1e-12);
    // What lies a little off the planes is blurred with a sharp lens, not with a soft one.
    let chance = |px| frame_chances::unreached(&planes(&[]), px)[nearest(2.5)];
    assert!(chance(0.5 * USUAL_IN_FOCUS_PX) > 0.9 && chance(2.0 * USUAL_IN_FOCUS_PX) < 0.1);
}

#[test]
fn a_spot_is_where_most_structure_has_its_depth() {
    // Heavier structure off the depth against lighter at it.
    let (at, off) = (3 * 16 + 3, 6 * 16 + 12);
    let off_px = 0.8;
    let even = (0.5 * (off_px / SAME_DEPTH_PX).powi(2)).exp();
    let spot = |weight: f64| {
        let (overlaid, planes) = (overlaid(), planes(&[(at, 0.0), (off, off_px)]));
        let depth = at_depth(0.0, 1.0, vec![1.0, weight]);
        let subject = UnmarkedSubject {
            overlaid: &overlaid,
            planes: &planes,
            depth,
            blurred: 0.0,
            spot: SPOT,
        };
        subject.spot_at(0.0, 1)
    };
    let (near, far) = (spot(0.95 * even), spot(1.05 * even));
    assert!(near.x_px < 500.0 && near.y_px < 500.0, "{near:?}");
    assert!(far.x_px > 1000.0 && far.y_px > 500.0, "{far:?}");
    assert_eq!(near.frame, 1);
}

#[test]
fn places_count_by_their_distance_from_the_middle_or_the_recorded_place() {
    let overlaid = overlaid();
    let ratio = |hints: &SubjectHints, at: (f64, f64), widths: f64| {
        // The place with its middle at `at` against one so much further right.
        let index = |(x, y): (f64, f64)| (y / 100.0) as usize * 16 + (x / 100.0) as usize;
        let right = (at.0 + widths * 1600.0, at.1);
        place_prior(&overlaid, hints, index(right)) / place_prior(&overlaid, hints, index(at))
    };
    let of_one_sd = (-0.5f64).exp();
    let none = SubjectHints::default();
    // From half a place beside the middle to 4.5: both half a place above it.
    let (a, b) = (50.0 / 1600.0 / PLACE_SD, 450.0 / 1600.0 / PLACE_SD);
    let expected = (-0.5 * (b * b - a * a)).exp();
    assert!((ratio(&none, (850.0, 550.0), 0.25) / expected - 1.0).abs() < 1e-9);
    let spot = SubjectSpot { frame: 0, x_px: 350.0, y_px: 350.0 };
    let recorded = SubjectHints { recorded: Some(spot), ..none };
    let of_sds = |widths: f64| of_one_sd.powf((widths / RECORDED_SD).powi(2));
    let widths = 100.0 / 1600.0;
    let found = ratio(&recorded, (350.0, 350.0), widths);
    assert!((found / of_sds(widths) - 1.0).abs() < 1e-9, "{found}");
}
