//! What the camera wrote, read back from structures made here.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Context, Field, In, Rational, SRational, Tag, Value};
use stopwise::image::{Exposure, Orientation};

const SIZE: (u32, u32) = (6000, 4000);

pub fn field(tag: Tag, value: Value) -> Field {
    Field { tag, ifd_num: In::PRIMARY, value }
}

pub fn rational(num: u32, denom: u32) -> Value {
    Value::Rational(vec![Rational { num, denom }])
}

fn signed(num: i32, denom: i32) -> Value {
    Value::SRational(vec![SRational { num, denom }])
}

fn short(v: u16) -> Value {
    Value::Short(vec![v])
}

pub fn text(t: &str) -> Value {
    Value::Ascii(vec![t.as_bytes().to_vec()])
}

pub fn segment(fields: &[Field]) -> Vec<u8> {
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, true).unwrap();
    out.into_inner()
}

fn read(fields: &[(Tag, Value)]) -> Exposure {
    let fields: Vec<Field> = fields.iter().map(|(t, v)| field(*t, v.clone())).collect();
    Exposure::from_segment(&segment(&fields), SIZE).unwrap()
}

fn close(got: Option<f64>, want: f64, tol: f64) {
    let got = got.unwrap();
    assert!((got - want).abs() <= tol, "{got} is not {want}");
}

macro_rules! value {
    ($known:expr) => {
        $known.as_ref().map(|k| k.value.clone())
    };
}

#[test]
fn a_full_record_is_read() {
    let e = read(&[
        (Tag::Make, text("Hollow Tree Optics ")),
        (Tag::Model, text("HT-1\0\0")),
        (Tag::Orientation, short(8)),
        (Tag::ExposureTime, rational(1, 200)),
        (Tag::FNumber, rational(56, 10)),
        (Tag::PhotographicSensitivity, short(400)),
        (Tag::ExposureBiasValue, signed(-2, 3)),
        (Tag::Flash, short(0x0f)),
        (Tag::FocalLength, rational(60, 1)),
        (Tag::BodySerialNumber, text("000123")),
        (Tag::LensModel, text("60 mm\u{1b}[31m close-up")),
        (Tag::DateTimeOriginal, text("2026:05:01 07:08:09")),
        (Tag::SubSecTimeOriginal, text("05")),
        (Tag::OffsetTimeOriginal, text("+02:00")),
    ]);
    close(value!(e.exposure_time_s), 0.005, 1e-12);
    close(value!(e.f_number), 5.6, 1e-12);
    close(value!(e.iso), 400.0, 0.0);
    close(value!(e.exposure_bias_ev), -2.0 / 3.0, 1e-12);
    assert!(value!(e.flash).unwrap().fired);
    close(value!(e.focal_mm), 60.0, 0.0);
    assert_eq!(value!(e.body.make).as_deref(), Some("Hollow Tree Optics"));
    assert_eq!(value!(e.body.model).as_deref(), Some("HT-1"));
    assert_eq!(value!(e.body.serial).as_deref(), Some("000123"));
    assert_eq!(value!(e.lens.model).as_deref(), Some("60 mm [31m close-up"));
    assert_eq!(value!(e.orientation), Some(Orientation::QuarterCounterClockwise));
    // facts E8.
    let at = value!(e.taken_at).unwrap();
    assert_eq!(at.instant().unwrap().to_string(), "2026-05-01T05:08:09.05Z");
}

// facts section 1.2: values that stand for "unknown" (Exif tables, and what adapters leave).
#[test]
fn placeholders_are_unknown() {
    for n in
        [rational(0, 1), rational(0, 10), rational(0, 0), rational(28, 0), rational(u32::MAX, 1)]
    {
        assert_eq!(read(&[(Tag::FNumber, n.clone())]).f_number, None, "{n:?}");
        // A body that sees no lens may also write Av 0, which would be f/1.
        let both = read(&[(Tag::FNumber, n), (Tag::ApertureValue, rational(0, 1))]);
        assert_eq!(both.f_number, None);
    }
    let e = read(&[
        (Tag::ExposureTime, rational(1, 0)),
        (Tag::FocalLength, rational(0, 1)),
        (Tag::PhotographicSensitivity, short(0)),
        (Tag::Orientation, short(9)),
        (Tag::LensModel, text("----")),
        (Tag::LensMake, text("")),
        (Tag::DateTimeOriginal, text("    :  :     :  :  ")),
        (Tag::OffsetTimeOriginal, text("   :  ")),
    ]);
    assert_eq!(e, Exposure::default());
}

// facts A9 and section 1.2: the APEX twins step in.
#[test]
fn apex_twins_step_in() {
    let e = read(&[
        (Tag::ExposureTime, rational(0, 1)),
        (Tag::ShutterSpeedValue, signed(79658, 10000)),
        (Tag::ApertureValue, rational(1_695_994, 1_000_000)),
    ]);
    close(value!(e.exposure_time_s), 1.0 / 250.0, 1e-6);
    close(value!(e.f_number), 1.8, 5e-4);
    let absurd = read(&[(Tag::ShutterSpeedValue, signed(-1000, 1))]);
    assert_eq!(absurd.exposure_time_s, None);
}

// facts section 1.2: 65535 points to the LONG tag that SensitivityType names.
#[test]
fn large_sensitivities_stand_in_the_long_tag() {
    let long = |v| Value::Long(vec![v]);
    let with = |kind: Option<u16>| {
        let mut fields = vec![
            (Tag::PhotographicSensitivity, short(65535)),
            (Tag::StandardOutputSensitivity, long(102_400)),
            (Tag::RecommendedExposureIndex, long(204_800)),
            (Tag::ISOSpeed, long(80_000)),
        ];
        fields.extend(kind.map(|k| (Tag::SensitivityType, short(k))));
        value!(read(&fields).iso)
    };
    close(with(Some(1)), 102_400.0, 0.0);
    close(with(Some(2)), 204_800.0, 0.0);
    close(with(Some(3)), 80_000.0, 0.0);
    close(with(None), 204_800.0, 0.0);
    assert_eq!(read(&[(Tag::PhotographicSensitivity, short(65535))]).iso, None);
    let list = Value::Short(vec![200, 0]);
    close(value!(read(&[(Tag::PhotographicSensitivity, list)]).iso), 200.0, 0.0);
}

// facts E4, E5 (Exif, FocalPlaneResolutionUnit: inch unless said, 3 is cm).
#[test]
fn pixel_pitch_from_the_focal_plane() {
    let pitch = |per_unit: u32, unit: Option<u16>, recorded: Option<(u32, u32)>| {
        let mut fields = vec![(Tag::FocalPlaneXResolution, rational(per_unit, 10_000))];
        fields.extend(unit.map(|u| (Tag::FocalPlaneResolutionUnit, short(u))));
        if let Some((w, h)) = recorded {
            fields.push((Tag::PixelXDimension, Value::Long(vec![w])));
            fields.push((Tag::PixelYDimension, Value::Long(vec![h])));
        }
        value!(read(&fields).pixel_pitch_um)
    };
    close(pitch(16_666_667, Some(3), None), 6.0, 1e-3);
    close(pitch(42_333_333, Some(2), None), 6.0, 1e-3);
    close(pitch(42_333_333, None, None), 6.0, 1e-3);
    close(pitch(42_333_333, None, Some(SIZE)), 6.0, 1e-3);
    // Half the width and height of the capture: pixels twice as large.
    close(pitch(42_333_333, None, Some((12_000, 8000))), 12.0, 2e-3);
    // Turned in the file, not resized.
    close(pitch(42_333_333, None, Some((4000, 6000))), 6.0, 1e-3);
    // Cut to another shape: the scale is not known.
    assert_eq!(pitch(42_333_333, None, Some((6000, 6000))), None);
    assert_eq!(pitch(1, None, None), None);
}

#[test]
fn a_recorded_subject_is_a_place_in_the_file() {
    let area = |v: &[u16]| (Tag::SubjectArea, Value::Short(v.to_vec()));
    let at = |fields: &[(Tag, Value)]| value!(read(fields).subject_at);
    // A point, a circle and a rectangle all start with their middle, px of the file before it is
    // turned upright (Exif 2.32, 4.6.5).
    let turned = (Tag::Orientation, short(6));
    for subject in [&[1500, 3000][..], &[1500, 3000, 200], &[1500, 3000, 200, 100]] {
        assert_eq!(at(&[turned.clone(), area(subject)]), Some((0.25, 0.75)));
    }
    let location = (Tag::SubjectLocation, Value::Short(vec![4500, 1000]));
    assert_eq!(at(std::slice::from_ref(&location)), Some((0.75, 0.25)));
    assert_eq!(at(&[location.clone(), area(&[1500, 3000])]), Some((0.25, 0.75)));
    // The file was made half as large since: the place is that of the picture as recorded.
    let recorded = |w: u32, h: u32| {
        [(Tag::PixelXDimension, Value::Long(vec![w])), (Tag::PixelYDimension, Value::Long(vec![h]))]
    };
    let larger = [recorded(12_000, 8_000).to_vec(), vec![area(&[3000, 6000])]].concat();
    assert_eq!(at(&larger), Some((0.25, 0.75)));
    // Cut since, the middle of the picture, a corner, outside, half a place: no subject.
    let cut = [recorded(8_000, 4_000).to_vec(), vec![area(&[3000, 3000])]].concat();
    assert_eq!(at(&cut), None);
    for subject in [&[3000, 2000][..], &[3000, 2000, 6000, 4000], &[0, 0], &[7000, 100], &[1500]] {
        assert_eq!(at(&[area(subject)]), None, "{subject:?}");
    }
}

// Some writers put exposure tags beside those of the picture (facts section 1.2).
#[test]
fn tags_in_the_first_directory_are_found_by_number() {
    let e = read(&[
        (Tag(Context::Tiff, Tag::FNumber.number()), rational(8, 1)),
        (Tag(Context::Tiff, Tag::ExposureTime.number()), rational(1, 60)),
    ]);
    close(value!(e.f_number), 8.0, 0.0);
    close(value!(e.exposure_time_s), 1.0 / 60.0, 1e-12);
}

// Exif 3.0: type 129 is UTF-8, which the parser does not know.
#[test]
fn utf8_text_is_read() {
    for (name, expect) in [("Ödland 60", "Ödland 60"), ("Öa", "Öa")] {
        let mut bytes = b"II\x2a\0\x08\0\0\0\x01\0".to_vec();
        bytes.extend(Tag::Model.number().to_le_bytes());
        bytes.extend(129u16.to_le_bytes());
        bytes.extend((name.len() as u32 + 1).to_le_bytes());
        if name.len() < 4 {
            bytes.extend(name.as_bytes());
            bytes.push(0);
            bytes.extend([0; 4]);
        } else {
            bytes.extend(26u32.to_le_bytes());
            bytes.extend([0; 4]);
            bytes.extend(name.as_bytes());
            bytes.push(0);
        }
        let e = Exposure::from_segment(&bytes, SIZE).unwrap();
        assert_eq!(value!(e.body.model).as_deref(), Some(expect));
    }
}

#[test]
fn what_stands_before_the_break_is_kept() {
    let whole = segment(&[
        field(Tag::Make, text("Hollow Tree Optics")),
        field(Tag::FNumber, rational(11, 1)),
        field(Tag::ExposureTime, rational(1, 125)),
    ]);
    for end in 0..whole.len() {
        let _ = Exposure::from_segment(&whole[..end], SIZE);
    }
    // The last value is cut off; the others stand.
    let cut = Exposure::from_segment(&whole[..whole.len() - 1], SIZE).unwrap();
    assert_eq!(value!(cut.body.make).as_deref(), Some("Hollow Tree Optics"));
    assert!(cut.f_number.is_none() || cut.exposure_time_s.is_none());
}

#[test]
fn directories_that_lead_in_circles_end() {
    let mut looped = b"II\x2a\0\x08\0\0\0\x01\0".to_vec();
    looped.extend(b"\x0f\x01\x02\0\x03\0\0\0Ok\0\0");
    looped.extend(8u32.to_le_bytes());
    let e = Exposure::from_segment(&looped, SIZE).unwrap();
    assert_eq!(value!(e.body.make).as_deref(), Some("Ok"));
    // An Exif pointer that points at its own directory.
    let mut own = b"II\x2a\0\x08\0\0\0\x01\0".to_vec();
    own.extend(b"\x69\x87\x04\0\x01\0\0\0\x08\0\0\0\0\0\0\0");
    assert_eq!(Exposure::from_segment(&own, SIZE), None);
}

proptest::proptest! {
    #[test]
    fn any_bytes_are_survived(mut bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..400)) {
        let _ = Exposure::from_bytes(&bytes, SIZE);
        let _ = Exposure::from_segment(&bytes, SIZE);
        if bytes.len() > 8 {
            bytes[..8].copy_from_slice(b"MM\0\x2a\0\0\0\x08");
            let _ = Exposure::from_segment(&bytes, SIZE);
        }
    }

    #[test]
    fn numbers_are_finite_or_absent(num in proptest::num::u32::ANY, denom in proptest::num::u32::ANY) {
        let e = read(&[
            (Tag::ExposureTime, rational(num, denom)),
            (Tag::FNumber, rational(num, denom)),
            (Tag::ShutterSpeedValue, signed(num as i32, denom as i32)),
            (Tag::ApertureValue, rational(num, denom)),
            (Tag::FocalLength, rational(num, denom)),
            (Tag::ExposureBiasValue, signed(num as i32, denom as i32)),
            (Tag::FocalPlaneXResolution, rational(num, denom)),
        ]);
        for v in [&e.exposure_time_s, &e.f_number, &e.focal_mm, &e.pixel_pitch_um].into_iter().flatten() {
            proptest::prop_assert!(v.value.is_finite() && v.value > 0.0);
        }
        if let Some(bias) = &e.exposure_bias_ev {
            proptest::prop_assert!(bias.value.is_finite());
        }
    }
}
