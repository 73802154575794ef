//! Exposure, contrast, tone curve, flash and ambient light.

use super::*;

fn exposed(disc_px: f64, stops: f32, seed: u64) -> RenderedPicture {
    encoded(&seen(disc_px), EXPOSURE * stops.exp2(), NOISE_DN, seed)
}

#[test]
fn exposure() {
    // Flash that recycles: the nearly sharp frame got four stops more light than the sharp one.
    let s = scored(&[exposed(0.0, -3.0, 1), exposed(NEAR_PX, 1.0, 2), exposed(SOFT_PX, 1.0, 3)]);
    assert!(s.plain[1] > s.plain[0], "{}", s.lines());
    assert!(s.energy(0) > s.energy(1) && s.energy(1) > s.energy(2), "{}", s.lines());
    assert_eq!(s.call(0), Verdict::Hit, "{}", s.lines());
    assert_ne!(s.call(1), Verdict::Hit, "{}", s.lines());
    // A ladder of one sharp frame: blur and verdict stay.
    let ladder: Vec<RenderedPicture> =
        [-1.5, -1.0, -0.5, 0.0, 0.5, 1.0].iter().map(|e| exposed(0.0, *e, 1)).collect();
    let s = scored(&ladder);
    assert!(s.plain[5] > 1.8 * s.plain[1], "{}", s.lines());
    for i in 0..ladder.len() {
        assert_eq!(s.call(i), Verdict::Hit, "{}", s.lines());
        assert!((s.edge_px(i) - s.edge_px(3)).abs() < 0.08, "{}", s.lines());
        assert!((s.energy(i) / s.energy(3) - 1.0).abs() < 0.2, "{}", s.lines());
    }
}

#[test]
fn contrast() {
    // Edges tell blur whatever their contrast; energy alone does not.
    let of = |disc_px, gain, seed| taken(&seen(disc_px).with_contrast(gain), NOISE_DN, seed);
    let s = scored(&[of(0.0, 0.5, 1), of(NEAR_PX, 2.0, 2), of(SOFT_PX, 2.0, 3)]);
    assert!(s.plain[1] > s.plain[0], "{}", s.lines());
    assert!(s.edge_px(0) < s.edge_px(1) && s.edge_px(1) < s.edge_px(2), "{}", s.lines());
    let alone = |disc_px, gain| scored(&[of(disc_px, gain, 4)]).edge_px(0);
    let sharp_px = alone(0.0, 1.0);
    for gain in [0.5, 1.0, 2.0] {
        let (own_px, near_px) = (alone(0.0, gain), alone(NEAR_PX, gain));
        println!("gain {gain}: sharp {own_px:.3}, near {near_px:.3}");
        assert!((own_px - sharp_px).abs() < 0.08, "{gain}: {own_px} for {sharp_px}");
        assert!((near_px - 0.69).abs() < 0.08, "{gain}: {near_px}");
    }
    // Less contrast at the same sharpness is said to be a veil, not blur.
    let s = scored(&[of(0.0, 1.0, 1), of(0.0, 0.6, 2)]);
    assert!(s.flagged(1, Flag::Veiled) && !s.flagged(0, Flag::Veiled), "{}", s.lines());
}

#[test]
fn tone_curve() {
    let of = |disc_px, gamma, seed| taken(&seen(disc_px), NOISE_DN, seed).with_gamma(gamma);
    let s = scored(&[of(0.0, 0.45, 1), of(NEAR_PX, 1.6, 2), of(SOFT_PX, 1.6, 3)]);
    assert!(s.energy(0) > s.energy(1) && s.energy(1) > s.energy(2), "{}", s.lines());
    assert_eq!(s.call(0), Verdict::Hit, "{}", s.lines());
    for gamma in [0.6, 1.0, 1.6] {
        let s = scored(&[of(NEAR_PX, gamma, 1)]);
        println!("gamma {gamma}: plain {:.1}, blur {:.2}", s.plain[0], s.edge_px(0));
        assert!((s.edge_px(0) - 0.69).abs() < 0.1, "{gamma}: {}", s.lines());
    }
}

#[test]
fn flash_plus_ambient() {
    // Still looks sharp: the flash's edges are. It must not pass for a clean hit.
    let ghosted = |share, length_px, angle_deg| {
        close_up(eye(1, 9.0, 0.0).ghosted(share, length_px, angle_deg))
    };
    for (share, length_px, angle_deg) in [(0.3, 15.0, 20.0), (0.3, 8.0, 100.0), (0.5, 15.0, 60.0)] {
        let s = scored(&[
            taken(&seen(0.0), NOISE_DN, 1),
            taken(&ghosted(share, length_px, angle_deg), NOISE_DN, 2),
            taken(&seen(SOFT_PX), NOISE_DN, 3),
        ]);
        assert!(s.plain[1] > 1.5 * s.plain[2], "{}", s.lines());
        assert_eq!(s.burst.best, Some(0), "{}", s.lines());
        assert!(s.flagged(1, Flag::Veiled), "{}", s.lines());
        assert!(!s.flagged(0, Flag::Veiled) && !s.flagged(2, Flag::Veiled), "{}", s.lines());
    }
}
