//! From the mosaic to what the focus measures read, and to small previews.
//!
//! Luma is the green light at every pixel of the mosaic: measured at green places, and at red and
//! blue ones interpolated with the second difference of the white-balanced colour there (Malvar,
//! He & Cutler 2004, DOI 10.1109/ICASSP.2004.1326587). Their weight, a half, was held against a
//! quarter, which is exact to second order: on a scene of edges the measured blur over the true
//! one is 0.77 without any mosaic, 0.82 with a half and 0.86 with a quarter.
//! It then passes the sRGB curve (IEC 61966-2-1): the focus measures
//! work in steps of an 8-bit rendered picture, and light itself would leave the shadows a handful
//! of steps. Blur is a ratio of gradients at one edge and hardly feels the curve.
//!
//! Detail is measured on the same green without the curve ([`RawFrame::linear_luma`]); noise alone
//! on the planes.

use super::{Filter, RawFrame};
use crate::core::tone::encode_srgb;
use crate::core::{Plane, Tone};

/// Beside samples above this share of full scale no colour difference is trusted.
const NEARLY_CLIPPED: f32 = 0.95;
/// White balance factors outside this range are placeholders.
pub(super) const FACTORS: std::ops::RangeInclusive<f32> = 0.1..=20.0;
/// Weight of the second difference of the other colour.
const SECOND_DIFFERENCE: f32 = 0.5;
/// Samples in the table of the curve, less one.
const STEPS: usize = 65_535;

/// Green at every pixel, and how far red and blue are from it at half size.
#[cfg_attr(not(feature = "raw"), allow(dead_code))]
pub(in crate::image) struct Developed {
    /// sRGB-encoded green, full white at 65535, one sample a pixel.
    pub luma: Vec<u16>,
    /// Red less green and blue less green, encoded 8-bit steps, one pair for each 2 x 2 cell; the
    /// row is `width_px / 2` long. Empty when not asked for.
    pub chroma: Vec<[i16; 2]>,
}

impl RawFrame {
    /// Luma for the focus measures: green, sRGB-encoded, full white at 65535, one sample a pixel
    /// of the mosaic. See the head of this file for why.
    pub fn luma16(&self) -> Vec<u16> {
        let curve = Curve::new();
        if self.is_monochrome() {
            return self.lone_luma(&curve);
        }
        let w = self.width_px;
        let mut out = vec![0u16; w * self.height_px];
        self.each_green_row(|y, row| {
            let line = &mut out[y * w..(y + 1) * w];
            line.iter_mut().zip(row).for_each(|(o, green)| *o = curve.at(*green));
        });
        out
    }

    /// Green light at every pixel of the mosaic as in [`Self::luma16`] but linear: black at 0,
    /// saturation of green at 1. Values under black stay negative, so that noise keeps its mean.
    pub fn linear_luma(&self) -> Plane {
        let (w, h) = (self.width_px, self.height_px);
        let mut data = Vec::with_capacity(w * h);
        if self.is_monochrome() {
            data.extend(self.mosaic.iter().enumerate().map(|(i, v)| {
                let black = self.black_dn[(i % w.max(1)) % 2 + 2 * ((i / w.max(1)) % 2)];
                (f32::from(*v) - black) / (self.white_dn - black)
            }));
        } else {
            self.each_green_row(|_, row| data.extend_from_slice(row));
        }
        Plane { width_px: w, height_px: h, tone: Tone::Linear, step_px: 1, white_dn: 1.0, data }
    }

    /// Calls `put` with every row of interpolated green, linear, saturation at 1.
    fn each_green_row(&self, mut put: impl FnMut(usize, &[f32])) {
        let balance = self.balance();
        let (w, h) = (self.width_px, self.height_px);
        let mut line = vec![0.0f32; w];
        let mut rows: [Vec<f32>; 5] = std::array::from_fn(|_| vec![0.0; w + 4]);
        let mut held = [usize::MAX; 5];
        for y in 0..h {
            let sources: [usize; 5] =
                std::array::from_fn(|k| mirrored(y as isize + k as isize - 2, h));
            for (k, source) in sources.iter().enumerate() {
                let slot = (y + k) % 5;
                if held[slot] != *source {
                    self.balanced_row(*source, &balance, &mut rows[slot]);
                    held[slot] = *source;
                }
            }
            let row = |k: usize| &rows[(y + k) % 5];
            let (up2, up, here, down, down2) = (row(0), row(1), row(2), row(3), row(4));
            for (x, o) in line.iter_mut().enumerate() {
                let c = x + 2;
                *o = if self.filter(x, y) == Filter::Green {
                    here[c]
                } else {
                    let cross = 0.25 * (here[c - 1] + here[c + 1] + up[c] + down[c]);
                    let clip = NEARLY_CLIPPED * balance[colour(self.filter(x, y))];
                    let far = 0.25 * (here[c - 2] + here[c + 2] + up2[c] + down2[c]);
                    if here[c].max(far) < clip {
                        cross + SECOND_DIFFERENCE * (here[c] - far)
                    } else {
                        cross
                    }
                };
            }
            put(y, &line);
        }
    }

    /// Luma, and the colour at half size when wanted.
    #[cfg_attr(not(feature = "raw"), allow(dead_code))]
    pub(in crate::image) fn developed(&self, want_colour: bool) -> Developed {
        let chroma = if want_colour && !self.is_monochrome() { self.chroma() } else { Vec::new() };
        Developed { luma: self.luma16(), chroma }
    }

    /// A quick preview, 8-bit interleaved RGB with its width and height: each cell of the mosaic
    /// one pixel, white-balanced, sRGB-encoded, averaged down until its longer side is at most
    /// `max_side_px`. No colour matrix is applied: colours are paler than the camera's own.
    pub fn quick_rgb(&self, max_side_px: usize) -> (Vec<u8>, usize, usize) {
        let (full_w, full_h) = (self.width_px / 2, self.height_px / 2);
        let by = full_w.max(full_h).div_ceil(max_side_px.max(1)).max(1);
        let (w, h) = ((full_w / by).max(1), (full_h / by).max(1));
        let curve = Curve::new();
        let mut rgb = Vec::with_capacity(w * h * 3);
        for y in 0..h {
            for x in 0..w {
                let mut sum = [0.0f32; 3];
                for cy in (y * by)..((y + 1) * by).min(full_h) {
                    for cx in (x * by)..((x + 1) * by).min(full_w) {
                        let cell = self.cell(cx, cy);
                        sum.iter_mut().zip(cell).for_each(|(s, v)| *s += v);
                    }
                }
                let share = 1.0 / (by * by) as f32;
                let balance = self.balance_or_even();
                rgb.extend((0..3).map(|c| (curve.at(sum[c] * share * balance[c]) >> 8) as u8));
            }
        }
        (rgb, w, h)
    }

    fn balance_or_even(&self) -> [f32; 3] {
        self.white_balance.filter(|b| b.iter().all(|f| FACTORS.contains(f))).unwrap_or([1.0; 3])
    }

    /// Light of one cell by colour, black at 0 and saturation at 1.
    fn cell(&self, cx: usize, cy: usize) -> [f32; 3] {
        let (mut sum, mut n) = ([0.0f32; 3], [0.0f32; 3]);
        for place in 0..4 {
            let (x, y) = (2 * cx + place % 2, 2 * cy + place / 2);
            let black = self.black_dn[place];
            let v =
                (f32::from(self.mosaic[y * self.width_px + x]) - black) / (self.white_dn - black);
            if self.pattern[place] == Filter::Clear {
                sum.iter_mut().for_each(|s| *s += v);
                n.iter_mut().for_each(|n| *n += 1.0);
            } else {
                sum[colour(self.pattern[place])] += v;
                n[colour(self.pattern[place])] += 1.0;
            }
        }
        std::array::from_fn(|c| if n[c] > 0.0 { sum[c] / n[c] } else { 0.0 })
    }

    #[cfg_attr(not(feature = "raw"), allow(dead_code))]
    fn chroma(&self) -> Vec<[i16; 2]> {
        let curve = Curve::new();
        let balance = self.balance();
        let (w, h) = (self.width_px / 2, self.height_px / 2);
        let step = |v: f32| (curve.at(v) >> 8) as i16;
        let mut out = Vec::with_capacity(w * h);
        for cy in 0..h {
            for cx in 0..w {
                let [r, g, b] = self.cell(cx, cy);
                let green = step(g);
                // Clipped light is white whatever the colour.
                let difference = |v: f32, factor: f32| {
                    if v.max(g) < NEARLY_CLIPPED { step(v * factor) - green } else { 0 }
                };
                out.push([difference(r, balance[0]), difference(b, balance[2])]);
            }
        }
        out
    }

    fn filter(&self, x: usize, y: usize) -> Filter {
        self.pattern[(x & 1) + 2 * (y & 1)]
    }

    /// The file's white balance, or the one that makes the frame's mean grey.
    fn balance(&self) -> [f32; 3] {
        if let Some(b) = self.white_balance.filter(|b| b.iter().all(|f| FACTORS.contains(f))) {
            return b;
        }
        let (mut sum, mut n) = ([0.0f64; 3], 0.0);
        for cy in (0..self.height_px / 2).step_by(8) {
            for cx in (0..self.width_px / 2).step_by(8) {
                let cell = self.cell(cx, cy);
                sum.iter_mut().zip(cell).for_each(|(s, v)| *s += f64::from(v));
                n += 1.0;
            }
        }
        if n < 1.0 || sum.iter().any(|s| *s <= 0.0) {
            return [1.0; 3];
        }
        sum.map(|s| ((sum[1] / s) as f32).clamp(*FACTORS.start(), *FACTORS.end()))
    }

    /// One row with two samples mirrored on at each end, black 0, green's saturation 1, red and
    /// blue multiplied by the white balance.
    fn balanced_row(&self, y: usize, balance: &[f32; 3], out: &mut [f32]) {
        let w = self.width_px;
        let row = &self.mosaic[y * w..(y + 1) * w];
        let places: [(f32, f32); 2] = std::array::from_fn(|k| {
            let place = k + 2 * (y & 1);
            let black = self.black_dn[place];
            (black, balance[colour(self.pattern[place])] / (self.white_dn - black))
        });
        for (x, (o, v)) in out[2..].iter_mut().zip(row).enumerate() {
            let (black, scale) = places[x & 1];
            *o = (f32::from(*v) - black) * scale;
        }
        for k in 0..2 {
            out[k] = out[2 + mirrored(k as isize - 2, w)];
            out[w + 2 + k] = out[2 + mirrored((w + k) as isize, w)];
        }
    }

    fn lone_luma(&self, curve: &Curve) -> Vec<u16> {
        let w = self.width_px.max(1);
        let value = |(i, v): (usize, &u16)| {
            let black = self.black_dn[(i % w) % 2 + 2 * ((i / w) % 2)];
            curve.at((f32::from(*v) - black) / (self.white_dn - black))
        };
        self.mosaic.iter().enumerate().map(value).collect()
    }
}

/// Place in a triple of red, green and blue.
fn colour(filter: Filter) -> usize {
    match filter {
        Filter::Red => 0,
        Filter::Green | Filter::Clear => 1,
        Filter::Blue => 2,
    }
}

/// An index mirrored at the border sample, so that it keeps its place in the cell.
fn mirrored(i: isize, n: usize) -> usize {
    let last = n as isize - 1;
    let i = if i < 0 { -i } else { i };
    let i = if i > last { 2 * last - i } else { i };
    i.clamp(0, last.max(0)) as usize
}

/// The sRGB curve as a table.
struct Curve(Vec<u16>);

impl Curve {
    fn new() -> Self {
        let at = |i: usize| encode_srgb(i as f64 / STEPS as f64) * STEPS as f64;
        Curve((0..=STEPS).map(|i| at(i).round() as u16).collect())
    }

    /// Encoded value of linear light, 0 to 1.
    fn at(&self, linear: f32) -> u16 {
        // A float beyond the range is held at its ends by the cast.
        self.0[usize::from((linear * STEPS as f32 + 0.5) as u16)]
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::frame;
    use super::*;

    /// A grey light through filters that pass 1/2, 1 and 2/3: flat after the white balance.
    fn grey(light: impl Fn(f64, f64) -> f64) -> RawFrame {
        let mut raw = frame(64, 48, |_, _| 0);
        for y in 0..48 {
            for x in 0..64 {
                let place = (x & 1) + 2 * (y & 1);
                let black = f64::from(raw.black_dn[place]);
                let balance = [2.0, 1.0, 1.5][colour(raw.pattern[place])];
                let dn = black + light(x as f64, y as f64) / balance * (4095.0 - black);
                raw.mosaic[y * 64 + x] = dn.round() as u16;
            }
        }
        raw
    }

    #[test]
    fn grey_light_gives_an_even_luma_to_the_borders() {
        let raw = grey(|_, _| 0.18);
        // facts T4: 0.18 encodes to 0.4613561.
        for v in raw.luma16() {
            assert!((f64::from(v) / 65535.0 - 0.461_356).abs() < 0.001, "{v}");
        }
        let (rgb, w, h) = raw.quick_rgb(16);
        assert_eq!((w, h, rgb.len()), (16, 12, 16 * 12 * 3));
        assert!(rgb.iter().all(|v| v.abs_diff(118) <= 1), "{:?}", &rgb[..3]);
        assert!(raw.developed(true).chroma.iter().flatten().all(|c| c.abs() <= 1));
        // Without a white balance in the file the frame's own mean is made grey.
        let blind = RawFrame { white_balance: None, ..raw };
        assert!(blind.luma16().iter().all(|v| (f64::from(*v) / 65535.0 - 0.4614).abs() < 0.002));
    }

    #[test]
    fn interpolation_follows_a_slope_and_a_fine_wave_of_grey() {
        let swing = |x: f64, y: f64| 0.1 * (0.5 * x + 0.3 * y).sin();
        let wave = |x: f64, y: f64| 0.3 + swing(x, y);
        // Of a wave, the mean of the four neighbours carries the mean cosine of one step, and the
        // second difference 1 less that of two steps.
        let near = 0.5 * (0.5f64.cos() + 0.3f64.cos());
        let far = 0.5 * (1.0f64.cos() + 0.6f64.cos());
        let carried = near + 0.5 * (1.0 - far);
        let raw = grey(wave);
        for (i, v) in raw.luma16().iter().enumerate() {
            let (x, y) = ((i % 64) as f64, (i / 64) as f64);
            if (3.0..61.0).contains(&x) && (3.0..45.0).contains(&y) {
                let green = raw.filter(x as usize, y as usize) == Filter::Green;
                let want = encode_srgb(0.3 + swing(x, y) * if green { 1.0 } else { carried });
                assert!((f64::from(*v) / 65535.0 - want).abs() < 0.001, "{x} {y}");
            }
        }
    }
}
