//! Noise of raw planes: variance = a·x + b, from one frame, or from two of a still scene.
//!
//! The model is that of Foi et al., IEEE TIP 17:1737 (2008), DOI 10.1109/TIP.2008.2001399. Works
//! on the planes of one filter colour, where noise is white: never on interpolated pixels.
//!
//! One frame: tiles that look flat in the low band are measured in the high band, so that
//! choosing them does not bias the measure. Good to about 1.5 % of sigma over the tones that the
//! frame holds, where it holds flat places; an even, fine texture all over defeats it (up to 8
//! times high), which the share of kept bins tells. `b` alone is poor from one frame: quote sigma
//! at a level.
//!
//! Two frames: the difference holds no scene. Tiles are chosen by how flat their *mean* is, which
//! does not depend on the difference for normal noise, so what is left of a misfit between the
//! frames hardly counts. Whole shifts of the planes are taken out first; parts of a pixel are not,
//! because one colour of a mosaic is aliased and cannot be shifted by parts without error.

use super::sensor::affine_sigma;
use crate::base::stats::{least_squares, mad_sigma};
use crate::base::{Measured, Plane, Tone};

/// Side of a tile, samples of one colour plane.
const SIDE: usize = 8;
/// Step of the tiles where the frame is small enough to look at all.
const STEP: usize = 4;
/// Tiles looked at in all planes together: beyond it the step grows. 5 % of a twelfth of them still
/// give a point of the curve to 0.3 %.
const MOST_TILES: usize = 400_000;
/// A tile with a sample at or above this share of saturation is left out.
const CLIPPED: f32 = 0.95;
/// First sum of indices of the high band.
const HIGH_FROM: usize = 9;
/// Coefficients in the high band.
const HIGH_COUNT: f64 = 21.0;
/// Coefficients without the constant one.
const ALL_COUNT: f64 = 63.0;
/// Bins of tone, of equal count.
const BINS: usize = 12;
/// Share of a bin's tiles taken as its flat places, and how many at least.
const QUIETEST: f64 = 0.05;
const LEAST_CHOSEN: usize = 30;
/// A bin whose low band holds this many times its high band is textured.
const TEXTURED: f64 = 1.6;
/// Bins used in any case.
const LEAST_KEPT: usize = 3;
/// Passes of choosing and fitting.
const PASSES: usize = 4;
/// Reweightings of a fit.
const REWEIGHTS: usize = 10;
/// Positive residuals beyond this many robust deviations are weighted down: texture only adds.
const HUBER: f64 = 1.5;
/// Share of kept bins from which a figure is trusted, not only a bound.
const TRUSTED: f64 = 0.4;
/// Scatter of the one-frame method itself, share of sigma (prototype: 1.3 % on a macro scene).
const SINGLE_REL_ERR: f64 = 0.015;
/// The same for a pair (tests below: within 2 %).
const PAIR_REL_ERR: f64 = 0.007;
/// Share of the tiles of a pair that are used: those flattest in the mean of both frames.
const PAIR_FLATTEST: f64 = 0.5;
/// Low over high band in the difference of a pair beyond which the frames did not fit on each
/// other: sigma would be some 2 % high, and one frame does better.
const PAIR_SLOPE: f64 = 1.05;
/// The difference of a pair does not know where the scene is textured, unless the frames did not
/// fit: then it is larger there than in flat places, and beyond this factor the pair is refused.
const PAIR_MISFIT: f64 = 1.05;
/// Frames of a pair may be this far apart, samples of one plane.
const MOST_SHIFT: isize = 3;
/// Frames of a pair may differ by this factor in brightness.
const MOST_FLICKER: f64 = 1.05;

/// How a figure was come by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RawMethod {
    /// The difference of two frames of a still scene.
    Pair,
    /// Flat places of one frame.
    Single,
    /// One frame without enough flat places: noise is at most this.
    UpperBound,
}

/// One point of the curve: tone and variance, shares of full scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TonePoint {
    /// Mean level, share of saturation.
    pub level: f64,
    /// Variance there, share of saturation squared.
    pub variance: f64,
    /// One standard error of it, from counting.
    pub std_err: f64,
    /// Low over high band: 1 for noise alone.
    pub slope: f64,
    /// Whether the fit uses it.
    pub kept: bool,
}

/// Noise of a raw frame: variance = a·x + b, black at 0 and saturation at 1.
#[derive(Debug, Clone, PartialEq)]
pub struct RawNoise {
    /// Slope of the variance.
    pub a: f64,
    /// Variance at black.
    pub b: f64,
    /// Covariance of a and b, counting errors only.
    pub covariance: [[f64; 2]; 2],
    /// Points of the curve, dark to bright.
    pub points: Vec<TonePoint>,
    /// Tiles behind the kept points.
    pub tiles: u32,
    /// How it was come by.
    pub method: RawMethod,
}

impl RawNoise {
    /// Deviation at a level, both shares of saturation; `None` when the model gives none.
    pub fn sigma_at(&self, level: f64) -> Option<Measured> {
        let sigma = affine_sigma(self.a, self.b, level).filter(|s| *s > 0.0)?;
        let [[aa, ab], [_, bb]] = self.covariance;
        let variance_err = (aa * level * level + 2.0 * ab * level + bb).max(0.0).sqrt();
        let own = match self.method {
            RawMethod::Pair => PAIR_REL_ERR,
            _ => SINGLE_REL_ERR,
        };
        Measured::new(sigma, (variance_err / (2.0 * sigma)).hypot(own * sigma), self.tiles)
    }

    /// Whether it is a figure and not only a bound.
    pub fn is_trusted(&self) -> bool {
        self.method != RawMethod::UpperBound
    }
}

/// Noise of one frame from its colour planes (linear, black at 0, saturation at `white_dn`).
///
/// `None` when a plane is not linear, or fewer than 100 tiles are left.
pub fn raw_noise(planes: &[Plane]) -> Option<RawNoise> {
    let mut tiles = tiles(planes, |tile, plane| {
        let white = f64::from(plane.white_dn);
        let c = cosine(tile);
        let (low, high) = bands(&c);
        Tile {
            level: f64::from(c[0]) / SIDE as f64 / white,
            choose: low / (white * white),
            measure: high / (white * white),
        }
    })?;
    tiles.sort_unstable_by(|a, b| a.level.total_cmp(&b.level).then(a.choose.total_cmp(&b.choose)));
    let mut model: Option<(f64, f64)> = None;
    let mut found = None;
    for _ in 0..PASSES {
        let expected = |level: f64| {
            let (a, b) = model.unwrap_or((0.0, 1.0));
            (a * level + b).max(1e-12)
        };
        let mut points: Vec<(TonePoint, usize)> = Vec::with_capacity(BINS);
        for bin in 0..BINS {
            let span = &tiles[bin * tiles.len() / BINS..(bin + 1) * tiles.len() / BINS];
            let mut order: Vec<(f64, &Tile)> =
                span.iter().map(|t| (t.choose / expected(t.level), t)).collect();
            let wanted = ((QUIETEST * span.len() as f64).round() as usize).max(LEAST_CHOSEN);
            let wanted = wanted.min(order.len());
            if wanted < order.len() {
                order.select_nth_unstable_by(wanted, |x, y| {
                    x.0.total_cmp(&y.0).then(x.1.level.total_cmp(&y.1.level))
                });
            }
            points.extend(
                point(order[..wanted].iter().map(|o| o.1), HIGH_COUNT).map(|p| (p, wanted)),
            );
        }
        let share = keep(&mut points);
        let fit = fit(&points)?;
        model = Some((fit.0[0], fit.0[1]));
        found = Some((points, share, fit));
    }
    let (points, share, (beta, covariance)) = found?;
    Some(RawNoise {
        a: beta[0],
        b: beta[1],
        covariance,
        tiles: points.iter().filter(|p| p.0.kept).map(|p| p.1 as u32).sum(),
        points: points.into_iter().map(|p| p.0).collect(),
        method: if share >= TRUSTED { RawMethod::Single } else { RawMethod::UpperBound },
    })
}

/// Noise from two frames of a still scene, plane by plane in the same order.
///
/// `None` when the planes do not match, the brightness differs by more than 5 %, or the frames do
/// not show the same still scene (their difference holds structure): then one frame has to do.
pub fn raw_noise_of_pair(first: &[Plane], second: &[Plane]) -> Option<RawNoise> {
    let same = first.len() == second.len()
        && first.iter().zip(second).all(|(a, b)| {
            (a.width_px, a.height_px) == (b.width_px, b.height_px)
                && (a.white_dn - b.white_dn).abs() < f32::EPSILON * a.white_dn.abs()
        });
    // The second plane of a mosaic is green, as is the first or the third.
    let guide = first.len() / 2;
    if !same || first.is_empty() {
        return None;
    }
    let shift = whole_shift(&first[guide], &second[guide])?;
    let mut chosen: Vec<Tile> = Vec::new();
    let mut misfits: Vec<f64> = Vec::new();
    for (a, b) in first.iter().zip(second) {
        let (a, b) = overlap(a, b, shift);
        let (sum_a, sum_b) = (total(&a), total(&b));
        let flicker = sum_a / sum_b;
        if !(1.0 / MOST_FLICKER..=MOST_FLICKER).contains(&flicker) {
            return None;
        }
        let white = f64::from(a.white_dn);
        let mut own = pair_tiles(&a, &b, flicker as f32, first.len(), white);
        // Flat for its tone: ranked within bins of tone, so that bright tiles, whose mean is
        // noisier, are not passed over.
        own.sort_unstable_by(|x, y| x.1.level.total_cmp(&y.1.level).then(x.0.total_cmp(&y.0)));
        let count = own.len();
        for bin in 0..BINS {
            let span = &mut own[bin * count / BINS..(bin + 1) * count / BINS];
            span.sort_unstable_by(|x, y| x.0.total_cmp(&y.0).then(x.1.level.total_cmp(&y.1.level)));
            let wanted = (PAIR_FLATTEST * span.len() as f64).ceil() as usize;
            let (flat, rest) = span.split_at(wanted);
            let mean = |part: &[(f64, Tile)]| {
                part.iter().map(|t| t.1.choose + t.1.measure).sum::<f64>() / part.len() as f64
            };
            misfits.push(mean(rest) / mean(flat));
            chosen.extend(flat.iter().map(|t| t.1));
        }
    }
    if crate::base::stats::median(&mut misfits).is_none_or(|m| m.is_nan() || m > PAIR_MISFIT) {
        return None;
    }
    if chosen.len() < LEAST_TILES {
        return None;
    }
    chosen.sort_unstable_by(|a, b| a.level.total_cmp(&b.level).then(a.choose.total_cmp(&b.choose)));
    let mut points: Vec<(TonePoint, usize)> = (0..BINS)
        .filter_map(|bin| {
            let span = &chosen[bin * chosen.len() / BINS..(bin + 1) * chosen.len() / BINS];
            Some((point(span.iter(), ALL_COUNT)?, span.len()))
        })
        .collect();
    let mut slopes: Vec<f64> = points.iter().map(|p| p.0.slope).collect();
    if crate::base::stats::median(&mut slopes).is_none_or(|s| s > PAIR_SLOPE) {
        return None;
    }
    keep(&mut points);
    let (beta, covariance) = fit(&points)?;
    Some(RawNoise {
        a: beta[0],
        b: beta[1],
        covariance,
        tiles: points.iter().filter(|p| p.0.kept).map(|p| p.1 as u32).sum(),
        points: points.into_iter().map(|p| p.0).collect(),
        method: RawMethod::Pair,
    })
}

/// Noise of one body over its ISO settings: a = a0·g, b = c0 + c1·g², g = ISO/100.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IsoModel {
    /// Slope of the variance at ISO 100, share of saturation.
    pub a0: f64,
    /// Variance at black that amplification does not touch.
    pub c0: f64,
    /// Variance at black that grows with the square of the gain, at ISO 100.
    pub c1: f64,
}

impl IsoModel {
    /// Fits the trusted settings, (ISO, noise); `None` with fewer than two ISO settings.
    pub fn fit(settings: &[(f64, &RawNoise)]) -> Option<IsoModel> {
        let trusted: Vec<(f64, &RawNoise)> =
            settings.iter().filter(|s| s.1.is_trusted()).map(|s| (s.0 / 100.0, s.1)).collect();
        let first = trusted.first()?.0;
        if trusted.iter().all(|s| (s.0 / first - 1.0).abs() < 1e-6) {
            return None;
        }
        let slopes: Vec<f64> = trusted.iter().map(|(g, n)| n.a / g).collect();
        let a0 = crate::base::stats::median(&mut slopes.clone())?;
        // Variances at black span decades: each counts by its own size.
        let rows: Vec<([f64; 2], f64, f64)> = trusted
            .iter()
            .filter(|(_, n)| n.b > 0.0)
            .map(|(g, n)| ([1.0, g * g], n.b, 1.0 / (n.b * n.b)))
            .collect();
        let [c0, c1] = not_negative(&rows)?.0;
        Some(IsoModel { a0, c0, c1 })
    }

    /// Deviation at an ISO and a level, shares of saturation.
    pub fn sigma_at(&self, iso: f64, level: f64) -> Option<f64> {
        let g = iso / 100.0;
        affine_sigma(self.a0 * g, self.c0 + self.c1 * g * g, level)
    }
}

/// Fewer tiles than this tell nothing.
const LEAST_TILES: usize = 100;

/// One tile: tone, what it is chosen by, what it measures.
#[derive(Debug, Clone, Copy)]
struct Tile {
    level: f64,
    choose: f64,
    measure: f64,
}

type Samples = [f32; SIDE * SIDE];

/// Distance between tiles so that about [`MOST_TILES`] are looked at in all planes.
fn step_for(width: usize, height: usize, planes: usize) -> usize {
    let at_step = (width / STEP) * (height / STEP) * planes;
    let over = (at_step as f64 / MOST_TILES as f64).sqrt().max(1.0);
    (STEP as f64 * over).ceil() as usize
}

/// Every usable tile of the planes.
fn tiles(planes: &[Plane], look: impl Fn(&Samples, &Plane) -> Tile) -> Option<Vec<Tile>> {
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
    (found.len() >= LEAST_TILES).then_some(found)
}

fn each_tile(plane: &Plane, step: usize, mut f: impl FnMut(usize, usize, &Samples)) {
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

/// Tiles of the difference of two planes, each with how uneven the mean of both is there.
fn pair_tiles(a: &Plane, b: &Plane, gain: f32, planes: usize, white: f64) -> Vec<(f64, Tile)> {
    let step = step_for(a.width_px, a.height_px, planes);
    let mut found = Vec::new();
    let mut other = [0.0f32; SIDE * SIDE];
    each_tile(a, step, |x0, y0, samples| {
        for (y, row) in other.chunks_exact_mut(SIDE).enumerate() {
            row.copy_from_slice(&b.row(y0 + y)[x0..x0 + SIDE]);
        }
        let clip = CLIPPED * a.white_dn;
        if samples.iter().chain(&other).any(|v| *v >= clip) {
            return;
        }
        let mean: Samples = std::array::from_fn(|i| 0.5 * (samples[i] + gain * other[i]));
        let half = std::f32::consts::FRAC_1_SQRT_2;
        let difference: Samples = std::array::from_fn(|i| half * (samples[i] - gain * other[i]));
        let m = cosine(&mean);
        let d = cosine(&difference);
        let uneven = bands(&m).0 / (white * white);
        let (low, high) = bands(&d);
        found.push((
            uneven,
            Tile {
                level: f64::from(m[0]) / SIDE as f64 / white,
                choose: low / (white * white),
                measure: high / (white * white),
            },
        ));
    });
    found
}

/// A point from chosen tiles. `used` coefficients a tile: only those of the high band, or all.
fn point<'a>(tiles: impl Iterator<Item = &'a Tile>, used: f64) -> Option<TonePoint> {
    let (mut level, mut low, mut high, mut n) = (0.0, 0.0, 0.0, 0.0);
    for tile in tiles {
        level += tile.level;
        low += tile.choose;
        high += tile.measure;
        n += 1.0;
    }
    if n < 1.0 || high <= 0.0 {
        return None;
    }
    let all = used > HIGH_COUNT;
    let whole = (low * (ALL_COUNT - HIGH_COUNT) + high * HIGH_COUNT) / ALL_COUNT;
    let variance = if all { whole } else { high } / n;
    // A variance from k squares scatters by √(2/k); neighbours share up to three quarters of
    // their samples, so a quarter of the tiles counts.
    let squares = used * (n / 4.0).max(1.0);
    Some(TonePoint {
        level: level / n,
        variance,
        std_err: variance * (2.0 / squares).sqrt(),
        slope: low / high,
        kept: true,
    })
}

/// Marks the points without texture, or the three with least; gives the share without.
fn keep(points: &mut [(TonePoint, usize)]) -> f64 {
    let flat = points.iter().filter(|p| p.0.slope < TEXTURED).count();
    let share = flat as f64 / points.len().max(1) as f64;
    let mut slopes: Vec<f64> = points.iter().map(|p| p.0.slope).collect();
    slopes.sort_unstable_by(f64::total_cmp);
    let least = slopes.get(LEAST_KEPT - 1).or(slopes.last()).copied().unwrap_or(f64::INFINITY);
    for (p, _) in points.iter_mut() {
        p.kept = p.slope < TEXTURED || (flat < LEAST_KEPT && p.slope <= least);
    }
    share
}

type Line = ([f64; 2], [[f64; 2]; 2]);

/// a and b that are not negative, relative weights, positive residuals weighted down.
fn fit(points: &[(TonePoint, usize)]) -> Option<Line> {
    let kept: Vec<&TonePoint> = points.iter().map(|p| &p.0).filter(|p| p.kept).collect();
    let mut model: Vec<f64> = kept.iter().map(|p| p.variance).collect();
    let mut trust = vec![1.0; kept.len()];
    let mut line = None;
    for _ in 0..REWEIGHTS {
        let rows: Vec<([f64; 2], f64, f64)> = kept
            .iter()
            .zip(&model)
            .zip(&trust)
            .map(|((p, m), t)| {
                let err = p.std_err / p.variance * m;
                ([p.level, 1.0], p.variance, t / (err * err))
            })
            .collect();
        let found = not_negative(&rows)?;
        let [a, b] = found.0;
        let least = kept.iter().map(|p| p.variance).fold(f64::INFINITY, f64::min);
        for (m, p) in model.iter_mut().zip(&kept) {
            *m = (a * p.level + b).max(0.1 * least);
        }
        let residuals: Vec<f64> =
            kept.iter().zip(&model).map(|(p, m)| (p.variance - m) / m).collect();
        let spread = mad_sigma(&mut residuals.clone())?;
        for (t, r) in trust.iter_mut().zip(&residuals) {
            *t = if *r > HUBER * spread && spread > 0.0 { HUBER * spread / r } else { 1.0 };
        }
        line = Some(found);
    }
    line
}

/// Least squares of two coefficients that may not be negative.
fn not_negative(rows: &[([f64; 2], f64, f64)]) -> Option<Line> {
    if let Some(free) = least_squares(rows)
        && free.beta.iter().all(|b| *b >= 0.0)
    {
        return Some((free.beta, free.covariance));
    }
    (0..2)
        .filter_map(|i| {
            let one: Vec<([f64; 1], f64, f64)> =
                rows.iter().map(|(x, y, w)| ([x[i]], *y, *w)).collect();
            let fit = least_squares(&one)?;
            let (mut beta, mut covariance) = ([0.0; 2], [[0.0; 2]; 2]);
            beta[i] = fit.beta[0].max(0.0);
            covariance[i][i] = fit.covariance[0][0];
            Some((fit.chi_square, (beta, covariance)))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, line)| line)
}

/// Orthonormal cosine transform of a tile (DCT-II).
fn cosine(tile: &Samples) -> Samples {
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
fn bands(c: &Samples) -> (f64, f64) {
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

/// The whole shift of the second plane that fits best; `None` when it is at the end of the range.
fn whole_shift(a: &Plane, b: &Plane) -> Option<(isize, isize)> {
    let misfit = |dx: isize, dy: isize| {
        let (x, y) = overlap_boxes(a, (dx, dy));
        let (mut sum, mut n) = (0.0f64, 0u32);
        for row in (0..x.3).step_by(3) {
            let from = &a.row(x.1 + row)[x.0..x.0 + x.2];
            let to = &b.row(y.1 + row)[y.0..y.0 + x.2];
            for (p, q) in from.iter().zip(to).step_by(3) {
                sum += f64::from(p - q).powi(2);
                n += 1;
            }
        }
        sum / f64::from(n.max(1))
    };
    if a.width_px <= 4 * MOST_SHIFT as usize || a.height_px <= 4 * MOST_SHIFT as usize {
        return None;
    }
    let range = -MOST_SHIFT..=MOST_SHIFT;
    let (_, dx, dy) = range
        .clone()
        .flat_map(|dy| range.clone().map(move |dx| (dx, dy)))
        .map(|(dx, dy)| (misfit(dx, dy), dx, dy))
        .min_by(|p, q| {
            p.0.total_cmp(&q.0).then((p.1.abs() + p.2.abs()).cmp(&(q.1.abs() + q.2.abs())))
        })?;
    (dx.abs() < MOST_SHIFT && dy.abs() < MOST_SHIFT).then_some((dx, dy))
}

/// Left, top, width and height of the common part in the first and in the second plane.
type Box4 = (usize, usize, usize, usize);

fn overlap_boxes(a: &Plane, (dx, dy): (isize, isize)) -> (Box4, Box4) {
    let (w, h) = (a.width_px - dx.unsigned_abs(), a.height_px - dy.unsigned_abs());
    let at = |d: isize| (d.max(0) as usize, (-d).max(0) as usize);
    let ((ax, bx), (ay, by)) = (at(dx), at(dy));
    ((ax, ay, w, h), (bx, by, w, h))
}

fn overlap(a: &Plane, b: &Plane, shift: (isize, isize)) -> (Plane, Plane) {
    let (x, y) = overlap_boxes(a, shift);
    (a.cut(x.0, x.1, x.2, x.3), b.cut(y.0, y.1, y.2, y.3))
}

fn total(plane: &Plane) -> f64 {
    plane.data.iter().map(|v| f64::from(*v)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::random::SplitMix64;

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

    /// Steps of tone with noise of variance a·x + b.
    fn planes(a: f64, b: f64, seed: u64, texture: f32) -> Vec<Plane> {
        let mut rng = SplitMix64::new(seed);
        (0..4)
            .map(|_| {
                let mut plane = Plane::from_fn(256, 192, Tone::Linear, |x, y| {
                    let darkest = if texture > 0.0 { 0.05 } else { 0.01 };
                    let ground = darkest + 0.04 * (x / 16) as f32;
                    let ripple = 0.25 * ((0.7 * x as f32).sin() + (0.5 * y as f32).cos());
                    let mean = ground + texture * ripple;
                    let sigma = (a * f64::from(mean).max(0.0) + b).sqrt();
                    mean + (sigma * rng.normal()) as f32
                });
                plane.white_dn = 1.0;
                plane
            })
            .collect()
    }

    // facts N4 (Foi et al.): a = .0005, b = 1e-5 gives .0116190 at .25 and .0044721 at .02.
    #[test]
    fn n4_one_frame_gives_the_model_back() {
        let found = raw_noise(&planes(0.0005, 1e-5, 3, 0.0)).unwrap();
        assert_eq!(found.method, RawMethod::Single);
        for (level, want) in [(0.25, 0.011_619), (0.02, 0.004_472_1)] {
            let got = found.sigma_at(level).unwrap();
            assert!((got.value / want - 1.0).abs() < 0.03, "{level}: {} {want}", got.value);
            assert!((got.value - want).abs() < 3.0 * got.std_err.unwrap());
        }
    }

    #[test]
    fn n4_a_pair_gives_it_in_spite_of_texture() {
        let (first, second) = (planes(0.0005, 1e-5, 3, 0.09), planes(0.0005, 1e-5, 4, 0.09));
        let found = raw_noise_of_pair(&first, &second).unwrap();
        for (level, want) in [(0.25, 0.011_619), (0.02, 0.004_472_1)] {
            let got = found.sigma_at(level).unwrap().value;
            assert!((got / want - 1.0).abs() < 0.02, "{level}: {got} {want}");
        }
        // One frame of it alone is a bound, and says so.
        let single = raw_noise(&first).unwrap();
        assert_eq!(single.method, RawMethod::UpperBound);
        let bound = single.sigma_at(0.25).unwrap();
        assert!(bound.value > 0.011_619 - 3.0 * bound.std_err.unwrap(), "{bound:?}");
        // Another scene is no pair.
        let moved: Vec<Plane> = planes(0.0005, 1e-5, 5, 0.09)
            .into_iter()
            .map(|p| Plane { data: p.data.iter().rev().copied().collect(), ..p })
            .collect();
        assert_eq!(raw_noise_of_pair(&first, &moved), None);
    }

    #[test]
    fn encoded_and_tiny_planes_are_refused() {
        assert_eq!(raw_noise(&[Plane::zeros(256, 256, Tone::Encoded)]), None);
        assert_eq!(raw_noise(&[Plane::zeros(16, 16, Tone::Linear)]), None);
    }
}
