//! Every limit of a clip's verdicts on both sides, on readings put together by hand.

use super::*;

/// A frame with edges of a blur and this energy.
fn read(sigma_px: f64, energy: f64) -> ReadFrame {
    let tile = Tile::Blur { sigma_px: sigma_px as f32, std_err_px: 0.05 };
    let reading = BoxReading { tile, energy, noise_share: 0.1, at_border: false };
    ReadFrame { t_s: 0.0, reading: Some(reading), profile: None }
}

/// Energy at edges of a blur, 1000 in a picture of 1 px.
fn energy_at(px: f64) -> f64 {
    1000.0 * ((1.0 + S1_SQUARED[1]) / (px * px + S1_SQUARED[1])).powf(1.5)
}

/// A clip of frames of these blurs, 25 a second.
fn clip(blurs: &[f64]) -> Vec<ReadFrame> {
    let frame =
        |(i, px): (usize, &f64)| ReadFrame { t_s: i as f64 / 25.0, ..read(*px, energy_at(*px)) };
    blurs.iter().enumerate().map(frame).collect()
}

fn sample(sharp_px: f32, tiles: u32) -> Sample {
    let sharper = SHARP_CLASSES_PX.map(|class| if class >= sharp_px { tiles } else { 0 });
    Sample { frame: 0, noise: None, sharper }
}

#[test]
fn the_best_frames_are_a_share_of_all_and_a_few_at_least() {
    let count = |frames: usize| {
        let best = BestFrames::of(&clip(&vec![1.0; frames]));
        best.px.map(|m| m.n as usize)
    };
    let few = (BEST.1 as f64 / BEST.0) as usize;
    assert_eq!(count(few), Some(BEST.1));
    let more = ((BEST.1 + 1) as f64 / BEST.0).ceil() as usize;
    assert_eq!([count(more - 1), count(more)], [Some(BEST.1), Some(BEST.1 + 1)]);
    assert_eq!([count(2), count(0)], [Some(2), None]);
    // Of most energy first; a frame without edges is none of them.
    let mut frames = clip(&[2.0, 1.0, 1.2, 1.5]);
    frames[1].reading.as_mut().unwrap().tile = Tile::NoTexture;
    let best = BestFrames::of(&frames);
    assert_eq!((best.first, best.px.unwrap().n), (Some(2), 3));
    assert!((best.sigma_px.unwrap() - 1.5).abs() < 1e-6, "{best:?}");
}

#[test]
fn the_reference_is_the_middle_of_the_sharpest_part() {
    let of = |frames: usize| {
        let course: Vec<Option<f64>> =
            (0..frames).map(|k| Some((1.0 + 0.01 * k as f64).powi(2))).collect();
        sharpest_px(&course).unwrap()
    };
    // The middle of three, and of five.
    assert!((of(REFERENCE.1) - 1.01).abs() < 1e-9);
    assert!((of((3.9 / REFERENCE.0) as usize) - 1.01).abs() < 1e-9);
    assert!((of((5.1 / REFERENCE.0) as usize) - 1.02).abs() < 1e-9);
    assert_eq!(sharpest_px(&[None]), None);
    assert!((sharpest_px(&[Some(1e-4)]).unwrap() - REFERENCE_FLOOR_PX).abs() < 1e-12);
}

#[test]
fn energy_weighs_more_than_edges_and_is_all_where_no_edge_is_seen() {
    let edges = |px| Tile::Blur { sigma_px: px, std_err_px: 0.1 };
    let both = blur_judged(edges(16.0), energy_at(1.0), 1.0, 1000.0);
    assert!((both - 16f64.powf(EDGES_WEIGHT)).abs() < 1e-9, "{both}");
    let both = blur_judged(edges(1.0), energy_at(4.0), 1.0, 1000.0);
    assert!((both - 4f64.powf(1.0 - EDGES_WEIGHT)).abs() < 1e-9, "{both}");
    let energy = |energy| blur_judged(Tile::NoTexture, energy, 1.0, 1000.0);
    assert!((energy(energy_at(4.0)) - 4.0).abs() < 1e-9);
    // Below a share of the best energy only noise would decide.
    let least = MIN_ENERGY * 1000.0;
    assert!((energy(0.5 * least) - energy(least)).abs() < 1e-12);
    assert!(energy(1.01 * least) < energy(least));
}

#[test]
fn frames_scatter_by_a_share_and_more_in_noise() {
    let sd = |noise_share: f64| {
        let reading = BoxReading { noise_share, ..read(2.0, energy_at(2.0)).reading.unwrap() };
        let followed = Followed::of(&reading, 0.0, (1.0, 1000.0));
        followed.variance.sqrt() / followed.px2
    };
    assert!((sd(0.0) - SCATTER.0).abs() < 1e-6);
    // As much noise as signal, and three times as much.
    assert!((sd(0.5) - SCATTER.0.hypot(SCATTER.1)).abs() < 1e-6);
    assert!((sd(0.75) - SCATTER.0.hypot(3.0 * SCATTER.1)).abs() < 1e-6);
}

#[test]
fn a_movement_is_taken_out_down_to_a_share_of_the_blur() {
    let still = |moved: f64| {
        let reading = read(2.0, energy_at(2.0)).reading.unwrap();
        Followed::of(&reading, moved, (1.0, 1000.0)).px2
    };
    assert!((still(2.0) - 3.0).abs() < 1e-6);
    assert!((still(40.0) - 4.0 * MIN_KEPT).abs() < 1e-6);
    // So is a course that dips.
    let frame = Followed { px2: 4.0, variance: 1e9, moved: 0.0 };
    assert!((frame.on_course(4.0 * MIN_KEPT + 0.1, 1.0) - 4.0 * MIN_KEPT - 0.1).abs() < 1e-12);
    assert!((frame.on_course(4.0 * MIN_KEPT - 0.1, 1.0) - 4.0 * MIN_KEPT).abs() < 1e-12);
}

#[test]
fn a_softer_frame_is_believed_from_its_distance_to_the_course_on() {
    // Errors of the course were taken four times too small.
    let by = |errors: f64| {
        let frame = Followed { px2: 4.0 + errors, variance: 0.25, moved: 0.0 };
        frame.on_course(4.0, 4.0)
    };
    let limit = JOLTED.sqrt();
    assert!((by(limit + 0.01) - 4.0 - limit - 0.01).abs() < 1e-9);
    assert!((by(limit - 0.01) - 4.0).abs() < 1e-9);
    assert!((by(-limit - 0.3) - 4.0).abs() < 1e-9, "a sharper one is not");
    // In a clip: one frame of sixty is jolted.
    let mut blurs = vec![1.0; 60];
    blurs[30] = 3.0;
    let judged = judge_read(&clip(&blurs), true, &[], None, &[]);
    let misses = judged.frames.iter().filter(|f| f.verdict != Verdict::Hit).count();
    assert_eq!((judged.frames[30].verdict, misses), (Verdict::Miss, 1));
}

#[test]
fn nothing_is_said_where_the_best_frames_are_drowned_or_empty() {
    let verdict = |change: &dyn Fn(&mut BoxReading)| {
        let mut frames = clip(&[1.0; 8]);
        frames.iter_mut().for_each(|f| change(f.reading.as_mut().unwrap()));
        let judged = judge_read(&frames, true, &[], None, &[]);
        (judged.frames[3].verdict, judged.frames[3].cause)
    };
    let noise = |share| verdict(&|r| r.noise_share = share);
    assert_eq!(noise(DROWNED - 0.01), (Verdict::Hit, None));
    assert_eq!(noise(DROWNED + 0.01), (Verdict::Unclear, Some(Cause::Noise)));
    let nothing = (Verdict::Unclear, Some(Cause::NoTexture));
    assert_eq!(verdict(&|r| r.tile = Tile::NoTexture), nothing);
    assert_eq!(verdict(&|r| r.energy = -1.0), nothing);
    let mut lost = clip(&[1.0; 8]);
    lost[3].reading = None;
    let judged = judge_read(&lost, false, &[], None, &[]);
    let flags = judged.frames[3].flags;
    assert!(flags.has(Flag::SubjectLost) && flags.has(Flag::NoiseUnseen));
    assert_eq!((judged.frames[3].verdict, judged.frames[3].cause), (Verdict::Unclear, None));
}

#[test]
fn the_limit_of_softness_lies_between_fixed_ends() {
    let (never, always) = SOFT_BETWEEN_PX;
    for (allowed, elsewhere, expected) in [
        (None, None, always),
        (None, Some(0.9 * never / SOFT_RATIO), never),
        (None, Some(3.0 / SOFT_RATIO), 3.0),
        (None, Some(1.1 * always / SOFT_RATIO), always),
        (Some(0.9 * never / SOFT_RATIO), None, never),
        // Settings that allow no less are no fault of the focus.
        (Some(1.1 * always / SOFT_RATIO), Some(0.1), 1.1 * always),
    ] {
        let found = soft_over_px(allowed, elsewhere);
        assert!((found - expected).abs() < 1e-9, "{allowed:?} {elsewhere:?}: {found}");
    }
    let is_soft = |px: f64| judge_read(&clip(&[px; 8]), true, &[], None, &[]).best_is_soft;
    assert!(is_soft(always + 0.01) && !is_soft(always - 0.01));
}

#[test]
fn something_is_sharp_where_enough_tiles_are() {
    let of = |tiles| [sample(1.0, tiles)];
    assert_eq!(elsewhere_px(&of(CLUSTER)), Some(1.0));
    assert_eq!(elsewhere_px(&of(CLUSTER - 1)), None);
    assert!(something_is_sharp(&of(CLUSTER), 0, 1.0));
    assert!(!something_is_sharp(&of(CLUSTER - 1), 0, 1.0));
    assert!(!something_is_sharp(&of(CLUSTER), 0, 0.95), "not as sharp as that");
}

#[test]
fn movement_is_the_cause_where_it_makes_enough_of_the_loss() {
    let seen = |length_px: f64| {
        let swing_px2 = length_px * length_px / 24.0;
        let smear = Smear {
            mean_px2: 1.0 + swing_px2,
            swing_px2,
            length_px,
            length_std_err_px: 0.1,
            direction_deg: 0.0,
            z: 10.0,
            fraction: swing_px2 / (1.0 + swing_px2),
        };
        assert!(smear.is_movement());
        ClipFrameVerdict::unjudged(read(1.0, 1.0).reading.as_ref(), Some(smear), true)
    };
    let still = ClipFrameVerdict::unjudged(read(1.0, 1.0).reading.as_ref(), None, true);
    // A movement of 12 px adds 12 px².
    let (enough, too_little) = (12.0 / (CAUSED + 0.01), 12.0 / (CAUSED - 0.01));
    let of = |f: &ClipFrameVerdict, whole, added| cause(f, whole, added, || false);
    assert_eq!(of(&still, Some(12.0), enough), Cause::Shake);
    assert_eq!(of(&still, Some(12.0), too_little), Cause::Soft);
    assert_eq!(of(&seen(12.0), None, enough), Cause::Shake);
    assert_eq!(of(&seen(12.0), None, too_little), Cause::Soft);
    assert_eq!(cause(&still, None, 1.0, || true), Cause::Misfocused);
    // The picture's own movement explains less than this of the smear.
    let whole = |share: f64| of(&seen(12.0), Some(12.0 * share), 20.0);
    assert_eq!(whole(WHOLE_EXPLAINS - 0.01), Cause::SubjectMotion);
    assert_eq!(whole(WHOLE_EXPLAINS + 0.01), Cause::Shake);
}
