//! The photon-transfer curve: variance over tone, and the straight line through it.

use super::TonePoint;
use super::tile::{ALL_COUNT, HIGH_COUNT, NoiseTile};
use crate::core::stats::{least_squares, mad_sigma};

/// Bins of tone, of equal count.
pub(super) const BINS: usize = 12;
/// A bin whose low band holds this many times its high band is textured.
const TEXTURED: f64 = 1.6;
/// Bins used in any case.
const MIN_KEPT: usize = 3;
/// Reweightings of a fit.
const REWEIGHTS: usize = 10;
/// Positive residuals beyond this many robust deviations are weighted down: texture only adds.
const HUBER: f64 = 1.5;

/// A point from chosen tiles. `used` coefficients a tile: only those of the high band, or all.
pub(super) fn point<'a>(
    tiles: impl Iterator<Item = &'a NoiseTile>,
    used: f64,
) -> Option<TonePoint> {
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
pub(super) fn keep(points: &mut [(TonePoint, usize)]) -> f64 {
    let flat = points.iter().filter(|p| p.0.slope < TEXTURED).count();
    let share = flat as f64 / points.len().max(1) as f64;
    let mut slopes: Vec<f64> = points.iter().map(|p| p.0.slope).collect();
    slopes.sort_unstable_by(f64::total_cmp);
    let least = slopes.get(MIN_KEPT - 1).or(slopes.last()).copied().unwrap_or(f64::INFINITY);
    for (p, _) in points.iter_mut() {
        p.kept = p.slope < TEXTURED || (flat < MIN_KEPT && p.slope <= least);
    }
    share
}

pub(super) type TransferLine = ([f64; 2], [[f64; 2]; 2]);

/// a and b that are not negative, relative weights, positive residuals weighted down.
pub(super) fn fit(points: &[(TonePoint, usize)]) -> Option<TransferLine> {
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
pub(super) fn not_negative(rows: &[([f64; 2], f64, f64)]) -> Option<TransferLine> {
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
