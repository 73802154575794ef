//! The classic plain focus measure, without any account of noise: a yardstick to compare with, not
//! a verdict. Noise raises it.
//!
//! Variance of the Laplacian: Pech-Pacheco et al., ICPR 2000, DOI 10.1109/ICPR.2000.903548.

use crate::core::{Luma, with_simd};

/// Variance of the 4-neighbour Laplacian over every `step`-th row, squared 8-bit steps.
pub fn plain_lap_var(luma: &Luma<'_>, step: usize) -> f64 {
    let (w, h) = (luma.width_px(), luma.height_px());
    let mut rows = [vec![0i16; w], vec![0i16; w], vec![0i16; w]];
    let (mut sum, mut squares, mut n) = (0f64, 0f64, 0f64);
    for y in (1..h.saturating_sub(1)).step_by(step.max(1)) {
        for (k, row) in rows.iter_mut().enumerate() {
            luma.row_eighths(y + k - 1, 0, row);
        }
        let [up, here, down] = &rows;
        let (s, q) = with_simd(
            #[inline(always)]
            || laplacian_sums(up, here, down),
        );
        sum += s as f64 / 8.0;
        squares += q as f64 / 64.0;
        n += (w - 2) as f64;
    }
    if n > 0.0 { squares / n - (sum / n).powi(2) } else { 0.0 }
}

/// Sum and sum of squares of the Laplacian along the inner samples of three rows of one length.
#[inline(always)]
fn laplacian_sums(up: &[i16], here: &[i16], down: &[i16]) -> (i64, i64) {
    // At most 8160 squared a sample: 16 of them stay below 2^31.
    const RUN: usize = 16;
    let n = here.len().saturating_sub(2);
    let (mut sum, mut squares) = (0i64, 0i64);
    let mut at = 0;
    while at < n {
        let end = (at + RUN).min(n);
        let (u, d) = (&up[at + 1..=end], &down[at + 1..=end]);
        let (l, m, r) = (&here[at..end], &here[at + 1..=end], &here[at + 2..end + 2]);
        let (mut s, mut q) = (0i32, 0i32);
        for i in 0..end - at {
            let v = i32::from(l[i] + r[i] + u[i] + d[i] - 4 * m[i]);
            s += v;
            q += v * v;
        }
        sum += i64::from(s);
        squares += i64::from(q);
        at = end;
    }
    (sum, squares)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    #[test]
    fn laplacian_in_runs_equals_the_plain_one() {
        let mut g = SplitMix64::new(4);
        for w in [3, 18, 35] {
            // Black and white only: the largest values there are.
            let data: Vec<u8> =
                (0..w * 9).map(|_| if g.uniform() < 0.5 { 0 } else { 255 }).collect();
            let luma = Luma::U8 { data: &data, channels: 1, width_px: w, height_px: 9 };
            let at = |x: usize, y: usize| f64::from(data[y * w + x]);
            let plain: Vec<f64> = (1..8)
                .flat_map(|y| (1..w - 1).map(move |x| (x, y)))
                .map(|(x, y)| {
                    4.0 * at(x, y) - at(x - 1, y) - at(x + 1, y) - at(x, y - 1) - at(x, y + 1)
                })
                .collect();
            let n = plain.len() as f64;
            let mean = plain.iter().sum::<f64>() / n;
            let want = plain.iter().map(|v| v * v).sum::<f64>() / n - mean * mean;
            approx::assert_relative_eq!(plain_lap_var(&luma, 1), want, max_relative = 1e-9);
        }
    }
}
