//! Noise of one flat spot, quick enough for every frame of a clip.
//!
//! The variance of central differences about the spot's own tilt, which for white noise is twice
//! half of its variance along each axis, so the sum of both axes reads it directly (gain
//! [`super::band_noise::WHITE_GAINS`]). Where a codec has smoothed the noise this reads low: it
//! compares frames with each other, it is no figure of the sensor.

use super::band_noise::WHITE_GAINS;
use crate::core::Luma;

/// Standard deviation in 8-bit steps, from the inner part of a square (one sample of rim is looked
/// at). `None` for squares of fewer than 8 samples a side, and where black or white is touched.
pub fn spot_sigma_dn(square: &Luma<'_>) -> Option<f64> {
    let (w, h) = (square.width_px(), square.height_px());
    if w < 8 || h < 8 {
        return None;
    }
    let mut rows: Vec<Vec<i16>> = vec![vec![0; w]; h];
    for (y, row) in rows.iter_mut().enumerate() {
        square.row_eighths(y, 0, row);
    }
    let (low, high) = rows.iter().flatten().fold((i16::MAX, 0), |b, v| (b.0.min(*v), b.1.max(*v)));
    if low <= 0 || high >= 2040 {
        return None;
    }
    let (mut n, mut sums, mut squares) = (0f64, [0f64; 2], 0f64);
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            let gx = f64::from(rows[y][x + 1] - rows[y][x - 1]) / 16.0;
            let gy = f64::from(rows[y + 1][x] - rows[y - 1][x]) / 16.0;
            sums[0] += gx;
            sums[1] += gy;
            squares += gx * gx + gy * gy;
            n += 1.0;
        }
    }
    let tilt = (sums[0] / n).powi(2) + (sums[1] / n).powi(2);
    Some(((squares / n - tilt).max(0.0) / WHITE_GAINS[0][0]).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    #[test]
    fn white_noise_on_a_slope_is_read() {
        let (mut g, mut sum) = (SplitMix64::new(8), 0.0);
        for _ in 0..20 {
            let data: Vec<u16> = (0..34 * 34)
                .map(|i| {
                    let dn = 80.0 + 0.4 * f64::from(i % 34) + 3.0 * g.normal();
                    (dn * 257.0) as u16
                })
                .collect();
            let square = Luma::U16 { data: &data, width_px: 34, height_px: 34 };
            sum += spot_sigma_dn(&square).unwrap() / 20.0;
        }
        assert!((sum / 3.0 - 1.0).abs() < 0.03, "{sum}");
        let white = vec![u16::MAX; 34 * 34];
        assert_eq!(spot_sigma_dn(&Luma::U16 { data: &white, width_px: 34, height_px: 34 }), None);
    }
}
