//! Movement, and sharpness in another place or depth than the subject's.

use super::*;
use stopwise::simulator::traps::shaken_and_defocused;

#[test]
fn shake_or_defocus() {
    for length_px in [4.0, 5.0] {
        let (shaken, defocused) = shaken_and_defocused(1, length_px);
        let s = scored(&[
            taken(&seen(0.0), NOISE_DN, 1),
            taken(&close_up(shaken), NOISE_DN, 2),
            taken(&close_up(defocused), NOISE_DN, 3),
        ]);
        let lines = s.lines();
        assert!(s.plain[1] > s.plain[2], "{lines}");
        assert_eq!(s.call(0), Verdict::Hit, "{lines}");
        assert_ne!(s.call(1), Verdict::Hit, "{lines}");
        assert_ne!(s.call(2), Verdict::Hit, "{lines}");
        assert_eq!(s.causes(1)[0], Cause::Shake, "{lines}");
        // A smear along x is found along x.
        let found = s.burst.frames[1].movement.unwrap().smear;
        let off = (found.direction_deg + 90.0).rem_euclid(180.0) - 90.0;
        assert!(off.abs() < 20.0, "{lines}");
        assert!((found.length_px / length_px - 1.0).abs() < 0.4, "{} {lines}", found.length_px);
    }
}

#[test]
fn subject_motion() {
    // Only a patch moves; the rest of the frame stays sharp and keeps the plain score up.
    let middle = SIZE_PX as f32 / 2.0;
    let still = seen(0.0);
    let patch = |x: f32, y: f32| still.clone().with_moving_patch((x, y), 70.0, 8.0, 30.0);
    let s = scored(&[
        taken(&still, NOISE_DN, 1),
        taken(&patch(middle, middle), NOISE_DN, 2),
        taken(&seen(NEAR_PX), NOISE_DN, 3),
        taken(&patch(middle - 130.0, middle - 90.0), NOISE_DN, 4),
    ]);
    let lines = s.lines();
    assert!(s.plain[1] > s.plain[2], "{lines}");
    assert!(s.energy(1) < s.energy(2), "{lines}");
    assert_eq!(s.call(1), Verdict::Miss, "{lines}");
    // A leg that moves elsewhere costs the subject nothing.
    assert_eq!(s.call(3), Verdict::Hit, "{lines}");
}

#[test]
fn depth_looks_like_sharpness() {
    // A closed aperture has more in focus and a softer best plane: two numbers, never one.
    use stopwise::simulator::{BurstSpec, SceneKind, SimulatedBurst, SimulatedLens};
    let frame = |n_eff: f64| {
        let base = BurstSpec::usual(SceneKind::DepthRamp, 11, 1.0);
        let spec = BurstSpec {
            width_px: SIZE_PX,
            height_px: SIZE_PX,
            frames: 1,
            lens: SimulatedLens { n_eff, ..base.lens },
            focus_spread_px: 0.0,
            drift: 0.0,
            shaken_share: 0.0,
            exposure_stops: 0.0,
            relief_px: 1500.0,
            ..base
        };
        let made = SimulatedBurst::new(spec).frame(0).unwrap();
        (made.picture, made.truth)
    };
    let ((open, truth), (closed, _)) = (frame(11.0), frame(45.0));
    let s = scored(&[open, closed]);
    println!("{}truth {truth:?}", s.lines());
    let best = |i: usize| s.burst.frames[i].sharpest.unwrap().2.value;
    let area = |i: usize, within_px: f32| {
        let sigmas: Vec<f32> = s.burst.maps[i].tiles.iter().filter_map(Tile::sigma_px).collect();
        sigmas.iter().filter(|v| **v <= within_px).count() as f64 / sigmas.len() as f64
    };
    println!(
        "best plane {:.2} {:.2}; area within 3 px {:.2} {:.2}",
        best(0),
        best(1),
        area(0, 3.0),
        area(1, 3.0)
    );
    assert!(best(0) < best(1));
    assert!(area(0, 3.0) < area(1, 3.0));
    // Both are reported, apart.
    assert!(s.burst.frames.iter().all(|f| f.sharp_area.is_some() && f.sharpest.is_some()));
}
