//! Invented but plausible records and pages, seeded: for tests of how things look.

use stopwise::body_noise::findings::NoiseFinding;
use stopwise::body_noise::record::{
    BodyNoise, IsoNoise, NOISE_SCHEMA, NoiseMethod, NoiseRecord, SigmaAt, TransferPoint,
};
use stopwise::core::random::SplitMix64;
use stopwise::core::verdict::{BlurBy, Cause, Verdict};
use stopwise::core::{Flag, FlagSet, Measured};
use stopwise::cull::findings::{
    BlurReason, BurstFinding, OutingFinding, RatioOver, Reason, SettingsNote, SmearLength,
    Yardstick,
};
use stopwise::cull::page_data::{BurstPage, FramePictures};
use stopwise::cull::record::*;
use stopwise::cull::summary;
use stopwise::image::Picture;
use stopwise::report::header::Header;
use stopwise::report::parts::*;
use stopwise::report::value::WithError;

/// Side of an invented crop, px.
pub const CROP_PX: u16 = 320;

/// An invented outing: bursts with their pictures, and the record of it all.
pub struct Invented {
    pub pages: Vec<BurstPage>,
    pub record: CullRecord,
}

/// Bursts of the given sizes; `pictures` is left out where only numbers matter.
pub fn outing(seed: u64, bursts: &[usize], pictures: bool) -> Invented {
    let mut random = SplitMix64::new(seed);
    let mut pages = Vec::new();
    let mut number = 412;
    for (i, &frames) in bursts.iter().enumerate() {
        pages.push(burst(&mut random, i as u32 + 1, frames, &mut number, pictures));
    }
    let bursts: Vec<BurstRecord> = pages.iter().map(|p| p.burst.clone()).collect();
    let frames: Vec<FrameRecord> =
        pages.iter().flat_map(|p| p.frames.iter().map(|(f, _)| f.clone())).collect();
    let mut outing = summary::outing(vec!["meadow".to_owned()], &bursts, &frames);
    outing.findings = vec![OutingFinding::Lost {
        cause: Cause::Shake,
        frames: 11,
        of: 24,
        in_other_bursts: false,
    }];
    let skipped = vec![
        SkippedRecord {
            path: "meadow/P0001.jpg".to_owned(),
            reason: "the file is empty".to_owned(),
            advice: None,
        },
        SkippedRecord {
            path: "meadow/P0002.jpg".to_owned(),
            reason: "damaged picture: data end after 1204 of 4016 lines".to_owned(),
            advice: None,
        },
    ];
    let record = CullRecord { header: Header::new(CULL_SCHEMA), outing, bursts, frames, skipped };
    Invented { pages, record }
}

fn burst(
    random: &mut SplitMix64,
    id: u32,
    count: usize,
    number: &mut u32,
    pictures: bool,
) -> BurstPage {
    let f_number = [5.6, 8.0, 11.0, 16.0][random.below(4)];
    let shutter_s = [1.0 / 200.0, 1.0 / 160.0, 1.0 / 60.0, 1.0 / 30.0][random.below(4)];
    let texture = random.next_u64();
    let mut sigmas: Vec<f64> =
        (0..count).map(|_| 0.72 + random.normal().abs().powf(1.6) * 1.4).collect();
    if count > 6 {
        sigmas[4] = 14.8;
    }
    let best = sigmas.iter().copied().fold(f64::INFINITY, f64::min);
    let mut frames = Vec::new();
    for (i, sigma) in sigmas.iter().copied().enumerate() {
        *number += 1;
        let lost = i % 11 == 9;
        let mut frame = frame(random, id, *number, sigma, best, lost);
        frame.exposure.f_number = Some(f_number);
        frame.exposure.shutter_s = Some(shutter_s);
        frame.exposure.taken_at = Some(format!(
            "2026-05-03T11:{:02}:{:02}.{}0+02:00",
            (id * 3) % 60,
            (7 + i * 2 / 5) % 60,
            i % 10
        ));
        let shown = if pictures { pictures_of(&frame, sigma, texture) } else { none() };
        frames.push((frame, shown));
    }
    let best = frames
        .iter()
        .filter(|(f, _)| f.verdict == Verdict::Hit)
        .min_by(|a, b| {
            let ratio = |f: &FrameRecord| f.blur_ratio.map_or(f64::INFINITY, |r| r.value);
            ratio(&a.0).total_cmp(&ratio(&b.0))
        })
        .map(|(f, _)| f.path.clone());
    let burst = BurstRecord {
        id,
        frames: frames.iter().map(|(f, _)| f.path.clone()).collect(),
        best,
        other: None,
        subject: BurstSubject { found: SubjectFound::Automatic, confidence: Some(0.83) },
        split_reason: "time gap".to_owned(),
        duration_s: Some(tidy(count as f64 * 0.37)),
        findings: vec![BurstFinding::NothingSharp {
            is_shaken: false,
            least_and_allowed_px: Some((2.7, 0.86)),
        }],
    };
    BurstPage { burst, frames }
}

/// Four digits after the point: enough to look at, and the same on every machine's libm.
fn tidy(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

fn frame(
    random: &mut SplitMix64,
    burst: u32,
    number: u32,
    sigma: f64,
    best: f64,
    lost: bool,
) -> FrameRecord {
    let ratio = sigma / best;
    let (verdict, cause) = match ratio {
        _ if lost => (Verdict::Unclear, Some(Cause::NoTexture)),
        r if r < 1.25 => (Verdict::Hit, None),
        r if r < 1.7 => (Verdict::Near, Some(Cause::Soft)),
        _ => (
            Verdict::Miss,
            Some(
                [Cause::Misfocused, Cause::Shake, Cause::SubjectMotion, Cause::Misfocused]
                    [random.below(4)],
            ),
        ),
    };
    let moved = matches!(cause, Some(Cause::Shake | Cause::SubjectMotion));
    let measured = |value: f64, share: f64| Measured::new(tidy(value), tidy(value * share), 900);
    let mut between = |low, high| tidy(random.between(low, high));
    let mut flags = FlagSet::EMPTY.with(Flag::SubjectGuessed);
    if lost {
        flags.raise(Flag::SubjectLost);
    }
    let over =
        Some(RatioOver { ratio, std_err: Some(0.07 * ratio), over: Yardstick::SharpestFrame });
    let smear = Some(SmearLength { px: 3.0 * sigma, std_err_px: 0.2 * sigma });
    let because = match (verdict, cause) {
        (Verdict::Unclear, _) => Reason::SubjectLost,
        (Verdict::Hit, _) => Reason::Hit {
            is_best: sigma <= best,
            ratio: over,
            settings: SettingsNote::Allowed { allowed_px: 0.86 },
        },
        (_, cause) => Reason::Blurred {
            ratio: over,
            by: match cause {
                Some(Cause::Shake) => BlurReason::Shake(smear),
                Some(Cause::SubjectMotion) => BlurReason::SubjectMotion(smear),
                Some(Cause::Misfocused) => BlurReason::Misfocused,
                _ => BlurReason::NothingSharp,
            },
        },
    };
    FrameRecord {
        path: format!("meadow/P{number:04}.jpg"),
        file: std::path::PathBuf::new(),
        partner: None,
        source: FrameSource::Rendered,
        burst,
        width_px: 6000,
        height_px: 4000,
        exposure: ExposureRecord {
            iso: Some(400),
            flash_fired: Some(false),
            focal_mm: Some(90.0),
            exposure_bias_ev: Some(0.0),
            body: Some("Brennweit Mark 2".to_owned()),
            lens: Some("Nahlicht 90 mm f/2.8".to_owned()),
            pixel_pitch_um: Some(3.92),
            ..ExposureRecord::default()
        },
        verdict,
        causes: cause
            .map(|cause| CauseShare { cause, share: (!lost).then(|| between(0.6, 0.95)) })
            .into_iter()
            .collect(),
        because,
        subject: (!lost).then(|| SubjectAt {
            x: between(0.48, 0.56),
            y: between(0.42, 0.5),
            confidence: between(0.7, 0.98),
        }),
        blur_sigma_px: if lost { None } else { measured(sigma, 0.05) },
        blur_low_px: (!lost).then(|| tidy(0.86f64.max(sigma * 0.8))),
        blur_high_px: (!lost).then(|| tidy(sigma * 1.25)),
        blur_by: (!lost).then_some(BlurBy::Burst),
        attainable_blur_px: Some(0.86),
        blur_ratio: if lost { None } else { measured(ratio, 0.07) },
        focus: if lost { None } else { measured(4200.0 / sigma.powi(3), 0.04) },
        noise_sigma_dn: measured(between(1.9, 2.3), 0.03),
        detail_bits_px: if lost { None } else { measured(2.1 / sigma, 0.06) },
        motion: moved.then(|| MotionRecord {
            length_px: tidy(sigma * 3.0),
            length_std_err_px: Some(tidy(sigma * 0.2)),
            direction_deg: between(10.0, 60.0),
        }),
        sharpest: measured(0.9, 0.05).map(|blur_sigma_px| Sharpest {
            x: between(0.3, 0.5),
            y: between(0.4, 0.6),
            blur_sigma_px,
        }),
        sharp_area: Some(between(0.02, 0.2)),
        whole_frame_lap_var: Some(between(40.0, 90.0)),
        subject_mean_dn: Some(between(90.0, 130.0)),
        at_output: Some(AtOutput {
            output_width_px: 2048,
            verdict: match ratio {
                _ if lost => Verdict::Unclear,
                r if r < 2.0 => Verdict::Hit,
                _ => Verdict::Miss,
            },
            blur_sigma_px: if lost { None } else { measured(sigma / 2.93, 0.05) },
        }),
        flags,
    }
}

fn none() -> FramePictures {
    FramePictures { crop: None, crop_scale: 1.0, thumb: None, map: None }
}

fn pictures_of(frame: &FrameRecord, sigma: f64, texture: u64) -> FramePictures {
    FramePictures {
        crop: frame.subject.map(|_| picture(CROP_PX, CROP_PX, sigma, texture)),
        crop_scale: 1.0,
        thumb: Some(picture(480, 320, 1.2, texture ^ 1)),
        map: Some(map(frame)),
    }
}

/// Rings and hairs on a soft ground, made soft by `sigma`.
pub fn picture(width: u16, height: u16, sigma: f64, seed: u64) -> Picture {
    let mut random = SplitMix64::new(seed);
    let phase = random.between(0.0, 6.0);
    let (cx, cy) = (f64::from(width) * 0.5, f64::from(height) * 0.48);
    let fade = |cycles_px: f64| (-2.0 * (std::f64::consts::PI * sigma * cycles_px).powi(2)).exp();
    let mut rgb = Vec::with_capacity(usize::from(width) * usize::from(height) * 3);
    for y in 0..height {
        for x in 0..width {
            let (dx, dy) = (f64::from(x) - cx, f64::from(y) - cy);
            let radius = dx.hypot(dy);
            let inside = 1.0 / (1.0 + ((radius - f64::from(height) * 0.36) / (1.0 + sigma)).exp());
            let mut facets = 0.0;
            for angle in [0.0f64, 1.047, 2.094] {
                let at = (dx * angle.cos() + dy * angle.sin()) / 9.0;
                facets += (std::f64::consts::TAU * at + phase).cos() * fade(1.0 / 9.0);
                facets += 0.8 * (std::f64::consts::TAU * at * 2.2).cos() * fade(2.2 / 9.0);
            }
            let noise = random.normal() * 2.0;
            let ground = 118.0 + 26.0 * (dx / 190.0 + phase).sin() + 18.0 * (dy / 140.0).cos();
            let body = 92.0 + 20.0 * facets - radius / 8.0;
            let v = ground + (body - ground) * inside + noise;
            let warm = inside * 14.0;
            for v in [v + warm, v + 4.0 * (1.0 - inside), v - warm] {
                rgb.push(v.clamp(0.0, 255.0) as u8);
            }
        }
    }
    let mut jpeg = Vec::new();
    jpeg_encoder::Encoder::new(&mut jpeg, 85)
        .encode(&rgb, width, height, jpeg_encoder::ColorType::Rgb)
        .unwrap();
    Picture { jpeg, width_px: u32::from(width), height_px: u32::from(height) }
}

/// A plane of focus that crosses the frame at a slant.
pub fn map(frame: &FrameRecord) -> MapRecord {
    let tile_px = 64;
    let (cols, rows) = (frame.width_px.div_ceil(tile_px), frame.height_px.div_ceil(tile_px));
    let (sx, sy) = frame.sharpest.map_or((0.5, 0.5), |s| (s.x, s.y));
    let mut blur = Vec::new();
    for row in 0..rows {
        for col in 0..cols {
            let x = (f64::from(col) + 0.5) / f64::from(cols) - sx;
            let y = (f64::from(row) + 0.5) / f64::from(rows) - sy;
            let away = (x * 0.9 + y * 0.45).abs() * 22.0;
            let textured = (f64::from(col * 7 + row * 13) * 0.7).sin() > -0.75 && y.hypot(x) < 0.5;
            blur.push(textured.then_some(away.hypot(0.85) as f32));
        }
    }
    let err = blur.iter().map(|b| b.map(|b| b * 0.1)).collect();
    let lap = blur.iter().map(|b| b.map(|b| 900.0 / (b * b * b))).collect();
    MapRecord { tile_px, cols, rows, blur_sigma_px: blur, blur_std_err_px: err, lap_var: lap }
}

/// A record of `inspect` with its pictures.
pub fn inspected(seed: u64) -> (InspectRecord, FramePictures) {
    let mut random = SplitMix64::new(seed);
    let mut frame = frame(&mut random, 1, 977, 1.9, 0.95, false);
    frame.exposure.f_number = Some(11.0);
    frame.exposure.shutter_s = Some(1.0 / 160.0);
    frame.exposure.taken_at = Some("2026-05-03T12:10:33+02:00".to_owned());
    let noise = (0..8)
        .filter_map(|i| {
            let level_dn = 18.0 + 29.0 * f64::from(i);
            let sigma = 1.1 + 0.09 * level_dn.sqrt();
            Some(NoiseAt {
                level_dn,
                sigma_dn: Measured::new(tidy(sigma), tidy(sigma * 0.05), 400)?,
            })
        })
        .collect();
    let spectrum = (1..=48)
        .map(|i| {
            let cy_px = f64::from(i) / 96.0;
            let noise = 3.6 * (1.0 - 0.5 * cy_px);
            let picture = 9.0 * cy_px.powf(-2.0) * (-cy_px * 22.0).exp();
            SpectrumPoint { cy_px, power: picture + noise, noise }
        })
        .collect();
    let pictures = FramePictures {
        crop: Some(picture(CROP_PX, CROP_PX, 1.9, seed)),
        crop_scale: 1.0,
        thumb: Some(picture(1200, 800, 1.2, seed ^ 1)),
        map: None,
    };
    let record = InspectRecord {
        header: Header::new(CULL_SCHEMA),
        map: map(&frame),
        frame,
        noise,
        spectrum,
        resolved_cy_px: Measured::new(0.214, 0.012, 48),
    };
    (record, pictures)
}

/// The noise of two bodies, with every way a row can be come by.
pub fn noise() -> NoiseRecord {
    // variance = a·x + b of a sensor whose gain doubles with ISO, as DN of a range.
    let row = |iso: Option<u32>, method: NoiseMethod, textured: usize| {
        let range_dn = 15_871.0;
        let g = f64::from(iso.unwrap_or(100)) / 100.0;
        let (a, b) = (2e-5 * g, 4e-8 + 1e-8 * g * g);
        let sigma_dn = |x: f64| (a * x + b).sqrt() * range_dn;
        let trusted = method != NoiseMethod::UpperBound;
        let err = |v: f64| trusted.then_some(0.012 * v);
        IsoNoise {
            iso,
            source: FrameSource::Raw,
            frames: if method == NoiseMethod::Pair { 2 } else { 1 },
            method,
            range_dn: Some(range_dn),
            gain_dn_per_e: trusted
                .then(|| WithError { value: a * range_dn, std_err: err(a * range_dn) }),
            read_noise_e: trusted.then(|| WithError {
                value: b.sqrt() / a,
                std_err: (method == NoiseMethod::Pair).then(|| 0.04 * b.sqrt() / a),
            }),
            sigma_at: [0.02, 0.1, 0.4]
                .map(|level| SigmaAt {
                    level,
                    sigma_dn: sigma_dn(level),
                    std_err: err(sigma_dn(level)),
                })
                .to_vec(),
            curve: (0..12)
                .map(|i| {
                    let level = 0.004 * 1.6f64.powi(i);
                    let kept = i as usize >= textured;
                    let more = if kept { 1.0 } else { 1.7 };
                    TransferPoint {
                        signal_dn: level * range_dn,
                        sigma_dn: more * sigma_dn(level),
                        kept,
                    }
                })
                .collect(),
            trusted,
        }
    };
    let rendered = IsoNoise {
        iso: Some(400),
        source: FrameSource::Rendered,
        frames: 3,
        method: NoiseMethod::Single,
        range_dn: None,
        gain_dn_per_e: None,
        read_noise_e: None,
        sigma_at: vec![SigmaAt { level: 0.46, sigma_dn: 2.31, std_err: Some(0.08) }],
        curve: Vec::new(),
        trusted: true,
    };
    let known = BodyNoise {
        body: "Velmarrow VM-7".into(),
        isos: vec![
            row(Some(100), NoiseMethod::Pair, 0),
            row(Some(400), NoiseMethod::Pair, 0),
            row(Some(800), NoiseMethod::Single, 2),
            row(Some(1600), NoiseMethod::Series, 12),
            row(Some(3200), NoiseMethod::UpperBound, 9),
            rendered,
        ],
        gain_steps_iso: vec![400],
        findings: vec![
            NoiseFinding::GainStep { iso: 400 },
            NoiseFinding::OnlyBounds { isos: vec![3200] },
        ],
    };
    let unknown = BodyNoise {
        body: "unknown <body>".into(),
        isos: vec![row(None, NoiseMethod::UpperBound, 0)],
        gain_steps_iso: Vec::new(),
        findings: Vec::new(),
    };
    NoiseRecord {
        header: Header::new(NOISE_SCHEMA),
        paths: vec!["meadow & wood/raws".into()],
        bodies: vec![known, unknown],
        skipped: vec![SkippedRecord {
            path: "raws/a.dng".into(),
            reason: "damaged picture: it ends early".into(),
            advice: None,
        }],
    }
}
