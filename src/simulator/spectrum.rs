//! Two-dimensional Fourier transforms of picture planes, two real planes at a time.
//!
//! Every filter here is real and even, so two planes ride through one complex transform as its
//! real and imaginary parts and come out apart.

use rayon::prelude::*;
use rustfft::{FftDirection, FftPlanner, num_complex::Complex};

/// A complex grid, row-major.
type Grid = Vec<Complex<f32>>;

/// Columns and rows moved at once when a grid is turned.
const BLOCK: usize = 32;

/// The spectrum of one or two real planes. Stored turned: `data[kx * height + ky]`.
pub(super) struct SceneSpectrum {
    width: usize,
    height: usize,
    data: Grid,
}

impl SceneSpectrum {
    /// Transforms the planes `channel` and `channel + 1` (when there is one) of interleaved
    /// samples.
    pub(super) fn of(
        samples: &[f32],
        channels: usize,
        channel: usize,
        width: usize,
        height: usize,
    ) -> Self {
        let pair = channel + 1 < channels;
        let mut grid: Grid = samples
            .par_chunks_exact(channels)
            .map(|s| Complex::new(s[channel], if pair { s[channel + 1] } else { 0.0 }))
            .collect();
        rows(&mut grid, width, FftDirection::Forward);
        let mut data = turned(&grid, width, height);
        rows(&mut data, height, FftDirection::Forward);
        SceneSpectrum { width, height, data }
    }

    /// Filters by `transfer(fx, fy)` (cycles per sample of this grid) and returns to pictures on
    /// a grid coarser by `reduce`, the samples of the real and imaginary plane.
    pub(super) fn filtered(
        &self,
        reduce: usize,
        transfer: impl Fn(f32, f32) -> f32 + Sync,
    ) -> (usize, usize, Grid) {
        let (w, h) = (self.width / reduce, self.height / reduce);
        let norm = 1.0 / (self.width * self.height) as f32;
        let mut part = vec![Complex::default(); w * h];
        part.par_chunks_exact_mut(h).enumerate().for_each(|(kx, column)| {
            let (from_x, fx) = source(kx, w, self.width);
            let source_column = &self.data[from_x * self.height..(from_x + 1) * self.height];
            for (ky, out) in column.iter_mut().enumerate() {
                let (from_y, fy) = source(ky, h, self.height);
                *out = source_column[from_y] * (transfer(fx, fy) * norm);
            }
        });
        rows(&mut part, h, FftDirection::Inverse);
        let mut grid = turned(&part, h, w);
        rows(&mut grid, w, FftDirection::Inverse);
        (w, h, grid)
    }
}

/// Index in the full spectrum, and signed frequency there, of index `k` in a cut of `n`.
fn source(k: usize, n: usize, full: usize) -> (usize, f32) {
    if k < n.div_ceil(2) {
        (k, k as f32 / full as f32)
    } else {
        let from = full - (n - k);
        (from, -((n - k) as f32) / full as f32)
    }
}

fn rows(grid: &mut [Complex<f32>], width: usize, direction: FftDirection) {
    let fft = FftPlanner::<f32>::new().plan_fft(width, direction);
    grid.par_chunks_mut(width * 8).for_each_init(
        || vec![Complex::default(); fft.get_inplace_scratch_len()],
        |scratch, part| fft.process_with_scratch(part, scratch),
    );
}

/// Swaps rows and columns of a grid of `width` columns.
fn turned(grid: &[Complex<f32>], width: usize, height: usize) -> Grid {
    let mut out = vec![Complex::default(); grid.len()];
    out.par_chunks_mut(height * BLOCK).enumerate().for_each(|(b, part)| {
        let x0 = b * BLOCK;
        let nx = part.len() / height;
        for y0 in (0..height).step_by(BLOCK) {
            for x in 0..nx {
                for y in y0..(y0 + BLOCK).min(height) {
                    part[x * height + y] = grid[y * width + x0 + x];
                }
            }
        }
    });
    out
}

/// The next even length ≥ `n` that is a multiple of `multiple` and has only the factors 2, 3, 5.
pub(super) fn smooth_length(n: usize, multiple: usize) -> usize {
    let mut length = n.div_ceil(multiple) * multiple;
    loop {
        let mut rest = length;
        for p in [2usize, 3, 5] {
            while rest.is_multiple_of(p) {
                rest /= p;
            }
        }
        if rest == 1 {
            return length;
        }
        length += multiple;
    }
}
