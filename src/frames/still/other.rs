//! PNG, TIFF and WebP, brought to the form of a decoded JPEG.

use std::error::Error as _;
use std::io::{BufRead, Cursor, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};

use image::error::{ImageError, ImageFormatHint};
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use super::super::FileKind;
use super::super::memory::Held;
use super::{Decoded, Pixels, Want, check_expansion, check_size, colour};
use crate::error::SkipReason;

/// Memory a decoder may take beside the picture itself, bytes.
const DECODER_MEMORY: u64 = 256 << 20;
/// Characters of a decoder's message that are passed on.
const LONGEST_MESSAGE: usize = 60;

/// Width and height in the header, px.
pub(in super::super) fn size<R: BufRead + Seek>(
    reader: &mut R,
    kind: FileKind,
) -> Result<(u32, u32), SkipReason> {
    catch_unwind(AssertUnwindSafe(|| {
        let decoder = reader_of(reader, kind).into_decoder().map_err(|e| reason(&e))?;
        Ok(decoder.dimensions())
    }))
    .unwrap_or_else(|_| Err(super::no_header()))
}

pub(super) fn decode(
    bytes: &[u8],
    kind: FileKind,
    want: Want,
    held: &mut Held,
) -> Result<Decoded, SkipReason> {
    let mut decoder = reader_of(Cursor::new(bytes), kind).into_decoder().map_err(|e| reason(&e))?;
    let (width_px, height_px) = decoder.dimensions();
    check_size(width_px, height_px, bytes.len() as u64)?;
    let samples = decoder.total_bytes();
    check_expansion(samples, bytes.len() as u64)?;
    let pixels_count = u64::from(width_px) * u64::from(height_px);
    let own = pixels_count.saturating_mul(own_bytes(decoder.color_type(), want));
    held.set((bytes.len() as u64).saturating_add(samples).saturating_add(own))?;
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(samples.saturating_add(DECODER_MEMORY));
    decoder.set_limits(limits).map_err(|e| reason(&e))?;
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| reason(&e))?;
    Ok(Decoded {
        width_px,
        height_px,
        pixels: pixels(picture, want)?,
        jpeg_grid: false,
        chroma_step: (1, 1),
        jpeg_quality_estimate: None,
        luma_steps: None,
    })
}

/// Memory for one pixel in our form beside the decoder's, at most while [`pixels`] is at work.
fn own_bytes(colour: ColorType, want: Want) -> u64 {
    let luma_only = want == Want::Luma;
    match colour {
        ColorType::L8 | ColorType::L16 => 0,
        ColorType::La8 => 1,
        ColorType::La16 => 2,
        ColorType::Rgb8 => u64::from(luma_only),
        ColorType::Rgba8 => 3,
        ColorType::Rgb16 if luma_only => 2,
        ColorType::Rgb16 => 5,
        _ => 6,
    }
}

fn reader_of<R: BufRead + Seek>(reader: R, kind: FileKind) -> ImageReader<R> {
    let format = match kind {
        FileKind::Png => ImageFormat::Png,
        FileKind::Webp => ImageFormat::WebP,
        FileKind::Jpeg => ImageFormat::Jpeg,
        FileKind::Tiff | FileKind::Raw => ImageFormat::Tiff,
    };
    let mut reader = ImageReader::with_format(reader, format);
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(DECODER_MEMORY);
    reader.limits(limits);
    reader
}

/// Samples in our form; transparency is left out, palettes are resolved by the decoder.
fn pixels(picture: DynamicImage, want: Want) -> Result<Pixels, SkipReason> {
    let luma_only = want == Want::Luma;
    Ok(match picture {
        DynamicImage::ImageLuma8(grey) => Pixels::Grey8(grey.into_raw()),
        grey @ DynamicImage::ImageLumaA8(_) => Pixels::Grey8(every_other(grey.as_bytes())),
        DynamicImage::ImageLuma16(grey) => Pixels::Luma16 { luma: grey.into_raw(), rgb8: None },
        DynamicImage::ImageLumaA16(grey) => {
            Pixels::Luma16 { luma: every_other(grey.as_raw()), rgb8: None }
        }
        colour @ (DynamicImage::ImageRgb8(_) | DynamicImage::ImageRgba8(_)) => {
            let mut data = colour.into_rgb8().into_raw();
            let pixels = data.as_chunks_mut::<3>().0;
            if luma_only {
                return Ok(Pixels::Grey8(pixels.iter().map(|p| colour::luma8(*p)).collect()));
            }
            for rgb in pixels {
                *rgb = colour::ycbcr(*rgb);
            }
            Pixels::YCbCr8(data)
        }
        colour @ (DynamicImage::ImageRgb16(_) | DynamicImage::ImageRgba16(_)) => {
            let data = colour.into_rgb16().into_raw();
            let luma = data.as_chunks::<3>().0.iter().map(|p| colour::luma16(*p)).collect();
            let rgb8 = (!luma_only).then(|| data.iter().map(|v| to_8_bit(*v)).collect());
            Pixels::Luma16 { luma, rgb8 }
        }
        _ => return Err(SkipReason::Unsupported("floating-point samples".into())),
    })
}

fn every_other<T: Copy>(data: &[T]) -> Vec<T> {
    data.iter().step_by(2).copied().collect()
}

/// 65535 to 255, rounded.
fn to_8_bit(v: u16) -> u8 {
    ((u32::from(v) + 128) / 257) as u8
}

/// Why a decoder refused, in our words.
fn reason(error: &ImageError) -> SkipReason {
    match error {
        ImageError::Unsupported(e) => match e.format_hint() {
            ImageFormatHint::Unknown => SkipReason::Unsupported("this form of picture".into()),
            _ => SkipReason::Unsupported(e.to_string()),
        },
        ImageError::Limits(_) => {
            SkipReason::Damaged("it asks for more memory than its size explains".into())
        }
        ImageError::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            SkipReason::Damaged("it ends early".into())
        }
        ImageError::Decoding(e) => SkipReason::Damaged(shortened(
            &e.source().map_or_else(|| e.to_string(), |s| s.to_string()),
        )),
        other => SkipReason::Damaged(shortened(&other.to_string())),
    }
}

/// The start of what a decoder says, on one line.
fn shortened(says: &str) -> String {
    let line = says.lines().next().unwrap_or_default();
    if line.starts_with("CRC error") {
        return "a check sum is wrong".to_owned();
    }
    match line.char_indices().nth(LONGEST_MESSAGE) {
        Some((end, _)) => format!("{}…", line[..end].trim_end()),
        None => line.to_owned(),
    }
}
