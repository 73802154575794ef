//! What scripts rely on: keys of the record, exit codes, clean outputs, the same bytes whatever
//! the number of threads.

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value as Json;

use super::{Place, SIZE, exposed, jpeg, picture};

fn keys(value: &Json) -> BTreeSet<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

/// Fails when one of the keys, parted by spaces, is missing.
fn has(value: &Json, wanted: &str) {
    let keys = keys(value);
    for key in wanted.split(' ') {
        assert!(keys.contains(key), "{key} is not among {keys:?}");
    }
}

fn number_or_null(value: &Json) -> bool {
    value.is_null() || value.is_number()
}

#[test]
fn the_record_keeps_its_keys() {
    let place = Place::new();
    let count = place.outing(&[3, 2]);
    place.put("day/empty.jpg", b"");
    let (record, code) = place.culled(&["day", "--subject", "0.5,0.5"]);
    assert_eq!(code, Some(1));
    has(&record, "schema program version outing bursts frames skipped");
    assert_eq!(record["schema"], 3);
    assert_eq!(record["program"], "stopwise");
    assert_eq!(record["version"], env!("CARGO_PKG_VERSION"));
    has(&record["outing"], "paths frames bursts hits near misses unclear by_cause");
    assert_eq!(record["outing"]["frames"], count);

    let bursts = record["bursts"].as_array().unwrap();
    assert_eq!(bursts.len(), 2);
    let frames = record["frames"].as_array().unwrap();
    assert_eq!(frames.len(), count);
    let paths: Vec<&Json> = frames.iter().map(|f| &f["path"]).collect();
    let mut of_bursts = Vec::new();
    for (i, burst) in bursts.iter().enumerate() {
        has(burst, "id frames best subject");
        assert_eq!(burst["id"], i + 1);
        assert_eq!(burst["subject"]["found"], "marked");
        let own = burst["frames"].as_array().unwrap();
        assert!(burst["best"].is_null() || own.contains(&burst["best"]));
        of_bursts.extend(own);
    }
    assert_eq!(of_bursts, paths);

    for frame in frames {
        has(
            frame,
            "path width_px height_px exposure verdict causes subject blur_sigma_px focus \
             noise_sigma_dn detail_bits_px motion sharpest flags",
        );
        has(
            &frame["exposure"],
            "f_number shutter_s iso flash_fired focal_mm taken_at exposure_bias_ev body lens",
        );
        assert!(["hit", "near", "miss", "unclear"].contains(&frame["verdict"].as_str().unwrap()));
        for cause in frame["causes"].as_array().unwrap() {
            assert_eq!(keys(cause), BTreeSet::from(["cause", "share"]));
            assert!(number_or_null(&cause["share"]));
        }
        for measured in ["blur_sigma_px", "focus", "noise_sigma_dn", "detail_bits_px"] {
            let value = &frame[measured];
            if !value.is_null() {
                assert!(value["value"].is_number(), "{measured}: {value}");
                assert!(number_or_null(&value["std_err"]), "{measured}: {value}");
            }
        }
        if !frame["motion"].is_null() {
            has(&frame["motion"], "length_px direction_deg");
        }
        if !frame["sharpest"].is_null() {
            has(&frame["sharpest"], "x y blur_sigma_px");
        }
        assert!(frame["flags"].is_array());
    }
    let first = &frames[0];
    has(&first["subject"], "x y confidence");
    assert_eq!(first["path"], "f001.jpg");
    assert_eq!((&first["width_px"], &first["height_px"]), (&SIZE.0.into(), &SIZE.1.into()));
    assert_eq!(first["exposure"]["f_number"], 8.0);
    assert_eq!(first["exposure"]["shutter_s"], 0.005);
    assert_eq!(first["exposure"]["iso"], 400);
    assert_eq!(first["exposure"]["flash_fired"], false);
    assert_eq!(first["exposure"]["focal_mm"], 90.0);
    assert_eq!(first["exposure"]["exposure_bias_ev"], Json::Null);
    assert_eq!(first["exposure"]["taken_at"], "2031-06-14T09:00:00");
    assert_eq!(keys(&record["skipped"][0]), BTreeSet::from(["path", "reason", "advice"]));
}

#[test]
fn inspect_adds_the_map() {
    let place = Place::new();
    place.put("a.jpg", &jpeg(&picture(1.0), &exposed(0, 0)));
    let ran = place.run(&["inspect", "a.jpg", "--json", "-", "--no-report"]);
    assert_eq!(ran.code, Some(0), "{}", ran.stderr);
    let record: Json = serde_json::from_str(&ran.stdout).unwrap();
    has(&record, "schema program version frame map");
    let map = &record["map"];
    has(map, "tile_px cols rows blur_sigma_px");
    let size = |key: &str| map[key].as_u64().unwrap();
    let values = map["blur_sigma_px"].as_array().unwrap();
    assert_eq!(values.len() as u64, size("cols") * size("rows"));
    assert!(values.iter().all(number_or_null));
    assert!(values.iter().any(Json::is_number));
    let covered = size("cols") * size("tile_px");
    assert!(covered.abs_diff(SIZE.0 as u64) < size("tile_px"), "{covered} px of {}", SIZE.0);
    assert!(!place.path().join("stopwise-frame.html").exists());
}

#[test]
fn exit_codes_say_how_it_went() {
    let place = Place::new();
    place.outing(&[2]);
    assert_eq!(place.run(&["cull", "day"]).code, Some(0));
    assert!(place.path().join("stopwise-report.html").exists());
    place.put("day/broken.jpg", b"\xff\xd8\xff\xe0 and no more");
    let some = place.run(&["cull", "day"]);
    assert_eq!(some.code, Some(1));
    assert!(some.stdout.contains("broken.jpg"), "{}", some.stdout);

    place.put("bad/broken.jpg", b"");
    assert_eq!(place.run(&["cull", "bad", "--no-report"]).code, Some(2));
    for nonsense in [
        &["cull"][..],
        &["mull", "day"],
        &["cull", "day", "--threads", "0"],
        &["cull", "day", "--subject", "3,4"],
        &["cull", "day", "--subjects", "nowhere.csv"],
        &["cull", "day", "--json", "-", "--csv", "-"],
        &["inspect", "bad/broken.jpg"],
        &["inspect", "day"],
    ] {
        let ran = place.run(nonsense);
        assert_eq!(ran.code, Some(2), "{nonsense:?}");
        assert!(!ran.stderr.is_empty() && ran.stdout.is_empty(), "{nonsense:?}");
    }
    for asked in ["--help", "--version"] {
        let ran = place.run(&[asked]);
        assert_eq!(ran.code, Some(0));
        assert!(ran.stderr.is_empty() && ran.stdout.contains("stopwise"), "{}", ran.stdout);
    }
}

#[test]
fn the_version_tells_what_is_read_in_lines_that_fit() {
    let place = Place::new();
    let short = place.run(&["--version"]).stdout;
    assert!(short.starts_with(&format!("stopwise {}\n", env!("CARGO_PKG_VERSION"))), "{short}");
    for format in ["JPEG", "DNG", "ARW", "CR2", "CR3", "NEF", "ORF", "RW2", "RAF"] {
        assert!(short.contains(format), "{format} is not in {short}");
    }
    for asked in [["--version", "--verbose"], ["--verbose", "--version"]] {
        let ran = place.run(&asked);
        assert_eq!(ran.code, Some(0), "{}", ran.stderr);
        assert!(ran.stdout.lines().count() > 4 * short.lines().count(), "{}", ran.stdout);
        assert!(ran.stdout.lines().all(|l| l.chars().count() <= 80), "{}", ran.stdout);
    }
    assert_eq!(place.run(&["--verbose"]).code, Some(2));
}

#[test]
fn records_on_the_output_are_alone_there() {
    let place = Place::new();
    let count = place.outing(&[2, 2]);
    place.put("day/empty.jpg", b"");
    let ran = place.run(&["cull", "day", "--csv", "-", "--report", "r.html"]);
    assert_eq!(ran.code, Some(1));
    let mut reader = csv::Reader::from_reader(ran.stdout.as_bytes());
    let columns = reader.headers().unwrap().len();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), count);
    assert!(rows.iter().all(|r| r.len() == columns));
    assert!(ran.stderr.contains("skipped") && ran.stderr.contains("empty.jpg"), "{}", ran.stderr);

    // JSON on the output and CSV in a file hold the same frames.
    let ran = place.run(&["cull", "day", "--json", "-", "--csv", "rows.csv", "--no-report"]);
    let record: Json = serde_json::from_str(&ran.stdout).unwrap();
    let text = fs::read_to_string(place.path().join("rows.csv")).unwrap();
    let paths: Vec<String> = csv::Reader::from_reader(text.as_bytes())
        .records()
        .map(|r| r.unwrap()[0].to_owned())
        .collect();
    let frames = record["frames"].as_array().unwrap();
    assert_eq!(paths, frames.iter().map(|f| f["path"].as_str().unwrap()).collect::<Vec<_>>());
}

#[test]
fn the_number_of_threads_never_shows() {
    let place = Place::new();
    place.outing(&[3, 1, 2]);
    place.put("day/empty.jpg", b"");
    place.put("day/z.jpg", b"\xff\xd8\xff");
    let files = ["r.json", "r.csv", "r.html"];
    let run = |threads: &str, more: &[&str]| {
        let args = ["cull", "day", "--threads", threads, "--json", files[0], "--csv", files[1]];
        let ran = place.run(&[&args[..], &["--report", files[2]], more].concat());
        assert_eq!(ran.code, Some(1), "{}", ran.stderr);
        let read = |name: &&str| fs::read(place.path().join(name)).unwrap();
        (ran.stdout, files.iter().map(read).collect::<Vec<_>>())
    };
    for more in [&[][..], &["--subject", "0.4,0.6"]] {
        let one = run("1", more);
        for _ in 0..2 {
            let four = run("4", more);
            assert_eq!(one.0, four.0);
            for (name, (a, b)) in files.iter().zip(one.1.iter().zip(&four.1)) {
                assert!(a == b, "{name} differs between one thread and four, with {more:?}");
            }
        }
    }
}

#[test]
fn originals_are_only_read() {
    let place = Place::new();
    place.outing(&[3]);
    place.put("day/note.txt", b"north bank");
    let state = || {
        let mut files: Vec<_> = fs::read_dir(place.path().join("day"))
            .unwrap()
            .map(|e| {
                let path = e.unwrap().path();
                let modified = fs::metadata(&path).unwrap().modified().unwrap();
                (path.clone(), fs::read(&path).unwrap(), modified)
            })
            .collect();
        files.sort();
        files
    };
    let before = state();
    assert_eq!(place.run(&["cull", "day", "--json", "r.json"]).code, Some(0));
    assert_eq!(place.run(&["inspect", "day/f001.jpg", "--map", "m.png"]).code, Some(0));
    assert!(before == state());
    for made in ["r.json", "m.png", "stopwise-report.html", "stopwise-frame.html"] {
        assert!(place.path().join(made).exists(), "{made}");
    }
}
