//! Code tables, and coefficients out of bits.
//!
//! A table of the next 11 bits gives run, value and length of most coefficients at once.
//!
//! Source: ITU-T T.81, annexes C (codes), F.2.2.1 (first coefficient), F.2.2.2 (others), F.2.2.3
//! (decoding), and table F.1 (values of a size).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use super::bits::BitReader;

/// Bits that are looked up at once.
const LOOKUP_BITS: u32 = 11;
/// Length of the longest code.
const MAX_CODE_BITS: u32 = 16;
/// Largest size of a difference of first coefficients, of 8-bit samples (T.81, table F.1).
const MAX_DC_SIZE: u8 = 11;

/// Entry: value from bit 16 on, run in bits 8 to 11, bits taken in 0 to 4, and one of these.
const END: u32 = 0x80;
/// Only the code is within the bits: its symbol from bit 16 on, its length in bits 0 to 4.
const CODE_ONLY: u32 = 0x40;
/// The code is longer, or there is none.
const LONG: u32 = 0x20;
const LENGTH: u32 = 0x1f;

/// Row-by-row places of coefficients in zigzag order (T.81, figure A.6), and 63 beyond the last.
pub(super) const ZIGZAG: [u8; 128] = {
    let mut places = [63u8; 128];
    let (mut x, mut y, mut k) = (0u8, 0u8, 0usize);
    while k < 64 {
        places[k] = 8 * y + x;
        let up = (x + y) % 2 == 0;
        if up && x == 7 || !up && y == 7 {
            if up { y += 1 } else { x += 1 }
        } else if up && y == 0 || !up && x == 0 {
            if up { x += 1 } else { y += 1 }
        } else if up {
            x += 1;
            y -= 1;
        } else {
            x -= 1;
            y += 1;
        }
        k += 1;
    }
    places
};

/// What a table codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CodedValue {
    /// Differences of first coefficients.
    First,
    /// Runs of zeros with the coefficient behind them.
    Others,
}

/// A table of Huffman codes.
#[derive(Debug, Clone)]
pub(super) struct CodeTable {
    lookup: Box<[u32; 1 << LOOKUP_BITS]>,
    /// One more than the largest code of each length, filled up to 16 bits.
    beyond: [u32; 17],
    /// From a code of a length to the place of its symbol.
    offset: [i32; 17],
    symbols: [u8; 256],
}

impl CodeTable {
    /// A table of how many codes there are of each length, and their symbols; `None` when they are
    /// no valid table, or none for 8-bit samples.
    pub(super) fn new(counts: &[u8; 16], symbols: &[u8], of: CodedValue) -> Option<CodeTable> {
        let mut table = CodeTable {
            lookup: Box::new([LONG; 1 << LOOKUP_BITS]),
            beyond: [0; 17],
            offset: [0; 17],
            symbols: [0; 256],
        };
        table.symbols.get_mut(..symbols.len())?.copy_from_slice(symbols);
        if of == CodedValue::First && symbols.iter().any(|size| *size > MAX_DC_SIZE) {
            return None;
        }
        let (mut code, mut place) = (0u32, 0usize);
        for (length, count) in (1..=MAX_CODE_BITS).zip(counts) {
            let slot = length as usize;
            table.offset[slot] = (place as i32).checked_sub(code as i32)?;
            for symbol in symbols.get(place..)?.iter().take(usize::from(*count)) {
                table.fill(code, length, *symbol, of)?;
                code = code.checked_add(1)?;
            }
            place = place.checked_add(usize::from(*count))?;
            // No code is all ones (T.81, C.2).
            if code >= 1u32.checked_shl(length)? {
                return None;
            }
            table.beyond[slot] = code.checked_shl(MAX_CODE_BITS.checked_sub(length)?)?;
            code = code.checked_mul(2)?;
        }
        (place == symbols.len()).then_some(table)
    }

    /// Fills in the entries that begin with a code.
    fn fill(&mut self, code: u32, length: u32, symbol: u8, of: CodedValue) -> Option<()> {
        let Some(free) = LOOKUP_BITS.checked_sub(length) else { return Some(()) };
        let first = code.checked_shl(free)?;
        let (run, size) = match of {
            CodedValue::First => (0, u32::from(symbol)),
            CodedValue::Others => (u32::from(symbol >> 4), u32::from(symbol & 15)),
        };
        for behind in 0..1u32.checked_shl(free)? {
            let entry = match of {
                CodedValue::Others if symbol == 0 => END | length,
                // Sixteen zeros, the last of them written.
                CodedValue::Others if symbol == 0xf0 => run << 8 | length,
                // Runs that end in no coefficient are of progressive files.
                CodedValue::Others if size == 0 => LONG,
                _ => match free.checked_sub(size) {
                    Some(rest) => {
                        let value = extended(behind.checked_shr(rest)?, size);
                        (value as u32) << 16 | run << 8 | length.checked_add(size)?
                    }
                    None => u32::from(symbol) << 16 | CODE_ONLY | length,
                },
            };
            let place = first.checked_add(behind)? as usize;
            *self.lookup.get_mut(place)? = entry;
        }
        Some(())
    }

    #[inline(always)]
    fn entry(&self, bits: &BitReader<'_>) -> u32 {
        self.lookup[bits.peek::<LOOKUP_BITS>() as usize]
    }

    /// The symbol that an entry does not give with its value; at least 16 bits are at hand.
    #[inline]
    fn symbol(&self, entry: u32, bits: &mut BitReader<'_>) -> Option<u8> {
        if entry & CODE_ONLY != 0 {
            bits.skip(entry & LENGTH);
            return Some((entry >> 16) as u8);
        }
        let next = bits.peek::<MAX_CODE_BITS>();
        let length = (1..=MAX_CODE_BITS).find(|l| next < self.beyond[*l as usize])?;
        let code = next.checked_shr(MAX_CODE_BITS.checked_sub(length)?)? as i32;
        let place = code.checked_add(self.offset[length as usize])?;
        bits.skip(length);
        self.symbols.get(usize::try_from(place).ok()?).copied()
    }
}

/// The value that bits of a size stand for (T.81, F.2.2.1, EXTEND).
#[inline(always)]
fn extended(bits: u32, size: u32) -> i32 {
    let value = bits as i32;
    let half = 1i32.wrapping_shl(size) >> 1;
    if value < half { value.wrapping_add(1).wrapping_sub(half.wrapping_mul(2)) } else { value }
}

/// The value of a size of 1 to 15 bits.
#[inline(always)]
fn value(bits: &mut BitReader<'_>, size: u32) -> i32 {
    let value = extended(bits.peek_up_to_16(size), size);
    bits.skip(size);
    value
}

/// The difference of a first coefficient to the one before.
#[inline(always)]
pub(super) fn difference(bits: &mut BitReader<'_>, table: &CodeTable) -> Option<i32> {
    bits.refill();
    let entry = table.entry(bits);
    if entry & (CODE_ONLY | LONG) == 0 {
        bits.skip(entry & LENGTH);
        return Some((entry as i32) >> 16);
    }
    match table.symbol(entry, bits)? {
        0 => Some(0),
        size => Some(value(bits, size.into())),
    }
}

/// The other coefficients of a block; the place of the last one in zigzag order, or 0. If they are
/// `KEPT`, they are written row by row into a block of zeros.
#[inline(always)]
pub(super) fn others<const KEPT: bool>(
    bits: &mut BitReader<'_>,
    table: &CodeTable,
    block: &mut [i16; 64],
) -> Option<usize> {
    let put = |block: &mut [i16; 64], place: usize, value: i16| {
        if KEPT {
            block[usize::from(ZIGZAG[place & 127] & 63)] = value;
        }
    };
    let (mut next, mut last) = (1usize, 0);
    loop {
        bits.refill();
        let mut rare = 0;
        // Five times 11 bits are at hand.
        for _ in 0..5 {
            let entry = table.entry(bits);
            if entry & (END | CODE_ONLY | LONG) != 0 {
                rare = entry;
                break;
            }
            bits.skip(entry & LENGTH);
            last = next.wrapping_add((entry >> 8) as usize & 15);
            put(block, last, (entry as i32 >> 16) as i16);
            next = last.wrapping_add(1);
            if next > 63 {
                return (next == 64).then_some(last);
            }
        }
        if rare & END != 0 {
            bits.skip(rare & LENGTH);
            return Some(last);
        }
        if rare != 0 {
            bits.refill();
            let symbol = table.symbol(rare, bits)?;
            let (run, size) = (usize::from(symbol >> 4), u32::from(symbol & 15));
            match (run, size) {
                (0, 0) => return Some(last),
                (15, 0) => next = next.wrapping_add(16),
                (_, 0) => return None,
                _ => {
                    last = next.wrapping_add(run);
                    put(block, last, value(bits, size) as i16);
                    next = last.wrapping_add(1);
                }
            }
            if next > 63 {
                return (next == 64).then_some(last);
            }
        }
    }
}
