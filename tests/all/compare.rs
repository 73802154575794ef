//! Series of known truth, from files to the record.

use std::path::Path;

use serde_json::Value as Json;
use stopwise::demo::scene::SceneKind;
use stopwise::demo::sensor::Sensor;
use stopwise::demo::series::{Series, SeriesSpec, Take};

use crate::cli::Place;

/// Writes a series: (f-number, ISO, shutter) a step, `repeats` frames each; `reduction` below 0
/// writes raw files.
fn write(folder: &Path, spec: SeriesSpec, steps: &[(f64, u16, f64)], repeats: u64, reduction: f32) {
    std::fs::create_dir_all(folder).unwrap();
    let series = Series::new(spec);
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
                (series.raw(&light, &take, &Sensor::ORDINARY).unwrap(), "dng")
            } else {
                (series.rendered(&light, &take, &Sensor::ORDINARY, reduction).unwrap(), "jpg")
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

#[test]
fn closing_costs_detail_and_the_parts_add_up() {
    let place = Place::new();
    let spec =
        SeriesSpec { shift_px: 3.0, turn_deg: 1.0, ..SeriesSpec::usual(SceneKind::DeadLeaves, 3) };
    write(&place.path().join("s"), spec, &LADDER, 2, -1.0);
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
