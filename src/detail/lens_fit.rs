//! The scene without the lens, and what the lens passes at each aperture, from a series of single
//! frames.
//!
//! Every step saw the same scene S0 through T = diffraction(f; N_eff)·exp(−2π²σ²f²), σ = σ_w·4/N:
//! what a lens leaves out of focus or uncorrected shrinks as the aperture closes, like its
//! pupil. S0 is free in every ring (the mean of ln S/T² over the steps that see the ring above
//! their noise), σ_w is searched. The pixel, and everything else that is alike at every step,
//! goes into S0. Assumes one wavelength and a round pupil (Goodman, Introduction to Fourier
//! Optics, §6.3-6.4); a Gaussian stands for defocus and aberration, which is good while they are
//! small against diffraction.
//!
//! A ring that a step drowns in noise is then not read from that step, where only upward chance
//! would count, but from the scene: S* = w·S + (1−w)·S0·T², w = SNR²/(0.5 + SNR²).

use crate::core::search::golden_section;
use crate::core::units::{GREEN, PitchUm};
use crate::noise::signal_noise::RingPowers;
use crate::noise::spectrum::{FIRST_RING, RINGS, ring_cy_px};
use crate::optics::diffraction::{cutoff_cy_px, mtf_diffraction};

/// Widest σ_w that is looked for, px at f/4.
const WIDEST_PX: f64 = 2.5;
/// Rings beyond this hold what wraps round the pixel grid, cycles per pixel.
const TOP_CY_PX: f64 = 0.42;
/// Signal over noise from which a ring of a step speaks for the scene.
const SEEN_SNR: f64 = 1.0;
/// A transfer below this is not divided by.
const MIN_TRANSFER: f64 = 0.02;
/// Signal-to-noise squared at which a step's own signal and the scene's count alike.
const HALF_WEIGHT: f64 = 0.5;

/// What is known of one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ObservedStep {
    /// Marked f-number.
    pub f_number: f64,
    /// Working f-number.
    pub n_eff: f64,
    /// Power of the signal per ring, all steps at one brightness.
    pub signal: RingPowers,
    /// Power of the noise per ring.
    pub noise: RingPowers,
}

/// The scene and the lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensFit {
    /// Power of the scene per ring, in the unit of the signals.
    pub scene: RingPowers,
    /// Blur beyond diffraction at f/4, px.
    pub sigma_f4_px: f64,
    /// Weighted mean square by which the steps disagree, ln².
    pub misfit: f64,
    pitch: PitchUm,
}

/// Modulation that a step passes at a frequency.
fn transfer(f_cy_px: f64, f_number: f64, n_eff: f64, sigma_f4_px: f64, pitch: PitchUm) -> f64 {
    let sigma = sigma_f4_px * 4.0 / f_number;
    mtf_diffraction(f_cy_px / cutoff_cy_px(n_eff, pitch, GREEN))
        * crate::optics::diffraction::mtf_gaussian(f_cy_px * sigma)
}

impl LensFit {
    /// Fits scene and lens to the steps; `None` for fewer than two, or when no ring stands above
    /// the noise.
    pub fn of(steps: &[ObservedStep], pitch: PitchUm) -> Option<LensFit> {
        if steps.len() < 2 {
            return None;
        }
        let cost = |sigma: f64| scene_for(steps, sigma, pitch).map_or(f64::INFINITY, |s| s.1);
        const CELLS: u32 = 25;
        let grid = |i: u32| WIDEST_PX * f64::from(i) / f64::from(CELLS);
        let best = (0..=CELLS).min_by(|a, b| cost(grid(*a)).total_cmp(&cost(grid(*b))))?;
        let round_it = (grid(best.saturating_sub(1)), grid((best + 1).min(CELLS)));
        let sigma_f4_px = golden_section(round_it, 24, cost);
        let (scene, misfit) = scene_for(steps, sigma_f4_px, pitch)?;
        Some(LensFit { scene, sigma_f4_px, misfit, pitch })
    }

    /// Signal that the lens passes of the scene at a setting, per ring.
    pub fn signal(&self, f_number: f64, n_eff: f64) -> RingPowers {
        std::array::from_fn(|r| {
            let t = transfer(ring_cy_px(r), f_number, n_eff, self.sigma_f4_px, self.pitch);
            self.scene[r] * t * t
        })
    }

    /// Signal that a lens without a fault would pass of the scene, per ring.
    pub fn faultless(&self, f_number: f64, n_eff: f64) -> RingPowers {
        LensFit { sigma_f4_px: 0.0, ..*self }.signal(f_number, n_eff)
    }

    /// Signal at a setting for a place `defocus_um` out of focus on the sensor's side, per ring.
    pub fn signal_defocused(&self, f_number: f64, n_eff: f64, defocus_um: f64) -> RingPowers {
        let w20 = crate::optics::defocus::w20_waves(defocus_um, n_eff, GREEN);
        let sigma = self.sigma_f4_px * 4.0 / f_number;
        std::array::from_fn(|r| {
            let f = ring_cy_px(r);
            let nu = f / cutoff_cy_px(n_eff, self.pitch, GREEN);
            let t = crate::optics::defocus::otf_defocus(nu, w20)
                * crate::optics::diffraction::mtf_gaussian(f * sigma);
            self.scene[r] * t * t
        })
    }

    /// A step's signal with the rings that its noise drowns taken from the scene.
    pub fn repaired(&self, step: &ObservedStep) -> RingPowers {
        let model = self.signal(step.f_number, step.n_eff);
        std::array::from_fn(|r| {
            let w = own_weight(step.signal[r] / step.noise[r]);
            w * step.signal[r] + (1.0 - w) * model[r]
        })
    }
}

/// How much a step's own signal counts against the scene's, for its signal over noise.
pub fn own_weight(snr: f64) -> f64 {
    snr * snr / (HALF_WEIGHT + snr * snr)
}

/// The scene for a given σ_w, and how badly the steps agree on it.
fn scene_for(
    steps: &[ObservedStep],
    sigma_f4_px: f64,
    pitch: PitchUm,
) -> Option<(RingPowers, f64)> {
    let mut known: Vec<(f64, f64)> = Vec::new();
    let mut ln_scene = [None; RINGS];
    let (mut cost, mut total) = (0.0, 0.0);
    for (r, ln_scene) in ln_scene.iter_mut().enumerate().skip(FIRST_RING) {
        let f = ring_cy_px(r);
        if f >= TOP_CY_PX {
            break;
        }
        let mut points: Vec<(f64, f64)> = Vec::new();
        for step in steps {
            let snr = step.signal[r] / step.noise[r];
            let t = transfer(f, step.f_number, step.n_eff, sigma_f4_px, pitch);
            if snr > SEEN_SNR && t > MIN_TRANSFER {
                // ln of a mean of periodograms scatters as 1 + N/S of itself.
                let weight = f64::from(ring_weight(r)) / (1.0 + 1.0 / snr).powi(2);
                points.push(((step.signal[r] / (t * t)).ln(), weight));
            }
        }
        let sum: f64 = points.iter().map(|p| p.1).sum();
        if sum <= 0.0 {
            continue;
        }
        let mean = points.iter().map(|p| p.0 * p.1).sum::<f64>() / sum;
        cost += points.iter().map(|p| p.1 * (p.0 - mean).powi(2)).sum::<f64>();
        total += sum;
        *ln_scene = Some(mean);
        known.push((f.ln(), mean));
    }
    let last = known.len().checked_sub(1)?;
    // Beyond the last ring that is seen the scene falls on as it did (a line in ln f).
    let tail = &known[known.len().saturating_sub(6)..];
    let n = tail.len() as f64;
    let (mx, my) =
        (tail.iter().map(|p| p.0).sum::<f64>() / n, tail.iter().map(|p| p.1).sum::<f64>() / n);
    let sxx: f64 = tail.iter().map(|p| (p.0 - mx).powi(2)).sum();
    let sxy: f64 = tail.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    let slope = if sxx > 0.0 { (sxy / sxx).min(0.0) } else { 0.0 };
    let scene = std::array::from_fn(|r| {
        let x = ring_cy_px(r).ln();
        let ln = ln_scene[r].unwrap_or_else(|| {
            if x > known[last].0 {
                my + slope * (x - mx)
            } else {
                crate::core::stats::interpolate(&known, x).unwrap_or(my)
            }
        });
        ln.exp()
    });
    Some((scene, cost / total))
}

/// Frequencies in a ring grow with its radius.
fn ring_weight(ring: usize) -> u32 {
    ring as u32
}
