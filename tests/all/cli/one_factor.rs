//! One lens, one factor: every command and page gives the same working f-number for it.
//!
//! 100 mm at life size with 5 dioptres in front and a pupil ratio of 1.4: twice life size (thin
//! lens, m = m₀ + f(1 + m₀)/f_c), the lens itself still at 1:1, so that N works at N(1 + 1/1.4)
//! (Kingslake, *Optics in Photography*, the pupil form). With the whole magnification in the
//! lens's place the factor would be 3 or 2.43.

use std::fs;

use serde_json::Value as Json;
use stopwise::simulator::file::jpeg;
use stopwise::simulator::ruler::{RulerSpec, ruler};
use stopwise::simulator::scene::SceneKind;
use stopwise::simulator::series::SeriesSpec;

use super::Place;

const FACTOR: f64 = 1.0 + 1.0 / 1.4;

fn place() -> Place {
    let place = Place::new();
    place.outing(&[4, 4]);
    // The lens is named: the frames and the series are of the same body.
    let made = place.run(&[
        "rig",
        "add",
        "close",
        "--like",
        "day/f001.jpg",
        "--pitch",
        "4",
        "--clip-pitch",
        "8",
        "--focal",
        "100",
        "--lens-magnification",
        "1",
        "--close-up",
        "5",
        "--pupil-ratio",
        "1.4",
    ]);
    assert_eq!(made.code, Some(0), "{}", made.stderr);
    place
}

fn json(place: &Place, args: &[&str]) -> Json {
    let ran = place.run(args);
    assert!(ran.code.is_some_and(|code| code < 2), "{args:?}: {}", ran.stderr);
    serde_json::from_str(&ran.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}"))
}

/// Every pair of f-numbers below a key of a record is `FACTOR` apart; their number.
fn pairs(record: &Json, marked: &str) -> usize {
    let mut count = 0;
    let number = |v: &Json| v.as_f64().or_else(|| v["value"].as_f64());
    match record {
        Json::Object(fields) => {
            let pair = (fields.get(marked), fields.get("working_f_number"));
            if let (Some(m), Some(w)) = pair
                && let (Some(m), Some(w)) = (number(m), number(w))
            {
                assert!((w / m / FACTOR - 1.0).abs() < 1e-9, "{w} works for {m}");
                count += 1;
            }
            count + fields.values().map(|v| pairs(v, marked)).sum::<usize>()
        }
        Json::Array(items) => items.iter().map(|v| pairs(v, marked)).sum(),
        _ => 0,
    }
}

#[test]
fn stills_charts_and_plans() {
    let place = place();
    let shown = place.run(&["rig", "show", "close"]).stdout;
    assert!(
        shown.contains("1.71 × the marked f-number") && shown.contains("2.00 µm per pixel"),
        "{shown}"
    );

    let outing = json(&place, &["cull", "day", "--log", "--json", "-", "--no-report"]);
    assert_eq!(pairs(&outing, "f_number"), 8);
    assert_eq!(outing["frames"][0]["exposure"]["object_um_per_px"]["value"], 2.0);
    let frame = json(&place, &["inspect", "day/f001.jpg", "--json", "-"]);
    assert_eq!(pairs(&frame, "f_number"), 1);

    let args = ["chart", "--json", "-", "--svg", "c.svg", "--report", "c.html"];
    let chart = json(&place, &args);
    assert_eq!(chart["magnification"], 2.0);
    let next = chart["next"].as_array().unwrap().len();
    let axis = chart["marked_axis"].as_array().unwrap().len();
    assert!(next > 0 && axis > 5, "{chart}");
    assert_eq!(pairs(&chart, "marked_f_number"), next + axis);

    let plan = json(&place, &["plan", "--rig", "close", "--depth", "1", "--json", "-"]);
    assert_eq!(pairs(&plan, "f_number"), plan["settings"].as_array().unwrap().len());
    let p = plan["parameters"]["pupil_ratio"].as_f64().unwrap();
    // The page computes N(1 + m/p) for this magnification.
    assert!((1.0 + 2.0 / p - FACTOR).abs() < 1e-12, "{p}");
}

#[test]
fn series_and_rulers() {
    let place = place();
    let steps = [(5.6, 200, 0.005), (11.0, 800, 0.005)];
    let spec = SeriesSpec::usual(SceneKind::DeadLeaves, 4);
    crate::compare::write(&place.path().join("s"), spec, &steps, 2, 0.0);
    let args = ["compare", "s", "--rig", "close", "--depth", "0.2", "--json", "-"];
    let series = json(&place, &[&args[..], &["--report", "s.html"]].concat());
    // Two steps and the best aperture for the depth.
    assert!(pairs(&series, "f_number") >= 3, "{series}");
    let page = fs::read_to_string(place.path().join("s.html")).unwrap();
    // f/11 works at f/18.9, shown as f/19.
    assert!(page.contains("working f/19"), "the series' page");

    // 24 µm a pixel at twice life size.
    let plain = RulerSpec::plain(12.0, 5.0, 11);
    let spec = RulerSpec { width_px: 1500, height_px: 1000, ticks_mm: 1.0, ..plain };
    place.put("ruler.jpg", &jpeg(&ruler(&spec), 92, true, None).unwrap());
    let args = ["scale", "ruler.jpg", "--save", "close", "--pitch", "24", "--json", "-"];
    let scale = json(&place, &args);
    let m = scale["magnification"]["value"].as_f64().unwrap();
    let row = &scale["depths"][4];
    let times =
        row["working_f_number"].as_f64().unwrap() / row["marked_f_number"].as_f64().unwrap();
    // The lens itself is at (m - 0.5)/1.5 within the magnification that the ruler gave.
    assert!((times - (1.0 + (m - 0.5) / 1.5 / 1.4)).abs() < 1e-9, "{times} at {m}");
}

#[test]
fn clips() {
    let Some((_, clip, _)) = crate::clips::made() else { return };
    let place = place();
    let subject = crate::clips::subject();
    let clip = clip.to_str().unwrap();
    let args = ["clip", clip, "--rig", "close", "--aperture", "11", "--subject", &subject];
    let record = json(&place, &[&args[..], &["--no-report", "--json", "-"]].concat());
    assert_eq!(pairs(&record, "marked_f_number"), 1);
}

/// What the camera or the ring shows with a converter, a reversed lens, or a body that records
/// working f-numbers.
#[test]
fn other_ways_of_mounting() {
    let place = Place::new();
    place.outing(&[2]);
    // f/8 in the file. A body that talks to the converter records the product; typed f-numbers are
    // those on the ring.
    for (i, (rig, typed, marked, working)) in [
        (&["--lens-magnification", "1", "--teleconverter", "1.4"][..], None, 8.0, 16.0),
        (&["--lens-magnification", "1", "--teleconverter", "1.4"], Some("8"), 8.0, 22.4),
        // Turned round its pupils change places: p = 1/1.25.
        (&["--reversed", "--magnification", "2", "--pupil-ratio", "1.25"], None, 8.0, 28.0),
        (&["--magnification", "1", "--records-working"], None, 4.0, 8.0),
    ]
    .into_iter()
    .enumerate()
    {
        let name = &format!("rig{i}");
        let add = ["rig", "add", name, "--like", "day/f001.jpg", "--pitch", "4"];
        let made = place.run(&[&add[..], rig].concat());
        assert_eq!(made.code, Some(0), "{}", made.stderr);
        let aperture: Vec<&str> = typed.into_iter().flat_map(|n| ["--aperture", n]).collect();
        let args =
            [&["inspect", "day/f001.jpg", "--rig", name, "--json", "-"][..], &aperture].concat();
        let e = json(&place, &args)["frame"]["exposure"].clone();
        let got = (e["f_number"].as_f64().unwrap(), e["working_f_number"]["value"].as_f64());
        assert!((got.0 - marked).abs() < 1e-12, "{rig:?}: {got:?}");
        assert!((got.1.unwrap() - working).abs() < 1e-9, "{rig:?}: {got:?}");
    }
}
