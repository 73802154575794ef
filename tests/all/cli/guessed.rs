//! Subjects that nobody marked: what may be said of them and what may not.

use exif::{Field, Tag, Value};
use serde_json::Value as Json;
use stopwise::core::Plane;

use super::{Place, SIZE, exposed, jpeg, picture};
use crate::exposure::field;

const BLURS_PX: [f64; 4] = [1.1, 0.7, 0.9, 2.5];

/// Writes a burst, one picture per file, with further Exif.
fn burst(place: &Place, pictures: &[Plane], more: &dyn Fn() -> Vec<Field>) {
    for (i, picture) in pictures.iter().enumerate() {
        let fields = [exposed(0, i), more()].concat();
        place.put(&format!("day/f{i}.jpg"), &jpeg(picture, &fields));
    }
}

fn verdicts(record: &Json) -> Vec<&str> {
    record["frames"].as_array().unwrap().iter().map(|f| f["verdict"].as_str().unwrap()).collect()
}

/// The left part of one picture beside the right part of another.
fn halves(left: &Plane, right: &Plane) -> Plane {
    let mut both = left.clone();
    for y in 0..SIZE.1 {
        let row = y * SIZE.0 + SIZE.0 / 2..(y + 1) * SIZE.0;
        both.data[row.clone()].copy_from_slice(&right.data[row]);
    }
    both
}

#[test]
fn a_few_frames_without_a_mark_are_hits_only_where_all_places_agree() {
    let place = Place::new();
    burst(&place, &BLURS_PX.map(picture), &Vec::new);
    let (alike, _) = place.culled(&["day"]);
    assert_eq!(alike["bursts"][0]["best"], "f1.jpg");
    let said = verdicts(&alike);
    assert_eq!((said[1], said[3]), ("hit", "miss"), "{said:?}");

    // Sharp on the left in one frame, on the right in the other: it hangs on what was meant.
    let place = Place::new();
    let (sharp, soft) = (picture(0.7), picture(2.5));
    let pictures = [halves(&sharp, &soft), halves(&soft, &sharp), soft.clone()];
    burst(&place, &pictures, &Vec::new);
    let (torn, _) = place.culled(&["day"]);
    assert!(torn["bursts"][0]["best"].is_null(), "{}", torn["bursts"][0]);
    assert!(!verdicts(&torn).contains(&"hit"), "{:?}", verdicts(&torn));
    assert!(torn["frames"][0]["because"].as_str().unwrap().contains("the subject that you meant"));
    // A mark decides.
    let (marked, _) = place.culled(&["day", "--subject", "0.25,0.5"]);
    assert_eq!(marked["bursts"][0]["best"], "f0.jpg");
    assert_eq!(verdicts(&marked)[..2], ["hit", "miss"]);
}

#[test]
fn pictures_made_small_are_no_hits_marked_or_not() {
    // As the camera wrote it, and after it was made half as wide.
    for (recorded_px, hits) in [(SIZE.0, true), (2 * SIZE.0, false)] {
        for args in [vec!["day"], vec!["day", "--subject", "0.5,0.5"]] {
            let place = Place::new();
            let size = || vec![field(Tag::PixelXDimension, Value::Long(vec![recorded_px as u32]))];
            burst(&place, &BLURS_PX.map(picture), &size);
            let (record, _) = place.culled(&args);
            let said = verdicts(&record);
            assert_eq!(said.contains(&"hit"), hits, "{args:?} {recorded_px}: {said:?}");
            assert_eq!(record["bursts"][0]["best"].is_string(), hits);
            assert!(record["bursts"][0]["other"].is_null());
        }
    }
}

#[test]
fn a_frame_alone_is_no_hit_unless_its_subject_is_marked() {
    let place = Place::new();
    burst(&place, &[picture(0.7)], &Vec::new);
    let (guessed, _) = place.culled(&["day"]);
    assert_eq!(verdicts(&guessed), ["unclear"]);
    let (marked, _) = place.culled(&["day", "--subject", "0.5,0.5"]);
    assert_eq!(verdicts(&marked), ["hit"]);
}
