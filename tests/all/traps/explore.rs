use super::*;
use stopwise::demo::traps::*;
use stopwise::demo::file::jpeg;

pub fn show(name: &str, frames: &[Picture]) {
    let j = judged(frames);
    println!("== {name} ratio {:.1} seen {} best {:?} ref {:?} soft {}", j.noise.ratio, j.noise_seen, j.best, j.reference_px, j.best_is_soft);
    for (p, f) in frames.iter().zip(&j.frames) {
        let b = f.subject.as_ref();
        println!("   plain {:9.1} | {:?} E {:9.1} +- {:7.1} share {:.2} edge {:?} judged {:?} mv {:?} clip {:.2} sharp {:?} area {:?} cl {} {:?} {:?}", plain(p), f.call,
            b.map_or(0.0, |b| b.energy), b.map_or(0.0, |b| b.energy_std_err), b.map_or(0.0, |b| b.noise_share), b.map(|b| b.tile), f.judged_px.map(|m| m.value),
            f.movement.map(|m| (m.smear.length_px, m.smear.direction_deg, m.whole_frame)), b.map_or(0.0, |b| b.clipped),
            f.sharpest.map(|s| s.2.value), f.sharp_area, f.sharp_cluster,
            f.causes.iter().map(|c| (c.cause, c.share)).collect::<Vec<_>>(), f.flags.iter().map(|f| f.key()).collect::<Vec<_>>());
    }
}

pub fn through_jpeg(p: &Picture, q: u8) -> Picture {
    let bytes = jpeg(p, q, true, None).unwrap();
    let img = image::load_from_memory(&bytes).unwrap().to_luma8();
    Picture { width_px: p.width_px, height_px: p.height_px, channels: 1, data: img.into_raw() }
}

#[test]
fn explore() {
    println!("lens sigma {}", LENS.sigma_px(0.0));
    let (sharp, soft) = (eye(1, 9.0, 0.0), eye(1, 9.0, 8.0));
    let mid = eye(1, 9.0, 4.0);
    let t = |l: &LinearFrame, n: f64, s: u64| taken(l, n, s);
    show("clean", &[t(&sharp, 0.0, 1), t(&mid, 0.0, 2), t(&soft, 0.0, 3)]);
    show("sharp alone noise 2", &[t(&sharp, 2.0, 1)]);
    show("soft alone noise 2", &[t(&soft, 2.0, 1)]);
    for n in [1.0, 2.0, 4.0, 8.0, 16.0, 32.0] {
        show(&format!("noise {n}"), &[t(&sharp, n, 1), t(&mid, n, 2), t(&soft, n, 3)]);
    }
    show("uneven noise: sharp 1, soft 8", &[t(&sharp, 1.0, 1), t(&mid, 4.0, 2), t(&soft, 8.0, 3)]);
    show("discs", &[t(&sharp, 1.5, 1), t(&soft, 1.5, 2), t(&soft.clone().with_discs(25, 2), 1.5, 3)]);
    show("discs 100", &[t(&sharp, 1.5, 1), t(&soft, 1.5, 2), t(&soft.clone().with_discs(100, 2), 1.5, 3)]);
    show("hairs", &[t(&sharp, 1.5, 1), t(&soft, 1.5, 2), t(&soft.clone().with_hairs(6, 2), 1.5, 3), t(&soft.clone().with_hairs(6, 3), 1.5, 4),t(&soft.clone().with_hairs(12, 4), 1.5, 4), t(&mid.clone().with_hairs(6, 5), 1.5, 4)]);
    show("leaf", &[t(&eye_before_leaf(1, false), 1.5, 1), t(&eye_before_leaf(1, true), 1.5, 2)]);
    let sh = |l: &LinearFrame, n: f64, s: u64| taken(l, n, s).sharpened(1.0, 1.0);
    show("camera sharpening all", &[sh(&sharp, 1.5, 1), sh(&mid, 1.5, 2), sh(&soft, 1.5, 3)]);
    show("camera sharpening soft only", &[t(&sharp, 1.5, 1), sh(&mid, 1.5, 2), sh(&soft, 1.5, 3)]);
    for q in [98, 95, 90, 80, 60, 40] {
        let f = |l: &LinearFrame, s| through_jpeg(&taken(l, 0.0, s), q);
        show(&format!("jpeg {q}"), &[f(&sharp, 1), f(&mid, 2), f(&soft, 3)]);
    }
    show("jpeg mixed: sharp 98 soft 60 40", &[through_jpeg(&t(&sharp, 0.0, 1), 98), through_jpeg(&t(&soft, 0.0, 2), 98), through_jpeg(&t(&soft, 0.0, 2), 80), through_jpeg(&t(&soft, 0.0, 2), 60), through_jpeg(&t(&soft, 0.0, 2), 40)]);
    show("jpeg noise 1.5 q 80", &[through_jpeg(&t(&sharp, 1.5, 1), 80), through_jpeg(&t(&mid, 1.5, 1), 80), through_jpeg(&t(&soft, 1.5, 2), 80)]);
}

#[test]
fn explore2() {
    let (sharp, soft) = (eye(1, 9.0, 0.0), eye(1, 9.0, 8.0));
    let mid = eye(1, 9.0, 4.0);
    let t = |l: &LinearFrame, n: f64, s: u64| taken(l, n, s);
    let e = |l: &LinearFrame, stops: f32, s| encoded(l, 1.15 * stops.exp2(), 1.5, s);
    show("exposure: soft brighter", &[e(&sharp, -0.5, 1), e(&mid, 0.5, 2), e(&soft, 1.0, 3), e(&sharp, 0.5, 4), e(&sharp, 1.0, 5), e(&sharp, -2.0, 6)]);
    show("contrast", &[t(&sharp.clone().with_contrast(0.5), 1.5, 1), t(&mid.clone().with_contrast(2.0), 1.5, 2), t(&soft.clone().with_contrast(2.0), 1.5, 3), t(&sharp.clone().with_contrast(1.0), 1.5, 3)]);
    show("gamma", &[t(&sharp, 1.5, 1).with_gamma(0.6), t(&mid, 1.5, 2).with_gamma(1.6), t(&soft, 1.5, 3).with_gamma(1.6), t(&sharp, 1.5, 4), t(&sharp, 1.5, 5).with_gamma(1.6)]);
    for l in [3.0, 5.0, 8.0] {
        let (a, b) = shaken_and_defocused(1, l);
        show(&format!("shake {l}"), &[t(&sharp, 1.5, 1), t(&a, 1.5, 2), t(&b, 1.5, 3)]);
    }
    for (s, l) in [(0.3, 15.0), (0.3, 8.0), (0.5, 15.0), (0.15, 15.0)] {
        show(&format!("ghost {s} {l}"), &[t(&sharp, 1.5, 1), t(&sharp.clone().ghosted(s, l, 20.0), 1.5, 2), t(&soft, 1.5, 3)]);
    }
    let m = |c, r, l| sharp.clone().with_moving_patch(c, r, l, 30.0);
    show("moving patch", &[t(&sharp, 1.5, 1), t(&m((256.0, 256.0), 110.0, 8.0), 1.5, 2), t(&m((256.0, 256.0), 80.0, 8.0), 1.5, 2), t(&m((100.0, 100.0), 80.0, 8.0), 1.5, 3)]);
    show("dust", &[t(&sharp, 1.5, 1), t(&soft, 1.5, 2), t(&soft.clone().with_dust(15, 2), 1.5, 3), t(&soft.clone().with_dust(150, 2), 1.5, 3)]);
    show("aliasing", &[t(&eye(1, 1.6, 0.0), 1.5, 1), t(&eye(1, 1.6, 8.0), 1.5, 2)]);
    for p in [1.6, 1.9, 2.5, 4.0, 6.0] { show(&format!("pitch {p}"), &[t(&eye(1, p, 0.0), 1.0, 1)]); }
    show("half: sharp full, ", &[t(&sharp, 1.5, 1), t(&soft, 1.5, 2)]);
    show("half: soft half", &[t(&soft, 1.5, 2).halved()]);
    show("smooth eye", &[t(&smooth_eye(), 1.5, 1), t(&smooth_eye(), 1.5, 2)]);
    show("smooth eye and facets", &[t(&smooth_eye(), 1.5, 1), t(&sharp, 1.5, 2)]);
}
