//! What must hold for any picture: noise is no detail, light is no sharpness, a turn of the
//! picture turns its scales, threads do not show.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use rayon::prelude::*;
use stopwise::core::random::SplitMix64;
use stopwise::core::{Luma, Plane};
use stopwise::sharpness::band_noise::BandNoise;
use stopwise::sharpness::pyramid::Pyramid;
use stopwise::sharpness::subject::{SubjectBox, SubjectSums};
use stopwise::simulator::patch::{PatchKind, noiseless_patch};
use stopwise::tracking::frame_features::FrameFeatures;

const SIDE_PX: usize = 256;

fn view(data: &[u8], side_px: usize) -> Luma<'_> {
    Luma::U8 { data, channels: 1, width_px: side_px, height_px: side_px }
}

fn noisy(plane: &Plane, sigma_dn: f64, seed: u64) -> Vec<u8> {
    let mut random = SplitMix64::new(seed);
    plane
        .data
        .iter()
        .map(|v| (f64::from(*v) + sigma_dn * random.normal()).round().clamp(0.0, 255.0) as u8)
        .collect()
}

fn boxed(data: &[u8], noise: &BandNoise) -> SubjectBox {
    let middle = SIDE_PX as f64 / 2.0;
    SubjectSums::measure(&view(data, SIDE_PX), middle, middle).unwrap().under(noise)
}

/// What a scene is made of: kind, blur (px) and seed.
fn any_scene() -> impl Strategy<Value = (PatchKind, f64, u64)> {
    (prop_oneof![Just(PatchKind::Edges), Just(PatchKind::DeadLeaves)], 0.6f64..4.0, 0u64..1000)
}

fn drawn((kind, sigma_px, seed): (PatchKind, f64, u64)) -> Plane {
    noiseless_patch(kind, sigma_px, seed, SIDE_PX)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 12,
        max_shrink_iters: 4,
        // The same pictures on every machine and in every run.
        rng_seed: RngSeed::Fixed(7),
        ..ProptestConfig::default()
    })]

    /// Four standard errors, and what rounding and cut-off tails may add.
    #[test]
    fn noise_does_not_raise_focus(scene in any_scene(), sigma_dn in 0.5f64..20.0, seed: u64) {
        let scene = drawn(scene);
        let clean = boxed(&noisy(&scene, 0.0, 0), &BandNoise::white(0.3));
        let with = boxed(&noisy(&scene, sigma_dn, seed), &BandNoise::white(sigma_dn.hypot(0.289)));
        let most = clean.energy * 1.05 + 4.0 * with.energy_std_err;
        prop_assert!(with.energy < most, "{} {} {}", with.energy, clean.energy, with.energy_std_err);
        prop_assert!(with.dense_energy < clean.dense_energy.max(0.0) + 0.5 * clean.energy
            + 8.0 * with.energy_std_err, "{} {}", with.dense_energy, clean.dense_energy);
    }

    /// In 16 bits, so that rounding to whole steps does not come in; noise is taken to follow.
    #[test]
    fn a_gain_leaves_blur(scene in any_scene(), gain in 0.4f32..1.0) {
        let sigma_px = scene.1;
        let scene = drawn(scene);
        let of = |gain: f32| {
            let data: Vec<u16> = scene.data.iter().map(|v| (257.0 * gain * v) as u16).collect();
            let luma = Luma::U16 { data: &data, width_px: SIDE_PX, height_px: SIDE_PX };
            let middle = SIDE_PX as f64 / 2.0;
            let noise = BandNoise::white(2.0 * f64::from(gain));
            SubjectSums::measure(&luma, middle, middle).unwrap().under(&noise)
        };
        let (a, b) = (of(1.0), of(gain));
        let (a_px, b_px) = (a.tile.sigma_px(), b.tile.sigma_px());
        prop_assert_eq!(a_px.is_some(), b_px.is_some());
        prop_assert!(a_px.is_some() || sigma_px > 3.0, "no edges at {} px", sigma_px);
        if let (Some(a), Some(b)) = (a_px, b_px) {
            // Where two scales meet (1.5 and 3 px) rounding decides which one is read, and they
            // agree to 15 %.
            prop_assert!((a - b).abs() < 0.02 + 0.15 * a, "{a} {b}");
        }
        let far = (a.energy - b.energy).abs();
        prop_assert!(far < 0.05 * a.energy.abs() + a.energy_std_err, "{} {}", a.energy, b.energy);
    }

    /// Turned by a right angle about the middle sample of an odd side, so that every level's
    /// grid falls on itself.
    #[test]
    fn a_turn_of_the_picture_turns_its_scales(scene in any_scene(), seed: u64) {
        let data = noisy(&drawn(scene), 1.5, seed);
        // Level 1 and 2 keep even samples: the side must be 1 more than a multiple of 4.
        let side = SIDE_PX - 3;
        let cut = |x: usize, y: usize| data[y * SIDE_PX + x];
        let straight: Vec<u8> = (0..side * side).map(|i| cut(i % side, i / side)).collect();
        let turned: Vec<u8> =
            (0..side * side).map(|i| cut(i / side, side - 1 - i % side)).collect();
        let sums = |data: &[u8]| {
            let luma = view(data, side);
            let pyramid = Pyramid::new(&luma);
            (pyramid.level1.clone(), pyramid.smooth2.clone())
        };
        let ((a1, a2), (b1, b2)) = (sums(&straight), sums(&turned));
        for (a, b) in [(a1, b1), (a2, b2)] {
            let n = a.width;
            for y in 0..n {
                for x in 0..n {
                    // Rows are rounded before columns: one eighth of a step may differ a level.
                    let (p, q) = (a.data[y * n + x], b.data[x * n + n - 1 - y]);
                    prop_assert!((p - q).abs() <= 2, "{x} {y}: {p} {q}");
                }
            }
        }
    }
}

#[test]
fn threads_change_no_result() {
    let frames: Vec<Vec<u8>> = (0..6)
        .map(|i| noisy(&noiseless_patch(PatchKind::DeadLeaves, 1.0 + i as f64, i, SIDE_PX), 2.0, i))
        .collect();
    let in_pool = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            frames
                .par_iter()
                .map(|f| format!("{:?}", FrameFeatures::measure(&view(f, SIDE_PX)).unwrap()))
                .collect::<Vec<String>>()
        })
    };
    let one = in_pool(1);
    assert!(one[0].contains("level1") && one[0] != one[1]);
    assert!(one == in_pool(4));
}
