//! Signal and noise of one step of a series, kept apart, so that the detail of the lens at one
//! setting under the noise of another can be worked out.
//!
//! From K registered frames of a still scene: the noise of a frame is the mean power of the
//! residuals to their mean times K/(K−1); the signal is the power of the mean less the noise that
//! is left in it, N/K (Welch's periodograms, see [`super::spectrum`]). From one frame the noise
//! has to come from elsewhere. D is that of [`crate::detail::information`].
//!
//! The errors are those that chance in the noise makes on this very scene: of a mean periodogram
//! of L looks at a scene of power S under noise of power N the variance is (2SN + N²)/L. Leaving
//! tiles out instead would add how uneven the scene is, which is the same at every step.

use super::spectrum::{FIRST_RING, NoiseSpectrum, RINGS, Spectrum, TILE_PX};
use crate::core::Plane;

/// Neighbouring tiles share half their pixels both ways: each counts for about half a look (as in
/// [`NoiseSpectrum::of_pair`]).
const LOOKS_A_TILE: f64 = 0.5;

/// A signal of this many standard errors counts half.
const CHANCE: f64 = 2.0;

/// Power per ring.
pub type RingPowers = [f64; RINGS];

/// Signal and noise of one step.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalNoise {
    /// Power of the scene as the lens passed it, per ring, squared sample units.
    pub signal: RingPowers,
    /// Power of one frame's noise.
    pub noise: RingPowers,
    /// Power of the frames' mean, signal and what noise is left in it together.
    pub power: RingPowers,
    /// Independent frequencies per ring in one tile.
    pub count: RingPowers,
    /// One standard error of the signal.
    pub signal_err: RingPowers,
    /// One standard error of the noise.
    pub noise_err: RingPowers,
    /// Tiles.
    pub tiles: u32,
    /// Frames.
    pub frames: u32,
}

impl SignalNoise {
    /// From registered frames of one step, two at least; `keep` says which tiles count
    /// ([`Spectrum::of_tiles`]). `None` when sizes differ or no tile is kept.
    pub fn of_repeats(planes: &[&Plane], keep: &[bool]) -> Option<SignalNoise> {
        let first = planes.first()?;
        let k = planes.len() as f64;
        if planes.len() < 2 || planes.iter().any(|p| p.data.len() != first.data.len()) {
            return None;
        }
        let mut mean = (*first).clone();
        for plane in &planes[1..] {
            mean.data.iter_mut().zip(&plane.data).for_each(|(m, v)| *m += v);
        }
        let share = 1.0 / planes.len() as f32;
        mean.data.iter_mut().for_each(|m| *m *= share);
        let residuals: Option<Vec<Spectrum>> = if planes.len() == 2 {
            // The two residuals are each other's mirror image.
            Some(vec![Spectrum::of_tiles(&less(first, &mean), keep)?])
        } else {
            planes.iter().map(|p| Spectrum::of_tiles(&less(p, &mean), keep)).collect()
        };
        let residuals = residuals?;
        let whole = Spectrum::of_tiles(&mean, keep)?;
        let mut noise = [0.0; RINGS];
        for residual in &residuals {
            noise.iter_mut().zip(residual.power).for_each(|(s, v)| *s += v);
        }
        let noise = noise.map(|s| s / residuals.len() as f64 * k / (k - 1.0));
        Some(SignalNoise::apart(&whole, noise, planes.len() as u32))
    }

    /// As [`Self::of_repeats`], for frames that moved against each other.
    ///
    /// What is finer than the pixel grid, or than its colour filters, shows up as false detail
    /// that depends on where the grid lies: registration brings the frames together, not their
    /// false detail, and their difference would count it as noise (up to 35 % of D at a working
    /// f/11). `shape` is the noise's spectrum found otherwise. It is scaled to the rings in which
    /// the difference agrees with it; where the difference stands above it by more than `above`,
    /// it replaces it, and the signal is that of the single frames. The second value says whether
    /// that happened.
    pub fn of_moved_repeats(
        planes: &[&Plane],
        keep: &[bool],
        shape: &RingPowers,
        above: f64,
    ) -> Option<(SignalNoise, bool)> {
        let mut found = SignalNoise::of_repeats(planes, keep)?;
        let mut ratios: Vec<f64> = (FIRST_RING..RINGS).map(|r| found.noise[r] / shape[r]).collect();
        // A quarter of the rings is free of false detail at any aperture that is closed a little.
        let scale = crate::core::stats::quantile(&mut ratios, 0.25)?;
        let false_detail: Vec<usize> =
            (FIRST_RING..RINGS).filter(|r| found.noise[*r] > above * scale * shape[*r]).collect();
        if false_detail.is_empty() {
            return Some((found, false));
        }
        let own: Vec<Spectrum> =
            planes.iter().map(|p| Spectrum::of_tiles(p, keep)).collect::<Option<_>>()?;
        for r in false_detail {
            let noise = scale * shape[r];
            let power = own.iter().map(|s| s.power[r]).sum::<f64>() / own.len() as f64;
            found.noise[r] = noise;
            found.signal[r] = (power - noise).max(0.0);
        }
        Some((found, true))
    }

    /// From one frame and its noise, measured elsewhere.
    pub fn of_single(plane: &Plane, noise: &NoiseSpectrum, keep: &[bool]) -> Option<SignalNoise> {
        let whole = Spectrum::of_tiles(plane, keep)?;
        Some(SignalNoise::apart(&whole, noise.power, 1))
    }

    /// From the spectrum of the mean of some frames and the noise of one.
    fn apart(whole: &Spectrum, noise: RingPowers, frames: u32) -> SignalNoise {
        let k = f64::from(frames);
        let looks = |r: usize| LOOKS_A_TILE * f64::from(whole.tiles) * whole.count[r].max(1.0);
        let noise_err: RingPowers = std::array::from_fn(|r| {
            // The noise of a single frame comes from elsewhere, with an error of its own kind.
            if frames < 2 { 0.0 } else { noise[r] / (looks(r) * (k - 1.0)).sqrt() }
        });
        let left: RingPowers = std::array::from_fn(|r| (whole.power[r] - noise[r] / k).max(0.0));
        let signal_err: RingPowers = std::array::from_fn(|r| {
            let own = noise[r] / k;
            let chance = (2.0 * left[r] * own + own * own) / looks(r);
            chance.sqrt().hypot(noise_err[r] / k)
        });
        // In rings that hold nothing only upward chance is left, and under the lower noise of
        // another step it would pass for detail.
        let signal = std::array::from_fn(|r| {
            let square = left[r] * left[r];
            let chance = CHANCE * signal_err[r];
            if square > 0.0 { left[r] * square / (square + chance * chance) } else { 0.0 }
        });
        SignalNoise {
            signal,
            noise,
            power: whole.power,
            count: whole.count,
            signal_err,
            noise_err,
            tiles: whole.tiles,
            frames,
        }
    }

    /// The most that the noise of a single frame can be, as a share of what it was taken for: no
    /// ring holds less power than its noise. Where the lens passes nothing (beyond the cutoff of a
    /// closed aperture) this is the noise itself.
    pub fn noise_bound(&self) -> f64 {
        // Three rings together: the lowest of many that scatter would read low.
        let sum = |of: &RingPowers, r: usize| of[r - 1] + of[r] + of[r + 1];
        (FIRST_RING + 1..RINGS - 1)
            .map(|r| sum(&self.power, r) / sum(&self.noise, r))
            .fold(f64::INFINITY, f64::min)
    }

    /// A single frame with its noise multiplied.
    #[must_use]
    pub fn with_noise_scaled(&self, by: f64) -> SignalNoise {
        let noise = self.noise.map(|n| n * by);
        let signal = std::array::from_fn(|r| (self.power[r] - noise[r]).max(0.0));
        let signal_err = self.signal_err.map(|e| e * by.sqrt());
        SignalNoise { signal, noise, signal_err, ..self.clone() }
    }

    /// Signal and noise as they would be at another brightness.
    pub fn scale(&mut self, by: f64) {
        let square = by * by;
        let errors = [&mut self.signal_err, &mut self.noise_err];
        let powers = [&mut self.signal, &mut self.noise, &mut self.power];
        for rings in powers.into_iter().chain(errors) {
            rings.iter_mut().for_each(|v| *v *= square);
        }
    }

    /// Signal over noise in a ring.
    pub fn snr(&self, ring: usize) -> f64 {
        self.signal[ring] / self.noise[ring]
    }

    /// Detail, bits per pixel.
    pub fn bits_px(&self) -> f64 {
        bits_px(&self.signal, &self.noise, &self.count)
    }

    /// Standard deviation of the noise, sample units: the area under its spectrum.
    pub fn noise_sigma(&self) -> f64 {
        let total: f64 = self.count.iter().sum();
        let power: f64 = self.noise.iter().zip(&self.count).map(|(n, c)| n * c).sum();
        (power / total).sqrt()
    }

    /// How much steeper than white its noise is: low over high frequencies.
    pub fn noise_slope(&self) -> f64 {
        let mean = |r: std::ops::Range<usize>| {
            let n = r.len() as f64;
            self.noise[r].iter().sum::<f64>() / n
        };
        mean(FIRST_RING..8) / mean(20..28)
    }
}

/// One plane less another of its size.
fn less(plane: &Plane, other: &Plane) -> Plane {
    let data = plane.data.iter().zip(&other.data).map(|(a, b)| a - b).collect();
    Plane { data, ..*plane }
}

/// Detail of a signal under a noise, bits per pixel: Σ log2(1 + S/N)·count/64².
pub fn bits_px(signal: &RingPowers, noise: &RingPowers, count: &RingPowers) -> f64 {
    let area = (TILE_PX * TILE_PX) as f64;
    (FIRST_RING..RINGS).map(|r| (1.0 + signal[r] / noise[r]).log2() * count[r] / area).sum()
}

/// Standard error of a value worked out from rings whose errors do not depend on each other, by
/// moving each ring up and down by its error.
pub fn propagated(
    rings: &[RingPowers],
    errors: &[RingPowers],
    value: impl Fn(&[RingPowers]) -> f64,
) -> f64 {
    let mut moved = rings.to_vec();
    let mut square = 0.0;
    for (i, error) in errors.iter().enumerate().take(rings.len()) {
        for r in FIRST_RING..RINGS {
            let here = rings[i][r];
            // Power does not fall below none, nor noise to none.
            let down = (here - error[r]).max(0.1 * here);
            moved[i][r] = here + error[r];
            let up = value(&moved);
            moved[i][r] = down;
            let low = value(&moved);
            moved[i][r] = here;
            let step = here + error[r] - down;
            if step > 0.0 {
                square += ((up - low) / step * error[r]).powi(2);
            }
        }
    }
    square.sqrt()
}
