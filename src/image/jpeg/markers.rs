//! The segments in front of a sequential JPEG's only scan, taken strictly.
//!
//! Whatever is unusual gives `None`: the general decoder has the last word on it, and nothing may
//! be taken here that it refuses.
//!
//! Source: ITU-T T.81, annex B; JFIF 1.02 (order of components).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use super::codes::{CodeTable, CodedValue, ZIGZAG};

/// Segments looked at before giving up: a file has a few dozen at most.
const MAX_SEGMENTS: usize = 4096;
/// Least length of an application's first segment, with its length: shorter ones are unusual.
const MIN_APP0_BYTES: usize = 7;
/// Length of the segment that says how colour is coded, with its length.
const MIN_APP14_BYTES: usize = 14;

/// Steps, codes and places of one component in an MCU.
#[derive(Debug)]
pub(super) struct ScanComponent {
    /// Blocks of an MCU, across and down.
    pub across: u8,
    pub down: u8,
    /// Steps of the coefficients, row by row, none of them 0.
    pub steps: [i32; 64],
    /// Which tables code it.
    pub first: usize,
    pub others: usize,
}

/// What is said in front of the scan.
#[derive(Debug)]
pub(super) struct ScanHeader {
    pub width_px: u16,
    pub height_px: u16,
    /// Luma alone, or luma, blue and red.
    pub components: Vec<ScanComponent>,
    /// Tables for the first coefficients, and for the others.
    pub first: [Option<CodeTable>; 4],
    pub others: [Option<CodeTable>; 4],
    /// MCUs from one restart to the next; 0 when there are none.
    pub restart_interval: usize,
    /// Where the bits begin, bytes from the start.
    pub scan_at: usize,
}

/// A component in the frame header.
struct FrameComponent {
    id: u8,
    across: u8,
    down: u8,
    steps: u8,
}

#[derive(Default)]
struct SegmentReader {
    size: Option<(u16, u16)>,
    frame: Vec<FrameComponent>,
    steps: [Option<[i32; 64]>; 4],
    first: [Option<CodeTable>; 4],
    others: [Option<CodeTable>; 4],
    restart_interval: usize,
    /// Whether a segment says that components are luma and chroma.
    ycbcr: bool,
}

impl ScanHeader {
    /// Reads up to the scan.
    pub(super) fn read(bytes: &[u8]) -> Option<ScanHeader> {
        let mut reader = SegmentReader::default();
        let mut at = 2usize;
        if bytes.first_chunk::<2>()? != &[0xff, 0xd8] {
            return None;
        }
        for _ in 0..MAX_SEGMENTS {
            if *bytes.get(at)? != 0xff {
                return None;
            }
            while *bytes.get(at)? == 0xff {
                at = at.checked_add(1)?;
            }
            let marker = *bytes.get(at)?;
            at = at.checked_add(1)?;
            let rest = bytes.get(at..)?;
            let length = usize::from(u16::from_be_bytes(*rest.first_chunk()?));
            let body = rest.get(2..length)?;
            at = at.checked_add(length)?;
            if marker == 0xda {
                return reader.scan(body, at);
            }
            reader.segment(marker, body)?;
        }
        None
    }
}

impl SegmentReader {
    fn segment(&mut self, marker: u8, body: &[u8]) -> Option<()> {
        match marker {
            0xc0 | 0xc1 => self.frame(body),
            0xc4 => self.codes(body),
            0xdb => self.steps(body),
            0xdd => {
                self.restart_interval = u16::from_be_bytes(body.try_into().ok()?).into();
                Some(())
            }
            0xe0 => (body.len().saturating_add(2) >= MIN_APP0_BYTES).then_some(()),
            0xee if body.starts_with(b"Adobe") => {
                self.ycbcr = true;
                let transform = body.get(MIN_APP14_BYTES.checked_sub(3)?)?;
                (*transform == 1).then_some(())
            }
            0xe1..=0xef | 0xfe => Some(()),
            _ => None,
        }
    }

    fn frame(&mut self, body: &[u8]) -> Option<()> {
        let &[8, h0, h1, w0, w1, count @ (1 | 3), ref rest @ ..] = body else { return None };
        let size = (u16::from_be_bytes([w0, w1]), u16::from_be_bytes([h0, h1]));
        let (parts, beyond) = rest.as_chunks::<3>();
        let usual = parts.len() == usize::from(count) && beyond.is_empty();
        if !usual || self.size.is_some() || size.0 == 0 || size.1 == 0 {
            return None;
        }
        self.size = Some(size);
        self.frame = parts
            .iter()
            .map(|&[id, sampling, steps]| FrameComponent {
                id,
                across: sampling >> 4,
                down: sampling & 15,
                steps,
            })
            .collect();
        Some(())
    }

    fn codes(&mut self, mut body: &[u8]) -> Option<()> {
        while let Some((head, rest)) = body.split_first() {
            let (counts, rest) = rest.split_first_chunk::<16>()?;
            let total: usize = counts.iter().map(|c| usize::from(*c)).sum();
            let (symbols, rest) = rest.split_at_checked(total)?;
            let (tables, of) = match head >> 4 {
                0 => (&mut self.first, CodedValue::First),
                1 => (&mut self.others, CodedValue::Others),
                _ => return None,
            };
            *tables.get_mut(usize::from(head & 15))? = Some(CodeTable::new(counts, symbols, of)?);
            body = rest;
        }
        Some(())
    }

    fn steps(&mut self, mut body: &[u8]) -> Option<()> {
        while let Some((head, rest)) = body.split_first() {
            let mut table = [0; 64];
            let (values, rest): (Vec<u16>, _) = match head >> 4 {
                0 => {
                    let (values, rest) = rest.split_first_chunk::<64>()?;
                    (values.iter().map(|v| u16::from(*v)).collect(), rest)
                }
                1 => {
                    let (values, rest) = rest.split_first_chunk::<128>()?;
                    let pairs = values.as_chunks::<2>().0;
                    (pairs.iter().map(|v| u16::from_be_bytes(*v)).collect(), rest)
                }
                _ => return None,
            };
            for (value, place) in values.iter().zip(ZIGZAG) {
                table[usize::from(place)] = i32::from(*value);
            }
            if values.contains(&0) {
                return None;
            }
            *self.steps.get_mut(usize::from(head & 15))? = Some(table);
            body = rest;
        }
        Some(())
    }

    /// The scan's own header: all components together, whole (T.81, B.2.3).
    fn scan(self, body: &[u8], scan_at: usize) -> Option<ScanHeader> {
        let (width_px, height_px) = self.size?;
        let (count, rest) = body.split_first()?;
        let (pairs, end) = rest.split_at_checked(usize::from(*count).checked_mul(2)?)?;
        let ids: Vec<u8> = self.frame.iter().map(|c| c.id).collect();
        if end != [0, 63, 0]
            || usize::from(*count) != ids.len()
            || !is_usual(&self.frame)
            || ids == *b"RGB"
            || (self.ycbcr && ids.len() != 3)
        {
            return None;
        }
        let mut components = Vec::new();
        for (part, &[id, tables]) in self.frame.iter().zip(pairs.as_chunks::<2>().0) {
            let (first, others) = (usize::from(tables >> 4), usize::from(tables & 15));
            let known = self.first.get(first)?.is_some() && self.others.get(others)?.is_some();
            if id != part.id || !known {
                return None;
            }
            let steps = (*self.steps.get(usize::from(part.steps))?)?;
            let (across, down) = (part.across, part.down);
            components.push(ScanComponent { across, down, steps, first, others });
        }
        Some(ScanHeader {
            width_px,
            height_px,
            components,
            first: self.first,
            others: self.others,
            restart_interval: self.restart_interval,
            scan_at,
        })
    }
}

/// Whether components are sampled as cameras do it: 4:4:4, 4:2:2, 4:2:0, 4:4:0, 4:1:1 or grey.
fn is_usual(frame: &[FrameComponent]) -> bool {
    match frame {
        [grey] => (grey.across, grey.down) == (1, 1),
        [luma, blue, red] => {
            let distinct = luma.id != blue.id && blue.id != red.id && luma.id != red.id;
            let alone = [blue, red].iter().all(|c| (c.across, c.down) == (1, 1));
            let sampling = (luma.across, luma.down);
            distinct && alone && matches!(sampling, (1, 1) | (2, 1) | (2, 2) | (1, 2) | (4, 1))
        }
        _ => false,
    }
}
