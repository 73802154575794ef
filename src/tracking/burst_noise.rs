//! The noise of a burst's frames, by the filters of their tiles.

use serde::{Deserialize, Serialize};

use super::frame_features::FrameFeatures;
use crate::sharpness::band_noise::BandNoise;

/// Readings of noise (variances) up to this much apart are those of the same noise.
const NOISE_ALIKE: f64 = 2.0;
/// Ratio of gradient variance before to after smoothing that is noise beyond doubt: white noise
/// gives 22, demosaiced or compressed less; fine regular texture gives less still, or far more.
const NOISE_PLAIN: std::ops::RangeInclusive<f32> = 8.0..=30.0;
/// Noise assumed where none shows and no level can be read, 8-bit steps.
pub const UNSEEN_SIGMA_DN: f64 = 0.5;

/// The noise of a burst.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BurstNoise {
    /// One model for the whole burst.
    pub noise: BandNoise,
    /// Whether any frame showed it.
    pub is_seen: bool,
    /// The model of each frame.
    pub of_frame: Vec<BandNoise>,
}

impl BurstNoise {
    /// Reads it from the frames.
    pub fn of(shots: &[&FrameFeatures]) -> BurstNoise {
        BurstNoise::of_own(&shots.iter().map(|s| s.noise).collect::<Vec<_>>())
    }

    /// From the noise that each frame reads of itself.
    fn of_own(own: &[Option<BandNoise>]) -> BurstNoise {
        let (noise, is_seen) = burst_noise(own);
        let of_frame = own.iter().map(|own| frame_noise(own.as_ref(), &noise)).collect();
        BurstNoise { noise, is_seen, of_frame }
    }
}

/// One noise model for the whole burst, and whether any frame showed its noise.
///
/// Frames of a burst share their noise and texture only adds to what a frame reads, so a frame
/// that reads much more than the quietest one reads texture. Of the others the one that shows
/// its noise best speaks for all. Where none shows it: white noise no stronger than the quietest
/// tiles allow.
fn burst_noise(own: &[Option<BandNoise>]) -> (BandNoise, bool) {
    let read = || own.iter().copied().flatten();
    let Some(least) = read().map(|n| strength(&n)).min_by(f64::total_cmp) else {
        return (BandNoise::white(UNSEEN_SIGMA_DN), false);
    };
    let alike = read().filter(|n| n.is_seen() && strength(n) <= NOISE_ALIKE * least);
    if let Some(best) = alike.max_by(|a, b| a.ratio.total_cmp(&b.ratio)) {
        return (best, true);
    }
    let variance = |n: &BandNoise| n.levels[0].n1.at(128.0);
    let quietest = read().map(|n| variance(&n)).min_by(f64::total_cmp);
    (
        quietest.map_or_else(|| BandNoise::white(UNSEEN_SIGMA_DN), |v| BandNoise::white(v.sqrt())),
        false,
    )
}

/// Variance of noise in the band that ranks frames, at middle grey.
fn strength(noise: &BandNoise) -> f64 {
    noise.levels[1].lap.at(128.0)
}

/// The model for one frame: that of the burst, unless the frame itself clearly shows more noise
/// (another ISO setting). Smaller differences are chance, and changing the model from frame to
/// frame costs more than they do.
fn frame_noise(own: Option<&BandNoise>, burst: &BandNoise) -> BandNoise {
    let is_other = |own: &&BandNoise| {
        NOISE_PLAIN.contains(&own.ratio) && strength(own) > NOISE_ALIKE * strength(burst)
    };
    *own.filter(is_other).unwrap_or(burst)
}

#[cfg(test)]
mod tests;
