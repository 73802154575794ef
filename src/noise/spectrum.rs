//! Radial power spectrum of a region, and the noise spectrum it is compared with.
//!
//! Tiles of 64 px at steps of 32 px, plane subtracted, Hann window, mean periodogram in rings of
//! 1/64 cycle per pixel up to 0.5. Assumes the region is of one kind; needs at least one tile
//! (64 px) and is steady from 256 px on. Welch, IEEE Trans. Audio Electroacoust. 15:70 (1967),
//! DOI 10.1109/TAU.1967.1161901.

use super::periodogram::Periodogram;
use crate::core::{FlagSet, Plane};

/// Rings from 0 to 0.5 cycles per pixel.
pub const RINGS: usize = 32;
/// Side of a tile, px.
pub const TILE_PX: usize = 64;
const STEP_PX: usize = 32;
/// First ring used: the two below hold the subtracted plane and the window's own width
/// (1.5/64 cycles per pixel).
pub const FIRST_RING: usize = 2;

/// Noise slope (low over high frequencies) beyond which the camera has smoothed the noise: plain
/// JPEG compression of white noise stays below it down to quality 80.
pub const REDUCED_SLOPE: f64 = 4.0;

/// Frequency at the middle of a ring, cycles per pixel.
pub fn ring_cy_px(ring: usize) -> f64 {
    (ring as f64 + 0.5) / TILE_PX as f64
}

/// Mean power density per ring, scaled so that white noise of variance v has density v.
#[derive(Debug, Clone)]
pub struct Spectrum {
    /// Mean density per ring, (sample unit)².
    pub power: [f64; RINGS],
    /// Independent frequencies per ring in one tile: each of the mirrored pairs once.
    pub count: [f64; RINGS],
    /// Tiles averaged.
    pub tiles: u32,
    pub(crate) per_tile: Vec<[f32; RINGS]>,
}

impl Spectrum {
    /// The spectrum of a region; `None` when no tile fits.
    pub fn of(plane: &Plane) -> Option<Spectrum> {
        Spectrum::of_tiles(plane, &[])
    }

    /// Upper left corners of the tiles of a plane of that size, row by row.
    pub fn tile_corners(width_px: usize, height_px: usize) -> Vec<(usize, usize)> {
        let places = |size: usize| size.checked_sub(TILE_PX).map_or(0, |s| s / STEP_PX + 1);
        let (nx, ny) = (places(width_px), places(height_px));
        (0..nx * ny).map(|i| (i % nx * STEP_PX, i / nx * STEP_PX)).collect()
    }

    /// The spectrum of those tiles of a region for which `keep` is true, in the order of
    /// [`Self::tile_corners`]; of all when `keep` is empty. `None` when no tile is left.
    pub fn of_tiles(plane: &Plane, keep: &[bool]) -> Option<Spectrum> {
        let corners = Spectrum::tile_corners(plane.width_px, plane.height_px);
        let mut plan = Periodogram::new(TILE_PX);
        let mut rings: Vec<(usize, usize, f32)> = Vec::with_capacity(plan.len());
        let mut weight = [0.0f32; RINGS];
        plan.each(|i, radius, w| {
            let ring = (radius * TILE_PX as f64).floor() as usize;
            if ring < RINGS {
                rings.push((i, ring, w as f32));
                weight[ring] += w as f32;
            }
        });
        let mut per_tile = Vec::with_capacity(corners.len());
        let mut tile = vec![0.0; TILE_PX * TILE_PX];
        let mut out = vec![0.0; plan.len()];
        for (i, (x0, y0)) in corners.into_iter().enumerate() {
            if keep.get(i) == Some(&false) {
                continue;
            }
            for (y, row) in tile.chunks_exact_mut(TILE_PX).enumerate() {
                row.copy_from_slice(&plane.row(y0 + y)[x0..x0 + TILE_PX]);
            }
            plan.power(&tile, &mut out);
            let mut sums = [0.0f32; RINGS];
            for (i, ring, w) in &rings {
                sums[*ring] += w * out[*i];
            }
            per_tile.push(std::array::from_fn(|r| sums[r] / weight[r]));
        }
        if per_tile.is_empty() {
            return None;
        }
        let mut power = [0.0; RINGS];
        for tile in &per_tile {
            for (p, t) in power.iter_mut().zip(tile) {
                *p += f64::from(*t) / per_tile.len() as f64;
            }
        }
        Some(Spectrum {
            power,
            count: weight.map(|w| f64::from(w) / 2.0),
            tiles: per_tile.len() as u32,
            per_tile,
        })
    }

    /// The mean without one tile, for the jackknife.
    pub(crate) fn power_without(&self, tile: usize) -> [f64; RINGS] {
        let n = self.per_tile.len() as f64;
        std::array::from_fn(|r| (self.power[r] * n - f64::from(self.per_tile[tile][r])) / (n - 1.0))
    }
}

/// Noise power density in the same rings and unit as a [`Spectrum`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseSpectrum {
    /// Density per ring, (sample unit)².
    pub power: [f64; RINGS],
    /// One standard error of the whole curve, as a share of it.
    pub rel_err: f64,
    /// How much steeper than white it is: low over high frequencies (1 for white noise).
    pub slope: f64,
    /// What makes it shaky.
    pub flags: FlagSet,
}

impl NoiseSpectrum {
    /// White noise of a known standard deviation.
    pub fn white(sigma: f64, rel_err_of_sigma: f64) -> Self {
        NoiseSpectrum {
            power: [sigma * sigma; RINGS],
            rel_err: 2.0 * rel_err_of_sigma,
            slope: 1.0,
            flags: FlagSet::EMPTY,
        }
    }
}
