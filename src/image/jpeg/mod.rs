//! JPEG as cameras write it: one sequential scan of Huffman codes, 8 bits a sample.
//!
//! Pure, from bytes to planes. Only files without any oddity are taken; all others are left to the
//! general decoder, which stays the measure: samples are the same to the bit, and nothing is taken
//! that it refuses in its strict mode.
//!
//! Luma is decoded to its own plane and chroma, if wanted, to planes as coarse as in the file;
//! it is interpolated where it is looked at.
//!
//! Source: ITU-T T.81.

mod bits;
mod codes;
mod markers;
mod planes;
mod scan;
#[cfg(test)]
mod tests;
mod transform;

pub use planes::{ChromaRows, JpegPlanes};

use self::markers::ScanHeader;
use self::planes::PlaneLayout;
use self::scan::Scan;
use crate::core::with_vectors;

/// A JPEG file that can be decoded here, as far as its header tells.
#[derive(Debug)]
pub struct SequentialJpeg<'a> {
    bytes: &'a [u8],
    header: ScanHeader,
}

impl<'a> SequentialJpeg<'a> {
    /// Reads the header; `None` when the file is of another form or unusual in any way.
    pub fn read(bytes: &'a [u8]) -> Option<Self> {
        Some(SequentialJpeg { bytes, header: ScanHeader::read(bytes)? })
    }

    /// Width and height, px.
    pub fn size(&self) -> (usize, usize) {
        (self.header.width_px.into(), self.header.height_px.into())
    }

    /// Decodes into a buffer that held another picture before; luma alone unless `chroma`. `None`
    /// when the scan is damaged or unusual: the buffer is then as large as before or larger, and
    /// holds anything.
    pub fn decode(&self, chroma: bool, buffer: &mut Vec<u8>) -> Option<JpegPlanes> {
        self.decode_by(chroma, buffer, |scan| with_vectors(scan)?)
    }

    fn decode_by(
        &self,
        chroma: bool,
        buffer: &mut Vec<u8>,
        run: impl FnOnce(Scan<'_>) -> Option<()>,
    ) -> Option<JpegPlanes> {
        let layout = PlaneLayout::of(&self.header, chroma);
        let needed = layout.bytes();
        if buffer.len() < needed {
            // Fresh zeroed memory, not a grown copy of the old picture.
            *buffer = vec![0; needed];
        }
        let planes = layout.split(buffer.get_mut(..needed)?)?;
        run(Scan { bytes: self.bytes, header: &self.header, mcus: layout.mcus(), planes })?;
        buffer.truncate(needed);
        Some(JpegPlanes::new(std::mem::take(buffer), layout))
    }
}
