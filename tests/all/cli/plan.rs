//! `plan` as people and scripts run it.

use serde_json::Value as Json;

use super::{Place, Ran};

fn planned(args: &[&str]) -> (Json, Ran) {
    let ran = Place::new().run(&[&["plan", "--json", "-"], args].concat());
    let record = serde_json::from_str(&ran.stdout)
        .unwrap_or_else(|e| panic!("{e} in {:?}; it said {}", ran.stdout, ran.stderr));
    (record, ran)
}

fn at(record: &Json, f_number: f64) -> &Json {
    let rows = record["settings"].as_array().unwrap();
    rows.iter().find(|r| r["f_number"].as_f64() == Some(f_number)).unwrap()
}

#[test]
fn the_record_has_the_settings_and_says_whose_model() {
    let (record, ran) = planned(&["--depth", "1", "--magnification", "2"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    assert_eq!(record["model"], "typical");
    let rows = record["settings"].as_array().unwrap();
    assert!(rows.len() >= 6, "{rows:?}");
    for row in rows {
        for key in ["f_number", "iso", "shutter_s", "finest_um_plane", "hit_chance"] {
            assert!(row[key].as_f64().unwrap() > 0.0, "{key} in {row}");
        }
        assert!(row["dominant_loss"].is_string());
        assert!(row["hit_chance"].as_f64().unwrap() <= 1.0);
        let n_eff = row["working_f_number"].as_f64().unwrap();
        assert!((n_eff - 3.0 * row["f_number"].as_f64().unwrap()).abs() < 1e-9);
    }
    assert!(record["first_because"]["message"].as_str().unwrap().starts_with("Shoot f/"));
}

// O6 (facts 3.2): without noise to pay for, the aperture for a depth is 0.72648·√(Δz/λ) working.
// A flash with power to spare and a steady hand leave optics alone; whole stops are tried, so
// the first one lies within half a stop of that, but for the 7-12 % that noise takes off.
#[test]
fn a_greater_depth_asks_for_a_smaller_aperture_as_optics_say() {
    for (depth_mm, m) in [("0.5", 1.0), ("2", 1.0), ("0.5", 2.0)] {
        let (record, _) =
            planned(&["--depth", depth_mm, "--magnification", &m.to_string(), "--light", "19"]);
        let by_end = |r: &&Json| r["finest_um_depth_end"].as_f64().unwrap_or(f64::MAX);
        let rows = record["settings"].as_array().unwrap();
        let best = rows.iter().min_by(|a, b| by_end(a).total_cmp(&by_end(b))).unwrap();
        let defocus_um = 0.5 * m * m * depth_mm.parse::<f64>().unwrap() * 1000.0;
        let want = 0.726_48 * (defocus_um / 0.55).sqrt();
        let stops = 2.0 * (best["working_f_number"].as_f64().unwrap() / want).log2();
        assert!(stops.abs() < 1.3, "{depth_mm} mm at {m}: {stops} stops off");
    }
}

#[test]
fn shutter_light_and_iso_agree() {
    // Ev = log2(N²/t) + log2(100/ISO) with the working f-number (APEX, CIPA DC-008).
    let (record, _) = planned(&["--depth", "1", "--magnification", "1", "--light", "11"]);
    for row in record["settings"].as_array().unwrap() {
        let v = |key: &str| row[key].as_f64().unwrap();
        let ev = (v("working_f_number").powi(2) / v("shutter_s") * 100.0 / v("iso")).log2();
        assert!((ev - 11.0).abs() < 0.26, "{row}: Ev {ev}");
    }
    let (record, _) =
        planned(&["--depth", "1", "--magnification", "1", "--light", "11", "--shutter", "1/250"]);
    for row in record["settings"].as_array().unwrap() {
        assert_eq!(row["shutter_s"], 0.004);
    }
}

#[test]
fn movement_noise_and_cropping_count() {
    let base = ["--depth", "0.5", "--magnification", "2", "--light", "10", "--shutter", "1/125"];
    let (still, _) = planned(&base);
    let (moving, _) = planned(&[&base[..], &["--motion", "10"]].concat());
    let um = |r: &Json| at(r, 4.0)["finest_um_plane"].as_f64().unwrap();
    // 10 mm/s for 1/125 s smears 80 µm on the subject: nothing near that is left.
    assert!(um(&moving) > 30.0 && um(&still) < 15.0, "{} {}", um(&moving), um(&still));
    assert_eq!(at(&moving, 4.0)["dominant_loss"], "subject-motion");

    let (small, _) = planned(&[&base[..], &["--output-width", "1000"]].concat());
    let (cropped, _) = planned(&[&base[..], &["--output-width", "1000", "--crop"]].concat());
    let v = |r: &Json, key: &str| at(r, 4.0)[key].as_f64().unwrap();
    // 1000 px over 36 mm at 2x: a pixel of the output is 18 µm.
    assert!((v(&small, "finest_um_plane") - 18.0).abs() < 0.01);
    assert!(v(&cropped, "finest_um_plane") < 15.0);
    assert!(v(&cropped, "crop_factor") > 1.0);
}

#[test]
fn video_has_its_shutter_slow_motion_and_crop() {
    let (record, _) = planned(&[
        "--depth",
        "1",
        "--magnification",
        "1",
        "--lamp",
        "--video",
        "120",
        "--play",
        "25",
    ]);
    let rows = record["video"].as_array().unwrap();
    assert!(rows.len() >= 3, "{record}");
    for row in rows {
        // V8 and V11's rule.
        assert_eq!(row["slow_motion"], 4.8);
        assert!((row["shutter_s"].as_f64().unwrap() - 1.0 / 240.0).abs() < 1e-12);
    }
    let of = |readout: &str| rows.iter().find(|r| r["readout"] == readout).unwrap();
    let crop = of("pixel crop, 4K");
    // V9.
    assert!((crop["picture_scale"].as_f64().unwrap() - 1.5625).abs() < 1e-4);
    // V10.
    let px = |readout: &str| of(readout)["smear_px"].as_f64().unwrap();
    assert!((px("full width, 4K") / px("full width, 1080p") - 2.0).abs() < 1e-9);
    let (flash, ran) =
        planned(&["--depth", "1", "--magnification", "1", "--flash", "--video", "25"]);
    assert!(flash["video"].as_array().unwrap().is_empty() && ran.code == Some(0));
    let remarks = flash["findings"].to_string();
    assert!(remarks.contains("continuous light") && remarks.contains("eyes"), "{remarks}");
}

#[test]
fn nonsense_and_impossible_light_are_said() {
    let place = Place::new();
    for bad in [
        &["plan"][..],
        &["plan", "--depth", "-1", "--magnification", "1"],
        &["plan", "--depth", "1", "--magnification", "0"],
        &["plan", "--depth", "1", "--magnification", "1", "--shutter", "1/0"],
        &["plan", "--depth", "1", "--magnification", "1", "--flash", "--light", "10"],
        &["plan", "--depth", "1", "--magnification", "1", "--light", "NaN"],
        &["plan", "--depth", "1", "--magnification", "1", "--json", "no/such/folder/x.json"],
    ] {
        assert_eq!(place.run(bad).code, Some(2), "{bad:?}");
    }
    let ran = place.run(&["plan", "--depth", "1", "--magnification", "1", "--light", "-9"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.stdout.contains("--light"), "{}", ran.stdout);
    assert!(!ran.stdout.contains("NaN"));
    // Extremes give numbers or dashes, never NaN.
    for (depth, m) in [("0", "0.001"), ("1000", "0.01"), ("0.000001", "100"), ("1e9", "50")] {
        let ran = place.run(&["plan", "--depth", depth, "--magnification", m, "--light", "16"]);
        for word in ["NaN", "inf"] {
            assert!(!ran.stdout.contains(word), "{depth} {m}: {}", ran.stdout);
        }
    }
}

#[test]
fn the_page_holds_one_script_that_its_policy_names() {
    let place = Place::new();
    let ran = place.run(&["plan", "--depth", "1", "--magnification", "2", "--report", "p.html"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let page = std::fs::read_to_string(place.path().join("p.html")).unwrap();
    assert_eq!(page.matches("<script>").count(), 1);
    assert!(page.contains("script-src 'sha256-") && page.contains("default-src 'none'"));
    for outside in ["http://", "https://"] {
        assert!(!page.contains(outside), "{outside}");
    }
}
