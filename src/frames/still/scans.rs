//! Whether every scan of a progressive JPEG holds the bits of all its blocks.
//!
//! A decoder goes on with zeros where a scan breaks off at a marker: the picture is then soft or
//! even from there on, which would be judged as out of focus. So the codes are walked without
//! making coefficients of them; only which ones are set is kept, as refining scans depend on it.
//!
//! Source: ITU-T T.81, annexes A.2 (order of blocks), F.2.2.3 (codes) and G.1.2 (progressive).

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
    fn of(counts: &[u8], symbols: &[u8]) -> Codes {
        let mut codes = Codes { symbols: symbols.to_vec(), ..Codes::default() };
        codes.short = vec![(0, 0); 256];
        let (mut code, mut at) = (0i32, 0usize);
        for length in 1..=16usize {
            let count = usize::from(counts[length - 1]);
            codes.first[length] = at;
            codes.min[length] = code;
            codes.max[length] = if count == 0 { -1 } else { code + count as i32 - 1 };
            for symbol in symbols.iter().skip(at).take(count) {
                if length <= 8 {
                    let from = (code as usize) << (8 - length);
                    for slot in codes.short.iter_mut().skip(from).take(1 << (8 - length)) {
                        *slot = (*symbol, length as u8);
                    }
                }
                code += 1;
            }
            at += count;
            code <<= 1;
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
                    self.at += 2;
                }
                Some([byte, ..]) if *byte != 0xff => {
                    self.held = self.held << 8 | u64::from(*byte);
                    self.at += 1;
                }
                _ => return,
            }
            self.count += 8;
        }
    }

    /// So many bits, at most 16; `None` when the scan has no more.
    fn get(&mut self, n: u32) -> Option<u32> {
        if self.count < n {
            self.fill();
            if self.count < n {
                return None;
            }
        }
        self.count -= n;
        Some((self.held >> self.count) as u32 & ((1 << n) - 1))
    }

    fn symbol(&mut self, codes: &Codes) -> Option<u8> {
        if self.count < 16 {
            self.fill();
        }
        if self.count >= 8 {
            let (symbol, length) = codes.short[(self.held >> (self.count - 8)) as usize & 0xff];
            if length > 0 {
                self.count -= u32::from(length);
                return Some(symbol);
            }
        }
        let mut code = 0i32;
        for length in 1..=16 {
            code = code << 1 | self.get(1)? as i32;
            if code <= codes.max[length] {
                let place = codes.first[length] + (code - codes.min[length]) as usize;
                return codes.symbols.get(place).copied();
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
                    self.at += 2;
                    return Some(());
                }
                0xff => self.at += 1,
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

/// What a scan holds of each block.
#[derive(Clone, Copy)]
struct Part {
    from: usize,
    to: usize,
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
        let (mut at, mut scans) = (2, 0);
        loop {
            while *bytes.get(at)? != 0xff || matches!(bytes.get(at + 1)?, 0xff | 0) {
                at += 1;
            }
            let marker = *bytes.get(at + 1)?;
            at += 2;
            match marker {
                0xd9 => return Some(true),
                0x01 | 0xd0..=0xd8 => continue,
                _ => {}
            }
            let length = usize::from(u16::from_be_bytes([*bytes.get(at)?, *bytes.get(at + 1)?]));
            let body = bytes.get(at + 2..at + length.max(2))?;
            at += length.max(2);
            match marker {
                0xc2 => self.frame(body)?,
                0xc4 => self.tables(body)?,
                0xdd => {
                    self.interval = usize::from(u16::from_be_bytes([*body.first()?, *body.get(1)?]))
                }
                0xda => {
                    scans += 1;
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
        let size: (usize, usize) = (width, height);
        self.mcus = (size.0.div_ceil(8 * most.0), size.1.div_ceil(8 * most.1));
        for p in parts {
            let (across, down) = (across(p), down(p));
            let row = self.mcus.0 * across;
            let alone = (
                (size.0 * across).div_ceil(most.0).div_ceil(8),
                (size.1 * down).div_ceil(most.1).div_ceil(8),
            );
            let set = vec![0; row * self.mcus.1 * down];
            self.components.push(Component { id: p[0], across, down, alone, row, set });
        }
        Some(())
    }

    fn tables(&mut self, mut body: &[u8]) -> Option<()> {
        while let Some((head, rest)) = body.split_first() {
            let counts = rest.get(..16)?;
            let total: usize = counts.iter().map(|c| usize::from(*c)).sum();
            let codes = Codes::of(counts, rest.get(16..16 + total)?);
            let tables = if head >> 4 == 0 { &mut self.dc } else { &mut self.ac };
            *tables.get_mut(usize::from(head & 15))? = codes;
            body = &rest[16 + total..];
        }
        Some(())
    }

    /// Walks a scan; whether all its blocks are there.
    fn scan(&mut self, body: &[u8], bits: &mut Bits<'_>) -> Option<bool> {
        let count = usize::from(*body.first()?);
        let &[from, to, approximation] = body.get(1 + 2 * count..4 + 2 * count)? else {
            return None;
        };
        let part = Part {
            from: from.into(),
            to: usize::from(to).min(63),
            refines: approximation >> 4 != 0,
        };
        let mut chosen = Vec::new();
        for pair in body.get(1..1 + 2 * count)?.as_chunks::<2>().0 {
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
        let mut units = 0;
        if chosen.len() == 1 {
            let c = &mut self.components[*lone];
            for y in 0..c.alone.1 {
                for x in 0..c.alone.0 {
                    if self.interval > 0 && units > 0 && units % self.interval == 0 {
                        run = 0;
                        if bits.restart().is_none() {
                            return Some(false);
                        }
                    }
                    units += 1;
                    let set = c.set.get_mut(y * c.row + x)?;
                    if block(bits, codes, part, set, &mut run).is_none() {
                        return Some(false);
                    }
                }
            }
            return Some(true);
        }
        for mcu in 0..self.mcus.0 * self.mcus.1 {
            if self.interval > 0 && mcu > 0 && mcu % self.interval == 0 && bits.restart().is_none()
            {
                return Some(false);
            }
            let (mx, my) = (mcu % self.mcus.0, mcu / self.mcus.0);
            for (component, codes) in &chosen {
                let c = &mut self.components[*component];
                for i in 0..c.across * c.down {
                    let (x, y) = (mx * c.across + i % c.across, my * c.down + i / c.across);
                    let set = c.set.get_mut(y * c.row + x)?;
                    if block(bits, codes, part, set, &mut run).is_none() {
                        return Some(false);
                    }
                }
            }
        }
        Some(true)
    }
}

/// Walks one block's part of a scan (T.81, figures G.3, G.7); `None` when the bits end.
fn block(
    bits: &mut Bits<'_>,
    codes: &Codes,
    part: Part,
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
                *run = (1 << zeros) + bits.get(zeros)?;
                break;
            }
            if !part.refines {
                k += zeros as usize;
                if size > 0 {
                    bits.get(size)?;
                    *set |= 1u64.checked_shl(k as u32).unwrap_or(0);
                }
                k += 1;
                continue;
            }
            if size > 0 {
                bits.get(1)?;
            }
            // Zeros are counted among coefficients that are not set; those that are get a bit each.
            while k <= part.to {
                if *set >> k & 1 == 1 {
                    bits.get(1)?;
                } else if zeros == 0 {
                    if size > 0 {
                        *set |= 1 << k;
                    }
                    k += 1;
                    break;
                } else {
                    zeros -= 1;
                }
                k += 1;
            }
        }
    }
    if *run > 0 {
        if part.refines {
            let rest = (k..=part.to).filter(|k| *set >> k & 1 == 1).count();
            for _ in 0..rest {
                bits.get(1)?;
            }
        }
        *run -= 1;
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
