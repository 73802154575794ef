//! Everything measured in the box around the subject point.
//!
//! The box is small (96 px: an eye), so its sums are made afresh from the pixels around the
//! followed position instead of from the frame's tile grid: the same spot is compared in every
//! frame, wherever it falls on the grid.

use super::band_noise::BandNoise;
use super::cells::{self, CellStats};
use super::direction::{self, LevelBox, Profile};
use super::focus_map::{self, Tile};
use super::pyramid::{Level, Pyramid};
use crate::base::{Flag, FlagSet, Luma, Measured};

/// Side of the box in which blur and energy are measured, px.
pub const BOX_PX: usize = 96;
/// Side of the larger box in which directions are measured, px.
pub const DIRECTION_BOX_PX: usize = 160;
/// Pixels around the subject that [`SubjectBox::measure`] wants to see, px on each side.
pub const REACH_PX: usize = 128;
/// Blur at level 1 below which directions are read on level 0, px.
const DIRECTION_LEVEL_0_PX: f32 = 1.2;
/// Tile side at level 0 within the box.
const TILE: usize = focus_map::TILE_PX;
/// Tiles on a side of the box.
const TILES: usize = BOX_PX / TILE;
/// Neighbouring Laplacian values are not independent: this many share one.
const LAP_SHARED: f64 = 3.0;

/// What the box around the subject holds, under one noise model.
#[derive(Debug, Clone)]
pub struct SubjectBox {
    /// Blur at edges.
    pub tile: Tile,
    /// Ranking energy: noise-corrected Laplacian variance at level 1 over mean squared, times
    /// 1e6; negative when noise alone explains more than is there.
    pub energy: f64,
    /// One standard error of the energy.
    pub energy_std_err: f64,
    /// The part of the uncorrected energy that noise explains, 0..1 and above.
    pub noise_share: f64,
    /// Mean luma, 8-bit steps.
    pub mean_dn: f64,
    /// Share of pixels clipped or beside clipped ones.
    pub clipped: f64,
    /// Blur squared by direction on level 0 and level 1.
    pub profiles: [Profile; 2],
    /// Which level the directions are best read on.
    pub direction_level: usize,
    /// Flags.
    pub flags: FlagSet,
}

/// Sums of several tiles as if they were one.
fn pooled(tiles: &[CellStats]) -> CellStats {
    let n = tiles.len() as f32;
    let mut all = CellStats::default();
    for t in tiles {
        all.mean += t.mean / n;
        all.peak2 = all.peak2.max(t.peak2);
        all.ridge_n += t.ridge_n;
        all.s12 += t.s12;
        all.s22 += t.s22;
        all.q11 += t.q11;
        all.q12 += t.q12;
        all.q22 += t.q22;
        all.clipped += t.clipped / n;
    }
    all
}

fn tiles<const SIDE: usize>(level: &Level, smooth: &Level, x0: usize, y0: usize) -> Vec<CellStats> {
    let inside = |at: usize, extent: usize| at.clamp(cells::HALO, extent - SIDE - cells::HALO);
    (0..TILES * TILES)
        .map(|i| {
            let x = inside(x0 + (i % TILES) * SIDE, level.width);
            let y = inside(y0 + (i / TILES) * SIDE, level.height);
            cells::cell::<SIDE>(level, smooth, x, y)
        })
        .collect()
}

/// Sums around one spot of a picture, before a noise model is chosen.
#[derive(Debug, Clone)]
pub struct SubjectSums {
    level0: Level,
    smooth0: Level,
    pyramid: Pyramid,
    tiles: [Vec<CellStats>; 3],
    /// Corner of the direction box at level 0.
    corner: (usize, usize),
    at_border: bool,
}

impl SubjectSums {
    /// Sums around the spot `x`, `y` (px of `around`).
    ///
    /// `around` is the picture or a cut-out of it that starts at a multiple of 4 px and reaches
    /// [`REACH_PX`] from the spot where the picture does; it is at least 64 px on each side, else
    /// `None`.
    pub fn measure(around: &Luma<'_>, x: f64, y: f64) -> Option<SubjectSums> {
        let (width, height) = (around.width_px(), around.height_px());
        if width < 2 * TILE || height < 2 * TILE {
            return None;
        }
        let corner = |at: f64, side: usize, extent: usize| {
            let free = (at - side as f64 / 2.0) / 4.0;
            let most = extent.saturating_sub(side) / 4;
            let inside = free.round().clamp(0.0, most as f64);
            (inside as usize * 4, (free - inside).abs() > 1.0)
        };
        let (bx, cut_x) = corner(x, BOX_PX, width);
        let (by, cut_y) = corner(y, BOX_PX, height);
        let (dx, _) = corner(x, DIRECTION_BOX_PX, width);
        let (dy, _) = corner(y, DIRECTION_BOX_PX, height);
        let level0 = Level::from_luma(around);
        let smooth0 = level0.smoothed();
        let pyramid = Pyramid::new(around);
        let tiles = [
            tiles::<32>(&level0, &smooth0, bx, by),
            tiles::<16>(&pyramid.level1, &pyramid.smooth1, bx / 2, by / 2),
            tiles::<8>(&pyramid.level2, &pyramid.smooth2, bx / 4, by / 4),
        ];
        Some(SubjectSums {
            level0,
            smooth0,
            pyramid,
            tiles,
            corner: (dx, dy),
            at_border: cut_x || cut_y,
        })
    }

    /// The box under a noise model.
    pub fn under(&self, noise: &BandNoise) -> SubjectBox {
        let pools = [0, 1, 2].map(|l| pooled(&self.tiles[l]));
        let tile = focus_map::tile([Some(&pools[0]), Some(&pools[1]), Some(&pools[2])], noise);
        let mut flags = FlagSet::EMPTY;
        if self.at_border {
            flags.raise(Flag::AtBorder);
        }
        let (mut lap, mut from_noise, mut weight) = (0f64, 0f64, 0f64);
        for t in &self.tiles[1] {
            let kept = f64::from(1.0 - t.clipped);
            lap += kept * f64::from(t.lap);
            from_noise += kept * noise.levels[1].lap.at(t.mean);
            weight += kept;
        }
        if weight > 0.0 {
            lap /= weight;
            from_noise /= weight;
        }
        if pools[1].clipped > 0.0 {
            flags.raise(Flag::Clipped);
        }
        let mean = f64::from(pools[1].mean).max(1.0);
        let scale = 1e6 / (mean * mean);
        let samples = (weight * 256.0 / LAP_SHARED).max(1.0);
        let signal = (lap - from_noise).max(0.0);
        let variance = 2.0 * from_noise * (from_noise + 2.0 * signal) / samples;
        let direction_level = match tile {
            Tile::Blur { sigma_px, .. } if sigma_px < DIRECTION_LEVEL_0_PX => 0,
            _ => 1,
        };
        let side = DIRECTION_BOX_PX;
        let (x0, y0) = self.corner;
        let area = LevelBox { x0, y0, width: side, height: side };
        let half = LevelBox { x0: x0 / 2, y0: y0 / 2, width: side / 2, height: side / 2 };
        let profiles = [
            direction::profile(&self.level0, &self.smooth0, 0, area, &noise.levels[0]),
            direction::profile(
                &self.pyramid.level1,
                &self.pyramid.smooth1,
                1,
                half,
                &noise.levels[1],
            ),
        ];
        SubjectBox {
            tile,
            energy: (lap - from_noise) * scale,
            energy_std_err: variance.sqrt() * scale,
            noise_share: if lap > 0.0 { from_noise / lap } else { 1.0 },
            mean_dn: f64::from(pools[1].mean),
            clipped: f64::from(pools[0].clipped),
            profiles,
            direction_level,
            flags,
        }
    }
}

impl SubjectBox {
    /// Blur at the subject as a measured value.
    pub fn blur_sigma_px(&self) -> Option<Measured> {
        Some(self.tile.measured()?.flagged(self.flags))
    }
}
