//! Signal and noise of one step of a series, kept apart, so that the detail of the lens at one
//! setting under the noise of another can be worked out.
//!
//! From K registered frames of a still scene: the noise of a frame is the mean power of the
//! residuals to their mean times K/(K−1); the signal is the power of the mean less the noise that
//! is left in it, N/K (Welch's periodograms, see [`super::spectrum`]). From one frame the noise
//! has to come from elsewhere. D is that of [`super::detail`].
//!
//! Its own scatter is found by leaving out groups of tiles (Tukey's jackknife), each group one
//! tile in [`GROUPS`], so that every group sees the whole region.

use super::spectrum::{FIRST_RING, NoiseSpectrum, RINGS, Spectrum, TILE_PX};
use crate::base::Plane;

/// Groups of tiles of the jackknife.
pub const GROUPS: usize = 12;
/// Neighbouring tiles share half their pixels: what that adds to the jackknife's error (see the
/// test of coverage in [`super::detail`]).
const OVERLAP: f64 = 1.25;

/// Power per ring.
pub type Rings = [f64; RINGS];

/// Signal and noise of one step.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalNoise {
    /// Power of the scene as the lens passed it, per ring, squared sample units.
    pub signal: Rings,
    /// Power of one frame's noise.
    pub noise: Rings,
    /// Independent frequencies per ring in one tile.
    pub count: Rings,
    /// The same with one group of tiles left out each.
    pub left_out: Vec<(Rings, Rings)>,
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
        let noise_of = |of: &dyn Fn(&Spectrum) -> Rings| -> Rings {
            let mut sum = [0.0; RINGS];
            for residual in &residuals {
                sum.iter_mut().zip(of(residual)).for_each(|(s, v)| *s += v);
            }
            sum.map(|s| s / residuals.len() as f64 * k / (k - 1.0))
        };
        let apart = |power: Rings, noise: Rings| {
            let signal = std::array::from_fn(|r| (power[r] - noise[r] / k).max(0.0));
            (signal, noise)
        };
        let (signal, noise) = apart(whole.power, noise_of(&|s| s.power));
        let left_out = (0..GROUPS)
            .filter_map(|g| {
                Some(apart(
                    whole.without_group(g, GROUPS)?,
                    noise_of(&|s| s.without_group(g, GROUPS).unwrap_or(s.power)),
                ))
            })
            .collect();
        Some(SignalNoise {
            signal,
            noise,
            count: whole.count,
            left_out,
            tiles: whole.tiles,
            frames: planes.len() as u32,
        })
    }

    /// From one frame and its noise, measured elsewhere.
    pub fn of_single(plane: &Plane, noise: &NoiseSpectrum, keep: &[bool]) -> Option<SignalNoise> {
        let whole = Spectrum::of_tiles(plane, keep)?;
        let apart = |power: Rings| {
            let signal = std::array::from_fn(|r| (power[r] - noise.power[r]).max(0.0));
            (signal, noise.power)
        };
        let left_out =
            (0..GROUPS).filter_map(|g| Some(apart(whole.without_group(g, GROUPS)?))).collect();
        let (signal, noise) = apart(whole.power);
        Some(SignalNoise {
            signal,
            noise,
            count: whole.count,
            left_out,
            tiles: whole.tiles,
            frames: 1,
        })
    }

    /// Signal and noise as they would be at another brightness.
    pub fn scale(&mut self, by: f64) {
        let square = by * by;
        let all = |rings: &mut Rings| rings.iter_mut().for_each(|v| *v *= square);
        all(&mut self.signal);
        all(&mut self.noise);
        for (signal, noise) in &mut self.left_out {
            all(signal);
            all(noise);
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
pub fn bits_px(signal: &Rings, noise: &Rings, count: &Rings) -> f64 {
    let area = (TILE_PX * TILE_PX) as f64;
    (FIRST_RING..RINGS).map(|r| (1.0 + signal[r] / noise[r]).log2() * count[r] / area).sum()
}

/// Standard error of a value from those with one group left out each; `None` for fewer than
/// three.
pub fn jackknife_error(left_out: &[f64]) -> Option<f64> {
    let n = left_out.len() as f64;
    if left_out.len() < 3 {
        return None;
    }
    let mean = left_out.iter().sum::<f64>() / n;
    let squares: f64 = left_out.iter().map(|v| (v - mean).powi(2)).sum();
    Some(OVERLAP * ((n - 1.0) / n * squares).sqrt())
}
