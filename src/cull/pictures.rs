//! The small pictures of a report: the subject at 100 % and the whole frame.

use crate::core::{Luma, with_simd};
use crate::image::{CROP_QUALITY, Orientation, Picture, encode_jpeg};
use crate::tracking::frame_features::Patch;

/// Brightness of crops is matched by at most this factor.
const MAX_GAIN: f64 = 2.0;

/// The subject at 100 %, upright, its brightness multiplied by `gain`.
pub fn crop(patch: &Patch, turn: Orientation, gain: f64) -> Option<Picture> {
    let gain = gain.clamp(1.0 / MAX_GAIN, MAX_GAIN);
    let scaled = |v: u8| (f64::from(v) * gain).round().clamp(0.0, 255.0) as u8;
    let rgb: Vec<u8> = if patch.rgb.is_empty() {
        let plane = patch.plane();
        plane.to_luma().into_iter().flat_map(|v| [scaled(v); 3]).collect()
    } else {
        patch.rgb.iter().map(|v| scaled(*v)).collect()
    };
    let (rgb, w, h) = turn.turn_rgb(&rgb, patch.width_px, patch.height_px);
    encode_jpeg(&rgb, w, h, CROP_QUALITY)
}

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
    use crate::core::{Plane, Tone};
    use crate::sharpness::laplacian::laplacian_variance;

    #[test]
    fn laplacian_in_runs_equals_the_plain_one() {
        let mut g = SplitMix64::new(4);
        for w in [3, 18, 35] {
            // Black and white only: the largest values there are.
            let data: Vec<u8> =
                (0..w * 9).map(|_| if g.uniform() < 0.5 { 0 } else { 255 }).collect();
            let luma = Luma::U8 { data: &data, channels: 1, width_px: w, height_px: 9 };
            let plane = Plane::from_fn(w, 9, Tone::Encoded, |x, y| f32::from(data[y * w + x]));
            let want = laplacian_variance(&plane).unwrap();
            approx::assert_relative_eq!(plain_lap_var(&luma, 1), want, max_relative = 1e-9);
        }
    }
}
