//! The power that a lens out of focus passes in each ring of the subject's spectrum, for a grid
//! of blurs: diffraction, defocus and the pixel box together.
//!
//! Assumes the perfect round pupil of [`crate::optics::defocus`] and green light. The depth of the subject
//! inside the box spreads the defocus, so the power is averaged over ±7 % of the
//! frequency and over neighbouring defocus steps; side lobes then fill in as they do on a rounded
//! subject. A Gaussian stands in where the working f-number is not known: it falls much faster
//! than a real lens above half transfer, so absolute blur is only rough there.

use super::ring_spectrum::{RING_COUNT, ring_centres_cy_px};
use crate::core::bessel::sinc;
use crate::core::search::bisect;
use crate::optics::defocus::otf_defocus;
use crate::optics::diffraction::{GAUSSIAN_F50, mtf_gaussian};

/// Blurs of the grid.
pub const GRID: usize = 52;
/// Finest and coarsest blur of the grid, px.
pub const GRID_PX: (f64, f64) = (0.30, 12.0);
/// Steps of defocus behind the first (in focus), and their range, waves at the edge of the pupil.
const DEFOCUS_STEPS: usize = 160;
/// See [`DEFOCUS_STEPS`].
const DEFOCUS_WAVES: (f64, f64) = (0.02, 14.0);
/// Defocus steps averaged: the depth of the subject inside the box.
const DEPTH_STEPS: usize = 9;
/// Share of the frequency over which a ring's power is averaged, each way, and the points taken.
const RING_SPREAD: f64 = 0.07;
/// See [`RING_SPREAD`].
const RING_POINTS: usize = 9;
/// Power that always passes: stray light and the window's leakage.
const LEAKED_POWER: f64 = 3e-4;
/// Blur this far below the best of the lens still counts as reached.
const REACHED: f64 = 0.97;

/// Ring powers over the grid of blurs.
#[derive(Debug, Clone, PartialEq)]
pub struct TransferFamily {
    /// ln of the power passed: blur by ring.
    pub ln_power: Vec<[f64; RING_COUNT]>,
    /// Whether the lens can be this sharp.
    pub reachable: Vec<bool>,
    /// Blur of the lens in focus, px; `None` when the working f-number is not known.
    pub in_focus_px: Option<f64>,
    /// Diffraction cutoff, cycles per pixel; `None` likewise.
    pub cutoff_cy_px: Option<f64>,
}

/// The blurs of the grid, px, evenly spaced in ln.
pub fn grid_px() -> [f64; GRID] {
    let (from, to) = (GRID_PX.0.ln(), GRID_PX.1.ln());
    std::array::from_fn(|i| (from + (to - from) * i as f64 / (GRID - 1) as f64).exp())
}

impl TransferFamily {
    /// The family of a diffraction cutoff in cycles per pixel.
    pub fn new(cutoff_cy_px: Option<f64>) -> TransferFamily {
        match cutoff_cy_px {
            Some(cutoff) => TransferFamily::of_lens(cutoff),
            None => {
                let centres = ring_centres_cy_px();
                let power = |sigma: f64, f: f64| mtf_gaussian(sigma * f).powi(2) + LEAKED_POWER;
                TransferFamily {
                    ln_power: grid_px()
                        .iter()
                        .map(|s| std::array::from_fn(|r| power(*s, centres[r]).ln()))
                        .collect(),
                    reachable: vec![true; GRID],
                    in_focus_px: None,
                    cutoff_cy_px: None,
                }
            }
        }
    }

    fn of_lens(cutoff: f64) -> TransferFamily {
        let centres = ring_centres_cy_px();
        let transfer = |f: f64, w20: f64| otf_defocus(f / cutoff, w20) * sinc(f);
        let (from, to) = (DEFOCUS_WAVES.0.ln(), DEFOCUS_WAVES.1.ln());
        let waves = |i: usize| match i {
            0 => 0.0,
            _ => (from + (to - from) * (i - 1) as f64 / (DEFOCUS_STEPS - 1) as f64).exp(),
        };
        let steps: Vec<(f64, [f64; RING_COUNT])> = (0..=DEFOCUS_STEPS)
            .map(|i| {
                let w20 = waves(i);
                let sigma = GAUSSIAN_F50 / half_transfer(|f| transfer(f, w20), cutoff, w20);
                let power = std::array::from_fn(|r| {
                    (0..RING_POINTS)
                        .map(|k| {
                            let aside = 2.0 * k as f64 / (RING_POINTS - 1) as f64 - 1.0;
                            transfer(centres[r] * (1.0 + RING_SPREAD * aside), w20).powi(2)
                        })
                        .sum::<f64>()
                        / RING_POINTS as f64
                });
                (sigma, power)
            })
            .collect();
        let spread: Vec<(f64, [f64; RING_COUNT])> = (0..steps.len())
            .map(|i| {
                let half = DEPTH_STEPS / 2;
                let mean = |r: usize| {
                    (0..DEPTH_STEPS)
                        .map(|k| steps[(i + k).saturating_sub(half).min(steps.len() - 1)].1[r])
                        .sum::<f64>()
                        / DEPTH_STEPS as f64
                };
                (steps[i].0, std::array::from_fn(mean))
            })
            .collect();
        let in_focus = steps[0].0;
        let ln_power = grid_px()
            .iter()
            .map(|sigma| {
                let after = spread.partition_point(|s| s.0 < *sigma);
                let power = |r: usize| match after {
                    0 => spread[0].1[r],
                    n if n == spread.len() => spread[n - 1].1[r],
                    n => {
                        let ((s0, p0), (s1, p1)) = (&spread[n - 1], &spread[n]);
                        p0[r] + (p1[r] - p0[r]) * (sigma - s0) / (s1 - s0).max(1e-12)
                    }
                };
                std::array::from_fn(|r| (power(r) + LEAKED_POWER).ln())
            })
            .collect();
        TransferFamily {
            ln_power,
            reachable: grid_px().iter().map(|s| *s >= REACHED * in_focus).collect(),
            in_focus_px: Some(in_focus),
            cutoff_cy_px: Some(cutoff),
        }
    }
}

/// The first frequency, cycles per pixel, at which half the contrast is left.
fn half_transfer(transfer: impl Fn(f64) -> f64, cutoff: f64, w20: f64) -> f64 {
    // A tenth of the frequency at which a strongly defocused lens meets one half (0.088/W20 of
    // the cutoff): the first crossing cannot be jumped over. The pixel box alone halves at 0.6.
    let end = cutoff.min(1.0);
    let step = 0.01 * end / (1.0 + w20);
    let mut high = step;
    while high < end && transfer(high) > 0.5 {
        high += step;
    }
    let (low, high) = bisect((high - step, high), 30, |f| transfer(f) > 0.5);
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::units::{GREEN, PitchUm};
    use crate::optics::diffraction::{cutoff_cy_px, sigma_settings_px};

    #[test]
    fn in_focus_the_family_begins_at_what_the_settings_allow() {
        for n_eff in [8.0, 16.0, 22.0, 32.0] {
            let family = TransferFamily::new(Some(cutoff_cy_px(n_eff, PitchUm(6.0), GREEN)));
            let allowed = sigma_settings_px(n_eff, PitchUm(6.0), GREEN);
            let found = family.in_focus_px.unwrap();
            approx::assert_relative_eq!(found, allowed, max_relative = 0.01);
        }
    }

    #[test]
    fn more_blur_passes_less_power_in_every_ring_below_the_first_zero() {
        let family = TransferFamily::new(Some(0.55));
        let grid = grid_px();
        let centres = ring_centres_cy_px();
        for (sigma, pair) in grid.iter().skip(1).zip(family.ln_power.windows(2)) {
            for (r, centre) in centres.iter().enumerate() {
                // Half transfer is at .187/sigma; the first zero of a disc near .3/sigma.
                if *centre < 0.2 / sigma {
                    assert!(pair[1][r] <= pair[0][r] + 1e-9, "{sigma} px, ring {r}");
                }
            }
        }
    }

    #[test]
    fn every_blur_of_the_grid_halves_contrast_where_it_says() {
        // Check value: a ring at the half-transfer frequency passes a quarter of the power, to
        // the curvature that averaging over the ring and the depth leaves.
        let family = TransferFamily::new(Some(0.55));
        let centres = ring_centres_cy_px();
        // Blurs whose half transfer falls where rings are close enough to interpolate between.
        for (i, sigma) in grid_px().iter().enumerate().filter(|(_, s)| (1.2..4.0).contains(*s)) {
            let half = GAUSSIAN_F50 / sigma;
            let Some(r) = (1..RING_COUNT).find(|r| centres[*r] > half) else { continue };
            let share = (half.ln() - centres[r - 1].ln()) / (centres[r].ln() - centres[r - 1].ln());
            let (a, b) = (family.ln_power[i][r - 1], family.ln_power[i][r]);
            let power = (a + (b - a) * share).exp();
            assert!((0.17..0.33).contains(&power), "{sigma} px: {power}");
        }
    }
}
