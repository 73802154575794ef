//! The markers in front of a JPEG's pixels: size, sampling, quantisation, Exif segment.
//!
//! Source: ITU-T T.81 (JPEG), annex B; Exif (CIPA DC-008) for the
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

/// Segments looked at before giving up: a file has a few dozen at most.
const MAX_SEGMENTS: usize = 4096;

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
    let luma_steps = tables[luma_table].as_ref().map(by_rows);
    Ok(header.map(|h| JpegHeader { luma_steps, stray_bytes, scan_at, exif, ..h }))
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

    #[test]
    fn size_and_sampling_are_read() {
        for quality in [50, 75, 92, 98] {
            let header = read(&jpeg(quality, jpeg_encoder::SamplingFactor::F_2_2)).unwrap();
            assert_eq!((header.width_px, header.height_px), (80, 72));
            assert_eq!(header.chroma_step, (2, 2));
            assert_eq!(header.exif.as_deref(), Some(&b"II*\0\x08\0\0\0\0\0"[..]));
            assert!(!header.stray_bytes && header.huffman && !header.progressive);
        }
        let header = read(&jpeg(90, jpeg_encoder::SamplingFactor::F_2_1)).unwrap();
        assert_eq!(header.chroma_step, (2, 1));
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
