//! Charts of simulated shooters with known optics, noise and hand. Bars of the project: detail
//! within 10 % wherever it is drawn, break-even line and limit of the hand within a third of a
//! stop, after 300 frames. Figures: `cargo bench --bench accuracy -- shooters 40 20000`.

use stopwise::core::verdict::{Cause, Verdict};
use stopwise::limits::page;
use stopwise::limits::terminal;
use stopwise::optics::MountedLens;
use stopwise::report::sentences::{Medium, paragraph, paragraphs};

use stopwise::limits::{ChartJob, LimitFrame, chart};
use stopwise::optics::imaging_model::{CaptureSettings, HIGHEST_CY_PX};
use stopwise::plan::grid::PlanGrid;
use stopwise::plan::record::{LightKind, ModelKind, PlanWish};
use stopwise::plan::{PlanJob, plan};
use stopwise::report::term;
use stopwise::simulator::shooter::Shooter;

#[path = "../../benches/shooters.rs"]
mod bench;

use crate::harness::golden;
use bench::{charted, entry};

pub fn entries(seed: u64, frames: usize, tests: usize) -> Vec<LimitFrame> {
    let s = Shooter::of(seed);
    s.season(seed, frames, tests).iter().map(|t| entry(&s, t)).collect()
}

fn share_within(values: &[f64], bar: f64) -> f64 {
    assert!(!values.is_empty());
    values.iter().filter(|v| v.abs() <= bar).count() as f64 / values.len() as f64
}

// The truth is the simulator's own (src/simulator/shooter.rs).
#[test]
fn three_hundred_frames_show_the_limits() {
    let all: Vec<bench::Off> = (20_000..20_020).map(|seed| charted(seed, 300, 54)).collect();
    let of = |f: &dyn Fn(&bench::Off) -> Vec<f64>| all.iter().flat_map(f).collect::<Vec<f64>>();
    let detail = of(&|o| o.detail.clone());
    assert!(detail.len() > 300, "{} places", detail.len());
    assert!(share_within(&detail, 0.1) > 0.97, "{}", share_within(&detail, 0.1));
    let even = of(&|o| o.even.clone());
    assert!(share_within(&even, 1.0 / 3.0) > 0.9, "{even:?}");
    let hand = of(&|o| o.hand.into_iter().collect());
    // Of many, 95 in 100 are within: three of 14 outside would be a chance of 1 in 25.
    assert!(hand.len() >= 14 && share_within(&hand, 1.0 / 3.0) > 0.8, "{hand:?}");
    // The others say between which two it is.
    let between: Vec<bool> = all.iter().filter_map(|o| o.hand_between).collect();
    assert!(hand.len() + between.len() >= 18, "{between:?}");
    let held = between.iter().filter(|held| **held).count();
    assert!(held + 1 >= between.len() && held > 2, "{between:?}");
}

// How long that takes is measured by `cargo bench --bench accuracy -- long-log`.
#[test]
fn a_hundred_thousand_frames_are_thinned_and_keep_their_limits() {
    let many = entries(20_100, 100_000, 54);
    assert_eq!(many.len(), 100_000);
    let record = chart(&ChartJob::default(), &many).record;
    page::page(&record).unwrap();
    assert!(!record.grid.is_empty() && record.dots.len() <= 500);
    // Thinning leaves bursts whole: both limits of the hand still mean the same.
    let hand = record.handheld.unwrap();
    let (smears, verdicts) = (hand.by_smears.unwrap().limit, hand.by_verdicts.unwrap());
    let apart = (smears.half_hit_shutter_s / verdicts.half_hit_shutter_s).log2();
    assert!(apart.abs() < 0.5, "{apart} stops");
}

fn all_words(entries: &[LimitFrame]) -> (String, String) {
    let record = chart(&ChartJob::default(), entries).record;
    let words = terminal::chart(&record, term::Style::PLAIN);
    let page = page::page(&record).unwrap();
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

    let none: Vec<LimitFrame> = one
        .iter()
        .map(|e| LimitFrame { magnification: None, working_f_number: None, ..e.clone() })
        .collect();
    let (words, _) = all_words(&none);
    assert!(words.contains("magnification"), "{words}");

    // Everything that cannot be.
    let base = &one[0];
    let mut odd: Vec<LimitFrame> = Vec::new();
    for v in [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e300] {
        odd.push(LimitFrame { detail_bits_px: Some(v), ..base.clone() });
        odd.push(LimitFrame { working_f_number: Some(v), ..base.clone() });
        odd.push(LimitFrame { magnification: Some(v), ..base.clone() });
        odd.push(LimitFrame { shutter_s: Some(v), ..base.clone() });
        odd.push(LimitFrame { blur_sigma_px: Some(v), ..base.clone() });
        odd.push(LimitFrame {
            motion_length_px: Some(v),
            verdict: Some(Verdict::Miss),
            cause: Some(Cause::Shake),
            test: false,
            ..base.clone()
        });
        odd.push(LimitFrame { pixel_pitch_um: Some(v), ..base.clone() });
    }
    odd.push(LimitFrame { iso: Some(0), ..base.clone() });
    let (words, _) = all_words(&odd);
    assert!(words.contains("impossible values"), "{words}");
    // The same setting with details that contradict one another.
    let torn: Vec<LimitFrame> = (1..40)
        .map(|i| LimitFrame { detail_bits_px: Some(0.02 * f64::from(i)), ..base.clone() })
        .collect();
    all_words(&torn);
}

#[test]
fn a_chart_says_what_it_rests_on() {
    let field = entries(20_300, 300, 0);
    let record = chart(&ChartJob::default(), &field).record;
    let said: String = paragraphs(&record.findings, Medium::Terminal).concat();
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
    let svg = stopwise::limits::chart_svg(&both_again()).unwrap();
    assert!(svg.starts_with("<svg xmlns=") && svg.contains("<title>"));
}

fn both_again() -> stopwise::limits::record::ChartRecord {
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
        lens: MountedLens::default(),
    };
    let record = plan(&job, Some(&charted));
    assert_eq!(record.model, ModelKind::Own);
    let mut compared = 0;
    for row in record.settings.iter().filter(|r| (4.0..=11.0).contains(&r.f_number)) {
        let at = CaptureSettings {
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
    let basis = paragraph(&plan(&job, None).model_basis, Medium::Terminal);
    assert!(basis.starts_with("Typical values, not yours"), "{basis}");
}

/// A page without its style sheet and script, which have files of their own, and its version.
fn bare(page: &str) -> String {
    let mut text = page.replace(env!("CARGO_PKG_VERSION"), "VERSION");
    for (open, close) in [("<style>", "</style>"), ("<script", "</script>")] {
        while let Some((head, rest)) = text.split_once(open) {
            let (_, tail) = rest.split_once(close).unwrap();
            text = format!("{head}{tail}");
        }
    }
    text
}

#[test]
fn goldens_of_chart_and_plan() {
    let plain = term::Style { width: 80, ..term::Style::PLAIN };
    let named = |c: ChartJob| ChartJob { rig: Some("beetle".to_owned()), ..c };
    for (name, frames, tests) in [("chart", 150, 54), ("chart-young", 12, 6)] {
        let all = entries(20_500, frames, tests);
        let charted = chart(&named(ChartJob::default()), &all);
        golden(&format!("{name}.html"), &bare(&page::page(&charted.record).unwrap()));
        golden(&format!("{name}-80.txt"), &terminal::chart(&charted.record, plain));
    }
    let wish = PlanWish {
        depth_mm: 1.0,
        magnification: 2.0,
        light: LightKind::Ambient,
        light_ev: Some(12.0),
        light_typed: false,
        shutter_s: None,
        motion_mm_s: 2.0,
        output_width_px: Some(2000),
        crop: false,
        video_fps: Some(50.0),
        play_fps: 25.0,
    };
    let job = PlanJob {
        rig: Some("beetle".to_owned()),
        wish,
        pitch_um: Some(4.4),
        frame_width_px: Some(8192),
        lens: MountedLens::default(),
    };
    let record = plan(&job, None);
    golden(
        "plan.html",
        &bare(&stopwise::plan::page::page(&record, &PlanGrid::of(&job, None)).unwrap()),
    );
    golden("plan-80.txt", &stopwise::plan::terminal::plan(&record, plain));
}

// The limit by smears means the same as that by verdicts, only narrower; where they cannot both
// be right it is said.
#[test]
fn smears_narrow_the_limit_of_the_hand() {
    let all = entries(20_600, 600, 0);
    let hand =
        |entries: &[LimitFrame]| chart(&ChartJob::default(), entries).record.handheld.unwrap();
    let both = hand(&all);
    let (verdicts, smears) = (both.by_verdicts.unwrap(), both.by_smears.unwrap());
    assert!(!smears.limit.contradicts(&verdicts), "{both:?}");
    let (s, v) = (smears.limit.half_hit_shutter_s, verdicts.half_hit_shutter_s);
    let between = s.min(v)..=s.max(v);
    assert!(between.contains(&both.half_hit_shutter_s.unwrap()), "{both:?}");
    assert!(smears.seen >= 8 && smears.limit.n > both.n);
    // Half the frames of a normal hand are slower than 1.1774 of its spread (Rayleigh).
    let truth = 1.1774 * Shooter::of(20_600).hand_mm_s;
    assert!((smears.speed_mm_s.value / truth - 1.0).abs() < 0.25, "{smears:?} for {truth}");

    // Without lengths only the verdicts are left.
    let bare: Vec<LimitFrame> =
        all.iter().map(|e| LimitFrame { motion_length_px: None, ..e.clone() }).collect();
    let alone = hand(&bare);
    assert!(alone.by_smears.is_none());
    assert_eq!(alone.half_hit_shutter_s, alone.by_verdicts.map(|v| v.half_hit_shutter_s));

    // Lengths four times too long: the verdicts stand, and the contradiction is a finding.
    let long: Vec<LimitFrame> = all
        .iter()
        .map(|e| LimitFrame {
            motion_length_px: e.motion_length_px.map(|l| 4.0 * l),
            blur_sigma_px: e.blur_sigma_px.map(|b| {
                let l = e.motion_length_px.unwrap_or(0.0);
                (b * b + 15.0 * l * l / 8.0).sqrt()
            }),
            blur_ratio: e.blur_ratio.map(|r| {
                let (b, l) = (e.blur_sigma_px.unwrap(), e.motion_length_px.unwrap_or(0.0));
                r * (b * b + 15.0 * l * l / 8.0).sqrt() / b
            }),
            ..e.clone()
        })
        .collect();
    let record = chart(&ChartJob::default(), &long).record;
    let said: String = paragraphs(&record.findings, Medium::Terminal).concat();
    let torn = record.handheld.unwrap();
    assert!(torn.by_smears.unwrap().limit.contradicts(&torn.by_verdicts.unwrap()), "{torn:?}");
    assert_eq!(torn.half_hit_shutter_s, torn.by_verdicts.map(|v| v.half_hit_shutter_s));
    assert!(said.contains("so the limit is uncertain"), "{said}");
}
