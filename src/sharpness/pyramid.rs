//! The three scales on which blur is measured.
//!
//! Level 0 is the picture, level l+1 is every second pixel of level l smoothed by the separable
//! binomial [1 4 6 4 1]/16 (Burt & Adelson 1983, DOI 10.1109/TCOM.1983.1095851). Samples are
//! integers in eighths of an 8-bit step, so a whole level costs two bytes a pixel and the sums
//! are exact. Level 0 is never stored: its rows are read from the decoded picture when needed.

use crate::core::{Luma, with_simd};

/// Samples of one level, in eighths of an 8-bit step.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PyramidLevel {
    /// Width, samples.
    pub width: usize,
    /// Height, samples.
    pub height: usize,
    /// Samples, row-major.
    pub data: Vec<i16>,
}

impl PyramidLevel {
    fn zeros(width: usize, height: usize) -> Self {
        PyramidLevel { width, height, data: vec![0; width * height] }
    }

    /// Takes a size; what the samples are afterwards is left to the caller, who writes them all.
    fn fit(&mut self, width: usize, height: usize) {
        (self.width, self.height) = (width, height);
        self.data.resize(width * height, 0);
    }

    /// A whole picture as level 0 (used on small cut-outs).
    pub fn from_luma(luma: &Luma<'_>) -> Self {
        let mut level = PyramidLevel::zeros(luma.width_px(), luma.height_px());
        let width = level.width;
        for y in 0..level.height {
            luma.row_eighths(y, 0, &mut level.data[y * width..(y + 1) * width]);
        }
        level
    }

    /// One row.
    pub fn row(&self, y: usize) -> &[i16] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// The binomially smoothed level of the same size (borders repeat the outermost sample).
    #[must_use]
    pub fn smoothed(&self) -> PyramidLevel {
        let mut out = PyramidLevel::default();
        self.smooth_into(&mut out);
        out
    }

    fn smooth_into(&self, out: &mut PyramidLevel) {
        out.fit(self.width, self.height);
        let mut rows = SmoothRows::new(self.width, self.height);
        for (y, line) in out.data.chunks_exact_mut(self.width.max(1)).enumerate() {
            rows.at(y, |y, out| out.copy_from_slice(self.row(y)), line);
        }
    }

    /// Every second sample of every second row.
    #[must_use]
    pub fn halved(&self) -> PyramidLevel {
        let mut out = PyramidLevel::default();
        self.halve_into(&mut out);
        out
    }

    fn halve_into(&self, out: &mut PyramidLevel) {
        out.fit(self.width.div_ceil(2), self.height.div_ceil(2));
        for (y, line) in out.data.chunks_exact_mut(out.width.max(1)).enumerate() {
            every_second(self.row(2 * y), line);
        }
    }
}

/// Every second sample of a row.
fn every_second(row: &[i16], out: &mut [i16]) {
    with_simd(
        #[inline(always)]
        || {
            let (pairs, last) = row.as_chunks::<2>();
            for (o, v) in out.iter_mut().zip(pairs) {
                *o = v[0];
            }
            if let ([v], Some(o)) = (last, out.get_mut(pairs.len())) {
                *o = *v;
            }
        },
    );
}

/// One step horizontally, kept as twice the level's unit so that the vertical step rounds once:
/// sums stay below 2^16 (2040 * 16 / 8 * 16 = 65 280).
#[inline(always)]
fn smooth_row(padded: &[i16], out: &mut [u16]) {
    let n = out.len();
    let (a, b, c, d, e) =
        (&padded[..n], &padded[1..=n], &padded[2..n + 2], &padded[3..n + 3], &padded[4..n + 4]);
    for i in 0..n {
        let sum = a[i] as u16 + e[i] as u16 + 4 * (b[i] as u16 + d[i] as u16) + 6 * c[i] as u16;
        out[i] = (sum + 4) >> 3;
    }
}

#[inline(always)]
fn smooth_column(rows: [&[u16]; 5], out: &mut [i16]) {
    let n = out.len();
    let [a, b, c, d, e] = rows.map(|r| &r[..n]);
    for i in 0..n {
        let sum = a[i] + e[i] + 4 * (b[i] + d[i]) + 6 * c[i];
        out[i] = ((sum + 16) >> 5) as i16;
    }
}

/// A rolling binomial filter over rows that are asked for in rising order.
struct SmoothRows {
    width: usize,
    height: usize,
    padded: Vec<i16>,
    ring: [Vec<u16>; 5],
    /// Next source row to be filtered horizontally.
    next: usize,
}

impl SmoothRows {
    fn new(width: usize, height: usize) -> Self {
        SmoothRows {
            width,
            height,
            padded: vec![0; width + 4],
            ring: std::array::from_fn(|_| vec![0; width]),
            next: 0,
        }
    }

    /// Smoothed row `y` into `out`; `read` fills a row of the source.
    fn at(&mut self, y: usize, mut read: impl FnMut(usize, &mut [i16]), out: &mut [i16]) {
        let last = (y + 2).min(self.height - 1);
        while self.next <= last {
            let w = self.width;
            read(self.next, &mut self.padded[2..w + 2]);
            let (first, end) = (self.padded[2], self.padded[w + 1]);
            self.padded[..2].fill(first);
            self.padded[w + 2..].fill(end);
            let (padded, out) = (&self.padded, &mut self.ring[self.next % 5]);
            with_simd(
                #[inline(always)]
                || smooth_row(padded, out),
            );
            self.next += 1;
        }
        let row_at = |dy: isize| {
            let row = y.saturating_add_signed(dy).min(self.height - 1);
            self.ring[row % 5].as_slice()
        };
        let rows = [row_at(-2), row_at(-1), row_at(0), row_at(1), row_at(2)];
        with_simd(
            #[inline(always)]
            || smooth_column(rows, out),
        );
    }
}

/// Levels 1 and 2 of a picture, each with its smoothed version.
#[derive(Debug, Clone, Default)]
pub struct Pyramid {
    /// Level 1: half size.
    pub level1: PyramidLevel,
    /// Level 1, smoothed.
    pub smooth1: PyramidLevel,
    /// Level 2: quarter size.
    pub level2: PyramidLevel,
    /// Level 2, smoothed.
    pub smooth2: PyramidLevel,
}

impl Pyramid {
    /// Builds the levels from a picture in one pass over its rows.
    pub fn new(luma: &Luma<'_>) -> Self {
        let mut pyramid = Pyramid::default();
        pyramid.rebuild(luma);
        pyramid
    }

    /// As [`Self::new`], in the memory of another picture's levels: fresh memory for 24 Mpx costs
    /// as much time as filtering them.
    pub fn rebuild(&mut self, luma: &Luma<'_>) {
        let (width, height) = (luma.width_px(), luma.height_px());
        self.level1.fit(width.div_ceil(2), height.div_ceil(2));
        let mut rows = SmoothRows::new(width, height);
        let mut row = vec![0; width];
        let half = self.level1.width;
        for (y, line) in self.level1.data.chunks_exact_mut(half.max(1)).enumerate() {
            rows.at(2 * y, |y, out| luma.row_eighths(y, 0, out), &mut row);
            every_second(&row, line);
        }
        self.level1.smooth_into(&mut self.smooth1);
        self.smooth1.halve_into(&mut self.level2);
        self.level2.smooth_into(&mut self.smooth2);
    }
}

/// A cut-out of level 0 and its smoothed version, for one tile with its surroundings.
#[derive(Debug, Clone)]
pub struct LevelCut {
    /// Column of the picture at which the cut-out starts.
    pub x0: usize,
    /// Row of the picture at which the cut-out starts.
    pub y0: usize,
    /// Level 0.
    pub level: PyramidLevel,
    /// Level 0, smoothed.
    pub smooth: PyramidLevel,
}

/// A part of level 0 with its smoothed version; the outer 2 px of `smooth` see repeated borders.
pub fn cut_level0(luma: &Luma<'_>, x0: usize, y0: usize, width: usize, height: usize) -> LevelCut {
    let x0 = x0.min(luma.width_px());
    let y0 = y0.min(luma.height_px());
    let mut level =
        PyramidLevel::zeros(width.min(luma.width_px() - x0), height.min(luma.height_px() - y0));
    let w = level.width;
    for y in 0..level.height {
        luma.row_eighths(y0 + y, x0, &mut level.data[y * w..(y + 1) * w]);
    }
    let smooth = level.smoothed();
    LevelCut { x0, y0, level, smooth }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::random::SplitMix64;

    fn noisy(width: usize, height: usize) -> Vec<u8> {
        let mut g = SplitMix64::new(5);
        (0..width * height).map(|_| (128.0 + 20.0 * g.normal()).clamp(0.0, 255.0) as u8).collect()
    }

    /// The binomial in floating point with repeated borders.
    fn reference(data: &[u8], width: usize, height: usize, x: usize, y: usize) -> f64 {
        let k = [1.0, 4.0, 6.0, 4.0, 1.0];
        let mut sum = 0.0;
        for (j, kj) in k.iter().enumerate() {
            for (i, ki) in k.iter().enumerate() {
                let xx = (x + i).saturating_sub(2).min(width - 1);
                let yy = (y + j).saturating_sub(2).min(height - 1);
                sum += ki * kj * f64::from(data[yy * width + xx]);
            }
        }
        sum / 256.0
    }

    #[test]
    fn smoothing_agrees_with_the_float_filter_to_its_rounding() {
        let (w, h) = (37, 23);
        let data = noisy(w, h);
        let luma = Luma::U8 { data: &data, channels: 1, width_px: w, height_px: h };
        let smooth = PyramidLevel::from_luma(&luma).smoothed();
        for y in 0..h {
            for x in 0..w {
                let got = f64::from(smooth.row(y)[x]) / 8.0;
                let want = reference(&data, w, h, x, y);
                assert!((got - want).abs() < 0.1, "{x},{y}: {got} against {want}");
            }
        }
    }

    #[test]
    fn the_streamed_pyramid_equals_the_stored_one() {
        let (w, h) = (75, 66);
        let data = noisy(w, h);
        let luma = Luma::U8 { data: &data, channels: 1, width_px: w, height_px: h };
        let pyramid = Pyramid::new(&luma);
        assert_eq!(pyramid.level1, PyramidLevel::from_luma(&luma).smoothed().halved());
        assert_eq!((pyramid.level2.width, pyramid.level2.height), (19, 17));
        assert_eq!(pyramid.level2, pyramid.level1.smoothed().halved());
    }

    #[test]
    fn white_keeps_its_value() {
        let data = vec![255u8; 40 * 40];
        let luma = Luma::U8 { data: &data, channels: 1, width_px: 40, height_px: 40 };
        let pyramid = Pyramid::new(&luma);
        assert!(pyramid.smooth2.data.iter().all(|v| *v == 2040));
    }
}
