//! Raw files as a camera writes them: the mosaic, uncompressed, in an Adobe DNG with Exif.
//!
//! Digital Negative Specification 1.4 (open, royalty-free), which is TIFF 6.0 with TIFF/EP (ISO
//! 12234-2) and tags of its own. One strip of 16-bit samples, one directory for the picture and
//! one for Exif.

use crate::error::{Error, Result};
use crate::simulator::camera::LinearFrame;
use crate::simulator::file::{LENS, MAKE, MODEL, Tags};
use crate::simulator::sensor::{COLOUR, RESPONSE, SimulatedRendering, SimulatedSensor, mosaic};

/// Black level of the invented body, DN.
pub const BLACK_DN: u16 = 512;
/// Saturation level of the invented body, DN (14 bit).
pub const WHITE_DN: u16 = 16_383;

/// A mosaic of the filters RGGB with its levels.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawPicture {
    /// Width with the border, px.
    pub width_px: usize,
    /// Height with the border, px.
    pub height_px: usize,
    /// Samples, row-major, DN.
    pub data: Vec<u16>,
    /// Columns at the left and rows at the top that are shielded from light; the filters count
    /// from behind them.
    pub border_px: (usize, usize),
    /// Black level of each place of the 2 x 2 cell, DN.
    pub black_dn: [u16; 4],
    /// Saturation level, DN.
    pub white_dn: u16,
}

/// Takes the light of a frame to the samples that the sensor gives, noise included. Seeded by
/// row, so threads do not show.
pub fn read_out(
    light: &LinearFrame,
    sensor: &SimulatedSensor,
    rendering: &SimulatedRendering,
    seed: u64,
) -> RawPicture {
    let (width_px, height_px) = (light.width_px, light.height_px);
    let range = f32::from(WHITE_DN - BLACK_DN);
    let data = mosaic(light, sensor, rendering, seed)
        .into_iter()
        .enumerate()
        .map(|(i, v)| {
            let colour = (i % width_px) % 2 + (i / width_px) % 2;
            let dn = f32::from(BLACK_DN) + v * RESPONSE[colour] * range;
            dn.round().clamp(0.0, f32::from(WHITE_DN)) as u16
        })
        .collect();
    RawPicture {
        width_px,
        height_px,
        data,
        border_px: (0, 0),
        black_dn: [BLACK_DN; 4],
        white_dn: WHITE_DN,
    }
}

/// Encodes a mosaic as DNG.
///
/// # Errors
/// [`Error::Encode`] when the sides do not fit the samples or the format.
pub fn dng(raw: &RawPicture, tags: &Tags) -> Result<Vec<u8>> {
    let (w, h) = (raw.width_px, raw.height_px);
    let unfit = || Error::Encode(format!("a raw picture of {w} x {h} px"));
    if w == 0 || w * h != raw.data.len() || raw.border_px.0 >= w || raw.border_px.1 >= h {
        return Err(unfit());
    }
    let (width, height) =
        (u32::try_from(w).map_err(|_| unfit())?, u32::try_from(h).map_err(|_| unfit())?);
    let samples: Vec<u8> = raw.data.iter().flat_map(|v| v.to_le_bytes()).collect();
    let bytes = u32::try_from(samples.len()).map_err(|_| unfit())?;
    let (left, top) = (raw.border_px.0 as u32, raw.border_px.1 as u32);

    let mut picture = Directory::default();
    picture.long(254, &[0]); // NewSubFileType: the full picture
    picture.long(256, &[width]);
    picture.long(257, &[height]);
    picture.short(258, &[16]); // BitsPerSample
    picture.short(259, &[1]); // Compression: none
    picture.short(262, &[32803]); // PhotometricInterpretation: colour filter array
    picture.text(271, MAKE);
    picture.text(272, MODEL);
    picture.long(273, &[HEAD_BYTES]); // StripOffsets: samples follow the head
    picture.short(274, &[1]); // Orientation
    picture.short(277, &[1]); // SamplesPerPixel
    picture.long(278, &[height]); // RowsPerStrip
    picture.long(279, &[bytes]); // StripByteCounts
    picture.short(284, &[1]); // PlanarConfiguration
    picture.text(305, "stopwise demo, simulated");
    picture.text(306, &tags.time);
    picture.short(33421, &[2, 2]); // CFARepeatPatternDim
    picture.bytes(33422, 1, &[0, 1, 1, 2]); // CFAPattern: red, green, green, blue
    picture.bytes(50706, 1, &[1, 4, 0, 0]); // DNGVersion
    picture.bytes(50707, 1, &[1, 1, 0, 0]); // DNGBackwardVersion
    picture.text(50708, MODEL); // UniqueCameraModel
    picture.bytes(50710, 1, &[0, 1, 2]); // CFAPlaneColor
    picture.short(50711, &[1]); // CFALayout: rectangular
    picture.short(50713, &[2, 2]); // BlackLevelRepeatDim
    picture.short(50714, &raw.black_dn); // BlackLevel
    picture.short(50717, &[raw.white_dn]); // WhiteLevel
    picture.signed_ratios(50721, &colour_matrix()); // ColorMatrix1
    let neutral: Vec<(u32, u32)> = RESPONSE.iter().map(|r| ratio(f64::from(*r))).collect();
    picture.ratios(50728, &neutral); // AsShotNeutral
    picture.text(50735, &tags.serial); // CameraSerialNumber
    picture.short(50778, &[21]); // CalibrationIlluminant1: D65
    picture.long(50829, &[top, left, height, width]); // ActiveArea

    let mut exif = Directory::default();
    exif.ratios(33434, &[exposure_time(tags.exposure_s)]);
    if let Some(n) = tags.marked_f_number {
        exif.ratios(33437, &[((n * 10.0).round() as u32, 10)]);
    }
    exif.short(34850, &[1]); // ExposureProgram: by hand
    exif.short(34855, &[tags.iso]);
    exif.bytes(36864, 7, b"0232"); // ExifVersion
    exif.text(36867, &tags.time); // DateTimeOriginal
    exif.text(36881, &tags.offset); // OffsetTimeOriginal
    exif.short(37385, &[if tags.flash { 0x09 } else { 0x10 }]); // Flash
    exif.ratios(37386, &[(90, 1)]); // FocalLength
    exif.text(37521, &format!("{:03}", tags.millisecond)); // SubSecTimeOriginal
    let per_cm = ((1e7 / tags.pitch_um).round() as u32, 1000);
    exif.ratios(41486, &[per_cm]); // FocalPlaneXResolution
    exif.ratios(41487, &[per_cm]); // FocalPlaneYResolution
    exif.short(41488, &[3]); // FocalPlaneResolutionUnit: centimetre
    exif.text(42033, &tags.serial); // BodySerialNumber
    exif.text(42035, MAKE); // LensMake
    exif.text(42036, LENS); // LensModel

    let exif_at = HEAD_BYTES + bytes;
    let exif = exif.written(exif_at);
    picture.long(34665, &[exif_at]); // Exif directory
    let picture_at = exif_at + exif.len() as u32;
    let mut file = b"II\x2a\0".to_vec();
    file.extend(picture_at.to_le_bytes());
    file.extend(samples);
    file.extend(exif);
    file.extend(picture.written(picture_at));
    Ok(file)
}

/// Bytes before the samples.
const HEAD_BYTES: u32 = 8;

/// A TIFF directory under way: tag, type, count, value bytes (little-endian).
#[derive(Default)]
struct Directory(Vec<(u16, u16, u32, Vec<u8>)>);

impl Directory {
    fn bytes(&mut self, tag: u16, kind: u16, value: &[u8]) {
        self.0.push((tag, kind, value.len() as u32, value.to_vec()));
    }

    fn text(&mut self, tag: u16, text: &str) {
        let mut bytes = text.as_bytes().to_vec();
        bytes.push(0);
        self.bytes(tag, 2, &bytes);
    }

    fn short(&mut self, tag: u16, values: &[u16]) {
        let bytes = values.iter().flat_map(|v| v.to_le_bytes()).collect();
        self.0.push((tag, 3, values.len() as u32, bytes));
    }

    fn long(&mut self, tag: u16, values: &[u32]) {
        let bytes = values.iter().flat_map(|v| v.to_le_bytes()).collect();
        self.0.push((tag, 4, values.len() as u32, bytes));
    }

    fn ratios(&mut self, tag: u16, values: &[(u32, u32)]) {
        let bytes = values.iter().flat_map(|(n, d)| [n.to_le_bytes(), d.to_le_bytes()]);
        self.0.push((tag, 5, values.len() as u32, bytes.flatten().collect()));
    }

    fn signed_ratios(&mut self, tag: u16, values: &[(i32, i32)]) {
        let bytes = values.iter().flat_map(|(n, d)| [n.to_le_bytes(), d.to_le_bytes()]);
        self.0.push((tag, 10, values.len() as u32, bytes.flatten().collect()));
    }

    /// The directory and the values that do not fit into it, for a place in the file.
    fn written(mut self, at: u32) -> Vec<u8> {
        self.0.sort_by_key(|entry| entry.0);
        let mut out = (self.0.len() as u16).to_le_bytes().to_vec();
        let mut beyond: Vec<u8> = Vec::new();
        let beyond_at = at + 2 + 12 * self.0.len() as u32 + 4;
        for (tag, kind, count, value) in self.0 {
            out.extend(tag.to_le_bytes());
            out.extend(kind.to_le_bytes());
            out.extend(count.to_le_bytes());
            if value.len() <= 4 {
                let mut inline = value;
                inline.resize(4, 0);
                out.extend(inline);
            } else {
                out.extend((beyond_at + beyond.len() as u32).to_le_bytes());
                beyond.extend(value);
                // Values begin on even places.
                beyond.resize(beyond.len().next_multiple_of(2), 0);
            }
        }
        out.extend([0; 4]);
        out.extend(beyond);
        out
    }
}

fn ratio(value: f64) -> (u32, u32) {
    ((value * 1e6).round() as u32, 1_000_000)
}

fn exposure_time(seconds: f64) -> (u32, u32) {
    if seconds < 0.5 { (1, (1.0 / seconds).round() as u32) } else { ratio(seconds) }
}

/// From XYZ (D65) to the sensor's colours: linear sRGB (IEC 61966-2-1), the inverse of the
/// simulator's colour matrix, the filters' response.
fn colour_matrix() -> [(i32, i32); 9] {
    const TO_SRGB: [[f64; 3]; 3] = [
        [3.240_625, -1.537_208, -0.498_629],
        [-0.968_931, 1.875_756, 0.041_518],
        [0.055_710, -0.204_021, 1.056_996],
    ];
    let inverse = inverted(COLOUR.map(|row| row.map(f64::from)));
    std::array::from_fn(|i| {
        let (row, column) = (i / 3, i % 3);
        let sum: f64 = (0..3).map(|k| inverse[row][k] * TO_SRGB[k][column]).sum();
        ((sum * f64::from(RESPONSE[row]) * 1e4).round() as i32, 10_000)
    })
}

/// The inverse of a matrix that has one.
fn inverted(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let minor = |r: usize, c: usize| {
        let (r1, r2, c1, c2) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
        m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
    };
    let whole: f64 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
    std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / whole))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_colour_matrix_takes_daylight_to_the_neutral_of_the_file() {
        // White of D65 (IEC 61966-2-1: x 0.3127, y 0.3290) is the light that the filters answer
        // with their response.
        let white = [0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290];
        let matrix = colour_matrix();
        for row in 0..3 {
            let seen: f64 = (0..3).map(|k| f64::from(matrix[3 * row + k].0) / 1e4 * white[k]).sum();
            approx::assert_abs_diff_eq!(seen, f64::from(RESPONSE[row]), epsilon = 0.002);
        }
    }

    #[test]
    fn sides_that_do_not_fit_are_refused() {
        let raw = RawPicture {
            width_px: 4,
            height_px: 4,
            data: vec![600; 15],
            border_px: (0, 0),
            black_dn: [512; 4],
            white_dn: 16_383,
        };
        assert!(dng(&raw, &Tags::invented()).is_err());
    }
}
