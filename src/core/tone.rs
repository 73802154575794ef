//! The sRGB transfer function (IEC 61966-2-1).
//!
//! Cameras bend their tones further than sRGB does; these functions are for synthetic pictures
//! and for undoing the standard curve, not a model of a camera.

/// Encoded value (0 to 1) of a linear one (0 to 1).
pub fn encode_srgb(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// Linear value (0 to 1) of an encoded one (0 to 1).
pub fn decode_srgb(encoded: f64) -> f64 {
    if encoded <= 12.92 * 0.003_130_8 {
        encoded / 12.92
    } else {
        ((encoded + 0.055) / 1.055).powf(2.4)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq as near;

    // facts T1-T6: IEC 61966-2-1.
    #[test]
    fn t1_to_t6_curve() {
        let rows = [
            (0.001, 0.012_920_0, 3.295),
            (0.01, 0.099_852_8, 25.462),
            (0.05, 0.247_800_5, 63.189),
            (0.18, 0.461_356_1, 117.646),
            (0.5, 0.735_357_0, 187.516),
            (1.0, 1.0, 255.0),
        ];
        for (linear, encoded, dn) in rows {
            near!(encode_srgb(linear), encoded, epsilon = 1e-6);
            near!(encode_srgb(linear) * 255.0, dn, epsilon = 1e-3);
            near!(decode_srgb(encode_srgb(linear)), linear, epsilon = 1e-12);
        }
    }

    // facts T7.
    #[test]
    fn t7_inverse() {
        near!(decode_srgb(128.0 / 255.0), 0.215_860_5, epsilon = 1e-6);
    }
}
