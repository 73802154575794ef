//! Sums over one tile at one scale: the raw material of blur, noise and ranking energy.
//!
//! Gradients are central differences. The ridge of an edge (where the smoothed gradient is
//! largest across it) is where the ratio of gradients before and after smoothing tells the
//! blur: Zhuo & Sim 2011, DOI 10.1016/j.patcog.2011.03.009, used here with a binomial in place
//! of the Gaussian and sums in place of single pixels.

use super::pyramid::PyramidLevel;
use crate::core::with_simd;

/// Level value at and above which a pixel counts as clipped (252 of 255, in eighths).
pub const CLIPPED_EIGHTHS: i16 = 2016;
/// Share of the tile's largest squared gradient from which a ridge pixel counts.
const RIDGE_SHARE: f32 = 0.25;
/// How far towards the bright side of an edge a clipped pixel spoils it, in samples.
const CLIP_REACH: isize = 3;
/// One unit of a squared central difference: (1/16 of an 8-bit step) squared.
const GRADIENT_UNIT: f32 = 1.0 / 256.0;
/// One unit of a squared Laplacian: (1/8 of an 8-bit step) squared.
const LAPLACIAN_UNIT: f32 = 1.0 / 64.0;
/// Samples around a tile that its sums look at.
pub const HALO: usize = 4;

/// Sums over one tile at one level, in 8-bit steps (squared where energies).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CellStats {
    /// Mean level.
    pub mean: f32,
    /// Mean squared gradient.
    pub e1: f32,
    /// Mean squared gradient after smoothing.
    pub e2: f32,
    /// Mean product of the two gradients.
    pub ec: f32,
    /// Squared length of the mean gradient.
    pub tilt1: f32,
    /// Squared length of the mean smoothed gradient.
    pub tilt2: f32,
    /// Product of the two mean gradients.
    pub tilt_c: f32,
    /// Mean squared Laplacian, clipped pixels and their rims left out.
    pub lap: f32,
    /// Largest squared smoothed gradient.
    pub peak2: f32,
    /// Number of ridge pixels.
    pub ridge_n: f32,
    /// Sum over ridge pixels of the product of the gradients.
    pub s12: f32,
    /// Sum over ridge pixels of the squared smoothed gradient.
    pub s22: f32,
    /// Sums of squares and product of those two, for the ratio's error.
    pub q11: f32,
    /// See `q11`.
    pub q12: f32,
    /// See `q11`.
    pub q22: f32,
    /// Share of pixels that are clipped or beside clipped ones.
    pub clipped: f32,
}

impl CellStats {
    /// Gradient variance about the tile's tilt.
    pub fn v1(&self) -> f32 {
        (self.e1 - self.tilt1).max(0.0)
    }

    /// The same after smoothing.
    pub fn v2(&self) -> f32 {
        (self.e2 - self.tilt2).max(0.0)
    }

    /// Covariance of the two.
    pub fn vc(&self) -> f32 {
        self.ec - self.tilt_c
    }
}

/// Squared smoothed gradients of a tile and one sample around it: memory for [`ridge`], used again
/// for tile after tile.
#[derive(Debug, Clone)]
pub struct Squares {
    rows: [[i32; 34]; 34],
}

impl Default for Squares {
    fn default() -> Self {
        Squares { rows: [[0; 34]; 34] }
    }
}

impl Squares {
    /// Fills the squares; one bit for each row that holds one above a limit.
    #[inline(always)]
    fn fill<const SIDE: usize>(
        &mut self,
        smooth: &PyramidLevel,
        x0: usize,
        y0: usize,
        limit: i32,
    ) -> u64 {
        let w = smooth.width;
        let mut busy = 0;
        for (j, row) in self.rows.iter_mut().take(SIDE + 2).enumerate() {
            let at = (y0 + j - 1) * w + x0 - 1;
            let above = &smooth.data[at - w..at - w + SIDE + 2];
            let below = &smooth.data[at + w..at + w + SIDE + 2];
            let left = &smooth.data[at - 1..at + SIDE + 1];
            let right = &smooth.data[at + 1..at + SIDE + 3];
            let mut most = 0;
            for i in 0..SIDE + 2 {
                let gx = right[i] - left[i];
                let gy = below[i] - above[i];
                let square = i32::from(gx) * i32::from(gx) + i32::from(gy) * i32::from(gy);
                row[i] = square;
                most = most.max(square);
            }
            busy |= u64::from(most > limit) << j;
        }
        busy
    }
}

/// Sums of central differences along x and y over a tile: they telescope, so only its border
/// counts.
#[inline(always)]
fn tilt<const SIDE: usize>(level: &PyramidLevel, x0: usize, y0: usize) -> (f32, f32) {
    let w = level.width;
    let row = |y: usize| -> i32 {
        level.data[y * w + x0..y * w + x0 + SIDE].iter().map(|v| i32::from(*v)).sum()
    };
    let gy = row(y0 + SIDE) + row(y0 + SIDE - 1) - row(y0 - 1) - row(y0);
    let mut gx = 0;
    for y in y0..y0 + SIDE {
        let d = &level.data[y * w + x0 - 1..y * w + x0 + SIDE + 1];
        gx += i32::from(d[SIDE + 1]) + i32::from(d[SIDE]) - i32::from(d[0]) - i32::from(d[1]);
    }
    (gx as f32, gy as f32)
}

/// Energies of the tile of `SIDE` samples whose upper left sample is `x0`, `y0`; the ridge sums
/// are left at 0 for [`ridge`] to fill.
///
/// `level` and `smooth` have the same size, and the tile lies at least [`HALO`] samples from
/// every border (tiles nearer to it are moved inwards by the caller).
pub fn energies<const SIDE: usize>(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    x0: usize,
    y0: usize,
) -> CellStats {
    with_simd(
        #[inline(always)]
        || energies_here::<SIDE>(level, smooth, x0, y0),
    )
}

#[inline(always)]
fn energies_here<const SIDE: usize>(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    x0: usize,
    y0: usize,
) -> CellStats {
    let w = level.width;
    let n = (SIDE * SIDE) as f32;
    let (mut e1, mut e2, mut ec, mut lap) = (0f32, 0f32, 0f32, 0f32);
    let mut sum = 0i32;
    let mut peak = 0i32;
    let mut brightest = 0i16;
    for j in 0..SIDE {
        let at = (y0 + j) * w + x0;
        let d = &level.data[at - 1..at + SIDE + 1];
        let d_up = &level.data[at - w..at - w + SIDE];
        let d_down = &level.data[at + w..at + w + SIDE];
        let s = &smooth.data[at - 1..at + SIDE + 1];
        let s_up = &smooth.data[at - w..at - w + SIDE];
        let s_down = &smooth.data[at + w..at + w + SIDE];
        let (mut r1, mut r2, mut rc, mut rl) = (0i32, 0i32, 0i32, 0i32);
        for i in 0..SIDE {
            let ax = d[i + 2] - d[i];
            let ay = d_down[i] - d_up[i];
            let bx = s[i + 2] - s[i];
            let by = s_down[i] - s_up[i];
            let l = d[i + 2] + d[i] + d_down[i] + d_up[i] - 4 * d[i + 1];
            let b2 = i32::from(bx) * i32::from(bx) + i32::from(by) * i32::from(by);
            r1 += i32::from(ax) * i32::from(ax) + i32::from(ay) * i32::from(ay);
            r2 += b2;
            rc += i32::from(ax) * i32::from(bx) + i32::from(ay) * i32::from(by);
            // At most 8160 squared a sample: 32 of them stay below 2^31.
            rl += i32::from(l) * i32::from(l);
            sum += i32::from(d[i + 1]);
            brightest = brightest.max(d[i + 1]);
            peak = peak.max(b2);
        }
        e1 += r1 as f32;
        e2 += r2 as f32;
        ec += rc as f32;
        lap += rl as f32;
    }
    let (g1x, g1y) = tilt::<SIDE>(level, x0, y0);
    let (g2x, g2y) = tilt::<SIDE>(smooth, x0, y0);
    let k = GRADIENT_UNIT / (n * n);
    let mut stats = CellStats {
        mean: sum as f32 / (8.0 * n),
        e1: e1 * GRADIENT_UNIT / n,
        e2: e2 * GRADIENT_UNIT / n,
        ec: ec * GRADIENT_UNIT / n,
        lap: lap * LAPLACIAN_UNIT / n,
        peak2: peak as f32 * GRADIENT_UNIT,
        tilt1: (g1x * g1x + g1y * g1y) * k,
        tilt2: (g2x * g2x + g2y * g2y) * k,
        tilt_c: (g1x * g2x + g1y * g2y) * k,
        ..CellStats::default()
    };
    // Tiles with clipping are looked at again with the clipped pixels and their rims left out.
    if brightest >= CLIPPED_EIGHTHS {
        unclipped_laplacian::<SIDE>(level, x0, y0, &mut stats);
    }
    stats
}

/// Energies and ridge sums of a tile; see [`energies`] for where it may lie.
pub fn cell<const SIDE: usize>(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    x0: usize,
    y0: usize,
    squares: &mut Squares,
) -> CellStats {
    let mut stats = energies::<SIDE>(level, smooth, x0, y0);
    ridge::<SIDE>(level, smooth, x0, y0, &mut stats, squares);
    stats
}

fn unclipped_laplacian<const SIDE: usize>(
    level: &PyramidLevel,
    x0: usize,
    y0: usize,
    stats: &mut CellStats,
) {
    let w = level.width;
    let (mut kept, mut sum) = (0u32, 0f64);
    for y in y0..y0 + SIDE {
        for x in x0..x0 + SIDE {
            if !clipped_near(level, x, y) {
                let at = y * w + x;
                let d = |i: usize| i32::from(level.data[i]);
                let l = d(at - 1) + d(at + 1) + d(at - w) + d(at + w) - 4 * d(at);
                sum += f64::from(l * l);
                kept += 1;
            }
        }
    }
    stats.clipped = 1.0 - kept as f32 / (SIDE * SIDE) as f32;
    stats.lap = if kept > 0 { sum as f32 * LAPLACIAN_UNIT / kept as f32 } else { 0.0 };
}

/// Whether a sample within two of this one is clipped.
pub(crate) fn clipped_near(level: &PyramidLevel, x: usize, y: usize) -> bool {
    let w = level.width;
    (y - 2..=y + 2).any(|row| {
        level.data[row * w + x - 2..=row * w + x + 2].iter().any(|v| *v >= CLIPPED_EIGHTHS)
    })
}

/// Step to the neighbours across an edge with gradient `gx`, `gy`, as (dx, dy): one of four
/// directions.
pub(crate) fn across(gx: i32, gy: i32) -> (isize, isize) {
    // tan 22.5 degrees = 0.4142 = 106/256
    let (ax, ay) = (gx.abs(), gy.abs());
    if 256 * ay <= 106 * ax {
        (1, 0)
    } else if 256 * ax <= 106 * ay {
        (0, 1)
    } else if (gx > 0) == (gy > 0) {
        (1, 1)
    } else {
        (1, -1)
    }
}

/// Whether a clipped pixel lies within reach towards the bright side of an edge.
pub(crate) fn clipped_beside(level: &PyramidLevel, at: usize, gx: i32, gy: i32) -> bool {
    let (dx, dy) = across(gx, gy);
    let w = level.width as isize;
    let bright = if gx * dx as i32 + gy * dy as i32 >= 0 { 1 } else { -1 };
    (0..=CLIP_REACH).any(|r| {
        let there = at as isize + bright * r * (dy * w + dx);
        usize::try_from(there)
            .ok()
            .and_then(|i| level.data.get(i))
            .is_some_and(|v| *v >= CLIPPED_EIGHTHS)
    })
}

/// Whether any sample of a tile or within reach of it is clipped.
#[inline(always)]
fn any_clipped<const SIDE: usize>(level: &PyramidLevel, x0: usize, y0: usize) -> bool {
    let reach = CLIP_REACH as usize;
    (y0 - reach..y0 + SIDE + reach).any(|y| {
        let row = &level.row(y)[x0 - reach..x0 + SIDE + reach];
        row.iter().fold(0, |most, v| most.max(*v)) >= CLIPPED_EIGHTHS
    })
}

/// Fills the ridge sums of a tile whose energies are known.
pub fn ridge<const SIDE: usize>(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    x0: usize,
    y0: usize,
    stats: &mut CellStats,
    squares: &mut Squares,
) {
    with_simd(
        #[inline(always)]
        || ridge_here::<SIDE>(level, smooth, x0, y0, stats, squares),
    );
}

#[inline(always)]
fn ridge_here<const SIDE: usize>(
    level: &PyramidLevel,
    smooth: &PyramidLevel,
    x0: usize,
    y0: usize,
    stats: &mut CellStats,
    squares: &mut Squares,
) {
    let w = level.width;
    let limit = (stats.peak2 / GRADIENT_UNIT * RIDGE_SHARE) as i32;
    if limit == 0 {
        return;
    }
    let busy = squares.fill::<SIDE>(smooth, x0, y0, limit);
    let m2 = &squares.rows;
    let look_for_clipping = any_clipped::<SIDE>(level, x0, y0);
    let (mut n, mut s12, mut s22, mut q11, mut q12, mut q22) = (0f32, 0f32, 0f32, 0f32, 0f32, 0f32);
    for j in 0..SIDE {
        if busy >> (j + 1) & 1 == 0 {
            continue;
        }
        let (above, here, below) = (&m2[j], &m2[j + 1], &m2[j + 2]);
        // One bit a sample: above the limit, and at least as large as the neighbours on both
        // sides of some direction. Nearly all samples drop out here, without a branch.
        let mut candidates = 0u32;
        for i in 0..SIDE {
            let m = here[i + 1];
            let level_with = |a: i32, b: i32| (m >= a) & (m >= b);
            let ridge = level_with(here[i], here[i + 2])
                | level_with(above[i + 1], below[i + 1])
                | level_with(above[i], below[i + 2])
                | level_with(below[i], above[i + 2]);
            candidates |= u32::from(ridge & (m > limit)) << i;
        }
        while candidates != 0 {
            let i = candidates.trailing_zeros() as usize;
            candidates &= candidates - 1;
            let m = here[i + 1];
            let at = (y0 + j) * w + x0 + i;
            let gx = i32::from(smooth.data[at + 1] - smooth.data[at - 1]);
            let gy = i32::from(smooth.data[at + w] - smooth.data[at - w]);
            let (before, after) = match across(gx, gy) {
                (1, 0) => (here[i], here[i + 2]),
                (0, 1) => (above[i + 1], below[i + 1]),
                (1, 1) => (above[i], below[i + 2]),
                _ => (below[i], above[i + 2]),
            };
            if m < before || m < after || look_for_clipping && clipped_beside(level, at, gx, gy) {
                continue;
            }
            let fx = i32::from(level.data[at + 1] - level.data[at - 1]);
            let fy = i32::from(level.data[at + w] - level.data[at - w]);
            let a = (fx * gx + fy * gy) as f32 * GRADIENT_UNIT;
            let b = m as f32 * GRADIENT_UNIT;
            n += 1.0;
            s12 += a;
            s22 += b;
            q11 += a * a;
            q12 += a * b;
            q22 += b * b;
        }
    }
    (stats.ridge_n, stats.s12, stats.s22) = (n, s12, s22);
    (stats.q11, stats.q12, stats.q22) = (q11, q12, q22);
}
