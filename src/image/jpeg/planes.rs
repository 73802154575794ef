//! Planes of a decoded JPEG, and colour at full size out of them.
//!
//! Chroma is interpolated as by the decoder that takes the other files (`zune-jpeg`): from two
//! neighbours by 3 to 1, down before along, rounded each time; the borders are those of whole MCUs.
//! Four luma samples along for one of chroma are given the nearest.

use super::markers::ScanHeader;
use super::scan::PlaneMut;
use crate::core::with_simd;

/// Where planes are in a buffer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PlaneLayout {
    width: u16,
    height: u16,
    /// Luma samples for one of chroma in the file, across and down.
    step: (u8, u8),
    has_chroma: bool,
}

impl PlaneLayout {
    pub(super) fn of(header: &ScanHeader, chroma: bool) -> PlaneLayout {
        PlaneLayout {
            width: header.width_px,
            height: header.height_px,
            step: header.components.first().map_or((1, 1), |luma| (luma.across, luma.down)),
            has_chroma: chroma && header.components.len() == 3,
        }
    }

    /// MCUs across and down.
    pub(super) fn mcus(&self) -> (usize, usize) {
        let (across, down) = self.steps();
        (self.width().div_ceil(8 * across), self.height().div_ceil(8 * down))
    }

    fn width(&self) -> usize {
        self.width.into()
    }

    fn height(&self) -> usize {
        self.height.into()
    }

    fn steps(&self) -> (usize, usize) {
        (self.step.0.into(), self.step.1.into())
    }

    fn luma_bytes(&self) -> usize {
        self.width() * self.height()
    }

    /// Width and height of a chroma plane: whole blocks.
    fn chroma_size(&self) -> (usize, usize) {
        let (across, down) = self.mcus();
        (8 * across, 8 * down)
    }

    pub(super) fn bytes(&self) -> usize {
        let (width, height) = self.chroma_size();
        self.luma_bytes() + if self.has_chroma { 2 * width * height } else { 0 }
    }

    pub(super) fn split<'a>(&self, buffer: &'a mut [u8]) -> Option<Vec<PlaneMut<'a>>> {
        let (luma, chroma) = buffer.split_at_mut_checked(self.luma_bytes())?;
        let mut planes =
            vec![PlaneMut { samples: luma, width: self.width(), height: self.height() }];
        if self.has_chroma {
            let (width, height) = self.chroma_size();
            let (blue, red) = chroma.split_at_mut_checked(width * height)?;
            planes.push(PlaneMut { samples: blue, width, height });
            planes.push(PlaneMut { samples: red, width, height });
        }
        Some(planes)
    }
}

/// Luma at full size, and chroma as coarse as in the file.
#[derive(Debug, Clone, PartialEq)]
pub struct JpegPlanes {
    data: Vec<u8>,
    layout: PlaneLayout,
}

/// Rows of chroma at full width, while a picture is gone through.
#[derive(Debug, Default)]
pub struct ChromaRows {
    mixed: Vec<u8>,
    pairs: Vec<[u8; 2]>,
    blue: Vec<u8>,
    red: Vec<u8>,
}

impl JpegPlanes {
    pub(super) fn new(data: Vec<u8>, layout: PlaneLayout) -> JpegPlanes {
        JpegPlanes { data, layout }
    }

    /// Luma, row by row.
    pub fn luma(&self) -> &[u8] {
        &self.data[..self.layout.luma_bytes()]
    }

    /// Whether there is chroma: neither grey nor decoded without.
    pub fn has_chroma(&self) -> bool {
        self.layout.has_chroma
    }

    /// Bytes of all planes.
    pub fn bytes(&self) -> usize {
        self.data.len()
    }

    /// Gives the memory back.
    pub fn into_buffer(self) -> Vec<u8> {
        self.data
    }

    /// Part of a row as Y, Cb and Cr: `columns` from `x0` on of row `y`. Chroma is 128 without any.
    ///
    /// # Panics
    /// When the part is not inside the picture.
    pub fn row<'a>(
        &'a self,
        y: usize,
        x0: usize,
        columns: usize,
        rows: &'a mut ChromaRows,
    ) -> [&'a [u8]; 3] {
        let start = y * self.layout.width() + x0;
        let luma = &self.luma()[start..start + columns];
        let ChromaRows { mixed, pairs, blue, red } = rows;
        for (into, plane) in [(&mut *blue, 0), (&mut *red, 1)] {
            into.clear();
            into.resize(columns, 128);
            if self.layout.has_chroma {
                self.interpolate(plane, (x0, y), mixed, pairs, into);
            }
        }
        [luma, blue, red]
    }

    /// Chroma of part of a row at full width.
    fn interpolate(
        &self,
        plane: usize,
        (x0, y): (usize, usize),
        mixed: &mut Vec<u8>,
        pairs: &mut Vec<[u8; 2]>,
        out: &mut [u8],
    ) {
        let (across, down) = self.layout.steps();
        let (width, height) = self.layout.chroma_size();
        let start = self.layout.luma_bytes() + plane * width * height;
        let line = |row: usize| &self.data[start + row * width..][..width];
        let near = line(y / down);
        let far = match (down, y % 2) {
            (1, _) => near,
            (_, 0) => line((y / down).saturating_sub(1)),
            _ => line((y / down + 1).min(height - 1)),
        };
        // One more on each side; the borders are repeated.
        let (c0, c1) = (x0 / across, (x0 + out.len()).div_ceil(across));
        let (left, right) = (c0.saturating_sub(1), (c1 + 1).min(width));
        mixed.clear();
        mixed.resize(right - left, 0);
        with_simd(
            #[inline(always)]
            || mix(&near[left..right], &far[left..right], mixed),
        );
        match across {
            1 => out.copy_from_slice(&mixed[c0 - left..][..out.len()]),
            2 => {
                if left == c0 {
                    mixed.insert(0, mixed[0]);
                }
                if right == c1 {
                    mixed.push(mixed[mixed.len() - 1]);
                }
                pairs.clear();
                pairs.resize(c1 - c0, [0; 2]);
                with_simd(
                    #[inline(always)]
                    || widen(mixed, pairs),
                );
                out.copy_from_slice(&pairs.as_flattened()[x0 % 2..][..out.len()]);
            }
            _ => {
                for (x, out) in (x0..).zip(out) {
                    *out = near[x / across];
                }
            }
        }
    }
}

/// Three of a row and one of another.
#[inline(always)]
fn mix(near: &[u8], far: &[u8], out: &mut [u8]) {
    for ((out, near), far) in out.iter_mut().zip(near).zip(far) {
        *out = ((3 * u16::from(*near) + u16::from(*far) + 2) >> 2) as u8;
    }
}

/// Two samples for each inner one of a row: three of it and one of its neighbour.
#[inline(always)]
fn widen(row: &[u8], pairs: &mut [[u8; 2]]) {
    let n = pairs.len();
    let (before, own, after) = (&row[..n], &row[1..=n], &row[2..n + 2]);
    for (((pair, before), own), after) in pairs.iter_mut().zip(before).zip(own).zip(after) {
        let own = 3 * u16::from(*own) + 2;
        *pair = [(own + u16::from(*before)) >> 2, (own + u16::from(*after)) >> 2].map(|v| v as u8);
    }
}
