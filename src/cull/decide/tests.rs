//! Every limit of a decision on both sides, on bursts that are put together by hand.

use super::*;
use crate::core::verdict::{BlurBy, NEAR_RATIO};
use crate::cull::elsewhere::MIN_CLUSTER;
use crate::cull::hand_made::{F8, burst, subject};
use crate::sharpness::direction::Smear;
use crate::sharpness::focus_map::FocusMap;
use crate::sharpness::spectral_blur::BlurRatio;

fn decided(mut burst: BurstVerdict) -> BurstVerdict {
    let frames = burst.frames.len();
    let ranking = Ranking::of(&burst, Some(0), vec![false; frames]);
    decide(&mut burst, ranking, vec![None; frames], Some(F8));
    burst
}

/// The second frame of a burst whose first is sharp.
fn second(subject: SubjectBox) -> FrameVerdict {
    decided(burst(vec![self::subject(1.0), subject])).frames[1].clone()
}

fn first_cause(frame: &FrameVerdict) -> Option<Cause> {
    frame.causes.first().map(|c| c.cause)
}

#[test]
fn frames_are_graded_by_their_blur_over_the_best() {
    for (px, verdict) in [
        (HIT_RATIO - 0.01, Verdict::Hit),
        (HIT_RATIO + 0.01, Verdict::Near),
        (NEAR_RATIO - 0.01, Verdict::Near),
        (NEAR_RATIO + 0.01, Verdict::Miss),
    ] {
        let judged = decided(burst(vec![subject(1.0), subject(px)]));
        let frame = &judged.frames[1];
        assert_eq!(frame.verdict, verdict, "{px}");
        assert!((frame.ratio.unwrap().value - px).abs() < 1e-6, "{:?}", frame.ratio);
        assert_eq!(judged.best, Some(0));
        assert_eq!(judged.frames[0].ratio.unwrap().std_err, None, "the reference has no error");
        let sd = frame.ratio.unwrap().std_err.unwrap() / px;
        // Edges and energy read a ratio to this scatter, beside their own errors.
        assert!(sd > ENERGY_RATIO_SD_LN && sd < 1.01 * ENERGY_RATIO_SD_LN, "{sd}");
    }
}

#[test]
fn what_is_dark_clipped_or_drowned_is_unclear() {
    let dark = |mean_dn| second(SubjectBox { mean_dn, ..subject(1.0) });
    assert_eq!(first_cause(&dark(DARK_DN - 0.1)), Some(Cause::UnderExposed));
    assert_eq!(dark(DARK_DN).verdict, Verdict::Hit);
    let clipped = |clipped| second(SubjectBox { clipped, ..subject(1.0) });
    assert_eq!(first_cause(&clipped(MAX_CLIPPED + 0.01)), Some(Cause::Clipped));
    assert_eq!(clipped(MAX_CLIPPED).verdict, Verdict::Hit);
    // Energy within its error: without edges that are wide beyond doubt nothing can be said.
    let drowned = |errors: f64| {
        let own = subject(1.2);
        second(SubjectBox { energy_std_err: own.energy / errors, tile: Tile::NoTexture, ..own })
    };
    let hidden = drowned(ENERGY_SEEN - 0.01);
    assert_eq!((hidden.verdict, first_cause(&hidden)), (Verdict::Unclear, Some(Cause::Noise)));
    assert!(hidden.flags.has(Flag::MostlyNoise));
    assert_eq!(drowned(ENERGY_SEEN + 0.01).verdict, Verdict::Hit);
    // Without a lead the share of noise decides how nothing is called.
    let leaderless =
        |noise_share| still(&SubjectBox { noise_share, ..subject(1.0) }, None, false, false);
    assert_eq!(leaderless(NOISE_DROWNS + 0.01), Still::Nothing(Cause::Noise));
    assert_eq!(leaderless(NOISE_DROWNS), Still::Nothing(Cause::NoTexture));
}

#[test]
fn a_lost_subject_is_said_and_a_guess_alone_is_no_hit() {
    let mut lost = burst(vec![subject(1.0), subject(1.1)]);
    lost.frames[1].subject = None;
    let lost = decided(lost);
    assert!(lost.frames[1].flags.has(Flag::SubjectLost));
    assert_eq!(lost.frames[1].verdict, Verdict::Unclear);
    let alone = |found| decided(BurstVerdict { found, ..burst(vec![subject(1.0)]) });
    let marked = alone(SubjectFound::Marked);
    assert_eq!((marked.frames[0].verdict, marked.best), (Verdict::Hit, None));
    assert_eq!(alone(SubjectFound::Automatic).frames[0].verdict, Verdict::Unclear);
}

#[test]
fn a_miss_is_misfocused_where_enough_of_the_frame_is_sharp() {
    // Eight tiles in a row as sharp as the best frame's edges.
    let cause = |tiles: usize| {
        let mut soft = burst(vec![subject(1.0), subject(3.0)]);
        let tile = Tile::Blur { sigma_px: 1.0, std_err_px: 0.1 };
        // Four tiles of the map are one of 64 px.
        let (cols, rows) = (2 * tiles, 2);
        let tiles = vec![tile; cols * rows];
        let lap_var = vec![0.0; tiles.len()];
        soft.maps[1] = FocusMap { cols, rows, corrected_tiles: tiles.clone(), tiles, lap_var };
        first_cause(&decided(soft).frames[1])
    };
    assert_eq!(cause(MIN_CLUSTER), Some(Cause::Misfocused));
    assert_eq!(cause(MIN_CLUSTER - 1), Some(Cause::Soft));
}

fn smeared(length_px: f64, explained: f64) -> Movement {
    let swing_px2 = length_px * length_px / 24.0;
    let smear = Smear {
        mean_px2: 1.0 + swing_px2,
        swing_px2,
        length_px,
        length_std_err_px: 0.1 * length_px,
        direction_deg: 30.0,
        z: 10.0,
        fraction: swing_px2 / (1.0 + swing_px2),
    };
    Movement { smear, whole_frame: true, share: 1.0, explained }
}

fn moved(px: f64, movement: Movement) -> FrameVerdict {
    let mut judged = burst(vec![subject(1.0), subject(px)]);
    let ranking = Ranking::of(&judged, Some(0), vec![false; 2]);
    decide(&mut judged, ranking, vec![None, Some(movement)], Some(F8));
    judged.frames[1].clone()
}

#[test]
fn the_range_of_a_moved_frame_holds_what_the_length_of_its_smear_may_be_off() {
    let range = |off: f64| {
        let movement = smeared(8.0, 0.9);
        let smear = Smear { length_std_err_px: off * 8.0, ..movement.smear };
        moved(1.0, Movement { smear, ..movement }).range.unwrap()
    };
    let (sure, unsure) = (range(0.0), range(0.4));
    let up = |r: BlurRange| (r.high_px / r.sigma_px).ln();
    let smear_px2 = 8f64.powi(2) / 12.0;
    let share = smear_px2 / sure.sigma_px.powi(2);
    assert!((up(sure) - EDGE_ERROR_LN).abs() < 1e-9, "{sure:?}");
    assert!((up(unsure) - EDGE_ERROR_LN.hypot(0.4 * share)).abs() < 1e-9, "{unsure:?}");
}

#[test]
fn movement_counts_where_it_alone_loses_the_hit_and_is_the_cause_by_its_share() {
    assert_eq!(first_cause(&moved(1.1, smeared(8.0, 0.9))), Some(Cause::Shake));
    assert_eq!(moved(1.1, smeared(8.0, WHOLE_EXPLAINED)).verdict, Verdict::Hit, "not credible");
    let only_subject = Movement { whole_frame: false, ..smeared(8.0, 0.9) };
    assert_eq!(first_cause(&moved(1.1, only_subject)), Some(Cause::SubjectMotion));
    // A smear whose worst direction stays within a hit is none.
    let short = moved(1.0, smeared(1.8, 0.9));
    assert_eq!((short.verdict, short.movement), (Verdict::Hit, None));
    // The rest is a second cause from a quarter of the loss on.
    let causes = |px: f64| moved(px, smeared(8.0, 0.9)).causes;
    for px in [1.1, 2.2, 2.6, 3.0, 4.0, 6.0] {
        let causes = causes(px);
        let shake = causes.iter().find(|c| c.cause == Cause::Shake).unwrap().share.unwrap();
        assert_eq!(causes.len() > 1, 1.0 - shake > SECOND_CAUSE, "{px}: {shake}");
        assert!(causes.is_sorted_by(|a, b| a.share >= b.share));
    }
    assert_eq!((causes(1.1).len(), causes(6.0).len()), (1, 2));
    // The blur whose loss is of another kind by this share.
    let smear_px2 = 8f64.powi(2) / 12.0;
    let other =
        |share: f64| (1.0 + smear_px2 / (1.0 - share) - (1.0 - SMEAR_READ) * smear_px2).sqrt();
    assert_eq!(causes(other(SECOND_CAUSE - 0.001)).len(), 1);
    assert_eq!(causes(other(SECOND_CAUSE + 0.001)).len(), 2);
}

#[test]
fn what_a_mean_over_directions_reads_of_a_smear_is_taken_out_down_to_the_sharpest() {
    let scaled = ScaledBlur { px: 3.0, ratio_sd_ln: 0.1 };
    let m = smeared(6.0, 0.9);
    // The smear's variance along its direction is 6²/12.
    let expected = (9.0 - SMEAR_READ * 3.0).sqrt();
    assert!((scaled.without(Some(&m), 1.0).px - expected).abs() < 1e-12);
    assert!((scaled.without(Some(&smeared(20.0, 0.9)), 1.0).px - 1.0).abs() < 1e-12);
    assert_eq!(scaled.without(None, 1.0), scaled);
}

fn read(sd_ln: f64) -> SubjectBlur {
    let range = BlurRange { sigma_px: 1.0, low_px: 0.9, high_px: 1.2, by: BlurBy::Texture };
    let ratios =
        vec![Some(BlurRatio { ln: 0.0, sd_ln: 0.0 }), Some(BlurRatio { ln: 1.8f64.ln(), sd_ln })];
    SubjectBlur {
        anchor: 0,
        anchor_range: range,
        ratios,
        fine: vec![Some(9.0); 2],
        pattern_cy_px: None,
        soft: 0.0,
        reached: Reached::Yes,
    }
}

#[test]
fn spectra_give_the_blur_unless_their_ratio_is_too_uncertain() {
    // The spectrum says 1.8, edges and energy 1.1.
    let of = |sd_ln| {
        let blur = Some(read(sd_ln));
        let judged = decided(BurstVerdict { blur, ..burst(vec![subject(1.0), subject(1.1)]) });
        judged.frames[1].clone()
    };
    let told = of(0.1);
    let ratio = told.ratio.unwrap();
    assert!((ratio.value - 1.8).abs() < 1e-9, "{ratio:?}");
    let sd = 0.1f64.hypot(RATIO_SD_LN);
    assert!((ratio.std_err.unwrap() - 1.8 * sd).abs() < 1e-9, "{ratio:?}");
    assert_eq!(told.range.unwrap().by, BlurBy::Burst);
    assert!((of(MAX_RATIO_SD_LN).ratio.unwrap().value - 1.8).abs() < 1e-9);
    assert!((of(MAX_RATIO_SD_LN + 0.01).ratio.unwrap().value - 1.1).abs() < 1e-6);
}

#[test]
fn a_range_of_edges_has_their_error_and_ends_at_what_the_settings_allow() {
    let range = second(subject(3.0)).range.unwrap();
    assert_eq!(range.by, BlurBy::Edges);
    assert!(((range.high_px / range.sigma_px).ln() - EDGE_ERROR_LN).abs() < 1e-9, "{range:?}");
    assert!(((range.sigma_px / range.low_px).ln() - EDGE_ERROR_LN).abs() < 1e-9, "{range:?}");
    let sharp = decided(burst(vec![subject(1.0), subject(1.1)])).frames[0].range.unwrap();
    assert!((sharp.low_px - F8.sigma_px).abs() < 1e-12, "{sharp:?}");
}

#[test]
fn without_settings_or_sharp_areas_the_limits_of_softness_are_fixed() {
    let of = |px, allowed, elsewhere| {
        Limits::of(px, px, Reached::Unknown, allowed, elsewhere, false).soft
    };
    assert!(!of(SOFT_UNKNOWN_PX, None, None) && of(SOFT_UNKNOWN_PX + 0.01, None, None));
    // Never below the floor, whatever the settings allow.
    assert!(!of(SOFT_FLOOR_PX, Some(0.5), None) && of(SOFT_FLOOR_PX + 0.01, Some(0.5), None));
    assert!(!of(SOFT_RATIO, Some(1.0), None) && of(SOFT_RATIO + 0.01, Some(1.0), None));
    // A sharp area elsewhere shows what was possible.
    assert!(!of(2.5, None, Some(1.0)) && of(2.51, None, Some(1.0)));
    let finest = Limits::of(0.3, 0.3, Reached::No, Some(0.2), None, false);
    assert!((finest.reference_px - REFERENCE_FLOOR_PX).abs() < 1e-12);
}

#[test]
fn the_same_sparse_thing_in_all_frames_is_no_subject() {
    let sparse = |px: f64| SubjectBox { flags: FlagSet::EMPTY.with(Flag::Sparse), ..subject(px) };
    let of = |other: f64| decided(burst(vec![sparse(1.0), sparse(other)]));
    let same = of(HIT_RATIO - 0.01);
    assert!(
        same.frames.iter().all(|f| f.verdict == Verdict::Unclear && f.flags.has(Flag::NoTexture))
    );
    assert_eq!(of(HIT_RATIO + 0.01).frames[0].verdict, Verdict::Hit);
    // Fine structure that the spectra are sure of outweighs that.
    let fine = |value| {
        let mut blur = read(0.1);
        blur.fine = vec![Some(value), None];
        blur.ratios[1] = blur.ratios[0];
        let burst = burst(vec![sparse(1.0), sparse(1.1)]);
        decided(BurstVerdict { blur: Some(blur), ..burst }).frames[0].verdict
    };
    assert_eq!((fine(SURE_FINE), fine(SURE_FINE - 0.01)), (Verdict::Hit, Verdict::Unclear));
}

#[test]
fn small_files_keep_no_hits() {
    let mut judged = decided(burst(vec![subject(1.0), subject(3.0)]));
    withhold_hits(&mut judged, &[true, true]);
    let [first, other] = [&judged.frames[0], &judged.frames[1]];
    assert_eq!((first.verdict, other.verdict), (Verdict::Unclear, Verdict::Miss));
    assert!(first.flags.has(Flag::Resized) && judged.best.is_none());
}

#[test]
fn the_reference_is_the_sharpest_frame_unless_the_burst_is_soft_or_alone() {
    let of = |px, reached, alone| Limits::of(px, px, reached, Some(1.0), Some(0.9), alone);
    assert_eq!(of(1.4, Reached::Yes, false), Limits { reference_px: 1.4, soft: false });
    assert_eq!(of(4.0, Reached::No, false), Limits { reference_px: 1.0, soft: true });
    // In focus, but the least moved frame is still smeared.
    let moved = |px| Limits::of(px, 1.2, Reached::Yes, Some(1.0), None, false);
    assert!(!moved(2.3).soft && moved(2.5).soft);
    // Where nothing fine can be seen, edges decide.
    assert!(!of(2.4, Reached::Unknown, false).soft);
    assert!(of(2.6, Reached::Unknown, false).soft);
    // A single frame is held to what its settings give.
    assert_eq!(of(1.4, Reached::Yes, true), Limits { reference_px: 1.0, soft: false });
    assert_eq!(of(5.0, Reached::Yes, true), Limits { reference_px: 2.0, soft: false });
}

#[test]
fn a_ghost_needs_flash_focus_and_evidence() {
    let smear = crate::sharpness::direction::Smear {
        mean_px2: 4.0,
        swing_px2: 4.0,
        length_px: 12.0,
        length_std_err_px: 1.0,
        direction_deg: 30.0,
        z: 12.0,
        fraction: 1.0,
    };
    let of = |share, explained| Movement { smear, whole_frame: false, share, explained };
    let blur = |pattern_cy_px| SubjectBlur {
        anchor: 0,
        anchor_range: BlurRange { sigma_px: 1.0, low_px: 1.0, high_px: 1.3, by: BlurBy::Pattern },
        ratios: vec![],
        fine: vec![],
        pattern_cy_px,
        soft: 0.0,
        reached: Reached::Yes,
    };
    let credible = |m: Movement, reached, pattern: Option<f64>, flash| {
        is_credible(&m, reached, Some(&blur(pattern)), flash)
    };
    let facets = Some(0.12);
    assert!(credible(of(0.35, 0.25), Reached::Yes, facets, true));
    assert!(!credible(of(0.35, 0.25), Reached::Yes, facets, false), "no flash");
    assert!(!credible(of(0.35, 0.25), Reached::No, facets, true), "nothing in focus");
    // 12 px of a pattern with this many periods in them.
    let periods = |n: f64| Some(n / 12.0);
    let (short, long) = (periods(GHOST_PERIODS - 0.01), periods(GHOST_PERIODS + 0.01));
    assert!(credible(of(0.35, GHOST_EXPLAINED - 0.01), Reached::Yes, short, true));
    assert!(!credible(of(0.35, GHOST_EXPLAINED - 0.01), Reached::Yes, long, true));
    assert!(credible(of(0.35, GHOST_EXPLAINED + 0.01), Reached::Yes, long, true));
    // A whole smear, and any without a pattern, must explain more.
    assert!(!credible(of(1.0, 0.39), Reached::Yes, facets, false));
    assert!(credible(of(1.0, 0.41), Reached::Yes, facets, false));
    assert!(!credible(of(0.35, 0.39), Reached::Yes, None, true));
    assert!(credible(of(0.35, 0.41), Reached::Yes, None, true));
}

#[test]
fn no_frame_is_sharper_than_its_energy_allows() {
    let s = |px| Some(ScaledBlur { px, ratio_sd_ln: 0.1 });
    let px = |energies: [f64; 2]| {
        let found = bounded(vec![s(1.0), s(0.8)], &energies.map(Some), Some(0));
        found.into_iter().map(|s| s.unwrap().px).collect::<Vec<_>>()
    };
    assert!((px([1000.0, 1000.0])[1] - 0.8).abs() < 1e-9);
    // A twentieth of the energy: four times the blur by the law of edges.
    let least = px([1000.0, 50.0])[1];
    let by_energy = energy_px(REFERENCE_FLOOR_PX, 1000.0, 50.0).unwrap();
    let (exponent, share) = ENERGY_BOUND;
    let expected = share * (by_energy / REFERENCE_FLOOR_PX).powf(exponent);
    assert!((least - expected).abs() < 1e-9 && (2.0..2.3).contains(&least), "{least}");
    assert_eq!(bounded(vec![s(1.0), s(0.8)], &[None, None], Some(0))[1], s(0.8));
}

#[test]
fn energy_falls_with_the_third_power_of_the_width() {
    let s1 = S1_SQUARED[1];
    let at = |sigma: f64| (sigma * sigma + s1).powf(-1.5);
    for sigma in [1.0, 2.0, 4.0] {
        let found = energy_px(0.8, at(0.8), at(sigma)).unwrap();
        assert!((found - sigma).abs() < 1e-9, "{found} for {sigma}");
    }
    assert_eq!(energy_px(0.8, 1.0, 0.0), None);
}

#[test]
fn sharp_edges_of_little_contrast_are_veiled() {
    assert!(is_veiled(0.8, 0.8, VEILED - 0.01));
    assert!(!is_veiled(0.8, 0.8, VEILED + 0.01));
    assert!(!is_veiled(HIT_RATIO * 0.8 + 0.01, 0.8, 0.1));
}
