//! JPEG files as a camera writes them: picture and Exif.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

use crate::error::{Error, Result};
use crate::simulator::encode::RenderedPicture;

/// Maker written to the files; invented.
pub const MAKE: &str = "Velmarrow";
/// Body written to the files; invented.
pub const MODEL: &str = "Velmarrow VM-7";
/// Lens written to the files; invented.
pub const LENS: &str = "Velmarrow Close 90mm f/2.8";

/// What the camera writes beside the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Tags {
    /// Local time, "YYYY:MM:DD HH:MM:SS".
    pub time: String,
    /// Thousandths of a second.
    pub millisecond: u32,
    /// Offset from UTC, "+HH:MM".
    pub offset: String,
    /// F-number as marked; `None` for a lens without contacts.
    pub marked_f_number: Option<f64>,
    /// Exposure time, s.
    pub exposure_s: f64,
    /// ISO.
    pub iso: u16,
    /// Whether the flash fired.
    pub flash: bool,
    /// Pixel pitch, µm.
    pub pitch_um: f64,
    /// Serial number of the body.
    pub serial: String,
    /// Middle of the subject as the camera recorded it, px of the file.
    pub subject_px: Option<(u16, u16)>,
}

impl Tags {
    /// Ordinary settings of the invented body, for a single file.
    pub fn invented() -> Tags {
        Tags {
            time: "2031:06:14 15:02:09".to_owned(),
            millisecond: 50,
            offset: "+02:00".to_owned(),
            marked_f_number: Some(5.6),
            exposure_s: 1.0 / 160.0,
            iso: 400,
            flash: true,
            pitch_um: 6.0,
            serial: "VM7-00042".to_owned(),
            subject_px: None,
        }
    }
}

/// Encodes a picture as JPEG, with Exif when tags are given.
///
/// # Errors
/// [`Error::Encode`] when the encoder refuses, for instance a side over 65535 px.
pub fn jpeg(
    picture: &RenderedPicture,
    quality: u8,
    full_colour: bool,
    tags: Option<&Tags>,
) -> Result<Vec<u8>> {
    let side = |px: usize| u16::try_from(px).map_err(|e| Error::Encode(e.to_string()));
    let (width, height) = (side(picture.width_px)?, side(picture.height_px)?);
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, quality);
    encoder.set_sampling_factor(if full_colour {
        SamplingFactor::R_4_4_4
    } else {
        SamplingFactor::R_4_2_0
    });
    if let Some(tags) = tags {
        let block = exif_block(tags, picture)?;
        encoder.add_exif_metadata(&block).map_err(|e| Error::Encode(e.to_string()))?;
    }
    let colour = if picture.channels == 1 { ColorType::Luma } else { ColorType::Rgb };
    encoder
        .encode(&picture.data, width, height, colour)
        .map_err(|e| Error::Encode(e.to_string()))?;
    Ok(bytes)
}

/// The TIFF block of an Exif segment.
fn exif_block(tags: &Tags, picture: &RenderedPicture) -> Result<Vec<u8>> {
    let text = |s: &str| Value::Ascii(vec![s.as_bytes().to_vec()]);
    let ratio = |num: u32, denom: u32| Value::Rational(vec![Rational { num, denom }]);
    let thousandths = |v: f64| ratio((v * 1000.0).round() as u32, 1000);
    let time = if tags.exposure_s < 0.5 {
        ratio(1, (1.0 / tags.exposure_s).round() as u32)
    } else {
        thousandths(tags.exposure_s)
    };
    // Pixels per centimetre.
    let per_cm = ratio((1e7 / tags.pitch_um).round() as u32, 1000);
    let mut values = vec![
        (Tag::Make, text(MAKE)),
        (Tag::Model, text(MODEL)),
        (Tag::Orientation, Value::Short(vec![1])),
        (Tag::Software, text("stopwise demo, simulated")),
        (Tag::DateTime, text(&tags.time)),
        (Tag::ExposureTime, time),
        (Tag::ExposureProgram, Value::Short(vec![1])),
        (Tag::PhotographicSensitivity, Value::Short(vec![tags.iso])),
        (Tag::ExifVersion, Value::Undefined(b"0232".to_vec(), 0)),
        (Tag::DateTimeOriginal, text(&tags.time)),
        (Tag::SubSecTimeOriginal, text(&format!("{:03}", tags.millisecond))),
        (Tag::OffsetTimeOriginal, text(&tags.offset)),
        (Tag::Flash, Value::Short(vec![if tags.flash { 0x09 } else { 0x10 }])),
        (Tag::FocalLength, ratio(90, 1)),
        (Tag::ColorSpace, Value::Short(vec![1])),
        (Tag::PixelXDimension, Value::Long(vec![picture.width_px as u32])),
        (Tag::PixelYDimension, Value::Long(vec![picture.height_px as u32])),
        (Tag::FocalPlaneXResolution, per_cm.clone()),
        (Tag::FocalPlaneYResolution, per_cm),
        (Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
        (Tag::BodySerialNumber, text(&tags.serial)),
        (Tag::LensMake, text(MAKE)),
        (Tag::LensModel, text(LENS)),
    ];
    if let Some(n) = tags.marked_f_number {
        values.push((Tag::FNumber, ratio((n * 10.0).round() as u32, 10)));
    }
    if let Some((x, y)) = tags.subject_px {
        values.push((Tag::SubjectArea, Value::Short(vec![x, y])));
    }
    let fields: Vec<Field> =
        values.into_iter().map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value }).collect();
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, true).map_err(|e| Error::Encode(e.to_string()))?;
    Ok(block.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exif_reads_back() {
        let picture =
            RenderedPicture { width_px: 64, height_px: 48, channels: 3, data: vec![90; 9216] };
        let tags = Tags::invented();
        let bytes = jpeg(&picture, 92, false, Some(&tags)).unwrap();
        let read = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)).unwrap();
        let shown = |tag| read.get_field(tag, In::PRIMARY).unwrap().display_value().to_string();
        assert_eq!(shown(Tag::FNumber), "5.6");
        assert_eq!(shown(Tag::ExposureTime), "1/160");
        assert_eq!(shown(Tag::PhotographicSensitivity), "400");
        assert_eq!(shown(Tag::SubSecTimeOriginal), "\"050\"");
        assert_eq!(shown(Tag::Model), format!("\"{MODEL}\""));
        assert!(shown(Tag::Flash).starts_with("fired"));
        // facts E4: 1666.667 per cm is 6 µm.
        assert!(shown(Tag::FocalPlaneXResolution).starts_with("1666.66"));
    }
}
