//! The frames of a burst laid over each other, and the planes of their focus fitted to the fine
//! contrast that their tiles hold.

use serde::{Deserialize, Serialize};

use super::frame_features::FrameFeatures;
use super::planes::{self, BurstPlanes, PlaceEnergies};
use super::similarity::{self, Similarity, read_field};
use super::template;
use crate::core::stats::median;
use crate::sharpness::band_noise::BandNoise;
use crate::sharpness::focus_map::TILE_PX;

/// Spots across and down by which frames are laid over each other.
const SPOTS: (usize, usize) = (3, 2);
/// Places of a burst, at most: tiles of large frames are joined in squares.
const MAX_PLACES: usize = 1500;

/// Mean ln likelihood per reading below which planes are not to be trusted: simulated bursts stay
/// above -0.55, sweeps that the model cannot hold lie below -0.85.
const MIN_FIT: f64 = -0.6;
/// Fewer frames do not tell planes from depths; the figures here come from bursts of 8 to 16.
pub const MIN_FRAMES: usize = 6;
/// Places within this of a spot are about it, px.
const ABOUT_PX: f64 = 70.0;
/// A place this near to a frame's plane is in focus there, px of blur.
const IN_PLANE_PX: f64 = 1.0;

/// Energies of a burst's places and what was fitted to them. Places lie on a grid over the middle
/// frame.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct OverlaidBurst {
    /// Number of the middle frame.
    pub middle: usize,
    /// Size of the frames, px of the file.
    pub size_px: (f64, f64),
    /// Places across and down.
    pub grid: (usize, usize),
    /// Side of a place, px.
    pub place_px: f64,
    /// From the middle frame to each frame.
    pub to_frame: Vec<Similarity>,
    /// Energies of the places.
    pub energies: PlaceEnergies,
}

impl OverlaidBurst {
    /// Reads the tiles of frames that lie over the middle one as `to_frame` says (see
    /// [`overlay`]); `None` for frames of several sizes and for a single one.
    pub fn read(
        shots: &[&FrameFeatures],
        noise: &BandNoise,
        to_frame: &[Similarity],
    ) -> Option<OverlaidBurst> {
        let middle = middle(shots)?;
        let shot = shots[middle];
        let (cols, rows) = (shot.cells.cols, shot.cells.rows);
        let side = joined_side(cols * rows);
        let grid = (cols / side, rows / side);
        if grid.0 < 2 || grid.1 < 2 {
            return None;
        }
        let place_px = (side * TILE_PX) as f64;
        let mut burst = OverlaidBurst {
            middle,
            size_px: (shot.width_px as f64, shot.height_px as f64),
            grid,
            place_px,
            to_frame: to_frame.to_vec(),
            energies: PlaceEnergies::default(),
        };
        let joined_tiles = |tiles: &[f32]| joined(tiles, (cols, rows), side);
        let fields: Vec<Vec<f32>> =
            shots.iter().map(|s| joined_tiles(&s.cells.lap_var(noise))).collect();
        burst.energies = PlaceEnergies {
            energy: burst.place_energies(&fields),
            noise: joined_tiles(&shot.cells.noise_lap_var(noise)),
        };
        Some(burst)
    }

    /// Energies of all places, one value per frame.
    fn place_energies(&self, fields: &[Vec<f32>]) -> Vec<f32> {
        let of = |t: usize, i: usize, field: &[f32]| {
            read_field(field, self.grid, self.place_px, self.place_in(t, i))
        };
        (0..self.grid.0 * self.grid.1)
            .flat_map(|t| fields.iter().enumerate().map(move |(i, field)| of(t, i, field)))
            .collect()
    }

    /// Planes and depths; `None` with few frames, where too few places have contrast, and where the
    /// planes do not fit.
    pub fn planes(&self) -> Option<BurstPlanes> {
        let frames = self.to_frame.len();
        if frames < MIN_FRAMES {
            return None;
        }
        planes::fit(frames, &self.energies).filter(is_trusted)
    }

    /// Area of the places that each frame's plane passes or nearly passes, px² of the middle frame.
    pub fn in_plane_px2(&self, planes: &BurstPlanes) -> Vec<f64> {
        let passed = |plane: f64| {
            planes.places.iter().filter(|p| (p.depth_px - plane).abs() < IN_PLANE_PX).count()
        };
        planes.plane_px.iter().map(|p| passed(*p) as f64 * self.place_px.powi(2)).collect()
    }

    /// How far a spot of the middle frame lies beyond the planes of all frames, px of blur;
    /// negative among them. `None` where nothing about it has contrast.
    pub fn beyond_px(&self, planes: &BurstPlanes, (x, y): (f64, f64)) -> Option<f64> {
        let reach = ABOUT_PX.max(1.1 * self.place_px);
        let near = |t: usize| {
            let (px, py) = self.place_centre(t);
            (px - x).hypot(py - y) < reach
        };
        let mut depths: Vec<f64> =
            planes.places.iter().filter(|p| near(p.index)).map(|p| p.depth_px).collect();
        median(&mut depths).map(|depth| planes.beyond_px(depth))
    }

    /// Centre of place `t` in the middle frame, px.
    pub fn place_centre(&self, t: usize) -> (f64, f64) {
        let at = |k: usize| (k as f64 + 0.5) * self.place_px;
        (at(t % self.grid.0), at(t / self.grid.0))
    }

    /// Centre of place `t` in frame `i`, px.
    pub fn place_in(&self, t: usize, i: usize) -> (f64, f64) {
        let (x, y) = self.place_centre(t);
        self.to_frame[i].at(x, y)
    }

    /// Mean over frames of the squared distance of a place from a point of the frame, widths².
    pub fn mean_off2(&self, t: usize, at: (f64, f64)) -> f64 {
        let w = self.size_px.0;
        let of = |(x, y): (f64, f64)| ((x - at.0).powi(2) + (y - at.1).powi(2)) / (w * w);
        let n = self.to_frame.len();
        (0..n).map(|i| of(self.place_in(t, i))).sum::<f64>() / n as f64
    }
}

/// Whether planes fit the energies well enough.
fn is_trusted(planes: &BurstPlanes) -> bool {
    planes.fit >= MIN_FIT
}

/// Side of the squares in which so many tiles are joined.
fn joined_side(tiles: usize) -> usize {
    ((tiles as f64 / MAX_PLACES as f64).sqrt().ceil() as usize).max(1)
}

/// The frame that the others are laid over; `None` for frames of several sizes or hardly any tiles,
/// and for a single one.
fn middle(shots: &[&FrameFeatures]) -> Option<usize> {
    let middle = shots.len() / 2;
    let shot = shots.get(middle).filter(|_| shots.len() > 1)?;
    let size = |s: &FrameFeatures| (s.width_px, s.height_px);
    let is_alike = shots.iter().all(|s| size(s) == size(shot));
    (is_alike && shot.cells.cols >= 2 && shot.cells.rows >= 2).then_some(middle)
}

/// Means over squares of tiles.
fn joined(field: &[f32], (cols, rows): (usize, usize), side: usize) -> Vec<f32> {
    let (c, r) = (cols / side, rows / side);
    let mut out = vec![0f32; c * r];
    for y in 0..r * side {
        for x in 0..c * side {
            out[(y / side) * c + x / side] += field[y * cols + x];
        }
    }
    let share = 1.0 / (side * side) as f32;
    out.iter_mut().for_each(|v| *v *= share);
    out
}

/// How frame `i` of a burst lies over the middle one.
pub fn overlay(shots: &[&FrameFeatures], i: usize) -> Similarity {
    let Some(middle) = middle(shots).filter(|middle| *middle != i) else {
        return Similarity::IDENTITY;
    };
    let (from, to) = (shots[middle], shots[i]);
    let (w, h) = (from.width_px as f64, from.height_px as f64);
    let whole = template::whole_shift(&from.patterns[2], &to.patterns[2]);
    let (dx, dy) = whole.map_or((0.0, 0.0), |m| (m.x_px, m.y_px));
    let spots: Vec<_> = (0..SPOTS.0 * SPOTS.1)
        .filter_map(|k| {
            let x = w * ((k % SPOTS.0) as f64 + 1.0) / (SPOTS.0 as f64 + 1.0);
            let y = h * ((k / SPOTS.0) as f64 + 1.0) / (SPOTS.1 as f64 + 1.0);
            let own = (&from.patterns[0], &from.patterns[1]);
            let other = (&to.patterns[0], &to.patterns[1]);
            let m = template::track_template(own, other, (x, y), (x + dx, y + dy))?;
            Some(((x, y), m))
        })
        .collect();
    similarity::agreed(&spots).unwrap_or(Similarity::shift(dx, dy))
}

#[cfg(test)]
mod tests;
