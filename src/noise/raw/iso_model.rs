//! Noise of one body over its ISO settings.

use super::RawNoise;
use super::affine_sigma;
use super::curve::not_negative;

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
        let a0 = crate::core::stats::median(&mut slopes.clone())?;
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
