//! A camera's raw frame: the mosaic as the sensor gave it, and the planes made from it.
//!
//! Decoding needs the feature `raw` (the crate rawler); everything else here works on any mosaic.
//! The decoder takes memory as damaged files claim it, and some make it abort or loop. So files are
//! checked first ([`check_structure`]) and, where the system has processes with limits (Unix),
//! decoded in children: `pool` here, `child` there, `wire` between.
//!
//! Two roads lead on from a mosaic. Noise is measured on the [`RawFrame::planes`] of one colour,
//! where it is white: on interpolated pixels estimators read 3 to 16 times low (facts Q1-Q4).
//! Focus is measured on [`RawFrame::luma16`], so that blur is in pixels of the full mosaic and
//! comparable with rendered files.

#[cfg(feature = "raw")]
mod apart;
#[cfg(all(feature = "raw", unix))]
mod child;
mod claims;
#[cfg(feature = "raw")]
mod decode;
mod luma;
#[cfg(feature = "raw")]
mod metadata;
#[cfg(all(feature = "raw", unix))]
mod pool;
#[cfg(feature = "raw")]
mod quiet;
mod structure;
#[cfg(all(feature = "raw", unix))]
mod wire;

#[cfg(all(feature = "raw", unix))]
pub use child::serve_decoding;
#[cfg(feature = "raw")]
pub use decode::{decode_raw, raw_cameras, raw_formats, raw_makers};
#[cfg(feature = "raw")]
pub(super) use decode::{header_at, raw_header, read_mosaic};
#[cfg(all(feature = "raw", unix))]
pub use pool::{DECODING_CHILD, decode_in_children};
#[cfg(feature = "raw")]
pub use quiet::is_of_decoder;
pub use structure::check_structure;

use serde::{Deserialize, Serialize};

use super::Orientation;
use crate::core::{Plane, Tone};
use crate::error::SkipReason;

/// Colour of the filter over a photosite.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Filter {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
    /// None: a sensor without colours.
    Clear,
}

/// An undeveloped frame, in the orientation of the file, cut to the area that shows the picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RawFrame {
    /// Width of the mosaic, px.
    pub width_px: usize,
    /// Height of the mosaic, px.
    pub height_px: usize,
    /// Samples as read out, row-major, DN. Not part of a serialised frame: they follow as bytes.
    #[serde(skip)]
    pub mosaic: Vec<u16>,
    /// Filters of the 2 x 2 cell at the top left, row by row; the cell repeats.
    pub pattern: [Filter; 4],
    /// Black level of each place of the cell, DN.
    pub black_dn: [f32; 4],
    /// Saturation level, DN.
    pub white_dn: f32,
    /// Maker as written in the file.
    pub make: String,
    /// Model as written in the file.
    pub model: String,
    /// Factors for red, green and blue that make the light of the scene white, green 1; `None`
    /// when the file does not tell.
    pub white_balance: Option<[f32; 3]>,
    /// How the picture has to be turned to stand upright.
    pub orientation: Orientation,
}

impl RawFrame {
    /// Whether the sensor has no colour filters.
    pub fn is_monochrome(&self) -> bool {
        self.pattern == [Filter::Clear; 4]
    }

    /// The four planes of the mosaic, in the order of [`Self::pattern`]: linear, black at 0 and
    /// saturation at 1, step 2 px. Values under black stay negative, so that noise keeps its mean.
    pub fn planes(&self) -> [Plane; 4] {
        std::array::from_fn(|place| self.plane(place))
    }

    fn plane(&self, place: usize) -> Plane {
        let (w, h) = (self.width_px / 2, self.height_px / 2);
        let black = self.black_dn[place];
        let scale = 1.0 / (self.white_dn - black);
        let mut data = Vec::with_capacity(w * h);
        for y in 0..h {
            let start = (2 * y + place / 2) * self.width_px + place % 2;
            let row = &self.mosaic[start..];
            data.extend(row.iter().step_by(2).take(w).map(|v| (f32::from(*v) - black) * scale));
        }
        Plane { width_px: w, height_px: h, tone: Tone::Linear, step_px: 2, white_dn: 1.0, data }
    }

    /// The part of the frame from an even place on, in whole cells, clamped to the frame.
    #[must_use]
    pub fn cut(&self, x0: usize, y0: usize, width_px: usize, height_px: usize) -> RawFrame {
        let (x0, y0) = (x0.min(self.width_px) / 2 * 2, y0.min(self.height_px) / 2 * 2);
        let w = width_px.min(self.width_px - x0) / 2 * 2;
        let h = height_px.min(self.height_px - y0) / 2 * 2;
        let mut mosaic = Vec::with_capacity(w * h);
        for y in y0..y0 + h {
            mosaic.extend_from_slice(&self.mosaic[y * self.width_px + x0..][..w]);
        }
        RawFrame {
            width_px: w,
            height_px: h,
            mosaic,
            make: self.make.clone(),
            model: self.model.clone(),
            ..*self
        }
    }

    /// Refuses what cannot be a picture: no samples, the same sample everywhere, or a foot of
    /// equal rows that are not clipped (the data end early and were filled up). `rows` are those
    /// of the mosaic, whether or not it is here.
    #[cfg_attr(not(feature = "raw"), allow(dead_code))]
    pub(super) fn check<'a>(
        &self,
        rows: impl DoubleEndedIterator<Item = &'a [u16]> + ExactSizeIterator,
    ) -> Result<(), SkipReason> {
        /// Part of the height that an unfilled foot must have to count; sensors' own dead rows
        /// are outside the picture.
        const FOOT: usize = 16;
        let (w, h) = (self.width_px, self.height_px);
        let whole = w > 0 && rows.len() == h;
        let mut samples = rows.rev().flat_map(|row| row.iter().rev());
        let Some(last) = samples.next().copied().filter(|_| whole) else {
            return Err(SkipReason::Damaged("the raw file contains no samples".into()));
        };
        let equal = 1 + samples.take_while(|v| **v == last).count();
        if equal == w * h {
            return Err(SkipReason::Damaged(format!("every raw sample is {last}")));
        }
        if equal / w >= (h / FOOT).max(2) && f32::from(last) < self.white_dn {
            return Err(SkipReason::Damaged("the raw samples end early".into()));
        }
        Ok(())
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(in crate::image) fn frame(
        width_px: usize,
        height_px: usize,
        f: impl Fn(usize, usize) -> u16,
    ) -> RawFrame {
        RawFrame {
            width_px,
            height_px,
            mosaic: (0..width_px * height_px).map(|i| f(i % width_px, i / width_px)).collect(),
            pattern: [Filter::Green, Filter::Red, Filter::Blue, Filter::Green],
            black_dn: [100.0, 200.0, 300.0, 400.0],
            white_dn: 4095.0,
            make: "Velmarrow".into(),
            model: "VM-7".into(),
            white_balance: Some([2.0, 1.0, 1.5]),
            orientation: Orientation::Upright,
        }
    }

    #[test]
    fn planes_take_their_own_samples_and_black() {
        let raw = frame(6, 5, |x, y| {
            (1000 * (1 + (x % 2) + 2 * (y % 2)) / 2 + x / 2 * 10 + y / 2) as u16
        });
        let planes = raw.planes();
        for (place, plane) in planes.iter().enumerate() {
            assert_eq!((plane.width_px, plane.height_px, plane.step_px), (3, 2, 2));
            let black = raw.black_dn[place];
            for y in 0..2 {
                for x in 0..3 {
                    let dn = 1000.0 * (1 + place) as f32 / 2.0 + (x * 10 + y) as f32;
                    let want = (dn - black) / (4095.0 - black);
                    approx::assert_abs_diff_eq!(plane.at(x, y), want, epsilon = 1e-6);
                }
            }
        }
    }

    #[test]
    fn empty_constant_and_cut_mosaics_are_damaged() {
        let damaged = |f: RawFrame| {
            let checked = f.check(f.mosaic.chunks_exact(f.width_px.max(1)));
            matches!(checked, Err(SkipReason::Damaged(_)))
        };
        let noisy = |x: usize, y: usize| (500 + (x * 7 + y * 13) % 31) as u16;
        assert!(damaged(frame(0, 0, noisy)));
        assert!(damaged(frame(64, 64, |_, _| 700)));
        assert!(damaged(frame(64, 64, |x, y| if y < 60 { noisy(x, y) } else { 0 })));
        // A clipped foot is a bright ground, one equal row is chance.
        assert!(!damaged(frame(64, 64, |x, y| if y < 40 { noisy(x, y) } else { 4095 })));
        assert!(!damaged(frame(64, 64, |x, y| if y < 63 { noisy(x, y) } else { 0 })));
    }
}
