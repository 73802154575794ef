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

mod curve;
mod iso_model;
mod pair;
mod single;
mod tile;

pub use iso_model::IsoModel;
pub use pair::raw_noise_of_pair;
pub use single::raw_noise;

use crate::core::Measured;

/// Variance of rounding to whole steps, DN².
pub const ROUNDING_DN2: f64 = 1.0 / 12.0;

/// Scatter of the one-frame method itself, share of sigma (measured: 1.3 % on a macro scene).
const SINGLE_REL_ERR: f64 = 0.015;
/// The same for a pair (tests below: within 2 %).
const PAIR_REL_ERR: f64 = 0.007;

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

/// Deviation of the affine model, variance = a·x + b, at signal `x` (same unit as a and b
/// imply); `None` when the model gives a negative variance.
pub fn affine_sigma(a: f64, b: f64, x: f64) -> Option<f64> {
    let variance = a * x + b;
    (variance >= 0.0).then(|| variance.sqrt())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;
    use crate::core::{Plane, Tone};

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
    // facts N4: Foi et al. 2008.
    #[test]
    fn the_affine_model_gives_deviations() {
        approx::assert_abs_diff_eq!(
            affine_sigma(5e-4, 1e-5, 0.25).unwrap(),
            0.0116190,
            epsilon = 1e-6
        );
        approx::assert_abs_diff_eq!(
            affine_sigma(5e-4, 1e-5, 0.02).unwrap(),
            0.0044721,
            epsilon = 1e-6
        );
        assert_eq!(affine_sigma(5e-4, -1e-3, 0.0), None);
    }

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
