//! Files that no camera should write, and some that cameras do write.

use std::fs;
use std::io::Cursor;

use exif::{Tag, Value};
use image::{GrayImage, ImageFormat};
use stopwise::image::Orientation;

use super::{Place, SIZE, exposed, jpeg, jpeg_with, picture, skipped};
use crate::exposure::field;

fn png(grey: Vec<u8>, size: (usize, usize)) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    let picture = GrayImage::from_raw(size.0 as u32, size.1 as u32, grey).unwrap();
    picture.write_to(&mut out, ImageFormat::Png).unwrap();
    out.into_inner()
}

#[test]
fn a_folder_without_pictures_and_a_path_that_is_not_there_are_told() {
    let place = Place::new();
    fs::create_dir(place.path().join("empty")).unwrap();
    let ran = place.run(&["cull", "empty"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("no picture found in empty"), "{}", ran.stderr);
    let ran = place.run(&["cull", "nowhere"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("nowhere does not exist"), "{}", ran.stderr);
    let ran = place.run(&["inspect", "nowhere.jpg"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stderr.contains("nowhere.jpg does not exist"), "{}", ran.stderr);
    assert_eq!(fs::read_dir(place.path()).unwrap().count(), 1, "a failed run leaves nothing");
}

#[cfg(unix)]
#[test]
fn a_folder_that_must_not_be_read_is_told() {
    use std::os::unix::fs::PermissionsExt;
    let place = Place::new();
    place.outing(&[1]);
    place.put("day/locked/a.jpg", &jpeg(&picture(1.0), &[]));
    let locked = place.path().join("day/locked");
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o0)).unwrap();
    // The superuser reads it anyway.
    if fs::read_dir(&locked).is_err() {
        let (record, code) = place.culled(&["day"]);
        assert_eq!(code, Some(1));
        assert!(skipped(&record, "locked").starts_with("cannot be read"));
        assert_eq!(place.run(&["cull", "day/locked"]).code, Some(2));
    }
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn bad_files_are_skipped_with_a_reason_and_the_rest_is_measured() {
    let place = Place::new();
    let good = jpeg(&picture(1.0), &exposed(0, 0));
    place.put("day/good.jpg", &good);
    place.put("day/cut.jpg", &good[..good.len() / 2]);
    place.put("day/zero.jpg", b"");
    place.put("day/letter.jpg", b"Dear all, the dragonflies are late this year.");
    place.put("day/one.png", &png(vec![9], (1, 1)));
    let mut huge = good.clone();
    let sof = huge.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    huge[sof + 5..sof + 9].copy_from_slice(&[0xff, 0xdc, 0xff, 0xdc]);
    place.put("day/huge.jpg", &huge);
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(1));
    assert_eq!(record["frames"].as_array().unwrap().len(), 1);
    assert_eq!(record["frames"][0]["path"], "good.jpg");
    assert!(skipped(&record, "cut.jpg").starts_with("damaged picture"));
    assert_eq!(skipped(&record, "zero.jpg"), "the file is empty");
    assert_eq!(skipped(&record, "letter.jpg"), "not a JPEG, TIFF, PNG or WebP picture");
    assert!(skipped(&record, "one.png").contains("too small"));
    assert!(skipped(&record, "huge.jpg").contains("65500 × 65500 px"));
    assert_eq!(record["skipped"].as_array().unwrap().len(), 5);
}

#[test]
fn what_a_file_holds_counts_not_its_name() {
    let place = Place::new();
    place.put("day/png.jpg", &png(picture(1.0).to_luma(), SIZE));
    place.put("day/jpeg.png", &jpeg(&picture(2.0), &[]));
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(0));
    assert_eq!(record["frames"].as_array().unwrap().len(), 2);
}

#[test]
fn exif_that_leads_in_circles_ends() {
    let place = Place::new();
    // One entry, the maker "Ok"; the next directory is this one again.
    let mut looped = b"II\x2a\0\x08\0\0\0\x01\0\x0f\x01\x02\0\x03\0\0\0Ok\0\0".to_vec();
    looped.extend(8u32.to_le_bytes());
    place.put("day/a.jpg", &jpeg_with(&picture(1.0).to_luma(), SIZE, &looped));
    // The pointer to the Exif directory points at its own.
    let own = b"II\x2a\0\x08\0\0\0\x01\0\x69\x87\x04\0\x01\0\0\0\x08\0\0\0\0\0\0\0";
    place.put("day/b.jpg", &jpeg_with(&picture(1.5).to_luma(), SIZE, own));
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(0));
    for frame in record["frames"].as_array().unwrap() {
        assert!(frame["exposure"]["f_number"].is_null());
        assert!(frame["blur_sigma_px"]["value"].is_number(), "{frame}");
    }
}

#[test]
fn all_black_and_all_white_cannot_be_judged() {
    let place = Place::new();
    for (name, value) in [("black", 0), ("white", 255), ("grey", 128)] {
        let grey = vec![value; SIZE.0 * SIZE.1];
        place.put(&format!("{name}/a.jpg"), &jpeg_with(&grey, SIZE, &[]));
        let (record, code) = place.culled(&[name]);
        assert_eq!(code, Some(0));
        let frame = &record["frames"][0];
        assert_eq!(frame["verdict"], "unclear", "{name}");
        assert!(frame["blur_sigma_px"].is_null(), "{name}");
        assert!(record["bursts"][0]["best"].is_null(), "{name}");
        assert_eq!(place.run(&["inspect", &format!("{name}/a.jpg")]).code, Some(0));
        let marked = place.culled(&[name, "--subject", "0.5,0.5"]).0;
        assert_eq!(marked["frames"][0]["verdict"], "unclear", "{name}");
    }
}

#[test]
fn a_raw_file_and_its_jpeg_are_one_frame() {
    let place = Place::new();
    place.put("day/f1.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    place.put("day/F1.DNG", b"II\x2a\0\x08\0\0\0\0\0\0\0\0\0");
    place.put("day/f2.dng", b"II\x2a\0\x08\0\0\0\0\0\0\0\0\0\0\0");
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(1));
    assert_eq!(record["frames"].as_array().unwrap().len(), 1);
    assert!(record["frames"][0]["partner"].as_str().unwrap().ends_with("F1.DNG"));
    let reason = skipped(&record, "f2.dng");
    assert!(reason.contains("raw file"), "{reason}");
    assert_eq!(record["skipped"].as_array().unwrap().len(), 1);
}

/// Every way to store one and the same upright picture gives the same places and numbers.
#[test]
fn the_subject_is_where_it_is_seen_however_the_file_is_stored() {
    let place = Place::new();
    let upright = picture(1.0);
    let at = |value: f64, side: usize| (value * side as f64).floor() as usize;
    let mut first: Option<(f64, f64)> = None;
    for orientation in Orientation::ALL {
        let (w, h) = orientation.upright_size(SIZE.0, SIZE.1);
        let stored: Vec<u8> = (0..w * h)
            .map(|i| {
                let centre = |v: usize, side: usize| (v as f64 + 0.5) / side as f64;
                let (x, y) = orientation.to_upright(centre(i % w, w), centre(i / w, h));
                upright.at(at(x, SIZE.0), at(y, SIZE.1)) as u8
            })
            .collect();
        let code = Value::Short(vec![u16::from(orientation.code())]);
        let block = crate::exposure::segment(&[field(Tag::Orientation, code)]);
        let name = format!("o{}/a.jpg", orientation.code());
        place.put(&name, &jpeg_with(&stored, (w, h), &block));
        let folder = format!("o{}", orientation.code());
        let (record, _) = place.culled(&[&folder, "--subject", "0.3,0.6"]);
        let frame = &record["frames"][0];
        let value = |v: &serde_json::Value| v.as_f64().unwrap();
        assert_eq!(value(&frame["width_px"]), SIZE.0 as f64);
        assert_eq!(value(&frame["height_px"]), SIZE.1 as f64);
        // Half a pixel of the shorter side.
        let near = 0.5 / SIZE.1 as f64;
        let subject = (value(&frame["subject"]["x"]), value(&frame["subject"]["y"]));
        assert!((subject.0 - 0.3).abs() <= near, "{orientation:?}: {subject:?}");
        assert!((subject.1 - 0.6).abs() <= near, "{orientation:?}: {subject:?}");
        let blur = value(&frame["blur_sigma_px"]["value"]);
        let mean = value(&frame["subject_mean_dn"]);
        let (first_blur, first_mean) = *first.get_or_insert((blur, mean));
        // The subject box moves by up to a pixel and JPEG blocks lie differently.
        assert!((blur / first_blur - 1.0).abs() < 0.05, "{orientation:?}: {blur} {first_blur}");
        assert!((mean - first_mean).abs() < 2.0, "{orientation:?}: {mean} {first_mean}");
    }
}

#[test]
fn a_subject_that_the_camera_recorded_places_the_guess() {
    let place = Place::new();
    let (x, y) = (SIZE.0 as u16 / 4, SIZE.1 as u16 / 4);
    for (i, sigma_px) in [1.1, 0.7, 0.9, 1.5].into_iter().enumerate() {
        let mut fields = exposed(0, i);
        fields.push(field(Tag::SubjectArea, Value::Short(vec![x, y])));
        fields.push(field(Tag::Orientation, Value::Short(vec![6])));
        place.put(&format!("day/f{i}.jpg"), &jpeg(&picture(sigma_px), &fields));
    }
    let (record, code) = place.culled(&["day"]);
    assert_eq!(code, Some(0));
    let burst = &record["bursts"][0];
    assert_eq!(burst["frames"].as_array().unwrap().len(), 4);
    // A place from the file is a guess all the same: no mark, no confidence.
    assert_eq!(burst["subject"]["found"], "automatic");
    assert!(burst["subject"]["confidence"].is_null());
    // It is that of the file before the quarter turn: a quarter from the right, a quarter down.
    let at = &record["frames"][1]["subject"];
    let off = (at["x"].as_f64().unwrap() - 0.75).hypot(at["y"].as_f64().unwrap() - 0.25);
    assert!(off < 0.1, "{at}");
    assert!(at["confidence"].as_f64().unwrap() < 1.0);
}
