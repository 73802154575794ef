//! Blur from the ratio of gradients before and after smoothing.
//!
//! Estimates `blur_sigma_px`: the standard deviation, in pixels of the picture, of the Gaussian
//! that blurs as the optics, the pixel box and any movement do together. For an ideal edge the
//! ratio on its ridge is √((σ²+s2²)/(σ²+s1²)), s1 and s2 being the filters' own widths (Zhuo &
//! Sim 2011, DOI 10.1016/j.patcog.2011.03.009); the tables hold the ratios of the discrete
//! filters. Range 0.35 (at or beyond the resolution of the file) to 10 px. What one clean edge
//! reads is not what textures and noise do: [`super::blur_correction`] takes it from here. Edge-free
//! textures (grass, gravel) read low: they can be ranked, not quoted.

use super::band_noise::LevelNoise;
use super::cells::CellStats;

/// Blur at which the tables are given, px.
const SIGMA: [f64; 18] =
    [0.35, 0.42, 0.5, 0.6, 0.7, 0.85, 1.0, 1.2, 1.5, 1.8, 2.2, 2.6, 3.2, 4.0, 5.0, 6.5, 8.0, 10.0];
/// Ratio on the ridge at those blurs, by level.
const RATIO: [[f64; 18]; 3] = [
    [
        1.6866, 1.6481, 1.5979, 1.5363, 1.4771, 1.3994, 1.3327, 1.2621, 1.1908, 1.1430, 1.1036,
        1.0782, 1.0548, 1.0358, 1.0232, 1.0138, 1.0092, 1.0059,
    ],
    [
        1.6036, 1.5954, 1.5851, 1.5701, 1.5539, 1.5264, 1.4966, 1.4567, 1.3965, 1.3407, 1.2766,
        1.2267, 1.1711, 1.1244, 1.0848, 1.0538, 1.0364, 1.0237,
    ],
    [
        1.6110, 1.6092, 1.6069, 1.6036, 1.5994, 1.5859, 1.5749, 1.5624, 1.5401, 1.5156, 1.4798,
        1.4376, 1.3815, 1.3154, 1.2458, 1.1745, 1.1319, 1.0902,
    ],
];
/// The smallest and largest blur that is told.
pub const FLOOR_PX: f64 = SIGMA[0];
/// See [`FLOOR_PX`].
pub const CEILING_PX: f64 = SIGMA[17];
/// Scale variance of the gradient at each level: v + 4^l/3 with v = 0, 1, 5.
pub const S1_SQUARED: [f64; 3] = [1.0 / 3.0, 1.0 + 4.0 / 3.0, 5.0 + 16.0 / 3.0];

/// Between lone edges, which the tables read at 1.00, 1.08 and 1.11 of the truth on the three
/// levels, and textures of overlapping shapes, read at 0.82, 0.87 and 0.89: measured on patches of
/// known blur. For readings by direction, where the sums that tell the two apart
/// ([`super::blur_correction`]) are not taken.
const BALANCE: [f64; 3] = [1.05, 1.0, 0.97];

/// The smoothed gradient's scale variance at each level: [`S1_SQUARED`] and the binomial's own.
pub fn s2_squared(level: usize) -> f64 {
    S1_SQUARED[level] + f64::from(1u32 << (2 * level))
}

/// Blur of one clean edge for a ridge ratio at a level, px, with the slope dσ/dR (negative).
pub fn sigma_in_table(level: usize, ratio: f64) -> (f64, f64) {
    let (sigma, slope) = looked_up(level, ratio);
    (sigma.clamp(FLOOR_PX, CEILING_PX), slope)
}

/// The table's blur, carried on in a straight line beyond its ends, and its slope.
fn looked_up(level: usize, ratio: f64) -> (f64, f64) {
    let table = &RATIO[level];
    let last = table.len() - 1;
    let at = table.partition_point(|r| *r > ratio).clamp(1, last);
    let (r0, r1) = (table[at - 1], table[at]);
    let slope = (SIGMA[at] - SIGMA[at - 1]) / (r1 - r0);
    (SIGMA[at - 1] + slope * (ratio - r0), slope)
}

/// Blur for a ridge ratio at a level where nothing tells an edge from a texture, px, with the
/// slope dσ/dR there (negative).
pub fn sigma_of_ratio(level: usize, ratio: f64) -> (f64, f64) {
    let (sigma, slope) = looked_up(level, ratio);
    let balance = BALANCE[level];
    ((balance * sigma).clamp(FLOOR_PX, CEILING_PX), balance * slope)
}

/// A ratio measured on ridge pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RidgeRatio {
    /// Noise-corrected ratio.
    pub ratio: f64,
    /// Its standard error.
    pub std_err: f64,
    /// Peak gradient over noise (amplitudes).
    pub snr: f64,
    /// Ridge pixels.
    pub n: f64,
    /// Sum over them of the squared smoothed gradient, less noise, 8-bit steps squared.
    pub ridge_energy: f64,
}

/// Least number of ridge pixels, by level.
pub const MIN_RIDGE: [f32; 3] = [8.0, 6.0, 4.0];
/// Least peak gradient over noise.
pub const MIN_SNR: f64 = 5.0;
/// Being the largest of its neighbours, a ridge pixel holds more than its share of noise.
const NOISE_ON_RIDGE: f64 = 1.6;
/// Ridge pixels along one edge are not independent: their errors are taken this much larger.
const RIDGE_CORRELATION: f64 = 2.5;

/// The ridge ratio of a tile (or of several pooled), or `None` where there is too little edge.
pub fn ridge_ratio(cell: &CellStats, noise: &LevelNoise, level: usize) -> Option<RidgeRatio> {
    let n2 = noise.n2.at(cell.mean);
    let nc = noise.nc.at(cell.mean);
    let snr = (f64::from(cell.peak2) / n2).sqrt();
    if snr <= MIN_SNR || cell.ridge_n < MIN_RIDGE[level] {
        return None;
    }
    let n = f64::from(cell.ridge_n);
    let s22 = f64::from(cell.s22) - NOISE_ON_RIDGE * n * n2;
    let s12 = f64::from(cell.s12) - NOISE_ON_RIDGE * n * nc;
    if s22 <= 0.0 || s12 <= 0.0 {
        return None;
    }
    let ratio = s12 / s22;
    let raw = f64::from(cell.s12) / f64::from(cell.s22);
    let spread =
        f64::from(cell.q11) - 2.0 * raw * f64::from(cell.q12) + raw * raw * f64::from(cell.q22);
    let std_err = (RIDGE_CORRELATION * spread.max(0.0)).sqrt() / s22;
    Some(RidgeRatio { ratio, std_err, snr, n, ridge_energy: s22 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_fall_and_invert() {
        for (level, table) in RATIO.iter().enumerate() {
            assert!(table.windows(2).all(|w| w[0] > w[1]));
            for (sigma, ratio) in SIGMA.iter().zip(table) {
                let want = (BALANCE[level] * sigma).clamp(FLOOR_PX, CEILING_PX);
                approx::assert_abs_diff_eq!(sigma_of_ratio(level, *ratio).0, want, epsilon = 1e-9);
            }
        }
        assert!((sigma_of_ratio(0, 2.0).0 - FLOOR_PX).abs() < 1e-12);
        assert!((sigma_of_ratio(0, 1.0).0 - CEILING_PX).abs() < 1e-12);
    }
}
