//! A log as long as some years of shooting, and how long a chart of it takes.

use std::path::Path;
use std::time::Instant;
use stopwise::limits::page;

use stopwise::limits::{self, ChartJob, of_rig, titles};
use stopwise::report::value::WithError;
use stopwise::simulator::shooter::{Shooter, SimulatedFrame};
use stopwise::store::log::{Log, LoggedFrame, NewOuting, OutingKind};

fn frame(s: &Shooter, t: &SimulatedFrame, number: usize) -> LoggedFrame {
    let value = |v: f64| Some(WithError { value: v, std_err: Some(0.05 * v) });
    LoggedFrame {
        path: format!("/pictures/season/outing-{:03}/frame-{number:06}.jpg", t.outing),
        content_id: blake3::hash(&number.to_le_bytes()).to_hex().to_string(),
        taken_at: Some(format!("2026-05-{:02}T10:00:00", 1 + t.outing % 28)),
        source: "raw".to_owned(),
        width_px: 6000,
        height_px: 4000,
        burst: t.burst,
        marked_f_number: Some(t.f_number),
        working_f_number: Some(t.n_eff),
        shutter_s: Some(t.shutter_s),
        iso: Some(t.iso),
        flash_fired: Some(false),
        focal_mm: Some(90.0),
        body: Some("simulated body".to_owned()),
        lens: Some("simulated lens".to_owned()),
        rig: Some("own".to_owned()),
        magnification: value(s.magnification),
        pixel_pitch_um: Some(s.kit.pitch_um),
        verdict: t.verdict.word().to_owned(),
        causes: t.cause.map_or_else(String::new, |c| c.word().to_owned()),
        cause_share: t.cause.map(|_| 0.8),
        blur_sigma_px: value(t.blur_sigma_px),
        attainable_blur_px: Some(1.0),
        blur_ratio: t.blur_ratio.and_then(value),
        detail_bits_px: value(t.detail_bits_px),
        noise_sigma_dn: value(3.0),
        motion_length_px: t.motion_px.and_then(value),
        subject_mean_dn: Some(90.0),
        flags: String::new(),
    }
}

/// Writes a log of a simulated shooter's frames.
pub fn write(path: &Path, seed: u64, frames: usize) {
    let shooter = Shooter::of(seed);
    let mut log = Log::open(path).expect("a log can be made");
    let taken = shooter.season(seed, frames, 54);
    let mut number = 0;
    for outing in taken.chunk_by(|a, b| a.outing == b.outing) {
        let frames: Vec<LoggedFrame> = outing
            .iter()
            .map(|t| {
                number += 1;
                frame(&shooter, t, number)
            })
            .collect();
        let kind = if outing[0].test { OutingKind::Test } else { OutingKind::Field };
        let new = NewOuting {
            kind,
            title: format!("outing {}", outing[0].outing),
            program_version: "bench".to_owned(),
            subject: None,
            frames,
        };
        log.add(&new).expect("an outing can be added");
    }
}

/// Processor time of this process up to now, s; on Linux.
fn processor_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after = stat.rsplit_once(") ").map_or("", |s| s.1);
    let ticks = |at: usize| after.split(' ').nth(at).and_then(|t| t.parse::<f64>().ok());
    // Fields 14 and 15, in hundredths of a second on Linux.
    ticks(11).zip(ticks(12)).map_or(f64::NAN, |(user, system)| (user + system) / 100.0)
}

/// Writes a log of `frames` frames where there is none, then reads and charts it, step by step.
pub fn table(path: &Path, frames: usize) {
    if !path.exists() {
        write(path, 20_000, frames);
    }
    let (mut wall, mut processor) = (Instant::now(), processor_s());
    let mut step = |what: &str| {
        let now = processor_s();
        let seconds = wall.elapsed().as_secs_f64();
        println!("{what:<28} {seconds:.2} s, processor {:.2} s", now - processor);
        (wall, processor) = (Instant::now(), now);
    };
    let log = Log::open_to_read(path).expect("the log can be read");
    let outings = log.outings().expect("the log can be read");
    step("outings");
    let logged = log.frames(None).expect("the log can be read");
    step("frames from the log");
    let of = of_rig(&logged, &outings, None);
    let job = ChartJob { rig: of.rig.clone(), outings: titles(&outings), ..ChartJob::default() };
    step("frames of the rig");
    let record = limits::chart(&job, &of.entries).record;
    step("chart");
    let page = page::page(&record).expect("the page can be put together");
    step("page");
    println!("{} frames, page of {} kB", record.frames, page.len() / 1000);
}
