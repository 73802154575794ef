//! How right the shares of a loss are, on simulated series with known truth.
//!
//! Truth: D(i,j) from the light of aperture i without noise and the noise of setting j without
//! light's chance (raw), or from many repeats of each corner (rendered).
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use rayon::prelude::*;
use stopwise::compare::attribution::shares;
use stopwise::compare::record::CompareRecord;
use stopwise::compare::{CompareJob, compare};
use stopwise::core::Plane;
use stopwise::core::progress::NoProgress;
use stopwise::image::raw::decode_raw;
use stopwise::image::{FileKind, Want, decode};
use stopwise::noise::signal_noise::{RingPowers, SignalNoise, bits_px};
use stopwise::noise::spectrum::Spectrum;
use stopwise::simulator::camera::{LinearFrame, Pose};
use stopwise::simulator::scene::SceneKind;
use stopwise::simulator::sensor::SimulatedSensor;
use stopwise::simulator::series::{SeriesSpec, SimulatedSeries, Take};
use stopwise::store::overrides::UserOverrides;

const KINDS: [SceneKind; 3] = [SceneKind::DeadLeaves, SceneKind::Edges, SceneKind::Hairs];
const MAGNIFICATIONS: [f64; 3] = [1.0, 2.0, 4.0];
const APERTURES: [f64; 5] = [5.6, 8.0, 11.0, 16.0, 22.0];
const NOISELESS: SimulatedSensor =
    SimulatedSensor { full_scale_e: 1e13, read_e: 0.0, late_read_e: 0.0 };
/// Repeats of a corner that stand for the truth of rendered frames.
const TRUE_REPEATS: u64 = 8;

/// What is written and judged.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    RawPair,
    RawSingle,
    JpegPair,
    ReducedCorners,
    ReducedSingle,
}

const WAYS: [(Way, &str); 5] = [
    (Way::RawPair, "raw pair"),
    (Way::RawSingle, "raw single"),
    (Way::JpegPair, "JPEG pair"),
    (Way::ReducedCorners, "four corners, noise-reduced JPEG"),
    (Way::ReducedSingle, "single noise-reduced JPEG"),
];

impl Way {
    fn reduction(self) -> f32 {
        match self {
            Way::ReducedCorners | Way::ReducedSingle => 1.5,
            _ => 0.0,
        }
    }
}

/// Writes the files of a series: f-number and ISO a step.
fn write(series: &SimulatedSeries, way: Way, settings: &[(f64, u16)], repeats: usize, dir: &Path) {
    let mut number = 0;
    for (f_number, iso) in settings {
        let camera = series.camera(*f_number);
        for _ in 0..repeats {
            let take =
                Take { f_number: *f_number, iso: *iso, exposure_s: 0.005, number, pose: None };
            let light = series.light(&camera, &take);
            let sensor = &SimulatedSensor::ORDINARY;
            let (bytes, end) = match way {
                Way::RawPair | Way::RawSingle => {
                    (series.raw(&light, &take, sensor).unwrap(), "dng")
                }
                _ => (series.rendered(&light, &take, sensor, way.reduction()).unwrap(), "jpg"),
            };
            std::fs::write(dir.join(format!("vm{number:03}.{end}")), bytes).unwrap();
            number += 1;
        }
    }
}

/// Writes series to look at: a folder a way.
pub fn files(dir: &Path) {
    let spec = SeriesSpec {
        magnification: 2.0,
        shift_px: 3.0,
        turn_deg: 0.5,
        off_focus_px: 1.0,
        width_px: 1200,
        height_px: 900,
        ..SeriesSpec::usual(SceneKind::Insect, 5)
    };
    let series = SimulatedSeries::new(spec);
    let ladder = APERTURES.map(|f| (f, iso_of(100.0, f)));
    let two = [(8.0, 200), (8.0, 800), (16.0, 200), (16.0, 800)];
    let isos = [100, 400, 1600, 6400].map(|iso| (8.0, iso));
    type Set<'a> = (&'a str, Way, &'a [(f64, u16)], usize);
    let sets: [Set<'_>; 6] = [
        ("raw-pairs", Way::RawPair, &ladder, 2),
        ("raw-singles", Way::RawSingle, &ladder, 1),
        ("jpeg-pairs", Way::JpegPair, &ladder, 2),
        ("four-corners", Way::ReducedCorners, &two, 2),
        ("reduced-singles", Way::ReducedSingle, &ladder, 1),
        ("iso", Way::JpegPair, &isos, 2),
    ];
    for (name, way, settings, repeats) in sets {
        let dir = dir.join(name);
        std::fs::create_dir_all(&dir).unwrap();
        write(&series, way, settings, repeats, &dir);
    }
}

/// One change, as found and as true.
struct Cell {
    total: f64,
    optics: f64,
    low: f64,
    high: f64,
    true_total: f64,
    true_optics: f64,
}

struct Run {
    cells: Vec<Cell>,
    refused: bool,
    best_off_stops: Option<f64>,
}

fn iso_of(base: f64, f_number: f64) -> u16 {
    let stops = (6.0 * (f_number / APERTURES[0]).log2()).round() / 3.0;
    (base * stops.exp2()).round() as u16
}

fn raw_plane(
    series: &SimulatedSeries,
    light: &LinearFrame,
    take: &Take,
    sensor: &SimulatedSensor,
) -> Plane {
    decode_raw(series.raw(light, take, sensor).unwrap()).unwrap().linear_luma()
}

fn jpeg_plane(series: &SimulatedSeries, light: &LinearFrame, take: &Take, reduction: f32) -> Plane {
    let bytes = series.rendered(light, take, &SimulatedSensor::ORDINARY, reduction).unwrap();
    let d = decode(&bytes, FileKind::Jpeg, Want::Luma).unwrap();
    d.luma().cut(0, 0, d.width_px as usize, d.height_px as usize)
}

/// The region of a record in a plane.
fn region(plane: &Plane, record: &CompareRecord) -> Plane {
    let r = &record.region;
    let (w, h) = (r.width_px as usize, r.height_px as usize);
    let at = |middle: f64, size: usize, full: usize| {
        (middle * full as f64 - size as f64 / 2.0).round() as usize
    };
    plane.cut(at(r.x, w, plane.width_px), at(r.y, h, plane.height_px), w, h)
}

fn run(way: Way, kind: SceneKind, m: f64, seed: u64, how: How) -> Run {
    let How { verbose, moved, best } = how;
    let mut random = stopwise::core::random::SplitMix64::new(seed.wrapping_mul(31) + 7);
    let spec = SeriesSpec {
        magnification: m,
        shift_px: if moved { 3.0 } else { 0.0 },
        turn_deg: if moved { 1.0 } else { 0.0 },
        off_focus_px: random.between(0.0, 1.5),
        ..SeriesSpec::usual(kind, seed)
    };
    let base = [100.0, 200.0, 400.0][random.below(3)];
    let series = SimulatedSeries::new(spec);
    let reduction = way.reduction();
    let corners = way == Way::ReducedCorners;
    let far = APERTURES[2 + random.below(3)];
    let settings: Vec<(f64, u16)> = if corners {
        let list = [APERTURES[1], far];
        list.iter().flat_map(|f| list.map(|g| (*f, iso_of(base, g)))).collect()
    } else {
        APERTURES.map(|f| (f, iso_of(base, f))).to_vec()
    };
    let repeats = match way {
        Way::RawSingle | Way::ReducedSingle => 1,
        _ => 2,
    };
    let place = tempfile::tempdir().unwrap();
    write(&series, way, &settings, repeats, place.path());
    let job = CompareJob {
        paths: vec![place.path().to_owned()],
        typed: UserOverrides { magnification: Some(m), ..UserOverrides::default() },
        ..CompareJob::default()
    };
    let record = compare(&job, &NoProgress).unwrap().0;
    if record.refused.is_some() {
        return Run { cells: Vec::new(), refused: true, best_off_stops: None };
    }
    // The truth of D(i,j), i a step's aperture and j a step's noise.
    let still = |f: f64, iso: u16, number: u64| Take {
        f_number: f,
        iso,
        exposure_s: 0.005,
        number,
        pose: Some(Pose::STRAIGHT),
    };
    let lights: Vec<LinearFrame> = record
        .steps
        .iter()
        .map(|s| series.light(&series.camera(s.f_number), &still(s.f_number, 100, 0)))
        .collect();
    let iso = |i: usize| record.steps[i].iso.unwrap() as u16;
    let raw = matches!(way, Way::RawPair | Way::RawSingle);
    let repeated = |i: usize, j: usize| -> SignalNoise {
        let planes: Vec<Plane> = (0..if raw { 6 } else { TRUE_REPEATS })
            .map(|k| {
                let take = still(record.steps[i].f_number, iso(j), 1000 + 97 * j as u64 + k);
                let plane = if raw {
                    raw_plane(&series, &lights[i], &take, &SimulatedSensor::ORDINARY)
                } else {
                    jpeg_plane(&series, &lights[i], &take, reduction)
                };
                region(&plane, &record)
            })
            .collect();
        SignalNoise::of_repeats(&planes.iter().collect::<Vec<_>>(), &[]).unwrap()
    };
    let truth: Vec<Vec<Option<f64>>> = if raw {
        let signals: Vec<(RingPowers, RingPowers)> = (0..lights.len())
            .map(|i| {
                let take = still(record.steps[i].f_number, 100, 0);
                let plane = region(&raw_plane(&series, &lights[i], &take, &NOISELESS), &record);
                let s = Spectrum::of(&plane).unwrap();
                (s.power, s.count)
            })
            .collect();
        let noises: Vec<RingPowers> = (0..lights.len()).map(|j| repeated(j, j).noise).collect();
        signals
            .iter()
            .map(|(s, c)| noises.iter().map(|n| Some(bits_px(s, n, c))).collect())
            .collect()
    } else {
        // Of rendered frames only what is asked for.
        let asked: Vec<(usize, usize)> =
            record.attributions.iter().map(|a| (a.from, a.to)).collect();
        let n = lights.len();
        (0..n)
            .map(|i| {
                (0..n)
                    .map(|j| {
                        let wanted = i == j || asked.iter().any(|p| *p == (i, j) || *p == (j, i));
                        wanted.then(|| {
                            let found = repeated(i, j);
                            bits_px(&found.signal, &found.noise, &found.count)
                        })
                    })
                    .collect()
            })
            .collect()
    };
    let cells: Vec<Cell> = record
        .attributions
        .iter()
        .filter(|a| {
            !corners
                || (record.steps[a.from].f_number - record.steps[a.to].f_number).abs() > 0.1
                    && record.steps[a.from].iso != record.steps[a.to].iso
        })
        .filter_map(|a| {
            let (i, j) = (a.from, a.to);
            let (aa, ba, ab, bb) = (truth[i][i]?, truth[j][i]?, truth[i][j]?, truth[j][j]?);
            let own = shares(aa, ba, ab, bb);
            Some(Cell {
                total: a.total,
                optics: a.optics,
                low: a.low,
                high: a.high,
                true_total: bb - aa,
                true_optics: own.first,
            })
        })
        .collect();
    if verbose {
        for (i, s) in record.steps.iter().enumerate() {
            println!(
                "    f/{} ISO {:?} D {:.3} ± {:.3} true {:.3}",
                s.f_number,
                s.iso,
                s.detail_bits_px.map_or(0.0, |m| m.value),
                s.detail_bits_px.and_then(|m| m.std_err).unwrap_or(0.0),
                truth[i][i].unwrap_or(0.0)
            );
        }
        for c in &cells {
            println!(
                "    total {:+.3} true {:+.3} optics {:+.3} ({:+.3} to {:+.3}) true {:+.3}",
                c.total, c.true_total, c.optics, c.low, c.high, c.true_optics
            );
        }
    }
    let best_off_stops =
        (way == Way::RawPair && best).then(|| best_off(&series, &record, base, verbose)).flatten();
    Run { cells, refused: false, best_off_stops }
}

/// Distance of the best aperture found from the true one, stops; `None` when either lies at an
/// end of the series.
fn best_off(
    series: &SimulatedSeries,
    record: &CompareRecord,
    base: f64,
    verbose: bool,
) -> Option<f64> {
    let best = record.best_aperture.filter(|b| b.interior)?;
    let (low, high) = (2.0 * APERTURES[0].log2(), 2.0 * APERTURES[4].log2());
    let cells = ((high - low) * 4.0).round() as usize;
    let stops = |i: usize| low + (high - low) * i as f64 / cells as f64;
    let bits: Vec<f64> = (0..=cells)
        .map(|i| {
            let f_number = (stops(i) / 2.0).exp2();
            let take = Take {
                f_number,
                iso: (base * (stops(i) - low).exp2()).round() as u16,
                exposure_s: 0.005,
                number: 0,
                pose: Some(Pose::STRAIGHT),
            };
            let light = series.light(&series.camera(f_number), &take);
            let clear = region(&raw_plane(series, &light, &take, &NOISELESS), record);
            let two: Vec<Plane> = (0..4)
                .map(|k| {
                    let take = Take { number: 500 + k, ..take };
                    region(&raw_plane(series, &light, &take, &SimulatedSensor::ORDINARY), record)
                })
                .collect();
            let noise = SignalNoise::of_repeats(&two.iter().collect::<Vec<_>>(), &[]).unwrap();
            let s = Spectrum::of(&clear).unwrap();
            bits_px(&s.power, &noise.noise, &s.count)
        })
        .collect();
    let top = (0..bits.len()).max_by(|a, b| bits[*a].total_cmp(&bits[*b]))?;
    if top == 0 || top + 1 == bits.len() {
        return None;
    }
    let (l, p, r) = (bits[top - 1], bits[top], bits[top + 1]);
    let part = 0.5 * (l - r) / (l - 2.0 * p + r);
    let truth = stops(top) + part * (high - low) / cells as f64;
    let found = 2.0 * best.f_number.log2();
    if verbose {
        println!("    best f/{:.1} true f/{:.1}", best.f_number, (truth / 2.0).exp2());
    }
    Some(found - truth)
}

/// How a table is made.
#[derive(Clone, Copy)]
pub struct How {
    /// Say everything.
    pub verbose: bool,
    /// Frames move by up to 3 px and 1 degree.
    pub moved: bool,
    /// Look for the best aperture (slow).
    pub best: bool,
}

pub fn table(first: u64, n: u64, how: How, only: Option<&str>) {
    let How { verbose, moved, .. } = how;
    for (way, name) in WAYS {
        if only.is_some_and(|o| !name.contains(o)) {
            continue;
        }
        let mut jobs = Vec::new();
        for seed in first..first + n {
            for kind in KINDS {
                for m in MAGNIFICATIONS {
                    jobs.push((kind, m, seed));
                }
            }
        }
        let one = |(kind, m, seed): &(SceneKind, f64, u64)| {
            if verbose {
                println!("  {name} {kind:?} m {m} seed {seed}");
            }
            run(way, *kind, *m, *seed, how)
        };
        let runs: Vec<Run> = if verbose {
            jobs.iter().map(one).collect()
        } else {
            jobs.par_iter().map(one).collect()
        };
        let refused = runs.iter().filter(|r| r.refused).count();
        let cells: Vec<&Cell> = runs
            .iter()
            .flat_map(|r| &r.cells)
            // A change of nothing has no share.
            .filter(|c| c.true_total.abs() > 0.1)
            .collect();
        let count = cells.len() as f64;
        let square = |f: &dyn Fn(&Cell) -> f64| {
            (cells.iter().map(|c| f(c).powi(2)).sum::<f64>() / count).sqrt()
        };
        let off = square(&|c| (c.optics - c.true_optics) / c.true_total);
        let total = square(&|c| (c.total - c.true_total) / c.true_total);
        let within =
            cells.iter().filter(|c| c.low <= c.true_optics && c.true_optics <= c.high).count();
        let covered = 100.0 * within as f64 / count;
        println!(
            "{name}{}: {} series, {refused} refused; {count} changes: rms error of the aperture's part over the loss {off:.4}, of the loss itself {total:.4}; 90 % intervals cover {covered:.1} %",
            if moved { ", moved" } else { "" },
            runs.len()
        );
        let best: Vec<f64> = runs.iter().filter_map(|r| r.best_off_stops).collect();
        if !best.is_empty() {
            let worst = best.iter().map(|b| b.abs()).fold(0.0, f64::max);
            let within = best.iter().filter(|b| b.abs() <= 1.0 / 3.0).count();
            println!(
                "  best apertures within the series: {}, within a third of a stop {within}, worst {worst:.2} stops",
                best.len()
            );
        }
    }
}
