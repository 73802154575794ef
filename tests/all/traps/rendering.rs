//! Noise, sharpening, compression, scaling: what is done to a frame after its light is taken.

use super::*;
use stopwise::core::Plane;
use stopwise::core::stats::median;
use stopwise::sharpness::focus_map::FrameCells;
use stopwise::sharpness::pyramid::Pyramid;
use stopwise::simulator::sensor::{SimulatedRendering, SimulatedSensor, developed};

use crate::synthetic::detail_of_pair;

#[test]
fn noise_counted_as_detail() {
    let (sharp, near, soft) = (seen(0.0), seen(NEAR_PX), seen(SOFT_PX));
    // A quiet sharp frame against ever noisier soft ones, as a burst at automatic ISO has them.
    for noise_dn in [4.0, 8.0] {
        let s = scored(&[taken(&sharp, 1.0, 1), taken(&near, 1.0, 2), taken(&soft, noise_dn, 3)]);
        s.only_plain_is_fooled(0, 2);
    }
    // One noise for all: the order never changes, and what is drowned is never called sharp.
    for noise_dn in [0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0] {
        let of = |light, seed| taken(light, noise_dn, seed);
        let s = scored(&[of(&sharp, 1), of(&near, 2), of(&soft, 3)]);
        let lines = s.lines();
        assert!(s.energy(0) > s.energy(1) && s.energy(1) > s.energy(2), "{noise_dn}\n{lines}");
        assert!(matches!(s.call(2), Verdict::Miss | Verdict::Unclear), "{noise_dn}\n{lines}");
        if noise_dn <= 8.0 {
            assert_eq!(s.call(0), Verdict::Hit, "{noise_dn}\n{lines}");
        }
        if s.noise_share(2) > 0.9 && s.burst.best == Some(0) {
            assert!(s.call(2) != Verdict::Hit && s.call(2) != Verdict::Near, "{noise_dn}\n{lines}");
        }
    }
}

#[test]
fn a_frame_drowned_in_noise_cannot_be_judged() {
    let s = scored(&[taken(&seen(SOFT_PX), 40.0, 1)]);
    assert!(s.noise_share(0) > 0.9, "{}", s.lines());
    assert_eq!(s.call(0), Verdict::Unclear, "{}", s.lines());
    assert_eq!(s.causes(0), [Cause::Noise], "{}", s.lines());
}

/// Variance of the level-1 Laplacian that noise alone makes, truth over reading.
fn band_noise_reading(frame: &RenderedPicture, clean: &RenderedPicture) -> f64 {
    let cells = |p: &RenderedPicture| {
        let data = p.luma();
        let luma =
            Luma::U8 { data: &data, channels: 1, width_px: p.width_px, height_px: p.height_px };
        FrameCells::measure(&luma, &Pyramid::new(&luma)).unwrap()
    };
    let read = cells(frame).noise().unwrap();
    // Between two takes of one scene only noise differs; its Laplacian is that of either, twice.
    let difference = RenderedPicture {
        data: frame
            .luma()
            .iter()
            .zip(clean.luma())
            .map(|(a, b)| (128 + i32::from(*a) - i32::from(b)).clamp(0, 255) as u8)
            .collect(),
        channels: 1,
        ..*frame
    };
    let mut ratios: Vec<f64> = cells(&difference)
        .level1
        .iter()
        .zip(&cells(frame).level1)
        .filter(|(_, f)| f.mean > 30.0 && f.mean < 225.0)
        .map(|(d, f)| read.levels[1].lap.at(f.mean) / (f64::from(d.lap) / 2.0))
        .collect();
    median(&mut ratios).unwrap()
}

fn plain_noise_is_wrong_by(frame: &RenderedPicture, other: &RenderedPicture, sigma_dn: f64) -> f64 {
    let difference = Plane {
        data: frame
            .luma_plane()
            .data
            .iter()
            .zip(&other.luma_plane().data)
            .map(|(a, b)| a - b)
            .collect(),
        ..frame.luma_plane()
    };
    20.0 * sigma_dn * sigma_dn / (laplacian_variance(&difference) / 2.0)
}

#[test]
fn subtracting_twenty_sigma_squared() {
    let light = seen(SOFT_PX);
    let white = |seed| taken(&light, 4.0, seed);
    let smooth = |p: &RenderedPicture| p.sharpened(0.7, -0.8);
    let packed = |seed| through_jpeg(&white(seed), 80);
    let rendering = SimulatedRendering {
        iso: 6400.0,
        exposure: 0.9,
        noise_reduction: 0.0,
        sharpen_px: 0.0,
        sharpen: 0.0,
        contrast: 0.0,
    };
    let mosaic = |seed| developed(&light, &SimulatedSensor::ORDINARY, &rendering, seed);
    let pairs = [
        ("white", white(1), white(2), 0.8..1.25),
        ("smoothed", smooth(&white(1)), smooth(&white(2)), 0.8..1.25),
        ("packed", packed(1), packed(2), 0.6..1.7),
        ("demosaiced", mosaic(1), mosaic(2), 0.7..1.4),
    ];
    let mut worst_plain = 1.0f64;
    for (name, a, b, bounds) in pairs {
        let ours = band_noise_reading(&a, &b);
        let plain = plain_noise_is_wrong_by(&a, &b, 4.0);
        println!("{name}: band noise reads {ours:.2} of the truth, 20 sigma squared {plain:.2}");
        assert!(bounds.contains(&ours), "{name}: {ours}");
        if name == "smoothed" {
            worst_plain = worst_plain.max(plain);
        }
    }
    // traps: after mild smoothing the noise of the Laplacian is 0.15 of 20 sigma squared.
    assert!(worst_plain > 3.0, "{worst_plain}");
}

#[test]
fn camera_sharpening() {
    // The soft frame from a body that sharpens by 200 %, the nearly sharp one from one that does
    // not: the plain score is fooled between bodies. Detail is nearly immune.
    let (near, soft) = (seen(NEAR_PX), seen(SOFT_PX));
    let strong = |p: RenderedPicture| p.sharpened(1.0, 2.0);
    let plain = |p: &RenderedPicture| laplacian_variance(&p.luma_plane());
    let (honest, made) = (taken(&near, NOISE_DN, 1), strong(taken(&soft, NOISE_DN, 2)));
    assert!(plain(&made) > plain(&honest), "{} {}", plain(&made), plain(&honest));
    let detail = |a: RenderedPicture, b: RenderedPicture| {
        let middle = |p: &RenderedPicture| p.luma_plane().cut(160, 160, 192, 192);
        detail_of_pair(&middle(&a), &middle(&b))
    };
    let of = |l: &LinearFrame, s| detail(taken(l, NOISE_DN, s), taken(l, NOISE_DN, s + 1));
    let made = detail(strong(taken(&soft, NOISE_DN, 5)), strong(taken(&soft, NOISE_DN, 6)));
    let (d_near, d_soft) = (of(&near, 1), of(&soft, 5));
    println!("detail: near {d_near:.3}, soft {d_soft:.3}, soft sharpened {made:.3}");
    assert!((made / d_soft - 1.0).abs() < 0.12, "{made} {d_soft}");
    assert!(d_near > made);
    // Like with like: within a burst every frame is sharpened alike and the order stays.
    let s = scored(&[
        taken(&seen(0.0), NOISE_DN, 1).sharpened(1.0, 1.0),
        taken(&near, NOISE_DN, 2).sharpened(1.0, 1.0),
        taken(&soft, NOISE_DN, 3).sharpened(1.0, 1.0),
    ]);
    assert!(s.energy(0) > s.energy(1) && s.energy(1) > s.energy(2), "{}", s.lines());
    assert_eq!(s.call(0), Verdict::Hit, "{}", s.lines());
    assert_eq!(s.call(2), Verdict::Miss, "{}", s.lines());
}

#[test]
fn jpeg_blocks() {
    // Ever stronger compression: the plain score of the soft frame rises, ours stays.
    let soft = taken(&seen(SOFT_PX), 0.0, 2);
    let mut frames = vec![taken(&seen(0.0), 0.0, 1), soft.clone()];
    frames.extend([95, 80, 60, 40].map(|q| through_jpeg(&soft, q)));
    let s = scored(&frames);
    let lines = s.lines();
    assert!(s.plain[5] > 2.0 * s.plain[1], "{lines}");
    for i in 1..frames.len() {
        assert!((s.energy(i) / s.energy(1) - 1.0).abs() < 0.15, "{lines}");
        assert_eq!(s.call(i), Verdict::Miss, "{lines}");
    }
    // The tiles that read as sharp as a hit because of block edges stay few down to quality 60.
    for i in 1..5 {
        assert!(s.burst.frames[i].sharp_area.unwrap() < 0.15, "{lines}");
    }
    // Against a nearly flat sharp scene the blocks win outright.
    let faint = through_jpeg(&taken(&seen(0.0).with_contrast(0.12), 0.0, 1), 95);
    let faint_soft = through_jpeg(&taken(&seen(NEAR_PX).with_contrast(0.12), 0.0, 1), 95);
    let s = scored(&[faint, faint_soft]);
    assert!(s.energy(0) > s.energy(1), "{}", s.lines());
}

#[test]
fn pixel_count_and_scaling() {
    // A half-size copy of a soft frame reads higher than the full-size original of the same.
    let full = taken(&seen(SOFT_PX), 0.0, 1);
    let half = full.halved();
    let plain = |p: &RenderedPicture| laplacian_variance(&p.luma_plane());
    println!("half size: plain {:.1} against {:.1}", plain(&half), plain(&full));
    assert!(plain(&half) > 3.0 * plain(&full));
    // Blur in px of each file is the same blur on the subject.
    let blur = |light: &LinearFrame, half: bool| {
        let p = taken(light, NOISE_DN, 1);
        let s = scored(&[if half { p.halved() } else { p }]);
        s.edge_px(0)
    };
    let wide = close_up(eye(1, 36.0, 16.0));
    let (whole, halved) = (blur(&wide, false), blur(&wide, true));
    println!("half size: blur {halved:.2} px against {whole:.2} px");
    assert!((2.0 * halved / whole - 1.0).abs() < 0.2, "{whole} {halved}");
}

#[test]
fn noise_reduction() {
    // Smoothing takes hairs and facets and leaves edges: a noisy soft frame against a sharp one
    // whose noise the camera removed.
    let smooth = |p: RenderedPicture| p.sharpened(0.6, -0.6);
    let s = scored(&[smooth(taken(&seen(0.0), 4.0, 1)), taken(&seen(SOFT_PX), 8.0, 2)]);
    s.only_plain_is_fooled(0, 1);
}
