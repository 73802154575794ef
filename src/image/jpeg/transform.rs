//! The inverse cosine transform in integers, on vectors of 8 lanes.
//!
//! Numbers and rounding are those of the decoder that takes the other files (`zune-jpeg`), so that
//! no sample depends on which of them decoded it. Sums and products wrap, as they do there.
//!
//! Source: Loeffler, Ligtenberg & Moschytz 1989, doi:10.1109/ICASSP.1989.266596, with constants
//! of 12 bits; ITU-T T.81, A.3.3.

use fearless_simd::prelude::*;
use fearless_simd::{Simd, i16x8, i32x8};

/// Rounding of the first pass.
const FIRST: i32 = 512;
/// Rounding of the second pass, and the middle of the range (T.81, A.3.1).
const SECOND: i32 = 512 + 65_536 + (128 << 17);
/// The place in zigzag order of the last coefficient that is in the first four rows and columns
/// with all those before it.
pub(super) const LAST_OF_FEW: usize = 9;

/// Rows of a block, the leftmost of their 8 samples in the lowest byte.
pub(super) type BlockRows = [u64; 8];

/// The samples of a block whose other coefficients are zero; `first` is its first one in steps
/// of 1.
#[inline(always)]
pub(super) fn flat_samples(first: i32) -> BlockRows {
    let sample = (first.wrapping_add(4 + 1024) >> 3).clamp(0, 255);
    [(sample as u64).wrapping_mul(0x0101_0101_0101_0101); 8]
}

/// The samples of a block from its coefficients, row by row, and their steps. `last` is the place
/// of the last coefficient in zigzag order.
#[inline(always)]
pub(super) fn samples<S: Simd>(
    simd: S,
    block: &[i16; 64],
    steps: &[i32; 64],
    last: usize,
) -> BlockRows {
    // Closures and iterators that are not inlined would take vectors through memory.
    let (b, s) = (block.as_chunks::<8>().0, steps.as_chunks::<8>().0);
    if last <= LAST_OF_FEW {
        let rows = [
            row(simd, &b[0], &s[0]),
            row(simd, &b[1], &s[1]),
            row(simd, &b[2], &s[2]),
            row(simd, &b[3], &s[3]),
        ];
        let [a, b, c, d, ..] = transposed(pass_of_few::<S, 10>(rows, FIRST));
        return packed(simd, pass_of_few::<S, 17>([a, b, c, d], SECOND));
    }
    let rows = [
        row(simd, &b[0], &s[0]),
        row(simd, &b[1], &s[1]),
        row(simd, &b[2], &s[2]),
        row(simd, &b[3], &s[3]),
        row(simd, &b[4], &s[4]),
        row(simd, &b[5], &s[5]),
        row(simd, &b[6], &s[6]),
        row(simd, &b[7], &s[7]),
    ];
    packed(simd, pass::<S, 17>(transposed(pass::<S, 10>(rows, FIRST)), SECOND))
}

/// A row of coefficients in steps of 1.
#[inline(always)]
fn row<S: Simd>(simd: S, values: &[i16; 8], steps: &[i32; 8]) -> i32x8<S> {
    let (low, high) = simd.widen_i16x8(i16x8::simd_from(simd, *values));
    simd.combine_i32x4(low, high) * i32x8::simd_from(simd, *steps)
}

/// One pass along the columns.
#[inline(always)]
fn pass<S: Simd, const SHIFT: u32>(r: [i32x8<S>; 8], round: i32) -> [i32x8<S>; 8] {
    let p1 = (r[2] + r[6]) * 2217;
    let t2 = p1 + r[6] * -7567;
    let t3 = p1 + r[2] * 3135;
    let t0 = ((r[0] + r[4]) << 12) + round;
    let t1 = ((r[0] - r[4]) << 12) + round;
    let even = [t0 + t3, t1 + t2, t1 - t2, t0 - t3];
    let (p1, p2, p3, p4) = (r[7] + r[1], r[5] + r[3], r[7] + r[3], r[5] + r[1]);
    let p5 = (p3 + p4) * 4816;
    let p1 = p5 + p1 * -3685;
    let p2 = p5 + p2 * -10497;
    let p3 = p3 * -8034;
    let p4 = p4 * -1597;
    let odd = [
        r[1] * 6149 + (p1 + p4),
        r[3] * 12586 + (p2 + p3),
        r[5] * 8410 + (p2 + p4),
        r[7] * 1223 + (p1 + p3),
    ];
    butterflies::<S, SHIFT>(even, odd)
}

/// As [`pass`], when the last four rows are zero: the same sums without their terms.
#[inline(always)]
fn pass_of_few<S: Simd, const SHIFT: u32>(r: [i32x8<S>; 4], round: i32) -> [i32x8<S>; 8] {
    let t0 = (r[0] << 12) + round;
    let (t2, t3) = (r[2] * 2217, r[2] * 5352);
    let even = [t0 + t3, t0 + t2, t0 - t2, t0 - t3];
    let p5 = (r[3] + r[1]) * 4816;
    let p1 = p5 + r[1] * -3685;
    let p2 = p5 + r[3] * -10497;
    let odd = [p5 + r[1] * 867, p5 + r[3] * -5945, p2 + r[1] * -1597, p1 + r[3] * -8034];
    butterflies::<S, SHIFT>(even, odd)
}

#[inline(always)]
fn butterflies<S: Simd, const SHIFT: u32>(e: [i32x8<S>; 4], o: [i32x8<S>; 4]) -> [i32x8<S>; 8] {
    [
        (e[0] + o[0]) >> SHIFT,
        (e[1] + o[1]) >> SHIFT,
        (e[2] + o[2]) >> SHIFT,
        (e[3] + o[3]) >> SHIFT,
        (e[3] - o[3]) >> SHIFT,
        (e[2] - o[2]) >> SHIFT,
        (e[1] - o[1]) >> SHIFT,
        (e[0] - o[0]) >> SHIFT,
    ]
}

#[inline(always)]
fn transposed<S: Simd>(rows: [i32x8<S>; 8]) -> [i32x8<S>; 8] {
    let mut r = rows;
    for _ in 0..3 {
        let (a, b) = r[0].interleave(r[4]);
        let (c, d) = r[1].interleave(r[5]);
        let (e, f) = r[2].interleave(r[6]);
        let (g, h) = r[3].interleave(r[7]);
        r = [a, b, c, d, e, f, g, h];
    }
    r
}

/// Rows, from columns.
#[inline(always)]
fn packed<S: Simd>(simd: S, c: [i32x8<S>; 8]) -> BlockRows {
    let (low, high) = (i32x8::splat(simd, 0), i32x8::splat(simd, 255));
    let left = (c[0].max(low).min(high) | c[1].max(low).min(high) << 8)
        | (c[2].max(low).min(high) << 16 | c[3].max(low).min(high) << 24);
    let right = (c[4].max(low).min(high) | c[5].max(low).min(high) << 8)
        | (c[6].max(low).min(high) << 16 | c[7].max(low).min(high) << 24);
    let mut halves = [[0i32; 8]; 2];
    left.store_array(&mut halves[0]);
    right.store_array(&mut halves[1]);
    let mut rows = [0; 8];
    for (y, row) in rows.iter_mut().enumerate() {
        *row = u64::from(halves[0][y] as u32) | u64::from(halves[1][y] as u32) << 32;
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::VectorKernel;
    use crate::core::random::SplitMix64;
    use crate::core::{at_baseline, with_vectors};

    struct Transform<'a>(&'a [i16; 64], &'a [i32; 64], usize);

    impl VectorKernel for Transform<'_> {
        type Output = BlockRows;
        fn run<S: Simd>(self, simd: S) -> BlockRows {
            samples(simd, self.0, self.1, self.2)
        }
    }

    /// T.81, A.3.3, in floating point.
    fn plain(block: &[i16; 64], steps: &[i32; 64]) -> [f64; 64] {
        let scale = |u: usize| if u == 0 { 0.5f64.sqrt() } else { 1.0 };
        let turn = |x: usize, u: usize| {
            ((2 * x + 1) as f64 * u as f64 * std::f64::consts::PI / 16.0).cos()
        };
        std::array::from_fn(|at| {
            let (x, y) = (at % 8, at / 8);
            let terms = (0..64).map(|k| {
                let (u, v) = (k % 8, k / 8);
                let value = f64::from(block[k]) * f64::from(steps[k]);
                scale(u) * scale(v) * value * turn(x, u) * turn(y, v)
            });
            terms.sum::<f64>() / 4.0 + 128.0
        })
    }

    fn random(rng: &mut SplitMix64, last: usize) -> ([i16; 64], [i32; 64]) {
        let mut block = [0; 64];
        for k in 0..=last {
            let place = usize::from(super::super::codes::ZIGZAG[k]);
            block[place] = (rng.between(-1.0, 1.0) * 400.0 / (1 + k) as f64) as i16;
        }
        block[0] = rng.between(-100.0, 100.0) as i16;
        (block, std::array::from_fn(|_| rng.between(1.0, 9.0) as i32))
    }

    #[test]
    fn samples_are_those_of_the_formula() {
        let mut rng = SplitMix64::new(11);
        let mut far = 0;
        for case in 0..2000 {
            let last = case % 64;
            let (block, steps) = random(&mut rng, last);
            let got = with_vectors(Transform(&block, &steps, last)).unwrap();
            let got = got.map(u64::to_le_bytes);
            for (got, exact) in got.as_flattened().iter().zip(plain(&block, &steps)) {
                // Rounding takes half a step; constants of 12 bits and the pass between a bit more.
                let off = (f64::from(*got) - exact.clamp(0.0, 255.0)).abs();
                assert!(off < 0.8, "{got} for {exact}");
                far += usize::from(off > 0.4);
            }
        }
        assert!(far > 1000, "{far}");
    }

    #[test]
    fn every_vector_width_gives_the_same() {
        let mut rng = SplitMix64::new(12);
        for case in 0..500 {
            let last = case % 64;
            let (mut block, steps) = random(&mut rng, last);
            if case % 7 == 0 {
                block[usize::from(super::super::codes::ZIGZAG[last])] = i16::MIN;
            }
            let widest = with_vectors(Transform(&block, &steps, last));
            assert_eq!(at_baseline(Transform(&block, &steps, last)), widest);
            assert_eq!(with_vectors(Transform(&block, &steps, 63)), widest, "{last}");
        }
    }

    #[test]
    fn a_flat_block_is_one_sample() {
        let steps = [3; 64];
        for first in -1100..1100 {
            let mut block = [0; 64];
            block[0] = first;
            let whole = with_vectors(Transform(&block, &steps, 63));
            assert_eq!(whole, Some(flat_samples(3 * i32::from(first))));
        }
    }
}
