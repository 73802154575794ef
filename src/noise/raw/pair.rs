//! Noise of two frames of a still scene: what is left of their difference.

use super::curve::{BINS, fit, keep, point};
use super::tile::{
    ALL_COUNT, CLIPPED, MIN_TILES, NoiseTile, SIDE, TileSamples, bands, cosine, each_tile, step_for,
};
use super::{RawMethod, RawNoise, TonePoint};
use crate::core::Plane;

/// Share of the tiles of a pair that are used: those flattest in the mean of both frames.
const PAIR_FLATTEST: f64 = 0.5;
/// Low over high band in the difference of a pair beyond which the frames did not fit on each
/// other: sigma would be some 2 % high, and one frame does better.
const PAIR_SLOPE: f64 = 1.05;
/// The difference of a pair does not know where the scene is textured, unless the frames did not
/// fit: then it is larger there than in flat places, and beyond this factor the pair is refused.
const PAIR_MISFIT: f64 = 1.05;
/// Frames of a pair may be this far apart, samples of one plane.
const MAX_SHIFT: isize = 3;
/// Frames of a pair may differ by this factor in brightness.
const MAX_FLICKER: f64 = 1.05;

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
    let mut chosen: Vec<NoiseTile> = Vec::new();
    let mut misfits: Vec<f64> = Vec::new();
    for (a, b) in first.iter().zip(second) {
        let (a, b) = overlap(a, b, shift);
        let (sum_a, sum_b) = (total(&a), total(&b));
        let flicker = sum_a / sum_b;
        if !(1.0 / MAX_FLICKER..=MAX_FLICKER).contains(&flicker) {
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
            let mean = |part: &[(f64, NoiseTile)]| {
                part.iter().map(|t| t.1.choose + t.1.measure).sum::<f64>() / part.len() as f64
            };
            misfits.push(mean(rest) / mean(flat));
            chosen.extend(flat.iter().map(|t| t.1));
        }
    }
    if crate::core::stats::median(&mut misfits).is_none_or(|m| m.is_nan() || m > PAIR_MISFIT) {
        return None;
    }
    if chosen.len() < MIN_TILES {
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
    if crate::core::stats::median(&mut slopes).is_none_or(|s| s > PAIR_SLOPE) {
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

/// Tiles of the difference of two planes, each with how uneven the mean of both is there.
fn pair_tiles(a: &Plane, b: &Plane, gain: f32, planes: usize, white: f64) -> Vec<(f64, NoiseTile)> {
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
        let mean: TileSamples = std::array::from_fn(|i| 0.5 * (samples[i] + gain * other[i]));
        let half = std::f32::consts::FRAC_1_SQRT_2;
        let difference: TileSamples =
            std::array::from_fn(|i| half * (samples[i] - gain * other[i]));
        let m = cosine(&mean);
        let d = cosine(&difference);
        let uneven = bands(&m).0 / (white * white);
        let (low, high) = bands(&d);
        found.push((
            uneven,
            NoiseTile {
                level: f64::from(m[0]) / SIDE as f64 / white,
                choose: low / (white * white),
                measure: high / (white * white),
            },
        ));
    });
    found
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
    if a.width_px <= 4 * MAX_SHIFT as usize || a.height_px <= 4 * MAX_SHIFT as usize {
        return None;
    }
    let range = -MAX_SHIFT..=MAX_SHIFT;
    let (_, dx, dy) = range
        .clone()
        .flat_map(|dy| range.clone().map(move |dx| (dx, dy)))
        .map(|(dx, dy)| (misfit(dx, dy), dx, dy))
        .min_by(|p, q| {
            p.0.total_cmp(&q.0).then((p.1.abs() + p.2.abs()).cmp(&(q.1.abs() + q.2.abs())))
        })?;
    (dx.abs() < MAX_SHIFT && dy.abs() < MAX_SHIFT).then_some((dx, dy))
}

/// Left, top, width and height of the common part in the first and in the second plane.
type OverlapBox = (usize, usize, usize, usize);

fn overlap_boxes(a: &Plane, (dx, dy): (isize, isize)) -> (OverlapBox, OverlapBox) {
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
