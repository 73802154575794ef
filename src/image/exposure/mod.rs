//! What the camera wrote about a frame, typed, with what is unknown left out.
//!
//! Source: Exif 2.32 and 3.0 (CIPA DC-008). Odd values are read by these rules: a 0 where 0 cannot
//! be (f-number, time, focal length, sensitivity) is unknown; a missing exposure time or f-number
//! is taken from its APEX twin; exposure tags beside those of the picture are found by number. A
//! broken structure gives what could be read before it breaks.
#![cfg_attr(not(test), deny(clippy::arithmetic_side_effects))]

pub mod apex;
mod body_name;
mod fields;
mod flash;
mod taken_at;

use std::io::{BufRead, Seek};

use exif::{Error as ExifError, Exif, Reader, Tag};
use serde::{Deserialize, Serialize};

pub use body_name::body_name;
pub use flash::Flash;
pub use taken_at::TakenAt;

use self::fields::Fields;
use super::Orientation;
use crate::core::Known;

/// Maker, model and serial number of a body or a lens, as far as the file names them.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Body {
    /// Maker.
    pub make: Option<Known<String>>,
    /// Model.
    pub model: Option<Known<String>>,
    /// Serial number.
    pub serial: Option<Known<String>>,
}

/// A lens, as far as the file names it. Adapters without contacts leave all of this out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct LensTag {
    /// Maker.
    pub make: Option<Known<String>>,
    /// Model.
    pub model: Option<Known<String>>,
}

/// What the camera wrote about a frame. `None` is unknown; 0 never stands in for it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Exposure {
    /// Exposure time, s.
    pub exposure_time_s: Option<Known<f64>>,
    /// F-number. Most lenses record the marked one at close range, some the working one: the file
    /// does not say which.
    pub f_number: Option<Known<f64>>,
    /// ISO sensitivity.
    pub iso: Option<Known<f64>>,
    /// Exposure compensation, Ev.
    pub exposure_bias_ev: Option<Known<f64>>,
    /// Flash. `fired == false` does not prove ambient light; see [`Flash`].
    pub flash: Option<Known<Flash>>,
    /// Focal length, mm; the real one, not the 35 mm equivalent.
    pub focal_mm: Option<Known<f64>>,
    /// When it was taken.
    pub taken_at: Option<Known<TakenAt>>,
    /// Pixel pitch of this file on the sensor, µm: that of the capture, scaled if the file was
    /// resized since.
    pub pixel_pitch_um: Option<Known<f64>>,
    /// Width the camera recorded, px; another one than the file's means that it was resized or
    /// cut since.
    pub recorded_width_px: Option<Known<u32>>,
    /// Middle of the subject as the camera recorded it (Exif SubjectArea, else SubjectLocation),
    /// fractions of the file's width and height, before it is turned upright. `None` where it is
    /// the middle of the picture: cameras write that whatever the subject is.
    pub subject_at: Option<Known<(f64, f64)>>,
    /// The body.
    pub body: Body,
    /// The lens.
    pub lens: LensTag,
    /// How the picture has to be turned to stand upright.
    pub orientation: Option<Known<Orientation>>,
}

/// An APEX time or aperture beyond this is no setting of a camera (2^20 s is twelve days).
const MAX_APEX: f64 = 20.0;
/// F-numbers outside this range are placeholders: optics in air cannot go below 0.5.
const F_NUMBERS: std::ops::RangeInclusive<f64> = 0.5..=512.0;
/// Pixel pitches outside this range, µm, are placeholders.
const PITCHES_UM: std::ops::RangeInclusive<f64> = 0.3..=100.0;
/// Sides may differ by this much in ratio and still be the same picture at another size; beyond
/// it the picture was cut, and its scale is not known.
const SAME_SHAPE: f64 = 0.01;
/// A recorded subject nearer to the middle of the picture than this share of its sides is a
/// placeholder, or the middle field of a camera that was turned after focusing.
const MIDDLE_SHARE: f64 = 0.01;
/// What stands in a SHORT sensitivity that did not fit.
const ISO_TOO_LARGE: u32 = 65535;

impl Exposure {
    /// Reads the Exif data of a picture file (JPEG, TIFF, PNG, WebP) held in memory.
    ///
    /// `size_px` is the file's own width and height, for the pixel pitch. `None` when there are no
    /// Exif data or none that can be read.
    pub fn from_bytes(file: &[u8], size_px: (u32, u32)) -> Option<Self> {
        Exposure::from_reader(&mut std::io::Cursor::new(file), size_px)
    }

    /// Reads the Exif data of a picture file; see [`Exposure::from_bytes`].
    pub fn from_reader<R: BufRead + Seek>(reader: &mut R, size_px: (u32, u32)) -> Option<Self> {
        read(size_px, || tolerant().read_from_container(reader))
    }

    /// Reads an Exif segment: a TIFF structure, with or without "Exif" in front.
    pub fn from_segment(segment: &[u8], size_px: (u32, u32)) -> Option<Self> {
        let tiff = segment.strip_prefix(b"Exif\0\0").unwrap_or(segment);
        read(size_px, || tolerant().read_raw(tiff.to_vec()))
    }

    fn from_exif(exif: &Exif, size_px: (u32, u32)) -> Self {
        let fields = Fields(exif);
        let text = |tag| fields.text(tag).map(Known::from_file);
        fn coded<T>(
            fields: &Fields<'_>,
            tag: Tag,
            of: impl Fn(u32) -> Option<T>,
        ) -> Option<Known<T>> {
            fields.code(tag).and_then(of).map(Known::from_file)
        }
        Exposure {
            exposure_time_s: exposure_time_s(&fields).map(Known::from_file),
            f_number: f_number(&fields).map(Known::from_file),
            iso: iso(&fields).map(Known::from_file),
            exposure_bias_ev: apex_value(&fields, Tag::ExposureBiasValue).map(Known::from_file),
            flash: coded(&fields, Tag::Flash, |bits| Some(Flash::from_bits(bits))),
            focal_mm: fields.positive(Tag::FocalLength).map(Known::from_file),
            taken_at: taken_at(&fields).map(Known::from_file),
            pixel_pitch_um: pixel_pitch_um(&fields, size_px).map(Known::from_file),
            recorded_width_px: coded(&fields, Tag::PixelXDimension, |px| (px > 0).then_some(px)),
            subject_at: subject_at(&fields, size_px).map(Known::from_file),
            body: Body {
                make: text(Tag::Make),
                model: text(Tag::Model),
                serial: text(Tag::BodySerialNumber),
            },
            lens: LensTag { make: text(Tag::LensMake), model: text(Tag::LensModel) },
            orientation: coded(&fields, Tag::Orientation, Orientation::from_code),
        }
    }
}

fn tolerant() -> Reader {
    let mut reader = Reader::new();
    reader.continue_on_error(true);
    reader
}

/// Parses and converts; a parser that gives up, or panics, counts as no Exif data.
fn read(size_px: (u32, u32), parse: impl FnOnce() -> Result<Exif, ExifError>) -> Option<Exposure> {
    let guarded = std::panic::AssertUnwindSafe(|| {
        let exif = parse().or_else(|e| e.distill_partial_result(|_| ())).ok()?;
        (exif.fields().len() > 0).then(|| Exposure::from_exif(&exif, size_px))
    });
    std::panic::catch_unwind(guarded).ok().flatten()
}

fn apex_value(fields: &Fields<'_>, tag: Tag) -> Option<f64> {
    fields.number(tag).filter(|v| v.abs() <= MAX_APEX)
}

/// An f-number from an APEX aperture. Av 0 would be f/1: bodies write it when they see no lens.
fn apex_f_number(fields: &Fields<'_>, tag: Tag) -> Option<f64> {
    apex_value(fields, tag).filter(|av| *av > 0.0).map(apex::n_from_av)
}

fn exposure_time_s(fields: &Fields<'_>) -> Option<f64> {
    fields.positive(Tag::ExposureTime).or_else(|| {
        // Beside an exposure time of 0, which stands for "not known", a Tv of 0 is no second.
        let blank = fields.number(Tag::ExposureTime).is_some();
        let tv = apex_value(fields, Tag::ShutterSpeedValue);
        tv.filter(|tv| !blank || tv.abs() > 0.0).map(apex::t_from_tv)
    })
}

fn f_number(fields: &Fields<'_>) -> Option<f64> {
    fields
        .number(Tag::FNumber)
        .filter(|n| F_NUMBERS.contains(n))
        .or_else(|| apex_f_number(fields, Tag::ApertureValue))
}

/// The recorded subject as fractions of the sides. Exif 2.32 (CIPA DC-008-2019), 4.6.5: SubjectArea
/// starts with the middle of a point, a circle or a rectangle, SubjectLocation is one; both in px
/// of the picture as recorded, before rotation.
fn subject_at(fields: &Fields<'_>, size_px: (u32, u32)) -> Option<(f64, f64)> {
    let recorded = |tag, own: u32| {
        let side = fields.code(tag).filter(|v| *v > 0).unwrap_or(own);
        f64::from(side)
    };
    let width = recorded(Tag::PixelXDimension, size_px.0);
    let height = recorded(Tag::PixelYDimension, size_px.1);
    let own_shape = f64::from(size_px.0) / f64::from(size_px.1);
    if ((width / height) / own_shape - 1.0).abs() > SAME_SHAPE {
        return None;
    }
    let place = |tag| {
        let at = |i| fields.number_at(tag, i);
        let (x, y) = (at(0)? / width, at(1)? / height);
        let inside = |v: f64| v > 0.0 && v < 1.0;
        (inside(x) && inside(y)).then_some((x, y))
    };
    let off_middle =
        |at: &(f64, f64)| (at.0 - 0.5).abs() > MIDDLE_SHARE || (at.1 - 0.5).abs() > MIDDLE_SHARE;
    place(Tag::SubjectArea).or_else(|| place(Tag::SubjectLocation)).filter(off_middle)
}

/// The sensitivity; 65535 means that it did not fit, and stands in the tag the type points to.
fn iso(fields: &Fields<'_>) -> Option<f64> {
    let short = fields.code(Tag::PhotographicSensitivity).filter(|v| *v > 0);
    let (sos, rei, speed) =
        (Tag::StandardOutputSensitivity, Tag::RecommendedExposureIndex, Tag::ISOSpeed);
    let long = || {
        // Codes of Exif's SensitivityType (ISO 12232): 1 standard output sensitivity; 3 ISO speed,
        // 5 both; 2, 4, 6 and 7 hold a recommended exposure index.
        let order = match fields.code(Tag::SensitivityType) {
            Some(1) => [sos, rei, speed],
            Some(3 | 5) => [speed, sos, rei],
            _ => [rei, sos, speed],
        };
        order.into_iter().find_map(|tag| fields.positive(tag))
    };
    short.filter(|v| *v != ISO_TOO_LARGE).map(f64::from).or_else(long)
}

/// The moment of the exposure. The date of the last change (DateTime) is left alone: a batch of
/// developed files would look like one burst.
fn taken_at(fields: &Fields<'_>) -> Option<TakenAt> {
    let read = |date, subsec, offset| {
        TakenAt::from_exif(
            &fields.text(date)?,
            fields.text(subsec).as_deref(),
            fields.text(offset).as_deref(),
        )
    };
    read(Tag::DateTimeOriginal, Tag::SubSecTimeOriginal, Tag::OffsetTimeOriginal).or_else(|| {
        read(Tag::DateTimeDigitized, Tag::SubSecTimeDigitized, Tag::OffsetTimeDigitized)
    })
}

/// Pixel pitch of the file. The focal-plane tags describe the capture, so a file of another width
/// and the same shape is scaled; one of another shape was cut, and gives no pitch.
fn pixel_pitch_um(fields: &Fields<'_>, (width_px, height_px): (u32, u32)) -> Option<f64> {
    let per_unit = fields
        .positive(Tag::FocalPlaneXResolution)
        .or_else(|| fields.positive(Tag::FocalPlaneYResolution))?;
    let unit_um = match fields.code(Tag::FocalPlaneResolutionUnit) {
        Some(3) => 10_000.0,
        Some(4) => 1_000.0,
        Some(5) => 1.0,
        _ => 25_400.0,
    };
    let captured = unit_um / per_unit;
    let side = |tag| fields.positive(tag);
    let scale = match (side(Tag::PixelXDimension), side(Tag::PixelYDimension)) {
        _ if width_px == 0 || height_px == 0 => 1.0,
        (Some(x), Some(y)) => {
            let (w, h) = (f64::from(width_px), f64::from(height_px));
            let turned = (w > h) != (x > y);
            let (across, down) = if turned { (y / w, x / h) } else { (x / w, y / h) };
            if (across / down - 1.0).abs() > SAME_SHAPE {
                return None;
            }
            across
        }
        (Some(x), None) => x / f64::from(width_px),
        _ => 1.0,
    };
    Some(captured * scale).filter(|um| PITCHES_UM.contains(um))
}
