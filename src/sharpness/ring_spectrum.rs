//! Ring spectrum of the subject: mean power by radial frequency, read so that a periodic pattern
//! does not pass for detail at every frequency.
//!
//! Each ring carries two means over its angles. The geometric one is hardly lifted by the few
//! frequencies of a regular pattern (the facets of an eye), the arithmetic one is the plain
//! power. Tiles are those of Welch 1967 (doi:10.1109/TAU.1967.1161901): plane removed, Hann window,
//! overlapping. Rings below the first edge hold shading and are left out.
//!
//! Valid for frames in which the subject fills most of a box of [`BOX_PX`] px. Power is in squared
//! 8-bit steps per unit of frequency area, so white noise of variance v has density v.

use serde::{Deserialize, Serialize};

use std::sync::LazyLock;

use super::pyramid::PyramidLevel;
use crate::noise::periodogram::Periodogram;
use crate::noise::rendered::RenderedNoise;

/// Rings of the spectrum.
pub const RING_COUNT: usize = 14;
/// Edges of the rings, cycles per pixel.
pub const RING_EDGES_CY_PX: [f64; RING_COUNT + 1] = [
    0.028, 0.045, 0.06, 0.078, 0.095, 0.115, 0.14, 0.165, 0.195, 0.23, 0.27, 0.315, 0.365, 0.42,
    0.48,
];
/// Side of the box that the spectrum covers, px.
pub const BOX_PX: usize = 128;
/// Side of a tile, px.
const TILE_PX: usize = 64;
/// Step from tile to tile, px.
const STEP_PX: usize = 16;
/// How far from the middle of the box the middles of the core's tiles lie at most, px.
const CORE_REACH_PX: usize = 16;
/// Least power that enters a geometric mean, squared 8-bit steps: rounding noise leaves more.
const MIN_POWER: f64 = 1e-3;
/// Variance of rounding to 8 bits: no noise estimate is taken below it.
const ROUNDING_VARIANCE: f64 = 1.0 / 12.0;
/// Rings in which a pattern may rise out of the spectrum, cycles per pixel.
const PATTERN_CY_PX: std::ops::RangeInclusive<f64> = 0.10..=0.36;
/// Power over noise that a ring must show before a rise counts.
const PATTERN_OVER_NOISE: f64 = 2.0;
/// Rings that hold the finest detail a focused subject can show, cycles per pixel.
const FINE_CY_PX: std::ops::Range<f64> = 0.27..0.42;
/// Share of the diffraction cutoff up to which rings hold the optics' signal; above it only
/// sharpened noise is left.
const MAX_SHARE_OF_CUTOFF: f64 = 0.85;

/// Ring powers about one spot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RingSpectrum {
    /// Geometric mean of the power over the angles of each ring, squared 8-bit steps.
    pub geometric: [f64; RING_COUNT],
    /// Arithmetic mean.
    pub arithmetic: [f64; RING_COUNT],
    /// Mean luma of the box, 8-bit steps.
    pub mean_dn: f64,
}

/// The spectra about one spot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BoxSpectra {
    /// Of the whole box.
    pub whole: RingSpectrum,
    /// Of its middle, 96 px wide: less of what lies nearer or farther than the spot, and more
    /// scatter.
    pub core: RingSpectrum,
}

/// How far the spectrum rises again with frequency, and where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatternRise {
    /// The rise, ln(power); 0 where power only falls.
    pub rise_ln: f64,
    /// Where it peaks, cycles per pixel; 0 likewise.
    pub cy_px: f64,
}

/// Mean frequency of every ring over a tile's own grid, cycles per pixel.
pub fn ring_centres_cy_px() -> [f64; RING_COUNT] {
    // The same for every frame, and asked for several times a frame.
    static CENTRES: LazyLock<[f64; RING_COUNT]> = LazyLock::new(|| {
        let (mut sum, mut n) = ([0f64; RING_COUNT], [0f64; RING_COUNT]);
        Periodogram::new(TILE_PX).each(|_, radius, weight| {
            if let Some(r) = ring_of(radius) {
                sum[r] += weight * radius;
                n[r] += weight;
            }
        });
        std::array::from_fn(|r| sum[r] / n[r])
    });
    *CENTRES
}

fn ring_of(radius_cy_px: f64) -> Option<usize> {
    let at = RING_EDGES_CY_PX.partition_point(|e| *e <= radius_cy_px);
    (1..=RING_COUNT).contains(&at).then(|| at - 1)
}

/// Sum of the power of tiles.
struct TileSum {
    power: Vec<f64>,
    luma: f64,
    count: f64,
}

impl TileSum {
    fn add(&mut self, power: &[f32], luma: f64) {
        self.power.iter_mut().zip(power).for_each(|(sum, v)| *sum += f64::from(*v));
        self.luma += luma;
        self.count += 1.0;
    }

    fn spectrum(&self, plan: &Periodogram) -> RingSpectrum {
        let (mut logs, mut plain, mut weights) =
            ([0f64; RING_COUNT], [0f64; RING_COUNT], [0f64; RING_COUNT]);
        plan.each(|i, radius, weight| {
            if let Some(r) = ring_of(radius) {
                let p = self.power[i] / self.count;
                logs[r] += weight * p.max(MIN_POWER).ln();
                plain[r] += weight * p;
                weights[r] += weight;
            }
        });
        RingSpectrum {
            geometric: std::array::from_fn(|r| (logs[r] / weights[r]).exp()),
            arithmetic: std::array::from_fn(|r| plain[r] / weights[r]),
            mean_dn: self.luma / (self.count * (TILE_PX * TILE_PX) as f64),
        }
    }
}

impl BoxSpectra {
    /// The spectra of the box about `x`, `y` (px of `level`, moved inwards at the borders); `None`
    /// when no tile fits.
    pub fn of(level: &PyramidLevel, x: f64, y: f64) -> Option<BoxSpectra> {
        let side = |extent: usize| BOX_PX.min(extent);
        let (width, height) = (side(level.width), side(level.height));
        if width < TILE_PX || height < TILE_PX {
            return None;
        }
        let corner = |at: f64, box_px: usize, extent: usize| {
            (at - box_px as f64 / 2.0).round().clamp(0.0, (extent - box_px) as f64) as usize
        };
        let (x0, y0) = (corner(x, width, level.width), corner(y, height, level.height));
        let mut plan = Periodogram::new(TILE_PX);
        let mut tile = vec![0f32; TILE_PX * TILE_PX];
        let mut out = vec![0f32; plan.len()];
        let empty = || TileSum { power: vec![0f64; out.len()], luma: 0.0, count: 0.0 };
        let (mut whole, mut core) = (empty(), empty());
        // A tile that lies in the middle of a side, as far as the steps allow.
        let is_core = |at: usize, side: usize| {
            (2 * at + TILE_PX).abs_diff(side) < 2 * CORE_REACH_PX + STEP_PX / 2
        };
        for ty in (0..=height - TILE_PX).step_by(STEP_PX) {
            for tx in (0..=width - TILE_PX).step_by(STEP_PX) {
                for (row, line) in tile.chunks_exact_mut(TILE_PX).enumerate() {
                    let from = &level.row(y0 + ty + row)[x0 + tx..x0 + tx + TILE_PX];
                    for (o, v) in line.iter_mut().zip(from) {
                        *o = f32::from(*v) / 8.0;
                    }
                }
                let luma = f64::from(tile.iter().sum::<f32>());
                plan.power(&tile, &mut out);
                whole.add(&out, luma);
                if is_core(tx, width) && is_core(ty, height) {
                    core.add(&out, luma);
                }
            }
        }
        Some(BoxSpectra { whole: whole.spectrum(&plan), core: core.spectrum(&plan) })
    }
}

impl RingSpectrum {
    /// How far a pattern rises out of the spectrum: the largest rise of ln(power) from the lowest
    /// ring below it. Optics and natural textures fall with frequency; only a regular pattern
    /// (facets, scales, weave) rises.
    pub fn pattern(&self, noise: &[f64; RING_COUNT]) -> PatternRise {
        let centres = ring_centres_cy_px();
        let (mut lowest, mut found) = (f64::INFINITY, PatternRise { rise_ln: 0.0, cy_px: 0.0 });
        for r in 1..RING_COUNT {
            if centres[r] > *PATTERN_CY_PX.end() {
                break;
            }
            let y = ((self.geometric[r] - noise[r]).max(0.0) + 0.5 * noise[r]).ln();
            if centres[r] > *PATTERN_CY_PX.start()
                && self.geometric[r] > PATTERN_OVER_NOISE * noise[r]
                && y - lowest > found.rise_ln
            {
                found = PatternRise { rise_ln: y - lowest, cy_px: centres[r] };
            }
            lowest = lowest.min(y);
        }
        found
    }

    /// The finest detail over noise: the largest ratio of ring power to noise among the fine rings
    /// that the optics can pass. `cutoff_cy_px` is the diffraction cutoff, where known.
    /// `None` when the optics pass none of the fine rings.
    pub fn fine_over_noise(
        &self,
        noise: &[f64; RING_COUNT],
        cutoff_cy_px: Option<f64>,
    ) -> Option<f64> {
        let centres = ring_centres_cy_px();
        let end = cutoff_cy_px.map_or(f64::INFINITY, |c| MAX_SHARE_OF_CUTOFF * c);
        (0..RING_COUNT)
            .filter(|r| FINE_CY_PX.contains(&centres[*r]) && centres[*r] < end)
            .map(|r| self.geometric[r] / noise[r])
            .max_by(f64::total_cmp)
    }
}

/// Geometric mean of a density over the fine rings.
pub fn fine_mean(density: &[f64; RING_COUNT]) -> f64 {
    let centres = ring_centres_cy_px();
    let fine = (0..RING_COUNT).filter(|r| FINE_CY_PX.contains(&centres[*r]));
    let (sum, n) = fine.fold((0.0, 0.0), |(s, n), r| (s + density[r].ln(), n + 1.0));
    (sum / n).exp()
}

/// Noise density in every ring at a mean tone, squared 8-bit steps.
pub fn noise_in_rings(noise: &RenderedNoise, mean_dn: f64) -> Option<[f64; RING_COUNT]> {
    let scale = noise.variance_at(mean_dn)? / noise.power_through(|_| 1.0);
    let centres = ring_centres_cy_px();
    Some(std::array::from_fn(|r| (noise.power_at(centres[r]) * scale).max(ROUNDING_VARIANCE)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::Luma;
    use crate::core::random::SplitMix64;

    const SIDE: usize = 128;

    fn spectrum(value: impl Fn(f64, f64) -> f64, noise_dn: f64, seed: u64) -> RingSpectrum {
        let mut rng = SplitMix64::new(seed);
        let data: Vec<u8> = (0..SIDE * SIDE)
            .map(|i| {
                let (x, y) = ((i % SIDE) as f64, (i / SIDE) as f64);
                (128.0 + value(x, y) + noise_dn * rng.normal()).round().clamp(0.0, 255.0) as u8
            })
            .collect();
        let luma = Luma::U8 { data: &data, channels: 1, width_px: SIDE, height_px: SIDE };
        BoxSpectra::of(&PyramidLevel::from_luma(&luma), 64.0, 64.0).unwrap().whole
    }

    /// Hexagonal facets: three waves at 60° of one period.
    fn facets(period_px: f64, swing_dn: f64) -> impl Fn(f64, f64) -> f64 {
        move |x, y| {
            (0..3)
                .map(|k| {
                    let (s, c) = (f64::from(k) * std::f64::consts::FRAC_PI_3).sin_cos();
                    swing_dn * (std::f64::consts::TAU / period_px * (x * c + y * s)).cos()
                })
                .sum()
        }
    }

    #[test]
    fn white_noise_has_its_variance_in_every_ring_and_no_detail() {
        let rings = spectrum(|_, _| 0.0, 4.0, 1);
        for (r, power) in rings.arithmetic.iter().enumerate() {
            // Rounding adds 1/12; the first rings hold few frequencies.
            assert!((power / 16.08 - 1.0).abs() < if r < 3 { 0.5 } else { 0.2 }, "{r}: {power}");
        }
        let noise = [16.08; RING_COUNT];
        let fine = rings.fine_over_noise(&noise, None).unwrap();
        assert!((0.7..1.3).contains(&fine), "{fine}");
        assert!(rings.pattern(&noise).rise_ln < 0.1);
    }

    #[test]
    fn facets_rise_out_of_the_spectrum_at_their_frequency_and_shading_does_not() {
        let noise = [1.1; RING_COUNT];
        let rise = spectrum(facets(9.5, 12.0), 1.0, 2).pattern(&noise);
        assert!(rise.rise_ln > 0.8, "{rise:?}");
        assert!((rise.cy_px / (1.0 / 9.5) - 1.0).abs() < 0.2, "{rise:?}");
        let shading = spectrum(
            |x, y| 40.0 * (-((x - 60.0).powi(2) + (y - 70.0).powi(2)) / 900.0).exp(),
            1.0,
            3,
        );
        assert!(shading.pattern(&noise).rise_ln < 0.5, "{:?}", shading.pattern(&noise));
    }

    #[test]
    fn optics_that_pass_no_fine_ring_leave_nothing_to_look_for() {
        let rings = spectrum(facets(3.0, 12.0), 1.0, 4);
        let noise = [1.1; RING_COUNT];
        assert!(rings.fine_over_noise(&noise, None).unwrap() > 3.0);
        assert_eq!(rings.fine_over_noise(&noise, Some(0.30)), None);
    }

    /// Texture that begins 48 px from the middle is in the box and not in its core; a box that is
    /// hardly larger than the core is all core.
    #[test]
    fn the_core_sees_the_middle_alone() {
        for side in [64usize, 70, 100, 128, 200] {
            let middle = side as f64 / 2.0;
            let data: Vec<u8> = (0..side * side)
                .map(|i| {
                    let (x, y) = ((i % side) as f64, (i / side) as f64);
                    let aside = (x - middle).abs().max((y - middle).abs());
                    let wave = (std::f64::consts::TAU * x / 6.0).sin();
                    (128.0 + if aside > 48.0 { 60.0 * wave } else { 0.0 }).round() as u8
                })
                .collect();
            let luma = Luma::U8 { data: &data, channels: 1, width_px: side, height_px: side };
            let level = PyramidLevel::from_luma(&luma);
            let spectra = BoxSpectra::of(&level, middle, middle).unwrap();
            let power = |s: &RingSpectrum| s.arithmetic.iter().sum::<f64>();
            if side > 100 {
                assert!(power(&spectra.core) < 1.0, "{side}: {}", power(&spectra.core));
                assert!(power(&spectra.whole) > 10.0, "{side}: {}", power(&spectra.whole));
            } else {
                assert_eq!(spectra.core, spectra.whole, "{side}");
            }
        }
    }

    #[test]
    fn a_patch_smaller_than_a_tile_has_no_spectrum() {
        let data = vec![128u8; 60 * 60];
        let luma = Luma::U8 { data: &data, channels: 1, width_px: 60, height_px: 60 };
        assert_eq!(BoxSpectra::of(&PyramidLevel::from_luma(&luma), 30.0, 30.0), None);
    }
}
