//! Held against the general decoder in its strict mode, sample by sample.

mod writer;

use std::path::Path;

use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use self::writer::random_file;
use super::{ChromaRows, SequentialJpeg};
use crate::core::at_baseline;
use crate::core::random::SplitMix64;

/// What the general decoder makes of a file, luma or all of it interleaved; `None` when it refuses.
fn general(bytes: &[u8], out: ColorSpace) -> Option<Vec<u8>> {
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

/// Luma, or luma and interpolated chroma interleaved, as decoded here.
fn own(bytes: &[u8], colour: bool) -> Option<(Vec<u8>, bool)> {
    let file = SequentialJpeg::read(bytes)?;
    let (width, height) = file.size();
    assert!(width * height < 10_000_000, "the damage made it too large for a test");
    let planes = file.decode(colour, &mut Vec::new())?;
    if !planes.has_chroma() {
        return Some((planes.luma().to_vec(), false));
    }
    let (mut rows, mut out) = (ChromaRows::default(), Vec::new());
    for y in 0..height {
        let [luma, blue, red] = planes.row(y, 0, width, &mut rows);
        out.extend(luma.iter().zip(blue).zip(red).flat_map(|((y, b), r)| [*y, *b, *r]));
    }
    Some((out, true))
}

/// Whether a file is taken here; what is taken must be what the general decoder gives.
fn taken(bytes: &[u8], what: &str) -> bool {
    let luma = own(bytes, false);
    let colour = own(bytes, true);
    assert_eq!(luma.is_some(), colour.is_some(), "{what}: wanting colour changes what is taken");
    let Some(((luma, _), (colour, has_chroma))) = luma.zip(colour) else { return false };
    let form = if has_chroma { ColorSpace::YCbCr } else { ColorSpace::Luma };
    let expected = general(bytes, form);
    assert!(expected.is_some(), "{what}: taken although refused in strict mode");
    assert!(expected.is_some_and(|e| e == colour), "{what}: samples differ");
    assert!(luma.iter().eq(colour.iter().step_by(if has_chroma { 3 } else { 1 })), "{what}");
    // Of luma alone in 4:4:0 the general decoder reads twice as many rows as there are, and may
    // refuse what comes behind the end.
    match general(bytes, ColorSpace::Luma) {
        Some(expected) => assert!(expected == luma, "{what}: luma alone differs"),
        None => {
            let header = SequentialJpeg::read(bytes).unwrap().header;
            let sampling = (header.components[0].across, header.components[0].down);
            assert_eq!(sampling, (1, 2), "{what}: luma alone is refused in strict mode");
        }
    }
    true
}

/// A picture of ramps, flat parts and noise.
fn picture(rng: &mut SplitMix64, width: usize, height: usize) -> Vec<u8> {
    let noise = [0.0, 2.0, 20.0, 120.0][rng.below(4)];
    let slopes: [f64; 6] = std::array::from_fn(|_| rng.between(-6.0, 6.0));
    let edge = rng.between(0.0, 1.5) * width as f64;
    let mut rgb = Vec::with_capacity(3 * width * height);
    for y in 0..height {
        for x in 0..width {
            let side = if (x as f64) < edge { 0.0 } else { 70.0 };
            for c in 0..3 {
                let ramp = slopes[2 * c] * x as f64 + slopes[2 * c + 1] * y as f64;
                rgb.push(
                    (90.0 + side + ramp % 160.0 + noise * rng.normal()).clamp(0.0, 255.0) as u8
                );
            }
        }
    }
    rgb
}

/// Those of which the encoder writes all components into one scan.
const SAMPLINGS: [SamplingFactor; 4] =
    [SamplingFactor::F_1_1, SamplingFactor::F_2_1, SamplingFactor::F_2_2, SamplingFactor::F_1_2];

/// A file of random form, and what it is.
fn encoded(rng: &mut SplitMix64, max_side: usize) -> (Vec<u8>, String) {
    let (width, height) = (1 + rng.below(max_side), 1 + rng.below(max_side));
    let rgb = picture(rng, width, height);
    let quality = (1 + rng.below(100)) as u8;
    let mut bytes = Vec::new();
    let what = if rng.below(8) == 0 {
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality);
        let grey = rng.below(2) == 0;
        let (data, colour) = if grey {
            (rgb[..width * height].to_vec(), image::ExtendedColorType::L8)
        } else {
            (rgb, image::ExtendedColorType::Rgb8)
        };
        encoder.encode(&data, width as u32, height as u32, colour).unwrap();
        format!("{width} x {height}, quality {quality}, other encoder, grey {grey}")
    } else {
        let sampling = SAMPLINGS[rng.below(4)];
        let grey = rng.below(6) == 0;
        let restart = [0, 0, 1, 2, 3, 7, 50][rng.below(7)];
        // Optimised colour comes in a scan for each component.
        let optimised = grey && restart == 0 && rng.below(2) == 0;
        let mut encoder = Encoder::new(&mut bytes, quality);
        encoder.set_sampling_factor(sampling);
        encoder.set_optimized_huffman_tables(optimised);
        if restart > 0 {
            encoder.set_restart_interval(restart);
        }
        let (data, colour) = if grey {
            (&rgb[..width * height], ColorType::Luma)
        } else {
            (&rgb[..], ColorType::Rgb)
        };
        encoder.encode(data, width as u16, height as u16, colour).unwrap();
        format!(
            "{width} x {height}, quality {quality}, {sampling:?}, grey {grey}, restart {restart}, \
             optimised {optimised}"
        )
    };
    (bytes, what)
}

#[test]
fn random_encodings_are_all_taken_and_the_same() {
    let mut rng = SplitMix64::new(21);
    for case in 0..2400 {
        let (bytes, what) = encoded(&mut rng, if case % 200 == 0 { 900 } else { 70 });
        assert!(taken(&bytes, &what), "not taken: {what}");
    }
}

#[test]
fn random_coefficients_in_random_codes_are_all_taken_and_the_same() {
    let mut rng = SplitMix64::new(31);
    for case in 0..1200 {
        let (bytes, what) = random_file(&mut rng, if case % 100 == 0 { 400 } else { 70 });
        assert!(taken(&bytes, &what), "not taken: {what}");
    }
}

#[test]
fn the_vectors_of_any_processor_give_the_same() {
    let mut rng = SplitMix64::new(22);
    for _ in 0..60 {
        let (bytes, what) = encoded(&mut rng, 200);
        let file = SequentialJpeg::read(&bytes).unwrap();
        let widest = file.decode(true, &mut Vec::new()).unwrap();
        let plain = file.decode_by(true, &mut Vec::new(), |scan| at_baseline(scan)?).unwrap();
        assert!(widest == plain, "{what}");
    }
}

#[test]
fn files_of_the_tests_are_the_same() {
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("testdata")];
    let (mut files, mut some) = (0, 0);
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let bytes = std::fs::read(&path).unwrap();
            if bytes.starts_with(&[0xff, 0xd8]) {
                files += 1;
                some += usize::from(taken(&bytes, &path.display().to_string()));
            }
        }
    }
    assert!(files >= 1 && some >= 1, "{some} of {files}");
}

/// Damages a file somewhere.
fn damaged(rng: &mut SplitMix64, bytes: &[u8]) -> (Vec<u8>, &'static str) {
    let mut bytes = bytes.to_vec();
    let at = rng.below(bytes.len());
    match rng.below(6) {
        0 => {
            bytes[at] ^= 1 << rng.below(8);
            (bytes, "a bit flipped")
        }
        1 => {
            for _ in 0..3 {
                let at = rng.below(bytes.len());
                bytes[at] = rng.below(256) as u8;
            }
            (bytes, "bytes overwritten")
        }
        2 => {
            bytes.truncate(at);
            (bytes, "cut")
        }
        3 => {
            bytes.insert(at, [0, 0xff, rng.below(256) as u8][rng.below(3)]);
            (bytes, "a byte inserted")
        }
        4 => {
            bytes.remove(at);
            (bytes, "a byte removed")
        }
        _ => {
            swap_segments(rng, &mut bytes);
            (bytes, "segments swapped")
        }
    }
}

/// Swaps two neighbours among the pieces that begin with a marker.
fn swap_segments(rng: &mut SplitMix64, bytes: &mut [u8]) {
    let starts: Vec<usize> = (2..bytes.len() - 1)
        .filter(|i| bytes[*i] == 0xff && !matches!(bytes[*i + 1], 0 | 0xff))
        .collect();
    let first = rng.below(starts.len().saturating_sub(2).max(1));
    let Some(&[a, b, c]) = starts.get(first..first + 3) else { return };
    bytes[a..c].rotate_left(b - a);
}

#[test]
fn damage_is_never_taken_that_is_refused_in_strict_mode() {
    let mut rng = SplitMix64::new(23);
    let (mut own_taken, mut refused) = (0, 0);
    for _ in 0..200 {
        let make = if rng.below(3) == 0 { random_file } else { encoded };
        let (whole, what) = make(&mut rng, 40);
        for _ in 0..100 {
            let (bytes, damage) = damaged(&mut rng, &whole);
            // Sizes that a damage blew up are for the caller, who looks at them first.
            let size = SequentialJpeg::read(&bytes).map_or((0, 0), |file| file.size());
            if size.0 * size.1 > 1 << 20 {
                continue;
            }
            match taken(&bytes, &format!("{what}, {damage}")) {
                true => own_taken += 1,
                false => refused += 1,
            }
        }
    }
    assert!(own_taken > 1000 && refused > 5000, "{own_taken} {refused}");
}

#[test]
fn the_buffer_takes_what_the_header_asks_for() {
    let mut rng = SplitMix64::new(24);
    let (bytes, _) = encoded(&mut rng, 60);
    let file = SequentialJpeg::read(&bytes).unwrap();
    let (width, height) = file.size();
    let mut buffer = Vec::new();
    let bits = bytes.len() - file.header.scan_at;
    for cut in 0..bits {
        let cut = SequentialJpeg::read(&bytes[..bytes.len() - 1 - cut]).unwrap();
        assert!(cut.decode(true, &mut buffer).is_none());
        assert!(buffer.len() <= 3 * (width + 31) * (height + 15));
    }
    assert!(file.decode(true, &mut buffer).is_some());
}

#[test]
fn unusual_forms_are_left_to_the_general_decoder() {
    let mut rng = SplitMix64::new(25);
    let rgb = picture(&mut rng, 48, 40);
    let encode = |set: &dyn Fn(&mut Encoder<&mut Vec<u8>>), colour: ColorType, data: &[u8]| {
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, 90);
        encoder.set_sampling_factor(SamplingFactor::F_1_1);
        set(&mut encoder);
        encoder.encode(data, 48, 40, colour).unwrap();
        bytes
    };
    let usual = encode(&|_| {}, ColorType::Rgb, &rgb);
    assert!(taken(&usual, "usual"));
    let progressive = encode(&|e| e.set_progressive(true), ColorType::Rgb, &rgb);
    let odd = encode(&|e| e.set_sampling_factor(SamplingFactor::F_2_4), ColorType::Rgb, &rgb);
    let inks =
        encode(&|_| {}, ColorType::Cmyk, &[rgb.clone(), rgb.clone()].concat()[..48 * 40 * 4]);
    let mut marked = usual.clone();
    marked.splice(2..2, *b"\xff\xee\0\x0eAdobe\0\x64\0\0\0\0\0");
    let mut extra = usual.clone();
    let end = extra.len() - 2;
    extra.splice(end..end, [0x5a, 0x5a]);
    let mut twelve = usual.clone();
    let frame = twelve.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    twelve[frame + 4] = 12;
    for (file, what) in [
        (progressive, "progressive"),
        (odd, "odd sampling"),
        (inks, "inks"),
        (marked, "marked as RGB"),
        (extra, "bytes behind the scan"),
        (twelve, "12 bits"),
    ] {
        assert!(!taken(&file, what), "{what}");
    }
}
