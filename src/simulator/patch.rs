//! Patches of known Gaussian blur for calibrating blur estimators.

use crate::core::random::SplitMix64;
use crate::core::{Plane, Tone};
use crate::simulator::scene::{Canvas, SceneKind, SceneSpec, flat_canvas};
use crate::simulator::spectrum::SceneSpectrum;
use crate::simulator::surface::SurfaceLook;

/// What a patch shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PatchKind {
    /// Straight edges and discs at many angles.
    Edges,
    /// Overlapping shapes of many sizes.
    DeadLeaves,
}

/// Samples of the sharp drawing per pixel.
const SAMPLES_A_PX: usize = 4;

/// A square patch blurred to a total Gaussian `sigma_px` (pixel box included), with white noise
/// of `noise_dn`, in whole 8-bit steps. The drawing is sampled four times finer than the patch
/// and its own area sampling is undone, so the blur is the one asked for.
pub fn patch(kind: PatchKind, sigma_px: f64, noise_dn: f64, seed: u64, size_px: usize) -> Plane {
    let mut plane = noiseless_patch(kind, sigma_px, seed, size_px);
    let mut rng = SplitMix64::new(seed ^ 0x7061_7463);
    for v in &mut plane.data {
        let noise = if noise_dn > 0.0 { noise_dn * rng.normal() } else { 0.0 };
        *v = (f64::from(*v) + noise).round().clamp(0.0, 255.0) as f32;
    }
    plane
}

/// The same without noise and rounding.
pub fn noiseless_patch(kind: PatchKind, sigma_px: f64, seed: u64, size_px: usize) -> Plane {
    let spec = SceneSpec {
        kind: match kind {
            PatchKind::Edges => SceneKind::Edges,
            PatchKind::DeadLeaves => SceneKind::DeadLeaves,
        },
        seed,
        width_px: size_px,
        height_px: size_px,
        relief_px: 0.0,
        colour: false,
        look: SurfaceLook::USUAL,
    };
    let canvas = flat_canvas(&spec, SAMPLES_A_PX as f32);
    blurred(&canvas, sigma_px, size_px)
}

fn blurred(canvas: &Canvas, sigma_px: f64, size_px: usize) -> Plane {
    let (w, h) = (canvas.width, canvas.height);
    // Reflectance 0..0.9 to about 20..235 of 255.
    let light: Vec<f32> = canvas.data.iter().map(|p| 20.0 + 240.0 * p[1].min(0.9)).collect();
    let spread = (sigma_px * SAMPLES_A_PX as f64) as f32;
    let k = -2.0 * (std::f32::consts::PI * spread).powi(2);
    let (_, _, grid) = SceneSpectrum::of(&light, 1, 0, w, h).filtered(1, |fx, fy| {
        let box_sampling = crate::simulator::optics::sinc(f64::from(fx))
            * crate::simulator::optics::sinc(f64::from(fy));
        (k * (fx * fx + fy * fy)).exp() / box_sampling as f32
    });
    let (x0, y0) = ((w - size_px * SAMPLES_A_PX) / 2, (h - size_px * SAMPLES_A_PX) / 2);
    Plane::from_fn(size_px, size_px, Tone::Encoded, |x, y| {
        grid[(y0 + y * SAMPLES_A_PX) * w + x0 + x * SAMPLES_A_PX].re
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Standard deviation of a plane's differences to another, interior only.
    fn spread(a: &Plane, b: &Plane) -> f64 {
        let d: Vec<f64> = a.data.iter().zip(&b.data).map(|(a, b)| f64::from(a - b)).collect();
        (d.iter().map(|v| v * v).sum::<f64>() / d.len() as f64).sqrt()
    }

    #[test]
    fn noise_has_the_sd_asked_for() {
        let clean = noiseless_patch(PatchKind::DeadLeaves, 2.0, 5, 128);
        let noisy = patch(PatchKind::DeadLeaves, 2.0, 4.0, 5, 128);
        // Rounding adds 1/12; four standard errors of an sd from 16384 samples are 2.2 %.
        let want = (16.0f64 + 1.0 / 12.0).sqrt();
        assert!((spread(&clean, &noisy) / want - 1.0).abs() < 0.022);
    }

    // A Gaussian of 3 px is one of 1.8 px followed by one of 2.4 px: the spectra must differ by
    // exactly that Gaussian. Checked by blurring the patch on its own grid.
    #[test]
    fn blurs_add_in_quadrature() {
        let fine = noiseless_patch(PatchKind::Edges, 1.8, 2, 160);
        let coarse = noiseless_patch(PatchKind::Edges, 3.0, 2, 160);
        let kernel: Vec<f32> =
            (-12..=12).map(|k| (-(k as f32).powi(2) / (2.0 * 2.4f32.powi(2))).exp()).collect();
        let total: f32 = kernel.iter().sum::<f32>().powi(2);
        let mut worst = 0.0f32;
        for y in (20..140).step_by(7) {
            for x in (20..140).step_by(7) {
                let mut sum = 0.0;
                for (j, ky) in kernel.iter().enumerate() {
                    for (i, kx) in kernel.iter().enumerate() {
                        sum += kx * ky * fine.at(x + i - 12, y + j - 12);
                    }
                }
                worst = worst.max((sum / total - coarse.at(x, y)).abs());
            }
        }
        // Of a contrast of 200; limited by the kernel's cut at five sigma.
        assert!(worst < 0.1, "{worst}");
    }
}
