//! One frame of a clip: luma as stored, and what is asked of it.

use crate::core::with_simd;

/// How a frame was coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrameType {
    /// On its own.
    I,
    /// From earlier frames.
    P,
    /// From earlier and later frames.
    B,
    /// Another kind, or not told.
    Other,
}

impl FrameType {
    /// The letter.
    pub fn letter(self) -> &'static str {
        match self {
            FrameType::I => "I",
            FrameType::P => "P",
            FrameType::B => "B",
            FrameType::Other => "?",
        }
    }
}

/// How samples lie in a frame's bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Layout {
    pub width: usize,
    pub height: usize,
    /// Bytes a sample, 1 or 2 (little end first).
    pub bytes: usize,
    /// Sample of black and of white.
    pub black: f32,
    pub white: f32,
}

impl Layout {
    pub fn frame_bytes(&self) -> usize {
        self.width * self.height * self.bytes
    }
}

/// A frame.
#[derive(Debug)]
pub struct ClipFrame {
    /// Number in the clip, from 0.
    pub index: usize,
    /// Time since the clip's start, s.
    pub t_s: f64,
    /// How it was coded.
    pub frame_type: FrameType,
    /// Whether the frame is made of two fields.
    pub interlaced: bool,
    pub(super) data: Vec<u8>,
    pub(super) layout: Layout,
}

/// Samples that are summed into one of the small copy keep below 2^32 up to this side.
const LARGEST_STEP: usize = 64;

impl ClipFrame {
    /// Width as stored, px.
    pub fn width_px(&self) -> usize {
        self.layout.width
    }

    /// Height as stored, px.
    pub fn height_px(&self) -> usize {
        self.layout.height
    }

    /// The part inside a box, cut to the frame, as luma with black at 0 and white at 65535; values
    /// beyond are held there.
    pub fn part(&self, x0: usize, y0: usize, width: usize, height: usize, out: &mut Vec<u16>) {
        out.clear();
        let l = &self.layout;
        let (x1, y1) = ((x0 + width).min(l.width), (y0 + height).min(l.height));
        let gain = 65_535.0 / (l.white - l.black);
        let lift = 0.5 - l.black * gain;
        // The cast holds values beyond black and white at the ends.
        let stretched = |v: u16| (f32::from(v) * gain + lift) as u16;
        let rows = (y0..y1)
            .map(|y| &self.data[(y * l.width + x0) * l.bytes..(y * l.width + x1) * l.bytes]);
        if l.bytes == 1 {
            let table: [u16; 256] = std::array::from_fn(|v| stretched(v as u16));
            rows.for_each(|row| out.extend(row.iter().map(|v| table[usize::from(*v)])));
        } else {
            rows.for_each(|row| {
                let pairs = row.as_chunks::<2>().0.iter();
                out.extend(pairs.map(|v| stretched(u16::from_le_bytes(*v))));
            });
        }
    }

    /// A copy `step` times smaller, each sample the mean of `step` x `step` px, black at 0 and
    /// white at 255; what is left over at the right and the bottom is dropped. Returns its size.
    pub fn small(&self, step: usize, out: &mut Vec<f32>) -> (usize, usize) {
        let step = step.clamp(1, LARGEST_STEP);
        let l = &self.layout;
        let (w, h) = (l.width / step, l.height / step);
        out.clear();
        out.reserve(w * h);
        let used = w * step;
        let gain = 255.0 / ((l.white - l.black) * (step * step) as f32);
        let lift = -l.black * 255.0 / (l.white - l.black);
        if l.bytes == 1 && step == 4 {
            out.resize(w * h, 0.0);
            for (y, line) in out.chunks_exact_mut(w.max(1)).enumerate() {
                let rows = [0, 1, 2, 3].map(|r| {
                    let at = (4 * y + r) * l.width;
                    self.data[at..at + used].as_chunks::<4>().0
                });
                with_simd(
                    #[inline(always)]
                    || means_of_4(rows, gain, lift, line),
                );
            }
        } else if l.bytes == 1 {
            // Sums of up to 64 bytes fit 16 bits, which keeps them narrow enough to be fast.
            let mut sums = vec![0u16; used];
            for y in 0..h {
                sums.fill(0);
                for r in 0..step {
                    let at = (y * step + r) * l.width;
                    for (s, v) in sums.iter_mut().zip(&self.data[at..at + used]) {
                        *s += u16::from(*v);
                    }
                }
                push_means(&sums, step, gain, lift, out);
            }
        } else {
            let mut sums = vec![0u32; used];
            for y in 0..h {
                sums.fill(0);
                for r in 0..step {
                    let at = (y * step + r) * l.width * 2;
                    let row = self.data[at..at + used * 2].as_chunks::<2>().0;
                    for (s, v) in sums.iter_mut().zip(row) {
                        *s += u32::from(u16::from_le_bytes(*v));
                    }
                }
                push_means(&sums, step, gain, lift, out);
            }
        }
        (w, h)
    }
}

/// Means of 4 x 4 bytes. Two bytes of each four are added at a time, in halves of 32 bits that sums
/// of up to eight of them cannot overflow.
#[inline(always)]
fn means_of_4(rows: [&[[u8; 4]]; 4], gain: f32, lift: f32, out: &mut [f32]) {
    const EVERY_SECOND: u32 = 0x00ff_00ff;
    let n = out.len();
    let [a, b, c, d] = rows.map(|r| &r[..n]);
    for i in 0..n {
        let [a, b, c, d] = [a[i], b[i], c[i], d[i]].map(u32::from_le_bytes);
        let even =
            (a & EVERY_SECOND) + (b & EVERY_SECOND) + (c & EVERY_SECOND) + (d & EVERY_SECOND);
        let odd = (a >> 8 & EVERY_SECOND)
            + (b >> 8 & EVERY_SECOND)
            + (c >> 8 & EVERY_SECOND)
            + (d >> 8 & EVERY_SECOND);
        let both = even + odd;
        out[i] = ((both & 0xffff) + (both >> 16)) as i32 as f32 * gain + lift;
    }
}

fn push_means<T: Copy + Into<u32>>(
    sums: &[T],
    step: usize,
    gain: f32,
    lift: f32,
    out: &mut Vec<f32>,
) {
    let mean = |group: &[T]| {
        let sum: u32 = group.iter().map(|v| (*v).into()).sum();
        sum as f32 * gain + lift
    };
    match step {
        // A length known beforehand is summed without a loop.
        4 => out.extend(sums.as_chunks::<4>().0.iter().map(|g| mean(g))),
        8 => out.extend(sums.as_chunks::<8>().0.iter().map(|g| mean(g))),
        _ => out.extend(sums.chunks_exact(step).map(mean)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(
        bytes: usize,
        black: f32,
        white: f32,
        value: impl Fn(usize, usize) -> u16,
    ) -> ClipFrame {
        let layout = Layout { width: 10, height: 9, bytes, black, white };
        let mut data = Vec::new();
        for y in 0..9 {
            for x in 0..10 {
                let v = value(x, y).to_le_bytes();
                data.extend_from_slice(&v[..bytes]);
            }
        }
        ClipFrame { index: 0, t_s: 0.0, frame_type: FrameType::I, interlaced: false, data, layout }
    }

    // ITU-R BT.709-6, 3.4 and 4.6: black at 16 and white at 235 of 8 bits, 64 and 940 of 10 bits.
    #[test]
    fn limited_range_is_stretched_and_held_at_its_ends() {
        let mut out = Vec::new();
        let eight = frame(1, 16.0, 235.0, |x, _| [0, 16, 235, 255][x.min(3)]);
        eight.part(0, 0, 4, 1, &mut out);
        assert_eq!(out, [0, 0, 65_535, 65_535]);
        let ten = frame(2, 64.0, 940.0, |x, _| [64, 501, 940, 1023][x.min(3)]);
        ten.part(0, 0, 4, 1, &mut out);
        assert_eq!(out, [0, 32_693, 65_535, 65_535]);
    }

    #[test]
    fn parts_and_small_copies_hold_what_they_should() {
        let f = frame(1, 0.0, 255.0, |x, y| (10 * y + x) as u16);
        let mut part = Vec::new();
        f.part(8, 7, 5, 5, &mut part);
        let eights: Vec<u16> = part.iter().map(|v| v / 257).collect();
        assert_eq!(eights, [78, 79, 88, 89]);
        for bytes in [1, 2] {
            let f = frame(bytes, 0.0, 255.0, |x, y| (10 * y + x) as u16);
            let mut small = Vec::new();
            assert_eq!(f.small(4, &mut small), (2, 2));
            for (got, want) in small.iter().zip([16.5, 20.5, 56.5, 60.5]) {
                approx::assert_abs_diff_eq!(*got, want, epsilon = 1e-4);
            }
        }
    }
}
