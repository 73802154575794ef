//! Noise in the very bands in which focus is measured.
//!
//! A high-pass noise meter reads low on camera JPEGs, whose noise is pink, and "subtract twenty
//! sigma squared" is wrong after demosaicing. So the noise of each gradient and Laplacian band is
//! read where the frame is quietest, tone by tone. Whether what is read there is noise at all
//! shows in the ratio of gradient variance before and after smoothing: 22.3 for white noise, at
//! most 1.8 for a step edge.
//!
//! Valid for frames with some flat or defocused area (close-ups nearly always have it). Where
//! none is seen the caller takes the model of another frame of the burst.

use serde::{Deserialize, Serialize};

use super::cells::CellStats;
use crate::core::Luma;
use crate::core::stats::{median, split_lowest};

/// Gain of white noise of unit variance in [e1, e2, ec, lap], by level (computed from the filter
/// coefficients).
pub const WHITE_GAINS: [[f64; 4]; 3] = [
    [0.9995, 0.04485, 0.1171, 19.98],
    [0.0737, 0.008_08, 0.0177, 0.637],
    [0.014_75, 0.001_89, 0.0040, 0.1043],
];
/// Tiles darker or lighter than this say nothing of noise: their tails are cut off.
const TONE_RANGE: (f32, f32) = (6.0, 249.0);
/// Share of all tiles looked at to see whether noise shows.
const QUIET_SHARE: f64 = 0.04;
/// The least number of tiles for that.
const MIN_QUIET: usize = 12;
/// Share of a tone bin's tiles that stand for its noise.
const BIN_SHARE: f64 = 0.10;
/// The least number of tiles for that.
const MIN_BIN: usize = 5;
/// Number of tone bins.
const BINS: usize = 10;
/// A bin counts when its own ratio comes this near to the frame's.
const BIN_RATIO: f32 = 0.6;
/// Taking the quietest tiles reads low; measured on simulated frames, by level.
const QUIET_BIAS: [f64; 3] = [1.03, 1.08, 1.25];
/// Below this ratio (before over after smoothing, level 0) what is read is not noise.
pub const RATIO_SEEN: f32 = 3.0;
/// Variance of rounding to whole 8-bit steps: noise is never assumed to be less.
const ROUNDING_VARIANCE: f64 = 1.0 / 12.0;

/// A variance as a straight line over tone (8-bit steps), never below a floor.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ToneLine {
    at_mid: f64,
    slope: f64,
    floor: f64,
    low: f64,
    high: f64,
}

/// Tone about which [`ToneLine`]s turn.
const MID_TONE: f64 = 128.0;

impl ToneLine {
    fn constant(value: f64, floor: f64) -> Self {
        ToneLine { at_mid: value, slope: 0.0, floor, low: 0.0, high: 255.0 }
    }

    /// The variance at a tone; tones outside those seen take the nearest seen.
    pub fn at(&self, mean_dn: f32) -> f64 {
        let tone = f64::from(mean_dn).clamp(self.low, self.high);
        (self.at_mid + self.slope * (tone - MID_TONE)).max(self.floor)
    }

    fn fit(points: &[(f64, f64)], factor: f64, floor: f64) -> Self {
        let n = points.len() as f64;
        let mean_x = points.iter().map(|p| p.0).sum::<f64>() / n;
        let mean_y = points.iter().map(|p| p.1).sum::<f64>() / n;
        let sxx: f64 = points.iter().map(|p| (p.0 - mean_x).powi(2)).sum();
        let sxy: f64 = points.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum();
        // Bins closer than a few steps together do not support a slope.
        let slope = if sxx > n * 16.0 { sxy / sxx } else { 0.0 };
        let bounds = points.iter().fold((255.0f64, 0.0f64), |b, p| (b.0.min(p.0), b.1.max(p.0)));
        ToneLine {
            at_mid: (mean_y + slope * (MID_TONE - mean_x)) * factor,
            slope: slope * factor,
            floor,
            low: bounds.0,
            high: bounds.1,
        }
    }
}

/// Noise of one level: variances of the gradients, their covariance and the Laplacian.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LevelNoise {
    /// Of the gradient.
    pub n1: ToneLine,
    /// Of the gradient after smoothing.
    pub n2: ToneLine,
    /// Covariance of the two.
    pub nc: ToneLine,
    /// Of the Laplacian.
    pub lap: ToneLine,
}

/// Noise in all bands of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BandNoise {
    /// By level.
    pub levels: [LevelNoise; 3],
    /// How clearly noise shows: gradient variance before over after smoothing in the quietest
    /// tiles of level 0.
    pub ratio: f32,
}

impl BandNoise {
    /// White noise of a given standard deviation, the same at every tone.
    pub fn white(sigma_dn: f64) -> Self {
        let v = (sigma_dn * sigma_dn).max(ROUNDING_VARIANCE);
        let levels = WHITE_GAINS.map(|[e1, e2, ec, lap]| LevelNoise {
            n1: ToneLine::constant(v * e1, 0.0),
            n2: ToneLine::constant(v * e2, 0.0),
            nc: ToneLine::constant(v * ec, 0.0),
            lap: ToneLine::constant(v * lap, 0.0),
        });
        BandNoise { levels, ratio: 0.0 }
    }

    /// Whether the frame itself shows its noise.
    pub fn is_seen(&self) -> bool {
        self.ratio >= RATIO_SEEN
    }

    /// Reads the noise from a frame's tiles.
    ///
    /// `levels[l]` holds tiles of level `l`; those of level 0 may be a choice of the quiet ones.
    /// `None` when there are too few tiles between black and white.
    pub fn measure(levels: [&[CellStats]; 3]) -> Option<BandNoise> {
        let ratio = quiet_ratio(levels[0])?;
        let mut lines = [None; 3];
        for (l, cells) in levels.iter().enumerate() {
            lines[l] = level_noise(cells, l);
        }
        let [Some(a), Some(b), Some(c)] = lines else { return None };
        Some(BandNoise { levels: [a, b, c], ratio })
    }
}

fn usable(cell: &CellStats) -> bool {
    cell.mean > TONE_RANGE.0 && cell.mean < TONE_RANGE.1 && cell.clipped <= 0.0 && cell.e2 > 0.0
}

fn quiet_key(cell: &CellStats) -> f32 {
    cell.v2() / (cell.mean + 20.0)
}

/// Median ratio of gradient variance before to after smoothing among the quietest tiles.
fn quiet_ratio(cells: &[CellStats]) -> Option<f32> {
    let mut quiet: Vec<u64> = ranked(cells, quiet_key).collect();
    if quiet.len() < MIN_QUIET {
        return None;
    }
    let take = ((quiet.len() as f64 * QUIET_SHARE) as usize).max(MIN_QUIET);
    let (lowest, _) = split_lowest(&mut quiet, take, Ord::cmp);
    let mut ratios: Vec<f64> = lowest
        .iter()
        .map(|r| &cells[index_of(*r)])
        .map(|c| f64::from(c.v1() / c.v2().max(1e-6)))
        .collect();
    median(&mut ratios).map(|r| r as f32)
}

/// The indices of the quietest share of tiles in each of ten equal-count tone bins.
pub fn quietest_by_tone(cells: &[CellStats], share: f64, least: usize) -> Vec<Vec<usize>> {
    let mut order: Vec<u64> = ranked(cells, |c| c.mean).collect();
    let per_bin = order.len().div_ceil(BINS).max(1);
    let mut rest = order.as_mut_slice();
    let mut bins = Vec::with_capacity(BINS);
    while !rest.is_empty() {
        let (bin, after) = split_lowest(rest, per_bin, Ord::cmp);
        rest = after;
        for r in bin.iter_mut() {
            let i = index_of(*r);
            *r = rank(cells[i].v2(), i);
        }
        let take = ((bin.len() as f64 * share) as usize).max(least);
        let (chosen, _) = split_lowest(bin, take, Ord::cmp);
        chosen.sort_unstable();
        bins.push(chosen.iter().map(|r| index_of(*r)).collect());
    }
    bins
}

/// A value and an index in one word that orders by the value, then by the index: words are sorted
/// several times faster than indices of values elsewhere.
fn rank(value: f32, index: usize) -> u64 {
    // The order of `f32::total_cmp`.
    let bits = value.to_bits();
    let ordered = if bits >> 31 == 0 { bits | 1 << 31 } else { !bits };
    u64::from(ordered) << 32 | index as u64
}

fn index_of(rank: u64) -> usize {
    rank as u32 as usize
}

/// Ranks of the tiles that can be used.
fn ranked(cells: &[CellStats], key: impl Fn(&CellStats) -> f32) -> impl Iterator<Item = u64> {
    cells.iter().enumerate().filter(|(_, c)| usable(c)).map(move |(i, c)| rank(key(c), i))
}

/// The noise of one level from its tiles; `None` when too few can be used.
pub fn level_noise(cells: &[CellStats], level: usize) -> Option<LevelNoise> {
    let ratio = quiet_ratio(cells)?;
    let mut points: [Vec<(f64, f64)>; 4] = Default::default();
    let mut all: [Vec<(f64, f64)>; 4] = Default::default();
    for bin in quietest_by_tone(cells, BIN_SHARE, MIN_BIN) {
        let of = |f: &dyn Fn(&CellStats) -> f32| {
            let mut v: Vec<f64> = bin.iter().map(|i| f64::from(f(&cells[*i]))).collect();
            median(&mut v)
        };
        let (Some(tone), Some(v1), Some(v2), Some(vc), Some(lap)) = (
            of(&|c| c.mean),
            of(&CellStats::v1),
            of(&CellStats::v2),
            of(&CellStats::vc),
            of(&|c| c.lap),
        ) else {
            continue;
        };
        let kept = of(&|c| c.v1() / c.v2().max(1e-6))? >= f64::from(BIN_RATIO * ratio);
        for (k, v) in [v1, v2, vc, lap].into_iter().enumerate() {
            all[k].push((tone, v));
            if kept {
                points[k].push((tone, v));
            }
        }
    }
    let points = if points[0].is_empty() { all } else { points };
    if points[0].is_empty() {
        return None;
    }
    let line = |k: usize| {
        ToneLine::fit(&points[k], QUIET_BIAS[level], ROUNDING_VARIANCE * WHITE_GAINS[level][k])
    };
    Some(LevelNoise { n1: line(0), n2: line(1), nc: line(2), lap: line(3) })
}

/// Noise of one flat spot, quick enough for every frame of a clip: its standard deviation in 8-bit
/// steps, from the inner part of a square (one sample of rim is looked at).
///
/// The variance of central differences about the spot's own tilt, which for white noise is twice
/// half of its variance along each axis, so the sum of both axes reads it directly (gain
/// [`WHITE_GAINS`]). Where a codec has smoothed the noise this reads low: it compares frames with
/// each other, it is no figure of the sensor. `None` for squares of fewer than 8 samples a side, and where black or white is touched.
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
    fn ranks_order_like_the_values_and_break_ties_by_index() {
        let values = [-0.0f32, 0.0, 1.5, -2.0, 1.5, f32::MIN_POSITIVE, 3e9];
        let mut ranks: Vec<u64> = values.iter().enumerate().map(|(i, v)| rank(*v, i)).collect();
        ranks.sort_unstable();
        let order: Vec<usize> = ranks.iter().map(|r| index_of(*r)).collect();
        assert_eq!(order, [3, 0, 1, 5, 2, 4, 6]);
    }

    #[test]
    fn quietest_tiles_are_those_of_a_full_sort() {
        let mut g = SplitMix64::new(12);
        let cells: Vec<CellStats> = (0..457)
            .map(|_| CellStats {
                mean: g.between(0.0, 255.0) as f32,
                // Coarse steps make ties.
                e2: (g.between(0.0, 40.0) as f32).round(),
                ..CellStats::default()
            })
            .collect();
        let mut order: Vec<usize> = (0..cells.len()).filter(|i| usable(&cells[*i])).collect();
        order.sort_by(|a, b| cells[*a].mean.total_cmp(&cells[*b].mean).then(a.cmp(b)));
        let per_bin = order.len().div_ceil(BINS);
        let want: Vec<Vec<usize>> = order
            .chunks_mut(per_bin)
            .map(|bin| {
                bin.sort_by(|a, b| cells[*a].v2().total_cmp(&cells[*b].v2()).then(a.cmp(b)));
                bin[..((bin.len() as f64 * 0.1) as usize).max(5)].to_vec()
            })
            .collect();
        assert_eq!(quietest_by_tone(&cells, 0.1, 5), want);
        assert_eq!(quietest_by_tone(&[], 0.1, 5), Vec::<Vec<usize>>::new());
    }

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
