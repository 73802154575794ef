//! Time of each kernel on one 24 Mpx frame, one thread. `cargo bench --bench kernels`.
#![allow(missing_docs, clippy::unwrap_used)]

use std::sync::LazyLock;

use divan::{Bencher, black_box};
use stopwise::core::Luma;
use stopwise::core::random::SplitMix64;
use stopwise::image::{FileKind, Want, decode_into};
use stopwise::noise::rendered::rendered_noise;
use stopwise::noise::spectrum::Spectrum;
use stopwise::sharpness::band_noise::BandNoise;
use stopwise::sharpness::focus_map::FrameCells;
use stopwise::sharpness::laplacian::plain_lap_var;
use stopwise::sharpness::pyramid::Pyramid;
use stopwise::sharpness::subject::SubjectSums;
use stopwise::tracking::template::{TrackingTemplate, track_template, whole_shift};

const WIDTH: usize = 6000;
const HEIGHT: usize = 4000;

/// Discs on a ground, soft away from the middle, with noise: about what a close-up holds.
static FRAME: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let mut rng = SplitMix64::new(3);
    let mut light = vec![90f32; WIDTH * HEIGHT];
    for _ in 0..4000 {
        let (cx, cy) = (rng.between(0.0, WIDTH as f64), rng.between(0.0, HEIGHT as f64));
        let radius = rng.between(6.0, 60.0);
        let away = ((cx / WIDTH as f64 - 0.5).hypot(cy / HEIGHT as f64 - 0.5) * 40.0).max(0.7);
        let level = rng.between(30.0, 220.0) as f32;
        let reach = radius + 3.0 * away;
        let (x0, x1) = ((cx - reach).max(0.0) as usize, (cx + reach).min(WIDTH as f64) as usize);
        let (y0, y1) = ((cy - reach).max(0.0) as usize, (cy + reach).min(HEIGHT as f64) as usize);
        for y in y0..y1 {
            for x in x0..x1 {
                let d = (x as f64 - cx).hypot(y as f64 - cy);
                let cover = (0.5 - (d - radius) / (2.0 * away)).clamp(0.0, 1.0) as f32;
                let at = &mut light[y * WIDTH + x];
                *at += (level - *at) * cover;
            }
        }
    }
    light
        .iter()
        .map(|v| (f64::from(*v) + 2.0 * rng.normal()).round().clamp(0.0, 255.0) as u8)
        .collect()
});

static JPEG: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let rgb: Vec<u8> = FRAME.iter().flat_map(|v| [*v, v.saturating_sub(8), v / 2 + 40]).collect();
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 92);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_2_2);
    encoder.encode(&rgb, WIDTH as u16, HEIGHT as u16, jpeg_encoder::ColorType::Rgb).unwrap();
    bytes
});

fn luma() -> Luma<'static> {
    Luma::U8 { data: &FRAME, channels: 1, width_px: WIDTH, height_px: HEIGHT }
}

static CELLS: LazyLock<FrameCells> =
    LazyLock::new(|| FrameCells::measure(&luma(), &Pyramid::new(&luma())).unwrap());

fn main() {
    divan::main();
}

#[divan::bench(args = [Want::Luma, Want::Colour], sample_count = 5)]
fn decode_jpeg(bencher: Bencher<'_, '_>, want: Want) {
    let mut buffer = Vec::new();
    LazyLock::force(&JPEG);
    bencher.bench_local(|| {
        let taken = std::mem::take(&mut buffer);
        buffer = decode_into(&JPEG, FileKind::Jpeg, want, taken).unwrap().into_buffer();
    });
}

#[divan::bench(sample_count = 10)]
fn gather_luma_of_colour(bencher: Bencher<'_, '_>) {
    let samples: Vec<u8> = FRAME.iter().flat_map(|v| [*v, 128, 128]).collect();
    let luma = Luma::U8 { data: &samples, channels: 3, width_px: WIDTH, height_px: HEIGHT };
    let mut row = vec![0i16; WIDTH];
    bencher.bench_local(|| {
        for y in 0..HEIGHT {
            black_box(&luma).row_eighths(y, 0, &mut row);
            black_box(&row);
        }
    });
}

#[divan::bench(sample_count = 10)]
fn laplacian_of_every_eighth_row() -> f64 {
    plain_lap_var(black_box(&luma()), 8)
}

#[divan::bench(sample_count = 20)]
fn colour_of_a_patch(bencher: Bencher<'_, '_>) {
    let decoded = decode_into(&JPEG, FileKind::Jpeg, Want::Colour, Vec::new()).unwrap();
    bencher.bench_local(|| black_box(&decoded).rgb_crop(2800, 1800, 448, 448));
}

#[divan::bench(sample_count = 10)]
fn small_picture(bencher: Bencher<'_, '_>) {
    let decoded = decode_into(&JPEG, FileKind::Jpeg, Want::Colour, Vec::new()).unwrap();
    bencher.bench_local(|| black_box(&decoded).rgb_small(480));
}

#[divan::bench(sample_count = 10)]
fn pyramid() -> Pyramid {
    Pyramid::new(black_box(&luma()))
}

#[divan::bench(sample_count = 10)]
fn tiles(bencher: Bencher<'_, '_>) {
    let pyramid = Pyramid::new(&luma());
    bencher.bench(|| FrameCells::measure(&luma(), black_box(&pyramid)));
}

#[divan::bench(sample_count = 20)]
fn band_noise() -> Option<BandNoise> {
    CELLS.noise()
}

#[divan::bench(sample_count = 20)]
fn map(bencher: Bencher<'_, '_>) {
    let noise = BandNoise::white(2.0);
    bencher.bench(|| CELLS.map(black_box(&noise)));
}

#[divan::bench(sample_count = 20)]
fn frame_noise(bencher: Bencher<'_, '_>) {
    bencher.bench(|| rendered_noise(black_box(&luma())));
}

#[divan::bench(sample_count = 20)]
fn spectrum_256(bencher: Bencher<'_, '_>) {
    let plane = luma().cut(2800, 1800, 256, 256);
    bencher.bench(|| Spectrum::of(black_box(&plane)));
}

#[divan::bench(sample_count = 20)]
fn subject_box(bencher: Bencher<'_, '_>) {
    let plane = luma().cut(2800, 1800, 256, 256);
    let bytes = plane.to_luma();
    let noise = BandNoise::white(2.0);
    bencher.bench(|| {
        let around = Luma::U8 { data: &bytes, channels: 1, width_px: 256, height_px: 256 };
        SubjectSums::measure(black_box(&around), 128.0, 128.0).map(|s| s.under(&noise))
    });
}

fn patterns() -> [TrackingTemplate; 3] {
    let small = Pyramid::new(&luma()).smooth2.halved();
    let bytes: Vec<u8> = small.data.iter().map(|v| (v >> 3) as u8).collect();
    let full = TrackingTemplate::new(&bytes, small.width, small.height, 8.0);
    let half = full.halved();
    let quarter = half.halved();
    [full, half, quarter]
}

#[divan::bench(sample_count = 20)]
fn follow_one(bencher: Bencher<'_, '_>) {
    let p = patterns();
    let at = (3000.0, 2000.0);
    bencher.bench(|| track_template((&p[0], &p[1]), (&p[0], &p[1]), black_box(at), at));
}

#[divan::bench(sample_count = 20)]
fn shift_of_the_whole(bencher: Bencher<'_, '_>) {
    let p = patterns();
    bencher.bench(|| whole_shift(black_box(&p[2]), &p[2]));
}
