//! Which way up a picture is: the eight Exif orientations, and the ways between file and upright.
//!
//! Source: Exif (CIPA DC-008) and TIFF 6.0 tag 0x0112, "the 0th row is the visual …, the 0th
//! column is the visual …". Fractions run from 0 at the left or top edge to 1 at the right or
//! bottom edge.

use serde::{Deserialize, Serialize};

/// How the pixels in a file have to be turned to stand upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum Orientation {
    /// 1: as stored.
    #[default]
    Upright,
    /// 2: mirrored left to right.
    MirroredHorizontally,
    /// 3: turned by half.
    HalfTurn,
    /// 4: mirrored top to bottom.
    MirroredVertically,
    /// 5: mirrored along the diagonal from top left to bottom right.
    Transposed,
    /// 6: to be turned a quarter clockwise.
    QuarterClockwise,
    /// 7: mirrored along the diagonal from top right to bottom left.
    Transversed,
    /// 8: to be turned a quarter counter-clockwise.
    QuarterCounterClockwise,
}

impl Orientation {
    /// All eight, in the order of their Exif codes 1 to 8.
    pub const ALL: [Orientation; 8] = [
        Orientation::Upright,
        Orientation::MirroredHorizontally,
        Orientation::HalfTurn,
        Orientation::MirroredVertically,
        Orientation::Transposed,
        Orientation::QuarterClockwise,
        Orientation::Transversed,
        Orientation::QuarterCounterClockwise,
    ];

    /// The orientation of an Exif code; `None` outside 1 to 8.
    pub fn from_code(code: u32) -> Option<Self> {
        Orientation::ALL.get(usize::try_from(code).ok()?.checked_sub(1)?).copied()
    }

    /// The Exif code, 1 to 8.
    pub fn code(self) -> u8 {
        self as u8 + 1
    }

    /// Whether width and height change places.
    pub fn swaps_sides(self) -> bool {
        self as u8 >= Orientation::Transposed as u8
    }

    /// Width and height of the upright picture, from those in the file.
    pub fn upright_size<T>(self, width_px: T, height_px: T) -> (T, T) {
        if self.swaps_sides() { (height_px, width_px) } else { (width_px, height_px) }
    }

    /// The place in the upright picture of a place in the file, as fractions of the sides.
    pub fn to_upright(self, x: f64, y: f64) -> (f64, f64) {
        match self {
            Orientation::Upright => (x, y),
            Orientation::MirroredHorizontally => (1.0 - x, y),
            Orientation::HalfTurn => (1.0 - x, 1.0 - y),
            Orientation::MirroredVertically => (x, 1.0 - y),
            Orientation::Transposed => (y, x),
            Orientation::QuarterClockwise => (1.0 - y, x),
            Orientation::Transversed => (1.0 - y, 1.0 - x),
            Orientation::QuarterCounterClockwise => (y, 1.0 - x),
        }
    }

    /// The place in the file of a place in the upright picture, as fractions of the sides.
    pub fn to_file(self, x: f64, y: f64) -> (f64, f64) {
        self.inverse().to_upright(x, y)
    }

    /// A direction in the file as seen in the upright picture: degrees counter-clockwise from
    /// the right, as the eye sees it, in 0..360. For an axis without a head take it modulo 180.
    pub fn direction_to_upright(self, degrees: f64) -> f64 {
        let turned = match self {
            Orientation::Upright => degrees,
            Orientation::MirroredHorizontally => 180.0 - degrees,
            Orientation::HalfTurn => degrees + 180.0,
            Orientation::MirroredVertically => -degrees,
            Orientation::Transposed => 270.0 - degrees,
            Orientation::QuarterClockwise => degrees - 90.0,
            Orientation::Transversed => 90.0 - degrees,
            Orientation::QuarterCounterClockwise => degrees + 90.0,
        };
        turned.rem_euclid(360.0)
    }

    /// A row-major grid of the file turned upright: the values, width and height.
    ///
    /// # Panics
    /// When `data` holds fewer than `width * height` values.
    pub fn turn<T: Copy>(self, data: &[T], width: usize, height: usize) -> (Vec<T>, usize, usize) {
        assert!(data.len() >= width * height);
        let (w, h) = self.upright_size(width, height);
        let mut out = Vec::with_capacity(w * h);
        for v in 0..h {
            for u in 0..w {
                let (x, y) = match self {
                    Orientation::Upright => (u, v),
                    Orientation::MirroredHorizontally => (width - 1 - u, v),
                    Orientation::HalfTurn => (width - 1 - u, height - 1 - v),
                    Orientation::MirroredVertically => (u, height - 1 - v),
                    Orientation::Transposed => (v, u),
                    Orientation::QuarterClockwise => (v, height - 1 - u),
                    Orientation::Transversed => (width - 1 - v, height - 1 - u),
                    Orientation::QuarterCounterClockwise => (width - 1 - v, u),
                };
                out.push(data[y * width + x]);
            }
        }
        (out, w, h)
    }

    /// An interleaved RGB picture turned upright: the bytes, width and height.
    ///
    /// # Panics
    /// When `rgb` holds fewer than `3 * width * height` bytes.
    pub fn turn_rgb(self, rgb: &[u8], width: usize, height: usize) -> (Vec<u8>, usize, usize) {
        let (turned, w, h) = self.turn(rgb.as_chunks::<3>().0, width, height);
        (turned.into_flattened(), w, h)
    }

    fn inverse(self) -> Orientation {
        match self {
            Orientation::QuarterClockwise => Orientation::QuarterCounterClockwise,
            Orientation::QuarterCounterClockwise => Orientation::QuarterClockwise,
            mirrored_or_half => mirrored_or_half,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    // TIFF 6.0, Orientation: where row 0 and column 0 of the file are seen.
    // Grid of the file: row 0 = a b c, row 1 = d e f.
    #[test]
    fn grids_turn_as_the_standard_says() {
        let want: [(&str, usize); 8] = [
            ("abcdef", 3), // row 0 top, column 0 left
            ("cbafed", 3), // top, right
            ("fedcba", 3), // bottom, right
            ("defabc", 3), // bottom, left
            ("adbecf", 2), // row 0 left, column 0 top
            ("daebfc", 2), // right, top
            ("fcebda", 2), // right, bottom
            ("cfbead", 2), // left, bottom
        ];
        for (orientation, (grid, width)) in Orientation::ALL.into_iter().zip(want) {
            let (turned, w, h) = orientation.turn(b"abcdef", 3, 2);
            assert_eq!(std::str::from_utf8(&turned).unwrap(), grid, "{orientation:?}");
            assert_eq!((w, h), (width, 6 / width));
            let rgb: Vec<u8> = b"abcdef".iter().flat_map(|&v| [v, v + 32, 0]).collect();
            let (rgb, ..) = orientation.turn_rgb(&rgb, 3, 2);
            let first: Vec<u8> = rgb.chunks(3).map(|p| p[0]).collect();
            assert_eq!(first, grid.as_bytes());
        }
    }

    #[test]
    fn places_agree_with_the_turned_grid_and_come_back() {
        let data: Vec<u32> = (0..35).collect();
        for orientation in Orientation::ALL {
            let (turned, w, h) = orientation.turn(&data, 7, 5);
            for y in 0..5 {
                for x in 0..7 {
                    let (fx, fy) = ((x as f64 + 0.5) / 7.0, (y as f64 + 0.5) / 5.0);
                    let (u, v) = orientation.to_upright(fx, fy);
                    let at = (v * h as f64) as usize * w + (u * w as f64) as usize;
                    assert_eq!(turned[at], data[y * 7 + x], "{orientation:?} {x} {y}");
                    let (bx, by) = orientation.to_file(u, v);
                    assert_abs_diff_eq!(bx, fx, epsilon = 1e-12);
                    assert_abs_diff_eq!(by, fy, epsilon = 1e-12);
                }
            }
        }
    }

    #[test]
    fn directions_agree_with_the_places() {
        for orientation in Orientation::ALL {
            for degrees in [0.0, 20.0, 45.0, 100.0, 250.0, 359.0f64] {
                // A step along the direction in the file; y runs down, so its sine is taken off.
                let (s, c) = degrees.to_radians().sin_cos();
                let (u0, v0) = orientation.to_upright(0.5, 0.5);
                let (u1, v1) = orientation.to_upright(0.5 + 0.1 * c, 0.5 - 0.1 * s);
                let seen = (-(v1 - v0)).atan2(u1 - u0).to_degrees().rem_euclid(360.0);
                let said = orientation.direction_to_upright(degrees);
                assert_abs_diff_eq!(seen, said, epsilon = 1e-9);
            }
        }
    }

    #[test]
    fn codes_outside_the_standard_are_unknown() {
        assert_eq!(Orientation::from_code(0), None);
        assert_eq!(Orientation::from_code(9), None);
        for (i, orientation) in Orientation::ALL.into_iter().enumerate() {
            assert_eq!(Orientation::from_code(i as u32 + 1), Some(orientation));
            assert_eq!(orientation.code() as usize, i + 1);
        }
    }
}
