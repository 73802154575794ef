//! The luma of a decoded frame set aside on the disk, so that any part of it can be had again
//! without decoding: the system keeps it in memory while there is room.

use std::fs::File;
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::sync::{Mutex, PoisonError};

use crate::core::Luma;

/// Luma samples of a part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SpooledSamples {
    /// 8 bit.
    U8(Vec<u8>),
    /// 16 bit.
    U16(Vec<u16>),
}

/// A frame's luma in a file without a name: it goes when the program ends, however it ends.
#[derive(Debug)]
pub struct Spool {
    file: Mutex<File>,
    width_px: usize,
    height_px: usize,
    wide: bool,
}

impl Spool {
    /// Sets the luma of a frame aside.
    ///
    /// # Errors
    /// What the system says when there is no room.
    pub fn of(luma: &Luma<'_>) -> io::Result<Spool> {
        let (width_px, height_px) = (luma.width_px(), luma.height_px());
        let mut out = BufWriter::with_capacity(1 << 20, tempfile::tempfile()?);
        let wide = match *luma {
            Luma::U8 { data, channels: 1, .. } => {
                out.write_all(&data[..width_px * height_px])?;
                false
            }
            Luma::U8 { data, channels, .. } => {
                let mut row = Vec::with_capacity(width_px);
                for line in data.chunks_exact(width_px * channels) {
                    row.clear();
                    row.extend(line.iter().step_by(channels));
                    out.write_all(&row)?;
                }
                false
            }
            Luma::U16 { data, .. } => {
                let mut row = Vec::with_capacity(2 * width_px);
                for line in data.chunks_exact(width_px) {
                    row.clear();
                    row.extend(line.iter().flat_map(|v| v.to_le_bytes()));
                    out.write_all(&row)?;
                }
                true
            }
        };
        let file = out.into_inner().map_err(io::IntoInnerError::into_error)?;
        Ok(Spool { file: Mutex::new(file), width_px, height_px, wide })
    }

    /// A rectangle, cut to the frame: samples, width and height.
    ///
    /// # Errors
    /// What the system says.
    pub fn part(
        &self,
        x0: usize,
        y0: usize,
        width_px: usize,
        height_px: usize,
    ) -> io::Result<(SpooledSamples, usize, usize)> {
        let (x0, y0) = (x0.min(self.width_px), y0.min(self.height_px));
        let (w, h) = (width_px.min(self.width_px - x0), height_px.min(self.height_px - y0));
        let size = if self.wide { 2 } else { 1 };
        let mut bytes = vec![0u8; w * h * size];
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        for (row, line) in bytes.chunks_exact_mut((w * size).max(1)).enumerate() {
            let at = ((y0 + row) * self.width_px + x0) * size;
            file.seek(SeekFrom::Start(at as u64))?;
            file.read_exact(line)?;
        }
        let samples = if self.wide {
            let pairs = bytes.as_chunks::<2>().0;
            SpooledSamples::U16(pairs.iter().map(|b| u16::from_le_bytes(*b)).collect())
        } else {
            SpooledSamples::U8(bytes)
        };
        Ok((samples, w, h))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_those_of_the_frame() {
        let (w, h) = (70, 66);
        let bytes: Vec<u8> = (0..3 * w * h).map(|i| (i * 7 % 251) as u8).collect();
        let wide: Vec<u16> = (0..w * h).map(|i| (i * 97 % 65_521) as u16).collect();
        let three = Luma::U8 { data: &bytes, channels: 3, width_px: w, height_px: h };
        let (part, pw, ph) = Spool::of(&three).unwrap().part(60, 5, 20, 3).unwrap();
        assert_eq!((pw, ph), (10, 3));
        let at = |x: usize, y: usize| bytes[3 * (y * w + x)];
        let expected: Vec<u8> =
            (5..8).flat_map(|y| (60..70).map(move |x| (x, y))).map(|(x, y)| at(x, y)).collect();
        assert_eq!(part, SpooledSamples::U8(expected));
        let one = Luma::U8 { data: &bytes[..w * h], channels: 1, width_px: w, height_px: h };
        let (part, ..) = Spool::of(&one).unwrap().part(3, 65, 2, 9).unwrap();
        assert_eq!(part, SpooledSamples::U8(vec![bytes[65 * w + 3], bytes[65 * w + 4]]));
        let sixteen = Luma::U16 { data: &wide, width_px: w, height_px: h };
        let (part, ..) = Spool::of(&sixteen).unwrap().part(1, 2, 1, 1).unwrap();
        assert_eq!(part, SpooledSamples::U16(vec![wide[2 * w + 1]]));
        assert_eq!(Spool::of(&sixteen).unwrap().part(90, 90, 5, 5).unwrap().1, 0);
    }
}
