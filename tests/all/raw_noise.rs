//! Noise of raw frames of a whole simulated scene against the sensor's own formula: one frame,
//! pairs, pairs that moved, and the record of a body.

use stopwise::core::Plane;
use stopwise::image::Orientation;
use stopwise::image::raw::{Filter, RawFrame};
use stopwise::noise::raw::{IsoModel, RawMethod, RawNoise, raw_noise, raw_noise_of_pair};
use stopwise::simulator::dng::{RawPicture, read_out};
use stopwise::simulator::sensor::{SimulatedRendering, SimulatedSensor};
use stopwise::simulator::{BurstSpec, LinearFrame, SceneKind, SimulatedBurst};

const LEVELS: [f64; 3] = [0.02, 0.1, 0.4];
const ISOS: [f64; 8] = [100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0, 12_800.0];

/// A creature before an unsharp ground.
fn scene(seed: u64, width_px: usize, height_px: usize) -> LinearFrame {
    let spec = BurstSpec {
        width_px,
        height_px,
        frames: 1,
        colour: true,
        shaken_share: 0.0,
        // One scene, one picture of it.
        hand: 0,
        ..BurstSpec::usual(SceneKind::Insect, seed, 0.0)
    };
    SimulatedBurst::new(spec).light(0).unwrap()
}

pub fn rendering(iso: f64) -> SimulatedRendering {
    SimulatedRendering {
        iso,
        exposure: 0.66,
        noise_reduction: 0.0,
        sharpen_px: 0.9,
        sharpen: 0.0,
        contrast: 0.0,
    }
}

fn planes(raw: RawPicture) -> [Plane; 4] {
    RawFrame {
        width_px: raw.width_px,
        height_px: raw.height_px,
        mosaic: raw.data,
        pattern: [Filter::Red, Filter::Green, Filter::Green, Filter::Blue],
        black_dn: raw.black_dn.map(f32::from),
        white_dn: f32::from(raw.white_dn),
        make: String::new(),
        model: String::new(),
        white_balance: None,
        orientation: Orientation::Upright,
    }
    .planes()
}

fn taken(light: &LinearFrame, sensor: &SimulatedSensor, iso: f64, seed: u64) -> [Plane; 4] {
    planes(read_out(light, sensor, &rendering(iso), seed))
}

/// Deviation of electrons and rounding (EMVA 1288: 1/12 step squared), share of saturation.
fn truth(sensor: &SimulatedSensor, iso: f64, level: f64) -> f64 {
    let step = 1.0 / (16_383.0 - 512.0);
    (sensor.noise_at(iso, level).powi(2) + step * step / 12.0).sqrt()
}

fn ratios(found: &RawNoise, sensor: &SimulatedSensor, iso: f64) -> [f64; 3] {
    LEVELS.map(|level| found.sigma_at(level).unwrap().value / truth(sensor, iso, level))
}

#[test]
fn one_frame_gives_sigma_within_3_per_cent_from_iso_100_to_12800() {
    let light = scene(11, 1500, 1000);
    let mut settings = Vec::new();
    for (i, iso) in ISOS.into_iter().enumerate() {
        let found =
            raw_noise(&taken(&light, &SimulatedSensor::ORDINARY, iso, 40 + i as u64)).unwrap();
        let ratios = ratios(&found, &SimulatedSensor::ORDINARY, iso);
        println!("ISO {iso}: {:?} {ratios:.3?}", found.method);
        settings.push((iso, found, ratios));
    }
    for (iso, found, ratios) in &settings {
        assert_eq!(found.method, RawMethod::Single, "ISO {iso}");
        for r in ratios {
            assert!((r - 1.0).abs() < 0.03, "ISO {iso}: {ratios:?}");
        }
    }
    // The settings together: one slope, two parts of the dark variance.
    let known: Vec<(f64, &RawNoise)> = settings.iter().map(|(iso, n, _)| (*iso, n)).collect();
    let model = IsoModel::fit(&known).unwrap();
    for iso in ISOS {
        for level in LEVELS {
            let r =
                model.sigma_at(iso, level).unwrap() / truth(&SimulatedSensor::ORDINARY, iso, level);
            assert!((r - 1.0).abs() < 0.03, "series at ISO {iso}, {level}: {r}");
        }
    }
}

#[test]
fn a_pair_gives_sigma_within_2_per_cent_texture_and_all() {
    for (seed, width_px) in [(11, 1200), (12, 1200)] {
        let light = scene(seed, width_px, 800);
        for (i, iso) in ISOS.into_iter().enumerate() {
            let seed = 100 + 2 * i as u64;
            let first = taken(&light, &SimulatedSensor::ORDINARY, iso, seed);
            let second = taken(&light, &SimulatedSensor::ORDINARY, iso, seed + 1);
            let found = raw_noise_of_pair(&first, &second).unwrap();
            let ratios = ratios(&found, &SimulatedSensor::ORDINARY, iso);
            println!("ISO {iso}: {ratios:.4?}");
            for r in ratios {
                assert!((r - 1.0).abs() < 0.02, "ISO {iso}: {ratios:?}");
            }
        }
    }
}

/// The light, with the picture moved by whole pixels.
fn moved(light: &LinearFrame, dx: usize, dy: usize) -> LinearFrame {
    let (w, h) = (light.width_px, light.height_px);
    let data = (0..w * h * 3)
        .map(|i| {
            let (x, y, c) = (i / 3 % w, i / 3 / w, i % 3);
            light.data[((y + dy).min(h - 1) * w + (x + dx).min(w - 1)) * 3 + c]
        })
        .collect();
    LinearFrame { data, ..*light }
}

#[test]
fn a_pair_that_moved_is_registered_or_refused_but_never_wrong() {
    let light = scene(11, 1200, 800);
    let first = taken(&light, &SimulatedSensor::ORDINARY, 800.0, 1);
    for (dx, dy) in [(0, 1), (1, 1), (2, 0), (3, 2), (4, 4), (30, 0)] {
        let second = taken(&moved(&light, dx, dy), &SimulatedSensor::ORDINARY, 800.0, 2);
        let found = raw_noise_of_pair(&first, &second);
        println!(
            "{dx} {dy}: {:.3?}",
            found.as_ref().map(|f| ratios(f, &SimulatedSensor::ORDINARY, 800.0))
        );
        if dx.max(dy) <= 4 && dx % 2 == 0 && dy % 2 == 0 {
            assert!(found.is_some(), "{dx} {dy}");
        }
        for r in found.map(|f| ratios(&f, &SimulatedSensor::ORDINARY, 800.0)).unwrap_or([1.0; 3]) {
            assert!((r - 1.0).abs() < 0.04, "{dx} {dy}: {r}");
        }
    }
}
