//! JPEG, decoded straight to the samples in the file.

use std::borrow::Cow;
use std::io::Cursor;

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;

use super::super::jpeg::SequentialJpeg;
use super::super::jpeg_header::{JpegHeader, without_stray_bytes};
use super::super::memory::Held;
use super::{Decoded, Pixels, Want, check_expansion, check_size, colour, no_header, scans};
use crate::error::SkipReason;

/// Largest side the format can state, px.
const MAX_SIDE_PX: usize = 65_535;
/// Passes of a progressive file beyond which it is taken for an attack; cameras write 10.
pub(super) const MAX_SCANS: usize = 100;

pub(super) fn decode(
    bytes: &[u8],
    want: Want,
    mut buffer: Vec<u8>,
    held: &mut Held,
) -> Result<Decoded, SkipReason> {
    let header = JpegHeader::read(&mut Cursor::new(bytes)).ok().flatten().ok_or_else(no_header)?;
    check(&header)?;
    check_size(header.width_px, header.height_px, bytes.len() as u64)?;
    let pixels = u64::from(header.width_px) * u64::from(header.height_px);
    check_expansion(pixels * u64::from(header.components), bytes.len() as u64)?;
    held.set(needed_bytes(&header, want, bytes.len() as u64))?;
    if (bytes.len() as u64).saturating_sub(header.scan_at) < blocks(&header) / 8 {
        return Err(SkipReason::Damaged("it ends early".into()));
    }
    if !has_end_marker(bytes, header.scan_at) {
        return Err(SkipReason::Damaged("it ends early".into()));
    }
    if let Some(pixels) = sequential(bytes, &header, want, &mut buffer) {
        return Ok(decoded(&header, pixels));
    }
    // The decoder is strict, so that a file that ends early is not taken for a whole one; but
    // strictness also refuses stray bytes between segments, which harm nothing.
    let bytes = match header.stray_bytes.then(|| without_stray_bytes(bytes)).flatten() {
        Some(clean) => Cow::Owned(clean),
        None => Cow::Borrowed(bytes),
    };
    if header.progressive && !scans::are_whole(&bytes) {
        return Err(SkipReason::Damaged("it ends early".into()));
    }
    let mut decoder = JpegDecoder::new_with_options(
        ZCursor::new(&bytes[..]),
        DecoderOptions::new_fast()
            .set_strict_mode(true)
            .set_max_width(MAX_SIDE_PX)
            .set_max_height(MAX_SIDE_PX)
            .jpeg_set_max_scans(MAX_SCANS),
    );
    decoder.decode_headers().map_err(|e| refusal(&e))?;
    let stored = decoder.input_colorspace().ok_or_else(no_header)?;
    let out = match (header.components, stored, want) {
        (1, ..) => ColorSpace::Luma,
        // Three components marked as untransformed (Adobe, transform 0) are RGB; the decoder says
        // CMYK until it has counted them.
        (_, ColorSpace::RGB | ColorSpace::CMYK, _) => ColorSpace::RGB,
        (_, _, Want::Luma) => ColorSpace::Luma,
        (_, _, Want::Colour) => ColorSpace::YCbCr,
    };
    let options = decoder.options().jpeg_set_out_colorspace(out);
    decoder.set_options(options);
    let needed = decoder.output_buffer_size().ok_or_else(no_header)?;
    if buffer.len() < needed {
        // Fresh zeroed memory, not a grown copy of the old picture.
        buffer = vec![0; needed];
    } else {
        buffer.truncate(needed);
    }
    decoder.decode_into(&mut buffer).map_err(|e| refusal(&e))?;
    let pixels = match out {
        ColorSpace::Luma => Pixels::Grey8(buffer),
        ColorSpace::YCbCr => Pixels::YCbCr8(buffer),
        _ if want == Want::Luma => {
            Pixels::Grey8(buffer.as_chunks::<3>().0.iter().map(|p| colour::luma8(*p)).collect())
        }
        _ => {
            for rgb in buffer.as_chunks_mut::<3>().0 {
                *rgb = colour::ycbcr(*rgb);
            }
            Pixels::YCbCr8(buffer)
        }
    };
    Ok(decoded(&header, pixels))
}

fn decoded(header: &JpegHeader, pixels: Pixels) -> Decoded {
    Decoded {
        width_px: header.width_px,
        height_px: header.height_px,
        pixels,
        luma_steps: header.luma_steps,
    }
}

/// The picture of a file in the form that cameras write; `None` when it is of another, or damaged.
fn sequential(
    bytes: &[u8],
    header: &JpegHeader,
    want: Want,
    buffer: &mut Vec<u8>,
) -> Option<Pixels> {
    let file = SequentialJpeg::read(bytes)?;
    if file.size() != (header.width_px as usize, header.height_px as usize) {
        return None;
    }
    let planes = file.decode(want == Want::Colour, buffer)?;
    Some(if planes.has_chroma() {
        Pixels::Planar8(planes)
    } else {
        Pixels::Grey8(planes.into_buffer())
    })
}

/// Samples of a frame, all components together.
fn samples(header: &JpegHeader) -> u64 {
    let pixels = u64::from(header.width_px) * u64::from(header.height_px);
    let (across, down) = header.chroma_step;
    let chroma = u64::from(header.components).saturating_sub(1) * pixels;
    pixels + chroma / (u64::from(across.max(1)) * u64::from(down.max(1)))
}

/// Blocks of 8 x 8 samples. The first coefficient of each takes one bit at least (T.81, F.1.2.1 and
/// G.1.2.1), so a file with fewer bits is filled up by the decoder, not by the camera.
fn blocks(header: &JpegHeader) -> u64 {
    samples(header) / 64
}

/// Memory that decoding takes, bytes: the file, twice when stray bytes are taken out of it, the
/// picture, and in a progressive file every coefficient.
fn needed_bytes(header: &JpegHeader, want: Want, file_bytes: u64) -> u64 {
    let pixels = u64::from(header.width_px) * u64::from(header.height_px);
    let file = if header.stray_bytes { 2 * file_bytes } else { file_bytes };
    let picture = if want == Want::Luma { pixels } else { pixels * u64::from(header.components) };
    let coefficients = if header.progressive { 2 * samples(header) } else { 0 };
    file + picture + coefficients
}

/// Whether an end marker follows the first scan. The decoder sees a cut only when it begins the
/// next row of blocks, so one within the last row shows by the missing marker alone.
fn has_end_marker(bytes: &[u8], scan_at: u64) -> bool {
    let scan = usize::try_from(scan_at).ok().and_then(|at| bytes.get(at..)).unwrap_or_default();
    scan.windows(2).rev().any(|pair| pair == [0xff, 0xd9])
}

/// Whether this is a form of JPEG that is decoded here.
fn check(header: &JpegHeader) -> Result<(), SkipReason> {
    if !header.huffman {
        return Err(SkipReason::Unsupported("lossless or arithmetic JPEG".into()));
    }
    if header.bits != 8 {
        return Err(SkipReason::Unsupported(format!("JPEG with {} bits per sample", header.bits)));
    }
    match header.components {
        1 | 3 => Ok(()),
        4 => Err(SkipReason::Unsupported("JPEG in printing inks (CMYK)".into())),
        n => Err(SkipReason::Unsupported(format!("JPEG with {n} components"))),
    }
}

/// What a decoder's refusal says of the file.
fn refusal(error: &DecodeErrors) -> SkipReason {
    let says = match error {
        DecodeErrors::Unsupported(_) => {
            return SkipReason::Unsupported("this form of JPEG".into());
        }
        DecodeErrors::ExhaustedData | DecodeErrors::IoErrors(_) => "it ends early",
        DecodeErrors::Format(text) if ends(text) => "it ends early",
        DecodeErrors::FormatStatic(text) if ends(text) => "it ends early",
        DecodeErrors::MCUError(text) if ends(text) => "it ends early",
        DecodeErrors::DqtError(_) => "a table of steps in its header is broken",
        DecodeErrors::HuffmanDecode(_) => "a code table or the data coded with it are broken",
        DecodeErrors::SosError(_) | DecodeErrors::SofError(_) | DecodeErrors::ZeroError => {
            "its header is broken"
        }
        _ => "its picture data are broken",
    };
    SkipReason::Damaged(says.into())
}

/// Whether the decoder speaks of an end that comes too early.
fn ends(text: &str) -> bool {
    let text = text.to_lowercase();
    ["premature", "exhausted", "end of", "eof"].iter().any(|word| text.contains(word))
}
