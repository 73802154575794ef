//! Decoding one picture file into luma and colour.
//!
//! A JPEG is decoded once, to the YCbCr samples it holds: luma is the file's own Y, never one
//! computed back from RGB. Other formats are brought to the same form with the weights of JFIF.
//! Sizes are checked in the header before any memory is taken.

mod colour;
mod jpeg;
mod other;
mod scans;

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};

use super::jpeg::{ChromaRows, JpegPlanes};
use super::memory::Held;
use super::raw::RawFrame;
use super::{FileKind, JpegHeader};
use crate::core::{Luma, with_simd};
use crate::error::SkipReason;

/// Most pixels a frame may have. The largest cameras give 150 Mpx, merged shifts 400.
pub const MAX_PIXELS: u64 = 400_000_000;
/// Shortest side a frame may have, px: the smallest tile that is measured.
pub const MIN_SIDE_PX: u32 = 64;
/// No coding here packs more than this many pixels into a byte (progressive JPEG: one bit a block
/// of 64; deflate: 1032 bytes in one), so a file that claims more ends early.
const MAX_PIXELS_PER_BYTE: u64 = 1100 * 8;

/// Samples of this many bytes are decoded however short their file is.
const MAX_SMALL_BYTES: u64 = 256 << 20;
/// Beyond that, bytes of samples for a byte of the file. Photographs give at most 50 (JPEG at the
/// lowest quality of an even sky); a large picture of nothing gives 1000 and takes all memory.
const MAX_EXPANSION: u64 = 100;

/// What a caller needs of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Want {
    /// Luma only: about a fifth faster for JPEG; colour views are then grey.
    Luma,
    /// Luma and colour.
    Colour,
}

/// Decoded samples, row-major, without padding.
#[derive(Debug, Clone, PartialEq)]
pub enum Pixels {
    /// One byte a pixel.
    Grey8(Vec<u8>),
    /// Three bytes a pixel, full range (JFIF): Y, Cb, Cr.
    YCbCr8(Vec<u8>),
    /// Luma, and chroma as coarse as in the file, full range (JFIF).
    Planar8(JpegPlanes),
    /// Luma with full white at 65535, and 8-bit RGB of the same picture unless it is grey.
    Luma16 {
        /// Luma, one sample a pixel.
        luma: Vec<u16>,
        /// RGB, three bytes a pixel.
        rgb8: Option<Vec<u8>>,
    },
    /// Luma of a raw frame ([`RawFrame::luma16`]) with full white at 65535, and colour at half
    /// size.
    Raw {
        /// Luma, one sample a pixel.
        luma: Vec<u16>,
        /// Red less green and blue less green, 8-bit steps, one pair for each 2 x 2 cell, rows of
        /// half the width rounded down; empty when the picture is grey.
        chroma: Vec<[i16; 2]>,
    },
}

impl Pixels {
    /// Memory that the samples take, bytes.
    pub(super) fn bytes(&self) -> u64 {
        let bytes = match self {
            Pixels::Grey8(data) | Pixels::YCbCr8(data) => data.len(),
            Pixels::Planar8(planes) => planes.bytes(),
            Pixels::Luma16 { luma, rgb8 } => {
                2 * luma.len() + rgb8.as_ref().map_or(0, |rgb| rgb.len())
            }
            Pixels::Raw { luma, chroma } => 2 * luma.len() + 4 * chroma.len(),
        };
        bytes as u64
    }
}

/// A decoded picture, in the orientation of the file.
#[derive(Debug, Clone, PartialEq)]
pub struct Decoded {
    /// Width, px.
    pub width_px: u32,
    /// Height, px.
    pub height_px: u32,
    /// The samples.
    pub pixels: Pixels,
    /// Steps to which the luma's coefficients were rounded, row by row, when the file tells.
    pub luma_steps: Option<[u16; 64]>,
}

/// Decodes a picture file held in memory.
///
/// # Errors
/// [`SkipReason`], when the bytes are empty, no picture, damaged, cut short, too large, too
/// small or of an unsupported form.
pub fn decode(bytes: &[u8], kind: FileKind, want: Want) -> Result<Decoded, SkipReason> {
    decode_into(bytes, kind, want, Vec::new())
}

/// Decodes a picture file held in memory into a buffer that held another picture before.
///
/// Fresh memory costs a JPEG decode a sixth of its time, so a worker that goes through many frames
/// hands back [`Decoded::into_buffer`].
///
/// # Errors
/// As [`decode`].
pub fn decode_into(
    bytes: &[u8],
    kind: FileKind,
    want: Want,
    buffer: Vec<u8>,
) -> Result<Decoded, SkipReason> {
    decode_in(bytes, kind, want, buffer, &mut Held::nothing())
}

/// As [`decode_into`], with the memory that it takes: `held` grows to what the decoder needs and
/// is left with what the picture takes.
pub(super) fn decode_in(
    bytes: &[u8],
    kind: FileKind,
    want: Want,
    buffer: Vec<u8>,
    held: &mut Held,
) -> Result<Decoded, SkipReason> {
    if bytes.is_empty() {
        return Err(SkipReason::Empty);
    }
    // Decoders are third-party code fed with damaged files: one that panics costs this frame only.
    let decoded = catch_unwind(AssertUnwindSafe(|| match kind {
        FileKind::Raw => raw(bytes, want),
        FileKind::Jpeg => jpeg::decode(bytes, want, buffer, held),
        FileKind::Png | FileKind::Tiff | FileKind::Webp => other::decode(bytes, kind, want, held),
    }))
    .unwrap_or_else(|_| Err(SkipReason::Damaged("the decoder gave up".into())))?;
    held.shrink(decoded.pixels.bytes());
    Ok(decoded)
}

/// Width and height in the header of a picture file, in px, unchecked; only headers are read.
///
/// # Errors
/// [`SkipReason`], when there is no header that can be read.
pub fn header_size(bytes: &[u8], kind: FileKind) -> Result<(u32, u32), SkipReason> {
    if bytes.is_empty() {
        return Err(SkipReason::Empty);
    }
    match kind {
        FileKind::Raw => raw_size(bytes),
        FileKind::Jpeg => JpegHeader::read(&mut Cursor::new(bytes))
            .ok()
            .flatten()
            .map(|h| (h.width_px, h.height_px))
            .ok_or_else(no_header),
        FileKind::Png | FileKind::Tiff | FileKind::Webp => {
            other::size(&mut Cursor::new(bytes), kind)
        }
    }
}

#[cfg(feature = "raw")]
fn raw(bytes: &[u8], want: Want) -> Result<Decoded, SkipReason> {
    super::raw::decode_raw(bytes.to_vec()).map(|raw| decoded_raw(&raw, want))
}

#[cfg(feature = "raw")]
fn raw_size(bytes: &[u8]) -> Result<(u32, u32), SkipReason> {
    super::raw::raw_header(bytes.to_vec()).map(|h| (h.width_px, h.height_px))
}

#[cfg(not(feature = "raw"))]
fn raw(_: &[u8], _: Want) -> Result<Decoded, SkipReason> {
    Err(SkipReason::Raw)
}

#[cfg(not(feature = "raw"))]
fn raw_size(_: &[u8]) -> Result<(u32, u32), SkipReason> {
    Err(SkipReason::Raw)
}

/// A raw frame developed in colour.
pub fn developed(raw: &RawFrame) -> Decoded {
    decoded_raw(raw, Want::Colour)
}

/// A raw frame as a decoded picture, in pixels of its full mosaic.
#[cfg_attr(not(feature = "raw"), allow(dead_code))]
pub(super) fn decoded_raw(raw: &RawFrame, want: Want) -> Decoded {
    let developed = raw.developed(want == Want::Colour);
    Decoded {
        width_px: raw.width_px as u32,
        height_px: raw.height_px as u32,
        pixels: Pixels::Raw { luma: developed.luma, chroma: developed.chroma },
        luma_steps: None,
    }
}

pub(super) fn no_header() -> SkipReason {
    SkipReason::Damaged("it ends or breaks off in the header".into())
}

pub(super) use other::size as size_of_other;

/// Whether a size in a header can be measured, and can come from a file this long.
pub(super) fn check_size(width_px: u32, height_px: u32, file_bytes: u64) -> Result<(), SkipReason> {
    let pixels = u64::from(width_px) * u64::from(height_px);
    if pixels > MAX_PIXELS {
        return Err(SkipReason::TooLarge {
            width_px: width_px.into(),
            height_px: height_px.into(),
        });
    }
    if width_px.min(height_px) < MIN_SIDE_PX {
        return Err(SkipReason::TooSmall { width_px, height_px });
    }
    if pixels / MAX_PIXELS_PER_BYTE > file_bytes {
        return Err(SkipReason::Damaged("the file is far too short for its size".into()));
    }
    Ok(())
}

/// Refuses a large picture from a file that is too short to hold one.
pub(super) fn check_expansion(sample_bytes: u64, file_bytes: u64) -> Result<(), SkipReason> {
    if sample_bytes > MAX_SMALL_BYTES && sample_bytes / MAX_EXPANSION > file_bytes {
        return Err(SkipReason::Damaged("the file is far too short for its size".into()));
    }
    Ok(())
}

/// Samples along each side of a cell of a small picture that are averaged at most.
const SMALL_SAMPLES: usize = 4;

impl Decoded {
    /// The luma samples, without copying.
    pub fn luma(&self) -> Luma<'_> {
        let (width_px, height_px) = self.size();
        match &self.pixels {
            Pixels::Grey8(data) => Luma::U8 { data, channels: 1, width_px, height_px },
            Pixels::YCbCr8(data) => Luma::U8 { data, channels: 3, width_px, height_px },
            Pixels::Planar8(planes) => {
                Luma::U8 { data: planes.luma(), channels: 1, width_px, height_px }
            }
            Pixels::Luma16 { luma, .. } | Pixels::Raw { luma, .. } => {
                Luma::U16 { data: luma, width_px, height_px }
            }
        }
    }

    /// The part inside a box as interleaved 8-bit RGB, with its width and height; the box is
    /// clamped to the picture.
    pub fn rgb_crop(
        &self,
        x0: usize,
        y0: usize,
        width_px: usize,
        height_px: usize,
    ) -> (Vec<u8>, usize, usize) {
        let (full_w, full_h) = self.size();
        let (x0, y0) = (x0.min(full_w), y0.min(full_h));
        let (w, h) = (width_px.min(full_w - x0), height_px.min(full_h - y0));
        let mut out = vec![0; w * h * 3];
        if w == 0 {
            return (out, w, h);
        }
        let mut chroma = ChromaRows::default();
        for (y, line) in (y0..).zip(out.chunks_exact_mut(3 * w)) {
            let span = y * full_w + x0..y * full_w + x0 + w;
            let line = line.as_chunks_mut::<3>().0;
            match &self.pixels {
                Pixels::Planar8(planes) => {
                    let [luma, blue, red] = planes.row(y, x0, w, &mut chroma);
                    let samples = luma.iter().zip(blue).zip(red);
                    with_simd(
                        #[inline(always)]
                        || {
                            for (o, ((y, b), r)) in line.iter_mut().zip(samples) {
                                *o = colour::rgb([*y, *b, *r]);
                            }
                        },
                    );
                }
                Pixels::YCbCr8(data) => {
                    let samples = &data.as_chunks::<3>().0[span];
                    with_simd(
                        #[inline(always)]
                        || line.iter_mut().zip(samples).for_each(|(o, s)| *o = colour::rgb(*s)),
                    );
                }
                _ => line.iter_mut().zip(span).for_each(|(o, at)| *o = self.sample(at)),
            }
        }
        (out, w, h)
    }

    /// The whole picture as interleaved 8-bit RGB with its longer side at most `max_side_px`, and
    /// its width and height. Each pixel is the mean of up to 4 x 4 samples spread over its cell,
    /// so this is fast on large pictures. A picture that is small already keeps its size.
    pub fn rgb_small(&self, max_side_px: usize) -> (Vec<u8>, usize, usize) {
        let (full_w, full_h) = self.size();
        let longest = full_w.max(full_h);
        let fit = |side: usize| match max_side_px.max(1) {
            max if longest > max => ((side * max + longest / 2) / longest).max(1),
            _ => side,
        };
        let (w, h) = (fit(full_w), fit(full_h));
        let columns = spread(full_w, w);
        let rows = spread(full_h, h);
        let means = match &self.pixels {
            Pixels::Planar8(planes) => {
                let mut chroma = ChromaRows::default();
                means(&columns, &rows, |y, line| {
                    let [luma, blue, red] = planes.row(y, 0, full_w, &mut chroma);
                    for (o, x) in line.iter_mut().zip(&columns.places) {
                        *o = [luma[*x], blue[*x], red[*x]];
                    }
                })
            }
            Pixels::Grey8(data) => self.sampled(&columns, &rows, |at| [data[at]; 3]),
            Pixels::YCbCr8(data) | Pixels::Luma16 { rgb8: Some(data), .. } => {
                let samples = data.as_chunks::<3>().0;
                self.sampled(&columns, &rows, |at| samples[at])
            }
            _ => self.sampled(&columns, &rows, |at| self.sample(at)),
        };
        (means.into_iter().flat_map(|mean| self.to_rgb(mean)).collect(), w, h)
    }

    /// Gives the memory of the samples back, for [`decode_into`].
    pub fn into_buffer(self) -> Vec<u8> {
        match self.pixels {
            Pixels::Grey8(data) | Pixels::YCbCr8(data) => data,
            Pixels::Planar8(planes) => planes.into_buffer(),
            Pixels::Luma16 { rgb8, .. } => rgb8.unwrap_or_default(),
            Pixels::Raw { .. } => Vec::new(),
        }
    }

    fn size(&self) -> (usize, usize) {
        (self.width_px as usize, self.height_px as usize)
    }

    /// Means of the cells of a small picture, of samples by their place.
    fn sampled(
        &self,
        columns: &SampleSpread,
        rows: &SampleSpread,
        sample: impl Fn(usize) -> [u8; 3],
    ) -> Vec<[u8; 3]> {
        let width = self.size().0;
        means(columns, rows, |y, line| {
            for (o, x) in line.iter_mut().zip(&columns.places) {
                *o = sample(y * width + x);
            }
        })
    }

    /// The sample at a pixel: YCbCr, RGB or grey three times.
    #[inline]
    fn sample(&self, at: usize) -> [u8; 3] {
        match &self.pixels {
            Pixels::Grey8(data) => [data[at]; 3],
            Pixels::Planar8(planes) => {
                let (width, mut chroma) = (self.size().0, ChromaRows::default());
                planes.row(at / width, at % width, 1, &mut chroma).map(|part| part[0])
            }
            Pixels::YCbCr8(data) | Pixels::Luma16 { rgb8: Some(data), .. } => {
                [data[at * 3], data[at * 3 + 1], data[at * 3 + 2]]
            }
            Pixels::Luma16 { luma, rgb8: None } => [(luma[at] >> 8) as u8; 3],
            Pixels::Raw { luma, chroma } => {
                let green = i16::from((luma[at] >> 8) as u8);
                let (width, cells) = (self.width_px as usize, self.width_px as usize / 2);
                // The last column or row of an odd size has no cell of its own.
                let cell = (at / width / 2) * cells + (at % width / 2).min(cells.max(1) - 1);
                let [red, blue] = chroma.get(cell).copied().unwrap_or([0, 0]);
                [green + red, green, green + blue].map(|v| v.clamp(0, 255) as u8)
            }
        }
    }

    #[inline]
    fn to_rgb(&self, sample: [u8; 3]) -> [u8; 3] {
        match self.pixels {
            Pixels::YCbCr8(_) | Pixels::Planar8(_) => colour::rgb(sample),
            Pixels::Grey8(_) | Pixels::Luma16 { .. } | Pixels::Raw { .. } => sample,
        }
    }
}

/// Where a side is sampled: `each` places for every cell, one cell after the other.
struct SampleSpread {
    each: usize,
    places: Vec<usize>,
}

/// Samples spread evenly over each of `cells` cells along a side of `full` samples.
fn spread(full: usize, cells: usize) -> SampleSpread {
    let each = (full / cells).clamp(1, SMALL_SAMPLES);
    let places = (0..cells)
        .flat_map(|c| {
            let (from, to) = (c * full / cells, (c + 1) * full / cells);
            (0..each).map(move |k| from + (2 * k + 1) * (to - from) / (2 * each))
        })
        .collect();
    SampleSpread { each, places }
}

/// The mean of the samples of each cell, row by row. `line` gives the samples of a row at all the
/// columns' places.
fn means(
    columns: &SampleSpread,
    rows: &SampleSpread,
    mut line: impl FnMut(usize, &mut [[u8; 3]]),
) -> Vec<[u8; 3]> {
    let n = (columns.each * rows.each) as u32;
    let cells = columns.places.len() / columns.each;
    let mut means = Vec::with_capacity(cells * rows.places.len() / rows.each);
    let mut sums = vec![[0u32; 3]; cells];
    let mut samples = vec![[0; 3]; columns.places.len()];
    for ys in rows.places.chunks_exact(rows.each) {
        sums.fill([0; 3]);
        for y in ys {
            line(*y, &mut samples);
            for (sum, samples) in sums.iter_mut().zip(samples.chunks_exact(columns.each)) {
                for sample in samples {
                    for (s, v) in sum.iter_mut().zip(sample) {
                        *s += u32::from(*v);
                    }
                }
            }
        }
        means.extend(sums.iter().map(|sum| sum.map(|s| ((s + n / 2) / n) as u8)));
    }
    means
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(width: u32, height: u32) -> Decoded {
        let data = (0..width * height)
            .flat_map(|i| colour::ycbcr([(i % width) as u8, (i / width) as u8, 90]))
            .collect();
        Decoded {
            width_px: width,
            height_px: height,
            pixels: Pixels::YCbCr8(data),
            luma_steps: None,
        }
    }

    #[test]
    fn sizes_on_both_sides_of_the_limits() {
        assert_eq!(check_size(20_000, 20_000, 1 << 20), Ok(()));
        assert!(matches!(check_size(20_000, 20_001, 1 << 20), Err(SkipReason::TooLarge { .. })));
        assert!(matches!(check_size(60_000, 60_000, 70), Err(SkipReason::TooLarge { .. })));
        assert!(matches!(check_size(u32::MAX, u32::MAX, 70), Err(SkipReason::TooLarge { .. })));
        assert_eq!(check_size(64, 64, 300), Ok(()));
        assert!(matches!(check_size(63, 640, 300), Err(SkipReason::TooSmall { .. })));
        assert!(matches!(check_size(18_000, 18_000, 700), Err(SkipReason::Damaged(_))));
    }

    #[test]
    fn crops_are_clamped_and_in_place() {
        let picture = ramp(120, 80);
        let (rgb, w, h) = picture.rgb_crop(110, 70, 50, 50);
        assert_eq!((w, h, rgb.len()), (10, 10, 300));
        assert!(rgb[0].abs_diff(110) <= 2 && rgb[1].abs_diff(70) <= 2 && rgb[2].abs_diff(90) <= 2);
        assert_eq!(picture.rgb_crop(500, 500, 9, 9), (Vec::new(), 0, 0));
    }

    #[test]
    fn small_pictures_keep_shape_and_mean() {
        let picture = ramp(240, 120);
        let (rgb, w, h) = picture.rgb_small(24);
        assert_eq!((w, h, rgb.len()), (24, 12, 24 * 12 * 3));
        for (i, p) in rgb.chunks(3).enumerate() {
            let (x, y) = ((i % w) * 10, (i / w) * 10);
            // The mean of columns x..x+10 of a ramp is x + 4.5.
            assert!((f64::from(p[0]) - x as f64 - 4.5).abs() <= 2.5, "{p:?} at {x}");
            assert!((f64::from(p[1]) - y as f64 - 4.5).abs() <= 2.5, "{p:?} at {y}");
        }
        assert_eq!(picture.rgb_small(500).1, 240);
        assert_eq!(picture.rgb_small(0).1, 1);
    }

    /// What the general decoder makes of a file.
    fn interleaved(file: &[u8]) -> Vec<u8> {
        let options = zune_core::options::DecoderOptions::new_fast()
            .jpeg_set_out_colorspace(zune_core::colorspace::ColorSpace::YCbCr);
        let bytes = zune_core::bytestream::ZCursor::new(file);
        zune_jpeg::JpegDecoder::new_with_options(bytes, options).decode().unwrap()
    }

    #[test]
    fn crops_and_small_pictures_do_not_depend_on_the_decoder() {
        use jpeg_encoder::SamplingFactor::{F_1_1, F_1_2, F_2_1, F_2_2};
        let mut rng = crate::core::random::SplitMix64::new(41);
        for sampling in [F_1_1, F_2_1, F_2_2, F_1_2] {
            for (width, height) in [(97, 131), (640, 480), (333, 64)] {
                let rgb: Vec<u8> = (0..3 * width * height).map(|_| rng.below(256) as u8).collect();
                let mut file = Vec::new();
                let mut encoder = jpeg_encoder::Encoder::new(&mut file, 80);
                encoder.set_sampling_factor(sampling);
                let (w, h) = (width as u16, height as u16);
                encoder.encode(&rgb, w, h, jpeg_encoder::ColorType::Rgb).unwrap();
                let planar = decode(&file, FileKind::Jpeg, Want::Colour).unwrap();
                assert!(matches!(planar.pixels, Pixels::Planar8(_)));
                let pixels = Pixels::YCbCr8(interleaved(&file));
                let packed = Decoded { pixels, ..planar.clone() };
                for side in [1, 30, 63, 200, 1000] {
                    assert!(planar.rgb_small(side) == packed.rgb_small(side), "{sampling:?}");
                }
                for _ in 0..200 {
                    let (x, y) = (rng.below(width), rng.below(height));
                    let (w, h) = (1 + rng.below(90), 1 + rng.below(20));
                    let same = planar.rgb_crop(x, y, w, h) == packed.rgb_crop(x, y, w, h);
                    assert!(same, "{sampling:?} {x} {y} {w} {h}");
                }
            }
        }
    }

    #[test]
    fn cells_cover_the_side_without_leaving_it() {
        for (full, cells) in [(100, 100), (101, 100), (4000, 7), (65, 64), (5, 1)] {
            let SampleSpread { each, places } = spread(full, cells);
            assert_eq!(places.len(), cells * each);
            assert!((1..=SMALL_SAMPLES).contains(&each));
            assert!(places.windows(2).all(|w| w[0] < w[1]));
            assert!(places.last().is_some_and(|last| *last < full));
        }
    }
}
