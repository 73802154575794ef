//! Picture planes: the integer luma that the fast kernels read, and the float plane that the
//! slower, finer methods work on.

use super::simd::with_simd;

/// Whether sample values are proportional to light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tone {
    /// Proportional to light (raw).
    Linear,
    /// Through a camera's tone curve (JPEG and other rendered pictures).
    Encoded,
    /// Not known.
    Unknown,
}

/// A float plane that knows its tone, its sampling step and its white level.
///
/// Shape: `data[y * width_px + x]`, row-major, no padding.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    /// Width, samples.
    pub width_px: usize,
    /// Height, samples.
    pub height_px: usize,
    /// Whether samples are linear in light.
    pub tone: Tone,
    /// Distance between neighbouring samples, in pixels of the picture (1; 2 for one colour of a
    /// mosaic).
    pub step_px: u32,
    /// The value of full white, in the unit of the samples (255 for 8-bit files).
    pub white_dn: f32,
    /// Samples, row-major.
    pub data: Vec<f32>,
}

impl Plane {
    /// A plane of zeros, 8-bit scale.
    pub fn zeros(width_px: usize, height_px: usize, tone: Tone) -> Self {
        Plane {
            width_px,
            height_px,
            tone,
            step_px: 1,
            white_dn: 255.0,
            data: vec![0.0; width_px * height_px],
        }
    }

    /// A plane filled by a function of x and y, 8-bit scale.
    pub fn from_fn(
        width_px: usize,
        height_px: usize,
        tone: Tone,
        mut f: impl FnMut(usize, usize) -> f32,
    ) -> Self {
        let mut plane = Plane::zeros(width_px, height_px, tone);
        for y in 0..height_px {
            for x in 0..width_px {
                plane.data[y * width_px + x] = f(x, y);
            }
        }
        plane
    }

    /// The sample at x, y.
    ///
    /// # Panics
    /// When the position lies outside the plane.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        assert!(x < self.width_px && y < self.height_px);
        self.data[y * self.width_px + x]
    }

    /// One row.
    ///
    /// # Panics
    /// When the row lies outside the plane.
    pub fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width_px..(y + 1) * self.width_px]
    }

    /// The part of the plane inside a box, clamped to the plane.
    #[must_use]
    pub fn cut(&self, x0: usize, y0: usize, width_px: usize, height_px: usize) -> Plane {
        let x0 = x0.min(self.width_px);
        let y0 = y0.min(self.height_px);
        let w = width_px.min(self.width_px - x0);
        let h = height_px.min(self.height_px - y0);
        let mut data = Vec::with_capacity(w * h);
        for y in y0..y0 + h {
            data.extend_from_slice(&self.row(y)[x0..x0 + w]);
        }
        Plane { width_px: w, height_px: h, data, ..*self }
    }

    /// The plane as 8-bit luma, values rounded and clamped to 0..=255.
    pub fn to_luma(&self) -> Vec<u8> {
        let k = 255.0 / self.white_dn;
        self.data.iter().map(|v| (v * k).round().clamp(0.0, 255.0) as u8).collect()
    }
}

/// Half as large each way: means of two by two samples, a last odd row or column left out.
pub fn halved(data: &[f32], width: usize, height: usize) -> Vec<f32> {
    let across = width / 2 * 2;
    let mut out = Vec::with_capacity(across / 2 * (height / 2));
    for y in 0..height / 2 {
        let above = &data[2 * y * width..][..across];
        let below = &data[(2 * y + 1) * width..][..across];
        let pairs = above.as_chunks::<2>().0.iter().zip(below.as_chunks::<2>().0);
        out.extend(pairs.map(|(a, b)| (a[0] + a[1] + b[0] + b[1]) / 4.0));
    }
    out
}

/// A view of luma samples inside a decoded picture, without copying.
///
/// 8-bit samples may be interleaved with colour: pixel x of row y is
/// `data[(y * width_px + x) * channels]`. 16-bit samples are alone.
#[derive(Debug, Clone, Copy)]
pub enum Luma<'a> {
    /// 8-bit samples, the first of `channels` interleaved ones.
    U8 {
        /// Samples, row-major.
        data: &'a [u8],
        /// Samples a pixel (1 for grey, 3 for YCbCr).
        channels: usize,
        /// Width, px.
        width_px: usize,
        /// Height, px.
        height_px: usize,
    },
    /// 16-bit samples with full white at 65535.
    U16 {
        /// Samples, row-major.
        data: &'a [u16],
        /// Width, px.
        width_px: usize,
        /// Height, px.
        height_px: usize,
    },
}

impl Luma<'_> {
    /// Width, px.
    pub fn width_px(&self) -> usize {
        match self {
            Luma::U8 { width_px, .. } | Luma::U16 { width_px, .. } => *width_px,
        }
    }

    /// Height, px.
    pub fn height_px(&self) -> usize {
        match self {
            Luma::U8 { height_px, .. } | Luma::U16 { height_px, .. } => *height_px,
        }
    }

    /// Copies row `y` from column `x0` on into `out`, in eighths of an 8-bit step (0..=2040).
    ///
    /// # Panics
    /// When the part lies outside the picture.
    pub fn row_eighths(&self, y: usize, x0: usize, out: &mut [i16]) {
        with_simd(
            #[inline(always)]
            || self.fill_eighths(y, x0, out),
        );
    }

    /// As [`Self::row_eighths`], for inlining into a kernel.
    #[inline(always)]
    pub(crate) fn fill_eighths(&self, y: usize, x0: usize, out: &mut [i16]) {
        match *self {
            Luma::U8 { data, channels: 1, width_px, .. } => {
                let start = y * width_px + x0;
                let end = start + out.len();
                for (o, v) in out.iter_mut().zip(&data[start..end]) {
                    *o = i16::from(*v) << 3;
                }
            }
            Luma::U8 { data, channels: 3, width_px, .. } => {
                let start = (y * width_px + x0) * 3;
                let end = start + out.len() * 3;
                for (o, v) in out.iter_mut().zip(data[start..end].as_chunks::<3>().0) {
                    *o = i16::from(v[0]) << 3;
                }
            }
            Luma::U8 { data, channels, width_px, .. } => {
                let start = (y * width_px + x0) * channels;
                let end = start + out.len() * channels;
                for (o, v) in out.iter_mut().zip(data[start..end].chunks_exact(channels)) {
                    *o = i16::from(v[0]) << 3;
                }
            }
            Luma::U16 { data, width_px, .. } => {
                let start = y * width_px + x0;
                let end = start + out.len();
                for (o, v) in out.iter_mut().zip(&data[start..end]) {
                    *o = ((u32::from(*v) * 2040 + 32767) / 65535) as i16;
                }
            }
        }
    }

    /// The part inside a box as a float plane on the 8-bit scale (0..=255), clamped to the
    /// picture.
    pub fn cut(&self, x0: usize, y0: usize, width_px: usize, height_px: usize) -> Plane {
        let x0 = x0.min(self.width_px());
        let y0 = y0.min(self.height_px());
        let w = width_px.min(self.width_px() - x0);
        let h = height_px.min(self.height_px() - y0);
        let mut plane = Plane::zeros(w, h, Tone::Encoded);
        let mut row = vec![0i16; w];
        for y in 0..h {
            self.row_eighths(y0 + y, x0, &mut row);
            for (o, v) in plane.data[y * w..(y + 1) * w].iter_mut().zip(&row) {
                *o = f32::from(*v) / 8.0;
            }
        }
        plane
    }
}
