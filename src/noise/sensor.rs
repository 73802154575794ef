//! The linear model of a sensor's noise: what light, read-out and rounding should give.
//!
//! EMVA Standard 1288, release 4 linear; Janesick, *Photon Transfer* (SPIE 2007); Foi et al.,
//! IEEE TIP 17:1737 (2008), DOI 10.1109/TIP.2008.2001399. Assumes linear samples below
//! saturation; a rendered picture follows none of this.

/// Variance of rounding to whole steps, DN².
pub const ROUNDING_DN2: f64 = 1.0 / 12.0;

/// A linear sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// Gain K, DN per electron.
    pub gain_dn_e: f64,
    /// Deviation in the dark, electrons.
    pub dark_e: f64,
}

impl Sensor {
    /// Variance at a mean signal of `signal_e` electrons, DN².
    pub fn variance_dn2(&self, signal_e: f64) -> f64 {
        self.gain_dn_e.powi(2) * (self.dark_e.powi(2) + signal_e) + ROUNDING_DN2
    }

    /// Signal over noise at a mean signal of `signal_e` electrons.
    pub fn snr(&self, signal_e: f64) -> f64 {
        self.gain_dn_e * signal_e / self.variance_dn2(signal_e).sqrt()
    }

    /// Signal at which signal and noise are equal, electrons.
    pub fn least_signal_e(&self) -> f64 {
        let dark_dn2 = (self.gain_dn_e * self.dark_e).powi(2) + ROUNDING_DN2;
        0.5 + (dark_dn2 / self.gain_dn_e.powi(2) + 0.25).sqrt()
    }

    /// Dynamic range: full well over the least signal.
    pub fn dynamic_range(&self, full_well_e: f64) -> f64 {
        full_well_e / self.least_signal_e()
    }

    /// The gain K from two mean signals and their variances, DN per electron; `None` when the
    /// signals are equal.
    pub fn gain_from_two_points(low: (f64, f64), high: (f64, f64)) -> Option<f64> {
        let k = (high.1 - low.1) / (high.0 - low.0);
        k.is_finite().then_some(k)
    }
}

/// Deviation of the affine model, variance = a·x + b, at signal `x` (same unit as a and b
/// imply); `None` when the model gives a negative variance.
pub fn affine_sigma(a: f64, b: f64, x: f64) -> Option<f64> {
    let variance = a * x + b;
    (variance >= 0.0).then(|| variance.sqrt())
}

/// Anscombe's transform of a Poisson count: deviation about 1 whatever the mean.
pub fn anscombe(count: f64) -> f64 {
    2.0 * (count + 0.375).sqrt()
}
