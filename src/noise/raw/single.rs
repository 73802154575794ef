//! Noise of one frame: its flattest places, tone by tone.

use super::curve::{BINS, fit, keep, point};
use super::tile::{HIGH_COUNT, NoiseTile, SIDE, bands, cosine, tiles};
use super::{RawMethod, RawNoise, TonePoint};
use crate::core::Plane;
use crate::core::stats::split_lowest;

/// Share of a bin's tiles taken as its flat places, and how many at least.
const QUIETEST: f64 = 0.05;
const MIN_SELECTED_TILES: usize = 30;
/// Passes of choosing and fitting.
const PASSES: usize = 4;
/// Share of kept bins from which a figure is trusted, not only a bound.
const TRUSTED: f64 = 0.4;

/// Noise of one frame from its colour planes (linear, black at 0, saturation at `white_dn`).
///
/// `None` when a plane is not linear, or fewer than 100 tiles are left.
pub fn raw_noise(planes: &[Plane]) -> Option<RawNoise> {
    let mut tiles = tiles(planes, |tile, plane| {
        let white = f64::from(plane.white_dn);
        let c = cosine(tile);
        let (low, high) = bands(&c);
        NoiseTile {
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
            let mut order: Vec<(f64, &NoiseTile)> =
                span.iter().map(|t| (t.choose / expected(t.level), t)).collect();
            let wanted = ((QUIETEST * span.len() as f64).round() as usize).max(MIN_SELECTED_TILES);
            let wanted = wanted.min(order.len());
            let (quiet, _) = split_lowest(&mut order, wanted, |x, y| {
                x.0.total_cmp(&y.0).then(x.1.level.total_cmp(&y.1.level))
            });
            points.extend(point(quiet.iter().map(|o| o.1), HIGH_COUNT).map(|p| (p, wanted)));
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
