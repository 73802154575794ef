//! Between RGB and full-range YCbCr in integers.
//!
//! Source: JFIF 1.02 (the BT.601 weights 0.299, 0.587, 0.114 at full range), scaled by 2^16 and
//! rounded.

/// Luma of 8-bit RGB.
pub(super) fn luma8(rgb: [u8; 3]) -> u8 {
    let [r, g, b] = rgb.map(u32::from);
    ((19595 * r + 38470 * g + 7471 * b + 32768) >> 16) as u8
}

/// Luma of 16-bit RGB.
pub(super) fn luma16(rgb: [u16; 3]) -> u16 {
    let [r, g, b] = rgb.map(u32::from);
    ((19595 * r + 38470 * g + 7471 * b + 32768) >> 16) as u16
}

/// YCbCr of 8-bit RGB.
pub(super) fn ycbcr(rgb: [u8; 3]) -> [u8; 3] {
    let [r, g, b] = rgb.map(i32::from);
    let chroma = |v: i32| (128 + ((v + 32768) >> 16)).clamp(0, 255) as u8;
    [
        luma8(rgb),
        chroma(-11059 * r - 21709 * g + 32768 * b),
        chroma(32768 * r - 27439 * g - 5329 * b),
    ]
}

/// 8-bit RGB of YCbCr.
#[inline(always)]
pub(super) fn rgb(ycbcr: [u8; 3]) -> [u8; 3] {
    let [y, cb, cr] = ycbcr.map(i32::from);
    let (cb, cr) = (cb - 128, cr - 128);
    let part = |v: i32| (y + ((v + 32768) >> 16)).clamp(0, 255) as u8;
    [part(91881 * cr), part(-22554 * cb - 46802 * cr), part(116130 * cb)]
}

#[cfg(test)]
mod tests {
    use super::*;

    // JFIF 1.02: primaries and greys, from the real-valued formulas.
    #[test]
    fn primaries_and_greys() {
        assert_eq!(ycbcr([255, 0, 0]), [76, 85, 255]);
        assert_eq!(ycbcr([0, 255, 0]), [150, 44, 21]);
        assert_eq!(ycbcr([0, 0, 255]), [29, 255, 107]);
        for v in 0..=255 {
            assert_eq!(ycbcr([v; 3]), [v, 128, 128]);
            assert_eq!(luma16([u16::from(v) * 257; 3]), u16::from(v) * 257);
        }
        assert_eq!(luma16([65535; 3]), 65535);
    }

    #[test]
    fn there_and_back_is_within_two_steps() {
        for r in (0..=255).step_by(17) {
            for g in (0..=255).step_by(15) {
                for b in (0..=255).step_by(5) {
                    let back = rgb(ycbcr([r, g, b]));
                    for (a, b) in back.into_iter().zip([r, g, b]) {
                        assert!(a.abs_diff(b) <= 2, "{back:?} {r} {g} {b}");
                    }
                }
            }
        }
    }
}
