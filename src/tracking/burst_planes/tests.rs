//! Every limit of a burst laid over itself on both sides.

use super::*;
use crate::tracking::planes::PlaceDepth;

#[test]
fn what_lies_near_a_plane_is_in_it() {
    let place =
        |index, depth_px| PlaceDepth { index, ln_likelihood: vec![], ln_energy: 0.0, depth_px };
    let planes = BurstPlanes {
        plane_px: vec![0.0, 2.0, 9.0],
        shared_px: vec![0.0; 3],
        places: vec![
            place(0, 0.0),
            place(1, IN_PLANE_PX - 0.01),
            place(2, IN_PLANE_PX + 0.01),
            place(3, 2.5),
        ],
        fit: 0.0,
    };
    let burst = OverlaidBurst {
        middle: 1,
        size_px: (128.0, 128.0),
        grid: (2, 2),
        place_px: 64.0,
        to_frame: vec![Similarity::IDENTITY; 3],
        energies: PlaceEnergies::default(),
    };
    let areas = burst.in_plane_px2(&planes);
    assert_eq!(areas, [2.0 * 4096.0, 2.0 * 4096.0, 0.0]);
    // About the corner lies the first place alone, in the first plane: at their edge.
    let beyond = |spot| burst.beyond_px(&planes, spot);
    assert_eq!(beyond((0.0, 0.0)), Some(0.0));
    assert_eq!(beyond((-100.0, 0.0)), None);
    // About the middle all four, their middle depth one px inside.
    assert!(beyond((64.0, 64.0)).is_some_and(|px| (px + 1.0).abs() < 0.02));
}

/// A burst of places whose energies follow its planes exactly.
fn of_planes(plane_px: &[f64]) -> OverlaidBurst {
    let depth = |t: usize| -2.0 + 4.0 * t as f64 / 99.0;
    let energy = |t: usize, plane: f64| {
        let blur2 = (plane - depth(t)).powi(2);
        (1000.0 * (1.0 + blur2 / planes::BAND_PX2).powi(-2)) as f32
    };
    let of_place = |t: usize| plane_px.iter().map(move |p| energy(t, *p));
    OverlaidBurst {
        middle: plane_px.len() / 2,
        size_px: (640.0, 640.0),
        grid: (10, 10),
        place_px: 64.0,
        to_frame: vec![Similarity::IDENTITY; plane_px.len()],
        energies: PlaceEnergies {
            energy: (0..100).flat_map(of_place).collect(),
            noise: vec![1.0; 100],
        },
    }
}

#[test]
fn planes_need_enough_frames_and_a_fit() {
    let plane_px = [-1.5, 0.8, 0.1, 1.7, -0.6, -0.9, 1.2, 0.4];
    let planes = of_planes(&plane_px[..MIN_FRAMES]).planes().unwrap();
    assert!(of_planes(&plane_px[..MIN_FRAMES - 1]).planes().is_none());
    let with = |fit| is_trusted(&BurstPlanes { fit, ..planes.clone() });
    assert!(with(MIN_FIT) && !with(MIN_FIT - 0.01));
    // Energies that no planes make.
    let mut burst = of_planes(&plane_px);
    for (k, e) in burst.energies.energy.iter_mut().enumerate() {
        *e *= if (k * 37 % 11) % 2 == 0 { 9.0 } else { 1.0 };
    }
    assert!(burst.planes().is_none());
}

#[test]
fn places_about_a_spot_are_near_it_whatever_the_size_of_a_place() {
    let depth = PlaceDepth { index: 0, ln_likelihood: vec![], ln_energy: 0.0, depth_px: 0.5 };
    let planes = BurstPlanes {
        plane_px: vec![0.0, 2.0],
        shared_px: vec![0.0; 2],
        places: vec![depth],
        fit: 0.0,
    };
    let about = |place_px: f64, off: f64| {
        let burst = OverlaidBurst { place_px, ..of_planes(&[0.0, 2.0]) };
        burst.beyond_px(&planes, (place_px / 2.0 + off, place_px / 2.0)).is_some()
    };
    assert!(about(32.0, ABOUT_PX - 0.1) && !about(32.0, ABOUT_PX + 0.1));
    // A place is about its own middle and a little more.
    assert!(about(128.0, 128.0) && !about(128.0, 1.2 * 128.0));
}

#[test]
fn tiles_are_joined_from_the_number_of_places_on() {
    assert_eq!([1, MAX_PLACES, MAX_PLACES + 1].map(joined_side), [1, 1, 2]);
    assert_eq!([4 * MAX_PLACES, 4 * MAX_PLACES + 1].map(joined_side), [2, 3]);
}
