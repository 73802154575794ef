//! JPEG of 24 Mpx decoded by the general decoder (`zune-jpeg`) and by the one here, in turn:
//! processor time of one thread, the median of five rounds with its range.
//!
//! `cargo bench --bench jpeg [-- FILE...]`; without files three that it makes itself: one of 4:2:0
//! at quality 92 with little grain, and two of 4:2:2 with fine texture and more grain.
//! `cargo bench --bench jpeg -- same PATH...` compares their samples over all files below paths.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout)]

use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use rustix::time::{ClockId, clock_gettime};
use stopwise::core::random::SplitMix64;
use stopwise::image::{ChromaRows, SequentialJpeg};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

const WIDTH: usize = 6000;
const HEIGHT: usize = 4000;
const ROUNDS: usize = 5;

struct Set {
    name: &'static str,
    quality: u8,
    sampling: SamplingFactor,
    /// Share of texture near the plane in focus, and grain, 8-bit steps.
    texture: f64,
    grain: f64,
}

const SETS: [Set; 3] = [
    Set { name: "light", quality: 92, sampling: SamplingFactor::F_2_2, texture: 6.0, grain: 1.2 },
    Set { name: "middle", quality: 94, sampling: SamplingFactor::F_2_1, texture: 16.0, grain: 3.2 },
    Set { name: "heavy", quality: 95, sampling: SamplingFactor::F_2_1, texture: 16.0, grain: 6.6 },
];

/// Hills of a few sizes, texture that fades away from the middle, grain in every pixel.
fn made(set: &Set) -> Vec<u8> {
    let mut rng = SplitMix64::new(5);
    let noise: Vec<f32> = (0..1 << 16).map(|_| rng.normal() as f32).collect();
    let waves: Vec<[f64; 4]> = (0..6)
        .map(|i| {
            let size = 900.0 / f64::from(1 << i);
            [
                rng.between(-1.0, 1.0) / size,
                rng.between(-1.0, 1.0) / size,
                rng.uniform() * 6.3,
                size / 22.0,
            ]
        })
        .collect();
    let mut rgb = Vec::with_capacity(3 * WIDTH * HEIGHT);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let away = (x as f64 / WIDTH as f64 - 0.5).hypot(y as f64 / HEIGHT as f64 - 0.5);
            let hills: f64 = waves
                .iter()
                .map(|[u, v, at, high]| high * (u * x as f64 + v * y as f64 + at).sin())
                .sum();
            let fine = set.texture * (1.0 - 2.0 * away).max(0.0);
            let texture = fine * f64::from(noise[(x / 3 * 7919 + y / 3 * 104_729) & 0xffff]);
            let grain =
                |c: usize| set.grain * f64::from(noise[(x * 31 + y * 6151 + c * 911) & 0xffff]);
            let level = 110.0 + hills + texture;
            for (c, tint) in [10.0, 0.0, -20.0].into_iter().enumerate() {
                rgb.push((level + tint * hills / 30.0 + grain(c)).clamp(0.0, 255.0) as u8);
            }
        }
    }
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, set.quality);
    encoder.set_sampling_factor(set.sampling);
    encoder.encode(&rgb, WIDTH as u16, HEIGHT as u16, ColorType::Rgb).unwrap();
    bytes
}

fn general(bytes: &[u8], out: ColorSpace, buffer: &mut Vec<u8>) {
    let options = DecoderOptions::new_fast().set_strict_mode(true).jpeg_set_out_colorspace(out);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().unwrap();
    buffer.resize(decoder.output_buffer_size().unwrap(), 0);
    decoder.decode_into(buffer).unwrap();
}

fn own(bytes: &[u8], colour: bool, buffer: &mut Vec<u8>) {
    let planes = SequentialJpeg::read(bytes).unwrap().decode(colour, buffer).unwrap();
    *buffer = planes.into_buffer();
}

fn refused_or_decoded(bytes: &[u8], out: ColorSpace) -> Option<Vec<u8>> {
    let options = DecoderOptions::new_fast()
        .set_strict_mode(true)
        .set_max_width(65_535)
        .set_max_height(65_535)
        .jpeg_set_out_colorspace(out);
    std::panic::catch_unwind(|| {
        JpegDecoder::new_with_options(ZCursor::new(bytes), options).decode()
    })
    .ok()?
    .ok()
}

/// Whether a file is taken here, whether the general decoder takes it, and whether both agree.
fn compared(bytes: &[u8]) -> (bool, bool, bool) {
    let own = SequentialJpeg::read(bytes)
        .and_then(|file| file.decode(true, &mut Vec::new()).map(|planes| (file.size(), planes)));
    let Some(((width, height), planes)) = own else {
        return (false, refused_or_decoded(bytes, ColorSpace::RGB).is_some(), true);
    };
    let form = if planes.has_chroma() { ColorSpace::YCbCr } else { ColorSpace::Luma };
    let Some(general) = refused_or_decoded(bytes, form) else { return (true, false, false) };
    if !planes.has_chroma() {
        return (true, true, planes.luma() == general);
    }
    let mut rows = ChromaRows::default();
    let same = general.chunks_exact(3 * width).zip(0..height).all(|(line, y)| {
        let [luma, blue, red] = planes.row(y, 0, width, &mut rows);
        let own = luma.iter().zip(blue).zip(red);
        line.as_chunks::<3>().0.iter().zip(own).all(|(g, ((y, b), r))| *g == [*y, *b, *r])
    });
    (true, true, same)
}

/// Compares all JPEG files below paths.
fn compare(paths: &[String]) {
    let (mut same, mut left, mut refused, mut wrong) = (0, 0, 0, 0);
    for entry in paths.iter().flat_map(walkdir::WalkDir::new).filter_map(Result::ok) {
        let Ok(bytes) = std::fs::read(entry.path()) else { continue };
        if !bytes.starts_with(&[0xff, 0xd8]) {
            continue;
        }
        match compared(&bytes) {
            (true, _, true) => same += 1,
            (true, ..) => {
                wrong += 1;
                println!("differs: {}", entry.path().display());
            }
            (false, true, _) => {
                left += 1;
                println!("left to the general decoder: {}", entry.path().display());
            }
            (false, false, _) => refused += 1,
        }
    }
    println!("{same} the same, {wrong} differ, {left} left, {refused} refused by both");
}

/// Processor time of this process, ms.
fn now_ms() -> f64 {
    let time = clock_gettime(ClockId::ProcessCPUTime);
    time.tv_sec as f64 * 1e3 + time.tv_nsec as f64 / 1e6
}

fn main() {
    let files: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if let Some(("same", paths)) = files.split_first().map(|(w, paths)| (w.as_str(), paths)) {
        return compare(paths);
    }
    let sets: Vec<(String, Vec<u8>)> = if files.is_empty() {
        SETS.iter().map(|set| (set.name.to_owned(), made(set))).collect()
    } else {
        files.into_iter().map(|file| (file.clone(), std::fs::read(file).unwrap())).collect()
    };
    type Way<'a> = (&'a str, Box<dyn Fn(&[u8], &mut Vec<u8>)>);
    let ways: [Way<'_>; 4] = [
        ("general, luma", Box::new(|b, out| general(b, ColorSpace::Luma, out))),
        ("general, YCbCr", Box::new(|b, out| general(b, ColorSpace::YCbCr, out))),
        ("own, luma", Box::new(|b, out| own(b, false, out))),
        ("own, luma and chroma", Box::new(|b, out| own(b, true, out))),
    ];
    for (name, bytes) in &sets {
        println!("{name}, {:.1} MB", bytes.len() as f64 / 1e6);
        let mut times = vec![Vec::new(); ways.len()];
        let mut buffers = vec![Vec::new(); ways.len()];
        for round in 0..=ROUNDS {
            for ((_, run), (times, buffer)) in ways.iter().zip(times.iter_mut().zip(&mut buffers)) {
                let start = now_ms();
                run(bytes, buffer);
                // The first round is for memory that is touched for the first time.
                if round > 0 {
                    times.push(now_ms() - start);
                }
            }
        }
        for ((way, _), times) in ways.iter().zip(&mut times) {
            times.sort_by(f64::total_cmp);
            let [least, .., most] = times[..] else { continue };
            println!("  {way:<22} {:6.1} ms ({least:.1} to {most:.1})", times[ROUNDS / 2]);
        }
    }
}
