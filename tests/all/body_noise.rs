//! `noise` from files: pairs, single frames and rendered files of the simulated body, and how the
//! record is shown. With them the outing of raw files: one exposure is measured once.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use stopwise::body_noise::findings::NoiseFinding;
use stopwise::body_noise::page;
use stopwise::body_noise::terminal;

use stopwise::body_noise::body_noise;
use stopwise::body_noise::record::{NoiseMethod, NoiseRecord};
use stopwise::core::progress::NoProgress;
use stopwise::cull::outing::{OutingJob, cull, cull_with};
use stopwise::report::parts::{FrameSource, SubjectFound};
use stopwise::report::term::{self, Style};
use stopwise::simulator::dng::{dng, read_out};
use stopwise::simulator::file::{MODEL, Tags, jpeg};
use stopwise::simulator::sensor::{SimulatedSensor, developed};
use stopwise::simulator::{BurstSpec, LinearFrame, SceneKind, SimulatedBurst};
use stopwise::store::cache::Cache;

use crate::raw_noise::rendering;

fn burst() -> SimulatedBurst {
    SimulatedBurst::new(BurstSpec {
        width_px: 900,
        height_px: 600,
        frames: 3,
        colour: true,
        shaken_share: 0.0,
        ..BurstSpec::usual(SceneKind::Insect, 21, 0.0)
    })
}

fn tags(iso: u16, second: u32) -> Tags {
    Tags { iso, time: format!("2031:06:14 15:02:{second:02}"), ..Tags::invented() }
}

fn put_raw(
    folder: &Path,
    name: &str,
    light: &LinearFrame,
    sensor: &SimulatedSensor,
    iso: u16,
    seed: u64,
) {
    let raw = read_out(light, sensor, &rendering(f64::from(iso)), seed);
    fs::write(folder.join(name), dng(&raw, &tags(iso, (seed % 60) as u32)).unwrap()).unwrap();
}

/// Two raw frames of one scene at one ISO.
pub fn put_pair(folder: &Path) {
    fs::create_dir_all(folder).unwrap();
    let light = burst().light(0).unwrap();
    for seed in 0..2 {
        let name = format!("p{seed}.dng");
        put_raw(folder, &name, &light, &SimulatedSensor::ORDINARY, 400, seed);
    }
}

fn measured(paths: &[PathBuf]) -> NoiseRecord {
    body_noise(paths, &NoProgress).unwrap().0
}

#[test]
fn gain_read_noise_and_sigma_of_a_body_come_back_from_its_files() {
    let folder = tempfile::tempdir().unwrap();
    let burst = burst();
    let light = burst.light(0).unwrap();
    let sensor = SimulatedSensor::ORDINARY;
    for (i, iso) in [100u16, 200, 400, 800, 1600].into_iter().enumerate() {
        for k in 0..2 {
            let seed = (2 * i + k) as u64;
            put_raw(folder.path(), &format!("p{iso:05}_{k}.dng"), &light, &sensor, iso, seed);
        }
    }
    // One frame alone, and a rendered one.
    put_raw(folder.path(), "q.dng", &light, &sensor, 3200, 50);
    let picture = developed(&light, &sensor, &rendering(400.0), 9);
    fs::write(folder.path().join("r.jpg"), jpeg(&picture, 92, false, Some(&tags(400, 9))).unwrap())
        .unwrap();
    fs::write(folder.path().join("s.dng"), b"II\x2a\0\x08\0\0\0\0\0\0\0\0\0").unwrap();
    let record = measured(&[folder.path().to_path_buf()]);
    assert_eq!(record.skipped.len(), 1, "{:?}", record.skipped);
    let [body] = &record.bodies[..] else { panic!("{} bodies", record.bodies.len()) };
    assert_eq!(body.body, MODEL);
    let isos: Vec<_> = body.isos.iter().map(|r| (r.source, r.iso.unwrap(), r.frames)).collect();
    let raw = FrameSource::Raw;
    assert_eq!(
        isos,
        [
            (raw, 100, 2),
            (raw, 200, 2),
            (raw, 400, 2),
            (raw, 800, 2),
            (raw, 1600, 2),
            (raw, 3200, 1),
            (FrameSource::Rendered, 400, 1)
        ]
    );
    let range = 16_383.0 - 512.0;
    for row in body.isos.iter().filter(|r| r.source == raw) {
        let iso = f64::from(row.iso.unwrap());
        assert!(row.trusted);
        // EMVA 1288: K = full scale in DN over full scale in electrons.
        let gain = row.gain_dn_per_e.unwrap();
        let want = range / sensor.full_scale_at(iso);
        assert!((gain.value / want - 1.0).abs() < 0.03, "gain at {iso}: {} {want}", gain.value);
        let read = row.read_noise_e.unwrap();
        let want = sensor.read_at(iso);
        if row.frames == 2 {
            assert_eq!(row.method, NoiseMethod::Pair);
            let off = (read.value - want).abs();
            assert!(off < 3.0 * read.std_err.unwrap() + 0.05 * want, "{iso}: {read:?} {want}");
        } else {
            assert_eq!(row.method, NoiseMethod::Single);
        }
        for at in &row.sigma_at {
            let want = sensor.noise_at(iso, at.level) * range;
            assert!((at.sigma_dn / want - 1.0).abs() < 0.03, "{iso} {at:?} {want}");
        }
    }
    assert_eq!(body.gain_steps_iso, Vec::<u32>::new(), "one amplifier");
    let rendered = body.isos.last().unwrap();
    assert!(rendered.gain_dn_per_e.is_none() && rendered.read_noise_e.is_none());
    assert!(rendered.sigma_at.iter().all(|s| s.sigma_dn > 0.0));

    for width in [60, 100, 160] {
        let text = terminal::noise(&record, Style { width, ..Style::PLAIN });
        assert!(text.lines().all(|l| term::display_width(l) <= width), "{text}");
        assert!(text.contains("1600") && text.contains("skipped"), "{text}");
    }
    let page = page::page(&record).unwrap();
    assert!(page.contains("ISO 1600") && page.contains("<polyline class=\"curve\""));
    assert!(!page.contains("http:") && !page.contains("https:"));
}

#[test]
fn a_second_gain_in_the_pixels_is_seen() {
    let folder = tempfile::tempdir().unwrap();
    let light = burst().light(0).unwrap();
    for (i, iso) in [100u16, 200, 400, 800, 1600].into_iter().enumerate() {
        // From ISO 400 on the late noise counts a fifth.
        let late = if iso < 400 { 14.0 } else { 2.8 };
        let sensor =
            SimulatedSensor { read_e: 4.0, late_read_e: late, ..SimulatedSensor::ORDINARY };
        let sensor = if iso < 400 { sensor } else { SimulatedSensor { read_e: 1.5, ..sensor } };
        for k in 0..2 {
            let seed = (2 * i + k) as u64;
            put_raw(folder.path(), &format!("p{iso:05}_{k}.dng"), &light, &sensor, iso, seed);
        }
    }
    let record = measured(&[folder.path().to_path_buf()]);
    assert_eq!(record.bodies[0].gain_steps_iso, [400]);
    assert!(record.bodies[0].findings.contains(&NoiseFinding::GainStep { iso: 400 }));
}

#[test]
fn an_exposure_in_two_files_is_measured_once_from_the_raw_one() {
    let folder = tempfile::tempdir().unwrap();
    let burst = burst();
    let sensor = SimulatedSensor::ORDINARY;
    for i in 0..3 {
        let light = burst.light(i).unwrap();
        let seed = 70 + i as u64;
        put_raw(folder.path(), &format!("vm{i}.dng"), &light, &sensor, 200, seed);
        let picture = developed(&light, &sensor, &rendering(200.0), seed);
        let bytes = jpeg(&picture, 95, true, Some(&tags(200, seed as u32 % 60))).unwrap();
        fs::write(folder.path().join(format!("vm{i}.jpg")), &bytes).unwrap();
        fs::create_dir_all(folder.path().join("only")).unwrap();
        fs::write(folder.path().join(format!("only/vm{i}.jpg")), &bytes).unwrap();
    }
    // The true place of the subject in every frame; the first one leads.
    let marks: BTreeMap<String, (f64, f64)> = (0..3)
        .flat_map(|i| {
            let t = &burst.truths()[i];
            let place = (t.subject_x_px / 900.0, t.subject_y_px / 600.0);
            // Marked in the JPEG: the mark is that of the raw file too.
            [(format!("vm{i}.jpg"), place)]
        })
        .collect();
    let job = |path: PathBuf| OutingJob {
        paths: vec![path],
        marks: marks.clone(),
        pictures: true,
        ..OutingJob::default()
    };
    let work = |path: PathBuf| cull(&job(path), &NoProgress, &mut |_| Ok(())).unwrap().0;
    let rendered = work(folder.path().join("only"));
    fs::remove_dir_all(folder.path().join("only")).unwrap();
    let raw = work(folder.path().to_path_buf());
    assert_eq!(raw.frames.len(), 3, "{:?}", raw.skipped);
    assert_eq!(raw.bursts[0].subject.found, SubjectFound::Marked);
    for (a, b) in raw.frames.iter().zip(&rendered.frames) {
        assert_eq!((a.source, b.source), (FrameSource::Raw, FrameSource::Rendered));
        assert!(a.path.ends_with(".dng"));
        assert!(a.partner.as_ref().unwrap().ends_with(".jpg"));
        assert_eq!((a.width_px, a.height_px), (900, 600));
        assert_eq!(a.exposure.iso, Some(200));
        assert_eq!(a.exposure.pixel_pitch_um.map(f64::round), Some(6.0));
        // Blur is in pixels of the full mosaic, as in the rendered file of the same size; near
        // half a pixel demosaicing moves it by some 0.3 px² (measured).
        let (x, y) = (a.blur_sigma_px.unwrap().value, b.blur_sigma_px.unwrap().value);
        assert!((x * x - y * y).abs() < 0.4, "raw {x} rendered {y}");
    }
}

#[test]
fn raw_frames_come_out_of_the_cache_as_they_went_in() {
    let folder = tempfile::tempdir().unwrap();
    let day = folder.path().join("day");
    fs::create_dir(&day).unwrap();
    let burst = burst();
    for i in 0..3 {
        let light = burst.light(i).unwrap();
        put_raw(
            &day,
            &format!("vm{i}.dng"),
            &light,
            &SimulatedSensor::ORDINARY,
            200,
            40 + i as u64,
        );
    }
    fs::write(day.join("bad.dng"), b"II\x2a\0\x08\0\0\0\0\0\0\0\0\0").unwrap();
    let job = OutingJob { paths: vec![day], pictures: true, ..OutingJob::default() };
    let run = |cache: Option<&Cache>| {
        let mut pages = Vec::new();
        let mut on_burst = |page| {
            pages.push(page);
            Ok(())
        };
        let (record, _) = cull_with(&job, cache, &NoProgress, &mut on_burst).unwrap();
        (record, pages)
    };
    let fresh = run(None);
    let cache = Cache::open(&folder.path().join("cache"));
    assert!(run(Some(&cache)) == fresh);
    let results = cache.holds().unwrap().results;
    assert_eq!(results, 4, "three headers and a burst");
    assert!(run(Some(&cache)) == fresh);
    assert_eq!(cache.holds().unwrap().results, results);
    assert_eq!(cache.trouble(), None);
}
