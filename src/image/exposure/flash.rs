//! The Exif tag Flash (CIPA DC-008).

use serde::{Deserialize, Serialize};

/// What the camera knew of the flash.
///
/// A flash in the hand, on a dumb trigger or set off by another flash is unknown to the camera:
/// `fired == false` does not prove ambient light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Flash {
    /// The camera fired a flash it knows of (bit 0).
    pub fired: bool,
}

impl Flash {
    /// From the bits of the Exif tag Flash.
    pub fn from_bits(bits: u32) -> Self {
        Flash { fired: bits & 1 != 0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // facts E1, E2, E3 (Exif tag Flash; tables of libexif): the other bits hold returned light,
    // mode, presence and red-eye reduction.
    #[test]
    fn only_the_first_bit_counts() {
        for bits in [0x00, 0x10, 0x18, 0x20] {
            assert!(!Flash::from_bits(bits).fired, "{bits:#x}");
        }
        for bits in [0x01, 0x05, 0x07, 0x09, 0x0d, 0x0f, 0x19, 0x1d, 0x1f, 0x41, 0x5f] {
            assert!(Flash::from_bits(bits).fired, "{bits:#x}");
        }
    }
}
