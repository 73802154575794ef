//! Registration against motions that are known by construction, and against SciPy's.

use stopwise::core::random::SplitMix64;
use stopwise::core::{Plane, Tone};
use stopwise::noise::spectrum::{RINGS, Spectrum, ring_cy_px};
use stopwise::tracking::registration::{RegisteredMotion, phase_shift, register, resampled};

use crate::synthetic::{add, gaussian, white};

/// Waves of all frequencies up to `top`, read at places moved by `motion`: exact at any place.
fn waves(side: usize, motion: &RegisteredMotion, top: f64, blur_px: f64) -> Plane {
    let mut random = SplitMix64::new(77);
    let list: Vec<[f64; 4]> = (0..100)
        .map(|_| {
            let f = 0.008 * (top / 0.008).powf(random.uniform());
            let angle = random.between(0.0, std::f64::consts::TAU);
            let phase = random.between(0.0, std::f64::consts::TAU);
            // Amplitude falls as 1/f, as in natural scenes.
            let soft = (-2.0 * (std::f64::consts::PI * blur_px * f).powi(2)).exp();
            [f * angle.cos(), f * angle.sin(), phase, 0.09 / f.max(0.01) * soft]
        })
        .collect();
    let middle = (side as f64 - 1.0) / 2.0;
    // The place p of the reference is at p + motion(p): read the other way round.
    let (sin, cos) = motion.turn_rad.sin_cos();
    Plane::from_fn(side, side, Tone::Encoded, |x, y| {
        let (u, v) = (x as f64 - middle - motion.dx_px, y as f64 - middle - motion.dy_px);
        let (p, q) = ((cos * u + sin * v) / motion.scale, (cos * v - sin * u) / motion.scale);
        let sum: f64 = list
            .iter()
            .map(|[fx, fy, phase, a]| a * (std::f64::consts::TAU * (fx * p + fy * q) + phase).sin())
            .sum();
        (110.0 + sum) as f32
    })
}

#[test]
fn the_phase_finds_shifts_to_a_tenth_of_a_pixel() {
    for (dx, dy) in [(0.0, 0.0), (0.37, -0.62), (3.25, 1.5), (-17.4, 9.81)] {
        let motion = RegisteredMotion { dx_px: dx, dy_px: dy, ..RegisteredMotion::NONE };
        let still = waves(300, &RegisteredMotion::NONE, 0.3, 0.0);
        let moved = waves(300, &motion, 0.3, 0.0);
        let (x, y) = phase_shift(&still, &moved).unwrap();
        // What leaves the square at the border is not shared: 17 of 300 px are a tenth of a pixel.
        let within = if dx.hypot(dy) > 5.0 { 0.3 } else { 0.1 };
        assert!((x - dx).hypot(y - dy) < within, "{dx} {dy}: {x} {y}");
    }
}

// Frames from f/4 to f/22 differ in blur and noise: the reference sharp, the other blurred.
#[test]
fn motions_are_found_through_blur_and_noise() {
    let cases = [
        (0.0, 0.0, 0.0, 1.0),
        (0.41, -0.27, 0.0, 1.0),
        (3.0, -2.0, 1.0, 1.0),
        (-2.3, 1.1, -0.6, 1.002),
        (8.0, 12.0, 0.3, 0.996),
    ];
    for (k, (dx, dy, degrees, scale)) in cases.into_iter().enumerate() {
        let turn_rad = f64::to_radians(degrees);
        let truth = RegisteredMotion { dx_px: dx, dy_px: dy, turn_rad, scale };
        for (blur_px, noise) in [(0.0, 0.0), (1.5, 3.0), (3.5, 6.0)] {
            let still = add(
                &waves(320, &RegisteredMotion::NONE, 0.3, 0.0),
                &white(320, 320, 1.0, 5),
                noise,
            );
            let seed = 100 + k as u64;
            let moved = add(&waves(320, &truth, 0.3, blur_px), &white(320, 320, 1.0, seed), noise);
            let found = register(&still, &moved).unwrap();
            for (x, y) in [(0.0, 0.0), (120.0, 120.0), (-120.0, 120.0)] {
                let (want, got) = (truth.at(x, y), found.motion.at(x, y));
                let off = (want.0 - got.0).hypot(want.1 - got.1);
                // A turn found to 0.2 mrad is 0.03 px off at the corner.
                let within = if noise > 3.0 {
                    0.06
                } else if x == 0.0 {
                    0.02
                } else {
                    0.03
                };
                assert!(off < within, "case {k} blur {blur_px}: off by {off} px at {x} {y}");
            }
            assert!(found.correlation > 0.9, "{}", found.correlation);
        }
    }
}

#[test]
fn other_subjects_do_not_correlate() {
    let a = gaussian(&white(256, 256, 100.0, 1), 2.0);
    let b = gaussian(&white(256, 256, 100.0, 2), 2.0);
    assert!(register(&a, &b).is_none_or(|r| r.correlation < 0.3));
    assert!(register(&a, &b.cut(0, 0, 200, 256)).is_none());
    assert!(phase_shift(&a.cut(0, 0, 20, 20), &b.cut(0, 0, 20, 20)).is_none());
}

#[test]
fn resampling_keeps_detail_and_noise_up_to_0_42_cycles() {
    let noise = white(400, 400, 10.0, 3);
    for (dx, degrees) in [(0.5, 0.0), (0.25, 1.0)] {
        let motion = RegisteredMotion {
            dx_px: dx,
            dy_px: -dx,
            turn_rad: f64::to_radians(degrees),
            scale: 1.0,
        };
        let before = Spectrum::of(&noise.cut(24, 24, 352, 352)).unwrap();
        let after = Spectrum::of(&resampled(&noise, &motion, 24)).unwrap();
        for r in 2..RINGS {
            let gain = after.power[r] / before.power[r];
            // Other noise samples at the border and between: 3 % is four standard errors.
            let least = if ring_cy_px(r) < 0.42 { 0.95 } else { 0.4 };
            assert!((least..1.05).contains(&gain), "ring {r}: {gain}");
        }
    }
    // And puts things where they belong.
    let motion = RegisteredMotion { dx_px: 2.3, dy_px: -1.7, turn_rad: 0.01, scale: 1.001 };
    let (still, moved) =
        (waves(256, &RegisteredMotion::NONE, 0.4, 0.0), waves(256, &motion, 0.4, 0.0));
    let back = resampled(&moved, &motion, 24);
    let want = still.cut(24, 24, 208, 208);
    let worst = back.data.iter().zip(&want.data).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
    // The window's ripple is 0.5 % (Kaiser, 45 dB) of what is fine in the picture, some 60 DN.
    assert!(worst < 0.3, "{worst}");
}

// SciPy 1.17 turned gravel.png by 0.8 degrees and shifted it by 2.3, -1.6 px (spline of order 5;
// testdata/moved_pictures.py), once as it is and once blurred by a Gaussian of 2 px. On a plain
// shift of 0.37, -0.62 scikit-image's phase_cross_correlation is 0.09 px off sharp and 0.47 px off
// through that blur, which is why registration does not stop at the phase.
#[test]
fn motions_made_by_scipy_are_found() {
    let still = crate::synthetic::picture("gravel.png").cut(100, 120, 256, 256);
    for name in ["gravel_moved.png", "gravel_soft.png"] {
        let found = register(&still, &crate::synthetic::picture(name)).unwrap().motion;
        approx::assert_abs_diff_eq!(found.dx_px, 2.3, epsilon = 0.02);
        approx::assert_abs_diff_eq!(found.dy_px, -1.6, epsilon = 0.02);
        approx::assert_abs_diff_eq!(found.turn_rad.to_degrees(), 0.8, epsilon = 0.01);
        approx::assert_abs_diff_eq!(found.scale, 1.0, epsilon = 2e-4);
    }
}

// Unregistered, half a pixel costs a third of D; registered under 2 %.
#[test]
fn registered_pairs_keep_their_detail() {
    use crate::synthetic::detail_of_pair;
    let frame = |m: &RegisteredMotion, seed| {
        add(&waves(384, m, 0.45, 0.0), &white(384, 384, 1.0, seed), 3.0)
    };
    let still = frame(&RegisteredMotion::NONE, 1);
    let cut = |p: &Plane| p.cut(24, 24, 336, 336);
    let at_rest = detail_of_pair(&cut(&still), &cut(&frame(&RegisteredMotion::NONE, 2)));
    for (dx, dy, degrees) in [(0.5, 0.5, 0.0), (3.0, -2.0, 1.0)] {
        let truth = RegisteredMotion {
            dx_px: dx,
            dy_px: dy,
            turn_rad: f64::to_radians(degrees),
            scale: 1.0,
        };
        let moved = frame(&truth, 2);
        let loose = detail_of_pair(&cut(&still), &cut(&moved));
        let found = register(&still, &moved).unwrap();
        let back = resampled(&moved, &found.motion, 24);
        let held = detail_of_pair(&cut(&still), &back);
        assert!(loose < 0.9 * at_rest, "{loose} of {at_rest}");
        assert!((held / at_rest - 1.0).abs() < 0.03, "{held} of {at_rest}");
    }
}
