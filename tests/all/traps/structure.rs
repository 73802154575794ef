//! Things in the frame that look sharp and are not the subject.

use super::*;
use stopwise::simulator::traps::{eye_before_leaf, smooth_eye};

#[test]
fn out_of_focus_and_specular_discs() {
    for (count, seed) in [(40, 2), (40, 5), (100, 2)] {
        let discs = seen(SOFT_PX).with_discs(count, seed);
        let s = scored(&[taken(&seen(0.0), NOISE_DN, 1), taken(&discs, NOISE_DN, 2)]);
        s.only_plain_is_fooled(0, 1);
    }
    // On a nearly sharp frame they do not make it a hit either.
    let discs = seen(NEAR_PX).with_discs(100, 7);
    let s = scored(&[taken(&seen(0.0), NOISE_DN, 1), taken(&discs, NOISE_DN, 2)]);
    assert!(s.plain[1] > s.plain[0], "{}", s.lines());
    assert_ne!(s.call(1), Verdict::Hit, "{}", s.lines());
}

#[test]
fn hairs_across_a_soft_eye() {
    for seed in [2, 3, 5, 8] {
        let hairs = seen(SOFT_PX).with_hairs(6, seed);
        let s = scored(&[taken(&seen(0.0), NOISE_DN, 1), taken(&hairs, NOISE_DN, 2)]);
        s.only_plain_is_fooled(0, 1);
        assert!(s.flagged(1, Flag::Sparse), "{}", s.lines());
        assert_eq!(s.causes(1), [Cause::Misfocused], "{}", s.lines());
    }
    // Alone, hairs over a soft eye and edges of a smooth one cannot be told apart.
    let s = scored(&[taken(&seen(SOFT_PX).with_hairs(6, 2), NOISE_DN, 1)]);
    assert_eq!(s.call(0), Verdict::Unclear, "{}", s.lines());
    // Hairs over a sharp eye cost it nothing.
    let s = scored(&[
        taken(&seen(0.0), NOISE_DN, 1),
        taken(&seen(0.0).with_hairs(3, 3), NOISE_DN, 2),
        taken(&seen(SOFT_PX), NOISE_DN, 3),
    ]);
    assert_eq!(s.call(1), Verdict::Hit, "{}", s.lines());
}

#[test]
fn a_sharp_leaf_behind_a_soft_eye() {
    for seed in [1, 4] {
        let s = scored(&[
            taken(&eye_before_leaf(seed, false), NOISE_DN, 1),
            taken(&eye_before_leaf(seed, true), NOISE_DN, 2),
        ]);
        s.only_plain_is_fooled(0, 1);
        assert_eq!(s.causes(1), [Cause::Misfocused], "{}", s.lines());
    }
}

#[test]
fn sensor_dust() {
    // The same spots in the same places of every frame, most of all at closed apertures.
    let dusty = |disc_px| taken(&seen(disc_px).with_dust(250, 4), NOISE_DN, 2);
    let s = scored(&[taken(&seen(0.0), NOISE_DN, 1), dusty(SOFT_PX)]);
    s.only_plain_is_fooled(0, 1);
    let s = scored(&[dusty(0.0), dusty(NEAR_PX), dusty(SOFT_PX)]);
    assert!(s.energy(0) > s.energy(1) && s.energy(1) > s.energy(2), "{}", s.lines());
    assert_eq!(s.burst.best, Some(0), "{}", s.lines());
    assert_eq!(s.call(2), Verdict::Miss, "{}", s.lines());
}

#[test]
fn aliasing() {
    // Facets finer than the pixels: the plain score of the false pattern beats true detail of
    // a nearly sharp frame, and the pattern is flagged.
    let fine = scored(&[taken(&close_up(eye(1, 1.6, 0.0)), NOISE_DN, 1)]);
    let near = scored(&[taken(&seen(NEAR_PX), NOISE_DN, 1)]);
    assert!(fine.plain[0] > near.plain[0], "{}{}", fine.lines(), near.lines());
    assert!(fine.flagged(0, Flag::Aliased), "{}", fine.lines());
    // Across two pixels of pitch; usual pitches are not doubted.
    for (pitch_px, doubted) in [(1.9, true), (2.5, true), (6.0, false), (9.0, false), (14.0, false)]
    {
        let s = scored(&[taken(&close_up(eye(1, pitch_px, 0.0)), NOISE_DN, 1)]);
        assert_eq!(s.flagged(0, Flag::Aliased), doubted, "{pitch_px}: {}", s.lines());
    }
    assert!(!near.flagged(0, Flag::Aliased));
}

#[test]
fn an_eye_without_texture() {
    // The mirror image of a diffuser is all there is: never a clean hit, and said so.
    let s = scored(&[taken(&smooth_eye(), NOISE_DN, 1)]);
    assert_eq!(s.call(0), Verdict::Unclear, "{}", s.lines());
    assert_eq!(s.causes(0), [Cause::NoTexture], "{}", s.lines());
    let s = scored(&[taken(&smooth_eye(), NOISE_DN, 1), taken(&smooth_eye(), NOISE_DN, 2)]);
    for i in 0..2 {
        assert!(s.flagged(i, Flag::Sparse), "{}", s.lines());
        assert_ne!(s.call(i), Verdict::Hit, "{}", s.lines());
    }
}

#[test]
fn texture_everywhere_is_not_taken_for_noise_of_the_burst() {
    // A frame full of facets reads its texture as noise; a softer frame of the burst knows better.
    let s = scored(&[taken(&eye(1, 9.0, 0.0), 2.0, 1), taken(&eye(1, 9.0, SOFT_PX), 2.0, 2)]);
    assert!(s.energy(0) > s.energy(1), "{}", s.lines());
    assert_eq!(s.call(0), Verdict::Hit, "{}", s.lines());
    assert_eq!(s.call(1), Verdict::Miss, "{}", s.lines());
    // Alone it cannot be judged, and nothing is claimed.
    let s = scored(&[taken(&eye(1, 9.0, 0.0), 2.0, 1)]);
    assert_eq!(s.call(0), Verdict::Unclear, "{}", s.lines());
}
