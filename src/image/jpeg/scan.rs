//! The scan: from bits to planes, one MCU after the other.
//!
//! Source: ITU-T T.81, A.2 (order of blocks), F.2.1 and F.2.2 (sequential decoding).
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

use fearless_simd::Simd;

use super::bits::BitReader;
use super::codes::{CodeTable, difference, others};
use super::markers::ScanHeader;
use super::transform::{BlockRows, flat_samples, samples};
use crate::core::VectorKernel;

/// First coefficients beyond this, in steps of 1, are no picture's: those of 8-bit samples are
/// within 8192 and half a step.
const MAX_FIRST: i32 = 1 << 16;

/// Where the samples of a component go.
#[derive(Debug)]
pub(super) struct PlaneMut<'a> {
    pub samples: &'a mut [u8],
    pub width: usize,
    pub height: usize,
}

/// Decodes a scan into planes: one for luma alone, three for all.
pub(super) struct Scan<'a> {
    pub bytes: &'a [u8],
    pub header: &'a ScanHeader,
    /// MCUs across and down.
    pub mcus: (usize, usize),
    pub planes: Vec<PlaneMut<'a>>,
}

/// A component with its tables at hand.
struct CodedComponent<'a> {
    across: usize,
    down: usize,
    first: &'a CodeTable,
    others: &'a CodeTable,
    steps: &'a [i32; 64],
    plane: Option<PlaneMut<'a>>,
    /// The last first coefficient.
    before: i32,
}

impl VectorKernel for Scan<'_> {
    type Output = Option<()>;

    #[inline(always)]
    fn run<S: Simd>(self, simd: S) -> Option<()> {
        let Scan { bytes, header, mcus, planes } = self;
        let mut planes = planes.into_iter();
        let mut parts = Vec::with_capacity(header.components.len());
        for c in &header.components {
            parts.push(CodedComponent {
                across: c.across.into(),
                down: c.down.into(),
                first: header.first.get(c.first)?.as_ref()?,
                others: header.others.get(c.others)?.as_ref()?,
                steps: &c.steps,
                plane: planes.next(),
                before: 0,
            });
        }
        let mut bits = BitReader::new(bytes, header.scan_at);
        let interval = header.restart_interval;
        let (mut left, mut restarts) = (interval, 0u8);
        for row in 0..mcus.1 {
            for column in 0..mcus.0 {
                if interval > 0 && left == 0 {
                    let (marker, end) = bits.marker()?;
                    if marker != 0xd0 | restarts {
                        return None;
                    }
                    bits = BitReader::new(bytes, end);
                    parts.iter_mut().for_each(|part| part.before = 0);
                    (left, restarts) = (interval, restarts.wrapping_add(1) & 7);
                }
                left = left.wrapping_sub(1);
                for part in &mut parts {
                    part.mcu(simd, &mut bits, column, row)?;
                }
            }
            if bits.is_overdrawn() {
                return None;
            }
        }
        (bits.marker()?.0 == 0xd9).then_some(())
    }
}

impl CodedComponent<'_> {
    #[inline(always)]
    fn mcu<S: Simd>(
        &mut self,
        simd: S,
        bits: &mut BitReader<'_>,
        column: usize,
        row: usize,
    ) -> Option<()> {
        for down in 0..self.down {
            for across in 0..self.across {
                let mut block = [0; 64];
                self.before = self.before.wrapping_add(difference(bits, self.first)?);
                let last = match self.plane {
                    Some(_) => others::<true>(bits, self.others, &mut block)?,
                    None => others::<false>(bits, self.others, &mut block)?,
                };
                let first = self.before.wrapping_mul(self.steps[0]);
                block[0] = i16::try_from(self.before).ok()?;
                if first.unsigned_abs() > MAX_FIRST.unsigned_abs() {
                    return None;
                }
                let Some(plane) = &mut self.plane else { continue };
                let x = column.wrapping_mul(self.across).wrapping_add(across).wrapping_mul(8);
                let y = row.wrapping_mul(self.down).wrapping_add(down).wrapping_mul(8);
                let samples = if last == 0 {
                    flat_samples(first)
                } else {
                    samples(simd, &block, self.steps, last)
                };
                plane.put(x, y, &samples);
            }
        }
        Some(())
    }
}

impl PlaneMut<'_> {
    /// Writes a block, as far as it is inside.
    #[inline(always)]
    fn put(&mut self, x: usize, y: usize, rows: &BlockRows) {
        let start = y.wrapping_mul(self.width).wrapping_add(x);
        let end = start.wrapping_add(self.width.wrapping_mul(7)).wrapping_add(8);
        let whole = x.wrapping_add(8) <= self.width && y.wrapping_add(8) <= self.height;
        match self.samples.get_mut(start..end) {
            Some(to) if whole => {
                let mut at = 0usize;
                for row in rows {
                    let Some(to) = to.get_mut(at..at.wrapping_add(8)) else { return };
                    to.copy_from_slice(&row.to_le_bytes());
                    at = at.wrapping_add(self.width);
                }
            }
            _ => self.put_part(x, y, rows),
        }
    }

    /// As [`Self::put`] at the right and lower borders.
    #[cold]
    #[inline(never)]
    fn put_part(&mut self, x: usize, y: usize, rows: &BlockRows) {
        let columns = self.width.saturating_sub(x).min(8);
        for (row, y) in rows.iter().zip(y..self.height) {
            let start = y.wrapping_mul(self.width).wrapping_add(x);
            let to = self.samples.get_mut(start..).unwrap_or_default().iter_mut();
            to.zip(row.to_le_bytes()).take(columns).for_each(|(to, from)| *to = from);
        }
    }
}
