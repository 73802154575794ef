//! Power density of one square tile: plane subtracted, Hann window, two-dimensional transform.
//!
//! Scaled so that white noise of variance v has density v at every frequency (the area under
//! the whole plane of frequencies, ±0.5 by ±0.5 cycles per pixel, is then the variance).

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// A plan for tiles of one size.
pub(crate) struct Periodogram {
    size: usize,
    window: Vec<f32>,
    norm: f32,
    fft: Arc<dyn RealToComplex<f32>>,
    scratch: Vec<Complex<f32>>,
    work: Vec<f32>,
    half: Vec<Complex<f32>>,
    half_of_im: Vec<Complex<f32>>,
    columns_re: Vec<f32>,
    columns_im: Vec<f32>,
}

impl Periodogram {
    /// A plan for tiles of `size` by `size` samples, `size` even.
    pub(crate) fn new(size: usize) -> Self {
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        // Periodic Hann: its square sums to 3/8 of the length.
        let window: Vec<f32> = (0..size)
            .map(|i| {
                let phase = std::f64::consts::TAU * i as f64 / size as f64;
                (0.5 - 0.5 * phase.cos()) as f32
            })
            .collect();
        let energy: f32 = window.iter().map(|w| w * w).sum();
        Periodogram {
            size,
            norm: 1.0 / (energy * energy),
            window,
            scratch: fft.make_scratch_vec(),
            half: fft.make_output_vec(),
            half_of_im: fft.make_output_vec(),
            fft,
            work: vec![0.0; size * size],
            columns_re: vec![0.0; (size / 2 + 1) * size],
            columns_im: vec![0.0; (size / 2 + 1) * size],
        }
    }

    /// Number of densities [`Self::power`] gives: half the plane, `kx * size + ky`.
    pub(crate) fn len(&self) -> usize {
        (self.size / 2 + 1) * self.size
    }

    /// Calls `f(index, radius, weight)` for every density: radius in cycles per sample, weight 2
    /// where the density stands for its mirror image too.
    pub(crate) fn each(&self, mut f: impl FnMut(usize, f64, f64)) {
        let n = self.size;
        for kx in 0..=n / 2 {
            let weight = if kx == 0 || 2 * kx == n { 1.0 } else { 2.0 };
            for ky in 0..n {
                let fy = ky.min(n - ky) as f64 / n as f64;
                f(kx * n + ky, (kx as f64 / n as f64).hypot(fy), weight);
            }
        }
    }

    /// Densities of a tile (row-major) into `out`.
    pub(crate) fn power(&mut self, tile: &[f32], out: &mut [f32]) {
        let n = self.size;
        let middle = (n - 1) as f32 / 2.0;
        let (mut sum, mut along_x, mut along_y) = (0.0f64, 0.0f64, 0.0f64);
        for (y, row) in tile.chunks_exact(n).enumerate() {
            let (mut s, mut sx) = (0.0f32, 0.0f32);
            for (x, v) in row.iter().enumerate() {
                s += v;
                sx += v * (x as f32 - middle);
            }
            sum += f64::from(s);
            along_x += f64::from(sx);
            along_y += f64::from(s * (y as f32 - middle));
        }
        let cells = (n * n) as f64;
        let spread = cells * (cells - 1.0) / 12.0;
        let mean = (sum / cells) as f32;
        let (gx, gy) = ((along_x / spread) as f32, (along_y / spread) as f32);
        for (y, row) in tile.chunks_exact(n).enumerate() {
            let base = mean + gy * (y as f32 - middle);
            for (x, v) in row.iter().enumerate() {
                let flat = v - base - gx * (x as f32 - middle);
                self.work[y * n + x] = flat * self.window[x] * self.window[y];
            }
        }
        self.transform(out);
    }

    /// Power of the windowed samples in `work`.
    fn transform(&mut self, out: &mut [f32]) {
        let n = self.size;
        for y in 0..n {
            let row = &mut self.work[y * n..(y + 1) * n];
            let done = self.fft.process_with_scratch(row, &mut self.half, &mut self.scratch);
            debug_assert!(done.is_ok(), "buffers come from the plan");
            for (kx, c) in self.half.iter().enumerate() {
                self.columns_re[kx * n + y] = c.re;
                self.columns_im[kx * n + y] = c.im;
            }
        }
        for kx in 0..=n / 2 {
            let span = kx * n..(kx + 1) * n;
            let re = &mut self.columns_re[span.clone()];
            let done = self.fft.process_with_scratch(re, &mut self.half, &mut self.scratch);
            debug_assert!(done.is_ok());
            let im = &mut self.columns_im[span.clone()];
            let done = self.fft.process_with_scratch(im, &mut self.half_of_im, &mut self.scratch);
            debug_assert!(done.is_ok());
            let out = &mut out[span];
            // Transform of re + i·im from the two real ones; row n - ky uses their conjugates.
            for (ky, (a, b)) in self.half.iter().zip(&self.half_of_im).enumerate() {
                let up = (a.re - b.im).powi(2) + (a.im + b.re).powi(2);
                let down = (a.re + b.im).powi(2) + (b.re - a.im).powi(2);
                out[ky] = up * self.norm;
                if ky > 0 {
                    out[n - ky] = down * self.norm;
                }
            }
        }
    }

    /// What is left of white noise at each density after the plane is subtracted: 1 minus the
    /// share of the three subtracted shapes.
    pub(crate) fn white_gain(&mut self) -> Vec<f32> {
        let n = self.size;
        let middle = (n - 1) as f32 / 2.0;
        let cells = (n * n) as f32;
        let spread = cells * (cells - 1.0) / 12.0;
        let mut gain = vec![1.0; self.len()];
        let mut out = vec![0.0; self.len()];
        for shape in 0..3 {
            for y in 0..n {
                for x in 0..n {
                    let value = match shape {
                        0 => 1.0 / cells.sqrt(),
                        1 => (x as f32 - middle) / spread.sqrt(),
                        _ => (y as f32 - middle) / spread.sqrt(),
                    };
                    self.work[y * n + x] = value * self.window[x] * self.window[y];
                }
            }
            self.transform(&mut out);
            for (g, o) in gain.iter_mut().zip(&out) {
                *g -= o;
            }
        }
        gain
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    /// The definition, term by term.
    fn slow_power(tile: &[f32], n: usize, kx: usize, ky: usize) -> f64 {
        let plan = Periodogram::new(n);
        let middle = (n - 1) as f64 / 2.0;
        let cells = (n * n) as f64;
        let at = |x: usize, y: usize| f64::from(tile[y * n + x]);
        let (mut s, mut sx, mut sy, mut xx) = (0.0, 0.0, 0.0, 0.0);
        for y in 0..n {
            for x in 0..n {
                s += at(x, y);
                sx += at(x, y) * (x as f64 - middle);
                sy += at(x, y) * (y as f64 - middle);
                xx += (x as f64 - middle).powi(2);
            }
        }
        let (mut re, mut im, mut energy) = (0.0, 0.0, 0.0);
        for y in 0..n {
            for x in 0..n {
                let plane =
                    s / cells + sx / xx * (x as f64 - middle) + sy / xx * (y as f64 - middle);
                let w = f64::from(plan.window[x]) * f64::from(plan.window[y]);
                let phase = std::f64::consts::TAU * (kx * x + ky * y) as f64 / n as f64;
                re += (at(x, y) - plane) * w * phase.cos();
                im -= (at(x, y) - plane) * w * phase.sin();
                energy += w * w;
            }
        }
        (re * re + im * im) / energy
    }

    #[test]
    fn the_fast_transform_is_the_definition() {
        let n = 16;
        let mut random = SplitMix64::new(3);
        let tile: Vec<f32> =
            (0..n * n).map(|i| (random.normal() * 5.0 + (i % n) as f64 * 2.0) as f32).collect();
        let mut plan = Periodogram::new(n);
        let mut out = vec![0.0; plan.len()];
        plan.power(&tile, &mut out);
        for kx in 0..=n / 2 {
            for ky in 0..n {
                let want = slow_power(&tile, n, kx, ky);
                let got = f64::from(out[kx * n + ky]);
                approx::assert_abs_diff_eq!(got, want, epsilon = 1e-3 * (1.0 + want));
            }
        }
    }

    #[test]
    fn white_noise_has_its_variance_as_density_after_the_gain() {
        let n = 16;
        let mut random = SplitMix64::new(5);
        let mut plan = Periodogram::new(n);
        let gain = plan.white_gain();
        let mut mean = vec![0.0f64; plan.len()];
        let mut out = vec![0.0; plan.len()];
        let tiles = 4000;
        for _ in 0..tiles {
            let tile: Vec<f32> = (0..n * n).map(|_| (3.0 * random.normal()) as f32).collect();
            plan.power(&tile, &mut out);
            mean.iter_mut().zip(&out).for_each(|(m, o)| *m += f64::from(*o) / f64::from(tiles));
        }
        // Relative error of a mean of exponentials: 1/√4000 = 1.6 %; five of those.
        for (i, (m, g)) in mean.iter().zip(&gain).enumerate().filter(|(_, (_, g))| **g > 0.3) {
            approx::assert_relative_eq!(m / f64::from(*g), 9.0, max_relative = 0.11);
            assert!(*g <= 1.0 + 1e-6, "gain {g} at {i}");
        }
    }
}
