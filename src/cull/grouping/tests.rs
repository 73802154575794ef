//! Every limit of a burst on both sides.

use super::*;
use crate::core::Known;
use crate::image::exposure::{Exposure, TakenAt};

fn frame(second: f64, f_number: f64) -> Frame {
    let date = format!("2031:05:04 10:00:{:02}", second as u32);
    let fraction = format!("{:02}", ((second % 1.0) * 100.0).round() as u32);
    Frame::taken_with(Exposure {
        f_number: Some(Known::from_file(f_number)),
        taken_at: TakenAt::from_exif(&date, Some(&fraction), None).map(Known::from_file),
        ..Exposure::default()
    })
}

fn lengths(frames: &[Frame]) -> Vec<usize> {
    groups(frames).iter().map(|g| g.frames.len()).collect()
}

fn timed(times: &[f64]) -> Vec<Frame> {
    times.iter().map(|t| frame(*t, 8.0)).collect()
}

/// Whether two bursts come of frames at these seconds.
fn is_cut(times: &[f64]) -> bool {
    let groups = groups(&timed(times));
    assert!(groups[1..].iter().all(|g| g.split_reason == SplitReason::Time));
    groups.len() > 1
}

#[test]
fn a_pause_starts_a_burst() {
    // Against quick frames the least pause counts.
    let after = |pause: f64| is_cut(&[0.0, 0.2, 0.4, 0.6, 0.6 + pause, 0.8 + pause]);
    assert!(after(GAP_S + 0.05) && !after(GAP_S - 0.05));
    // Two frames have nothing else to compare with.
    assert!(is_cut(&[0.0, GAP_S + 0.05]) && !is_cut(&[0.0, GAP_S - 0.05]));
    // A hand that takes a frame every 1.5 s.
    let slow = |pause: f64| is_cut(&[0.0, 1.5, 3.0, 4.5, 4.5 + pause, 6.0 + pause]);
    assert!(slow(1.5 * GAP_RATIO + 0.05) && !slow(1.5 * GAP_RATIO - 0.05));
    // And every 9 s: however slow, no longer than this.
    let slowest = |pause: f64| is_cut(&[0.0, 9.0, 18.0, 27.0, 27.0 + pause, 36.0 + pause]);
    assert!(slowest(MAX_GAP_S + 0.05) && !slowest(MAX_GAP_S - 0.05));
}

#[test]
fn a_pause_is_compared_with_those_about_it() {
    // Slow and quick in turn: of an even number of neighbours half are slow, and a pause of 5 s is
    // long; with one less or one more the slow ones would be most, and it would not.
    let about: Vec<f64> = (0..=ABOUT).map(|k| if k % 2 == 0 { 1.9 } else { 0.2 }).collect();
    let is_cut_by = |pauses: &[f64]| {
        let mut times = vec![0.0];
        for pause in pauses {
            times.push(times[times.len() - 1] + pause);
        }
        is_cut(&times)
    };
    assert!(is_cut_by(&[&about[..], &[5.0]].concat()), "those before");
    assert!(is_cut_by(&[&[5.0], &about[..]].concat()), "those after");
    assert!(!is_cut_by(&[&about[..ABOUT - 1], &[5.0]].concat()));
}

#[test]
fn a_slow_hand_makes_long_bursts() {
    // Frames 1.5 s apart: a pause of 4 s still belongs, one of 6 s does not.
    let times = [0.0, 1.5, 3.0, 4.5, 8.5, 10.0, 16.0];
    let frames: Vec<Frame> = times.iter().map(|t| frame(*t, 8.0)).collect();
    assert_eq!(lengths(&frames), [6, 1]);
    // A rail moved by hand: a frame every 5 or 6 s, from the first on.
    let times = [2.0, 7.0, 13.0, 19.0, 24.0, 30.0, 34.0];
    let frames: Vec<Frame> = times.iter().map(|t| frame(*t, 8.0)).collect();
    assert_eq!(lengths(&frames), [7]);
    // Single frames of several subjects, half a minute apart, stay single.
    let times = [0.0, 25.0, 50.0];
    let frames: Vec<Frame> = times.iter().map(|t| frame(*t, 8.0)).collect();
    assert_eq!(lengths(&frames), [1, 1, 1]);
}

#[test]
fn a_jump_of_the_settings_starts_a_burst() {
    let cut = |change: &dyn Fn(&mut Exposure)| {
        let mut frames = [frame(0.0, 8.0), frame(0.3, 8.0), frame(0.6, 8.0)];
        for frame in &mut frames {
            let exposure = frame.exposure.as_mut().unwrap();
            exposure.iso = Some(Known::from_file(400.0));
            exposure.exposure_time_s = Some(Known::from_file(0.01));
        }
        change(frames[2].exposure.as_mut().unwrap());
        let groups = groups(&frames);
        assert!(groups.len() == 1 || groups[1].split_reason == SplitReason::Settings);
        groups.len() > 1
    };
    let scaled = |known: &mut Option<Known<f64>>, by: f64| known.as_mut().unwrap().value *= by;
    for sign in [1.0, -1.0] {
        for (off, is_other) in [(0.01, true), (-0.01, false)] {
            let aperture = (sign * (APERTURE_STOPS + off) / 2.0).exp2();
            let light = (sign * (SETTING_STOPS + off)).exp2();
            assert_eq!(cut(&|e| scaled(&mut e.f_number, aperture)), is_other, "{sign} {off}");
            assert_eq!(cut(&|e| scaled(&mut e.exposure_time_s, light)), is_other, "{sign} {off}");
            assert_eq!(cut(&|e| scaled(&mut e.iso, light)), is_other, "{sign} {off}");
        }
    }
    assert!(!cut(&|e| e.iso = None), "what a file does not tell did not change");
}

#[test]
fn without_times_names_keep_their_order_in_one_group() {
    let mut frames: Vec<Frame> = (0..5).map(|_| frame(0.0, 8.0)).collect();
    frames.iter_mut().for_each(|f| f.exposure = None);
    let g = groups(&frames);
    assert_eq!(g.len(), 1);
    assert!(!g[0].timed);
}

#[test]
fn a_huge_burst_is_cut_to_bound_memory() {
    let many = |count: usize, width_px: u32| {
        let mut frames: Vec<Frame> = (0..count).map(|_| frame(0.0, 8.0)).collect();
        for frame in &mut frames {
            frame.exposure = None;
            (frame.width_px, frame.height_px) = (width_px, 1000);
        }
        lengths(&frames)
    };
    assert_eq!(many(BURST_FRAMES, 1000), [BURST_FRAMES]);
    assert_eq!(many(2 * BURST_FRAMES + 1, 1000), [BURST_FRAMES, BURST_FRAMES, 1]);
    // Frames of 50 Mpx.
    let fit = (BURST_MPX / 50.0) as usize;
    assert_eq!((many(fit, 50_000), many(fit + 1, 50_000)), (vec![fit], vec![fit, 1]));
}

#[test]
fn neighbours_that_hardly_correlate_show_another_subject() {
    let of = |peak| is_other_content(&TemplateMatch { x_px: 0.0, y_px: 0.0, peak });
    assert!(of(SAME_CONTENT - 0.01) && !of(SAME_CONTENT));
}
