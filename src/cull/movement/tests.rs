//! Every limit of a movement on both sides, on smears that are put together by hand.

use super::*;
use crate::sharpness::direction::MOVEMENT;

/// A smear of a usual length in a direction.
fn box_of(direction_deg: f64) -> Smear {
    let length_px = 4.0 * MOVEMENT.1;
    let swing_px2 = length_px * length_px / 24.0;
    Smear {
        mean_px2: 1.0 + swing_px2,
        swing_px2,
        length_px,
        length_std_err_px: 0.5,
        direction_deg,
        z: 3.0 * MOVEMENT.0,
        fraction: swing_px2 / (1.0 + swing_px2),
    }
}

/// A box that shows a direction, but no movement.
fn directed(direction_deg: f64, z: f64) -> Smear {
    Smear { z, length_px: 0.5 * MOVEMENT.1, ..box_of(direction_deg) }
}

fn still() -> Smear {
    directed(0.0, 0.0)
}

fn spectral(length_px: f64, explained: f64) -> SpectralSmear {
    SpectralSmear { length_px, length_std_err_px: 0.5, direction_deg: 30.0, share: 1.0, explained }
}

#[test]
fn spectra_show_a_movement_that_explains_enough_and_is_long_enough() {
    let moved = |length, explained| by_spectrum(&spectral(length, explained), 1.0, &[]).is_some();
    assert!(moved(8.0, MIN_EXPLAINED + 0.001) && !moved(8.0, MIN_EXPLAINED - 0.001));
    assert!(moved(MIN_MOVED_PX + 0.01, 0.9) && !moved(MIN_MOVED_PX - 0.01, 0.9));
    // A smear of a third of the light over a picture of 1 px: its part of L²/24 on top.
    let ghost = SpectralSmear { share: 0.3, ..spectral(12.0, 0.8) };
    let found = by_spectrum(&ghost, 1.0, &[]).unwrap();
    assert!(
        (found.smear.swing_px2 - 1.8).abs() < 1e-12 && (found.smear.z - 24.0).abs() < 1e-12,
        "{found:?}"
    );
    assert!((found.smear.mean_px2 - 2.8).abs() < 1e-12, "{found:?}");
    assert_eq!((found.share, found.explained), (0.3, 0.8));
}

#[test]
fn a_movement_is_the_frames_unless_most_boxes_show_another_direction() {
    let seen = DIRECTION_SEEN_Z + 0.1;
    let near = 30.0 + SAME_DIRECTION_DEG - 0.1;
    let far = 30.0 + SAME_DIRECTION_DEG + 0.1;
    let shared = |boxes: &[Smear]| shared_by_frame(boxes, 30.0);
    assert!(shared(&[directed(near, seen); AGREE_BOXES]));
    assert!(!shared(&[directed(far, seen); AGREE_BOXES]));
    // Across the end of the half circle too.
    assert!(shared_by_frame(&[directed(1.0, seen); 2], 179.0 - SAME_DIRECTION_DEG + 2.1));
    assert!(!shared_by_frame(&[directed(1.0, seen); 2], 179.0 - SAME_DIRECTION_DEG + 1.9));
    // Half of them are enough.
    assert!(shared(&[directed(near, seen), directed(far, seen)]));
    assert!(!shared(&[directed(near, seen), directed(far, seen), directed(far, seen)]));
    // Where too few show any direction, the hand is the likelier cause.
    assert!(shared(&[directed(far, seen); AGREE_BOXES - 1]));
    assert!(shared(&[directed(far, DIRECTION_SEEN_Z - 0.1); 4]));
}

#[test]
fn edges_tell_a_frame_that_moved_where_enough_of_its_boxes_agree() {
    // Two directions this far apart have a mean of e^2iθ as long as the cosine of it.
    let apart = AGREE.acos().to_degrees();
    let pair = |degrees: f64| vec![box_of(90.0 - degrees / 2.0), box_of(90.0 + degrees / 2.0)];
    let frame = |boxes| by_edges(None, boxes).is_some_and(|m| m.whole_frame);
    assert!(frame(pair(apart - 0.1)) && !frame(pair(apart + 0.1)));
    assert!(frame(vec![box_of(30.0); AGREE_BOXES]));
    assert!(!frame(vec![box_of(30.0); AGREE_BOXES - 1]));
    // Of the boxes that can be read, this share must move.
    let most = (40.0 / AGREE_SHARE) as usize;
    let of = |boxes: usize| [vec![box_of(30.0); 40], vec![still(); boxes - 40]].concat();
    assert!(frame(of(most)) && !frame(of(most + 1)));
    // The middle one stands for the frame.
    let longer = Smear { length_px: 20.0, ..box_of(30.0) };
    let found = by_edges(None, vec![longer, box_of(30.0), longer]).unwrap();
    assert!((found.smear.length_px - longer.length_px).abs() < 1e-12, "{found:?}");
}

#[test]
fn the_subjects_own_edges_tell_whether_it_alone_moved() {
    let own = |boxes| by_edges(Some(box_of(30.0)), boxes).unwrap().whole_frame;
    assert!(own(vec![box_of(100.0); AGREE_BOXES]), "the frame moved as well");
    assert!(!own(vec![still(); AGREE_BOXES]), "the rest of the frame is still");
    assert!(own(vec![still(); AGREE_BOXES - 1]), "too little else to see");
    assert!(!own(vec![box_of(0.0), box_of(90.0)]), "boxes disagree");
    assert_eq!(by_edges(Some(still()), vec![]), None);
    assert_eq!(by_edges(None, vec![]), None);
}

#[test]
fn a_shaken_burst_has_lengths_of_its_own_where_spectra_tell_them_of_enough_frames() {
    let usual = box_of(30.0);
    let told = |length_px| Some(spectral(length_px, SHAKEN_EXPLAINED + 0.01));
    let lengths = |frames: &[Option<SpectralSmear>]| -> Vec<f64> {
        let found = of_shaken(frames.to_vec(), 1.0, usual);
        assert!(found.iter().flatten().all(|m| m.whole_frame && m.share >= 1.0));
        found.into_iter().map(|m| m.unwrap().smear.length_px / SHAKEN_STRETCH).collect()
    };
    // As many as are needed: the rest has the middle one of theirs.
    let frames = 6;
    let needed = (SHAKEN_TOLD * f64::from(frames)).ceil() as usize;
    assert_eq!(needed, 3);
    let enough = [told(6.0), None, told(10.0), told(8.0), None, None];
    assert_eq!(lengths(&enough), [6.0, 8.0, 10.0, 8.0, 8.0, 8.0]);
    // One less, or one that explains too little: all have the usual one.
    let all_usual = [usual.length_px / SHAKEN_STRETCH; 6];
    assert_eq!(lengths(&[told(6.0), None, told(10.0), None, None, None]), all_usual);
    let weak = Some(spectral(8.0, SHAKEN_EXPLAINED - 0.01));
    assert_eq!(lengths(&[told(6.0), None, told(10.0), weak, None, None]), all_usual);
    assert_eq!(of_shaken(vec![], 1.0, usual), vec![]);
}
