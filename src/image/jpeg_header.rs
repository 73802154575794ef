//! The markers in front of a JPEG's pixels: size, sampling, quantisation, colour, Exif segment.
//!
//! Source: ITU-T T.81 (JPEG), annexes B and K.1; JFIF 1.02 for colour; Exif (CIPA DC-008) for the
//! APP1 segment. Only headers are read, never pixels, so this is cheap on files of any size.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use std::io::{self, BufRead, Read, Seek};

/// What the headers of a JPEG say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JpegHeader {
    /// Width, px.
    pub width_px: u32,
    /// Height, px.
    pub height_px: u32,
    /// Bits a sample (8 in nearly every file).
    pub bits: u8,
    /// Number of components: 1 grey, 3 colour, 4 inks.
    pub components: u8,
    /// How many luma samples there are for one chroma sample, across and down: (2, 2) is 4:2:0.
    pub chroma_step: (u8, u8),
    /// Whether the pixels come in several passes.
    pub progressive: bool,
    /// Whether the coding is one that is decoded here (baseline, extended or progressive
    /// Huffman).
    pub huffman: bool,
    /// The IJG quality (1 to 100) whose luma table is nearest to the file's own, when it is
    /// near. Other encoders use other tables: then `None`.
    pub quality: Option<u8>,
    /// Steps to which the luma's coefficients are rounded, row by row, when the file has the table.
    pub luma_steps: Option<[u16; 64]>,
    /// Whether bytes that belong to no segment lie between the segments; strict decoders refuse
    /// them.
    pub(super) stray_bytes: bool,
    /// Where the first scan begins, bytes from the start.
    pub(super) scan_at: u64,
    /// The TIFF structure of the Exif segment, without its "Exif" mark.
    pub(super) exif: Option<Vec<u8>>,
}

/// Table K.1 of T.81 (luminance), in zigzag order, as quality 50 of the IJG scale.
const LUMA_TABLE: [u16; 64] = [
    16, 11, 12, 14, 12, 10, 16, 14, 13, 14, 18, 17, 16, 19, 24, 40, 26, 24, 22, 22, 24, 49, 35, 37,
    29, 40, 58, 51, 61, 60, 57, 51, 56, 55, 64, 72, 92, 78, 64, 68, 87, 69, 55, 56, 80, 109, 81,
    87, 95, 98, 103, 104, 103, 62, 77, 113, 121, 112, 100, 120, 92, 101, 103, 99,
];

/// Segments looked at before giving up: a file has a few dozen at most.
const MAX_SEGMENTS: usize = 4096;
/// A table counts as the IJG one when its entries differ by less than this on average. The IJG
/// tables themselves give 0; a neighbouring quality above 50 differs by about 1.
const NEAR_TABLE: f64 = 0.6;

impl JpegHeader {
    /// Reads the markers up to the first scan. `Ok(None)` when this is no JPEG, or when it ends
    /// or breaks off before its size is known.
    ///
    /// # Errors
    /// When the reader fails.
    pub fn read<R: BufRead + Seek>(reader: &mut R) -> io::Result<Option<Self>> {
        match read_markers(reader) {
            Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => Ok(None),
            other => other,
        }
    }
}

fn read_markers<R: BufRead + Seek>(reader: &mut R) -> io::Result<Option<JpegHeader>> {
    if bytes::<2, R>(reader)? != [0xff, 0xd8] {
        return Ok(None);
    }
    let mut header: Option<JpegHeader> = None;
    let mut tables = [None::<[u16; 64]>; 4];
    let mut luma_table = 0usize;
    let (mut exif, mut stray_bytes, mut scan_at) = (None, false, 0);
    for _ in 0..MAX_SEGMENTS {
        let (marker, stray) = next_marker(reader)?;
        stray_bytes |= stray > 0;
        if matches!(marker, 0x01 | 0xd0..=0xd8) {
            continue;
        }
        if matches!(marker, 0xd9 | 0xda) {
            scan_at = reader.stream_position()?;
            break;
        }
        let len = u64::from(u16::from_be_bytes(bytes(reader)?)).saturating_sub(2);
        match marker {
            0xc0..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) && header.is_none() => {
                let frame = payload(reader, len)?;
                header = frame_header(marker, &frame);
                luma_table = usize::from(frame.get(8).copied().unwrap_or(0) & 3);
                if header.is_none() {
                    return Ok(None);
                }
            }
            0xdb => read_tables(&payload(reader, len)?, &mut tables),
            0xe1 if exif.is_none() => {
                let app1 = payload(reader, len)?;
                exif = app1.strip_prefix(b"Exif\0").and_then(|rest| rest.get(1..)).map(Into::into);
            }
            _ => reader.seek_relative(len as i64)?,
        }
    }
    let quality = tables[luma_table].as_ref().and_then(nearest_quality);
    let luma_steps = tables[luma_table].as_ref().map(by_rows);
    Ok(header.map(|h| JpegHeader { quality, luma_steps, stray_bytes, scan_at, exif, ..h }))
}

/// Skips to the next marker; also how many bytes that belong to nothing were passed over.
fn next_marker<R: BufRead>(reader: &mut R) -> io::Result<(u8, usize)> {
    let mut stray = 0;
    loop {
        let [mut byte] = bytes(reader)?;
        if byte != 0xff {
            stray = usize::saturating_add(stray, 1);
            continue;
        }
        while byte == 0xff {
            [byte] = bytes(reader)?;
        }
        if byte != 0 {
            return Ok((byte, stray));
        }
        stray = stray.saturating_add(2);
    }
}

fn frame_header(marker: u8, frame: &[u8]) -> Option<JpegHeader> {
    let &[bits, h0, h1, w0, w1, components, ref rest @ ..] = frame else { return None };
    let sampling = |i: usize| rest.get(i).map(|s| ((s >> 4).max(1), (s & 15).max(1)));
    let luma = sampling(1)?;
    let chroma = sampling(4).unwrap_or(luma);
    Some(JpegHeader {
        width_px: u16::from_be_bytes([w0, w1]).into(),
        height_px: u16::from_be_bytes([h0, h1]).into(),
        bits,
        components,
        chroma_step: (
            luma.0.checked_div(chroma.0).unwrap_or(1).max(1),
            luma.1.checked_div(chroma.1).unwrap_or(1).max(1),
        ),
        progressive: marker == 0xc2,
        huffman: matches!(marker, 0xc0..=0xc2),
        quality: None,
        luma_steps: None,
        stray_bytes: false,
        scan_at: 0,
        exif: None,
    })
}

fn read_tables(mut segment: &[u8], tables: &mut [Option<[u16; 64]>; 4]) {
    while let Some((&head, rest)) = segment.split_first() {
        let wide = head >> 4 != 0;
        let size = if wide { 128 } else { 64 };
        let Some(body) = rest.get(..size) else { return };
        let mut table = [0u16; 64];
        if wide {
            for (t, b) in table.iter_mut().zip(body.as_chunks::<2>().0) {
                *t = u16::from_be_bytes(*b);
            }
        } else {
            for (t, b) in table.iter_mut().zip(body) {
                *t = u16::from(*b);
            }
        }
        if let Some(slot) = tables.get_mut(usize::from(head & 15)) {
            *slot = Some(table);
        }
        segment = &rest[size..];
    }
}

/// A table in zigzag order (T.81, figure A.6), row by row.
#[allow(clippy::arithmetic_side_effects)] // Numbers below 64, whatever the table holds.
fn by_rows(zigzag: &[u16; 64]) -> [u16; 64] {
    let mut rows = [0; 64];
    let (mut x, mut y) = (0usize, 0usize);
    for v in zigzag {
        rows[8 * y + x] = *v;
        let up = (x + y).is_multiple_of(2);
        (x, y) = match (up, x, y) {
            (true, 7, _) => (x, y + 1),
            (true, _, 0) => (x + 1, y),
            (true, _, _) => (x + 1, y - 1),
            (false, _, 7) => (x + 1, y),
            (false, 0, _) => (x, y + 1),
            (false, _, _) => (x - 1, y + 1),
        };
    }
    rows
}

/// The IJG quality whose scaled table K.1 is nearest, if it is near.
#[allow(clippy::arithmetic_side_effects)] // Products of 16-bit numbers and 5000 at most.
fn nearest_quality(table: &[u16; 64]) -> Option<u8> {
    let far = |quality: u8| -> f64 {
        let q = u32::from(quality);
        let percent = if q < 50 { 5000 / q } else { 200 - 2 * q };
        let sum: f64 = LUMA_TABLE
            .iter()
            .zip(table)
            .map(|(s, t)| {
                let scaled = ((u32::from(*s) * percent + 50) / 100).clamp(1, 255);
                (f64::from(scaled) - f64::from(*t)).abs()
            })
            .sum();
        sum / 64.0
    };
    (1..=100u8)
        .map(|q| (q, far(q)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, distance)| *distance < NEAR_TABLE)
        .map(|(q, _)| q)
}

/// A copy of a JPEG without the bytes that belong to no segment in front of the first scan.
pub(super) fn without_stray_bytes(file: &[u8]) -> Option<Vec<u8>> {
    let mut reader = io::Cursor::new(file);
    let mut clean = Vec::with_capacity(file.len());
    clean.extend(bytes::<2, _>(&mut reader).ok()?);
    for _ in 0..MAX_SEGMENTS {
        let (marker, _) = next_marker(&mut reader).ok()?;
        let at = usize::try_from(reader.position()).ok()?;
        clean.extend([0xff, marker]);
        if matches!(marker, 0xd9 | 0xda) {
            clean.extend(file.get(at..)?);
            return Some(clean);
        }
        if matches!(marker, 0x01 | 0xd0..=0xd8) {
            continue;
        }
        let len = usize::from(u16::from_be_bytes(bytes(&mut reader).ok()?)).max(2);
        let end = at.checked_add(len)?;
        clean.extend(file.get(at..end)?);
        reader.set_position(end as u64);
    }
    None
}

fn bytes<const N: usize, R: io::Read>(reader: &mut R) -> io::Result<[u8; N]> {
    let mut out = [0; N];
    reader.read_exact(&mut out)?;
    Ok(out)
}

fn payload<R: io::Read>(reader: &mut R, len: u64) -> io::Result<Vec<u8>> {
    let mut out = Vec::new();
    reader.by_ref().take(len).read_to_end(&mut out)?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn jpeg(quality: u8, sampling: jpeg_encoder::SamplingFactor) -> Vec<u8> {
        let rgb: Vec<u8> = (0..80 * 72 * 3).map(|i| (i * 7 % 251) as u8).collect();
        let mut out = Vec::new();
        let mut encoder = jpeg_encoder::Encoder::new(&mut out, quality);
        encoder.set_sampling_factor(sampling);
        encoder.add_app_segment(1, b"Exif\0\0II*\0\x08\0\0\0\0\0".to_vec()).unwrap();
        encoder.encode(&rgb, 80, 72, jpeg_encoder::ColorType::Rgb).unwrap();
        out
    }

    fn read(bytes: &[u8]) -> Option<JpegHeader> {
        JpegHeader::read(&mut io::Cursor::new(bytes)).unwrap()
    }

    // T.81 K.1 and the IJG scale: the encoder scales the same table.
    #[test]
    fn size_sampling_and_quality_are_read() {
        for quality in [50, 75, 92, 98] {
            let header = read(&jpeg(quality, jpeg_encoder::SamplingFactor::F_2_2)).unwrap();
            assert_eq!((header.width_px, header.height_px), (80, 72));
            assert_eq!(header.chroma_step, (2, 2));
            assert_eq!(header.quality, Some(quality));
            assert_eq!(header.exif.as_deref(), Some(&b"II*\0\x08\0\0\0\0\0"[..]));
            assert!(!header.stray_bytes && header.huffman && !header.progressive);
        }
        let header = read(&jpeg(90, jpeg_encoder::SamplingFactor::F_2_1)).unwrap();
        assert_eq!(header.chroma_step, (2, 1));
    }

    #[test]
    fn a_table_of_another_make_has_no_quality() {
        assert_eq!(nearest_quality(&[7; 64]), None);
    }

    #[test]
    fn stray_bytes_are_seen_and_taken_out() {
        let clean = jpeg(90, jpeg_encoder::SamplingFactor::F_1_1);
        let mut dirty = clean.clone();
        let end_of_app0 = 4 + usize::from(u16::from_be_bytes([clean[4], clean[5]]));
        dirty.splice(end_of_app0..end_of_app0, *b"lost bytes");
        let header = read(&dirty).unwrap();
        assert!(header.stray_bytes);
        assert_eq!(header.width_px, 80);
        assert_eq!(without_stray_bytes(&dirty).unwrap(), clean);
    }

    #[test]
    fn every_cut_is_survived() {
        let whole = jpeg(90, jpeg_encoder::SamplingFactor::F_1_1);
        for end in 0..700.min(whole.len()) {
            let _ = read(&whole[..end]);
            let _ = without_stray_bytes(&whole[..end]);
        }
        assert_eq!(read(b"\xff\xd8\xff\xe1"), None);
        assert_eq!(read(b""), None);
    }
}
