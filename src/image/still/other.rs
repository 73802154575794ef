//! PNG, TIFF and WebP, brought to the form of a decoded JPEG.

use std::error::Error as _;
use std::io::{self, BufRead, Cursor, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};

use image::error::ImageError;
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use super::super::FileKind;
use super::super::memory::Held;
use super::{Decoded, Pixels, Want, check_expansion, check_size, colour};
use crate::error::SkipReason;

/// Memory a decoder may take beside the picture itself, bytes.
const DECODER_MEMORY: u64 = 256 << 20;

/// Width and height in the header, px.
pub(in crate::image) fn size<R: BufRead + Seek>(
    reader: &mut R,
    kind: FileKind,
) -> Result<(u32, u32), SkipReason> {
    catch_unwind(AssertUnwindSafe(|| {
        let decoder = reader_of(reader, kind).into_decoder().map_err(|e| reason(&e, kind))?;
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
    let mut decoder =
        reader_of(Cursor::new(bytes), kind).into_decoder().map_err(|e| reason(&e, kind))?;
    let (width_px, height_px) = decoder.dimensions();
    check_size(width_px, height_px, bytes.len() as u64)?;
    let samples = decoder.total_bytes();
    check_expansion(samples, bytes.len() as u64)?;
    let pixels_count = u64::from(width_px) * u64::from(height_px);
    let own = pixels_count.saturating_mul(own_bytes(decoder.color_type(), want));
    held.set((bytes.len() as u64).saturating_add(samples).saturating_add(own))?;
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(samples.saturating_add(DECODER_MEMORY));
    decoder.set_limits(limits).map_err(|e| reason(&e, kind))?;
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| reason(&e, kind))?;
    Ok(Decoded { width_px, height_px, pixels: pixels(picture, want)?, luma_steps: None })
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

/// What a decoder's refusal says of the file.
fn reason(error: &ImageError, kind: FileKind) -> SkipReason {
    let form = kind.label();
    match error {
        ImageError::Unsupported(_) => SkipReason::Unsupported(format!("this form of {form}")),
        ImageError::Limits(_) => {
            SkipReason::Damaged("it asks for more memory than its size explains".into())
        }
        ImageError::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            SkipReason::Damaged("it ends early".into())
        }
        other => {
            // The decoder's own words speak of its inner types; only what they mean is passed on.
            let inner = other.source().map_or_else(String::new, ToString::to_string);
            let says = format!("{other} {inner}").to_lowercase();
            let has = |words: &[&str]| words.iter().any(|word| says.contains(word));
            let ends = ["eof", "end of file", "unexpected end", "no more", "truncated", "ended"];
            SkipReason::Damaged(if has(&["crc", "checksum"]) {
                "a check sum is wrong".into()
            } else if has(&ends) {
                "it ends early".into()
            } else {
                format!("its {form} data are broken")
            })
        }
    }
}
