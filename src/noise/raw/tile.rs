//! Tiles of a plane in a low and a high band: what a place is chosen by, and what is measured there.

use crate::core::{Plane, Tone};

/// Side of a tile, samples of one colour plane.
pub(super) const SIDE: usize = 8;
/// Step of the tiles where the frame is small enough to look at all.
const STEP: usize = 4;
/// Tiles looked at in all planes together: beyond it the step grows. 5 % of a twelfth of them still
/// give a point of the curve to 0.3 %.
const MAX_TILES: usize = 400_000;
/// A tile with a sample at or above this share of saturation is left out.
pub(super) const CLIPPED: f32 = 0.95;
/// First sum of indices of the high band.
const HIGH_FROM: usize = 9;
/// Coefficients in the high band.
pub(super) const HIGH_COUNT: f64 = 21.0;
/// Coefficients without the constant one.
pub(super) const ALL_COUNT: f64 = 63.0;

/// Fewer tiles than this tell nothing.
pub(super) const MIN_TILES: usize = 100;

/// One tile: tone, what it is chosen by, what it measures.
#[derive(Debug, Clone, Copy)]
pub(super) struct NoiseTile {
    pub(super) level: f64,
    pub(super) choose: f64,
    pub(super) measure: f64,
}

pub(super) type TileSamples = [f32; SIDE * SIDE];

/// Distance between tiles so that about [`MAX_TILES`] are looked at in all planes.
pub(super) fn step_for(width: usize, height: usize, planes: usize) -> usize {
    let at_step = (width / STEP) * (height / STEP) * planes;
    let over = (at_step as f64 / MAX_TILES as f64).sqrt().max(1.0);
    (STEP as f64 * over).ceil() as usize
}

/// Every usable tile of the planes.
pub(super) fn tiles(
    planes: &[Plane],
    look: impl Fn(&TileSamples, &Plane) -> NoiseTile,
) -> Option<Vec<NoiseTile>> {
    let mut found = Vec::new();
    for plane in planes {
        if plane.tone != Tone::Linear {
            return None;
        }
        let step = step_for(plane.width_px, plane.height_px, planes.len());
        each_tile(plane, step, |_, _, samples| {
            let clip = CLIPPED * plane.white_dn;
            if samples.iter().all(|v| *v < clip) {
                found.push(look(samples, plane));
            }
        });
    }
    (found.len() >= MIN_TILES).then_some(found)
}

pub(super) fn each_tile(plane: &Plane, step: usize, mut f: impl FnMut(usize, usize, &TileSamples)) {
    let mut samples = [0.0; SIDE * SIDE];
    for y0 in (0..(plane.height_px + 1).saturating_sub(SIDE)).step_by(step) {
        for x0 in (0..(plane.width_px + 1).saturating_sub(SIDE)).step_by(step) {
            for (y, row) in samples.chunks_exact_mut(SIDE).enumerate() {
                row.copy_from_slice(&plane.row(y0 + y)[x0..x0 + SIDE]);
            }
            f(x0, y0, &samples);
        }
    }
}

/// Orthonormal cosine transform of a tile (DCT-II).
pub(super) fn cosine(tile: &TileSamples) -> TileSamples {
    let mut half = [0.0f32; SIDE * SIDE];
    let mut out = [0.0f32; SIDE * SIDE];
    for y in 0..SIDE {
        for k in 0..SIDE {
            half[y * SIDE + k] = (0..SIDE).map(|x| BASIS[k][x] * tile[y * SIDE + x]).sum();
        }
    }
    for l in 0..SIDE {
        for y in 0..SIDE {
            for k in 0..SIDE {
                out[l * SIDE + k] += BASIS[l][y] * half[y * SIDE + k];
            }
        }
    }
    out
}

/// Rows of the orthonormal DCT-II of length 8: √(1/8), then ½·cos((2x + 1)kπ/16).
static BASIS: [[f32; SIDE]; SIDE] = {
    // ½·cos(jπ/16) for j = 0 to 8.
    const HALF_COS: [f32; 9] = [
        0.5,
        0.490_392_64,
        0.461_939_77,
        0.415_734_8,
        0.353_553_4,
        0.277_785_12,
        0.191_341_72,
        0.097_545_16,
        0.0,
    ];
    let mut basis = [[HALF_COS[4]; SIDE]; SIDE];
    let mut k = 1;
    while k < SIDE {
        let mut x = 0;
        while x < SIDE {
            let j = (2 * x + 1) * k % 32;
            let j = if j > 16 { 32 - j } else { j };
            basis[k][x] = if j > 8 { -HALF_COS[16 - j] } else { HALF_COS[j] };
            x += 1;
        }
        k += 1;
    }
    basis
};

/// Mean squares of the low band (without the constant) and of the high band.
pub(super) fn bands(c: &TileSamples) -> (f64, f64) {
    let (mut low, mut high) = (0.0f64, 0.0f64);
    for l in 0..SIDE {
        for k in 0..SIDE {
            let square = f64::from(c[l * SIDE + k]).powi(2);
            if k + l >= HIGH_FROM {
                high += square;
            } else if k + l > 0 {
                low += square;
            }
        }
    }
    (low / (ALL_COUNT - HIGH_COUNT), high / HIGH_COUNT)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_transform_is_orthonormal_and_counts_its_bands() {
        for (i, p) in BASIS.iter().enumerate() {
            for (j, q) in BASIS.iter().enumerate() {
                let dot: f32 = p.iter().zip(q).map(|(a, b)| a * b).sum();
                approx::assert_abs_diff_eq!(dot, if i == j { 1.0 } else { 0.0 }, epsilon = 1e-6);
            }
        }
        let high = (0..64).filter(|i| i % 8 + i / 8 >= HIGH_FROM).count();
        approx::assert_abs_diff_eq!(high as f64, HIGH_COUNT);
    }
}
