//! Raw files: written by the simulator, read back sample by sample; levels, borders, exposure;
//! damaged and foreign files.

use stopwise::SkipReason;
use stopwise::image::raw::{Filter, decode_raw, raw_formats, raw_makers};
use stopwise::simulator::dng::{self, RawPicture, dng as written};
use stopwise::simulator::file::{MAKE, MODEL, Tags};
use stopwise::simulator::sensor::{SimulatedRendering, SimulatedSensor};
use stopwise::simulator::{LinearFrame, RenderedPicture};

const RENDERING: SimulatedRendering = SimulatedRendering {
    iso: 400.0,
    exposure: 0.66,
    noise_reduction: 0.0,
    sharpen_px: 0.9,
    sharpen: 0.0,
    contrast: 0.0,
};

fn light(width_px: usize, height_px: usize) -> LinearFrame {
    let value = |i: usize| {
        let (x, y) = ((i / 3 % width_px) as f32, (i / 3 / width_px) as f32);
        0.05 + 0.9 * (x / width_px as f32) + 0.02 * (y / 5.0).sin() + 0.01 * (i % 3) as f32
    };
    let data = (0..width_px * height_px * 3).map(value).collect();
    LinearFrame { width_px, height_px, channels: 3, data }
}

fn picture() -> RawPicture {
    dng::read_out(&light(160, 120), &SimulatedSensor::ORDINARY, &RENDERING, 5)
}

#[test]
fn a_written_raw_file_reads_back_sample_by_sample() {
    let raw = picture();
    let read = decode_raw(written(&raw, &Tags::invented()).unwrap()).unwrap();
    assert_eq!((read.width_px, read.height_px), (160, 120));
    assert_eq!(read.mosaic, raw.data);
    assert_eq!(read.pattern, [Filter::Red, Filter::Green, Filter::Green, Filter::Blue]);
    assert_eq!(read.black_dn, [512.0; 4]);
    assert_eq!(read.white_dn, 16_383.0);
    assert_eq!((read.make.as_str(), read.model.as_str()), (MAKE, MODEL));
    let [r, g, b] = read.white_balance.unwrap();
    approx::assert_abs_diff_eq!(r, 1.0 / 0.53, epsilon = 1e-4);
    approx::assert_abs_diff_eq!(b, 1.0 / 0.64, epsilon = 1e-4);
    assert_eq!(g, 1.0);
}

#[test]
fn a_shielded_border_of_odd_size_is_cut_and_filters_and_black_stay_in_place() {
    // DNG specification: pattern and black levels count from the corner of the lit area.
    let inner = picture();
    let (left, top) = (3, 5);
    let (w, h) = (inner.width_px + left, inner.height_px + top);
    let data = (0..w * h)
        .map(|i| match (i % w, i / w) {
            (x, y) if x < left || y < top => 500,
            (x, y) => inner.data[(y - top) * inner.width_px + x - left],
        })
        .collect();
    let raw = RawPicture {
        width_px: w,
        height_px: h,
        data,
        border_px: (left, top),
        black_dn: [500, 510, 520, 530],
        white_dn: 16_383,
    };
    let read = decode_raw(written(&raw, &Tags::invented()).unwrap()).unwrap();
    assert_eq!((read.width_px, read.height_px), (inner.width_px, inner.height_px));
    assert_eq!(read.mosaic, inner.data);
    assert_eq!(read.pattern, [Filter::Red, Filter::Green, Filter::Green, Filter::Blue]);
    assert_eq!(read.black_dn, [500.0, 510.0, 520.0, 530.0]);
}

#[test]
fn cut_constant_and_foreign_files_are_told_apart() {
    let whole = written(&picture(), &Tags::invented()).unwrap();
    let reason = |bytes: &[u8]| decode_raw(bytes.to_vec()).unwrap_err();
    assert_eq!(reason(b""), SkipReason::Empty);
    // The directories are at the end: without them nothing can be found.
    for len in [4, 8, 200, whole.len() / 2, whole.len() - 500] {
        let why = reason(&whole[..len]);
        assert!(matches!(why, SkipReason::Damaged(_) | SkipReason::Unsupported(_)), "{len} {why}");
    }
    let flat = RawPicture { data: vec![700; 160 * 120], ..picture() };
    let why = reason(&written(&flat, &Tags::invented()).unwrap());
    assert!(
        matches!(&why, SkipReason::Damaged(s) if s.contains(MODEL) && s.ends_with("every raw sample is 700")),
        "{why}"
    );
    assert!(matches!(
        reason(b"no picture at all, only words"),
        SkipReason::Unsupported(_) | SkipReason::Damaged(_)
    ));
    // No directory of a maker's own: a camera that the decoder does not know is named.
    let mut foreign = whole.clone();
    let version = foreign.windows(4).position(|w| w == [0x12, 0xc6, 1, 0]).unwrap();
    foreign[version] = 0x11;
    let why = reason(&foreign);
    assert!(matches!(&why, SkipReason::Unsupported(s) if s.contains("Velmarrow")), "{why}");
}

/// The file with another value of a directory's entry: the entry's tag, type and count come first.
fn with_entry(file: &[u8], head: [u8; 8], value: [u8; 4]) -> Vec<u8> {
    let mut file = file.to_vec();
    let at = file.windows(8).rposition(|w| w == head).unwrap();
    file[at + 8..at + 12].copy_from_slice(&value);
    file
}

#[test]
fn what_the_decoder_cannot_read_is_named_with_its_camera() {
    let whole = written(&picture(), &Tags::invented()).unwrap();
    let compression = [0x03, 0x01, 3, 0, 1, 0, 0, 0];
    let says = |code: u8| decode_raw(with_entry(&whole, compression, [code, 0, 0, 0])).unwrap_err();
    // TIFF 6.0 and DNG 1.7 number the ways to compress: 7 is lossless JPEG, which these samples
    // are not; 99 means nothing.
    let broken = says(7);
    assert!(matches!(&broken, SkipReason::Damaged(s) if s.contains(MODEL)), "{broken}");
    let foreign = says(99);
    assert!(
        matches!(&foreign, SkipReason::Unsupported(s) if s.contains(MODEL) && s.contains("compression")),
        "{foreign}"
    );
}

#[test]
fn makers_are_listed_once() {
    let makers = raw_makers();
    assert!(makers.len() > 10, "{makers:?}");
    let mut sorted = makers.clone();
    sorted.sort_by_key(|m| m.to_lowercase());
    sorted.dedup();
    assert_eq!(sorted, makers);
}

#[test]
fn the_formats_named_hold_those_that_are_promised() {
    let formats = raw_formats();
    for wanted in ["DNG", "ARW", "CR2", "CR3", "NEF", "ORF", "RW2", "RAF"] {
        assert!(formats.iter().any(|f| f == wanted), "{wanted} is not among {formats:?}");
    }
}

#[test]
fn luma_and_preview_show_what_a_plain_rendering_shows() {
    let quiet = SimulatedSensor { full_scale_e: 1e9, read_e: 0.0, late_read_e: 0.0 };
    let light = light(160, 120);
    let raw = dng::read_out(&light, &quiet, &RENDERING, 1);
    let read = decode_raw(written(&raw, &Tags::invented()).unwrap()).unwrap();
    let rendered: RenderedPicture =
        stopwise::simulator::sensor::developed(&light, &quiet, &RENDERING, 1);
    let luma = read.luma16();
    for y in (4..116).step_by(7) {
        for x in (4..156).step_by(5) {
            let want = f32::from(rendered.data[(y * 160 + x) * 3 + 1]);
            let got = f32::from(luma[y * 160 + x]) / 257.0;
            // The rendering's colour matrix mixes the faint tint of the light.
            assert!((got - want).abs() < 2.5, "{x} {y}: {got} {want}");
        }
    }
}

/// Writes a raw file and its samples where another reader can be held against them
/// (`testdata/check_dng.py`): `STOPWISE_DNG_OUT=folder cargo test --test all raw::for_other`.
#[test]
fn for_other_readers_a_file_is_written_when_asked_for() {
    let raw = picture();
    let bytes = written(&raw, &Tags::invented()).unwrap();
    assert_eq!(&bytes[..4], b"II\x2a\0");
    if let Some(folder) = std::env::var_os("STOPWISE_DNG_OUT") {
        let folder = std::path::PathBuf::from(folder);
        std::fs::write(folder.join("frame.dng"), &bytes).unwrap();
        let samples: Vec<u8> = raw.data.iter().flat_map(|v| v.to_le_bytes()).collect();
        std::fs::write(folder.join("frame.u16"), samples).unwrap();
    }
}

#[test]
fn exposure_comes_from_the_files_own_structure_and_zeros_are_unknown() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dng");
    let tags = Tags { exposure_s: 1.0 / 250.0, ..Tags::invented() };
    let mut bytes = written(&picture(), &tags).unwrap();
    let exposure = |bytes: &[u8]| {
        std::fs::write(&path, bytes).unwrap();
        let found = stopwise::image::find(std::slice::from_ref(&path)).unwrap();
        stopwise::image::read_header(&found.items[0]).unwrap().exposure.unwrap()
    };
    let e = exposure(&bytes);
    approx::assert_abs_diff_eq!(e.exposure_time_s.unwrap().value, 1.0 / 250.0, epsilon = 1e-9);
    assert_eq!(e.f_number.unwrap().value, 5.6);
    assert_eq!(e.iso.unwrap().value, 400.0);
    assert_eq!(e.taken_at.unwrap().value.to_string(), "2031-06-14T15:02:09.05+02:00");
    approx::assert_abs_diff_eq!(e.pixel_pitch_um.unwrap().value, 6.0, epsilon = 1e-3);
    assert_eq!(e.body.model.unwrap().value, MODEL);
    // Some programs write every exposure tag as 0.
    let zeroed = |bytes: &mut Vec<u8>, from: &[u8], len: usize| {
        let at = bytes.windows(from.len()).rposition(|w| w == from).unwrap() + from.len() - len;
        bytes[at..at + len].fill(0);
    };
    let ratio = |n: u32, d: u32| [n.to_le_bytes(), d.to_le_bytes()].concat();
    zeroed(&mut bytes, &ratio(1, 250), 8);
    zeroed(&mut bytes, &ratio(56, 10), 8);
    zeroed(&mut bytes, &[0x27, 0x88, 3, 0, 1, 0, 0, 0, 0x90, 0x01], 2);
    let e = exposure(&bytes);
    assert_eq!((e.exposure_time_s, e.f_number, e.iso), (None, None, None));
    assert!(e.taken_at.is_some());
}

/// Median of measured over true blur in the tiles of a frame of edges.
fn blur_ratio(luma: &stopwise::core::Luma<'_>, truth: &[f64]) -> f64 {
    let shot = stopwise::tracking::frame_features::FrameFeatures::measure(luma).unwrap();
    let map = shot.cells.map(&shot.noise.unwrap());
    let across = luma.width_px() / 32;
    let mut ratios: Vec<f64> = truth
        .iter()
        .enumerate()
        .filter(|(_, t)| (0.6..3.0).contains(*t))
        .filter_map(|(i, t)| {
            let tile = map.at(i % across, i / across)?;
            Some(f64::from(stopwise::sharpness::focus_map::Tile::sigma_px(tile)?) / t)
        })
        .collect();
    println!("{} tiles", ratios.len());
    assert!(ratios.len() > 30);
    stopwise::core::stats::median(&mut ratios).unwrap()
}

// What the measure gives on the same light without a mosaic is the yardstick: the mosaic and its
// interpolation must hardly move blur, and a scale of half size would show as 0.5.
#[test]
fn blur_of_edges_in_raw_frames_is_in_pixels_of_the_full_mosaic() {
    use stopwise::simulator::{BurstSpec, SceneKind, SimulatedBurst};
    for (seed, iso) in [(3, 100.0), (4, 800.0)] {
        let burst = SimulatedBurst::new(BurstSpec {
            width_px: 960,
            height_px: 640,
            frames: 1,
            colour: true,
            shaken_share: 0.0,
            // One scene, one picture of it.
            hand: 0,
            ..BurstSpec::usual(SceneKind::Edges, seed, 0.0)
        });
        let light = burst.light(0).unwrap();
        let truth = burst.sigma_map(0, 32);
        let rendering = SimulatedRendering { iso, ..RENDERING };
        let raw = dng::read_out(&light, &SimulatedSensor::ORDINARY, &rendering, 5);
        let read = decode_raw(written(&raw, &Tags::invented()).unwrap()).unwrap();
        let data = read.luma16();
        let luma = stopwise::core::Luma::U16 { data: &data, width_px: 960, height_px: 640 };
        let ratio = blur_ratio(&luma, &truth);
        let picture = stopwise::simulator::sensor::developed(
            &light,
            &SimulatedSensor::ORDINARY,
            &rendering,
            5,
        );
        let data = picture.luma();
        let luma =
            stopwise::core::Luma::U8 { data: &data, channels: 1, width_px: 960, height_px: 640 };
        let rendered = blur_ratio(&luma, &truth);
        let direct = stopwise::simulator::encode::encoded(&light, RENDERING.exposure, 0.7, 5);
        let green: Vec<u8> = direct.data.iter().skip(1).step_by(3).copied().collect();
        let luma =
            stopwise::core::Luma::U8 { data: &green, channels: 1, width_px: 960, height_px: 640 };
        let direct = blur_ratio(&luma, &truth);
        println!("ISO {iso}: raw {ratio:.3} rendered {rendered:.3} no mosaic {direct:.3}");
        assert!((ratio / direct - 1.0).abs() < 0.08, "{ratio} {direct}");
    }
}
