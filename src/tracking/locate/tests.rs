//! What a place vouches for, and whether a marked one may have been missed.

use super::*;
use crate::sharpness::focus_map::Tile;
use crate::tracking::planes::{PlaceDepth, PlaceEnergies};

const SPOT: SubjectPosition = SubjectPosition { x_px: 50.0, y_px: 50.0, confidence: 1.0 };

#[test]
fn a_guess_vouches_for_no_more_than_it_may() {
    let of = |confidence| {
        let mut position = SubjectPosition { confidence, ..SPOT };
        guess(&mut position);
        position.confidence
    };
    assert!((of(1.0) - GUESSED_CONFIDENCE).abs() < 1e-12);
    assert!((of(GUESSED_CONFIDENCE - 0.001) - GUESSED_CONFIDENCE + 0.001).abs() < 1e-12);
}

/// A burst with planes from -2 to 2 px of blur and one place, of this depth.
fn places(depth_px: Option<f64>) -> BurstPlaces {
    let overlaid = OverlaidBurst {
        middle: 0,
        size_px: (400.0, 400.0),
        grid: (4, 4),
        place_px: 100.0,
        to_frame: vec![Similarity::IDENTITY; 2],
        energies: PlaceEnergies::default(),
    };
    let place = |depth_px| PlaceDepth { index: 0, ln_likelihood: vec![], ln_energy: 0.0, depth_px };
    let planes = depth_px.map(|depth_px| BurstPlanes {
        plane_px: vec![-2.0, 2.0],
        shared_px: vec![0.0; 2],
        places: vec![place(depth_px)],
        fit: 0.0,
    });
    BurstPlaces { overlaid, planes }
}

#[test]
fn a_marked_subject_may_be_missed_unless_planes_and_frames_speak_against_it() {
    let sharp = {
        let tiles = vec![Tile::Blur { sigma_px: 0.3, std_err_px: 0.1 }; 64];
        let lap_var = vec![1.0; 64];
        FocusMap { cols: 8, rows: 8, corrected_tiles: tiles.clone(), tiles, lap_var }
    };
    let missed = |depth_px: Option<f64>, spot: SubjectPosition, frames: usize| {
        let attainable = Some(Attainable { sigma_px: 1.0, cutoff_cy_px: 0.4, flash: false });
        let maps = std::slice::from_ref(&sharp);
        BurstPlaces::is_missed(Some(&places(depth_px)), &vec![Some(spot); frames], maps, attainable)
    };
    let enough = burst_planes::MIN_FRAMES;
    assert_eq!(missed(Some(0.0), SPOT, enough), Some(false));
    assert_eq!(missed(Some(0.0), SPOT, enough - 1), None, "too few frames to say");
    assert_eq!(missed(Some(3.0), SPOT, enough), Some(true), "beyond all planes");
    assert_eq!(missed(None, SPOT, enough), Some(true), "no planes fit");
    let elsewhere = SubjectPosition { x_px: 350.0, ..SPOT };
    assert_eq!(missed(Some(0.0), elsewhere, enough), Some(true), "no contrast of its own");
    let lost = BurstPlaces::is_missed(Some(&places(Some(0.0))), &vec![None; enough], &[], None);
    assert_eq!(lost, Some(true));
}
