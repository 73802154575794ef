//! Series of known truth, from files to the record.

use std::path::Path;

use serde_json::Value as Json;
use stopwise::simulator::scene::SceneKind;
use stopwise::simulator::sensor::SimulatedSensor;
use stopwise::simulator::series::{SeriesSpec, SimulatedSeries, Take};

use crate::cli::Place;

/// Writes a series: (f-number, ISO, shutter) a step, `repeats` frames each; `reduction` below 0
/// writes raw files.
pub fn write(
    folder: &Path,
    spec: SeriesSpec,
    steps: &[(f64, u16, f64)],
    repeats: u64,
    reduction: f32,
) {
    std::fs::create_dir_all(folder).unwrap();
    let series = SimulatedSeries::new(spec);
    let mut number = 0;
    for (f_number, iso, exposure_s) in steps {
        let camera = series.camera(*f_number);
        for _ in 0..repeats {
            let take = Take {
                f_number: *f_number,
                iso: *iso,
                exposure_s: *exposure_s,
                number,
                pose: None,
            };
            let light = series.light(&camera, &take);
            let (bytes, kind) = if reduction < 0.0 {
                (series.raw(&light, &take, &SimulatedSensor::ORDINARY).unwrap(), "dng")
            } else {
                (
                    series.rendered(&light, &take, &SimulatedSensor::ORDINARY, reduction).unwrap(),
                    "jpg",
                )
            };
            std::fs::write(folder.join(format!("s{number:03}.{kind}")), bytes).unwrap();
            number += 1;
        }
    }
}

fn compared(place: &Place, args: &[&str]) -> Json {
    let ran = place.run(&[&["compare", "--json", "-", "--no-report"], args].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    serde_json::from_str(&ran.stdout).unwrap()
}

const LADDER: [(f64, u16, f64); 3] = [(5.6, 200, 0.005), (11.0, 800, 0.005), (22.0, 3200, 0.005)];

/// Three apertures, each paid for with ISO, two raw frames each.
pub fn small_series(folder: &Path) {
    let spec =
        SeriesSpec { shift_px: 3.0, turn_deg: 1.0, ..SeriesSpec::usual(SceneKind::DeadLeaves, 3) };
    write(folder, spec, &LADDER, 2, -1.0);
}

#[test]
fn closing_costs_detail_and_the_parts_add_up() {
    let place = Place::new();
    small_series(&place.path().join("s"));
    let record = compared(&place, &["s", "--magnification", "1"]);
    assert_eq!((&record["axis"], &record["protocol"]), (&"aperture".into(), &"repeats".into()));
    assert!(record["refused"].is_null());
    let steps = record["steps"].as_array().unwrap();
    let number = |v: &Json| v.as_f64().unwrap();
    let details: Vec<f64> = steps.iter().map(|s| number(&s["detail_bits_px"]["value"])).collect();
    assert!(details[0] > details[1] && details[1] > details[2], "{details:?}");
    assert_eq!(record["best_step"], 0);
    assert!((number(&steps[2]["working_f_number"]) - 44.0).abs() < 1e-9);
    for a in record["attributions"].as_array().unwrap() {
        let (optics, noise, total) =
            (number(&a["optics"]), number(&a["noise"]), number(&a["total"]));
        assert!((optics + noise - total).abs() < 1e-9);
        assert!(number(&a["low"]) < optics && optics < number(&a["high"]));
        // facts I15, I16: on this model closing costs several times what its ISO costs.
        assert!(optics < 0.0 && noise < 0.0 && a["cost_more"] == "optics", "{a}");
    }
    let moved = number(&record["moved"]["shift_px"]);
    assert!((0.5..4.5).contains(&moved), "{moved}");
}

/// A JPEG of the drawings that the program's own tests use.
fn picture(place: &Place, name: &str, size: (usize, usize), f_number: Option<u32>, model: &str) {
    use crate::exposure::{field, rational, text};
    use exif::{Tag, Value};
    let mut fields = vec![
        field(Tag::Make, text("Velmarrow")),
        field(Tag::Model, text(model)),
        field(Tag::ExposureTime, rational(1, 200)),
        field(Tag::PhotographicSensitivity, Value::Short(vec![400])),
    ];
    fields.extend(f_number.map(|n| field(Tag::FNumber, rational(n, 1))));
    // Each a little moved: the same bytes twice would be one frame.
    let moved = usize::from(name.as_bytes()[name.len() - 5] % 8);
    let plane = crate::cli::drawing(1.0).cut(32 + moved, 32, size.0, size.1);
    place.put(name, &crate::cli::jpeg(&plane, &fields));
}

/// Runs and expects exit code 2 with one line that says this.
fn refused(place: &Place, args: &[&str], says: &str) {
    let ran = place.run(&[&["compare", "--no-report"], args].concat());
    assert_eq!(ran.code, Some(2), "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stderr.contains(says), "{}", ran.stderr);
    assert_eq!(ran.stderr.trim_end().lines().count(), 1, "{}", ran.stderr);
}

#[test]
fn what_is_no_series_is_told_in_one_line() {
    const SIZE: (usize, usize) = (512, 448);
    const BODY: &str = "Velmarrow VM-7";
    let place = Place::new();
    for (i, n) in [8, 8].into_iter().enumerate() {
        picture(&place, &format!("one/{i}.jpg"), SIZE, Some(n), BODY);
    }
    refused(&place, &["one"], "all 2 frames have the same settings");
    picture(&place, "bodies/a.jpg", SIZE, Some(8), BODY);
    picture(&place, "bodies/b.jpg", SIZE, Some(11), "Velmarrow VM-9");
    refused(&place, &["bodies"], "frames of different cameras");
    picture(&place, "sizes/a.jpg", SIZE, Some(8), BODY);
    picture(&place, "sizes/b.jpg", (448, 448), Some(11), BODY);
    refused(&place, &["sizes"], "frames of different sizes (512 x 448 px and 448 x 448 px)");
    for name in ["dumb/a.jpg", "dumb/b.jpg", "dumb/c.jpg", "dumb/d.jpg"] {
        picture(&place, name, SIZE, None, BODY);
    }
    refused(&place, &["dumb"], "4 of 4 frames lack an f-number: give them with --aperture");
    refused(&place, &["dumb", "--aperture", "4,5.6,8"], "3 f-numbers given for 4 frames");
    let typed = place.run(&["compare", "dumb", "--aperture", "4,0"]);
    assert_eq!(typed.code, Some(2));
    assert!(typed.stderr.contains("give a number above 0"), "{}", typed.stderr);
    refused(&place, &["nowhere"], "nowhere does not exist");
    refused(
        &place,
        &["dumb", "--aperture", "4,8", "--region", "0.5,0.5,0.05,0.05"],
        "nothing to measure in that region",
    );
    // With a list, frames of a lens without contacts are a series: the same picture twice, so
    // nothing is lost.
    let ran = place.run(&["compare", "dumb", "--aperture", "4,8", "--no-report", "--json", "-"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let record: Json = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(record["steps"].as_array().unwrap().len(), 2);
    assert_eq!(record["steps"][0]["frames"], 2);
}

#[test]
fn other_subjects_are_passed_over() {
    let place = Place::new();
    write(
        &place.path().join("s"),
        SeriesSpec::usual(SceneKind::DeadLeaves, 4),
        &LADDER[..2],
        2,
        0.0,
    );
    write(
        &place.path().join("t"),
        SeriesSpec::usual(SceneKind::DeadLeaves, 5),
        &LADDER[2..],
        1,
        0.0,
    );
    let ran = place.run(&["compare", "s", "t", "--no-report", "--json", "-"]);
    assert_eq!(ran.code, Some(1), "{}", ran.stderr);
    let record: Json = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(record["steps"].as_array().unwrap().len(), 2);
    let reason = record["skipped"][0]["reason"].as_str().unwrap();
    // Where chance finds a place that looks alike, it is too far away.
    let says = ["does not show the same subject as", "moved or turned so far"];
    assert!(says.iter().any(|s| reason.starts_with(s)), "{reason}");
}

#[test]
fn single_frames_that_the_camera_smoothed_are_refused_and_four_corners_are_not() {
    let place = Place::new();
    let spec = SeriesSpec::usual(SceneKind::DeadLeaves, 6);
    let corners = [(8.0, 400, 0.01), (8.0, 3200, 0.00125), (16.0, 400, 0.04), (16.0, 3200, 0.005)];
    write(&place.path().join("four"), spec, &corners, 2, 1.5);
    let record = compared(&place, &["four"]);
    assert_eq!(record["axis"], "four corners");
    let first = &record["attributions"][0];
    assert_eq!(
        (&first["protocol"], &first["from"], &first["to"]),
        (&"four corners".into(), &0.into(), &3.into())
    );
    let diagonal = [corners[0], corners[3]];
    write(&place.path().join("single"), spec, &diagonal, 1, 1.5);
    let ran = place.run(&["compare", "single", "--json", "record.json", "--report", "page.html"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let text = std::fs::read_to_string(place.path().join("record.json")).unwrap();
    let record: Json = serde_json::from_str(&text).unwrap();
    assert!(record["refused"].as_str().unwrap().contains("noise reduction"));
    assert_eq!(record["attributions"].as_array().unwrap().len(), 0);
    let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Take both apertures at both ISO settings"), "{text}");
    let page = std::fs::read_to_string(place.path().join("page.html")).unwrap();
    assert!(page.contains("default-src 'none'") && !page.contains("<script"));
}

/// A slanted edge in front of texture, blurred by a Gaussian of `sigma_px`: two steps.
pub fn edge_series(place: &Place) {
    use crate::exposure::{field, rational, text};
    use exif::{Tag, Value};
    for (i, (sigma, f_number)) in [(0.8, 8), (1.6, 16)].into_iter().enumerate() {
        let mut plane = crate::cli::drawing(sigma).cut(0, 0, 512, 448);
        for y in 160..288 {
            for x in 160..288 {
                let across =
                    (x as f64 - 224.0) * 0.0872f64.cos() - (y as f64 - 224.0) * 0.0872f64.sin();
                let share = 1.0 / (1.0 + (-1.702 * across / sigma).exp());
                let light = 0.05 + 0.4 * share;
                plane.data[y * 512 + x] =
                    255.0 * stopwise::simulator::encode::srgb_encoded(light as f32);
            }
        }
        let fields = vec![
            field(Tag::Make, text("Velmarrow")),
            field(Tag::Model, text("VM-7")),
            field(Tag::FNumber, rational(f_number, 1)),
            field(Tag::ExposureTime, rational(1, 200)),
            field(Tag::PhotographicSensitivity, Value::Short(vec![100])),
        ];
        place.put(&format!("s/{i}.jpg"), &crate::cli::jpeg(&plane, &fields));
    }
}

// The modulation of a Gaussian, exp(−2π²σ²f²), is a half at 0.1874/σ; that of the logistic that
// stands for it here, x/sinh(x) with x = 2π²σf/1.702, at 0.1877/σ.
#[test]
fn an_edge_that_is_given_is_measured_at_every_step() {
    let place = Place::new();
    edge_series(&place);
    let args = ["compare", "s", "--edge", "0.4375,0.5,0.19,0.21", "--json", "r.json"];
    let ran = place.run(&[&args[..], &["--report", "page.html"]].concat());
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let text = std::fs::read_to_string(place.path().join("r.json")).unwrap();
    let record: Json = serde_json::from_str(&text).unwrap();
    assert_eq!(record["edge"]["given"], true);
    for (step, sigma) in record["steps"].as_array().unwrap().iter().zip([0.8, 1.6]) {
        let edge = &step["edge"];
        assert!(edge["refused"].is_null(), "{edge}");
        let half = edge["mtf50_cy_px"]["value"].as_f64().unwrap();
        assert!((half * sigma / 0.1874 - 1.0).abs() < 0.06, "{half} at {sigma}");
        assert!(edge["mtf50_cy_px"]["std_err"].as_f64().unwrap() < 0.02);
        assert!(edge["curve"].as_array().unwrap().len() > 50);
    }
    let text = ran.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Use it for rulers, charts and plates only"), "{text}");
    let page = std::fs::read_to_string(place.path().join("page.html")).unwrap();
    assert!(page.contains("Modulation across the straight edge"));
    let bad = place.run(&["compare", "s", "--edge", "0.5,0.5"]);
    assert_eq!(bad.code, Some(2));
    assert!(bad.stderr.contains("X,Y,W,H"), "{}", bad.stderr);
    // Texture is no edge, and the reason is told.
    let ran = place.run(&["compare", "s", "--no-report", "--edge", "0.15,0.2,0.2,0.2"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    assert!(ran.stdout.contains("gives no answer"), "{}", ran.stdout);
}

// Facts C12 and C18: 100 mm at 1:1 with 5 dioptres in front makes 2:1, and the working f-number is
// still that of the lens at 1:1.
#[test]
fn a_rig_gives_magnification_and_working_f_numbers() {
    let place = Place::new();
    write(
        &place.path().join("s"),
        SeriesSpec::usual(SceneKind::DeadLeaves, 4),
        &LADDER[..2],
        2,
        0.0,
    );
    let rig = ["rig", "add", "beetle", "--focal", "100", "--lens-magnification", "1"];
    let made = place.run(&[&rig[..], &["--close-up", "5", "--pitch", "4.4"]].concat());
    assert_eq!(made.code, Some(0), "{}", made.stderr);
    let record = compared(&place, &["s", "--rig", "beetle", "--depth", "0.2"]);
    assert_eq!((&record["rig"], &record["magnification"]), (&"beetle".into(), &2.0.into()));
    assert_eq!(record["pixel_pitch_um"], 4.4);
    let steps = record["steps"].as_array().unwrap();
    let working = steps[1]["working_f_number"].as_f64().unwrap();
    assert!((working - 22.0).abs() < 1e-9, "{working}");
    // facts: finest line = pitch/(2 f m), in µm.
    let f = steps[0]["resolved_cy_px"]["value"].as_f64().unwrap();
    let finest = steps[0]["finest_um"]["value"].as_f64().unwrap();
    assert!((finest - 4.4 / (4.0 * f)).abs() < 1e-9);
    assert!(record["best_for_depth"]["f_number"].as_f64().unwrap() >= 5.6);
    // What was typed goes before.
    let typed = compared(&place, &["s", "--rig", "beetle", "--magnification", "3.5"]);
    assert_eq!(typed["magnification"], 3.5);
    refused(&place, &["s", "--rig", "moth"], "moth");
}
