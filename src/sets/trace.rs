//! Where the subject is in every frame of a burst.

use super::register::{self, Similarity};
use super::shot::Shot;
use crate::base::stats::{median, quantile};
use crate::measure::blur::S1_SQUARED;
use crate::measure::focus_map::{FocusMap, TILE_PX, Tile};
use crate::measure::focus_planes::{FocusPlanes, Series};
use crate::measure::follow::{self, FOUND, WHOLE_FOUND};

/// Where the subject is in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
    /// 0..1: the correlation with which it was found; 1 where it was marked.
    pub confidence: f64,
}

/// A neighbour's pattern may stand in for the marked one when it was found this surely.
const CHAIN_FOUND: f32 = 0.6;
/// A following better than this needs no second opinion.
const SURE: f32 = 0.75;
/// Most that a whole-frame shift alone can vouch for.
const WHOLE_CONFIDENCE: f64 = 0.4;
/// A chained place may beat the direct one by this much correlation and no less.
const CHAIN_MARGIN: f32 = 0.05;

/// Follows a spot of frame `from` through all frames; `None` where it is lost.
pub fn follow_all(shots: &[&Shot], from: usize, x_px: f64, y_px: f64) -> Vec<Option<Place>> {
    let mut places: Vec<Option<Place>> = vec![None; shots.len()];
    places[from] = Some(Place { x_px, y_px, confidence: 1.0 });
    let outward =
        [(from + 1..shots.len()).collect::<Vec<_>>(), (0..from).rev().collect::<Vec<_>>()];
    for order in outward {
        let mut near = (x_px, y_px);
        let mut last = from;
        let mut last_found = 1.0f32;
        for i in order {
            let (found, confidence) =
                match follow_one(shots, from, (x_px, y_px), i, near, (last, last_found)) {
                    Some(f) => f,
                    None => continue,
                };
            near = found;
            if confidence >= f64::from(FOUND) {
                last = i;
                last_found = confidence as f32;
            }
            places[i] = Some(Place { x_px: found.0, y_px: found.1, confidence });
        }
    }
    places
}

fn follow_one(
    shots: &[&Shot],
    from: usize,
    start: (f64, f64),
    to: usize,
    near: (f64, f64),
    (last, last_found): (usize, f32),
) -> Option<((f64, f64), f64)> {
    let pair = |i: usize| (&shots[i].patterns[0], &shots[i].patterns[1]);
    if (shots[from].width_px, shots[from].height_px) != (shots[to].width_px, shots[to].height_px) {
        return None;
    }
    let inside = |x: f64, y: f64| {
        (0.0..shots[to].width_px as f64).contains(&x)
            && (0.0..shots[to].height_px as f64).contains(&y)
    };
    let mut best = follow::follow(pair(from), pair(to), start, near);
    if best.is_none_or(|m| m.peak < SURE) && last != from && last_found >= CHAIN_FOUND {
        // The neighbour looks more alike than the first frame: its focus and pose are nearer.
        if let Some(chained) = follow::follow(pair(last), pair(to), near, near)
            && best.is_none_or(|m| chained.peak * last_found > m.peak + CHAIN_MARGIN)
        {
            best = Some(follow::Match { peak: chained.peak * last_found, ..chained });
        }
    }
    if let Some(m) = best
        && m.peak >= FOUND
        && inside(m.x_px, m.y_px)
    {
        return Some(((m.x_px, m.y_px), f64::from(m.peak.min(1.0))));
    }
    let whole = follow::whole_shift(&shots[last].patterns[2], &shots[to].patterns[2])?;
    let at = (near.0 + whole.x_px, near.1 + whole.y_px);
    (whole.peak > WHOLE_FOUND && inside(at.0, at.1))
        .then(|| (at, WHOLE_CONFIDENCE * f64::from(whole.peak.min(1.0))))
}

/// A subject found without a mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Frame in which it is placed (the sharpest there).
    pub frame: usize,
    /// Position, px of the file.
    pub x_px: f64,
    /// Position, px of the file.
    pub y_px: f64,
    /// 0..1: how far it stands out from the next best place.
    pub confidence: f64,
}

/// Width of the prior about the centre of what the frames show, share of their width.
const PRIOR_SD: f64 = 0.10;
/// The same where sharpness alone has to tell.
const SHARP_PRIOR_SD: f64 = 0.20;
/// Places within twice this (share of the width) of the centre tell the planes' depths.
const FIT_SD: f64 = 0.25;
/// As many places as that needs.
const FIT_PLACES: usize = 600;
/// Scatter of blur from frame to frame at one place, beyond its own error, as a share.
const SERIES_SCATTER: f64 = 0.06;
/// And the least error of blur squared, px².
const SERIES_LEAST: f64 = 0.15;
/// Energy below this share of the place's largest may be noise.
const ENERGY_LEAST: f64 = 0.003;
/// Error of blur squared from energy alone, as a share.
const ENERGY_ERROR: f64 = 0.5;
/// Which of the frames' (σ² + s1²)·E^⅔ is taken: the middle one.
const CONSTANT_QUANTILE: f64 = 0.5;
/// Share of a place's surroundings that must have a blur.
const SEEN_LEAST: f64 = 0.3;
/// Error of a place's depth, px of blur.
const DEPTH_ERROR_PX: f64 = 0.3;
/// Places this near in depth are equally good, px of blur.
const SAME_DEPTH_PX: f64 = 0.3;
/// Depths within this of the chosen one would have ranked the frames alike, px of blur.
const SAME_DEPTH_MOST_PX: f64 = 0.75;
/// Planes closer together than this tell nothing of their spread, px of blur.
const PLANES_SD_LEAST_PX: f64 = 0.3;
/// Planes further from their middle than this many standard deviations are held back.
const PLANES_HUBER: f64 = 2.0;
/// Tiles of 3x3 that must have a depth.
const NEIGHBOURS_LEAST: usize = 4;
/// What is added to blur squared, so that no tile is endlessly good, px².
const BLUR_SOFTENING: f32 = 2.0;
/// A rival this near the best place is the same place, share of the width.
const SAME_PLACE: f64 = 0.08;

/// Sharpness of a tile, 0 where nothing can be said.
fn sharpness(tile: &Tile) -> f32 {
    match *tile {
        Tile::Blur { sigma_px, .. } => 1.0 / (sigma_px * sigma_px + BLUR_SOFTENING),
        Tile::Bound(px) => 0.5 / (px * px + BLUR_SOFTENING),
        Tile::NoTexture => 0.0,
    }
}

/// Mean over 3x3 tiles.
fn spread(values: &[f32], cols: usize, rows: usize) -> Vec<f32> {
    let mut out = vec![0f32; values.len()];
    for r in 0..rows {
        for c in 0..cols {
            let mut sum = 0f32;
            for rr in r.saturating_sub(1)..(r + 2).min(rows) {
                for cc in c.saturating_sub(1)..(c + 2).min(cols) {
                    sum += values[rr * cols + cc];
                }
            }
            out[r * cols + c] = sum / 9.0;
        }
    }
    out
}

/// Finds the subject of a burst.
///
/// Whoever rocks through a subject scatters the focus plane about it: the subject lies at the
/// mean depth of the planes, near the middle of what the frames show. Depths of places and planes
/// come from blur ([`FocusPlanes`]); with too few frames for that, the place is taken where focus
/// was best near the centre. `None` when no tile of any frame holds structure.
pub fn find(shots: &[&Shot], maps: &[FocusMap]) -> Option<Found> {
    let reference = reference_frame(maps)?;
    let poses = register::register(shots, reference);
    let layout = Layout::new(shots, maps, reference, &poses);
    layout.by_depth().or_else(|| layout.by_sharpness())
}

/// The frame that others are laid over: of the middle half of the burst the one in which most is
/// sharp.
fn reference_frame(maps: &[FocusMap]) -> Option<usize> {
    let n = maps.len();
    let sharp = |i: usize| maps[i].tiles.iter().map(sharpness).sum::<f32>();
    (n / 4..(n - n / 4).max(n / 4 + 1))
        .filter(|i| *i < n)
        .max_by(|a, b| sharp(*a).total_cmp(&sharp(*b)).then(b.cmp(a)))
}

/// What one frame shows of a place.
struct Look {
    /// Blur squared at edges with its error, px².
    edge: Option<(f64, f64)>,
    /// Noise-corrected Laplacian energy, as in the focus map.
    energy: f64,
}

/// The burst's maps laid over one frame.
struct Layout<'a> {
    maps: &'a [FocusMap],
    reference: usize,
    poses: &'a [Option<Similarity>],
    /// The middle of what the frames show on average, px of the reference.
    centre: (f64, f64),
    width_px: f64,
    height_px: f64,
}

impl<'a> Layout<'a> {
    fn new(
        shots: &[&Shot],
        maps: &'a [FocusMap],
        reference: usize,
        poses: &'a [Option<Similarity>],
    ) -> Self {
        let (w, h) = (shots[reference].width_px as f64, shots[reference].height_px as f64);
        let (mut x, mut y, mut n) = (0.0, 0.0, 0.0);
        for pose in poses.iter().flatten() {
            let at = pose.back(w / 2.0, h / 2.0);
            (x, y, n) = (x + at.0, y + at.1, n + 1.0);
        }
        Layout { maps, reference, poses, centre: (x / n, y / n), width_px: w, height_px: h }
    }

    fn columns(&self) -> usize {
        self.maps[self.reference].cols
    }

    fn places(&self) -> usize {
        self.maps[self.reference].tiles.len()
    }

    /// Middle of a tile of the reference, px.
    fn middle(&self, tile: usize) -> (f64, f64) {
        let at = |k: usize| (k as f64 + 0.5) * TILE_PX as f64;
        (at(tile % self.columns()), at(tile / self.columns()))
    }

    /// Where a place of the reference lies in frame `i`, px; `None` outside.
    fn place_in(&self, i: usize, (x, y): (f64, f64)) -> Option<(f64, f64)> {
        let at = self.poses[i]?.to(x, y);
        let inside = (0.0..self.width_px).contains(&at.0) && (0.0..self.height_px).contains(&at.1);
        inside.then_some(at)
    }

    /// How near a tile is to the centre: the logarithm of the prior.
    fn log_prior(&self, tile: usize, sd: f64) -> f64 {
        let (x, y) = self.middle(tile);
        let d = (x - self.centre.0).hypot(y - self.centre.1) / (sd * self.width_px);
        -0.5 * d * d
    }

    /// Blur of a place of the reference in frame `i`, from the four tiles about it: (edge blur
    /// squared with its error where there are edges, energy).
    fn look(&self, i: usize, place: (f64, f64)) -> Option<Look> {
        let (x, y) = self.place_in(i, place)?;
        let map = &self.maps[i];
        let (u, v) = (x / TILE_PX as f64 - 0.5, y / TILE_PX as f64 - 0.5);
        let (mut sum, mut errors, mut weight) = (0f64, 0f64, 0f64);
        let (mut energy, mut share) = (0f64, 0f64);
        for (c, wc) in [(u.floor(), 1.0 - u.fract()), (u.floor() + 1.0, u.fract())] {
            for (r, wr) in [(v.floor(), 1.0 - v.fract()), (v.floor() + 1.0, v.fract())] {
                if c < 0.0 || r < 0.0 {
                    continue;
                }
                let w = wc * wr;
                let (c, r) = (c as usize, r as usize);
                let Some(tile) = map.at(c, r) else { continue };
                energy += w * f64::from(map.lap_var[r * map.cols + c]);
                share += w;
                let Tile::Blur { sigma_px, std_err_px } = tile else { continue };
                let s = f64::from(*sigma_px);
                sum += w * s * s;
                errors += w * 2.0 * s * f64::from(*std_err_px).hypot(SERIES_SCATTER * s);
                weight += w;
            }
        }
        let edge = (weight > SEEN_LEAST).then(|| (sum / weight, errors / weight + SERIES_LEAST));
        (share > 0.0).then(|| Look { edge, energy: energy / share })
    }

    /// Blur of a place in all frames: edges and energy together where both are there.
    ///
    /// Energy falls with the third power of the total width, so (σ² + s1²)·E^⅔ is the same in
    /// every frame; the frames that show edges there say what it is.
    fn series(&self, tile: usize) -> Series {
        let place = self.middle(tile);
        let looks: Vec<Option<Look>> = (0..self.maps.len()).map(|i| self.look(i, place)).collect();
        let s1 = S1_SQUARED[1];
        let most = looks.iter().flatten().map(|l| l.energy).fold(0f64, f64::max);
        let seen = |l: &&Look| l.energy > ENERGY_LEAST * most && l.energy > 0.0;
        let mut constants: Vec<f64> = looks
            .iter()
            .flatten()
            .filter(seen)
            .filter_map(|l| Some(((l.edge?.0 + s1).ln()) + l.energy.ln() * 2.0 / 3.0))
            .collect();
        let constant = quantile(&mut constants, CONSTANT_QUANTILE);
        let value = |l: &Look| {
            let from_energy = constant
                .filter(|_| seen(&l))
                .map(|k| ((k - l.energy.ln() * 2.0 / 3.0).exp() - s1).max(0.1));
            let (s2, err) = match (l.edge, from_energy) {
                (Some((edge, err)), Some(energy)) => ((edge * energy).sqrt(), err),
                (Some((edge, err)), None) => (edge, 2.0 * err),
                (None, Some(energy)) => (energy, ENERGY_ERROR * energy + SERIES_LEAST),
                (None, None) => return None,
            };
            Some((s2 as f32, err as f32))
        };
        looks.iter().map(|l| l.as_ref().and_then(value)).collect()
    }

    /// The place at the mean depth of the planes; `None` when depths cannot be told.
    fn by_depth(&self) -> Option<Found> {
        let all: Vec<Series> = (0..self.places()).map(|t| self.series(t)).collect();
        let near: Vec<usize> =
            (0..all.len()).filter(|t| self.log_prior(*t, FIT_SD) > -0.5 * 4.0).collect();
        let step = near.len().div_ceil(FIT_PLACES).max(1);
        let chosen: Vec<Series> = near.iter().step_by(step).map(|t| all[*t].clone()).collect();
        let planes = FocusPlanes::fit(&chosen, self.maps.len())?;
        let laid: Vec<f64> = (0..self.maps.len())
            .filter(|i| self.poses[*i].is_some())
            .map(|i| planes.frames[i])
            .collect();
        let (plane, plane_sd) = centre_of(&laid)?;
        let depths: Vec<Option<f64>> = all.iter().map(|s| planes.depth(s).map(|d| d.0)).collect();
        let columns = self.columns();
        let smooth: Vec<Option<f64>> =
            (0..depths.len()).map(|t| middle_depth(&depths, columns, t)).collect();
        // How probable each place is: near the centre and near the planes' mean depth.
        let mut weights = vec![0f64; depths.len()];
        let sd2 = plane_sd.powi(2) + DEPTH_ERROR_PX.powi(2);
        for (t, z) in smooth.iter().enumerate() {
            if let Some(z) = z {
                weights[t] = (self.log_prior(t, PRIOR_SD) - 0.5 * (z - plane).powi(2) / sd2).exp();
            }
        }
        let total: f64 = weights.iter().sum();
        if total.is_nan() || total <= 0.0 {
            return None;
        }
        let depth =
            weights.iter().zip(&smooth).map(|(w, z)| w * z.unwrap_or(0.0)).sum::<f64>() / total;
        let score = |t: usize| {
            smooth[t]
                .map(|z| self.log_prior(t, PRIOR_SD) - 0.5 * ((z - depth) / SAME_DEPTH_PX).powi(2))
        };
        let (best, _) = (0..depths.len())
            .filter_map(|t| Some((t, score(t)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?;
        let agreeing: f64 = weights
            .iter()
            .zip(&smooth)
            .filter(|(_, z)| z.is_some_and(|z| (z - depth).abs() < SAME_DEPTH_MOST_PX))
            .map(|(w, _)| w)
            .sum();
        let blur = |i: usize| (planes.frames[i] - depth).powi(2) + planes.shared_px2[i];
        let place = self.middle(best);
        let frame = (0..self.maps.len())
            .filter(|i| self.place_in(*i, place).is_some())
            .min_by(|a, b| blur(*a).total_cmp(&blur(*b)).then(a.cmp(b)))?;
        let (x_px, y_px) = self.place_in(frame, place)?;
        Some(Found { frame, x_px, y_px, confidence: agreeing / total })
    }

    /// The place where focus was best near the centre.
    fn by_sharpness(&self) -> Option<Found> {
        let columns = self.columns();
        let fields: Vec<Vec<f32>> = self
            .maps
            .iter()
            .map(|m| spread(&m.tiles.iter().map(sharpness).collect::<Vec<_>>(), m.cols, m.rows))
            .collect();
        let value = |i: usize, t: usize| {
            let (x, y) = self.place_in(i, self.middle(t))?;
            let (c, r) = ((x / TILE_PX as f64) as usize, (y / TILE_PX as f64) as usize);
            self.maps[i].at(c, r).map(|_| fields[i][r * self.maps[i].cols + c])
        };
        let score: Vec<f64> = (0..self.places())
            .map(|t| {
                let seen: Vec<f32> = (0..self.maps.len()).filter_map(|i| value(i, t)).collect();
                let mean = seen.iter().sum::<f32>() / seen.len().max(1) as f32;
                f64::from(mean) * self.log_prior(t, SHARP_PRIOR_SD).exp()
            })
            .collect();
        let best =
            (0..score.len()).max_by(|a, b| score[*a].total_cmp(&score[*b]).then(b.cmp(a)))?;
        if score[best] <= 0.0 {
            return None;
        }
        let apart = SAME_PLACE * self.width_px / TILE_PX as f64;
        let at = |t: usize| ((t % columns) as f64, (t / columns) as f64);
        let rival = (0..score.len())
            .filter(|t| (at(*t).0 - at(best).0).hypot(at(*t).1 - at(best).1) > apart)
            .map(|t| score[t])
            .fold(0f64, f64::max);
        let frame = (0..self.maps.len())
            .filter_map(|i| Some((i, value(i, best)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))?
            .0;
        let (x_px, y_px) = self.place_in(frame, self.middle(best))?;
        Some(Found { frame, x_px, y_px, confidence: 1.0 - rival / score[best] })
    }
}

/// Mean of the planes' depths and its standard error, outliers held back (Huber 1964, DOI
/// 10.1214/aoms/1177703732).
fn centre_of(planes: &[f64]) -> Option<(f64, f64)> {
    let mut centre = median(&mut planes.to_vec())?;
    let mut off: Vec<f64> = planes.iter().map(|f| (f - centre).abs()).collect();
    let sd = (1.4826 * median(&mut off)?).max(PLANES_SD_LEAST_PX);
    for _ in 0..8 {
        let (mut sum, mut weight) = (0.0, 0.0);
        for f in planes {
            let w = 1.0 / ((f - centre).abs() / (PLANES_HUBER * sd)).max(1.0);
            sum += w * f;
            weight += w;
        }
        centre = sum / weight;
    }
    Some((centre, sd / (planes.len() as f64).sqrt()))
}

/// Median depth of a tile and its neighbours; `None` where the tile or most of them have none.
fn middle_depth(depths: &[Option<f64>], columns: usize, tile: usize) -> Option<f64> {
    depths[tile]?;
    let rows = depths.len() / columns;
    let (c, r) = (tile % columns, tile / columns);
    let mut near: Vec<f64> = (r.saturating_sub(1)..(r + 2).min(rows))
        .flat_map(|rr| (c.saturating_sub(1)..(c + 2).min(columns)).map(move |cc| rr * columns + cc))
        .filter_map(|i| depths[i])
        .collect();
    if near.len() < NEIGHBOURS_LEAST { None } else { median(&mut near) }
}

/// The sharpest places of one map near the frame's centre, px of the file, with their weight.
pub fn peaks(map: &FocusMap, width_px: f64, most: usize) -> Vec<(f64, f64, f32)> {
    let plain: Vec<f32> = map.tiles.iter().map(sharpness).collect();
    let field = spread(&plain, map.cols, map.rows);
    let sd = SHARP_PRIOR_SD * width_px / TILE_PX as f64;
    let (cx, cy) = (map.cols as f64 / 2.0, map.rows as f64 / 2.0);
    let mut score: Vec<(f32, usize)> = field
        .iter()
        .enumerate()
        .map(|(i, v)| {
            let (c, r) = ((i % map.cols) as f64 + 0.5, (i / map.cols) as f64 + 0.5);
            let d2 = (c - cx).powi(2) + (r - cy).powi(2);
            (v * (-0.5 * d2 / (sd * sd)).exp() as f32, i)
        })
        .filter(|(v, _)| *v > 0.0)
        .collect();
    score.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let apart = SAME_PLACE * width_px / TILE_PX as f64;
    let mut found: Vec<(f64, f64, f32)> = Vec::new();
    for (v, i) in score {
        if found.len() >= most {
            break;
        }
        let (c, r) = ((i % map.cols) as f64, (i / map.cols) as f64);
        let tile = TILE_PX as f64;
        let far = |f: &(f64, f64, f32)| (f.0 / tile - c - 0.5).hypot(f.1 / tile - r - 0.5) > apart;
        if found.iter().all(far) {
            found.push(((c + 0.5) * tile, (r + 0.5) * tile, v));
        }
    }
    found
}
