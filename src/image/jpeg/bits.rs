//! The bits of a scan between two markers, stuffed zeros left out.
//!
//! Source: ITU-T T.81, B.1.1.5 (stuffing), B.2.1 (restart markers), F.2.2.5 (next bit).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

/// Bits that are at hand after [`BitReader::refill`], at least.
const REFILLED_BITS: u32 = 56;

/// Reads bits up to a marker; behind the last come zeros, which are counted.
#[derive(Debug, Clone)]
pub(super) struct BitReader<'a> {
    bytes: &'a [u8],
    /// The next byte of which no bit is counted in `count`.
    at: usize,
    /// The next bits, the first one on top; only `count` of them are sure.
    held: u64,
    /// Bits at hand, at most 63.
    count: u32,
    /// Zeros that were added behind the last bit.
    added: u64,
}

impl<'a> BitReader<'a> {
    pub(super) fn new(bytes: &'a [u8], at: usize) -> Self {
        BitReader { bytes, at, held: 0, count: 0, added: 0 }
    }

    /// Brings at least 56 bits to hand.
    #[inline(always)]
    pub(super) fn refill(&mut self) {
        const LOW: u64 = 0x0101_0101_0101_0101;
        const HIGH: u64 = 0x8080_8080_8080_8080;
        if let Some(next) = self.bytes.get(self.at..).and_then(|rest| rest.first_chunk::<8>()) {
            let word = u64::from_be_bytes(*next);
            // No byte is 0xff: there is no stuffing and no marker.
            if (!word).wrapping_sub(LOW) & word & HIGH == 0 {
                self.held |= word.wrapping_shr(self.count);
                self.at = self.at.wrapping_add(((63 ^ self.count) >> 3) as usize);
                self.count |= REFILLED_BITS;
                return;
            }
        }
        self.refill_by_bytes();
    }

    #[cold]
    #[inline(never)]
    fn refill_by_bytes(&mut self) {
        self.held &= !u64::MAX.wrapping_shr(self.count);
        while self.count < REFILLED_BITS {
            let (byte, step) = match self.bytes.get(self.at..) {
                Some([0xff, 0, ..]) => (0xff, 2),
                Some([byte, ..]) if *byte != 0xff => (*byte, 1),
                _ => {
                    self.added = self.added.wrapping_add(8);
                    (0, 0)
                }
            };
            self.at = self.at.wrapping_add(step);
            self.held |= u64::from(byte).wrapping_shl(REFILLED_BITS.wrapping_sub(self.count));
            self.count = self.count.wrapping_add(8);
        }
    }

    /// The next bits, without taking them: 1 to 16.
    #[inline(always)]
    pub(super) fn peek<const BITS: u32>(&self) -> u32 {
        self.held.wrapping_shr(64u32.wrapping_sub(BITS)) as u32
    }

    /// The next bits, without taking them: 1 to 16.
    #[inline(always)]
    pub(super) fn peek_up_to_16(&self, bits: u32) -> u32 {
        self.held.wrapping_shr(64u32.wrapping_sub(bits)) as u32
    }

    /// Takes bits that are at hand.
    #[inline(always)]
    pub(super) fn skip(&mut self, bits: u32) {
        self.held = self.held.wrapping_shl(bits);
        self.count = self.count.wrapping_sub(bits);
    }

    /// Whether more bits were taken than there are.
    pub(super) fn is_overdrawn(&self) -> bool {
        u64::from(self.count) < self.added
    }

    /// The marker behind the bits and where it ends, when fewer than 8 bits were left before it.
    pub(super) fn marker(&self) -> Option<(u8, usize)> {
        let left = u64::from(self.count).checked_sub(self.added)?;
        // Bytes that are held in full are not pad bits.
        if left >= 8 {
            return None;
        }
        let mut at = self.at;
        if self.bytes.get(at) != Some(&0xff) {
            return None;
        }
        loop {
            at = at.checked_add(1)?;
            match *self.bytes.get(at)? {
                0xff => {}
                0 => return None,
                marker => return Some((marker, at.checked_add(1)?)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taken(bytes: &[u8], sizes: &[u32]) -> Vec<u32> {
        let mut bits = BitReader::new(bytes, 0);
        sizes
            .iter()
            .map(|size| {
                bits.refill();
                let value = bits.peek_up_to_16(*size);
                bits.skip(*size);
                value
            })
            .collect()
    }

    #[test]
    fn stuffed_zeros_are_left_out() {
        let bytes = [0xff, 0, 0x12, 0xff, 0, 0xff, 0, 0x34, 0x56, 0x78, 0x9a, 0xbc, 0xff, 0xd9];
        let expected = [0xf, 0xf, 0x1, 0x2ff, 0xff3, 0x45, 0x67, 0x89, 0xab];
        assert_eq!(taken(&bytes, &[4, 4, 4, 12, 12, 8, 8, 8, 8]), expected);
    }

    // T.81, F.1.2.3: the last byte is filled with ones.
    #[test]
    fn the_marker_is_found_behind_pad_bits_only() {
        let bytes = [0xa7, 0x5f, 0xff, 0xff, 0xd3, 0x11];
        for (size, found) in [(7, None), (8, None), (9, Some((0xd3, 5))), (16, Some((0xd3, 5)))] {
            let mut bits = BitReader::new(&bytes, 0);
            bits.refill();
            bits.skip(size);
            assert_eq!(bits.marker(), found, "{size}");
            assert!(!bits.is_overdrawn());
        }
        let mut bits = BitReader::new(&bytes, 0);
        bits.refill();
        bits.skip(17);
        assert!(bits.is_overdrawn());
        assert_eq!(bits.marker(), None);
    }

    #[test]
    fn an_end_without_a_marker_gives_zeros_and_no_marker() {
        let bytes = [0xa7];
        assert_eq!(taken(&bytes, &[8, 8, 16, 16, 16, 16]), [0xa7, 0, 0, 0, 0, 0]);
        let mut bits = BitReader::new(&bytes, 0);
        bits.refill();
        bits.skip(8);
        assert_eq!(bits.marker(), None);
    }
}
