//! From what three scales say of a tile to its blur and the error of that.
//!
//! The tables of [`super::blur`] hold for one clean edge. On overlapping shapes they read 0.66 to
//! 0.89 of the truth, on weak edges in noise up to 1.3 times it. What tells the cases apart is in
//! the sums already taken: the number of ridge pixels, the energy off the ridges over the energy on
//! them (`spread`, 0.8 to 0.95 for a lone edge, above 1 for overlapping shapes), the height of the
//! edge over the noise, and how the readings of neighbouring levels differ. A linear fit of
//! ln(blur) on those, one a level, corrects the reading; a second one tells its error; the level
//! with the least error decides.
//!
//! Assumes blur that is nearly Gaussian and white or pink noise of up to 8 DN. Fitted by least
//! absolute error on simulated edges and dead leaves of 0.5 to 8.5 px (`accuracy tiles` writes the
//! table, `benches/fit_blur.py` fits it); outside that range readings are drawn towards it.

use super::band_noise::LevelNoise;
use super::blur::{self, ridge_ratio};
use super::blur_correction_table::{
    ERROR_OWN, ERROR_OWN_TERMS, ERROR_PAIR, ERROR_PAIR_TERMS, ERROR_SCALE, OWN, OWN_TERMS, PAIR,
    PAIR_TERMS,
};
use super::cells::CellStats;

/// Range in which `spread` is taken, ln.
const SPREAD_LN: (f64, f64) = (-0.6, 0.8);
/// Ridge pixels a tile that count as 0 on the scale of [`CellReading::ridge_ln`].
const RIDGE_UNIT: f64 = 8.0;
/// Largest difference of two levels' readings that is taken, ln.
const MAX_STEP_LN: f64 = 2.0;
/// How far the fit may go from the table's reading, ln. Patterns that are neither edges nor leaves
/// (soft stripes) would be read as sharp.
const MAX_DOWN_LN: f64 = 0.35;
/// See [`MAX_DOWN_LN`].
const MAX_UP_LN: f64 = 1.3;
/// `spread` below this, ln, is neither an edge nor leaves but a pattern of stripes.
const STRIPES_LN: f64 = -0.45;
/// Least error of what the table reads there, ln.
const STRIPES_ERROR_LN: f64 = 0.2;
/// Of several levels the one that seems best is a little less so: measured on held-out patches.
const WIDER: f64 = 1.03;
/// Keeps the logarithm of a vanishing error finite.
const MIN_ERROR: f64 = 0.02;
/// Range of ln(blur) over which the error is modelled.
const ERROR_RANGE_LN: (f64, f64) = (-1.1, 2.4);

/// What one level says of a tile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellReading {
    /// ln of the blur the table gives, px.
    pub sigma_ln: f64,
    /// ln of the energy off the ridges over that on them, 0 for an ideal lone edge.
    pub spread_ln: f64,
    /// Least edge over noise that is read, over this edge's: 1 just seen, 0 no noise.
    pub faintness: f64,
    /// Standard error of the table's blur from the scatter along the ridges, as a share of it.
    pub scatter: f64,
    /// ln of the ridge pixels a tile over 8.
    pub ridge_ln: f64,
}

impl CellReading {
    /// The reading of `tiles` pooled tiles at a level, or `None` where there is too little edge.
    pub fn of(
        cell: &CellStats,
        noise: &LevelNoise,
        level: usize,
        tiles: f64,
    ) -> Option<CellReading> {
        let ratio = ridge_ratio(cell, noise, level)?;
        let (sigma, slope) = blur::sigma_in_table(level, ratio.ratio);
        let side = f64::from(32u32 >> level);
        let energy = (f64::from(cell.e2) - noise.n2.at(cell.mean)) * side * side * tiles;
        let width = std::f64::consts::PI.sqrt() * (sigma * sigma + blur::s2_squared(level)).sqrt()
            / f64::from(1u32 << level);
        let spread = energy / (ratio.ridge_energy * width);
        if spread <= 0.0 {
            return None;
        }
        Some(CellReading {
            sigma_ln: sigma.ln(),
            spread_ln: spread.ln().clamp(SPREAD_LN.0, SPREAD_LN.1),
            faintness: blur::MIN_SNR / ratio.snr,
            scatter: (slope.abs() * ratio.std_err / sigma).min(1.0),
            ridge_ln: (ratio.n / tiles).max(1.0).ln() - RIDGE_UNIT.ln(),
        })
    }

    fn own(&self) -> [f64; OWN_TERMS] {
        let (s, w, q, e, n) =
            (self.sigma_ln, self.spread_ln, self.faintness, self.scatter, self.ridge_ln);
        [
            1.0,
            s,
            s * s,
            s * s * s,
            w,
            w * w,
            w * s,
            q,
            q * q,
            q * s,
            q * w,
            e,
            e * s,
            n,
            n * s,
            n * n,
            n * w,
            n * q,
        ]
    }

    fn step_ln(&self, other: &CellReading) -> f64 {
        (other.sigma_ln - self.sigma_ln).clamp(-MAX_STEP_LN, MAX_STEP_LN)
    }

    fn pair(&self, other: &CellReading) -> [f64; PAIR_TERMS] {
        let r = self.step_ln(other);
        let (w, q, n) = (other.spread_ln, other.faintness, other.ridge_ln);
        [1.0, r, r * r, r * self.sigma_ln, w, q, q * r, n, n * r]
    }

    fn error_own(&self, sigma_ln: f64) -> [f64; ERROR_OWN_TERMS] {
        let p = sigma_ln.clamp(ERROR_RANGE_LN.0, ERROR_RANGE_LN.1);
        let lq = self.faintness.ln();
        let w = self.spread_ln;
        [1.0, p, p * p, lq, lq * p, w, w.abs(), self.ridge_ln, (self.scatter + MIN_ERROR).ln()]
    }

    fn error_pair(&self, other: &CellReading) -> [f64; ERROR_PAIR_TERMS] {
        let r = self.step_ln(other);
        [1.0, r.abs(), r]
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Blur as the fit tells it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CorrectedBlur {
    /// The level that decided.
    pub level: usize,
    /// Blur, px, within [`crate::sharpness::blur::FLOOR_PX`] and [`crate::sharpness::blur::CEILING_PX`].
    pub sigma_px: f64,
    /// One standard error of ln(blur).
    pub error_ln: f64,
}

/// Blur from the readings of the three levels; `None` where no level has one.
pub fn correct(readings: &[Option<CellReading>; 3]) -> Option<CorrectedBlur> {
    let mut best: Option<CorrectedBlur> = None;
    for (level, reading) in readings.iter().enumerate() {
        let Some(own) = reading else { continue };
        // Below, then above.
        let beside = [level.checked_sub(1), Some(level + 1)]
            .map(|l| l.and_then(|l| readings.get(l)).and_then(Option::as_ref));
        let mut sigma_ln = dot(&OWN[level], &own.own());
        for (k, other) in beside.iter().enumerate() {
            if let Some(other) = other {
                sigma_ln += dot(&PAIR[level][k], &own.pair(other));
            }
        }
        sigma_ln = sigma_ln.clamp(own.sigma_ln - MAX_DOWN_LN, own.sigma_ln + MAX_UP_LN);
        let mut error_ln = dot(&ERROR_OWN[level], &own.error_own(sigma_ln));
        for (k, other) in beside.iter().enumerate() {
            if let Some(other) = other {
                error_ln += dot(&ERROR_PAIR[level][k], &own.error_pair(other));
            }
        }
        let mut error_ln = WIDER * ERROR_SCALE[level] * error_ln.exp();
        if own.spread_ln < STRIPES_LN {
            sigma_ln = own.sigma_ln;
            error_ln = error_ln.max(STRIPES_ERROR_LN);
        }
        if best.is_none_or(|b| error_ln < b.error_ln) {
            let sigma_px = sigma_ln.exp().clamp(blur::FLOOR_PX, blur::CEILING_PX);
            best = Some(CorrectedBlur { level, sigma_px, error_ln });
        }
    }
    best
}
