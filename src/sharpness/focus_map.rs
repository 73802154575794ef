//! The focus map: blur and ranking energy tile by tile.
//!
//! Every tile is looked at on levels 2 and 1; level 0, which costs most, only where level 1 says
//! that it has something to add, and on a choice of quiet tiles for its noise.

use serde::{Deserialize, Serialize};

use super::band_noise::{BandNoise, LevelNoise, level_noise, quietest_by_tone};
use super::blur::{self, RidgeRatio, ridge_ratio, sigma_of_ratio};
use super::blur_correction::{CellReading, correct};
use super::cells::{self, CellStats, HALO, Squares};
use super::pyramid::{Pyramid, cut_level0};
use crate::core::{Flag, Luma, Measured};

/// Side of a tile, px of the picture.
pub const TILE_PX: usize = 32;
/// Blur up to which a level is the right one to measure it on, px.
const RESOLVES_PX: [f64; 3] = [1.5, 3.0, f64::INFINITY];
/// Edge over noise that a level must show to decide over a coarser one.
const CLEAR_SNR: f64 = 8.0;
/// A level cannot resolve blur below this share of its sampling distance.
const BOUND_SHARE: f64 = 0.5;
/// What not knowing edges from textures (see [`crate::sharpness::blur`]) and their scatter from tile to tile add to
/// the error of blur, as a share of it.
const MODEL_SCATTER: f64 = 0.20;

/// Largest error of ln(blur) at which a value is told; above it only a bound.
const MAX_ERROR_LN: f64 = 0.25;
/// A bound lies this many errors above the reading.
const BOUND_ERRORS: f64 = 2.0;
/// Margin on the switch to level 0, so that tiles near it are ready whatever noise is taken.
const READY_PX: f64 = 2.0;
/// Share of the noise in the quietest tiles that any model of the frame or burst will exceed.
const MIN_SHARE: f64 = 0.5;
/// Share and least number of quiet tiles, by tone, on which level 0 noise is read.
const QUIET_0: (f64, usize) = (0.04, 12);
/// The state of one tile.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Tile {
    /// Blur, px, with one standard error.
    Blur {
        /// Blur, px.
        sigma_px: f32,
        /// One standard error, px.
        std_err_px: f32,
    },
    /// Noise hides the finer scales: blur is at most this, px.
    Bound(f32),
    /// Too little structure.
    NoTexture,
}

impl Tile {
    /// Blur at its edges, or the bound that they allow, px.
    pub fn edge_px(&self) -> Option<f64> {
        match *self {
            Tile::Blur { sigma_px, .. } => Some(f64::from(sigma_px)),
            Tile::Bound(px) => Some(f64::from(px)),
            Tile::NoTexture => None,
        }
    }

    /// The blur, where there is a value.
    pub fn sigma_px(&self) -> Option<f32> {
        match self {
            Tile::Blur { sigma_px, .. } => Some(*sigma_px),
            _ => None,
        }
    }

    /// The tile as a measured value with its flags.
    pub fn measured(&self) -> Option<Measured> {
        match *self {
            Tile::Blur { sigma_px, std_err_px } => {
                let mut m = Measured::new(f64::from(sigma_px), f64::from(std_err_px), 1)?;
                if f64::from(sigma_px) <= blur::FLOOR_PX {
                    m.flags.raise(Flag::AtFloor);
                }
                Some(m)
            }
            Tile::Bound(px) => {
                let mut m = Measured::without_error(f64::from(px), 1)?;
                m.flags.raise(Flag::NoiseHides);
                Some(m)
            }
            Tile::NoTexture => None,
        }
    }
}

/// Sums of all tiles of a frame, before a noise model is chosen.
#[derive(Debug, Clone, Default)]
pub struct FrameCells {
    /// Tiles across.
    pub cols: usize,
    /// Tiles down.
    pub rows: usize,
    /// Tiles at level 1, row-major.
    pub level1: Vec<CellStats>,
    /// Tiles at level 2, row-major.
    pub level2: Vec<CellStats>,
    /// Tiles at level 0 where needed, by index, in rising order.
    pub level0: Vec<(u32, CellStats)>,
}

/// A lower bound of a level's noise, known before any model is chosen.
struct LeastNoise(Option<LevelNoise>);

impl LeastNoise {
    /// Peak energy below which no model will see an edge.
    fn at(&self, mean: f32) -> f32 {
        (blur::MIN_SNR.powi(2) * self.noise(mean).0) as f32
    }

    /// Lower bounds of the smoothed gradient's variance and of the covariance.
    fn noise(&self, mean: f32) -> (f64, f64) {
        self.0
            .as_ref()
            .map_or((0.0, 0.0), |n| (MIN_SHARE * n.n2.at(mean), MIN_SHARE * n.nc.at(mean)))
    }
}

/// The lower bound for a level: a share of what its quietest tiles hold.
fn least_noise(cells: &[CellStats], level: usize) -> LeastNoise {
    LeastNoise(level_noise(cells, level))
}

/// A tile's upper left sample at a level, moved inwards at the borders.
fn corner(index: usize, side: usize, extent: usize) -> usize {
    (index * side).clamp(HALO, extent - side - HALO)
}

impl FrameCells {
    /// Sums of every tile of a frame. Frames are at least 64 px on each side; `None` below that.
    pub fn measure(luma: &Luma<'_>, pyramid: &Pyramid) -> Option<FrameCells> {
        let (width, height) = (luma.width_px(), luma.height_px());
        if width < 2 * TILE_PX || height < 2 * TILE_PX {
            return None;
        }
        let (cols, rows) = (width / TILE_PX, height / TILE_PX);
        let places: Vec<(usize, usize)> =
            (0..rows).flat_map(|r| (0..cols).map(move |c| (c, r))).collect();
        let (l1, l2) = (&pyramid.level1, &pyramid.level2);
        let at1 = |(c, r): (usize, usize)| (corner(c, 16, l1.width), corner(r, 16, l1.height));
        let at2 = |(c, r): (usize, usize)| (corner(c, 8, l2.width), corner(r, 8, l2.height));
        let mut level1: Vec<CellStats> = places
            .iter()
            .map(|p| at1(*p))
            .map(|(x, y)| cells::energies::<16>(l1, &pyramid.smooth1, x, y))
            .collect();
        let mut level2: Vec<CellStats> = places
            .iter()
            .map(|p| at2(*p))
            .map(|(x, y)| cells::energies::<8>(l2, &pyramid.smooth2, x, y))
            .collect();
        let floor1 = least_noise(&level1, 1);
        let floor2 = least_noise(&level2, 2);
        let mut squares = Squares::default();
        for (place, (c1, c2)) in places.iter().zip(level1.iter_mut().zip(&mut level2)) {
            if c1.peak2 > floor1.at(c1.mean) {
                let (x, y) = at1(*place);
                cells::ridge::<16>(l1, &pyramid.smooth1, x, y, c1, &mut squares);
            }
            if c2.peak2 > floor2.at(c2.mean) {
                let (x, y) = at2(*place);
                cells::ridge::<8>(l2, &pyramid.smooth2, x, y, c2, &mut squares);
            }
        }
        let mut wanted = vec![false; cols * rows];
        for bin in quietest_by_tone(&level1, QUIET_0.0, QUIET_0.1) {
            for i in bin {
                wanted[i] = true;
            }
        }
        // Which tiles may ask for level 0 is judged with less noise correction than any model
        // will make, and correction only makes blur larger: nothing needed is left out.
        for (i, c) in level1.iter().enumerate() {
            if c.ridge_n >= blur::MIN_RIDGE[1] {
                let n = f64::from(c.ridge_n);
                let (n2, nc) = floor1.noise(c.mean);
                let ratio = (f64::from(c.s12) - n * nc) / (f64::from(c.s22) - n * n2);
                if sigma_of_ratio(1, ratio).0 < READY_PX {
                    wanted[i] = true;
                }
            }
        }
        let level0 = wanted
            .iter()
            .enumerate()
            .filter(|(_, w)| **w)
            .map(|(i, _)| (i as u32, level0_cell(luma, i % cols, i / cols, &mut squares)))
            .collect();
        Some(FrameCells { cols, rows, level1, level2, level0 })
    }

    /// The frame's own noise.
    pub fn noise(&self) -> Option<BandNoise> {
        let zero: Vec<CellStats> = self.level0.iter().map(|(_, c)| *c).collect();
        BandNoise::measure([&zero, &self.level1, &self.level2])
    }

    /// The levels of every tile, row-major.
    fn levels(&self) -> impl Iterator<Item = [Option<&CellStats>; 3]> {
        let mut zero = self.level0.iter().peekable();
        (0..self.level1.len()).map(move |i| {
            while zero.peek().is_some_and(|(at, _)| (*at as usize) < i) {
                zero.next();
            }
            let level0 = zero.peek().filter(|(at, _)| *at as usize == i).map(|(_, c)| c);
            [level0, Some(&self.level1[i]), Some(&self.level2[i])]
        })
    }

    /// What the levels read on every tile, row-major.
    pub fn readings(&self, noise: &BandNoise) -> impl Iterator<Item = [Option<CellReading>; 3]> {
        self.levels().map(|levels| readings(levels, noise, 1.0))
    }

    /// The map under a noise model.
    pub fn map(&self, noise: &BandNoise) -> FocusMap {
        let tiles = self.levels().map(|levels| edge_tile(levels, noise)).collect();
        let corrected_tiles = self.readings(noise).map(|r| of_readings(&r)).collect();
        FocusMap {
            cols: self.cols,
            rows: self.rows,
            tiles,
            corrected_tiles,
            lap_var: self.lap_var(noise),
        }
    }

    /// Noise-corrected Laplacian variance of every tile at level 1 over its mean squared, times
    /// 1e6; negative where noise alone explains more than is there.
    pub fn lap_var(&self, noise: &BandNoise) -> Vec<f32> {
        let own = &noise.levels[1].lap;
        self.over_mean_squared(|c| f64::from(c.lap) - own.at(c.mean))
    }

    /// What noise adds to the Laplacian variance of every tile, in the same unit.
    pub fn noise_lap_var(&self, noise: &BandNoise) -> Vec<f32> {
        let own = &noise.levels[1].lap;
        self.over_mean_squared(|c| own.at(c.mean))
    }

    fn over_mean_squared(&self, energy: impl Fn(&CellStats) -> f64) -> Vec<f32> {
        let of = |c: &CellStats| (energy(c) / f64::from(c.mean.max(1.0)).powi(2) * 1e6) as f32;
        self.level1.iter().map(of).collect()
    }
}

fn level0_cell(luma: &Luma<'_>, col: usize, row: usize, squares: &mut Squares) -> CellStats {
    let x0 = corner(col, TILE_PX, luma.width_px());
    let y0 = corner(row, TILE_PX, luma.height_px());
    // Two more samples on each side, so that smoothing sees real neighbours everywhere.
    let reach = HALO + 2;
    let (cx, cy) = (x0.saturating_sub(reach), y0.saturating_sub(reach));
    let side = TILE_PX + 2 * reach;
    let cut = cut_level0(luma, cx, cy, side, side);
    cells::cell::<TILE_PX>(&cut.level, &cut.smooth, x0 - cx, y0 - cy, squares)
}

/// Blur of a tile, or of `tiles` pooled ones, from its levels (see [`super::blur_correction`]).
pub fn tile(levels: [Option<&CellStats>; 3], noise: &BandNoise, tiles: f64) -> Tile {
    of_readings(&readings(levels, noise, tiles))
}

fn readings(
    levels: [Option<&CellStats>; 3],
    noise: &BandNoise,
    tiles: f64,
) -> [Option<CellReading>; 3] {
    let one = |l: usize| levels[l].and_then(|c| CellReading::of(c, &noise.levels[l], l, tiles));
    [one(0), one(1), one(2)]
}

fn of_readings(readings: &[Option<CellReading>; 3]) -> Tile {
    let Some(fit) = correct(readings) else { return Tile::NoTexture };
    if fit.error_ln > MAX_ERROR_LN {
        let most = fit.sigma_px * (BOUND_ERRORS * fit.error_ln).exp();
        return Tile::Bound(most.min(blur::CEILING_PX) as f32);
    }
    Tile::Blur { sigma_px: fit.sigma_px as f32, std_err_px: (fit.sigma_px * fit.error_ln) as f32 }
}

/// Blur of edges, for verdicts: fine to coarse, the finest level that sees
/// edges clearly and can resolve what it sees decides.
///
/// Frames of one subject are compared by this, not by [`tile`]: on soft stripes, which are neither
/// edges nor leaves, the fit reads a tenth of the frames as sharp (measured: 73 of 81 frames off
/// the plane found, 78 with this), and what both get wrong in all frames alike cancels.
///
/// Coming from the coarse side, fine texture on smooth shading (a facetted eye) would be judged by
/// the shading.
pub fn edge_tile(levels: [Option<&CellStats>; 3], noise: &BandNoise) -> Tile {
    let mut chosen: Option<(usize, RidgeRatio, f64, f64)> = None;
    for (l, cell) in levels.iter().enumerate() {
        let Some(r) = cell.and_then(|c| ridge_ratio(c, &noise.levels[l], l)) else { continue };
        let (sigma, slope) = sigma_of_ratio(l, r.ratio);
        // A level that sees clearly what it can resolve decides; one that does not is kept only
        // as long as no coarser one sees anything.
        chosen = Some((l, r, sigma, slope));
        if r.snr > CLEAR_SNR && sigma < RESOLVES_PX[l] {
            break;
        }
    }
    let Some((level, r, sigma, slope)) = chosen else { return Tile::NoTexture };
    let step = f64::from(1u32 << level);
    if level > 0 && sigma < BOUND_SHARE * step {
        return Tile::Bound((BOUND_SHARE * step) as f32);
    }
    let std_err = ((slope * r.std_err).powi(2) + (MODEL_SCATTER * sigma).powi(2)).sqrt();
    Tile::Blur { sigma_px: sigma as f32, std_err_px: std_err as f32 }
}

/// The map of a frame: tiles row-major in the file's own orientation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FocusMap {
    /// Tiles across.
    pub cols: usize,
    /// Tiles down.
    pub rows: usize,
    /// The tiles as their edges read: what verdicts, clusters of sharp tiles and places go by.
    pub tiles: Vec<Tile>,
    /// The tiles corrected for texture and noise, as people see them.
    pub corrected_tiles: Vec<Tile>,
    /// Noise-corrected Laplacian variance at level 1 over the mean squared, times 1e6; negative
    /// where noise alone explains more than is there.
    pub lap_var: Vec<f32>,
}

impl FocusMap {
    /// Tile at a column and row.
    pub fn at(&self, col: usize, row: usize) -> Option<&Tile> {
        (col < self.cols).then(|| self.tiles.get(row * self.cols + col)).flatten()
    }
}
