//! Charts of simulated shooters with known optics, noise and hand. Bars of the project: detail
//! within 10 % wherever it is drawn, break-even line and limit of the hand within a third of a
//! stop, after 300 frames. Figures: `cargo bench --bench accuracy -- shooters 40 20000`.

use std::time::{Duration, Instant};

use stopwise::demo::shooter::Shooter;
use stopwise::measure::setting::{HIGHEST_CY_PX, Setting};
use stopwise::render::{html, term};
use stopwise::report::plan_record::{LightKind, ModelKind, PlanWish};
use stopwise::sets::chart::{ChartJob, Entry, chart};
use stopwise::sets::plan::{PlanJob, plan};

#[path = "../../benches/shooters.rs"]
mod bench;

use bench::{charted, entry};

fn entries(seed: u64, frames: usize, tests: usize) -> Vec<Entry> {
    let s = Shooter::of(seed);
    s.season(seed, frames, tests).iter().map(|t| entry(&s, t)).collect()
}

fn share_within(values: &[f64], bar: f64) -> f64 {
    assert!(!values.is_empty());
    values.iter().filter(|v| v.abs() <= bar).count() as f64 / values.len() as f64
}

// The truth is the simulator's own (src/demo/shooter.rs).
#[test]
fn three_hundred_frames_show_the_limits() {
    let all: Vec<bench::Off> = (20_000..20_010).map(|seed| charted(seed, 300, 54)).collect();
    let of = |f: &dyn Fn(&bench::Off) -> Vec<f64>| all.iter().flat_map(f).collect::<Vec<f64>>();
    let detail = of(&|o| o.detail.clone());
    assert!(detail.len() > 300, "{} places", detail.len());
    assert!(share_within(&detail, 0.1) > 0.97, "{}", share_within(&detail, 0.1));
    let even = of(&|o| o.even.clone());
    assert!(share_within(&even, 1.0 / 3.0) > 0.9, "{even:?}");
    let hand = of(&|o| o.hand.into_iter().collect());
    // Single seasons of 250 frames in the hand scatter more than the bar; their middle does not.
    assert!(hand.len() >= 6 && share_within(&hand, 1.0 / 3.0) > 0.5, "{hand:?}");
}

#[test]
fn a_hundred_thousand_frames_chart_quickly() {
    let few = entries(20_100, 2_000, 54);
    let many: Vec<Entry> = (0..50)
        .flat_map(|copy| {
            few.iter().map(move |e| Entry { outing: e.outing + 100 * copy, ..e.clone() })
        })
        .collect();
    assert_eq!(many.len(), 100_000);
    let start = Instant::now();
    let record = chart(&ChartJob::default(), &many).record;
    html::chart(&record).unwrap();
    // The bar is 2 s on a quiet machine; twenty times that tells a slow machine from a slow way.
    assert!(start.elapsed() < Duration::from_secs(40), "{:?}", start.elapsed());
    assert!(!record.grid.is_empty() && record.dots.len() <= 500);
}

fn all_words(entries: &[Entry]) -> (String, String) {
    let record = chart(&ChartJob::default(), entries).record;
    let words = term::chart(&record, term::Style::PLAIN);
    let page = html::chart(&record).unwrap();
    for text in [&words, &page] {
        for bad in ["NaN", "inf ", "-inf"] {
            assert!(!text.contains(bad), "{bad} in {text}");
        }
    }
    (words, page)
}

#[test]
fn little_or_contradictory_data_are_told_in_words() {
    let (words, page) = all_words(&[]);
    assert!(words.contains("--log") && !page.contains("<svg role"), "{words}");

    let one = entries(20_200, 1, 1);
    let (words, page) = all_words(&one);
    assert!(words.contains("too few") && words.contains("shoot"), "{words}");
    assert!(!page.contains("Every place"));

    let none: Vec<Entry> = one
        .iter()
        .map(|e| Entry { magnification: None, working_f_number: None, ..e.clone() })
        .collect();
    let (words, _) = all_words(&none);
    assert!(words.contains("magnification"), "{words}");

    // Everything that cannot be.
    let base = &one[0];
    let mut odd: Vec<Entry> = Vec::new();
    for v in [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e300] {
        odd.push(Entry { detail_bits_px: Some(v), ..base.clone() });
        odd.push(Entry { working_f_number: Some(v), ..base.clone() });
        odd.push(Entry { magnification: Some(v), ..base.clone() });
        odd.push(Entry { shutter_s: Some(v), ..base.clone() });
        odd.push(Entry { blur_sigma_px: Some(v), ..base.clone() });
        odd.push(Entry {
            motion_length_px: Some(v),
            verdict: "miss".into(),
            cause: Some("shake".into()),
            test: false,
            ..base.clone()
        });
        odd.push(Entry { pixel_pitch_um: Some(v), ..base.clone() });
    }
    odd.push(Entry { iso: Some(0), ..base.clone() });
    let (words, _) = all_words(&odd);
    assert!(words.contains("cannot be"), "{words}");
    // The same setting with details that contradict one another.
    let torn: Vec<Entry> = (1..40)
        .map(|i| Entry { detail_bits_px: Some(0.02 * f64::from(i)), ..base.clone() })
        .collect();
    all_words(&torn);
}

#[test]
fn a_chart_says_what_it_rests_on() {
    let field = entries(20_300, 300, 0);
    let record = chart(&ChartJob::default(), &field).record;
    let said: String = record.findings.iter().map(|f| f.says.clone()).collect();
    assert!(said.contains("bound") && record.test_frames_used == 0, "{said}");
    assert!(record.frames_used < record.frames);
    for cell in &record.grid {
        assert!(cell.std_err > 0.0 && cell.std_err <= 0.1 * cell.detail_bits_px + 1e-12);
        // Somebody was near: nothing is drawn where no frame is within a stop.
        let near = record.dots.iter().filter(|d| d.used).any(|d| {
            (2.0 * (d.working_f_number / cell.working_f_number).log2()).abs() < 1.01
                && (d.iso / cell.iso).log2().abs() < 1.01
        });
        assert!(near, "{cell:?}");
    }
    let both = chart(&ChartJob::default(), &entries(20_300, 300, 54)).record;
    assert!(both.model.unwrap().field_over_test.is_some());
    let svg = html::chart_svg(&both_again()).unwrap();
    assert!(svg.starts_with("<svg xmlns=") && svg.contains("<title>"));
}

fn both_again() -> stopwise::report::chart_record::ChartRecord {
    chart(&ChartJob::default(), &entries(20_300, 300, 54)).record
}

// A plan from the shooter's own chart against the shooter's truth, at settings that were used.
#[test]
fn a_plan_from_ones_own_chart_is_right() {
    let s = Shooter::of(20_400);
    let charted = chart(&ChartJob::default(), &entries(20_400, 300, 54));
    let job = PlanJob {
        rig: Some("own".to_owned()),
        wish: PlanWish {
            depth_mm: 0.5,
            magnification: s.magnification,
            light: LightKind::Ambient,
            light_ev: Some(13.0),
            light_typed: true,
            shutter_s: Some(1.0 / 250.0),
            motion_mm_s: 0.0,
            output_width_px: None,
            crop: true,
            video_fps: None,
            play_fps: 25.0,
        },
        pitch_um: None,
        frame_width_px: None,
        pupil_ratio: None,
    };
    let record = plan(&job, Some(&charted));
    assert_eq!(record.model, ModelKind::Own);
    let mut compared = 0;
    for row in record.settings.iter().filter(|r| (4.0..=11.0).contains(&r.f_number)) {
        let at = Setting {
            n_eff: row.working_f_number,
            iso: f64::from(row.iso),
            defocus_um: 0.0,
            smear_px: 0.0,
            soft_px: 0.0,
        };
        let Some(f) = s.kit.shows(&at, HIGHEST_CY_PX, None).resolved_cy_px else { continue };
        let truth = s.kit.finest_um(f, s.magnification);
        let got = row.finest_um_plane.unwrap();
        assert!((got / truth - 1.0).abs() < 0.15, "f/{}: {got} for {truth} µm", row.f_number);
        assert!(row.finest_rel_std_err.unwrap() > 0.0);
        compared += 1;
    }
    assert!(compared >= 3, "{compared}");
    let hand = record.parameters.hand_mm_s / s.hand_mm_s;
    // The limit is that of verdicts over each burst's best, half a stop slower than the hand.
    assert!((0.4..1.6).contains(&hand), "{hand}");
    // Without frames it is typical, and says so.
    assert_eq!(plan(&job, None).model, ModelKind::Typical);
    assert!(plan(&job, None).model_says.contains("Typical numbers, not yours"));
}
