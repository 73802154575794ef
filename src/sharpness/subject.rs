//! Everything measured in the box around the subject point.
//!
//! The box is small (96 px: an eye), so its sums are made afresh from the pixels around the
//! followed position instead of from the frame's tile grid: the same spot is compared in every
//! frame, wherever it falls on the grid.

use serde::{Deserialize, Serialize};

use super::band_noise::{BandNoise, WHITE_GAINS};
use super::cells::{self, CellStats, Squares};
use super::direction::{self, DirectionProfile, LevelBox};
use super::focus_map::{self, Tile};
use super::pyramid::{Pyramid, PyramidLevel};
use super::ring_spectrum::BoxSpectra;
use super::smear_spectrum::PatchSpectrum;
use crate::core::{Flag, FlagSet, Luma, Measured, Plane, Tone};
use crate::noise::spectrum::{RINGS, Spectrum, ring_cy_px};

/// Side of the box in which blur and energy are measured, px.
pub const BOX_PX: usize = 96;
/// Sides that the box can be given, px.
pub const BOX_RANGE_PX: std::ops::RangeInclusive<usize> = 64..=192;
/// Side of the larger box in which directions are measured, px.
pub const DIRECTION_BOX_PX: usize = 160;
/// Pixels around the subject that [`SubjectSums::measure`] wants to see, px on each side.
pub const REACH_PX: usize = 128;
/// Blur at level 1 below which directions are read on level 0, px.
const DIRECTION_LEVEL_0_PX: f32 = 1.2;
/// Tile side at level 0 within the box.
const TILE: usize = focus_map::TILE_PX;
/// Which of the ordered squares stands for all: every third lies below it. Two thirds of a box
/// may be crossed by hairs before it feels them.
const DENSE_QUANTILE: usize = 3;
/// That quantile of the square of a standard normal.
const DENSE_OF_SQUARES: f64 = 0.185_5;
/// Side of the part in which fine patterns are looked for, px.
const PATTERN_PX: usize = 128;
/// Rings of the spectrum (cycles per pixel) of structure that is safe from aliasing, and of
/// structure that may be false. Optics and most textures leave less power in the second.
const PATTERN_SAFE: std::ops::Range<f64> = 0.08..0.20;
/// See [`PATTERN_SAFE`].
const PATTERN_FALSE: std::ops::Range<f64> = 0.25..0.5;
/// Power of the second over the first, and over noise, from which a pattern is doubted. Facets
/// 1.6 px apart, folded back, gave 0.49; 9 px apart 0.01; natural textures fall to 0.1.
const PATTERN_RISE: (f64, f64) = (0.35, 3.0);
/// Neighbouring Laplacian values are not independent: this many share one.
const LAP_SHARED: f64 = 3.0;

/// What the box around the subject holds, under one noise model.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct SubjectBox {
    /// Blur at edges.
    pub tile: Tile,
    /// Blur as it is told: corrected for texture and noise.
    pub blur: Tile,
    /// Ranking energy: noise-corrected Laplacian variance at level 1 over mean squared, times
    /// 1e6; negative when noise alone explains more than is there.
    pub energy: f64,
    /// One standard error of the energy.
    pub energy_std_err: f64,
    /// The energy that an even texture with the weaker third of this box's Laplacian values would have: some
    /// hairs, specks or rims across the box hardly raise it.
    pub dense_energy: f64,
    /// The part of the uncorrected energy that noise explains, 0..1 and above.
    pub noise_share: f64,
    /// Mean luma, 8-bit steps.
    pub mean_dn: f64,
    /// Share of pixels clipped or beside clipped ones.
    pub clipped: f64,
    /// Blur squared by direction on level 0 and level 1.
    pub profiles: [DirectionProfile; 2],
    /// Which level the directions are best read on.
    pub direction_level: usize,
    /// Power spectrum of the surroundings, and the noise that was taken for it.
    pub spectrum: Option<(PatchSpectrum, BandNoise)>,
    /// Power by rings of frequency about the spot.
    pub rings: Option<BoxSpectra>,
    /// Flags.
    pub flags: FlagSet,
}

/// Sums of several tiles as if they were one.
fn pooled(tiles: &[CellStats]) -> CellStats {
    let n = tiles.len() as f32;
    let mut all = CellStats::default();
    for t in tiles {
        all.mean += t.mean / n;
        all.e2 += t.e2 / n;
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

fn tiles<const SIDE: usize>(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    (x0, y0): (usize, usize),
    across: usize,
) -> Vec<CellStats> {
    let inside = |at: usize, extent: usize| at.clamp(cells::HALO, extent - SIDE - cells::HALO);
    let mut squares = Squares::default();
    (0..across * across)
        .map(|i| {
            let x = inside(x0 + (i % across) * SIDE, level.width);
            let y = inside(y0 + (i / across) * SIDE, level.height);
            cells::cell::<SIDE>(level, smooth, x, y, &mut squares)
        })
        .collect()
}

/// The lean form of [`SubjectSums`] for frames that come by the hundred: blur and energy only.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxCells {
    /// Pooled sums by level.
    pools: [CellStats; 3],
    /// Laplacian energy at level 1, clipped pixels left out, squared 8-bit steps.
    lap: f64,
    /// Whether the box is cut by the border of the picture.
    pub at_border: bool,
}

impl BoxCells {
    /// Sums in a box of side `box_px` about `x`, `y` (px of `around`, see
    /// [`SubjectSums::measure`]); the levels are handed back for directions.
    pub fn measure(
        around: &Luma<'_>,
        x: f64,
        y: f64,
        box_px: usize,
    ) -> Option<(BoxCells, BoxLevels)> {
        let (width, height) = (around.width_px(), around.height_px());
        if width < 2 * TILE || height < 2 * TILE {
            return None;
        }
        let across = (box_px / TILE).max(1);
        let corner = |at: f64, side: usize, extent: usize| {
            let free = (at - side as f64 / 2.0) / 4.0;
            let inside = free.round().clamp(0.0, (extent.saturating_sub(side) / 4) as f64);
            (inside as usize * 4, (free - inside).abs() > 1.0)
        };
        let ((bx, cut_x), (by, cut_y)) = (corner(x, box_px, width), corner(y, box_px, height));
        let level0 = PyramidLevel::from_luma(around);
        let smooth0 = level0.smoothed();
        let level1 = smooth0.halved();
        let smooth1 = level1.smoothed();
        let level2 = smooth1.halved();
        let smooth2 = level2.smoothed();
        let fine = tiles::<32>(&level0, &smooth0, (bx, by), across);
        let middle = tiles::<16>(&level1, &smooth1, (bx / 2, by / 2), across);
        let coarse = tiles::<8>(&level2, &smooth2, (bx / 4, by / 4), across);
        let (mut lap, mut weight) = (0f64, 0f64);
        for t in &middle {
            let kept = f64::from(1.0 - t.clipped);
            lap += kept * f64::from(t.lap);
            weight += kept;
        }
        let cells = BoxCells {
            pools: [pooled(&fine), pooled(&middle), pooled(&coarse)],
            lap: if weight > 0.0 { lap / weight } else { 0.0 },
            at_border: cut_x || cut_y,
        };
        Some((cells, BoxLevels { fine: (level0, smooth0), middle: (level1, smooth1) }))
    }

    /// Blur under a noise model.
    pub fn tile(&self, noise: &BandNoise) -> Tile {
        let [a, b, c] = &self.pools;
        focus_map::edge_tile([Some(a), Some(b), Some(c)], noise)
    }

    /// Ranking energy and the part of the uncorrected one that noise explains; see [`SubjectBox`].
    pub fn energy(&self, noise: &BandNoise) -> (f64, f64) {
        let mean = f64::from(self.pools[1].mean).max(1.0);
        let from_noise = noise.levels[1].lap.at(self.pools[1].mean);
        let share = if self.lap > 0.0 { from_noise / self.lap } else { 1.0 };
        ((self.lap - from_noise) * 1e6 / (mean * mean), share)
    }

    /// Mean luma, 8-bit steps.
    pub fn mean_dn(&self) -> f64 {
        f64::from(self.pools[1].mean)
    }
}

/// Levels 0 and 1 of the surroundings of a [`BoxCells`], each with its smoothed version.
#[derive(Debug, Clone)]
pub struct BoxLevels {
    fine: (PyramidLevel, PyramidLevel),
    middle: (PyramidLevel, PyramidLevel),
}

impl BoxLevels {
    /// Blur squared by direction about `x`, `y`, on level 0 where blur is small, else on level 1.
    pub fn profile(
        &self,
        x: f64,
        y: f64,
        sigma_px: Option<f32>,
        noise: &BandNoise,
    ) -> DirectionProfile {
        let which = usize::from(sigma_px.is_none_or(|s| s >= DIRECTION_LEVEL_0_PX));
        let (level, smooth) = if which == 0 { &self.fine } else { &self.middle };
        let side = DIRECTION_BOX_PX >> which;
        let corner = |at: f64, extent: usize| {
            let free = at / f64::from(1u32 << which) - side as f64 / 2.0;
            (free.max(0.0) as usize).min(extent.saturating_sub(side))
        };
        let (x0, y0) = (corner(x, level.width), corner(y, level.height));
        let area = LevelBox { x0, y0, width: side, height: side };
        direction::profile(level, smooth, which, area, &noise.levels[which])
    }
}

/// Sums around one spot of a picture, before a noise model is chosen.
#[derive(Debug, Clone)]
pub struct SubjectSums {
    level0: PyramidLevel,
    smooth0: PyramidLevel,
    pyramid: Pyramid,
    tiles: [Vec<CellStats>; 3],
    /// Corner of the direction box at level 0.
    corner: (usize, usize),
    /// Corner at level 0 of the part in which fine patterns are looked for.
    pattern_corner: (usize, usize),
    at_border: bool,
    /// Power spectrum of the surroundings.
    spectrum: Option<PatchSpectrum>,
    /// Power by rings of frequency about the spot.
    rings: Option<BoxSpectra>,
    /// Squared Laplacian at level 1 that a third of the samples stay below, squared 8-bit steps.
    typical_lap: f64,
}

/// That quantile of the squared Laplacian in a square part of a level, clipped pixels and their rims left out;
/// 0 where nothing is left.
fn typical_laplacian(level: &PyramidLevel, x0: usize, y0: usize, side: usize) -> f64 {
    let w = level.width;
    let inside = |at: usize, extent: usize| at.clamp(cells::HALO, extent - side - cells::HALO);
    let (x0, y0) = (inside(x0, w), inside(y0, level.height));
    let mut squares: Vec<i32> = Vec::with_capacity(side * side);
    for y in y0..y0 + side {
        for x in x0..x0 + side {
            if cells::clipped_near(level, x, y) {
                continue;
            }
            let at = y * w + x;
            let d = |i: usize| i32::from(level.data[i]);
            let l = d(at - 1) + d(at + 1) + d(at - w) + d(at + w) - 4 * d(at);
            squares.push(l * l);
        }
    }
    if squares.is_empty() {
        return 0.0;
    }
    let at = squares.len() / DENSE_QUANTILE;
    f64::from(*squares.select_nth_unstable(at).1) / 64.0
}

impl SubjectSums {
    /// Sums around the spot `x`, `y` (px of `around`).
    ///
    /// `around` is the picture or a cut-out of it that starts at a multiple of 4 px and reaches
    /// [`REACH_PX`] from the spot where the picture does; it is at least 64 px on each side, else
    /// `None`.
    pub fn measure(around: &Luma<'_>, x: f64, y: f64) -> Option<SubjectSums> {
        SubjectSums::measure_box(around, x, y, BOX_PX)
    }

    /// The same with a box of another side: a multiple of 32 px from [`BOX_RANGE_PX`].
    pub fn measure_box(around: &Luma<'_>, x: f64, y: f64, box_px: usize) -> Option<SubjectSums> {
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
        let across = (box_px / TILE).max(1);
        let (bx, cut_x) = corner(x, box_px, width);
        let (by, cut_y) = corner(y, box_px, height);
        let (dx, _) = corner(x, DIRECTION_BOX_PX, width);
        let (dy, _) = corner(y, DIRECTION_BOX_PX, height);
        let (px, _) = corner(x, PATTERN_PX, width);
        let (py, _) = corner(y, PATTERN_PX, height);
        let level0 = PyramidLevel::from_luma(around);
        let smooth0 = level0.smoothed();
        let pyramid = Pyramid::new(around);
        let tiles = [
            tiles::<32>(&level0, &smooth0, (bx, by), across),
            tiles::<16>(&pyramid.level1, &pyramid.smooth1, (bx / 2, by / 2), across),
            tiles::<8>(&pyramid.level2, &pyramid.smooth2, (bx / 4, by / 4), across),
        ];
        let side =
            (box_px / 2).min(pyramid.level1.width.min(pyramid.level1.height) - 2 * cells::HALO);
        let typical_lap = typical_laplacian(&pyramid.level1, bx / 2, by / 2, side);
        let spectrum = PatchSpectrum::of(&level0);
        let rings = BoxSpectra::of(&level0, x, y);
        Some(SubjectSums {
            spectrum,
            rings,
            level0,
            smooth0,
            pyramid,
            tiles,
            corner: (dx, dy),
            pattern_corner: (px, py),
            at_border: cut_x || cut_y,
            typical_lap,
        })
    }

    /// Whether a pattern at the limit of the pixels stands out of the spectrum around the spot:
    /// it may be a finer one folded back. A true one of three or four pixels a period looks the
    /// same.
    fn is_aliased(&self, noise: &BandNoise) -> bool {
        let level = &self.level0;
        let (x0, y0) = self.pattern_corner;
        let (w, h) = (PATTERN_PX.min(level.width - x0), PATTERN_PX.min(level.height - y0));
        let plane = Plane::from_fn(w, h, Tone::Encoded, |x, y| {
            f32::from(level.data[(y0 + y) * level.width + x0 + x]) / 8.0
        });
        let Some(spectrum) = Spectrum::of(&plane) else { return false };
        let mean = plane.data.iter().sum::<f32>() / plane.data.len() as f32;
        let white = noise.levels[0].n1.at(mean) / WHITE_GAINS[0][0];
        let most = |band: &std::ops::Range<f64>| {
            (0..RINGS)
                .filter(|r| band.contains(&ring_cy_px(*r)))
                .map(|r| spectrum.power[r] - white)
                .fold(0f64, f64::max)
        };
        let (safe, doubted) = (most(&PATTERN_SAFE), most(&PATTERN_FALSE));
        doubted > PATTERN_RISE.0 * safe && doubted > PATTERN_RISE.1 * white
    }

    /// The box under a noise model.
    pub fn under(&self, noise: &BandNoise) -> SubjectBox {
        let pools = [0, 1, 2].map(|l| pooled(&self.tiles[l]));
        let count = self.tiles[1].len() as f64;
        let levels = [Some(&pools[0]), Some(&pools[1]), Some(&pools[2])];
        let tile = focus_map::edge_tile(levels, noise);
        let blur = focus_map::tile(levels, noise, count);
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
        if self.is_aliased(noise) {
            flags.raise(Flag::Aliased);
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
            blur,
            energy: (lap - from_noise) * scale,
            energy_std_err: variance.sqrt() * scale,
            dense_energy: (self.typical_lap / DENSE_OF_SQUARES - from_noise) * scale,
            noise_share: if lap > 0.0 { from_noise / lap } else { 1.0 },
            mean_dn: f64::from(pools[1].mean),
            clipped: f64::from(pools[0].clipped),
            profiles,
            direction_level,
            spectrum: self.spectrum.clone().map(|s| (s, *noise)),
            rings: self.rings,
            flags,
        }
    }
}

impl SubjectBox {
    /// Blur at the subject as a measured value.
    pub fn blur_sigma_px(&self) -> Option<Measured> {
        Some(self.blur.measured()?.flagged(self.flags))
    }
}
