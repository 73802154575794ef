//! Whether every scan of a progressive JPEG holds the bits of all its blocks.
//!
//! A decoder goes on with zeros where a scan breaks off at a marker: the picture is then soft or
//! even from there on, which would be judged as out of focus. So the codes are walked without
//! making coefficients of them; only which ones are set is kept, as refining scans depend on it.
//!
//! Source: ITU-T T.81, annexes A.2 (order of blocks), F.2.2.3 (codes) and G.1.2 (progressive).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use super::jpeg::MAX_SCANS;

/// A table of codes (T.81, annex C): by length, the smallest and largest code and where its
/// symbols begin.
#[derive(Clone, Default)]
struct Codes {
    min: [i32; 17],
    max: [i32; 17],
    first: [usize; 17],
    symbols: Vec<u8>,
    /// Symbol and length of the code at the start of each 8 bits; length 0 for longer codes.
    short: Vec<(u8, u8)>,
}

impl Codes {
    fn of(counts: &[u8; 16], symbols: &[u8]) -> Codes {
        let mut codes = Codes { symbols: symbols.to_vec(), ..Codes::default() };
        codes.short = vec![(0, 0); 256];
        let (mut code, mut at) = (0i32, 0usize);
        for (length, count) in (1..=16u8).zip(counts) {
            let place = usize::from(length);
            codes.first[place] = at;
            codes.min[place] = code;
            let last = code.saturating_add(i32::from(*count)).saturating_sub(1);
            codes.max[place] = if *count == 0 { -1 } else { last };
            for symbol in symbols.iter().skip(at).take(usize::from(*count)) {
                if let Some(spare) = 8u8.checked_sub(length) {
                    let each = 1usize.wrapping_shl(spare.into());
                    let from = each.saturating_mul(code.unsigned_abs() as usize);
                    for slot in codes.short.iter_mut().skip(from).take(each) {
                        *slot = (*symbol, length);
                    }
                }
                code = code.saturating_add(1);
            }
            at = at.saturating_add(usize::from(*count));
            code = code.saturating_mul(2);
        }
        codes
    }
}

/// The bits of a scan up to the next marker.
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    held: u64,
    count: u32,
}

impl<'a> Bits<'a> {
    fn fill(&mut self) {
        while self.count <= 48 {
            match self.bytes.get(self.at..) {
                Some([0xff, 0, ..]) => {
                    self.held = self.held << 8 | 0xff;
                    self.at = self.at.saturating_add(2);
                }
                Some([byte, ..]) if *byte != 0xff => {
                    self.held = self.held << 8 | u64::from(*byte);
                    self.at = self.at.saturating_add(1);
                }
                _ => return,
            }
            self.count = self.count.saturating_add(8);
        }
    }

    /// So many bits, at most 16; `None` when the scan has no more.
    fn get(&mut self, n: u32) -> Option<u32> {
        if self.count < n {
            self.fill();
        }
        self.count = self.count.checked_sub(n)?;
        let low = 1u32.wrapping_shl(n).wrapping_sub(1);
        Some(self.held.wrapping_shr(self.count) as u32 & low)
    }

    fn symbol(&mut self, codes: &Codes) -> Option<u8> {
        if self.count < 16 {
            self.fill();
        }
        if let Some(behind) = self.count.checked_sub(8) {
            let start = self.held.wrapping_shr(behind) as usize & 0xff;
            let (symbol, length) = codes.short.get(start).copied()?;
            if length > 0 {
                self.count = self.count.checked_sub(length.into())?;
                return Some(symbol);
            }
        }
        let mut code = 0i32;
        for length in 1..=16 {
            code = code << 1 | self.get(1)? as i32;
            if code <= codes.max[length] {
                let behind = usize::try_from(code.checked_sub(codes.min[length])?).ok()?;
                return codes.symbols.get(codes.first[length].checked_add(behind)?).copied();
            }
        }
        // No code: broken data, which the decoder finds for itself.
        None
    }

    /// Goes on behind a restart marker.
    fn restart(&mut self) -> Option<()> {
        (self.held, self.count) = (0, 0);
        while let Some([0xff, rest @ ..]) = self.bytes.get(self.at..) {
            match rest.first()? {
                0xd0..=0xd7 => {
                    self.at = self.at.saturating_add(2);
                    return Some(());
                }
                0xff => self.at = self.at.saturating_add(1),
                _ => return None,
            }
        }
        None
    }
}

/// A component: its samplings, its blocks in a row and in a column when it comes alone and with
/// others, and which coefficients of each block are set.
#[derive(Default)]
struct Component {
    id: u8,
    across: usize,
    down: usize,
    alone: (usize, usize),
    row: usize,
    set: Vec<u64>,
}

impl Component {
    /// What is set of the block at a column and a row.
    fn block(&mut self, (x, y): (usize, usize)) -> Option<&mut u64> {
        self.set.get_mut(y.saturating_mul(self.row).saturating_add(x))
    }
}

/// What a scan holds of each block.
#[derive(Clone, Copy)]
struct ScanPart {
    from: u32,
    to: u32,
    refines: bool,
}

#[derive(Default)]
struct Walk {
    components: Vec<Component>,
    mcus: (usize, usize),
    interval: usize,
    dc: [Codes; 4],
    ac: [Codes; 4],
}

/// Whether all scans of a progressive JPEG are whole. What this does not understand counts as
/// whole: the decoder has the last word.
pub(super) fn are_whole(bytes: &[u8]) -> bool {
    Walk::default().file(bytes).unwrap_or(true)
}

impl Walk {
    /// `None` where the structure is not understood.
    fn file(&mut self, bytes: &[u8]) -> Option<bool> {
        let (mut at, mut scans) = (2usize, 0usize);
        loop {
            let marker = loop {
                match bytes.get(at..)? {
                    [0xff, marker, ..] if !matches!(marker, 0xff | 0) => break *marker,
                    [_, _, ..] => at = at.saturating_add(1),
                    _ => return None,
                }
            };
            at = at.saturating_add(2);
            match marker {
                0xd9 => return Some(true),
                0x01 | 0xd0..=0xd8 => continue,
                _ => {}
            }
            let rest = bytes.get(at..)?;
            let length = usize::from(u16::from_be_bytes(*rest.first_chunk()?)).max(2);
            let body = rest.get(2..length)?;
            at = at.saturating_add(length);
            match marker {
                0xc2 => self.frame(body)?,
                0xc4 => self.tables(body)?,
                0xdd => self.interval = u16::from_be_bytes(*body.first_chunk()?).into(),
                0xda => {
                    scans = scans.saturating_add(1);
                    if scans > MAX_SCANS {
                        return None;
                    }
                    let mut bits = Bits { bytes, at, held: 0, count: 0 };
                    if !self.scan(body, &mut bits)? {
                        return Some(false);
                    }
                    at = bits.at;
                }
                _ => {}
            }
        }
    }

    fn frame(&mut self, body: &[u8]) -> Option<()> {
        let &[8, h0, h1, w0, w1, count, ref rest @ ..] = body else { return None };
        let (width, height) =
            (u16::from_be_bytes([w0, w1]).into(), usize::from(u16::from_be_bytes([h0, h1])));
        let parts = rest.as_chunks::<3>().0.get(..usize::from(count))?;
        let across = |p: &[u8; 3]| usize::from(p[1] >> 4);
        let down = |p: &[u8; 3]| usize::from(p[1] & 15);
        let most = (parts.iter().map(across).max()?, parts.iter().map(down).max()?);
        if parts.iter().any(|p| across(p) == 0 || down(p) == 0) || !self.components.is_empty() {
            return None;
        }
        // Sides are 16 bits and samplings 4: their products fit 32.
        let times = usize::saturating_mul;
        let size: (usize, usize) = (width, height);
        self.mcus = (size.0.div_ceil(times(8, most.0)), size.1.div_ceil(times(8, most.1)));
        for p in parts {
            let (across, down) = (across(p), down(p));
            let row = times(self.mcus.0, across);
            let alone = (
                times(size.0, across).div_ceil(most.0).div_ceil(8),
                times(size.1, down).div_ceil(most.1).div_ceil(8),
            );
            let set = vec![0; times(row, times(self.mcus.1, down))];
            self.components.push(Component { id: p[0], across, down, alone, row, set });
        }
        Some(())
    }

    fn tables(&mut self, mut body: &[u8]) -> Option<()> {
        while let Some((head, rest)) = body.split_first() {
            let (counts, rest) = rest.split_first_chunk::<16>()?;
            let total: usize = counts.iter().map(|c| usize::from(*c)).sum();
            let (symbols, rest) = rest.split_at_checked(total)?;
            let codes = Codes::of(counts, symbols);
            let tables = if head >> 4 == 0 { &mut self.dc } else { &mut self.ac };
            *tables.get_mut(usize::from(head & 15))? = codes;
            body = rest;
        }
        Some(())
    }

    /// Walks a scan; whether all its blocks are there.
    fn scan(&mut self, body: &[u8], bits: &mut Bits<'_>) -> Option<bool> {
        let (count, body) = body.split_first()?;
        let (pairs, end) = body.split_at_checked(usize::from(*count).saturating_mul(2))?;
        let &[from, to, approximation, ..] = end else { return None };
        let part = ScanPart {
            from: from.into(),
            to: u32::from(to).min(63),
            refines: approximation >> 4 != 0,
        };
        let mut chosen = Vec::new();
        for pair in pairs.as_chunks::<2>().0 {
            let component = self.components.iter().position(|c| c.id == pair[0])?;
            let table = usize::from(if part.from == 0 { pair[1] >> 4 } else { pair[1] & 15 });
            let codes = if part.from == 0 { &self.dc } else { &self.ac };
            let codes = codes.get(table)?.clone();
            if codes.short.is_empty() && !(part.from == 0 && part.refines) {
                return None;
            }
            chosen.push((component, codes));
        }
        let (lone, codes) = chosen.first()?;
        let mut run = 0;
        if chosen.len() == 1 {
            let interval = self.interval;
            let c = self.components.get_mut(*lone)?;
            let (columns, rows) = c.alone;
            let blocks = (0..rows).flat_map(|y| (0..columns).map(move |x| (x, y)));
            for (units, at) in blocks.enumerate() {
                if is_restart(units, interval) {
                    run = 0;
                    if bits.restart().is_none() {
                        return Some(false);
                    }
                }
                if block(bits, codes, part, c.block(at)?, &mut run).is_none() {
                    return Some(false);
                }
            }
            return Some(true);
        }
        let (columns, rows) = self.mcus;
        let mcus = (0..rows).flat_map(|y| (0..columns).map(move |x| (x, y)));
        for (units, (mx, my)) in mcus.enumerate() {
            if is_restart(units, self.interval) && bits.restart().is_none() {
                return Some(false);
            }
            for (component, codes) in &chosen {
                let c = self.components.get_mut(*component)?;
                let (x0, y0) = (mx.saturating_mul(c.across), my.saturating_mul(c.down));
                let (x1, y1) = (x0.saturating_add(c.across), y0.saturating_add(c.down));
                for at in (y0..y1).flat_map(|y| (x0..x1).map(move |x| (x, y))) {
                    if block(bits, codes, part, c.block(at)?, &mut run).is_none() {
                        return Some(false);
                    }
                }
            }
        }
        Some(true)
    }
}

/// Whether a restart marker precedes a unit of a scan.
fn is_restart(unit: usize, interval: usize) -> bool {
    unit > 0 && unit.checked_rem(interval) == Some(0)
}

/// Walks one block's part of a scan (T.81, figures G.3, G.7); `None` when the bits end.
fn block(
    bits: &mut Bits<'_>,
    codes: &Codes,
    part: ScanPart,
    set: &mut u64,
    run: &mut u32,
) -> Option<()> {
    if part.from == 0 {
        return if part.refines {
            bits.get(1).map(|_| ())
        } else {
            let size = bits.symbol(codes)?;
            bits.get(u32::from(size.min(16))).map(|_| ())
        };
    }
    let mut k = part.from;
    if *run == 0 {
        while k <= part.to {
            let symbol = bits.symbol(codes)?;
            let (mut zeros, size) = (u32::from(symbol >> 4), u32::from(symbol & 15));
            if size == 0 && zeros < 15 {
                *run = 1u32.wrapping_shl(zeros).saturating_add(bits.get(zeros)?);
                break;
            }
            if !part.refines {
                k = k.saturating_add(zeros);
                if size > 0 {
                    bits.get(size)?;
                    *set |= 1u64.checked_shl(k).unwrap_or(0);
                }
                k = k.saturating_add(1);
                continue;
            }
            if size > 0 {
                bits.get(1)?;
            }
            // Zeros are counted among coefficients that are not set; those that are get a bit each.
            while k <= part.to {
                let coefficient = 1u64.wrapping_shl(k);
                k = k.saturating_add(1);
                if *set & coefficient != 0 {
                    bits.get(1)?;
                } else if zeros == 0 {
                    if size > 0 {
                        *set |= coefficient;
                    }
                    break;
                } else {
                    zeros = zeros.saturating_sub(1);
                }
            }
        }
    }
    if *run > 0 {
        if part.refines {
            let rest = (k..=part.to).filter(|k| *set & 1u64.wrapping_shl(*k) != 0).count();
            for _ in 0..rest {
                bits.get(1)?;
            }
        }
        *run = run.saturating_sub(1);
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

    fn progressive(sampling: SamplingFactor, restart: Option<u16>, scans: u8) -> Vec<u8> {
        let (w, h) = (203usize, 117usize);
        let rgb: Vec<u8> = (0..w * h)
            .flat_map(|i| {
                let (x, y) = (i % w, i / w);
                let noise = (i * 2_654_435_761) >> 7 & 31;
                [(x + noise) as u8, (y * 2 + noise) as u8, (x ^ y) as u8]
            })
            .collect();
        let mut out = Vec::new();
        let mut encoder = Encoder::new(&mut out, 85);
        encoder.set_progressive(true);
        encoder.set_progressive_scans(scans);
        encoder.set_sampling_factor(sampling);
        if let Some(interval) = restart {
            encoder.set_restart_interval(interval);
        }
        encoder.encode(&rgb, w as u16, h as u16, ColorType::Rgb).unwrap();
        out
    }

    #[test]
    fn whole_files_are_whole_and_every_cut_is_found() {
        let samplings = [SamplingFactor::F_1_1, SamplingFactor::F_2_1, SamplingFactor::F_2_2];
        for sampling in samplings {
            for restart in [None, Some(7)] {
                let file = progressive(sampling, restart, 4);
                assert!(are_whole(&file), "{sampling:?} {restart:?}");
                let scan = file.windows(2).position(|w| w == [0xff, 0xda]).unwrap() + 14;
                let (mut cuts, mut missed) = (0, 0);
                for len in (scan..file.len() - 12).step_by(53) {
                    // A cut between two scans leaves whole ones, and a picture of fewer scans.
                    let near = |m: &[u8]| m[0] == 0xff && (m[1] == 0xda || m[1] == 0xc4);
                    let by_header = file[len.saturating_sub(220)..len + 4].windows(2).any(near);
                    let mut cut = file[..len].to_vec();
                    if cut.last() == Some(&0xff) {
                        cut.pop();
                    }
                    cut.extend([0xff, 0xd9]);
                    cuts += usize::from(!by_header);
                    missed += usize::from(!by_header && are_whole(&cut));
                }
                assert!(cuts > 20, "{cuts}");
                assert_eq!(missed, 0, "of {cuts}, {sampling:?} {restart:?}");
            }
        }
    }

    #[test]
    fn what_is_not_understood_is_left_to_the_decoder() {
        assert!(are_whole(b""));
        assert!(are_whole(b"\xff\xd8\xff\xd9"));
        assert!(are_whole(b"\xff\xd8\xff\xda\0\x08\x01\x01\0\0\x3f\0\0\0"));
    }
}
