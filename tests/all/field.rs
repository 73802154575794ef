//! Pictures like the user's: frames that were judged wrong once, and the scoring of the benches.

use stopwise::core::progress::NoProgress;
use stopwise::cull::outing::{OutingJob, cull};
use stopwise::simulator::outing;

#[allow(dead_code, missing_docs)]
#[path = "../../benches/field/mod.rs"]
pub(crate) mod bench;

use bench::kendall::kendall_tau;
use bench::reading::told;
use bench::score::Tally;
use bench::truth::{True, TrueBurst};

/// A facetted eye 5.2 px out of focus, told to be a hit of 1.13 ± 0.11 px: its faint facets
/// passed for edges. Nothing of its burst reaches the focus.
#[test]
fn vm0021_of_the_demo_with_seed_7_is_no_hit() {
    let dir = tempfile::tempdir().unwrap();
    let truth = outing::write_bursts(dir.path(), 7, &[3]).unwrap();
    let last = truth.frames.last().unwrap();
    assert!(last.file.ends_with("vm0021.jpg"));
    // It was 5.25 px when found; scale follows focus since then.
    let total_px = last.truth.sigma_total_px;
    assert!((5.0..5.5).contains(&total_px), "{total_px}");
    let eye = truth.frames[0].truth;
    let mark =
        (eye.subject_x_px / outing::WIDTH_PX as f64, eye.subject_y_px / outing::HEIGHT_PX as f64);
    let job = OutingJob {
        paths: vec![dir.path().join(outing::DAY)],
        marks: [("vm0016.jpg".to_owned(), mark)].into(),
        ..OutingJob::default()
    };
    let (record, _) = cull(&job, &NoProgress, &mut |_| Ok(())).unwrap();
    let calls: Vec<_> = record
        .frames
        .iter()
        .map(|f| (f.path.clone(), f.verdict.word(), f.blur_sigma_px.map(|b| b.value)))
        .collect();
    assert_eq!(calls.len(), 6);
    assert!(calls.iter().all(|c| c.1 != "hit"), "{calls:?}");
}

fn frame(total_px: f64, call: &str, cause: &str) -> True {
    True {
        at: (0.5, 0.5),
        still_px: total_px,
        total_px,
        length_px: 0.0,
        offset_um: 0.0,
        call: call.to_owned(),
        cause: cause.to_owned(),
        loses: (call != "hit", false),
    }
}

fn truth() -> TrueBurst {
    TrueBurst {
        frames: vec![
            frame(1.0, "hit", "in-focus"),
            frame(1.05, "hit", "in-focus"),
            frame(1.6, "near", "soft"),
            frame(4.0, "miss", "soft"),
        ],
        in_focus_px: 0.9,
        radius: 0.05,
        size_px: (1000, 1000),
    }
}

fn row(i: usize, verdict: &str, blur: (f64, f64), focus: f64, cause: &str) -> serde_json::Value {
    serde_json::json!({
        "path": format!("day/f{i:02}.jpg"),
        "verdict": verdict,
        "blur_sigma_px": { "value": blur.0, "std_err": blur.1 },
        "blur_ratio": { "value": blur.0 },
        "focus": { "value": focus },
        "causes": if cause.is_empty() { serde_json::json!([]) } else {
            serde_json::json!([{ "cause": cause }])
        },
        "subject": { "x": 0.5, "y": 0.52 },
        "flags": [],
    })
}

#[test]
fn the_bench_counts_what_it_says() {
    let names: Vec<String> = (0..4).map(bench::truth::name).collect();
    let record = serde_json::json!({
        "frames": [
            row(0, "hit", (1.1, 0.2), 40.0, ""),
            row(1, "miss", (3.0, 0.3), 30.0, "soft"),
            row(2, "near", (1.5, 0.02), 20.0, "shake"),
            row(3, "hit", (2.0, 0.1), 10.0, ""),
        ],
        "bursts": [{
            "frames": ["day/f00.jpg", "day/f01.jpg", "day/f02.jpg", "day/f03.jpg"],
            "best": "day/f00.jpg",
            "subject": { "confidence": 0.7 },
        }],
    });
    let t = Tally::of(&truth(), &told(&record, &names));
    assert_eq!((t.right.yes, t.right.of), (2.0, 4.0));
    // A hit told a miss, and a miss told a hit beyond twice what the lens gives.
    assert_eq!((t.swaps.yes, t.grave.yes), (2.0, 1.0));
    assert_eq!((t.picked.yes, t.picked.of), (1.0, 1.0));
    // One of the frames that are no hits was told so, with the wrong cause.
    assert_eq!((t.cause.yes, t.cause.of), (0.0, 1.0));
    // By blur ratio; the ranking energies are all in order.
    let third = t.tau().unwrap();
    assert!((third - 1.0 / 3.0).abs() < 1e-12 && t.taus == [1.0], "{third}");
    assert_eq!((t.in68.yes, t.in95.yes, t.in95.of), (1.0, 1.0, 4.0));
    assert_eq!((t.soft_false.yes, t.soft_false.of, t.soft_found.of), (0.0, 1.0, 0.0));
    assert_eq!(t.sure, [(0.7, true, true)]);
    let [low, middle, high] = t.quantiles().unwrap();
    assert!((low, high) == (0.5, 3.0 / 1.05) && (0.93..1.11).contains(&middle), "{middle}");
}

#[test]
fn the_bench_sees_a_burst_said_to_hold_nothing_sharp() {
    let names: Vec<String> = (0..4).map(bench::truth::name).collect();
    let rows: Vec<_> = (0..4).map(|i| row(i, "miss", (4.0, 0.5), 4.0 - i as f64, "soft")).collect();
    let record = serde_json::json!({
        "frames": rows,
        "bursts": [{ "frames": ["f00.jpg", "f01.jpg", "f02.jpg", "f03.jpg"], "best": null }],
    });
    let told = told(&record, &names);
    let falsely = Tally::of(&truth(), &told);
    assert_eq!((falsely.soft_false.yes, falsely.picked.of), (1.0, 1.0));
    let mut all_soft = truth();
    all_soft.frames.iter_mut().for_each(|f| f.call = "miss".to_owned());
    let rightly = Tally::of(&all_soft, &told);
    // Nothing sharp there, and no best named: the pick is not held against it.
    assert_eq!((rightly.soft_found.yes, rightly.right.yes, rightly.picked.of), (1.0, 4.0, 0.0));
}

// Values from scipy.stats.kendalltau (tau-b).
#[test]
fn kendall_tau_with_and_without_ties() {
    use approx::assert_abs_diff_eq as near;
    let a = [12.0, 2.0, 1.0, 12.0, 2.0];
    let b = [1.0, 4.0, 7.0, 1.0, 0.0];
    near!(kendall_tau(&a, &b).unwrap(), -0.471_404_520_791, epsilon = 1e-9);
    near!(kendall_tau(&[1.0, 2.0, 3.0], &[1.0, 3.0, 2.0]).unwrap(), 1.0 / 3.0, epsilon = 1e-12);
    assert_eq!(kendall_tau(&[1.0, 1.0], &[1.0, 2.0]), None);
    assert_eq!(kendall_tau(&[1.0], &[1.0, 2.0]), None);
}
