//! The page of `plan` at every position of its sliders against the plan made for that position.

use std::collections::BTreeMap;

use stopwise::core::random::SplitMix64;
use stopwise::limits::{ChartJob, Charted, chart};
use stopwise::optics::MountedLens;
use stopwise::plan::grid::{CodedColumn, PlanGrid};
use stopwise::plan::record::{LightKind, PlanWish};
use stopwise::plan::{PlanJob, columns, page, plan};
use stopwise::report::wording;
use stopwise::simulator::shooter::Shooter;

/// Bytes that a page may have.
const MAX_PAGE_BYTES: usize = 150_000;

/// Rows in digits as words by column.
fn decoded(text: &str, columns: &[CodedColumn], digits: &str) -> Vec<BTreeMap<String, String>> {
    let width: usize = columns.iter().map(|c| c.width).sum();
    assert_eq!(text.len() % width, 0, "{text:?} in rows of {width}");
    let row = |row: &[u8]| {
        let (mut at, mut cells) = (0, BTreeMap::new());
        for c in columns {
            let value = |n: usize, d: &u8| n * 64 + digits.find(char::from(*d)).unwrap();
            let n = row[at..at + c.width].iter().fold(0, value);
            at += c.width;
            let word = if c.words.is_empty() { n.to_string() } else { c.words[n].clone() };
            cells.insert(c.name.clone(), word);
        }
        cells
    };
    text.as_bytes().chunks(width).map(row).collect()
}

/// The page's rows at these values of its sliders.
fn rows_at(grid: &PlanGrid, values: &[usize]) -> Vec<BTreeMap<String, String>> {
    let of = |upto: usize| {
        grid.sliders[..upto].iter().zip(values).fold(0, |at, (s, v)| at * s.values.len() + v)
    };
    let last = grid.sliders.len() - 1;
    let exposures = decoded(&grid.exposures[of(last)], &grid.exposure_columns, &grid.digits);
    let mut rows = decoded(&grid.positions[of(last + 1)], &grid.position_columns, &grid.digits);
    for row in &mut rows {
        let exposure: usize = row["exposure"].parse().unwrap();
        row.extend(exposures[exposure].clone());
    }
    rows
}

/// The job at these values.
fn job_at(job: &PlanJob, grid: &PlanGrid, values: &[usize]) -> PlanJob {
    let mut job = job.clone();
    for (s, v) in grid.sliders.iter().zip(values) {
        let value: f64 = s.values[*v].parse().unwrap();
        match s.name {
            "magnification" => job.wish.magnification = value,
            "light" => job.wish.light_ev = Some(value),
            "depth" => job.wish.depth_mm = value,
            other => panic!("{other}"),
        }
    }
    job
}

/// Compares positions; gives how many rows agreed.
fn compared(job: &PlanJob, charted: Option<&Charted>, positions: usize, seed: u64) -> usize {
    let grid = PlanGrid::of(job, charted);
    let asked: Vec<usize> = grid.sliders.iter().map(|s| s.asked).collect();
    let most: Vec<usize> = grid.sliders.iter().map(|s| s.values.len() - 1).collect();
    assert_eq!(job_at(job, &grid, &asked), *job);
    let mut random = SplitMix64::new(seed);
    let mut tried = vec![asked, vec![0; most.len()], most.clone()];
    tried.extend((0..positions).map(|_| most.iter().map(|n| random.below(n + 1)).collect()));
    let mut rows = 0;
    for values in tried {
        let record = plan(&job_at(job, &grid, &values), charted);
        let got = rows_at(&grid, &values);
        assert_eq!(got.len(), record.settings.len(), "{values:?} of {job:?}");
        let columns = columns::settings(&record);
        let headings: Vec<&str> = columns.iter().map(|c| c.heading).collect();
        assert_eq!(headings, grid.headings);
        for (i, row) in got.iter().enumerate() {
            for c in &columns {
                let error = row.get(&format!("error of {}", c.heading));
                let cell = format!("{}{}", row[c.heading], error.map_or("", String::as_str));
                let shown = c.shown(&record.settings[i]).unwrap_or_default();
                assert_eq!(cell, shown, "{} at {values:?} of {job:?}", c.heading);
            }
            rows += 1;
        }
    }
    let record = plan(job, charted);
    let bytes = page::page(&record, &grid).unwrap().len();
    assert!(bytes < MAX_PAGE_BYTES, "{bytes} bytes for {job:?}");
    rows
}

/// A wish of three digits per number.
fn seeded_job(seed: u64) -> PlanJob {
    let mut random = SplitMix64::new(seed);
    let mut log = |low: f64, high: f64| {
        let v = random.between(low.ln(), high.ln()).exp();
        format!("{:.*}", if v < 10.0 { 2 } else { 1 }, v).parse::<f64>().unwrap()
    };
    let (depth_mm, magnification, level) = (log(0.03, 25.0), log(0.1, 12.0), log(1.0, 18.0));
    let (motion_mm_s, pitch_um, shutter) = (log(0.1, 20.0), log(2.0, 9.0), log(30.0, 1000.0));
    let (width, front) = (log(400.0, 9000.0), log(1.0, 12.0));
    let light = [LightKind::Ambient, LightKind::Lamp, LightKind::Flash][random.below(3)];
    let mut lens = MountedLens { pupil_ratio: Some(1.3), ..MountedLens::default() };
    if random.below(3) == 0 {
        lens = MountedLens {
            focal_mm: Some(100.0),
            front_dioptres: Some(front),
            converter: Some(1.4),
            ..lens
        };
    }
    PlanJob {
        rig: None,
        wish: PlanWish {
            depth_mm,
            magnification,
            light,
            light_ev: (light != LightKind::Flash).then_some(level),
            light_typed: true,
            shutter_s: (random.below(3) == 0).then_some(1.0 / shutter),
            motion_mm_s: if random.below(2) == 0 { motion_mm_s } else { 0.0 },
            output_width_px: (random.below(2) == 0).then_some(width as u32),
            crop: random.below(3) == 0,
            video_fps: None,
            play_fps: 25.0,
        },
        pitch_um: Some(pitch_um),
        frame_width_px: None,
        lens,
    }
}

#[test]
fn every_position_of_the_page_is_the_plan_for_it() {
    let rows: usize = (0..30).map(|seed| compared(&seeded_job(seed), None, 12, seed)).sum();
    assert!(rows > 1000, "{rows}");
}

// With errors, which differ from position to position; a depth of nothing; a typed rig.
#[test]
fn the_same_with_ones_own_limits() {
    let s = Shooter::of(8_400);
    let charted = chart(&ChartJob::default(), &super::shooters::entries(8_400, 300, 54));
    let mut job = seeded_job(1);
    let wish = PlanWish {
        depth_mm: 0.0,
        magnification: wording::short(s.magnification).parse().unwrap(),
        light: LightKind::Ambient,
        light_ev: Some(12.5),
        shutter_s: None,
        motion_mm_s: 1.5,
        ..job.wish.clone()
    };
    job = PlanJob { wish, lens: MountedLens::default(), ..job };
    let record = plan(&job, Some(&charted));
    assert!(record.settings[0].finest_rel_std_err.unwrap() > 0.0);
    assert!(compared(&job, Some(&charted), 30, 3) > 100);
}

// The page looks up and does no optics: a short script.
#[test]
fn the_script_of_the_page_is_short() {
    let script = include_str!("../../src/plan/plan.js");
    assert!(script.lines().count() <= 80, "{} lines", script.lines().count());
    assert!(script.lines().all(|l| l.len() <= 110));
    for word in ["Math.log", "Math.exp", "Math.PI", "Math.sin", "Math.cos", "Math.sqrt", "**"] {
        assert!(!script.contains(word), "{word} in the page's script");
    }
}
